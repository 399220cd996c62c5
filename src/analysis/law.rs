//! The law behind the curve (results.md), with its derivatives, and the forward model from torque to what was measured.
//!
//! τ(θ, s) = τ0 + k·θ + Δk_up·max(0, θ − θ_up) − Δk_dn·max(0, θ_dn − θ) + s·(F + tight spots(θ)) + b·ω
//!
//! Torque N·cm at the surface, angle °, ω °/s of the surface with its sign; s = ±1 the way it moves.

use std::f64::consts::PI;

use super::When;

/// A local rise of friction: nothing beyond its half width to either side of its centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spot {
    pub when: When,
    pub form: Form,
}

/// How a tight spot rises and falls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Form {
    /// A raised cosine to a power: 1 ends in a clear foot, higher ones come near a Gaussian.
    Cosine(i32),
    /// Flat over its inner half, a raised cosine on either side.
    Flat,
}

impl Spot {
    fn acts(&self, up: bool) -> bool {
        match self.when {
            When::Up => up,
            When::Down => !up,
            When::Both => true,
        }
    }
}

/// Height of a spot of height 1, and its slopes by centre and by the logarithm of the half width.
pub(crate) fn bump(
    angle_deg: f64,
    centre_deg: f64,
    half_width_deg: f64,
    form: Form,
) -> (f64, f64, f64) {
    let x = (angle_deg - centre_deg) / half_width_deg;
    if x.abs() >= 1.0 {
        return (0.0, 0.0, 0.0);
    }
    // Height, and its fall along x.
    let (height, fall) = match form {
        Form::Cosine(power) => {
            let (sin, cos) = (PI * x).sin_cos();
            let cosine = 0.5 * (1.0 + cos);
            let below = cosine.powi(power - 1);
            (below * cosine, f64::from(power) * below * 0.5 * PI * sin)
        }
        Form::Flat if x.abs() <= 0.5 => (1.0, 0.0),
        Form::Flat => {
            let (sin, cos) = (2.0 * PI * (x.abs() - 0.5)).sin_cos();
            (0.5 * (1.0 + cos), PI * sin * x.signum())
        }
    };
    (height, fall / half_width_deg, fall * x)
}

/// Distance from the centre, in half widths, at which a spot has fallen to this share of its height.
pub(crate) fn foot(form: Form, share: f64) -> f64 {
    match form {
        Form::Cosine(power) => (2.0 * share.powf(1.0 / f64::from(power)) - 1.0).acos() / PI,
        Form::Flat => 0.5 + 0.5 * (2.0 * share - 1.0).acos() / PI,
    }
}

/// How sharply the top of a spot of height 1 and half width 1 is bent: −∂²/∂x² at its centre.
pub(crate) fn curvature(form: Form) -> f64 {
    match form {
        Form::Cosine(power) => 0.5 * PI * PI * f64::from(power),
        Form::Flat => 0.0,
    }
}

/// Which terms the law has. Parameters stand in this order: τ0, k, F, \[b\], \[Δk_up, θ_up\], \[Δk_dn, θ_dn\],
/// per spot \[height, centre, ln half width\], and for supply power
/// \[idle, winding, servo friction, gear loss, gear loss while the load helps, lag\].
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Terms {
    pub viscous: bool,
    pub knee_up: bool,
    pub knee_down: bool,
    pub spots: Vec<Spot>,
    pub power: bool,
}

pub(crate) const NEUTRAL: usize = 0;
pub(crate) const STIFFNESS: usize = 1;
pub(crate) const FRICTION: usize = 2;
const AFTER_FRICTION: usize = 3;
/// Idle W, winding W/(N·m)², friction N·m, gear loss, gear loss while the load helps, lag of power behind angle s.
pub(crate) const SERVO_NUMBERS: usize = 6;

impl Terms {
    pub fn viscous_at(&self) -> usize {
        AFTER_FRICTION
    }
    /// Place of Δk of a knee; its angle follows.
    pub fn knee_at(&self, up_side: bool) -> usize {
        AFTER_FRICTION
            + usize::from(self.viscous)
            + if up_side {
                0
            } else {
                2 * usize::from(self.knee_up)
            }
    }
    /// Place of a spot's height; centre and ln half width follow.
    pub fn spot_at(&self, spot: usize) -> usize {
        AFTER_FRICTION
            + usize::from(self.viscous)
            + 2 * (usize::from(self.knee_up) + usize::from(self.knee_down))
            + 3 * spot
    }
    /// Place of the servo's numbers.
    pub fn calibration_at(&self) -> usize {
        self.spot_at(self.spots.len())
    }
    pub fn len(&self) -> usize {
        self.calibration_at() + SERVO_NUMBERS * usize::from(self.power)
    }

    /// Torque of the law, N·cm, and its gradient by all parameters (those it does not hold left at zero).
    pub fn torque(&self, p: &[f64], at: &State, gradient: &mut [f64]) -> f64 {
        let sign = at.sign();
        gradient.fill(0.0);
        gradient[NEUTRAL] = 1.0;
        gradient[STIFFNESS] = at.angle_deg;
        gradient[FRICTION] = sign;
        let mut torque = p[NEUTRAL] + p[STIFFNESS] * at.angle_deg + sign * p[FRICTION];
        if self.viscous {
            let speed = sign * at.speed_deg_s;
            gradient[self.viscous_at()] = speed;
            torque += p[self.viscous_at()] * speed;
        }
        for up_side in [true, false] {
            if !(if up_side {
                self.knee_up
            } else {
                self.knee_down
            }) {
                continue;
            }
            let j = self.knee_at(up_side);
            let beyond = at.angle_deg - p[j + 1];
            if (beyond > 0.0) == up_side {
                gradient[j] = beyond;
                gradient[j + 1] = -p[j];
                torque += p[j] * beyond;
            }
        }
        for (n, spot) in self.spots.iter().enumerate().filter(|(_, s)| s.acts(at.up)) {
            let j = self.spot_at(n);
            let (height, by_centre, by_width) =
                bump(at.angle_deg, p[j + 1], p[j + 2].exp(), spot.form);
            gradient[j] = sign * height;
            gradient[j + 1] = sign * p[j] * by_centre;
            gradient[j + 2] = sign * p[j] * by_width;
            torque += sign * p[j] * height;
        }
        torque
    }

    /// ∂τ/∂θ, from the gradient that [`Terms::torque`] left: moving every place of the law back is moving the angle on.
    fn slope(&self, p: &[f64], gradient: &[f64]) -> f64 {
        let knees = [(self.knee_up, true), (self.knee_down, false)];
        let knees = knees.iter().filter(|k| k.0).map(|k| self.knee_at(k.1) + 1);
        let spots = (0..self.spots.len()).map(|n| self.spot_at(n) + 1);
        p[STIFFNESS] - knees.chain(spots).map(|place| gradient[place]).sum::<f64>()
    }

    /// What would be measured: the torque itself, or supply power in W; with its gradient, and ∂(measured)/∂(torque).
    ///
    /// Supply power: P = idle + a·x² + ω·x, x = (1 + g)·τ_arm + τ_f while x > 0, else idle (aircraft-file.md; it follows
    /// from V·I = P_idle + R·i² + k_e·ω·i of a switched bridge with a = R/k²). τ_arm in N·m the way the servo turns.
    /// Current readings are filtered and so lag behind those of the angle by a time that the data tell in part.
    /// While the load helps (τ_arm < 0) the gear's loss is a number of its own: calibrations lift loads and do not tell it.
    pub fn effort(&self, p: &[f64], at: &State, gradient: &mut [f64]) -> (f64, f64) {
        if !self.power {
            return (self.torque(p, at, gradient), 1.0);
        }
        let j = self.calibration_at();
        // Power lags: it is that of where the surface was before.
        let speed_deg_s = at.sign() * at.speed_deg_s;
        let before = State {
            angle_deg: at.angle_deg - speed_deg_s * p[j + 5],
            ..*at
        };
        let torque = self.torque(p, &before, gradient);
        let by_angle = self.slope(p, gradient);
        let (idle, winding, friction) = (p[j], p[j + 1] * at.winding_factor, p[j + 2]);
        let to_arm = at.sign() * at.ratio * 0.01;
        let load_nm = torque * to_arm;
        let gear = j + if load_nm >= 0.0 { 3 } else { 4 };
        let x = (1.0 + p[gear]) * load_nm + friction;
        if x <= 0.0 {
            gradient.fill(0.0);
            gradient[j] = 1.0;
            return (idle, 0.0);
        }
        let arm_rad_s = (at.speed_deg_s / at.ratio).to_radians();
        let by_x = 2.0 * winding * x + arm_rad_s;
        let by_torque = by_x * (1.0 + p[gear]) * to_arm;
        for g in &mut gradient[..j] {
            *g *= by_torque;
        }
        gradient[j] = 1.0;
        gradient[j + 1] = at.winding_factor * x * x;
        gradient[j + 2] = by_x;
        gradient[gear] = by_x * load_nm;
        gradient[j + 5] = -by_torque * by_angle * speed_deg_s;
        (idle + winding * x * x + arm_rad_s * x, by_torque)
    }
}

/// Where and how the surface moved.
#[derive(Debug, Clone, Copy)]
pub(crate) struct State {
    pub angle_deg: f64,
    pub up: bool,
    /// °/s at the surface, positive.
    pub speed_deg_s: f64,
    /// dθ/dα: surface degrees per arm degree, positive.
    pub ratio: f64,
    /// Winding loss now over that at the calibration's reference temperature.
    pub winding_factor: f64,
}

impl State {
    pub fn sign(&self) -> f64 {
        if self.up { 1.0 } else { -1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn by_differences(terms: &Terms, p: &[f64], at: &State) -> Vec<f64> {
        let mut scratch = vec![0.0; terms.len()];
        (0..p.len())
            .map(|j| {
                let h = 1e-6 * p[j].abs().max(1e-2);
                let (mut lo, mut hi) = (p.to_vec(), p.to_vec());
                lo[j] -= h;
                hi[j] += h;
                (terms.effort(&hi, at, &mut scratch).0 - terms.effort(&lo, at, &mut scratch).0)
                    / (2.0 * h)
            })
            .collect()
    }

    #[test]
    fn gradients_agree_with_differences_on_both_branches_and_both_sources() {
        for power in [false, true] {
            let terms = Terms {
                viscous: true,
                knee_up: true,
                knee_down: true,
                spots: vec![
                    Spot {
                        when: When::Both,
                        form: Form::Cosine(1),
                    },
                    Spot {
                        when: When::Up,
                        form: Form::Cosine(4),
                    },
                    Spot {
                        when: When::Down,
                        form: Form::Flat,
                    },
                ],
                power,
            };
            let mut p = vec![
                0.4, 0.5, 3.0, 0.02, 0.7, 12.0, 0.6, -10.0, 4.0, 5.0, 0.7, 2.0, -8.0, 0.3, 2.5,
                14.0, 1.1,
            ];
            if power {
                p.extend([0.21, 8.4, 0.06, 0.18, -0.1, 0.006]);
            }
            let mut gradient = vec![0.0; terms.len()];
            for up in [true, false] {
                for angle_deg in [-17.3, -8.2, 0.3, 4.4, 15.1] {
                    let at = State {
                        angle_deg,
                        up,
                        speed_deg_s: 31.0,
                        ratio: 0.8,
                        winding_factor: 1.05,
                    };
                    terms.effort(&p, &at, &mut gradient);
                    for (a, b) in gradient.iter().zip(by_differences(&terms, &p, &at)) {
                        assert!(
                            (a - b).abs() < 1e-5 * (1.0 + b.abs()),
                            "{power} {up} {angle_deg}: {a} {b}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn a_servo_driven_by_its_load_shows_idle_power_alone() {
        let terms = Terms {
            power: true,
            ..Terms::default()
        };
        let p = [0.0, 1.0, 1.0, 0.21, 8.4, 0.06, 0.18, 0.0, 0.0];
        let at = State {
            angle_deg: 20.0,
            up: false,
            speed_deg_s: 30.0,
            ratio: 1.0,
            winding_factor: 1.0,
        };
        let mut gradient = vec![0.0; 9];
        assert_eq!(terms.effort(&p, &at, &mut gradient), (0.21, 0.0));
    }

    #[test]
    fn power_of_a_known_shaft_torque_is_the_contracts_balance_worked_by_hand() {
        // τ = 20 N·cm at the surface, ratio 0.5: 0.1 N·m at the arm; x = 1.18·0.1 + 0.06 = 0.178 N·m;
        // ω = 60°/s at the arm = 1.0472 rad/s; P = 0.21 + 8.4·0.178² + 1.0472·0.178 = 0.66255 W.
        let terms = Terms {
            power: true,
            ..Terms::default()
        };
        let p = [0.0, 0.0, 20.0, 0.21, 8.4, 0.06, 0.18, 0.0, 0.0];
        let at = State {
            angle_deg: 0.0,
            up: true,
            speed_deg_s: 30.0,
            ratio: 0.5,
            winding_factor: 1.0,
        };
        let power = terms.effort(&p, &at, &mut [0.0; 9]).0;
        assert!((power - 0.662_55).abs() < 1e-5, "{power}");
    }
}
