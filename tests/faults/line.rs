//! Bytes damaged on their way: from the start, and from arming on.

use std::time::Duration;

use super::bench::{Bench, MAY_LACK_MS, now_ms, options};
use super::cable::Cable;
use super::campaign::{Run, VERDICT_MS, campaign, runs};

/// Of all bytes.
const DAMAGED: f64 = 0.1;

#[test]
fn a_line_that_goes_bad_after_arming_ends_the_sweep_without_one_false_sample() {
    let jobs = (0..runs(4, 40) as u64)
        .map(|seed| {
            Box::new(move || {
                let bench = Bench::new(&[]);
                let cable = Cable::between(&bench.root.join("rig"), DAMAGED, seed);
                let mut host = bench.sweep_over(cable.port(), "host");
                let armed_ms = bench
                    .noted("armed", Duration::from_secs(20))
                    .expect("armed");
                cable.go_bad();
                let mut run = Run::cut(
                    bench,
                    &mut host,
                    armed_ms,
                    // The last: it missed its host's damaged lines, disarmed itself, and its word of that was damaged too.
                    &[
                        "no good sample has been among them",
                        "did not answer",
                        "refused GO: not-armed",
                    ],
                );
                let ended_ms = run.ended.map_or_else(now_ms, |(_, at_ms)| at_ms);
                run.delivered = Some(cable.delivered(ended_ms - VERDICT_MS - MAY_LACK_MS));
                run
            }) as _
        })
        .collect();
    campaign("10 % of bytes damaged from arming on", 1, jobs);
}

#[test]
fn a_line_that_is_bad_from_the_start_is_named_and_nothing_is_armed() {
    let jobs = (0..runs(2, 20) as u64)
        .map(|seed| {
            Box::new(move || {
                let (share, seed) = (DAMAGED.to_string(), seed.to_string());
                let words = ["--damage", &share, "--seed", &seed, "--both-ways"];
                let bench = Bench::new(&options(&words));
                let mut host = bench.sweep();
                let mut run = Run::cut(
                    bench,
                    &mut host,
                    0.0,
                    &["nobody says that it is a rig", "did not answer"],
                );
                run.moment_ms = now_ms();
                run.recorded = false;
                run
            }) as _
        })
        .collect();
    campaign("10 % of bytes damaged from the start", 1, jobs);
}
