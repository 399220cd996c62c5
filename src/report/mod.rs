//! One view of the results, then text, JSON, HTML and plots: one format each, no arithmetic of the trade.
//!
//! [`text`] for the terminal, [`json`] for programs, [`plot`] for pictures, [`html`] for the page. What text and page
//! both say is worded once, in `view` and `small_print`. `HINGEWRIGHT_RENEW=1` renews the golden files of the tests;
//! `HINGEWRIGHT_PICTURES=FOLDER` makes the tests leave every picture and the page there, to be looked at.

pub mod book;
pub mod calibrate;
#[cfg(test)]
mod fixture;
pub mod html;
pub mod json;
pub mod plot;
pub mod prove;
pub mod season_json;
pub mod season_text;
mod small_print;
pub mod text;
mod view;

pub use view::{CAUTIONS, STANDING_CAUTION, at_a_glance, verdict_words};

use crate::aircraft::{Aircraft, Surface};
use crate::analysis::Measured;
use crate::assess::Assessed;
pub use crate::assess::RecordingSummary;
use crate::verdict::Judged;

/// One recording checked: all that an output may show.
pub struct Checked<'a> {
    pub aircraft: &'a Aircraft,
    pub surface: &'a Surface,
    pub recording: RecordingSummary,
    pub measured: Measured,
    pub judged: Judged,
}

impl<'a> Checked<'a> {
    pub fn of(aircraft: &'a Aircraft, assessed: Assessed) -> Self {
        Self {
            aircraft,
            surface: &aircraft.surfaces[assessed.surface_index],
            recording: assessed.summary,
            measured: assessed.measured,
            judged: assessed.judged,
        }
    }
}
