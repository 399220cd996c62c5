//! Studies of invented people whose mountings scatter as told: what is estimated, and how often the promises hold.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use super::*;

fn normal(chance: &mut ChaCha8Rng, sd: f64) -> f64 {
    Normal::new(0.0, sd).unwrap().sample(chance)
}

/// A study of one surface: people's own offsets of `between`, mountings of `within`.
fn invented(
    chance: &mut ChaCha8Rng,
    people: usize,
    each: usize,
    between: f64,
    within: f64,
) -> Table {
    let mut readings = Vec::new();
    for person in 0..people {
        let offset = normal(chance, between);
        for _ in 0..each {
            let value = 3.0 + offset + normal(chance, within);
            readings.push(Reading {
                surface: 0,
                person,
                value,
            });
        }
    }
    Table::of(&readings).unwrap()
}

fn of(table: Table, level: f64) -> Found {
    one(What::Friction, table, &[3.0], &[(0.05, 9.0)], level)
}

/// Friction once calibrated rigs scatter by 0.2 N·cm between mountings: intervals of all three standard deviations, 2,000 studies each.
#[test]
fn intervals_of_a_studys_spreads_hold_the_truth() {
    let mut chance = ChaCha8Rng::seed_from_u64(11);
    let rounds = 2_000;
    for (people, each, between) in [(1, 4, 0.0), (2, 3, 0.1), (3, 3, 0.2), (4, 5, 0.0)] {
        let within = 0.2_f64;
        let mut held = [0_usize; 3];
        for _ in 0..rounds {
            let found = of(invented(&mut chance, people, each, between, within), 0.05);
            let truths = [within, between, within.hypot(between)];
            for ((held, q), truth) in held
                .iter_mut()
                .zip([found.mounting, found.people, found.both])
                .zip(truths)
            {
                let inside = q
                    .and_then(|q| q.interval)
                    .is_none_or(|i| i.lo95 <= truth && truth <= i.hi95);
                *held += usize::from(inside);
            }
        }
        let share = held.map(|h| h as f64 / f64::from(rounds));
        println!(
            "{people} people, {each} mountings each, between {between}: intervals held the truth in {share:?}"
        );
        assert!(share[0] > 0.935 && share[0] < 0.965, "{share:?}");
        // Where people do not differ the interval of what lies between them is cut at nought and holds more.
        assert!(share[1..].iter().all(|s| *s > 0.935), "{share:?}");
    }
}

/// A change of the size told is called in 95 of 100 further comparisons, on average over studies, and none where there is none in
/// at most five: by the same person, one to three mountings each side.
#[test]
fn a_change_of_the_smallest_size_is_found_and_nothing_is_not() {
    let mut chance = ChaCha8Rng::seed_from_u64(12);
    let within = 0.2;
    for (at, each_side) in EACH_SIDE.into_iter().enumerate() {
        let (mut found, mut alarms, rounds) = (0, 0, 4_000);
        for _ in 0..rounds {
            let one = of(invented(&mut chance, 2, 4, 0.0, within), 0.05);
            let smallest = one.smallest[at].same_person.unwrap().value;
            let own = one.table.mountings.unwrap();
            let u = (2.0 * own.value / each_side as f64).sqrt();
            let difference = |chance: &mut ChaCha8Rng, change: f64| {
                let mean = |chance: &mut ChaCha8Rng| {
                    (0..each_side).map(|_| normal(chance, within)).sum::<f64>() / each_side as f64
                };
                let value = change + mean(chance) - mean(chance);
                Difference::of(0.0, value, &[(u, own.df)]).unwrap().p() < 0.05
            };
            found += usize::from(difference(&mut chance, smallest));
            alarms += usize::from(difference(&mut chance, 0.0));
        }
        let share = |n: usize| n as f64 / f64::from(rounds);
        println!(
            "{each_side} each side: found {}, alarms {}",
            share(found),
            share(alarms)
        );
        assert!((0.93..0.97).contains(&share(found)), "{}", share(found));
        assert!((0.04..0.06).contains(&share(alarms)), "{}", share(alarms));
    }
}

#[test]
fn somebody_else_sees_less_and_one_pair_claims_more_than_mounting_again_allows() {
    let readings: Vec<Reading> = [
        (0, [3.0, 3.2, 3.1]),
        (1, [3.8, 3.9, 4.1]),
        (2, [3.3, 3.6, 3.4]),
    ]
    .into_iter()
    .flat_map(|(person, values)| {
        values.map(|value| Reading {
            surface: 0,
            person,
            value,
        })
    })
    .collect();
    let found = of(Table::of(&readings).unwrap(), 0.05);
    assert!(found.people_differ());
    for smallest in found.smallest {
        assert!(smallest.another_person.unwrap() > smallest.same_person.unwrap().value);
    }
    let single = found.smallest[0].same_person.unwrap();
    assert!(found.own_smallest.unwrap() < single.value);
    // Twice as many each side: a √2-th.
    let two = found.smallest[1].same_person.unwrap();
    assert!((single.value / two.value - 2.0_f64.sqrt()).abs() < 1e-9);
}

#[test]
fn strokes_that_ask_for_more_than_mountings_say_why() {
    let readings = |value: [f64; 4]| {
        value.map(|value| Reading {
            surface: 0,
            person: 0,
            value,
        })
    };
    let of = |own: (f64, f64)| {
        let table = Table::of(&readings([3.0, 3.2, 3.1, 2.9])).unwrap();
        one(What::HoldCurrent(0), table, &[3.0], &[own], 0.05 / 9.0)
    };
    // The mountings' standard deviation is 0.13, of three degrees of freedom.
    assert_eq!(of((0.05, 20.0)).strokes_ask_for_more(), None);
    let scatter = of((0.3, 20.0));
    assert_eq!(
        scatter.strokes_ask_for_more(),
        Some(StrokesAsk::ScatterMore)
    );
    let few = of((0.12, 1.0));
    assert!(few.own_u < few.mounting.map(|q| q.value));
    assert_eq!(few.strokes_ask_for_more(), Some(StrokesAsk::AreFew));
}

#[test]
fn too_few_mountings_leave_it_unproven() {
    let readings = [0, 1].map(|person| Reading {
        surface: 0,
        person,
        value: 3.0 + person as f64,
    });
    let found = of(Table::of(&readings).unwrap(), 0.05);
    assert!(found.mounting.is_none() && found.people.is_none() && found.both.is_none());
    assert!(
        found
            .smallest
            .iter()
            .all(|s| s.same_person.is_none() && s.another_person.is_none())
    );
}

#[test]
fn one_person_tells_the_mounting_and_nothing_of_people() {
    let mut chance = ChaCha8Rng::seed_from_u64(13);
    let found = of(invented(&mut chance, 1, 4, 0.0, 0.2), 0.05);
    assert!(found.mounting.is_some() && found.people.is_none() && !found.people_differ());
    assert_eq!(found.smallest[0].another_person, None);
}

#[test]
fn of_many_quantities_that_nothing_changes_people_and_mountings_are_seldom_called() {
    // Eight quantities, strokes that tell 0.2, mountings that add nothing, two people alike.
    let mut chance = ChaCha8Rng::seed_from_u64(14);
    let rounds = 2_000;
    let (mut people, mut mountings) = (0, 0);
    for _ in 0..rounds {
        let mut found: Vec<Found> = (0..8)
            .map(|_| {
                let table = invented(&mut chance, 2, 4, 0.0, 0.2);
                one(What::Friction, table, &[3.0], &[(0.2, 1e4)], 0.05)
            })
            .collect();
        adjust(&mut found, |f| &mut f.p_mounting);
        adjust(&mut found, |f| &mut f.p_people);
        people += usize::from(found.iter().any(Found::people_differ));
        mountings += usize::from(found.iter().any(Found::mounting_shows));
    }
    let share = |n: usize| n as f64 / f64::from(rounds);
    println!(
        "called by mistake: people {}, mountings {}",
        share(people),
        share(mountings)
    );
    assert!(share(people) < 0.065 && share(mountings) < 0.065);
}
