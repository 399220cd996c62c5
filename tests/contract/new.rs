//! `new` from outside: answers through a pipe, and what `check` makes of the file.

use std::path::Path;

use assert_cmd::Command;
use hingewright::simulated::simulate;

use super::bench::{BY_TORQUE, elevator, run};

struct Asked {
    status: i32,
    out: String,
    err: String,
}

fn new(file: &Path, layout: &str, answers: &str) -> Asked {
    let output = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .arg("new")
        .arg(file)
        .args(["--layout", layout])
        .write_stdin(answers)
        .output()
        .unwrap();
    Asked {
        status: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// A surface with its opposite number, alike: mark, kind, its numbers, the other's mark and kind.
const ELEVATORS: &str = "yes\nE1\nmetal gear\n21 kg·cm\n7.4\n0.15\n0.09\n58\n\n24\n22\n\n18\n22\n97\n95\n340\n190\n306 km/h\nE2\n\nyes\n";
const NO_MORE: &str = "no\nno\nno\n";

#[test]
fn answers_through_a_pipe_make_a_file_that_check_takes() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("my-jet.toml");
    let asked = new(
        &file,
        "one-rudder",
        &format!("Dunlin\n{ELEVATORS}{NO_MORE}"),
    );
    assert_eq!(asked.status, 0, "{}\n{}", asked.out, asked.err);
    let said = asked.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "hinge line",
        "written: ",
        "hingewright calibrate angle \"left elevator\" --port PATH",
        "hingewright calibrate servo E1 --port PATH",
    ] {
        assert!(said.contains(words), "no {words:?} in {said}");
    }
    let recording = folder.path().join("a.log");
    std::fs::write(&recording, simulate(&elevator(BY_TORQUE), 8).capture).unwrap();
    let ran = run([
        "check",
        "--json",
        recording.to_str().unwrap(),
        "--aircraft",
        file.to_str().unwrap(),
    ]);
    let result = ran.result();
    assert_eq!(result["recording"]["surface"], "left elevator");
    assert_eq!(result["throws"][0]["asked_mm"], 24.0);
    let text = std::fs::read_to_string(&file).unwrap();
    for line in [
        "name = \"Dunlin\"",
        "stall_torque_ncm = 205.9397",
        "pair = \"left elevator\"",
        "fastest_m_s = 85",
        "rod_mm = 95",
    ] {
        assert!(text.contains(line), "no {line} in {text}");
    }
}

/// What comes behind it would answer the wrong question.
#[test]
fn an_answer_from_a_pipe_that_is_not_taken_ends_it_with_the_question_and_the_reason() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("my-jet.toml");
    let answers = format!("Dunlin\n{ELEVATORS}{NO_MORE}").replacen("\n58\n", "\n58 m\n", 1);
    let asked = new(&file, "one-rudder", &answers);
    assert_eq!(asked.status, 2, "{}", asked.out);
    let said = asked.err.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "chord, hinge line to trailing edge",
        "\"58 m\"",
        "\"m\" is no unit here",
        "nothing was written",
    ] {
        assert!(said.contains(words), "no {words:?} in {said}");
    }
    assert!(!file.exists());
}

#[test]
fn every_layout_makes_a_file_and_what_is_unknown_is_a_comment() {
    let folder = tempfile::tempdir().unwrap();
    let kind = "metal gear\n210\n7.4\nunknown\nunknown\n";
    let numbers = "58\n\n24\n22\n\nunknown\nunknown\n";
    let pair = |first: bool| format!("\n\n{}{numbers}\n\n\n", if first { kind } else { "\n" });
    let single = "\n\n\n58\n\n24\n22\n\nunknown\nunknown\n";
    for (layout, groups, surfaces) in [
        (
            "one-rudder",
            format!("{}{}{}{single}", pair(true), pair(false), pair(false)),
            7,
        ),
        (
            "two-rudders",
            format!(
                "{}{}{}{}",
                pair(true),
                pair(false),
                pair(false),
                pair(false)
            ),
            8,
        ),
        (
            "v-tail",
            format!("{}{}{}", pair(true), pair(false), pair(false)),
            6,
        ),
        ("delta", format!("{}{single}", pair(true)), 3),
        ("own", format!("airbrake\nB1\n{kind}no\n{numbers}none\n"), 1),
    ] {
        let file = folder.path().join(format!("{layout}.toml"));
        let asked = new(&file, layout, &format!("Dunlin\n{groups}"));
        assert_eq!(asked.status, 0, "{layout}: {}\n{}", asked.out, asked.err);
        let text = std::fs::read_to_string(&file).unwrap();
        assert_eq!(
            text.matches("[[surface]]").count(),
            surfaces,
            "{layout}: {text}"
        );
        assert_eq!(text.matches("# [surface.linkage]").count(), surfaces);
        assert!(text.contains("# arm_deg_per_us"));
    }
}

#[test]
fn a_file_that_is_there_is_kept_and_answers_that_end_early_write_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("my-jet.toml");
    let asked = new(&file, "one-rudder", "Dunlin\nyes\nE1\n");
    assert_eq!(asked.status, 2);
    assert!(
        asked
            .err
            .contains("the answers ended at \"Which kind of servo"),
        "{}",
        asked.err
    );
    assert!(!file.exists());
    let asked = new(&file, "delta", "Dunlin\nquit\n");
    assert!(asked.status == 2 && asked.err.contains("stopped as asked") && !file.exists());
    std::fs::write(&file, "mine").unwrap();
    let asked = new(&file, "delta", "");
    assert!(
        asked.status == 2 && asked.err.contains("there already"),
        "{}",
        asked.err
    );
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "mine");
    let asked = new(&folder.path().join("typo/my-jet.toml"), "delta", "");
    assert!(
        asked.status == 2 && asked.err.contains("no folder"),
        "{}",
        asked.err
    );
}
