//! The surface on its hinge: what it takes to turn it. Nothing of servo, rod or sensors here.
//!
//! Friction follows P. R. Dahl, "A solid friction model" (Aerospace Corporation, TOR-0158, 1968), exponent 1: after a
//! reversal it builds up exponentially with travel. The static excess that falls off with speed is the Stribeck
//! term of C. Canudas de Wit and others, "A new model for control of systems with friction" (IEEE Trans. Automatic
//! Control 40(3), 1995), the Gaussian form given there. Both cited from memory.

/// Which strokes meet a tight spot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    Up,
    Down,
    Both,
}

/// The form of a tight spot's rise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bump {
    /// Raised cosine, nothing beyond `width_deg` from the peak.
    RaisedCosine,
    /// Gaussian with `width_deg` as its standard deviation.
    Gaussian,
}

/// A local rise of friction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TightSpot {
    pub at_deg: f64,
    /// Height above the friction elsewhere, N·cm.
    pub height_ncm: f64,
    /// Half the width of a raised cosine, or one standard deviation of a Gaussian, degree.
    pub width_deg: f64,
    pub when: When,
    pub bump: Bump,
}

impl TightSpot {
    fn rise_ncm(&self, angle_deg: f64) -> f64 {
        let from_peak = (angle_deg - self.at_deg) / self.width_deg.max(1e-6);
        match self.bump {
            Bump::RaisedCosine if from_peak.abs() >= 1.0 => 0.0,
            Bump::RaisedCosine => {
                0.5 * self.height_ncm * (1.0 + (std::f64::consts::PI * from_peak).cos())
            }
            Bump::Gaussian if from_peak.abs() > 8.0 => 0.0,
            Bump::Gaussian => self.height_ncm * (-0.5 * from_peak * from_peak).exp(),
        }
    }
}

/// A place from which the hinge is stiffer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StiffBeyond {
    /// Signed deflection, degree.
    pub at_deg: f64,
    /// Slope added beyond it, N·cm/deg.
    pub extra_ncm_per_deg: f64,
}

/// Static friction above kinetic: with some give in the drive the surface jerks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StickSlip {
    /// Share by which friction at rest exceeds friction in motion.
    pub static_excess: f64,
    /// Speed at which the excess has fallen to 1/e, degree/s.
    pub falls_at_deg_per_s: f64,
}

/// The hinge and what hangs on it. Torque in N·cm, up positive.
#[derive(Debug, Clone, PartialEq)]
pub struct Hinge {
    pub neutral_torque_ncm: f64,
    pub stiffness_ncm_per_deg: f64,
    pub knee_up: Option<StiffBeyond>,
    pub knee_down: Option<StiffBeyond>,
    /// A hard stop on the up side: place and its own stiffness.
    pub stop_up: Option<StiffBeyond>,
    pub stop_down: Option<StiffBeyond>,
    /// Weight times its distance from the hinge line, N·cm; 0 where the hinge line stands vertical.
    pub weight_moment_ncm: f64,
    /// Attitude of the neutral chord line, degree from level.
    pub attitude_deg: f64,
    /// Kinetic friction, N·cm.
    pub friction_ncm: f64,
    /// Travel over which 63 % of friction builds up after a reversal, degree.
    pub presliding_deg: f64,
    pub tight_spots: Vec<TightSpot>,
    /// Viscous drag, N·cm per degree/s.
    pub viscous_ncm_s_per_deg: f64,
    pub stick_slip: Option<StickSlip>,
    /// Moment of inertia of the surface, kg·cm².
    pub inertia_kg_cm2: f64,
}

impl Default for Hinge {
    fn default() -> Self {
        Self {
            neutral_torque_ncm: 0.5,
            stiffness_ncm_per_deg: 0.45,
            knee_up: None,
            knee_down: None,
            stop_up: None,
            stop_down: None,
            weight_moment_ncm: 0.0,
            attitude_deg: 0.0,
            friction_ncm: 3.0,
            presliding_deg: 0.25,
            tight_spots: Vec::new(),
            viscous_ncm_s_per_deg: 0.002,
            stick_slip: None,
            inertia_kg_cm2: 0.5,
        }
    }
}

impl Hinge {
    /// Elastic torque in N·cm and its slope in N·cm/deg at a deflection in degree, gravity included.
    pub fn elastic(&self, angle_deg: f64) -> (f64, f64) {
        let mut torque = self.neutral_torque_ncm + self.stiffness_ncm_per_deg * angle_deg;
        let mut slope = self.stiffness_ncm_per_deg;
        for place in [self.knee_up, self.stop_up].into_iter().flatten() {
            if angle_deg > place.at_deg {
                torque += place.extra_ncm_per_deg * (angle_deg - place.at_deg);
                slope += place.extra_ncm_per_deg;
            }
        }
        for place in [self.knee_down, self.stop_down].into_iter().flatten() {
            if angle_deg < place.at_deg {
                torque += place.extra_ncm_per_deg * (angle_deg - place.at_deg);
                slope += place.extra_ncm_per_deg;
            }
        }
        if self.weight_moment_ncm != 0.0 {
            let (sine, cosine) = (angle_deg + self.attitude_deg).to_radians().sin_cos();
            torque += self.weight_moment_ncm * cosine;
            slope -= self.weight_moment_ncm * sine.to_radians();
        }
        (torque, slope)
    }

    /// Friction fully built up, N·cm, (moving up, moving down), at a deflection in degree and a speed in degree/s.
    pub fn full_friction_ncm(&self, angle_deg: f64, speed_deg_per_s: f64) -> (f64, f64) {
        let (mut up, mut down) = (self.friction_ncm, self.friction_ncm);
        for spot in &self.tight_spots {
            let rise = spot.rise_ncm(angle_deg);
            if spot.when != When::Down {
                up += rise;
            }
            if spot.when != When::Up {
                down += rise;
            }
        }
        if let Some(stick) = self.stick_slip {
            let ratio = speed_deg_per_s / stick.falls_at_deg_per_s.max(1e-6);
            let factor = 1.0 + stick.static_excess * (-ratio * ratio).exp();
            up *= factor;
            down *= factor;
        }
        (up, down)
    }
}

/// What may differ from stroke to stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct StrokeMood {
    pub(super) friction_factor: f64,
    pub(super) neutral_shift_ncm: f64,
}

/// How the linkage holds the surface: a spring with a gap, in surface degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Grip {
    /// Where the linkage would put the surface, degree.
    pub(super) wants_deg: f64,
    pub(super) slop_deg: f64,
    /// N·cm per degree of the surface.
    pub(super) stiffness_ncm_per_deg: f64,
}

impl Grip {
    /// Torque on the surface and minus its slope.
    pub(super) fn torque(&self, angle_deg: f64) -> (f64, f64) {
        let gap = self.wants_deg - angle_deg;
        let pressed = gap.abs() - 0.5 * self.slop_deg;
        if pressed <= 0.0 {
            return (0.0, 0.0);
        }
        (
            (self.stiffness_ncm_per_deg * pressed).copysign(gap),
            self.stiffness_ncm_per_deg,
        )
    }
}

/// Torque on the surface by all that hold it, and minus its slope.
fn pull_of(grips: &[Grip], angle_deg: f64) -> (f64, f64) {
    grips.iter().fold((0.0, 0.0), |(pull, slope), grip| {
        let (more, steeper) = grip.torque(angle_deg);
        (pull + more, slope + steeper)
    })
}

/// The moving surface.
#[derive(Debug, Clone)]
pub(super) struct Surface {
    pub(super) angle_deg: f64,
    pub(super) speed_deg_per_s: f64,
    /// Share of full friction that has built up, −1 … 1.
    bent: f64,
}

impl Surface {
    pub(super) fn at_rest(angle_deg: f64) -> Self {
        Self {
            angle_deg,
            speed_deg_per_s: 0.0,
            bent: 0.0,
        }
    }

    /// Share of friction after a further travel, and its slope per degree: Dahl's equation solved exactly.
    fn bent_after(&self, travel_deg: f64, presliding_deg: f64) -> (f64, f64) {
        let sense = if travel_deg < 0.0 { -1.0 } else { 1.0 };
        let left = (-travel_deg.abs() / presliding_deg).exp();
        (
            sense + (self.bent - sense) * left,
            (1.0 - sense * self.bent) * left / presliding_deg,
        )
    }

    /// One implicit step against the linkage: finds the travel at which all torques balance. The balance falls
    /// monotonically with travel, so Newton's method with bisection at its back cannot miss. Gives the linkage torque, N·cm.
    pub(super) fn settle(
        &mut self,
        hinge: &Hinge,
        mood: StrokeMood,
        grips: &[Grip],
        dt_s: f64,
    ) -> f64 {
        let presliding = hinge.presliding_deg.max(1e-3);
        let (up, down) = hinge.full_friction_ncm(self.angle_deg, self.speed_deg_per_s);
        // kg·cm² to N·cm·s²/deg: 1 kg·cm² = 1e-4 N·m·s²/rad = 1e-2 N·cm·s²/rad.
        let inertia = (hinge.inertia_kg_cm2.max(1e-4) * 1e-2).to_radians();
        let drag = hinge.viscous_ncm_s_per_deg / dt_s + inertia / (dt_s * dt_s);
        let momentum = inertia * self.speed_deg_per_s / dt_s;
        let balance = |travel: f64| {
            let (pull, pull_slope) = pull_of(grips, self.angle_deg + travel);
            let (elastic, elastic_slope) = hinge.elastic(self.angle_deg + travel);
            let (bent, bent_slope) = self.bent_after(travel, presliding);
            let full = mood.friction_factor * if bent >= 0.0 { up } else { down };
            (
                pull - elastic - mood.neutral_shift_ncm - full * bent - drag * travel + momentum,
                pull_slope + elastic_slope + full * bent_slope + drag,
            )
        };
        let (mut low, mut high) = (-10.0_f64, 10.0_f64);
        let mut travel = self.speed_deg_per_s * dt_s;
        for _ in 0..40 {
            let (excess, slope) = balance(travel);
            if excess.abs() < 1e-7 || high - low < 1e-12 {
                break;
            }
            if excess > 0.0 {
                low = travel;
            } else {
                high = travel;
            }
            let next = travel + excess / slope;
            travel = if next > low && next < high {
                next
            } else {
                0.5 * (low + high)
            };
        }
        self.move_by(travel, presliding, dt_s);
        pull_of(grips, self.angle_deg).0
    }

    /// Moves the surface by a travel that a hand imposes.
    pub(super) fn carried(&mut self, hinge: &Hinge, travel_deg: f64, dt_s: f64) {
        self.move_by(travel_deg, hinge.presliding_deg.max(1e-3), dt_s);
    }

    fn move_by(&mut self, travel_deg: f64, presliding_deg: f64, dt_s: f64) {
        self.bent = self
            .bent_after(travel_deg, presliding_deg)
            .0
            .clamp(-1.0, 1.0);
        self.angle_deg += travel_deg;
        self.speed_deg_per_s = travel_deg / dt_s;
    }

    /// The torque that drives the surface, N·cm: elastic, friction and viscous.
    pub(super) fn torque_ncm(&self, hinge: &Hinge, mood: StrokeMood) -> f64 {
        let (up, down) = hinge.full_friction_ncm(self.angle_deg, self.speed_deg_per_s);
        let full = mood.friction_factor * if self.bent >= 0.0 { up } else { down };
        hinge.elastic(self.angle_deg).0
            + mood.neutral_shift_ncm
            + full * self.bent
            + hinge.viscous_ncm_s_per_deg * self.speed_deg_per_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEADY: StrokeMood = StrokeMood {
        friction_factor: 1.0,
        neutral_shift_ncm: 0.0,
    };

    #[test]
    fn the_elastic_curve_has_the_slopes_and_places_it_was_given() {
        let hinge = Hinge {
            knee_up: Some(StiffBeyond {
                at_deg: 16.0,
                extra_ncm_per_deg: 0.8,
            }),
            stop_down: Some(StiffBeyond {
                at_deg: -20.0,
                extra_ncm_per_deg: 100.0,
            }),
            ..Hinge::default()
        };
        // By hand: 0.5 + 0.45·20 + 0.8·4 = 12.7; 0.5 − 0.45·21 − 100·1 = −108.95.
        assert!((hinge.elastic(20.0).0 - 12.7).abs() < 1e-12);
        assert!((hinge.elastic(-21.0).0 + 108.95).abs() < 1e-12);
        assert_eq!(hinge.elastic(0.0), (0.5, 0.45));
    }

    #[test]
    fn gravity_pulls_with_the_cosine_of_the_attitude() {
        let hinge = Hinge {
            weight_moment_ncm: 2.0,
            attitude_deg: 30.0,
            ..Hinge::default()
        };
        // By hand: 0.5 + 0.45·30 + 2·cos 60° = 15.0.
        assert!((hinge.elastic(30.0).0 - 15.0).abs() < 1e-12);
        let slope = (hinge.elastic(30.001).0 - hinge.elastic(29.999).0) / 0.002;
        assert!((slope - hinge.elastic(30.0).1).abs() < 1e-6);
    }

    #[test]
    fn a_closed_loop_by_hand_costs_twice_friction_times_travel() {
        let hinge = Hinge {
            viscous_ncm_s_per_deg: 0.0,
            ..Hinge::default()
        };
        let mut surface = Surface::at_rest(-20.0);
        let (mut work, dt, step) = (0.0, 1e-3, 0.01);
        // Once round to build friction up, then the loop that is counted.
        for lap in 0..2 {
            for turn in 0..8000 {
                let travel = if turn < 4000 { step } else { -step };
                let before = surface.torque_ncm(&hinge, STEADY);
                surface.carried(&hinge, travel, dt);
                if lap == 1 {
                    work += 0.5 * (before + surface.torque_ncm(&hinge, STEADY)) * travel;
                }
            }
        }
        // Pre-sliding takes 2·F·(2·0.25°) off at each reversal: ∫(1 − bent) = 2·δ over a stroke that starts at −1.
        let expected = 2.0 * 3.0 * 40.0 - 2.0 * 3.0 * 2.0 * 0.25;
        assert!(
            (work / expected - 1.0).abs() < 2e-3,
            "{work} against {expected}"
        );
    }

    #[test]
    fn a_tight_spot_is_felt_at_its_place_in_its_direction_alone() {
        let spot = TightSpot {
            at_deg: 8.0,
            height_ncm: 5.0,
            width_deg: 3.0,
            when: When::Up,
            bump: Bump::RaisedCosine,
        };
        let hinge = Hinge {
            tight_spots: vec![spot],
            ..Hinge::default()
        };
        assert_eq!(hinge.full_friction_ncm(8.0, 0.0), (8.0, 3.0));
        assert_eq!(hinge.full_friction_ncm(11.0, 0.0), (3.0, 3.0));
        assert!((hinge.full_friction_ncm(9.5, 0.0).0 - 5.5).abs() < 1e-12);
    }

    #[test]
    fn a_surface_pulled_along_balances_spring_friction_and_drag() {
        let hinge = Hinge::default();
        let mut surface = Surface::at_rest(0.0);
        let mut pull = 0.0;
        for turn in 0..=2000 {
            let wants = f64::from(turn) * 0.01;
            let grip = Grip {
                wants_deg: wants,
                slop_deg: 0.2,
                stiffness_ncm_per_deg: 300.0,
            };
            pull = surface.settle(&hinge, STEADY, &[grip], 5e-4);
        }
        // By hand: τ0 + k·θ + F + b·20°/s, give = slop/2 + τ/K.
        let expected = 0.5 + 0.45 * surface.angle_deg + 3.0 + 0.002 * 20.0;
        assert!((pull - expected).abs() < 0.01, "{pull} against {expected}");
        assert!((20.0 - surface.angle_deg - 0.1 - pull / 300.0).abs() < 1e-6);
        assert!((surface.torque_ncm(&hinge, STEADY) - pull).abs() < 0.01);
    }
}
