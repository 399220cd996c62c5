//! A season on made-up readings: surfaces and servos apart, and what work begins anew.

use jiff::SignedDuration;

use super::health_tests::quantity;
use super::*;

pub(super) fn reading(
    day: i64,
    surface: &str,
    servo: &str,
    measures: &[(Measure, f64)],
) -> Reading {
    let mut values = Vec::new();
    for (measure, value) in measures {
        values.push((*measure, quantity(*value, Some(0.01 * value))));
    }
    let start: Timestamp = "2026-04-01T10:00:00Z".parse().unwrap();
    Reading {
        id: format!("{surface} {day}"),
        at: start + SignedDuration::from_hours(24 * day),
        surface: surface.into(),
        servo: Some(servo.into()),
        second: None,
        torque_from: Some("torque".into()),
        verdict: None,
        values: values.into_iter().collect(),
        stall_share_per_ncm: None,
        lead_at_most_mohm: None,
    }
}

pub(super) fn find<'a>(
    season: &'a [Subject],
    kind: Kind,
    name: &str,
    measure: Measure,
) -> &'a Record {
    let subject = season.iter().find(|s| s.kind == kind && s.name == name);
    let mut records = subject.unwrap().quantities.iter();
    records.find(|q| q.measure == measure).unwrap()
}

#[test]
fn a_servo_takes_its_record_along_and_the_hinge_keeps_its_own() {
    let hold = Measure::HoldNeutral;
    let mut readings = Vec::new();
    for day in 0..16 {
        let (surface, friction) = if day < 8 {
            ("left", 3.0)
        } else {
            ("right", 5.0)
        };
        let values = [(Measure::Friction, friction), (hold, 100.0 + day as f64)];
        readings.push(reading(7 * day, surface, "E1", &values));
    }
    let season = season(&readings, &[], &Limits::default());
    let own = find(&season, Kind::Servo, "E1", hold);
    assert_eq!((own.count, own.health.recordings), (16, 16));
    assert!(own.since.is_none());
    let hinge = find(&season, Kind::Servo, "E1", Measure::Friction);
    assert_eq!((hinge.count, hinge.health.recordings), (16, 8));
    assert!(hinge.since.as_ref().unwrap().1.contains("moved to right"));
    assert_eq!(hinge.health.step, 0);
    assert_eq!(find(&season, Kind::Surface, "left", hold).count, 8);
}

#[test]
fn both_servos_of_a_surface_take_its_results_along_and_the_first_alone_its_own_current() {
    let (hold, fight) = (Measure::HoldNeutral, Measure::Fight);
    let readings: Vec<Reading> = (0..8)
        .map(|day| {
            let values = [(hold, 100.0), (fight, 40.0), (Measure::Friction, 3.0)];
            let mut reading = reading(7 * day, "left", "E1", &values);
            // The second was exchanged in mid-season.
            reading.second = Some(if day < 4 { "E3" } else { "E4" }.into());
            reading
        })
        .collect();
    let season = season(&readings, &[], &Limits::default());
    assert_eq!(find(&season, Kind::Servo, "E1", fight).count, 8);
    assert_eq!(find(&season, Kind::Servo, "E3", fight).count, 4);
    assert_eq!(find(&season, Kind::Servo, "E4", Measure::Friction).count, 4);
    let e3 = season
        .iter()
        .find(|s| s.kind == Kind::Servo && s.name == "E3");
    assert!(e3.unwrap().quantities.iter().all(|q| q.measure != hold));
    let left = season.iter().find(|s| s.kind == Kind::Surface).unwrap();
    assert_eq!(left.with, ["E1", "E3", "E4"]);
    let since = &find(&season, Kind::Surface, "left", fight).since;
    assert_eq!(since.as_ref().unwrap().1, "servo E4 instead of E3");
    assert!(find(&season, Kind::Surface, "left", hold).since.is_none());
}

#[test]
fn what_was_done_begins_a_new_baseline_and_another_servo_does_so_by_itself() {
    let slop = Measure::Slop;
    let day = |d: i64, tag: &str, v: f64| reading(d, "rudder", tag, &[(slop, v)]);
    let mut readings: Vec<Reading> = (0..8).map(|d| day(7 * d, "R1", 0.2)).collect();
    readings.extend((8..14).map(|d| day(7 * d, "R1", 0.4)));
    let limits = Limits::default();
    let untold = season(&readings, &[], &limits);
    assert_eq!(
        find(&untold, Kind::Surface, "rudder", slop).health.level,
        Level::Act
    );
    let event = Event {
        at: readings[8].at - SignedDuration::from_hours(2),
        subject: "rudder".into(),
        what: "hinge-work: reglued".into(),
        work: Work::Hinge,
    };
    let told = season(&readings, &[event], &limits);
    let record = find(&told, Kind::Surface, "rudder", slop);
    assert_eq!(
        (record.health.level, record.health.recordings),
        (Level::Fine, 6)
    );
    assert_eq!(record.since.as_ref().unwrap().1, "hinge-work: reglued");
    for reading in &mut readings[8..] {
        reading.servo = Some("R2".into());
    }
    let exchanged = season(&readings, &[], &limits);
    let record = find(&exchanged, Kind::Surface, "rudder", slop);
    assert_eq!(record.health.level, Level::Fine);
    assert_eq!(record.since.as_ref().unwrap().1, "servo R2 instead of R1");
}

#[test]
fn an_outline_is_the_season_without_its_points() {
    let values = |d: i64| {
        [
            (Measure::Slop, 0.2 + 0.01 * d as f64),
            (Measure::Lead, 80.0),
        ]
    };
    let readings: Vec<Reading> = (0..9)
        .map(|d| reading(7 * d, "rudder", "R1", &values(d)))
        .collect();
    let limits = Limits::default();
    let mut whole = season(&readings, &[], &limits);
    for record in whole.iter_mut().flat_map(|s| &mut s.quantities) {
        assert_eq!(record.points.len(), 9);
        record.points.clear();
    }
    assert_eq!(outline(&readings, &[], Some(&limits)), whole);
    let unlimited = outline(&readings, &[], None);
    let slop = find(&unlimited, Kind::Surface, "rudder", Measure::Slop);
    assert_eq!(slop.bounds, Bounds::default());
    assert_eq!(slop.health.crossing, Crossing::NoLimit);
}

#[test]
fn a_lead_is_held_against_its_own_copper_where_the_file_says_what_it_is() {
    let season_of = |mohm: f64, at_most: Option<f64>| {
        let mut readings: Vec<Reading> = (0..9)
            .map(|d| reading(7 * d, "rudder", "R1", &[(Measure::Lead, mohm)]))
            .collect();
        for reading in &mut readings {
            reading.lead_at_most_mohm = at_most;
        }
        season(&readings, &[], &Limits::default())
    };
    let lead = |season: &[Subject]| {
        let record = find(season, Kind::Servo, "R1", Measure::Lead);
        (record.health.crossing, record.health.level)
    };
    let (crossing, level) = lead(&season_of(120.0, Some(90.0)));
    assert_eq!((crossing, level), (Crossing::Passed, Level::Act));
    let (crossing, level) = lead(&season_of(70.0, Some(90.0)));
    assert_ne!(crossing, Crossing::Passed);
    assert_eq!(level, Level::Fine);
    assert_eq!(lead(&season_of(120.0, None)).0, Crossing::NoLimit);
}

/// The servo's numbers are taken from the surface that it alone has always sat in: only where they are the same.
#[test]
fn a_hinge_s_work_is_no_new_beginning_for_the_servo_that_sits_there() {
    let values = [(Measure::HoldNeutral, 100.0), (Measure::Slop, 0.2)];
    let readings: Vec<Reading> = (0..14)
        .map(|d| reading(7 * d, "rudder", "R1", &values))
        .collect();
    let event = Event {
        at: readings[8].at,
        subject: "rudder".into(),
        what: "hinge-work: reglued".into(),
        work: Work::Hinge,
    };
    let season = season(&readings, &[event], &Limits::default());
    let of = |kind, name, measure| find(&season, kind, name, measure).health.recordings;
    let hold = Measure::HoldNeutral;
    assert_eq!(of(Kind::Surface, "rudder", hold), 14);
    assert_eq!(of(Kind::Servo, "R1", hold), 14);
    assert_eq!(of(Kind::Servo, "R1", Measure::Slop), 6);
}

/// Twelve weeks of a hinge, with a note after the eighth.
fn worked_on(
    work: Work,
    subject: &str,
    torque_from: &str,
    values: &[(Measure, f64)],
) -> Vec<Subject> {
    let mut readings: Vec<Reading> = (0..12)
        .map(|d| reading(7 * d, "rudder", "R1", values))
        .collect();
    for reading in &mut readings {
        reading.torque_from = Some(torque_from.into());
    }
    let event = Event {
        at: readings[8].at - SignedDuration::from_hours(2),
        subject: subject.into(),
        what: "done".into(),
        work,
    };
    season(&readings, &[event], &Limits::default())
}

#[test]
fn a_new_servo_leaves_alone_what_a_torque_sensor_says_of_the_hinge() {
    let values = [
        (Measure::Friction, 2.0),
        (Measure::Stiffness, 0.3),
        (Measure::Slop, 0.2),
        (Measure::HoldNeutral, 100.0),
    ];
    let of = |season: &[Subject], kind, name, measure| {
        find(season, kind, name, measure).health.recordings
    };
    let by_sensor = worked_on(Work::Servo, "R1", "torque", &values);
    let by_power = worked_on(Work::Servo, "R1", "supply-power", &values);
    for (kind, name) in [(Kind::Surface, "rudder"), (Kind::Servo, "R1")] {
        for measure in [Measure::Friction, Measure::Stiffness] {
            assert_eq!(of(&by_sensor, kind, name, measure), 12, "{measure:?}");
            assert_eq!(of(&by_power, kind, name, measure), 4, "{measure:?}");
        }
        for measure in [Measure::Slop, Measure::HoldNeutral] {
            assert_eq!(of(&by_sensor, kind, name, measure), 4, "{measure:?}");
        }
    }
    let rod = worked_on(Work::Rod, "rudder", "torque", &values);
    assert_eq!(of(&rod, Kind::Surface, "rudder", Measure::Friction), 12);
    assert_eq!(of(&rod, Kind::Surface, "rudder", Measure::Slop), 4);
    assert_eq!(of(&rod, Kind::Surface, "rudder", Measure::HoldNeutral), 12);
}

#[test]
fn a_limit_that_was_passed_before_the_work_and_after_it_is_passed() {
    let slop = Measure::Slop;
    let mut readings: Vec<Reading> = (0..8)
        .map(|d| reading(7 * d, "rudder", "R1", &[(slop, 0.9)]))
        .collect();
    let event = Event {
        at: readings[7].at - SignedDuration::from_hours(2),
        subject: "rudder".into(),
        what: "rod-work: new clevis".into(),
        work: Work::Rod,
    };
    let level = |readings: &[Reading]| {
        let season = season(readings, std::slice::from_ref(&event), &Limits::default());
        let record = find(&season, Kind::Surface, "rudder", slop);
        assert_eq!(record.health.recordings, 1);
        record.health.level
    };
    assert_eq!(level(&readings), Level::Act);
    readings[7] = reading(49, "rudder", "R1", &[(slop, 0.2)]);
    assert_eq!(level(&readings), Level::Fine);
}

#[test]
fn a_crossing_is_counted_from_the_latest_reading_that_is_believed() {
    let slop = Measure::Slop;
    let mut readings: Vec<Reading> = (0..10)
        .map(|d| reading(7 * d, "rudder", "R1", &[(slop, 0.2 + 0.01 * d as f64)]))
        .collect();
    readings.push(reading(300, "rudder", "R1", &[(slop, 2.0)]));
    let season = season(&readings, &[], &Limits::default());
    let record = find(&season, Kind::Surface, "rudder", slop);
    assert!(record.health.repeat);
    assert_eq!(record.latest_at, readings[10].at);
    assert_eq!(record.believed_at, readings[9].at);
}
