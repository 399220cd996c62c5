//! A linkage in one picture: deflection against the arm's angle with dead points and throws, and below it the torque at the
//! servo for the holes in use and for the best others.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::curve::{LEFT, RIGHT, ROW};
use super::legend::Keys;
use super::said::Said;
use crate::linkage::along::{Ahead, Row};
use crate::linkage::holes::Tried;
use crate::linkage::{FourBar, Setup};
use crate::report::linkage::{Looked, sides};
use crate::units::{self, TorqueUnit, Unit};

const TOP: f64 = 124.0;
const MIDDLE: f64 = 600.0;
const LOWER: f64 = 800.0;
const BOTTOM: f64 = 1150.0;

pub const SIZE: (f64, f64) = (1000.0, BOTTOM + 7.6 * ROW);

/// What the picture shows, in words.
pub fn said(looked: &Looked<'_>) -> Said {
    let look = &looked.look;
    let dead = |a: &Option<Ahead>, side: &str| {
        a.as_ref().map_or(String::new(), |a| {
            format!(
                " Dead point {side} at arm {}.",
                Unit::Degree.side(a.dead.arm_deg)
            )
        })
    };
    let both = sides(looked.surface);
    Said {
        title: format!("Linkage of the {}", looked.surface.name),
        seen: format!(
            "Asked from {} to {} of the surface.{}{}",
            Unit::Degree.side(look.asked.1),
            Unit::Degree.side(look.asked.0),
            dead(&look.ahead.0, both.0),
            dead(&look.ahead.1, both.1)
        ),
    }
}

#[derive(Clone, Copy)]
enum Key {
    Curve,
    Band,
    Measured,
    Asked,
    Dead,
    Travel,
    Own,
    Better,
}

pub fn draw<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    looked: &Looked<'_>,
    unit: TorqueUnit,
) -> Drawn<DB> {
    canvas.paper()?;
    let left = (HPos::Left, VPos::Top);
    let title = cut(&looked.surface.name, LETTERS * 1.15, RIGHT - 24.0);
    canvas.text(&title, (24.0, 18.0), LETTERS * 1.15, &INK, left)?;
    canvas.text("surface, degrees", (24.0, 70.0), LETTERS, &INK, left)?;
    upper(canvas, looked)?;
    let words = match looked.look.torque {
        Some(_) => format!("torque at the servo, {unit}"),
        None => format!("torque at the servo for one {unit} at the hinge"),
    };
    canvas.text(&words, (24.0, LOWER - 54.0), LETTERS, &INK, left)?;
    lower(canvas, looked, unit)?;
    legend(canvas, looked)
}

/// The arm's range: to both dead points with some air, or a good way beyond what the throws take where there is none.
fn arm_range(looked: &Looked<'_>) -> (f64, f64) {
    const FARTHEST_DEG: f64 = 120.0;
    let look = &looked.look;
    let end = |ahead: &Option<Ahead>, row: Option<&Row>| match ahead {
        Some(ahead) => ahead.dead.arm_deg.abs().min(FARTHEST_DEG),
        None => row.map_or(FARTHEST_DEG, |r| 1.5 * r.arm_deg.abs()),
    };
    let (up, down) = (
        end(&look.ahead.0, look.rows.last()),
        end(&look.ahead.1, look.rows.first()),
    );
    (-1.05 * down.max(5.0), 1.05 * up.max(5.0))
}

fn upper<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, looked: &Looked<'_>) -> Drawn<DB> {
    let look = &looked.look;
    let setup = Setup::as_it_is(&look.known);
    let Some(bar) = setup.bar() else {
        return Ok(());
    };
    let x = arm_range(looked);
    let (up, down) = bar.dead_points();
    let (from, to) = (
        down.map_or(x.0, |d| d.arm_deg).max(x.0),
        up.map_or(x.1, |d| d.arm_deg).min(x.1),
    );
    const STEPS: usize = 160;
    let points: Vec<(f64, f64, f64)> = (0..=STEPS)
        .map(|i| from + (to - from) * i as f64 / STEPS as f64)
        .filter_map(|arm| {
            let q = setup.quantity(|bar| Some(bar.at_arm_deg(arm)?.surface_deg))?;
            let half = q.interval.map_or(0.0, |i| 0.5 * (i.hi95 - i.lo95));
            Some((arm, q.value, half.min(20.0)))
        })
        .collect();
    let asked = [look.asked.0, look.asked.1];
    let heights = points.iter().map(|p| p.1).chain(asked);
    let y = range(heights, 10.0, 0.06).unwrap_or((-30.0, 30.0));
    let frame = Frame {
        upper_left: (LEFT, TOP),
        lower_right: (RIGHT, MIDDLE),
        x,
        y,
    };
    frame.grid(canvas, true, 8)?;
    if let Some(travel) = look.travel {
        // Beyond the servo's way.
        for (edge, end) in [(travel.up_deg, x.1), (-travel.down_deg, x.0)] {
            if edge > x.0 && edge < x.1 {
                let (a, b) = (frame.x_at(edge), frame.x_at(end));
                canvas.area((a.min(b), TOP), (a.max(b), MIDDLE), &FAINT)?;
            }
        }
    }
    let edge = |p: &(f64, f64, f64), sign: f64| frame.at(p.0, (p.1 + sign * p.2).clamp(y.0, y.1));
    let band: Vec<At> = points
        .iter()
        .map(|p| edge(p, 1.0))
        .chain(points.iter().rev().map(|p| edge(p, -1.0)))
        .collect();
    if band.len() > 3 {
        canvas.fill(&band, &MOVING_UP.mix(0.25))?;
    }
    for asked in asked.iter().filter(|a| **a != 0.0) {
        let at = frame.y_at(*asked);
        canvas.dashed(&[(LEFT, at), (RIGHT, at)], &REACHED, 3.0, (14.0, 8.0))?;
    }
    for dead in [up, down].into_iter().flatten() {
        if dead.arm_deg > x.0 && dead.arm_deg < x.1 {
            let at = frame.x_at(dead.arm_deg);
            canvas.line(&[(at, TOP), (at, MIDDLE)], &STOP, 4.0)?;
        }
    }
    let line: Vec<At> = points.iter().map(|p| frame.at(p.0, p.1)).collect();
    canvas.line(&line, &MOVING_UP, 4.5)?;
    if let Some(Ok(fit)) = &look.fitted {
        for p in fit.left_over.iter().step_by(6) {
            if frame.holds(p.arm_deg, p.surface_deg) {
                canvas.ring(frame.at(p.arm_deg, p.surface_deg), 6.0, &INK, 2.0)?;
            }
        }
    }
    frame.border(canvas)?;
    let below = ((LEFT + RIGHT) / 2.0, MIDDLE + 6.0 + ROW);
    canvas.text(
        "arm, degrees from neutral",
        below,
        LETTERS,
        &INK,
        (HPos::Center, VPos::Top),
    )
}

/// Torque at the servo against deflection between the asked throws, as far as the linkage goes.
fn torque_line(looked: &Looked<'_>, bar: &FourBar, factor: f64) -> Vec<(f64, f64)> {
    let (up, down) = looked.look.asked;
    let hinge = |deg: f64| {
        looked
            .look
            .torque
            .as_ref()
            .map_or(1.0, |t| factor * t.ncm(deg))
    };
    const STEPS: usize = 120;
    (0..=STEPS)
        .map(|i| down + (up - down) * i as f64 / STEPS as f64)
        .filter_map(|deg| Some((deg, hinge(deg) * bar.at_surface_deg(deg)?.ratio)))
        .collect()
}

fn lower<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    looked: &Looked<'_>,
    unit: TorqueUnit,
) -> Drawn<DB> {
    let look = &looked.look;
    let factor = unit.per_ncm();
    let own = Setup::as_it_is(&look.known).bar();
    let other = look.better().and_then(|t| bar_of(looked, t));
    let lines: Vec<(Vec<(f64, f64)>, RGBColor)> = [(own, MOVING_UP), (other, MOVING_DOWN)]
        .into_iter()
        .filter_map(|(bar, colour)| Some((torque_line(looked, &bar?, factor), colour)))
        .collect();
    let heights = lines.iter().flat_map(|(l, _)| l.iter().map(|p| p.1));
    let y = range(heights.chain([0.0]), 0.01, 0.06).unwrap_or((0.0, 1.0));
    let x = range([look.asked.0, look.asked.1].into_iter(), 5.0, 0.02).unwrap_or((-10.0, 10.0));
    let frame = Frame {
        upper_left: (LEFT, LOWER),
        lower_right: (RIGHT, BOTTOM),
        x,
        y: (0.0, y.1),
    };
    frame.grid(canvas, true, 6)?;
    for (points, colour) in &lines {
        let seen = points.iter().filter(|p| frame.holds(p.0, p.1));
        let line: Vec<At> = seen.map(|p| frame.at(p.0, p.1)).collect();
        canvas.line(&line, colour, 4.5)?;
    }
    frame.border(canvas)?;
    let (positive, negative) = sides(looked.surface);
    let apart = "\u{a0}".repeat(5);
    canvas.text(
        &format!("← {negative}{apart}surface, degrees{apart}{positive} →"),
        ((LEFT + RIGHT) / 2.0, BOTTOM + 6.0 + ROW),
        LETTERS,
        &INK,
        (HPos::Center, VPos::Top),
    )
}

fn bar_of(looked: &Looked<'_>, tried: &Tried) -> Option<FourBar> {
    let known = &looked.look.known;
    Setup::with_holes(known, Some(tried.arm_mm), Some(tried.horn_mm)).bar()
}

fn legend<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, looked: &Looked<'_>) -> Drawn<DB> {
    let look = &looked.look;
    let mut entries = vec![
        (Key::Curve, "deflection".to_owned()),
        (Key::Band, "95 %".to_owned()),
    ];
    if matches!(look.fitted, Some(Ok(_))) {
        entries.push((Key::Measured, "measured".to_owned()));
    }
    entries.push((Key::Asked, "asked throw".to_owned()));
    let x = arm_range(looked);
    let within = |deg: f64| deg > x.0 && deg < x.1;
    let ahead = [&look.ahead.0, &look.ahead.1].into_iter().flatten();
    if ahead.map(|a| a.dead.arm_deg).any(within) {
        entries.push((Key::Dead, "dead point".to_owned()));
    }
    if look
        .travel
        .is_some_and(|t| within(t.up_deg) || within(-t.down_deg))
    {
        entries.push((Key::Travel, "beyond the servo's travel".to_owned()));
    }
    entries.push((Key::Own, "torque, holes in use".to_owned()));
    if let Some(better) = look.better() {
        entries.push((Key::Better, format!("torque, {}", holes(better))));
    }
    let keys = Keys::of(entries);
    keys.draw(canvas, BOTTOM + 12.0 + 2.8 * ROW, |key, at| {
        mark(canvas, key, at)
    })
}

fn holes(tried: &Tried) -> String {
    let mm = |v: f64| units::fixed(v, 1);
    format!("arm {}, horn {} mm", mm(tried.arm_mm), mm(tried.horn_mm))
}

fn mark<DB: DrawingBackend>(canvas: &Canvas<'_, DB>, key: Key, (x, y): At) -> Drawn<DB> {
    let line = [(x, y), (x + 36.0, y)];
    let corners = ((x, y - 11.0), (x + 36.0, y + 11.0));
    match key {
        Key::Curve | Key::Own => canvas.line(&line, &MOVING_UP, 4.5),
        Key::Better => canvas.line(&line, &MOVING_DOWN, 4.5),
        Key::Band => canvas.area(corners.0, corners.1, &MOVING_UP.mix(0.25)),
        Key::Measured => canvas.ring((x + 18.0, y), 6.0, &INK, 2.0),
        Key::Asked => canvas.dashed(&line, &REACHED, 3.0, (14.0, 8.0)),
        Key::Dead => canvas.line(&[(x + 18.0, y - 15.0), (x + 18.0, y + 15.0)], &STOP, 4.0),
        Key::Travel => canvas.area(corners.0, corners.1, &FAINT),
    }
}
