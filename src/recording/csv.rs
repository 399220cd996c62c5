//! CSV as a rig that logs to a card writes it: a header of channel names with `t_us` or `t_s`, one row a sample.
//!
//! Rows are split at LF before csv-core sees them, so that a stray quotation mark damages its own row and no other.

use csv_core::{ReadRecordResult, Reader};

use crate::link::MAX_MAGNITUDE;
use crate::link::lines::{Line, Lines};
use crate::link::number::{self, Reading};
use crate::problem::Problem;

use super::Recording;
use super::assemble::{Assembly, Layout};
use super::sniff::tidy_name;

/// The longest row, LF included, bytes; and the most fields in one.
const MAX_ROW_BYTES: usize = 16 * 1024;
const MAX_FIELDS: usize = 1024;

/// µs or s: whole microseconds up to here are exact in a f64.
const MAX_TIME: f64 = 9e15;

/// Reads a CSV file piece by piece.
pub(super) struct CsvReader {
    lines: Lines,
    rows: Rows,
}

struct Rows {
    assembly: Assembly,
    fields: Fields,
    header: Option<Columns>,
    header_line: Vec<u8>,
    problem: Option<Problem>,
    line_number: u64,
    not_finite: u64,
    name: String,
}

/// Where things stand in a row.
struct Columns {
    count: usize,
    time: usize,
    time_in_us: bool,
    seq: Option<usize>,
    /// Whether each field must be a number.
    known: Vec<bool>,
    values: Vec<f64>,
}

enum Row {
    Sample { seq: Option<u16>, t_us: f64 },
    Blank,
    Damaged,
}

impl CsvReader {
    pub(super) fn new(name: &str) -> Self {
        Self {
            lines: Lines::new(|_| MAX_ROW_BYTES),
            rows: Rows {
                assembly: Assembly::new(true),
                fields: Fields::new(),
                header: None,
                header_line: Vec::new(),
                problem: None,
                line_number: 0,
                not_finite: 0,
                name: name.to_owned(),
            },
        }
    }

    pub(super) fn feed(&mut self, bytes: &[u8]) {
        let rows = &mut self.rows;
        self.lines.feed(bytes, |line| rows.take(line));
    }

    /// The recording, or why there is not one good row in it.
    pub(super) fn finish(mut self) -> Result<Recording, Problem> {
        let rows = &mut self.rows;
        let mut torn = false;
        // Without a checksum nothing tells a whole last row from one whose last number was cut short, so it is left out.
        self.lines
            .finish(|line| torn = !matches!(line, Line::Whole(row) if row.trim_ascii().is_empty()));
        if torn {
            rows.assembly
                .note("The last row has no line end and may be cut off; it was left out.");
        }
        if rows.not_finite > 0 {
            let count = rows.not_finite;
            rows.assembly.note(format!(
                "{count} rows hold NaN, infinity or a number beyond 1e12 where a reading should be, and were taken as damaged \
                 (a missing reading is an empty field)."
            ));
        }
        if let Some(problem) = rows.problem.take() {
            return Err(problem);
        }
        if rows.assembly.recording.samples == 0 {
            let (name, damaged) = (&rows.name, rows.assembly.recording.damaged_lines);
            let problem = if damaged == 0 {
                Problem::new(format!("{name}: a header, but no whole row beneath it"))
            } else {
                Problem::new(format!(
                    "{name}: not one good row; {damaged} rows do not parse"
                ))
            };
            return Err(problem.hint("write one row a sample: as many fields as the header names, decimal numbers with a point, \
                                     an empty field for a missing reading, and a line end after each"));
        }
        Ok(self.rows.assembly.finish())
    }
}

impl Rows {
    fn take(&mut self, line: Line<'_>) {
        self.line_number += 1;
        if self.problem.is_some() {
            return;
        }
        let Line::Whole(raw) = line else {
            self.assembly.recording.damaged_lines += 1;
            return;
        };
        let row = raw.strip_suffix(b"\r").unwrap_or(raw);
        match row.first() {
            None => {}
            Some(b'#') => self.assembly.host_line(&row[1..]),
            Some(_) if self.header.is_none() => self.read_header(row),
            Some(_) if row == self.header_line => {
                self.assembly.restart_clock();
                self.assembly.note("The header stands again among the rows: taken as a new start of the logger, not counted as a restart.");
            }
            Some(_) => self.read_row(row),
        }
    }

    fn read_header(&mut self, row: &[u8]) {
        // Junk before the header is possible; the format was told by a header further down.
        let names = match self.fields.split(row) {
            Some(fields) => fields
                .map(|f| tidy_name(&String::from_utf8_lossy(f)))
                .collect::<Vec<_>>(),
            None => Vec::new(),
        };
        let place = |wanted: &str| names.iter().position(|n| n == wanted);
        let Some(time) = place("t_us").or(place("t_s")) else {
            self.assembly.recording.damaged_lines += 1;
            return;
        };
        if let Some(twice) = names
            .iter()
            .enumerate()
            .find(|(i, n)| !n.is_empty() && names[..*i].contains(n))
            .map(|(_, n)| n)
        {
            let shown = String::from_utf8_lossy(row);
            let problem = Problem::new(format!(
                "{}, line {}: the header names {twice} twice",
                self.name, self.line_number
            ));
            self.problem = Some(
                problem
                    .excerpt(format!("{:>5} | {shown}", self.line_number))
                    .hint("give each column a name of its own; a second sensor of a kind needs another name"),
            );
            return;
        }
        let time_in_us = names[time] == "t_us";
        let seq = place("seq");
        let clock = |name: &str| matches!(name, "t_us" | "t_s" | "seq");
        let layout = Layout::of(names.iter().map(String::as_str));
        let unknown: Vec<&str> = layout
            .unknown
            .iter()
            .map(String::as_str)
            .filter(|n| !clock(n) && !n.is_empty())
            .collect();
        if !unknown.is_empty() {
            self.assembly.note(format!(
                "Columns that are no known channel were left alone: {}.",
                unknown.join(", ")
            ));
        }
        if time_in_us && place("t_s").is_some() {
            self.assembly
                .note("The header has both t_us and t_s; t_us was used.");
        }
        let mut known = vec![false; names.len()];
        for &(index, _) in layout.columns() {
            known[index] = true;
        }
        self.header = Some(Columns {
            count: names.len(),
            time,
            time_in_us,
            seq,
            known,
            values: vec![f64::NAN; names.len()],
        });
        self.header_line = row.to_vec();
        self.assembly.start(layout, time_in_us, 0.0);
    }

    fn read_row(&mut self, row: &[u8]) {
        let Some(columns) = &mut self.header else {
            return;
        };
        match columns.read(&mut self.fields, row, &mut self.not_finite) {
            Row::Sample { seq, t_us } => self.assembly.sample(seq, t_us, &columns.values),
            Row::Blank => {}
            Row::Damaged => self.assembly.recording.damaged_lines += 1,
        }
    }
}

impl Columns {
    /// Reads a row into `values`.
    fn read(&mut self, fields: &mut Fields, row: &[u8], not_finite: &mut u64) -> Row {
        if std::str::from_utf8(row).is_err() {
            return Row::Damaged;
        }
        let Some(fields) = fields.split(row) else {
            return Row::Damaged;
        };
        let mut count = 0;
        let mut anything = false;
        let mut good = true;
        let mut seq = None;
        let mut beyond = false;
        for (index, field) in fields.enumerate() {
            count += 1;
            let field = field.trim_ascii();
            anything |= !field.is_empty();
            let Some(value) = self.values.get_mut(index) else {
                continue;
            };
            *value = f64::NAN;
            if Some(index) == self.seq {
                match number::counter(field, 0, MAX_TIME as u64) {
                    // A logger may count on beyond the link's 16 bits.
                    Some((n, end)) if end == field.len() => seq = Some((n % 65_536) as u16),
                    _ => good &= field.is_empty(),
                }
            } else if self.known[index] || index == self.time {
                // A clock may count from any epoch; a reading may not be just anything.
                let limit = if index == self.time {
                    MAX_TIME
                } else {
                    MAX_MAGNITUDE
                };
                match csv_number(field) {
                    CsvNumber::Value(number) if number.abs() < limit => *value = number,
                    CsvNumber::Value(_) => beyond = true,
                    CsvNumber::Missing => {}
                    CsvNumber::Bad => good = false,
                }
            }
        }
        *not_finite += u64::from(beyond);
        good &= !beyond;
        let time = self.values[self.time];
        // Spreadsheets leave rows of nothing but commas behind.
        match (anything, good && count == self.count && time >= 0.0) {
            (false, _) => Row::Blank,
            (true, true) => Row::Sample {
                seq,
                t_us: if self.time_in_us { time } else { time * 1e6 },
            },
            (true, false) => Row::Damaged,
        }
    }
}

enum CsvNumber {
    /// Not finite, perhaps: to be held against a limit.
    Value(f64),
    Missing,
    Bad,
}

/// The link's numbers, and those with an exponent, which spreadsheets write.
fn csv_number(field: &[u8]) -> CsvNumber {
    match number::whole(field) {
        Reading::Missing => CsvNumber::Missing,
        Reading::Number(value) => CsvNumber::Value(value),
        // fast-float takes `nan` and `inf` too: they are wanted here, to be counted.
        Reading::NotANumber => fast_float2::parse(field).map_or(CsvNumber::Bad, CsvNumber::Value),
    }
}

/// One row's fields by csv-core, in reused buffers.
struct Fields {
    reader: Reader,
    output: Vec<u8>,
    ends: Vec<usize>,
}

impl Fields {
    fn new() -> Self {
        Self {
            reader: Reader::new(),
            output: vec![0; MAX_ROW_BYTES],
            ends: vec![0; MAX_FIELDS],
        }
    }

    /// `None`: a quotation mark that does not close, or too many fields.
    fn split(&mut self, row: &[u8]) -> Option<impl Iterator<Item = &[u8]>> {
        self.reader.reset();
        let (result, _, written, ended) =
            self.reader
                .read_record(row, &mut self.output, &mut self.ends);
        let mut count = ended;
        match result {
            // The row came without its line end; csv-core ends the record at one.
            ReadRecordResult::InputEmpty => {
                let (result, _, _, more) = self.reader.read_record(
                    b"\n",
                    &mut self.output[written..],
                    &mut self.ends[ended..],
                );
                if !matches!(result, ReadRecordResult::Record) {
                    return None;
                }
                count += more;
            }
            ReadRecordResult::Record => {}
            _ => return None,
        }
        let (output, ends) = (&self.output, &self.ends[..count]);
        Some(ends.iter().scan(0, move |start, &end| {
            let field = output.get(*start..end);
            *start = end;
            field
        }))
    }
}

#[cfg(test)]
#[path = "csv_tests.rs"]
mod tests;
