//! Hinges with a known course, seen through batches of known uncertainty.

use super::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

fn quantity(value: f64, u: f64) -> Quantity {
    Quantity {
        value,
        interval: Some(Interval {
            u,
            lo95: value - NORMAL_95 * u,
            hi95: value + NORMAL_95 * u,
        }),
    }
}

fn at(hours: f64) -> Option<jiff::Timestamp> {
    jiff::Timestamp::from_second(1_790_000_000 + (3600.0 * hours) as i64).ok()
}

/// Batches of ten cycles, five minutes apart, with these stiffnesses.
fn batches(stiffness: &[f64], u: f64) -> Vec<Batch> {
    stiffness
        .iter()
        .enumerate()
        .map(|(k, &value)| Batch {
            cycles_before: 10.0 * k as f64,
            cycles: 10.0,
            stage_deg: Some(20.0),
            recheck: false,
            end: End::Finished,
            started: at(k as f64 / 12.0),
            air_c: Some(21.0),
            stiffness_ncm_per_deg: Some(quantity(value, u)),
            friction_ncm: None,
            knees_deg: [None; 2],
        })
        .collect()
}

fn rechecked(mut all: Vec<Batch>, stiffness: f64, rest_h: f64) -> Vec<Batch> {
    let mut last = all.last().unwrap().clone();
    last.cycles_before = last.cycles_after();
    last.recheck = true;
    last.started = at((all.len() - 1) as f64 / 12.0 + rest_h);
    last.stiffness_ncm_per_deg = Some(quantity(stiffness, 0.002));
    all.push(last);
    all
}

const SETTLED: [f64; 5] = [0.40, 0.33, 0.300, 0.301, 0.300];

#[test]
fn settled_is_two_batches_running_without_a_change_that_repeating_would_show() {
    assert_eq!(stand(&batches(&SETTLED, 0.002)).state, State::Settled);
    assert_eq!(
        stand(&batches(&SETTLED[..4], 0.002)).state,
        State::Softening
    );
    assert_eq!(stand(&batches(&SETTLED[..1], 0.002)).state, State::TooFew);
    // By hand: 1.96·0.002·√2 = 0.00554. Steps of 0.004 each hide from neighbours and not over two batches.
    let creeping = stand(&batches(&[0.312, 0.308, 0.304], 0.002));
    assert_eq!(creeping.state, State::Softening);
    assert!((creeping.change.unwrap().detectable - 0.005544).abs() < 1e-6);
}

#[test]
fn friction_that_still_falls_keeps_a_hinge_from_being_settled() {
    let mut all = batches(&SETTLED, 0.002);
    for (batch, friction) in all.iter_mut().zip([6.0, 5.0, 4.2, 3.6, 3.1]) {
        batch.friction_ncm = Some(quantity(friction, 0.05));
    }
    assert_eq!(stand(&all).state, State::Softening);
}

#[test]
fn what_is_measured_too_coarsely_to_show_a_change_is_not_called_settled() {
    // By hand: 1.96·0.02·√2 = 0.055, which is 14 % of 0.40.
    let coarse = stand(&batches(&[0.43, 0.44, 0.40], 0.02));
    assert_eq!(coarse.state, State::TooCoarse);
    let fine = stand(&batches(&[0.401, 0.402, 0.400], 0.005));
    assert_eq!(fine.state, State::Settled);
}

#[test]
fn a_slow_decay_that_hides_from_batch_to_batch_is_not_called_settled() {
    // 0.30 + 0.15·exp(−n/150): each step is 2 % of what is there and less than the 0.0111 that two batches show, and over
    // two less than that as well at the end.
    let slow: Vec<f64> = (0..14)
        .map(|k| 0.30 + 0.15 * (-10.0 * f64::from(k) / 150.0_f64).exp())
        .collect();
    let step = slow[11] - slow[13];
    assert!(step < 1.96 * 0.004 * 2.0_f64.sqrt(), "{step}");
    assert_eq!(stand(&batches(&slow, 0.004)).state, State::Softening);
}

#[test]
fn no_interval_is_no_proof_of_settling() {
    let mut all = batches(&SETTLED, 0.002);
    all[4].stiffness_ncm_per_deg.as_mut().unwrap().interval = None;
    assert_eq!(stand(&all).state, State::TooFew);
}

#[test]
fn never_settled_while_the_true_change_is_twice_what_can_be_detected() {
    let u = 0.002;
    let step = 2.0 * NORMAL_95 * u * 2.0_f64.sqrt();
    let noise = Normal::new(0.0, u).unwrap();
    let early = (0..500)
        .filter(|&seed| {
            let mut chance = ChaCha8Rng::seed_from_u64(seed);
            let falling: Vec<f64> = (0..8)
                .map(|k| 0.6 - step * f64::from(k) + noise.sample(&mut chance))
                .collect();
            (1..=8).any(|n| stand(&batches(&falling[..n], u)).state == State::Settled)
        })
        .count();
    assert_eq!(early, 0);
}

#[test]
fn a_hinge_that_stands_still_is_soon_called_settled_and_seldom_stiffer() {
    let noise = Normal::new(0.0, 0.002).unwrap();
    let (mut settled, mut stiffer) = (0, 0);
    for seed in 0..400 {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let still: Vec<f64> = (0..6).map(|_| 0.30 + noise.sample(&mut chance)).collect();
        let states: Vec<State> = (1..=6)
            .map(|n| stand(&batches(&still[..n], 0.002)).state)
            .collect();
        settled += u32::from(states.contains(&State::Settled));
        stiffer += u32::from(states.contains(&State::Stiffer));
    }
    assert!(settled >= 380, "{settled} of 400");
    assert_eq!(stiffer, 0);
}

#[test]
fn a_hinge_that_gets_stiffer_says_so_unless_it_rested() {
    let torn = batches(&[0.32, 0.30, 0.33], 0.002);
    assert_eq!(stand(&torn).state, State::Stiffer);
    let mut rested = torn.clone();
    rested[2].started = at(14.0);
    assert_eq!(stand(&rested).state, State::Softening);
    // Detectable, and yet only 3 %: common scatter of a sound hinge.
    let little = batches(&[0.32, 0.300, 0.309], 0.002);
    assert_eq!(stand(&little).state, State::Softening);
    // A wider stage may show more stiffness by itself.
    let mut wider = torn;
    wider[2].stage_deg = Some(30.0);
    assert_ne!(stand(&wider).state, State::Stiffer);
}

#[test]
fn confirmed_only_after_a_night_and_what_came_back_is_told() {
    let confirmed = stand(&rechecked(batches(&SETTLED, 0.002), 0.309, 14.0));
    assert_eq!(confirmed.state, State::Confirmed);
    let told = confirmed.recheck.unwrap();
    assert!((told.rest_h.unwrap() - 14.0).abs() < 0.01);
    let came_back = told.stiffness.unwrap();
    assert!((came_back.by.value - 0.009).abs() < 1e-9 && came_back.is_detectable());
    let too_soon = stand(&rechecked(batches(&SETTLED, 0.002), 0.301, 11.0));
    assert_eq!(too_soon.state, State::Settled);
    let back = stand(&rechecked(batches(&SETTLED, 0.002), 0.33, 14.0));
    assert_eq!(back.state, State::CameBack);
    let never = stand(&rechecked(batches(&SETTLED[..3], 0.002), 0.30, 14.0));
    assert_eq!(
        never.state,
        State::Softening,
        "what never settled is not confirmed"
    );
}

#[test]
fn sessions_far_apart_in_temperature_are_compared_with_a_warning() {
    let mut all = batches(&SETTLED, 0.002);
    all[4].air_c = Some(28.9);
    assert_eq!(stand(&all).air_apart_c, None);
    all[4].air_c = Some(29.1);
    assert_eq!(stand(&all).air_apart_c, Some((21.0, 29.1)));
}

#[test]
fn a_stage_ends_when_it_has_settled_or_its_cycles_are_spent() {
    let stages = [20.0, 30.0];
    assert_eq!(
        stages_left(&[], &stages, 60.0),
        [(20.0, 60.0), (30.0, 60.0)]
    );
    let all = batches(&SETTLED, 0.002);
    let left = |batches: &[Batch], most| stages_left(batches, &stages, most);
    assert_eq!(left(&all[..3], 60.0), [(20.0, 30.0), (30.0, 60.0)]);
    assert_eq!(left(&all, 60.0), [(30.0, 60.0)], "settled");
    assert_eq!(left(&all[..3], 30.0), [(30.0, 30.0)], "spent");
    assert_eq!(stages_left(&all[..3], &stages[..1], 30.0), []);
}

#[test]
fn a_stop_is_remembered_and_what_follows_is_held_against_the_last_sound_batch() {
    // Torn in the third batch. Worked on as it is, the fourth is no stiffer than the third, and yet than the second.
    let mut all = batches(&[0.32, 0.300, 0.33, 0.331, 0.301, 0.300], 0.002);
    assert_eq!(stop(&all[..2]), None);
    let stopped = stop(&all[..3]).unwrap();
    assert_eq!(stopped.batch, &all[2]);
    assert!((stopped.change.unwrap().share - 0.1).abs() < 1e-9);
    let still = stop(&all[..4]).unwrap();
    assert!((still.change.unwrap().by.value - 0.031).abs() < 1e-9);
    assert_eq!(stand(&all[..4]).state, State::Stiffer);
    assert!(!is_last_sound(&all[..4]) && is_last_sound(&all[..2]));
    // A night does not make it sound, nor does a re-check.
    all[3].started = at(14.0);
    assert!(stop(&all[..4]).is_some());
    assert!(stop(&rechecked(all[..3].to_vec(), 0.33, 14.0)).is_some());
    // One that is as it was before the stop does.
    assert_eq!(stop(&all[..5]), None);
    assert!(is_last_sound(&all[..5]));
    // The torn ones are in no fit and in no step.
    let step = stand(&all[..5]).change.unwrap();
    assert!((step.by.value - 0.001).abs() < 1e-9);
}

#[test]
fn a_batch_cut_because_torque_rose_is_a_stop_and_one_cut_by_hand_is_none() {
    let mut all = batches(&[0.32, 0.300, 0.300, 0.299], 0.002);
    all[2].end = End::of(Some("stopped at 11.2°: 5.10 N·cm there, and no more than"));
    let told = stop(&all[..3]).unwrap();
    assert_eq!((told.batch, told.change), (&all[2], None));
    assert!(!is_last_sound(&all[..3]));
    assert_eq!(stop(&all), None, "a whole batch, and as it was");
    all[3].end = End::of(Some("stopped: Ctrl-C"));
    assert_eq!(all[3].end, End::CutShort);
    assert!(stop(&all).is_some(), "half a batch shows nothing");
    assert_eq!(stop(&all[..2]), None);
}

#[test]
fn a_re_check_is_movement_and_a_confirmation_stays_one() {
    let settled = rechecked(batches(&SETTLED, 0.002), 0.301, 11.9);
    let mut again = settled.clone();
    again.push(again.last().unwrap().clone());
    again.last_mut().unwrap().started = at(4.0 / 12.0 + 12.1);
    let told = stand(&again);
    assert_eq!(told.state, State::Settled, "0.2 h are no rest");
    assert!((told.recheck.unwrap().rest_h.unwrap() - 0.2).abs() < 0.01);
    again[5].started = at(4.0 / 12.0 + 12.0);
    assert_eq!(stand(&again).state, State::Confirmed);
}

#[test]
fn a_rest_that_changed_nothing_is_told_from_one_that_was_too_short_or_gave_back() {
    let unsettled = || batches(&SETTLED[..3], 0.002);
    let told = |stiffness, rest_h| stand(&rechecked(unsettled(), stiffness, rest_h)).recheck;
    assert!(told(0.301, 14.0).unwrap().is_unchanged());
    assert!(!told(0.301, 3.0).unwrap().is_unchanged());
    assert!(!told(0.33, 14.0).unwrap().is_unchanged());
}

#[test]
fn the_cycles_advised_reach_the_forecasts_end_and_two_batches_beyond() {
    let few = stand(&batches(&SETTLED[..3], 0.002));
    assert_eq!(cycles_to_tell(&few, 10.0), 30.0);
    let mut falling = stand(&batches(&[0.6, 0.5, 0.43, 0.38, 0.35], 0.002));
    let forecast = &mut falling.stiffness.as_mut().unwrap().forecast;
    forecast.hi95 = Some(41.0);
    assert_eq!(cycles_to_tell(&falling, 10.0), 70.0);
}
