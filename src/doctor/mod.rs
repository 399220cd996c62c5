//! Pure; whether a rig at rest, its line and the computer are fit to measure with, and what to do where they are not. A list of looks,
//! each good or with what to do next.
//! Never in here: a file, a clock, a port, printing; judging a surface.

mod ability;
mod events;
mod home;
mod line;
mod readings;
#[cfg(test)]
mod tests;

pub use ability::{Named, angle_scale, torque};
pub use events::{Said, event};
pub use home::{aircraft_file, clock, disk, other_file};
pub use line::{Arrival, line, rate, rig_clock};
pub use readings::{channels, readings};

use crate::problem::Problem;

/// How a look came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    Good,
    /// Nothing that has to stop anybody, and better known.
    Mind,
    /// Measuring is spoiled by it.
    Fault,
    /// A file or a folder cannot be used.
    Unusable,
    /// The rig or its port failed.
    RigFailed,
    /// Not looked at, because something before it failed or was not named.
    NotLooked,
}

/// One look.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// What was looked at, in a word or two.
    pub at: String,
    pub state: State,
    /// What was seen, without a full stop.
    pub says: String,
    /// What to do next.
    pub todo: Option<String>,
}

impl Look {
    pub fn good(at: impl Into<String>, says: impl Into<String>) -> Self {
        Self {
            at: at.into(),
            state: State::Good,
            says: says.into(),
            todo: None,
        }
    }

    pub fn not_looked(at: impl Into<String>, says: impl Into<String>) -> Self {
        Self {
            state: State::NotLooked,
            ..Self::good(at, says)
        }
    }

    fn with(state: State, at: impl Into<String>, says: impl Into<String>, todo: &str) -> Self {
        Self {
            state,
            todo: Some(todo.to_owned()),
            ..Self::good(at, says)
        }
    }

    /// A problem of another room, with its own hint.
    pub fn problem(at: impl Into<String>, state: State, problem: &Problem) -> Self {
        Self {
            state,
            todo: problem.hint.clone(),
            ..Self::good(at, &problem.what)
        }
    }
}
