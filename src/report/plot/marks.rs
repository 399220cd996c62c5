//! Points with their bars, and room for the labels beside a panel: what pictures of several recordings share.

use plotters::prelude::*;

use super::canvas::*;
use crate::analysis::Quantity;

/// Half the size of a mark.
pub const MARK: f64 = 11.0;
/// Room over a panel for its name.
pub const HEADING: f64 = LETTERS * 1.6;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    Dot,
    Speck,
    Diamond,
    Up,
    Down,
}

/// A mark; a hollow one has white in it and stands out by its shape where colours are grey.
pub fn mark<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    (x, y): At,
    shape: Shape,
    colour: &RGBColor,
    hollow: bool,
) -> Drawn<DB> {
    let corners = match shape {
        Shape::Dot if hollow => {
            canvas.dot((x, y), MARK, colour)?;
            return canvas.dot((x, y), MARK - 4.0, &WHITE);
        }
        Shape::Speck => return canvas.dot((x, y), MARK * 0.6, colour),
        Shape::Dot => return canvas.dot((x, y), MARK - 1.0, colour),
        Shape::Diamond => vec![(0.0, -1.35), (1.35, 0.0), (0.0, 1.35), (-1.35, 0.0)],
        Shape::Up => vec![(0.0, -1.25), (1.2, 0.95), (-1.2, 0.95)],
        Shape::Down => vec![(0.0, 1.25), (1.2, -0.95), (-1.2, -0.95)],
    };
    let sized = |size: f64| -> Vec<At> {
        corners
            .iter()
            .map(|(dx, dy)| (x + dx * size, y + dy * size))
            .collect()
    };
    canvas.fill(&sized(MARK), colour)?;
    if hollow {
        canvas.fill(&sized(MARK * 0.5), &WHITE)?;
    }
    Ok(())
}

/// The 95 % bar of a value, cut to the frame; none where there is no interval.
pub fn bar<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    frame: &Frame,
    x: f64,
    quantity: &Quantity,
    factor: f64,
    colour: &RGBColor,
) -> Drawn<DB> {
    let Some(interval) = quantity.interval else {
        return Ok(());
    };
    let ends = [interval.lo95, interval.hi95].map(|v| v * factor);
    if !(x.is_finite() && ends.iter().all(|v| v.is_finite())) {
        return Ok(());
    }
    let x = frame.x_at(x);
    let [lo, hi] = ends.map(|v| frame.y_at(v.clamp(frame.y.0, frame.y.1)));
    canvas.line(&[(x, lo), (x, hi)], colour, 3.0)?;
    for (value, y) in ends.into_iter().zip([lo, hi]) {
        // A bar that goes on beyond the frame has no end there.
        if (frame.y.0..=frame.y.1).contains(&value) {
            canvas.line(&[(x - 8.0, y), (x + 8.0, y)], colour, 3.0)?;
        }
    }
    Ok(())
}

/// Value and interval of a quantity, for the range of an axis.
pub fn reach(quantity: &Quantity, factor: f64) -> impl Iterator<Item = f64> {
    let ends = quantity.interval.map(|i| [i.lo95, i.hi95]);
    let ends = ends.into_iter().flatten();
    std::iter::once(quantity.value)
        .chain(ends)
        .map(move |v| v * factor)
}

/// Where a frame begins so that the labels of these ranges stand on the sheet.
pub fn left_edge(ranges: impl Iterator<Item = (f64, f64)>, y_ticks: usize) -> f64 {
    ranges
        .flat_map(|range| ticks(range, y_ticks))
        .map(|(_, label)| text_width(&label, LETTERS * 0.9) + 24.0)
        .fold(104.0, f64::max)
}

/// A level across the sheet with what it may be, cut to the frame.
pub fn between<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    frame: &Frame,
    (from, to): (f64, f64),
    (lo, hi): (f64, f64),
    colour: &impl Color,
) -> Drawn<DB> {
    let clamped = |v: f64| v.clamp(frame.y.0, frame.y.1);
    let (from, to) = (from.max(frame.x.0), to.min(frame.x.1));
    let known = [from, to, lo, hi].iter().all(|v| v.is_finite());
    if !known || from >= to || clamped(lo) >= clamped(hi) {
        return Ok(());
    }
    canvas.area(
        frame.at(from, clamped(hi)),
        frame.at(to, clamped(lo)),
        colour,
    )
}

/// A path's points that lie in the frame, in runs: none reaches over what cannot be drawn.
pub fn runs(frame: &Frame, path: impl Iterator<Item = (f64, f64)>) -> Vec<Vec<At>> {
    let mut runs = vec![Vec::new()];
    for (x, y) in path {
        if frame.holds(x, y) {
            runs.last_mut()
                .into_iter()
                .for_each(|run| run.push(frame.at(x, y)));
        } else if runs.last().is_some_and(|run| !run.is_empty()) {
            runs.push(Vec::new());
        }
    }
    runs
}

/// So many places from one end to the other.
pub fn places(from: f64, to: f64, count: usize) -> impl Iterator<Item = f64> {
    (0..=count).map(move |i| from + (to - from) * i as f64 / count as f64)
}
