//! A folder of logbooks: which of its folders hold results, and of which aircraft. Reads no result, and a recording only of a
//! logbook where one has no result.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::path::{Path, PathBuf};

use super::results::result_paths_below;
use super::season::Source;
use super::{AIRCRAFT_FILE, Logbook, name, whole};
use crate::problem::Problem;

/// Everything in a folder that a season can be told of, in the order of its folders' names, and what cannot be used: a folder
/// whose aircraft file is missing or wrong is told without limits, each aircraft by itself.
///
/// # Errors
/// The folder cannot be read, or no folder in it is a logbook or has results.
pub fn sources(folder: &Path) -> Result<(Vec<Source>, Vec<Problem>), Problem> {
    let folder = super::absolute(folder)?;
    let mut roots = Vec::new();
    for entry in std::fs::read_dir(&folder).map_err(|e| whole::cannot_read(&folder, &e))? {
        let path = entry.map_err(|e| whole::cannot_read(&folder, &e))?.path();
        if path.is_dir() {
            roots.push(path);
        }
    }
    roots.sort();
    let (mut sources, mut problems) = (Vec::new(), Vec::new());
    for root in roots {
        if root.join(AIRCRAFT_FILE).exists() {
            match Logbook::open(&root).and_then(|logbook| logbook.source_of_a_club()) {
                Ok(source) => {
                    sources.push(source);
                    continue;
                }
                Err(problem) => problems.push(problem),
            }
        }
        match result_paths_below(&root) {
            Ok(paths) => sources.extend(by_aircraft(&root, paths)),
            Err(problem) => problems.push(problem),
        }
    }
    if sources.is_empty() && problems.is_empty() {
        let hint = match folder.join(AIRCRAFT_FILE).exists() {
            true => format!(
                "it is a logbook itself: hingewright season --logbook {}",
                folder.display()
            ),
            false => "name the folder that the logbooks' folders stand in".into(),
        };
        let none = format!(
            "{}: no folder in it is a logbook or has results",
            folder.display()
        );
        return Err(Problem::new(none).hint(hint));
    }
    Ok((sources, problems))
}

impl Logbook {
    /// Its results. Recordings are looked into, as [`Logbook::source`] does, only where the name of one is no result's: what it
    /// is, another aircraft's, a copy, or one that no trend shows yet, only they can tell.
    fn source_of_a_club(&self) -> Result<Source, Problem> {
        let source = self.source_of_results()?;
        let results: HashSet<String> = source.paths.iter().filter_map(|p| name::id(p)).collect();
        let recordings = self.recordings()?;
        let mut ids = recordings.iter().filter_map(|p| name::id(p));
        match ids.all(|id| results.contains(&id)) {
            true => Ok(source),
            false => self.source(),
        }
    }
}

fn by_aircraft(root: &Path, paths: Vec<PathBuf>) -> Vec<Source> {
    let mut each: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
    for path in paths {
        let [aircraft, _] = name::folders(&path);
        each.entry(aircraft).or_default().push(path);
    }
    each.into_iter()
        .map(|(name, paths)| Source {
            root: root.to_owned(),
            name,
            aircraft: None,
            paths,
            sorted: None,
            began: HashMap::new(),
        })
        .collect()
}
