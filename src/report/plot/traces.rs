//! Angle, effort and pulse over time, one above the other on the same clock.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use crate::analysis::Traces;
use crate::report::{Checked, view};
use crate::units::TorqueUnit;
use crate::verdict::{Kind, Level};

/// The sheet, in its own units.
pub fn size(checked: &Checked<'_>) -> (f64, f64) {
    let traces = &checked.measured.traces;
    let any = [&traces.angle_deg, &traces.effort, &traces.pulse_us]
        .iter()
        .any(|v| v.iter().any(|v| v.is_finite()));
    if any {
        (1000.0, 940.0)
    } else {
        (1000.0, 280.0)
    }
}

const LEFT: f64 = 116.0;
const RIGHT: f64 = 972.0;
/// Room over each panel for its name.
const HEADING: f64 = LETTERS * 1.6;

struct Panel {
    name: String,
    values: Vec<f64>,
    colour: RGBColor,
    /// Values at which a dashed line is drawn across.
    marks: Vec<f64>,
    /// Findings with a place among the values: where, in words, how grave.
    flags: Vec<(f64, String, Level)>,
}

fn panels(traces: &Traces, checked: &Checked<'_>, unit: TorqueUnit) -> Vec<Panel> {
    let asked: Vec<f64> = checked
        .measured
        .throws
        .iter()
        .map(|t| t.asked_deg * t.side.sign())
        .collect();
    let name = if asked.is_empty() {
        "angle, degrees"
    } else {
        "angle, degrees; dashed: throws asked"
    };
    let mut panels = vec![Panel {
        name: name.into(),
        values: traces.angle_deg.clone(),
        colour: MOVING_UP,
        marks: asked,
        flags: flags(checked),
    }];
    // A torque comes in the program's own unit; any other effort is shown as it came.
    let own = TorqueUnit::NewtonCentimetre.symbol();
    let (label, factor) = match traces.effort_label.contains(own) {
        true => (
            traces.effort_label.replace(own, unit.symbol()),
            unit.per_ncm(),
        ),
        false => (traces.effort_label.clone(), 1.0),
    };
    let name = if label.is_empty() {
        "effort".into()
    } else {
        label
    };
    let values = traces.effort.iter().map(|v| v * factor).collect();
    panels.push(Panel {
        name,
        values,
        colour: MOVING_DOWN,
        marks: Vec::new(),
        flags: Vec::new(),
    });
    panels.push(Panel {
        name: "pulse, µs".into(),
        values: traces.pulse_us.clone(),
        colour: PULSE,
        marks: Vec::new(),
        flags: Vec::new(),
    });
    panels.retain(|panel| panel.values.iter().any(|v| v.is_finite()));
    panels
}

/// Findings about motion and holding, by the angle at which they were seen.
fn flags(checked: &Checked<'_>) -> Vec<(f64, String, Level)> {
    let findings = checked.judged.findings.iter();
    findings
        .filter(|f| matches!(f.kind, Kind::StickSlip | Kind::HoldCurrent))
        .filter_map(|f| {
            let text = format!("{}: {}", f.level.word(), view::label(checked, f));
            Some((f.at_deg?, text, f.level))
        })
        .collect()
}

pub fn draw<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    checked: &Checked<'_>,
    unit: TorqueUnit,
) -> Drawn<DB> {
    let traces = &checked.measured.traces;
    let panels = panels(traces, checked, unit);
    canvas.paper()?;
    let title = cut(&checked.recording.surface, LETTERS * 1.15, RIGHT - 24.0);
    canvas.text(
        &title,
        (24.0, 18.0),
        LETTERS * 1.15,
        &INK,
        (HPos::Left, VPos::Top),
    )?;
    let Some(time) = range(traces.t_s.iter().copied(), 1e-3, 0.0).filter(|_| !panels.is_empty())
    else {
        let middle = (500.0, size(checked).1 / 2.0);
        return canvas.text(
            "no reading to draw",
            middle,
            LETTERS,
            &INK,
            (HPos::Center, VPos::Center),
        );
    };
    let (top, bottom) = (64.0, size(checked).1 - 2.6 * LETTERS - 10.0);
    let height = (bottom - top) / panels.len() as f64;
    for (i, panel) in panels.iter().enumerate() {
        let from = top + height * i as f64;
        let last = i + 1 == panels.len();
        draw_panel(
            canvas,
            panel,
            &traces.t_s,
            time,
            (from, from + height),
            last,
        )?;
    }
    let middle = ((LEFT + RIGHT) / 2.0, bottom + 1.35 * LETTERS);
    canvas.text("time, s", middle, LETTERS, &INK, (HPos::Center, VPos::Top))
}

fn draw_panel<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    panel: &Panel,
    t_s: &[f64],
    time: (f64, f64),
    (top, bottom): (f64, f64),
    last: bool,
) -> Drawn<DB> {
    let near = panel.values.iter().copied();
    let Some(values) = range(near.chain(panel.marks.iter().copied()), 1e-3, 0.06) else {
        return Ok(());
    };
    let frame = Frame {
        upper_left: (LEFT, top + HEADING),
        lower_right: (RIGHT, bottom),
        x: time,
        y: values,
    };
    canvas.text(
        &panel.name,
        (24.0, top + 14.0),
        LETTERS,
        &INK,
        (HPos::Left, VPos::Top),
    )?;
    frame.grid(canvas, last, 5)?;
    for &mark in panel
        .marks
        .iter()
        .filter(|&&mark| frame.holds(time.0, mark))
    {
        canvas.dashed(
            &[frame.at(time.0, mark), frame.at(time.1, mark)],
            &GREY,
            2.0,
            (14.0, 10.0),
        )?;
    }
    for (at, _, level) in &panel.flags {
        if frame.holds(time.0, *at) {
            let across = [frame.at(time.0, *at), frame.at(time.1, *at)];
            canvas.line(&across, &level_hue(*level).mix(0.6), 2.0)?;
        }
    }
    // Where there was no reading the line breaks.
    let mut run: Vec<At> = Vec::new();
    for (&t, &value) in t_s.iter().zip(&panel.values) {
        if frame.holds(t, value) {
            run.push(frame.at(t, value));
        } else {
            draw_run(canvas, &mut run, panel.colour)?;
        }
    }
    draw_run(canvas, &mut run, panel.colour)?;
    frame.border(canvas)?;
    draw_flags(canvas, panel, &frame, time)
}

/// The words on the trace, with paper behind them; those at one height one after the other.
fn draw_flags<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    panel: &Panel,
    frame: &Frame,
    time: (f64, f64),
) -> Drawn<DB> {
    let size = LETTERS * 0.85;
    let mut taken: Vec<(f64, f64)> = Vec::new();
    for (at, text, level) in panel.flags.iter().filter(|f| frame.holds(time.0, f.0)) {
        let half = size * 0.65;
        let (low, high) = (
            frame.lower_right.1 - half - 2.0,
            frame.upper_left.1 + half + 2.0,
        );
        let y = frame.y_at(*at).min(low).max(high);
        let beside = taken
            .iter()
            .filter(|(other, _)| (other - y).abs() < 2.0 * half);
        let from = beside.fold(LEFT + 10.0, |x, (_, end)| x.max(end + 12.0));
        let to = from + FLAG.0 + 8.0 + text_width(text, size);
        taken.push((y, to));
        if to > RIGHT {
            continue;
        }
        let colour = level_hue(*level);
        canvas.area(
            (from - 4.0, y - half),
            (to + 4.0, y + half),
            &WHITE.mix(0.85),
        )?;
        canvas.flag((from, y + FLAG.1 * 0.5), &colour)?;
        let words = (from + FLAG.0 + 8.0, y);
        canvas.text(text, words, size, &colour, (HPos::Left, VPos::Center))?;
    }
    Ok(())
}

fn draw_run<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    run: &mut Vec<At>,
    colour: RGBColor,
) -> Drawn<DB> {
    match run.as_slice() {
        [] => {}
        [alone] => canvas.dot(*alone, 2.5, &colour)?,
        path => canvas.line(path, &colour, 2.5)?,
    }
    run.clear();
    Ok(())
}
