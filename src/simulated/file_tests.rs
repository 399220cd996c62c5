//! The plant file held against the defaults it documents, and its messages against a builder's mistakes.

use super::*;

const SAMPLE: &str = include_str!("../../samples/plant.toml");

fn read(text: &str) -> Result<(Scenario, RigSettings), Problem> {
    let (mut scenario, mut settings) = (Scenario::default(), RigSettings::default());
    put_plant_file(text, "plant.toml", &mut scenario, &mut settings)?;
    Ok((scenario, settings))
}

#[test]
fn an_empty_file_changes_nothing() {
    assert_eq!(
        read("").unwrap(),
        (Scenario::default(), RigSettings::default())
    );
}

/// The sample is its own documentation: with its optional parts cut away, every number in it is the default.
#[test]
fn the_sample_states_every_default_and_then_what_can_be_added() {
    let (plain, added) = SAMPLE
        .split_once("# ---- what can be added: these are examples, none of them is a default\n")
        .expect("the sample has its two parts");
    let (scenario, settings) = read(plain).unwrap();
    assert_eq!(scenario, Scenario::default());
    assert_eq!(settings, RigSettings::default());
    let (scenario, _) = read(added).unwrap();
    assert_eq!(read(SAMPLE).unwrap().0, scenario);
    let hinge = &scenario.plant.hinge;
    assert_eq!(
        hinge.knee_up,
        Some(StiffBeyond {
            at_deg: 16.0,
            extra_ncm_per_deg: 0.8
        })
    );
    assert_eq!(hinge.tight_spots.len(), 1);
    assert_eq!(hinge.tight_spots[0].when, When::Up);
    assert!(hinge.knee_down.is_some() && hinge.stop_up.is_some() && hinge.stop_down.is_some());
    assert_eq!(scenario.plant.break_in, Some(BreakIn::default()));
    assert_eq!(scenario.sensors.broken[0].channel, Channel::TorqueNcm);
    assert!(hinge.stick_slip.is_some());
}

/// Every key of every table stands in the sample, or a reader would never hear of it.
#[test]
fn every_number_that_can_be_set_stands_in_the_sample() {
    let source = include_str!("file.rs");
    let tables = source
        .split("\ntable!(")
        .skip(1)
        .filter_map(|rest| rest.split_once(");\n"));
    let mut keys = 0;
    for (table, _) in tables {
        for word in table.split_whitespace() {
            if let Some(key) = word.strip_suffix(':') {
                keys += 1;
                let written = [format!("{key} = "), format!("{key}]")];
                assert!(written.iter().any(|form| SAMPLE.contains(form)), "{key}");
            }
        }
    }
    assert!(keys > 60, "{keys} keys found");
}

#[test]
fn a_file_goes_over_what_was_there_and_leaves_the_rest() {
    let mut scenario = Scenario::default();
    scenario.plant.servo.stall_torque_ncm = 118.0;
    scenario.plant.linkage = Linkage::Ratio {
        surface_per_arm: 1.0,
        horn_mm: 20.0,
    };
    let mut settings = RigSettings::default();
    let text = "[servo]\ngear_loss = 0.25\n[linkage]\narm_mm = 14\n[rig]\nchannels = [\"angle_deg\"]\n\
                passive = true\n[hand]\nup_deg = 12\n";
    put_plant_file(text, "plant.toml", &mut scenario, &mut settings).unwrap();
    let servo = &scenario.plant.servo;
    assert_eq!((servo.stall_torque_ncm, servo.gear_loss), (118.0, 0.25));
    assert!(matches!(scenario.plant.linkage, Linkage::FourBar { arm_mm, .. } if arm_mm == 14.0));
    assert_eq!(scenario.channels, [Channel::AngleDeg]);
    assert!(matches!(&scenario.programme, Programme::Hand(hand) if hand.up_deg == 12.0));
}

#[test]
fn every_mistake_names_its_line_and_the_remedy() {
    for (text, words) in [
        (
            "[servo]\ngear_los = 1",
            ["line 2", "unknown key", "did you mean \"gear_loss\"?"],
        ),
        ("[servos]\n", ["line 1", "servos", "\"servo\""]),
        (
            "[hinge]\n\nfriction_ncm = -1",
            ["line 3", "friction_ncm", "0 or a number above it"],
        ),
        (
            "[sensors]\nangle_steps = 0",
            ["line 2", "angle_steps", "above 0"],
        ),
        (
            "[supply]\nopen_v = \"7 V\"",
            ["line 2", "open_v", "plant.toml"],
        ),
        (
            "[rig]\nchannels = [\"angle\"]",
            ["line 2", "no channel \"angle\"", "angle_deg"],
        ),
        (
            "[rig.limits]\npulse_lo_us = 2200",
            ["pulse_lo_us", "2100", "[rig.limits]"],
        ),
        (
            "[hinge.knee_up]\nat_deg = 12",
            ["line 1", "extra_ncm_per_deg", "samples/plant.toml"],
        ),
        ("[rig\n", ["line 1", "rig", "samples/plant.toml"]),
    ] {
        let message = read(text).unwrap_err().to_string();
        for word in words {
            assert!(
                message.contains(word),
                "{text:?}: no {word:?} in\n{message}"
            );
        }
    }
}
