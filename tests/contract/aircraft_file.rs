//! Bad aircraft files and calibrations, as the builder meets them: which file, which line, which key, what would be right.

use std::fmt::Write;

use hingewright::simulated::simulate;

use super::bench::{BY_TORQUE, Bench, OnFile, aircraft, elevator};

fn bench() -> Bench {
    Bench::new(&OnFile::default())
}

fn capture() -> Vec<u8> {
    simulate(&elevator(BY_TORQUE), 51).capture
}

#[test]
fn an_aircraft_file_that_is_missing_a_folder_or_no_toml_is_named() {
    let bench = bench();
    let recording = bench.put("a.log", capture());
    std::fs::remove_file(bench.path("aircraft.toml")).unwrap();
    bench
        .check(&[&recording], &[])
        .refused_with(&["aircraft.toml", "what to do"]);
    std::fs::create_dir(bench.path("aircraft.toml")).unwrap();
    bench
        .check(&[&recording], &[])
        .refused_with(&["aircraft.toml", "what to do"]);
    std::fs::remove_dir(bench.path("aircraft.toml")).unwrap();
    for bytes in [
        &b""[..],
        b"\xff\xfe\x00\x01",
        b"[aircraft\nname=",
        b"{\"aircraft\": 1}",
    ] {
        bench.put("aircraft.toml", bytes);
        bench
            .check(&[&recording], &[])
            .refused_with(&["aircraft.toml"]);
    }
}

#[test]
fn a_mistake_in_the_aircraft_file_shows_the_line_the_key_and_what_would_be_right() {
    let good = aircraft(&OnFile::default());
    for (from, to, words) in [
        (
            "chord_mm = 58.0",
            "cord_mm = 58.0",
            &["cord_mm", "chord_mm"][..],
        ),
        ("chord_mm = 58.0", "chord_mm = -58.0", &["chord_mm", "-58"]),
        ("up_deg = 24", "up_mm = 500", &["up_mm", "500"]),
        ("servo = \"E1\"", "servo = \"E7\"", &["E7", "E1"]),
        (
            "chord_mm = 58.0",
            "chord_mm = 58.0\npair = \"left elevater\"",
            &["left elevater"],
        ),
        ("chord_mm = 58.0", "chord_mm = nan", &["chord_mm"]),
        (
            "stall_torque_ncm = 210",
            "stall_torque_ncm = \"210\"",
            &["stall_torque_ncm"],
        ),
        (
            "calibration = \"E1.cal",
            "calibration = \"E9.cal",
            &["E9.calibration.toml"],
        ),
    ] {
        assert!(good.contains(from), "{from}");
        let bench = bench();
        let recording = bench.put("a.log", capture());
        let wrong = good.replacen(from, to, 1);
        let number = 1 + wrong
            .lines()
            .zip(good.lines())
            .take_while(|(a, b)| a == b)
            .count();
        bench.put("aircraft.toml", &wrong);
        let ran = bench.check(&[&recording], &[]);
        ran.refused_with(&["aircraft.toml"]);
        ran.refused_with(words);
        let near = (number..=number + 1).any(|n| ran.err.contains(&format!("line {n}")));
        assert!(near, "line {number} is not named: {}", ran.err);
    }
}

#[test]
fn a_calibration_that_is_damaged_is_named_with_its_own_file() {
    let bench = bench();
    let recording = bench.put("a.log", capture());
    bench.put("E1.calibration.toml", "[servo]\ntag = \"E1\"\n");
    bench
        .check(&[&recording], &[])
        .refused_with(&["E1.calibration.toml"]);
}

#[test]
fn an_aircraft_with_40_surfaces_is_read_and_the_40th_is_checked() {
    let mut text = aircraft(&OnFile::default());
    for number in 2..=40 {
        write!(
            text,
            "\n[[surface]]\nname = \"panel {number}\"\nservo = \"E1\"\nchord_mm = 58.0\nthrows = [{{ name = \"up\", up_deg = 24 }}, {{ name = \"down\", down_deg = 24 }}]\n"
        )
        .unwrap();
    }
    let bench = bench();
    bench.put("aircraft.toml", &text);
    let path = bench.put("a.log", capture());
    let ran = bench.check(&[&path], &["--surface", "panel 40"]);
    assert_eq!(ran.result()["recording"]["surface"], "panel 40");
    assert_eq!(ran.status, 0);
}
