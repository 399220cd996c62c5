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

/// Weights for the second servo of a surface: whose they are, and by which current, is said on top of the recording.
#[test]
fn the_second_servo_s_weights_are_its_own_in_the_recording() {
    let scratch = tempfile::tempdir().unwrap();
    let file = aircraft(scratch.path());
    for (number, channels, first) in [
        (1, "pulse_us,arm_deg,current_ma,supply_v", "# servo=E3\n"),
        (
            2,
            "pulse_us,arm_deg,current_ma,current2_ma,supply_v",
            "# servo=E1\n",
        ),
    ] {
        let rig = Rig::start(&[
            "--aircraft",
            &file,
            "--channels",
            channels,
            "--second-off",
            "0",
            "--fast",
            "10",
        ]);
        let book = scratch.path().join(format!("book{number}"));
        let (link, shown) = (rig.link().display().to_string(), book.display().to_string());
        let arguments = [
            "calibrate",
            "servo",
            "E3",
            "--arm-mm",
            "60",
            "--yes",
            "--port",
            &link,
            "--logbook",
            &shown,
            "--aircraft",
            &file,
        ];
        // Nobody hangs the first weight.
        let (status, out, err) = run(&arguments, "");
        assert_eq!(status, 3, "{out}\n{err}");
        let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains("E3 is the second servo"), "{out}");
        let recordings = std::fs::read_dir(book.join("recordings")).unwrap();
        let recording = recordings.map(|e| e.unwrap().path()).next().unwrap();
        let text = String::from_utf8_lossy(&std::fs::read(&recording).unwrap()).into_owned();
        assert!(
            text.contains(first) && text.contains("# lifted_by=E3"),
            "{text:.400}"
        );
        assert_eq!(text.contains("# servo2=E3"), number == 2);
    }
}

/// The rig reads the second's current alone: what it is told to trip on (current_ma) it has no sensor for, so that the program has to
/// watch.
#[test]
fn the_program_itself_watches_the_second_servo_s_current() {
    let scratch = tempfile::tempdir().unwrap();
    let file = aircraft(scratch.path());
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, format!("{text}\n[trip]\ncurrent_ma = 300\n")).unwrap();
    let channels = "pulse_us,angle_deg,current2_ma,supply_v";
    let rig = Rig::start(&[
        "--aircraft",
        &file,
        "--channels",
        channels,
        "--second-off",
        "2",
        "--fast",
        "10",
    ]);
    let (link, book) = (
        rig.link().display().to_string(),
        scratch.path().join("book").display().to_string(),
    );
    let arguments = [
        "sweep",
        "left elevator",
        "--port",
        &link,
        "--logbook",
        &book,
        "--aircraft",
        &file,
        "--yes",
    ];
    let (status, out, err) = run(&arguments, "");
    assert_eq!(status, 3, "{out}\n{err}");
    let flat = err.split_whitespace().collect::<Vec<_>>().join(" ");
    let draws = flat
        .split("the second servo draws ")
        .nth(1)
        .unwrap_or_else(|| panic!("{out}\n{err}"));
    let ma: f64 = draws.split(' ').next().unwrap().parse().unwrap();
    assert!(
        ma > 300.0 && flat.contains("over the limit of 300 mA"),
        "{flat}"
    );
    // The rig itself saw nothing to trip on: it was told to disarm.
    let events = rig.events();
    assert_eq!(events.last().unwrap()["what"], "disarmed", "{events:?}");
    assert_eq!(events.last().unwrap()["reason"], "host", "{events:?}");
}

/// The second of two, off its rods and in the first one's place: its own in recording, result and what is shown.
#[test]
fn the_second_servo_is_tested_by_itself() {
    let scratch = tempfile::tempdir().unwrap();
    let file = aircraft(scratch.path());
    let rig = Rig::start(&["--aircraft", &file, "--rods-off", "--fast", "10"]);
    let book = scratch.path().join("book");
    let (link, shown) = (rig.link().display().to_string(), book.display().to_string());
    let test = |more: &[&str]| {
        let arguments = ["servo", "e3", "--yes", "--port", &link, "--logbook", &shown];
        let begin = ["--aircraft", file.as_str()];
        run(
            &[
                &arguments[..],
                more,
                if book.exists() { &[] } else { &begin },
            ]
            .concat(),
            "",
        )
    };
    let (status, _, err) = test(&[]);
    assert_eq!(status, 2, "{err}");
    assert!(
        err.contains("in the first one's place") && err.contains("--alone"),
        "{err}"
    );
    let (status, out, err) = test(&["--alone"]);
    assert!(status < 2, "{out}\n{err}");
    assert!(out.contains("servo E3 alone"), "{out}");
    let recordings = std::fs::read_dir(book.join("recordings")).unwrap();
    let recording = recordings.map(|e| e.unwrap().path()).next().unwrap();
    let text = String::from_utf8_lossy(&std::fs::read(&recording).unwrap()).into_owned();
    assert!(
        text.contains("# servo=E3\n") && !text.contains("# servo2="),
        "{text:.400}"
    );
    let (_, season, _) = run(&["season", "--json", "--logbook", &shown], "");
    let season: serde_json::Value = serde_json::from_str(&season).unwrap();
    let subjects = season["subjects"].as_array().unwrap();
    let of = |tag: &str| {
        subjects
            .iter()
            .find(|s| s["kind"] == "servo" && s["name"] == tag)
    };
    let slew = |s: &serde_json::Value| s["quantities"].to_string().contains("slew");
    assert!(of("E3").is_some_and(slew), "{season}");
    assert!(of("E1").is_none_or(|s| !slew(s)), "{season}");
}
