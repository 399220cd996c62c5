//! How good `servo` is: simulated servos of all kinds are tested alone, and what is found is held against the plant itself.
//!
//!     cargo run --example servo_study            # 300 servos
//!     cargo run --example servo_study 1000

mod cases;
mod truth;

use cases::{Found, tested};

fn main() {
    let count = std::env::args()
        .nth(1)
        .and_then(|n| n.parse().ok())
        .unwrap_or(300);
    let found: Vec<Vec<Found>> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..2)
            .map(|k| {
                scope.spawn(move || {
                    (1..=count)
                        .filter(|seed| seed % 2 == k)
                        .map(tested)
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        handles
            .into_iter()
            .flat_map(|h| h.join().unwrap_or_default())
            .collect()
    });
    println!(
        "{:22} {:>6} {:>9} {:>10} {:>10} {:>10} {:>8}",
        "quantity", "seen", "covered %", "mean off", "worst off", "mean u", "unit"
    );
    for number in 0..found.first().map_or(0, Vec::len) {
        let all: Vec<&Found> = found.iter().map(|one| &one[number]).collect();
        let seen: Vec<_> = all.iter().filter_map(|f| f.off()).collect();
        let n = seen.len() as f64;
        let covered = all.iter().filter(|f| f.covered()).count() as f64;
        let mean = seen.iter().map(|s| s.0).sum::<f64>() / n;
        let worst = seen.iter().map(|s| s.0.abs()).fold(0.0, f64::max);
        let u = seen.iter().map(|s| s.1).sum::<f64>() / n;
        println!(
            "{:22} {:>6} {:>9.1} {mean:>10.4} {worst:>10.4} {u:>10.4} {:>8}",
            all[0].name,
            seen.len(),
            100.0 * covered / n,
            all[0].unit
        );
    }
}
