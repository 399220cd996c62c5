//! What failed, where, and what to try next, in a builder's words; and the exit codes.

use std::fmt;

/// Exit status of `check` and of every command: part of the contract.
pub mod exit {
    /// No fault found in any recording.
    pub const NO_FAULT: u8 = 0;
    /// Something was found, or is unproven.
    pub const FOUND: u8 = 1;
    /// A file or an argument could not be used.
    pub const UNUSABLE: u8 = 2;
    /// The rig failed or tripped.
    pub const RIG: u8 = 3;
}

/// A problem as it is shown: what happened, where, and what to do next.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// What happened, one sentence, lower case, no full stop: `aircraft.toml, line 12: unknown key "chord"`.
    pub what: String,
    /// The offending line of the file with its number, where there is one.
    pub excerpt: Option<String>,
    /// What to do next, one sentence.
    pub hint: Option<String>,
}

impl Problem {
    pub fn new(what: impl Into<String>) -> Self {
        Self {
            what: what.into(),
            excerpt: None,
            hint: None,
        }
    }
    pub fn excerpt(mut self, text: impl Into<String>) -> Self {
        self.excerpt = Some(text.into());
        self
    }
    pub fn hint(mut self, text: impl Into<String>) -> Self {
        self.hint = Some(text.into());
        self
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)?;
        if let Some(excerpt) = &self.excerpt {
            write!(f, "\n{excerpt}")?;
        }
        if let Some(hint) = &self.hint {
            write!(f, "\n  what to do: {hint}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problem {}
