//! Throws: how far the surface came on each side, against what the manual asks, and why not further.

use super::arm::mean_of;
use super::motion::{Motion, STANDING_DEG, Stroke};
use super::series::Series;
use super::{Quantity, ShortCause, ThrowResult, ThrowState};
use crate::aircraft::{Surface, Throw};
use crate::recording::{Channel, Event};

/// A stroke speaks for the throw only if it came this near to the furthest one (share of the travel).
const NEAR_FURTHEST: f64 = 0.06;
/// The surface standing still this long before the command does is a stalled servo, s; a servo's own lag goes the other way.
const STANDS_BEFORE_COMMAND_S: f64 = 0.20;
/// Readings this soon after the surface came to rest are left out of where it rests, s.
const SETTLING_S: f64 = 0.10;

/// How far strokes came on one side.
struct Reach {
    /// Signed, up positive.
    deg: Quantity,
    strokes: Vec<usize>,
}

pub(crate) fn judge(
    series: &Series,
    motion: &Motion,
    events: &[(usize, &Event)],
    surface: &Surface,
) -> Vec<ThrowResult> {
    let up = reach(series, motion, true);
    let down = reach(series, motion, false);
    surface
        .throws
        .iter()
        .map(|throw| {
            let reach = if throw.side.sign() > 0.0 { &up } else { &down };
            one(series, motion, events, surface, throw, reach.as_ref())
        })
        .collect()
}

/// Mean of the ends of all strokes that came about as far as the furthest.
fn reach(series: &Series, motion: &Motion, up: bool) -> Option<Reach> {
    let sign = if up { 1.0 } else { -1.0 };
    let ends: Vec<(usize, f64)> = motion
        .strokes
        .iter()
        .enumerate()
        .filter(|(_, s)| s.up == up)
        .filter_map(|(n, s)| Some((n, rest_at(series, motion, s)?)))
        .filter(|(_, a)| sign * a > STANDING_DEG / 2.0)
        .collect();
    let furthest = ends
        .iter()
        .map(|e| sign * e.1)
        .fold(f64::NEG_INFINITY, f64::max);
    let near = (NEAR_FURTHEST * motion.travel_deg()).max(0.5);
    let chosen: Vec<(usize, f64)> = ends
        .into_iter()
        .filter(|e| sign * e.1 > furthest - near)
        .collect();
    let values: Vec<f64> = chosen.iter().map(|e| e.1).collect();
    // A step of the sensor is a rectangle of that width (GUM 4.3.7), the same for every stroke that stops there.
    let deg = mean_of(&values, motion.resolution_deg / 12.0_f64.sqrt())?;
    Some(Reach {
        deg,
        strokes: chosen.iter().map(|e| e.0).collect(),
    })
}

/// Where the surface stood at the end of a stroke: the mean while it rested there, or the furthest local mean of a
/// movement that turned at once.
fn rest_at(series: &Series, motion: &Motion, stroke: &Stroke) -> Option<f64> {
    let raw = series.column(Channel::AngleDeg)?;
    let turn = stroke.range.end - 1;
    let near = (0.02 * motion.travel_deg()).clamp(0.2, 0.6);
    let (first, last) = around(motion, turn, |a| (a - motion.angle_deg[turn]).abs() <= near);
    let t = &series.t_s;
    let slow = 0.05 * stroke.speed_deg_s;
    let resting: Vec<f64> = (first..=last)
        .filter(|&i| t[i] - t[first] >= SETTLING_S && t[last] - t[i] >= 0.5 * SETTLING_S)
        .filter(|&i| motion.speed_deg_s[i].abs() <= slow && !raw[i].is_nan())
        .map(|i| raw[i])
        .collect();
    if resting.len() >= 5 {
        return Some(resting.iter().sum::<f64>() / resting.len() as f64);
    }
    if !stroke.ends_in_reversal {
        // The recording ends on the way: this is not how far it would have come.
        return None;
    }
    let sign = stroke.sign();
    (first.max(1)..=last.min(raw.len().saturating_sub(2)))
        .map(|i| (raw[i - 1] + raw[i] + raw[i + 1]) / 3.0)
        .filter(|a| !a.is_nan() && (a - motion.angle_deg[turn]).abs() < 3.0)
        .max_by(|a, b| (sign * a).total_cmp(&(sign * b)))
        .or(Some(motion.angle_deg[turn]))
}

/// The stretch of samples around `middle` in which `inside` holds.
fn around(motion: &Motion, middle: usize, inside: impl Fn(f64) -> bool) -> (usize, usize) {
    let angle = &motion.angle_deg;
    let (mut first, mut last) = (middle, middle);
    while first > 0 && inside(angle[first - 1]) {
        first -= 1;
    }
    while last + 1 < angle.len() && inside(angle[last + 1]) {
        last += 1;
    }
    (first, last)
}

fn one(
    series: &Series,
    motion: &Motion,
    events: &[(usize, &Event)],
    surface: &Surface,
    throw: &Throw,
    reach: Option<&Reach>,
) -> ThrowResult {
    let mut result = not_seen(throw);
    let Some(reach) = reach else { return result };
    let deg = turned(reach.deg, throw.side.sign());
    let mm = in_mm(deg, surface);
    let least_mm = throw.asked_mm - throw.tolerance_mm;
    result.state = match mm.interval {
        Some(i) if i.lo95 >= least_mm => ThrowState::Met,
        Some(i) if i.hi95 < least_mm => ThrowState::Short,
        Some(_) => ThrowState::Unproven,
        // A single stroke has no interval: it counts only where it is clear by the whole tolerance.
        None if mm.value >= least_mm + throw.tolerance_mm => ThrowState::Met,
        None if mm.value < least_mm - throw.tolerance_mm => ThrowState::Short,
        None => ThrowState::Unproven,
    };
    if result.state == ThrowState::Short {
        result.cause = cause(series, motion, events, &reach.strokes);
    }
    result.reached_deg = Some(deg);
    result.reached_mm = Some(mm);
    result
}

/// A throw of which the recording says nothing.
pub(crate) fn not_seen(throw: &Throw) -> ThrowResult {
    ThrowResult {
        name: throw.name.clone(),
        side: throw.side,
        asked_mm: throw.asked_mm,
        asked_deg: throw.asked_deg,
        tolerance_mm: throw.tolerance_mm,
        reached_mm: None,
        reached_deg: None,
        state: ThrowState::Unproven,
        cause: None,
    }
}

fn turned(q: Quantity, sign: f64) -> Quantity {
    let interval = q.interval.map(|i| {
        let (a, b) = (sign * i.lo95, sign * i.hi95);
        super::Interval {
            u: i.u,
            lo95: a.min(b),
            hi95: a.max(b),
        }
    });
    Quantity {
        value: sign * q.value,
        interval,
    }
}

fn in_mm(deg: Quantity, surface: &Surface) -> Quantity {
    let mm = |d: f64| surface.mm_at_deg(d);
    Quantity {
        value: mm(deg.value),
        interval: deg.interval.map(|i| super::Interval {
            u: i.u * (mm(deg.value + 0.01) - mm(deg.value - 0.01)).abs() / 0.02,
            lo95: mm(i.lo95),
            hi95: mm(i.hi95),
        }),
    }
}

/// Why the strokes ended where they did: what most of them say.
fn cause(
    series: &Series,
    motion: &Motion,
    events: &[(usize, &Event)],
    strokes: &[usize],
) -> Option<ShortCause> {
    let pulse = series.column(Channel::PulseUs);
    let (mut stalled, mut limit, mut command) = (0, 0, 0);
    for &n in strokes {
        let stroke = &motion.strokes[n];
        let until = motion
            .strokes
            .get(n + 1)
            .map_or(series.len() - 1, |next| {
                (next.range.start + next.range.end) / 2
            })
            .min(series.len() - 1);
        let code = events
            .iter()
            .filter(|(at, _)| (stroke.range.start..=until.max(stroke.range.end)).contains(at))
            .find_map(|(_, e)| stopping(&e.code));
        match code {
            Some(ShortCause::Stalled) => stalled += 1,
            Some(_) => limit += 1,
            None => {
                match pulse.and_then(|p| stood_before_command(series, motion, p, stroke, until)) {
                    Some(true) => stalled += 1,
                    Some(false) => command += 1,
                    None => {}
                }
            }
        }
    }
    let most = stalled.max(limit).max(command);
    if most == 0 {
        None
    } else if stalled == most {
        Some(ShortCause::Stalled)
    } else if limit == most {
        Some(ShortCause::StoppedByLimit)
    } else {
        Some(ShortCause::EndOfCommand)
    }
}

fn stopping(code: &str) -> Option<ShortCause> {
    match code {
        "stalled" => Some(ShortCause::Stalled),
        "over-current" | "over-temperature" | "under-voltage" | "sensor-fault" | "host-lost" => {
            Some(ShortCause::StoppedByLimit)
        }
        _ => None,
    }
}

/// Whether the surface came to rest well before the command did.
fn stood_before_command(
    series: &Series,
    motion: &Motion,
    pulse: &[f64],
    stroke: &Stroke,
    until: usize,
) -> Option<bool> {
    let range = stroke.range.start..until + 1;
    let first = range.clone().find(|&i| !pulse[i].is_nan())?;
    // The way the command goes in this stroke, whatever sense the servo has.
    let furthest = range
        .clone()
        .filter(|&i| !pulse[i].is_nan())
        .max_by(|&a, &b| {
            (pulse[a] - pulse[first])
                .abs()
                .total_cmp(&(pulse[b] - pulse[first]).abs())
        })?;
    let span = (pulse[furthest] - pulse[first]).abs();
    if span < 5.0 {
        return None;
    }
    let command_ends = range
        .clone()
        .find(|&i| (pulse[i] - pulse[furthest]).abs() <= 0.01 * span)?;
    let turn = stroke.range.end - 1;
    let near = (0.015 * motion.travel_deg()).clamp(0.2, 0.5);
    let surface_ends = range
        .clone()
        .find(|&i| (motion.angle_deg[i] - motion.angle_deg[turn]).abs() <= near)?;
    Some(series.t_s[command_ends] - series.t_s[surface_ends] > STANDS_BEFORE_COMMAND_S)
}
