//! How a hinge was worked in: stiffness, friction and knees over cycles worked, one above the other. What was fitted was
//! fitted elsewhere. Never in here: what counts as settled.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::curve::ROW;
use super::legend::Keys;
use super::marks::*;
use super::said::Said;
use super::worked_in_panels::*;
use crate::history::decay::Decay;
use crate::history::settling::Batch;
use crate::report::book::WorkedIn;
use crate::units::{TorqueUnit, fixed};

const RIGHT: f64 = 976.0;
const PANEL_HEIGHT: f64 = 300.0;
const Y_TICKS: usize = 5;
/// Where the first panel's name stands.
const HEADINGS: f64 = 66.0;
/// A forecast is drawn for so many of the cycles worked at most, and beyond that told in words alone.
const FURTHEST: f64 = 0.6;

#[derive(Clone, Copy)]
enum Key {
    Batch,
    Knee(bool),
    Recheck,
    Fit,
    Onward,
    Settled,
}

/// Everything in its place on a sheet as tall as it needs to be.
pub struct Sheet<'w> {
    worked: &'w WorkedIn,
    panels: Vec<Panel<'w>>,
    stages: Vec<Stage>,
    rows: Vec<(usize, f64)>,
    row_count: usize,
    cycles: (f64, f64),
    /// Cycles after the last batch.
    now: f64,
    left: f64,
    keys: Keys<Key>,
}

impl<'w> Sheet<'w> {
    pub fn of(worked: &'w WorkedIn, unit: TorqueUnit) -> Self {
        let ends = worked.batches.iter().map(Batch::cycles_after);
        let now = ends.filter(|c| c.abs() < 1e9).fold(0.0, f64::max);
        let more = forecast(worked).map_or(0.0, |f| f.cycles.min(FURTHEST * now));
        let cycles = (0.0, (now + more).max(10.0) * 1.03);
        let panels = panels(worked, unit, cycles, now);
        let left = left_edge(panels.iter().map(|p| p.y), Y_TICKS);
        let stages = stages(&worked.batches);
        let across = Frame {
            upper_left: (left, 0.0),
            lower_right: (RIGHT, 1.0),
            x: cycles,
            y: (0.0, 1.0),
        };
        let mut rows = Rows::default();
        let placed = stages
            .iter()
            .map(|stage| {
                let middle = across.x_at((stage.from + stage.to) / 2.0);
                rows.place(middle, text_width(&stage.words, LETTERS), (left, RIGHT))
            })
            .collect();
        Self {
            worked,
            keys: Keys::of(keys(&panels, cycles.1 > now * 1.1)),
            panels,
            stages,
            rows: placed,
            row_count: rows.count(),
            cycles,
            now,
            left,
        }
    }

    /// Upper edge of a panel's frame; the stages' names stand right above the first.
    fn frame_top(&self, panel: usize) -> f64 {
        HEADINGS + HEADING + self.row_count as f64 * ROW + self.panel_pitch() * panel as f64
    }

    fn panel_pitch(&self) -> f64 {
        PANEL_HEIGHT + HEADING + 16.0
    }

    fn bottom(&self) -> f64 {
        self.frame_top(self.panels.len()) - HEADING - 16.0
    }

    /// How it stands, and what is to come, under the axis.
    fn words(&self) -> Vec<String> {
        let mut words = vec![state_words(self.worked.standing.state).to_owned()];
        words.extend(forecast_words(self.worked));
        words
    }

    fn words_at(&self) -> f64 {
        self.bottom() + 2.3 * ROW + 10.0
    }

    fn keys_at(&self) -> f64 {
        self.words_at() + self.words().len() as f64 * ROW + 10.0
    }

    pub fn size(&self) -> (f64, f64) {
        if self.panels.is_empty() {
            return (1000.0, 220.0);
        }
        (1000.0, self.keys_at() + self.keys.height() + 20.0)
    }

    /// What the picture shows, in words.
    pub fn said(&self) -> Said {
        let stages: Vec<&str> = self.stages.iter().map(|s| s.words.as_str()).collect();
        let mut seen = format!(
            "{} cycles in {} recordings, stages {}.",
            fixed(self.now, 0),
            self.worked.batches.len(),
            stages.join(", ")
        );
        for panel in &self.panels {
            seen += &format!(" Drawn: {}{}.", panel.name, settled_words(panel));
        }
        seen += &format!(" How it stands: {}.", self.words().join("; "));
        Said {
            title: TITLE.into(),
            seen,
        }
    }

    pub fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Drawn<DB> {
        canvas.paper()?;
        let left = (HPos::Left, VPos::Top);
        canvas.text(TITLE, (24.0, 18.0), LETTERS * 1.15, &INK, left)?;
        if self.panels.is_empty() {
            let words = match self.worked.batches.is_empty() {
                true => "not worked in yet",
                false => "neither stiffness nor friction was measured",
            };
            let middle = (HPos::Center, VPos::Center);
            return canvas.text(words, (500.0, 140.0), LETTERS, &INK, middle);
        }
        for (i, panel) in self.panels.iter().enumerate() {
            let top = self.frame_top(i);
            let frame = Frame {
                upper_left: (self.left, top),
                lower_right: (RIGHT, top + PANEL_HEIGHT),
                x: self.cycles,
                y: panel.y,
            };
            let heading = format!("{}{}", panel.name, settled_words(panel));
            let heading = cut(&heading, LETTERS, RIGHT - 24.0);
            let names = if i == 0 { self.row_count } else { 0 };
            let above = top - HEADING + 4.0 - names as f64 * ROW;
            canvas.text(&heading, (24.0, above), LETTERS, &INK, left)?;
            self.panel(canvas, &frame, panel, i + 1 == self.panels.len())?;
        }
        self.stage_names(canvas)?;
        let middle = ((self.left + RIGHT) / 2.0, self.bottom() + 10.0 + ROW);
        let centre = (HPos::Center, VPos::Top);
        canvas.text("cycles worked", middle, LETTERS, &INK, centre)?;
        for (row, words) in self.words().iter().enumerate() {
            let at = (24.0, self.words_at() + row as f64 * ROW);
            let words = cut(words, LETTERS, RIGHT - 24.0);
            canvas.text(&words, at, LETTERS, &INK, left)?;
        }
        self.keys
            .draw(canvas, self.keys_at(), |key, at| draw_key(canvas, key, at))
    }

    fn stage_names<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Drawn<DB> {
        for (stage, (row, middle)) in self.stages.iter().zip(&self.rows) {
            let y = HEADINGS + HEADING + ROW * (*row as f64 + 0.5) - 6.0;
            let centre = (HPos::Center, VPos::Center);
            canvas.text(&stage.words, (*middle, y), LETTERS, &INK, centre)?;
        }
        Ok(())
    }

    fn panel<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        frame: &Frame,
        panel: &Panel<'_>,
        last: bool,
    ) -> Drawn<DB> {
        let (top, bottom) = (frame.upper_left.1, frame.lower_right.1);
        for (i, stage) in self.stages.iter().enumerate() {
            if i % 2 == 0 {
                between(
                    canvas,
                    frame,
                    (stage.from, stage.to),
                    frame.y,
                    &FAINT.mix(0.45),
                )?;
            }
        }
        frame.grid(canvas, last, Y_TICKS)?;
        for stage in &self.stages[1.min(self.stages.len())..] {
            let x = frame.x_at(stage.from);
            canvas.line(&[(x, top), (x, bottom)], &GREY, 2.0)?;
        }
        if let Some(decay) = panel.decay {
            self.decay(canvas, frame, decay, panel.unit.factor())?;
        }
        let factor = panel.unit.factor();
        for dot in &panel.dots {
            let value = dot.quantity.value * factor;
            let hue = hue(dot.shape, dot.recheck);
            bar(canvas, frame, dot.cycles, &dot.quantity, factor, &hue)?;
            if frame.holds(dot.cycles, value) {
                let shape = match (dot.shape, dot.recheck) {
                    (Shape::Dot, true) => Shape::Diamond,
                    (shape, _) => shape,
                };
                mark(
                    canvas,
                    frame.at(dot.cycles, value),
                    shape,
                    &hue,
                    dot.recheck,
                )?;
            }
        }
        frame.border(canvas)
    }

    /// The settled value with its interval, and the law: whole where it was seen, dashed beyond.
    fn decay<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        frame: &Frame,
        decay: &Decay,
        factor: f64,
    ) -> Drawn<DB> {
        let from = decay.first_cycles;
        if let Some(interval) = decay.settled.interval {
            let reach = (interval.lo95 * factor, interval.hi95 * factor);
            between(
                canvas,
                frame,
                (from, frame.x.1),
                reach,
                &MOVING_DOWN.mix(0.18),
            )?;
        }
        let level = decay.settled.value * factor;
        for run in runs(frame, [(from, level), (frame.x.1, level)].into_iter()) {
            canvas.dashed(&run, &MOVING_DOWN, 2.5, (5.0, 9.0))?;
        }
        let law = |from: f64, to: f64| places(from, to, 120).map(|n| (n, decay.at(n) * factor));
        for run in runs(frame, law(from, self.now)) {
            canvas.line(&run, &MOVING_DOWN, 4.5)?;
        }
        for run in runs(frame, law(self.now, frame.x.1)) {
            canvas.dashed(&run, &MOVING_DOWN, 3.5, (16.0, 11.0))?;
        }
        Ok(())
    }
}

const TITLE: &str = "How the hinge was worked in";

fn keys(panels: &[Panel<'_>], onward: bool) -> Vec<(Key, String)> {
    let any = |test: &dyn Fn(&Dot) -> bool| panels.iter().any(|p| p.dots.iter().any(test));
    let mut keys = Vec::new();
    if any(&|d| d.shape == Shape::Dot && !d.recheck) {
        keys.push((Key::Batch, "batch, 95 % bar".to_owned()));
    }
    if any(&|d| d.recheck) {
        keys.push((Key::Recheck, "after a rest".to_owned()));
    }
    if any(&|d| d.shape == Shape::Up) {
        keys.push((Key::Knee(true), "knee, up or left".to_owned()));
    }
    if any(&|d| d.shape == Shape::Down) {
        keys.push((Key::Knee(false), "knee, down or right".to_owned()));
    }
    if panels.iter().any(|p| p.decay.is_some()) {
        keys.push((Key::Fit, "fitted decay".to_owned()));
        if onward {
            keys.push((Key::Onward, "its way on".to_owned()));
        }
        keys.push((Key::Settled, "settled value, 95 %".to_owned()));
    }
    keys
}

fn hue(shape: Shape, recheck: bool) -> RGBColor {
    match (shape, recheck) {
        (_, true) => INK,
        (Shape::Down, false) => PULSE,
        _ => MOVING_UP,
    }
}

fn draw_key<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, key: Key, (x, y): At) -> Drawn<DB> {
    let middle = (x + 18.0, y);
    let across = [(x, y), (x + 36.0, y)];
    match key {
        Key::Batch => {
            canvas.line(
                &[(x + 18.0, y - 18.0), (x + 18.0, y + 18.0)],
                &MOVING_UP,
                3.0,
            )?;
            mark(canvas, middle, Shape::Dot, &MOVING_UP, false)
        }
        Key::Knee(up) => {
            let shape = if up { Shape::Up } else { Shape::Down };
            mark(canvas, middle, shape, &hue(shape, false), false)
        }
        Key::Recheck => mark(canvas, middle, Shape::Diamond, &INK, true),
        Key::Fit => canvas.line(&across, &MOVING_DOWN, 4.5),
        Key::Onward => canvas.dashed(&across, &MOVING_DOWN, 3.5, (14.0, 8.0)),
        Key::Settled => {
            canvas.area((x, y - 11.0), (x + 36.0, y + 11.0), &MOVING_DOWN.mix(0.18))?;
            canvas.dashed(&across, &MOVING_DOWN, 2.5, (5.0, 6.0))
        }
    }
}
