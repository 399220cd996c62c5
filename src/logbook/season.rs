//! The results as a season's readings, for one logbook and for many by the same rules: what is left out and why is counted,
//! what cannot be read is named, and the rest is used. Works out no number.

use std::collections::{BTreeMap, HashMap};
use std::fs::File;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use polars::prelude::*;
use rayon::prelude::*;

use super::damage::caught;
use super::readings::{self, Taken};
use super::results::in_a_builder_s_words;
use super::schema::{SCHEMA, SCHEMA_KEY};
use super::{Logbook, Note, Sorted, notes, results, whole};
use crate::aircraft::{Aircraft, Limits};
use crate::history::season::{Event, Reading};
use crate::problem::Problem;
use crate::supply::Copper;

/// A file of so few rows is read when it is opened, side by side with others; a scan of all of them at once, which is made
/// for files of many, spends more on each than reading it takes.
const FEW_ROWS: usize = 1000;

/// A logbook's readings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Story {
    pub readings: Vec<Reading>,
    pub left_out: LeftOut,
    /// Batches in which a hinge was worked in: what comes after them stands against a new baseline.
    pub worked_in: Vec<Event>,
    /// Surfaces that have results and are not in the aircraft file, with their number. Their readings are among the others.
    pub gone_surfaces: BTreeMap<String, usize>,
    /// Results that could not be used.
    pub problems: Vec<Problem>,
}

/// Recordings that a season cannot use, by their IDs.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct LeftOut {
    pub unfinished: Vec<String>,
    /// Made while the hinge was worked in: it was meant to change.
    pub worked_in: Vec<String>,
    /// Unproven, and without any value.
    pub without_value: Vec<String>,
    /// They do not say when they began.
    pub without_time: Vec<String>,
    /// They began later than now.
    pub in_the_future: Vec<String>,
    /// Of other aircraft, by the aircraft's name.
    pub other_aircraft: BTreeMap<String, Vec<String>>,
    /// The same bytes as another one, whose ID follows: that one counts.
    pub copies: Vec<(String, String)>,
}

/// The results of one aircraft in one folder: a logbook's, or those of a folder that has results and no aircraft file.
#[derive(Debug, Clone)]
pub struct Source {
    pub(super) root: PathBuf,
    pub(super) name: String,
    /// What the folder's aircraft file says.
    pub(super) aircraft: Option<Aircraft>,
    pub(super) paths: Vec<PathBuf>,
    /// What the recordings' own heads and bytes say; `None` in a folder of logbooks where all have results, for `recheck` has
    /// seen to it.
    pub(super) sorted: Option<Sorted>,
    /// When recordings truly began, as noted.
    pub(super) began: HashMap<String, Timestamp>,
}

/// What opening a file came to.
enum Opened {
    Taken(Vec<Taken>),
    OfManyRows,
}

impl Logbook {
    /// The readings of all results that can be used; `now` tells those of the future.
    ///
    /// # Errors
    /// A folder cannot be read.
    pub fn story(&self, now: Timestamp) -> Result<Story, Problem> {
        self.source()?.story(now)
    }

    /// This logbook's results, with recordings of other aircraft and copies known.
    ///
    /// # Errors
    /// A folder cannot be read.
    pub fn source(&self) -> Result<Source, Problem> {
        Ok(Source {
            sorted: Some(self.sorted()?),
            ..self.source_of_results()?
        })
    }

    /// This logbook's results, with no recording looked at.
    pub(super) fn source_of_results(&self) -> Result<Source, Problem> {
        Ok(Source {
            sorted: None,
            began: notes::began(self.root())?,
            root: self.root().to_owned(),
            name: self.aircraft().name.clone(),
            aircraft: Some(self.aircraft().clone()),
            paths: self.result_paths()?,
        })
    }
}

impl Source {
    /// The whole path of the folder.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The aircraft's name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// `None` without an aircraft file.
    pub fn limits(&self) -> Option<&Limits> {
        self.aircraft.as_ref().map(|a| &a.limits)
    }

    /// The most that a servo's lead may have, mΩ, by what the aircraft file says that it is made of.
    pub(super) fn lead_at_most_mohm(&self, tag: &str) -> Option<f64> {
        let servos = &self.aircraft.as_ref()?.servos;
        let servo = servos.iter().find(|s| s.tag == tag)?;
        Copper::of(&servo.lead, None).map(|copper| copper.upper_mohm())
    }

    /// All notes, in the order of time, and what could not be read of them.
    ///
    /// # Errors
    /// The file is there and cannot be read at all.
    pub fn notes(&self) -> Result<(Vec<Note>, Vec<Problem>), Problem> {
        notes::read(&self.root, self.aircraft.as_ref())
    }

    /// Surfaces of the aircraft file that a story has no reading of.
    pub fn never_followed(&self, story: &Story) -> Vec<&str> {
        let surfaces = self.aircraft.iter().flat_map(|a| &a.surfaces);
        let names = surfaces.map(|s| s.name.as_str());
        names
            .filter(|name| story.readings.iter().all(|r| *r.surface != **name))
            .collect()
    }

    /// The present name of a surface, which may have had another one; `None` where the aircraft file has none such. Any may
    /// be, where there is no such file.
    pub(super) fn present_name<'a>(&'a self, surface: &'a str) -> Option<&'a str> {
        let Some(aircraft) = &self.aircraft else {
            return Some(surface);
        };
        let found = aircraft.surface(surface);
        let found = found.or_else(|| aircraft.surface_called(surface));
        found.map(|(_, surface)| surface.name.as_str())
    }

    /// Whether this aircraft has recordings, as far as they were looked at.
    pub fn has_recordings(&self) -> bool {
        self.sorted.iter().any(|s| !s.own.is_empty())
    }

    /// Whether results under this name are of this aircraft.
    pub(super) fn is_of(&self, aircraft: &str) -> bool {
        let file = self.aircraft.as_ref();
        aircraft == self.name || file.is_some_and(|own| own.is_called(aircraft))
    }

    /// The readings of all results that can be used; `now` tells those of the future.
    ///
    /// # Errors
    /// The results cannot be read at all.
    pub fn story(&self, now: Timestamp) -> Result<Story, Problem> {
        let mut story = Story::default();
        story.left_out.add_sorted(self.sorted.as_ref());
        let mut of_many_rows = Vec::new();
        let opened: Vec<_> = self
            .paths
            .par_iter()
            .map(|path| self.open(path, now))
            .collect();
        for (path, opened) in self.paths.iter().zip(opened) {
            match opened {
                Ok(Opened::Taken(taken)) => story.add(taken),
                Ok(Opened::OfManyRows) => of_many_rows.push(path.clone()),
                Err(problem) => story.problems.push(self.hinted(problem)),
            }
        }
        let frames = match self.columns(&of_many_rows) {
            Ok(frame) => vec![frame],
            // One of them is damaged within: which, only one by one can tell.
            Err(_) => self.one_by_one(&of_many_rows, &mut story.problems),
        };
        for frame in &frames {
            let taken = readings::taken(frame, self, now);
            story.add(taken.map_err(|error| results::unreadable(&self.root, &error))?);
        }
        Ok(story)
    }

    /// Whether a file can be opened and says no other version than this program's. One that says none (put together by
    /// another program) is taken by its columns. What is in it, if that is little.
    fn open(&self, path: &Path, now: Timestamp) -> Result<Opened, Problem> {
        let file = File::open(path).map_err(|error| whole::cannot_read(path, &error))?;
        let damaged = |error| damaged(path, &error);
        let mut reader = ParquetReader::new(file);
        let metadata = caught(|| reader.get_metadata().cloned()).map_err(damaged)?;
        let pairs = metadata.key_value_metadata().iter().flatten();
        let mut said = pairs.filter(|pair| pair.key == SCHEMA_KEY);
        if let Some(said) = said.next().and_then(|pair| pair.value.as_ref())
            && said != SCHEMA
        {
            return Err(Problem::new(format!(
                "{}: a result of another version ({said}; this program's is {SCHEMA})",
                path.display()
            )));
        }
        if metadata.num_rows == 0 {
            return Err(Problem::new(format!("{}: no row is in it", path.display())));
        }
        if metadata.num_rows > FEW_ROWS {
            return Ok(Opened::OfManyRows);
        }
        caught(|| readings::read(reader, metadata.num_rows, path))
            .and_then(|frame| readings::taken(&frame, self, now))
            .map(Opened::Taken)
            .map_err(damaged)
    }

    fn hinted(&self, problem: Problem) -> Problem {
        let root = self.root.display();
        problem.hint(format!(
            "make it again from its recording: hingewright recheck --logbook {root}; the other results are used"
        ))
    }

    fn columns(&self, paths: &[PathBuf]) -> PolarsResult<DataFrame> {
        let names = cols(readings::columns());
        let scan = results::scan(&self.root, paths)?;
        caught(|| scan.select([names.as_expr()]).collect())
    }

    fn one_by_one(&self, paths: &[PathBuf], problems: &mut Vec<Problem>) -> Vec<DataFrame> {
        let read = |path: &PathBuf| self.columns(std::slice::from_ref(path));
        let all: Vec<_> = paths.par_iter().map(read).collect();
        let mut frames = Vec::new();
        for (path, frame) in paths.iter().zip(all) {
            match frame {
                Ok(frame) => frames.push(frame),
                Err(error) => problems.push(self.hinted(damaged(path, &error))),
            }
        }
        frames
    }
}

impl Story {
    fn add(&mut self, taken: Vec<Taken>) {
        let rows = taken.iter().map(|t| t.readings.len()).sum();
        self.readings.reserve(rows);
        for one in taken {
            self.readings.extend(one.readings);
            self.left_out.add(one.left_out);
            self.worked_in.extend(one.worked_in);
            for (surface, count) in one.gone_surfaces {
                *self.gone_surfaces.entry(surface).or_default() += count;
            }
        }
    }
}

impl LeftOut {
    fn add(&mut self, more: LeftOut) {
        self.unfinished.extend(more.unfinished);
        self.worked_in.extend(more.worked_in);
        self.without_value.extend(more.without_value);
        self.without_time.extend(more.without_time);
        self.in_the_future.extend(more.in_the_future);
        for (aircraft, ids) in more.other_aircraft {
            self.other_aircraft.entry(aircraft).or_default().extend(ids);
        }
        self.copies.extend(more.copies);
    }

    fn add_sorted(&mut self, sorted: Option<&Sorted>) {
        for foreign in sorted.iter().flat_map(|s| &s.foreign) {
            let of = self.other_aircraft.entry(foreign.aircraft.clone());
            of.or_default().push(foreign.id());
        }
        let copies = sorted.iter().flat_map(|s| &s.copies);
        self.copies.extend(copies.map(|c| (c.id(), c.of_id())));
    }
}

fn damaged(path: &Path, error: &PolarsError) -> Problem {
    Problem::new(format!(
        "{}: damaged, or no result: {}",
        path.display(),
        in_a_builder_s_words(error)
    ))
}

#[cfg(test)]
#[path = "season_tests.rs"]
mod tests;
