//! Faults that the rig brings about or tells: restart, silence, a failing sensor, trips, refusals; two hosts on one port.

use std::time::Duration;

use super::bench::{Bench, now_ms, options};
use super::campaign::{Run, VERDICT_MS, campaign, moments, runs};

type Fault = (&'static str, &'static str, &'static [&'static str]);

#[test]
fn each_fault_of_the_rig_is_named_for_what_it_is() {
    // Option, what the rig notes when it happens, what the host says.
    const FAULTS: [Fault; 7] = [
        (
            "--restart-after",
            "restarted",
            &["the rig restarted in mid-run"],
        ),
        (
            "--silent-after",
            "silent",
            &["the rig is silent", "did not answer GO"],
        ),
        (
            "--sensor-fault-after",
            "disarmed",
            &["a sensor failed (angle_deg)"],
        ),
        ("--stall-after", "disarmed", &["the servo stalled"]),
        ("--brown-out-after", "disarmed", &["supply voltage too low"]),
        (
            "--over-current-after",
            "disarmed",
            &["current over the limit"],
        ),
        (
            "--restart-after",
            "restarted",
            &["the rig restarted in mid-run"],
        ),
    ];
    let jobs = moments(6, runs(7, 70), 0.5, 12.0)
        .into_iter()
        .zip(FAULTS.into_iter().cycle())
        .map(|(after_s, (option, noted, says))| {
            Box::new(move || {
                let after = format!("{after_s:.3}");
                let bench = Bench::new(&options(&["--from-arming", option, &after]));
                let mut host = bench.sweep();
                let at_ms = bench.noted(noted, Duration::from_secs(20));
                Run::cut(bench, &mut host, at_ms.unwrap_or_else(now_ms), says)
            }) as _
        })
        .collect();
    campaign("faults of the rig", 1, jobs);
}

#[test]
fn a_command_that_is_refused_is_named_and_nothing_stays_armed() {
    const REFUSED: [(&str, &[&str], bool); 5] = [
        ("ask", &["refused ASK"], false),
        ("limit", &["refused LIMIT"], true),
        ("arm", &["refused ARM"], true),
        ("go", &["refused GO"], true),
        ("disarm", &["DISARM"], true),
    ];
    let jobs = (0..runs(5, 20))
        .zip(REFUSED.into_iter().cycle())
        .map(|(_, (command, says, recorded))| {
            Box::new(move || {
                let bench = Bench::new(&options(&["--refuse", command]));
                let mut host = bench.sweep();
                let mut run = Run::cut(bench, &mut host, 0.0, says);
                run.moment_ms = run.ended.map_or_else(now_ms, |(_, at_ms)| at_ms) - VERDICT_MS;
                run.recorded = recorded;
                run
            }) as _
        })
        .collect();
    campaign("commands refused", 1, jobs);
}

#[test]
fn a_second_host_is_turned_away_and_the_first_one_finishes() {
    let jobs = moments(7, runs(2, 20), 0.0, 1.0)
        .into_iter()
        .map(|_| {
            Box::new(move || {
                let bench = Bench::new(&[]);
                let mut first = bench.sweep();
                bench
                    .noted("armed", Duration::from_secs(10))
                    .expect("armed");
                let mut second = bench.sweep_over(&bench.root.join("rig"), "second");
                let turned_away = second.ended(Duration::from_secs(10));
                let said = bench.text("second.err");
                assert_eq!(turned_away.and_then(|t| t.0), Some(3), "{said}");
                assert!(said.contains("in use by another program"), "{said}");
                let mut run = Run::cut(bench, &mut first, 0.0, &[]);
                run.moment_ms = run.bench.disarmed_since().unwrap_or_else(now_ms);
                run.status = &[Some(0), Some(1)];
                run.unfinished = false;
                run
            }) as _
        })
        .collect();
    campaign("two hosts on one port", 1, jobs);
}
