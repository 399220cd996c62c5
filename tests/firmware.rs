//! The reference firmware (firmware-notes/firmware), run for real: its core's own tests under the sanitizers, and its bytes on a
//! simulated chip with a servo and a hinge behind its pins. What reaches the pins comes from the timer's registers, never from
//! what the firmware says.
//!
//! Needs gcc-avr, avr-libc, libsimavr-dev, libelf-dev, make and a C compiler; where they are missing the tests print SKIPPED and
//! pass, unless `HINGEWRIGHT_FIRMWARE=1` is set. `--nocapture` shows what was measured.
#![cfg(target_os = "linux")]

#[path = "firmware/answers.rs"]
mod answers;
#[path = "firmware/built.rs"]
mod built;
#[path = "firmware/evening.rs"]
mod evening;
#[path = "firmware/figures.rs"]
mod figures;
#[path = "firmware/flashing.rs"]
mod flashing;
#[path = "firmware/passive.rs"]
mod passive;
#[path = "firmware/pins.rs"]
mod pins;
#[path = "firmware/sweeps.rs"]
mod sweeps;
