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
    // Its cycles are spent, and it is not shown to have settled.
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(told.contains("--stages 20 --batch 6"), "{told}");
    assert!(
        told.contains("in which the 24 cycles that this stage has had are counted"),
        "{told}"
    );
    assert!(ends_with_the_caution(&output), "{told}");
    assert!(
        !told.contains("/deg") && told.contains("N·cm/° (−"),
        "{told}"
    );
    let stiffness = stiffnesses(&told);
    assert_eq!(stiffness.len(), 4, "{told}");
    // 21 of the 24 cycles lie between the first batch's middle and the last's, at 40 in which 63 % come about and 28 %
    // to be lost: some 9 % of the fresh stiffness.
    let share = stiffness[3] / stiffness[0];
    assert!((0.86..0.95).contains(&share), "{stiffness:?}");
    assert!(told.contains("still settling: "), "{told}");
    assert_eq!(cycles_before(&rig), [0.0, 6.0, 12.0, 18.0]);
    for path in recordings(&rig) {
        assert_eq!(key(&path, "outcome").as_deref(), Some("finished"));
        assert_eq!(key(&path, "purpose").as_deref(), Some("break-in"));
        assert_eq!(key(&path, "stage_deg").as_deref(), Some("20"));
    }
    let events = rig.events();
    let count = |what: &str| events.iter().filter(|e| e["what"] == what).count();
    assert_eq!((count("armed"), count("disarmed")), (4, 4));

    // Through: nothing moves any more.
    let again = break_in(&rig, &small).output().unwrap();
    let told = said(&again);
    assert!(
        told.contains("takes no time: nothing is left to be worked"),
        "{told}"
    );
    assert_eq!(again.status.code(), Some(1), "{told}");
    assert_eq!(recordings(&rig).len(), 4);
}

/// Makes every recording so many hours older.
fn older(rig: &Rig, hours: i64) {
    for path in recordings(rig) {
        let started = key(&path, "started").unwrap();
        let at: jiff::Timestamp = started.parse().unwrap();
        let earlier = at - jiff::SignedDuration::from_hours(hours);
        let bytes = std::fs::read(&path).unwrap();
        let from = bytes
            .windows(started.len())
            .position(|w| w == started.as_bytes())
            .unwrap();
        let new = [
            &bytes[..from],
            format!("{earlier:.0}").as_bytes(),
            &bytes[from + started.len()..],
        ]
        .concat();
        std::fs::write(&path, new).unwrap();
    }
}

/// The share in the last line that begins so, per cent as it stands there.
fn share(told: &str, after: &str) -> String {
    let rest = told.rsplit_once(after).unwrap().1;
    let (_, rest) = rest.split_once('(').unwrap();
    rest.split(')').next().unwrap().to_owned()
}

#[test]
fn a_re_check_tells_what_a_rest_gave_back_and_only_after_one() {
    let rig = simulated(&["--cycles-worked", "0"]);
    let small = ["--stages", "20", "--batch", "4", "--cycles-per-stage", "8"];
    assert_eq!(
        break_in(&rig, &small).output().unwrap().status.code(),
        Some(1)
    );
    let recheck = || {
        let output = break_in(&rig, &[&small[..], &["--recheck"]].concat())
            .output()
            .unwrap();
        (output.status.code(), said(&output))
    };
    let (status, told) = recheck();
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("let it rest for 12.0 h more"), "{told}");
    assert_eq!(recordings(&rig).len(), 2);

    older(&rig, 5);
    let (status, told) = recheck();
    assert_eq!(status, Some(1), "{told}");
    assert!(told.contains("would confirm after 7.0 h more"), "{told}");
    assert!(
        told.contains("rested after 5.0 h of rest, too short to confirm"),
        "{told}"
    );

    older(&rig, 14);
    let (status, told) = recheck();
    assert_eq!(status, Some(1), "{told}");
    assert!(
        told.contains("rested after 14.0 h of rest stiffness differs"),
        "{told}"
    );
    // One share, in the batch's line and below.
    assert_eq!(
        share(&told, "cycles worked: stiffness"),
        share(&told, "rested after")
    );
    assert!(!told.contains("last step"), "{told}");
    assert_eq!(recordings(&rig).len(), 4);
    assert_eq!(
        key(&recordings(&rig)[3], "purpose").as_deref(),
        Some("recheck")
    );
}

#[test]
fn a_dry_run_says_what_would_move_and_leaves_no_trace() {
    let rig = simulated(&[]);
    let output = break_in(&rig, &["--dry-run"]).output().unwrap();
    let told = said(&output);
    assert_eq!(output.status.code(), Some(0), "{told}");
    for wanted in [
        "WHAT WILL MOVE: left elevator, servo E1",
        "20°: −20.0° to +20.0°; 23.9°: −21.9° to +23.9°",
        "worked 0 cycles so far in all, by the logbook",
        "or at 60 cycles of its own; what was worked in others is not counted in",
        "stops from this run's second batch on at 25 % more torque",
        // By hand: 60 × 3.07 s and 60 × 3.45 s of cycles, 15 s to feel the way twice, 12 × 6.4 s of rests: 483 s.
        "takes about 9 min at the most",
        "°C at the case",
        "Nothing was moved (--dry-run).",
    ] {
        assert!(told.contains(wanted), "{wanted}: {told}");
    }
    assert!(!logbook(&rig).exists());
    assert!(rig.events().iter().all(|e| e["what"] != "armed"));
    // No line is broken where the terminal's width does not ask for it.
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let lines: Vec<&str> = text.lines().collect();
    for pair in lines.windows(2).filter(|p| p[1].starts_with("           ")) {
        let first = pair[1].split_whitespace().next().unwrap();
        let room = 80 - pair[0].chars().count();
        assert!(first.chars().count() >= room, "{pair:?}");
    }
}

#[test]
fn stopped_by_ctrl_c_it_says_that_it_goes_on_where_it_was() {
    let rig = simulated(&["--cycles-worked", "0"]);
    let child = break_in(&rig, &["--stages", "20", "--batch", "6"])
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
        Signal::SIGINT,
    )
    .unwrap();
    let output = child.wait_with_output().unwrap();
    let told = said(&output);
    assert_eq!(output.status.code(), Some(3), "{told}");
    let (_, at) = told.split_once("run it again: it goes on at ").unwrap();
    let at: f64 = at.split(' ').next().unwrap().parse().unwrap();
    assert!((6.0..12.0).contains(&at), "{told}");
    assert!(!told.contains("sweep again"), "{told}");
    assert!(ends_with_the_caution(&output), "{told}");
    // It is no stop that has to be decided on.
    let again = said(&break_in(&rig, &["--dry-run"]).output().unwrap());
    assert!(
        again.contains(&format!("worked {at:.0} cycles so far")),
        "{again}"
    );
    assert!(!again.contains("LAST STOP"), "{again}");
    // What each stage has had, and a batch that is there to be held against.
    assert!(
        again.contains(&format!("20°: −20.0° to +20.0°, {at:.0} cycles worked; ")),
        "{again}"
    );
    assert!(again.contains("stops at 25 % more torque"), "{again}");
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
    assert_eq!(output.status.code(), Some(1), "{told}");
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
    assert!(ends_with_the_caution(&output), "{told}");

    // Once more is not a matter of course: nothing is armed, and the stop is said with its numbers.
    let armed = |rig: &Rig| rig.events().iter().filter(|e| e["what"] == "armed").count();
    let small = ["--stages", "20", "--batch", "4"];
    let refused = break_in(&rig, &small).output().unwrap();
    let told = said(&refused);
    assert_eq!(refused.status.code(), Some(1), "{told}");
    assert!(told.contains("LAST STOP the batch begun on 20"), "{told}");
    assert!(
        told.contains(outcome.strip_prefix("unfinished: ").unwrap()),
        "{told}"
    );
    assert!(
        told.contains("--after-stop") && told.contains("hinge line for a tear"),
        "{told}"
    );
    assert_eq!((recordings(&rig).len(), armed(&rig)), (2, 2), "{told}");
    // Decided on: the bar is that of the first batch again, however often.
    for count in [3, 4] {
        let output = break_in(&rig, &[&small[..], &["--after-stop"]].concat())
            .output()
            .unwrap();
        let told = said(&output);
        assert_eq!(output.status.code(), Some(1), "{told}");
        let all = recordings(&rig);
        assert_eq!(all.len(), count, "{told}");
        let now = key(&all[count - 1], "outcome").unwrap();
        // What the plant asked in the first batch, wherever it is stopped this time; in the next it asked 44 % more.
        let (bar, deg) = (
            number(&now, "no more than ", " N·cm"),
            number(&now, "stopped at ", "°"),
        );
        let first = 2.7 * 0.2 * deg + 0.5;
        assert!((bar - first).abs() < 0.2 * first + 0.3, "{now}: {first}");
        assert_eq!(key(&all[count - 1], "after_stop").as_deref(), Some("yes"));
    }

    // With no eye on it live, the batch's own stiffness tells, beyond its uncertainty.
    let rig = simulated(&torn);
    let blind = ["--stages", "20", "--batch", "4", "--rise", "500"];
    let output = break_in(&rig, &blind).output().unwrap();
    let told = said(&output);
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(told.contains("STIFFER than before"), "{told}");
    assert_eq!(recordings(&rig).len(), 2, "{told}");
    let told = said(&break_in(&rig, &blind).output().unwrap());
    assert!(
        told.contains("it ended stiffer than the last sound batch: "),
        "{told}"
    );
    assert_eq!(recordings(&rig).len(), 2, "{told}");
    // Mended and noted, it is held against nothing older.
    let noted = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .args([
            "note",
            SURFACE,
            "pin changed",
            "--kind",
            "hinge-work",
            "--logbook",
        ])
        .arg(logbook(&rig))
        .output()
        .unwrap();
    assert!(noted.status.success());
    let output = break_in(&rig, &["--dry-run"]).output().unwrap();
    let told = said(&output);
    assert_eq!(output.status.code(), Some(0), "{told}");
    assert!(
        told.contains("noted hinge-work on 20") && !told.contains("LAST STOP"),
        "{told}"
    );
}

/// The number between two words of an outcome, its sign left off.
fn number(outcome: &str, after: &str, until: &str) -> f64 {
    let rest = outcome.split_once(after).unwrap().1;
    let text = rest.split_once(until).unwrap().0.replace('−', "");
    text.parse().unwrap()
}

/// Whether what was said on standard output ends with the caution that stands under every result.
fn ends_with_the_caution(output: &Output) -> bool {
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.trim_end()
        .ends_with("A bench result is no airworthiness statement.")
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
    assert_eq!(refused.status.code(), Some(2));
    let driven = simulated(&[]);
    let refused = break_in(&driven, &["--hand", "50"]).output().unwrap();
    assert_eq!(refused.status.code(), Some(2), "{}", said(&refused));
    // Ten strokes of a hand take some thirty-five of the rig's seconds.
    let worked = ["--hand", "50", "--seconds", "5"];
    for cycles in [50.0, 100.0] {
        let output = break_in(&rig, &worked).output().unwrap();
        let told = said(&output);
        assert_eq!(output.status.code(), Some(1), "{told}");
        // What is advised is what this rig takes.
        let (_, advised) = told.split_once(" next ").unwrap();
        assert!(advised.contains("--hand 50`"), "{told}");
        let before = *cycles_before(&rig).last().unwrap();
        assert!(before >= cycles && before < cycles + 30.0, "{told}");
    }
}
