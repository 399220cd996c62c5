//! The host dies, the cable is pulled: at random moments.

use nix::sys::signal::Signal;
use std::time::Duration;

use super::bench::{Bench, FAST, now_ms, options, pause_ms};
use super::campaign::{Run, campaign, moments, runs};

/// From the host's start to a moment near the end of its sweep, ms.
const WHOLE_MS: (f64, f64) = (300.0, 3000.0);

#[test]
fn a_host_that_is_killed_leaves_a_disarmed_rig_and_all_but_the_last_quarter_second() {
    let moments = moments(1, runs(7, 100), WHOLE_MS.0, WHOLE_MS.1);
    let job = |after_ms: f64| {
        move || {
            let bench = Bench::new(&[]);
            let mut host = bench.sweep();
            pause_ms(after_ms);
            let over = host.ended(Duration::from_millis(1));
            host.signal(Signal::SIGKILL);
            let killed_ms = now_ms();
            let ended = host.ended(Duration::from_secs(5));
            Run {
                unfinished: over.is_none(),
                status: if over.is_none() {
                    &[None]
                } else {
                    &[Some(0), Some(1)]
                },
                ended,
                bench,
                moment_ms: killed_ms,
                disarm_from_ms: None,
                says: &[],
                recorded: false,
                delivered: None,
            }
        }
    };
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
        move || {
            let after = format!("{after_s:.3}");
            let bench = Bench::new(&options(&["--from-arming", "--unplug-after", &after]));
            let mut host = bench.sweep();
            let pulled_ms = bench.noted("unplugged", Duration::from_secs(20));
            let pulled_ms = pulled_ms.unwrap_or_else(now_ms);
            Run::cut(bench, &mut host, pulled_ms, &["the port is gone"])
        }
    };
    campaign(
        "the cable pulled",
        1,
        moments.into_iter().map(|s| Box::new(job(s)) as _).collect(),
    );
}
