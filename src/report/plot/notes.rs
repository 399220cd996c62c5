//! The names over the frame of a curve: knees, tight spots, and the flags of findings that have a place.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::Axes;
use super::canvas::*;
use super::curve::{LEFT, RIGHT, ROW};
use crate::analysis::Curve;
use crate::report::{Checked, view};
use crate::units::Unit;
use crate::verdict::{Kind, Level};

/// What is to be named above the frame.
pub struct Note {
    pub text: String,
    at_deg: f64,
    /// A dashed line marks its place.
    line: bool,
    /// Of the finding that it is.
    level: Option<Level>,
}

/// Knees, tight spots, and every other finding that has a place on this picture. What the rules did not make a
/// finding says so.
pub fn notes(checked: &Checked<'_>, curve: &Curve) -> Vec<Note> {
    let note = |words: String, kind: Kind, at_deg: f64, line: bool| {
        let level = view::finding_at(checked, kind, at_deg).map(|finding| finding.level);
        let text = match level {
            Some(level) => format!("{}: {words}", level.word()),
            None => format!("{words}: no finding"),
        };
        Note {
            text,
            at_deg,
            line,
            level,
        }
    };
    let place = |deg: f64| Unit::Degree.place(deg);
    let knees = curve.knees.iter().map(|knee| {
        let at_deg = knee.at_deg.value;
        note(
            format!("knee {}", place(at_deg)),
            Kind::Stiffening,
            at_deg,
            true,
        )
    });
    let spots = curve.tight_spots.iter().map(|spot| {
        let at_deg = spot.at_deg.value;
        let when = view::when_words(checked, spot.when);
        note(
            format!("tight spot {}, {when}", place(at_deg)),
            Kind::TightSpot,
            at_deg,
            false,
        )
    });
    let loads = checked
        .judged
        .findings
        .iter()
        .filter(|finding| finding.kind == Kind::HighLoad)
        .filter_map(|finding| finding.at_deg)
        .map(|at_deg| {
            note(
                format!("high load {}", place(at_deg)),
                Kind::HighLoad,
                at_deg,
                true,
            )
        });
    knees.chain(spots).chain(loads).collect()
}

/// The notes, each where it covers no other.
#[derive(Default)]
pub struct Labels {
    pub rows: Rows,
    /// With row and middle of the text.
    placed: Vec<(Note, usize, f64)>,
}

/// Room for a finding's flag before its text.
const FLAG_ROOM: f64 = FLAG.0 + 10.0;

impl Labels {
    pub fn of(checked: &Checked<'_>, curve: &Curve, axes: Axes) -> Self {
        let frame = Frame {
            upper_left: (LEFT, 0.0),
            lower_right: (RIGHT, 1.0),
            x: axes.angle_deg,
            y: (0.0, 1.0),
        };
        let mut labels = Labels::default();
        for note in notes(checked, curve)
            .into_iter()
            .filter(|note| frame.holds(note.at_deg, 0.5))
        {
            let x = frame.x_at(note.at_deg);
            let (row, middle) = labels.rows.place(x, note.width(), (LEFT, RIGHT));
            labels.placed.push((note, row, middle));
        }
        labels
    }

    pub fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>, frame: &Frame) -> Drawn<DB> {
        let (top, bottom) = (frame.upper_left.1, frame.lower_right.1);
        let middle_of = |row: usize| top - 6.0 - ROW * (row as f64 + 0.5);
        for (note, row, _) in &self.placed {
            let (x, colour) = (frame.x_at(note.at_deg), note.hue());
            if note.line {
                canvas.dashed(&[(x, top), (x, bottom)], &colour, 2.5, (14.0, 9.0))?;
            }
            canvas.line(&[(x, middle_of(*row)), (x, top)], &colour, 1.5)?;
        }
        for (note, row, middle) in &self.placed {
            let (y, half) = (middle_of(*row), note.width() / 2.0);
            let mut left = middle - half;
            canvas.area(
                (left - 4.0, y - ROW * 0.5 - 1.0),
                (middle + half + 4.0, y + ROW * 0.5),
                &WHITE,
            )?;
            if note.level.is_some() {
                canvas.flag((left, y + FLAG.1 * 0.5), &note.hue())?;
                left += FLAG_ROOM;
            }
            canvas.text(
                &note.text,
                (left, y),
                LETTERS,
                &note.hue(),
                (HPos::Left, VPos::Center),
            )?;
        }
        Ok(())
    }
}

impl Note {
    fn width(&self) -> f64 {
        let flag = self.level.map_or(0.0, |_| FLAG_ROOM);
        text_width(&self.text, LETTERS) + flag
    }

    fn hue(&self) -> RGBColor {
        self.level.map_or(QUIET, level_hue)
    }
}
