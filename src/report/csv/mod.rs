//! Every table of the report as CSV, for spreadsheets and programs. No arithmetic of the trade, no file is opened.
//!
//! UTF-8 without a mark, RFC 4180 with its line ends (CRLF), a header always. Units are the program's own, whatever the
//! builder asked to see: N·cm, deg, mm, mA, mΩ, V, °C, s, Hz, shares of one; they stand in the columns' names, or in `unit`
//! where a column holds several quantities. A number is the shortest that reads back as the same; nothing measured is an
//! empty field. Times are UTC as RFC 3339 has them. Beside a quantity stand its standard uncertainty (`_u`) and the ends of
//! its 95 % interval (`_lo95`, `_hi95`). `recording` is the recording's ID: the name of its file without the ending.
//!
//! A text that a spreadsheet could take for a formula has an apostrophe before it, and so has one that begins with an
//! apostrophe: taking a first apostrophe off gives every text back as it was. Quotes alone keep no spreadsheet from
//! running a formula. (OWASP Foundation, CSV Injection, recommends the apostrophe; from memory.) Numbers never get one.

mod columns;
mod course;
mod state;
#[cfg(test)]
mod tests;

use self::columns::Columns;
use super::book::Book;

/// A table: the name of its file, and what is in it.
pub type Table = (String, Vec<u8>);

/// All tables, each with its header even where nothing is in it.
pub fn tables(book: &Book<'_>) -> Vec<Table> {
    let mut tables = vec![about(book)];
    tables.extend(state::tables(book));
    tables.extend(course::tables(book));
    tables.push(
        Columns::new()
            .text("remark", |remark: &String| Some(remark.clone()))
            .table("remarks.csv", book.remarks.iter()),
    );
    tables
}

/// What the others are of.
fn about(book: &Book<'_>) -> Table {
    Columns::new()
        .text("aircraft", |b: &Book<'_>| Some(&b.aircraft.name))
        .text("logbook", |b| Some(b.logbook.clone()))
        .time("written", |b| Some(b.written))
        .table("about.csv", std::iter::once(book))
}

/// A text as it was before it was written as a cell; what a reader of these files has to do.
pub fn text_of(cell: &str) -> &str {
    cell.strip_prefix('\'').unwrap_or(cell)
}
