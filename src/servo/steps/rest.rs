//! What the servo does at rest: neutral from both sides, current, trembling.

use super::mean::Mean;
use super::trace::{Level, Rest, Trace, finite, mean};
use crate::analysis::stats::robust::median;
use crate::recording::{Channel, Recording};

/// Pulses that differ by less are the same place, µs.
const SAME_US: f64 = 0.6;
/// Coming from at least this far counts as coming from a side, degrees of the arm.
const FROM_AFAR_DEG: f64 = 2.0;
/// A place this far from neutral is none of it, degrees of the arm.
const AWAY_DEG: f64 = 5.0;
/// A rest for trembling: so long at least, s, and left alone at its beginning, s.
const LONG_S: f64 = 1.0;
const CALMS_DOWN_S: f64 = 0.4;
/// Time without a pulse that the sensor's own noise is taken from at once, s.
const BLOCK_S: f64 = 0.3;
/// Disarmed, the arm is left alone for so long, s.
const DISARMED_S: f64 = 0.1;

/// The arm came to a pulse from afar, and rested there.
struct Arrival {
    pulse_us: f64,
    /// It came down to it.
    from_above: bool,
    rest: Rest,
}

fn arrivals(traces: &[Trace<'_>]) -> Vec<Arrival> {
    let mut found = Vec::new();
    for trace in traces {
        for two in trace.levels.windows(2) {
            let (Some(before), Some(after)) = (two[0].rest, two[1].rest) else {
                continue;
            };
            let far = after.arm_deg - before.arm_deg;
            if far.abs() >= FROM_AFAR_DEG && trace.jumped(&two[0], &two[1]) {
                found.push(Arrival {
                    pulse_us: two[1].pulse_us,
                    from_above: far < 0.0,
                    rest: after,
                });
            }
        }
    }
    found
}

/// The pulse that was come to most often from both sides, µs.
fn neutral_us(arrivals: &[Arrival]) -> Option<f64> {
    let times = |pulse_us: f64| {
        let there = arrivals
            .iter()
            .filter(|a| (a.pulse_us - pulse_us).abs() < SAME_US);
        let (above, below): (Vec<&Arrival>, Vec<&Arrival>) = there.partition(|a| a.from_above);
        above.len().min(below.len())
    };
    let best = arrivals.iter().max_by_key(|a| times(a.pulse_us))?;
    (times(best.pulse_us) >= 2).then_some(best.pulse_us)
}

/// At rest.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct AtRest {
    /// Come to from above less from below, degrees of the arm.
    pub centring_deg: Option<Mean>,
    pub idle_ma: Option<Mean>,
    /// Away from neutral.
    pub hold_ma: Option<Mean>,
}

pub(super) fn at_rest(traces: &[Trace<'_>]) -> AtRest {
    let arrivals = arrivals(traces);
    let Some(neutral_us) = neutral_us(&arrivals) else {
        return AtRest::default();
    };
    let near = |pulse_us: f64| (pulse_us - neutral_us).abs() < SAME_US;
    let side = |from_above: bool| {
        let there = arrivals
            .iter()
            .filter(|a| near(a.pulse_us) && a.from_above == from_above);
        let degs: Vec<f64> = there.map(|a| a.rest.arm_deg).collect();
        Mean::of(&degs)
    };
    let sides = side(true).zip(side(false));
    let middle_deg = sides.map(|(a, b)| 0.5 * (a.value + b.value));
    let currents = |wanted: &dyn Fn(&Arrival) -> bool| {
        let those = arrivals.iter().filter(|a| wanted(a));
        let ma: Vec<f64> = those.filter_map(|a| a.rest.ma).collect();
        Mean::of(&ma).filter(|_| ma.len() >= 2)
    };
    AtRest {
        centring_deg: sides.map(|(above, below)| above.with(1.0, below, -1.0)),
        idle_ma: currents(&|a| near(a.pulse_us)),
        hold_ma: currents(&|a| {
            middle_deg.is_some_and(|deg| (a.rest.arm_deg - deg).abs() >= AWAY_DEG)
        }),
    }
}

/// Variances of the arm at long rests, degrees².
pub(super) fn variances_at_rest(traces: &[Trace<'_>]) -> Vec<f64> {
    let mut found = Vec::new();
    for trace in traces {
        let long = |level: &&Level| trace.seconds(level) >= LONG_S;
        for level in trace.levels.iter().filter(long) {
            let from_s = trace.t_s[level.at.start] + CALMS_DOWN_S;
            let begin =
                level.at.start + trace.t_s[level.at.clone()].partition_point(|t| *t < from_s);
            found.extend(variance(&finite(&trace.arm_deg[begin..level.at.end])));
        }
    }
    found
}

/// Variances of the angle while nothing was driven, degrees²: the sensor's own noise, a block of time each.
pub(super) fn variances_of_the_sensor(recording: &Recording, channel: Channel) -> Vec<f64> {
    let mut found = Vec::new();
    for segment in &recording.segments {
        let (Some(pulse), Some(angle)) =
            (segment.column(Channel::PulseUs), segment.column(channel))
        else {
            continue;
        };
        // Where no pulse was, from the start or from the end of a spell on.
        let mut since_s = None;
        let mut block: Vec<f64> = Vec::new();
        for ((t_s, pulse), angle) in segment.t_s.iter().zip(pulse).zip(angle) {
            if pulse.is_finite() {
                (since_s, block) = (None, Vec::new());
                continue;
            }
            let began_s = *since_s.get_or_insert(t_s + DISARMED_S);
            if *t_s < began_s || !angle.is_finite() {
                continue;
            }
            block.push(*angle);
            if t_s - began_s >= BLOCK_S {
                found.extend(variance(&block));
                (since_s, block) = (Some(*t_s), Vec::new());
            }
        }
    }
    found
}

fn variance(values: &[f64]) -> Option<f64> {
    let middle = mean(values)?;
    let squares: f64 = values.iter().map(|v| (v - middle).powi(2)).sum();
    (values.len() >= 20).then(|| squares / (values.len() - 1) as f64)
}

/// The step in which an angle is read, degrees: the typical difference of neighbouring readings. 0 where there is none.
pub(super) fn step_of_reading(traces: &[Trace<'_>]) -> f64 {
    let mut seen: Vec<f64> = traces.iter().flat_map(|t| finite(&t.arm_deg)).collect();
    seen.sort_by(f64::total_cmp);
    seen.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    let apart: Vec<f64> = seen.windows(2).map(|w| w[1] - w[0]).collect();
    median(&apart).unwrap_or(0.0)
}

/// How far the variance of a noise read in steps may stand off its mean over all places within a step, degrees²: the first
/// harmonic of a rounded normal's variance (B. Widrow and I. Kollár, Quantization Noise, 2008, chapter on moments; from
/// memory).
pub(super) fn rounding_of_variance(total: f64, step_deg: f64) -> f64 {
    let square = step_deg * step_deg;
    if square == 0.0 {
        return 0.0;
    }
    let own = (total - square / 12.0).max(0.0);
    let pi = std::f64::consts::PI;
    let damped = (-2.0 * pi * pi * own / square).exp();
    ((square / (pi * pi) + 4.0 * own) * damped).min(total)
}
