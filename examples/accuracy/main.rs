//! How true the analysis is: `cargo run --example accuracy [RECORDINGS A CASE] [CYCLES=N] [WORDS OF A CASE'S NAME]`.
//!
//! Prints, for each case, the root mean square error of every quantity, its ratio to the Cramér–Rao bound, how often the
//! 95 % interval held the true value, and how often a fault was found that is not there, or missed.

mod bound;
#[allow(dead_code)]
mod study;

use bound::{Bound, bound, rms};
use rayon::prelude::*;
use study::{CASES, CYCLES, Case, Errors, Fault, Tally, run};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let recordings: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(400);
    let mut wanted: Vec<String> = arguments.collect();
    let cycles = wanted
        .iter()
        .find_map(|w| w.strip_prefix("CYCLES=")?.parse().ok())
        .unwrap_or(CYCLES);
    wanted.retain(|w| !w.starts_with("CYCLES="));
    println!("{recordings} simulated recordings a case, {cycles} cycles, 200 samples/s\n");
    for case in CASES
        .iter()
        .filter(|c| wanted.iter().all(|w| c.name.contains(w.as_str())))
    {
        report(*case, cycles, recordings);
    }
}

fn report(case: Case, cycles: u32, recordings: u64) {
    let (tally, bounds) = (0..recordings)
        .into_par_iter()
        .map(|seed| {
            let outcome = run(case, cycles, seed);
            let mut tally = Tally::default();
            tally.add(&outcome);
            (
                tally,
                vec![bound(case.source, &outcome.scenario, &outcome.truth)],
            )
        })
        .reduce(
            Default::default,
            |(mut tally, mut bounds), (other, more)| {
                tally.merge(other);
                bounds.extend(more);
                (tally, bounds)
            },
        );
    let of = |pick: fn(&Bound) -> f64| rms(&bounds.iter().map(pick).collect::<Vec<_>>());
    println!("{}", case.name);
    row(
        "stiffness",
        &tally.stiffness,
        true,
        Some(of(|b| b.stiffness)),
    );
    row("friction", &tally.friction, true, Some(of(|b| b.friction)));
    row("neutral torque, N·cm", &tally.neutral, false, None);
    row(
        "knee place, deg",
        &tally.knee,
        false,
        Some(of(|b| b.knee_deg)),
    );
    row("stiffness beyond", &tally.beyond, true, None);
    row(
        "tight spot place, deg",
        &tally.spot,
        false,
        Some(of(|b| b.spot_deg)),
    );
    row("tight spot height", &tally.height, true, None);
    row("slop, deg", &tally.slop, false, None);
    row("throw reached, deg", &tally.reached, false, None);
    let share = |count: usize| 100.0 * count as f64 / tally.recordings.max(1) as f64;
    let (false_knees, false_spots) = (tally.false_knees, tally.false_spots);
    println!(
        "  false findings: stiffening {:.2} %, tight-spot {:.2} %; missed: {:.2} %; without a curve: {}\n",
        share(false_knees),
        share(false_spots),
        match case.fault {
            Fault::None => 0.0,
            _ => share(tally.missed),
        },
        tally.without_curve
    );
}

fn row(name: &str, e: &Errors, percent: bool, bound: Option<f64>) {
    if e.errors.is_empty() {
        return;
    }
    let (factor, unit) = if percent { (100.0, " %") } else { (1.0, "") };
    let ratio = bound.map_or(String::new(), |b| {
        format!("  bound {:.3}{unit}, ratio {:.2}", factor * b, e.rms() / b)
    });
    println!(
        "  {name:<22} rms {:7.3}{unit:2}  mean {:+7.3}{unit:2}  intervals hold {:5.1} % of {}{ratio}",
        factor * e.rms(),
        factor * e.bias(),
        100.0 * e.coverage(),
        e.with_interval,
    );
}
