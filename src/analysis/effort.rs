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

impl Effort<'_> {
    pub fn none() -> Self {
        Self {
            source: TorqueSource::None,
            values: Cow::Owned(Vec::new()),
            lacks_calibration: false,
        }
    }

    /// The channel that it comes from, if that never changes: a real sensor's last digit does.
    pub fn dead(&self) -> Option<&'static str> {
        let channel = match self.source {
            TorqueSource::Torque => "torque_ncm",
            TorqueSource::Force => "force_n",
            TorqueSource::SupplyPower => "current_ma",
            TorqueSource::None => return None,
        };
        let seen = || self.values.iter().filter(|v| !v.is_nan());
        let low = seen().copied().fold(f64::INFINITY, f64::min);
        let high = seen().copied().fold(f64::NEG_INFINITY, f64::max);
        // Force and power are products: a lever or a voltage that varies leaves the ratio of their ends near to one.
        let dead = match self.source {
            TorqueSource::Force => low >= 0.0 && high <= 0.0,
            _ => high - low <= 1e-9 * high.abs().max(1.0),
        };
        dead.then_some(channel)
    }
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
            lacks_calibration: true,
            ..Effort::none()
        };
    }
    Effort::none()
}

/// Lever of the rod about the hinge line, cm; NaN where the linkage cannot stand so.
fn lever_cm(solver: &LinkageSolver, angle_deg: f64) -> f64 {
    solver
        .horn_lever_mm_at_surface_deg(angle_deg)
        .map_or(f64::NAN, |mm| 0.1 * mm)
}
