//! What `season` says in a terminal: a table, worst on top, then what to look at first. No arithmetic of the trade.

use comfy_table::{ColumnConstraint, Table, Width};
use jiff::{SignedDuration, Timestamp};

use super::season_json::Whence;
use super::text::{clean, new_table, table_text};
use crate::history::season::{
    Chart, Crossing, FOR_A_CHART, Glance, Kind, Level, Per, Record, Subject, advice,
};
use crate::history::theil_sen::FEWEST_FOR_AN_INTERVAL;
use crate::units::TorqueUnit;

/// So many things are worth looking at first; the table has the rest.
const FIRST: usize = 6;

/// The whole text, with its line end. A servo whose recordings are all of one surface that no other servo sat in stands with
/// that surface.
pub fn season(whence: &Whence, subjects: &[Subject], unit: TorqueUnit, width: usize) -> String {
    let shown: Vec<&Subject> = subjects.iter().filter(|s| !told_by(s, subjects)).collect();
    let mut table = new_table(width);
    table.set_header([
        "",
        "surface, servo: quantity",
        "latest",
        "trend",
        "chart",
        "at its limit",
    ]);
    let mut above = String::new();
    for (subject, record) in ranked(&shown) {
        let name = clean(&named(subject));
        let level = match (record.health.level, record.health.repeat) {
            (Level::Fine, true) => "repeat",
            (level, _) => level.word(),
        };
        table.add_row([
            level.to_owned(),
            match name == above {
                true => record.measure.words().to_owned(),
                false => format!("{name}\n{}", record.measure.words()),
            },
            latest(record, unit),
            trend(record, unit),
            chart(record),
            crossing(record),
        ]);
        above = name;
    }
    settle(&mut table);
    let used = whence.recordings.used;
    let mut out = format!(
        "{}, {used} {} used\n\n",
        clean(&whence.aircraft),
        if used == 1 { "recording" } else { "recordings" }
    );
    if !subjects.is_empty() {
        out += &table_text(&table);
        out.push('\n');
    }
    out += &look_first(&shown, width);
    for remark in &whence.remarks {
        out += &paragraph(&clean(remark), "  ", width);
    }
    out
}

/// All rows of all subjects, the worst first.
fn ranked<'a>(subjects: &[&'a Subject]) -> Vec<(&'a Subject, &'a Record)> {
    let mut rows: Vec<(&Subject, &Record)> = subjects
        .iter()
        .flat_map(|s| s.quantities.iter().map(move |q| (*s, q)))
        .collect();
    // Stable: within a level the subjects stay together, in their own order.
    rows.sort_by_key(|(_, q)| std::cmp::Reverse((q.health.level, q.health.repeat)));
    rows
}

fn told_by(subject: &Subject, subjects: &[Subject]) -> bool {
    let [surface] = &subject.with[..] else {
        return false;
    };
    let mut others = subjects.iter();
    subject.kind == Kind::Servo
        && others.any(|s| s.kind == Kind::Surface && s.name == *surface && s.with.len() == 1)
}

fn named(subject: &Subject) -> String {
    match subject.kind {
        Kind::Surface if subject.with.is_empty() => subject.name.clone(),
        Kind::Surface => format!("{}, {}", subject.name, subject.with.join(" → ")),
        Kind::Servo => format!("servo {} ({})", subject.name, subject.with.join(" → ")),
    }
}

fn latest(record: &Record, unit: TorqueUnit) -> String {
    let unit = record.measure.unit(unit);
    match record.latest.interval {
        Some(i) => unit.with_interval(record.latest.value, i.lo95, i.hi95),
        None => unit.plain(record.latest.value),
    }
}

fn trend(record: &Record, unit: TorqueUnit) -> String {
    let Some(trend) = record.health.trend else {
        return "too few".into();
    };
    let per = match trend.per {
        Per::ThirtyDays => "in 30 days",
        Per::Recording => "a recording",
    };
    let unit = record.measure.unit(unit);
    match trend.interval {
        Some((lo, hi)) if lo <= 0.0 && hi >= 0.0 => "none to be seen".into(),
        Some((lo, hi)) => format!("{} {per}", unit.with_interval(trend.slope, lo, hi)),
        // Equal values have no interval, however many they are.
        None if record.health.recordings >= FEWEST_FOR_AN_INTERVAL => "none to be seen".into(),
        None => "too few".into(),
    }
}

fn chart(record: &Record) -> String {
    match record.health.chart {
        Chart::TooFew(have) => format!("{have} of {FOR_A_CHART} needed"),
        Chart::Within => "as it was".into(),
        Chart::Below => "lower".into(),
        Chart::Above => "higher".into(),
    }
}

fn crossing(record: &Record) -> String {
    match record.health.crossing {
        Crossing::NoLimit => "no limit".into(),
        Crossing::NotForeseeable => "not foreseeable".into(),
        Crossing::Passed => "beyond it".into(),
        Crossing::In {
            per: Per::Recording,
            soonest,
            latest,
            ..
        } => match latest {
            Some(latest) => format!(
                "in {:.0} to {:.0} recordings",
                soonest.ceil(),
                latest.ceil()
            ),
            None => format!("in {:.0} recordings or later", soonest.ceil()),
        },
        Crossing::In {
            soonest, latest, ..
        } => {
            let from = date(record.latest_at, soonest);
            match latest {
                Some(latest) => format!("{from} to {}", date(record.latest_at, latest)),
                None => format!("{from} or later"),
            }
        }
    }
}

fn date(from: Timestamp, days: f64) -> String {
    let day = from.checked_add(SignedDuration::from_secs((days * 86_400.0) as i64));
    day.map_or("far off".into(), |day| day.strftime("%Y-%m-%d").to_string())
}

fn look_first(subjects: &[&Subject], width: usize) -> String {
    let mut out = String::new();
    let rows = ranked(subjects);
    let asked = rows
        .iter()
        .filter_map(|(s, q)| Some((s, q, advice(q.measure, &q.health)?)));
    for (number, (subject, record, advice)) in asked.take(FIRST).enumerate() {
        if number == 0 {
            out += "Look at first:\n";
        }
        let since = match &record.since {
            Some((at, what)) => format!(" (since {}, {what})", at.strftime("%Y-%m-%d")),
            None => String::new(),
        };
        let line = format!(
            "{}. {}, {}{since}: {advice}.",
            number + 1,
            named(subject),
            record.measure.words()
        );
        out += &paragraph(&clean(&line), "  ", width);
    }
    if out.is_empty() && !rows.is_empty() {
        out += "Nothing asks to be looked at.\n";
    }
    out
}

/// Several aircraft at a glance.
pub fn glance(glances: &[Glance], unit: TorqueUnit, width: usize) -> String {
    let mut table = new_table(width);
    table.set_header([
        "aircraft",
        "surface",
        "quantity",
        "recordings",
        "median",
        "latest",
        "first to last",
    ]);
    for one in glances {
        let unit = one.measure.unit(unit);
        table.add_row([
            clean(&one.aircraft),
            clean(&one.surface),
            one.measure.words().to_owned(),
            one.count.to_string(),
            unit.plain(one.median),
            unit.plain(one.latest),
            unit.plain(one.change),
        ]);
    }
    table_text(&table)
}

/// No word is torn, units like N·cm/° among them: what room there is beyond that is shared out.
fn settle(table: &mut Table) {
    let whole = [6, 17, 10, 9, 9, 15];
    for (column, least) in table.column_iter_mut().zip(whole) {
        column.set_padding((0, 2));
        let width = Width::Fixed(least);
        column.set_constraint(ColumnConstraint::LowerBoundary(width));
    }
}

fn paragraph(text: &str, indent: &str, width: usize) -> String {
    let options = textwrap::Options::new(width)
        .initial_indent(indent)
        .subsequent_indent("     ");
    textwrap::fill(text, options) + "\n"
}
