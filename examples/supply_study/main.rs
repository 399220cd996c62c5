//! How good the measured resistances are: leads of known resistance on hobbyists' rigs, held against the plant's own.
//!
//!     cargo run --example supply_study            # 400 leads for each kind of channels
//!     cargo run --example supply_study 1000

mod cases;

use cases::{Channels, Found, Moved, Three, measured};
use rayon::prelude::*;

fn main() {
    let count: u64 = std::env::args()
        .nth(1)
        .and_then(|n| n.parse().ok())
        .unwrap_or(400);
    println!(
        "{:14} {:10} {:>5} {:>10} {:>9} {:>9} {:>10} {:>15} {:>10}",
        "case",
        "of",
        "seen",
        "covered %",
        "mean off",
        "rms off",
        "worst off",
        "within 10 mΩ, %",
        "half95"
    );
    let both = [Channels::Good, Channels::Rough];
    for (moved, channels) in [Moved::Sweep, Moved::Steps]
        .into_iter()
        .flat_map(|m| both.map(|c| (m, c)))
    {
        let all: Vec<Three> = (1..=count)
            .into_par_iter()
            .map(|seed| measured(channels, moved, seed))
            .collect();
        for (place, name) in ["lead", "source", "together"].into_iter().enumerate() {
            let found: Vec<Found> = all.iter().map(|three| three[place]).collect();
            row(&format!("{moved:?}, {channels:?}"), name, &found);
        }
    }
}

/// One line of the table, mΩ.
fn row(case: &str, name: &str, all: &[Found]) {
    let off: Vec<f64> = all.iter().filter_map(Found::off).collect();
    let n = off.len() as f64;
    let covered = all.iter().filter(|f| f.covered()).count() as f64;
    let mean = off.iter().sum::<f64>() / n;
    let rms = (off.iter().map(|o| o * o).sum::<f64>() / n).sqrt();
    let worst = off.iter().map(|o| o.abs()).fold(0.0, f64::max);
    let within = off.iter().filter(|o| o.abs() <= 10.0).count() as f64;
    let half = all.iter().filter_map(Found::half95).sum::<f64>() / n;
    println!(
        "{case:14} {name:10} {:>5} {:>10.1} {mean:>9.2} {rms:>9.2} {worst:>10.2} {:>15.1} {half:>10.2}",
        off.len(),
        100.0 * covered / n,
        100.0 * within / n,
    );
}
