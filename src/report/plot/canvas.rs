//! A sheet to draw on in units of its own, a frame with two axes on it, and labels that keep clear of each other.

use std::sync::Once;

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use crate::units;
use crate::verdict::Level;

/// What drawing returns, by the backend's own error.
pub type Outcome<E> = Result<(), DrawingAreaErrorKind<E>>;
/// What drawing returns, by the backend.
pub type Drawn<DB> = Outcome<<DB as DrawingBackend>::ErrorType>;

/// Height of ordinary letters, in sheet units: legible where a sheet of 1,000 is shown 330 pixels wide.
pub const LETTERS: f64 = 36.0;

pub const INK: RGBColor = RGBColor(0x22, 0x22, 0x22);
pub const GREY: RGBColor = RGBColor(0x77, 0x77, 0x77);
pub const FAINT: RGBColor = RGBColor(0xDD, 0xDD, 0xDD);
/// Hues that the colour-blind tell apart (Okabe and Ito, Color Universal Design, 2008).
pub const MOVING_UP: RGBColor = RGBColor(0x00, 0x72, 0xB2);
pub const MOVING_DOWN: RGBColor = RGBColor(0xD5, 0x5E, 0x00);
pub const SPOT: RGBColor = RGBColor(0xF0, 0xE4, 0x42);
pub const REACHED: RGBColor = RGBColor(0x00, 0x7A, 0x5A);
/// Levels of findings, each dark enough to be read on white (WCAG 2.2, 1.4.3: 4.5 to 1).
pub const STOP: RGBColor = RGBColor(0xA3, 0x20, 0x1B);
pub const WORK: RGBColor = RGBColor(0x8A, 0x52, 0x00);
pub const WATCH: RGBColor = RGBColor(0x28, 0x56, 0x6E);
/// Words of less weight.
pub const QUIET: RGBColor = RGBColor(0x5A, 0x5A, 0x5A);
pub const PULSE: RGBColor = RGBColor(0xA8, 0x4F, 0x86);

/// Width and height of a finding's flag.
pub const FLAG: (f64, f64) = (24.0, 32.0);

pub fn level_hue(level: Level) -> RGBColor {
    match level {
        Level::Stop => STOP,
        Level::Work => WORK,
        Level::Watch => WATCH,
    }
}

/// A point on the sheet, in sheet units, from the upper left corner.
pub type At = (f64, f64);

/// A sheet. Everything on it is in sheet units; only here are there pixels.
pub struct Canvas<'a, DB: DrawingBackend> {
    root: &'a DrawingArea<DB, Shift>,
    scale: f64,
    /// The backend draws pixels, not shapes.
    pixels: bool,
}

impl<'a, DB: DrawingBackend> Canvas<'a, DB> {
    pub fn new(root: &'a DrawingArea<DB, Shift>, scale: f64, pixels: bool) -> Self {
        Self {
            root,
            scale,
            pixels,
        }
    }

    fn px(&self, at: At) -> (i32, i32) {
        (
            (at.0 * self.scale).round() as i32,
            (at.1 * self.scale).round() as i32,
        )
    }

    fn stroke(&self, colour: &impl Color, width: f64) -> ShapeStyle {
        colour.stroke_width((width * self.scale).round().max(1.0) as u32)
    }

    pub fn paper(&self) -> Drawn<DB> {
        self.root.fill(&WHITE)
    }

    pub fn line(&self, points: &[At], colour: &impl Color, width: f64) -> Drawn<DB> {
        if points.len() < 2 {
            return Ok(());
        }
        let style = self.stroke(colour, width);
        if self.pixels && points.len() > 2 {
            // The bitmap backend tears wide paths of many short pieces: each piece and each joint by itself.
            for ends in points.windows(2) {
                self.root.draw(&PathElement::new(
                    vec![self.px(ends[0]), self.px(ends[1])],
                    style,
                ))?;
            }
            let joints = &points[1..points.len() - 1];
            return joints
                .iter()
                .try_for_each(|&joint| self.dot(joint, width / 2.0, colour));
        }
        self.root.draw(&PathElement::new(
            points.iter().map(|&at| self.px(at)).collect::<Vec<_>>(),
            style,
        ))
    }

    /// Dashes along a path.
    pub fn dashed(
        &self,
        points: &[At],
        colour: &impl Color,
        width: f64,
        (dash, gap): (f64, f64),
    ) -> Drawn<DB> {
        let (mut left, mut drawing) = (dash, true);
        for ends in points.windows(2) {
            let (mut from, to) = (ends[0], ends[1]);
            loop {
                let length = (to.0 - from.0).hypot(to.1 - from.1);
                let step = left.min(length);
                let share = if length > 0.0 { step / length } else { 1.0 };
                let next = (
                    from.0 + (to.0 - from.0) * share,
                    from.1 + (to.1 - from.1) * share,
                );
                if drawing {
                    self.line(&[from, next], colour, width)?;
                }
                left -= step;
                from = next;
                if length <= step {
                    break;
                }
                drawing = !drawing;
                left = if drawing { dash } else { gap };
            }
        }
        Ok(())
    }

    pub fn fill(&self, points: &[At], colour: &impl Color) -> Drawn<DB> {
        if points.len() < 3 {
            return Ok(());
        }
        self.root.draw(&Polygon::new(
            points.iter().map(|&at| self.px(at)).collect::<Vec<_>>(),
            colour.filled(),
        ))
    }

    pub fn area(&self, from: At, to: At, colour: &impl Color) -> Drawn<DB> {
        self.root.draw(&Rectangle::new(
            [self.px(from), self.px(to)],
            colour.filled(),
        ))
    }

    pub fn dot(&self, at: At, radius: f64, colour: &impl Color) -> Drawn<DB> {
        self.root.draw(&Circle::new(
            self.px(at),
            (radius * self.scale).round() as i32,
            colour.filled(),
        ))
    }

    pub fn ring(&self, at: At, radius: f64, colour: &impl Color, width: f64) -> Drawn<DB> {
        self.root.draw(&Circle::new(
            self.px(at),
            (radius * self.scale).round() as i32,
            self.stroke(colour, width),
        ))
    }

    /// A finding's flag: a pole with a pennant, its foot at the lower left, as high as a letter.
    pub fn flag(&self, (x, y): At, colour: &impl Color) -> Drawn<DB> {
        let top = y - FLAG.1;
        self.fill(
            &[
                (x + 2.0, top),
                (x + FLAG.0, top + FLAG.1 * 0.3),
                (x + 2.0, top + FLAG.1 * 0.6),
            ],
            colour,
        )?;
        self.line(&[(x + 1.0, y), (x + 1.0, top)], colour, 3.5)
    }

    /// Lines at 45° within a rectangle (from upper left to lower right corner).
    pub fn hatch(&self, from: At, to: At, colour: &impl Color, apart: f64) -> Drawn<DB> {
        let (width, height) = (to.0 - from.0, to.1 - from.1);
        // Lines of one family across the whole sheet, so that neighbours meet.
        let mut along = ((from.0 + from.1) / apart).ceil() * apart - from.0 - from.1;
        while along < width + height {
            let low = (
                from.0 + (along - height).max(0.0),
                from.1 + along.min(height),
            );
            let high = (from.0 + along.min(width), from.1 + (along - width).max(0.0));
            self.line(&[low, high], colour, 1.0)?;
            along += apart;
        }
        Ok(())
    }

    fn style(&self, size: f64, colour: &impl Color, pos: Pos) -> TextStyle<'static> {
        ("sans-serif", size * self.scale)
            .into_font()
            .color(colour)
            .pos(pos)
    }

    pub fn text(
        &self,
        text: &str,
        at: At,
        size: f64,
        colour: &impl Color,
        (h, v): (HPos, VPos),
    ) -> Drawn<DB> {
        let style = self.style(size, colour, Pos::new(h, v));
        // The bitmap backend centres the line with its room for descenders, the SVG's reader the letters.
        let lower = if self.pixels && matches!(v, VPos::Center) {
            0.1 * size
        } else {
            0.0
        };
        self.root
            .draw_text(&printable(text), &style, self.px((at.0, at.1 + lower)))
    }
}

/// The same letters on every machine, with or without fonts of its own: DejaVu Sans (licence beside it).
pub static FONT: &[u8] = include_bytes!("../font/DejaVuSans.ttf");

pub fn register_font() {
    static ONCE: Once = Once::new();
    // A font that cannot be read leaves the picture without letters; a test makes sure that it can.
    ONCE.call_once(|| {
        drop(plotters::style::register_font(
            "sans-serif",
            FontStyle::Normal,
            FONT,
        ))
    });
}

/// Width of a text, in sheet units. Where a reader's own letters are used they are rarely wider than these.
pub fn text_width(text: &str, size: f64) -> f64 {
    register_font();
    // The font measures in whole pixels: it is asked for larger letters.
    const FINER: f64 = 8.0;
    let measured = ("sans-serif", size * FINER)
        .into_font()
        .box_size(&printable(text))
        .ok();
    measured.map_or(0.6 * size * text.chars().count() as f64, |(width, _)| {
        f64::from(width) / FINER
    })
}

/// Cut with an ellipsis so that it is no wider than this.
pub fn cut(text: &str, size: f64, widest: f64) -> String {
    if text_width(text, size) <= widest {
        return text.into();
    }
    let mut kept: Vec<char> = text.chars().take(200).collect();
    while kept.pop().is_some() {
        let shorter: String = kept.iter().collect::<String>().trim_end().to_string() + "…";
        if text_width(&shorter, size) <= widest {
            return shorter;
        }
    }
    String::new()
}

/// Control characters are not allowed in SVG, escaped or not.
fn printable(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
        .collect()
}

/// A rectangle on the sheet with a range along either side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    pub upper_left: At,
    pub lower_right: At,
    pub x: (f64, f64),
    pub y: (f64, f64),
}

impl Frame {
    pub fn x_at(&self, x: f64) -> f64 {
        self.upper_left.0 + share(x, self.x) * (self.lower_right.0 - self.upper_left.0)
    }

    pub fn y_at(&self, y: f64) -> f64 {
        self.lower_right.1 - share(y, self.y) * (self.lower_right.1 - self.upper_left.1)
    }

    pub fn at(&self, x: f64, y: f64) -> At {
        (self.x_at(x), self.y_at(y))
    }

    pub fn holds(&self, x: f64, y: f64) -> bool {
        (self.x.0..=self.x.1).contains(&x) && (self.y.0..=self.y.1).contains(&y)
    }

    /// Grid, tick labels and border. `x_labels`: false where a frame below carries them.
    pub fn grid<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        x_labels: bool,
        y_ticks: usize,
    ) -> Drawn<DB> {
        self.grid_of(canvas, &ticks(self.x, 8), x_labels, y_ticks)
    }

    /// [`Frame::grid`] with places along x of the caller's choosing.
    pub fn grid_of<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        x_ticks: &[(f64, String)],
        x_labels: bool,
        y_ticks: usize,
    ) -> Drawn<DB> {
        let ((left, top), (right, bottom)) = (self.upper_left, self.lower_right);
        let size = LETTERS * 0.9;
        for (value, label) in x_ticks {
            let x = self.x_at(*value);
            canvas.line(&[(x, top), (x, bottom)], &FAINT, 1.0)?;
            if x_labels {
                let below = (x, bottom + 10.0);
                canvas.text(label, below, size, &INK, (HPos::Center, VPos::Top))?;
            }
        }
        for (value, label) in ticks(self.y, y_ticks) {
            let y = self.y_at(value);
            canvas.line(&[(left, y), (right, y)], &FAINT, 1.0)?;
            canvas.text(
                &label,
                (left - 10.0, y),
                size,
                &INK,
                (HPos::Right, VPos::Center),
            )?;
        }
        Ok(())
    }

    pub fn border<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Drawn<DB> {
        let ((left, top), (right, bottom)) = (self.upper_left, self.lower_right);
        canvas.line(
            &[
                (left, top),
                (right, top),
                (right, bottom),
                (left, bottom),
                (left, top),
            ],
            &GREY,
            1.5,
        )
    }
}

fn share(value: f64, range: (f64, f64)) -> f64 {
    (value - range.0) / (range.1 - range.0)
}

/// A range that can be drawn: finite, not empty, with some air at either end. `least`: its smallest width.
pub fn range(values: impl Iterator<Item = f64>, least: f64, air: f64) -> Option<(f64, f64)> {
    // Beyond this a number is no measurement of a surface, and the arithmetic of drawing could overflow.
    const FARTHEST: f64 = 1e12;
    let finite = values.filter(|v| v.abs() <= FARTHEST);
    let (lo, hi) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| {
        (lo.min(v), hi.max(v))
    });
    if lo > hi {
        return None;
    }
    let least = least.max((lo.abs() + hi.abs()) * 1e-9);
    let missing = (least - (hi - lo)).max(0.0) / 2.0;
    let air = (hi - lo + 2.0 * missing) * air + missing;
    Some((lo - air, hi + air))
}

/// Round places along a range, at most about `most`, with their labels.
pub fn ticks((lo, hi): (f64, f64), most: usize) -> Vec<(f64, String)> {
    let rough = (hi - lo) / most.max(1) as f64;
    if !rough.is_finite() || rough <= 0.0 {
        return Vec::new();
    }
    let power = rough.log10().floor() as i32;
    let unit = 10f64.powi(power);
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * unit)
        .find(|&s| s >= rough * 0.999)
        .unwrap_or(unit * 10.0);
    let decimals = (-(step.log10() + 1e-9).floor() as i32).max(0);
    let (first, last) = ((lo / step).ceil() as i64, (hi / step).floor() as i64);
    (first..=last)
        .take(100)
        .map(|i| i as f64 * step)
        .map(|value| (value, units::fixed(value, decimals)))
        .collect()
}

/// Rows of labels in which none covers another.
#[derive(Debug, Default)]
pub struct Rows {
    /// Each row's taken stretches.
    taken: Vec<Vec<(f64, f64)>>,
}

impl Rows {
    /// The first row with room for a label of this width about `x`, kept within `bounds`, and where its middle
    /// then stands.
    pub fn place(&mut self, x: f64, width: f64, bounds: (f64, f64)) -> (usize, f64) {
        let half = width / 2.0;
        let middle = x.min(bounds.1 - half).max(bounds.0 + half);
        let (from, to) = (middle - half - 8.0, middle + half + 8.0);
        let free = |row: &Vec<(f64, f64)>| row.iter().all(|&(a, b)| to <= a || from >= b);
        let row = self.taken.iter().position(free).unwrap_or_else(|| {
            self.taken.push(Vec::new());
            self.taken.len() - 1
        });
        self.taken[row].push((from, to));
        (row, middle)
    }

    pub fn count(&self) -> usize {
        self.taken.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_within_the_range() {
        let labels: Vec<String> = ticks((-22.4, 24.2), 8).into_iter().map(|t| t.1).collect();
        assert_eq!(labels, ["−20", "−10", "0", "10", "20"]);
        let labels: Vec<String> = ticks((0.0, 0.1), 5).into_iter().map(|t| t.1).collect();
        assert_eq!(labels, ["0.00", "0.02", "0.04", "0.06", "0.08", "0.10"]);
        assert!(ticks((1.0, 1.0), 5).is_empty() && ticks((f64::NAN, 1.0), 5).is_empty());
    }

    #[test]
    fn a_range_is_never_empty_or_unbounded() {
        assert_eq!(range([f64::NAN, f64::INFINITY].into_iter(), 1.0, 0.1), None);
        let (lo, hi) = range([5.0].into_iter(), 1.0, 0.0).unwrap();
        assert!((lo - 4.5).abs() < 1e-12 && (hi - 5.5).abs() < 1e-12);
        assert_eq!(
            range([1e300, 2.0, 4.0].into_iter(), 1.0, 0.0),
            Some((2.0, 4.0))
        );
    }

    #[test]
    fn labels_that_would_cover_each_other_get_rows_of_their_own() {
        let mut rows = Rows::default();
        assert_eq!(rows.place(100.0, 80.0, (0.0, 1000.0)), (0, 100.0));
        assert_eq!(rows.place(150.0, 80.0, (0.0, 1000.0)), (1, 150.0));
        assert_eq!(rows.place(300.0, 80.0, (0.0, 1000.0)), (0, 300.0));
        assert_eq!(rows.place(990.0, 80.0, (0.0, 1000.0)), (0, 960.0));
    }
}
