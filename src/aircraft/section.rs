//! One table of a document, read key by key: the right type, within its bounds, nothing unknown, nothing missing.
//! A reader returns `None` where the key is not there or is faulty; a fault is noted in the document.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::bound::Bound;
use super::document::{Document, nearest};
use super::keys::{Key, Kind};

/// A table being read.
pub(super) struct Section<'d> {
    doc: &'d Document<'d>,
    kind: &'static Kind,
    table: &'d DeTable<'d>,
    span: Range<usize>,
    /// The table as messages call it: `[[surface]] "left elevator"`.
    pub label: String,
}

impl<'d> Section<'d> {
    /// Opens a table and notes every key it should not have.
    pub fn open(
        doc: &'d Document<'d>,
        kind: &'static Kind,
        table: &'d DeTable<'d>,
        span: Range<usize>,
        label: String,
    ) -> Self {
        let section = Self {
            doc,
            kind,
            table,
            span,
            label,
        };
        for (key, _) in table.iter() {
            if kind.key(key.get_ref()).is_none() {
                section.unknown_key(key.get_ref(), key.span());
            }
        }
        section
    }

    fn unknown_key(&self, written: &str, span: Range<usize>) {
        let home = self.doc.kinds.iter().find(|k| k.key(written).is_some());
        let hint = if let Some(home) = home {
            format!(
                "{written} belongs in {}: move it there (a line belongs to the last [table] line above it)",
                home.title
            )
        } else if let Some(meant) = self.nearest_key(written) {
            format!("did you mean \"{meant}\"?")
        } else {
            let names: Vec<&str> = self.kind.keys.iter().map(|k| k.name).collect();
            format!(
                "remove it; {} may have: {}",
                self.kind.title,
                names.join(", ")
            )
        };
        self.doc.fault(
            span,
            &format!("unknown key \"{}\" in {}", shortened(written), self.label),
            &hint,
        );
    }

    fn nearest_key(&self, written: &str) -> Option<&'static str> {
        nearest(written, self.kind.keys.iter().map(|k| k.name))
    }

    fn key(&self, name: &str) -> &'static Key {
        const NOT_LISTED: &Key = &Key {
            name: "",
            example: "…",
            means: "see the list of keys",
        };
        self.kind.key(name).unwrap_or(NOT_LISTED)
    }

    pub fn has(&self, name: &str) -> bool {
        self.table.contains_key(name)
    }

    /// The key's value and its place; `None` if it is not there.
    pub fn value(&self, name: &str) -> Option<&'d Spanned<DeValue<'d>>> {
        self.table.get(name)
    }

    /// Where the key stands; the table's own line if it is not there.
    pub fn key_span(&self, name: &str) -> Range<usize> {
        self.table
            .get_key_value(name)
            .map_or(self.span.clone(), |(key, _)| key.span())
    }

    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// Notes a fault under the key.
    pub fn fault(&self, name: &str, what: &str, hint: &str) {
        self.doc.fault(
            self.key_span(name),
            &format!("{}: {what}", self.label),
            hint,
        );
    }

    /// Notes that a key is missing, at the table's line, unless a key is there that was probably meant to be it.
    pub fn require(&self, name: &'static str) -> bool {
        if self.has(name) {
            return true;
        }
        if !self.has_misspelt(|meant| meant == name) {
            let key = self.key(name);
            let hint = if key.example.starts_with("[[…") {
                format!("add {name} below this line: {}", key.means)
            } else {
                format!(
                    "add it below this line, for example {name} = {}: {}",
                    key.example, key.means
                )
            };
            self.doc.fault(
                self.span.clone(),
                &format!("missing key \"{name}\" in {}", self.label),
                &hint,
            );
        }
        false
    }

    /// Whether an unknown key is there that was probably meant to be such a one.
    pub fn has_misspelt(&self, such: impl Fn(&str) -> bool) -> bool {
        self.table.keys().any(|k| {
            self.kind.key(k.get_ref()).is_none() && self.nearest_key(k.get_ref()).is_some_and(&such)
        })
    }

    /// As [`Section::require`], for a table of the whole file: the remedy is its header.
    pub fn need_header(&self, name: &'static str) -> bool {
        if self.has(name) {
            return true;
        }
        if !self.has_misspelt(|meant| meant == name) {
            let key = self.key(name);
            self.doc.fault(
                self.span.clone(),
                &format!("there is no {} in the file", key.example),
                &format!(
                    "add a line {} and its keys below it: {}",
                    key.example, key.means
                ),
            );
        }
        false
    }

    pub fn need_number(&self, name: &'static str, bound: Bound) -> Option<f64> {
        self.require(name)
            .then(|| self.number(name, bound))
            .flatten()
    }

    pub fn number(&self, name: &'static str, bound: Bound) -> Option<f64> {
        let value = self.value(name)?;
        let Some(number) = as_number(value.get_ref()) else {
            let key = self.key(name);
            let unquoted = value
                .get_ref()
                .as_str()
                .and_then(|s| s.trim().replace(',', ".").parse::<f64>().ok())
                .filter(|n| n.is_finite());
            let example = unquoted.map_or(key.example.to_owned(), |n| n.to_string());
            self.fault(
                name,
                &format!("{name} is {}, not a number", type_words(value.get_ref())),
                &format!("write for example {name} = {example}, a plain number without quotes or unit: {}", key.means),
            );
            return None;
        };
        if bound.holds(number) {
            return Some(number);
        }
        let key = self.key(name);
        self.fault(
            name,
            &format!("{name} cannot be {number}"),
            &format!(
                "{name} must be {}, for example {}: {}",
                bound.words(),
                key.example,
                key.means
            ),
        );
        None
    }

    pub fn need_text(&self, name: &'static str) -> Option<&'d str> {
        self.require(name).then(|| self.text(name)).flatten()
    }

    /// Text that is not empty.
    pub fn text(&self, name: &'static str) -> Option<&'d str> {
        let value = self.value(name)?;
        let key = self.key(name);
        match value.get_ref().as_str() {
            Some(text) if !text.trim().is_empty() => Some(text),
            Some(_) => {
                self.fault(
                    name,
                    &format!("{name} is empty"),
                    &format!("write for example {name} = {}: {}", key.example, key.means),
                );
                None
            }
            None => {
                self.fault(
                    name,
                    &format!("{name} is {}, not text", type_words(value.get_ref())),
                    &format!(
                        "write text in double quotes, for example {name} = {}: {}",
                        key.example, key.means
                    ),
                );
                None
            }
        }
    }

    pub fn date(&self, name: &'static str) -> Option<jiff::civil::Date> {
        let value = self.value(name)?;
        let date = value
            .get_ref()
            .as_datetime()
            .filter(|d| d.time.is_none() && d.offset.is_none())
            .and_then(|d| d.date)
            .and_then(|d| {
                let year = i16::try_from(d.year).ok()?;
                let (month, day) = (i8::try_from(d.month).ok()?, i8::try_from(d.day).ok()?);
                jiff::civil::Date::new(year, month, day).ok()
            });
        if date.is_none() {
            let key = self.key(name);
            self.fault(
                name,
                &format!("{name} is not a date"),
                &format!(
                    "write year-month-day without quotes or time of day, for example {name} = {}: {}",
                    key.example, key.means
                ),
            );
        }
        date
    }

    /// The array under a key.
    pub fn array(&self, name: &'static str) -> Option<&'d [Spanned<DeValue<'d>>]> {
        let value = self.value(name)?;
        let array = value.get_ref().as_array();
        if array.is_none() {
            let key = self.key(name);
            self.fault(
                name,
                &format!("{name} is {}, not a list", type_words(value.get_ref())),
                &format!("write {name} = {}: {}", key.example, key.means),
            );
        }
        array.map(|a| &a[..])
    }

    /// The table under a key, written `[header]`.
    pub fn table(
        &self,
        name: &'static str,
        kind: &'static Kind,
        label: String,
    ) -> Option<Section<'d>> {
        let value = self.value(name)?;
        match value.get_ref() {
            DeValue::Table(table) => {
                Some(Section::open(self.doc, kind, table, value.span(), label))
            }
            other => {
                self.fault(
                    name,
                    &format!("{name} is {}, not one table", type_words(other)),
                    &format!(
                        "write {} once, in single brackets, and its keys below it",
                        kind.title
                    ),
                );
                None
            }
        }
    }

    /// The tables under a key, written `[[header]]` each. None of them is a fault.
    pub fn tables(&self, name: &'static str, kind: &'static Kind) -> Vec<Section<'d>> {
        let Some(value) = self.value(name) else {
            return Vec::new();
        };
        let wrong = |span: Range<usize>, found: &DeValue| {
            self.doc.fault(
                span,
                &format!("{name} is {}, not a list of tables", type_words(found)),
                &format!(
                    "write {} in double brackets above each one's keys",
                    kind.title
                ),
            );
        };
        let DeValue::Array(array) = value.get_ref() else {
            wrong(self.key_span(name), value.get_ref());
            return Vec::new();
        };
        if array.is_empty() {
            wrong(self.key_span(name), value.get_ref());
        }
        let mut sections = Vec::with_capacity(array.len());
        for item in array.iter() {
            match item.get_ref() {
                DeValue::Table(table) => {
                    let called = ["name", "tag"]
                        .into_iter()
                        .find_map(|k| table.get(k)?.get_ref().as_str());
                    let label = match called {
                        Some(called) => format!("{} \"{}\"", kind.title, shortened(called)),
                        None => kind.title.to_owned(),
                    };
                    sections.push(Section::open(self.doc, kind, table, item.span(), label));
                }
                other => wrong(item.span(), other),
            }
        }
        sections
    }
}

/// An integer or a float of the file as a number; `None` for anything else.
pub(super) fn as_number(value: &DeValue) -> Option<f64> {
    match value {
        // Beyond i128 the digits still name a number, if a silly one: the bounds then judge it.
        DeValue::Integer(integer) => i128::from_str_radix(integer.as_str(), integer.radix())
            .map(|i| i as f64)
            .or_else(|_| integer.as_str().parse::<f64>())
            .ok(),
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

pub(super) fn type_words(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// A name from the file, short enough for a message.
pub(super) fn shortened(name: &str) -> String {
    const LONGEST: usize = 60;
    let clean = |c: char| if c.is_control() { ' ' } else { c };
    if name.chars().count() <= LONGEST {
        name.chars().map(clean).collect()
    } else {
        name.chars().take(LONGEST).map(clean).chain(['…']).collect()
    }
}
