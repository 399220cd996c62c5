//! A gauge study in a terminal: how much mounting again changes, the smallest change that shows, and what that means.

use anstyle::{AnsiColor, Style};

use super::{Shown, caution, counted, each_side_words, sentences, small_print, two_digits};
use crate::analysis::{Quantity, TorqueSource};
use crate::history::gauge::Found;
use crate::report::prove::unit_of;
use crate::report::text::{NARROWEST, WIDEST, clean, new_table, paragraph, table_text};
use crate::report::view::{self, STANDING_CAUTION};
use crate::units::{self, TorqueUnit, Unit};

/// Where too little was measured.
const UNPROVEN: &str = "unproven";

/// The whole of it, with ANSI styles; ends with a line end. `width` in columns.
pub fn study(shown: &Shown<'_>, unit: TorqueUnit, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let (bold, dim) = (Style::new().bold(), Style::new().dimmed());
    let surfaces: Vec<&str> = shown.surfaces.iter().map(|s| s.name.as_str()).collect();
    let title = format!(
        "{}: {} by {}, {}",
        surfaces.join(", "),
        counted(shown.study.mountings, "mounting", "mountings"),
        counted(shown.people.len(), "person", "people"),
        torque_words(shown.torque_from)
    );
    let mut out = paragraph(&clean(&title), "", "", width, bold);
    for (person, name) in shown.people.iter().enumerate() {
        let files = shown.sources.iter().filter(|s| s.person == person);
        let files: Vec<&str> = files.map(|s| view::file_name(&s.file)).collect();
        let line = format!("{name}: {}", files.join(", "));
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out.push('\n');
    if !shown.study.found.is_empty() {
        out += &spreads(shown, unit, width);
        out.push('\n');
    }
    // With too few mountings every row of it would be unproven.
    if shown.study.told() {
        out += &paragraph("Smallest change that shows", "", "", width, bold);
        out += &smallest(shown, unit, width);
        out.push('\n');
    }
    for line in sentences(shown, unit) {
        out += &paragraph(&clean(&line), "", "", width, bold);
    }
    for one in &shown.study.cautions {
        let line = format!("Mind: {}", caution(shown, one));
        out += &paragraph(
            &clean(&line),
            "  ",
            "    ",
            width,
            AnsiColor::Yellow.on_default(),
        );
    }
    out.push('\n');
    for line in small_print(shown) {
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out + &paragraph(STANDING_CAUTION, "", "", width, bold)
}

fn spreads(shown: &Shown<'_>, unit: TorqueUnit, width: usize) -> String {
    let mut table = new_table(width);
    table.set_header([
        "quantity",
        "mean",
        "one recording says",
        "mounted again",
        "between people",
    ]);
    for found in &shown.study.found {
        let unit = unit_of(found.what, unit);
        table.add_row([
            named(shown, found, unit),
            mean(found, unit),
            found.own_u.map_or(UNPROVEN.into(), |u| two_digits(u, unit)),
            bare(found.mounting, unit),
            bare(found.people, unit),
        ]);
    }
    table_text(&table)
}

fn smallest(shown: &Shown<'_>, unit: TorqueUnit, width: usize) -> String {
    let mut table = new_table(width);
    let [one, two, three] = each_side_words();
    table.set_header([
        "quantity".into(),
        "strokes alone".into(),
        one.clone(),
        two,
        three,
        format!("{one}, someone else after"),
    ]);
    for found in &shown.study.found {
        let unit = unit_of(found.what, unit);
        let [one, two, three] = found.smallest;
        let digits = |v: Option<f64>| v.map_or(UNPROVEN.into(), |v| two_digits(v, unit));
        let value = |q: Option<Quantity>| digits(q.map(|q| q.value));
        table.add_row([
            named(shown, found, unit),
            digits(found.own_smallest),
            bare(one.same_person, unit),
            value(two.same_person),
            value(three.same_person),
            digits(one.another_person),
        ]);
    }
    table_text(&table)
}

fn named(shown: &Shown<'_>, found: &Found, unit: Unit) -> String {
    clean(&format!("{}, {}", shown.name(found), unit.suffix().trim()))
}

fn torque_words(from: TorqueSource) -> &'static str {
    match from {
        TorqueSource::Torque => "torque by its sensor",
        TorqueSource::Force => "torque by rod force",
        TorqueSource::SupplyPower => "torque by supply power",
        TorqueSource::None => "no torque",
    }
}

/// To the last digit that its own spread leaves.
fn mean(found: &Found, unit: Unit) -> String {
    let factor = unit.factor();
    let spread = found.mounting.map_or(0.0, |q| q.value);
    let spread = spread.max(found.own_u.unwrap_or(0.0)) * factor;
    Some(spread)
        .filter(|s| *s > 0.0)
        .and_then(|s| units::pair(found.mean * factor, s))
        .map_or_else(
            || units::significant(found.mean * factor, 3).unwrap_or_default(),
            |p| p.0,
        )
}

/// With its interval and without the unit, which stands in the row's name. The ends matter more than the digits of the value.
fn bare(q: Option<Quantity>, unit: Unit) -> String {
    let Some(q) = q else {
        return UNPROVEN.into();
    };
    match q.interval {
        Some(i) => format!(
            "{} ({} to {})",
            two_digits(q.value, unit),
            two_digits(i.lo95, unit),
            two_digits(i.hi95, unit)
        ),
        None => two_digits(q.value, unit),
    }
}
