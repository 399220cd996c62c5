//! A season on made-up readings: what noise may raise, what a fault must raise.

use jiff::{SignedDuration, Timestamp};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use super::*;
use crate::analysis::Interval;

const U: f64 = 0.05;

fn quantity(value: f64, u: Option<f64>) -> Quantity {
    Quantity {
        value,
        interval: u.map(|u| Interval {
            u,
            lo95: value - 1.96 * u,
            hi95: value + 1.96 * u,
        }),
    }
}

/// A recording every `days`.
fn points(values: &[f64], days: f64, u: Option<f64>) -> Vec<Point> {
    let point = |(i, value): (usize, &f64)| Point {
        days: days * i as f64,
        quantity: quantity(*value, u),
    };
    values.iter().enumerate().map(point).collect()
}

fn noise(rng: &mut ChaCha8Rng, count: usize) -> Vec<f64> {
    let normal = Normal::new(0.0, U).unwrap();
    (0..count).map(|_| normal.sample(rng)).collect()
}

const UP_TO_ONE: Bounds = Bounds {
    lower: None,
    upper: Some(1.0),
};

fn judged(values: &[f64], u: Option<f64>) -> Health {
    health(&points(values, 10.0, u), Worse::Either, UP_TO_ONE, 0.001).unwrap()
}

/// Seasons of 20 recordings of one subject, with as many quantities as the richest has (a servo: seven), that never change. A
/// surface and a servo that is tested as often have twelve together, and more false alarms between them. Either with the interval that they truly have, or
/// with none (a hold current has none). Counted: seasons whose end has an alarm, and those that had one at any time.
fn false_alarms(u: Option<f64>, level: Level, limit: f64) -> (f64, f64) {
    let seasons = 1000;
    let own = |servo: bool| {
        let all = Measure::ALL.iter();
        all.filter(|m| m.is_the_servos_own() == servo).count()
    };
    let quantities = own(true).max(own(false));
    let (mut at_the_end, mut ever) = (0, 0);
    for season in 0..seasons {
        let mut rng = ChaCha8Rng::seed_from_u64(season);
        let (mut end, mut any) = (false, false);
        for _ in 0..quantities {
            let values: Vec<f64> = noise(&mut rng, 20).iter().map(|n| 0.5 + n).collect();
            let bounds = Bounds {
                lower: None,
                upper: Some(limit),
            };
            for count in 1..=20 {
                let points = points(&values[..count], 10.0, u);
                let alarm = health(&points, Worse::Either, bounds, 0.001).unwrap().level >= level;
                any |= alarm;
                end |= alarm && count == 20;
            }
        }
        at_the_end += usize::from(end);
        ever += usize::from(any);
    }
    let share = |count: usize| count as f64 / seasons as f64;
    (share(at_the_end), share(ever))
}

#[test]
fn noise_alone_raises_act_in_at_most_one_season_of_twenty() {
    // A limit ten, and one three standard deviations off.
    for limit in [0.5 + 10.0 * U, 0.5 + 3.0 * U] {
        for u in [Some(U), None] {
            let (end, ever) = false_alarms(u, Level::Act, limit);
            let (watch, watch_ever) = false_alarms(u, Level::Watch, limit);
            println!(
                "limit {limit:.2}, interval {}: act {end:.3} at the end, {ever:.3} at any time; watch or act {watch:.3}, {watch_ever:.3}",
                u.is_some()
            );
            assert!(end <= 0.05 && ever <= 0.05, "{end} {ever}");
        }
    }
}

#[test]
fn one_reading_out_of_line_is_to_be_repeated_and_is_no_alarm() {
    let mut values = vec![0.50, 0.52, 0.47, 0.51, 0.49, 0.53, 0.48, 0.50];
    values.push(1.4);
    let once = judged(&values, Some(U));
    assert!(once.repeat);
    assert_eq!((once.level, &once.set_aside[..]), (Level::Fine, &[8][..]));
    // Repeated, and it was nothing.
    values.push(0.51);
    let nothing = judged(&values, Some(U));
    assert_eq!((nothing.level, nothing.repeat), (Level::Fine, false));
    assert_eq!(nothing.set_aside, [8]);
}

#[test]
fn two_readings_in_a_row_out_of_line_are_an_alarm() {
    let mut values = vec![0.50, 0.52, 0.47, 0.51, 0.49, 0.53, 0.48, 0.50, 0.85, 0.88];
    let twice = judged(&values, Some(U));
    assert_eq!((twice.step, twice.level), (1, Level::Act));
    assert!(!twice.repeat && twice.set_aside.is_empty());
    // It stays one while it lasts, and a third is no new one to be repeated.
    values.push(0.86);
    let third = judged(&values, Some(U));
    assert_eq!((third.level, third.repeat), (Level::Act, false));
    // Back where it was, twice: the alarm is over.
    values.extend([0.5, 0.51]);
    assert_eq!(judged(&values, Some(U)).step, 0);
}

#[test]
fn a_fall_of_what_is_worse_when_it_rises_is_watched_and_no_alarm() {
    let values = [0.50, 0.52, 0.47, 0.51, 0.49, 0.53, 0.15, 0.13];
    let fallen = health(
        &points(&values, 10.0, Some(U)),
        Worse::Higher,
        UP_TO_ONE,
        0.001,
    )
    .unwrap();
    assert_eq!((fallen.step, fallen.level), (-1, Level::Watch));
}

/// Twelve recordings at ten days: a rise of a third of a standard deviation a day.
#[test]
fn a_steady_rise_is_an_alarm_before_it_is_at_its_limit() {
    let mut caught = 0;
    for seed in 0..100 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let rise = |(i, n): (usize, f64)| 0.3 + 0.05 * i as f64 + n;
        let values: Vec<f64> = noise(&mut rng, 12)
            .into_iter()
            .enumerate()
            .map(rise)
            .collect();
        let found = judged(&values, Some(U));
        caught += usize::from(found.level == Level::Act);
        assert!(found.crossing != Crossing::Passed);
    }
    println!("{caught} of 100 rises caught before the limit");
    assert!(caught >= 95, "{caught}");
}

/// The line itself crosses at 30 days after the last of 14; the interval has to hold that in 95 of 100, nearly.
#[test]
fn a_crossing_s_interval_holds_the_true_day() {
    let (mut told, mut held) = (0, 0);
    for seed in 0..500 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let slope = (1.0 - 0.3) / 160.0;
        let rise = |(i, n): (usize, f64)| 0.3 + slope * 10.0 * i as f64 + n;
        let values: Vec<f64> = noise(&mut rng, 14)
            .into_iter()
            .enumerate()
            .map(rise)
            .collect();
        if let Crossing::In {
            per,
            soonest,
            expected,
            latest,
        } = judged(&values, Some(U)).crossing
        {
            assert_eq!(per, Per::ThirtyDays);
            assert!(soonest <= expected && latest.is_none_or(|l| l >= expected));
            told += 1;
            held += usize::from(soonest <= 30.0 && latest.is_none_or(|l| 30.0 <= l));
        }
    }
    println!("{told} of 500 foreseen, {held} of them held the day");
    assert!(told >= 490 && held as f64 >= 0.93 * f64::from(told));
}

/// A picture shows both: they must meet.
#[test]
fn the_trend_s_band_is_at_the_limit_when_the_crossing_says_so() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let noise = noise(&mut rng, 14).into_iter().enumerate();
    let values: Vec<f64> = noise.map(|(i, n)| 0.3 + 0.04 * i as f64 + n).collect();
    for (values, limit) in [
        (values.clone(), 1.0),
        (values.iter().map(|v| -v).collect(), -1.0),
    ] {
        let bounds = Bounds {
            lower: Some(limit).filter(|l| *l < 0.0),
            upper: Some(limit).filter(|l| *l > 0.0),
        };
        let points = points(&values, 10.0, Some(U));
        let found = health(&points, Worse::Either, bounds, 0.001).unwrap();
        let Crossing::In {
            soonest,
            expected,
            latest,
            ..
        } = found.crossing
        else {
            panic!("{found:?}");
        };
        let trend = found.trend.unwrap();
        let band = |days: f64| trend.band_at(days / 30.0, found.sigma.unwrap()).unwrap();
        let (outer, inner) = (band(soonest), band(latest.unwrap()));
        let (first, last) = match limit > 0.0 {
            true => (outer.1, inner.0),
            false => (outer.0, inner.1),
        };
        let off = [first, trend.at(expected / 30.0), last].map(|v| (v - limit).abs());
        assert!(off.iter().all(|off| *off < 1e-9), "{off:?}");
    }
}

#[test]
fn two_readings_beyond_the_limit_with_their_intervals_are_an_alarm_and_one_is_watched() {
    let one = judged(&[1.3], Some(U));
    assert_eq!(
        (one.level, one.crossing),
        (Level::Watch, Crossing::NotForeseeable)
    );
    let two = judged(&[1.3, 1.32], Some(U));
    assert_eq!((two.level, two.crossing), (Level::Act, Crossing::Passed));
    assert_eq!(two.chart, Chart::TooFew(2));
    // An interval that reaches back under the limit proves nothing.
    assert_eq!(judged(&[1.05, 1.05], Some(U)).level, Level::Watch);
    assert!(health(&[], Worse::Either, UP_TO_ONE, 0.001).is_none());
}

#[test]
fn a_day_s_work_at_the_bench_has_its_trend_per_recording() {
    let values = [0.3, 0.35, 0.41, 0.44, 0.5, 0.56];
    let found = health(
        &points(&values, 0.02, Some(0.01)),
        Worse::Higher,
        UP_TO_ONE,
        0.001,
    );
    let found = found.unwrap();
    assert_eq!(found.trend.unwrap().per, Per::Recording);
    assert!(matches!(
        found.crossing,
        Crossing::In {
            per: Per::Recording,
            ..
        }
    ));
}

fn reading(day: i64, surface: &str, servo: &str, measures: &[(Measure, f64)]) -> Reading {
    let mut values = [None; Measure::COUNT];
    for (measure, value) in measures {
        values[*measure as usize] = Some(quantity(*value, Some(0.01 * value)));
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
        values,
        stall_share_per_ncm: None,
    }
}

fn find<'a>(season: &'a [Subject], kind: Kind, name: &str, measure: Measure) -> &'a Record {
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
fn a_step_s_advice_names_the_note_that_begins_the_quantity_anew_and_no_other() {
    let steady = [0.2, 0.21, 0.19, 0.2, 0.21, 0.19, 0.2];
    let out = judged(&[&steady[..], &[0.6, 0.61]].concat(), Some(U));
    let said = |measure| advice(measure, &out).unwrap();
    let hold = said(Measure::HoldNeutral);
    assert!(
        hold.contains("SERVO TEXT --kind servo-replaced`)"),
        "{hold}"
    );
    assert!(!hold.contains("hinge-work"), "{hold}");
    let slop = said(Measure::Slop);
    for kind in ["servo-replaced", "hinge-work", "rod-work"] {
        assert!(slop.contains(&format!("--kind {kind}`")), "{slop}");
    }
    assert!(slop.contains("have left the baseline") && !slop.contains("back at it"));

    let back = judged(&[&steady[..], &[0.6, 0.61, 0.2]].concat(), Some(U));
    assert!(back.back && !out.back, "{back:?}");
    let said = advice(Measure::Slop, &back).unwrap();
    assert!(
        said.contains("the latest is back at it: repeat it"),
        "{said}"
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
    let season = season(&readings, &[], &Limits::default());
    let names: Vec<&str> = season.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["b", "S2", "a", "S1"]);
    let worst = &season[0].quantities[0];
    assert_eq!(
        (worst.measure, worst.health.level),
        (Measure::Slop, Level::Act)
    );
    let said = advice(worst.measure, &worst.health).unwrap();
    assert!(said.contains("limit") && said.contains("clevis"), "{said}");
    assert_eq!(advice(Measure::Slop, &season[2].quantities[0].health), None);
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

#[test]
fn a_long_series_is_drawn_through_groups_and_still_dates_its_limit() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let noise = noise(&mut rng, 2000);
    let rising = |n: usize| -> Vec<f64> {
        let steps = noise[..n].iter().enumerate();
        steps
            .map(|(i, noise)| 0.4 + 0.0002 * i as f64 + noise)
            .collect()
    };
    // One a day: 0.006 in thirty days, and 0.8 after 2,000 of them, 1.0 a thousand later.
    let long = health(
        &points(&rising(2000), 1.0, Some(U)),
        Worse::Higher,
        UP_TO_ONE,
        0.001,
    );
    let trend = long.unwrap().trend.unwrap();
    let (lo, hi) = trend.interval.unwrap();
    assert!(lo <= 0.006 && 0.006 <= hi, "{trend:?}");
    assert!(hi - lo < 0.001 && trend.p.unwrap() < 1e-6, "{trend:?}");
    assert_eq!(
        (groups(300), groups(301), groups(2000)),
        (None, Some(200), Some(200))
    );
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
