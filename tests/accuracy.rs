//! A smaller edition of the accuracy study (`cargo run --example accuracy`): the same cases, fewer recordings.
//! The plant behind them shares no formula with the analysis.

#[allow(dead_code)]
#[path = "../examples/accuracy/study.rs"]
mod study;

use std::sync::LazyLock;

use rayon::prelude::*;
use study::{CASES, CYCLES, Case, Errors, Fault, Source, Tally, run};

/// Recordings a case. The study's seeds start at 0; these are others.
const RECORDINGS: u64 = 40;
const FIRST_SEED: u64 = 70_000;

static TALLIES: LazyLock<Vec<(Case, Tally)>> =
    LazyLock::new(|| CASES.iter().map(|c| (*c, tally(*c))).collect());

fn tally(case: Case) -> Tally {
    (FIRST_SEED..FIRST_SEED + RECORDINGS)
        .into_par_iter()
        .map(|seed| {
            let mut tally = Tally::default();
            tally.add(&run(case, CYCLES, seed));
            tally
        })
        .reduce(Tally::default, |mut a, b| {
            a.merge(b);
            a
        })
}

/// Of 40 intervals that each hold the truth 95 times in 100, fewer than 33 hold it once in 3,000 tries (binomial).
fn intervals_hold(what: &str, e: &Errors) {
    assert!(
        e.with_interval >= 35,
        "{what}: only {} intervals",
        e.with_interval
    );
    assert!(
        e.coverage() >= 0.82,
        "{what}: intervals hold {:.0} %",
        100.0 * e.coverage()
    );
}

#[test]
fn errors_stay_within_the_targets_and_intervals_hold_the_truth() {
    for (case, t) in TALLIES.iter() {
        let (stiffness, friction, knee, spot) = match case.source {
            Source::Torque => (0.01, 0.02, 0.7, 0.7),
            Source::Power => (0.05, 0.10, 1.0, 1.2),
        };
        // An rms of 40 errors stands within a quarter of the true one in 98 of 100 tries.
        let within = |what: &str, e: &Errors, limit: f64| {
            assert!(
                e.rms() <= 1.25 * limit,
                "{}, {what}: rms {:.4}",
                case.name,
                e.rms()
            );
            intervals_hold(&format!("{}, {what}", case.name), e);
        };
        assert_eq!(t.without_curve, 0, "{}", case.name);
        within("stiffness", &t.stiffness, stiffness);
        within("friction", &t.friction, friction);
        match case.fault {
            Fault::None => {}
            Fault::Knee => within("knee", &t.knee, knee),
            Fault::TightSpot => within("tight spot", &t.spot, spot),
        }
    }
}

#[test]
fn faults_of_twice_the_limit_are_found_and_none_is_invented() {
    for (case, t) in TALLIES.iter() {
        // At most 1 and 2 in 100 are allowed: two of 40 would be one chance in 17 and one in 5.
        assert!(
            t.false_knees + t.false_spots <= 1,
            "{}: invented",
            case.name
        );
        assert!(t.missed <= 1, "{}: missed {}", case.name, t.missed);
    }
}
