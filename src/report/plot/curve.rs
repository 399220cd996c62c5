//! Torque against deflection: what was measured, what was fitted, what could not be seen, and the throws below.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::legend::Legend;
use super::throws::Throws;
use super::{Axes, axes};
use crate::analysis::{Curve, FitPoint, TorquePoint};
use crate::report::{Checked, view};
use crate::units::{TorqueUnit, Unit};

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
        let (throws, legend) = (
            Throws::of(&checked.measured.throws, axes),
            Legend::of(checked),
        );
        Self {
            checked,
            unit,
            labels,
            throws,
            legend,
            frame,
        }
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
            Some(curve) => pen.curve(curve, &self.labels)?,
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

    fn curve(&self, curve: &Curve, labels: &Labels) -> Drawn<DB> {
        for spot in &curve.tight_spots {
            if let Some((from, to)) = self.column(spot.from_deg, spot.to_deg) {
                self.canvas.area(from, to, &SPOT.mix(0.45))?;
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
        for point in curve
            .points
            .iter()
            .filter(|p| !p.used)
            .chain(curve.points.iter().filter(|p| p.used))
        {
            self.point(point)?;
        }
        for up in [true, false] {
            self.band(curve, up)?;
        }
        for up in [true, false] {
            self.fit(curve, up)?;
        }
        self.frame.border(self.canvas)?;
        labels.draw(self)
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

    /// One mean over an angle step: round moving up, square moving down, hollow where left out of the fit; a bar
    /// of two standard uncertainties where that is longer than the mark.
    fn point(&self, point: &TorquePoint) -> Drawn<DB> {
        let torque = point.torque_ncm * self.factor;
        if !(self.frame.x.0..=self.frame.x.1).contains(&point.angle_deg) || !torque.is_finite() {
            return Ok(());
        }
        let inside = torque.clamp(self.frame.y.0, self.frame.y.1);
        let (x, y) = self.frame.at(point.angle_deg, inside);
        let colour = hue(point.moving_up);
        if !point.used || inside != torque {
            return self.canvas.ring((x, y), 4.0, &colour.mix(0.3), 1.0);
        }
        let bar = (point.u_ncm.is_finite() && point.u_ncm > 0.0).then(|| {
            let [lo, hi] = [-2.0, 2.0].map(|k| torque + k * point.u_ncm * self.factor);
            [lo, hi].map(|t| self.frame.y_at(t.clamp(self.frame.y.0, self.frame.y.1)))
        });
        if let Some([low, high]) = bar.filter(|[low, high]| low - high > 14.0) {
            self.canvas
                .line(&[(x, low), (x, high)], &colour.mix(0.22), 1.0)?;
        }
        if point.moving_up {
            self.canvas.dot((x, y), 4.0, &colour.mix(0.4))
        } else {
            self.canvas
                .area((x - 3.5, y - 3.5), (x + 3.5, y + 3.5), &colour.mix(0.4))
        }
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
        let title = format!("← {negative}     deflection, degrees     {positive} →");
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

/// Knees and tight spots, named above the frame.
#[derive(Default)]
struct Labels {
    rows: Rows,
    /// Text, place along the axis, row, middle of the text; dashed line or not.
    placed: Vec<(String, f64, usize, f64, bool)>,
}

impl Labels {
    fn of(checked: &Checked<'_>, curve: &Curve, axes: Axes) -> Self {
        let knees = curve.knees.iter().map(|k| {
            (
                format!("knee {}", Unit::Degree.place(k.at_deg.value)),
                k.at_deg,
                true,
            )
        });
        let spots = curve.tight_spots.iter().map(|s| {
            let when = view::when_words(checked, s.when);
            (
                format!("tight spot {}, {when}", Unit::Degree.place(s.at_deg.value)),
                s.at_deg,
                false,
            )
        });
        let frame = Frame {
            upper_left: (LEFT, 0.0),
            lower_right: (RIGHT, 1.0),
            x: axes.angle_deg,
            y: (0.0, 1.0),
        };
        let mut labels = Labels::default();
        for (text, at_deg, knee) in knees
            .chain(spots)
            .filter(|(_, at, _)| frame.holds(at.value, 0.5))
        {
            let width = text_width(&text, LETTERS);
            let (row, middle) = labels
                .rows
                .place(frame.x_at(at_deg.value), width, (LEFT, RIGHT));
            labels.placed.push((text, at_deg.value, row, middle, knee));
        }
        labels
    }

    fn draw<DB: DrawingBackend>(&self, pen: &Pen<'_, '_, DB>) -> Drawn<DB> {
        let (top, bottom) = (pen.frame.upper_left.1, pen.frame.lower_right.1);
        let middle_of = |row: usize| top - 6.0 - ROW * (row as f64 + 0.5);
        for &(_, at_deg, row, _, knee) in &self.placed {
            let x = pen.frame.x_at(at_deg);
            if knee {
                pen.canvas
                    .dashed(&[(x, top), (x, bottom)], &INK, 2.5, (14.0, 9.0))?;
            }
            pen.canvas
                .line(&[(x, middle_of(row)), (x, top)], &GREY, 1.5)?;
        }
        for (text, _, row, middle, _) in &self.placed {
            let (y, half) = (middle_of(*row), text_width(text, LETTERS) / 2.0);
            pen.canvas.area(
                (middle - half - 4.0, y - ROW * 0.5 - 1.0),
                (middle + half + 4.0, y + ROW * 0.5),
                &WHITE,
            )?;
            pen.canvas.text(
                text,
                (*middle, y),
                LETTERS,
                &INK,
                (HPos::Center, VPos::Center),
            )?;
        }
        Ok(())
    }
}
