//! Lifts found in simulated captures, the plant's true numbers found again from them, and what a builder is told where they do
//! not suffice.

use super::*;
use crate::recording::Channel;
use crate::recording::Segment;
use crate::servo::balance::{self, Add, Setting};
use crate::simulated::{Loaded, OnArm, Programme, PulseMove, Scenario, Spell, simulate};

const ALL: &[f64] = &[0.0, 0.2, 0.5, 0.8];

fn scenario(masses: &[f64], speeds: &[f64]) -> Scenario {
    let mut scenario = Scenario::default();
    let servo = scenario.plant.servo.clone();
    let go = |deg: f64, deg_s: f64, hold_s: f64| PulseMove {
        to_us: servo.pulse_for_arm(deg),
        us_per_s: deg_s / servo.arm_deg_per_us,
        hold_s,
    };
    let mut moves = vec![go(0.0, 30.0, 1.2), go(-20.0, 30.0, 0.6)];
    for deg_s in speeds {
        for _ in 0..3 {
            moves.extend([go(20.0, *deg_s, 0.4), go(-20.0, *deg_s, 0.6)]);
        }
    }
    moves.push(go(0.0, 30.0, 1.2));
    let spell = |mass_kg: &f64| Spell {
        keys: vec![
            ("mass_kg".into(), mass_kg.to_string()),
            ("arm_mm".into(), "60".into()),
        ],
        loaded: Loaded {
            on_arm: match *mass_kg {
                0.0 => OnArm::Nothing,
                mass_kg => OnArm::Weight {
                    mass_kg,
                    arm_mm: 60.0,
                },
            },
            hung_ncm: 0.0,
        },
        moves: moves.clone(),
        waits_s: 4.0,
    };
    scenario.programme = Programme::Spells(masses.iter().map(spell).collect());
    use crate::simulated::Channel::*;
    scenario.with_channels(vec![PulseUs, ArmDeg, CurrentMa, SupplyV, CaseC])
}

fn read(scenario: &Scenario, seed: u64) -> Recording {
    crate::recording::read(simulate(scenario, seed).capture.as_slice(), "lifts.log").unwrap()
}

fn taken(recording: Recording) -> Result<Lifts, Problem> {
    lifts(&[("lifts.log".into(), recording)], Said::default())
}

fn fitted(masses: &[f64], speeds: &[f64], seed: u64) -> Result<balance::Balance, Problem> {
    balance::fit(
        &taken(read(&scenario(masses, speeds), seed))?,
        Setting::default(),
    )
}

/// The same with one channel changed: time, old reading → new one.
fn changed(recording: Recording, channel: Channel, change: impl Fn(f64, f64) -> f64) -> Recording {
    let segments = recording.segments.iter().map(|s| {
        let columns = Channel::ALL.map(|c| {
            let column = s.column(c)?;
            let all = column.iter().zip(&s.t_s);
            Some(match c == channel {
                true => all.map(|(v, t)| change(*t, *v)).collect(),
                false => column.to_vec(),
            })
        });
        Segment::new(s.t_s.clone(), columns)
    });
    Recording {
        segments: segments.collect(),
        ..recording.clone()
    }
}

#[test]
fn strokes_of_each_load_and_speed_are_found_with_their_way() {
    let lifts = taken(read(&scenario(ALL, &[30.0, 90.0]), 1)).unwrap();
    assert_eq!(lifts.masses_kg.len(), 4);
    assert!(lifts.lifts_up && lifts.unsteady == 0 && lifts.slipped.is_none());
    for mass in 0..4 {
        for (doing, least) in [(Doing::Lifting, 6), (Doing::Lowering, 6)] {
            let count = lifts
                .levels
                .iter()
                .filter(|l| (l.mass, l.doing) == (mass, doing))
                .count();
            assert!(
                (least..=least + 2).contains(&count),
                "{mass} {doing:?}: {count}"
            );
        }
    }
    assert!(lifts.levels.iter().any(|l| l.doing == Doing::Resting));
    assert_eq!(lifts.warmth, Warmth::Case);
}

#[test]
fn the_plants_own_four_numbers_lie_within_their_intervals() {
    for seed in [1, 2, 3] {
        let scenario = scenario(ALL, &[30.0, 90.0]);
        let servo = &scenario.plant.servo;
        let found = fitted(ALL, &[30.0, 90.0], seed).unwrap();
        let truth = [
            servo.idle_w,
            servo.winding_w_per_nm2,
            servo.friction_nm,
            servo.gear_loss,
        ];
        for (j, truth) in truth.iter().enumerate() {
            // At twice its width a fixed seed that fails is worth looking at.
            assert!(
                (found.values[j] - truth).abs() <= 2.0 * 1.96 * found.u(j),
                "{j}: {:?}",
                found.values
            );
        }
        assert!(!found.poor(), "{}", found.chi2_per_df);
    }
}

#[test]
fn with_one_mass_alone_it_is_said_what_to_lift_as_well() {
    let problem = fitted(&[0.5], &[30.0, 90.0], 1).unwrap_err();
    assert!(problem.what.contains("only 0.5 kg was lifted"), "{problem}");
    assert!(problem.hint.unwrap().contains("the empty arm"));
    let problem = fitted(&[0.0, 0.5], &[30.0, 90.0], 1).unwrap_err();
    assert!(
        problem.what.contains("the empty arm and 0.5 kg"),
        "{problem}"
    );
    assert!(problem.hint.unwrap().contains("twice as heavy as 0.5 kg"));
}

#[test]
fn at_one_speed_alone_the_other_speed_is_named() {
    let problem = fitted(ALL, &[30.0], 1).unwrap_err();
    assert!(problem.what.contains("one speed (30°/s)"), "{problem}");
    assert!(problem.hint.unwrap().contains("90° a second"));
}

#[test]
fn without_the_empty_arm_it_is_the_empty_arm_that_would_help_or_nothing_lacks() {
    match fitted(&[0.2, 0.5, 0.8], &[30.0, 90.0], 1) {
        Ok(found) => {
            let add = found.advice.map(|a| a.add);
            assert_eq!(add, Some(Add::EmptyArm), "{:?}", found.values);
        }
        Err(problem) => assert!(problem.to_string().contains("empty arm"), "{problem}"),
    }
}

#[test]
fn masses_too_light_are_refused_or_told_to_be_weak_with_a_heavier_one_to_add() {
    let lifts = taken(read(&scenario(&[0.0, 0.02, 0.04], &[30.0, 90.0]), 1)).unwrap();
    // A third of the stall torque of 210 N·cm.
    let setting = Setting {
        most_nm: Some(0.7),
        ..Setting::default()
    };
    match balance::fit(&lifts, setting) {
        Ok(found) => match found.advice.map(|a| a.add) {
            Some(Add::Mass { kg, .. }) => assert!(kg > 0.04),
            other => panic!("{other:?}"),
        },
        Err(problem) => assert!(problem.to_string().contains("a mass of"), "{problem}"),
    }
}

#[test]
fn a_spell_without_its_mass_and_too_few_of_them_are_named() {
    let mut recording = read(&scenario(ALL, &[30.0, 90.0]), 1);
    recording.keys.retain(|(k, _)| k != "mass_kg");
    let problem = taken(recording.clone()).unwrap_err();
    assert!(problem.what.contains("no mass is said"), "{problem}");
    for mass in ["0", "0.2"] {
        recording.keys.push(("mass_kg".into(), mass.into()));
    }
    let problem = taken(recording).unwrap_err();
    assert!(
        problem
            .what
            .contains("armed 4 times, but mass_kg is said 2 times"),
        "{problem}"
    );
    assert!(problem.hint.unwrap().contains("ahead of each spell"));
}

#[test]
fn an_arm_that_slips_is_told_with_the_mass_that_it_slipped_under() {
    let recording = read(&scenario(ALL, &[30.0, 90.0]), 1);
    let spells = crate::servo::spells(&recording);
    let times = spells[2].t_s();
    let (from, to) = (
        0.5 * (times[0] + times.last().unwrap()),
        *times.last().unwrap(),
    );
    let slips = |t: f64, deg: f64| {
        if (from..=to).contains(&t) {
            deg - 4.0
        } else {
            deg
        }
    };
    let lifts = taken(changed(recording.clone(), Channel::ArmDeg, slips)).unwrap();
    let slip = lifts.slipped.unwrap();
    assert!(
        slip.mass_kg == 0.5 && (3.0..5.0).contains(&slip.deg),
        "{slip:?}"
    );
}

#[test]
fn a_weight_that_swings_is_seen_by_strokes_alike_that_differ() {
    let recording = read(&scenario(ALL, &[30.0, 90.0]), 1);
    let times: Vec<(f64, f64)> = crate::servo::spells(&recording)
        .iter()
        .map(|s| (s.t_s()[0], *s.t_s().last().unwrap()))
        .collect();
    // A pendulum of 25 cm, 1 Hz, a fifth of the weight at its ends.
    let swings = |t: f64, ma: f64| {
        let heaviest = (times[3].0..=times[3].1).contains(&t);
        if heaviest {
            ma * (1.0 + 0.2 * (std::f64::consts::TAU * 0.93 * t).sin())
        } else {
            ma
        }
    };
    let found = taken(changed(recording.clone(), Channel::CurrentMa, swings))
        .and_then(|l| balance::fit(&l, Setting::default()));
    if let Ok(found) = found {
        assert!(found.poor(), "{}", found.chi2_per_df);
        let seen = |r: &balance::Row| r.mass_kg == 0.8 && r.scatter > 3.0;
        let left_out = found.out_of_line > 0 && found.out_of_line_kg == Some(0.8);
        assert!(left_out || found.rows.iter().any(seen), "{:?}", found.rows);
    }
}

#[test]
fn a_recording_without_what_makes_power_names_the_channel() {
    let recording = read(&scenario(&[0.5], &[30.0]), 1);
    let gone = changed(recording, Channel::CurrentMa, |_, _| f64::NAN);
    let problem = taken(gone).unwrap_err();
    assert!(problem.what.contains("no current_ma"), "{problem}");
}

/// On a surface with two servos, the second's current in its own channel, and another one in the first's.
#[test]
fn the_second_servo_of_a_surface_is_calibrated_by_its_own_current() {
    let recording = read(&scenario(ALL, &[30.0, 90.0]), 12);
    let segments = recording.segments.iter().map(|s| {
        let columns = Channel::ALL.map(|c| match c {
            Channel::Current2Ma => s.column(Channel::CurrentMa).map(<[f64]>::to_vec),
            Channel::CurrentMa => Some(vec![30.0; s.len()]),
            c => s.column(c).map(<[f64]>::to_vec),
        });
        Segment::new(s.t_s.clone(), columns)
    });
    let mut both = Recording {
        segments: segments.collect(),
        ..recording.clone()
    };
    both.rig
        .as_mut()
        .unwrap()
        .channels
        .push("current2_ma".into());
    both.keys.push(("servo".into(), "E1".into()));
    both.keys.push(("servo2".into(), "E3".into()));
    let by = |recording: &Recording, tag| {
        let said = Said { arm_mm: None, tag };
        lifts(&[("lifts.log".into(), recording.clone())], said)
    };
    let powers = |lifts: &Lifts| lifts.levels.iter().map(|l| l.power_w).collect::<Vec<_>>();
    let alone = by(&recording, "").unwrap();
    assert_eq!(powers(&by(&both, "E3").unwrap()), powers(&alone));
    // By the first's current nothing was lifted.
    let first = by(&both, "E1").unwrap();
    assert!(
        powers(&first).iter().all(|w| *w < 0.3),
        "{:?}",
        powers(&first)
    );
    assert!(is_of(&both, "E1") && is_of(&both, "E3") && !is_of(&both, "E2"));
    both.keys.push((LIFTED_BY.into(), "E3".into()));
    assert!(is_of(&both, "E3") && !is_of(&both, "E1"));
}
