//! Freudenstein's equation of a plane four-bar, solved both ways on the branch that neutral stands on. No statistics here.
//!
//! K1 cos ψ − K2 cos φ + K3 = cos(φ − ψ), K1 = base/arm, K2 = base/horn, K3 = (arm² − rod² + horn² + base²)/(2 arm horn);
//! φ of the arm and ψ of the horn, from the line shaft to hinge. F. Freudenstein, 'An analytical approach to the design of
//! four-link mechanisms', Trans. ASME 76 (1954) 483–492 (source and form from memory, form derived again from the closed loop).
//! Angles outside this file are those of `aircraft.toml`: degrees from neutral, positive driving the surface up.

use std::f64::consts::PI;

use crate::aircraft::{Linkage, LinkageSolver};

/// A linkage that closes at neutral.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FourBar {
    arm_mm: f64,
    horn_mm: f64,
    rod_mm: f64,
    base_mm: f64,
    k: [f64; 3],
    phi_neutral: f64,
    psi_neutral: f64,
    /// Which of the two arm angles that go with a horn angle is neutral's.
    arm_branch: f64,
}

/// Where the linkage stands, and what it does to angle and torque there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stand {
    pub arm_deg: f64,
    pub surface_deg: f64,
    /// dθ/dα: surface degrees per arm degree; torque at the servo per torque at the hinge.
    pub ratio: f64,
    /// Angle between the lines of rod and arm, 0 in line, 90 square, °.
    pub rod_to_arm_deg: f64,
    /// The same of rod and horn: the transmission angle.
    pub rod_to_horn_deg: f64,
}

impl Stand {
    /// Torque at the hinge per torque at the servo.
    pub fn advantage(&self) -> f64 {
        1.0 / self.ratio
    }

    /// How far the rod's line is from being in line with arm or horn, whichever is nearer, °.
    pub fn clear_deg(&self) -> f64 {
        self.rod_to_arm_deg.min(self.rod_to_horn_deg)
    }
}

/// Which lever the rod lies in line with at a dead point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InLine {
    /// The servo's dead point: it turns on and the surface comes back.
    Arm,
    /// The surface's dead point: the servo cannot turn on.
    Horn,
}

/// The end of the way from neutral to one side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeadPoint {
    pub in_line: InLine,
    pub arm_deg: f64,
    pub surface_deg: f64,
}

impl FourBar {
    /// `None` where the rod does not join arm and horn at neutral as [`LinkageSolver::new`] wants it.
    pub fn new(linkage: &Linkage) -> Option<Self> {
        LinkageSolver::new(linkage)?;
        let Linkage {
            arm_mm: a,
            horn_mm: c,
            rod_mm: b,
            base_mm: d,
            arm_zero_deg,
        } = *linkage;
        let mut bar = Self {
            arm_mm: a,
            horn_mm: c,
            rod_mm: b,
            base_mm: d,
            k: [
                d / a,
                d / c,
                (a * a - b * b + c * c + d * d) / (2.0 * a * c),
            ],
            phi_neutral: (90.0 - arm_zero_deg).to_radians(),
            psi_neutral: 0.0,
            arm_branch: 1.0,
        };
        bar.psi_neutral = bar.psi(bar.phi_neutral)?;
        let off = |bar: &Self| {
            let phi = bar.phi(bar.psi_neutral);
            phi.map_or(f64::INFINITY, |phi| wrapped(phi - bar.phi_neutral).abs())
        };
        let other = Self {
            arm_branch: -1.0,
            ..bar
        };
        if off(&other) < off(&bar) {
            bar = other;
        }
        Some(bar)
    }

    /// Horn at an arm angle, rad: P cos ψ + Q sin ψ = R with P = K1 − cos φ, Q = −sin φ, R = K2 cos φ − K3. Of the two
    /// solutions the open one; they meet only where horn and rod are in line, so that it is one branch throughout.
    fn psi(&self, phi: f64) -> Option<f64> {
        let [k1, k2, k3] = self.k;
        let (sin, cos) = phi.sin_cos();
        let (p, q, r) = (k1 - cos, -sin, k2 * cos - k3);
        Some(q.atan2(p) + acos_within(r / p.hypot(q))?)
    }

    /// Arm at a horn angle, rad: (K2 + cos ψ) cos φ + sin ψ sin φ = K1 cos ψ + K3, on neutral's branch.
    fn phi(&self, psi: f64) -> Option<f64> {
        let [k1, k2, k3] = self.k;
        let (sin, cos) = psi.sin_cos();
        let (p, q, r) = (k2 + cos, sin, k1 * cos + k3);
        Some(q.atan2(p) + self.arm_branch * acos_within(r / p.hypot(q))?)
    }

    /// Horn at neutral, from the line shaft to hinge, rad.
    pub(super) fn psi_neutral(&self) -> f64 {
        self.psi_neutral
    }

    pub fn rod_mm(&self) -> f64 {
        self.rod_mm
    }

    /// The linkage at an arm angle, °; `None` where it does not close there.
    pub fn at_arm_deg(&self, arm_deg: f64) -> Option<Stand> {
        let phi = self.phi_neutral - arm_deg.to_radians();
        let psi = self.psi(phi)?;
        Some(self.stand(phi, psi))
    }

    /// The linkage at a deflection, °, on neutral's side of the servo's dead points; `None` out of the rod's reach.
    pub fn at_surface_deg(&self, surface_deg: f64) -> Option<Stand> {
        let psi = self.psi_neutral - surface_deg.to_radians();
        let phi = self.phi(psi)?;
        // The horn may have come to this angle the crossed way round, beyond its dead point.
        let open = self.psi(phi)?;
        (wrapped(open - psi).abs() < 1e-6).then(|| self.stand(phi, psi))
    }

    fn stand(&self, phi: f64, psi: f64) -> Stand {
        let [k1, k2, _] = self.k;
        // Freudenstein's equation differentiated: (K1 sin ψ + sin(φ−ψ)) dψ = (K2 sin φ + sin(φ−ψ)) dφ.
        let difference = (phi - psi).sin();
        let ratio = (k2 * phi.sin() + difference) / (k1 * psi.sin() + difference);
        let arm = (self.arm_mm * phi.cos(), self.arm_mm * phi.sin());
        let horn = (self.horn_mm * psi.cos(), self.horn_mm * psi.sin());
        let rod = (self.base_mm + horn.0 - arm.0, horn.1 - arm.1);
        Stand {
            arm_deg: wrapped(self.phi_neutral - phi).to_degrees(),
            surface_deg: wrapped(self.psi_neutral - psi).to_degrees(),
            ratio,
            rod_to_arm_deg: between_lines_deg(rod, arm),
            rod_to_horn_deg: between_lines_deg(rod, horn),
        }
    }

    /// The nearest dead points on the way up and on the way down; `None` where the arm turns right round without one.
    pub fn dead_points(&self) -> (Option<DeadPoint>, Option<DeadPoint>) {
        let all = self.all_dead_points();
        let nearest = |sign: f64| {
            all.iter()
                .filter(|p| p.arm_deg * sign > 0.0)
                .min_by(|p, q| p.arm_deg.abs().total_cmp(&q.arm_deg.abs()))
                .copied()
        };
        (nearest(1.0), nearest(-1.0))
    }

    /// Law of cosines in the triangles that the linkage becomes where two of its bars lie in one line.
    fn all_dead_points(&self) -> Vec<DeadPoint> {
        let (a, b, c, d) = (self.arm_mm, self.rod_mm, self.horn_mm, self.base_mm);
        let mut found = Vec::with_capacity(8);
        for (reach, folded) in [(b + a, false), (b - a, true)] {
            // Arm and rod in line: the horn's tip stands at this reach from the shaft.
            let cosine = (reach * reach - d * d - c * c) / (2.0 * d * c);
            for side in [1.0, -1.0] {
                let Some(psi) = acos_within(cosine).map(|x| side * x) else {
                    continue;
                };
                let along = (c * psi.sin()).atan2(d + c * psi.cos());
                // Folded, the arm points away from the horn's tip, unless it is longer than the rod.
                let phi = along + if folded && reach > 0.0 { PI } else { 0.0 };
                // Only where the open branch passes there.
                if self
                    .psi(phi)
                    .is_some_and(|open| wrapped(open - psi).abs() < 1e-6)
                {
                    found.push(self.dead(InLine::Arm, phi, psi));
                }
            }
        }
        for (reach, folded) in [(b + c, false), (b - c, true)] {
            let cosine = (a * a + d * d - reach * reach) / (2.0 * a * d);
            for side in [1.0, -1.0] {
                let Some(phi) = acos_within(cosine).map(|x| side * x) else {
                    continue;
                };
                let to_tip = (a * phi.sin()).atan2(a * phi.cos() - d);
                let psi = to_tip + if folded && reach > 0.0 { PI } else { 0.0 };
                found.push(self.dead(InLine::Horn, phi, psi));
            }
        }
        found
    }

    fn dead(&self, in_line: InLine, phi: f64, psi: f64) -> DeadPoint {
        DeadPoint {
            in_line,
            arm_deg: wrapped(self.phi_neutral - phi).to_degrees(),
            surface_deg: wrapped(self.psi_neutral - psi).to_degrees(),
        }
    }

    /// The arm angle, on the way from neutral to one side's dead point, at which the rod's line comes within
    /// [`super::NEAR_DEG`] of arm or horn, °; 0 where neutral is that near already.
    pub fn nears_at_arm_deg(&self, dead: &DeadPoint) -> f64 {
        let near = |share: f64| {
            let stand = self.at_arm_deg(share * dead.arm_deg);
            stand.is_none_or(|s| s.clear_deg() < super::NEAR_DEG)
        };
        const STEPS: usize = 200;
        let Some(first) = (0..=STEPS).find(|&i| near(i as f64 / STEPS as f64)) else {
            return dead.arm_deg;
        };
        if first == 0 {
            return 0.0;
        }
        let step = 1.0 / STEPS as f64;
        let (mut far, mut close) = ((first - 1) as f64 * step, first as f64 * step);
        for _ in 0..40 {
            let middle = 0.5 * (far + close);
            if near(middle) {
                close = middle
            } else {
                far = middle
            }
        }
        close * dead.arm_deg
    }
}

/// Angle between two lines, 0 to 90°.
fn between_lines_deg(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (cross, dot) = (a.0 * b.1 - a.1 * b.0, a.0 * b.0 + a.1 * b.1);
    cross.abs().atan2(dot.abs()).to_degrees()
}

fn acos_within(cosine: f64) -> Option<f64> {
    // Exactly in line, rounding may pass one by a hair; a NaN is not within.
    const HAIR: f64 = 1e-12;
    (-1.0 - HAIR..=1.0 + HAIR)
        .contains(&cosine)
        .then(|| cosine.clamp(-1.0, 1.0).acos())
}

/// An angle within a half turn of zero, rad.
fn wrapped(rad: f64) -> f64 {
    rad - 2.0 * PI * (rad / (2.0 * PI)).round()
}
