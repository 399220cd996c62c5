//! Two servos on one surface, swept on a simulated rig by the real program.

use serde_json::Value;

use super::held::run;
use super::host::Rig;

/// An aircraft whose elevator is driven by two calibrated servos.
fn aircraft(folder: &std::path::Path) -> String {
    let text = std::fs::read_to_string("samples/aircraft.toml").unwrap();
    let text = text.replacen("servo = \"E1\"", "servos = [\"E1\", \"E3\"]", 1).replacen(
        "[[surface]]",
        "[[servo]]\ntag = \"E3\"\ntype = \"metal gear, 21 kg·cm\"\ncalibration = \"E3.calibration.toml\"\n\n[[surface]]",
        1,
    );
    let calibration = std::fs::read_to_string("samples/E1.calibration.toml").unwrap();
    std::fs::write(
        folder.join("E3.calibration.toml"),
        calibration.replace("\"E1\"", "\"E3\""),
    )
    .unwrap();
    for name in ["E1.calibration.toml", "E2.calibration.toml"] {
        std::fs::copy(format!("samples/{name}"), folder.join(name)).unwrap();
    }
    let path = folder.join("two.toml");
    std::fs::write(&path, text).unwrap();
    path.display().to_string()
}

#[test]
fn a_sweep_of_two_servos_stops_on_its_way_and_tells_whether_they_fight() {
    let scratch = tempfile::tempdir().unwrap();
    let file = aircraft(scratch.path());
    let rig = Rig::start(&[
        "--aircraft",
        &file,
        "--surface",
        "left elevator",
        "--second-off",
        "1.6",
        "--fast",
        "10",
    ]);
    let (link, book) = (
        rig.link(),
        scratch.path().join("book").display().to_string(),
    );
    let arguments = [
        "sweep",
        "left elevator",
        "--port",
        link.to_str().unwrap(),
        "--logbook",
        &book,
        "--aircraft",
        &file,
        "--cycles",
        "6",
        "--yes",
    ];
    let (status, out, err) = run(&arguments, "");
    assert_eq!(status, 1, "{out}\n{err}");
    assert!(
        out.contains("servos E1 and E3") && out.contains("stops "),
        "{out}"
    );
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("E3 pushes up, E1 down"), "{out}");
    let recordings = std::fs::read_dir(scratch.path().join("book/recordings")).unwrap();
    let recording = recordings.map(|e| e.unwrap().path()).next().unwrap();
    let text = String::from_utf8_lossy(&std::fs::read(&recording).unwrap()).into_owned();
    assert!(text.contains("# servo=E1") && text.contains("# servo2=E3"));
    let again = [
        "check",
        recording.to_str().unwrap(),
        "--aircraft",
        &file,
        "--json",
    ];
    let (_, out, err) = run(&again, "");
    let value: Value = serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e} {err}"));
    let places = value["servos"]["places"].as_array().unwrap();
    assert_eq!(places.len(), 5, "{value}");
    // Six cycles, both ways; neutral also at rest before and after.
    assert!(
        places.iter().all(|p| p["holds"].as_u64().unwrap() >= 6),
        "{value}"
    );
    assert_eq!(value["servos"]["trim"], "first-pushes-down");
}

#[test]
fn the_second_servo_s_own_current_stops_the_run() {
    let scratch = tempfile::tempdir().unwrap();
    let file = aircraft(scratch.path());
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, format!("{text}\n[trip]\ncurrent_ma = 300\n")).unwrap();
    let rig = Rig::start(&["--aircraft", &file, "--second-off", "8", "--fast", "10"]);
    let (link, book) = (
        rig.link(),
        scratch.path().join("book").display().to_string(),
    );
    let arguments = [
        "sweep",
        "left elevator",
        "--port",
        link.to_str().unwrap(),
        "--logbook",
        &book,
        "--aircraft",
        &file,
        "--yes",
    ];
    let (status, out, err) = run(&arguments, "");
    assert_eq!(status, 3, "{out}\n{err}");
    let last = rig.events().last().cloned().unwrap();
    assert_eq!(last["what"], "disarmed", "{:?}", rig.events());
    assert_eq!(last["reason"], "over-current");
}
