//! All results made again from the recordings. What cannot be made again is told and left alone.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::SystemTime;

use rayon::prelude::*;

use super::sorting::keys_in_head;
use super::whole::{self, Put};
use super::{Copied, Foreign, Logbook, RECORDINGS, RESULTS, Sorted, name};
use crate::aircraft;
use crate::assess::{Assessed, pair_up, surface_in_key};
use crate::problem::Problem;

/// What a recheck came to. All paths are whole.
#[derive(Debug, Clone, Default)]
pub struct Rechecked {
    /// Recordings whose result stands now.
    pub stored: usize,
    /// How many of these results are other than they were.
    pub changed: usize,
    /// Recordings that could not be used, and results that could not be written: why.
    pub problems: Vec<Problem>,
    /// How many recordings have no result for these problems.
    pub not_done: usize,
    /// Recordings of other aircraft: no result is made of them here.
    pub foreign: Vec<Foreign>,
    /// Recordings that are another one byte for byte: that one has the result.
    pub copies: Vec<Copied>,
    /// Results of those two, taken away.
    pub set_apart: usize,
    /// Recordings that were written to in the meantime: their own program stores the result.
    pub being_written: Vec<PathBuf>,
    /// Results whose recording is gone. They are left where they are.
    pub without_recording: Vec<PathBuf>,
    /// Results taken away, since their recording's result stands under another aircraft's or surface's name now.
    pub moved: Vec<PathBuf>,
    /// Files that a program which was killed had left half written, taken away.
    pub swept: usize,
}

impl Logbook {
    /// Makes every result again from its recording, side by side, pairs compared as `check` does over all of them in this
    /// order. `progress` is told how many of how many recordings are done.
    ///
    /// # Errors
    /// The logbook's folders cannot be read. What fails with a single recording is in [`Rechecked::problems`].
    pub fn recheck(&self, progress: &(dyn Fn(usize, usize) + Sync)) -> Result<Rechecked, Problem> {
        let mut done = Rechecked {
            swept: self.sweep_up()?,
            ..Rechecked::default()
        };
        let sorted = self.sorted()?;
        let paths = &sorted.own;
        let mut gone: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
        let (mut assessed, mut marks) = (Vec::new(), Vec::new());
        for (path, result) in paths.iter().zip(self.assess_all(paths, progress)) {
            match result {
                Ok((mark, one)) => {
                    marks.push((path, mark));
                    assessed.push(one);
                }
                Err(problem) => match self.unknown_surface(path) {
                    Some(surface) => gone.entry(surface).or_default().push(path.clone()),
                    None => done.failed(problem),
                },
            }
        }
        for (surface, paths) in &gone {
            done.not_done += paths.len();
            done.problems.push(self.gone(surface, paths));
        }
        pair_up(self.aircraft(), &mut assessed);
        let mut results: HashMap<String, PathBuf> = HashMap::new();
        for (path, outcome) in self.store_all(&marks, &assessed) {
            match outcome {
                Outcome::Stored(result, put) => {
                    done.stored += 1;
                    done.changed += usize::from(put == Put::Written);
                    results.insert(name::id(path).unwrap_or_default(), result);
                }
                Outcome::BeingWritten => done.being_written.push(path.clone()),
                Outcome::Failed(problem) => done.failed(problem),
            }
        }
        self.tidy(&sorted, &results, &mut done)?;
        done.problems.extend(self.outnumbered(&sorted));
        (done.foreign, done.copies) = (sorted.foreign, sorted.copies);
        Ok(done)
    }

    fn assess_all(
        &self,
        paths: &[PathBuf],
        progress: &(dyn Fn(usize, usize) + Sync),
    ) -> Vec<Result<(Mark, Assessed), Problem>> {
        let count = AtomicUsize::new(0);
        paths
            .par_iter()
            .map(|path| {
                let mark = Mark::of(path);
                let result = self.assess(path).map(|mut one| {
                    one.measured.forget_pictures();
                    (mark, one)
                });
                progress(count.fetch_add(1, Ordering::Relaxed) + 1, paths.len());
                result
            })
            .collect()
    }

    /// The results of those that were read, side by side. Of two with one ID the first has it.
    fn store_all<'a>(
        &self,
        marks: &[(&'a PathBuf, Mark)],
        assessed: &[Assessed],
    ) -> Vec<(&'a PathBuf, Outcome)> {
        let mut owners: HashMap<String, &PathBuf> = HashMap::new();
        for (path, _) in marks {
            owners
                .entry(name::id(path).unwrap_or_default())
                .or_insert(path);
        }
        let store = |(&(path, mark), one): (&(&'a PathBuf, Mark), &Assessed)| {
            let owner = owners[&name::id(path).unwrap_or_default()];
            let outcome = if owner != path {
                Outcome::Failed(same_id(path, owner))
            } else if Mark::of(path) != mark {
                Outcome::BeingWritten
            } else {
                match self.put(self.aircraft(), one) {
                    Ok((result, put)) => Outcome::Stored(result, put),
                    Err(problem) => Outcome::Failed(problem),
                }
            };
            (path, outcome)
        };
        marks.par_iter().zip(assessed).map(store).collect()
    }

    /// The surface that a recording names at its top, where the aircraft has none such.
    fn unknown_surface(&self, path: &Path) -> Option<String> {
        let keys = keys_in_head(path)?;
        let named = keys.key("surface")?.to_owned();
        surface_in_key(&named, self.aircraft())
            .is_none()
            .then_some(named)
    }

    fn gone(&self, surface: &str, paths: &[PathBuf]) -> Problem {
        let count = match paths.len() {
            1 => "1 recording is".to_owned(),
            count => format!("{count} recordings are"),
        };
        let first = paths.first().and_then(|path| name::id(path));
        Problem::new(format!(
            "{}: {count} of \"{surface}\", and the aircraft has no surface \"{surface}\" (the first: {})",
            self.root().join(RECORDINGS).display(),
            first.unwrap_or_default()
        ))
        .hint(aircraft::renamed(surface))
    }

    /// Another aircraft's name on more recordings than this one has: more likely it is this one's old name than that its
    /// recordings were put here by mistake.
    fn outnumbered(&self, sorted: &Sorted) -> Vec<Problem> {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        for foreign in &sorted.foreign {
            *counts.entry(&foreign.aircraft).or_default() += 1;
        }
        let (name, own) = (&self.aircraft().name, sorted.own.len());
        let more = counts.into_iter().filter(|(_, count)| *count > own);
        more.map(|(other, count)| {
            Problem::new(format!(
                "{}: more recordings are of another aircraft, {other} ({count}), than of {name} ({own})",
                self.root().join(RECORDINGS).display()
            ))
            .hint(aircraft::renamed_aircraft(name, other))
        })
        .collect()
    }

    /// Results of recordings that are gone are said; those whose recording's result is elsewhere now are taken away.
    fn tidy(
        &self,
        sorted: &Sorted,
        results: &HashMap<String, PathBuf>,
        done: &mut Rechecked,
    ) -> Result<(), Problem> {
        let own = sorted.own.iter().filter_map(|p| name::id(p));
        let ids: HashSet<String> = own.collect();
        let foreign = sorted.foreign.iter().map(Foreign::id);
        let apart = foreign.chain(sorted.copies.iter().map(Copied::id));
        let apart: HashSet<String> = apart.filter(|id| !ids.contains(id)).collect();
        for path in self.result_paths()? {
            let id = name::id(&path).unwrap_or_default();
            match results.get(&id) {
                Some(own) if *own == path => {}
                Some(_) => match fs::remove_file(&path) {
                    Ok(()) => done.moved.push(path),
                    // Another recheck was quicker.
                    Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
                    Err(error) => done.problems.push(whole::cannot_write(&path, &error)),
                },
                None if apart.contains(&id) => {
                    let [aircraft, _] = name::folders(&path);
                    if self.aircraft().is_called(&aircraft) && fs::remove_file(&path).is_ok() {
                        done.set_apart += 1;
                    }
                }
                // A recording that has come since, or could not be read, is there all the same.
                None if ids.contains(&id) || self.recording_by_id(&id).is_ok() => {}
                None => done.without_recording.push(path),
            }
        }
        Ok(())
    }

    /// Takes away what programs that were killed left half written long ago.
    fn sweep_up(&self) -> Result<usize, Problem> {
        let files = whole::files_below(&self.root().join(RESULTS))?;
        let abandoned = files.iter().filter(|f| whole::is_abandoned(f));
        Ok(abandoned.filter(|f| fs::remove_file(f).is_ok()).count())
    }
}

impl Rechecked {
    fn failed(&mut self, problem: Problem) {
        self.not_done += 1;
        self.problems.push(problem);
    }
}

/// What became of one recording's result.
enum Outcome {
    Stored(PathBuf, Put),
    BeingWritten,
    Failed(Problem),
}

/// Tells whether a file was written to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Mark(Option<(u64, SystemTime)>);

impl Mark {
    fn of(path: &Path) -> Self {
        let metadata = fs::metadata(path);
        Self(metadata.and_then(|m| Ok((m.len(), m.modified()?))).ok())
    }
}

fn same_id(path: &Path, owner: &Path) -> Problem {
    Problem::new(format!(
        "{}: there is {} too, the same name but for its ending, and they would have one result",
        path.display(),
        owner.display()
    ))
    .hint("give one of the two recordings another name")
}
