//! One spell as pulse and arm over time, and the levels at which the pulse stood: what all else is derived from.

use std::ops::Range;

use super::ArmFrom;
use crate::aircraft::linkage::LinkageSolver;
use crate::aircraft::{Aircraft, Surface};
use crate::analysis::stats::robust::median;
use crate::recording::{Channel, Recording};
use crate::servo::{Armed, spells};

/// A pulse that differs by more than this is another one, µs: half the finest step of a rig.
const ANOTHER_PULSE_US: f64 = 0.05;
/// Readings that a rest needs.
const READINGS: usize = 8;

/// A stretch with one pulse.
#[derive(Debug, Clone)]
pub(super) struct Level {
    pub at: Range<usize>,
    pub pulse_us: f64,
    /// The latter half of it, if there are enough readings.
    pub rest: Option<Rest>,
}

/// Means over a rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rest {
    pub arm_deg: f64,
    /// Mean of its second half less that of its first, degrees.
    pub drift_deg: f64,
    pub ma: Option<f64>,
}

/// A spell, taken apart.
pub(super) struct Trace<'a> {
    pub t_s: &'a [f64],
    /// NaN where there was no reading.
    pub arm_deg: Vec<f64>,
    pub ma: Option<&'a [f64]>,
    pub volts: Option<&'a [f64]>,
    pub levels: Vec<Level>,
    /// Typical time between samples, s.
    pub dt_s: f64,
}

impl Trace<'_> {
    pub fn seconds(&self, level: &Level) -> f64 {
        self.t_s[level.at.end - 1] - self.t_s[level.at.start]
    }

    /// The two levels follow each other with no sample, or hardly any, between them: the pulse jumped.
    pub fn jumped(&self, from: &Level, to: &Level) -> bool {
        self.t_s[to.at.start] - self.t_s[from.at.end - 1] < 3.5 * self.dt_s
    }

    /// Arm degrees per µs, over all rests; `None` where the pulse hardly varied.
    pub fn slope(levels: &[Level]) -> Option<f64> {
        let rests: Vec<(f64, f64)> = levels
            .iter()
            .filter_map(|l| Some((l.pulse_us, l.rest?.arm_deg)))
            .collect();
        let n = rests.len() as f64;
        let (p, a) = rests
            .iter()
            .fold((0.0, 0.0), |s, r| (s.0 + r.0 / n, s.1 + r.1 / n));
        let (over, under) = rests.iter().fold((0.0, 0.0), |s, r| {
            (s.0 + (r.0 - p) * (r.1 - a), s.1 + (r.0 - p) * (r.0 - p))
        });
        (under > 100.0).then(|| over / under)
    }
}

/// All spells of a recording, and where the arm's angle came from; none where there is neither arm nor angle.
pub(super) fn traces<'a>(
    recording: &'a Recording,
    aircraft: &Aircraft,
    surface: &Surface,
) -> (ArmFrom, Vec<Trace<'a>>) {
    let kind = &aircraft.servo_types[aircraft.servos[surface.servo_index].type_index];
    let solver = surface.linkage.as_ref().and_then(LinkageSolver::new);
    let from = if recording.has(Channel::ArmDeg) {
        ArmFrom::Arm
    } else if recording.key(super::ALONE) == Some("yes") {
        ArmFrom::SensorOnArm
    } else if solver.is_some() {
        ArmFrom::Linkage
    } else if kind.arm_deg_per_us.is_some() {
        ArmFrom::Pulse
    } else {
        ArmFrom::AssumedOne
    };
    let channel = match from {
        ArmFrom::Arm => Channel::ArmDeg,
        _ => Channel::AngleDeg,
    };
    let mut found = Vec::new();
    for spell in spells(recording) {
        let (Some(pulse), Some(angle)) = (spell.column(Channel::PulseUs), spell.column(channel))
        else {
            continue;
        };
        let arm_deg = angle
            .iter()
            .map(|&deg| match (&solver, from) {
                (Some(solver), ArmFrom::Linkage) => {
                    solver.arm_deg_at_surface_deg(deg).unwrap_or(f64::NAN)
                }
                _ => deg,
            })
            .collect();
        found.extend(trace(&spell, pulse, arm_deg));
    }
    if let (ArmFrom::Pulse, Some(per_us)) = (from, kind.arm_deg_per_us) {
        for trace in &mut found {
            rescale(trace, per_us);
        }
    }
    (from, found)
}

/// Surface degrees to arm degrees, where only the arm's way with the pulse is known: by the ratio of the two slopes.
fn rescale(trace: &mut Trace<'_>, arm_deg_per_us: f64) {
    let Some(slope) = Trace::slope(&trace.levels).filter(|s| s.abs() > 1e-4) else {
        return;
    };
    let factor = (arm_deg_per_us / slope).abs();
    trace.arm_deg.iter_mut().for_each(|deg| *deg *= factor);
    for rest in trace.levels.iter_mut().filter_map(|l| l.rest.as_mut()) {
        rest.arm_deg *= factor;
        rest.drift_deg *= factor;
    }
}

fn trace<'a>(spell: &Armed<'a>, pulse: &[f64], arm_deg: Vec<f64>) -> Option<Trace<'a>> {
    let t_s = spell.t_s();
    let gaps: Vec<f64> = t_s.windows(2).map(|w| w[1] - w[0]).collect();
    let mut trace = Trace {
        t_s,
        arm_deg,
        ma: spell.column(Channel::CurrentMa),
        volts: spell.column(Channel::SupplyV),
        levels: Vec::new(),
        dt_s: median(&gaps).filter(|dt| *dt > 0.0)?,
    };
    let mut levels: Vec<Level> = Vec::new();
    for (i, &pulse_us) in pulse.iter().enumerate().filter(|(_, p)| p.is_finite()) {
        match levels.last_mut() {
            Some(level) if (level.pulse_us - pulse_us).abs() <= ANOTHER_PULSE_US => {
                level.at.end = i + 1;
            }
            _ => levels.push(Level {
                at: i..i + 1,
                pulse_us,
                rest: None,
            }),
        }
    }
    for level in &mut levels {
        level.rest = rest(&trace, level.at.clone());
    }
    trace.levels = levels;
    Some(trace)
}

fn rest(trace: &Trace<'_>, at: Range<usize>) -> Option<Rest> {
    let half = at.start + at.len() / 2..at.end;
    let arm = finite(&trace.arm_deg[half.clone()]);
    if arm.len() < READINGS {
        return None;
    }
    let (first, second) = arm.split_at(arm.len() / 2);
    Some(Rest {
        arm_deg: mean(&arm)?,
        drift_deg: mean(second)? - mean(first)?,
        ma: trace.ma.and_then(|ma| mean(&finite(&ma[half]))),
    })
}

pub(super) fn finite(values: &[f64]) -> Vec<f64> {
    values.iter().copied().filter(|v| v.is_finite()).collect()
}

pub(super) fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}
