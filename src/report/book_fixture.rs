//! Books made up for tests, from the recordings of [`super::fixture`]. Every name and number is invented.

use jiff::{SignedDuration, Timestamp};

use super::book::{Book, Chapter, Done, Fix, ServoRecord, WorkedIn};
use super::{Checked, fixture};
use crate::aircraft::{Aircraft, Surface};
use crate::history::compare::compare;
use crate::history::season::{Kind, Measure, Reading, Subject, season};
use crate::history::settling::{Batch, End, stand};

fn written() -> Timestamp {
    "2026-05-02T10:00:00Z".parse().unwrap()
}

fn days_ago(days: i64) -> Timestamp {
    written() - SignedDuration::from_hours(24 * days)
}

fn worked_in() -> WorkedIn {
    let stiffness = [0.9, 0.7, 0.6, 0.55, 0.53, 0.52];
    let batches: Vec<Batch> = stiffness
        .iter()
        .enumerate()
        .map(|(i, &value)| Batch {
            cycles_before: 10.0 * i as f64,
            cycles: 10.0,
            stage_deg: Some(24.0),
            recheck: false,
            end: End::Finished,
            started: Some(days_ago(30) + SignedDuration::from_mins(5 * i as i64)),
            air_c: Some(21.0),
            stiffness_ncm_per_deg: Some(fixture::q(value, 0.01)),
            friction_ncm: Some(fixture::q(4.0 * value, 0.1)),
            knees_deg: [(i < 3).then(|| fixture::q(15.0, 0.3)), None],
        })
        .collect();
    let standing = stand(&batches);
    WorkedIn { batches, standing }
}

/// Ten weeks of a surface whose friction grows.
fn readings(surface: &Surface, tag: &str) -> Vec<Reading> {
    let week = |week: i64| {
        let grown = f64::from(u8::try_from(week).unwrap_or(0).saturating_sub(4));
        let values = [
            (Measure::Friction, fixture::q(3.0 + 0.9 * grown, 0.1)),
            (Measure::HoldNeutral, fixture::q(60.0 + 8.0 * grown, 1.0)),
            (Measure::ShareOfStall, fixture::q(0.1 + 0.02 * grown, 0.004)),
        ];
        Reading {
            id: format!("week-{week}"),
            at: days_ago(7 * (10 - week)),
            surface: surface.name.as_str().into(),
            servo: Some(tag.into()),
            second: None,
            torque_from: Some("torque".into()),
            verdict: None,
            values: values.into_iter().collect(),
            stall_share_per_ncm: Some(0.008),
            lead_at_most_mohm: None,
        }
    };
    (0..10).map(week).collect()
}

fn done(subject: &str, text: &str) -> Done {
    Done {
        at: days_ago(20),
        subject: subject.to_owned(),
        kind: "hinge-work",
        text: text.to_owned(),
    }
}

fn subjects(aircraft: &Aircraft) -> Vec<Subject> {
    let readings: Vec<Reading> = aircraft
        .surfaces
        .iter()
        .filter(|s| s.name != NEVER_MEASURED)
        .flat_map(|s| readings(s, &aircraft.servos[s.servo_index].tag))
        .collect();
    season(&readings, &[], &aircraft.limits)
}

/// The fixture's second surface: nothing of it was ever recorded.
pub const NEVER_MEASURED: &str = "right elevator";

/// Every surface of an aircraft with more than any should have; [`NEVER_MEASURED`] alone has nothing.
pub fn book(aircraft: &Aircraft) -> Book<'_> {
    let subjects = subjects(aircraft);
    let record = |kind: Kind, name: &str| {
        let mut all = subjects.iter();
        all.find(|s| s.kind == kind && s.name == name).cloned()
    };
    let kinds = [fixture::knee, fixture::short, fixture::crowded];
    let mut surfaces = Vec::new();
    for (i, surface) in aircraft.surfaces.iter().enumerate() {
        if surface.name == NEVER_MEASURED {
            surfaces.push(Chapter {
                surface,
                latest: None,
                worked_in: None,
                fixes: Vec::new(),
                done: Vec::new(),
                record: None,
            });
            continue;
        }
        let checked = |kind: fn(&Aircraft) -> Checked<'_>| {
            let mut checked = kind(aircraft);
            checked.surface = surface;
            checked.recording.surface = surface.name.clone();
            checked
        };
        let (before, after) = (checked(fixture::knee), checked(fixture::fault_free));
        surfaces.push(Chapter {
            surface,
            latest: Some(checked(kinds[i % 3])),
            worked_in: Some(worked_in()),
            fixes: vec![Fix {
                what: "rod work: new clevis & <ball link>, the old one had play".into(),
                proof: compare(surface, &before.side(), &after.side(), &[]),
                before,
                after,
            }],
            done: vec![
                done(
                    &surface.name,
                    "paint cleaned out of the whole length of the hinge line",
                ),
                done("E1", "<b>gears</b> renewed"),
            ],
            record: record(Kind::Surface, &surface.name),
        });
    }
    let servos = aircraft.servos.iter().enumerate().map(|(i, servo)| {
        let sits = aircraft.surfaces.iter().filter(|s| s.servo_index == i);
        ServoRecord {
            tag: servo.tag.clone(),
            model: Some("metal gear, 21 kg·cm".into()),
            surfaces: sits.map(|s| s.name.clone()).collect(),
            record: record(Kind::Servo, &servo.tag),
            done: Vec::new(),
        }
    });
    Book {
        aircraft,
        logbook: "/home/builder/<dunlin>".into(),
        written: written(),
        surfaces,
        servos: servos.collect(),
        remarks: vec!["Left out: 2 <unfinished>.".into()],
    }
}

/// The fixture's aircraft with eight surfaces.
pub fn eight() -> Aircraft {
    let mut aircraft = fixture::aircraft();
    let more: Vec<Surface> = aircraft
        .surfaces
        .iter()
        .cloned()
        .map(|s| Surface {
            name: format!("second {}", s.name),
            ..s
        })
        .collect();
    aircraft.surfaces.extend(more);
    aircraft
}
