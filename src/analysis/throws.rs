//! Throws: how far the surface came on each side, against what the manual asks, and why not further.

use super::arm::mean_of;
use super::motion::{Motion, STANDING_DEG, Stroke};
use super::series::Series;
use super::{Load, Quantity, ShortCause, ThrowResult, ThrowState};
use crate::aircraft::{Surface, Throw};
use crate::recording::{Channel, Event};

/// A stroke speaks for the throw only if it came this near to the furthest one (share of the travel).
const NEAR_FURTHEST: f64 = 0.06;
/// The surface standing still this long before the command does is a stalled servo, s; a servo's own lag goes the other way.
const STANDS_BEFORE_COMMAND_S: f64 = 0.20;
/// Readings this soon after the surface came to rest are left out of where it rests, s.
const SETTLING_S: f64 = 0.10;
/// A surface this share of its stroke behind where mid-stroke was leading did not follow its command.
const FELL_BEHIND: f64 = 0.05;
/// Share of stall torque from which a servo is taken to labour at the end of a throw.
const LABOURING_SHARE: f64 = 0.4;

/// How far strokes came on one side.
struct Reach {
    /// Signed, up positive.
    deg: Quantity,
    strokes: Vec<usize>,
    /// Where each of them ended, °, signed.
    ends: Vec<f64>,
    /// The strokes came to their end; else the recording was cut off on the way.
    whole: bool,
}

/// What the causes are looked for in.
struct Bench<'a> {
    series: &'a Series<'a>,
    motion: &'a Motion,
    events: &'a [(usize, &'a Event)],
    load: &'a Load,
    /// The run did not reach its end: that it came no further says nothing.
    unfinished: bool,
}

pub(crate) fn judge(
    series: &Series,
    motion: &Motion,
    events: &[(usize, &Event)],
    surface: &Surface,
    load: &Load,
    unfinished: bool,
) -> Vec<ThrowResult> {
    let bench = Bench {
        series,
        motion,
        events,
        load,
        unfinished,
    };
    let up = reach(series, motion, true);
    let down = reach(series, motion, false);
    surface
        .throws
        .iter()
        .map(|throw| {
            let reach = if throw.side.sign() > 0.0 { &up } else { &down };
            one(&bench, surface, throw, reach.as_ref())
        })
        .collect()
}

/// Mean of the ends of all strokes that came about as far as the furthest.
fn reach(series: &Series, motion: &Motion, up: bool) -> Option<Reach> {
    let sign = if up { 1.0 } else { -1.0 };
    let ends = |whole: bool| -> Vec<(usize, f64)> {
        let strokes = motion
            .strokes
            .iter()
            .enumerate()
            .filter(|(_, s)| s.up == up);
        strokes
            .filter_map(|(n, s)| {
                let cut_off = || (!whole).then(|| motion.angle_deg[s.range.end - 1]);
                Some((n, rest_at(series, motion, s).or_else(cut_off)?))
            })
            .filter(|(_, a)| sign * a > STANDING_DEG / 2.0)
            .collect()
    };
    let mut found = ends(true);
    let whole = !found.is_empty();
    if !whole {
        found = ends(false);
    }
    let furthest = found
        .iter()
        .map(|e| sign * e.1)
        .fold(f64::NEG_INFINITY, f64::max);
    let near = (NEAR_FURTHEST * motion.travel_deg()).max(0.5);
    found.retain(|e| sign * e.1 > furthest - near);
    let values: Vec<f64> = found.iter().map(|e| e.1).collect();
    // A step of the sensor is a rectangle of that width (GUM 4.3.7), the same for every stroke that stops there.
    let step_u = motion.resolution_deg / 12.0_f64.sqrt();
    let at = values.iter().sum::<f64>() / values.len().max(1) as f64;
    let deg = mean_of(&values, step_u.hypot(series.angle_u.at(at)))?;
    Some(Reach {
        deg,
        strokes: found.iter().map(|e| e.0).collect(),
        ends: values,
        whole,
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

fn one(bench: &Bench, surface: &Surface, throw: &Throw, reach: Option<&Reach>) -> ThrowResult {
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
    // Ends that a hand scatters have a wide mean; two strokes that came there all the same have shown that it can.
    let came = |deg: &&f64| surface.mm_at_deg(throw.side.sign() * **deg) >= least_mm;
    if result.state == ThrowState::Unproven && reach.ends.iter().filter(came).count() >= 2 {
        result.state = ThrowState::Met;
    }
    if result.state == ThrowState::Short {
        result.cause = cause(bench, &reach.strokes);
        if (!reach.whole || bench.unfinished)
            && !matches!(
                result.cause,
                Some(ShortCause::Stalled | ShortCause::StoppedByLimit)
            )
        {
            // The recording ended on the way there, or before the run had come to it.
            result.state = ThrowState::Unproven;
            result.cause = None;
        }
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
fn cause(bench: &Bench, strokes: &[usize]) -> Option<ShortCause> {
    let (mut stalled, mut limit, mut command) = (0, 0, 0);
    for &n in strokes {
        match bench.cause_of(n) {
            Some(ShortCause::Stalled) => stalled += 1,
            Some(ShortCause::StoppedByLimit) => limit += 1,
            Some(ShortCause::EndOfCommand) => command += 1,
            None => {}
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
        "over-current" | "over-temperature" | "under-voltage" => Some(ShortCause::StoppedByLimit),
        // A lost host or a failed sensor says nothing of the surface.
        _ => None,
    }
}

/// What one stroke's command did.
struct Command {
    /// Samples from the stroke's start to where the command is as far as it goes.
    range: std::ops::Range<usize>,
    first_us: f64,
    furthest_us: f64,
}

impl Bench<'_> {
    fn cause_of(&self, n: usize) -> Option<ShortCause> {
        let stroke = &self.motion.strokes[n];
        let last = self.series.len() - 1;
        let until = self
            .motion
            .strokes
            .get(n + 1)
            .map_or(last, |next| (next.range.start + next.range.end) / 2)
            .clamp(stroke.range.end.min(last), last);
        let code = self
            .events
            .iter()
            .filter(|(at, _)| (stroke.range.start..=until).contains(at))
            .find_map(|(_, e)| stopping(&e.code));
        if code.is_some() {
            return code;
        }
        let pulse = self.series.column(Channel::PulseUs)?;
        let command = Command::of(pulse, stroke.range.start..until + 1)?;
        if self.stood_before(&command, stroke) || self.fell_behind(pulse, &command, stroke) {
            return Some(ShortCause::Stalled);
        }
        Some(ShortCause::EndOfCommand)
    }

    /// The surface came to rest well before the command did.
    fn stood_before(&self, command: &Command, stroke: &Stroke) -> bool {
        let turn = stroke.range.end - 1;
        let angle = &self.motion.angle_deg;
        let near = (0.015 * self.motion.travel_deg()).clamp(0.2, 0.5);
        let arrived = command.range.start..self.series.len();
        let rested = arrived
            .into_iter()
            .find(|&i| (angle[i] - angle[turn]).abs() <= near);
        let command_ends = command.range.end - 1;
        rested.is_some_and(|i| {
            self.series.t_s[command_ends] - self.series.t_s[i] > STANDS_BEFORE_COMMAND_S
        })
    }

    /// The surface stayed well behind where its own motion in mid-stroke was leading, and the servo laboured for it.
    fn fell_behind(&self, pulse: &[f64], command: &Command, stroke: &Stroke) -> bool {
        let span = command.furthest_us - command.first_us;
        let mut sums = [0.0_f64; 5];
        for i in command.range.clone() {
            let share = (pulse[i] - command.first_us) / span;
            let angle = self.motion.angle_deg[i];
            if (0.3..0.75).contains(&share) && !angle.is_nan() {
                for (sum, term) in
                    sums.iter_mut()
                        .zip([1.0, share, angle, share * share, share * angle])
                {
                    *sum += term;
                }
            }
        }
        let [n, x, y, xx, xy] = sums;
        let spread = n * xx - x * x;
        if n < 8.0 || spread <= 0.0 {
            return false;
        }
        let slope = (n * xy - x * y) / spread;
        let leading_to = (y - slope * x) / n + slope;
        let sign = stroke.sign();
        let behind = sign * (leading_to - stroke.to_deg);
        let far = (FELL_BEHIND * (stroke.to_deg - stroke.from_deg).abs()).max(1.0);
        behind > far && self.labours(stroke.to_deg)
    }

    /// The servo draws or pushes hard at an end of the travel; taken as so where nothing tells.
    fn labours(&self, at_deg: f64) -> bool {
        let load = self.load;
        let pushes = load
            .share_of_stall
            .is_some_and(|s| s.value > LABOURING_SHARE);
        let near = |h: &&super::HoldCurrent| (h.at_deg - at_deg).abs() < 3.0;
        match load.hold_current_ma.iter().find(near) {
            Some(here) => pushes || load.hold_current_ma.iter().any(|h| here.ma > 2.5 * h.ma),
            None => pushes || load.share_of_stall.is_none(),
        }
    }
}

impl Command {
    fn of(pulse: &[f64], range: std::ops::Range<usize>) -> Option<Self> {
        let first = range.clone().find(|&i| !pulse[i].is_nan())?;
        let first_us = pulse[first];
        // The way the command goes in this stroke, whatever sense the servo has.
        let away = |i: usize| (pulse[i] - first_us).abs();
        let given = || range.clone().filter(|&i| !pulse[i].is_nan());
        let furthest_us = pulse[given().max_by(|&a, &b| away(a).total_cmp(&away(b)))?];
        let span = (furthest_us - first_us).abs();
        let ends = given().find(|&i| (pulse[i] - furthest_us).abs() <= 0.01 * span)?;
        (span >= 5.0).then_some(Self {
            range: first..ends + 1,
            first_us,
            furthest_us,
        })
    }
}
