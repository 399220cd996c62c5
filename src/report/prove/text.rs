//! A comparison in a terminal: the table, the sentence, what else differed.

use anstyle::{AnsiColor, Style};

use super::{Proved, caution, changes, name, sentence, small_print, unit_of, verdict_words};
use crate::analysis::Quantity;
use crate::history::compare::{Change, Outcome};
use crate::report::text::{NARROWEST, WIDEST, clean, new_table, paragraph, table_text};
use crate::report::view::STANDING_CAUTION;
use crate::units::{self, TorqueUnit, Unit};

/// The whole comparison, with ANSI styles; ends with a line end. `width` in columns.
pub fn proof(proved: &Proved<'_>, unit: TorqueUnit, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let (bold, dim) = (Style::new().bold(), Style::new().dimmed());
    let title = format!(
        "{}: {}",
        proved.after.recording.surface,
        super::headline(proved)
    );
    let mut out = paragraph(
        &clean(&title),
        "",
        "",
        width,
        style_of(proved.proof.outcome),
    );
    for (word, side) in [("before", proved.before), ("after", proved.after)] {
        let line = format!("{word}: {}", side.recording.file);
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out.push('\n');
    if !changes(proved).is_empty() {
        let mut table = new_table(width);
        table.set_header([
            "quantity",
            "before",
            "after",
            "change",
            "smallest seen",
            "verdict",
        ]);
        for change in changes(proved) {
            table.add_row(row(proved, change, unit));
        }
        out += &table_text(&table);
        out.push('\n');
    }
    out += &paragraph(&clean(&sentence(proved)), "", "", width, bold);
    for one in &proved.proof.cautions {
        out += &paragraph(
            &clean(&format!("Mind: {}", caution(one))),
            "  ",
            "    ",
            width,
            AnsiColor::Yellow.on_default(),
        );
    }
    out.push('\n');
    for line in small_print(proved, unit) {
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out + &paragraph(STANDING_CAUTION, "", "", width, bold)
}

/// Quantity, before, after, change, smallest change seen, verdict.
pub(in crate::report) fn row(
    proved: &Proved<'_>,
    change: &Change,
    unit: TorqueUnit,
) -> [String; 6] {
    let unit = unit_of(change.what, unit);
    let bare = |text: String| text.trim_end_matches(unit.suffix().as_str()).to_owned();
    let value = |q: Option<Quantity>| match q {
        Some(q) => to_its_interval(&q, unit),
        None => "none".to_owned(),
    };
    let name = format!(
        "{}, {}",
        name(proved.after, change.what),
        unit.suffix().trim()
    );
    [
        clean(&name),
        value(change.before),
        value(change.after),
        match change.at_least {
            true => bare(unit.plain(change.change.value)) + " or beyond",
            false => bare(crate::report::view::quantity(&change.change, unit)),
        },
        units::significant(change.smallest_seen * unit.factor(), 2)
            .unwrap_or_else(|| units::NOT_A_NUMBER.to_owned()),
        verdict_words(change.verdict).to_owned(),
    ]
}

/// A value to the last digit that its interval leaves.
fn to_its_interval(q: &Quantity, unit: Unit) -> String {
    let factor = unit.factor();
    let half = q.interval.map(|i| 0.5 * (i.hi95 - i.lo95) * factor);
    half.and_then(|half| units::pair(q.value * factor, half))
        .map(|pair| pair.0)
        .or_else(|| units::significant(q.value * factor, 3))
        .unwrap_or_else(|| units::NOT_A_NUMBER.to_owned())
}

fn style_of(outcome: Outcome) -> Style {
    let colour = match outcome {
        Outcome::Better => AnsiColor::Green,
        Outcome::NoChangeShown => AnsiColor::Cyan,
        Outcome::Worse => AnsiColor::Red,
        Outcome::NothingComparable => AnsiColor::Magenta,
    };
    colour.on_default().bold()
}
