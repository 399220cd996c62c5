//! Two servos on one surface: what each draws at the holds, whether they push against each other, and which to trim. Pure.
//!
//! Held still a servo draws idle and copper loss alone. What *both* draw where the load is small, at neutral, they draw against each
//! other. Away from neutral the load adds to the one and is taken from the other: the hinge's spring pulls towards neutral, so a
//! servo that pushes up more than its half draws more than the other at the upper end and less at the lower. With both calibrated,
//! copper loss gives each one's torque, P = a·x², x = (1 + g)·τ, its own friction either way left open.

use std::ops::Range;

use super::spells;
use crate::aircraft::{Aircraft, Calibration, Surface};
use crate::analysis::stats::student;
use crate::analysis::{Interval, Quantity};
use crate::recording::{Channel, Recording, Segment};

/// A pulse stands for this long before the servos are taken to rest, and a hold is as long again at least, s.
const RESTS_AFTER_S: f64 = 0.2;
const SHORTEST_S: f64 = 0.1;
const SAME_US: f64 = 0.5;
/// Disarmed stretches are averaged over so long, s, once the filters have settled.
const IDLE_BLOCK_S: f64 = 0.2;
/// An end is where the surface comes within this share of its travel, neutral likewise.
const NEAR_SHARE: f64 = 0.1;
const LEAST_NEAR_DEG: f64 = 1.0;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    Lower,
    Neutral,
    Upper,
}

/// What was seen at one place of the travel. Currents are beyond idle, mA.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    pub place: Place,
    pub angle_deg: f64,
    pub holds: usize,
    pub first_ma: Quantity,
    pub second_ma: Quantity,
    /// What both draw at least, mA: the smaller of the two, hold by hold. At neutral that is what they fight with; elsewhere at most.
    pub both_ma: Quantity,
    /// The first's part of what both draw; `None` where it is too little to share.
    pub first_share: Option<Quantity>,
    /// Torque of each at the arm, without its sign, N·cm; `None` unless both are calibrated.
    pub torque_ncm: Option<[Quantity; 2]>,
}

/// What to turn to ease the fight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trim {
    /// Nothing that the data show.
    None,
    /// They fight, but which pushes which way does not show.
    CannotTell,
    /// The first one's neutral pushes further up (`true`) or down than the second's.
    FirstPushes { up: bool },
}

#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// Tags of the servos.
    pub tags: [String; 2],
    pub places: Vec<At>,
    pub trim: Trim,
    /// Idle of each comes from the recording's disarmed stretch or calibrations; `None`: neither, and nothing is told.
    pub idle_known: bool,
}

/// `None` unless two servos drive the surface and the recording has both currents.
pub fn measure(recording: &Recording, aircraft: &Aircraft, surface: &Surface) -> Option<Share> {
    let servos = [surface.servo_index, surface.second_servo_index?].map(|i| &aircraft.servos[i]);
    if !(recording.has(Channel::CurrentMa) && recording.has(Channel::Current2Ma)) {
        return None;
    }
    let tags = servos.map(|s| s.tag.clone());
    let calibrations = servos.map(|s| s.calibration.as_ref());
    let holds = holds(recording);
    let idle = idle_ma(recording, calibrations);
    let places = idle.map_or(Vec::new(), |idle| places(&holds, idle, calibrations));
    Some(Share {
        tags,
        trim: trim(&places),
        idle_known: idle.is_some(),
        places,
    })
}

/// Means over one hold.
struct Hold {
    angle_deg: f64,
    currents_ma: [f64; 2],
    volts: f64,
}

/// A mean with its standard uncertainty and degrees of freedom.
#[derive(Clone, Copy)]
struct Mean(f64, f64, f64);

fn holds(recording: &Recording) -> Vec<Hold> {
    let mut found = Vec::new();
    for spell in spells(recording) {
        let (Some(pulse), Some(angle)) = (
            spell.column(Channel::PulseUs),
            spell.column(Channel::AngleDeg),
        ) else {
            continue;
        };
        let t_s = spell.t_s();
        let column = |channel| spell.column(channel).unwrap_or(&[]);
        let currents = [column(Channel::CurrentMa), column(Channel::Current2Ma)];
        let volts = spell
            .column(Channel::SupplyV)
            .or_else(|| spell.column(Channel::SourceV));
        for run in same_pulse(pulse) {
            let from_s = t_s[run.start] + RESTS_AFTER_S;
            let from = run.start + t_s[run.clone()].partition_point(|t| *t < from_s);
            if from >= run.end || t_s[run.end - 1] - t_s[from] < SHORTEST_S {
                continue;
            }
            let over = |values: &[f64]| values.get(from..run.end).and_then(mean);
            let (Some(angle_deg), Some(first), Some(second)) =
                (over(angle), over(currents[0]), over(currents[1]))
            else {
                continue;
            };
            found.push(Hold {
                angle_deg,
                currents_ma: [first, second],
                volts: volts.and_then(over).unwrap_or(f64::NAN),
            });
        }
    }
    found
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
fn mean(values: &[f64]) -> Option<f64> {
    let seen = values.iter().filter(|v| v.is_finite());
    let (sum, count) = seen.fold((0.0, 0_u32), |(s, n), v| (s + v, n + 1));
    (count > 0).then(|| sum / f64::from(count))
}

fn mean_of(values: &[f64]) -> Option<Mean> {
    let (value, n) = (mean(values)?, values.len() as f64);
    let squares: f64 = values.iter().map(|v| (v - value).powi(2)).sum();
    Some(match values.len() {
        0..=2 => Mean(value, f64::NAN, 0.0),
        _ => Mean(value, (squares / (n * (n - 1.0))).sqrt(), n - 1.0),
    })
}

/// Idle of each, mA: of the disarmed stretch where there is one, else by its calibration at the usual voltage.
fn idle_ma(recording: &Recording, calibrations: [Option<&Calibration>; 2]) -> Option<[Mean; 2]> {
    let of = |channel: Channel, calibration: Option<&Calibration>| {
        let blocks: Vec<f64> = recording
            .segments
            .iter()
            .flat_map(|segment| disarmed(segment, channel))
            .collect();
        if let Some(mean) = mean_of(&blocks).filter(|m| m.2 > 0.0) {
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
        let u = calibration.covariance[0][0].max(0.0).sqrt();
        Some(Mean(calibration.idle_w * per_w, u * per_w, f64::INFINITY))
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

fn places(holds: &[Hold], idle: [Mean; 2], calibrations: [Option<&Calibration>; 2]) -> Vec<At> {
    let ends = holds.iter().map(|h| h.angle_deg);
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), a| {
        (l.min(a), h.max(a))
    });
    let near = (NEAR_SHARE * (high - low)).max(LEAST_NEAR_DEG);
    let one = |place: Place, of_deg: f64| -> Option<At> {
        let here: Vec<&Hold> = holds
            .iter()
            .filter(|h| (h.angle_deg - of_deg).abs() < near)
            .collect();
        at(place, &here, idle, calibrations)
    };
    let mut found = Vec::new();
    if low < -2.0 * near {
        found.extend(one(Place::Lower, low));
    }
    found.extend(one(Place::Neutral, 0.0));
    if high > 2.0 * near {
        found.extend(one(Place::Upper, high));
    }
    found
}

fn at(
    place: Place,
    here: &[&Hold],
    idle: [Mean; 2],
    calibrations: [Option<&Calibration>; 2],
) -> Option<At> {
    let angles: Vec<f64> = here.iter().map(|h| h.angle_deg).collect();
    let beyond = |which: usize| -> Vec<f64> {
        here.iter()
            .map(|h| h.currents_ma[which] - idle[which].0)
            .collect()
    };
    let (first, second) = (beyond(0), beyond(1));
    let both: Vec<f64> = first.iter().zip(&second).map(|(a, b)| a.min(*b)).collect();
    let shares: Vec<f64> = first
        .iter()
        .zip(&second)
        .map(|(a, b)| a / (a + b))
        .collect();
    let with = |values: &[f64], u: f64, df: f64| {
        let Mean(value, scatter_u, scatter_df) = mean_of(values)?;
        let (u, df) = student::combine(&[(scatter_u, scatter_df), (u, df)]);
        Some(quantity(value, u, df))
    };
    let (first_ma, second_ma) = (
        with(&first, idle[0].1, idle[0].2)?,
        with(&second, idle[1].1, idle[1].2)?,
    );
    let both_u = idle[0].1.max(idle[1].1);
    let drawn = |q: &Quantity| q.interval.is_some_and(|i| i.lo95 > 0.0);
    let some = drawn(&first_ma) || drawn(&second_ma);
    let torque = |which: usize| {
        let calibration = calibrations[which]?;
        let of = |h: &&Hold| held_ncm(calibration, h.currents_ma[which] - idle[which].0, h.volts);
        let torques: Option<Vec<f64>> = here.iter().map(of).collect();
        // Friction stands on either side of it.
        let friction_u =
            100.0 * calibration.friction_nm / (1.0 + calibration.gear_loss) / 3.0_f64.sqrt();
        with(&torques?, friction_u, f64::INFINITY)
    };
    Some(At {
        place,
        angle_deg: mean(&angles)?,
        holds: here.len(),
        both_ma: with(&both, both_u, idle[0].2.min(idle[1].2))?,
        first_share: with(&shares, 0.0, f64::INFINITY).filter(|_| some),
        torque_ncm: torque(0).zip(torque(1)).map(|(a, b)| [a, b]),
        first_ma,
        second_ma,
    })
}

/// Torque at the arm of a servo that stands, N·cm, from its copper loss.
fn held_ncm(calibration: &Calibration, beyond_ma: f64, volts: f64) -> Option<f64> {
    let copper_w = (1e-3 * beyond_ma * volts).max(0.0);
    let shaft_nm = (copper_w / calibration.winding_w_per_nm2).sqrt();
    let ncm = 100.0 * shaft_nm / (1.0 + calibration.gear_loss);
    ncm.is_finite().then_some(ncm)
}

fn quantity(value: f64, u: f64, df: f64) -> Quantity {
    let interval: Option<Interval> = student::interval(value, u, df);
    Quantity {
        value,
        interval: interval.filter(|_| u > 0.0),
    }
}

/// At neutral they must be seen to fight; the ends say which way, where they agree.
fn trim(places: &[At]) -> Trim {
    let of = |place| places.iter().find(|p| p.place == place);
    let fights = |at: &At| at.both_ma.interval.is_some_and(|i| i.lo95 > 0.0);
    if !of(Place::Neutral).is_some_and(fights) {
        return Trim::None;
    }
    // +1: the first pushes up more than its half; by one end, where the two intervals keep clear of each other.
    let leans = |place: Place, sign: f64| -> Option<f64> {
        let at = of(place)?;
        let (a, b) = (at.first_ma.interval?, at.second_ma.interval?);
        match () {
            _ if a.lo95 > b.hi95 => Some(sign),
            _ if b.lo95 > a.hi95 => Some(-sign),
            _ => None,
        }
    };
    match (leans(Place::Upper, 1.0), leans(Place::Lower, -1.0)) {
        (Some(a), Some(b)) if a != b => Trim::CannotTell,
        (Some(a), _) | (None, Some(a)) => Trim::FirstPushes { up: a > 0.0 },
        (None, None) => Trim::CannotTell,
    }
}

#[cfg(test)]
#[path = "share_tests.rs"]
mod tests;
