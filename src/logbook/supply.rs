//! The recordings of a logbook that say what each servo draws and what its lead has. Chooses by what they say of themselves
//! as far as it can, and decodes no more than it needs.

use std::cmp::Reverse;

use jiff::Timestamp;

use super::Logbook;
use super::shelf::{Entry, Shelf};
use crate::problem::Problem;
use crate::supply::{Candidate, SAME_DAY_S};

impl Logbook {
    /// For each surface, by its index: recordings back to the latest believed sweep that shows what its servo draws, and all
    /// within a day of that. Those that could not be used are problems; those from after `now` are left alone.
    ///
    /// # Errors
    /// The folder of the recordings cannot be read.
    pub fn supply_candidates(
        &self,
        now: Timestamp,
    ) -> Result<(Vec<Vec<Candidate>>, Vec<Problem>), Problem> {
        let (shelf, mut problems) = Shelf::of(self, now)?;
        let mut found = Vec::new();
        for surface in 0..self.aircraft().surfaces.len() {
            found.push(self.of_surface(&shelf, surface, now, &mut problems));
        }
        Ok((found, problems))
    }

    fn of_surface(
        &self,
        shelf: &Shelf,
        surface: usize,
        now: Timestamp,
        problems: &mut Vec<Problem>,
    ) -> Vec<Candidate> {
        let dated = |e: &&Entry| e.started.is_none_or(|at| at <= now);
        let mut entries: Vec<&Entry> = shelf
            .entries
            .iter()
            .filter(|e| e.surface == surface && e.finished)
            .filter(dated)
            .collect();
        entries.sort_by_key(|e| Reverse(e.started));
        let tags = self.aircraft().tags_at(surface);
        let mut found: Vec<Candidate> = Vec::new();
        let mut centre: Option<Option<Timestamp>> = None;
        for entry in entries {
            let near = match (centre, entry.started) {
                (None, _) | (Some(None), None) => true,
                (Some(Some(of)), Some(at)) => of.as_second() - at.as_second() <= SAME_DAY_S,
                _ => false,
            };
            if !near {
                break;
            }
            match self.read(&entry.path) {
                Ok((_, recording)) => {
                    let one = Candidate::of(&recording, &self.relative(&entry.path), tags);
                    if centre.is_none() && one.shows_draw() {
                        centre = Some(entry.started);
                    }
                    found.push(one);
                }
                Err(problem) => problems.push(problem),
            }
        }
        found
    }
}
