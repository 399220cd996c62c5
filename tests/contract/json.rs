//! `check --json` and what stands around it: order, exit status, units, escape codes, closed pipes.

use std::io::{BufRead, BufReader};
use std::process::Stdio;

use hingewright::simulated::simulate;
use serde_json::Value;

use super::bench::{BY_TORQUE, Bench, OnFile, Ran, elevator, run};
use super::samples::{AIRCRAFT, KNEE, SAMPLES, SOUND};

fn check(recordings: &[&str], more: &[&str]) -> Ran {
    run([&["check"], recordings, &["--aircraft", AIRCRAFT], more].concat())
}

#[test]
fn every_recording_gives_one_line_in_the_order_named_and_keeps_the_contract() {
    let backwards: Vec<&str> = SAMPLES.iter().rev().copied().collect();
    let ran = check(&backwards, &["--json"]);
    let files: Vec<Value> = ran
        .results()
        .iter()
        .map(|r| r["recording"]["file"].clone())
        .collect();
    assert_eq!(files, backwards);
    assert!(ran.err.is_empty(), "{}", ran.err);
    assert!(ran.out.ends_with('\n'));
}

#[test]
fn exit_status_is_0_for_a_clean_recording_and_1_where_one_of_several_has_a_fault() {
    assert_eq!(check(&[SOUND], &["--json"]).status, 0);
    assert_eq!(check(&[SOUND, KNEE], &["--json"]).status, 1);
    assert_eq!(check(&[SOUND], &[]).status, 0);
    assert_eq!(check(&[KNEE], &[]).status, 1);
}

#[test]
fn an_unproven_recording_gives_exit_status_1() {
    let bench = Bench::new(&OnFile::default());
    let made = simulate(&elevator(&[hingewright::simulated::Channel::AngleDeg]), 3);
    let ran = bench.check_bytes("angle.log", &made.capture);
    assert_eq!(ran.result()["verdict"], "unproven");
    assert_eq!(ran.status, 1);
}

#[test]
fn an_unusable_file_among_good_ones_gives_exit_status_2_and_the_others_results_all_the_same() {
    let ran = check(&[SOUND, "samples/there-is-none.log", KNEE], &["--json"]);
    assert_eq!(ran.status, 2);
    let results = ran.results();
    assert_eq!(results.len(), 2);
    assert_eq!(results[0]["recording"]["file"], SOUND);
    assert_eq!(results[1]["recording"]["file"], KNEE);
    assert!(ran.err.contains("there-is-none.log"), "{}", ran.err);

    let shown = check(&[SOUND, "samples/there-is-none.log"], &[]);
    assert_eq!(shown.status, 2);
    assert!(
        shown.out.contains("left elevator") || shown.out.contains("Left elevator"),
        "{}",
        shown.out
    );
}

#[test]
fn a_surface_named_on_the_command_line_wins_over_the_recording_s_own() {
    let own = check(&[KNEE], &["--json"]).result();
    let named = check(&[KNEE], &["--json", "--surface", "left elevator"]).result();
    assert_eq!(own["recording"]["surface"], "right elevator");
    assert_eq!(named["recording"]["surface"], "left elevator");
    assert_eq!(named["curve"]["knees"], own["curve"]["knees"]);
}

#[test]
fn json_is_the_same_bytes_whatever_the_units_and_however_often_it_is_asked_for() {
    let plain = check(&SAMPLES, &["--json"]).out;
    assert_eq!(check(&SAMPLES, &["--json"]).out, plain, "not repeatable");
    for unit in ["kgcm", "ozin", "nm"] {
        assert_eq!(
            check(&SAMPLES, &["--json", "--units", unit]).out,
            plain,
            "{unit}"
        );
    }
}

#[test]
fn units_change_the_text_and_name_themselves() {
    for (unit, word) in [
        ("ncm", "N·cm"),
        ("kgcm", "kg·cm"),
        ("ozin", "oz·in"),
        ("nm", "N·m"),
    ] {
        let ran = check(&[KNEE], &["--units", unit]);
        assert!(ran.out.contains(word), "{unit}: {}", ran.out);
        if unit != "ncm" {
            // The keys of the aircraft file's limits carry N·cm in their names.
            let measured = ran.out.split("Limits").next().unwrap();
            assert!(!measured.contains("N·cm"), "{unit}: {measured}");
        }
    }
    check(&[KNEE], &["--units", "furlong"]).refused_with(&["furlong", "ncm"]);
}

#[test]
fn units_change_the_limits_in_the_text_too() {
    let ran = check(&[KNEE], &["--units", "kgcm"]);
    assert!(!ran.out.contains("N·cm"), "{}", ran.out);
}

#[test]
fn what_is_piped_has_no_escape_codes_in_it_and_no_line_wider_than_80_columns() {
    let ran = check(&SAMPLES, &[]);
    assert!(!ran.out.contains('\u{1b}'), "escape codes in a pipe");
    let widest = ran.out.lines().map(|l| l.chars().count()).max().unwrap();
    assert!(widest <= 80, "{widest} columns");
    let wrong = check(&["samples/there-is-none.log"], &[]);
    assert!(!wrong.err.contains('\u{1b}'), "{:?}", wrong.err);
}

#[test]
fn no_color_wins_over_a_terminal_that_is_asked_for_colour() {
    let coloured = |name: &str| {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_hingewright"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(["check", KNEE, "--aircraft", AIRCRAFT])
            .env_remove("NO_COLOR")
            .env("CLICOLOR_FORCE", "1")
            .env(name, "1")
            .output()
            .unwrap();
        output.stdout.contains(&0x1b)
    };
    assert!(
        coloured("ANYTHING_ELSE"),
        "colour can be forced into a pipe, or this test says nothing"
    );
    // Both are set: https://no-color.org asks that NO_COLOR decide unless a flag of the program says otherwise.
    assert!(!coloured("NO_COLOR"));
}

#[test]
fn a_reader_that_closes_the_pipe_after_one_line_is_no_fault() {
    for json in [true, false] {
        let mut arguments = vec!["check"];
        // Far more than a pipe holds, so that the writer does meet the closed end.
        for _ in 0..12 {
            arguments.extend(SAMPLES);
        }
        arguments.extend(["--aircraft", AIRCRAFT]);
        if json {
            arguments.push("--json");
        }
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_hingewright"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut first = String::new();
        BufReader::with_capacity(64, child.stdout.take().unwrap())
            .read_line(&mut first)
            .unwrap();
        let output = child.wait_with_output().unwrap();
        let err = String::from_utf8_lossy(&output.stderr);
        assert!(!first.is_empty());
        assert!(err.is_empty(), "{err}");
        // The samples have faults: the status says so, as if all had been read.
        assert_eq!(output.status.code(), Some(1));
    }
}

#[test]
fn the_text_never_calls_an_aircraft_safe_to_fly_and_names_every_verdict() {
    let out = check(&SAMPLES, &[]).out.to_lowercase();
    assert!(!out.contains("safe to fly"));
    for verdict in ["no fault found", "work needed", "do not fly"] {
        assert!(out.contains(verdict), "{verdict} missing in {out}");
    }
}

#[test]
fn help_and_version_are_no_fault_and_a_missing_argument_is_exit_status_2() {
    for arguments in [&["--help"][..], &["--version"], &["check", "--help"]] {
        assert_eq!(run(arguments).status, 0, "{arguments:?}");
    }
    run([] as [&str; 0]).refused_with(&["Usage"]);
    run(["check"]).refused_with(&["--aircraft", "RECORDING"]);
    run(["check", SOUND]).refused_with(&["--aircraft"]);
    run(["check", "--aircraft", AIRCRAFT]).refused_with(&["RECORDING"]);
    run(["chek"]).refused_with(&["check"]);
    check(&[SOUND], &["--jsn"]).refused_with(&["--json"]);
}

#[test]
fn a_repeated_recording_is_judged_each_time_alike() {
    let bench = Bench::new(&OnFile::default());
    let path = bench.put("a.log", simulate(&elevator(BY_TORQUE), 4).capture);
    let results = bench.check(&[&path, &path, &path], &[]).results();
    assert_eq!(results.len(), 3);
    assert!(results.iter().all(|r| *r == results[0]));
}

#[test]
fn a_report_is_never_written_over_a_file_that_is_read() {
    let bench = Bench::new(&OnFile::default());
    let recording = bench.put("keep.log", simulate(&elevator(BY_TORQUE), 61).capture);
    for target in [recording.clone(), bench.path("aircraft.toml")] {
        let before = std::fs::read(&target).unwrap();
        let ran = bench.check(&[&recording], &["--report", target.to_str().unwrap()]);
        ran.refused_with(&["--report"]);
        assert_eq!(
            std::fs::read(&target).unwrap(),
            before,
            "{}",
            target.display()
        );
    }
}

#[test]
fn a_surface_named_against_what_the_recording_says_is_judged_as_told_and_said() {
    let ran = check(&[KNEE], &["--json", "--surface", "left aileron"]);
    let result = ran.result();
    assert_eq!(result["recording"]["surface"], "left aileron");
    super::bench::has_finding(
        &result,
        "bad-data",
        "watch",
        &["right elevator", "left aileron"],
    );
}

#[test]
fn three_cycles_are_enough_for_a_tight_spot_of_twice_the_limit() {
    let mut scenario = elevator(BY_TORQUE);
    if let hingewright::simulated::Programme::Sweep(sweep) = &mut scenario.programme {
        sweep.cycles = 3;
    }
    scenario.plant.hinge.tight_spots = vec![hingewright::simulated::TightSpot {
        at_deg: 7.0,
        height_ncm: 6.0,
        width_deg: 2.5,
        when: hingewright::simulated::When::Both,
        bump: hingewright::simulated::Bump::RaisedCosine,
    }];
    for seed in 70..80 {
        let bench = Bench::new(&OnFile::default());
        let result = bench
            .check_bytes("three.log", simulate(&scenario, seed).capture)
            .result();
        super::bench::has_finding(&result, "tight-spot", "work", &["both ways"]);
    }
}
