//! A linkage as well as it is known: its lengths with their covariance, and every number made of them with its interval.

use nalgebra::{SMatrix, SVector};

use super::FourBar;
use crate::aircraft::{Linkage, LinkageNotes};
use crate::analysis::Quantity;
use crate::analysis::stats::student;

/// How far off the lengths of arm and horn are taken to be where the file says nothing, mm; rod and base twice that: their
/// ends are harder to measure between (assumed, common practice, no source).
pub const TOLERANCE_MM: f64 = 0.5;
/// How far the arm's angle at neutral may be from the file's, ° (assumed: half a tooth of a 25-tooth spline is 7.2°).
pub const ARM_ZERO_DEG: f64 = 3.0;
/// A tolerance is taken as the ends of a normal 95 % interval.
pub(super) const LIMIT_95: f64 = 1.959_964;

/// Arm, horn, rod, base in mm, arm at neutral in degrees.
pub(super) const LENGTHS: usize = 5;
pub(super) type Covariance = SMatrix<f64, LENGTHS, LENGTHS>;

/// The lengths with what is known of their errors.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    pub linkage: Linkage,
    /// What tolerances leave; and what the scatter of a recording adds, with its degrees of freedom.
    pub(super) of_tolerance: Covariance,
    pub(super) of_scatter: Covariance,
    pub(super) df: f64,
    /// How far off the lengths of arm and horn may be, mm.
    pub tolerance_mm: f64,
}

impl Known {
    /// As the aircraft file has it, within its tolerances.
    pub fn on_file(linkage: &Linkage, notes: &LinkageNotes) -> Self {
        let tolerance_mm = notes.tolerance_mm.unwrap_or(TOLERANCE_MM);
        let u = tolerance_u(tolerance_mm);
        Self {
            linkage: *linkage,
            of_tolerance: Covariance::from_diagonal(&SVector::from(u.map(|u| u * u))),
            of_scatter: Covariance::zeros(),
            df: f64::INFINITY,
            tolerance_mm,
        }
    }

    /// Standard uncertainties in the order arm, horn, rod, base (mm), arm at neutral (°).
    pub fn u(&self) -> [f64; LENGTHS] {
        let all = self.of_tolerance + self.of_scatter;
        std::array::from_fn(|i| all[(i, i)].max(0.0).sqrt())
    }
}

pub(super) fn tolerance_u(tolerance_mm: f64) -> [f64; LENGTHS] {
    [
        tolerance_mm,
        tolerance_mm,
        2.0 * tolerance_mm,
        2.0 * tolerance_mm,
        ARM_ZERO_DEG,
    ]
    .map(|limit| limit / LIMIT_95)
}

pub(super) fn as_array(linkage: &Linkage) -> [f64; LENGTHS] {
    [
        linkage.arm_mm,
        linkage.horn_mm,
        linkage.rod_mm,
        linkage.base_mm,
        linkage.arm_zero_deg,
    ]
}

pub(super) fn as_linkage(p: &[f64]) -> Linkage {
    Linkage {
        arm_mm: p[0],
        horn_mm: p[1],
        rod_mm: p[2],
        base_mm: p[3],
        arm_zero_deg: p[4],
    }
}

/// A known linkage, or the same with the rod in other holes and set anew, so that arm and surface stand at neutral as before.
#[derive(Debug, Clone)]
pub struct Setup<'k> {
    known: &'k Known,
    arm_hole_mm: Option<f64>,
    horn_hole_mm: Option<f64>,
}

impl<'k> Setup<'k> {
    pub fn as_it_is(known: &'k Known) -> Self {
        Self {
            known,
            arm_hole_mm: None,
            horn_hole_mm: None,
        }
    }

    /// `None`: the hole in use. Other holes are taken to lie on the lines shaft to rod and hinge to rod.
    pub fn with_holes(known: &'k Known, arm_mm: Option<f64>, horn_mm: Option<f64>) -> Self {
        Self {
            known,
            arm_hole_mm: arm_mm,
            horn_hole_mm: horn_mm,
        }
    }

    /// The lengths with the rod set anew; `None` where the linkage does not close.
    pub fn linkage(&self) -> Option<Linkage> {
        changed(&self.known.linkage, self.arm_hole_mm, self.horn_hole_mm)
    }

    /// The linkage at its most likely lengths.
    pub fn bar(&self) -> Option<FourBar> {
        FourBar::new(&self.linkage()?)
    }

    /// A number made of the linkage, its interval by first-order propagation (JCGM 100:2008, 5.1 and 5.2), derivatives by
    /// central differences. Without an interval where a neighbouring linkage does not give the number.
    pub fn quantity(&self, number: impl Fn(&FourBar) -> Option<f64>) -> Option<Quantity> {
        let value = number(&self.bar()?)?;
        let parts = self.parts(&number);
        let interval = parts.and_then(|parts| {
            let (u, df) = student::combine(&parts);
            student::interval(value, u, df)
        });
        Some(Quantity { value, interval })
    }

    /// Standard uncertainties with their degrees of freedom: of tolerances, of scatter.
    fn parts(&self, number: &impl Fn(&FourBar) -> Option<f64>) -> Option<[(f64, f64); 2]> {
        // Far below any tolerance, far above rounding.
        const STEP: f64 = 1e-3;
        let centre = as_array(&self.known.linkage);
        let of = |p: &[f64], arm: Option<f64>, horn: Option<f64>| {
            number(&FourBar::new(&changed(&as_linkage(p), arm, horn)?)?)
        };
        let mut gradient = SVector::<f64, LENGTHS>::zeros();
        for i in 0..LENGTHS {
            let at = |step: f64| {
                let mut p = centre;
                p[i] += step;
                of(&p, self.arm_hole_mm, self.horn_hole_mm)
            };
            gradient[i] = (at(STEP)? - at(-STEP)?) / (2.0 * STEP);
        }
        let slope = |hole: Option<f64>, at: &dyn Fn(f64) -> Option<f64>| match hole {
            Some(mm) => Some((at(mm + STEP)? - at(mm - STEP)?) / (2.0 * STEP)),
            None => Some(0.0),
        };
        let arm = slope(self.arm_hole_mm, &|mm| {
            of(&centre, Some(mm), self.horn_hole_mm)
        })?;
        let horn = slope(self.horn_hole_mm, &|mm| {
            of(&centre, self.arm_hole_mm, Some(mm))
        })?;
        let hole = self.known.tolerance_mm / LIMIT_95;
        let of_holes = (arm * arm + horn * horn) * hole * hole;
        let form = |c: &Covariance| (gradient.transpose() * c * gradient)[0].max(0.0);
        let tolerance = form(&self.known.of_tolerance) + of_holes;
        Some([
            (tolerance.sqrt(), f64::INFINITY),
            (form(&self.known.of_scatter).sqrt(), self.known.df),
        ])
    }
}

fn changed(linkage: &Linkage, arm: Option<f64>, horn: Option<f64>) -> Option<Linkage> {
    if arm.is_none() && horn.is_none() {
        return Some(*linkage);
    }
    let psi = FourBar::new(linkage)?.psi_neutral();
    let phi = (90.0 - linkage.arm_zero_deg).to_radians();
    let arm_mm = arm.unwrap_or(linkage.arm_mm);
    let horn_mm = horn.unwrap_or(linkage.horn_mm);
    let x = linkage.base_mm + horn_mm * psi.cos() - arm_mm * phi.cos();
    let y = horn_mm * psi.sin() - arm_mm * phi.sin();
    Some(Linkage {
        arm_mm,
        horn_mm,
        rod_mm: x.hypot(y),
        ..*linkage
    })
}
