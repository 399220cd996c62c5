//! The push-rod linkage as a planar four-bar: arm angle to surface angle and back, gear ratio and levers. Pure.
//!
//! Shaft at (0, 0), hinge at (base, 0); arm and horn on the same side of that line (an open, not a crossed, linkage).
//! At neutral pulse the arm stands square to the line, turned by `arm_zero_deg` the way that drives the surface up.
//! Pushing the rod drives the surface up, so driving up turns the arm's tip towards the hinge. A linkage mounted the
//! other way round is the mirror image of this one: swap the sign of both angles.

use super::Linkage;

/// A linkage that closes at neutral, made ready for many calls. Angles in degrees, lengths in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinkageSolver {
    arm_mm: f64,
    horn_mm: f64,
    rod_mm: f64,
    base_mm: f64,
    /// Arm from the shaft-to-hinge direction at neutral, counter-clockwise, rad.
    arm_neutral_rad: f64,
    /// Horn likewise.
    horn_neutral_rad: f64,
    /// Side of the shaft-to-horn-tip line on which the arm lies at neutral: +1 or −1.
    arm_side: f64,
}

/// The linkage at one deflection: all that turns force, torque and angle at one end into those at the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// Arm angle from neutral, positive driving up, degrees.
    pub arm_deg: f64,
    /// Surface angle from neutral, up positive, degrees.
    pub surface_deg: f64,
    /// Distance of the rod's line from the output shaft, mm; negative beyond the arm's dead point.
    pub arm_lever_mm: f64,
    /// Distance of the rod's line from the hinge line, mm.
    pub horn_lever_mm: f64,
}

impl Pose {
    /// dθ/dα: surface degrees per arm degree. By virtual work it is the ratio of the two levers.
    pub fn ratio(&self) -> f64 {
        self.arm_lever_mm / self.horn_lever_mm
    }
}

/// Below this lever (mm) the horn stands at its dead point, where a ratio has no meaning.
const DEAD_POINT_MM: f64 = 1e-6;

impl LinkageSolver {
    /// `None` if a length is not a positive number, or the rod does not join arm and horn at neutral with both on the
    /// same side (see [`closing_rod_mm`]).
    pub fn new(linkage: &Linkage) -> Option<Self> {
        let lowest_highest = closing_rod_mm(linkage)?;
        if !(linkage.rod_mm > lowest_highest.0 && linkage.rod_mm < lowest_highest.1) {
            return None;
        }
        let mut solver = Self {
            arm_mm: linkage.arm_mm,
            horn_mm: linkage.horn_mm,
            rod_mm: linkage.rod_mm,
            base_mm: linkage.base_mm,
            arm_neutral_rad: (90.0 - linkage.arm_zero_deg).to_radians(),
            horn_neutral_rad: 0.0,
            arm_side: 1.0,
        };
        solver.horn_neutral_rad = solver.horn_rad_at_arm_rad(solver.arm_neutral_rad)?;
        let arm = solver.arm_tip(solver.arm_neutral_rad);
        let horn = solver.horn_tip(solver.horn_neutral_rad);
        let cross = horn.0 * arm.1 - horn.1 * arm.0;
        if cross == 0.0 || !cross.is_finite() {
            return None;
        }
        solver.arm_side = cross.signum();
        solver.pose_at_surface_deg(0.0).map(|_| solver)
    }

    /// Surface deflection at an arm angle, degrees; 0 at 0. `None` out of the rod's reach.
    pub fn surface_deg_at_arm_deg(&self, arm_deg: f64) -> Option<f64> {
        let arm_rad = self.arm_neutral_rad - arm_deg.to_radians();
        let horn_rad = self.horn_rad_at_arm_rad(arm_rad)?;
        Some(half_turn_deg(self.horn_neutral_rad - horn_rad))
    }

    /// Arm angle at a surface deflection, degrees, on the neutral's side of the arm's dead points; 0 at 0.
    /// `None` out of the rod's reach.
    pub fn arm_deg_at_surface_deg(&self, surface_deg: f64) -> Option<f64> {
        self.pose_at_surface_deg(surface_deg).map(|p| p.arm_deg)
    }

    /// dθ/dα, surface degrees per arm degree, at a surface deflection. `None` out of reach.
    pub fn ratio_at_surface_deg(&self, surface_deg: f64) -> Option<f64> {
        self.pose_at_surface_deg(surface_deg).map(|p| p.ratio())
    }

    /// Distance of the rod's line from the hinge line, mm: torque (N·cm) is force (N) × this / 10.
    pub fn horn_lever_mm_at_surface_deg(&self, surface_deg: f64) -> Option<f64> {
        self.pose_at_surface_deg(surface_deg)
            .map(|p| p.horn_lever_mm)
    }

    /// Distance of the rod's line from the output shaft, mm: torque at the shaft (N·cm) is force (N) × this / 10.
    pub fn arm_lever_mm_at_surface_deg(&self, surface_deg: f64) -> Option<f64> {
        self.pose_at_surface_deg(surface_deg)
            .map(|p| p.arm_lever_mm)
    }

    /// Everything at once, for callers that want more than one of the above.
    pub fn pose_at_surface_deg(&self, surface_deg: f64) -> Option<Pose> {
        let horn = self.horn_tip(self.horn_neutral_rad - surface_deg.to_radians());
        let reach = horn.0.hypot(horn.1);
        // The triangle shaft, arm tip, horn tip: law of cosines at the shaft.
        let cosine = (self.arm_mm * self.arm_mm + reach * reach - self.rod_mm * self.rod_mm)
            / (2.0 * self.arm_mm * reach);
        let arm_rad = horn.1.atan2(horn.0) + self.arm_side * acos_within(cosine)?;
        let arm = self.arm_tip(arm_rad);
        let rod = (
            (horn.0 - arm.0) / self.rod_mm,
            (horn.1 - arm.1) / self.rod_mm,
        );
        // Clockwise moment of a unit push along the rod, about the shaft and about the hinge.
        let arm_lever_mm = rod.0 * arm.1 - rod.1 * arm.0;
        let horn_lever_mm = rod.0 * horn.1 - rod.1 * (horn.0 - self.base_mm);
        (horn_lever_mm > DEAD_POINT_MM).then(|| Pose {
            arm_deg: half_turn_deg(self.arm_neutral_rad - arm_rad),
            surface_deg,
            arm_lever_mm,
            horn_lever_mm,
        })
    }

    /// The open one of the two ways to join arm and horn: the horn lies clockwise of the line from hinge to arm tip.
    fn horn_rad_at_arm_rad(&self, arm_rad: f64) -> Option<f64> {
        let arm = self.arm_tip(arm_rad);
        let (x, y) = (arm.0 - self.base_mm, arm.1);
        let distance = x.hypot(y);
        let cosine = (self.horn_mm * self.horn_mm + distance * distance
            - self.rod_mm * self.rod_mm)
            / (2.0 * self.horn_mm * distance);
        Some(y.atan2(x) - acos_within(cosine)?)
    }

    fn arm_tip(&self, arm_rad: f64) -> (f64, f64) {
        let (sin, cos) = arm_rad.sin_cos();
        (self.arm_mm * cos, self.arm_mm * sin)
    }

    fn horn_tip(&self, horn_rad: f64) -> (f64, f64) {
        let (sin, cos) = horn_rad.sin_cos();
        (self.base_mm + self.horn_mm * cos, self.horn_mm * sin)
    }
}

/// Shortest and longest rod, mm (both excluded), that joins this arm and horn at neutral. At the shortest the horn
/// points straight at the arm's tip, at the longest it lies along the shaft-to-hinge line, away from the servo.
/// `None` if another length is not a positive number, or the arm lies along or below that line.
pub fn closing_rod_mm(linkage: &Linkage) -> Option<(f64, f64)> {
    let lengths = [linkage.arm_mm, linkage.horn_mm, linkage.base_mm];
    if lengths.iter().any(|&l| !(l.is_finite() && l > 0.0))
        || linkage.arm_zero_deg.abs() >= 90.0
        || linkage.arm_zero_deg.is_nan()
    {
        return None;
    }
    let (sin, cos) = (90.0 - linkage.arm_zero_deg).to_radians().sin_cos();
    let (x, y) = (linkage.arm_mm * cos, linkage.arm_mm * sin);
    let shortest = ((linkage.base_mm - x).hypot(y) - linkage.horn_mm).abs();
    let longest = (linkage.base_mm + linkage.horn_mm - x).hypot(y);
    Some((shortest, longest))
}

fn acos_within(cosine: f64) -> Option<f64> {
    // A NaN is not within.
    (-1.0..=1.0).contains(&cosine).then(|| cosine.acos())
}

/// An angle in rad as degrees within a half turn of zero.
fn half_turn_deg(rad: f64) -> f64 {
    let deg = rad.to_degrees();
    deg - 360.0 * (deg / 360.0).round()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sample() -> Linkage {
        Linkage {
            arm_mm: 18.0,
            horn_mm: 22.0,
            rod_mm: 95.0,
            base_mm: 97.0,
            arm_zero_deg: 0.0,
        }
    }

    fn parallelogram() -> Linkage {
        Linkage {
            arm_mm: 20.0,
            horn_mm: 20.0,
            rod_mm: 90.0,
            base_mm: 90.0,
            arm_zero_deg: 0.0,
        }
    }

    fn linkages() -> impl Strategy<Value = (Linkage, f64)> {
        (
            8.0..40.0,
            8.0..40.0,
            60.0..200.0,
            -6.0..6.0,
            -30.0..30.0,
            -35.0..35.0,
        )
            .prop_map(
                |(arm_mm, horn_mm, base_mm, longer_mm, arm_zero_deg, surface_deg)| {
                    let rod_mm = base_mm + longer_mm;
                    let linkage = Linkage {
                        arm_mm,
                        horn_mm,
                        rod_mm,
                        base_mm,
                        arm_zero_deg,
                    };
                    (linkage, surface_deg)
                },
            )
    }

    #[test]
    fn a_parallelogram_turns_both_ends_alike() {
        let solver = LinkageSolver::new(&parallelogram()).unwrap();
        for step in -60..=60 {
            let deg = f64::from(step);
            assert!((solver.ratio_at_surface_deg(deg).unwrap() - 1.0).abs() < 1e-9);
            assert!((solver.surface_deg_at_arm_deg(deg).unwrap() - deg).abs() < 1e-9);
            // The lever of a horn square to the rod at neutral falls with the cosine.
            let lever = 20.0 * deg.to_radians().cos();
            assert!((solver.horn_lever_mm_at_surface_deg(deg).unwrap() - lever).abs() < 1e-9);
        }
    }

    #[test]
    fn neutral_is_zero_at_both_ends_and_up_is_up() {
        let solver = LinkageSolver::new(&sample()).unwrap();
        assert!(solver.surface_deg_at_arm_deg(0.0).unwrap().abs() < 1e-9);
        assert!(solver.arm_deg_at_surface_deg(0.0).unwrap().abs() < 1e-9);
        assert!(solver.surface_deg_at_arm_deg(10.0).unwrap() > 0.0);
        // Arm 18 on horn 22: about 18/22 near neutral.
        assert!((solver.ratio_at_surface_deg(0.0).unwrap() - 18.0 / 22.0).abs() < 0.02);
    }

    /// The horn's angle found apart from the solver, by bisection on the rod's length: arm tip at (±9, 18 cos 30°).
    #[test]
    fn driving_up_turns_the_arm_tip_towards_the_hinge() {
        let solver = LinkageSolver::new(&sample()).unwrap();
        let horn_deg_at_tip_x = |x_mm: f64| {
            let tip = (x_mm, (18.0_f64.powi(2) - x_mm * x_mm).sqrt());
            let (mut low, mut high) = (5.0_f64, 175.0_f64);
            for _ in 0..100 {
                let middle = 0.5 * (low + high);
                let (sin, cos) = middle.to_radians().sin_cos();
                let length = (97.0 + 22.0 * cos - tip.0).hypot(22.0 * sin - tip.1);
                // The further the horn leans towards the arm, the shorter the rod that reaches it.
                if length > 95.0 {
                    low = middle
                } else {
                    high = middle
                }
            }
            low
        };
        let neutral = horn_deg_at_tip_x(0.0);
        for (arm_deg, tip_x_mm) in [(30.0, 9.0), (-30.0, -9.0)] {
            let expected = neutral - horn_deg_at_tip_x(tip_x_mm);
            let deg = solver.surface_deg_at_arm_deg(arm_deg).unwrap();
            assert!((deg - expected).abs() < 1e-9, "{deg} {expected}");
            assert!(deg.signum() == arm_deg.signum());
        }
    }

    #[test]
    fn the_longer_horn_lever_moves_the_surface_less() {
        let mut linkage = sample();
        let before = LinkageSolver::new(&linkage)
            .unwrap()
            .ratio_at_surface_deg(5.0);
        linkage.horn_mm += 4.0;
        let after = LinkageSolver::new(&linkage)
            .unwrap()
            .ratio_at_surface_deg(5.0);
        assert!(after.unwrap() < before.unwrap());
    }

    #[test]
    fn an_arm_set_forward_is_square_again_where_it_was_turned_from() {
        // Set 10° up at neutral, the arm stands square at −10°: the same parallelogram, 10° further on.
        let turned = Linkage {
            arm_zero_deg: 10.0,
            ..parallelogram()
        };
        let solver = LinkageSolver::new(&turned).unwrap();
        let lever = solver.horn_lever_mm_at_surface_deg(-10.0).unwrap();
        assert!((lever - 20.0).abs() < 1e-9, "{lever}");
    }

    #[test]
    fn out_of_reach_is_none_and_not_a_number() {
        let solver = LinkageSolver::new(&sample()).unwrap();
        assert_eq!(solver.arm_deg_at_surface_deg(120.0), None);
        assert_eq!(solver.ratio_at_surface_deg(f64::NAN), None);
        assert_eq!(solver.surface_deg_at_arm_deg(f64::INFINITY), None);
    }

    #[test]
    fn a_rod_too_short_or_too_long_does_not_close() {
        let (shortest, longest) = closing_rod_mm(&sample()).unwrap();
        for (rod_mm, closes) in [
            (shortest - 0.1, false),
            (shortest + 0.1, true),
            (longest - 0.1, true),
            (longest + 0.1, false),
            (0.0, false),
            (f64::NAN, false),
        ] {
            let linkage = Linkage { rod_mm, ..sample() };
            assert_eq!(
                LinkageSolver::new(&linkage).is_some(),
                closes,
                "rod {rod_mm}"
            );
        }
        assert!(
            LinkageSolver::new(&Linkage {
                base_mm: -97.0,
                ..sample()
            })
            .is_none()
        );
    }

    proptest! {
        #[test]
        fn arm_and_surface_angle_undo_each_other((linkage, deg) in linkages()) {
            let solver = LinkageSolver::new(&linkage);
            prop_assume!(solver.is_some());
            let Some(pose) = solver.and_then(|s| s.pose_at_surface_deg(deg)) else { return Ok(()) };
            prop_assume!(pose.horn_lever_mm > 0.5);
            let back = solver.unwrap().surface_deg_at_arm_deg(pose.arm_deg).unwrap();
            prop_assert!((back - deg).abs() < 1e-6, "{back} {deg}");
        }

        #[test]
        fn the_ratio_is_the_slope_of_the_angles((linkage, deg) in linkages()) {
            let solver = LinkageSolver::new(&linkage);
            prop_assume!(solver.is_some());
            let solver = solver.unwrap();
            let Some(pose) = solver.pose_at_surface_deg(deg) else { return Ok(()) };
            prop_assume!(pose.horn_lever_mm > 2.0 && pose.arm_lever_mm > 2.0);
            let step = 1e-4;
            let (Some(above), Some(below)) = (
                solver.surface_deg_at_arm_deg(pose.arm_deg + step),
                solver.surface_deg_at_arm_deg(pose.arm_deg - step),
            ) else { return Ok(()) };
            let slope = (above - below) / (2.0 * step);
            prop_assert!((slope / pose.ratio() - 1.0).abs() < 1e-5, "{slope} {}", pose.ratio());
        }

        /// Virtual work, with the angles from the solver's own angle functions and the levers from the rod's line:
        /// what the arm puts in, the horn takes out.
        #[test]
        fn the_rod_makes_and_loses_no_work((linkage, deg) in linkages()) {
            let solver = LinkageSolver::new(&linkage);
            prop_assume!(solver.is_some());
            let solver = solver.unwrap();
            let step_deg = 1e-4;
            let (Some(pose), Some(above), Some(below)) = (
                solver.pose_at_surface_deg(deg),
                solver.arm_deg_at_surface_deg(deg + step_deg),
                solver.arm_deg_at_surface_deg(deg - step_deg),
            ) else { return Ok(()) };
            prop_assume!(pose.horn_lever_mm > 2.0 && pose.arm_lever_mm > 2.0);
            let force_n = 7.0;
            let taken_out = force_n * pose.horn_lever_mm * 2.0 * step_deg;
            let put_in = force_n * pose.arm_lever_mm * (above - below);
            prop_assert!((taken_out / put_in - 1.0).abs() < 1e-5, "{taken_out} {put_in}");
        }

        /// F. Freudenstein, 'Approximate synthesis of four-bar linkages', Trans. ASME 77 (1955): formula from memory,
        /// K1 cos ψ − K2 cos φ + K3 = cos(φ − ψ), K1 = base/arm, K2 = base/horn,
        /// K3 = (arm² − rod² + horn² + base²) / (2 arm horn); φ of the arm, ψ of the horn from the base line.
        #[test]
        fn angles_satisfy_freudensteins_equation((linkage, deg) in linkages()) {
            let solver = LinkageSolver::new(&linkage);
            prop_assume!(solver.is_some());
            let solver = solver.unwrap();
            let Some(arm_deg) = solver.arm_deg_at_surface_deg(deg) else { return Ok(()) };
            let Linkage { arm_mm: a, horn_mm: c, rod_mm: b, base_mm: d, arm_zero_deg } = linkage;
            let phi = (90.0 - arm_zero_deg - arm_deg).to_radians();
            let psi = solver.horn_neutral_rad - deg.to_radians();
            let k3 = (a * a - b * b + c * c + d * d) / (2.0 * a * c);
            let left = d / a * psi.cos() - d / c * phi.cos() + k3;
            prop_assert!((left - (phi - psi).cos()).abs() < 1e-9);
        }

        #[test]
        fn no_number_makes_the_solver_panic(
            arm_mm: f64, horn_mm: f64, rod_mm: f64, base_mm: f64, arm_zero_deg: f64, deg: f64,
        ) {
            let linkage = Linkage { arm_mm, horn_mm, rod_mm, base_mm, arm_zero_deg };
            if let Some(solver) = LinkageSolver::new(&linkage) {
                let _ = solver.pose_at_surface_deg(deg);
                let _ = solver.surface_deg_at_arm_deg(deg);
            }
        }
    }
}
