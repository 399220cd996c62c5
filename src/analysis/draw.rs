//! What a servo draws while it moves its surface, holds it, and rests: currents, from the supply's side. Judges nothing.

use super::arm::mean_of;
use super::load::{samples_in, stretches};
use super::motion::Motion;
use super::series::Series;
use super::stats::robust::median_in_place;
use super::{LEAST_VOLTS, Quantity};
use crate::recording::{Channel, Recording};

/// A peak is the highest mean over so long, s: shorter ones a rig's filter hardly shows (own choice).
pub const PEAK_S: f64 = 0.05;
/// A hold is this long at least, s, and its first stretch is left out: the servo is still settling.
const HOLD_S: f64 = 0.20;
const HOLD_SETTLING_S: f64 = 0.12;
/// Means over so long are compared at rest, s: long against the noise's memory.
const REST_S: f64 = 0.25;
/// A servo that moves its surface draws this much more than a servo that rests, mA: below it a hand moved the surface.
const LEAST_MOVING_MA: f64 = 15.0;
/// Fewer cycles tell no scatter.
const FEWEST_CYCLES: usize = 3;

/// Supply currents of the servo (of both, where two drive the surface and the rig has `current2_ma`), mA. Intervals are of
/// the scatter from cycle to cycle; the sensor's scale, which all share, is not in them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Draw {
    /// Mean of the cycles' peaks, each the highest mean over [`PEAK_S`].
    pub peak_ma: Quantity,
    /// The highest of them.
    pub highest_ma: f64,
    /// Mean while the surface moves.
    pub moving_ma: Quantity,
    /// Mean while it is held at the end that takes more; `None` where no hold was long enough.
    pub holding_ma: Option<Quantity>,
    /// At rest near neutral, or at the end that takes less.
    pub resting_ma: Option<Quantity>,
    /// The second servo's current is in all of them.
    pub both_servos: bool,
    /// Mean voltage at the plug, else at the source, V.
    pub volts: Option<f64>,
}

/// A change of the pulse by so much between samples is a step, µs; a peak follows within so long, s.
const STEP_US: f64 = 60.0;
const AFTER_STEP_S: f64 = 0.5;
/// Steps by this share of the largest one are as good.
const LARGE_SHARE: f64 = 0.8;
const FEWEST_STEPS: usize = 3;

/// Mean of the peaks (as [`Draw::peak_ma`]) after the largest steps of the pulse, mA: what a servo takes to go as fast as it can.
/// `None` where there were fewer than three, or no current. Needs no angle.
pub fn step_peak_ma(recording: &Recording) -> Option<Quantity> {
    let series = Series::new(recording);
    let current = sum_of_servos(&series)?;
    let pulse = series.column(Channel::PulseUs)?;
    let window = samples_in(&series, PEAK_S).max(1);
    let size = |i: usize| (pulse[i] - pulse[i - 1]).abs();
    let mut steps: Vec<(usize, f64)> = Vec::new();
    for segment in &series.segments {
        let places = segment.start + 1..segment.end;
        steps.extend(places.filter(|&i| size(i) >= STEP_US).map(|i| (i, size(i))));
    }
    let largest = steps.iter().map(|s| s.1).fold(0.0, f64::max);
    let mut peaks = Vec::new();
    for (place, &(at, _)) in steps.iter().enumerate() {
        if steps[place].1 < LARGE_SHARE * largest {
            continue;
        }
        let next = steps.get(place + 1).map_or(series.len(), |s| s.0);
        let until_s = series.t_s[at] + AFTER_STEP_S;
        let end = at + series.t_s[at..next].partition_point(|t| *t < until_s);
        let means = current[at..end]
            .windows(window)
            .map(|near| near.iter().sum::<f64>() / near.len() as f64);
        // A window with a reading missing is no number and is passed over.
        let peak = means.fold(f64::NAN, f64::max);
        peaks.extend(Some(peak).filter(|p| p.is_finite()));
    }
    if peaks.len() < FEWEST_STEPS {
        return None;
    }
    mean_of(&peaks, 0.0)
}

/// Why a recording says nothing of what the servo draws.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoDraw {
    NoCurrent,
    NoAngle,
    /// Fewer than three cycles out and back.
    TooFewCycles,
    /// The current hardly rises as the surface moves: a hand moved it, or another servo's current was read.
    NotDriven,
    /// It is no sweep of the surface: the servo was tested by itself.
    NoSweep,
}

/// # Errors
/// Why it cannot be told.
pub fn draw(recording: &Recording) -> Result<Draw, NoDraw> {
    let series = Series::new(recording);
    let current = sum_of_servos(&series).ok_or(NoDraw::NoCurrent)?;
    let motion = Motion::find(&series).ok_or(NoDraw::NoAngle)?;
    if motion.cycles < FEWEST_CYCLES {
        return Err(NoDraw::TooFewCycles);
    }
    let cycles = cycles(&series, &motion, &current);
    let of = |pick: fn(&Cycle) -> f64| -> Vec<f64> {
        let values = cycles.iter().map(pick);
        values.filter(|v| v.is_finite()).collect()
    };
    let (peaks, moving) = (of(|c| c.peak_ma), of(|c| c.moving_ma));
    let peak_ma = mean_of(&peaks, 0.0).ok_or(NoDraw::TooFewCycles)?;
    let moving_ma = mean_of(&moving, 0.0).ok_or(NoDraw::TooFewCycles)?;
    let [neutral, down, up] = holds(&series, &motion, &current);
    let ends = || [&down, &up].into_iter().filter(|h| h.len() >= 2);
    let mean = |values: &Vec<f64>| mean_of(values, 0.0);
    let higher = |a: &Quantity, b: &Quantity| a.value.total_cmp(&b.value);
    let holding_ma = ends().filter_map(mean).max_by(higher);
    let at_rest = mean(&neutral).filter(|_| neutral.len() >= 2);
    let resting_ma = at_rest.or_else(|| ends().filter_map(mean).min_by(higher));
    let quiet = resting_ma.map_or(0.0, |q| q.value);
    if peak_ma.value - quiet < LEAST_MOVING_MA {
        return Err(NoDraw::NotDriven);
    }
    Ok(Draw {
        peak_ma,
        highest_ma: peaks.iter().copied().fold(0.0, f64::max),
        moving_ma,
        holding_ma,
        resting_ma,
        both_servos: series.column(Channel::Current2Ma).is_some(),
        volts: volts(&series),
    })
}

fn sum_of_servos(series: &Series) -> Option<Vec<f64>> {
    let mut sum = series.column(Channel::CurrentMa)?.to_vec();
    if let Some(second) = series.column(Channel::Current2Ma) {
        sum.iter_mut().zip(second).for_each(|(a, b)| *a += b);
    }
    Some(sum)
}

fn volts(series: &Series) -> Option<f64> {
    let column = series
        .column(Channel::SupplyV)
        .or(series.column(Channel::SourceV))?;
    let mut usable: Vec<f64> = column
        .iter()
        .copied()
        .filter(|v| *v > LEAST_VOLTS)
        .collect();
    median_in_place(&mut usable)
}

struct Cycle {
    peak_ma: f64,
    moving_ma: f64,
}

fn cycles(series: &Series, motion: &Motion, current: &[f64]) -> Vec<Cycle> {
    let window = samples_in(series, PEAK_S).max(1);
    let mut found: Vec<(f64, f64, f64)> = vec![(f64::NAN, 0.0, 0.0); motion.cycles];
    for (_, stroke) in motion.usable() {
        let (peak, sum, count) = &mut found[stroke.cycle];
        let slowest = 0.25 * stroke.speed_deg_s;
        for i in stroke.range.clone() {
            if motion.speed_deg_s[i].abs() >= slowest && current[i].is_finite() {
                *sum += current[i];
                *count += 1.0;
            }
        }
        for near in current[stroke.range.clone()].windows(window) {
            let mean = near.iter().sum::<f64>() / near.len() as f64;
            // A window with a reading missing is no number and is passed over.
            *peak = peak.max(mean);
        }
    }
    found
        .into_iter()
        .map(|(peak_ma, sum, count)| Cycle {
            peak_ma,
            moving_ma: sum / count,
        })
        .collect()
}

/// Mean currents at rest near neutral (over [`REST_S`] each), and of single holds at the down and the up end.
fn holds(series: &Series, motion: &Motion, current: &[f64]) -> [Vec<f64>; 3] {
    let pulse = series.column(Channel::PulseUs);
    let fastest = motion
        .usable()
        .map(|(_, s)| s.speed_deg_s)
        .fold(0.0, f64::max);
    let still = (0.05 * fastest).clamp(0.5, 3.0);
    let margin = (0.08 * motion.travel_deg()).max(1.0);
    let commanded = |i: usize| {
        pulse.is_none_or(|p| {
            p[i].is_finite() && (i == 0 || p[i - 1].is_nan() || (p[i] - p[i - 1]).abs() < 0.5)
        })
    };
    let mut found: [Vec<f64>; 3] = Default::default();
    let at_rest = |i: usize| motion.speed_deg_s[i].abs() <= still && commanded(i);
    for hold in stretches(series, motion, at_rest) {
        let from_s = series.t_s[hold.start] + HOLD_SETTLING_S;
        if series.t_s[hold.end - 1] - series.t_s[hold.start] < HOLD_S {
            continue;
        }
        let start = hold.start + series.t_s[hold.clone()].partition_point(|t| *t < from_s);
        let angle = motion.angle_deg[(start + hold.end - 1) / 2];
        let place = match angle {
            a if (a - motion.highest_deg).abs() < margin => 2,
            a if (a - motion.lowest_deg).abs() < margin => 1,
            a if a.abs() < margin => 0,
            _ => continue,
        };
        let most = match place {
            0 => samples_in(series, REST_S).max(5),
            _ => usize::MAX,
        };
        for part in current[start..hold.end].chunks(most.min(hold.end - start).max(1)) {
            let usable: Vec<f64> = part.iter().copied().filter(|v| v.is_finite()).collect();
            if usable.len() >= 5 {
                found[place].push(usable.iter().sum::<f64>() / usable.len() as f64);
            }
        }
    }
    found
}
