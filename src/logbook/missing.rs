//! Finished recordings that no result stands for: no trend shows them, and who reads trends has to know. Told by names of files
//! and what a recording says of itself; nothing is decoded, measured or judged.

use std::collections::{BTreeSet, HashSet};
use std::path::Path;

use rayon::prelude::*;

use super::sorting::keys_in_head;
use super::{Source, WORKED_IN, name};
use crate::recording::{HostKeys, OUTCOME, UNFINISHED};

/// Recordings of a logbook without a result.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Missing {
    pub count: usize,
    /// The surfaces that they say they are of, by their present names.
    pub surfaces: BTreeSet<String>,
}

impl Source {
    /// Finished recordings of this aircraft without a result; `None` where there is none, or no recording was looked at.
    pub fn without_result(&self) -> Option<Missing> {
        let results: HashSet<String> = self.paths.iter().filter_map(|p| name::id(p)).collect();
        let own = self.sorted.iter().flat_map(|sorted| &sorted.own);
        let alone: Vec<_> = own
            .filter(|path| name::id(path).is_some_and(|id| !results.contains(&id)))
            .collect();
        let surfaces: Vec<String> = alone.par_iter().filter_map(|p| followed(p)).collect();
        (!surfaces.is_empty()).then(|| Missing {
            count: surfaces.len(),
            surfaces: surfaces
                .iter()
                .map(|surface| self.present_name(surface).unwrap_or(surface).to_owned())
                .collect(),
        })
    }

    /// What is missing in a sentence, with what to do.
    pub fn missing_words(&self, missing: &Missing) -> String {
        let root = self.root().display();
        let said = match missing.count {
            1 => "1 finished recording has no result, and no trend shows it".to_owned(),
            count => format!("{count} finished recordings have no result, and no trend shows them"),
        };
        format!("{said}: hingewright recheck --logbook {root}")
    }
}

/// The surface of a recording that a season would follow: it is finished, and no hinge was worked in while it was made.
fn followed(path: &Path) -> Option<String> {
    // The head is read first: batches of working in are long, and need no result.
    let head = keys_in_head(path)?;
    let surface = head.key("surface")?.to_owned();
    if head.key("purpose") == Some(WORKED_IN) {
        return None;
    }
    let keys = HostKeys::of(path).ok()?;
    let unfinished = keys
        .key(OUTCOME)
        .is_some_and(|how| how.starts_with(UNFINISHED));
    (!unfinished).then_some(surface)
}
