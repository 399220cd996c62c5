//! How true the analysis is: `cargo run --release --example accuracy [RECORDINGS A CASE] [WORDS OF A CASE'S NAME]`.

#[allow(dead_code)]
mod study;

use rayon::prelude::*;
use study::{CASES, Case, Errors, Tally, run};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let recordings: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(400);
    let wanted: Vec<String> = arguments.collect();
    println!("{recordings} simulated recordings a case, 10 cycles, 200 samples/s\n");
    for case in CASES
        .iter()
        .filter(|c| wanted.iter().all(|w| c.name.contains(w.as_str())))
    {
        report(*case, recordings);
    }
}

fn report(case: Case, recordings: u64) {
    let outcomes: Vec<_> = (0..recordings)
        .into_par_iter()
        .map(|seed| run(case, seed))
        .collect();
    if std::env::var("WORST").is_ok() {
        for (seed, o) in outcomes.iter().enumerate() {
            if let Some(c) = &o.measured.curve {
                let e = c.stiffness_ncm_per_deg.value / o.truth.stiffness_ncm_per_deg - 1.0;
                if e.abs() > 0.1 {
                    println!("seed {seed} {e:+.2}");
                }
            }
        }
    }
    let mut tally = Tally::default();
    for outcome in &outcomes {
        tally.add(outcome);
    }
    println!("{}", case.name);
    let row = |name: &str, e: &Errors, percent: bool| {
        if e.errors.is_empty() {
            return;
        }
        let (factor, unit) = if percent { (100.0, " %") } else { (1.0, "") };
        println!(
            "  {name:<26} rms {:8.3}{unit}  mean {:+8.3}{unit}  95 % intervals hold {:5.1} %  (n {})",
            factor * e.rms(),
            factor * e.bias(),
            100.0 * e.coverage(),
            e.errors.len()
        );
    };
    row("stiffness", &tally.stiffness, true);
    row("friction", &tally.friction, true);
    row("neutral torque, N·cm", &tally.neutral, false);
    row("knee place, deg", &tally.knee, false);
    row("stiffness beyond", &tally.beyond, true);
    row("tight spot place, deg", &tally.spot, false);
    row("tight spot height", &tally.height, true);
    row("slop, deg", &tally.slop, false);
    row("throw reached, deg", &tally.reached, false);
    println!(
        "  findings: stiffening {:.2} %, tight-spot {:.2} %; in the curve without cause: knees {}, tight spots {}; no curve {}\n",
        100.0 * tally.stiffening as f64 / tally.recordings as f64,
        100.0 * tally.tight_spots as f64 / tally.recordings as f64,
        tally.phantom_knees,
        tally.phantom_spots,
        tally.without_curve
    );
}
