//! The logbook: a folder that holds an aircraft, its recordings and their results, and needs no program to be read.
//! The only user of polars; nothing here measures, judges, prints or reads a clock to decide a result.
//!
//! ```text
//! DIR/aircraft.toml                 with the calibrations that it names beside it
//! DIR/recordings/ID.log             as they came down the wire, never rewritten (or ID.csv)
//! DIR/results/aircraft=NAME/surface=NAME/ID.parquet      one row each, always made again from the recordings
//! DIR/notes.csv                     what was done and when, only ever added to
//! ```
//!
//! Every file is whole or not there: it is written beside its place and renamed into it, so that two programs at once
//! and a reader between them never see a half one.
//!
//! # The columns of a result
#![doc = include_str!("schema.md")]

mod book;
mod club;
mod create;
mod damage;
mod disk;
mod frame;
mod missing;
mod name;
mod notes;
mod past;
mod readings;
mod recheck;
mod remarks;
mod repeats;
mod results;
mod row;
mod schema;
mod season;
mod shelf;
mod sorting;
mod supply;
#[cfg(test)]
mod tests;
mod whole;

pub use crate::recording::purpose::{RECHECK, WORKED_IN};
pub use club::sources;
pub use disk::{free_bytes, try_writing};
pub use missing::Missing;
pub use notes::{NOTES, Note, NoteKind, time as note_time};
pub use past::{CYCLES, CYCLES_BEFORE, Past, STAGE_DEG};
pub use recheck::Rechecked;
pub use repeats::{BY, Repeat};
pub use row::{Cell, Row};
pub use schema::SCHEMA;
pub use season::{LeftOut, Source, Story};
pub use sorting::{AIRCRAFT_KEY, Copied, Foreign, Sorted};
pub use whole::write_whole;

use std::fs::{self, File};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use crate::aircraft::{self, Aircraft};
use crate::analysis::angle::calibrated;
use crate::assess::{Assessed, assess, choices, surface_of};
use crate::problem::Problem;
use crate::recording::{self, Recording};

/// The aircraft file's name in every logbook.
pub const AIRCRAFT_FILE: &str = "aircraft.toml";
/// The folder of the recordings.
pub const RECORDINGS: &str = "recordings";
/// The `#` key of the time when a recording began.
const STARTED: &str = "started";
/// The folder of the results.
pub const RESULTS: &str = "results";

/// A logbook that is there, its aircraft read.
#[derive(Debug, Clone)]
pub struct Logbook {
    root: PathBuf,
    aircraft: Aircraft,
}

impl Logbook {
    /// Opens the logbook in a folder.
    ///
    /// # Errors
    /// There is no such folder, it has no `aircraft.toml`, or that cannot be used.
    pub fn open(root: impl AsRef<Path>) -> Result<Self, Problem> {
        let root = absolute(root.as_ref())?;
        let shown = root.display();
        match fs::metadata(&root) {
            Ok(found) if found.is_dir() => {}
            Ok(_) => {
                return Err(Problem::new(format!(
                    "{shown}: a logbook is a folder, and this is a file"
                ))
                .hint("name the folder that has aircraft.toml in it"));
            }
            Err(error) if error.kind() == ErrorKind::NotFound => {
                return Err(Problem::new(format!("{shown}: there is no such folder")).hint(
                    "check the spelling; `sweep`, `bench`, `servo` and `calibrate` begin a new logbook with --aircraft FILE; or make the folder, and copy your aircraft file \
                     into it as aircraft.toml, with the calibrations that it names",
                ));
            }
            Err(error) => return Err(whole::cannot_read(&root, &error)),
        }
        let file = root.join(AIRCRAFT_FILE);
        if let Err(error) = fs::metadata(&file)
            && error.kind() == ErrorKind::NotFound
        {
            return Err(Problem::new(format!(
                "{shown}: no logbook yet, for it has no {AIRCRAFT_FILE}"
            ))
            .hint(format!(
                "begin it with `sweep … --aircraft FILE`, or copy your aircraft file to {}, with the calibrations that it names beside it",
                file.display()
            )));
        }
        let aircraft = aircraft::read_path(&file)?;
        Ok(Self { root, aircraft })
    }

    /// Opens the logbook in a folder, made first where it is not there: `aircraft_file` and the calibrations that it names
    /// are copied into it, byte for byte, and never over a file that differs.
    ///
    /// # Errors
    /// The aircraft file cannot be used, a calibration lies outside its folder, the logbook has another aircraft already,
    /// or its folder cannot be written to.
    pub fn create(
        root: impl AsRef<Path>,
        aircraft_file: impl AsRef<Path>,
    ) -> Result<Self, Problem> {
        let root = absolute(root.as_ref())?;
        create::create(&root, aircraft_file.as_ref())?;
        Self::open(root)
    }

    /// The whole path of the logbook's folder.
    pub fn root(&self) -> &Path {
        &self.root
    }

    pub fn aircraft(&self) -> &Aircraft {
        &self.aircraft
    }

    /// Whole paths of all recordings, sorted by name: those that [`Logbook::new_recording`] made stand in the order of time.
    ///
    /// # Errors
    /// The folder cannot be read. One that is not there is an empty one.
    pub fn recordings(&self) -> Result<Vec<PathBuf>, Problem> {
        let folder = self.root.join(RECORDINGS);
        let entries = match fs::read_dir(&folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(whole::cannot_read(&folder, &error)),
        };
        let mut found = Vec::new();
        for entry in entries {
            let path = entry
                .map_err(|error| whole::cannot_read(&folder, &error))?
                .path();
            if name::is_recording(&path) && path.is_file() {
                found.push(path);
            }
        }
        found.sort();
        Ok(found)
    }

    /// A new, empty recording of a surface, started at this time, and its whole path. It is this caller's alone: of two
    /// programs in the same second one gets `…-2`.
    ///
    /// # Errors
    /// The folder cannot be written to.
    pub fn new_recording(
        &self,
        surface: &str,
        started: jiff::Timestamp,
    ) -> Result<(PathBuf, File), Problem> {
        let folder = self.root.join(RECORDINGS);
        whole::make_folder(&folder)?;
        let stem = name::recording_stem(surface, started);
        for number in 1_u32.. {
            let id = match number {
                1 => stem.clone(),
                _ => format!("{stem}-{number}"),
            };
            if folder.join(format!("{id}.csv")).exists() {
                continue;
            }
            let path = folder.join(format!("{id}.log"));
            match File::create_new(&path) {
                Ok(file) => return Ok((path, file)),
                Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
                Err(error) => return Err(whole::cannot_write(&path, &error)),
            }
        }
        Err(Problem::new(format!(
            "{}: no name is left for a recording of {surface}",
            folder.display()
        )))
    }

    /// The whole path of the recording with this ID: its file name, with or without its ending.
    ///
    /// # Errors
    /// There is none, or two of different endings.
    pub fn recording_by_id(&self, id: &str) -> Result<PathBuf, Problem> {
        let all = self.recordings()?;
        let called = |path: &&PathBuf| {
            name::id(path).as_deref() == Some(id) || path.file_name().is_some_and(|n| n == id)
        };
        let found: Vec<&PathBuf> = all.iter().filter(called).collect();
        match found[..] {
            [one] => Ok(one.clone()),
            [one, other, ..] => Err(Problem::new(format!(
                "two recordings have the ID \"{id}\": {} and {}",
                one.display(),
                other.display()
            ))
            .hint("name it with its ending, or give one of the two files another name")),
            [] => Err(self.no_recording(id, &all)),
        }
    }

    fn no_recording(&self, id: &str, all: &[PathBuf]) -> Problem {
        let ids: Vec<String> = all.iter().filter_map(|p| name::id(p)).collect();
        let folder = self.root.join(RECORDINGS);
        let problem = Problem::new(format!("{}: no recording \"{id}\"", folder.display()));
        let near = ids
            .iter()
            .max_by(|a, b| strsim::jaro(a, id).total_cmp(&strsim::jaro(b, id)));
        match near.filter(|near| strsim::jaro(near, id) > 0.8) {
            Some(near) => problem.hint(format!("did you mean {near}?")),
            None if ids.is_empty() => problem.hint("the logbook has no recordings yet: sweep a surface first"),
            None => problem.hint(format!(
                "an ID is the name of a file there without its ending, the last one's for instance: {}",
                ids[ids.len() - 1]
            )),
        }
    }

    /// Reads a recording of this logbook, its angles by the surface's own calibration, and the index of the surface that it says
    /// it is of.
    ///
    /// # Errors
    /// It cannot be read, or does not say which of the aircraft's surfaces it is of.
    pub fn read(&self, path: &Path) -> Result<(usize, Recording), Problem> {
        let mut recording = recording::read_path(path)?;
        if let Some(began) = name::id(path).and_then(|id| self.began(&id)) {
            // The last word counts.
            let began = began.to_string();
            recording.notes.push(format!(
                "It began at {began}, as noted: its own time was wrong."
            ));
            recording.keys.push((STARTED.into(), began));
        }
        let shown = path.display().to_string();
        let surface = surface_of(&recording, &shown, None, &self.aircraft).map_err(|problem| {
            problem.hint(match recording.key("surface") {
                Some(old) => aircraft::renamed(old),
                None => format!(
                    "put the line `# surface=NAME` on top of it with one of {}",
                    choices(&self.aircraft)
                ),
            })
        })?;
        let recording = calibrated(recording, &self.aircraft.surfaces[surface]);
        Ok((surface, recording))
    }

    /// [`Logbook::read`], measured and judged. The recording is named by its path within the logbook, as `check` names
    /// it when run in the logbook's folder.
    ///
    /// # Errors
    /// As [`Logbook::read`].
    pub fn assess(&self, path: &Path) -> Result<Assessed, Problem> {
        let (surface, recording) = self.read(path)?;
        Ok(assess(
            recording,
            &self.relative(path),
            &self.aircraft,
            surface,
        ))
    }

    /// A path within the logbook, from its folder; any other as it is.
    fn relative(&self, path: &Path) -> String {
        let whole = absolute(path).unwrap_or_else(|_| path.to_owned());
        let within = whole.strip_prefix(&self.root).unwrap_or(path);
        within.display().to_string()
    }
}

/// The whole path, without asking the disk: what is said can be opened from anywhere.
fn absolute(path: &Path) -> Result<PathBuf, Problem> {
    std::path::absolute(path)
        .map_err(|error| whole::cannot_read(path, &error))
        .map(|whole| whole.components().collect())
}
