//! The host is asked to end by each signal that asks.

use std::time::Duration;

use nix::sys::signal::Signal;

use super::bench::{Bench, now_ms, pause_ms};
use super::campaign::{Run, campaign, moments, runs};

/// From the signal to the rig's having heard `DISARM`, ms.
const AT_ONCE_MS: f64 = 50.0;

#[test]
fn a_host_that_is_asked_to_end_disarms_at_once_and_says_what_ended_it() {
    const SIGNALS: [(Signal, &[&str]); 4] = [
        (Signal::SIGINT, &["stopped: Ctrl-C"]),
        (Signal::SIGHUP, &["stopped: the terminal was closed"]),
        (
            Signal::SIGTERM,
            &["stopped: the system asked this program to end"],
        ),
        (Signal::SIGQUIT, &["stopped: Ctrl-\\"]),
    ];
    let jobs = moments(3, runs(4, 40), 20.0, 1500.0)
        .into_iter()
        .zip(SIGNALS.into_iter().cycle())
        .map(|(after_ms, (signal, says))| {
            Box::new(move || {
                let bench = Bench::new(&[]);
                let mut host = bench.sweep();
                bench
                    .noted("armed", Duration::from_secs(10))
                    .expect("armed");
                pause_ms(after_ms);
                let asked_ms = now_ms();
                host.signal(signal);
                // By this clock, not the rig's: it looks every few milliseconds.
                bench.noted("disarmed", Duration::from_secs(5));
                let took_ms = now_ms() - asked_ms;
                assert!(
                    took_ms <= AT_ONCE_MS,
                    "disarmed {took_ms:.1} ms after {signal}"
                );
                Run::cut(bench, &mut host, asked_ms, says)
            }) as _
        })
        .collect();
    // Half of the places each, so that it is the program that is timed rather than the machine.
    campaign("the host asked to end (signals)", 3, jobs);
}
