//! A servo that warmed, in a terminal.

use anstyle::Style;

use super::{Warmed, celsius, sentence};
use crate::analysis::Quantity;
use crate::report::text::{NARROWEST, WIDEST, clean, new_table, paragraph, table_text};
use crate::report::view::{NOT_MEASURED, STANDING_CAUTION, quantity};
use crate::servo::watts::IdleFrom;
use crate::units::Unit;

const WATT: Unit = Unit::Plain("W");

/// The whole of it, with ANSI styles; ends with a line end. `width` in columns.
pub fn warmed(warmed: &Warmed<'_>, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let (bold, dim) = (Style::new().bold(), Style::new().dimmed());
    let title = format!("{}, servo {}: heat", warmed.surface, warmed.servo);
    let mut out = paragraph(&clean(&title), "", "", width, bold);
    out += &paragraph(&clean(warmed.file), "  ", "    ", width, dim);
    out.push('\n');
    let mut table = new_table(width);
    table.set_header(["quantity", "measured"]);
    for (name, value) in rows(warmed) {
        table.add_row([name.to_owned(), clean(&value)]);
    }
    out += &table_text(&table);
    out.push('\n');
    out += &paragraph(&sentence(warmed), "", "", width, bold);
    if let Some(why) = warmed.unfinished {
        let line = format!("This recording is of an unfinished run: {why}.");
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out.push('\n');
    for line in small_print(warmed) {
        out += &paragraph(&line, "  ", "    ", width, dim);
    }
    out + &paragraph(STANDING_CAUTION, "", "", width, bold)
}

fn shown(q: Option<&Quantity>, unit: Unit) -> String {
    q.map_or_else(|| NOT_MEASURED.into(), |q| quantity(q, unit))
}

fn rows(warmed: &Warmed<'_>) -> Vec<(&'static str, String)> {
    let watts = warmed.watts.as_ref();
    let idle = watts.and_then(|w| w.idle);
    let idle_shown = match idle {
        Some((q, from)) => format!(
            "{}, by {}",
            quantity(&q, WATT),
            match from {
                IdleFrom::Calibration => "its calibration",
                IdleFrom::Disarmed => "the disarmed stretch",
            }
        ),
        None => NOT_MEASURED.into(),
    };
    let mut rows = vec![
        (
            "drawn holding still",
            shown(watts.and_then(|w| w.hold_w.as_ref()), WATT),
        ),
        ("of it idle", idle_shown),
        (
            "of it copper loss",
            shown(watts.and_then(|w| w.copper_w.as_ref()), WATT),
        ),
        (
            "drawn going to and fro",
            shown(watts.and_then(|w| w.cycle_w.as_ref()), WATT),
        ),
    ];
    let Some(heat) = &warmed.heat else {
        rows.push(("case", NOT_MEASURED.into()));
        return rows;
    };
    rows.push((
        "case, from and to",
        format!(
            "{} to {} in {:.1} min",
            celsius(heat.first_c, heat.step_k),
            celsius(heat.last_c, heat.step_k),
            heat.span_s / 60.0
        ),
    ));
    rows.push((
        "air",
        match heat.air_is_measured {
            true => celsius(heat.air_c, 0.0),
            false => NOT_MEASURED.into(),
        },
    ));
    let end = heat.told_end_c();
    let nothing = || "cannot be told: the load changed".to_owned();
    rows.push((
        "case would end at",
        end.map_or_else(nothing, |q| super::end(&q, heat.step_k)),
    ));
    rows.push((
        "63 % of the rest takes",
        match heat.load_changed {
            true => nothing(),
            false => minutes(&heat.settles_in_s),
        },
    ));
    rows
}

fn minutes(s: &Quantity) -> String {
    let by = |v: f64| v / 60.0;
    let q = Quantity {
        value: by(s.value),
        interval: s.interval.map(|i| crate::analysis::Interval {
            u: by(i.u),
            lo95: by(i.lo95),
            hi95: by(i.hi95),
        }),
    };
    quantity(&q, Unit::Plain("min"))
}

fn small_print(warmed: &Warmed<'_>) -> Vec<String> {
    let mut lines = vec![
        "Copper loss: what is drawn holding still, less idle; the winding turns it into heat. Scatter is counted from stretches of 20 \
         seconds, and a copper that warms draws more at the end than at the beginning."
            .to_owned(),
        "BENCH LOAD ONLY: no air pushed on the surface. In flight the servo has more to hold, and gets warmer for it; `flight` estimates \
         that load."
            .to_owned(),
    ];
    if let Some(second) = warmed.second {
        lines.push(format!(
            "Two servos drive the surface: power and case are of {} alone, {second}'s are not in it.",
            warmed.servo
        ));
    }
    if let Some(heat) = &warmed.heat {
        lines.push(
            "The end is told from how the case warms, by one heat capacity behind one resistance, from a minute and a half on; its \
             interval holds all courses that the readings allow. In a closed wing it ends higher."
                .to_owned(),
        );
        if heat.end_c.interval.is_none() {
            lines.push("No interval: no end is in sight yet. Record longer.".to_owned());
        }
    }
    lines
}
