//! Torque against deflection: what was measured, what was fitted, what could not be seen, and the throws below.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::legend::Legend;
use super::notes::{Labels, notes};
use super::throws::Throws;
use super::{Axes, axes};
use crate::analysis::{Curve, FitPoint, TorquePoint, TorqueSource};
use crate::report::{Checked, view};
use crate::units::TorqueUnit;
use crate::verdict::Kind;

/// Left and right edge of the frame.
pub const LEFT: f64 = 104.0;
pub const RIGHT: f64 = 976.0;
/// Height of a row of labels.
pub const ROW: f64 = LETTERS * 1.2;

/// Height of the frame: the same in every picture, so that pictures side by side can be compared. Without a
/// curve only the throws are left to draw.
const FRAME_HEIGHT: f64 = 480.0;
const EMPTY_HEIGHT: f64 = 110.0;

/// Everything in its place on a sheet as tall as it needs to be.
pub struct Sheet<'c> {
    checked: &'c Checked<'c>,
    unit: TorqueUnit,
    labels: Labels,
    throws: Throws<'c>,
    legend: Legend,
    frame: Frame,
}

impl<'c> Sheet<'c> {
    pub fn of(checked: &'c Checked<'c>, unit: TorqueUnit, axes: Option<Axes>) -> Self {
        let axes = axes
            .filter(|&a| axes::usable(a))
            .unwrap_or_else(|| Axes::of(checked));
        let curve = checked.measured.curve.as_ref();
        let labels = curve.map_or(Labels::default(), |curve| Labels::of(checked, curve, axes));
        let top = 124.0 + labels.rows.count() as f64 * ROW;
        let bottom = top
            + if curve.is_some() {
                FRAME_HEIGHT
            } else {
                EMPTY_HEIGHT
            };
        let factor = unit.per_ncm();
        let frame = Frame {
            upper_left: (LEFT, top),
            lower_right: (RIGHT, bottom),
            x: axes.angle_deg,
            y: (axes.torque_ncm.0 * factor, axes.torque_ncm.1 * factor),
        };
        let (throws, legend) = (Throws::of(checked, axes), Legend::of(checked));
        Self {
            checked,
            unit,
            labels,
            throws,
            legend,
            frame,
        }
    }

    /// What is flagged or named above the frame, in the picture's own words.
    pub fn marked(checked: &Checked<'_>) -> impl Iterator<Item = String> {
        let curve = checked.measured.curve.as_ref();
        curve
            .into_iter()
            .flat_map(|curve| notes(checked, curve))
            .map(|note| note.text)
    }

    /// Where the angle axis begins, under the throws.
    fn axis_at(&self) -> f64 {
        self.frame.lower_right.1 + self.throws.height()
    }

    fn legend_at(&self) -> f64 {
        self.axis_at() + 2.0 * ROW + 18.0
    }

    pub fn size(&self) -> (f64, f64) {
        (1000.0, self.legend_at() + self.legend.height() + 24.0)
    }

    pub fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Drawn<DB> {
        canvas.paper()?;
        let title = cut(
            &self.checked.recording.surface,
            LETTERS * 1.15,
            RIGHT - 24.0,
        );
        canvas.text(
            &title,
            (24.0, 18.0),
            LETTERS * 1.15,
            &INK,
            (HPos::Left, VPos::Top),
        )?;
        let axis = format!("torque, {}", self.unit);
        canvas.text(&axis, (24.0, 70.0), LETTERS, &INK, (HPos::Left, VPos::Top))?;
        let pen = Pen {
            canvas,
            frame: self.frame,
            factor: self.unit.per_ncm(),
        };
        match &self.checked.measured.curve {
            Some(curve) => pen.curve(self.checked, curve, &self.labels)?,
            None => pen.no_curve()?,
        }
        self.throws
            .draw(canvas, &self.frame, self.frame.lower_right.1)?;
        pen.angle_axis(self.axis_at(), self.checked)?;
        self.legend.draw(canvas, self.legend_at())
    }
}

/// A canvas with the frame on it that a curve is drawn in.
struct Pen<'a, 'b, DB: DrawingBackend> {
    canvas: &'a Canvas<'b, DB>,
    frame: Frame,
    /// N·cm to what is shown.
    factor: f64,
}

impl<DB: DrawingBackend> Pen<'_, '_, DB> {
    fn at(&self, angle_deg: f64, torque_ncm: f64) -> At {
        self.frame.at(angle_deg, torque_ncm * self.factor)
    }

    /// A stretch of angles on the sheet, cut to the frame; `None` outside it.
    fn stretch(&self, from_deg: f64, to_deg: f64) -> Option<(f64, f64)> {
        let (lo, hi) = (
            from_deg.min(to_deg).max(self.frame.x.0),
            from_deg.max(to_deg).min(self.frame.x.1),
        );
        (lo < hi).then(|| (self.frame.x_at(lo), self.frame.x_at(hi)))
    }

    fn column(&self, from_deg: f64, to_deg: f64) -> Option<(At, At)> {
        let (left, right) = self.stretch(from_deg, to_deg)?;
        Some((
            (left, self.frame.upper_left.1),
            (right, self.frame.lower_right.1),
        ))
    }

    fn curve(&self, checked: &Checked<'_>, curve: &Curve, labels: &Labels) -> Drawn<DB> {
        for spot in &curve.tight_spots {
            if let Some((from, to)) = self.column(spot.from_deg, spot.to_deg) {
                // What is no finding is shown, and must not cry out.
                let found = view::finding_at(checked, Kind::TightSpot, spot.at_deg.value);
                let strength = if found.is_some() { 0.45 } else { 0.2 };
                self.canvas.area(from, to, &SPOT.mix(strength))?;
            }
        }
        for knee in &curve.knees {
            if let Some((from, to)) = knee
                .at_deg
                .interval
                .and_then(|i| self.column(i.lo95, i.hi95))
            {
                self.canvas.area(from, to, &GREY.mix(0.22))?;
            }
        }
        self.grid(9)?;
        for &(from_deg, to_deg, up) in &curve.not_observable {
            if let Some((from, to)) = self.column(from_deg, to_deg) {
                self.canvas.hatch(from, to, &hue(up).mix(0.6), 24.0)?;
            }
        }
        if checked.measured.torque_from == TorqueSource::SupplyPower {
            for up in [true, false] {
                self.bars(curve, up)?;
            }
        }
        // One look after the other: an SVG then holds one path for each.
        for (used, up) in [(false, true), (false, false), (true, true), (true, false)] {
            let those = curve
                .points
                .iter()
                .filter(|p| p.used == used && p.moving_up == up);
            those.into_iter().try_for_each(|point| self.point(point))?;
        }
        for up in [true, false] {
            self.band(curve, up)?;
        }
        for up in [true, false] {
            self.fit(curve, up)?;
        }
        self.frame.border(self.canvas)?;
        labels.draw(self.canvas, &self.frame)
    }

    fn grid(&self, y_ticks: usize) -> Drawn<DB> {
        self.frame.grid(self.canvas, false, y_ticks)?;
        let ((left, top), (right, bottom)) = (self.frame.upper_left, self.frame.lower_right);
        if self.frame.holds(0.0, self.frame.y.0) {
            let x = self.frame.x_at(0.0);
            self.canvas
                .line(&[(x, top), (x, bottom)], &GREY.mix(0.6), 1.5)?;
        }
        if self.frame.holds(self.frame.x.0, 0.0) {
            let y = self.frame.y_at(0.0);
            self.canvas
                .line(&[(left, y), (right, y)], &GREY.mix(0.6), 1.5)?;
        }
        Ok(())
    }

    /// One mean over an angle step: round moving up, square moving down, hollow where left out of the fit.
    fn point(&self, point: &TorquePoint) -> Drawn<DB> {
        let torque = point.torque_ncm * self.factor;
        if !(self.frame.x.0..=self.frame.x.1).contains(&point.angle_deg) || !torque.is_finite() {
            return Ok(());
        }
        let inside = torque.clamp(self.frame.y.0, self.frame.y.1);
        let (x, y) = self.frame.at(point.angle_deg, inside);
        let colour = hue(point.moving_up);
        if !point.used || inside != torque {
            self.canvas.ring((x, y), 4.0, &colour.mix(0.4), 1.0)
        } else if point.moving_up {
            self.canvas.dot((x, y), 4.0, &colour.mix(0.45))
        } else {
            let half = 3.5;
            let (from, to) = ((x - half, y - half), (x + half, y + half));
            self.canvas.area(from, to, &colour.mix(0.45))
        }
    }

    /// How wide single readings scatter by their own account: two standard uncertainties to either side, one bar
    /// for all readings in a column. Wide bars are where supply power tells little of torque.
    fn bars(&self, curve: &Curve, up: bool) -> Drawn<DB> {
        const COLUMNS: usize = 40;
        let wide = (self.frame.x.1 - self.frame.x.0) / COLUMNS as f64;
        for column in 0..COLUMNS {
            let (from, to) = (
                self.frame.x.0 + wide * column as f64,
                self.frame.x.0 + wide * (column + 1) as f64,
            );
            let (mut count, mut sum, mut squares) = (0.0, 0.0, 0.0);
            for point in curve.points.iter().filter(|p| {
                p.used
                    && p.moving_up == up
                    && (from..to).contains(&p.angle_deg)
                    && p.torque_ncm.is_finite()
                    && p.u_ncm.is_finite()
            }) {
                count += 1.0;
                sum += point.torque_ncm;
                squares += point.u_ncm * point.u_ncm;
            }
            let (middle, u) = (sum / count, f64::sqrt(squares / count));
            let ends = [-2.0, 2.0].map(|k| {
                let torque = (middle + k * u) * self.factor;
                self.frame
                    .y_at(torque.clamp(self.frame.y.0, self.frame.y.1))
            });
            if count > 0.0 && ends.iter().all(|y| y.is_finite()) {
                let x = self.frame.x_at((from + to) / 2.0);
                self.canvas
                    .line(&[(x, ends[0]), (x, ends[1])], &hue(up).mix(0.22), 9.0)?;
            }
        }
        Ok(())
    }

    /// The fit's points that lie in the frame, in runs: none reaches over what cannot be drawn.
    fn runs<'c>(&self, curve: &'c Curve, up: bool) -> Vec<Vec<&'c FitPoint>> {
        let mut runs = vec![Vec::new()];
        for point in &curve.fit {
            if self
                .frame
                .holds(point.angle_deg, branch(point, up) * self.factor)
            {
                runs.last_mut().into_iter().for_each(|run| run.push(point));
            } else if runs.last().is_some_and(|run| !run.is_empty()) {
                runs.push(Vec::new());
            }
        }
        runs
    }

    fn band(&self, curve: &Curve, up: bool) -> Drawn<DB> {
        for run in self.runs(curve, up) {
            let known: Vec<_> = run
                .into_iter()
                .filter(|p| p.band_ncm.is_finite() && p.band_ncm > 0.0)
                .collect();
            let edge = |p: &&FitPoint, sign: f64| {
                let torque = (branch(p, up) + sign * p.band_ncm) * self.factor;
                self.frame
                    .at(p.angle_deg, torque.clamp(self.frame.y.0, self.frame.y.1))
            };
            let upper = known.iter().map(|p| edge(p, 1.0));
            let outline: Vec<At> = upper
                .chain(known.iter().rev().map(|p| edge(p, -1.0)))
                .collect();
            self.canvas.fill(&outline, &hue(up).mix(0.25))?;
        }
        Ok(())
    }

    /// Whole where torque was seen, dashed where the law alone says what it would be.
    fn fit(&self, curve: &Curve, up: bool) -> Drawn<DB> {
        let unseen = |deg: f64| {
            curve
                .not_observable
                .iter()
                .any(|&(a, b, way)| way == up && (a.min(b)..=a.max(b)).contains(&deg))
        };
        for run in self.runs(curve, up) {
            for part in run.chunk_by(|a, b| unseen(a.angle_deg) == unseen(b.angle_deg)) {
                let path: Vec<At> = part
                    .iter()
                    .map(|p| self.at(p.angle_deg, branch(p, up)))
                    .collect();
                if unseen(part[0].angle_deg) {
                    self.canvas
                        .dashed(&path, &hue(up).mix(0.7), 3.0, (10.0, 12.0))?;
                } else {
                    self.canvas.line(&path, &hue(up), 4.5)?;
                }
            }
        }
        Ok(())
    }

    fn no_curve(&self) -> Drawn<DB> {
        let ((left, top), (right, bottom)) = (self.frame.upper_left, self.frame.lower_right);
        self.frame.border(self.canvas)?;
        let middle = ((left + right) / 2.0, (top + bottom) / 2.0);
        self.canvas.text(
            "torque could not be measured",
            middle,
            LETTERS,
            &INK,
            (HPos::Center, VPos::Center),
        )
    }

    fn angle_axis(&self, y: f64, checked: &Checked<'_>) -> Drawn<DB> {
        for (value, label) in ticks(self.frame.x, 8) {
            let x = self.frame.x_at(value);
            self.canvas.line(&[(x, y), (x, y + 8.0)], &GREY, 1.5)?;
            self.canvas.text(
                &label,
                (x, y + 12.0),
                LETTERS * 0.9,
                &INK,
                (HPos::Center, VPos::Top),
            )?;
        }
        let (positive, negative) = (
            view::side_word(checked, true),
            view::side_word(checked, false),
        );
        // A page would close ordinary blanks up.
        let apart = "\u{a0}".repeat(5);
        let title = format!("← {negative}{apart}deflection, degrees{apart}{positive} →");
        let middle = (self.frame.upper_left.0 + self.frame.lower_right.0) / 2.0;
        self.canvas.text(
            &title,
            (middle, y + 12.0 + ROW),
            LETTERS,
            &INK,
            (HPos::Center, VPos::Top),
        )
    }
}

fn branch(point: &FitPoint, up: bool) -> f64 {
    if up { point.up_ncm } else { point.down_ncm }
}

fn hue(up: bool) -> RGBColor {
    if up { MOVING_UP } else { MOVING_DOWN }
}
