//! `rig ask`, `rig watch` and `sweep` against the firmware on its simulated board, end to end: hinges of known faults, and the
//! verdict that each must get.

use std::fs::File;
use std::path::Path;

use super::built::{Board, built, hingewright, told};

const AIRCRAFT: &str = "tests/firmware/aircraft.toml";

/// Built for a digital servo, with 100 frames a second: with 50 the surface moves in steps of 0.8 degrees, the torque fitted is six
/// times as rough, and one sound hinge in nine was called stiffening.
const DIGITAL: &str = "digital/driven.elf";

/// A sweep of a surface on this plant; what was told, as JSON, and the board's pulses.
fn swept(out: &Path, plant: &str) -> (serde_json::Value, String) {
    let board = Board::start(out, DIGITAL, &["--reset-on-open", "--plant", plant]);
    let logbook = board.folder.path().join("logbook");
    let (text, code) = told(
        hingewright()
            .args([
                "sweep",
                "left elevator",
                "--yes",
                "--cycles",
                "6",
                "--rate",
                "40",
                "--aircraft",
                AIRCRAFT,
            ])
            .arg("--logbook")
            .arg(&logbook)
            .arg("--port")
            .arg(board.port()),
    );
    assert!(code == 0 || code == 1, "{code}\n{text}");
    let recording = std::fs::read_dir(logbook.join("recordings"))
        .unwrap()
        .next()
        .unwrap()
        .unwrap()
        .path();
    let (json, _) = told(
        hingewright()
            .args(["check", "--json", "--aircraft", AIRCRAFT])
            .arg(&recording),
    );
    // Within what the program told the rig, and disarmed at the end.
    let notes = board.notes();
    let pulses: Vec<f64> = notes
        .iter()
        .filter(|note| note["what"] == "pulse")
        .map(|note| note["us"].as_f64().unwrap())
        .collect();
    assert!(pulses.len() > 500 && pulses.iter().all(|us| (900.0..=2100.0).contains(us)));
    let since_pulse = notes.last().unwrap()["t_s"].as_f64().unwrap()
        - notes.iter().rfind(|note| note["what"] == "pulse").unwrap()["t_s"]
            .as_f64()
            .unwrap();
    assert!(since_pulse >= 0.0);
    (
        serde_json::from_str(&json).unwrap_or_else(|error| panic!("{error}\n{json}")),
        text,
    )
}

#[test]
fn the_program_asks_and_watches_a_rig_that_resets_when_its_port_is_opened() {
    let Some(out) = built() else { return };
    let board = Board::start(out, "driven.elf", &["--reset-on-open"]);
    let (asked, code) = told(
        hingewright()
            .args(["rig", "ask", "--port"])
            .arg(board.port()),
    );
    assert_eq!(code, 0, "{asked}");
    for words in [
        "reference (firmware 1.0), drives the servo",
        "states     200 samples/s",
        "pulse_us, angle_deg, current_ma, supply_v, case_c",
        " 0 lost",
    ] {
        assert!(asked.contains(words), "{words}: {asked}");
    }
    let (watched, code) = told(
        hingewright()
            .args(["rig", "watch", "--seconds", "2", "--port"])
            .arg(board.port()),
    );
    assert_eq!(code, 0, "{watched}");
    let notes = board.notes();
    let resets = notes
        .iter()
        .filter(|note| note["what"] == "reset" && note["cause"] == "port-opened")
        .count();
    assert_eq!(resets, 2);
    assert!(
        !notes.iter().any(|note| note["what"] == "pulse"),
        "asking and watching moved something"
    );
}

fn kinds(json: &serde_json::Value) -> Vec<String> {
    let findings = json["findings"].as_array().unwrap();
    findings
        .iter()
        .map(|finding| finding["kind"].as_str().unwrap().to_owned())
        .collect()
}

fn within(json: &serde_json::Value, pointer: &str, low: f64, high: f64) {
    let value = json
        .pointer(pointer)
        .and_then(serde_json::Value::as_f64)
        .unwrap_or_else(|| panic!("{pointer}: {json:#}"));
    assert!((low..high).contains(&value), "{pointer} = {value}");
}

#[test]
fn a_sound_hinge_is_swept_and_nothing_is_found() {
    let Some(out) = built() else { return };
    let (json, text) = swept(out, "stiffness=0.012,friction=0.10");
    assert!(text.contains("NO FAULT FOUND"), "{text}");
    assert_eq!(kinds(&json), Vec::<String>::new());
    // What the plant has: 1.2 N·cm per degree, 10 N·cm.
    within(&json, "/curve/stiffness_ncm_per_deg/value", 1.1, 1.3);
    within(&json, "/curve/friction_ncm/value", 8.0, 12.0);
    for throw in json["throws"].as_array().unwrap() {
        assert_eq!(throw["state"], "met");
    }
    assert_eq!(json["recording"]["lost"], 0);
}

#[test]
fn a_tight_spot_is_found_where_it_is() {
    let Some(out) = built() else { return };
    let (json, text) = swept(out, "tight=0.12,tight_at=9,tight_wide=2");
    assert!(kinds(&json).contains(&"tight-spot".to_owned()), "{text}");
    within(&json, "/curve/tight_spots/0/at_deg/value", 6.0, 12.0);
}

#[test]
fn a_throw_that_something_stands_in_the_way_of_is_short_and_said() {
    let Some(out) = built() else { return };
    let (json, text) = swept(out, "stop_up=14");
    assert!(kinds(&json).contains(&"throw-short".to_owned()), "{text}");
    let up = &json["throws"][0];
    assert_eq!(
        (up["name"].as_str(), up["state"].as_str()),
        (Some("up"), Some("short")),
        "{up}"
    );
    within(&json, "/throws/0/reached_deg/value", 13.0, 17.0);
}

/// Two openings of the port may be told to the board as one and their closings as two; it then took every later host for absent.
#[test]
fn a_port_that_two_had_open_at_once_still_answers_the_next() {
    let Some(out) = built() else { return };
    let board = Board::start(out, "driven.elf", &[]);
    board.signal("STOP");
    let first = File::options()
        .read(true)
        .write(true)
        .open(board.port())
        .unwrap();
    let second = File::open(board.port()).unwrap();
    drop(first);
    drop(second);
    board.signal("CONT");
    let (asked, code) = told(
        hingewright()
            .args(["rig", "ask", "--port"])
            .arg(board.port()),
    );
    assert_eq!(code, 0, "{asked}");
}
