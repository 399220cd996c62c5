//! Whose recordings or rig it is: the logbook, or an aircraft file by itself. For commands that begin no logbook.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::aircraft::{self, Aircraft};
use crate::logbook::{AIRCRAFT_FILE, Logbook};
use crate::problem::Problem;

#[derive(Args)]
pub struct Whose {
    /// The logbook: a folder with aircraft.toml in it
    #[arg(long, value_name = "DIR")]
    pub logbook: Option<PathBuf>,
    /// The aircraft file, where there is no logbook; a logbook's own goes before it
    #[arg(long, value_name = "FILE")]
    pub aircraft: Option<PathBuf>,
}

/// What they came to: one of the two at least.
pub struct Opened {
    pub logbook: Option<Logbook>,
    alone: Option<Aircraft>,
    /// An aircraft file was named that is not the logbook's: which of them holds.
    pub note: Option<String>,
}

impl Opened {
    /// `None` where neither is there.
    pub fn aircraft(&self) -> Option<&Aircraft> {
        self.logbook
            .as_ref()
            .map(Logbook::aircraft)
            .or(self.alone.as_ref())
    }
}

impl Whose {
    /// # Errors
    /// The logbook, or without one the file, cannot be used.
    pub fn opened(&self) -> Result<Opened, Problem> {
        let logbook = self.logbook.as_ref().map(Logbook::open).transpose()?;
        let alone = match &self.aircraft {
            Some(file) if logbook.is_none() => Some(aircraft::read_path(file)?),
            _ => None,
        };
        let note = self.logbook.as_deref().zip(self.aircraft.as_deref());
        Ok(Opened {
            logbook,
            alone,
            note: note.and_then(|(root, file)| other_file(root, file)),
        })
    }

    /// The same where the logbook need not be begun yet: then the file counts, as for the first sweep.
    ///
    /// # Errors
    /// What is there cannot be used.
    pub fn opened_or_not_begun(&self) -> Result<Opened, Problem> {
        match self.not_begun() {
            None => self.opened(),
            Some((_, file)) => Ok(Opened {
                logbook: None,
                alone: Some(aircraft::read_path(file)?),
                note: None,
            }),
        }
    }

    /// The folder of a logbook that a first sweep would begin, and the file that it would begin it with.
    pub fn not_begun(&self) -> Option<(&Path, &Path)> {
        let (root, file) = self.logbook.as_deref().zip(self.aircraft.as_deref())?;
        let free = !root.exists() || root.is_dir() && !root.join(AIRCRAFT_FILE).exists();
        free.then_some((root, file))
    }
}

/// Says that a file is not what the logbook has; `None` where it is the same.
pub fn other_file(root: &Path, file: &Path) -> Option<String> {
    let there = root.join(AIRCRAFT_FILE);
    let same = std::fs::read(&there).ok() == std::fs::read(file).ok();
    (!same).then(|| {
        format!(
            "{} differs from {}, which holds: edit that one",
            file.display(),
            there.display()
        )
    })
}
