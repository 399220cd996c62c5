//! What the marks in a picture of a curve mean: only those that are in it.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::axes::reached_deg;
use super::canvas::*;
use super::curve::ROW;
use super::throws::{asked_mark, reached_mark};
use crate::analysis::{ThrowState, TorqueSource};
use crate::report::{Checked, view};

#[derive(Debug, Clone, Copy, PartialEq)]
enum Key {
    Points(bool),
    Branch(bool),
    Bars,
    LeftOut,
    Fit,
    Unseen,
    Asked,
    Reached,
}

const KEY_WIDTH: f64 = 46.0;
const LEGEND_LETTERS: f64 = LETTERS * 0.92;

/// The entries with the upper left corner of each (along the sheet, and in rows).
pub struct Keys<K> {
    placed: Vec<(K, String, f64, usize)>,
}

impl<K: Copy> Keys<K> {
    pub fn of(entries: Vec<(K, String)>) -> Self {
        let (mut x, mut row) = (24.0, 0);
        let mut placed = Vec::new();
        for (key, text) in entries {
            let width = KEY_WIDTH + text_width(&text, LEGEND_LETTERS);
            if x > 24.0 && x + width > 988.0 {
                (x, row) = (24.0, row + 1);
            }
            placed.push((key, text, x, row));
            x += width + 26.0;
        }
        Self { placed }
    }

    pub fn height(&self) -> f64 {
        self.placed
            .last()
            .map_or(0.0, |(_, _, _, row)| ROW * (*row as f64 + 1.0))
    }

    /// `mark` draws a key's mark, some 36 wide, from the point in the middle of its left edge.
    pub fn draw<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        top: f64,
        mark: impl Fn(K, At) -> Drawn<DB>,
    ) -> Drawn<DB> {
        for (key, text, x, row) in &self.placed {
            let y = top + ROW * (*row as f64 + 0.5);
            mark(*key, (*x, y))?;
            canvas.text(
                text,
                (x + KEY_WIDTH, y),
                LEGEND_LETTERS,
                &INK,
                (HPos::Left, VPos::Center),
            )?;
        }
        Ok(())
    }
}

/// The legend of a curve.
pub struct Legend(Keys<Key>);

impl Legend {
    pub fn of(checked: &Checked<'_>) -> Self {
        Self(Keys::of(entries(checked)))
    }

    pub fn height(&self) -> f64 {
        self.0.height()
    }

    pub fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>, top: f64) -> Drawn<DB> {
        self.0
            .draw(canvas, top, |key, at| draw_key(canvas, key, at))
    }
}

/// What is in this picture and needs a word.
fn entries(checked: &Checked<'_>) -> Vec<(Key, String)> {
    let mut legend = Vec::new();
    if let Some(curve) = &checked.measured.curve {
        for up in [true, false] {
            let words = format!("moving {}", view::side_word(checked, up));
            if curve.points.iter().any(|p| p.moving_up == up) {
                legend.push((Key::Points(up), words));
            } else if !curve.fit.is_empty() {
                legend.push((Key::Branch(up), words));
            }
        }
        if !curve.fit.is_empty() {
            legend.push((Key::Fit, "fit, 95 % band".into()));
        }
        let power = checked.measured.torque_from == TorqueSource::SupplyPower;
        if power && curve.points.iter().any(|p| p.used) {
            legend.push((Key::Bars, "95 % of readings".into()));
        }
        if curve.points.iter().any(|p| !p.used) {
            legend.push((Key::LeftOut, "not in fit".into()));
        }
        if !curve.not_observable.is_empty() {
            legend.push((Key::Unseen, "not observable".into()));
        }
    }
    let throws = &checked.measured.throws;
    if !throws.is_empty() {
        legend.push((Key::Asked, "throw asked".into()));
    }
    if throws.iter().any(|t| reached_deg(t).is_some()) {
        legend.push((Key::Reached, "reached".into()));
    }
    legend
}

fn draw_key<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, key: Key, (x, y): At) -> Drawn<DB> {
    let middle = x + 18.0;
    match key {
        Key::Points(true) => canvas.dot((middle, y), 9.0, &MOVING_UP),
        Key::Points(false) => canvas.area(
            (middle - 8.0, y - 8.0),
            (middle + 8.0, y + 8.0),
            &MOVING_DOWN,
        ),
        Key::Branch(up) => {
            let colour = if up { MOVING_UP } else { MOVING_DOWN };
            canvas.line(&[(x, y), (x + 36.0, y)], &colour, 4.5)
        }
        Key::Bars => [0.0, 14.0, 28.0].into_iter().try_for_each(|along| {
            let x = x + 4.0 + along;
            canvas.line(&[(x, y - 15.0), (x, y + 15.0)], &GREY.mix(0.5), 9.0)
        }),
        Key::LeftOut => canvas.ring((middle, y), 7.0, &GREY, 1.5),
        Key::Fit => {
            canvas.area((x, y - 10.0), (x + 36.0, y + 10.0), &GREY.mix(0.3))?;
            canvas.line(&[(x, y), (x + 36.0, y)], &INK, 4.5)
        }
        Key::Unseen => {
            canvas.hatch((x, y - 13.0), (x + 36.0, y + 13.0), &GREY, 12.0)?;
            canvas.dashed(&[(x, y), (x + 36.0, y)], &INK, 3.0, (8.0, 7.0))
        }
        Key::Asked => asked_mark(canvas, (middle, y)),
        Key::Reached => reached_mark(canvas, (middle, y), ThrowState::Met),
    }
}
