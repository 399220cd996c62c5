//! A TOML text with its faults: where each stands, the line itself, and the remedy. The tables' readers put their
//! faults here; the first in the order of the file is the one that is shown. Knows nothing of aircraft.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::DeTable;

use crate::problem::Problem;

use super::keys::Kind;

/// A line of an excerpt longer than this is cut around the caret.
const EXCERPT_CHARS: usize = 100;

/// How many faults after the first have their lines named.
const LINES_NAMED: usize = 8;

/// How many names are compared with a misspelt one.
const NAMES_COMPARED: usize = 100;

/// A text being read, and what was found wrong with it so far.
pub(super) struct Document<'t> {
    pub file_name: &'t str,
    pub text: &'t str,
    /// All tables of this kind of file: where a misplaced key may belong.
    pub kinds: &'static [&'static Kind],
    faults: RefCell<Vec<Fault>>,
}

/// Kept short until it is known which is shown: a file of nothing but faults must not take for ever.
struct Fault {
    span: Range<usize>,
    told: Told,
}

enum Told {
    Here {
        what: String,
        hint: String,
    },
    /// Of another file, which this one names here.
    Elsewhere(Problem),
}

impl<'t> Document<'t> {
    /// A byte-order mark at the start is no part of the text.
    pub fn new(file_name: &'t str, text: &'t str, kinds: &'static [&'static Kind]) -> Self {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        Self {
            file_name,
            text,
            kinds,
            faults: RefCell::new(Vec::new()),
        }
    }

    /// The document's tables, or what is wrong with its TOML.
    pub fn tables(&self) -> Result<Spanned<DeTable<'t>>, Problem> {
        DeTable::parse(self.text).map_err(|error| {
            let span = error.span().unwrap_or(self.text.len()..self.text.len());
            let line = line_at(self.text, span.start);
            let key = line
                .split_once('=')
                .map(|(key, _)| key.trim())
                .filter(|key| !key.is_empty() && !key.starts_with(['#', '{', '[']));
            let at = key.map(|k| format!(" at {k}")).unwrap_or_default();
            let what = format!("not valid TOML{at}: {}", error.message());
            self.problem(span, &what, &syntax_remedy(error.message(), line))
        })
    }

    /// Notes a fault at a place in the text.
    pub fn fault(&self, span: Range<usize>, what: &str, hint: &str) {
        let told = Told::Here {
            what: what.to_owned(),
            hint: hint.to_owned(),
        };
        self.faults.borrow_mut().push(Fault { span, told });
    }

    /// Notes a problem of another file, which this one names at `span`.
    pub fn fault_elsewhere(&self, span: Range<usize>, problem: Problem) {
        let told = Told::Elsewhere(problem);
        self.faults.borrow_mut().push(Fault { span, told });
    }

    pub fn line_number(&self, offset: usize) -> usize {
        let offset = offset.min(self.text.len());
        1 + self.text.as_bytes()[..offset]
            .iter()
            .filter(|&&b| b == b'\n')
            .count()
    }

    /// The first fault in the order of the file, with the lines of the next few; `None` if there is none.
    pub fn first_fault(&self) -> Option<Problem> {
        let mut faults = self.faults.take();
        faults.sort_by_key(|f| f.span.start);
        let mut faults = faults.into_iter();
        let first = faults.next()?;
        let own_line = self.line_number(first.span.start);
        let mut others: Vec<usize> = faults
            .take(LINES_NAMED)
            .map(|f| self.line_number(f.span.start))
            .collect();
        others.retain(|&line| line != own_line);
        others.dedup();
        let mut problem = match first.told {
            Told::Here { what, hint } => self.problem(first.span, &what, &hint),
            Told::Elsewhere(problem) => problem,
        };
        if let (Some(hint), false) = (&mut problem.hint, others.is_empty()) {
            let lines: Vec<String> = others.iter().map(usize::to_string).collect();
            let word = if lines.len() == 1 { "line" } else { "lines" };
            hint.push_str(&format!(
                " (then see to {word} {} of {} as well)",
                lines.join(", "),
                self.file_name
            ));
        }
        Some(problem)
    }

    fn problem(&self, span: Range<usize>, what: &str, hint: &str) -> Problem {
        let line = self.line_number(span.start);
        Problem::new(format!("{}, line {line}: {what}", self.file_name))
            .excerpt(excerpt(self.text, span, line))
            .hint(hint)
    }
}

/// The start of the character that holds a byte offset; the end of the text beyond it.
fn char_start(text: &str, offset: usize) -> usize {
    let mut at = offset.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// The line that holds a byte offset, without its end. Offsets beyond the text or inside a character are moved back.
fn line_at(text: &str, offset: usize) -> &str {
    let at = char_start(text, offset);
    let start = text[..at].rfind('\n').map_or(0, |i| i + 1);
    let end = text[at..].find('\n').map_or(text.len(), |i| at + i);
    text[start..end].trim_end_matches('\r')
}

/// The line with its number, and carets under the span.
fn excerpt(text: &str, span: Range<usize>, number: usize) -> String {
    let at = char_start(text, span.start);
    let start = text[..at].rfind('\n').map_or(0, |i| i + 1);
    let line = line_at(text, at);
    let before = text[start..at].chars().count().min(line.chars().count());
    let end = char_start(text, span.end.max(at));
    let marked = text[at..end]
        .lines()
        .next()
        .map_or(0, |marked| marked.chars().count());
    // A long line is shown from a little before the fault.
    let skip = if before > EXCERPT_CHARS - 20 {
        before - 20
    } else {
        0
    };
    let printable = |c: char| {
        if c == '\t' {
            ' '
        } else if c.is_control() {
            '\u{fffd}'
        } else {
            c
        }
    };
    let shown: String = line
        .chars()
        .skip(skip)
        .take(EXCERPT_CHARS)
        .map(printable)
        .collect();
    let room = EXCERPT_CHARS.saturating_sub(before - skip).max(1);
    let carets = "^".repeat(marked.clamp(1, room));
    let pad = " ".repeat(before - skip);
    format!("{number:>5} | {shown}\n      | {pad}{carets}")
}

/// What to do about a fault of TOML itself, from the parser's words and the line.
fn syntax_remedy(message: &str, line: &str) -> String {
    if has_decimal_comma(line) {
        return "write decimals with a point: 58.0, not 58,0".to_owned();
    }
    if message.contains("duplicate key") {
        return if line.trim_start().starts_with('[') {
            "this table is there twice, or stands before the one it belongs to: each [[surface]] comes first, \
             then its own [surface.linkage] and [surface.air], once each"
                .to_owned()
        } else {
            "this key is there twice in one table: keep one of them, or begin a new table, such as [[surface]], above it"
                .to_owned()
        };
    }
    if message.contains("basic string") || message.contains("literal string, expected") {
        return "close the text with the quote that it begins with, on the same line; a backslash in it is written \\\\"
            .to_owned();
    }
    if message.contains("key with no value") {
        return "put an equals sign between key and value, such as arm_mm = 18".to_owned();
    }
    if message.contains("quote") {
        return "put text in double quotes, such as name = \"left elevator\"; numbers and dates go without"
            .to_owned();
    }
    if message.contains("date") || message.contains("month") || message.contains("day") {
        return "write a date as year-month-day, such as 2026-04-02".to_owned();
    }
    "each line is a key, an equals sign and a value: text in double quotes, decimals with a point, \
     every [ and { closed again, list entries parted by commas"
        .to_owned()
}

/// `key = 58,0`: digits, a comma, digits, and nothing else that would make it a list.
fn has_decimal_comma(line: &str) -> bool {
    let Some((_, value)) = line.split_once('=') else {
        return false;
    };
    let value = value.split('#').next().unwrap_or_default().trim();
    value.split_once(',').is_some_and(|(whole, decimals)| {
        let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
        digits(whole.trim_start_matches(['-', '+'])) && digits(decimals)
    })
}

/// The candidate that was probably meant, if any is near: the same but for case, dashes or a letter or two, or the
/// beginning of it (`chord` for `chord_mm`). The thresholds were set by trying misspellings; no source.
pub(super) fn nearest<'c>(
    written: &str,
    candidates: impl Iterator<Item = &'c str>,
) -> Option<&'c str> {
    // A name too long to be a slip of the pen is not compared: the distances cost its length squared.
    if written.len() > 200 {
        return None;
    }
    let plain = |s: &str| s.to_lowercase().replace([' ', '-'], "_");
    let written = plain(written);
    candidates
        .take(NAMES_COMPARED)
        .filter(|candidate| candidate.len() <= 200)
        .map(|candidate| {
            let other = plain(candidate);
            let edits = strsim::damerau_levenshtein(&written, &other);
            let likeness = strsim::jaro_winkler(&written, &other);
            let few_edits = edits <= (other.chars().count() / 3).clamp(1, 3);
            let beginning = written.len() >= 3
                && other
                    .strip_prefix(&written)
                    .is_some_and(|rest| rest.starts_with('_'));
            (
                candidate,
                likeness,
                few_edits || beginning || likeness >= 0.88,
            )
        })
        .filter(|&(_, _, near)| near)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(candidate, _, _)| candidate)
}
