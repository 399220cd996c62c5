//! Rigs on ports as an outsider meets them: the binary over a pseudo-terminal.
#![cfg(unix)]

#[path = "rig/bench.rs"]
mod bench;
#[path = "rig/bench_page.rs"]
mod bench_page;
#[path = "rig/bench_strangers.rs"]
mod bench_strangers;
#[path = "rig/break_in.rs"]
mod break_in;
#[path = "rig/calibrate.rs"]
mod calibrate;
#[path = "rig/demo.rs"]
mod demo;
#[path = "rig/doctor.rs"]
mod doctor;
#[path = "rig/held.rs"]
mod held;
#[path = "rig/host.rs"]
mod host;
#[path = "rig/repeat.rs"]
mod repeat;
#[path = "rig/rods.rs"]
mod rods;
#[path = "rig/scale.rs"]
mod scale;
#[path = "rig/servo.rs"]
mod servo;
#[path = "rig/servos.rs"]
mod servos;
#[path = "rig/simulate.rs"]
mod simulate;
#[path = "rig/spells.rs"]
mod spells;
