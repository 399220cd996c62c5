//! The strip under the frame: the throws.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::axes::{Axes, reached_deg};
use super::canvas::*;
use super::curve::{LEFT, RIGHT};
use crate::analysis::{ThrowResult, ThrowState};
use crate::report::{Checked, view};
use crate::units::Unit;
use crate::verdict::Level;

/// The strip under the frame: each throw asked and reached, in words and by place.
pub struct Throws<'t> {
    rows: Rows,
    placed: Vec<(Mark<'t>, String, usize, f64)>,
}

/// A throw, and the level of the finding that it is.
#[derive(Clone, Copy)]
struct Mark<'t> {
    throw: &'t ThrowResult,
    level: Option<Level>,
}

impl Mark<'_> {
    fn text(&self, name: &str) -> String {
        throw_text(self.throw, name)
    }

    fn width(&self, text: &str) -> f64 {
        text_width(text, THROW_LETTERS) + self.level.map_or(0.0, |_| FLAG.0 + 8.0)
    }
}

const THROW_LETTERS: f64 = LETTERS * 0.92;
const THROW_ROW: f64 = LETTERS * 1.45;

impl<'t> Throws<'t> {
    pub fn of(checked: &'t Checked<'_>, axes: Axes) -> Self {
        let frame = Frame {
            upper_left: (LEFT, 0.0),
            lower_right: (RIGHT, 1.0),
            x: axes.angle_deg,
            y: (0.0, 1.0),
        };
        let mut strip = Throws {
            rows: Rows::default(),
            placed: Vec::new(),
        };
        for throw in checked
            .measured
            .throws
            .iter()
            .filter(|t| frame.holds(t.asked_deg * t.side.sign(), 0.5))
        {
            let mark = Mark {
                throw,
                level: view::finding_of_throw(checked, throw).map(|f| f.level),
            };
            let degrees = [Some(throw.asked_deg), reached_deg(throw)]
                .into_iter()
                .flatten();
            let marks = degrees
                .map(|deg| frame.x_at((deg * throw.side.sign()).clamp(frame.x.0, frame.x.1)));
            let (first, last) = marks.fold((RIGHT, LEFT), |(a, b), x| (a.min(x), b.max(x)));
            let (text, from) = words_beside(mark, first, last);
            let width = mark.width(&text);
            let (lo, hi) = (first.min(from) - 14.0, last.max(from + width) + 14.0);
            let (row, _) = strip
                .rows
                .place((lo + hi) / 2.0, hi - lo, (f64::MIN, f64::MAX));
            strip.placed.push((mark, text, row, from));
        }
        strip
    }

    pub fn height(&self) -> f64 {
        self.rows.count() as f64 * THROW_ROW
    }

    pub fn draw<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        frame: &Frame,
        top: f64,
    ) -> Drawn<DB> {
        if self.placed.is_empty() {
            return Ok(());
        }
        let bottom = top + self.height();
        canvas.line(
            &[(LEFT, top), (LEFT, bottom), (RIGHT, bottom), (RIGHT, top)],
            &GREY,
            1.5,
        )?;
        for (mark, text, row, from) in &self.placed {
            let throw = mark.throw;
            let y = top + THROW_ROW * (*row as f64 + 0.5);
            let sign = throw.side.sign();
            asked_mark(canvas, (frame.x_at(throw.asked_deg * sign), y))?;
            if let Some(deg) = reached_deg(throw) {
                let x = frame.x_at((deg * sign).clamp(frame.x.0, frame.x.1));
                reached_mark(canvas, (x, y), throw.state)?;
            }
            let (mut from, colour) = (*from, mark.level.map_or(INK, level_hue));
            if mark.level.is_some() {
                canvas.flag((from, y + FLAG.1 * 0.5), &colour)?;
                from += FLAG.0 + 8.0;
            }
            canvas.text(
                text,
                (from, y),
                THROW_LETTERS,
                &colour,
                (HPos::Left, VPos::Center),
            )?;
        }
        Ok(())
    }
}

/// The throw's words and where they begin: beside its marks on the side towards the middle, else where they fit,
/// else where there is most room, with the name cut.
fn words_beside(mark: Mark<'_>, first: f64, last: f64) -> (String, f64) {
    let clear = 20.0;
    let left = (LEFT + 6.0, first - clear);
    let right = (last + clear, RIGHT - 6.0);
    let between = (first + clear, last - clear);
    let on_the_right = (first + last) / 2.0 > (LEFT + RIGHT) / 2.0;
    let rooms = if on_the_right {
        [left, right, between]
    } else {
        [right, left, between]
    };
    let wide = |room: &(f64, f64)| room.1 - room.0;
    let whole = mark.text(&mark.throw.name);
    let needed = mark.width(&whole);
    let widest = || rooms.iter().max_by(|a, b| wide(a).total_cmp(&wide(b)));
    let room = rooms
        .iter()
        .find(|room| wide(room) >= needed)
        .or_else(widest)
        .unwrap_or(&between);
    let others = mark.width(&mark.text(""));
    let name = if wide(room) >= needed {
        mark.throw.name.clone()
    } else {
        cut(&mark.throw.name, THROW_LETTERS, wide(room) - others)
    };
    let text = mark.text(&name);
    let width = mark.width(&text);
    let from = if *room == left {
        room.1 - width
    } else {
        room.0
    };
    (text, from)
}

fn throw_text(throw: &ThrowResult, name: &str) -> String {
    let asked = Unit::Millimetre.given(throw.asked_mm);
    let state = match throw.state {
        ThrowState::Met if view::swept_beyond(throw).is_some() => "reached",
        ThrowState::Met => "met",
        ThrowState::Short => "short",
        ThrowState::Unproven => "unproven",
    };
    match throw
        .reached_mm
        .as_ref()
        .filter(|q| q.value.is_finite() && throw.state != ThrowState::Met)
    {
        Some(reached) => {
            let reached = Unit::Millimetre.place(reached.value);
            format!(
                "{name} {} of {asked}: {state}",
                reached.trim_end_matches(" mm")
            )
        }
        None => format!("{name} {asked}: {state}"),
    }
}

pub fn asked_mark<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, (x, y): At) -> Drawn<DB> {
    canvas.line(&[(x, y - 17.0), (x, y + 17.0)], &INK, 4.0)
}

pub fn reached_mark<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    (x, y): At,
    state: ThrowState,
) -> Drawn<DB> {
    let diamond = [
        (x, y - 11.0),
        (x + 11.0, y),
        (x, y + 11.0),
        (x - 11.0, y),
        (x, y - 11.0),
    ];
    match state {
        ThrowState::Met => canvas.fill(&diamond, &REACHED),
        // A hollow mark: the throw is not there, or not proven.
        ThrowState::Short | ThrowState::Unproven => canvas.line(&diamond, &INK, 3.0),
    }
}
