//! A servo's case as it warmed, the fitted law onward with its band, and the limit. Drawing only.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::marks::{left_edge, runs};
use super::said::Said;
use crate::report::heat::celsius;
use crate::servo::heat::Heat;

pub const SIZE: (f64, f64) = (1000.0, 700.0);
const TOP: f64 = 70.0;
const BOTTOM: f64 = 520.0;
const RIGHT: f64 = 976.0;
const Y_TICKS: usize = 7;
/// A limit that would make the picture more than so many times as high is told in words.
const HIGHEST: f64 = 4.0;

pub fn said(surface: &str, heat: &Heat, limit_c: f64) -> Said {
    Said {
        title: format!("Temperature of the servo's case, {surface}"),
        seen: format!(
            "From {} to {} in {:.0} minutes; the fitted law goes on to {}; the limit is {limit_c:.0} °C.",
            celsius(heat.first_c, heat.step_k),
            celsius(heat.last_c, heat.step_k),
            heat.span_s / 60.0,
            celsius(heat.end_c.value, heat.step_k)
        ),
    }
}

pub fn draw<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    surface: &str,
    heat: &Heat,
    limit_c: f64,
) -> Drawn<DB> {
    canvas.paper()?;
    let (left, centre) = ((HPos::Left, VPos::Top), (HPos::Center, VPos::Top));
    let title = cut(
        &format!("{surface}: servo case, °C"),
        LETTERS * 1.15,
        RIGHT - 24.0,
    );
    canvas.text(&title, (24.0, 18.0), LETTERS * 1.15, &INK, left)?;
    let law = if heat.load_changed {
        &[][..]
    } else {
        &heat.law
    };
    let minutes = |t_s: f64| t_s / 60.0;
    let times = heat
        .course
        .iter()
        .map(|c| c.0)
        .chain(law.iter().map(|t| t.t_s));
    let bands = law
        .iter()
        .flat_map(|t| t.band_c.map(|b| [b.0, b.1]))
        .flatten();
    let all = heat.course.iter().map(|c| c.1).chain(bands);
    let all = all.chain(law.iter().map(|t| t.case_c));
    let (Some(x), Some(seen)) = (range(times.map(minutes), 0.1, 0.0), range(all, 1.0, 0.05)) else {
        let middle = (HPos::Center, VPos::Center);
        return canvas.text("no reading to draw", (500.0, 300.0), LETTERS, &INK, middle);
    };
    let with_limit = (seen.0.min(limit_c), seen.1.max(limit_c + 1.0));
    let near = with_limit.1 - with_limit.0 <= HIGHEST * (seen.1 - seen.0);
    let y = if near { with_limit } else { seen };
    let frame = Frame {
        upper_left: (left_edge(std::iter::once(y), Y_TICKS), TOP),
        lower_right: (RIGHT, BOTTOM),
        x,
        y,
    };
    frame.grid(canvas, true, Y_TICKS)?;
    let banded: Vec<_> = law
        .iter()
        .filter_map(|t| Some((minutes(t.t_s), t.band_c?)))
        .collect();
    let keep = |c: f64| c.clamp(y.0, y.1);
    let mut outline: Vec<At> = banded
        .iter()
        .map(|(t, b)| frame.at(*t, keep(b.1)))
        .collect();
    outline.extend(banded.iter().rev().map(|(t, b)| frame.at(*t, keep(b.0))));
    canvas.fill(&outline, &MOVING_UP.mix(0.18))?;
    if near {
        let across = [frame.at(x.0, limit_c), frame.at(x.1, limit_c)];
        canvas.dashed(&across, &STOP, 3.0, (18.0, 10.0))?;
    }
    for run in runs(&frame, heat.course.iter().map(|c| (minutes(c.0), c.1))) {
        canvas.line(&run, &MOVING_DOWN, 5.0)?;
    }
    for run in runs(&frame, law.iter().map(|t| (minutes(t.t_s), t.case_c))) {
        canvas.dashed(&run, &MOVING_UP, 3.0, (14.0, 8.0))?;
    }
    frame.border(canvas)?;
    let below = (0.5 * (frame.upper_left.0 + RIGHT), BOTTOM + 1.4 * LETTERS);
    canvas.text("time, minutes", below, LETTERS, &INK, centre)?;
    legend(canvas, near, !law.is_empty(), limit_c)
}

fn legend<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    near: bool,
    has_law: bool,
    limit_c: f64,
) -> Drawn<DB> {
    let row = |n: f64| BOTTOM + (2.9 + 1.25 * n) * LETTERS * 0.9;
    let size = LETTERS * 0.85;
    let words = (HPos::Left, VPos::Center);
    let key = |x: f64, y: f64| [(x, y), (x + 60.0, y)];
    canvas.line(&key(24.0, row(0.0)), &MOVING_DOWN, 5.0)?;
    canvas.text("measured", (94.0, row(0.0)), size, &INK, words)?;
    if has_law {
        canvas.dashed(&key(300.0, row(0.0)), &MOVING_UP, 3.0, (14.0, 8.0))?;
        canvas.text(
            "fitted law, 95 % band",
            (370.0, row(0.0)),
            size,
            &INK,
            words,
        )?;
    }
    let limit = match near {
        true => {
            canvas.dashed(&key(24.0, row(1.0)), &STOP, 3.0, (18.0, 10.0))?;
            format!("limit {limit_c:.0} °C")
        }
        false => format!("limit {limit_c:.0} °C, outside the picture"),
    };
    let from = if near { 94.0 } else { 24.0 };
    canvas.text(&limit, (from, row(1.0)), size, &INK, words)
}
