//! The fault campaign: sweeps of the real program over a pseudo-terminal that are killed, unplugged, damaged, starved,
//! stopped and refused, and what each leaves behind held against what the rig sent.
//!
//! The short edition runs with all other tests; `HINGEWRIGHT_LONG=1` runs hundreds of sweeps. `--nocapture` shows the tables.
#![cfg(target_os = "linux")]

#[path = "faults/bench.rs"]
mod bench;
#[path = "faults/cable.rs"]
mod cable;
#[path = "faults/campaign.rs"]
mod campaign;
#[path = "faults/disk.rs"]
mod disk;
#[path = "faults/killed.rs"]
mod killed;
#[path = "faults/line.rs"]
mod line;
#[path = "faults/signals.rs"]
mod signals;
#[path = "faults/stopped.rs"]
mod stopped;
#[path = "faults/told.rs"]
mod told;
#[path = "faults/truth.rs"]
mod truth;
