//! What the servo has to do: peak torque against its stall torque, current while holding.

use super::arm::{Ratio, mean_of};
use super::budget::Budget;
use super::curve::Fitted;
use super::motion::Motion;
use super::series::Series;
use super::stats::robust::median_in_place;
use super::{HoldCurrent, Interval, LEAST_VOLTS, Load, Quantity};
use crate::aircraft::ServoType;
use crate::recording::Channel;

/// A hold is this long at least, s, and its first stretch is left out: the servo is still settling.
const HOLD_S: f64 = 0.20;
const HOLD_SETTLING_S: f64 = 0.12;
/// A measured peak beyond the fitted law's by this share is taken instead of it (a stall, a stop).
const BEYOND_LAW: f64 = 0.15;
/// Peaks this near to each other are the same place.
const SAME_PLACE_DEG: f64 = 2.0;

/// Torque as measured, one value a sample, NaN where it is not known; and its relative standard uncertainty.
pub(crate) struct Seen<'a> {
    pub ncm: &'a [f64],
    pub u: f64,
}

/// The highest torque, where, and what its uncertainty is made of.
struct Peak {
    torque: Quantity,
    at_deg: f64,
    budget: Option<Budget>,
}

pub(crate) fn judge(
    series: &Series,
    motion: &Motion,
    fitted: Option<&Fitted>,
    ratio: &Ratio,
    servo: &ServoType,
    seen: Seen,
) -> (Load, Option<Budget>, [Option<Budget>; 3]) {
    let (hold_current_ma, holds) = holds(series, motion);
    let mut load = Load {
        peak_torque_ncm: None,
        peak_at_deg: None,
        share_of_stall: None,
        friction_share_of_stall: None,
        ratio_from: ratio.source,
        voltage_v: None,
        hold_current_ma,
    };
    let law = fitted.map(|f| peak_of_law(f, motion));
    let seen = (seen.ncm.len() == series.len())
        .then(|| peak_seen(series, motion, &seen))
        .flatten();
    let beyond = |s: &Peak, l: &Peak| s.torque.value > (1.0 + BEYOND_LAW) * l.torque.value + 1.0;
    let peak = match (seen, law) {
        (Some(s), Some(l)) if !beyond(&s, &l) => Some(l),
        (Some(s), _) => Some(s),
        (None, l) => l,
    };
    let Some(Peak {
        torque: peak,
        at_deg,
        budget,
    }) = peak
    else {
        return (load, None, holds);
    };
    let volts = voltage_near(series, motion, at_deg);
    let voltage_v = volts.unwrap_or(servo.stall_voltage_v);
    let stall_ncm = servo.stall_torque_ncm * voltage_v / servo.stall_voltage_v;
    let share = |q: Quantity, angle: f64| scaled(q, ratio.at(angle) / stall_ncm);
    load.share_of_stall = Some(share(peak, at_deg));
    load.friction_share_of_stall =
        fitted.map(|f| share(f.friction(), 0.0_f64.clamp(f.lowest_deg, f.highest_deg)).value);
    load.peak_torque_ncm = Some(peak);
    load.peak_at_deg = Some(at_deg);
    load.voltage_v = volts;
    (load, budget, holds)
}

fn scaled(q: Quantity, by: f64) -> Quantity {
    Quantity {
        value: q.value * by,
        interval: q.interval.map(|i| Interval {
            u: i.u * by,
            lo95: i.lo95 * by,
            hi95: i.hi95 * by,
        }),
    }
}

/// The greatest torque of the fitted law between the ends of the travel, magnitude, and where. Its interval is that of a
/// single stroke: the highest of a recording is one stroke's.
fn peak_of_law(fitted: &Fitted, motion: &Motion) -> Peak {
    const COUNT: usize = 200;
    let (low, high) = (motion.lowest_deg, motion.highest_deg);
    let mut best = (0.0, 0.0, Vec::new());
    for i in 0..=COUNT {
        let angle = low + (high - low) * i as f64 / COUNT as f64;
        for up in [true, false] {
            let (torque, gradient) = fitted.torque_at(angle, up);
            if f64::abs(torque) >= f64::abs(best.0) {
                best = (torque, angle, gradient);
            }
        }
    }
    let (torque, angle, mut gradient) = best;
    for g in &mut gradient {
        *g *= torque.signum();
    }
    let torque = torque.abs();
    let fit = &fitted.fit;
    Peak {
        torque: fit.torque_of_one_stroke(torque, &gradient),
        at_deg: angle,
        budget: (fit.df >= 1.0).then(|| fitted.budget(torque, &gradient, fit.scale_u, 0.0)),
    }
}

/// The greatest torque measured in every cycle (means over a tenth of a second), whether moving steadily or not.
fn peak_seen(series: &Series, motion: &Motion, seen: &Seen) -> Option<Peak> {
    let mut peaks: Vec<(f64, f64)> = vec![(0.0, 0.0); motion.cycles];
    let mut values = Vec::new();
    let usable: Vec<&super::motion::Stroke> = motion.usable().map(|u| u.1).collect();
    for (n, stroke) in usable.iter().enumerate() {
        // With the hold that follows.
        let until = usable
            .get(n + 1)
            .map_or(stroke.range.end, |next| next.range.start);
        let range = stroke.range.start..until.max(stroke.range.end);
        let steps = samples_in(series, 0.1).max(3).min(range.len());
        for window in range
            .clone()
            .step_by((steps / 2).max(1))
            .filter(|s| s + steps <= range.end)
        {
            let near = &seen.ncm[window..window + steps];
            values.clear();
            values.extend(near.iter().filter(|v| !v.is_nan()));
            // A median: a spike of the sensor is no torque.
            let Some(torque) = median_in_place(&mut values).filter(|_| near.len() >= 3) else {
                continue;
            };
            if torque.abs() > peaks[stroke.cycle].0 {
                peaks[stroke.cycle] = (torque.abs(), motion.angle_deg[window + steps / 2]);
            }
        }
    }
    let highest = peaks
        .iter()
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|p| p.0 > 0.0)?
        .1;
    // Cycles that peaked about there; one that went less far says nothing of that place.
    let values: Vec<f64> = peaks
        .iter()
        .filter(|p| p.0 > 0.0 && (p.1 - highest).abs() < SAME_PLACE_DEG)
        .map(|p| p.0)
        .collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let budget = Budget::of_mean(&values).map(|b| Budget {
        scale_u: seen.u,
        ..b
    });
    Some(Peak {
        torque: mean_of(&values, seen.u * mean)?,
        at_deg: highest,
        budget,
    })
}

pub(super) fn samples_in(series: &Series, seconds: f64) -> usize {
    let n = series.len();
    if n < 2 {
        return 1;
    }
    let span = series.t_s[n - 1] - series.t_s[0];
    if span > 0.0 {
        (seconds * (n - 1) as f64 / span).round() as usize
    } else {
        1
    }
}

/// Median voltage at the plug (else at the source) while the surface was near an angle.
fn voltage_near(series: &Series, motion: &Motion, angle_deg: f64) -> Option<f64> {
    let volts = series
        .column(Channel::SupplyV)
        .or(series.column(Channel::SourceV))?;
    let plausible = |v: &f64| *v > LEAST_VOLTS;
    let mut near: Vec<f64> = (0..volts.len())
        .filter(|&i| plausible(&volts[i]) && (motion.angle_deg[i] - angle_deg).abs() < 2.0)
        .map(|i| volts[i])
        .collect();
    if near.is_empty() {
        near.extend(volts.iter().filter(|v| plausible(v)));
    }
    median_in_place(&mut near)
}

/// Steady current at neutral and at both ends of the travel; and at each of these the mean of single holds.
fn holds(series: &Series, motion: &Motion) -> (Vec<HoldCurrent>, [Option<Budget>; 3]) {
    let Some(current) = series.column(Channel::CurrentMa) else {
        return Default::default();
    };
    let pulse = series.column(Channel::PulseUs);
    let typical = motion
        .usable()
        .map(|(_, s)| s.speed_deg_s)
        .fold(0.0, f64::max);
    let still = (0.05 * typical).clamp(0.5, 3.0);
    let margin = (0.08 * motion.travel_deg()).max(1.0);
    // Neutral, down end, up end: sum of angles, of currents, count.
    let mut places = [(0.0, 0.0, 0.0); 3];
    let mut means: [Vec<f64>; 3] = Default::default();
    for hold in stretches(series, motion, |i| {
        motion.speed_deg_s[i].abs() <= still
            && pulse.is_none_or(|p| {
                !p[i].is_nan() && (i == 0 || (p[i] - p[i - 1]).abs() < 0.5 || p[i - 1].is_nan())
            })
    }) {
        let from = series.t_s[hold.start] + HOLD_SETTLING_S;
        if series.t_s[hold.end - 1] - series.t_s[hold.start] < HOLD_S {
            continue;
        }
        let before = places;
        for i in hold.filter(|&i| series.t_s[i] >= from && !current[i].is_nan()) {
            let angle = motion.angle_deg[i];
            let place = if (angle - motion.highest_deg).abs() < margin {
                2
            } else if (angle - motion.lowest_deg).abs() < margin {
                1
            } else if angle.abs() < margin {
                0
            } else {
                continue;
            };
            let sums = &mut places[place];
            *sums = (sums.0 + angle, sums.1 + current[i], sums.2 + 1.0);
        }
        for ((means, now), before) in means.iter_mut().zip(&places).zip(&before) {
            let count = now.2 - before.2;
            if count >= 5.0 {
                means.push((now.1 - before.1) / count);
            }
        }
    }
    let mut found: Vec<HoldCurrent> = places
        .iter()
        .filter(|p| p.2 >= 5.0)
        .map(|p| HoldCurrent {
            at_deg: p.0 / p.2,
            ma: p.1 / p.2,
        })
        .collect();
    found.sort_by(|a, b| a.at_deg.total_cmp(&b.at_deg));
    (found, means.map(|m| Budget::of_mean(&m)))
}

/// Runs of samples for which `inside` holds, never across a restart.
pub(super) fn stretches(
    series: &Series,
    motion: &Motion,
    inside: impl Fn(usize) -> bool,
) -> Vec<std::ops::Range<usize>> {
    let mut found = Vec::new();
    for segment in &series.segments {
        let mut open: Option<usize> = None;
        for i in segment.clone() {
            let holds = !motion.speed_deg_s[i].is_nan() && inside(i);
            match (holds, open) {
                (true, None) => open = Some(i),
                (false, Some(start)) => {
                    found.push(start..i);
                    open = None;
                }
                _ => {}
            }
        }
        found.extend(open.map(|start| start..segment.end));
    }
    found
}
