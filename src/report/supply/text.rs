//! A supply in a terminal: findings, what each servo draws, the leads, the loads, the charge, what was assumed.

use anstyle::Style;
use comfy_table::{CellAlignment, Table};

use super::findings::{Finding, findings, in_amperes, verdict};
use super::{CAUTION, Supplied, assumptions, level_tag, part_words, remarks, title};
use crate::analysis::Quantity;
use crate::report::quantity;
use crate::report::text::{
    NARROWEST, WIDEST, clean, level_style, new_table, paragraph, table_text, verdict_style,
};
use crate::supply::{Fed, LeadFrom, Part};
use crate::units::{self, Unit};

/// The whole, with ANSI styles; ends with a line end. `width` in columns.
pub fn supplied(told: &Supplied<'_>, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let found = findings(told);
    let verdict = verdict(&found);
    let heading = clean(&title(told, verdict));
    let mut out = paragraph(&heading, "", "", width, verdict_style(verdict));
    out += &told_findings(&found, width);
    out.push('\n');
    if told.outcome.loads.is_some() {
        out += &section("What each draws, mA", draws(told, width));
    }
    if told.outcome.fed.iter().any(|f| lead_row(told, f).is_some()) {
        out += &section("Leads and what is left at the plugs", leads(told, width));
    }
    if let Some(loads) = together(told, width) {
        out += &section("All together", loads);
    }
    for line in charge(told) {
        out += &paragraph(&clean(&line), "", "  ", width, Style::new());
    }
    out.push('\n');
    for line in remarks(told).into_iter().chain(sources(told)) {
        out += &paragraph(&clean(&line), "  ", "    ", width, Style::new());
    }
    for line in assumptions(told) {
        out += &paragraph(&clean(&line), "  ", "    ", width, Style::new().dimmed());
    }
    out + &paragraph(CAUTION, "", "", width, Style::new().bold())
}

fn section(name: &str, table: String) -> String {
    format!("{name}\n{table}\n")
}

fn told_findings(found: &[Finding], width: usize) -> String {
    let mut out = String::new();
    for one in found {
        let (tag, style) = (level_tag(one.level), level_style(one.level));
        for (number, line) in one.text.lines().enumerate() {
            let first = match number {
                0 => format!("  {tag:7} "),
                _ => " ".repeat(12),
            };
            let text = paragraph(&clean(line), &first, "          ", width, Style::new());
            out += &text.replacen(&tag, &format!("{style}{tag}{style:#}"), 1);
        }
    }
    if out.is_empty() {
        out
    } else {
        format!("\n{out}")
    }
}

fn right_of_first(table: &mut Table) {
    for column in table.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
}

/// Without its unit, which the heading has.
fn bare(q: Option<Quantity>, unit: Unit) -> String {
    match q {
        Some(q) => match q.interval {
            Some(_) => quantity(&q, unit)
                .trim_end_matches(unit.suffix().as_str())
                .to_owned(),
            None => units::significant(q.value * unit.factor(), 3).unwrap_or_default(),
        },
        None => "–".into(),
    }
}

/// No supply is known better than to a millivolt: the half width is rounded up.
pub(super) fn to_a_millivolt(q: &Quantity) -> String {
    let value = units::fixed(q.value, 3);
    match q.interval {
        Some(i) => {
            let half = 0.5 * (i.hi95 - i.lo95);
            format!("{value} ± {}", units::fixed((1e3 * half).ceil() / 1e3, 3))
        }
        None => value,
    }
}

fn draws(told: &Supplied<'_>, width: usize) -> String {
    let mut table = new_table(width);
    table.set_header(["servo, surface", "peak", "moving", "holding", "at rest"]);
    for fed in &told.outcome.fed {
        let star = if fed.moves { " *" } else { "" };
        let name = clean(&format!("{}, {}{star}", told.tags(fed), told.surface(fed)));
        let row = match fed.draw() {
            Some(d) => [fed.peak_ma(), Some(d.moving_ma), d.holding_ma, d.resting_ma]
                .map(|q| bare(q, Unit::Milliampere)),
            None => ["not measured", "–", "–", "–"].map(str::to_owned),
        };
        table.add_row(std::iter::once(name).chain(row));
    }
    right_of_first(&mut table);
    table_text(&table)
}

fn lead_row(told: &Supplied<'_>, fed: &Fed) -> Option<[String; 5]> {
    let measured = fed.seen.and_then(|s| s.resistances.lead_mohm);
    if measured.is_none() && fed.copper.is_none() && fed.at_plug.is_none() {
        return None;
    }
    let ohms = |value: Option<f64>| match value {
        Some(value) => units::fixed(value, 0),
        None => "–".into(),
    };
    let volts = match &fed.at_plug {
        Some(at) => {
            let most = match at.lead_from {
                LeadFrom::Nowhere => "≤ ",
                _ => "",
            };
            format!("{most}{}", to_a_millivolt(&at.volts))
        }
        None => "–".into(),
    };
    let at_most = match fed.copper {
        Some(c) => format!(
            "{} / {}",
            ohms(Some(c.nominal_mohm)),
            ohms(Some(c.upper_mohm()))
        ),
        None => "–".into(),
    };
    Some([
        clean(&format!("{}, {}", told.tag(fed), told.surface(fed))),
        bare(measured, Unit::Milliohm),
        at_most,
        fed.lead.word().replace('-', " "),
        volts,
    ])
}

fn leads(told: &Supplied<'_>, width: usize) -> String {
    let mut table = new_table(width);
    table.set_header([
        "servo, surface",
        "lead, mΩ",
        "copper / at most, mΩ",
        "lead is",
        "at plug, V",
    ]);
    for row in told.outcome.fed.iter().filter_map(|f| lead_row(told, f)) {
        table.add_row(row);
    }
    right_of_first(&mut table);
    table_text(&table)
}

fn together(told: &Supplied<'_>, width: usize) -> Option<String> {
    let loads = told.outcome.loads.as_ref()?;
    let least = told.least();
    let mut table = new_table(width);
    table.set_header(["load", "A"]);
    for (name, q) in [
        (
            "peak: those marked * at their peaks, the others held",
            loads.peak_ma,
        ),
        (
            "lasting: those marked * moving, the others held",
            loads.sustained_ma,
        ),
        ("all holding", loads.holding_ma),
        ("all at rest", loads.resting_ma),
    ] {
        table.add_row([
            name.to_owned(),
            least.to_owned() + &bare(Some(in_amperes(&q)), Unit::Ampere),
        ]);
    }
    right_of_first(&mut table);
    let mut out = table_text(&table);
    let ratings = &told.outcome.ratings;
    if !ratings.is_empty() {
        let mut table = new_table(width);
        table.set_header(["rating", "held against", "rated, A", "share, %"]);
        for one in ratings {
            let held = match one.part {
                Part::Pack | Part::RegulatorPeak => "peak",
                Part::Regulator | Part::Connector if one.load_ma == loads.holding_ma => "holding",
                Part::Regulator | Part::Connector => "lasting",
            };
            let rated = Unit::Ampere.given(one.rating_a);
            table.add_row([
                part_words(one.part).to_owned(),
                held.to_owned(),
                rated.trim_end_matches(" A").to_owned(),
                least.to_owned() + &bare(Some(one.share), Unit::Share),
            ]);
        }
        right_of_first(&mut table);
        out += &format!("\n{}", table_text(&table));
    }
    Some(out)
}

fn charge(told: &Supplied<'_>) -> Vec<String> {
    let Some(flight) = &told.outcome.flight else {
        return Vec::new();
    };
    let least = told.least();
    let wh = flight.wh.map_or(String::new(), |wh| {
        format!(", {least}{}", quantity(&wh, Unit::WattHour))
    });
    let mut lines = vec![format!(
        "A flight takes {least}{}{wh} (on average {least}{}).",
        quantity(&flight.mah, Unit::MilliampereHour),
        quantity(&flight.mean_ma, Unit::Milliampere)
    )];
    let missing: Vec<&str> = told.outcome.missing().map(|f| told.surface(f)).collect();
    lines.push(match (flight.flights, told.outcome.pack_mah) {
        (Some(_), Some(_)) if !missing.is_empty() => format!(
            "Flights on a charge are unproven: nothing is known of what is drawn by {}.",
            missing.join(", ")
        ),
        (Some((expected, surely)), Some(pack)) => {
            let count = match surely == expected {
                true => format!("{expected}"),
                false => format!("{expected}, surely {surely}"),
            };
            format!(
                "Flights on a charge of {} down to {} kept: {count}. Check the first by what the charger puts back.",
                Unit::MilliampereHour.given(pack),
                Unit::Share.given(told.asked.reserve)
            )
        }
        _ => "Flights on a charge are not known: [supply] has no pack_mah.".into(),
    });
    lines
}

/// Which recordings the numbers are from.
fn sources(told: &Supplied<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    for (surface, picked) in told.aircraft.surfaces.iter().zip(told.picked) {
        let Some(picked) = picked else { continue };
        let line = match (&picked.draw_file, &picked.lead_file) {
            (Some(draw), Some(lead)) if draw == lead => format!("from {draw}"),
            (Some(draw), Some(lead)) => format!("currents from {draw}, lead from {lead}"),
            (Some(draw), None) => format!("from {draw}"),
            (None, Some(lead)) => format!("lead from {lead}"),
            (None, None) => continue,
        };
        let steps = picked.steps_file.as_ref();
        let steps = steps.map_or(String::new(), |file| format!(", peak in steps from {file}"));
        lines.push(format!("{}: {line}{steps}.", surface.name));
    }
    lines
}
