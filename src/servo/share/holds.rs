//! Where a recording holds still, and what both servos draw there; what they draw at idle. Finds means, says nothing of them.

use std::ops::Range;

use nalgebra::DMatrix;

use crate::aircraft::Calibration;
use crate::analysis::stats::regression::weighted_least_squares;
use crate::recording::{Channel, Recording, Segment};
use crate::servo::{Armed, spells};

/// A pulse stands for this long before the servos are taken to rest, and a hold is as long again at least, s.
const RESTS_AFTER_S: f64 = 0.2;
const SHORTEST_S: f64 = 0.1;
const SAME_US: f64 = 0.5;
/// Disarmed stretches are averaged over so long, s, once the filters have settled.
const IDLE_BLOCK_S: f64 = 0.2;

/// Means over one hold.
pub(super) struct Hold {
    pub angle_deg: f64,
    pub pulse_us: f64,
    pub currents_ma: [f64; 2],
    pub volts: f64,
    /// The pulse came from a longer one.
    pub from_above: bool,
    /// Its middle, on the recording's clock, s.
    pub t_s: f64,
}

/// A mean with its standard uncertainty and degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Mean {
    pub value: f64,
    pub u: f64,
    pub df: f64,
}

pub(super) fn holds(recording: &Recording) -> Vec<Hold> {
    spells(recording).iter().flat_map(of_spell).collect()
}

fn of_spell(spell: &Armed<'_>) -> Vec<Hold> {
    let (Some(pulse), Some(angle)) = (
        spell.column(Channel::PulseUs),
        spell.column(Channel::AngleDeg),
    ) else {
        return Vec::new();
    };
    let t_s = spell.t_s();
    let column = |channel| spell.column(channel).unwrap_or(&[]);
    let currents = [column(Channel::CurrentMa), column(Channel::Current2Ma)];
    let volts = spell
        .column(Channel::SupplyV)
        .or_else(|| spell.column(Channel::SourceV));
    let runs = same_pulse(pulse);
    let hold = |run: &Range<usize>| {
        let from_s = t_s[run.start] + RESTS_AFTER_S;
        let from = run.start + t_s[run.clone()].partition_point(|t| *t < from_s);
        if from >= run.end || t_s[run.end - 1] - t_s[from] < SHORTEST_S {
            return None;
        }
        let over = |values: &[f64]| values.get(from..run.end).and_then(mean);
        let before = pulse[..run.start].iter().rev().find(|us| us.is_finite());
        Some(Hold {
            angle_deg: over(angle)?,
            pulse_us: pulse[run.start],
            currents_ma: [over(currents[0])?, over(currents[1])?],
            volts: volts.and_then(over).unwrap_or(f64::NAN),
            t_s: 0.5 * (t_s[run.start] + t_s[run.end - 1]),
            from_above: before.is_some_and(|us| *us > pulse[run.start]),
        })
    };
    runs.iter().filter_map(hold).collect()
}

fn same_pulse(pulse_us: &[f64]) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (i, us) in pulse_us.iter().enumerate().filter(|(_, us)| us.is_finite()) {
        match runs.last_mut() {
            Some(run) if (us - pulse_us[run.start]).abs() < SAME_US => run.end = i + 1,
            _ => runs.push(i..i + 1),
        }
    }
    runs
}

/// Of those that are numbers.
pub(super) fn mean(values: &[f64]) -> Option<f64> {
    let seen = values.iter().filter(|v| v.is_finite());
    let (sum, count) = seen.fold((0.0, 0_u32), |(s, n), v| (s + v, n + 1));
    (count > 0).then(|| sum / f64::from(count))
}

pub(super) fn mean_of(values: &[f64]) -> Option<Mean> {
    let (value, n) = (mean(values)?, values.len() as f64);
    let squares: f64 = values.iter().map(|v| (v - value).powi(2)).sum();
    let (u, df) = match values.len() {
        0..=2 => (f64::NAN, 0.0),
        _ => ((squares / (n * (n - 1.0))).sqrt(), n - 1.0),
    };
    Some(Mean { value, u, df })
}

/// The mean over holds of one place, between what was seen coming from above and from below. Friction holds another part of the
/// load each time, and copper that warms draws more and more: both are the same in any such recording, and no scatter. So
/// scatter is what a course in time, straight or bent by how many holds there are, and the two ways leave over.
pub(super) fn mean_over(values: &[f64], here: &[&Hold]) -> Option<Mean> {
    let way = |h: &Hold| if h.from_above { 1.0 } else { -1.0 };
    let times: Vec<f64> = here.iter().map(|h| h.t_s).collect();
    let middle_s = mean(&times)?;
    let span_s = times
        .iter()
        .map(|t| (t - middle_s).abs())
        .fold(0.0, f64::max);
    let late = |h: &Hold| (h.t_s - middle_s) / span_s.max(1e-9);
    let rows: Vec<[f64; 4]> = here
        .iter()
        .map(|h| [1.0, way(h), late(h), late(h).powi(2)])
        .collect();
    let of = |columns: usize| -> Option<Mean> {
        // Centred, the first coefficient is the mean; the ways weigh alike however often each was held.
        let centre = |j: usize| match j {
            0 | 1 => 0.0,
            j => rows.iter().map(|r| r[j]).sum::<f64>() / rows.len() as f64,
        };
        let design = DMatrix::from_fn(rows.len(), columns, |i, j| rows[i][j] - centre(j));
        let fit = weighted_least_squares(&design, values, None)?;
        Some(Mean {
            value: fit.coefficients[0],
            u: fit.residual_sd? * fit.unscaled_covariance[(0, 0)].sqrt(),
            df: fit.degrees_of_freedom as f64,
        })
    };
    let most = match values.len() {
        0..=3 => 0,
        4..=5 => 2,
        6..=9 => 3,
        _ => 4,
    };
    (2..=most).rev().find_map(of).or_else(|| mean_of(values))
}

/// Idle of each, mA: of the disarmed stretch where there is one, else by its calibration at the usual voltage.
pub(super) fn idle_ma(
    recording: &Recording,
    calibrations: [Option<&Calibration>; 2],
) -> Option<[Mean; 2]> {
    let of = |channel: Channel, calibration: Option<&Calibration>| {
        let blocks: Vec<f64> = recording
            .segments
            .iter()
            .flat_map(|segment| disarmed(segment, channel))
            .collect();
        if let Some(mean) = mean_of(&blocks).filter(|m| m.df > 0.0) {
            return Some(mean);
        }
        let volts = recording.segments.iter().find_map(|s| {
            let column = s
                .column(Channel::SupplyV)
                .or_else(|| s.column(Channel::SourceV));
            mean(column?)
        })?;
        let calibration = calibration?;
        let per_w = 1000.0 / volts;
        Some(Mean {
            value: calibration.idle_w * per_w,
            u: calibration.covariance[0][0].max(0.0).sqrt() * per_w,
            df: f64::INFINITY,
        })
    };
    Some([
        of(Channel::CurrentMa, calibrations[0])?,
        of(Channel::Current2Ma, calibrations[1])?,
    ])
}

fn disarmed(segment: &Segment, channel: Channel) -> Vec<f64> {
    let (Some(pulse), Some(current)) = (segment.column(Channel::PulseUs), segment.column(channel))
    else {
        return Vec::new();
    };
    let mut blocks = Vec::new();
    let mut start = 0;
    for run in pulse.chunk_by(|a, b| a.is_nan() == b.is_nan()) {
        let end = start + run.len();
        if run[0].is_nan() {
            let late_s = segment.t_s[start] + 2.0 * IDLE_BLOCK_S;
            let mut at = start + segment.t_s[start..end].partition_point(|t| *t < late_s);
            while at < end {
                let until_s = segment.t_s[at] + IDLE_BLOCK_S;
                let next = at + segment.t_s[at..end].partition_point(|t| *t < until_s);
                blocks.extend(mean(&current[at..next]));
                at = next;
            }
        }
        start = end;
    }
    blocks
}
