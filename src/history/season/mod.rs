//! A season: what each surface and each servo has done over its recordings, where it is going, and what to look at first.
//! Pure, as all of this room: readings and events in, health out; what time it is now is not known here.
//!
//! A servo that moved to another surface takes along what is the servo's own (hold current, its lead); what is the hinge's
//! begins anew there.

mod advice;
mod forecast;
mod health;
mod quantity;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::aircraft::Limits;
use crate::analysis::Quantity;
use crate::analysis::stats::robust::median;

pub use advice::advice;
pub use forecast::{Crossing, Per, Trend};
pub use health::{Bounds, Chart, FOR_A_BASELINE, FOR_A_CHART, Health, Level, Point, health};
pub use quantity::{Measure, Worse};

/// One finished recording, as far as a season looks at it.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    pub id: String,
    pub at: Timestamp,
    pub surface: String,
    /// The servo's tag.
    pub servo: Option<String>,
    /// Where torque came from: readings of two kinds of sensor are not one series.
    pub torque_from: Option<String>,
    /// In the order of [`Measure::ALL`].
    pub values: [Option<Quantity>; Measure::COUNT],
    /// Share of stall torque per N·cm at the hinge line, where both were measured.
    pub stall_share_per_ncm: Option<f64>,
}

/// Something done to a surface or a servo, from whose time on its readings stand against a new baseline.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    pub at: Timestamp,
    /// A surface's name or a servo's tag.
    pub subject: String,
    /// What was done, for people: `servo-replaced: the old one had a chipped gear`.
    pub what: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Surface,
    Servo,
}

/// One surface or servo.
#[derive(Debug, Clone, PartialEq)]
pub struct Subject {
    pub kind: Kind,
    pub name: String,
    /// The servos that sat in the surface, or the surfaces that the servo sat in, in the order of time.
    pub with: Vec<String>,
    pub recordings: usize,
    pub quantities: Vec<Record>,
}

/// One quantity of a subject.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    pub measure: Measure,
    /// Over all recordings, whatever was done between them.
    pub count: usize,
    pub median: f64,
    pub latest: Quantity,
    pub latest_at: Timestamp,
    /// ID of the latest recording that has it.
    pub latest_id: String,
    /// What began the baseline that the latest is held to; `None` where it is the first recording.
    pub since: Option<(Timestamp, String)>,
    pub bounds: Bounds,
    pub health: Health,
    /// All recordings that have it, in the order of time.
    pub points: Vec<RecordPoint>,
    /// Index of the first point of the baseline in force; the health is of the points from here on.
    pub in_force_from: usize,
}

/// A recording's part in a record.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordPoint {
    pub at: Timestamp,
    pub id: String,
    pub quantity: Quantity,
}

/// One quantity of one surface at a glance, among those of many aircraft.
#[derive(Debug, Clone, PartialEq)]
pub struct Glance {
    pub aircraft: String,
    pub surface: String,
    pub measure: Measure,
    pub count: u32,
    pub median: f64,
    pub latest: f64,
    /// Median of the latest five less that of the first five.
    pub change: f64,
}

impl Subject {
    /// The worst of its quantities.
    pub fn level(&self) -> Level {
        let levels = self.quantities.iter().map(|q| q.health.level);
        levels.max().unwrap_or(Level::Fine)
    }
}

/// Every surface and every servo that has a reading, worst on top, each with its quantities, worst on top.
pub fn season(readings: &[Reading], events: &[Event], limits: &Limits) -> Vec<Subject> {
    let mut by_subject: BTreeMap<(Kind, &str), Vec<&Reading>> = BTreeMap::new();
    for reading in readings {
        let surface = (Kind::Surface, reading.surface.as_str());
        by_subject.entry(surface).or_default().push(reading);
        if let Some(tag) = &reading.servo {
            let servo = (Kind::Servo, tag.as_str());
            by_subject.entry(servo).or_default().push(reading);
        }
    }
    let mut subjects: Vec<Subject> = by_subject
        .into_iter()
        .map(|((kind, name), own)| subject(kind, name, own, events, limits))
        .collect();
    // Stable: of equals, surfaces before servos and by name.
    subjects.sort_by_key(|s| {
        let urgency = s.quantities.iter().map(|q| q.health.urgency()).max();
        std::cmp::Reverse(urgency)
    });
    subjects
}

fn subject(
    kind: Kind,
    name: &str,
    mut own: Vec<&Reading>,
    events: &[Event],
    limits: &Limits,
) -> Subject {
    own.sort_by(|a, b| a.at.cmp(&b.at).then_with(|| a.id.cmp(&b.id)));
    let mut with: Vec<String> = Vec::new();
    for reading in &own {
        let other = match kind {
            Kind::Surface => reading.servo.as_deref(),
            Kind::Servo => Some(reading.surface.as_str()),
        };
        if let Some(other) = other.filter(|o| !with.iter().any(|w| w == o)) {
            with.push(other.to_owned());
        }
    }
    let mut quantities: Vec<Record> = Measure::ALL
        .into_iter()
        .filter_map(|measure| record(kind, name, measure, &own, events, limits))
        .collect();
    quantities.sort_by_key(|q| std::cmp::Reverse(q.health.urgency()));
    Subject {
        kind,
        name: name.to_owned(),
        with,
        recordings: own.len(),
        quantities,
    }
}

fn record(
    kind: Kind,
    name: &str,
    measure: Measure,
    own: &[&Reading],
    events: &[Event],
    limits: &Limits,
) -> Option<Record> {
    let with_value: Vec<(&Reading, Quantity)> = own
        .iter()
        .filter_map(|r| r.values[measure as usize].map(|q| (*r, q)))
        .collect();
    let (last, latest) = *with_value.last()?;
    let values: Vec<f64> = with_value.iter().map(|(_, q)| q.value).collect();
    let (first, since) = baseline_start(kind, name, measure, &with_value, events);
    let current = &with_value[first..];
    let points: Vec<Point> = current
        .iter()
        .map(|(reading, quantity)| Point {
            days: days_between(current[0].0.at, reading.at),
            quantity: *quantity,
        })
        .collect();
    let bounds = measure.bounds(limits, current.iter().map(|(r, q)| (*r, q.value)));
    Some(Record {
        measure,
        count: values.len(),
        median: median(&values)?,
        latest,
        latest_at: last.at,
        latest_id: last.id.clone(),
        since,
        bounds,
        health: health(&points, measure.worse(), bounds, measure.resolution())?,
        points: with_value
            .iter()
            .map(|(reading, quantity)| RecordPoint {
                at: reading.at,
                id: reading.id.clone(),
                quantity: *quantity,
            })
            .collect(),
        in_force_from: first,
    })
}

fn days_between(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64() / 86_400.0
}

/// Where the baseline in force begins: the index of its first reading, and what began it.
fn baseline_start(
    kind: Kind,
    name: &str,
    measure: Measure,
    readings: &[(&Reading, Quantity)],
    events: &[Event],
) -> (usize, Option<(Timestamp, String)>) {
    let mut start = (0, None);
    for (i, (now, _)) in readings.iter().enumerate() {
        let before = i.checked_sub(1).map(|i| readings[i].0);
        let noted = events
            .iter()
            .filter(|e| e.at <= now.at && before.is_none_or(|b| e.at > b.at))
            .filter(|e| concerns(e, kind, name, measure, now, before))
            .max_by_key(|e| e.at);
        if let Some(event) = noted {
            start = (i, Some((event.at, event.what.clone())));
        } else if let Some(what) = before.and_then(|b| changed(kind, measure, b, now)) {
            start = (i, Some((now.at, what)));
        }
    }
    start
}

fn concerns(
    event: &Event,
    kind: Kind,
    name: &str,
    measure: Measure,
    now: &Reading,
    before: Option<&Reading>,
) -> bool {
    if event.subject == name {
        return true;
    }
    let of = |r: &Reading| match kind {
        Kind::Surface => r.servo.as_deref() == Some(&event.subject),
        // What was done to a hinge leaves the servo's own record as it is.
        Kind::Servo => !measure.is_the_servos_own() && r.surface == event.subject,
    };
    of(now) || before.is_some_and(of)
}

/// What differs between two readings that stand next to each other, so that they are not to be compared.
fn changed(kind: Kind, measure: Measure, before: &Reading, now: &Reading) -> Option<String> {
    let said = |r: &Option<String>| r.clone().unwrap_or_else(|| "none".into());
    if kind == Kind::Surface && before.servo != now.servo {
        let (old, new) = (said(&before.servo), said(&now.servo));
        return Some(format!("servo {new} instead of {old}"));
    }
    if kind == Kind::Servo && !measure.is_the_servos_own() && before.surface != now.surface {
        return Some(format!("moved to {}", now.surface));
    }
    if measure.needs_torque() && before.torque_from != now.torque_from {
        let (old, new) = (said(&before.torque_from), said(&now.torque_from));
        return Some(format!("torque from {new} instead of {old}"));
    }
    None
}
