//! A servo tested on a simulated rig by the real program, its recording kept, its result made again.

use assert_cmd::Command;
use serde_json::Value;

use super::host::Rig;

#[test]
fn a_servo_alone_is_tested_recorded_and_found_again_by_recheck() {
    let rig = Rig::start(&["--rods-off", "--fast", "10"]);
    let folder = tempfile::tempdir().unwrap();
    let logbook = folder.path().join("book");
    std::fs::create_dir(&logbook).unwrap();
    for file in [
        "aircraft.toml",
        "E1.calibration.toml",
        "E2.calibration.toml",
    ] {
        std::fs::copy(format!("samples/{file}"), logbook.join(file)).unwrap();
    }
    let picture = folder.path().join("servo.svg");
    let ran = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .args(["servo", "e1", "--alone", "--yes", "--json"])
        .arg("--port")
        .arg(rig.link())
        .arg("--logbook")
        .arg(&logbook)
        .arg("--plot")
        .arg(&picture)
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&ran.stderr);
    let object: Value = serde_json::from_slice(&ran.stdout)
        .unwrap_or_else(|e| panic!("{e}: {} {told}", String::from_utf8_lossy(&ran.stdout)));
    assert_eq!(object["schema"], "hingewright.servo/1");
    assert_eq!(object["servo"], "E1");
    assert_eq!(object["verdict"], "no-fault-found", "{object}");
    assert_eq!(object["arm_from"], "arm");
    let found = &object["found"];
    assert!(
        found["slew_s_per_60deg"]["value"].as_f64().unwrap() < 0.08,
        "{found}"
    );
    let dead_band = found["dead_band_us"]["value"].as_f64().unwrap();
    assert!((2.0..3.6).contains(&dead_band), "{found}");
    assert!(std::fs::read_to_string(&picture).unwrap().contains("<svg"));

    let logbook_of = |name: &str| {
        Command::new(env!("CARGO_BIN_EXE_hingewright"))
            .args([name, "--logbook"])
            .arg(&logbook)
            .assert()
    };
    logbook_of("recheck");
    let book = hingewright::logbook::Logbook::open(&logbook).unwrap();
    let rows = book.rows().unwrap();
    assert_eq!(rows.len(), 1);
    assert_eq!(rows[0].text("purpose"), Some("servo-test"));
    let kept = rows[0].quantity("slew_s_per_60deg").unwrap().value;
    // JSON read back may differ in the last digit.
    let told = found["slew_s_per_60deg"]["value"].as_f64().unwrap();
    assert!((kept / told - 1.0).abs() < 1e-12, "{kept} {told}");
    assert!(rows[0].quantity("stiffness_ncm_per_deg").is_none());

    // In words: what the dead band makes is no slop, and which keys fill the column of the data sheet.
    let recordings = std::fs::read_dir(logbook.join("recordings")).unwrap();
    let recording = recordings.map(|e| e.unwrap().path()).next().unwrap();
    let arguments = [
        "servo",
        "E1",
        "--alone",
        "--from",
        recording.to_str().unwrap(),
    ];
    let (_, out, err) = super::held::run(
        &[&arguments[..], &["--logbook", logbook.to_str().unwrap()]].concat(),
        "",
    );
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "arm behind pulse, dead band in it",
        "is no slop of rods: its dead band makes up to",
        "no play shows",
        "these keys are not there yet: speed_s_per_60deg with speed_voltage_v, and dead_band_us",
    ] {
        assert!(flat.contains(words), "no {words:?} in {out}\n{err}");
    }
}

/// The program on a rig whose rods are on, with these channels; what it said and what the rig noted.
fn with_rods_on(command: &[&str], channels: &str) -> (i32, String, Vec<Value>) {
    let rig = Rig::start(&[
        "--aircraft",
        "samples/aircraft.toml",
        "--channels",
        channels,
        "--fast",
        "10",
    ]);
    let folder = tempfile::tempdir().unwrap();
    let (link, book) = (
        rig.link().display().to_string(),
        folder.path().join("book").display().to_string(),
    );
    let mut arguments = command.to_vec();
    arguments.extend(["--yes", "--port", &link, "--logbook", &book]);
    arguments.extend(["--aircraft", "samples/aircraft.toml"]);
    let (status, out, err) = super::held::run(&arguments, "");
    let flat = format!("{out} {err}");
    let flat = flat.split_whitespace().collect::<Vec<_>>().join(" ");
    (status, flat, rig.events())
}

#[test]
fn a_servo_that_is_said_to_be_alone_and_still_drives_its_surface_is_disarmed_and_told() {
    for (command, channels) in [
        (
            &["servo", "E1", "--alone"][..],
            "pulse_us,angle_deg,arm_deg,current_ma,supply_v",
        ),
        (
            &["servo", "E1", "--alone"],
            "pulse_us,angle_deg,current_ma,supply_v",
        ),
        (
            &["sweep", "left elevator", "--purpose", "rods-off"],
            "pulse_us,angle_deg,arm_deg,current_ma,supply_v",
        ),
    ] {
        let (status, said, events) = with_rods_on(command, channels);
        assert_eq!(status, 3, "{said}");
        assert!(said.contains("the rods seem to be on still"), "{said}");
        assert!(said.contains("take the rods off"), "{said}");
        assert!(said.contains("the rig confirmed it"), "{said}");
        assert_eq!(events.last().unwrap()["what"], "disarmed", "{events:?}");
    }
}
