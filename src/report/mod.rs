//! One view of the results, then text, JSON, HTML and plots: one format each, no arithmetic of the trade.
//!
//! [`text`] for the terminal, [`json`] for programs, [`plot`] for pictures, [`html`] for the page. What text and page
//! both say is worded once, in `view` and `small_print`. `HINGEWRIGHT_RENEW=1` renews the golden files of the tests;
//! `HINGEWRIGHT_PICTURES=FOLDER` makes the tests leave every picture and the page there, to be looked at.

#[cfg(test)]
mod fixture;
pub mod html;
pub mod json;
pub mod plot;
mod small_print;
pub mod text;
mod view;

pub use view::{CAUTIONS, STANDING_CAUTION, verdict_words};

use crate::aircraft::{Aircraft, Surface};
use crate::analysis::Measured;
use crate::verdict::Judged;

/// How a recording came in: what the contract's `recording` object says.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordingSummary {
    pub file: String,
    pub surface: String,
    pub samples: u64,
    pub lost: u64,
    pub damaged_lines: u64,
    pub restarts: u64,
    pub span_s: f64,
    pub rate_hz: f64,
    /// Codes of the events in order.
    pub events: Vec<String>,
    /// `started`, `purpose`, `note` and other `#` keys.
    pub keys: Vec<(String, String)>,
    pub notes: Vec<String>,
}

/// One recording checked: all that an output may show.
pub struct Checked<'a> {
    pub aircraft: &'a Aircraft,
    pub surface: &'a Surface,
    pub recording: RecordingSummary,
    pub measured: Measured,
    pub judged: Judged,
}
