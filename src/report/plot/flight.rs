//! Torque at the servo's arm in flight against deflection, one line a speed, and what the servo has above them.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::curve::{LEFT, RIGHT, ROW};
use super::said::Said;
use crate::flight::Drawn as Curves;
use crate::report::flight::SurfaceFlown;
use crate::units::{self, TorqueUnit, Unit};

const TOP: f64 = 176.0;
const BOTTOM: f64 = 676.0;
pub const SIZE: (f64, f64) = (1000.0, BOTTOM + 12.0 + 5.0 * ROW);
/// From standing still to the fastest: hues that the colour-blind tell apart (Okabe and Ito), and dashes besides.
const HUES: [RGBColor; 4] = [GREY, REACHED, MOVING_UP, MOVING_DOWN];
const DASHES: [Option<(f64, f64)>; 4] =
    [Some((5.0, 7.0)), Some((14.0, 8.0)), Some((20.0, 8.0)), None];

pub struct Sheet<'a> {
    one: &'a SurfaceFlown<'a>,
    curves: &'a Curves,
    factor: f64,
    unit: TorqueUnit,
}

impl<'a> Sheet<'a> {
    pub fn of(one: &'a SurfaceFlown<'a>, factor: f64, unit: TorqueUnit) -> Option<Self> {
        Some(Self {
            one,
            curves: one.estimate.drawn.as_ref()?,
            factor,
            unit,
        })
    }

    /// What the picture shows, in words.
    pub fn said(&self) -> Said {
        let throws = self.one.estimate.rows.iter().filter_map(|row| {
            let share = Unit::Share.plain(row.share?.value);
            Some(format!("throw {} {share} of what the servo has", row.throw))
        });
        let throws: Vec<String> = throws.collect();
        Said {
            title: format!(
                "Estimated torque at the servo's arm in flight against deflection of the {}",
                self.one.surface.name
            ),
            seen: format!(
                "At {}: {}.",
                Unit::MetrePerSecond.given(self.one.estimate.fastest_m_s),
                throws.join("; ")
            ),
        }
    }

    fn frame(&self) -> Frame {
        let factor = self.unit.per_ncm();
        let all = self.curves.at_arm_ncm.iter().flat_map(|(_, torque)| torque);
        let most = all
            .copied()
            .chain([self.curves.has_ncm])
            .fold(0.0, f64::max);
        let deg = &self.curves.deg;
        Frame {
            upper_left: (LEFT, TOP),
            lower_right: (RIGHT, BOTTOM),
            x: (deg[0], deg[deg.len() - 1]),
            y: (0.0, (1.08 * most * factor).max(1e-6)),
        }
    }

    pub fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Drawn<DB> {
        canvas.paper()?;
        let left = (HPos::Left, VPos::Top);
        let title = cut(&self.one.surface.name, LETTERS * 1.15, RIGHT - 24.0);
        canvas.text(&title, (24.0, 18.0), LETTERS * 1.15, &INK, left)?;
        let factor = units::significant(self.factor, 2).unwrap_or_default();
        let estimate = format!("an estimate: hinge as measured, air × {factor}");
        let estimate = match self.one.estimate.rows.iter().any(|r| r.hinge_ncm.is_some()) {
            true => estimate,
            false => format!("an estimate: air × {factor} alone, hinge not measured"),
        };
        canvas.text(&estimate, (24.0, 70.0), LETTERS * 0.92, &QUIET, left)?;
        let axis = format!("torque at the servo's arm, {}", self.unit);
        canvas.text(&axis, (24.0, 120.0), LETTERS, &INK, left)?;
        let frame = self.frame();
        frame.grid(canvas, true, 9)?;
        self.servo(canvas, &frame)?;
        self.throws(canvas, &frame)?;
        let scale = self.unit.per_ncm();
        for (i, (_, torque)) in self.curves.at_arm_ncm.iter().enumerate() {
            let points = self.curves.deg.iter().zip(torque);
            let path: Vec<At> = points.map(|(&x, y)| frame.at(x, y * scale)).collect();
            line(canvas, &path, i)?;
        }
        frame.border(canvas)?;
        let (positive, negative) = (self.one.side_word(true), self.one.side_word(false));
        let apart = "\u{a0}".repeat(5);
        canvas.text(
            &format!("← {negative}{apart}deflection, degrees{apart}{positive} →"),
            ((LEFT + RIGHT) / 2.0, BOTTOM + 10.0 + ROW),
            LETTERS,
            &INK,
            (HPos::Center, VPos::Top),
        )?;
        self.legend(canvas, BOTTOM + 12.0 + 3.0 * ROW)
    }

    /// Beyond what the servo has is shaded.
    fn servo<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>, frame: &Frame) -> Drawn<DB> {
        let y = frame.y_at(self.curves.has_ncm * self.unit.per_ncm());
        canvas.area((LEFT, TOP), (RIGHT, y), &STOP.mix(0.1))?;
        canvas.line(&[(LEFT, y), (RIGHT, y)], &STOP, 4.5)
    }

    fn throws<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>, frame: &Frame) -> Drawn<DB> {
        for row in &self.one.estimate.rows {
            if frame.holds(row.deg, 0.0) {
                let x = frame.x_at(row.deg);
                canvas.line(&[(x, TOP), (x, BOTTOM)], &INK.mix(0.5), 2.0)?;
            }
        }
        Ok(())
    }

    fn legend<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>, top: f64) -> Drawn<DB> {
        let (mut x, mut y) = (24.0, top);
        let mut place = |words: &str| {
            let width = 46.0 + text_width(words, LETTERS * 0.92);
            if x > 24.0 && x + width > 988.0 {
                (x, y) = (24.0, y + ROW);
            }
            let at = (x, y);
            x += width + 26.0;
            at
        };
        let speeds = self.curves.at_arm_ncm.iter().enumerate();
        for (i, (speed_m_s, _)) in speeds {
            let words = match *speed_m_s {
                0.0 => "standing".to_owned(),
                speed => Unit::MetrePerSecond.plain(speed),
            };
            let at = place(&words);
            line(canvas, &[at, (at.0 + 36.0, at.1)], i)?;
            word(canvas, &words, at)?;
        }
        let at = place("what the servo has");
        canvas.line(&[at, (at.0 + 36.0, at.1)], &STOP, 4.5)?;
        word(canvas, "what the servo has", at)?;
        let at = place("throw");
        let middle = at.0 + 18.0;
        canvas.line(
            &[(middle, at.1 - 15.0), (middle, at.1 + 15.0)],
            &INK.mix(0.5),
            2.0,
        )?;
        word(canvas, "throw", at)
    }
}

fn line<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, path: &[At], index: usize) -> Drawn<DB> {
    let hue = HUES[index % HUES.len()];
    match DASHES[index % DASHES.len()] {
        Some(dash) => canvas.dashed(path, &hue, 4.5, dash),
        None => canvas.line(path, &hue, 4.5),
    }
}

fn word<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, words: &str, (x, y): At) -> Drawn<DB> {
    let middle = (HPos::Left, VPos::Center);
    canvas.text(words, (x + 46.0, y), LETTERS * 0.92, &INK, middle)
}
