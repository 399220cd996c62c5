//! `simulate` over its pseudo-terminal, with a host written by hand.

use std::time::{Duration, Instant};

use nix::sys::signal::Signal;

use super::host::{Host, Rig, payload};

const ELEVATOR: [&str; 4] = [
    "--aircraft",
    "samples/aircraft.toml",
    "--surface",
    "left elevator",
];

#[test]
fn a_host_that_comes_late_is_told_who_the_rig_is_and_hears_what_is_now() {
    let rig = Rig::start(&[]);
    std::thread::sleep(Duration::from_millis(1500));
    let mut host = Host::open(&rig.link());
    let hello = host.listen("", 1.0, false).unwrap();
    assert!(hello.starts_with("RIG,1,"), "{hello}");
    assert_eq!(host.ask("ASK,7"), "OK,7");
    // What was said to nobody is lost: the first sample is one of now, not of the rig's start.
    let _ = host.listen("S,", 0.5, false);
    assert!(host.seqs()[0] > 200, "{:?}", host.seqs());
    assert_eq!(host.damaged, 0);
}

#[test]
fn a_sweep_by_hand_reaches_the_throws_of_the_aircraft_file() {
    let rig = Rig::start(&[&ELEVATOR[..], &["--fast", "10"]].concat());
    let mut host = Host::open(&rig.path);
    assert_eq!(host.ask("ASK,1"), "OK,1");
    assert_eq!(host.ask("LIMIT,2,current_ma=3500,stall_ms=300"), "OK,2");
    assert!(host.ask("GO,3,1500,0").starts_with("NO,3,not-armed"));
    assert_eq!(host.ask("ARM,4"), "OK,4");
    for (id, pulse) in [(5, 1860), (6, 1140), (7, 1500)] {
        assert_eq!(
            host.ask(&format!("GO,{id},{pulse},400")),
            format!("OK,{id}")
        );
        assert_eq!(
            host.event("arrived,", 3.0, true),
            Some(format!("arrived,{pulse}"))
        );
        let _ = host.listen("nothing", 0.1, true);
    }
    assert_eq!(host.ask("DISARM,8"), "OK,8");
    let angles = host.column(1);
    let (low, high) = angles.iter().fold((0.0_f64, 0.0_f64), |(low, high), a| {
        (low.min(*a), high.max(*a))
    });
    // The file's throws are 24 mm up and 22 mm down on 58 mm: 23.9° and 21.9°.
    assert!(high > 23.9 && low < -21.9, "{low} {high}");
    assert!(
        host.seqs()
            .windows(2)
            .all(|pair| pair[1].wrapping_sub(pair[0]) == 1)
    );
    assert_eq!(host.damaged, 0);
    let sent = rig.sent();
    assert!(host.heard.iter().all(|said| sent.contains(said.as_str())));
}

#[test]
fn a_host_that_falls_silent_is_missed_within_half_a_second_by_the_wall_s_clock() {
    let rig = Rig::start(&["--fast", "5"]);
    let mut host = Host::open(&rig.link());
    assert_eq!(host.ask("ARM,1"), "OK,1");
    let _ = host.listen("nothing", 0.8, true);
    let event = host.event("host-lost,", 2.0, false).expect("it is missed");
    let ms: f64 = event.trim_start_matches("host-lost,").parse().unwrap();
    assert!((500.0..=600.0).contains(&ms), "{ms}");
    let events = rig.events();
    let lost = events
        .iter()
        .find(|event| event["what"] == "disarmed")
        .unwrap();
    assert_eq!(lost["reason"], "host-lost");
    let after_ms =
        lost["t_wall_ms"].as_f64().unwrap() - lost["last_pulse_wall_ms"].as_f64().unwrap();
    assert!((0.0..20.0).contains(&after_ms), "{after_ms}");
    assert!(host.ask("GO,2,1500,0").starts_with("NO,2,not-armed"));
}

#[test]
fn a_pulled_cable_hangs_up_the_port_and_the_rig_disarms_by_itself() {
    let mut rig = Rig::start(&["--from-arming", "--unplug-after", "0.5"]);
    let link = rig.link();
    let mut host = Host::open(&link);
    assert_eq!(host.ask("ARM,1"), "OK,1");
    let began = Instant::now();
    let _ = host.listen("nothing", 3.0, true);
    assert!(host.hung_up && began.elapsed() < Duration::from_millis(1500));
    assert!(rig.ended().success());
    let whats: Vec<String> = rig
        .events()
        .iter()
        .map(|e| e["what"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(
        whats,
        ["started", "armed", "unplugged", "disarmed", "ended"]
    );
    assert!(link.symlink_metadata().is_err(), "the link is gone");
}

#[test]
fn a_restart_is_a_silence_and_then_a_new_beginning() {
    let rig = Rig::start(&["--from-arming", "--restart-after", "0.3"]);
    let mut host = Host::open(&rig.link());
    assert_eq!(host.ask("ARM,1"), "OK,1");
    let _ = host.listen("nothing", 0.8, true);
    let before = host.heard.len();
    let began = Instant::now();
    let hello = host.listen("", 3.0, true).unwrap();
    assert!(hello.starts_with("RIG,1,"), "{hello}");
    assert!(began.elapsed() > Duration::from_millis(700));
    let _ = host.listen("S,", 0.5, false);
    let first = host.heard[before..]
        .iter()
        .find(|said| said.starts_with("S,"))
        .unwrap();
    assert!(first.starts_with("S,0,"), "{first}");
    assert!(host.ask("GO,2,1500,0").starts_with("NO,2,not-armed"));
}

#[test]
fn damage_reaches_the_host_and_the_file_of_what_was_sent_stays_whole() {
    let rig = Rig::start(&["--damage", "0.002", "--lose", "0.001", "--fast", "5"]);
    let mut host = Host::open(&rig.link());
    let _ = host.listen("nothing", 1.0, false);
    assert!(host.damaged > 20, "{}", host.damaged);
    let sent = rig.sent();
    assert!(sent.lines().all(|line| payload(line.as_bytes()).is_some()));
    // A line is some 40 bytes, so about one in nine is harmed.
    let share = host.damaged as f64 / sent.lines().count() as f64;
    assert!((0.06..0.20).contains(&share), "{share}");
}

#[test]
fn a_host_that_does_not_read_loses_whole_lines_and_stops_no_safety_timer() {
    let rig = Rig::start(&["--fast", "20"]);
    let port = std::fs::OpenOptions::new()
        .read(true)
        .write(true)
        .open(rig.link())
        .unwrap();
    let arm = format!("ARM,1*{:04X}\n", super::host::crc(b"ARM,1"));
    std::io::Write::write_all(&mut &port, arm.as_bytes()).unwrap();
    std::thread::sleep(Duration::from_millis(1500));
    let lost = rig
        .events()
        .into_iter()
        .find(|event| event["what"] == "disarmed");
    let lost = lost.expect("it disarms though nobody reads");
    assert_eq!(lost["reason"], "host-lost");
    // Now it is read after all: old lines and new, each whole, with a gap in the count between.
    let mut host = Host::open(&rig.link());
    let _ = host.listen("nothing", 0.5, false);
    assert!(
        host.seqs()
            .windows(2)
            .any(|pair| pair[1].wrapping_sub(pair[0]) > 100)
    );
    assert_eq!(host.damaged, 0);
}

#[test]
fn hosts_come_and_go_and_the_board_that_resets_does_so_for_each() {
    let rig = Rig::start(&["--reset-on-open"]);
    for _ in 0..2 {
        let mut host = Host::open(&rig.link());
        let began = Instant::now();
        let hello = host.listen("RIG,", 3.0, false).unwrap();
        assert!(began.elapsed() > Duration::from_millis(1300), "{hello}");
        assert_eq!(host.ask("ASK,1"), "OK,1");
    }
    let restarts = rig
        .events()
        .into_iter()
        .filter(|event| event["what"] == "restarted");
    assert_eq!(restarts.count(), 2);
}

#[test]
fn signals_and_time_end_it_cleanly() {
    for signal in [Signal::SIGTERM, Signal::SIGINT] {
        let mut rig = Rig::start(&[]);
        assert_eq!(std::fs::read_link(rig.link()).unwrap(), rig.path);
        rig.signal(signal);
        assert!(rig.ended().success());
        assert!(rig.link().symlink_metadata().is_err());
    }
    let began = Instant::now();
    let mut rig = Rig::start(&["--for", "0.4"]);
    assert!(rig.ended().success());
    assert!((0.4..3.0).contains(&began.elapsed().as_secs_f64()));
}

/// What `simulate` says on standard error when it cannot start.
fn refusal(options: &[&str]) -> String {
    let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .arg("simulate")
        .args(options)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2), "{options:?}");
    String::from_utf8(output.stderr).unwrap()
}

#[test]
fn what_cannot_be_is_refused_with_a_remedy() {
    let folder = tempfile::TempDir::new().unwrap();
    let taken = folder.path().join("kept");
    std::fs::write(&taken, "mine").unwrap();
    let message = refusal(&["--link", taken.to_str().unwrap()]);
    assert!(
        message.contains("no link to a rig") && message.contains("--link"),
        "{message}"
    );
    assert_eq!(std::fs::read_to_string(&taken).unwrap(), "mine");
    let plant = folder.path().join("plant.toml");
    std::fs::write(&plant, "[hinge]\nfrictionn_ncm = 3\n").unwrap();
    let message = refusal(&["--plant", plant.to_str().unwrap()]);
    assert!(
        message.contains("line 2") && message.contains("did you mean \"friction_ncm\""),
        "{message}"
    );
    let message = refusal(&["--aircraft", "samples/aircraft.toml", "--surface", "canard"]);
    assert!(message.contains("\"rudder\""), "{message}");
    assert!(refusal(&["--channels", "angle"]).contains("angle_deg"));
}

#[test]
fn a_link_left_by_a_rig_that_is_gone_is_replaced() {
    let folder = tempfile::TempDir::new().unwrap();
    let link = folder.path().join("rig");
    std::os::unix::fs::symlink("/dev/pts/99999", &link).unwrap();
    let mut rig = Rig::start(&["--for", "0.3"]);
    assert!(rig.ended().success());
    let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .args(["simulate", "--for", "0.2", "--link"])
        .arg(&link)
        .output()
        .unwrap();
    assert!(output.status.success());
    assert!(
        String::from_utf8(output.stdout)
            .unwrap()
            .contains(&format!("linked at {}", link.display()))
    );
    assert!(link.symlink_metadata().is_err());
}
