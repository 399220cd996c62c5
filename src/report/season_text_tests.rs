//! The text of seasons made up by hand, at the width of a plain terminal.

use jiff::{SignedDuration, Timestamp};

use super::*;
use crate::aircraft::Limits;
use crate::analysis::{Interval, Quantity};
use crate::history::season::{Event, Measure, Reading, Work, season as told};

const STYLE: Style = Style {
    unit: TorqueUnit::NewtonCentimetre,
    width: 80,
    all: false,
};

fn at(day: i64) -> Timestamp {
    "2026-03-01T10:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_hours(24 * day)
}

fn reading(day: i64, surface: &str, servo: &str, values: &[(Measure, f64)]) -> Reading {
    let mut all = Vec::new();
    for (measure, value) in values {
        // Half a per cent, one way and the other in turn.
        let value = value * (1.0 + 0.005 * (day % 3 - 1) as f64);
        let u = 0.01 * value.abs();
        all.push((
            *measure,
            Quantity {
                value,
                interval: Some(Interval {
                    u,
                    lo95: value - 2.0 * u,
                    hi95: value + 2.0 * u,
                }),
            },
        ));
    }
    Reading {
        id: format!("{day}-{surface}"),
        at: at(day),
        surface: surface.into(),
        servo: Some(servo.into()),
        second: None,
        torque_from: Some("torque".into()),
        verdict: None,
        values: all.into_iter().collect(),
        stall_share_per_ncm: Some(0.011),
        lead_at_most_mohm: None,
    }
}

const HEALTHY: [(Measure, f64); 6] = [
    (Measure::Stiffness, 0.31),
    (Measure::Friction, 2.1),
    (Measure::Slop, 0.2),
    (Measure::Rest, 0.4),
    (Measure::HoldNeutral, 60.0),
    (Measure::ShareOfStall, 0.09),
];

/// Twelve surfaces of a large jet, each swept nine times.
fn fleet() -> Vec<Reading> {
    let surfaces = (1..=12).map(|i| (format!("control surface {i}"), format!("S{i}")));
    surfaces
        .flat_map(|(surface, servo)| {
            (0..9).map(move |week| reading(7 * week, &surface, &servo, &HEALTHY))
        })
        .collect()
}

fn text(readings: &[Reading], events: &[Event], style: Style) -> String {
    let whence = Whence {
        aircraft: "Dunlin".into(),
        ..Whence::default()
    };
    season(&whence, &told(readings, events, &Limits::default()), style)
}

fn widest(text: &str) -> usize {
    text.lines().map(|l| l.chars().count()).max().unwrap_or(0)
}

#[test]
fn a_healthy_fleet_is_told_on_one_page_of_a_terminal_and_all_of_it_when_asked() {
    let said = text(&fleet(), &[], STYLE);
    assert!(said.lines().count() <= 24 && widest(&said) <= 80, "{said}");
    assert!(said.contains("Nothing asks to be looked at"), "{said}");
    for i in 1..=12 {
        let name = format!("surface {i}, S{i} ");
        let unwrapped = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(unwrapped.matches(&name).count(), 1, "{name}: {said}");
    }
    let all = text(&fleet(), &[], Style { all: true, ..STYLE });
    let fine = all.lines().filter(|l| l.starts_with("  fine ")).count();
    assert_eq!(fine, 12 * HEALTHY.len(), "{all}");
    assert!(widest(&all) <= 80, "{all}");
}

#[test]
fn what_asks_stands_on_top_with_a_line_a_quantity_and_no_cell_is_torn() {
    let mut readings = fleet();
    for week in 0..9 {
        let worn = [
            (Measure::Stiffness, 0.31 + 0.02 * week as f64),
            (Measure::Friction, 2.1 + 0.3 * week as f64),
            (Measure::Slop, 0.9),
            (Measure::HoldNeutral, 60.0),
        ];
        readings.push(reading(7 * week, "rudder", "R1", &worn));
    }
    for width in [60, 80, 100, 120] {
        let said = text(&readings, &[], Style { width, ..STYLE });
        assert!(widest(&said) <= width, "{width}:\n{said}");
        let lines: Vec<&str> = said.lines().collect();
        assert!(
            lines[3].starts_with("rudder, R1, 9 recordings; 1 more"),
            "{said}"
        );
        assert!(lines[4].starts_with("  act "), "{said}");
        for (measure, words) in [("slop", "0.9"), ("friction", "4.5"), ("stiffness", "0.47")] {
            let mut rows = lines
                .iter()
                .filter(|l| l.starts_with("  act") || l.starts_with("  watch"));
            let row = |l: &&&str| l.contains(measure);
            assert!(rows.find(row).is_some_and(|l| l.contains(words)), "{said}");
        }
    }
}

/// The hinge was worked on, and the servo's own hold current had left its baseline before that.
#[test]
fn a_servo_s_worse_record_is_never_hidden_behind_its_surface_s() {
    let hold =
        |week: i64, ma: f64| reading(7 * week, "rudder", "R1", &[(Measure::HoldNeutral, ma)]);
    let mut readings: Vec<Reading> = (0..8).map(|week| hold(week, 60.0)).collect();
    readings.extend((8..12).map(|week| hold(week, 150.0)));
    // An old note of another kind than fits: the surface's baseline begins anew, the servo's does not.
    let mut subjects = told(&readings, &[], &Limits::default());
    let calm = told(&readings[8..], &[], &Limits::default());
    let surface = subjects
        .iter_mut()
        .find(|s| s.kind == Kind::Surface)
        .unwrap();
    let early = calm.into_iter().find(|s| s.kind == Kind::Surface).unwrap();
    surface.quantities = early.quantities;
    let said = season(&Whence::default(), &subjects, STYLE);
    assert!(said.contains("  act  hold current"), "{said}");
    assert!(
        said.contains("1. servo R1 (rudder), hold current: two"),
        "{said}"
    );
    assert_eq!(said.matches("hold current  ").count(), 1, "{said}");
}

#[test]
fn a_forecast_is_dated_from_the_latest_reading_that_is_believed() {
    let rising = |week: i64| {
        let slop = 0.2 + 0.012 * week as f64;
        reading(7 * week, "rudder", "R1", &[(Measure::Slop, slop)])
    };
    let mut readings: Vec<Reading> = (0..14).map(rising).collect();
    let limits = |readings: &[Reading]| {
        let said = text(
            readings,
            &[],
            Style {
                width: 200,
                all: true,
                ..STYLE
            },
        );
        let row = said
            .lines()
            .find(|l| l.contains("slop "))
            .unwrap()
            .to_owned();
        row.split_whitespace()
            .filter(|w| w.starts_with("202"))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    let before = limits(&readings);
    assert!(!before.is_empty());
    // Half a year later one reading out of line, not believed: the dates stay.
    readings.push(reading(300, "rudder", "R1", &[(Measure::Slop, 3.0)]));
    assert_eq!(limits(&readings), before);
}

#[test]
fn work_on_a_hinge_is_named_beside_what_it_began_anew() {
    let mut readings: Vec<Reading> = (0..9)
        .map(|week| reading(7 * week, "rudder", "R1", &[(Measure::Slop, 0.2)]))
        .collect();
    readings.extend((9..12).map(|week| reading(7 * week, "rudder", "R1", &[(Measure::Slop, 0.9)])));
    let event = Event {
        at: at(60),
        subject: "rudder".into(),
        what: "rod-work: new clevis".into(),
        work: Work::Rod,
    };
    let said = text(&readings, &[event], STYLE);
    assert!(
        said.contains("(since 2026-04-30, rod-work: new clevis)"),
        "{said}"
    );
}
