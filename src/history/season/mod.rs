//! A season: what each surface and each servo has done over its recordings, where it is going, and what to look at first.
//! Pure, as all of this room: readings and events in, health out; what time it is now is not known here.
//!
//! A servo that moved to another surface takes along what is the servo's own (hold current, its lead); what is the hinge's
//! begins anew there.

mod advice;
mod forecast;
mod health;
#[cfg(test)]
mod health_tests;
mod quantity;
mod reading;
#[cfg(test)]
mod tests;
mod work;

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use rayon::prelude::*;

use crate::aircraft::Limits;
use crate::analysis::Quantity;
use crate::analysis::stats::robust::median;

pub use advice::{Advice, BEFORE_IT_IS_RUN, Tell, advice};
pub use forecast::{Crossing, Per, Trend, groups};
use health::health_after;
pub use health::{Bounds, Chart, FOR_A_BASELINE, FOR_A_CHART, Health, Level, Point, health};
pub use quantity::{Measure, Worse};
pub use reading::{Reading, Values};
pub use work::{WORKED_IN_WORDS, Work};

/// Something done to a surface or a servo, from whose time on what it changed stands against a new baseline.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    pub at: Timestamp,
    /// A surface's name or a servo's tag.
    pub subject: String,
    /// What was done, for people: `servo-replaced: the old one had a chipped gear`.
    pub what: String,
    /// Decides which quantities begin anew.
    pub work: Work,
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
    /// When the latest reading that is believed was made: trend and crossing are counted from it.
    pub believed_at: Timestamp,
    /// ID of the latest recording that has it.
    pub latest_id: String,
    /// Of what that recording is, and by which source of torque.
    pub latest_of: Of,
    /// When the first reading of a step was made that the record has not come back from; `None` without one.
    pub stepped_at: Option<Timestamp>,
    /// What began the baseline that the latest is held to; `None` where it is the first recording.
    pub since: Option<(Timestamp, String)>,
    pub bounds: Bounds,
    pub health: Health,
    /// All recordings that have it, in the order of time; none in an [`outline`].
    pub points: Vec<RecordPoint>,
    /// Index of the first point of the baseline in force; the health is of the points from here on.
    pub in_force_from: usize,
}

/// Of what a recording is, and by which source of torque.
#[derive(Debug, Clone, PartialEq)]
pub struct Of {
    pub surface: String,
    /// The servo's tag.
    pub servo: Option<String>,
    pub torque_from: Option<String>,
}

/// A recording's part in a record.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordPoint {
    pub at: Timestamp,
    pub id: String,
    pub quantity: Quantity,
}

impl RecordPoint {
    fn of((reading, quantity): &(&Reading, Quantity)) -> Self {
        Self {
            at: reading.at,
            id: reading.id.clone(),
            quantity: *quantity,
        }
    }
}

impl Subject {
    /// Greater is more urgent: that of its most urgent quantity.
    pub fn urgency(&self) -> impl Ord + use<> {
        self.quantities.iter().map(|q| q.health.urgency()).max()
    }

    /// The worst of its quantities.
    pub fn level(&self) -> Level {
        let levels = self.quantities.iter().map(|q| q.health.level);
        levels.max().unwrap_or(Level::Fine)
    }

    /// [`Record::said`] of the worst of its quantities; "early" where none has recordings enough to be charted.
    pub fn said(&self) -> &'static str {
        let worst = self
            .quantities
            .iter()
            .max_by_key(|q| (q.health.level, q.health.repeat, !q.is_early()));
        worst.map_or(EARLY, Record::said)
    }
}

/// So few readings say nothing of a trend or a change.
const EARLY: &str = "early";

impl Record {
    fn is_early(&self) -> bool {
        matches!(self.health.chart, Chart::TooFew(_))
    }

    /// How urgent it is, in a word for people: its level's, where "fine" would not say too much.
    pub fn said(&self) -> &'static str {
        match (self.health.level, self.health.repeat) {
            (Level::Fine, true) => "repeat",
            (Level::Fine, false) if self.is_early() => EARLY,
            (level, _) => level.word(),
        }
    }
}

/// Every surface and every servo that has a reading, worst on top, each with its quantities, worst on top.
pub fn season(readings: &[Reading], events: &[Event], limits: &Limits) -> Vec<Subject> {
    Asked {
        events,
        limits: Some(limits),
        points: true,
    }
    .of(readings)
}

/// [`season`] with no points in its records, for readings by the million; and without limits where no aircraft file has any.
pub fn outline(readings: &[Reading], events: &[Event], limits: Option<&Limits>) -> Vec<Subject> {
    Asked {
        events,
        limits,
        points: false,
    }
    .of(readings)
}

/// What a season is to be held against, and whether its points are wanted.
struct Asked<'a> {
    events: &'a [Event],
    limits: Option<&'a Limits>,
    points: bool,
}

impl Asked<'_> {
    fn of(&self, readings: &[Reading]) -> Vec<Subject> {
        let seconds: Vec<Reading> = readings.iter().filter_map(Reading::of_second).collect();
        let mut surfaces: BTreeMap<&str, Vec<&Reading>> = BTreeMap::new();
        let mut servos: BTreeMap<&str, Vec<&Reading>> = BTreeMap::new();
        for run in readings.chunk_by(|a, b| a.surface == b.surface && a.servo == b.servo) {
            surfaces.entry(&run[0].surface).or_default().extend(run);
            if let Some(tag) = &run[0].servo {
                servos.entry(tag).or_default().extend(run);
            }
        }
        for reading in &seconds {
            if let Some(tag) = &reading.servo {
                servos.entry(tag).or_default().push(reading);
            }
        }
        let mut groups = Vec::new();
        for (name, own) in surfaces {
            let mut subjects = vec![(Kind::Surface, name)];
            if let Some((tag, _)) = only_servo(&own).and_then(|tag| {
                let all_its = servos.get(tag)?.len() == own.len();
                all_its.then(|| servos.remove_entry(tag))?
            }) {
                subjects.push((Kind::Servo, tag));
            }
            groups.push((subjects, own));
        }
        let of_servos = servos.into_iter();
        groups.extend(of_servos.map(|(tag, own)| (vec![(Kind::Servo, tag)], own)));
        let told = groups.into_par_iter();
        let mut subjects: Vec<Subject> = told
            .flat_map_iter(|(subjects, own)| self.group(&subjects, own))
            .collect();
        // Of equals, surfaces before servos and by name.
        subjects.sort_by_cached_key(|s| (s.kind, s.name.clone()));
        subjects.sort_by_key(|s| std::cmp::Reverse(s.urgency()));
        subjects
    }

    /// Subjects that have the very same readings, so that no number is worked out twice.
    fn group(&self, subjects: &[(Kind, &str)], mut own: Vec<&Reading>) -> Vec<Subject> {
        own.sort_by(|a, b| a.at.cmp(&b.at).then_with(|| a.id.cmp(&b.id)));
        let series = series(&own);
        let mut told: Vec<Subject> = Vec::new();
        for (kind, name) in subjects {
            let subject = self.subject(*kind, name, &own, (&series, told.first()));
            told.push(subject);
        }
        told
    }

    /// `twin` has the same readings.
    fn subject(
        &self,
        kind: Kind,
        name: &str,
        own: &[&Reading],
        (series, twin): (&[Series<'_>], Option<&Subject>),
    ) -> Subject {
        let mut quantities: Vec<Record> = Measure::ALL
            .into_par_iter()
            .zip(series)
            .filter_map(|(measure, series)| self.record(kind, name, measure, series, twin))
            .collect();
        quantities.sort_by_key(|q| std::cmp::Reverse(q.health.urgency()));
        Subject {
            kind,
            name: name.to_owned(),
            with: others(kind, own),
            recordings: own.len(),
            quantities,
        }
    }

    fn record(
        &self,
        kind: Kind,
        name: &str,
        measure: Measure,
        with_value: &[(&Reading, Quantity)],
        twin: Option<&Subject>,
    ) -> Option<Record> {
        let (last, latest) = *with_value.last()?;
        let (first, since) = baseline_start(kind, name, measure, with_value, self.events);
        let mut twins = twin.iter().flat_map(|t| &t.quantities);
        if let Some(same) = twins.find(|q| q.measure == measure && q.in_force_from == first) {
            return Some(Record {
                since,
                ..same.clone()
            });
        }
        let values: Vec<f64> = with_value.iter().map(|(_, q)| q.value).collect();
        let current = &with_value[first..];
        let points: Vec<Point> = current
            .iter()
            .map(|(reading, quantity)| Point {
                days: days_between(current[0].0.at, reading.at),
                quantity: *quantity,
            })
            .collect();
        let bounds = self.limits.map_or(Bounds::default(), |limits| {
            measure.bounds(limits, current.iter().map(|(r, q)| (*r, q.value)))
        });
        // A limit holds whatever was done; but not on another surface.
        let previous = first.checked_sub(1).map(|i| with_value[i]);
        let previous = previous
            .filter(|(r, _)| kind == Kind::Surface || r.surface == last.surface)
            .map(|(_, quantity)| quantity);
        let health = health_after(
            previous,
            &points,
            measure.worse(),
            bounds,
            measure.resolution(),
        )?;
        let believed = (0..current.len()).rfind(|i| !health.set_aside.contains(i));
        Some(Record {
            measure,
            count: values.len(),
            median: median(&values)?,
            latest,
            latest_at: last.at,
            believed_at: believed.map_or(last.at, |i| current[i].0.at),
            latest_id: last.id.clone(),
            latest_of: Of {
                surface: last.surface.to_string(),
                servo: last.servo.as_deref().map(str::to_owned),
                torque_from: last.torque_from.as_deref().map(str::to_owned),
            },
            stepped_at: health.stepped_at.map(|i| current[i].0.at),
            since,
            bounds,
            health,
            points: match self.points {
                true => with_value.iter().map(RecordPoint::of).collect(),
                false => Vec::new(),
            },
            in_force_from: first,
        })
    }
}

/// The readings that have one measure, in the order of time.
type Series<'a> = Vec<(&'a Reading, Quantity)>;

/// One for each measure, in the order of [`Measure::ALL`], gone through once: readings by the million fit in no cache.
fn series<'a>(own: &[&'a Reading]) -> Vec<Series<'a>> {
    let mut all: Vec<Series<'_>> = vec![Vec::new(); Measure::COUNT];
    for reading in own {
        for (measure, quantity) in reading.values.all() {
            all[measure as usize].push((*reading, quantity));
        }
    }
    all
}

/// The servo that sat in a surface all the time, alone.
fn only_servo<'a>(own: &[&'a Reading]) -> Option<&'a str> {
    let servo = own.first()?.servo.as_ref()?;
    let always = |r: &&Reading| r.servo.as_ref() == Some(servo) && r.second.is_none();
    own.iter().all(always).then_some(&**servo)
}

/// What a subject was together with, in the order of time.
fn others(kind: Kind, own: &[&Reading]) -> Vec<String> {
    let mut with: Vec<String> = Vec::new();
    for reading in own {
        let others = match kind {
            Kind::Surface => [reading.servo.as_deref(), reading.second.as_deref()],
            Kind::Servo => [Some(&*reading.surface), None],
        };
        for other in others.into_iter().flatten() {
            if !with.iter().any(|w| w == other) {
                with.push(other.to_owned());
            }
        }
    }
    with
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
            .filter(|e| begins_anew(e.work, measure, now, before))
            .filter(|e| concerns(e, kind, name, now, before))
            .max_by_key(|e| e.at);
        if let Some(event) = noted {
            start = (i, Some((event.at, event.what.clone())));
        } else if let Some(what) = before.and_then(|b| changed(kind, measure, b, now)) {
            start = (i, Some((now.at, what)));
        }
    }
    start
}

/// Whether work between two readings that stand next to each other keeps them from being compared.
fn begins_anew(work: Work, measure: Measure, now: &Reading, before: Option<&Reading>) -> bool {
    let of = |r: &Reading| work.begins_anew(measure, r.torque_from.as_deref());
    of(now) || before.is_some_and(of)
}

fn concerns(
    event: &Event,
    kind: Kind,
    name: &str,
    now: &Reading,
    before: Option<&Reading>,
) -> bool {
    if event.subject == name {
        return true;
    }
    let of = |r: &Reading| match kind {
        Kind::Surface => r.has(&event.subject),
        Kind::Servo => *r.surface == *event.subject,
    };
    of(now) || before.is_some_and(of)
}

/// What differs between two readings that stand next to each other, so that they are not to be compared.
fn changed(kind: Kind, measure: Measure, before: &Reading, now: &Reading) -> Option<String> {
    let said = |r: &Option<Arc<str>>| r.clone().unwrap_or_else(|| "none".into());
    let pairs = [(&before.servo, &now.servo), (&before.second, &now.second)];
    let exchanged = pairs.into_iter().find(|(old, new)| old != new);
    // What is the first one's own goes on when the second is exchanged.
    let of_first = before.servo == now.servo && measure.is_the_servos_own();
    if let Some((old, new)) = exchanged.filter(|_| kind == Kind::Surface && !of_first)
        && begins_anew(Work::Servo, measure, now, Some(before))
    {
        let (old, new) = (said(old), said(new));
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
