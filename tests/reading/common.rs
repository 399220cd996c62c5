//! Captures to read.

use hingewright::link::encode;
use hingewright::recording::{Channel, Recording};

pub const RIG: &str = "RIG,1,bench-a,0.4,driven,200,pulse_us,angle_deg,current_ma,supply_v";

/// A line of the link.
pub fn line(payload: &str) -> String {
    encode(payload).expect("a payload of the link")
}

pub fn lines<S: AsRef<str>>(payloads: impl IntoIterator<Item = S>) -> String {
    payloads.into_iter().map(|p| line(p.as_ref())).collect()
}

/// Sample `n`: its pulse is its number, so that every sample can be told from every other.
pub fn sample(n: u32) -> String {
    let seq = n % 65_536;
    format!(
        "S,{seq},{},{n},{}.{:02},{},7.4",
        n.wrapping_mul(5000).wrapping_add(1_000_512),
        n as i32 % 40 - 20,
        n % 100,
        40 + n % 7
    )
}

/// Keys, a RIG line, `count` samples with an event among them.
pub fn capture(count: u32) -> String {
    let mut text = String::from("# surface=left elevator\n# started=2026-04-18T10:22:07Z\n");
    text.push_str(&lines([RIG]));
    for n in 0..count {
        text.push_str(&line(&sample(n)));
        if n == count / 2 {
            text.push_str(&line("EV,1000512,armed"));
        }
    }
    text
}

/// Every sample's values as bits, in order: what a sample is, whatever its place on the clock.
pub fn samples(recording: &Recording) -> Vec<Vec<Option<u64>>> {
    let mut all = Vec::new();
    for segment in &recording.segments {
        for at in 0..segment.len() {
            all.push(
                Channel::ALL
                    .iter()
                    .map(|&c| segment.column(c).map(|v| v[at].to_bits()))
                    .collect(),
            );
        }
    }
    all
}
