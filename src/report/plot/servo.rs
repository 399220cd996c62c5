//! A servo's test: all large steps laid over each other, and the arm against the pulse on the staircases.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::said::Said;
use crate::report::servo::ServoTest;
use crate::servo::Pictures;

const LEFT: f64 = 120.0;
const RIGHT: f64 = 972.0;
const STEPS: (f64, f64) = (124.0, 560.0);
const STAIRS: (f64, f64) = (760.0, 1160.0);

pub const SIZE: (f64, f64) = (1000.0, 1320.0);

/// What the picture shows, in words.
pub fn said(test: &ServoTest<'_>) -> Said {
    let pictures = &test.tested.pictures;
    Said {
        title: format!("Steps and staircases of servo {}", test.tag),
        seen: format!(
            "Above: {} large steps laid over each other, the arm's way over time. Below: the arm against the pulse on {} staircases.",
            pictures.responses.len(),
            pictures.staircases.len()
        ),
    }
}

pub fn draw<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, test: &ServoTest<'_>) -> Drawn<DB> {
    canvas.paper()?;
    let left = (HPos::Left, VPos::Top);
    let title = cut(
        &format!("servo {}, {}", test.tag, test.kind.name),
        LETTERS * 1.15,
        RIGHT - 24.0,
    );
    canvas.text(&title, (24.0, 18.0), LETTERS * 1.15, &INK, left)?;
    canvas.text(
        "the arm's way after a step of the pulse, degrees",
        (24.0, 70.0),
        LETTERS,
        &INK,
        left,
    )?;
    let pictures = &test.tested.pictures;
    responses(canvas, pictures)?;
    let heading = "arm against pulse on staircases, degrees";
    canvas.text(heading, (24.0, STAIRS.0 - 54.0), LETTERS, &INK, left)?;
    staircases(canvas, pictures)?;
    let keys = [(MOVING_UP, "upwards"), (MOVING_DOWN, "downwards")];
    let mut x = 24.0;
    for (colour, words) in keys {
        let y = SIZE.1 - 26.0;
        canvas.line(&[(x, y), (x + 36.0, y)], &colour, 4.5)?;
        let middle = (HPos::Left, VPos::Center);
        canvas.text(words, (x + 46.0, y), LETTERS * 0.92, &INK, middle)?;
        x += 92.0 + text_width(words, LETTERS * 0.92);
    }
    Ok(())
}

fn hue(up: bool) -> RGBColor {
    if up { MOVING_UP } else { MOVING_DOWN }
}

fn framed<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    (top, bottom): (f64, f64),
    x: Option<(f64, f64)>,
    y: Option<(f64, f64)>,
    name: &str,
) -> Result<Option<Frame>, DrawingAreaErrorKind<DB::ErrorType>> {
    let (Some(x), Some(y)) = (x, y) else {
        let at = ((LEFT + RIGHT) / 2.0, (top + bottom) / 2.0);
        let middle = (HPos::Center, VPos::Center);
        canvas.text("not measured", at, LETTERS, &INK, middle)?;
        return Ok(None);
    };
    let frame = Frame {
        upper_left: (LEFT, top),
        lower_right: (RIGHT, bottom),
        x,
        y,
    };
    frame.grid(canvas, true, 7)?;
    let below = ((LEFT + RIGHT) / 2.0, bottom + 10.0 + 1.2 * LETTERS);
    canvas.text(name, below, LETTERS, &INK, (HPos::Center, VPos::Top))?;
    Ok(Some(frame))
}

fn responses<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, pictures: &Pictures) -> Drawn<DB> {
    let points = || pictures.responses.iter().flat_map(|r| &r.way);
    // What happens, happens early: the rest of the hold is a straight line.
    let on_the_way = pictures.responses.iter().flat_map(|r| {
        let rest = r.way.last().map_or(0.0, |p| p.1);
        r.way.iter().filter(move |p| p.1 < 0.97 * rest)
    });
    let latest = on_the_way.map(|p| p.0).fold(0.0, f64::max);
    let shown = (-20.0, (2.0 * latest).clamp(100.0, 600.0));
    let x = (!pictures.responses.is_empty()).then_some(shown);
    let y = range(points().map(|p| p.1), 1.0, 0.05);
    let Some(frame) = framed(canvas, STEPS, x, y, "time since the step, ms")? else {
        return Ok(());
    };
    for one in &pictures.responses {
        let path: Vec<At> = one
            .way
            .iter()
            .filter(|p| frame.holds(p.0, p.1))
            .map(|p| frame.at(p.0, p.1))
            .collect();
        canvas.line(&path, &hue(one.up).mix(0.45), 2.0)?;
        for at in &path {
            canvas.dot(*at, 2.0, &hue(one.up).mix(0.6))?;
        }
    }
    frame.border(canvas)
}

fn staircases<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, pictures: &Pictures) -> Drawn<DB> {
    let stairs = || pictures.staircases.iter().flat_map(|c| &c.stairs);
    let x = range(stairs().map(|s| s.pulse_us), 1.0, 0.04);
    let y = range(stairs().map(|s| s.arm_deg), 0.1, 0.05);
    let Some(frame) = framed(canvas, STAIRS, x, y, "pulse, µs")? else {
        return Ok(());
    };
    for case in &pictures.staircases {
        let mut path: Vec<At> = Vec::new();
        for stair in &case.stairs {
            // The pulse first, then the arm: a stair.
            if let Some(last) = path.last() {
                path.push((frame.x_at(stair.pulse_us), last.1));
            }
            path.push(frame.at(stair.pulse_us, stair.arm_deg));
        }
        canvas.line(&path, &hue(case.up).mix(0.6), 2.5)?;
    }
    frame.border(canvas)
}
