//! Hinges worked in and seasons made by hand, for the tests of every output. The numbers are plausible and invented; how
//! they stand is what `history` says of them.

use jiff::{SignedDuration, Timestamp};

use super::book::WorkedIn;
use crate::aircraft::Limits;
use crate::analysis::{Interval, Quantity};
use crate::history::season::{Event, Kind, Measure, Reading, Record, Subject, Work, season};
use crate::history::settling::{Batch, End, stand};

/// A quantity with a normal interval.
pub fn quantity(value: f64, u: f64) -> Quantity {
    Quantity {
        value,
        interval: Some(Interval {
            u,
            lo95: value - 1.96 * u,
            hi95: value + 1.96 * u,
        }),
    }
}

pub fn at(days: f64) -> Timestamp {
    let start: Timestamp = "2026-04-18T10:22:07Z".parse().unwrap();
    start + SignedDuration::from_secs((days * 86_400.0) as i64)
}

/// A noise that is the same at every run, between −1 and 1.
pub fn noise(i: usize) -> f64 {
    ((i as f64 * 12.9898 + 4.1).sin() * 43_758.545_3).fract()
}

/// Stages and how many batches of ten cycles each has had. Stiffness falls from 0.45 to 0.30 N·cm/deg, half of it in 14
/// cycles, and by a little more in each wider stage.
pub fn worked_in(stages: &[(Option<f64>, usize)], recheck: bool) -> WorkedIn {
    let mut batches: Vec<Batch> = Vec::new();
    for (stage, (deg, count)) in stages.iter().enumerate() {
        for k in 0..*count {
            let n = batches.len();
            let left = (-(10.0 * k as f64 + 5.0) / 20.0_f64).exp();
            let first = 1.0 / (1.0 + stage as f64);
            let knee = |i: usize, deg: f64| Some(quantity(deg + 0.3 * noise(n + i), 0.4));
            batches.push(Batch {
                cycles_before: 10.0 * n as f64,
                cycles: 10.0,
                stage_deg: *deg,
                recheck: false,
                end: End::Finished,
                started: Some(at(n as f64 / 288.0)),
                air_c: Some(21.0),
                stiffness_ncm_per_deg: Some(quantity(
                    0.30 + 0.02 * stage as f64 + 0.15 * first * left + 0.002 * noise(n),
                    0.003,
                )),
                friction_ncm: Some(quantity(
                    2.0 + 1.4 * first * left + 0.03 * noise(n + 40),
                    0.04,
                )),
                knees_deg: [
                    knee(70, 13.0 + 3.0 * (1.0 - left)),
                    if k > 1 { None } else { knee(80, -11.0) },
                ],
            });
        }
    }
    if recheck && let Some(last) = batches.last().cloned() {
        batches.push(Batch {
            cycles_before: last.cycles_after(),
            cycles: 5.0,
            recheck: true,
            started: last.started.map(|t| t + SignedDuration::from_hours(14)),
            stiffness_ncm_per_deg: last
                .stiffness_ncm_per_deg
                .map(|q| quantity(q.value * 1.01, 0.004)),
            ..last
        });
    }
    WorkedIn {
        standing: stand(&batches),
        batches,
    }
}

/// Readings of one surface and its servo at these days after the first.
pub fn readings(days: impl Iterator<Item = f64>, values: impl Fn(f64) -> f64) -> Vec<Reading> {
    let reading = |(i, day): (usize, f64)| {
        let of = [
            (Measure::Slop, quantity(values(day) + 0.02 * noise(i), 0.02)),
            (Measure::Friction, quantity(2.0 + 0.1 * noise(i + 9), 0.08)),
            (
                Measure::HoldNeutral,
                Quantity {
                    value: 120.0 + 6.0 * noise(i + 30),
                    interval: None,
                },
            ),
        ];
        Reading {
            id: format!("2026-{i:03}"),
            at: at(day),
            surface: "left elevator".into(),
            servo: Some("E1".into()),
            second: None,
            torque_from: Some("torque".into()),
            verdict: None,
            values: of.into_iter().collect(),
            stall_share_per_ncm: Some(0.011),
            lead_at_most_mohm: None,
        }
    };
    days.enumerate().map(reading).collect()
}

pub fn every(days: f64, count: usize) -> impl Iterator<Item = f64> {
    (0..count).map(move |i| i as f64 * days)
}

pub fn note(days: f64, what: &str) -> Event {
    Event {
        at: at(days),
        subject: "left elevator".into(),
        what: what.into(),
        work: Work::Hinge,
    }
}

pub fn subjects(readings: &[Reading], events: &[Event]) -> Vec<Subject> {
    season(readings, events, &Limits::default())
}

/// The surface's record of one quantity.
pub fn record(readings: &[Reading], events: &[Event], measure: Measure) -> Record {
    let all = subjects(readings, events);
    let surface = all.into_iter().find(|s| s.kind == Kind::Surface).unwrap();
    let mut quantities = surface.quantities.into_iter();
    quantities.find(|q| q.measure == measure).unwrap()
}

/// Slop that was lower before the hinge was worked on, rises since towards its limit of 0.5°, and was once out of line.
pub fn rising() -> Record {
    let course = |day: f64| match day {
        d if d < 40.0 => 0.30,
        d if (109.0..111.0).contains(&d) => 0.62,
        d => 0.12 + 0.0018 * (d - 40.0),
    };
    let event = note(
        38.0,
        "hinge-work: left and inner hinge re-made with a wider leaf",
    );
    record(&readings(every(10.0, 20), course), &[event], Measure::Slop)
}
