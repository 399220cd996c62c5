//! The rig's line while it lives: how many lines a second it takes, how soon a sample is on disk and screen, and what share
//! of a processor it needs. Everything goes over pseudo-terminals.
//!
//! `cargo bench --bench live`; with `--profile dev` in the profile that the tests run in, which the table says.

#[cfg(target_os = "linux")]
#[path = "live/delay.rs"]
mod delay;
#[cfg(target_os = "linux")]
#[path = "live/lines.rs"]
mod lines;
#[cfg(target_os = "linux")]
#[path = "live/pty.rs"]
mod pty;
#[cfg(target_os = "linux")]
#[path = "live/share.rs"]
mod share;

/// A row of the table: what, measured, aim.
#[cfg(target_os = "linux")]
type Row = (&'static str, String, &'static str);
/// Its name on the command line, and what it measures.
#[cfg(target_os = "linux")]
type Part = (&'static str, fn() -> Vec<Row>);

#[cfg(target_os = "linux")]
fn main() {
    let wanted: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with('-'))
        .collect();
    let parts: [Part; 4] = [
        ("lines", lines::sustained),
        ("disk", delay::to_disk),
        ("screen", delay::to_screen),
        ("share", share::of_a_core),
    ];
    let mut rows = Vec::new();
    for (name, part) in parts {
        if wanted.is_empty() || wanted.iter().any(|w| w == name) {
            eprintln!("measuring: {name} …");
            rows.extend(part());
        }
    }
    let profile = if cfg!(debug_assertions) {
        "dev"
    } else {
        "release"
    };
    println!("\nProfile {profile}");
    for (what, measured, aim) in rows {
        println!("  {what:<58} {measured:<34} {aim}");
    }
}

#[cfg(not(target_os = "linux"))]
fn main() {
    println!("SKIPPED: this bench measures on Linux");
}

/// Median, 99 in 100, most of delays in seconds, as ms.
#[cfg(target_os = "linux")]
fn spread(mut delays_s: Vec<f64>) -> String {
    delays_s.sort_by(f64::total_cmp);
    let at = |share: f64| 1e3 * delays_s[(share * (delays_s.len() - 1) as f64) as usize];
    format!("{:.2} / {:.2} / {:.1} ms", at(0.5), at(0.99), at(1.0))
}
