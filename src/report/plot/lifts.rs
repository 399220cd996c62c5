//! Supply power of a servo against the torque that it lifted, measured and fitted, one line a speed; beneath it how far each
//! level stands off the fit.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::curve::{LEFT, RIGHT, ROW};
use super::said::Said;
use crate::report::calibrate::Calibrated;
use crate::servo::balance::{Balance, Row};
use crate::servo::lifts::Doing;
use crate::units::TorqueUnit;

const TOP: f64 = 124.0;
const BOTTOM: f64 = 560.0;
const OFF_TOP: f64 = 650.0;
const OFF_BOTTOM: f64 = 800.0;

pub const SIZE: (f64, f64) = (1000.0, OFF_BOTTOM + 12.0 + 4.4 * ROW);

/// What the picture shows, in words.
pub fn said(calibrated: &Calibrated<'_>) -> Said {
    let balance = calibrated.balance;
    let furthest = balance
        .rows
        .iter()
        .map(|r| r.off().abs())
        .fold(0.0, f64::max);
    Said {
        title: format!("Calibration of servo {}", calibrated.tag),
        seen: format!(
            "Supply power against torque lifted, {} levels with the fitted power balance; none stands further off than {furthest:.1} of its \
             uncertainties.",
            balance.rows.len()
        ),
    }
}

/// Slow in one hue, fast in the other, whatever lies between in grey.
fn hue(balance: &Balance, row: &Row) -> RGBColor {
    let (slow, fast) = balance.speed_rad_s;
    if row.speed_rad_s < 1.2 * slow {
        MOVING_UP
    } else if row.speed_rad_s > fast / 1.2 {
        MOVING_DOWN
    } else {
        GREY
    }
}

pub fn draw<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    calibrated: &Calibrated<'_>,
    unit: TorqueUnit,
) -> Drawn<DB> {
    let balance = calibrated.balance;
    canvas.paper()?;
    let left = (HPos::Left, VPos::Top);
    let title = cut(
        &format!("servo {}", calibrated.tag),
        LETTERS * 1.15,
        RIGHT - 24.0,
    );
    canvas.text(&title, (24.0, 18.0), LETTERS * 1.15, &INK, left)?;
    canvas.text(
        "supply power, W, with copper at 20 °C",
        (24.0, 70.0),
        LETTERS,
        &INK,
        left,
    )?;
    let factor = 100.0 * unit.per_ncm();
    let rows = || balance.rows.iter().filter(|r| r.doing != Doing::Resting);
    let torques = rows().map(|r| factor * signed(r)).chain([0.0]);
    let powers = rows()
        .flat_map(|r| [at_reference(r), r.reference_w])
        .chain([0.0]);
    let frame = Frame {
        upper_left: (LEFT, TOP),
        lower_right: (RIGHT, BOTTOM),
        x: range(torques, 0.1, 0.05).unwrap_or((0.0, 1.0)),
        y: range(powers, 0.1, 0.05).unwrap_or((0.0, 1.0)),
    };
    frame.grid(canvas, false, 7)?;
    let mut speeds: Vec<(f64, RGBColor)> = Vec::new();
    for row in rows().filter(|r| r.doing == Doing::Lifting) {
        if !speeds
            .iter()
            .any(|s| (s.0 / row.speed_rad_s - 1.0).abs() < 0.15)
        {
            speeds.push((row.speed_rad_s, hue(balance, row)));
        }
    }
    for (speed, colour) in &speeds {
        let path: Vec<At> = (0..=80)
            .map(|k| {
                let torque = balance.torque_nm.1 * f64::from(k) / 80.0;
                let [idle, winding, friction, gear] = balance.values;
                let x = (1.0 + gear) * torque + friction;
                (factor * torque, idle + winding * x * x + speed * x)
            })
            .filter(|(x, y)| frame.holds(*x, *y))
            .map(|(x, y)| frame.at(x, y))
            .collect();
        canvas.line(&path, colour, 4.0)?;
    }
    for row in rows() {
        mark(
            canvas,
            frame.at(factor * signed(row), at_reference(row)),
            row,
            hue(balance, row),
        )?;
    }
    frame.border(canvas)?;
    off(canvas, balance, frame.x, factor)?;
    canvas.text(
        &format!("torque at the arm, {unit}"),
        ((LEFT + RIGHT) / 2.0, OFF_BOTTOM + 10.0 + ROW),
        LETTERS,
        &INK,
        (HPos::Center, VPos::Top),
    )?;
    legend(canvas, balance, &speeds)
}

/// The measured power as copper at the reference would have it: warm strokes stand on the cold line if they fit.
fn at_reference(row: &Row) -> f64 {
    row.power_w - row.fitted_w + row.reference_w
}

/// Torque that the servo drives: lowering, the load helps.
fn signed(row: &Row) -> f64 {
    if row.doing == Doing::Lowering {
        -row.torque_nm
    } else {
        row.torque_nm
    }
}

/// Dots lift, squares lower.
fn mark<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    at: At,
    row: &Row,
    colour: RGBColor,
) -> Drawn<DB> {
    if row.doing == Doing::Lowering {
        canvas.area((at.0 - 7.0, at.1 - 7.0), (at.0 + 7.0, at.1 + 7.0), &colour)
    } else {
        canvas.dot(at, 9.0, &colour)
    }
}

/// Residuals in multiples of their uncertainty, with the band that 95 in 100 lie in.
fn off<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    balance: &Balance,
    x: (f64, f64),
    factor: f64,
) -> Drawn<DB> {
    canvas.text(
        "off the fit, in its uncertainties",
        (24.0, BOTTOM + 34.0),
        LETTERS,
        &INK,
        (HPos::Left, VPos::Top),
    )?;
    let rows = || balance.rows.iter().filter(|r| r.doing != Doing::Resting);
    let most = rows().map(|r| r.off().abs()).fold(3.0, f64::max).min(1e6);
    let frame = Frame {
        upper_left: (LEFT, OFF_TOP),
        lower_right: (RIGHT, OFF_BOTTOM),
        x,
        y: (-1.1 * most, 1.1 * most),
    };
    canvas.area(
        (LEFT, frame.y_at(2.0)),
        (RIGHT, frame.y_at(-2.0)),
        &GREY.mix(0.2),
    )?;
    frame.grid(canvas, true, 4)?;
    for row in rows() {
        let at = frame.at(factor * signed(row), row.off());
        mark(canvas, at, row, hue(balance, row))?;
    }
    frame.border(canvas)
}

fn legend<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    balance: &Balance,
    speeds: &[(f64, RGBColor)],
) -> Drawn<DB> {
    let y = OFF_BOTTOM + 12.0 + 3.2 * ROW;
    let letters = LETTERS * 0.92;
    let mut x = 24.0;
    for (speed, colour) in speeds.iter().take(3) {
        let words = format!("{:.0}°/s", speed.to_degrees());
        canvas.line(&[(x, y), (x + 36.0, y)], colour, 4.0)?;
        canvas.dot((x + 18.0, y), 9.0, colour)?;
        canvas.text(
            &words,
            (x + 46.0, y),
            letters,
            &INK,
            (HPos::Left, VPos::Center),
        )?;
        x += 72.0 + text_width(&words, letters);
    }
    if balance.rows.iter().any(|r| r.doing == Doing::Lowering) {
        canvas.area((x, y - 7.0), (x + 14.0, y + 7.0), &GREY)?;
        canvas.text(
            "lowering",
            (x + 24.0, y),
            letters,
            &INK,
            (HPos::Left, VPos::Center),
        )?;
        x += 50.0 + text_width("lowering", letters);
    }
    canvas.area((x, y - 12.0), (x + 36.0, y + 12.0), &GREY.mix(0.2))?;
    canvas.text(
        "±2 uncertainties",
        (x + 46.0, y),
        letters,
        &INK,
        (HPos::Left, VPos::Center),
    )
}
