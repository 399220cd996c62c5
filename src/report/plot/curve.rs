//! Torque against deflection: what was measured, what was fitted, what could not be seen, and the throws below.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::Axes;
use super::canvas::*;
use crate::analysis::{Curve, FitPoint, ThrowResult, ThrowState, TorquePoint};
use crate::report::{Checked, view};
use crate::units::{TorqueUnit, Unit};

/// The sheet, in its own units. Without a curve only the throws are left to draw.
pub fn size(checked: &Checked<'_>) -> (f64, f64) {
    if checked.measured.curve.is_some() {
        (1000.0, 940.0)
    } else {
        (1000.0, 480.0)
    }
}

const LEFT: f64 = 104.0;
const RIGHT: f64 = 976.0;
const ROW: f64 = LETTERS * 1.2;

/// The ranges this recording needs: everything used and fitted, everything left out as far as it is near, the
/// travel and the throws.
pub fn own_axes(checked: &Checked<'_>) -> Axes {
    let measured = &checked.measured;
    let curve = measured.curve.as_ref();
    let (points, fit) = (
        curve.map_or(&[][..], |c| &c.points),
        curve.map_or(&[][..], |c| &c.fit),
    );
    let throws = measured
        .throws
        .iter()
        .flat_map(|t| [Some(t.asked_deg), reached_deg(t)].map(|d| (d, t.side.sign())));
    let angles = (points.iter().map(|p| p.angle_deg))
        .chain(fit.iter().map(|f| f.angle_deg))
        .chain(measured.travel_deg.iter().flat_map(|t| [t.0, t.1]))
        .chain(throws.filter_map(|(deg, sign)| Some(deg? * sign)));
    let band = |f: &FitPoint| {
        if f.band_ncm.is_finite() {
            f.band_ncm
        } else {
            0.0
        }
    };
    let used = (points.iter().filter(|p| p.used).map(|p| p.torque_ncm)).chain(
        fit.iter()
            .flat_map(|f| [f.up_ncm + band(f), f.down_ncm - band(f)]),
    );
    let torque = range(used, 0.2, 0.0).map(|(lo, hi)| {
        // A wild point that was left out must not squash the picture: it is drawn at the edge.
        let near = (lo - 0.5 * (hi - lo))..=(hi + 0.5 * (hi - lo));
        let left_out = points
            .iter()
            .filter(|p| !p.used)
            .map(|p| p.torque_ncm)
            .filter(|t| near.contains(t));
        range(left_out.chain([lo, hi]), 0.2, 0.05).unwrap_or((lo, hi))
    });
    Axes {
        angle_deg: range(angles, 2.0, 0.03).unwrap_or((-10.0, 10.0)),
        torque_ncm: torque.unwrap_or((-1.0, 1.0)),
    }
}

fn reached_deg(throw: &ThrowResult) -> Option<f64> {
    throw
        .reached_deg
        .as_ref()
        .map(|q| q.value)
        .filter(|v| v.is_finite())
}

/// Axes from outside are taken only if they can be drawn.
fn usable(axes: Axes) -> bool {
    let fits =
        |(lo, hi): (f64, f64)| lo.is_finite() && hi.is_finite() && hi - lo > 1e-9 && hi - lo < 1e13;
    fits(axes.angle_deg) && fits(axes.torque_ncm)
}

pub fn draw<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    checked: &Checked<'_>,
    unit: TorqueUnit,
    axes: Option<Axes>,
) -> Drawn<DB> {
    let axes = axes
        .filter(|&a| usable(a))
        .unwrap_or_else(|| own_axes(checked));
    let curve = checked.measured.curve.as_ref();
    let labels = curve.map_or(Labels::default(), |curve| {
        Labels::of(canvas, checked, curve, axes)
    });
    let throws = Throws::of(canvas, &checked.measured.throws, axes);
    let legend = legend(checked);
    let legend_rows = place_legend(canvas, &legend);

    let top = 124.0 + labels.rows.count() as f64 * ROW;
    let bottom =
        size(checked).1 - 24.0 - legend_rows.1 as f64 * ROW - 2.0 * ROW - 18.0 - throws.height();
    let factor = unit.per_ncm();
    let frame = Frame {
        upper_left: (LEFT, top),
        lower_right: (RIGHT, bottom),
        x: axes.angle_deg,
        y: (axes.torque_ncm.0 * factor, axes.torque_ncm.1 * factor),
    };

    canvas.paper()?;
    let title = canvas.cut(&checked.recording.surface, LETTERS * 1.15, RIGHT - 24.0);
    canvas.text(
        &title,
        (24.0, 18.0),
        LETTERS * 1.15,
        &INK,
        (HPos::Left, VPos::Top),
    )?;
    canvas.text(
        &format!("torque, {unit}"),
        (24.0, 64.0),
        LETTERS,
        &INK,
        (HPos::Left, VPos::Top),
    )?;
    let sheet = Sheet {
        canvas,
        frame,
        factor,
    };
    match curve {
        Some(curve) => sheet.curve(curve, &labels)?,
        None => sheet.no_curve()?,
    }
    throws.draw(&sheet, bottom)?;
    let end = bottom + throws.height();
    sheet.angle_axis(end, checked)?;
    draw_legend(canvas, &legend, &legend_rows.0, end + 2.0 * ROW + 18.0)
}

struct Sheet<'a, 'b, DB: DrawingBackend> {
    canvas: &'a Canvas<'b, DB>,
    frame: Frame,
    /// N·cm to what is shown.
    factor: f64,
}

impl<DB: DrawingBackend> Sheet<'_, '_, DB> {
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
    fn of<DB: DrawingBackend>(
        canvas: &Canvas<'_, DB>,
        checked: &Checked<'_>,
        curve: &Curve,
        axes: Axes,
    ) -> Self {
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
            let width = canvas.width(&text, LETTERS);
            let (row, middle) = labels
                .rows
                .place(frame.x_at(at_deg.value), width, (LEFT, RIGHT));
            labels.placed.push((text, at_deg.value, row, middle, knee));
        }
        labels
    }

    fn draw<DB: DrawingBackend>(&self, sheet: &Sheet<'_, '_, DB>) -> Drawn<DB> {
        let (top, bottom) = (sheet.frame.upper_left.1, sheet.frame.lower_right.1);
        let middle_of = |row: usize| top - 6.0 - ROW * (row as f64 + 0.5);
        for &(_, at_deg, row, _, knee) in &self.placed {
            let x = sheet.frame.x_at(at_deg);
            if knee {
                sheet
                    .canvas
                    .dashed(&[(x, top), (x, bottom)], &INK, 2.5, (14.0, 9.0))?;
            }
            sheet
                .canvas
                .line(&[(x, middle_of(row)), (x, top)], &GREY, 1.5)?;
        }
        for (text, _, row, middle, _) in &self.placed {
            let (y, half) = (middle_of(*row), sheet.canvas.width(text, LETTERS) / 2.0);
            sheet.canvas.area(
                (middle - half - 4.0, y - ROW * 0.5),
                (middle + half + 4.0, y + ROW * 0.45),
                &WHITE,
            )?;
            sheet.canvas.text(
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

/// The strip under the frame: each throw asked and reached, in words and by place.
struct Throws<'t> {
    rows: Rows,
    placed: Vec<(&'t ThrowResult, String, usize, f64)>,
}

const THROW_LETTERS: f64 = LETTERS * 0.92;
const THROW_ROW: f64 = LETTERS * 1.45;

impl<'t> Throws<'t> {
    fn of<DB: DrawingBackend>(
        canvas: &Canvas<'_, DB>,
        throws: &'t [ThrowResult],
        axes: Axes,
    ) -> Self {
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
        for throw in throws
            .iter()
            .filter(|t| frame.holds(t.asked_deg * t.side.sign(), 0.5))
        {
            let marks: Vec<f64> = [Some(throw.asked_deg), reached_deg(throw)]
                .into_iter()
                .flatten()
                .map(|deg| frame.x_at((deg * throw.side.sign()).clamp(frame.x.0, frame.x.1)))
                .collect();
            let (first, last) = marks
                .iter()
                .fold((RIGHT, LEFT), |(a, b), &x| (a.min(x), b.max(x)));
            let text = canvas.cut(
                &throw_text(throw),
                THROW_LETTERS,
                RIGHT - LEFT - 60.0 - (last - first).min(400.0),
            );
            let width = canvas.width(&text, THROW_LETTERS);
            // The words stand beside the marks, on the side where there is room.
            let left_of = first - 20.0 - width;
            let from = if left_of >= LEFT && (first + last) / 2.0 > (LEFT + RIGHT) / 2.0 {
                left_of
            } else {
                (last + 20.0).min(RIGHT - width - 4.0)
            };
            let (lo, hi) = (first.min(from) - 14.0, last.max(from + width) + 14.0);
            let (row, _) = strip
                .rows
                .place((lo + hi) / 2.0, hi - lo, (f64::MIN, f64::MAX));
            strip.placed.push((throw, text, row, from));
        }
        strip
    }

    fn height(&self) -> f64 {
        self.rows.count() as f64 * THROW_ROW
    }

    fn draw<DB: DrawingBackend>(&self, sheet: &Sheet<'_, '_, DB>, top: f64) -> Drawn<DB> {
        let (canvas, frame) = (sheet.canvas, &sheet.frame);
        if self.placed.is_empty() {
            return Ok(());
        }
        let bottom = top + self.height();
        canvas.line(
            &[(LEFT, top), (LEFT, bottom), (RIGHT, bottom), (RIGHT, top)],
            &GREY,
            1.5,
        )?;
        for (throw, text, row, from) in &self.placed {
            let y = top + THROW_ROW * (*row as f64 + 0.5);
            let sign = throw.side.sign();
            asked_mark(canvas, (frame.x_at(throw.asked_deg * sign), y))?;
            if let Some(deg) = reached_deg(throw) {
                let x = frame.x_at((deg * sign).clamp(frame.x.0, frame.x.1));
                reached_mark(canvas, (x, y), throw.state)?;
            }
            canvas.text(
                text,
                (*from, y),
                THROW_LETTERS,
                &INK,
                (HPos::Left, VPos::Center),
            )?;
        }
        Ok(())
    }
}

fn throw_text(throw: &ThrowResult) -> String {
    let asked = Unit::Millimetre.given(throw.asked_mm);
    let state = match throw.state {
        ThrowState::Met => ": met",
        ThrowState::Short => ": short",
        ThrowState::Unproven => ": unproven",
    };
    match throw
        .reached_mm
        .as_ref()
        .filter(|q| q.value.is_finite() && throw.state != ThrowState::Met)
    {
        Some(reached) => {
            let reached = Unit::Millimetre.place(reached.value);
            format!(
                "{} {} of {asked}{state}",
                throw.name,
                reached.trim_end_matches(" mm")
            )
        }
        None => format!("{} {asked}{state}", throw.name),
    }
}

fn asked_mark<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, (x, y): At) -> Drawn<DB> {
    canvas.line(&[(x, y - 17.0), (x, y + 17.0)], &INK, 4.0)
}

fn reached_mark<DB: DrawingBackend>(
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

#[derive(Debug, Clone, Copy, PartialEq)]
enum Key {
    Points(bool),
    LeftOut,
    Fit,
    Unseen,
    Asked,
    Reached,
}

/// What is in this picture and needs a word.
fn legend(checked: &Checked<'_>) -> Vec<(Key, String)> {
    let mut legend = Vec::new();
    if let Some(curve) = &checked.measured.curve {
        for up in [true, false] {
            if curve.points.iter().any(|p| p.moving_up == up) || !curve.fit.is_empty() {
                legend.push((
                    Key::Points(up),
                    format!("moving {}", view::side_word(checked, up)),
                ));
            }
        }
        if !curve.fit.is_empty() {
            legend.push((Key::Fit, "fit, 95 % band".into()));
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

const KEY_WIDTH: f64 = 46.0;
const LEGEND_LETTERS: f64 = LETTERS * 0.92;

/// Upper left corners (in rows) of the legend's entries, and the number of rows.
fn place_legend<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    legend: &[(Key, String)],
) -> (Vec<(f64, usize)>, usize) {
    let (mut x, mut row) = (24.0, 0);
    let mut places = Vec::new();
    for (_, text) in legend {
        let width = KEY_WIDTH + canvas.width(text, LEGEND_LETTERS);
        if x > 24.0 && x + width > 988.0 {
            (x, row) = (24.0, row + 1);
        }
        places.push((x, row));
        x += width + 26.0;
    }
    let rows = if legend.is_empty() { 0 } else { row + 1 };
    (places, rows)
}

fn draw_legend<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    legend: &[(Key, String)],
    places: &[(f64, usize)],
    top: f64,
) -> Drawn<DB> {
    for ((key, text), &(x, row)) in legend.iter().zip(places) {
        let y = top + ROW * (row as f64 + 0.5);
        draw_key(canvas, *key, (x, y))?;
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

fn draw_key<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, key: Key, (x, y): At) -> Drawn<DB> {
    let middle = x + 18.0;
    match key {
        Key::Points(true) => canvas.dot((middle, y), 9.0, &MOVING_UP),
        Key::Points(false) => canvas.area(
            (middle - 8.0, y - 8.0),
            (middle + 8.0, y + 8.0),
            &MOVING_DOWN,
        ),
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
