//! Parts that the plant was given: a hinge by hand with the rods off, the same hinge and a linkage's rubbing with them on, and a
//! servo by itself.

use super::*;
use crate::aircraft::Aircraft;
use crate::analysis::measure;
use crate::recording::Recording;
use crate::servo::free;
use crate::simulated::{
    ByHand, Channel as Sent, Loaded, OnArm, Programme, PulseMove, Scenario, Spell, Sweep, simulate,
};

const AIRCRAFT: &str = r#"
[aircraft]
name = "Dunlin"
[[servo_type]]
name = "metal gear"
stall_torque_ncm = 210
stall_voltage_v = 7.4
[[servo]]
tag = "E1"
type = "metal gear"
calibration = "E1.calibration.toml"
[[surface]]
name = "left elevator"
servo = "E1"
chord_mm = 58
throws = [{ name = "up", up_deg = 24 }, { name = "down", down_deg = 24 }]
[surface.linkage]
arm_mm = 18
horn_mm = 22
rod_mm = 95
base_mm = 97
"#;
const CALIBRATION: &str = "[servo]\ntag = \"E1\"\nmade = 2026-04-02\nreference_c = 20.0\n[power_balance]\nidle_w = 0.21\n\
    winding_w_per_nm2 = 8.4\nfriction_nm = 0.06\ngear_loss = 0.18\ncovariance = [[4.41e-6, 0.0, 0.0, 0.0], \
    [0.0, 2.8224e-2, 0.0, 0.0], [0.0, 0.0, 1.44e-6, 0.0], [0.0, 0.0, 0.0, 2.916e-5]]\n";

const HINGE_NCM: f64 = 3.0;
const LINKAGE_NCM: f64 = 2.5;

fn aircraft() -> Aircraft {
    let calibration = |name: &str| {
        Ok(crate::aircraft::NamedText {
            file_name: name.into(),
            text: CALIBRATION.into(),
        })
    };
    crate::aircraft::parse(AIRCRAFT, "aircraft.toml", calibration).unwrap()
}

/// A recording, and the friction that it truly had on average: strokes differ, and the hinge drifts a little.
fn read(mut scenario: Scenario, friction_ncm: f64, servo_nm: f64, seed: u64) -> (Recording, f64) {
    scenario.plant.hinge.friction_ncm = friction_ncm;
    // A hand's speed is not the sweep's: what goes with speed would be in the difference.
    scenario.plant.hinge.viscous_ncm_s_per_deg = 0.0;
    scenario.plant.servo.friction_nm = servo_nm;
    let made = simulate(&scenario, seed);
    let recording = crate::recording::read(&made.capture[..], "rods").unwrap();
    (recording, made.truth.friction_ncm)
}

fn on(servo_nm: f64, seed: u64) -> (Recording, f64) {
    let scenario = Scenario {
        channels: vec![
            Sent::PulseUs,
            Sent::AngleDeg,
            Sent::ArmDeg,
            Sent::CurrentMa,
            Sent::SupplyV,
        ],
        programme: Programme::Sweep(Sweep::default()),
        ..Scenario::default()
    };
    read(scenario, HINGE_NCM + LINKAGE_NCM, servo_nm, seed)
}

fn by_hand(friction_ncm: f64, seed: u64) -> (Recording, f64) {
    let scenario = Scenario {
        channels: vec![Sent::AngleDeg, Sent::TorqueNcm],
        programme: Programme::Hand(ByHand::default()),
        ..Scenario::default()
    };
    read(scenario, friction_ncm, 0.06, seed)
}

fn turning_free(servo_nm: f64, seed: u64) -> Recording {
    let go = |to_us| PulseMove {
        to_us,
        us_per_s: 350.0,
        hold_s: 0.7,
    };
    let scenario = Scenario {
        channels: vec![
            Sent::PulseUs,
            Sent::AngleDeg,
            Sent::CurrentMa,
            Sent::SupplyV,
        ],
        programme: Programme::Spells(vec![Spell {
            loaded: Loaded {
                on_arm: OnArm::Nothing,
                hung_ncm: 0.0,
            },
            moves: [1750.0, 1250.0].repeat(10).into_iter().map(go).collect(),
            ..Spell::default()
        }]),
        ..Scenario::default()
    };
    read(scenario, 0.0, servo_nm, seed).0
}

fn told(servo_nm: f64, seed: u64) -> Rods {
    let aircraft = aircraft();
    let surface = &aircraft.surfaces[0];
    let power = measure(&on(servo_nm, seed).0, &aircraft, surface);
    let off = measure(&by_hand(HINGE_NCM, seed + 1000).0, &aircraft, surface);
    let calibration = aircraft.servos[0].calibration.as_ref();
    let free = free::measure(&turning_free(servo_nm, seed + 2000), calibration).unwrap();
    apart(&Sides {
        on: Some(&power),
        on_by_power: Some(&power),
        surface_off: Some(&off),
        servo_off: Some(&free),
        same_rig: true,
    })
}

fn holds(q: Option<Quantity>, truth: f64) -> bool {
    let i = q.and_then(|q| q.interval);
    i.is_some_and(|i| i.lo95 <= truth && truth <= i.hi95)
}

#[test]
fn friction_comes_apart_into_hinge_linkage_and_servo() {
    let rods = told(0.08, 1);
    let friction = rods.friction;
    assert_eq!(rods.hinge_from, Some(HingeFrom::RodsOff));
    assert!(
        (friction.hinge.unwrap().value - HINGE_NCM).abs() < 0.2,
        "{rods:#?}"
    );
    let linkage = friction.linkage.unwrap();
    assert!((linkage.value - LINKAGE_NCM).abs() < 0.8, "{rods:#?}");
    assert!(linkage.interval.unwrap().lo95 > 0.5, "{rods:#?}");
    assert!(
        rods.servo.unwrap().change_nm.interval.unwrap().lo95 > 0.01,
        "{rods:#?}"
    );
    assert!(rods.servo_ncm.unwrap() > 0.5, "{rods:#?}");
    // The rod adds no spring.
    assert!(holds(rods.stiffness.linkage, 0.0), "{rods:#?}");
    assert_eq!(rods.cannot, []);
}

#[test]
fn a_servo_that_has_stiffened_is_not_taken_for_its_linkage() {
    let rods = told(0.08, 2);
    let aircraft = aircraft();
    let surface = &aircraft.surfaces[0];
    let power = measure(&on(0.08, 2).0, &aircraft, surface);
    let off = measure(&by_hand(HINGE_NCM, 1002).0, &aircraft, surface);
    let without = apart(&Sides {
        on_by_power: Some(&power),
        surface_off: Some(&off),
        ..Sides::default()
    });
    let (with, without) = (
        rods.friction.linkage.unwrap(),
        without.friction.linkage.unwrap(),
    );
    assert!(without.value > with.value + 0.5, "{with:?} {without:?}");
}

#[test]
fn what_no_recording_shows_is_named() {
    let aircraft = aircraft();
    let surface = &aircraft.surfaces[0];
    let power = measure(&on(0.06, 3).0, &aircraft, surface);
    let only = apart(&Sides {
        on: Some(&power),
        on_by_power: Some(&power),
        ..Sides::default()
    });
    assert_eq!(only.cannot, [Cannot::NoSensor, Cannot::NoFreeServo]);
    assert!(only.friction.whole.is_some() && only.friction.linkage.is_none());
    let off = measure(&by_hand(HINGE_NCM, 4).0, &aircraft, surface);
    let hand = apart(&Sides {
        surface_off: Some(&off),
        ..Sides::default()
    });
    assert_eq!(hand.cannot, [Cannot::NoPower, Cannot::NoFreeServo]);
    assert!(hand.friction.hinge.is_some() && hand.friction.linkage.is_none());
}

fn coverage(servo_nm: f64, n: u64) -> [u32; 4] {
    let mut held = [0; 4];
    let (mut sum, mut hinge) = (0.0, 0.0);
    for seed in (0..n).map(|k| 10 * k) {
        let rods = told(servo_nm, seed);
        let (whole_ncm, hinge_ncm) = (on(servo_nm, seed).1, by_hand(HINGE_NCM, seed + 1000).1);
        let of = [
            holds(rods.friction.hinge, hinge_ncm),
            holds(rods.friction.linkage, whole_ncm - hinge_ncm),
            holds(rods.stiffness.linkage, 0.0),
            holds(rods.servo.map(|s| s.change_nm), servo_nm - 0.06),
        ];
        for (count, so) in held.iter_mut().zip(of) {
            *count += u32::from(so);
        }
        sum += rods.friction.linkage.map_or(f64::NAN, |q| q.value) - (whole_ncm - hinge_ncm);
        hinge += rods.friction.hinge.map_or(f64::NAN, |q| q.value) - hinge_ncm;
    }
    println!(
        "servo {servo_nm} N·m: of {n} hold hinge {} (off by {:.3} on average), linkage {} (off by {:.3}), no spring {}, servo's change {}",
        held[0],
        hinge / n as f64,
        held[1],
        sum / n as f64,
        held[2],
        held[3]
    );
    held
}

#[test]
fn ten_of_them_hold_the_truth_about_as_often_as_they_say() {
    let held = coverage(0.06, 10);
    assert!(held.iter().all(|h| *h >= 7), "{held:?}");
}

#[test]
#[ignore = "a study: minutes"]
fn study() {
    for servo_nm in [0.06, 0.08] {
        coverage(servo_nm, 200);
    }
}
