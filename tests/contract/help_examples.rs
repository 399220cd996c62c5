//! The examples of `--help`, run as they stand there in a folder like a builder's. Those that need a rig or minutes are left to
//! the tests of the rig and to the demo; that the program takes their arguments is tested where the help texts are.

use std::fs;
use std::path::Path;
use std::process::Command;

use hingewright::simulated::{Programme, Scenario, Spell, simulate};

use super::bench::run;
use super::bench_work::go;
use super::calibrate::{held, lifts};

/// They move a rig, are one, take a minute, or ask.
const NOT_RUN: [&str; 4] = [
    "--port",
    "hingewright simulate",
    "hingewright demo",
    "hingewright new",
];

/// The examples of a command and of all below it.
fn examples(of: &[&str], found: &mut Vec<String>) {
    let help = run([of, &["--help"]].concat()).out;
    // A long one goes on in the lines below it, up to the next or an empty one.
    let mut at_one = false;
    for line in help.lines().map(str::trim) {
        if line.starts_with("hingewright ") {
            found.push(line.to_owned());
            at_one = true;
        } else if line.is_empty() {
            at_one = false;
        } else if let Some(last) = found.last_mut().filter(|_| at_one) {
            *last += &format!(" {line}");
        }
    }
    let mut lines = help.lines().skip_while(|l| *l != "Commands:").skip(1);
    while let Some(name) = lines.next().and_then(|l| l.split_whitespace().next()) {
        if name != "help" {
            examples(&[of, &[name]].concat(), found);
        }
    }
}

/// The sample aircraft's logbook `dunlin` in `club` and beside it, and the recordings that examples name.
fn bench(at: &Path) {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    let recordings = at.join("dunlin/recordings");
    for folder in [&recordings, &at.join("samples"), &at.join("club")] {
        fs::create_dir_all(folder).unwrap();
    }
    for entry in fs::read_dir(samples).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap();
        fs::copy(&path, at.join("samples").join(name)).unwrap();
        match path.extension().and_then(|e| e.to_str()) {
            Some("toml") => fs::copy(&path, at.join("dunlin").join(name)).unwrap(),
            Some("log") => fs::copy(&path, recordings.join(name)).unwrap(),
            _ => 0,
        };
    }
    for (seed, clock) in [(1, "10:15:00"), (2, "11:40:00")] {
        let scenario = Scenario {
            started: format!("2026-04-02T{clock}Z"),
            ..Scenario::default()
        };
        let id = format!("left-elevator-20260402-{}.log", clock.replace(':', ""));
        fs::write(recordings.join(id), simulate(&scenario, seed).capture).unwrap();
    }
    // A surface mounted again by two people; one person's are in the logbook too.
    for (seed, name) in (10..).zip(["a1", "a2", "a3", "b1", "b2", "b3"]) {
        let scenario = Scenario {
            started: format!("2026-04-03T{seed}:00:00Z"),
            ..Scenario::default()
        };
        let capture = simulate(&scenario, seed).capture;
        let by = [b"# by=Ann\n".as_slice(), &capture].concat();
        fs::write(at.join(name).with_extension("log"), &by).unwrap();
        if name.starts_with('a') {
            fs::write(recordings.join(name).with_extension("log"), &by).unwrap();
        }
    }
    for (name, deg) in [("left.log", -20.0), ("mid.log", 0.0), ("right.log", 20.0)] {
        let capture = held(deg);
        let of_the_rudder = capture.replace("surface=left elevator", "surface=rudder");
        assert_ne!(of_the_rudder, capture);
        fs::write(at.join(name), of_the_rudder).unwrap();
    }
    let lifts = simulate(&lifts(&[0.0, 0.2, 0.5, 0.8]), 3).capture;
    fs::write(at.join("lifts.log"), lifts).unwrap();
    for (name, volts) in [("at-6v.log", 6.0), ("at-8v.log", 8.0)] {
        fs::write(at.join(name), steps(volts)).unwrap();
    }
}

/// A servo by itself, stepped to and fro.
fn steps(volts: f64) -> Vec<u8> {
    let moves = [1700.0, 1300.0].repeat(6);
    let mut scenario = Scenario {
        keys: vec![("servo".into(), "E1".into())],
        programme: Programme::Spells(vec![Spell {
            moves: moves.into_iter().map(|us| go(us, 1e6, 0.8)).collect(),
            ..Spell::default()
        }]),
        ..Scenario::default()
    };
    scenario.plant.supply.open_v = volts;
    simulate(&scenario, 4).capture
}

#[cfg(unix)]
#[test]
fn every_example_of_a_help_text_that_needs_no_rig_does_what_it_says() {
    let mut all = Vec::new();
    examples(&[], &mut all);
    all.sort();
    all.dedup();
    let own = |e: &&String| !NOT_RUN.iter().any(|word| e.contains(word));
    let mut wanted: Vec<&String> = all.iter().filter(own).collect();
    assert!(wanted.len() >= 14, "{wanted:?}");
    // A logbook has results first, and what is noted as done comes last: it begins anew what others look at.
    wanted.sort_by_key(|e| (!e.contains("recheck"), e.contains("hingewright note")));
    let folder = tempfile::tempdir().unwrap();
    bench(folder.path());
    let program = Path::new(env!("CARGO_BIN_EXE_hingewright"));
    let mut failed = String::new();
    for (i, example) in wanted.iter().enumerate() {
        if i == 1 {
            // `club` has a logbook in it.
            let club = folder.path().join("club/dunlin");
            let from = folder.path().join("dunlin");
            let copied = Command::new("cp").arg("-r").args([&from, &club]).status();
            assert!(copied.unwrap().success());
        }
        let line = example.replacen("hingewright", &format!("'{}'", program.display()), 1);
        let ran = Command::new("sh")
            .args(["-c", &line])
            .current_dir(folder.path())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&ran.stderr);
        // 1 is a verdict on the invented aircraft, which has its faults.
        if !matches!(ran.status.code(), Some(0 | 1)) || said.contains("panicked") {
            failed += &format!("{example}\n  {}: {said}\n", ran.status);
        }
    }
    assert!(failed.is_empty(), "{failed}");
}
