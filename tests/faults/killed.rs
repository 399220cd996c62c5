//! The host dies, the cable is pulled: at random moments.

use nix::sys::signal::Signal;
use std::time::Duration;

use super::bench::{Bench, FAST, now_ms, options, pause_ms};
use super::campaign::{Run, campaign, moments, runs};

/// From the host's start to a moment near the end of its sweep, ms.
const WHOLE_MS: (f64, f64) = (300.0, 2400.0);
/// Where a sweep was quicker than that: this much sooner, so often.
const SOONER: f64 = 0.7;
const TRIES: i32 = 5;

#[test]
fn a_host_that_is_killed_leaves_a_disarmed_rig_and_all_but_the_last_quarter_second() {
    let moments = moments(1, runs(7, 100), WHOLE_MS.0, WHOLE_MS.1);
    let job = |after_ms: f64| move || killed(after_ms).unwrap_or_else(|| panic!("no kill in time"));
    campaign(
        "kill -9 of the host",
        1,
        moments
            .into_iter()
            .map(|ms| Box::new(job(ms)) as _)
            .collect(),
    );
}

#[test]
fn a_cable_that_is_pulled_is_named_and_what_came_before_is_kept() {
    // By the rig's clock from the first arming on, s.
    let moments = moments(2, runs(7, 100), 0.0, 1e-3 * FAST * (WHOLE_MS.1 - 600.0));
    let job = |after_s: f64| {
        move || unplugged(after_s).unwrap_or_else(|| panic!("not unplugged in time"))
    };
    campaign(
        "the cable pulled",
        1,
        moments.into_iter().map(|s| Box::new(job(s)) as _).collect(),
    );
}

/// A run whose host is killed so long after its start, or sooner if it had ended by then.
fn killed(after_ms: f64) -> Option<Run> {
    (0..TRIES).find_map(|n| {
        let bench = Bench::new(&[]);
        let mut host = bench.sweep();
        pause_ms(after_ms * SOONER.powi(n));
        if host.ended(Duration::from_millis(1)).is_some() {
            return None;
        }
        host.signal(Signal::SIGKILL);
        let killed_ms = now_ms();
        let ended = host.ended(Duration::from_secs(5));
        // Its sweep may be over, and the verdict under way.
        let recording = bench.recording();
        let text = recording.map(|path| std::fs::read_to_string(path).unwrap_or_default());
        if text.is_some_and(|text| text.contains("outcome=finished")) {
            return None;
        }
        Some(Run {
            ended,
            bench,
            moment_ms: killed_ms,
            disarm_from_ms: None,
            status: &[None],
            says: &[],
            unfinished: true,
            recorded: false,
            delivered: None,
        })
    })
}

/// A run whose cable is pulled so long after arming, by the rig's clock, or sooner if the sweep was over by then.
fn unplugged(after_s: f64) -> Option<Run> {
    (0..TRIES).find_map(|n| {
        let after = format!("{:.3}", after_s * SOONER.powi(n));
        let bench = Bench::new(&options(&["--from-arming", "--unplug-after", &after]));
        let mut host = bench.sweep();
        let pulled_ms = bench.noted("unplugged", Duration::from_secs(20))?;
        let run = Run::cut(bench, &mut host, pulled_ms, &["the port is gone"]);
        (!matches!(run.ended, Some((Some(0 | 1), _)))).then_some(run)
    })
}
