//! A surface held at neutral, in a terminal.

use anstyle::Style;

use super::{ELSEWHERE, Shown, sentence, small_print};
use crate::analysis::Quantity;
use crate::report::text::{NARROWEST, WIDEST, clean, new_table, paragraph, table_text};
use crate::report::view::{NOT_MEASURED, STANDING_CAUTION, quantity};
use crate::units::{TorqueUnit, Unit};

/// The whole of it, with ANSI styles; ends with a line end. `width` in columns.
pub fn held(shown: &Shown<'_>, unit: TorqueUnit, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let (bold, dim) = (Style::new().bold(), Style::new().dimmed());
    let title = format!("{}: held at neutral", shown.surface.name);
    let mut out = paragraph(&clean(&title), "", "", width, bold);
    for file in shown.files {
        out += &paragraph(&clean(file), "  ", "    ", width, dim);
    }
    out.push('\n');
    let mut table = new_table(width);
    table.set_header(["quantity", "measured"]);
    for (name, value) in rows(shown, unit) {
        table.add_row([name, value]);
    }
    out += &table_text(&table);
    out.push('\n');
    out += &readings(shown, unit, width);
    out += &paragraph(&sentence(shown, unit), "", "", width, bold);
    if let Some(why) = shown.unfinished {
        let line = format!("A recording is of an unfinished run: {why}.");
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out.push('\n');
    for line in small_print(shown, unit) {
        out += &paragraph(&line, "  ", "    ", width, dim);
    }
    for line in ELSEWHERE {
        out += &paragraph(line, "  ", "    ", width, dim);
    }
    out + &paragraph(STANDING_CAUTION, "", "", width, bold)
}

fn rows(shown: &Shown<'_>, unit: TorqueUnit) -> Vec<(String, String)> {
    let held = &shown.held;
    let stiffness = Unit::Stiffness(unit);
    let value = |q: Option<Quantity>, unit| q.map_or(NOT_MEASURED.into(), |q| quantity(&q, unit));
    let whole = match (held.stiffness, held.stiffer_than) {
        (None, Some(bound)) => format!("more than {}", stiffness.plain(bound)),
        (q, _) => value(q, stiffness),
    };
    let [up, down] = [true, false].map(|positive| shown.surface.side_word(positive));
    vec![
        ("held stiffness".to_owned(), whole),
        (format!("  pulled {up}"), value(held.sides[0], stiffness)),
        (format!("  pulled {down}"), value(held.sides[1], stiffness)),
        ("free play".to_owned(), value(held.play_deg, Unit::Degree)),
        (
            "  at the trailing edge".to_owned(),
            value(shown.play_mm(), Unit::Millimetre),
        ),
        (
            "  of the chord".to_owned(),
            value(shown.play_of_chord(), Unit::Share),
        ),
        (
            format!("neutral after {up} less after {down}"),
            value(held.memory_deg, Unit::Degree),
        ),
    ]
}

/// Each load's angle, averaged over its armings.
fn readings(shown: &Shown<'_>, unit: TorqueUnit, width: usize) -> String {
    let mut levels: Vec<(f64, Vec<f64>)> = Vec::new();
    for reading in &shown.held.readings {
        match levels.iter_mut().find(|l| l.0 == reading.hung_ncm) {
            Some(level) => level.1.push(reading.angle_deg),
            None => levels.push((reading.hung_ncm, vec![reading.angle_deg])),
        }
    }
    if levels.is_empty() {
        return String::new();
    }
    levels.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut table = new_table(width);
    table.set_header(["hung", "armings", "angle, mean", "from", "to"]);
    for (hung, angles) in levels {
        let mean = angles.iter().sum::<f64>() / angles.len() as f64;
        let lowest = angles.iter().copied().fold(f64::INFINITY, f64::min);
        let highest = angles.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let degrees = |deg: f64| crate::units::fixed(deg, 3) + "°";
        let way = match hung {
            h if h > 0.0 => format!(", {}", shown.surface.side_word(true)),
            h if h < 0.0 => format!(", {}", shown.surface.side_word(false)),
            _ => String::new(),
        };
        table.add_row([
            Unit::Torque(unit).plain(hung.abs()) + &way,
            angles.len().to_string(),
            degrees(mean),
            degrees(lowest),
            degrees(highest),
        ]);
    }
    table_text(&table) + "\n"
}
