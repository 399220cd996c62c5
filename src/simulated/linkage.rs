//! The push rod between servo arm and control horn: angle, ratio and lever of a plane four-bar.
//!
//! Shaft at the origin, hinge at (base, 0); at neutral the arm stands square to the line between them and the horn
//! is on the same side. Driving up turns the arm's tip towards the hinge and pushes the rod.
//! The loop-closure equation is elementary plane geometry (law of cosines); energy conservation gives the torque.

/// How the arm moves the surface.
#[derive(Debug, Clone, PartialEq)]
pub enum Linkage {
    /// Lengths in mm.
    FourBar {
        arm_mm: f64,
        horn_mm: f64,
        rod_mm: f64,
        base_mm: f64,
        /// Angle of the arm at neutral away from square to the line between shaft and hinge, degree, positive the way
        /// that drives the surface up.
        arm_zero_deg: f64,
    },
    /// Degrees of the surface per degree of arm, everywhere the same; the horn's length turns torque into rod force.
    Ratio { surface_per_arm: f64, horn_mm: f64 },
}

impl Default for Linkage {
    fn default() -> Self {
        Self::FourBar {
            arm_mm: 18.0,
            horn_mm: 22.0,
            rod_mm: 95.0,
            base_mm: 97.0,
            arm_zero_deg: 0.0,
        }
    }
}

/// Where the linkage stands for one arm angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// Deflection of the surface if there were neither slop nor give, degree.
    pub surface_deg: f64,
    /// d(surface)/d(arm): torque at the arm is this times torque at the surface.
    pub ratio: f64,
    /// Torque about the hinge per force along the rod, mm.
    pub lever_mm: f64,
}

impl Linkage {
    /// The pose at an arm angle in degree, positive driving the surface up.
    /// Where the bars cannot close, the nearest closing pose (bars in line) is given.
    pub fn pose(&self, arm_deg: f64) -> Pose {
        match *self {
            Self::Ratio {
                surface_per_arm,
                horn_mm,
            } => Pose {
                surface_deg: surface_per_arm * arm_deg,
                ratio: surface_per_arm,
                lever_mm: horn_mm,
            },
            Self::FourBar {
                arm_mm,
                horn_mm,
                rod_mm,
                base_mm,
                arm_zero_deg,
            } => {
                let bars = Bars {
                    arm: arm_mm,
                    horn: horn_mm,
                    rod: rod_mm,
                    base: base_mm,
                };
                let neutral = bars.horn_angle(arm_zero_deg.to_radians());
                let arm = (arm_zero_deg + arm_deg).to_radians();
                let horn = bars.horn_angle(arm);
                let (ratio, lever_mm) = bars.ratio_and_lever(arm, horn);
                Pose {
                    surface_deg: (horn - neutral).to_degrees(),
                    ratio,
                    lever_mm,
                }
            }
        }
    }

    /// The arm angle in degree that puts the surface at a deflection in degree, by bisection within ±85°.
    pub fn arm_for(&self, surface_deg: f64) -> f64 {
        bisect(surface_deg, |arm_deg| self.pose(arm_deg).surface_deg)
    }
}

fn bisect(wanted: f64, of: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (-85.0_f64, 85.0_f64);
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if of(middle) < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

struct Bars {
    arm: f64,
    horn: f64,
    rod: f64,
    base: f64,
}

impl Bars {
    /// Angle of the horn from the normal of the base line, towards +x, rad.
    fn horn_angle(&self, arm_rad: f64) -> f64 {
        let to_hinge_x = self.base - self.arm * arm_rad.sin();
        let to_hinge_y = -self.arm * arm_rad.cos();
        let distance = to_hinge_x.hypot(to_hinge_y).max(1e-9);
        let cosine = (self.rod * self.rod - distance * distance - self.horn * self.horn)
            / (2.0 * self.horn.max(1e-9) * distance);
        to_hinge_x.atan2(to_hinge_y) - cosine.clamp(-1.0, 1.0).acos()
    }

    fn ratio_and_lever(&self, arm_rad: f64, horn_rad: f64) -> (f64, f64) {
        let along_x = self.base + self.horn * horn_rad.sin() - self.arm * arm_rad.sin();
        let along_y = self.horn * horn_rad.cos() - self.arm * arm_rad.cos();
        let length = along_x.hypot(along_y).max(1e-9);
        let (unit_x, unit_y) = (along_x / length, along_y / length);
        // A rigid rod: both ends move equally along it.
        let lever = self.horn * (unit_x * horn_rad.cos() - unit_y * horn_rad.sin());
        let arm_lever = self.arm * (unit_x * arm_rad.cos() - unit_y * arm_rad.sin());
        let safe = if lever.abs() < 1e-6 {
            1e-6_f64.copysign(lever)
        } else {
            lever
        };
        (arm_lever / safe, lever)
    }
}

/// The linkage sampled each degree and interpolated by cubic Hermite: the plant asks 80 000 times a recording.
#[derive(Debug, Clone)]
pub(super) struct LinkageTable {
    surface_deg: Vec<f64>,
    ratio: Vec<f64>,
}

const TABLE_HALF_RANGE_DEG: f64 = 90.0;

impl LinkageTable {
    pub(super) fn new(linkage: &Linkage) -> Self {
        let poses: Vec<Pose> = (-90..=91)
            .map(|degree| linkage.pose(f64::from(degree)))
            .collect();
        Self {
            surface_deg: poses.iter().map(|pose| pose.surface_deg).collect(),
            ratio: poses.iter().map(|pose| pose.ratio).collect(),
        }
    }

    /// The arm angle in degree for a deflection in degree, to the table's accuracy.
    pub(super) fn arm_for(&self, surface_deg: f64) -> f64 {
        bisect(surface_deg, |arm_deg| self.at(arm_deg).0)
    }

    /// Surface angle in degree and ratio at an arm angle in degree; the arm is held within ±90°.
    pub(super) fn at(&self, arm_deg: f64) -> (f64, f64) {
        let place = (arm_deg + TABLE_HALF_RANGE_DEG).clamp(0.0, 2.0 * TABLE_HALF_RANGE_DEG);
        let left = place as usize;
        let u = place - left as f64;
        let (p0, p1) = (self.surface_deg[left], self.surface_deg[left + 1]);
        let (m0, m1) = (self.ratio[left], self.ratio[left + 1]);
        let square = 2.0 * (p0 - p1) + m0 + m1;
        let linear = 3.0 * (p1 - p0) - 2.0 * m0 - m1;
        (
            p0 + u * (m0 + u * (linear + u * square)),
            m0 + u * (2.0 * linear + 3.0 * u * square),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Drawn by hand: base 100, rod 100, arm and horn 20 is a parallelogram, so both turn alike.
    #[test]
    fn a_parallelogram_turns_arm_and_surface_alike() {
        let linkage = Linkage::FourBar {
            arm_mm: 20.0,
            horn_mm: 20.0,
            rod_mm: 100.0,
            base_mm: 100.0,
            arm_zero_deg: 0.0,
        };
        for arm in [-40.0, -10.0, 0.0, 25.0, 50.0] {
            let pose = linkage.pose(arm);
            assert!((pose.surface_deg - arm).abs() < 1e-9, "{pose:?}");
            assert!((pose.ratio - 1.0).abs() < 1e-9);
            assert!((pose.lever_mm - 20.0 * arm.to_radians().cos()).abs() < 1e-9);
        }
    }

    #[test]
    fn the_ratio_is_the_slope_of_the_angle_and_the_rod_keeps_its_length() {
        let linkage = Linkage::default();
        for arm in [-45.0_f64, -20.0, 0.0, 13.0, 40.0] {
            let pose = linkage.pose(arm);
            let slope = (linkage.pose(arm + 1e-4).surface_deg
                - linkage.pose(arm - 1e-4).surface_deg)
                / 2e-4;
            assert!((slope - pose.ratio).abs() < 1e-6, "{slope} {pose:?}");
            // Neutral by the law of cosines, worked by hand: the horn leans 5.45° away from the hinge's far side.
            let neutral_rad = -5.45_f64.to_radians();
            let horn = neutral_rad + pose.surface_deg.to_radians();
            let tip = (97.0 + 22.0 * horn.sin(), 22.0 * horn.cos());
            let arm_tip = (18.0 * arm.to_radians().sin(), 18.0 * arm.to_radians().cos());
            assert!(((tip.0 - arm_tip.0).hypot(tip.1 - arm_tip.1) - 95.0).abs() < 0.02);
        }
    }

    #[test]
    fn an_arm_set_off_square_moves_as_the_same_bars_do_from_there() {
        let square = Linkage::default();
        let offset = Linkage::FourBar {
            arm_mm: 18.0,
            horn_mm: 22.0,
            rod_mm: 95.0,
            base_mm: 97.0,
            arm_zero_deg: 10.0,
        };
        let (there, here) = (square.pose(25.0), offset.pose(15.0));
        let moved = there.surface_deg - square.pose(10.0).surface_deg;
        assert!((here.surface_deg - moved).abs() < 1e-12);
        assert_eq!((here.ratio, here.lever_mm), (there.ratio, there.lever_mm));
        assert_eq!(offset.pose(0.0).surface_deg, 0.0);
    }

    #[test]
    fn the_table_agrees_with_the_geometry_and_the_inverse_comes_back() {
        let linkage = Linkage::default();
        let table = LinkageTable::new(&linkage);
        for step in -500..500 {
            let arm = f64::from(step) * 0.1 + 0.037;
            let (angle, ratio) = table.at(arm);
            let pose = linkage.pose(arm);
            assert!((angle - pose.surface_deg).abs() < 1e-5 && (ratio - pose.ratio).abs() < 1e-4);
            assert!((linkage.arm_for(pose.surface_deg) - arm).abs() < 1e-9);
        }
    }
}
