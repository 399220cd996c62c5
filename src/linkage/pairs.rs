//! Arm and surface angles that belong together, from a recording: steady motion, averaged per stroke and angle step.
//! No fitting in it.

use crate::analysis::cells::{Cell, Cells};
use crate::analysis::motion::Motion;
use crate::analysis::series::Series;
use crate::analysis::{Curve, FitPoint};
use crate::recording::{Channel, Recording};

use super::fit::{ArmFrom, NoFit};

/// Just after a reversal play is still being crossed and friction still built up, °.
const SINCE_DEG: f64 = 2.0;
/// This near to where the torque changes sign, play is being crossed, °; and where the torque is not known, about neutral.
const CROSSING_DEG: f64 = 2.0;
const CROSSING_UNKNOWN_DEG: f64 = 5.0;

/// A mean over one angle step of one stroke.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pair {
    pub arm_deg: f64,
    pub surface_deg: f64,
    pub up: bool,
    /// Which way the hinge pushes the linkage in its play: +1 where the rod has to drive the surface up.
    pub side: f64,
    pub cycle: usize,
    /// Place and direction: pairs of one place see the same sensor steps.
    pub place: usize,
}

pub(super) struct Pairs {
    pub from: ArmFrom,
    pub pairs: Vec<Pair>,
    pub cycles: usize,
    pub unevenness_deg: f64,
    /// The torque says on which side of its play the linkage stands.
    pub side_known: bool,
}

/// `arm_deg_per_us`: for a rig that has pulses and no arm angle. `curve`: the torque of the same recording.
pub(super) fn gather(
    recording: &Recording,
    arm_deg_per_us: Option<f64>,
    curve: Option<&Curve>,
) -> Result<Pairs, NoFit> {
    let series = Series::new(recording);
    let motion = Motion::find(&series).ok_or(NoFit::NoSurfaceAngle)?;
    let pulses = || series.column(Channel::PulseUs).zip(arm_deg_per_us);
    let (from, arm): (ArmFrom, Vec<f64>) = match (series.column(Channel::ArmDeg), pulses()) {
        (Some(arm), _) => (ArmFrom::ArmAngle, arm.to_vec()),
        (None, Some((pulse, scale))) => (
            ArmFrom::Pulse,
            pulse
                .iter()
                .map(|us| (us - super::Travel::NEUTRAL_US) * scale)
                .collect(),
        ),
        (None, None) => return Err(NoFit::NoArmAngle),
    };
    let cells = Cells::gather(&motion, &arm);
    let (crossings, within) = match curve {
        Some(curve) => (
            [false, true].map(|up| crossing(&curve.fit, up)),
            CROSSING_DEG,
        ),
        None => ([0.0; 2], CROSSING_UNKNOWN_DEG),
    };
    let pair = |cell: &Cell| {
        let to_crossing = cell.angle_deg - crossings[usize::from(cell.up)];
        (to_crossing.abs() > within && cell.since_deg > SINCE_DEG).then_some(Pair {
            arm_deg: cell.effort,
            surface_deg: cell.angle_deg,
            up: cell.up,
            side: to_crossing.signum(),
            cycle: cell.cycle,
            place: 2 * cell.step + usize::from(cell.up),
        })
    };
    Ok(Pairs {
        from,
        pairs: cells.cells.iter().filter_map(pair).collect(),
        cycles: motion.cycles,
        unevenness_deg: motion.unevenness_deg(),
        side_known: curve.is_some(),
    })
}

/// Where the torque of one direction changes sign; beyond the ends where it does not within them.
fn crossing(fit: &[FitPoint], up: bool) -> f64 {
    let torque = |p: &FitPoint| if up { p.up_ncm } else { p.down_ncm };
    let rises = fit
        .windows(2)
        .find(|w| torque(&w[0]) <= 0.0 && torque(&w[1]) > 0.0);
    match rises {
        Some(w) => w[0].angle_deg,
        None if fit.first().is_some_and(|p| torque(p) > 0.0) => f64::NEG_INFINITY,
        None => f64::INFINITY,
    }
}
