//! A gauge study from the rig: sweeps that say who mounted, and what `repeat` makes of them.

use std::process::{Command, Output};

use super::host::Rig;

fn program(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(arguments)
        .output()
        .unwrap()
}

#[test]
fn sweeps_by_somebody_are_the_mountings_of_a_study() {
    let folder = tempfile::tempdir().unwrap();
    let logbook = folder.path().join("dunlin").display().to_string();
    let surface = [
        "--aircraft",
        "samples/aircraft.toml",
        "--surface",
        "left elevator",
    ];
    for (seed, friction) in [("1", "3.0"), ("2", "3.4"), ("3", "3.1")] {
        let more = ["--fast", "20", "--seed", seed, "--friction", friction];
        let rig = Rig::start(&[&surface[..], &more].concat());
        let link = rig.link().display().to_string();
        let aircraft = ["--aircraft", "samples/aircraft.toml"];
        let sweep = [
            "sweep",
            "left elevator",
            "--port",
            &link,
            "--logbook",
            &logbook,
            "--by",
            "Ann",
            "--cycles",
            "6",
            "--yes",
        ];
        let ran = program(&[&sweep[..], &aircraft].concat());
        assert!(
            matches!(ran.status.code(), Some(0 | 1)),
            "{}",
            String::from_utf8_lossy(&ran.stderr)
        );
    }
    let ran = program(&[
        "repeat",
        "--logbook",
        &logbook,
        "--surface",
        "left elevator",
        "--json",
    ]);
    let value: serde_json::Value = serde_json::from_slice(&ran.stdout).unwrap();
    assert_eq!(
        (ran.status.code(), &value["outcome"]),
        (Some(0), &"told".into()),
        "{value}"
    );
    assert_eq!(value["people"], serde_json::json!(["Ann"]));
    let friction = value["quantities"]
        .as_array()
        .unwrap()
        .iter()
        .find(|q| q["quantity"] == "friction_ncm")
        .unwrap();
    // 3.0, 3.4 and 3.1: a standard deviation of 0.21.
    let sd = friction["mounting_sd"]["value"].as_f64().unwrap();
    assert!((sd - 0.208).abs() < 0.08, "{friction}");
}
