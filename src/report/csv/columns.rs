//! A table's columns: what each is called and how its cell is got from a row's thing. So no header strays from its cells.

use jiff::Timestamp;

use super::Table;
use crate::analysis::Quantity;
use crate::csv::record;

type Cell<'c, T> = Box<dyn Fn(&T) -> String + 'c>;

/// Columns over rows of `T`.
pub struct Columns<'c, T> {
    columns: Vec<(String, Cell<'c, T>)>,
}

impl<'c, T> Columns<'c, T> {
    pub fn new() -> Self {
        Self {
            columns: Vec::new(),
        }
    }

    fn with(mut self, name: impl Into<String>, cell: impl Fn(&T) -> String + 'c) -> Self {
        self.columns.push((name.into(), Box::new(cell)));
        self
    }

    /// Names and sentences: never a formula.
    pub fn text<S: AsRef<str>>(self, name: &str, of: impl Fn(&T) -> Option<S> + 'c) -> Self {
        self.with(name, move |row| {
            of(row).map_or(String::new(), |text| guarded(text.as_ref()))
        })
    }

    pub fn number(self, name: &str, of: impl Fn(&T) -> Option<f64> + 'c) -> Self {
        self.with(name, move |row| of(row).map_or(String::new(), number))
    }

    pub fn count(self, name: &str, of: impl Fn(&T) -> Option<u64> + 'c) -> Self {
        self.with(name, move |row| {
            of(row).map_or(String::new(), |n| n.to_string())
        })
    }

    pub fn flag(self, name: &str, of: impl Fn(&T) -> Option<bool> + 'c) -> Self {
        self.with(name, move |row| {
            of(row).map_or(String::new(), |yes| yes.to_string())
        })
    }

    pub fn time(self, name: &str, of: impl Fn(&T) -> Option<Timestamp> + 'c) -> Self {
        self.with(name, move |row| {
            of(row).map_or(String::new(), |at| at.to_string())
        })
    }

    /// Four columns: the value, its standard uncertainty, the ends of its 95 % interval.
    pub fn quantity(self, name: &str, of: impl Fn(&T) -> Option<Quantity> + Clone + 'c) -> Self {
        self.quantity_as(
            [
                name.to_owned(),
                format!("{name}_u"),
                format!("{name}_lo95"),
                format!("{name}_hi95"),
            ],
            of,
        )
    }

    /// [`Columns::quantity`] where the value's column is called `value`.
    pub fn value(self, of: impl Fn(&T) -> Option<Quantity> + Clone + 'c) -> Self {
        self.quantity_as(["value", "u", "lo95", "hi95"].map(str::to_owned), of)
    }

    fn quantity_as(
        self,
        [value, u, lo95, hi95]: [String; 4],
        of: impl Fn(&T) -> Option<Quantity> + Clone + 'c,
    ) -> Self {
        let [first, second, third] = [of.clone(), of.clone(), of.clone()];
        let interval = |q: Option<Quantity>| q.filter(|q| q.value.is_finite())?.interval;
        self.with(value, move |row| {
            first(row).map_or(String::new(), |q| number(q.value))
        })
        .with(u, move |row| {
            interval(second(row)).map_or(String::new(), |i| number(i.u))
        })
        .with(lo95, move |row| {
            interval(third(row)).map_or(String::new(), |i| number(i.lo95))
        })
        .with(hi95, move |row| {
            interval(of(row)).map_or(String::new(), |i| number(i.hi95))
        })
    }

    /// Header and rows.
    pub fn table<'r>(self, file_name: &str, rows: impl Iterator<Item = &'r T>) -> Table
    where
        T: 'r,
    {
        let names: Vec<&str> = self.columns.iter().map(|(name, _)| name.as_str()).collect();
        let mut out = record(&names) + LINE_END;
        for row in rows {
            let cells: Vec<String> = self.columns.iter().map(|(_, cell)| cell(row)).collect();
            out += &record(&cells);
            out += LINE_END;
        }
        (file_name.to_owned(), out.into_bytes())
    }
}

/// RFC 4180, section 2.
const LINE_END: &str = "\r\n";

/// The shortest that reads back as the same number; empty for what is none.
fn number(value: f64) -> String {
    match value.is_finite() {
        true => format!("{value:?}"),
        false => String::new(),
    }
}

/// What a spreadsheet takes for the beginning of a formula, the wide forms of East Asian keyboards among them.
const BEGINS_A_FORMULA: [char; 8] = ['=', '+', '-', '@', '＝', '＋', '－', '＠'];

fn guarded(text: &str) -> String {
    // Blanks before it are passed over by some, a tab or a line's end by others.
    let seen = text.trim_start_matches(|c: char| c.is_whitespace() || c.is_control());
    let odd = text.starts_with('\'') || text.starts_with(['\t', '\r', '\n']);
    match odd || seen.starts_with(BEGINS_A_FORMULA) {
        true => format!("'{text}"),
        false => text.to_owned(),
    }
}
