//! Rods off against rods on, in a terminal.

use anstyle::Style;

use super::{Shown, hinge_words, sentences};
use crate::analysis::Quantity;
use crate::report::text::{NARROWEST, WIDEST, clean, new_table, paragraph, table_text};
use crate::report::view::{NOT_MEASURED, STANDING_CAUTION, quantity};
use crate::units::{TorqueUnit, Unit};

/// The whole of it, with ANSI styles; ends with a line end. `width` in columns.
pub fn rods(shown: &Shown<'_>, unit: TorqueUnit, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let (bold, dim) = (Style::new().bold(), Style::new().dimmed());
    let title = format!("{}: rods off against rods on", shown.surface);
    let mut out = paragraph(&clean(&title), "", "", width, bold);
    let on = shown.on.map(|f| format!("on   {f}"));
    let off = shown.off.iter().map(|f| format!("off  {f}"));
    for line in on.into_iter().chain(off) {
        out += &paragraph(&clean(&line), "  ", "       ", width, dim);
    }
    out.push('\n');
    let mut table = new_table(width);
    table.set_header(["whose", "friction", "stiffness"]);
    let rods = &shown.rods;
    let value = |q: Option<Quantity>, unit| q.map_or(NOT_MEASURED.into(), |q| quantity(&q, unit));
    for (whose, friction, stiffness) in [
        (
            "all that the arm moves",
            rods.friction.whole,
            rods.stiffness.whole,
        ),
        ("of it the hinge", rods.friction.hinge, rods.stiffness.hinge),
        (
            "of it the linkage",
            rods.friction.linkage,
            rods.stiffness.linkage,
        ),
    ] {
        table.add_row([
            whose.to_owned(),
            value(friction, Unit::Torque(unit)),
            value(stiffness, Unit::Stiffness(unit)),
        ]);
    }
    table.add_row([
        format!("servo {} itself, at its arm", shown.servo),
        value(
            rods.servo.map(|s| s.now_nm.times(100.0)),
            Unit::Torque(unit),
        ),
        String::new(),
    ]);
    out += &table_text(&table);
    out.push('\n');
    for line in sentences(shown, unit) {
        out += &paragraph(&clean(&line), "", "  ", width, bold);
    }
    out.push('\n');
    for line in small_print(shown) {
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out + &paragraph(STANDING_CAUTION, "", "", width, bold)
}

fn small_print(shown: &Shown<'_>) -> Vec<String> {
    let mut lines: Vec<String> = shown.notes.to_vec();
    if shown.rods.hinge_from.is_some() {
        lines.push(format!(
            "The hinge: {}.",
            hinge_words(shown.rods.hinge_from)
        ));
    }
    if let Some(free) = &shown.free {
        lines.push(format!(
            "The servo turning free: {} strokes at {:.0} °/s of the arm, {} more than standing.",
            free.strokes,
            free.speed_deg_s,
            quantity(&free.turning_w, Unit::Plain("W"))
        ));
    }
    lines.push(
        "At the hinge line. The linkage's part is a difference, and as uncertain as both; of the calibration's errors those count \
         that are left in it."
            .into(),
    );
    lines
}
