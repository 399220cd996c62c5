//! Host or rig stands still for a while, as on a computer that sleeps or a board that hangs.

use std::time::Duration;

use nix::sys::signal::Signal;

use super::bench::{Bench, now_ms, pause_ms};
use super::campaign::{Run, campaign, moments, runs};

#[test]
fn a_host_that_stood_still_finds_its_rig_disarmed_and_says_so() {
    let jobs = moments(4, runs(3, 30), 20.0, 1500.0)
        .into_iter()
        .map(|after_ms| {
            Box::new(move || {
                let bench = Bench::new(&[]);
                let mut host = bench.sweep();
                bench
                    .noted("armed", Duration::from_secs(10))
                    .expect("armed");
                pause_ms(after_ms);
                host.signal(Signal::SIGSTOP);
                let stopped_ms = now_ms();
                pause_ms(2000.0);
                host.signal(Signal::SIGCONT);
                let mut run = Run::cut(
                    bench,
                    &mut host,
                    stopped_ms,
                    &["had not heard this program for too long"],
                );
                run.disarm_from_ms = Some(stopped_ms);
                run
            }) as _
        })
        .collect();
    campaign("the host stopped for 2 s", 1, jobs);
}

#[test]
fn a_rig_that_stood_still_is_called_silent_and_ends_disarmed() {
    let jobs = moments(5, runs(3, 30), 20.0, 1500.0)
        .into_iter()
        .map(|after_ms| {
            Box::new(move || {
                let bench = Bench::new(&[]);
                let mut host = bench.sweep();
                bench
                    .noted("armed", Duration::from_secs(10))
                    .expect("armed");
                pause_ms(after_ms);
                bench.rig.signal(Signal::SIGSTOP);
                let stopped_ms = now_ms();
                let ended = host.ended(Duration::from_secs(10));
                bench.rig.signal(Signal::SIGCONT);
                let continued_ms = now_ms();
                let mut run = Run::cut(
                    bench,
                    &mut host,
                    stopped_ms,
                    &["the rig is silent", "did not answer"],
                );
                run.ended = ended;
                run.disarm_from_ms = Some(continued_ms);
                run
            }) as _
        })
        .collect();
    campaign("the rig stopped", 1, jobs);
}
