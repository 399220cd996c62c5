//! `break-in` against a simulated rig whose hinge works in, or tears: the program as a builder meets it.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;

use super::host::Rig;

const SURFACE: &str = "left elevator";

fn simulated(more: &[&str]) -> Rig {
    let elevator = [
        "--aircraft",
        "samples/aircraft.toml",
        "--surface",
        SURFACE,
        "--fast",
        "10",
    ];
    Rig::start(&[&elevator[..], more].concat())
}

fn break_in(rig: &Rig, more: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_hingewright"));
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .args(["break-in", SURFACE, "--yes", "--port"])
        .arg(rig.link())
        .arg("--logbook")
        .arg(logbook(rig))
        .args(["--aircraft", "samples/aircraft.toml", "--hold", "0.2"])
        .args(more);
    command
}

fn logbook(rig: &Rig) -> PathBuf {
    rig.folder.path().join("logbook")
}

fn recordings(rig: &Rig) -> Vec<PathBuf> {
    let Ok(folder) = std::fs::read_dir(logbook(rig).join("recordings")) else {
        return Vec::new();
    };
    let mut all: Vec<PathBuf> = folder.map(|entry| entry.unwrap().path()).collect();
    all.sort();
    all
}

/// The last value of a `#` key of a recording.
fn key(path: &Path, name: &str) -> Option<String> {
    let text = String::from_utf8_lossy(&std::fs::read(path).unwrap()).into_owned();
    let of = |line: &str| line.strip_prefix(&format!("# {name}=")).map(str::to_owned);
    text.lines().filter_map(of).next_back()
}

fn cycles_before(rig: &Rig) -> Vec<f64> {
    let number = |path: &PathBuf| key(path, "cycles_before").unwrap().parse().unwrap();
    recordings(rig).iter().map(number).collect()
}

/// What was said, its lines unwrapped.
fn said(output: &Output) -> String {
    let all = [&output.stdout[..], &output.stderr].concat();
    let text = String::from_utf8_lossy(&all).into_owned();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The stiffnesses of the batches, N·cm per degree.
fn stiffnesses(said: &str) -> Vec<f64> {
    let after = said.split("cycles worked: stiffness ").skip(1);
    after
        .map(|rest| rest.split(' ').next().unwrap().parse().unwrap())
        .collect()
}

#[test]
fn a_hinge_softens_batch_by_batch_and_the_rig_is_armed_within_one_alone() {
    let rig = simulated(&["--cycles-worked", "0"]);
    let small = ["--stages", "20", "--batch", "6", "--cycles-per-stage", "24"];
    let output = break_in(&rig, &small).output().unwrap();
    let told = said(&output);
    assert_eq!(output.status.code(), Some(0), "{told}");
    let stiffness = stiffnesses(&told);
    assert_eq!(stiffness.len(), 4, "{told}");
    // 21 of the 24 cycles lie between the first batch's middle and the last's, at 40 in which 63 % come about and 28 %
    // to be lost: some 9 % of the fresh stiffness.
    let share = stiffness[3] / stiffness[0];
    assert!((0.86..0.95).contains(&share), "{stiffness:?}");
    assert!(
        told.contains("more cycles") && told.contains("to within 5 % of"),
        "{told}"
    );
    assert_eq!(cycles_before(&rig), [0.0, 6.0, 12.0, 18.0]);
    for path in recordings(&rig) {
        assert_eq!(key(&path, "outcome").as_deref(), Some("finished"));
        assert_eq!(key(&path, "purpose").as_deref(), Some("break-in"));
        assert_eq!(key(&path, "stage_deg").as_deref(), Some("20"));
    }
    let events = rig.events();
    let count = |what: &str| events.iter().filter(|e| e["what"] == what).count();
    assert_eq!((count("armed"), count("disarmed")), (4, 4));

    // Through: nothing moves any more. A re-check does, and so soon it confirms nothing.
    let again = said(&break_in(&rig, &small).output().unwrap());
    assert!(again.contains("nothing is left to be worked"), "{again}");
    let recheck = break_in(&rig, &[&small[..], &["--recheck"]].concat())
        .output()
        .unwrap();
    let told = said(&recheck);
    assert!(told.contains("rested after 0.0 h of rest"), "{told}");
    assert_eq!(recheck.status.code(), Some(1), "{told}");
    assert_eq!(recordings(&rig).len(), 5);
    assert_eq!(
        key(&recordings(&rig)[4], "purpose").as_deref(),
        Some("recheck")
    );
}

#[test]
fn killed_in_its_second_batch_it_goes_on_where_it_was() {
    let rig = simulated(&["--cycles-worked", "0"]);
    let small = ["--stages", "20", "--batch", "6", "--cycles-per-stage", "18"];
    let mut child = break_in(&rig, &small)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let began = Instant::now();
    while recordings(&rig).len() < 2 {
        assert!(began.elapsed() < Duration::from_secs(60), "no second batch");
        std::thread::sleep(Duration::from_millis(5));
    }
    std::thread::sleep(Duration::from_millis(1500));
    kill(
        Pid::from_raw(i32::try_from(child.id()).unwrap()),
        Signal::SIGKILL,
    )
    .unwrap();
    child.wait().unwrap();
    // The rig misses it and disarms by itself.
    std::thread::sleep(Duration::from_millis(800));
    let last = rig.events().pop().unwrap();
    assert_eq!(
        (&last["what"], &last["reason"]),
        (&"disarmed".into(), &"host-lost".into())
    );

    let output = break_in(&rig, &small).output().unwrap();
    let told = said(&output);
    assert_eq!(output.status.code(), Some(0), "{told}");
    let before = cycles_before(&rig);
    assert_eq!(before[..2], [0.0, 6.0]);
    // Of the killed batch some cycles count, and not more than it was to have.
    assert!(before[2] > 6.0 && before[2] < 12.0, "{before:?}");
    let worked: f64 = before.last().unwrap()
        + key(recordings(&rig).last().unwrap(), "cycles")
            .unwrap()
            .parse::<f64>()
            .unwrap();
    assert!((17.0..=19.0).contains(&worked), "{before:?} {worked}");
    assert_eq!(
        key(&recordings(&rig)[1], "outcome").as_deref(),
        Some("unfinished")
    );
}

#[test]
fn a_hinge_that_gets_stiffer_is_not_worked_any_further() {
    let folder = tempfile::TempDir::new().unwrap();
    let plant = folder.path().join("plant.toml");
    // Ten times as stiff in the end: 2.7 times after the first batch, 3.9 times after the second.
    std::fs::write(
        &plant,
        "[break_in]\nstiffness_settled = 10.0\nsettles_in_cycles = 20.0\n",
    )
    .unwrap();
    let torn = [
        "--plant",
        plant.to_str().unwrap(),
        "--stiffness",
        "0.2",
        "--friction",
        "0.5",
    ];
    let rig = simulated(&torn);
    let output = break_in(&rig, &["--stages", "20", "--batch", "4"])
        .output()
        .unwrap();
    let told = said(&output);
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(told.contains("tearing or binding"), "{told}");
    // Stopped by what was seen live, within the second batch.
    let all = recordings(&rig);
    assert_eq!(all.len(), 2, "{told}");
    let outcome = key(&all[1], "outcome").unwrap();
    assert!(outcome.starts_with("unfinished: stopped at "), "{outcome}");
    assert!(told.contains("disarmed the rig confirmed it"), "{told}");

    // With no eye on it live, the batch's own stiffness tells, beyond its uncertainty.
    let rig = simulated(&torn);
    let blind = ["--stages", "20", "--batch", "4", "--rise", "500"];
    let output = break_in(&rig, &blind).output().unwrap();
    let told = said(&output);
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(told.contains("STIFFER than before"), "{told}");
    assert_eq!(recordings(&rig).len(), 2, "{told}");
}

#[test]
fn a_rig_that_only_measures_follows_a_hinge_worked_by_hand() {
    let rig = simulated(&["--passive"]);
    let refused = break_in(&rig, &[]).output().unwrap();
    assert!(
        said(&refused).contains("--hand CYCLES"),
        "{}",
        said(&refused)
    );
    // Ten strokes of a hand take some thirty-five of the rig's seconds.
    let worked = ["--hand", "50", "--seconds", "5"];
    for cycles in [50.0, 100.0] {
        let output = break_in(&rig, &worked).output().unwrap();
        let told = said(&output);
        assert_eq!(output.status.code(), Some(1), "{told}");
        let before = *cycles_before(&rig).last().unwrap();
        assert!(before >= cycles && before < cycles + 30.0, "{told}");
    }
}
