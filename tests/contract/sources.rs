//! Where torque comes from, in the contract's order, and whence the gear ratio: each order is proved by making the
//! later source wrong and seeing no difference.

use hingewright::simulated::{Channel, Truth, simulate};
use serde_json::Value;

use super::bench::{Bench, OnFile, assert_near, elevator, has_finding};
use super::wire;

use Channel::*;

const POWER: &[Channel] = &[PulseUs, AngleDeg, ArmDeg, CurrentMa, SupplyV, CaseC];
const POWER_WITHOUT_ARM: &[Channel] = &[PulseUs, AngleDeg, CurrentMa, SupplyV, CaseC];

fn checked(channels: &[Channel], on_file: &OnFile, seed: u64) -> (Value, Truth) {
    let made = simulate(&elevator(channels), seed);
    let bench = Bench::new(on_file);
    (
        bench.check_bytes("a.log", &made.capture).result(),
        made.truth,
    )
}

#[track_caller]
fn assert_law(result: &Value, truth: &Truth, off: f64) {
    let curve = &result["curve"];
    let (k, f) = (truth.stiffness_ncm_per_deg, truth.friction_ncm);
    assert_near(&curve["stiffness_ncm_per_deg"], k, off * k);
    assert_near(&curve["friction_ncm"], f, 2.0 * off * f);
    assert_near(
        &curve["neutral_torque_ncm"],
        truth.neutral_torque_ncm,
        4.0 * off,
    );
}

#[test]
fn a_torque_sensor_comes_before_force_and_power() {
    let channels = [
        PulseUs, AngleDeg, ArmDeg, CurrentMa, SupplyV, ForceN, TorqueNcm,
    ];
    // A linkage and with it a torque from force that would be twice what it is.
    let wrong = OnFile {
        horn_mm: Some(44.0),
        ..OnFile::default()
    };
    let (result, truth) = checked(&channels, &wrong, 11);
    assert_eq!(result["torque_from"], "torque");
    assert_law(&result, &truth, 0.02);
    assert_eq!(result["verdict"], "no-fault-found");
}

#[test]
fn rod_force_with_the_linkage_comes_before_power() {
    let channels = [PulseUs, AngleDeg, ArmDeg, CurrentMa, SupplyV, ForceN];
    let (result, truth) = checked(&channels, &OnFile::default(), 12);
    assert_eq!(result["torque_from"], "force");
    assert_law(&result, &truth, 0.02);
    assert_eq!(result["verdict"], "no-fault-found");
}

#[test]
fn rod_force_without_a_linkage_is_left_and_power_is_taken() {
    let channels = [PulseUs, AngleDeg, ArmDeg, CurrentMa, SupplyV, ForceN];
    let without = OnFile {
        horn_mm: None,
        ..OnFile::default()
    };
    let (result, truth) = checked(&channels, &without, 13);
    assert_eq!(result["torque_from"], "supply-power");
    assert_law(&result, &truth, 0.12);
}

#[test]
fn the_gear_ratio_comes_from_arm_deg_before_the_linkage() {
    let wrong = OnFile {
        horn_mm: Some(30.0),
        arm_deg_per_us: Some(0.05),
        ..OnFile::default()
    };
    let (result, truth) = checked(POWER, &wrong, 14);
    assert_eq!(result["torque_from"], "supply-power");
    assert_law(&result, &truth, 0.12);
}

#[test]
fn the_gear_ratio_comes_from_the_linkage_before_the_pulse() {
    let wrong = OnFile {
        arm_deg_per_us: Some(0.05),
        ..OnFile::default()
    };
    let (result, truth) = checked(POWER_WITHOUT_ARM, &wrong, 15);
    assert_eq!(result["torque_from"], "supply-power");
    assert_law(&result, &truth, 0.12);
}

#[test]
fn the_gear_ratio_comes_from_the_pulse_where_nothing_else_tells() {
    let pulse_alone = OnFile {
        horn_mm: None,
        ..OnFile::default()
    };
    let (result, truth) = checked(POWER_WITHOUT_ARM, &pulse_alone, 16);
    assert_eq!(result["torque_from"], "supply-power");
    assert_law(&result, &truth, 0.12);
    // And it is the pulse that told: half the degrees a µs give another curve.
    let (halved, _) = checked(
        POWER_WITHOUT_ARM,
        &OnFile {
            horn_mm: None,
            arm_deg_per_us: Some(0.045),
            ..OnFile::default()
        },
        16,
    );
    assert_ne!(
        halved["curve"]["stiffness_ncm_per_deg"],
        result["curve"]["stiffness_ncm_per_deg"]
    );
}

#[track_caller]
fn assert_unproven_with_throws(result: &Value) {
    assert_eq!(result["torque_from"], "none");
    assert!(result["curve"].is_null() && result["load"]["peak_torque_ncm"].is_null());
    assert!(result["load"]["share_of_stall"].is_null());
    assert_eq!(result["verdict"], "unproven");
    for throw in result["throws"].as_array().unwrap() {
        assert_eq!(throw["state"], "met");
        assert!(throw["reached_deg"]["u"].is_number(), "{throw}");
    }
}

#[test]
fn without_any_source_the_curve_is_unproven_and_throws_and_slop_are_still_judged() {
    let (result, truth) = checked(&[PulseUs, AngleDeg, ArmDeg], &OnFile::default(), 17);
    assert_unproven_with_throws(&result);
    assert!(
        result["slop_deg"]["u"].is_number(),
        "{}",
        result["slop_deg"]
    );
    assert_near(
        &result["throws"][0]["reached_deg"],
        truth.reached_up_deg,
        0.2,
    );
    assert_near(
        &result["throws"][1]["reached_deg"],
        -truth.reached_down_deg,
        0.2,
    );
    has_finding(&result, "unproven", "watch", &["no torque"]);
}

#[test]
fn current_without_a_calibration_is_never_made_into_torque() {
    let without = OnFile {
        calibration: false,
        ..OnFile::default()
    };
    let (result, _) = checked(POWER, &without, 18);
    assert_unproven_with_throws(&result);
    assert!(
        !result["load"]["hold_current_ma"]
            .as_array()
            .unwrap()
            .is_empty()
    );
    has_finding(&result, "unproven", "watch", &["calibration"]);
}

#[test]
fn current_without_voltage_is_no_power() {
    let (result, _) = checked(
        &[PulseUs, AngleDeg, ArmDeg, CurrentMa],
        &OnFile::default(),
        19,
    );
    assert_unproven_with_throws(&result);
}

#[test]
fn throws_that_the_command_does_not_reach_are_short_even_without_a_torque_source() {
    let far = OnFile {
        throw_deg: 29.0,
        ..OnFile::default()
    };
    let (result, _) = checked(&[PulseUs, AngleDeg], &far, 20);
    assert_eq!(result["verdict"], "work-needed");
    for throw in result["throws"].as_array().unwrap() {
        assert_eq!(
            (&throw["state"], &throw["cause"]),
            (&"short".into(), &"end-of-command".into())
        );
    }
}

#[test]
fn an_unknown_channel_changes_nothing() {
    let made = simulate(&elevator(super::bench::BY_TORQUE), 21);
    let renamed = wire::text(&made.capture)
        .lines()
        .map(|l| match l.strip_prefix("RIG,") {
            Some(rest) => wire::line(&format!(
                "RIG,{},humidity_pct",
                rest.split('*').next().unwrap()
            )),
            None if l.starts_with("S,") => {
                wire::line(&format!("{},47.5", l.split('*').next().unwrap()))
            }
            None => format!("{l}\n"),
        })
        .collect::<String>();
    let bench = Bench::new(&OnFile::default());
    let plain = bench.check_bytes("a.log", &made.capture).result();
    assert_eq!(bench.check_bytes("a.log", renamed).result(), plain);
}

#[test]
fn slop_without_a_torque_source_is_as_true_as_with_one() {
    for seed in 100..104 {
        let (result, truth) = checked(&[PulseUs, AngleDeg, ArmDeg], &OnFile::default(), seed);
        assert_near(&result["slop_deg"], truth.slop_deg, 0.1);
    }
}
