//! Bad input: a message that names the file and what to do, or a finding. Never a panic (`bench::run` sees to that),
//! never a number made up.

use hingewright::simulated::{Channel, Scenario, simulate};
use serde_json::Value;

use super::bench::{BY_TORQUE, Bench, OnFile, Ran, elevator, has_finding};
use super::wire;

fn bench() -> Bench {
    Bench::new(&OnFile::default())
}

fn capture() -> Vec<u8> {
    simulate(&elevator(BY_TORQUE), 51).capture
}

fn checked(bytes: impl AsRef<[u8]>) -> Ran {
    bench().check_bytes("a.log", bytes)
}

#[track_caller]
fn not_cleared(result: &Value) {
    assert_ne!(result["verdict"], "no-fault-found");
}

#[test]
fn an_empty_file_is_named_with_what_to_do() {
    checked("").refused_with(&["a.log", "empty", "what to do"]);
    checked("\n\n\n").refused_with(&["a.log", "what to do"]);
}

#[test]
fn a_file_that_is_not_there_a_folder_and_an_unreadable_one_are_told_apart() {
    let bench = bench();
    bench.check(&[&bench.path("none.log")], &[]).refused_with(&[
        "none.log",
        "no such file",
        "what to do",
    ]);
    let folder = bench.path("folder.log");
    std::fs::create_dir(&folder).unwrap();
    bench
        .check(&[&folder], &[])
        .refused_with(&["folder.log", "folder", "what to do"]);
}

#[cfg(unix)]
#[test]
fn a_file_that_may_not_be_read_says_whose_it_is() {
    use std::os::unix::fs::PermissionsExt;
    let bench = bench();
    let closed = bench.put("closed.log", capture());
    std::fs::set_permissions(&closed, std::fs::Permissions::from_mode(0o000)).unwrap();
    if std::fs::File::open(&closed).is_ok() {
        println!("skipped: this user reads files closed to everyone");
        return;
    }
    bench
        .check(&[&closed], &[])
        .refused_with(&["closed.log", "not allowed", "chmod"]);
}

#[test]
fn binary_junk_is_refused_and_not_taken_for_samples() {
    // A multiplicative generator's bytes: junk, the same each time.
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let junk: Vec<u8> = (0..300_000)
        .map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 56) as u8
        })
        .collect();
    checked(&junk).refused_with(&["a.log", "what to do"]);
    checked(vec![0_u8; 100_000]).refused_with(&["a.log", "what to do"]);
    checked("The quick brown fox\njumps over\n").refused_with(&["a.log", "what to do"]);
}

#[test]
fn utf_16_is_refused_by_name_and_bytes_that_are_no_utf_8_only_spoil_their_own_line() {
    let mut utf_16 = vec![0xff, 0xfe];
    utf_16.extend(
        wire::text(&capture())
            .encode_utf16()
            .flat_map(u16::to_le_bytes),
    );
    checked(utf_16).refused_with(&["a.log", "UTF-16", "what to do"]);

    let mut latin = b"# note=caf\xe9, cold\n".to_vec();
    latin.extend(capture());
    latin.extend(b"S,9,\xe9\xff*0000\n");
    let result = checked(latin).result();
    assert_eq!(result["recording"]["damaged_lines"], 1);
    assert_eq!(result["verdict"], "no-fault-found");
}

#[test]
fn a_recording_of_keys_alone_is_refused() {
    checked("# surface=left elevator\n# started=2026-04-18T10:22:07Z\n")
        .refused_with(&["a.log", "what to do"]);
    let rig = wire::line("RIG,1,bench-a,0.4,driven,200,pulse_us,angle_deg");
    checked(format!("# surface=left elevator\n{rig}")).refused_with(&["a.log", "what to do"]);
}

#[test]
fn a_capture_with_every_sample_damaged_is_refused_with_the_count() {
    let text = String::from_utf8(capture()).unwrap();
    let spoilt: String = text
        .lines()
        .map(|l| {
            if l.starts_with("S,") {
                format!("{}X\n", &l[..l.len() - 1])
            } else {
                format!("{l}\n")
            }
        })
        .collect();
    let count = text.lines().filter(|l| l.starts_with("S,")).count();
    checked(spoilt).refused_with(&["a.log", &count.to_string(), "what to do"]);
}

#[test]
fn a_capture_with_most_samples_damaged_is_unproven_and_says_so() {
    let mut number = 0;
    let spoilt: String = wire::text(&capture())
        .lines()
        .map(|l| {
            number += 1;
            if l.starts_with("S,") && number % 10 != 0 {
                format!("{}X\n", &l[..l.len() - 1])
            } else {
                format!("{l}\n")
            }
        })
        .collect();
    let result = checked(spoilt).result();
    not_cleared(&result);
    has_finding(&result, "bad-data", "watch", &["damaged"]);
}

#[test]
fn an_unknown_surface_is_answered_with_the_near_miss_and_the_choices() {
    let bench = bench();
    let path = bench.put("a.log", capture());
    bench
        .check(&[&path], &["--surface", "left elevater"])
        .refused_with(&[
            "a.log",
            "left elevater",
            "did you mean",
            "\"left elevator\"",
        ]);
    let other = String::from_utf8(capture())
        .unwrap()
        .replace("# surface=left elevator", "# surface=canard");
    bench.check_bytes("b.log", other).refused_with(&[
        "b.log",
        "canard",
        "\"left elevator\"",
        "--surface",
    ]);
    let silent = String::from_utf8(capture())
        .unwrap()
        .replace("# surface=left elevator\n", "");
    let silent = bench.put("c.log", silent);
    bench
        .check(&[&silent], &[])
        .refused_with(&["c.log", "which surface", "--surface"]);
    assert_eq!(
        bench
            .check(&[&silent], &["--surface", "left elevator"])
            .result()["verdict"],
        "no-fault-found"
    );
}

#[test]
fn nan_and_1e308_in_csv_are_damaged_rows_and_never_used() {
    let csv = wire::csv(&capture());
    let plain = bench().check_bytes("a.csv", &csv).result();
    let mut spoilt = 0;
    let with_junk: String = csv
        .lines()
        .enumerate()
        .map(|(number, l)| {
            if l.starts_with('#') || l.starts_with("seq") || number % 50 != 0 {
                return format!("{l}\n");
            }
            spoilt += 1;
            let mut fields: Vec<&str> = l.split(',').collect();
            fields[3] = ["NaN", "1e308", "inf", "-1e308", "1e999", "0x10", "--3"][spoilt % 7];
            fields.join(",") + "\n"
        })
        .collect();
    let result = bench().check_bytes("a.csv", with_junk).result();
    assert!(spoilt > 40);
    let stiffness = |r: &Value| {
        r["curve"]["stiffness_ncm_per_deg"]["value"]
            .as_f64()
            .unwrap()
    };
    assert!(
        (stiffness(&result) / stiffness(&plain) - 1.0).abs() < 0.01,
        "{}",
        result["curve"]
    );
    let samples = |r: &Value| r["recording"]["samples"].as_u64().unwrap();
    assert_eq!(
        samples(&result) + spoilt as u64,
        samples(&plain),
        "{}",
        result["recording"]
    );
    assert_eq!(result["recording"]["damaged_lines"], spoilt);
}

#[test]
fn a_column_of_1e308_or_nan_throughout_clears_nothing() {
    for word in [
        "NaN",
        "1e308",
        "-1e308",
        "inf",
        "-inf",
        "99999999999999999999",
    ] {
        for column in 2..8 {
            let spoilt: String = wire::csv(&capture())
                .lines()
                .map(|l| {
                    if l.starts_with('#') || l.starts_with("seq") {
                        return format!("{l}\n");
                    }
                    let mut fields: Vec<&str> = l.split(',').collect();
                    fields[column] = word;
                    fields.join(",") + "\n"
                })
                .collect();
            let ran = bench().check_bytes("a.csv", spoilt);
            if ran.status != 2 {
                let result = ran.result();
                // Pulse, arm, current and voltage are not what a torque sensor's curve needs.
                if [3, 7].contains(&column) {
                    not_cleared(&result);
                }
            }
        }
    }
}

#[test]
fn angles_that_never_move_are_unproven() {
    let still = wire::with_channel(&capture(), "angle_deg", |_, _| 3.25);
    let result = checked(still).result();
    assert_eq!(result["verdict"], "unproven");
    assert!(result["curve"].is_null());
    has_finding(&result, "unproven", "watch", &["never moved"]);
}

#[test]
fn an_angle_that_freezes_half_way_is_not_cleared() {
    let mut last = 0.0;
    let frozen = wire::with_channel(&capture(), "angle_deg", |number, v| {
        if number < 500 {
            last = v;
        }
        last
    });
    not_cleared(&checked(frozen).result());
}

#[test]
fn a_sign_reversed_is_said_with_the_channel_to_turn_round() {
    for (channel, level) in [
        ("pulse_us", "watch"),
        ("arm_deg", "watch"),
        ("torque_ncm", "work"),
    ] {
        let reversed = wire::with_channel(&capture(), channel, |_, v| {
            if channel == "pulse_us" {
                3000.0 - v
            } else {
                -v
            }
        });
        let result = checked(reversed).result();
        has_finding(&result, "bad-data", level, &[channel, "angle_deg"]);
    }
    // The angle's own sense: pulse, arm and torque all run against it.
    let result = checked(wire::with_channel(&capture(), "angle_deg", |_, v| -v)).result();
    not_cleared(&result);
    has_finding(&result, "bad-data", "work", &["angle_deg"]);
    assert!(result["curve"].is_null(), "{}", result["curve"]);
}

#[test]
fn a_reversed_load_cell_is_said_and_its_curve_is_not_used() {
    use Channel::*;
    let made = simulate(&elevator(&[PulseUs, AngleDeg, ForceN]), 52);
    let result = checked(wire::with_channel(&made.capture, "force_n", |_, v| -v)).result();
    has_finding(&result, "bad-data", "work", &["force_n"]);
    assert!(result["curve"].is_null(), "{}", result["curve"]);
}

#[test]
fn a_clock_that_jumps_back_is_a_new_start_and_nothing_is_joined_across_it() {
    let back = wire::changed(&capture(), |number, fields| {
        if number >= 1300 {
            fields[2] = (fields[2].parse::<u64>().unwrap() - 9_000_000).to_string();
        }
    });
    let result = checked(back).result();
    assert!(
        result["findings"]
            .as_array()
            .unwrap()
            .iter()
            .any(|f| f["kind"] == "bad-data"),
        "{}",
        result["findings"]
    );
    super::bench::assert_near(&result["curve"]["stiffness_ncm_per_deg"], 0.45, 0.02);
}

#[test]
fn a_missing_channel_takes_with_it_only_what_needs_it() {
    for missing in BY_TORQUE {
        let channels: Vec<Channel> = BY_TORQUE.iter().copied().filter(|c| c != missing).collect();
        let made = simulate(&elevator(&channels), 53);
        let result = checked(&made.capture).result();
        match missing {
            Channel::AngleDeg => {
                not_cleared(&result);
                assert!(result["curve"].is_null());
                has_finding(&result, "unproven", "watch", &["angle_deg"]);
            }
            Channel::TorqueNcm => assert_eq!(result["torque_from"], "supply-power"),
            _ => {
                assert_eq!(
                    result["torque_from"],
                    "torque",
                    "without {}",
                    missing.name()
                );
                super::bench::assert_near(&result["curve"]["stiffness_ncm_per_deg"], 0.45, 0.02);
            }
        }
    }
}

#[test]
fn a_sensor_without_readings_is_as_if_it_were_missing() {
    let silent = wire::changed(&capture(), |_, fields| fields[8].clear());
    let result = checked(silent).result();
    assert_eq!(result["torque_from"], "supply-power");
    let blind = wire::changed(&capture(), |_, fields| fields[4].clear());
    let result = checked(blind).result();
    not_cleared(&result);
    assert!(result["curve"].is_null());
}

#[test]
fn channels_in_the_wrong_order_are_not_cleared() {
    // The RIG line gives another order than the samples have: pulse where the angle should be, and so on.
    let swapped = wire::text(&capture())
        .lines()
        .map(|l| match l.strip_prefix("RIG,") {
            Some(_) => wire::line("RIG,1,bench-sim,sim-1,driven,100,angle_deg,pulse_us,current_ma,arm_deg,torque_ncm,supply_v"),
            None => format!("{l}\n"),
        })
        .collect::<String>();
    let ran = checked(swapped);
    if ran.status != 2 {
        not_cleared(&ran.result());
    }
}

#[test]
fn samples_with_a_field_too_many_or_too_few_are_damaged() {
    let odd = wire::changed(&capture(), |number, fields| match number % 100 {
        7 => fields.push("1".into()),
        9 => drop(fields.pop()),
        _ => {}
    });
    let count = wire::text(&capture())
        .lines()
        .filter(|l| l.starts_with("S,"))
        .count();
    let spoilt = (0..count).filter(|n| [7, 9].contains(&(n % 100))).count();
    assert_eq!(checked(odd).result()["recording"]["damaged_lines"], spoilt);
}

#[test]
fn one_stroke_or_none_is_unproven() {
    for cycles in [0, 1, 2] {
        let mut scenario: Scenario = elevator(BY_TORQUE);
        if let hingewright::simulated::Programme::Sweep(sweep) = &mut scenario.programme {
            sweep.cycles = cycles;
        }
        let ran = checked(simulate(&scenario, 54).capture);
        assert_eq!(ran.result()["verdict"], "unproven", "{cycles} cycles");
        assert_eq!(ran.status, 1);
    }
}

#[test]
fn a_recording_far_inside_its_throws_is_not_cleared() {
    let mut scenario: Scenario = elevator(BY_TORQUE);
    if let hingewright::simulated::Programme::Sweep(sweep) = &mut scenario.programme {
        sweep.ends_deg = Some((2.0, -2.0));
    }
    not_cleared(&checked(simulate(&scenario, 55).capture).result());
}

/// A new user was told by the sweep to see the pulse limits, and by the finding to widen the end points.
#[test]
fn a_throw_that_a_pulse_limit_cut_short_is_answered_with_that_limit_alone() {
    let bench = Bench::new(&OnFile {
        throw_deg: 32.0,
        ..OnFile::default()
    });
    let capture = String::from_utf8(capture()).unwrap();
    let finding = |name: &str, top: &str| {
        let result = bench.check_bytes(name, format!("{top}{capture}")).result();
        let findings = result["findings"].as_array().unwrap();
        let short = findings
            .iter()
            .find(|f| f["kind"] == "throw-short" && f["text"].to_string().contains("\\\"up\\\""));
        short.unwrap_or_else(|| panic!("{result}"))["text"].to_string()
    };
    let remark =
        "# remark=On the way up the pulse came to its limit of 2100 \u{b5}s at 24.0\u{b0}.\n";
    let limited = finding("limited.log", remark);
    assert!(
        limited.contains("pulse_hi_us in the [trip] table"),
        "{limited}"
    );
    assert!(!limited.contains("end points"), "{limited}");
    // Where the sensor itself is in doubt, nothing is to be turned before it is seen to.
    let doubt = "# remark=Pulse and angle do not agree: from end to end the angle sensor shows 30.0\u{b0} where pulse, servo and linkage of the file make 60.0\u{b0}.\n";
    let doubtful = finding("doubtful.log", &format!("{remark}{doubt}"));
    assert!(
        doubtful.contains("calibrate angle") && !doubtful.contains("[trip]"),
        "{doubtful}"
    );
    // A throw that such a sensor calls reached is none that is proven.
    let (reached, up) = (Bench::new(&OnFile::default()), capture.clone());
    let result = reached
        .check_bytes("reached.log", format!("{doubt}{up}"))
        .result();
    assert_eq!(result["verdict"], "unproven", "{result}");
    let free = finding("free.log", "");
    assert!(
        free.contains("end points") && !free.contains("[trip]"),
        "{free}"
    );
}
