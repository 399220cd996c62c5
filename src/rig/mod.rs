//! Driving a rig and listening to one: the line, the states, sweeps, recordings made by hand. The only room with a clock.
//!
//! Never in here: judging, printing, the logbook's folder. What is measured is judged by the rooms below once it is recorded.
//!
//! - [`Line`]: reading, writing, answers, heartbeat and recording, on a thread of its own.
//! - [`Rig`]: driving, as states in types; see [`drive`].
//! - [`sweep()`] and [`listen`]: a recorded run, driven or by hand, from its first byte to the last, however it ends.
//! - [`spells`]: a recorded run that is armed and disarmed several times, for something done at the bench in between.
//! - [`batch`]: one of the recorded runs by which a hinge is worked in, under a [`Guard`]; [`stages`] says how far.

mod break_in;
mod cut;
pub mod drive;
mod ear;
mod guard;
mod line;
mod live;
mod look;
mod passive;
mod plan;
mod servo_test;
mod session;
mod stop;
mod sweep;
mod tasks;
mod wire;

pub use break_in::{Stage, stages};
pub use cut::Cut;
pub use drive::{Armed, Asked, Disarmed, Ended, Limited, Moving, PulseRange, Rig};
pub use ear::Ear;
pub use guard::Guard;
pub use line::{ANSWER_WITHIN, Line, TRIES};
pub use live::{Heard, Live, Sample};
pub use passive::{Coverage, ENOUGH_STROKES, Passive};
pub use plan::SweepPlan;
pub use servo_test::{servo_moves, servo_moves_s};
pub use session::{Page, Run, batch, listen, spells, sweep};
pub use stop::asked as asked_to_end;
pub use sweep::{Alone, Expected, Move, Pace, Phase, Progress, Spell, Sweep, To, Way};

#[cfg(test)]
mod tests;
