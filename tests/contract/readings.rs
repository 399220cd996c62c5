//! Recordings as they come: moved by hand, logged as CSV, with restarts, with wrapped clocks, with CR LF.

use hingewright::simulated::{ByHand, Channel, Programme, Scenario, Simulated, simulate};
use serde_json::Value;

use super::bench::{BY_TORQUE, Bench, OnFile, assert_near, elevator, has_finding};
use super::wire;

fn made(seed: u64) -> Simulated {
    simulate(&elevator(BY_TORQUE), seed)
}

fn result(bytes: impl AsRef<[u8]>) -> Value {
    let mut result = Bench::new(&OnFile::default())
        .check_bytes("a.log", bytes)
        .result();
    // Each bench is a folder of its own: its path is no part of what is compared.
    result["recording"]["file"] = "a.log".into();
    result
}

/// The result without the counts and the name of the file, for comparing what was measured.
fn measured(mut result: Value) -> Value {
    result.as_object_mut().unwrap().remove("recording");
    result
}

#[test]
fn a_hand_moved_passive_recording_of_uneven_speed_gives_the_law() {
    let mut scenario = Scenario {
        rate_hz: 100.0,
        programme: Programme::Hand(ByHand {
            up_deg: 27.0,
            down_deg: -27.0,
            cycles: 8,
            ..ByHand::default()
        }),
        ..Scenario::default()
    }
    .with_channels(vec![Channel::AngleDeg, Channel::TorqueNcm]);
    scenario.plant.joints.slop_deg = 0.0;
    for seed in [31, 32, 33] {
        let made = simulate(&scenario, seed);
        assert!(wire::text(&made.capture).contains(",passive,"));
        let result = result(&made.capture);
        let (truth, curve) = (&made.truth, &result["curve"]);
        assert_eq!(result["torque_from"], "torque");
        assert_near(
            &curve["stiffness_ncm_per_deg"],
            truth.stiffness_ncm_per_deg,
            0.03,
        );
        assert_near(&curve["friction_ncm"], truth.friction_ncm, 0.2);
        assert!(
            result["throws"]
                .as_array()
                .unwrap()
                .iter()
                .all(|t| t["state"] == "met"),
            "{}",
            result["throws"]
        );
        for kind in ["stiffening", "tight-spot", "stick-slip", "throw-short"] {
            assert!(
                result["findings"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .all(|f| f["kind"] != kind),
                "{}",
                result["findings"]
            );
        }
    }
}

#[test]
fn csv_of_the_same_samples_gives_the_same_measurements() {
    let made = made(34);
    let (capture, csv) = (result(&made.capture), result(wire::csv(&made.capture)));
    assert_eq!(csv["recording"]["samples"], capture["recording"]["samples"]);
    assert_eq!(
        csv["recording"]["events"],
        Value::Array(vec![]),
        "CSV has no events"
    );
    assert_eq!(measured(csv), measured(capture));
}

#[test]
fn csv_with_seconds_and_without_seq_gives_the_same_measurements_but_for_rounding() {
    let made = made(34);
    let mut started_us = None;
    let seconds: String = wire::csv(&made.capture)
        .lines()
        .map(|l| {
            if l.starts_with('#') {
                return format!("{l}\n");
            }
            let (_, rest) = l.split_once(',').unwrap();
            let (t, values) = rest.split_once(',').unwrap();
            let Ok(t_us) = t.parse::<f64>() else {
                return format!("t_s,{values}\n");
            };
            let start = *started_us.get_or_insert(t_us);
            format!("{:.4},{values}\n", (t_us - start) / 1e6)
        })
        .collect();
    let (capture, csv) = (result(&made.capture), result(seconds));
    assert_eq!(csv["strokes"], capture["strokes"]);
    let stiffness = |r: &Value| {
        r["curve"]["stiffness_ncm_per_deg"]["value"]
            .as_f64()
            .unwrap()
    };
    assert!((stiffness(&csv) / stiffness(&capture) - 1.0).abs() < 1e-6);
}

#[test]
fn csv_columns_may_stand_in_any_order() {
    let csv = wire::csv(&made(34).capture);
    let backwards: String = csv
        .lines()
        .map(|l| match l.starts_with('#') {
            true => format!("{l}\n"),
            false => l.split(',').rev().collect::<Vec<_>>().join(",") + "\n",
        })
        .collect();
    assert_eq!(measured(result(backwards)), measured(result(csv)));
}

#[test]
fn cr_lf_and_a_byte_order_mark_change_nothing() {
    let made = made(35);
    let plain = result(&made.capture);
    assert_eq!(
        result(wire::text(&made.capture).replace('\n', "\r\n")),
        plain
    );
    assert_eq!(
        result(format!("\u{feff}{}", wire::text(&made.capture))),
        plain
    );
    let csv = wire::csv(&made.capture);
    let plain = result(&csv);
    assert_eq!(result(csv.replace('\n', "\r\n")), plain);
    assert_eq!(result(format!("\u{feff}{csv}")), plain);
}

#[test]
fn both_clocks_wrapping_within_the_recording_change_nothing() {
    let plain = made(36);
    let wrapped = simulate(
        &Scenario {
            first_seq: 65_000,
            clock_start_us: u32::MAX - 9_000_000,
            ..elevator(BY_TORQUE)
        },
        36,
    );
    assert_ne!(plain.capture, wrapped.capture);
    assert_eq!(result(&wrapped.capture), result(&plain.capture));
}

#[test]
fn lines_lost_and_damaged_are_counted_and_never_guessed() {
    let mut scenario = elevator(BY_TORQUE);
    scenario.line.lost = 0.03;
    scenario.line.damaged = 0.02;
    let made = simulate(&scenario, 37);
    let result = result(&made.capture);
    let (recording, wire) = (&result["recording"], &made.truth.wire);
    assert_eq!(recording["damaged_lines"], wire.damaged_lines);
    assert_eq!(recording["lost"], wire.lost_samples + wire.damaged_samples);
    assert_eq!(
        recording["samples"],
        wire.samples_taken - wire.lost_samples - wire.damaged_samples
    );
    assert_near(
        &result["curve"]["stiffness_ncm_per_deg"],
        made.truth.stiffness_ncm_per_deg,
        0.02,
    );
}

#[test]
fn restarts_are_counted_and_the_strokes_of_every_part_are_used() {
    let parts: Vec<Simulated> = (0..3)
        .map(|n| {
            simulate(
                &Scenario {
                    clock_start_us: 5_000_000 >> n,
                    ..elevator(BY_TORQUE)
                },
                40 + n,
            )
        })
        .collect();
    let joined = wire::text(&parts[0].capture).to_owned()
        + wire::from_rig(&parts[1].capture)
        + wire::from_rig(&parts[2].capture);
    let (one, all) = (result(&parts[0].capture), result(joined));
    assert_eq!(all["recording"]["restarts"], 2);
    assert_eq!(all["recording"]["lost"], 0);
    for direction in ["up", "down"] {
        let count = |r: &Value| r["strokes"][direction].as_u64().unwrap();
        assert!(
            count(&all) >= 3 * count(&one) - 3,
            "{} of {}",
            all["strokes"],
            one["strokes"]
        );
    }
    assert_near(
        &all["curve"]["stiffness_ncm_per_deg"],
        parts[0].truth.stiffness_ncm_per_deg,
        0.02,
    );
    has_finding(&all, "bad-data", "watch", &["restarted 2 times"]);
}

#[test]
fn a_rig_that_comes_back_with_other_channels_is_read_by_its_new_order() {
    let first = made(44);
    let turned: Vec<Channel> = BY_TORQUE.iter().rev().copied().collect();
    let second = simulate(&elevator(&turned), 45);
    let joined = wire::text(&first.capture).to_owned() + wire::from_rig(&second.capture);
    let result = result(joined);
    assert_eq!(result["recording"]["restarts"], 1);
    assert_near(
        &result["curve"]["stiffness_ncm_per_deg"],
        first.truth.stiffness_ncm_per_deg,
        0.02,
    );
    assert!(
        result["throws"]
            .as_array()
            .unwrap()
            .iter()
            .all(|t| t["state"] == "met")
    );
}

#[test]
fn boot_noise_before_the_first_line_is_one_damaged_line() {
    let mut scenario = elevator(BY_TORQUE);
    scenario.line.boot_noise_bytes = 150;
    let made = simulate(&scenario, 46);
    let result = result(&made.capture);
    assert_eq!(result["recording"]["damaged_lines"], 1);
    assert_eq!(result["verdict"], "no-fault-found");
}
