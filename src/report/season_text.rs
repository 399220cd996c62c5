//! What `season` says in a terminal: what asks for something, worst on top; what is quiet, in a sentence; then what to look at
//! first. No arithmetic of the trade.

mod cells;

use std::cmp::Reverse;

use super::season_json::Whence;
use super::text::clean;
use super::view::STANDING_CAUTION;
use crate::history::season::{
    BEFORE_IT_IS_RUN, Chart, FOR_A_CHART, Kind, Level, Record, Subject, Tell, advice,
};
use crate::units::TorqueUnit;

use cells::LAYOUTS;
pub(super) use cells::{chart, crossing, latest, trend};

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
