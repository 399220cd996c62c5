//! `held` and `heat` on a simulated rig: guided, recorded, told and stored.

use std::io::Write;
use std::process::{Command, Stdio};

use serde_json::Value;

use super::host::Rig as Simulated;

/// The program with this on its standard input: exit status, standard output, standard error.
pub fn run(arguments: &[&str], input: &str) -> (i32, String, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(input.as_bytes())
        .unwrap();
    let ended = child.wait_with_output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        ended.status.code().unwrap(),
        text(ended.stdout),
        text(ended.stderr),
    )
}

fn the_recording(logbook: &std::path::Path) -> std::path::PathBuf {
    let all = std::fs::read_dir(logbook.join("recordings")).unwrap();
    let all: Vec<_> = all.map(|e| e.unwrap().path()).collect();
    assert_eq!(all.len(), 1, "{all:?}");
    all[0].clone()
}

#[test]
fn weights_are_hung_step_by_step_and_what_is_stored_can_be_read_again() {
    // 100 and 300 g at 58 mm, as the program reckons them.
    let hung = "0,5.688,17.064,0,-5.688,-17.064";
    let hung = format!("{hung},{hung},0");
    let rig = Simulated::start(&[
        "--aircraft",
        "samples/aircraft.toml",
        "--hung",
        &hung,
        "--slop",
        "0.3",
        "--fast",
        "10",
    ]);
    let logbook = rig.folder.path().join("dunlin");
    let (link, book) = (rig.link(), logbook.display().to_string());
    let arguments = [
        "held",
        "left elevator",
        "--port",
        link.to_str().unwrap(),
        "--logbook",
        &book,
        "--aircraft",
        "samples/aircraft.toml",
        "--weights-g",
        "100,300",
        "--yes",
    ];
    let (status, out, err) = run(&arguments, &"\n".repeat(13));
    assert_eq!(status, 0, "{out}\n{err}");
    assert!(
        out.contains("Step 13 of 13, disarmed. Take everything off"),
        "{out}"
    );
    assert!(
        out.contains("free play") && out.contains("from memory"),
        "{out}"
    );
    assert!(
        out.lines().all(|l| l.starts_with("result")
            || l.starts_with("recording")
            || l.contains('/')
            || l.chars().count() <= 80),
        "{out}"
    );
    let recording = the_recording(&logbook);
    let text = String::from_utf8_lossy(&std::fs::read(&recording).unwrap()).into_owned();
    let marks: Vec<&str> = text
        .lines()
        .filter_map(|l| l.strip_prefix("# hung_ncm="))
        .collect();
    assert_eq!(marks.len(), 13);
    assert_eq!(marks[1], "+5.688");
    let again = [
        "held",
        "left elevator",
        "--from",
        recording.to_str().unwrap(),
        "--logbook",
        &book,
        "--json",
    ];
    let (status, out, err) = run(&again, "");
    assert_eq!(status, 0, "{err}");
    let value: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(value["schema"], "hingewright.held/1");
    assert_eq!(value["readings"].as_array().unwrap().len(), 13);
    // A sweep of two servos asks the logbook for it: by the surface's name, which stands in the folder's name.
    let book = hingewright::logbook::Logbook::open(&logbook).unwrap();
    let held = book.held_last("left elevator").unwrap().value;
    assert!(held > 0.0, "{held}");
    assert!(book.held_last("right elevator").is_none());
    // The plant's play is 0.3°; light weights against its friction and dead band show it badly, and the interval says how badly.
    let play = |end: &str| value["play_deg"][end].as_f64().unwrap();
    assert!(play("lo95") < 0.3 && 0.3 < play("hi95"), "{value}");
    assert!(
        value["memory_deg"]["lo95"].as_f64().unwrap() > 0.1,
        "{value}"
    );
}

#[test]
fn who_stops_answering_ends_the_steps_with_the_rig_disarmed() {
    let rig = Simulated::start(&["--aircraft", "samples/aircraft.toml", "--fast", "10"]);
    let logbook = rig.folder.path().join("dunlin");
    let (link, book) = (rig.link(), logbook.display().to_string());
    let arguments = [
        "held",
        "left elevator",
        "--port",
        link.to_str().unwrap(),
        "--logbook",
        &book,
        "--aircraft",
        "samples/aircraft.toml",
        "--ncm",
        "5,15",
        "--yes",
    ];
    // Two steps, then nobody is there.
    let (status, out, err) = run(&arguments, "\n\n");
    assert_eq!(status, 3, "{out}\n{err}");
    // It stops there: no page of what was not measured, no result, and a recording that says it is unfinished.
    assert!(err.contains("stopped: nobody says at the bench"), "{err}");
    assert!(
        !out.contains("not measured") && !out.contains("free play "),
        "{out}"
    );
    let recording = std::fs::read(the_recording(&logbook)).unwrap();
    assert!(String::from_utf8_lossy(&recording).contains("# outcome=unfinished"));
    let results = std::fs::read_dir(logbook.join("results"));
    assert_eq!(results.map_or(0, Iterator::count), 0);
    let armed = rig.events().iter().filter(|e| e["what"] == "armed").count();
    let disarmed = rig
        .events()
        .iter()
        .filter(|e| e["what"] == "disarmed")
        .count();
    assert!(armed == disarmed && armed == 2, "{:?}", rig.events());
}

#[test]
fn a_dry_run_says_what_would_move_asks_nothing_and_begins_no_logbook() {
    let rig = Simulated::start(&["--aircraft", "samples/aircraft.toml", "--fast", "10"]);
    let logbook = rig.folder.path().join("dunlin");
    let (link, book) = (
        rig.link().display().to_string(),
        logbook.display().to_string(),
    );
    for command in [
        &["held", "left elevator", "--weights-g", "100,300"][..],
        &["heat", "left elevator"],
        &["servo", "E1", "--alone"],
        &["calibrate", "servo", "E1", "--arm-mm", "60"],
    ] {
        for port in [&[][..], &["--port", &link]] {
            let rest = [
                "--logbook",
                &book,
                "--aircraft",
                "samples/aircraft.toml",
                "--dry-run",
            ];
            let all: Vec<&str> = command.iter().chain(&rest).chain(port).copied().collect();
            let (status, out, err) = run(&all, "");
            assert_eq!(status, 0, "{out}\n{err}");
            assert!(
                out.contains("WHAT WILL MOVE") && out.contains("Nothing was moved"),
                "{out}"
            );
        }
    }
    assert!(!logbook.exists());
    assert!(
        !rig.events().iter().any(|e| e["what"] == "armed"),
        "{:?}",
        rig.events()
    );
}

/// From the first pulse to the last, s of the rig's clock.
fn armed_s(recording: &std::path::Path) -> f64 {
    let recording = hingewright::recording::read_path(recording).unwrap();
    let segment = &recording.segments[0];
    let pulse = segment
        .column(hingewright::recording::Channel::PulseUs)
        .unwrap();
    let mut armed = (0..segment.len()).filter(|i| pulse[*i].is_finite());
    let first = armed.next().unwrap();
    segment.t_s[armed.next_back().unwrap()] - segment.t_s[first]
}

#[test]
fn to_and_fro_takes_the_minutes_asked_for_and_the_way_to_the_ends() {
    let rig = Simulated::start(&[
        "--aircraft",
        "samples/aircraft.toml",
        "--fast",
        "20",
        "--rate",
        "50",
    ]);
    let logbook = rig.folder.path().join("dunlin");
    let (link, book) = (
        rig.link().display().to_string(),
        logbook.display().to_string(),
    );
    let arguments = [
        "heat",
        "left elevator",
        "--port",
        &link,
        "--logbook",
        &book,
        "--aircraft",
        "samples/aircraft.toml",
        "--minutes",
        "4",
        "--yes",
        "--json",
    ];
    let (status, out, err) = run(&arguments, "");
    assert!(status <= 1, "{out}\n{err}");
    let value: Value = serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e} {out}"));
    assert_eq!(value["schema"], "hingewright.heat/1");
    assert!(err.contains("no air pushes on the surface"), "{err}");
    // A third more would be 320 s; the way to the ends is felt for in about 20 s.
    let took_s = armed_s(&the_recording(&logbook));
    assert!((240.0..290.0).contains(&took_s), "{took_s}");
}

#[test]
fn heat_is_told_after_a_while_of_work_and_drawn() {
    let rig = Simulated::start(&[
        "--aircraft",
        "samples/aircraft.toml",
        "--fast",
        "20",
        "--rate",
        "50",
        "--channels",
        "pulse_us,angle_deg,current_ma,supply_v,case_c,air_c",
    ]);
    let logbook = rig.folder.path().join("dunlin");
    let (link, book) = (rig.link(), logbook.display().to_string());
    let picture = rig.folder.path().join("heat.svg");
    let arguments = [
        "heat",
        "left elevator",
        "--port",
        link.to_str().unwrap(),
        "--logbook",
        &book,
        "--aircraft",
        "samples/aircraft.toml",
        "--minutes",
        "4",
        "--hold",
        "20",
        "--yes",
    ];
    let (status, out, err) = run(&arguments, "");
    assert!(status <= 1, "{out}\n{err}");
    assert!(
        out.contains("copper loss") && out.contains("its calibration"),
        "{out}"
    );
    let recording = the_recording(&logbook);
    let again = [
        "heat",
        "left elevator",
        "--from",
        recording.to_str().unwrap(),
        "--logbook",
        &book,
        "--json",
    ];
    let (_, out, err) = run(&again, "");
    let value: Value = serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e} {err}"));
    assert_eq!(value["schema"], "hingewright.heat/1");
    assert!(
        value["copper_w"]["value"].as_f64().unwrap() > 0.0,
        "{value}"
    );
    assert_eq!(value["idle_from"], "calibration");
    if value["case"]["first_c"].is_number() {
        let drawn = [
            "heat",
            "left elevator",
            "--from",
            recording.to_str().unwrap(),
            "--logbook",
            &book,
            "--plot",
            picture.to_str().unwrap(),
        ];
        let (_, _, err) = run(&drawn, "");
        assert!(err.contains("written: "), "{err}");
        assert!(std::fs::read_to_string(&picture).unwrap().contains("<svg"));
    }
}
