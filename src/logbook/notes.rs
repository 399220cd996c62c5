//! `notes.csv`: what was done to a surface or a servo, and when. RFC 4180, one line each, only ever added to.
//! A line that cannot be read is named and the others are used. Nothing is judged here.

use std::collections::HashMap;
use std::fs::{self, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

use super::{Logbook, whole};
use crate::aircraft::Aircraft;
use crate::csv;
use crate::history::season::{Event, Work};
use crate::problem::Problem;

/// The notes' file in every logbook.
pub const NOTES: &str = "notes.csv";
const HEADER: &str = "at,subject,kind,text";

/// What a note is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoteKind {
    ServoReplaced,
    HingeWork,
    RodWork,
    /// Of a recording, by its ID: when it truly began, where the clock that it was made by was wrong.
    Began,
    /// A remark: no new baseline.
    Other,
}

impl NoteKind {
    pub const ALL: [Self; 5] = [
        Self::ServoReplaced,
        Self::HingeWork,
        Self::RodWork,
        Self::Began,
        Self::Other,
    ];

    /// As it stands in the file.
    pub fn word(self) -> &'static str {
        match self {
            Self::ServoReplaced => "servo-replaced",
            Self::HingeWork => "hinge-work",
            Self::RodWork => "rod-work",
            Self::Began => "began",
            Self::Other => "other",
        }
    }

    /// What was worked on; `None` of a remark.
    pub fn work(self) -> Option<Work> {
        match self {
            Self::ServoReplaced => Some(Work::Servo),
            Self::HingeWork => Some(Work::Hinge),
            Self::RodWork => Some(Work::Rod),
            Self::Began | Self::Other => None,
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// A line of the notes.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    pub at: Timestamp,
    /// A surface's name (its present one), a servo's tag, or a recording's ID.
    pub subject: String,
    pub kind: NoteKind,
    pub text: String,
}

impl Note {
    /// What begins a new baseline; `None` of a remark.
    pub fn event(&self) -> Option<Event> {
        Some(Event {
            at: self.at,
            subject: self.subject.clone(),
            what: format!("{}: {}", self.kind.word(), self.text),
            work: self.kind.work()?,
        })
    }

    fn line(&self) -> String {
        let fields = [
            self.at.to_string(),
            self.subject.clone(),
            self.kind.word().to_owned(),
            self.text.clone(),
        ];
        // Line ends become spaces, so that a line of the file is a note.
        let fields = fields.map(|f| f.replace(|c: char| c.is_control(), " "));
        csv::record(&fields) + "\n"
    }
}

impl Logbook {
    /// Adds a note at the end, in one write: two programs at once never tear each other's lines. The whole path of the file.
    ///
    /// # Errors
    /// It cannot be written to.
    pub fn add_note(&self, note: &Note) -> Result<PathBuf, Problem> {
        let path = self.root().join(NOTES);
        let before = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == ErrorKind::NotFound => Vec::new(),
            Err(error) => return Err(whole::cannot_read(&path, &error)),
        };
        let start = match before.last() {
            None => format!("{HEADER}\n"),
            Some(b'\n') => String::new(),
            // A line that was cut off keeps its place, and damages no other.
            Some(_) => "\n".into(),
        };
        let write = || {
            let mut file = OpenOptions::new().append(true).create(true).open(&path)?;
            file.write_all((start + &note.line()).as_bytes())?;
            file.sync_all()
        };
        write().map_err(|error| whole::cannot_write(&path, &error))?;
        Ok(path)
    }

    /// All notes, in the order of time, and what could not be read of them.
    ///
    /// # Errors
    /// The file is there and cannot be read at all.
    pub fn notes(&self) -> Result<(Vec<Note>, Vec<Problem>), Problem> {
        read(self.root(), Some(self.aircraft()))
    }

    /// When a recording truly began, where that is noted: the last word counts.
    pub(super) fn began(&self, id: &str) -> Option<Timestamp> {
        began(self.root()).ok()?.remove(id)
    }
}

/// When recordings truly began, by their IDs, as noted in this folder: the last word counts.
///
/// # Errors
/// The file is there and cannot be read at all.
pub(super) fn began(root: &Path) -> Result<HashMap<String, Timestamp>, Problem> {
    let notes = in_file(root)?.0.into_iter();
    let began = notes.filter(|note| note.kind == NoteKind::Began);
    Ok(began.map(|note| (note.subject, note.at)).collect())
}

/// [`Logbook::notes`] of the logbook in this folder; a surface's former name becomes its present one.
pub(super) fn read(
    root: &Path,
    aircraft: Option<&Aircraft>,
) -> Result<(Vec<Note>, Vec<Problem>), Problem> {
    let (mut notes, problems) = in_file(root)?;
    for note in &mut notes {
        let surface = aircraft.and_then(|a| a.surface_called(&note.subject));
        if let Some((_, surface)) = surface.filter(|_| note.kind != NoteKind::Began) {
            note.subject.clone_from(&surface.name);
        }
    }
    notes.sort_by_key(|note| note.at);
    Ok((notes, problems))
}

/// All notes in the order of the file.
fn in_file(root: &Path) -> Result<(Vec<Note>, Vec<Problem>), Problem> {
    let path = root.join(NOTES);
    let bytes = match fs::read(&path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Default::default()),
        Err(error) => return Err(whole::cannot_read(&path, &error)),
    };
    let (mut notes, mut problems) = (Vec::new(), Vec::new());
    for (number, line) in bytes.split(|b| *b == b'\n').enumerate() {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
        if line.trim_ascii().is_empty() || line == HEADER.as_bytes() {
            continue;
        }
        match parse(line) {
            Ok(note) => notes.push(note),
            Err(why) => problems.push(
                Problem::new(format!("{}, line {}: {why}", path.display(), number + 1))
                    .excerpt(format!(
                        "  {}",
                        String::from_utf8_lossy(line).escape_debug()
                    ))
                    .hint(format!(
                        "put it right, as {HEADER}; the other notes are used"
                    )),
            ),
        }
    }
    Ok((notes, problems))
}

fn parse(line: &[u8]) -> Result<Note, String> {
    let records = csv::records(line).and_then(|all| all.into_iter().next());
    let fields = records.ok_or("a note has four fields")?;
    let [at, subject, kind, text] = &fields[..] else {
        return Err(format!("{} fields instead of four", fields.len()));
    };
    Ok(Note {
        at: time(at)?,
        subject: subject.trim().to_owned(),
        kind: NoteKind::from_word(kind.trim())
            .ok_or(format!("\"{}\" is no kind of note", kind.escape_debug()))?,
        text: text.clone(),
    })
}

/// A time with its zone, or a date: that counts from its beginning, UTC. A time without a zone is none.
///
/// # Errors
/// What is wrong with it, for people.
pub fn time(text: &str) -> Result<Timestamp, String> {
    let text = text.trim();
    if let Ok(at) = text.parse() {
        return Ok(at);
    }
    // A day's text ends with the day: jiff would pass over a time of day that follows.
    let (day, rest) = text.split_at_checked(DAY_LENGTH).unwrap_or((text, ""));
    if !is_day(day) {
        return Err(
            "a date as 2026-05-02 is wanted here, or a time as 2026-05-02T10:00:00Z".into(),
        );
    }
    let day: Date = day
        .parse()
        .map_err(|_| format!("there is no such day: {day}"))?;
    match rest {
        "" => TimeZone::UTC
            .to_timestamp(day.at(0, 0, 0, 0))
            .map_err(|_| format!("no such day can be reckoned with: {day}")),
        _ => match text.parse::<DateTime>() {
            Ok(at) => Err(format!("say the zone as well: {at}Z, or +01:00")),
            Err(_) => Err(format!(
                "\"{}\" is no time: write it as {day}T10:00:00Z",
                text.escape_debug()
            )),
        },
    }
}

/// `2026-05-02`, bytes.
const DAY_LENGTH: usize = 10;

/// Figures where a day's are, whether there is such a day or not.
fn is_day(text: &str) -> bool {
    let bytes = text.as_bytes();
    let fits = |(i, b): (usize, &u8)| match i {
        4 | 7 => *b == b'-',
        _ => b.is_ascii_digit(),
    };
    bytes.len() == DAY_LENGTH && bytes.iter().enumerate().all(fits)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(text: &str) -> Note {
        Note {
            at: "2026-05-02T10:00:00Z".parse().unwrap(),
            subject: "left elevator, \"old\"".into(),
            kind: NoteKind::HingeWork,
            text: text.into(),
        }
    }

    fn book() -> (tempfile::TempDir, Logbook) {
        let folder = tempfile::tempdir().unwrap();
        let sample = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
        let logbook = Logbook::create(folder.path().join("book"), sample).unwrap();
        (folder, logbook)
    }

    #[test]
    fn a_note_comes_back_as_it_was_whatever_is_in_it() {
        let (_folder, logbook) = book();
        assert_eq!(logbook.notes().unwrap(), (vec![], vec![]));
        for text in [
            "plain",
            "with, comma",
            "a \"quoted\" word",
            " spaced ",
            "naïve 舵",
        ] {
            logbook.add_note(&note(text)).unwrap();
        }
        logbook.add_note(&note("two\nlines")).unwrap();
        let (notes, problems) = logbook.notes().unwrap();
        assert_eq!(problems, []);
        let texts: Vec<&str> = notes.iter().map(|n| n.text.as_str()).collect();
        assert_eq!(texts[..3], ["plain", "with, comma", "a \"quoted\" word"]);
        assert_eq!(texts[3..], [" spaced ", "naïve 舵", "two lines"]);
        assert_eq!(notes[0], note("plain"));
    }

    #[test]
    fn a_damaged_line_is_named_and_the_others_are_used() {
        let (_folder, logbook) = book();
        let path = logbook.add_note(&note("first")).unwrap();
        let mut bytes = fs::read(&path).unwrap();
        bytes.extend(b"2026-05-03,rudder,rod-work,by hand\nyesterday,rudder,other,x\n\xff,a,b,c\n2026-05-04T1");
        fs::write(&path, bytes).unwrap();
        logbook.add_note(&note("last")).unwrap();
        let (notes, problems) = logbook.notes().unwrap();
        let texts: Vec<&str> = notes.iter().map(|n| n.text.as_str()).collect();
        assert_eq!(texts, ["first", "last", "by hand"]);
        let named = |line: &str| problems.iter().any(|p| p.what.contains(line));
        assert!(
            named("line 4:") && named("line 5:") && named("line 6:"),
            "{problems:?}"
        );
        assert_eq!(problems.len(), 3);
    }

    #[test]
    fn a_time_without_its_zone_and_a_day_that_is_none_are_refused_and_never_cut_to_midnight() {
        let refused = |text: &str| time(text).unwrap_err();
        for text in [
            "2026-11-26T10:00",
            "2026-11-26 10:00",
            "2026-11-26 10:00:00",
        ] {
            let said = refused(text);
            assert_eq!(
                said,
                "say the zone as well: 2026-11-26T10:00:00Z, or +01:00"
            );
        }
        for text in ["2026-02-30", "2026-13-01", "2026-02-30T10:00:00Z"] {
            assert!(refused(text).contains("there is no such day"), "{text}");
        }
        for text in ["2026-11-26T25:00", "2026-11-26T10", "2026-11-26x"] {
            assert!(refused(text).contains("2026-11-26T10:00:00Z"), "{text}");
        }
        for text in ["", "yesterday", "26.11.2026", "2026-11-2é"] {
            assert!(refused(text).contains("is wanted here"), "{text}");
        }
        let day: Timestamp = "2026-11-26T00:00:00Z".parse().unwrap();
        assert_eq!(time("2026-11-26"), Ok(day));
        let hour = time("2026-11-26T11:00:00+01:00").unwrap();
        assert_eq!(hour.to_string(), "2026-11-26T10:00:00Z");
    }

    #[test]
    fn notes_written_at_once_are_all_there() {
        let (_folder, logbook) = book();
        std::thread::scope(|scope| {
            for i in 0..8 {
                let logbook = &logbook;
                scope.spawn(move || logbook.add_note(&note(&format!("{i}"))).unwrap());
            }
        });
        let (notes, problems) = logbook.notes().unwrap();
        assert_eq!((notes.len(), problems.len()), (8, 0));
    }
}
