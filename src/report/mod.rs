//! One view of the results, then text, JSON, HTML and plots: one format each, no arithmetic of the trade.
//!
//! [`text`] for the terminal, [`json`] for programs, [`plot`] for pictures, [`html`] for the page over some
//! recordings, [`aircraft_page`] for that of a whole logbook. What text and page
//! both say is worded once, in `view` and `small_print`. `HINGEWRIGHT_RENEW=1` renews the golden files of the tests;
//! `HINGEWRIGHT_PICTURES=FOLDER` makes the tests leave every picture and the page there, to be looked at.

pub mod aircraft_page;
pub mod angle;
pub mod book;
#[cfg(test)]
pub(crate) mod book_fixture;
pub mod calibrate;
#[cfg(test)]
mod course_fixture;
pub mod csv;
pub mod doctor;
#[cfg(test)]
mod fixture;
pub mod flight;
pub mod heat;
pub mod held;
pub mod html;
pub mod json;
pub mod linkage;
pub mod plot;
pub mod prove;
pub mod repeat;
pub mod rods;
pub mod season_json;
pub mod season_text;
pub mod servo;
mod servos;
mod small_print;
pub mod supply;
pub mod text;
mod view;
pub mod worked_in;

pub use view::{
    CAUTIONS, STANDING_CAUTION, at_a_glance, meaning, quantity, quantity_rows, throw_rows,
    verdict_meaning, verdict_words,
};

use crate::aircraft::{Aircraft, Surface};
use crate::analysis::{Measured, Quantity};
use crate::assess::Assessed;
pub use crate::assess::RecordingSummary;
use crate::history::compare::Side;
use crate::recording::purpose::is_sweep;
use crate::servo::share::Share;
use crate::verdict::Judged;

/// One recording checked: all that an output may show.
pub struct Checked<'a> {
    pub aircraft: &'a Aircraft,
    pub surface: &'a Surface,
    pub recording: RecordingSummary,
    pub measured: Measured,
    pub judged: Judged,
    /// Of two servos on one surface.
    pub servos: Option<Share>,
    /// The surface's latest held stiffness, N·cm/°, where a logbook has one.
    pub held: Option<Quantity>,
}

impl<'a> Checked<'a> {
    pub fn of(aircraft: &'a Aircraft, assessed: Assessed) -> Self {
        Self {
            aircraft,
            surface: &aircraft.surfaces[assessed.surface_index],
            recording: assessed.summary,
            measured: assessed.measured,
            judged: assessed.judged,
            servos: assessed.servos,
            held: None,
        }
    }
    /// Its part in a comparison with another recording of its surface.
    pub fn side(&self) -> Side<'_> {
        let recording = &self.recording;
        let mut last_first = recording.keys.iter().rev();
        let servo = last_first.find(|(key, _)| key == "servo");
        let purpose = recording.keys.iter().rfind(|(key, _)| key == "purpose");
        Side {
            measured: &self.measured,
            rig: recording.rig.as_ref().map(|r| r.name.as_str()),
            servo: servo.map(|(_, tag)| tag.as_str()),
            channels: recording.rig.as_ref().map_or(&[], |r| &r.channels),
            unfinished: recording.unfinished.as_deref(),
            started: view::started(self),
            between_throws: is_sweep(purpose.map(|(_, purpose)| purpose.as_str())),
        }
    }
}
