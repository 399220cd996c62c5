//! The first evening of firmware-notes/calibrating.md, command by command as the page has it, from an empty folder.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use super::built::{Board, built, hingewright, told};

const PAGE: &str = include_str!("../../firmware-notes/calibrating.md");

/// Aircraft, one surface with its servo, the data sheet, no rudder, chord and throws, linkage; nothing of the air; no more surfaces.
const ANSWERS: &str = "My Jet\nleft elevator\nE1\nmetal gear\n210\n7.4\nunknown\n0.09\nno\n58\n\n22\n20\n\n20\n20\n95\n95\nunknown\nnone\n";

/// The commands that stand on lines of their own.
fn commands() -> Vec<&'static str> {
    let own = PAGE.lines().filter(|line| line.starts_with("       "));
    own.map(str::trim)
        .filter(|line| line.starts_with("hingewright ") || line.starts_with("mkdir "))
        .collect()
}

/// The words of a command as a shell takes them apart, with quotes around a name.
fn words(command: &str) -> Vec<&str> {
    let parts = command.split('"').enumerate();
    parts
        .flat_map(|(at, part)| match at % 2 {
            0 => part.split_whitespace().collect::<Vec<_>>(),
            _ => vec![part],
        })
        .collect()
}

fn answered(command: &mut Command) -> bool {
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let mut answers = child.stdin.take().unwrap();
    answers.write_all(ANSWERS.as_bytes()).unwrap();
    drop(answers);
    child.wait().unwrap().success()
}

fn run(command: &str, folder: &Path, port: &str) {
    let command = command.replace("/dev/ttyUSB0", port);
    let all = words(&command);
    let mut program = if all[0] == "mkdir" {
        Command::new("mkdir")
    } else {
        hingewright()
    };
    program.args(&all[1..]).current_dir(folder);
    match all[1] {
        "new" => return assert!(answered(&mut program), "{command}"),
        "servo" | "calibrate" | "sweep" if all.last() != Some(&"--dry-run") => {
            program.arg("--dry-run");
        }
        _ => {}
    }
    let (text, code) = told(&mut program);
    assert_eq!(code, 0, "{command}\n{text}");
}

/// `calibrate angle` stood there with a logbook that nothing before it was sure to have begun.
#[test]
fn every_command_of_the_first_evening_works_as_written_from_an_empty_folder() {
    let Some(out) = built() else { return };
    let board = Board::start(out, "driven.elf", &[]);
    let port = board.port().display().to_string();
    let folder = tempfile::TempDir::new().unwrap();
    let commands = commands();
    for command in &commands {
        run(command, folder.path(), &port);
    }
    for step in [
        "new ",
        "doctor ",
        "servo ",
        "calibrate servo ",
        "calibrate angle ",
        "sweep ",
    ] {
        let there = commands
            .iter()
            .any(|command| command[12.min(command.len())..].starts_with(step));
        assert!(there, "the page has no {step}");
    }
}
