//! How true `prove` is: `cargo run --example prove_study [PAIRS] [FROM=FIRST SEED] [WORDS OF A CASE'S NAME]`.
//!
//! With nothing done in between: how often anything is called changed, and how often a single quantity is. With a change of
//! twice the smallest that could have been seen: how often it is called, the right way round, and how often the 95 %
//! interval of the change holds the true one.

#[allow(dead_code)]
#[path = "../accuracy/study.rs"]
mod study;

mod pairs;

use std::collections::BTreeMap;
use std::ops::Range;

use hingewright::history::compare::{Verdict, What};
use pairs::{Fix, called, change_of, holds, pair};
use rayon::prelude::*;
use study::{CASES, Case, Fault};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let count: u64 = arguments
        .next()
        .and_then(|a| a.parse().ok())
        .unwrap_or(1000);
    let mut wanted: Vec<String> = arguments.collect();
    let from: u64 = wanted
        .iter()
        .find_map(|w| w.strip_prefix("FROM=")?.parse().ok())
        .unwrap_or(0);
    wanted.retain(|w| !w.starts_with("FROM="));
    let seeds = from..from + count;
    println!("{count} simulated pairs a case\n");
    for case in CASES
        .iter()
        .filter(|c| wanted.iter().all(|w| c.name.contains(w.as_str())))
    {
        println!("{}", case.name);
        nothing_done(*case, seeds.clone());
        let changes: &[What] = match case.fault {
            Fault::None => &[What::Friction, What::Stiffness],
            Fault::Knee => &[
                What::KneePlace { up_side: true },
                What::KneePlace { up_side: false },
            ],
            Fault::TightSpot => &[What::TightSpot],
        };
        for what in changes {
            changed(*case, *what, seeds.clone());
        }
        println!();
    }
}

fn nothing_done(case: Case, seeds: Range<u64>) {
    let proofs: Vec<_> = seeds
        .into_par_iter()
        .filter_map(|seed| pair(case, Fix::Nothing, seed))
        .collect();
    let total = proofs.len().max(1) as f64;
    let wrong = proofs.iter().filter(|p| called(&p.0)).count();
    println!(
        "  nothing done: called changed in {:.1} % of {} pairs",
        100.0 * wrong as f64 / total,
        proofs.len()
    );
    // Compared, interval without zero, called changed, sum of the smallest change seen.
    let mut by: BTreeMap<String, (usize, usize, usize, f64)> = BTreeMap::new();
    for change in proofs.iter().flat_map(|p| &p.0.changes) {
        let row = by.entry(format!("{:?}", change.what)).or_default();
        let outside = change
            .change
            .interval
            .is_some_and(|i| i.lo95 > 0.0 || i.hi95 < 0.0);
        row.0 += 1;
        row.1 += usize::from(outside);
        row.2 += usize::from(change.verdict != Verdict::NoChangeShown);
        row.3 += change.smallest_seen;
    }
    for (what, (n, outside, called, smallest)) in by {
        println!(
            "    {what:<32} of {n:4}: interval without zero {:4.1} %, called {:4.1} %; smallest change seen {:.3}",
            100.0 * outside as f64 / n as f64,
            100.0 * called as f64 / n as f64,
            smallest / n as f64
        );
    }
}

fn changed(case: Case, what: What, seeds: Range<u64>) {
    let proofs: Vec<_> = seeds
        .into_par_iter()
        .filter_map(|seed| pair(case, Fix::Twice(what), seed))
        .collect();
    let n = proofs.len().max(1) as f64;
    let (mut right, mut inside, mut at_least, mut sizes) = (0, 0, 0, 0.0);
    let sign = match what {
        What::KneePlace { up_side: true } => 1.0,
        _ => -1.0,
    };
    for (proof, size) in &proofs {
        sizes += size;
        let Some(change) = change_of(proof, what) else {
            continue;
        };
        right += usize::from(change.verdict == Verdict::Better);
        let held = holds(change, sign * size);
        inside += usize::from(held);
        at_least += usize::from(change.at_least);
    }
    println!(
        "  {what:?} better by twice the smallest ({:.3} on average): called so in {:.1} % of {}, interval holds it in {:.1} % (bounds instead of intervals: {at_least})",
        sizes / n,
        100.0 * right as f64 / n,
        proofs.len(),
        100.0 * inside as f64 / n
    );
}
