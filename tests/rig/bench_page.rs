//! The live page's work as its user meets it: who may move what, what is shown, and every way to stop it.

use std::process::Command;
use std::time::{Duration, Instant};

use nix::sys::signal::Signal;
use serde_json::{Value, json};

use super::bench::{Bench, PLACE, SURFACE, now_ms};

fn key(path: &std::path::Path, name: &str) -> String {
    let text = String::from_utf8_lossy(&std::fs::read(path).unwrap()).into_owned();
    let of = |line: &str| line.strip_prefix(&format!("# {name}=")).map(str::to_owned);
    text.lines().filter_map(of).next_back().unwrap()
}

#[test]
fn from_pick_to_verdict_the_page_is_told_what_check_says_of_the_recording_kept() {
    let bench = Bench::start(&["--fast", "10", "--tight-spot", "-11:6"]);
    let mut page = bench.ready("one");
    page.cycling("sweep");
    page.until("a finding while it moves", |p| {
        p.run()["doing"] == "moving"
            && p.run()["findings"]
                .as_array()
                .is_some_and(|f| !f.is_empty())
    });
    let early = page.run()["findings"][0]["kind"].clone();
    assert_eq!(early, "tight-spot");
    let run = page.over();
    assert_eq!(run["ended"]["how"], "whole", "{run:#}");
    assert!(page.points > 1000);
    let check = &run["verdict"]["check"];
    let recording = run["recording"].as_str().unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .current_dir(bench.logbook())
        .args(["check", recording, "--aircraft", "aircraft.toml", "--json"])
        .output()
        .unwrap();
    let said: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(*check, said);
    assert_eq!(run["verdict"]["word"], said["verdict"]);
    let texts = |of: &Value| -> Vec<Value> {
        of.as_array()
            .unwrap()
            .iter()
            .map(|f| f["text"].clone())
            .collect()
    };
    assert_eq!(texts(&run["findings"]), texts(&said["findings"]));
    assert!(!texts(&said["findings"]).is_empty());
    assert!(run["notes"].is_array());
    // The next page knows how it stood, and draws it behind.
    page.wish(&json!({"ask": "sweep", "surface": SURFACE}));
    page.until("the session behind", |p| {
        p.run()["behind"]["points"].is_array()
    });
    assert!(page.run()["behind"]["points"].as_array().unwrap().len() > 500);
    page.until("how it stood", |p| {
        p.state["surfaces"][PLACE]["last"]["verdict"] == said["verdict"]
    });
    page.wish(&json!({"ask": "stop"}));
    page.over();
}

#[test]
fn nothing_moves_before_a_surface_is_shown_and_named_and_the_cautions_are_confirmed() {
    let bench = Bench::start(&["--fast", "10"]);
    let mut page = bench.page("one");
    page.until("the rig", |p| p.state["rig"]["there"] == true);
    let sweep = |surface: &str| json!({"ask": "sweep", "surface": surface});
    let mut refused = |wish: &Value, with: &str| {
        let known = page.refused.len();
        page.wish(wish);
        page.until("a refusal", |p| p.refused.len() > known);
        let words = page.refused.last().unwrap();
        assert!(words.contains(with), "{words}");
    };
    refused(&sweep(SURFACE), "pick a surface first");
    refused(&json!({"ask": "pick", "surface": 99}), "no such surface");
    page.wish(&json!({"ask": "pick", "surface": PLACE}));
    let mut refused = |wish: &Value, with: &str| {
        let known = page.refused.len();
        page.wish(wish);
        page.until("a refusal", |p| p.refused.len() > known);
        let words = page.refused.last().unwrap();
        assert!(words.contains(with), "{words}");
    };
    refused(&sweep(SURFACE), "cautions");
    page.wish(&json!({"ask": "confirm"}));
    let known = page.refused.len();
    page.wish(&sweep("right elevator"));
    page.until("a refusal", |p| p.refused.len() > known);
    page.wish(&json!({"ask": "listen", "surface": SURFACE}));
    page.until("a refusal", |p| p.refused.len() > known + 1);
    // For another surface than the one that the rig was said to be on it is asked again.
    page.wish(&json!({"ask": "pick", "surface": 1}));
    page.until("the other", |p| {
        p.state["picked"] == 1 && p.told["wired"] == false
    });
    let known = page.refused.len();
    page.wish(&sweep("right elevator"));
    page.until("a refusal", |p| p.refused.len() > known);
    let words = page.refused.last().unwrap().clone();
    assert!(words.contains("the rig is on this surface"), "{words}");
    page.wish(&json!({"ask": "pick", "surface": PLACE}));
    page.until("the first", |p| p.told["wired"] == true);
    assert!(bench.rig.events().iter().all(|e| e["what"] != "armed"));
    // And then it does.
    page.cycling("sweep");
    assert!(bench.noted("armed", Duration::from_secs(1)).is_some());
    page.wish(&json!({"ask": "stop"}));
    page.over();
}

#[test]
fn stop_disarms_the_rig_within_200_ms_and_what_was_recorded_is_kept() {
    for watcher in [false, true] {
        let bench = Bench::start(&["--fast", "4"]);
        let mut page = bench.ready("one");
        let mut other = bench.page("two");
        page.cycling("sweep");
        let asked = now_ms();
        let stopper = if watcher { &mut other } else { &mut page };
        stopper.wish(&json!({"ask": "stop"}));
        let took = bench.disarmed() - asked;
        assert!(took < 200.0, "{took} ms");
        let run = page.over();
        assert_eq!(run["ended"]["how"], "stopped");
        assert_eq!(run["ended"]["disarmed"], true);
        assert_eq!(run["verdict"], Value::Null);
        let recording = bench.logbook().join(run["recording"].as_str().unwrap());
        assert!(key(&recording, "outcome").contains("Stop was pressed"));
        // The line is opened anew, and the next run goes.
        page.until("the rig again", |p| p.state["rig"]["there"] == true);
        page.cycling("sweep");
        page.wish(&json!({"ask": "stop"}));
        page.over();
    }
}

#[test]
fn a_page_that_is_lost_or_closed_in_mid_sweep_stops_it_within_a_second_and_hears_why_when_it_is_back()
 {
    for closed in [true, false] {
        let bench = Bench::start(&["--fast", "4"]);
        let mut page = bench.ready("one");
        page.cycling("sweep");
        let gone = now_ms();
        let held = if closed {
            drop(page);
            None
        } else {
            // Its connection stays open, as that of a phone out of reach does.
            Some(page)
        };
        let took = bench.disarmed() - gone;
        assert!(took < 1000.0, "{took} ms");
        let mut back = bench.page("one");
        let run = back.over();
        assert_eq!(run["ended"]["how"], "stopped");
        let why = run["ended"]["what"].as_str().unwrap();
        assert!(
            why.contains(if closed {
                "was closed"
            } else {
                "nothing was heard"
            }),
            "{why}"
        );
        // It is the same page, which has confirmed.
        back.until("its place", |p| {
            p.told["drives"] == true && p.told["confirmed"] == true
        });
        drop(held);
    }
}

#[test]
fn of_two_pages_one_drives_and_the_other_watches_until_it_takes_over() {
    let bench = Bench::start(&["--fast", "4"]);
    let mut one = bench.ready("one");
    let mut two = bench.page("two");
    two.until("its place", |p| p.told["drives"] == false);
    two.wish(&json!({"ask": "sweep", "surface": SURFACE}));
    two.until("a refusal", |p| !p.refused.is_empty());
    assert!(
        two.refused[0].contains("another page drives"),
        "{:?}",
        two.refused
    );
    one.cycling("sweep");
    // It sees the same, and may not take over in mid-run.
    let began = Instant::now();
    while two.points < 200 && began.elapsed() < Duration::from_secs(20) {
        one.live();
        two.live();
    }
    assert!(two.points >= 200);
    two.wish(&json!({"ask": "drive"}));
    while two.refused.len() < 2 && began.elapsed() < Duration::from_secs(20) {
        one.live();
        two.live();
    }
    assert!(
        two.refused[1].contains("another page drives a run"),
        "{:?}",
        two.refused
    );
    one.wish(&json!({"ask": "stop"}));
    one.over();
    two.wish(&json!({"ask": "drive"}));
    two.until("its place", |p| p.told["drives"] == true);
    // It has not confirmed anything itself.
    two.wish(&json!({"ask": "sweep", "surface": SURFACE}));
    two.until("a refusal", |p| p.refused.len() == 3);
    assert!(two.refused[2].contains("cautions"), "{:?}", two.refused);
}

#[test]
fn a_hinge_worked_in_shows_each_batch_and_a_stop_between_two_ends_it() {
    let bench = Bench::start(&["--fast", "10", "--cycles-worked", "0"]);
    let mut page = bench.ready("one");
    page.wish(&json!({"ask": "break-in", "surface": SURFACE}));
    page.until("its second batch", |p| {
        p.run()["fall"]["batches"]
            .as_array()
            .is_some_and(|b| b.len() == 2)
    });
    let batches = page.run()["fall"]["batches"].clone();
    let stiffness = |i: usize| -> f64 {
        let words = batches[i]["stiffness"].as_str().unwrap();
        words.split(' ').next().unwrap().parse().unwrap()
    };
    assert!(stiffness(1) < stiffness(0), "{batches:#}");
    page.wish(&json!({"ask": "stop"}));
    let run = page.over();
    assert_eq!(run["ended"]["how"], "stopped", "{run:#}");
    bench.disarmed();
    // Where it was, it goes on.
    page.until("the rig again", |p| p.state["rig"]["there"] == true);
    page.wish(&json!({"ask": "break-in", "surface": SURFACE}));
    page.until("what was worked", |p| {
        p.run()["stage"]
            .as_str()
            .is_some_and(|s| s.contains("2") && s.contains("cycles worked"))
    });
    page.wish(&json!({"ask": "stop"}));
    page.over();
}

#[test]
fn a_rig_that_only_measures_is_recorded_until_it_is_enough() {
    let bench = Bench::start(&["--passive", "--fast", "10"]);
    let mut page = bench.ready("one");
    assert_eq!(page.state["rig"]["drives"], false);
    page.wish(&json!({"ask": "listen", "surface": SURFACE}));
    page.until("strokes", |p| p.points > 8000);
    page.wish(&json!({"ask": "enough"}));
    let run = page.over();
    assert_eq!(run["ended"]["how"], "whole", "{run:#}");
    assert!(run["verdict"]["word"].is_string());
}

#[test]
fn a_rig_that_is_unplugged_is_said_and_found_again_when_it_is_back() {
    let bench = Bench::start(&["--fast", "4", "--restart-after", "9"]);
    let mut page = bench.ready("one");
    page.wish(&json!({"ask": "sweep", "surface": SURFACE}));
    let run = page.over();
    assert_eq!(run["ended"]["how"], "failed", "{run:#}");
    assert!(
        run["ended"]["what"].as_str().unwrap().contains("restarted"),
        "{run:#}"
    );
    assert!(run["ended"]["hint"].is_string());
    page.until("the rig again", |p| p.state["rig"]["there"] == true);
}

#[test]
fn ctrl_c_stops_what_runs_keeps_it_and_ends_the_page() {
    let bench = Bench::start(&["--fast", "4"]);
    let mut page = bench.ready("one");
    page.cycling("sweep");
    let recording = bench
        .logbook()
        .join(page.run()["recording"].as_str().unwrap());
    let asked = now_ms();
    bench.signal(Signal::SIGINT);
    let took = bench.disarmed() - asked;
    assert!(took < 200.0, "{took} ms");
    let outcome = {
        let (status, said) = bench_ended(bench, &recording);
        assert_eq!(status.code(), Some(0));
        assert!(said.0.contains("what was recorded is kept"), "{}", said.0);
        said.1
    };
    assert!(outcome.contains("Ctrl-C"), "{outcome}");
}

/// Ends the bench and reads a recording's outcome before its folder goes.
fn bench_ended(
    bench: Bench,
    recording: &std::path::Path,
) -> (std::process::ExitStatus, (String, String)) {
    let began = Instant::now();
    while !std::fs::read_to_string(recording)
        .is_ok_and(|t| t.contains("# outcome=unfinished: stopped"))
    {
        assert!(began.elapsed() < Duration::from_secs(10));
        std::thread::sleep(Duration::from_millis(5));
    }
    let outcome = key(recording, "outcome");
    let (status, said) = bench.ended();
    (status, (said, outcome))
}
