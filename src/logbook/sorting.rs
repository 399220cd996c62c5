//! Which of the files in a logbook's `recordings` are this aircraft's own, each once. Nothing is moved, changed or deleted, and
//! nothing is decoded: the top of a file says whose it is, and two of one size are held against each other byte by byte.

use std::collections::{HashMap, HashSet};
use std::fs::{self, File};
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::{Logbook, name};
use crate::problem::Problem;
use crate::recording::HostKeys;

/// The `#` key that names the aircraft that a recording is of.
pub const AIRCRAFT_KEY: &str = "aircraft";
/// The head of a recording is within this, bytes.
const HEAD: u64 = 4096;

/// The recordings of a logbook's folder, in the order of their names.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sorted {
    /// Of this aircraft, or of none that they name.
    pub own: Vec<PathBuf>,
    pub foreign: Vec<Foreign>,
    pub copies: Vec<Copied>,
}

/// A recording that says it is of another aircraft.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Foreign {
    pub path: PathBuf,
    pub aircraft: String,
}

/// A recording that is another one byte for byte.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Copied {
    pub path: PathBuf,
    /// The one that counts.
    pub of: PathBuf,
}

impl Foreign {
    pub fn id(&self) -> String {
        name::id(&self.path).unwrap_or_default()
    }
}

impl Copied {
    pub fn id(&self) -> String {
        name::id(&self.path).unwrap_or_default()
    }

    pub fn of_id(&self) -> String {
        name::id(&self.of).unwrap_or_default()
    }
}

impl Logbook {
    /// The recordings in the logbook's folder, those of other aircraft and copies apart. A file that cannot be read is taken as
    /// the aircraft's own: who reads it tells why.
    ///
    /// # Errors
    /// The folder cannot be read.
    pub fn sorted(&self) -> Result<Sorted, Problem> {
        let paths = self.recordings()?;
        let others: Vec<Option<String>> = paths
            .par_iter()
            .map(|path| {
                let named = keys_in_head(path)?.key(AIRCRAFT_KEY)?.to_owned();
                (!named.is_empty() && !self.aircraft().is_called(&named)).then_some(named)
            })
            .collect();
        let mut sorted = Sorted::default();
        for (path, other) in paths.into_iter().zip(others) {
            match other {
                Some(aircraft) => sorted.foreign.push(Foreign { path, aircraft }),
                None => sorted.own.push(path),
            }
        }
        let results = self.result_paths()?;
        let results = results.iter().filter_map(|p| name::id(p)).collect();
        sorted.copies = copies(&sorted.own, &results);
        let copies = &sorted.copies;
        let is_copy = |path: &PathBuf| copies.iter().any(|copy| copy.path == *path);
        sorted.own.retain(|path| !is_copy(path));
        Ok(sorted)
    }
}

/// What the top of a recording says of itself; `None` where it cannot be read.
pub(super) fn keys_in_head(path: &Path) -> Option<HostKeys> {
    let mut head = Vec::new();
    File::open(path)
        .ok()?
        .take(HEAD)
        .read_to_end(&mut head)
        .ok()?;
    HostKeys::in_bytes(&head).ok()
}

/// Of files that are alike one counts: see [`rank`].
fn copies(paths: &[PathBuf], results: &HashSet<String>) -> Vec<Copied> {
    let mut by_size: HashMap<u64, Vec<&PathBuf>> = HashMap::new();
    for path in paths {
        // Empty files are no copies of anything: nothing is in them.
        if let Some(size) = fs::metadata(path).ok().map(|m| m.len()).filter(|s| *s > 0) {
            by_size.entry(size).or_default().push(path);
        }
    }
    let groups: Vec<_> = by_size.into_values().filter(|g| g.len() > 1).collect();
    let found = groups.into_par_iter().flat_map_iter(|mut group| {
        group.sort_by_cached_key(|path| rank(path, results));
        let mut firsts: Vec<&PathBuf> = Vec::new();
        let mut copies = Vec::new();
        for path in group {
            match firsts.iter().find(|first| alike(first, path)) {
                Some(first) => copies.push(Copied {
                    path: path.clone(),
                    of: (*first).clone(),
                }),
                None => firsts.push(path),
            }
        }
        copies
    });
    let mut found: Vec<Copied> = found.collect();
    found.sort_by(|a, b| a.path.cmp(&b.path));
    found
}

/// Less counts first: a name that this program gives, then one whose result is there, then the older file, then the shorter
/// name, for a copy's name is often the first one's with something added.
fn rank(path: &Path, results: &HashSet<String>) -> impl Ord + use<> {
    let id = name::id(path).unwrap_or_default();
    let written = fs::metadata(path).and_then(|m| m.modified()).ok();
    (
        !name::is_own_id(&id),
        !results.contains(&id),
        written.is_none(),
        written,
        path.as_os_str().len(),
        path.to_owned(),
    )
}

fn alike(a: &Path, b: &Path) -> bool {
    same_bytes(a, b).unwrap_or(false)
}

fn same_bytes(a: &Path, b: &Path) -> io::Result<bool> {
    let [mut a, mut b] = [
        BufReader::new(File::open(a)?),
        BufReader::new(File::open(b)?),
    ];
    let (mut left, mut right) = ([0; 8192], [0; 8192]);
    loop {
        let count = a.read(&mut left)?;
        if count == 0 {
            return Ok(b.read(&mut right)? == 0);
        }
        match b.read_exact(&mut right[..count]) {
            Ok(()) if left[..count] == right[..count] => {}
            Ok(()) => return Ok(false),
            Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => return Ok(false),
            Err(error) => return Err(error),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn book() -> (tempfile::TempDir, Logbook) {
        let folder = tempfile::tempdir().unwrap();
        let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
        let logbook = Logbook::create(folder.path().join("book"), sample).unwrap();
        fs::create_dir_all(logbook.root().join("recordings")).unwrap();
        (folder, logbook)
    }

    #[test]
    fn copies_and_other_aircraft_s_recordings_are_told_apart_and_none_is_touched() {
        let (_folder, logbook) = book();
        let put = |name: &str, text: &str| {
            fs::write(logbook.root().join("recordings").join(name), text).unwrap();
        };
        put("1.log", "# aircraft=dunlin \n# surface=rudder\nS,1*0\n");
        put("1 (1).log", "# aircraft=dunlin \n# surface=rudder\nS,1*0\n");
        put("2.log", "# surface=rudder\nS,2*0\n");
        // As long as the one before it, and another one.
        put("3.log", "# surface=rudder\nS,3*0\n");
        put("4.log", "# aircraft=Heron\r\n# surface=rudder\nS,1*0\n");
        put("5.log", "");
        put("6.log", "");
        let sorted = logbook.sorted().unwrap();
        let ids: Vec<String> = sorted.own.iter().filter_map(|p| name::id(p)).collect();
        assert_eq!(ids, ["1", "2", "3", "5", "6"]);
        let [copy] = &sorted.copies[..] else {
            panic!("{:?}", sorted.copies)
        };
        assert_eq!((copy.id(), copy.of_id()), ("1 (1)".into(), "1".into()));
        let [foreign] = &sorted.foreign[..] else {
            panic!("{:?}", sorted.foreign)
        };
        assert_eq!(
            (foreign.id(), foreign.aircraft.as_str()),
            ("4".into(), "Heron")
        );
        assert_eq!(logbook.recordings().unwrap().len(), 7);
    }

    #[test]
    fn a_copy_with_a_shorter_name_never_takes_the_place_of_the_recording_that_this_program_made() {
        let (_folder, logbook) = book();
        let put = |name: &str, text: &str| {
            let path = logbook.root().join("recordings").join(name);
            fs::write(&path, text).unwrap();
            File::options().write(true).open(path).unwrap()
        };
        let results = logbook
            .root()
            .join("results/aircraft=Dunlin/surface=rudder");
        fs::create_dir_all(&results).unwrap();
        fs::write(results.join("judged-long-ago.parquet"), "").unwrap();
        fs::write(results.join("backup.parquet"), "").unwrap();
        let own = "# surface=rudder\nS,1*0\n";
        let own_name = "20260418T102207Z-rudder-2";
        put("backup.log", own);
        put(&format!("{own_name}.log"), own);
        put(&format!("copy-of-{own_name}.log"), own);
        put(&format!("{own_name} (1).log"), own);
        let judged = "# surface=rudder\nS,22*0\n";
        put("b.log", judged);
        put("judged-long-ago.log", judged);
        let neither = "# surface=rudder\nS,333*0\n";
        put("c.log", neither);
        let older = put("the-older-file.log", neither);
        older.set_modified(std::time::UNIX_EPOCH).unwrap();
        let sorted = logbook.sorted().unwrap();
        let ids: Vec<String> = sorted.own.iter().filter_map(|p| name::id(p)).collect();
        assert_eq!(ids, [own_name, "judged-long-ago", "the-older-file"]);
        assert_eq!(sorted.copies.len(), 5);
    }
}
