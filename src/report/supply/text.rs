//! A supply in a terminal: findings, what each servo draws, the leads, the loads, the charge, what was assumed.

use anstyle::Style;
use comfy_table::{CellAlignment, Table};

use super::findings::{Finding, findings, in_amperes, verdict};
use super::{CAUTION, Supplied, assumptions, flights, level_tag, part_words, remarks, title};
use crate::analysis::Quantity;
use crate::report::quantity;
use crate::report::text::{
    NARROWEST, WIDEST, clean, level_style, new_table, paragraph, table_text, verdict_style,
};
use crate::supply::{Fed, Lead, LeadFrom, Part};
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
    if all_leads(told).any(is_known) {
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

fn all_leads<'a>(told: &'a Supplied<'_>) -> impl Iterator<Item = (&'a Fed, &'a Lead)> {
    let leads = |fed: &'a Fed| fed.leads.iter().map(move |lead| (fed, lead));
    told.outcome.fed.iter().flat_map(leads)
}

fn is_known((_, lead): (&Fed, &Lead)) -> bool {
    lead.measured.is_some() || lead.copper.is_some() || lead.at_plug.is_some()
}

fn lead_row(told: &Supplied<'_>, fed: &Fed, lead: &Lead) -> [String; 5] {
    let ohms = |value: Option<f64>| match value {
        Some(value) => units::fixed(value, 0),
        None => "–".into(),
    };
    let volts = match &lead.at_plug {
        Some(at) => {
            let most = match at.lead_from {
                LeadFrom::Nowhere => "≤ ",
                _ => "",
            };
            format!("{most}{}", to_a_millivolt(&at.volts))
        }
        None => "–".into(),
    };
    let at_most = match lead.copper {
        Some(c) => format!(
            "{} / {}",
            ohms(Some(c.nominal_mohm)),
            ohms(Some(c.upper_mohm()))
        ),
        None => "–".into(),
    };
    [
        clean(&format!("{}, {}", told.lead_tag(lead), told.surface(fed))),
        bare(lead.measured, Unit::Milliohm),
        at_most,
        lead.state.word().replace('-', " "),
        volts,
    ]
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
    for (fed, lead) in all_leads(told).filter(|one| is_known(*one)) {
        table.add_row(lead_row(told, fed, lead));
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
    lines.push(flights(told, flight));
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
            (None, None) if picked.second_lead_file.is_some() => "no currents".to_owned(),
            (None, None) => continue,
        };
        let also = |what: &str, file: &Option<String>| {
            file.as_ref()
                .map_or(String::new(), |file| format!(", {what} from {file}"))
        };
        lines.push(format!(
            "{}: {line}{}{}.",
            surface.name,
            also("peak in steps", &picked.steps_file),
            also("the second servo's lead", &picked.second_lead_file)
        ));
    }
    lines
}
