//! Sensors that fail in the ways sensors do: stuck, floating, off the scale, one wild reading. Each reading is a valid
//! number, so nothing is damaged on the wire; the judgement has to see it.

use hingewright::simulated::{Channel, simulate};
use serde_json::Value;

use super::bench::{BY_TORQUE, Bench, OnFile, Ran, assert_near, elevator, has_finding};
use super::wire;

use Channel::*;

const POWER: &[Channel] = &[PulseUs, AngleDeg, ArmDeg, CurrentMa, SupplyV, CaseC];

/// One channel's readings changed in a sound recording with these channels.
fn checked(channels: &[Channel], name: &str, change: impl FnMut(usize, f64) -> f64) -> Ran {
    let made = simulate(&elevator(channels), 71);
    let bench = Bench::new(&OnFile::default());
    bench.check_bytes("a.log", wire::with_channel(&made.capture, name, change))
}

/// Not cleared, or cleared on numbers that are right all the same (another source was taken).
#[track_caller]
fn not_fooled(result: &Value) {
    if result["verdict"] == "no-fault-found" {
        assert_near(&result["curve"]["stiffness_ncm_per_deg"], 0.45, 0.05);
        assert_near(&result["curve"]["friction_ncm"], 3.06, 0.6);
    }
}

/// Noise of ±`size` that follows nothing: a golden-ratio sequence.
fn floating(size: f64) -> impl FnMut(usize, f64) -> f64 {
    move |number, _| size * (2.0 * (number as f64 * 0.618_034).fract() - 1.0)
}

#[test]
fn a_torque_sensor_that_always_reads_the_same_clears_nothing() {
    for reading in [0.0, 5.0] {
        not_fooled(&checked(BY_TORQUE, "torque_ncm", |_, _| reading).result());
    }
}

#[test]
fn a_torque_sensor_that_floats_clears_nothing() {
    not_fooled(&checked(BY_TORQUE, "torque_ncm", floating(10.0)).result());
}

#[test]
fn an_arm_sensor_that_is_stuck_or_floats_does_not_make_torque_vanish() {
    not_fooled(&checked(POWER, "arm_deg", |_, _| 1.0).result());
    not_fooled(&checked(POWER, "arm_deg", floating(20.0)).result());
}

#[test]
fn a_case_thermometer_that_fails_does_not_change_the_torque_unsaid() {
    // What broken thermometers are known to read, from memory: −127, 85, and far off the scale.
    for reading in [-127.0, 850.0, -273.15, 100_000.0] {
        not_fooled(&checked(POWER, "case_c", |_, _| reading).result());
    }
    not_fooled(&checked(POWER, "case_c", |n, v| if n % 100 == 50 { 1e5 } else { v }).result());
}

#[test]
fn a_voltage_with_its_sign_reversed_gives_no_negative_share_of_stall() {
    let result = checked(BY_TORQUE, "supply_v", |_, v| -v).result();
    let share = &result["load"]["share_of_stall"];
    assert!(
        share.is_null() || share["value"].as_f64().unwrap() >= 0.0,
        "{share}"
    );
}

#[test]
fn a_few_wild_torques_or_currents_do_not_move_the_law() {
    let wild = |n: usize, v: f64| if n % 211 == 100 { 900.0 } else { v };
    assert_near(
        &checked(BY_TORQUE, "torque_ncm", wild).result()["curve"]["stiffness_ncm_per_deg"],
        0.45,
        0.02,
    );
    assert_near(
        &checked(POWER, "current_ma", wild).result()["curve"]["stiffness_ncm_per_deg"],
        0.45,
        0.06,
    );
}

#[test]
fn one_wild_angle_reaches_no_throw() {
    let far = |n: usize, v: f64| if n == 1000 { 40.0 } else { v };
    let result = checked(BY_TORQUE, "angle_deg", far).result();
    assert_near(&result["throws"][0]["reached_deg"], 25.3, 0.3);
}

#[test]
fn one_angle_far_beyond_a_full_turn_moves_neither_throw_nor_law() {
    // A reading with its point lost, and one of nonsense.
    for wild in [2_530_000.0, 99_999_999_999.0] {
        let result = checked(
            BY_TORQUE,
            "angle_deg",
            |n, v| if n == 1000 { wild } else { v },
        )
        .result();
        assert_near(&result["throws"][0]["reached_deg"], 25.3, 0.3);
        assert_near(&result["curve"]["stiffness_ncm_per_deg"], 0.45, 0.02);
    }
}

#[test]
fn readings_a_million_times_too_large_are_no_reason_to_fail() {
    for channel in [
        "arm_deg",
        "torque_ncm",
        "current_ma",
        "supply_v",
        "pulse_us",
    ] {
        let _ = checked(BY_TORQUE, channel, |_, v| 1e6 * v).result();
    }
}

#[test]
fn angles_a_million_times_too_large_are_no_reason_to_run_out_of_memory() {
    let _ = checked(BY_TORQUE, "angle_deg", |_, v| 1e6 * v).result();
}

#[test]
fn readings_that_the_curve_does_not_describe_are_unproven() {
    let made = simulate(&elevator(BY_TORQUE), 81);
    let at = |name| 3 + BY_TORQUE.iter().position(|c| c.name() == name).unwrap();
    let (angle, torque) = (at("angle_deg"), at("torque_ncm"));
    // A dent of the same sign both ways: neither stiffness, nor a knee, nor friction.
    let dented = wire::changed(&made.capture, |_, fields| {
        if let (Ok(a), Ok(t)) = (fields[angle].parse::<f64>(), fields[torque].parse::<f64>()) {
            let dent = 5.0 * (-((a - 2.0) / 2.0).powi(2)).exp();
            fields[torque] = format!("{:.2}", t - dent);
        }
    });
    let bench = Bench::new(&OnFile::default());
    let result = bench.check_bytes("dented.log", dented).result();
    assert_ne!(
        result["verdict"], "no-fault-found",
        "{}",
        result["findings"]
    );
    has_finding(
        &result,
        "unproven",
        "watch",
        &["stand off the fitted curve"],
    );
}

#[test]
fn a_travel_that_the_curve_does_not_reach_is_unproven_there() {
    let mut scenario = elevator(BY_TORQUE);
    scenario.rate_hz = 12.0;
    let made = simulate(&scenario, 82);
    let bench = Bench::new(&OnFile::default());
    let result = bench.check_bytes("coarse.log", made.capture).result();
    assert_ne!(
        result["verdict"], "no-fault-found",
        "{}",
        result["findings"]
    );
}
