//! The drawing of a record over time: everything within the frame, and the legend's marks.

use jiff::Timestamp;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::dates;
use super::marks::*;
use super::trend::{Dot, Key, Part, RIGHT, Sheet, X_TICKS, Y_TICKS, crossing_days, limits};
use crate::history::season::{Per, Trend};

/// A canvas with the frame on it that a record is drawn in.
pub struct Pen<'a, 'b, 'r, DB: DrawingBackend> {
    pub canvas: &'a Canvas<'b, DB>,
    pub frame: Frame,
    pub sheet: &'a Sheet<'r>,
    pub factor: f64,
}

impl<DB: DrawingBackend> Pen<'_, '_, '_, DB> {
    pub fn draw(&self, start: Timestamp) -> Drawn<DB> {
        let (canvas, frame) = (self.canvas, &self.frame);
        self.chart_limits()?;
        self.band()?;
        let x_ticks = dates::ticks(start, frame.x, X_TICKS);
        frame.grid_of(canvas, &x_ticks, true, Y_TICKS)?;
        self.limit_lines()?;
        self.baseline()?;
        self.trend_line()?;
        self.since_line()?;
        // What is in force on top.
        for part in [Part::Before, Part::SetAside, Part::InForce] {
            for dot in self.sheet.dots.iter().filter(|d| d.part == part) {
                self.dot(dot)?;
            }
        }
        self.average()?;
        self.crossing()?;
        frame.border(canvas)
    }

    fn dot(&self, dot: &Dot) -> Drawn<DB> {
        let hue = hue(dot.part);
        bar(
            self.canvas,
            &self.frame,
            dot.days,
            &dot.quantity,
            self.factor,
            &hue,
        )?;
        let value = dot.quantity.value * self.factor;
        if !self.frame.holds(dot.days, value) {
            return Ok(());
        }
        let hollow = dot.part == Part::SetAside;
        mark(
            self.canvas,
            self.frame.at(dot.days, value),
            shape(dot.part),
            &hue,
            hollow,
        )
    }

    /// From the first recording of the baseline in force to the latest.
    fn in_force(&self) -> Option<(f64, f64)> {
        let mut all = self.sheet.dots.iter().filter(|d| d.part != Part::Before);
        let first = all.next()?.days;
        Some((first, all.next_back().map_or(first, |d| d.days)))
    }

    fn chart_limits(&self) -> Drawn<DB> {
        let average = self.sheet.record.health.average;
        let Some((average, reach)) = average.zip(self.in_force()) else {
            return Ok(());
        };
        let limits = (average.lower * self.factor, average.upper * self.factor);
        between(self.canvas, &self.frame, reach, limits, &GREY.mix(0.2))?;
        for level in [limits.0, limits.1] {
            let ends = [(reach.0, level), (reach.1, level)];
            for run in runs(&self.frame, ends.into_iter()) {
                self.canvas.dashed(&run, &GREY, 1.5, (4.0, 5.0))?;
            }
        }
        Ok(())
    }

    fn baseline(&self) -> Drawn<DB> {
        let baseline = self.sheet.record.health.baseline.map(|b| b * self.factor);
        let Some((level, (from, to))) = baseline.zip(self.in_force()) else {
            return Ok(());
        };
        for run in runs(&self.frame, [(from, level), (to, level)].into_iter()) {
            self.canvas.line(&run, &INK, 2.5)?;
        }
        Ok(())
    }

    /// Where the chart's average stands after the latest recording.
    fn average(&self) -> Drawn<DB> {
        let average = self
            .sheet
            .record
            .health
            .average
            .map(|a| a.average * self.factor);
        match average.zip(self.in_force()) {
            Some((value, (_, last))) if self.frame.holds(last, value) => {
                let at = self.frame.at(last, value);
                mark(self.canvas, at, Shape::Diamond, &INK, true)
            }
            _ => Ok(()),
        }
    }

    /// Places along the line: in days from the start, and in the trend's own measure after the latest recording believed.
    fn along(&self, trend: &Trend) -> (Vec<(f64, f64)>, usize) {
        let believed: Vec<f64> = self.sheet.believed().map(|d| d.days).collect();
        let (Some(first), Some(last)) = (believed.first(), believed.last()) else {
            return (Vec::new(), 0);
        };
        match trend.per {
            // Counted, not dated: a line from recording to recording, and none beyond.
            Per::Recording => {
                let after = |i: usize| i as f64 + 1.0 - believed.len() as f64;
                let all = believed
                    .iter()
                    .enumerate()
                    .map(|(i, days)| (*days, after(i)));
                (all.collect(), believed.len())
            }
            Per::ThirtyDays => {
                let measured = |days: f64| (days, (days - last) / 30.0);
                let mut all: Vec<_> = places(*first, *last, 40).map(measured).collect();
                let seen = all.len();
                if crossing_days(self.sheet.record).is_some() {
                    all.extend(places(*last, self.frame.x.1, 40).map(measured));
                }
                (all, seen)
            }
        }
    }

    fn trend_line(&self) -> Drawn<DB> {
        let Some(trend) = self.sheet.trend() else {
            return Ok(());
        };
        let (all, seen) = self.along(trend);
        let at = |&(days, after): &(f64, f64)| (days, trend.at(after) * self.factor);
        for run in runs(&self.frame, all[..seen].iter().map(at)) {
            self.canvas.line(&run, &MOVING_DOWN, 4.0)?;
        }
        for run in runs(&self.frame, all[seen..].iter().map(at)) {
            self.canvas.dashed(&run, &MOVING_DOWN, 3.5, (16.0, 11.0))?;
        }
        Ok(())
    }

    fn band(&self) -> Drawn<DB> {
        let Some((trend, sigma)) = self.sheet.trend().zip(self.sheet.record.health.sigma) else {
            return Ok(());
        };
        let edges = |&(days, after): &(f64, f64)| {
            let (lo, hi) = trend.band_at(after, sigma)?;
            let [lo, hi] =
                [lo, hi].map(|v| (v * self.factor).clamp(self.frame.y.0, self.frame.y.1));
            let known = days.is_finite() && lo.is_finite() && hi.is_finite();
            known.then(|| (self.frame.at(days, lo), self.frame.at(days, hi)))
        };
        let (all, _) = self.along(trend);
        let edges: Vec<(At, At)> = all.iter().filter_map(edges).collect();
        let outline: Vec<At> = edges
            .iter()
            .map(|e| e.1)
            .chain(edges.iter().rev().map(|e| e.0))
            .collect();
        self.canvas.fill(&outline, &MOVING_DOWN.mix(0.18))
    }

    fn limit_lines(&self) -> Drawn<DB> {
        let ((left, _), (right, _)) = (self.frame.upper_left, self.frame.lower_right);
        for (limit, upper) in limits(self.sheet.record) {
            let value = limit * self.factor;
            if !(self.frame.y.0..=self.frame.y.1).contains(&value) {
                continue;
            }
            let y = self.frame.y_at(value);
            self.canvas
                .dashed(&[(left, y), (right, y)], &STOP, 3.5, (26.0, 9.0))?;
            let words = format!("limit {}", self.sheet.unit.given(limit));
            let (y, v) = match upper {
                true => (y - 4.0, VPos::Bottom),
                false => (y + 4.0, VPos::Top),
            };
            let at = (left + 10.0, y);
            self.canvas
                .text(&words, at, LETTERS * 0.9, &STOP, (HPos::Left, v))?;
        }
        Ok(())
    }

    fn since_line(&self) -> Drawn<DB> {
        let Some((days, why)) = self.sheet.since(self.frame.x) else {
            return Ok(());
        };
        let (x, (_, top)) = (self.frame.x_at(days), self.frame.upper_left);
        let bottom = self.frame.lower_right.1;
        self.canvas
            .line(&[(x, top - 8.0), (x, bottom)], &WATCH, 3.0)?;
        let words = cut(why, LETTERS, RIGHT - 24.0 - 24.0);
        let half = text_width(&words, LETTERS) / 2.0;
        let middle = x.min(RIGHT - half).max(24.0 + half);
        let centre = (HPos::Center, VPos::Bottom);
        self.canvas
            .text(&words, (middle, top - 10.0), LETTERS, &WATCH, centre)
    }

    /// On the limit: from the soonest to the latest day, and the day expected.
    fn crossing(&self) -> Drawn<DB> {
        let Some(([soonest, expected, latest], limit, seen)) = self.sheet.crossing() else {
            return Ok(());
        };
        let value = limit * self.factor;
        if !(self.frame.y.0..=self.frame.y.1).contains(&value) {
            return Ok(());
        }
        let y = self.frame.y_at(value);
        let to = self.frame.x_at(latest.min(self.frame.x.1));
        let from = self.frame.x_at(soonest);
        self.canvas.line(&[(from, y), (to, y)], &INK, 6.0)?;
        self.canvas
            .line(&[(from, y - 13.0), (from, y + 13.0)], &INK, 4.0)?;
        if latest <= self.frame.x.1 {
            self.canvas
                .line(&[(to, y - 13.0), (to, y + 13.0)], &INK, 4.0)?;
        }
        match seen {
            true => mark(
                self.canvas,
                (self.frame.x_at(expected), y),
                Shape::Diamond,
                &MOVING_DOWN,
                false,
            ),
            false => Ok(()),
        }
    }
}

/// What is no longer in force stands back in grey print, too.
fn shape(part: Part) -> Shape {
    match part {
        Part::Before => Shape::Speck,
        Part::InForce | Part::SetAside => Shape::Dot,
    }
}

fn hue(part: Part) -> RGBColor {
    match part {
        Part::Before => GREY,
        Part::InForce => MOVING_UP,
        Part::SetAside => INK,
    }
}

pub fn draw_key<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, key: Key, (x, y): At) -> Drawn<DB> {
    let middle = (x + 18.0, y);
    let across = [(x, y), (x + 36.0, y)];
    let swatch = ((x, y - 11.0), (x + 36.0, y + 11.0));
    let point = |part: Part| {
        let hue = hue(part);
        let bar = [(middle.0, y - 18.0), (middle.0, y + 18.0)];
        canvas.line(&bar, &hue, 3.0)?;
        mark(canvas, middle, shape(part), &hue, part == Part::SetAside)
    };
    match key {
        Key::InForce => point(Part::InForce),
        Key::Before => point(Part::Before),
        Key::SetAside => point(Part::SetAside),
        Key::Baseline => canvas.line(&across, &INK, 2.5),
        Key::Charted => {
            canvas.area(swatch.0, swatch.1, &GREY.mix(0.2))?;
            canvas.line(&across, &INK, 2.5)
        }
        Key::Average => mark(canvas, middle, Shape::Diamond, &INK, true),
        Key::Trend => canvas.line(&across, &MOVING_DOWN, 4.0),
        Key::Banded => {
            canvas.area(swatch.0, swatch.1, &MOVING_DOWN.mix(0.18))?;
            canvas.line(&across, &MOVING_DOWN, 4.0)
        }
        Key::Limit => canvas.dashed(&across, &STOP, 3.5, (20.0, 6.0)),
        Key::Crossing => {
            canvas.line(&across, &INK, 6.0)?;
            for x in [x, x + 36.0] {
                canvas.line(&[(x, y - 13.0), (x, y + 13.0)], &INK, 4.0)?;
            }
            mark(canvas, middle, Shape::Diamond, &MOVING_DOWN, false)
        }
    }
}
