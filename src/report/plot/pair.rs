//! Torque against deflection before and after, in one picture: before in grey, after in colour, fits with their bands.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::Axes;
use super::canvas::*;
use super::curve::{LEFT, RIGHT, ROW};
use super::said::Said;
use crate::analysis::{Curve, FitPoint};
use crate::report::{Checked, view};
use crate::units::TorqueUnit;

const TOP: f64 = 124.0;
const BOTTOM: f64 = 624.0;

pub const SIZE: (f64, f64) = (1000.0, BOTTOM + 12.0 + 4.2 * ROW);

/// What the picture shows, in words.
pub fn said(before: &Checked<'_>, after: &Checked<'_>) -> Said {
    Said {
        title: format!(
            "Torque against deflection of the {}, before and after",
            after.recording.surface
        ),
        seen: format!(
            "Before: {}. After: {}.",
            view::file_name(&before.recording.file),
            view::file_name(&after.recording.file)
        ),
    }
}

pub fn draw<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    before: &Checked<'_>,
    after: &Checked<'_>,
    unit: TorqueUnit,
) -> Drawn<DB> {
    canvas.paper()?;
    let title = cut(&after.recording.surface, LETTERS * 1.15, RIGHT - 24.0);
    let left = (HPos::Left, VPos::Top);
    canvas.text(&title, (24.0, 18.0), LETTERS * 1.15, &INK, left)?;
    let axis = format!("torque, {unit}");
    canvas.text(&axis, (24.0, 70.0), LETTERS, &INK, left)?;
    let factor = unit.per_ncm();
    let axes = Axes::shared([before, after]).filter(|&a| super::axes::usable(a));
    let axes = axes.unwrap_or(Axes {
        angle_deg: (-10.0, 10.0),
        torque_ncm: (-1.0, 1.0),
    });
    let frame = Frame {
        upper_left: (LEFT, TOP),
        lower_right: (RIGHT, BOTTOM),
        x: axes.angle_deg,
        y: (axes.torque_ncm.0 * factor, axes.torque_ncm.1 * factor),
    };
    frame.grid(canvas, true, 9)?;
    for (checked, colours) in [(before, [GREY, GREY]), (after, [MOVING_UP, MOVING_DOWN])] {
        if let Some(curve) = &checked.measured.curve {
            for (up, colour) in [true, false].into_iter().zip(colours) {
                branch(canvas, &frame, curve, up, colour, factor)?;
            }
        }
    }
    frame.border(canvas)?;
    let (positive, negative) = (view::side_word(after, true), view::side_word(after, false));
    let apart = "\u{a0}".repeat(5);
    canvas.text(
        &format!("← {negative}{apart}deflection, degrees{apart}{positive} →"),
        ((LEFT + RIGHT) / 2.0, BOTTOM + 10.0 + ROW),
        LETTERS,
        &INK,
        (HPos::Center, VPos::Top),
    )?;
    let keys = [
        (GREY, "before".to_owned()),
        (MOVING_UP, format!("after, moving {positive}")),
        (MOVING_DOWN, format!("after, moving {negative}")),
    ];
    legend(canvas, &keys, BOTTOM + 12.0 + 3.0 * ROW)
}

/// One branch's points, band and fit, as far as they lie in the frame.
fn branch<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    frame: &Frame,
    curve: &Curve,
    up: bool,
    colour: RGBColor,
    factor: f64,
) -> Drawn<DB> {
    let torque = |p: &FitPoint| factor * if up { p.up_ncm } else { p.down_ncm };
    for point in curve.points.iter().filter(|p| p.used && p.moving_up == up) {
        let (x, y) = (point.angle_deg, point.torque_ncm * factor);
        if frame.holds(x, y) {
            canvas.dot(frame.at(x, y), 2.5, &colour.mix(0.35))?;
        }
    }
    let seen: Vec<&FitPoint> = curve
        .fit
        .iter()
        .filter(|p| frame.holds(p.angle_deg, torque(p)))
        .collect();
    let edge = |p: &&&FitPoint, sign: f64| {
        let at = torque(p) + sign * p.band_ncm * factor;
        frame.at(p.angle_deg, at.clamp(frame.y.0, frame.y.1))
    };
    let known = || seen.iter().filter(|p| p.band_ncm.is_finite());
    let lower: Vec<At> = known().map(|p| edge(&p, -1.0)).collect();
    let outline: Vec<At> = known()
        .map(|p| edge(&p, 1.0))
        .chain(lower.into_iter().rev())
        .collect();
    if outline.len() > 3 {
        canvas.fill(&outline, &colour.mix(0.25))?;
    }
    let path: Vec<At> = seen
        .iter()
        .map(|p| frame.at(p.angle_deg, torque(p)))
        .collect();
    canvas.line(&path, &colour, 4.5)
}

fn legend<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    keys: &[(RGBColor, String)],
    y: f64,
) -> Drawn<DB> {
    let mut x = 24.0;
    for (colour, words) in keys {
        canvas.line(&[(x, y), (x + 36.0, y)], colour, 4.5)?;
        canvas.text(
            words,
            (x + 46.0, y),
            LETTERS * 0.92,
            &INK,
            (HPos::Left, VPos::Center),
        )?;
        x += 72.0 + text_width(words, LETTERS * 0.92);
    }
    Ok(())
}
