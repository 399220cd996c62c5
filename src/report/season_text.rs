//! What `season` says in a terminal: a table, worst on top, then what to look at first. No arithmetic of the trade.

use comfy_table::{ColumnConstraint, Table, Width};
use jiff::{SignedDuration, Timestamp};

use super::season_json::Whence;
use super::text::{clean, new_table, table_text};
use super::view::STANDING_CAUTION;
use crate::history::season::{
    Chart, Crossing, FOR_A_CHART, Kind, Level, Per, Record, Subject, advice,
};
use crate::history::theil_sen::FEWEST_FOR_AN_INTERVAL;
use crate::units::TorqueUnit;

/// So many things are worth looking at first; the table has the rest.
const FIRST: usize = 6;

/// A folder of logbooks has so many rows in its table, the worst; the others are counted. Own choice.
const MOST_ROWS: usize = 60;

/// The whole text, with its line end.
pub fn season(whence: &Whence, subjects: &[Subject], unit: TorqueUnit, width: usize) -> String {
    let rows = ranked(rows(subjects, "").collect());
    let mut out = format!(
        "{}, {} used\n\n",
        clean(&whence.aircraft),
        recordings(whence.recordings.used)
    );
    if !subjects.is_empty() {
        out += &table(&rows, unit, width);
        out.push('\n');
    }
    out += &look_first(&rows, width);
    for remark in &whence.remarks {
        out += &paragraph(&clean(remark), "  ", width);
    }
    out + &paragraph(STANDING_CAUTION, "", width)
}

/// The whole text of a folder of logbooks, the worst of all on top.
pub fn club(
    folder: &str,
    logbooks: &[(&Whence, &[Subject])],
    remarks: &[String],
    unit: TorqueUnit,
    width: usize,
) -> String {
    let named = |whence: &Whence| {
        let alike = logbooks
            .iter()
            .filter(|(w, _)| w.aircraft == whence.aircraft);
        match alike.count() > 1 {
            true => format!("{} ({})", whence.aircraft, whence.logbook),
            false => whence.aircraft.clone(),
        }
    };
    let names: Vec<String> = logbooks.iter().map(|(whence, _)| named(whence)).collect();
    let each = names.iter().zip(logbooks);
    let rows = ranked(
        each.flat_map(|(name, (_, subjects))| rows(subjects, name))
            .collect(),
    );
    let used = logbooks.iter().map(|(whence, _)| whence.recordings.used);
    let count = match logbooks.len() {
        1 => "1 logbook".to_owned(),
        count => format!("{count} logbooks"),
    };
    let mut out = format!(
        "{}, {count}, {} used\n\n",
        clean(folder),
        recordings(used.sum())
    );
    let (shown, more) = rows.split_at(rows.len().min(MOST_ROWS));
    if !shown.is_empty() {
        out += &table(shown, unit, width);
    }
    if !more.is_empty() {
        let of = |level| {
            more.iter()
                .filter(|r| r.record.health.level == level)
                .count()
        };
        let (act, watch) = (of(Level::Act), of(Level::Watch));
        out += &paragraph(
            &format!(
                "And {} more rows: {act} act, {watch} watch, {} fine. With --json all are told.",
                more.len(),
                more.len() - act - watch
            ),
            "",
            width,
        );
    }
    out.push('\n');
    out += &look_first(&rows, width);
    for remark in remarks {
        out += &paragraph(&clean(remark), "  ", width);
    }
    for (name, (whence, _)) in names.iter().zip(logbooks) {
        for remark in &whence.remarks {
            out += &paragraph(&clean(&format!("{name}: {remark}")), "  ", width);
        }
    }
    out + &paragraph(STANDING_CAUTION, "", width)
}

fn recordings(count: usize) -> String {
    match count {
        1 => "1 recording".into(),
        count => format!("{count} recordings"),
    }
}

/// A quantity with the name that it stands under.
struct Row<'a> {
    name: String,
    record: &'a Record,
}

/// All rows of the subjects, after the aircraft's name where there is one. A servo whose recordings are all of one surface
/// that no other servo sat in stands with that surface.
fn rows<'a>(subjects: &'a [Subject], aircraft: &str) -> impl Iterator<Item = Row<'a>> {
    let before = match aircraft {
        "" => String::new(),
        name => format!("{name}: "),
    };
    let shown = subjects.iter().filter(|s| !told_by(s, subjects));
    shown.flat_map(move |subject| {
        let name = clean(&format!("{before}{}", named(subject)));
        subject.quantities.iter().map(move |record| Row {
            name: name.clone(),
            record,
        })
    })
}

/// The worst first. Stable: within a level the subjects stay together, in their own order.
fn ranked(mut rows: Vec<Row>) -> Vec<Row> {
    rows.sort_by_key(|row| {
        let health = &row.record.health;
        std::cmp::Reverse((health.level, health.repeat))
    });
    rows
}

fn table(rows: &[Row], unit: TorqueUnit, width: usize) -> String {
    let mut table = new_table(width);
    table.set_header([
        "",
        "surface, servo: quantity",
        "latest",
        "trend",
        "chart",
        "at its limit",
    ]);
    let mut above = "";
    for Row { name, record } in rows {
        table.add_row([
            level(record).to_owned(),
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
    table_text(&table)
}

/// How urgent it is, in a word.
pub(super) fn level(record: &Record) -> &'static str {
    match (record.health.level, record.health.repeat) {
        (Level::Fine, true) => "repeat",
        // So few readings say nothing of a trend or a change.
        (Level::Fine, false) if matches!(record.health.chart, Chart::TooFew(_)) => "early",
        (level, _) => level.word(),
    }
}

/// All rows of all subjects, the worst first.
pub(super) fn ranked_records<'a>(subjects: &[&'a Subject]) -> Vec<(&'a Subject, &'a Record)> {
    let mut rows: Vec<(&Subject, &Record)> = subjects
        .iter()
        .flat_map(|s| s.quantities.iter().map(move |q| (*s, q)))
        .collect();
    // Stable: within a level the subjects stay together, in their own order.
    rows.sort_by_key(|(_, q)| std::cmp::Reverse((q.health.level, q.health.repeat)));
    rows
}

pub(super) fn told_by(subject: &Subject, subjects: &[Subject]) -> bool {
    let [surface] = &subject.with[..] else {
        return false;
    };
    let mut others = subjects.iter();
    subject.kind == Kind::Servo
        && others.any(|s| s.kind == Kind::Surface && s.name == *surface && s.with.len() == 1)
}

pub(super) fn named(subject: &Subject) -> String {
    match subject.kind {
        Kind::Surface if subject.with.is_empty() => subject.name.clone(),
        Kind::Surface => format!("{}, {}", subject.name, subject.with.join(" → ")),
        Kind::Servo => format!("servo {} ({})", subject.name, subject.with.join(" → ")),
    }
}

pub(super) fn latest(record: &Record, unit: TorqueUnit) -> String {
    let unit = record.measure.unit(unit);
    match record.latest.interval {
        Some(i) => unit.with_interval(record.latest.value, i.lo95, i.hi95),
        None => unit.plain(record.latest.value),
    }
}

pub(super) fn trend(record: &Record, unit: TorqueUnit) -> String {
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

pub(super) fn chart(record: &Record) -> String {
    match record.health.chart {
        Chart::TooFew(have) => format!("{have} of {FOR_A_CHART} needed"),
        Chart::Within => "as it was".into(),
        Chart::Below => "lower".into(),
        Chart::Above => "higher".into(),
    }
}

pub(super) fn crossing(record: &Record) -> String {
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
            let from = date(record.believed_at, soonest);
            match latest {
                Some(latest) => format!("{from} to {}", date(record.believed_at, latest)),
                None => format!("{from} or later"),
            }
        }
    }
}

fn date(from: Timestamp, days: f64) -> String {
    let day = from.checked_add(SignedDuration::from_secs((days * 86_400.0) as i64));
    day.map_or("far off".into(), |day| day.strftime("%Y-%m-%d").to_string())
}

fn look_first(rows: &[Row], width: usize) -> String {
    let mut out = String::new();
    let asked = rows.iter().filter_map(|row| {
        let record = row.record;
        Some((row, record, advice(record.measure, &record.health)?))
    });
    for (number, (row, record, advice)) in asked.take(FIRST).enumerate() {
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
            row.name,
            record.measure.words()
        );
        out += &paragraph(&clean(&line), "  ", width);
    }
    if out.is_empty() && !rows.is_empty() {
        let early = rows
            .iter()
            .all(|row| matches!(row.record.health.chart, Chart::TooFew(_)));
        let said = match early {
            true => format!(
                "Too early to tell: {FOR_A_CHART} recordings of a quantity are needed before its chart says anything."
            ),
            false => "Nothing asks to be looked at, as far as trends and charts can tell. Each surface's own verdict is its latest sweep's."
                .to_owned(),
        };
        out += &paragraph(&said, "", width);
    }
    out
}

/// No word is torn, units like N·cm/° among them: what room there is beyond that is shared out.
fn settle(table: &mut Table) {
    let whole = [6, 17, 10, 10, 9, 15];
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
