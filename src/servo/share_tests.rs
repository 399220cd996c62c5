//! Two servos of the plant whose middles stand apart by a known angle.

use super::*;
use crate::simulated::{
    Channel as Sent, Plant, PlantSettings, Programme, PulseMove, Scenario, SecondServo, Servo,
    Spell, simulate,
};

const AIRCRAFT: &str = r#"
[aircraft]
name = "Dunlin"
[[servo_type]]
name = "metal gear"
stall_torque_ncm = 210
stall_voltage_v = 7.4
[[servo]]
tag = "A1"
type = "metal gear"
[[servo]]
tag = "A2"
type = "metal gear"
[[surface]]
name = "left elevator"
servos = ["A1", "A2"]
chord_mm = 58
throws = [{ name = "up", up_mm = 24 }, { name = "down", down_mm = 24 }]
"#;

fn aircraft() -> Aircraft {
    let none = |_: &str| Err(crate::problem::Problem::new("no calibration here"));
    crate::aircraft::parse(AIRCRAFT, "aircraft.toml", none).unwrap()
}

fn scenario(offset_deg: f64) -> Scenario {
    let mut plant = PlantSettings {
        second: Some(SecondServo {
            centre_offset_deg: offset_deg,
            servo: Servo::default(),
        }),
        ..PlantSettings::default()
    };
    plant.hinge.neutral_torque_ncm = 0.0;
    plant.hinge.stiffness_ncm_per_deg = 1.0;
    plant.joints.stiffness_ncm_per_deg = 60.0;
    Scenario {
        channels: vec![
            Sent::PulseUs,
            Sent::AngleDeg,
            Sent::CurrentMa,
            Sent::SupplyV,
            Sent::Current2Ma,
        ],
        plant,
        programme: Programme::Spells(vec![Spell {
            moves: [1500.0, 1750.0, 1500.0, 1250.0]
                .repeat(5)
                .into_iter()
                .map(|to_us| PulseMove {
                    to_us,
                    us_per_s: 400.0,
                    hold_s: 0.8,
                })
                .collect(),
            waits_s: 3.0,
            ..Spell::default()
        }]),
        ..Scenario::default()
    }
}

fn share(offset_deg: f64, seed: u64) -> Share {
    let mut recording =
        crate::recording::read(&simulate(&scenario(offset_deg), seed).capture[..], "two").unwrap();
    recording.keys.clear();
    let aircraft = aircraft();
    let mut calibrated = aircraft.clone();
    // What each takes at idle is all that a sweep without a disarmed stretch leaves to be known from elsewhere.
    for servo in &mut calibrated.servos {
        servo.calibration = Some(Calibration {
            tag: servo.tag.clone(),
            made: None,
            reference_c: 20.0,
            idle_w: 0.21,
            winding_w_per_nm2: 8.4,
            friction_nm: 0.06,
            gear_loss: 0.18,
            covariance: [[4.41e-6, 0.0, 0.0, 0.0], [0.0; 4], [0.0; 4], [0.0; 4]],
        });
    }
    measure(&recording, &calibrated, &calibrated.surfaces[0]).unwrap()
}

#[test]
fn two_that_pull_apart_in_the_plant_push_against_each_other_there() {
    let mut plant = Plant::new(scenario(6.0).plant, 10.0, 1);
    for _ in 0..2000 {
        plant.step(1e-3, Some(1500.0));
    }
    let seen = plant.observe();
    // The second's middle stands further up: it pulls up, the first holds it back, and the hinge feels next to nothing.
    let [first, second] = seen.pulls_ncm;
    assert!(first < -20.0 && second > 20.0, "{seen:?}");
    assert!((first + second).abs() < 10.0, "{seen:?}");
}

#[test]
fn a_fight_is_seen_at_neutral_and_the_one_that_pushes_up_is_named() {
    for (offset_deg, up) in [(6.0, false), (-6.0, true)] {
        let share = share(offset_deg, 1);
        let neutral = share
            .places
            .iter()
            .find(|p| p.place == Place::Neutral)
            .unwrap();
        assert!(neutral.both_ma.interval.unwrap().lo95 > 0.0, "{neutral:?}");
        assert_eq!(share.trim, Trim::FirstPushes { up }, "{share:#?}");
        assert!(neutral.torque_ncm.is_some());
    }
}

#[test]
fn two_that_agree_share_the_load_and_nothing_is_to_be_trimmed() {
    let share = share(0.0, 2);
    assert_ne!(share.trim, Trim::FirstPushes { up: true });
    assert_ne!(share.trim, Trim::FirstPushes { up: false });
}

#[test]
fn one_servo_has_nothing_to_share() {
    let capture = simulate(&scenario(0.0), 3).capture;
    let recording = crate::recording::read(&capture[..], "one").unwrap();
    let mut one = aircraft();
    one.surfaces[0].second_servo_index = None;
    assert_eq!(measure(&recording, &one, &one.surfaces[0]), None);
}

#[test]
fn the_power_of_one_is_never_taken_for_the_torque_of_two() {
    let capture = simulate(&scenario(0.0), 4).capture;
    let recording = crate::recording::read(&capture[..], "two").unwrap();
    let mut aircraft = aircraft();
    aircraft.servos[0].calibration = Some(Calibration {
        tag: "A1".into(),
        made: None,
        reference_c: 20.0,
        idle_w: 0.21,
        winding_w_per_nm2: 8.4,
        friction_nm: 0.06,
        gear_loss: 0.18,
        covariance: [[1e-6; 4]; 4],
    });
    let measured = crate::analysis::measure(&recording, &aircraft, &aircraft.surfaces[0]);
    assert_eq!(measured.torque_from, crate::analysis::TorqueSource::None);
    assert!(measured.curve.is_none());
    assert!(measured.doubts.contains(&crate::analysis::Doubt::TwoServos));
}
