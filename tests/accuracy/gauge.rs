//! Gauge studies of simulated mountings, from the plant through the analysis to the study: how often its intervals hold what was
//! put in, and how often nothing is called a difference between people.

use hingewright::aircraft::{self, Aircraft};
use hingewright::analysis::{Measured, measure};
use hingewright::history::compare::What;
use hingewright::history::gauge::{Mounting, Study, study};
use hingewright::recording;
use hingewright::simulated::{Channel, Programme, Scenario, Sweep, simulate};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use rayon::prelude::*;

/// What mounting again changes, one standard deviation: friction N·cm, stiffness N·cm/°.
const MOUNTING: (f64, f64) = (0.20, 0.010);
/// What people differ by, in the same units.
const PEOPLE: (f64, f64) = (0.30, 0.010);
const ASKED: [What; 2] = [What::Friction, What::Stiffness];

fn one(friction_by: f64, stiffness_by: f64, seed: u64, aircraft: &Aircraft) -> Measured {
    let channels = [
        Channel::PulseUs,
        Channel::AngleDeg,
        Channel::CurrentMa,
        Channel::SupplyV,
        Channel::TorqueNcm,
    ];
    let mut scenario = Scenario {
        rate_hz: 100.0,
        programme: Programme::Sweep(Sweep {
            cycles: 6,
            ..Sweep::default()
        }),
        ..Scenario::default()
    }
    .with_channels(channels.to_vec());
    scenario.plant.hinge.friction_ncm += friction_by;
    scenario.plant.hinge.stiffness_ncm_per_deg += stiffness_by;
    let capture = simulate(&scenario, seed).capture;
    let recording = recording::read(capture.as_slice(), "mounting").unwrap();
    measure(&recording, aircraft, &aircraft.surfaces[0])
}

/// `people` with three mountings each; their offsets `apart` times [`PEOPLE`].
fn of(people: usize, apart: f64, seed: u64, aircraft: &Aircraft) -> Study {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let normal = Normal::new(0.0, 1.0).unwrap();
    let mut draw = |of: (f64, f64), times: f64| {
        let (a, b) = (normal.sample(&mut chance), normal.sample(&mut chance));
        (times * of.0 * a, times * of.1 * b)
    };
    let mut measured = Vec::new();
    for person in 0..people {
        let own = draw(PEOPLE, apart);
        for i in 0..3 {
            let again = draw(MOUNTING, 1.0);
            let seed = seed * 100 + (10 * person + i) as u64;
            measured.push((
                person,
                one(own.0 + again.0, own.1 + again.1, seed, aircraft),
            ));
        }
    }
    let mountings: Vec<Mounting> = measured
        .iter()
        .map(|(person, measured)| Mounting {
            surface: 0,
            person: *person,
            measured,
            started: None,
        })
        .collect();
    study(&mountings, &ASKED)
}

#[derive(Debug, Default, Clone, Copy)]
struct Tally {
    mounting: usize,
    people: usize,
    called: usize,
}

/// Of so many studies, for each quantity: intervals that held what was put in (the strokes' own scatter adds to mounting's),
/// and people called different.
fn tally(people: usize, apart: f64, studies: u64) -> [Tally; 2] {
    let aircraft = aircraft::read_path("samples/aircraft.toml".as_ref()).unwrap();
    let all: Vec<Study> = (0..studies)
        .into_par_iter()
        .map(|i| of(people, apart, 9_000 + i, &aircraft))
        .collect();
    let mut tallies = [Tally::default(); 2];
    for study in &all {
        for (tally, what) in tallies.iter_mut().zip(ASKED) {
            let found = study.found.iter().find(|f| f.what == what).unwrap();
            let (mounting, between) = match what {
                What::Friction => (MOUNTING.0, PEOPLE.0),
                _ => (MOUNTING.1, PEOPLE.1),
            };
            let holds = |q: Option<hingewright::analysis::Quantity>, truth: f64| {
                let interval = q.unwrap().interval.unwrap();
                usize::from(interval.lo95 <= truth && truth <= interval.hi95)
            };
            tally.mounting += holds(found.mounting, mounting.hypot(found.own_u.unwrap()));
            tally.people += holds(found.people, apart * between);
            tally.called += usize::from(found.people_differ());
        }
    }
    tallies
}

/// Of 40 intervals that each hold the truth 95 times in 100, fewer than 33 hold it once in 3,000 tries; of 40 studies of people alike more
/// than 5 call them different as seldom (binomial, one tail of 2.5 %: 0.03 %).
#[test]
fn a_study_of_simulated_mountings_holds_what_was_put_in() {
    for (people, apart) in [(2, 0.0), (3, 1.0)] {
        for (tally, what) in tally(people, apart, 40).into_iter().zip(ASKED) {
            println!("{people} people, {apart} times apart, {what:?}: {tally:?} of 40");
            assert!(
                tally.mounting >= 33 && tally.people >= 33,
                "{what:?} {tally:?}"
            );
            assert!(apart > 0.0 || tally.called <= 5, "{what:?} {tally:?}");
        }
    }
}

/// The figures of the README.
#[test]
#[ignore = "takes minutes: the figures of the README"]
fn gauge_study() {
    for (people, apart) in [(2, 0.0), (3, 1.0)] {
        for (tally, what) in tally(people, apart, 300).into_iter().zip(ASKED) {
            println!("{people} people, {apart} times apart, {what:?}: {tally:?} of 300");
        }
    }
}
