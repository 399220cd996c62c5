//! What `season` says in a terminal: what asks for something, worst on top; what is quiet, in a sentence; then what to look at
//! first. No arithmetic of the trade.

use std::cmp::Reverse;

use jiff::{SignedDuration, Timestamp};

use super::season_json::Whence;
use super::text::clean;
use super::view::STANDING_CAUTION;
use crate::history::season::{
    BEFORE_IT_IS_RUN, Chart, Crossing, FOR_A_CHART, Kind, Level, Per, Record, Subject, Tell, advice,
};
use crate::history::theil_sen::FEWEST_FOR_AN_INTERVAL;
use crate::units::{TorqueUnit, significant};

/// So many things are worth looking at first; the table has the rest.
const FIRST: usize = 6;

/// A folder of logbooks has so many rows in its table, the worst; more are counted. Own choice.
const MOST_ROWS: usize = 60;

/// Quiet surfaces and servos are named up to so many; more are counted.
const MOST_NAMED: usize = 40;

/// How the text is to be.
#[derive(Debug, Clone, Copy)]
pub struct Style {
    pub unit: TorqueUnit,
    /// Columns of the terminal.
    pub width: usize,
    /// Every quantity, not only those that ask for something.
    pub all: bool,
}

/// The whole text, with its line end.
pub fn season(whence: &Whence, subjects: &[Subject], style: Style) -> String {
    let blocks = ranked(blocks(subjects, "", &whence.logbook).collect());
    let mut out = format!(
        "{}, {} used\n\n",
        clean(&whence.aircraft),
        recordings(whence.recordings.used)
    );
    out += &body(&blocks, style, usize::MAX);
    for remark in &whence.remarks {
        out += &paragraph(&clean(remark), "  ", style.width);
    }
    out + &paragraph(STANDING_CAUTION, "", style.width)
}

/// The whole text of a folder of logbooks, the worst of all on top.
pub fn club(
    folder: &str,
    logbooks: &[(&Whence, &[Subject])],
    remarks: &[String],
    style: Style,
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
    let all = each.flat_map(|(name, (whence, subjects))| blocks(subjects, name, &whence.logbook));
    let blocks = ranked(all.collect());
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
    out += &body(&blocks, style, MOST_ROWS);
    for remark in remarks {
        out += &paragraph(&clean(remark), "  ", style.width);
    }
    for (name, (whence, _)) in names.iter().zip(logbooks) {
        for remark in &whence.remarks {
            out += &paragraph(&clean(&format!("{name}: {remark}")), "  ", style.width);
        }
    }
    out + &paragraph(STANDING_CAUTION, "", style.width)
}

fn recordings(count: usize) -> String {
    match count {
        1 => "1 recording".into(),
        count => format!("{count} recordings"),
    }
}

/// A surface with the servo that it alone has had, or a servo by itself: in one place only.
struct Block<'a> {
    name: String,
    recordings: usize,
    /// The worst on top.
    rows: Vec<Row<'a>>,
}

/// A quantity with the name of whose it is.
struct Row<'a> {
    name: String,
    record: &'a Record,
    /// The folder that its notes are kept in.
    logbook: &'a str,
}

impl Block<'_> {
    /// Nothing of it asks for anything.
    fn is_quiet(&self) -> bool {
        !self.rows.iter().any(Row::asks)
    }

    fn is_early(&self) -> bool {
        let early = |row: &Row| matches!(row.record.health.chart, Chart::TooFew(_));
        self.rows.iter().all(early)
    }
}

impl Row<'_> {
    fn rank(&self) -> (Level, bool) {
        (self.record.health.level, self.record.health.repeat)
    }

    fn asks(&self) -> bool {
        self.rank() > (Level::Fine, false)
    }
}

/// All subjects, after the aircraft's name where there is one. A servo whose recordings are all of one surface that no other
/// servo sat in stands with that surface: of each quantity the worse record of the two counts.
fn blocks<'a>(
    subjects: &'a [Subject],
    aircraft: &str,
    logbook: &'a str,
) -> impl Iterator<Item = Block<'a>> {
    let before = match aircraft {
        "" => String::new(),
        name => format!("{name}: "),
    };
    let shown = subjects.iter().filter(|s| !told_by(s, subjects));
    shown.map(move |subject| {
        let name = clean(&format!("{before}{}", named(subject)));
        let mut rows: Vec<Row> = subject
            .quantities
            .iter()
            .map(|record| Row {
                name: name.clone(),
                record,
                logbook,
            })
            .collect();
        for servo in subjects.iter().filter(|s| is_told_in(s, subject, subjects)) {
            add_worse(&mut rows, servo, &before, logbook);
        }
        rows.sort_by_key(|row| Reverse(row.rank()));
        Block {
            name,
            recordings: subject.recordings,
            rows,
        }
    })
}

fn is_told_in(servo: &Subject, surface: &Subject, subjects: &[Subject]) -> bool {
    surface.kind == Kind::Surface
        && servo.with.first() == Some(&surface.name)
        && told_by(servo, subjects)
}

/// What was done to a hinge gives the surface a new baseline and may leave the servo's as it was, or the other way.
fn add_worse<'a>(rows: &mut Vec<Row<'a>>, servo: &'a Subject, before: &str, logbook: &'a str) {
    for record in &servo.quantities {
        let own = Row {
            name: clean(&format!("{before}{}", named(servo))),
            record,
            logbook,
        };
        let same = rows.iter().position(|r| r.record.measure == record.measure);
        match same {
            None => rows.push(own),
            Some(place) if own.rank() > rows[place].rank() => rows[place] = own,
            Some(_) => {}
        }
    }
}

/// The worst first. Stable: equals stay in their own order.
fn ranked(mut blocks: Vec<Block>) -> Vec<Block> {
    blocks.sort_by_key(|block| Reverse(block.rows.first().map(Row::rank)));
    blocks
}

/// Those that ask for something in a table, the others in a sentence, then what to look at first.
fn body(blocks: &[Block], style: Style, most_rows: usize) -> String {
    let (quiet, asking): (Vec<&Block>, Vec<&Block>) = blocks
        .iter()
        .partition(|block| block.is_quiet() && !style.all);
    let mut room = most_rows;
    let mut shown: Vec<(&Block, Vec<&Row>)> = Vec::new();
    let mut more: Vec<&Row> = Vec::new();
    for block in asking {
        let mut rows: Vec<&Row> = block.rows.iter().collect();
        rows.retain(|row| style.all || row.asks());
        let rest = rows.split_off(rows.len().min(room));
        room -= rows.len();
        more.extend(rest);
        if !rows.is_empty() {
            shown.push((block, rows));
        }
    }
    let mut out = String::new();
    if !shown.is_empty() {
        out += &table(&shown, style);
    }
    if !more.is_empty() {
        out += &paragraph(&counted(&more), "", style.width);
    }
    let (early, fine): (Vec<&Block>, Vec<&Block>) = quiet.into_iter().partition(|b| b.is_early());
    for (blocks, word) in [
        (&fine, "Fine"),
        (
            &early,
            &*format!("Too early to tell before {FOR_A_CHART} recordings of a quantity"),
        ),
    ] {
        out += &listed(blocks, word, style.width);
    }
    if !out.is_empty() {
        out.push('\n');
    }
    out + &look_first(blocks, style.width)
}

fn counted(rows: &[&Row]) -> String {
    let of = |level| {
        let of_level = rows.iter().filter(|r| r.record.health.level == level);
        of_level.count()
    };
    let (act, watch) = (of(Level::Act), of(Level::Watch));
    format!(
        "And {} more rows: {act} act, {watch} watch, {} fine. With --json all are told.",
        rows.len(),
        rows.len() - act - watch
    )
}

/// Surfaces and servos that nothing is to be said of, in one sentence.
fn listed(blocks: &[&Block], word: &str, width: usize) -> String {
    if blocks.is_empty() {
        return String::new();
    }
    if blocks.len() > MOST_NAMED {
        let text = format!("{word}: {} surfaces and servos.", blocks.len());
        return paragraph(&text, "", width);
    }
    let named: Vec<String> = blocks
        .iter()
        .map(|b| format!("{} ({})", b.name, b.recordings))
        .collect();
    let text = format!("{word}, with their recordings: {}.", named.join("; "));
    paragraph(&text, "", width)
}

/// Titles of columns, and the cells of a quantity below them.
type Layout = (
    &'static [&'static str],
    fn(&Record, TorqueUnit) -> Vec<String>,
);

/// What a row says, from the fullest to the shortest: the first that fits the terminal is taken, so that no cell is torn.
const LAYOUTS: [Layout; 5] = [
    (&["latest", "trend", "chart", "at its limit"], |r, unit| {
        vec![latest(r, unit), trend(r, unit), chart(r), crossing(r)]
    }),
    (
        &["latest", "in 30 days", "chart", "at its limit"],
        |r, unit| vec![latest(r, unit), slope(r, unit), chart(r), soonest(r)],
    ),
    (&["latest", "in 30 days", "at its limit"], |r, unit| {
        vec![latest(r, unit), slope(r, unit), soonest(r)]
    }),
    (&["latest", "in 30 days", "at its limit"], |r, unit| {
        vec![plain(r, unit), slope(r, unit), soonest(r)]
    }),
    (&["latest", "in 30 days"], |r, unit| {
        vec![plain(r, unit), slope(r, unit)]
    }),
];

/// A block a surface or servo, a line a quantity.
fn table(shown: &[(&Block, Vec<&Row>)], style: Style) -> String {
    let rows = || shown.iter().flat_map(|(_, rows)| rows);
    let mut laid_out = LAYOUTS.iter().map(|(titles, cells)| {
        let mut lines = vec![
            [String::new(), String::new()]
                .into_iter()
                .chain(titles.iter().map(|t| (*t).to_owned()))
                .collect::<Vec<_>>(),
        ];
        for row in rows() {
            let words = row.record.measure.words().to_owned();
            let mut line = vec![format!("  {}", row.record.said()), words];
            line.extend(cells(row.record, style.unit));
            lines.push(line);
        }
        aligned(&lines)
    });
    let wide = |lines: &Vec<String>| lines.iter().map(|l| l.chars().count()).max();
    let shortest = laid_out.clone().next_back().unwrap_or_default();
    let lines = laid_out
        .find(|lines| wide(lines) <= Some(style.width))
        .unwrap_or(shortest);
    let mut lines = lines.into_iter();
    let mut out = lines.next().unwrap_or_default() + "\n";
    for (block, rows) in shown {
        let count = recordings(block.recordings);
        let rest = block.rows.len() - rows.len();
        let rest = match rest {
            0 => String::new(),
            1 => "; 1 more quantity, see --all".into(),
            _ => format!("; {rest} more quantities, see --all"),
        };
        out += &paragraph(&format!("{}, {count}{rest}", block.name), "", style.width);
        for _ in rows {
            out += &(lines.next().unwrap_or_default() + "\n");
        }
    }
    out
}

/// Lines with their cells below each other, two blanks between them.
fn aligned(lines: &[Vec<String>]) -> Vec<String> {
    let columns = lines.iter().map(Vec::len).max().unwrap_or(0);
    let letters = |cell: &String| cell.chars().count();
    let widths: Vec<usize> = (0..columns)
        .map(|c| lines.iter().filter_map(|l| l.get(c)).map(letters).max())
        .map(|widest| widest.unwrap_or(0))
        .collect();
    let line = |cells: &Vec<String>| {
        let padded = cells.iter().zip(&widths).map(|(cell, width)| {
            let blanks = width - letters(cell);
            format!("{cell}{}", " ".repeat(blanks))
        });
        padded.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    lines.iter().map(line).collect()
}

/// All rows of all subjects, the worst first.
pub(super) fn ranked_records<'a>(subjects: &[&'a Subject]) -> Vec<(&'a Subject, &'a Record)> {
    let mut rows: Vec<(&Subject, &Record)> = subjects
        .iter()
        .flat_map(|s| s.quantities.iter().map(move |q| (*s, q)))
        .collect();
    // Stable: within a level the subjects stay together, in their own order.
    rows.sort_by_key(|(_, q)| Reverse((q.health.level, q.health.repeat)));
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

fn plain(record: &Record, unit: TorqueUnit) -> String {
    record.measure.unit(unit).plain(record.latest.value)
}

/// The trend in a few letters, in the unit of the quantity beside it, in thirty days unless it says otherwise.
fn slope(record: &Record, unit: TorqueUnit) -> String {
    let Some(trend) = record.health.trend else {
        return "too few".into();
    };
    let per = match trend.per {
        Per::ThirtyDays => "",
        Per::Recording => " a recording",
    };
    let slope = trend.slope * record.measure.unit(unit).factor();
    match (trend.interval, significant(slope, 2)) {
        (Some((lo, hi)), Some(number)) if lo > 0.0 || hi < 0.0 => {
            let sign = if slope > 0.0 { "+" } else { "" };
            format!("{sign}{number}{per}")
        }
        (None, _) if record.health.recordings < FEWEST_FOR_AN_INTERVAL => "too few".into(),
        _ => "none seen".into(),
    }
}

/// When it is at its limit, at the soonest.
fn soonest(record: &Record) -> String {
    match record.health.crossing {
        Crossing::NoLimit => "no limit".into(),
        Crossing::NotForeseeable => "not foreseen".into(),
        Crossing::Passed => "beyond it".into(),
        Crossing::In {
            per: Per::Recording,
            soonest,
            ..
        } => format!("in {:.0} recordings", soonest.ceil()),
        Crossing::In { soonest, .. } => format!("from {}", date(record.believed_at, soonest)),
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

fn look_first(blocks: &[Block], width: usize) -> String {
    let mut rows: Vec<&Row> = blocks.iter().flat_map(|b| &b.rows).collect();
    // Stable: of equals, as they stand in the table.
    rows.sort_by_key(|row| Reverse(row.rank()));
    let (mut out, mut notes) = (String::new(), Vec::new());
    let asked = rows.iter().filter_map(|row| {
        let record = row.record;
        Some((row, record, advice(record, row.logbook)?))
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
            "{}. {}, {}{since}: {}.",
            number + 1,
            row.name,
            record.measure.words(),
            advice.says
        );
        out += &paragraph(&clean(&line), "  ", width);
        for tell in advice.tell {
            if !notes.contains(&tell) {
                notes.push(tell);
            }
        }
    }
    out += &noted(&notes, width);
    if out.is_empty() && !rows.is_empty() && !blocks.iter().all(Block::is_early) {
        let said = "Nothing asks to be looked at, as far as trends and charts can tell. Each surface's own verdict is its latest sweep's.";
        out += &paragraph(said, "", width);
    }
    out
}

/// How to tell of the work that a step may come from: each command whole on its line, whatever the terminal's width is.
fn noted(notes: &[Tell], width: usize) -> String {
    let mut out = String::new();
    if !notes.is_empty() {
        let said = format!("If work is behind it, note it. {BEFORE_IT_IS_RUN}.");
        out += &paragraph(&said, "", width);
    }
    for Tell { what, command } in notes {
        out += &paragraph(&format!("{what}:"), "  ", width);
        out += &format!("     {}\n", clean(command));
    }
    out
}

fn paragraph(text: &str, indent: &str, width: usize) -> String {
    let options = textwrap::Options::new(width)
        .initial_indent(indent)
        .subsequent_indent("     ");
    textwrap::fill(text, options) + "\n"
}

#[cfg(test)]
#[path = "season_text_tests.rs"]
mod tests;
