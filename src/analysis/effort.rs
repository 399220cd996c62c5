//! What drives the surface, sample by sample: measured torque, rod force through the linkage, or supply power.

use std::borrow::Cow;

use super::TorqueSource;
use super::series::Series;
use crate::aircraft::linkage::LinkageSolver;
use crate::aircraft::{Calibration, Linkage};
use crate::recording::Channel;

/// The measured effort: N·cm at the surface, or W of supply power.
pub(crate) struct Effort<'a> {
    pub source: TorqueSource,
    pub values: Cow<'a, [f64]>,
    /// Servo current and voltage were there, but no calibration to use them.
    pub lacks_calibration: bool,
}

/// Picks the best source there is, in the contract's order.
pub(crate) fn pick<'a>(
    series: &'a Series,
    angle_deg: &[f64],
    linkage: Option<&Linkage>,
    calibration: Option<&Calibration>,
) -> Effort<'a> {
    let found = |source, values| Effort {
        source,
        values,
        lacks_calibration: false,
    };
    if let Some(torque) = series.column(Channel::TorqueNcm) {
        return found(TorqueSource::Torque, Cow::Borrowed(torque));
    }
    if let Some((force, solver)) = series
        .column(Channel::ForceN)
        .zip(linkage.and_then(LinkageSolver::new))
    {
        let torque = force
            .iter()
            .zip(angle_deg)
            .map(|(f, a)| f * lever_cm(&solver, *a))
            .collect();
        return found(TorqueSource::Force, Cow::Owned(torque));
    }
    let volts = series
        .column(Channel::SupplyV)
        .or(series.column(Channel::SourceV));
    if let Some((current, volts)) = series.column(Channel::CurrentMa).zip(volts) {
        if calibration.is_some() {
            let power = current
                .iter()
                .zip(volts)
                .map(|(ma, v)| 0.001 * ma * v)
                .collect();
            return found(TorqueSource::SupplyPower, Cow::Owned(power));
        }
        return Effort {
            source: TorqueSource::None,
            values: Cow::Owned(Vec::new()),
            lacks_calibration: true,
        };
    }
    found(TorqueSource::None, Cow::Owned(Vec::new()))
}

/// Lever of the rod about the hinge line, cm; NaN where the linkage cannot stand so.
fn lever_cm(solver: &LinkageSolver, angle_deg: f64) -> f64 {
    solver
        .horn_lever_mm_at_surface_deg(angle_deg)
        .map_or(f64::NAN, |mm| 0.1 * mm)
}
