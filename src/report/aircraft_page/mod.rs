//! The report of an aircraft as one HTML file: a page for the field, a chapter a surface, the servos' records, how to read it.
//! Style and pictures inside, nothing fetched from anywhere, every text from a file escaped. No arithmetic of the trade.
//!
//! The page is in `page.html` with `../parts.html` before it, its looks in `../page.css` and, over those, `page.css`.

mod chapter;
mod field;
mod record;
#[cfg(test)]
mod tests;

use serde::Serialize;

use self::chapter::ChapterOut;
use self::field::FieldOut;
use self::record::ServoOut;
use super::book::Book;
use super::html::{Caution, cautions, render};
use super::small_print::shared_print;
use super::{Checked, prove, view};
use crate::problem::Problem;
use crate::units::TorqueUnit;

/// The whole page.
///
/// # Errors
/// When the page's own template is at fault; no input makes it so.
pub fn page(book: &Book<'_>, unit: TorqueUnit) -> Result<String, Problem> {
    let latest: Vec<&Checked<'_>> = book
        .surfaces
        .iter()
        .filter_map(|chapter| chapter.latest.as_ref())
        .collect();
    let chapters = book.surfaces.iter().enumerate();
    let shown = Shown {
        unit,
        logbook: &book.logbook,
    };
    let page = PageOut {
        aircraft: &book.aircraft.name,
        note: book.aircraft.note.as_deref(),
        logbook: &book.logbook,
        written: book.written.strftime("%Y-%m-%d %H:%M UTC").to_string(),
        style: concat!(include_str!("../page.css"), include_str!("page.css")),
        field: FieldOut::of(book, unit),
        chapters: chapters
            .filter(|(_, chapter)| chapter::has_something(chapter))
            .map(|(i, chapter)| ChapterOut::of(i + 1, chapter, &latest, shown))
            .collect(),
        servos: book
            .servos
            .iter()
            .map(|s| ServoOut::of(s, &book.surfaces, shown))
            .collect(),
        how_to_read: how_to_read(book, unit),
        remarks: &book.remarks,
        cautions: cautions(),
        standing: view::STANDING_CAUTION,
        version: env!("CARGO_PKG_VERSION"),
    };
    let template = concat!(include_str!("../parts.html"), include_str!("page.html"));
    render(template, page)
}

/// How numbers are shown, and the folder that commands are to name.
#[derive(Clone, Copy)]
struct Shown<'a> {
    unit: TorqueUnit,
    logbook: &'a str,
}

#[derive(Serialize)]
struct PageOut<'a> {
    aircraft: &'a str,
    note: Option<&'a str>,
    logbook: &'a str,
    written: String,
    style: &'static str,
    field: FieldOut,
    chapters: Vec<ChapterOut>,
    servos: Vec<ServoOut>,
    /// What it is of, and the sentences.
    how_to_read: Vec<(&'static str, Vec<String>)>,
    remarks: &'a [String],
    cautions: Vec<Caution>,
    standing: &'static str,
    version: &'static str,
}

/// Only what this page has is told how to read.
fn how_to_read(book: &Book<'_>, unit: TorqueUnit) -> Vec<(&'static str, Vec<String>)> {
    let mut parts = vec![("Measured", shared_print([&book.aircraft.limits], unit))];
    if book.surfaces.iter().any(|c| c.worked_in.is_some()) {
        parts.push(("Worked in", chapter::how_to_read_batches()));
    }
    if book.surfaces.iter().any(|c| !c.fixes.is_empty()) {
        let lines = prove::how_to_read("All quantities compared of one surface together are");
        parts.push(("Before and after", lines));
    }
    let servos = book.servos.iter().any(|s| s.record.is_some());
    if servos || book.surfaces.iter().any(|c| c.record.is_some()) {
        parts.push(("From recording to recording", record::how_to_read()));
    }
    parts
}
