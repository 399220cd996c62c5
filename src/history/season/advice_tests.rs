//! What a builder is told to look at, and to note.

use super::super::tests::{find, reading};
use super::super::{Event, Kind, Measure, Reading, Subject, season};
use super::*;
use crate::aircraft::Limits;

const STEADY: [f64; 7] = [0.2, 0.21, 0.19, 0.2, 0.21, 0.19, 0.2];

/// A rudder that is measured every week, its quantities in proportion.
fn weeks(values: &[f64], torque_from: &str) -> Vec<Reading> {
    let week = |(i, v): (usize, &f64)| {
        let measures = [
            (Measure::Stiffness, *v),
            (Measure::Rest, *v),
            (Measure::HoldNeutral, 300.0 * v),
        ];
        let mut one = reading(7 * i as i64, "left rudder", "R 1", &measures);
        one.torque_from = Some(torque_from.into());
        one
    };
    values.iter().enumerate().map(week).collect()
}

fn told(readings: &[Reading], events: &[Event]) -> Vec<Subject> {
    season(readings, events, &Limits::default())
}

fn of(season: &[Subject], kind: Kind, measure: Measure) -> Advice {
    let name = match kind {
        Kind::Surface => "left rudder",
        Kind::Servo => "R 1",
    };
    advice(find(season, kind, name, measure), "/home/me/my jet").unwrap()
}

/// The kinds of the notes that are proposed.
fn kinds(advice: &Advice) -> Vec<&str> {
    let kind = |tell: &'_ Tell| -> Option<usize> { tell.command.find("--kind ") };
    let words = advice
        .tell
        .iter()
        .filter_map(|t| t.command[kind(t)? + 7..].split(' ').next());
    words.collect()
}

#[test]
fn a_step_s_advice_names_the_notes_that_begin_the_quantity_anew_and_no_other() {
    let readings = weeks(&[&STEADY[..], &[0.6, 0.61]].concat(), "torque");
    let season = told(&readings, &[]);
    for kind in [Kind::Surface, Kind::Servo] {
        let hold = of(&season, kind, Measure::HoldNeutral);
        assert_eq!(kinds(&hold), ["servo-replaced"], "{hold}");
        let rest = of(&season, kind, Measure::Rest);
        assert_eq!(kinds(&rest), ["servo-replaced", "hinge-work", "rod-work"]);
        assert!(rest.says.contains("have left the baseline"), "{rest}");
        // A torque sensor sees the hinge, whatever drives it.
        assert_eq!(
            kinds(&of(&season, kind, Measure::Stiffness)),
            ["hinge-work"]
        );
    }
    let by_power = told(
        &weeks(&[&STEADY[..], &[0.6, 0.61]].concat(), "supply-power"),
        &[],
    );
    let stiffness = of(&by_power, Kind::Surface, Measure::Stiffness);
    assert_eq!(
        kinds(&stiffness),
        ["servo-replaced", "hinge-work", "rod-work"]
    );
}

#[test]
fn a_command_names_the_servo_or_surface_the_day_and_the_folder_and_leaves_the_words_alone() {
    let readings = weeks(&[&STEADY[..], &[0.6, 0.61, 0.6]].concat(), "torque");
    let rest = of(&told(&readings, &[]), Kind::Servo, Measure::Rest);
    let commands: Vec<&str> = rest.tell.iter().map(|t| t.command.as_str()).collect();
    let at = readings[7].at;
    assert_eq!(
        commands,
        [
            format!(
                "hingewright note \"R 1\" \"TEXT\" --kind servo-replaced --date {at} --logbook \"/home/me/my jet\""
            ),
            format!(
                "hingewright note \"left rudder\" \"TEXT\" --kind hinge-work --date {at} --logbook \"/home/me/my jet\""
            ),
            format!(
                "hingewright note \"left rudder\" \"TEXT\" --kind rod-work --date {at} --logbook \"/home/me/my jet\""
            ),
        ]
    );
    assert!(rest.to_string().contains("in your words"), "{rest}");
}

#[test]
fn a_note_of_the_day_that_the_command_has_takes_the_step_away() {
    let readings = weeks(&[&STEADY[..], &[0.6, 0.61, 0.6]].concat(), "torque");
    let season = told(&readings, &[]);
    let stepped = find(&season, Kind::Surface, "left rudder", Measure::Rest);
    assert_eq!(stepped.stepped_at, Some(readings[7].at));
    let noted = Event {
        at: stepped.stepped_at.unwrap(),
        subject: "left rudder".into(),
        what: "rod-work: new clevis".into(),
        work: Work::Rod,
    };
    let season = told(&readings, &[noted]);
    let rest = find(&season, Kind::Surface, "left rudder", Measure::Rest);
    assert_eq!((rest.health.step, rest.stepped_at), (0, None));
    assert_eq!((rest.count, rest.health.recordings), (10, 3));
    assert_eq!(advice(rest, "dunlin"), None);
}

#[test]
fn a_step_that_the_latest_reading_has_come_back_from_is_told_as_one() {
    let readings = weeks(&[&STEADY[..], &[0.6, 0.61, 0.2]].concat(), "torque");
    let rest = of(&told(&readings, &[]), Kind::Surface, Measure::Rest);
    assert!(
        rest.says.contains("the latest is back at it: repeat it"),
        "{rest}"
    );
}

#[test]
fn the_worst_stands_on_top_and_has_its_advice() {
    let steady = |d: i64| reading(7 * d, "a", "S1", &[(Measure::Slop, 0.2)]);
    let worn = |d: i64| {
        reading(
            7 * d,
            "b",
            "S2",
            &[(Measure::Lead, 80.0), (Measure::Slop, 0.9)],
        )
    };
    let readings: Vec<Reading> = (0..8).flat_map(|d| [steady(d), worn(d)]).collect();
    let season = told(&readings, &[]);
    let names: Vec<&str> = season.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["b", "S2", "a", "S1"]);
    let worst = &season[0].quantities[0];
    assert_eq!(
        (worst.measure, worst.health.level),
        (Measure::Slop, Level::Act)
    );
    let said = advice(worst, "dunlin").unwrap();
    assert!(
        said.says.contains("limit") && said.says.contains("clevis"),
        "{said}"
    );
    assert_eq!(said.tell, [], "work is no excuse beyond a limit");
    assert_eq!(advice(&season[2].quantities[0], "dunlin"), None);
}
