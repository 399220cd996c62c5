//! Which of a logbook's recordings a report needs: by what they say of themselves, before any of them is decoded. Nothing is
//! measured or judged here.

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use rayon::prelude::*;

use super::{Logbook, Note, RECHECK, WORKED_IN, name, whole};
use crate::assess::surface_in_key;
use crate::problem::Problem;
use crate::recording::purpose::is_sweep;
use crate::recording::{HostKeys, OUTCOME, UNFINISHED};

/// A recording as it presents itself.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Entry {
    pub path: PathBuf,
    pub surface: usize,
    pub started: Option<Timestamp>,
    pub finished: bool,
    pub purpose: Purpose,
    /// The servo's tag, where it says it.
    pub servo: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Purpose {
    /// To see how the surface is.
    Sweep,
    /// To work its hinge in.
    WorkedIn,
    /// To look at a hinge again after a rest, within its last stage.
    Recheck,
    /// Of the servo itself, its circuit or its warming.
    Other,
}

impl Purpose {
    const fn of_break_in(self) -> bool {
        matches!(self, Self::WorkedIn | Self::Recheck)
    }
}

/// All recordings of a logbook, in the order of time; those that do not say when they began come first, by name.
pub(super) struct Shelf {
    pub entries: Vec<Entry>,
    now: Timestamp,
}

/// What was done between two recordings.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Deed {
    WorkedIn,
    Noted(Note),
}

/// The last recording before something was done and the first after it: places on the shelf.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Around {
    pub before: usize,
    pub after: usize,
    pub deeds: Vec<Deed>,
}

/// What one surface's chapter needs: places on the shelf.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Needed {
    pub latest: Option<usize>,
    pub batches: Vec<usize>,
    /// In the order of time.
    pub fixes: Vec<Around>,
}

impl Needed {
    pub fn all(&self) -> impl Iterator<Item = usize> {
        let fixes = self.fixes.iter().flat_map(|f| [f.before, f.after]);
        let others = self.batches.iter().copied().chain(self.latest);
        fixes.chain(others)
    }
}

impl Shelf {
    /// Looks at every recording's keys. One that cannot be used is a problem and is not on the shelf.
    ///
    /// # Errors
    /// The folder of the recordings cannot be read.
    pub fn of(logbook: &Logbook, now: Timestamp) -> Result<(Self, Vec<Problem>), Problem> {
        let paths = logbook.sorted()?.own;
        let looked: Vec<_> = paths.par_iter().map(|p| entry(logbook, p)).collect();
        let (mut entries, mut problems) = (Vec::new(), Vec::new());
        for one in looked {
            match one {
                Ok(entry) => entries.push(entry),
                Err(problem) => problems.push(problem),
            }
        }
        // Stable: what began at one time stays in the order of names.
        entries.sort_by_key(|entry| entry.started);
        Ok((Self { entries, now }, problems))
    }

    /// What a surface's chapter needs of what is here.
    pub fn needed(&self, logbook: &Logbook, surface: usize, notes: &[Note]) -> Needed {
        let mut needed = Needed {
            latest: self.latest(surface),
            batches: self
                .of_surface(surface)
                .filter(|&place| self.entries[place].purpose.of_break_in())
                .collect(),
            fixes: Vec::new(),
        };
        let worked = || {
            let batches = needed.batches.iter().map(|&place| &self.entries[place]);
            batches.filter(|entry| entry.purpose == Purpose::WorkedIn)
        };
        let times = || worked().filter_map(|entry| entry.started);
        if let (Some(first), Some(last)) = (times().min(), times().max()) {
            let around = self.around(surface, |t| t < first, |t| t > last);
            add(&mut needed.fixes, around, Deed::WorkedIn);
        }
        for note in notes.iter().filter(|note| note.event().is_some()) {
            let around = self.around(surface, |t| t < note.at, |t| t >= note.at);
            if around.is_some_and(|pair| self.concerns(logbook, surface, note, pair)) {
                add(&mut needed.fixes, around, Deed::Noted(note.clone()));
            }
        }
        needed.fixes.sort_by_key(|fix| (fix.before, fix.after));
        needed
    }

    fn of_surface(&self, surface: usize) -> impl Iterator<Item = usize> {
        let places = self.entries.iter().enumerate();
        places
            .filter(move |(_, entry)| entry.surface == surface)
            .map(|(place, _)| place)
    }

    fn sweeps(&self, surface: usize) -> impl Iterator<Item = usize> {
        self.of_surface(surface).filter(|&place| {
            let entry = &self.entries[place];
            entry.finished && entry.purpose == Purpose::Sweep
        })
    }

    /// The latest finished sweep: one from the future has a clock that was wrong, and gives way to any that has not; one
    /// without a time gives way to all.
    pub fn latest(&self, surface: usize) -> Option<usize> {
        self.sweeps(surface).max_by_key(|&place| {
            let entry = &self.entries[place];
            let rank = entry.started.map(|at| at <= self.now);
            (rank, entry.started, &entry.path)
        })
    }

    /// The last finished sweep that began at a time before, and the first at a time after.
    fn around(
        &self,
        surface: usize,
        before: impl Fn(Timestamp) -> bool,
        after: impl Fn(Timestamp) -> bool,
    ) -> Option<(usize, usize)> {
        let dated = |place: &usize| self.entries[*place].started.filter(|at| *at <= self.now);
        let sweeps = || self.sweeps(surface);
        let last = sweeps().filter(|p| dated(p).is_some_and(&before)).last()?;
        let first = sweeps().find(|p| dated(p).is_some_and(&after))?;
        Some((last, first))
    }

    /// A note is of the surface, or of a servo that sits in it, then or now.
    fn concerns(
        &self,
        logbook: &Logbook,
        surface: usize,
        note: &Note,
        (before, after): (usize, usize),
    ) -> bool {
        let aircraft = logbook.aircraft();
        let own = &aircraft.surfaces[surface];
        let now = aircraft.servos.get(own.servo_index).map(|s| &s.tag);
        let then = [before, after].map(|place| self.entries[place].servo.as_ref());
        let servos = then.into_iter().chain([now]).flatten();
        own.name == note.subject || servos.into_iter().any(|tag| *tag == note.subject)
    }
}

/// Several things done between the same two recordings are proved together: what did it, no recording can tell.
fn add(fixes: &mut Vec<Around>, around: Option<(usize, usize)>, deed: Deed) {
    let Some((before, after)) = around else {
        return;
    };
    let mut same = fixes.iter_mut();
    match same.find(|fix| (fix.before, fix.after) == (before, after)) {
        Some(fix) => fix.deeds.push(deed),
        None => fixes.push(Around {
            before,
            after,
            deeds: vec![deed],
        }),
    }
}

fn entry(logbook: &Logbook, path: &Path) -> Result<Entry, Problem> {
    let keys = HostKeys::of(path).map_err(|error| whole::cannot_read(path, &error))?;
    let named = keys.key("surface");
    let surface = match named.and_then(|name| surface_in_key(name, logbook.aircraft())) {
        Some(surface) => surface,
        // What is wrong with it, only decoding it tells.
        None => logbook.read(path)?.0,
    };
    let began = name::id(path).and_then(|id| logbook.began(&id));
    Ok(Entry {
        path: path.to_owned(),
        surface,
        started: began.or_else(|| keys.key("started")?.parse().ok()),
        finished: !keys
            .key(OUTCOME)
            .is_some_and(|how| how.starts_with(UNFINISHED)),
        purpose: match keys.key("purpose") {
            Some(WORKED_IN) => Purpose::WorkedIn,
            Some(RECHECK) => Purpose::Recheck,
            other if is_sweep(other) => Purpose::Sweep,
            _ => Purpose::Other,
        },
        servo: keys.key("servo").map(str::to_owned),
    })
}
