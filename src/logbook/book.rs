//! A logbook gathered for the report of its aircraft: each recording that is needed is decoded and assessed once, side by
//! side; trends come from the results. Works out no number and words nothing but what was done.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use rayon::prelude::*;

use super::shelf::{Around, Deed, Needed, Shelf};
use super::{Logbook, Note, NoteKind, Past, Repeat};
use crate::assess::{Assessed, pair_up};
use crate::history::compare::{Earlier, compare};
use crate::history::season::{Event, Kind, Subject, WORKED_IN_WORDS, season};
use crate::history::settling::{Batch, stand};
use crate::problem::Problem;
use crate::report::Checked;
use crate::report::book::{Book, Chapter, Done, Fix, ServoRecord, WorkedIn};

impl Logbook {
    /// All that the report of the aircraft shows, and what could not be used. `now` tells recordings of the future.
    ///
    /// # Errors
    /// A folder or the notes cannot be read.
    pub fn book(&self, now: Timestamp) -> Result<(Book<'_>, Vec<Problem>), Problem> {
        let (notes, mut problems) = self.notes()?;
        let source = self.source()?;
        let story = source.story(now)?;
        let (mut shelf, unusable) = Shelf::of(self, now)?;
        problems.extend(unusable);
        let (needed, desk) = self.looked_up(&mut shelf, &notes, &mut problems);
        let latest = self.paired(&needed, &desk);
        let noted = notes.iter().filter_map(Note::event);
        let events: Vec<Event> = noted.chain(story.worked_in.iter().cloned()).collect();
        let mut subjects = season(&story.readings, &events, &self.aircraft().limits);
        let aircraft = self.aircraft();
        let mut surfaces = Vec::new();
        for ((surface, needed), latest) in aircraft.surfaces.iter().zip(&needed).zip(latest) {
            let tag = aircraft.servos.get(surface.servo_index).map(|s| &s.tag);
            let own = |subject: &str| subject == surface.name || tag.is_some_and(|t| t == subject);
            let worked_in = worked_in(&shelf, needed, &desk);
            surfaces.push(Chapter {
                surface,
                latest,
                fixes: self.fixes(needed, &desk, worked_in.as_ref()),
                worked_in,
                done: done(&notes, own),
                record: taken(&mut subjects, Kind::Surface, &surface.name),
            });
        }
        let servos = self.servo_records(&mut subjects, &notes);
        let missing = source.without_result();
        let missing = missing.map(|m| source.missing_words(&m));
        let mut remarks: Vec<String> = missing.into_iter().collect();
        let unused: Vec<&Problem> = story.problems.iter().chain(&problems).collect();
        remarks.extend(source.remarks(&story, &unused));
        problems.extend(story.problems);
        let book = Book {
            aircraft,
            logbook: self.root().display().to_string(),
            written: now,
            surfaces,
            servos,
            remarks,
        };
        Ok((book, problems))
    }

    /// What each surface needs, and those recordings assessed. One that cannot be used is a problem, goes off the shelf, and
    /// what is needed instead is looked up.
    fn looked_up(
        &self,
        shelf: &mut Shelf,
        notes: &[Note],
        problems: &mut Vec<Problem>,
    ) -> (Vec<Needed>, Desk) {
        let mut desk = Desk::default();
        loop {
            let surfaces = 0..self.aircraft().surfaces.len();
            let needed: Vec<Needed> = surfaces.map(|i| shelf.needed(self, i, notes)).collect();
            let all: BTreeSet<usize> = needed.iter().flat_map(Needed::all).collect();
            let missing: Vec<usize> = all.into_iter().filter(|i| !desk.has(shelf, *i)).collect();
            if missing.is_empty() {
                desk.in_places_of(shelf);
                return (needed, desk);
            }
            let assess = |&place: &usize| self.assess(&shelf.entries[place].path);
            let assessed: Vec<_> = missing.par_iter().map(assess).collect();
            // From the last place to the first: those before keep theirs.
            for (place, result) in missing.into_iter().zip(assessed).rev() {
                match result {
                    Ok(one) => desk.put(shelf, place, one),
                    Err(problem) => {
                        shelf.entries.remove(place);
                        problems.push(problem);
                    }
                }
            }
        }
    }

    /// The latest finished sweep of each surface that is asked for, in the order of the aircraft file, and what could not be
    /// read. `now` tells recordings of the future.
    ///
    /// # Errors
    /// The folder of the recordings cannot be read.
    pub fn latest_sweeps(
        &self,
        surfaces: &[usize],
        now: Timestamp,
    ) -> Result<(Vec<Assessed>, Vec<Problem>), Problem> {
        let (mut shelf, mut problems) = Shelf::of(self, now)?;
        let mut found = Vec::new();
        for &surface in surfaces {
            while let Some(place) = shelf.latest(surface) {
                match self.assess(&shelf.entries[place].path) {
                    Ok(one) => {
                        found.push(one);
                        break;
                    }
                    Err(problem) => {
                        shelf.entries.remove(place);
                        problems.push(problem);
                    }
                }
            }
        }
        pair_up(self.aircraft(), &mut found);
        Ok((found, problems))
    }

    /// The latest of each surface, compared with its pair's.
    fn paired(&self, needed: &[Needed], desk: &Desk) -> Vec<Option<Checked<'_>>> {
        let places = needed.iter().filter_map(|n| n.latest);
        let mut latest: Vec<Assessed> = places.filter_map(|i| desk.get(i).cloned()).collect();
        pair_up(self.aircraft(), &mut latest);
        let mut latest = latest.into_iter();
        needed
            .iter()
            .map(|n| n.latest.and_then(|_| latest.next()))
            .map(|one| {
                let mut checked = Checked::of(self.aircraft(), one?);
                if checked.servos.is_some() {
                    checked.held = self.held_last(&checked.surface.name);
                }
                Some(checked)
            })
            .collect()
    }

    fn fixes(&self, needed: &Needed, desk: &Desk, worked_in: Option<&WorkedIn>) -> Vec<Fix<'_>> {
        let fix = |around: &Around| {
            let [before, after] = [around.before, around.after]
                .map(|place| Some(Checked::of(self.aircraft(), desk.get(place)?.clone())));
            let (before, after) = before.zip(after)?;
            // What cannot be read is no repeat, and is told as a problem where it is needed.
            let repeats = self
                .repeats_before(&self.root().join(&before.recording.file))
                .unwrap_or_default();
            let repeats: Vec<Earlier> = repeats.iter().map(Repeat::earlier).collect();
            let proof = compare(after.surface, &before.side(), &after.side(), &repeats);
            Some(Fix {
                what: what(&around.deeds, worked_in),
                before,
                after,
                proof,
            })
        };
        needed.fixes.iter().filter_map(fix).collect()
    }

    fn servo_records(&self, subjects: &mut Vec<Subject>, notes: &[Note]) -> Vec<ServoRecord> {
        let aircraft = self.aircraft();
        let mut records = Vec::new();
        for (index, servo) in aircraft.servos.iter().enumerate() {
            let sits = aircraft.surfaces.iter().filter(|s| s.servo_index == index);
            let model = aircraft.servo_types.get(servo.type_index);
            records.push(ServoRecord {
                tag: servo.tag.clone(),
                model: model.map(|kind| kind.name.clone()),
                surfaces: sits.map(|s| s.name.clone()).collect(),
                record: taken(subjects, Kind::Servo, &servo.tag),
                done: done(notes, |subject| subject == servo.tag),
            });
        }
        let mut gone: Vec<&Subject> = subjects.iter().filter(|s| s.kind == Kind::Servo).collect();
        gone.sort_by(|a, b| a.name.cmp(&b.name));
        for subject in gone {
            records.push(ServoRecord {
                tag: subject.name.clone(),
                model: None,
                surfaces: Vec::new(),
                record: Some(subject.clone()),
                done: done(notes, |name| name == subject.name),
            });
        }
        records
    }
}

/// Recordings assessed, by their path until nothing leaves the shelf any more, then by their place on it.
#[derive(Default)]
struct Desk {
    by_path: BTreeMap<std::path::PathBuf, Assessed>,
    by_place: BTreeMap<usize, Assessed>,
}

impl Desk {
    fn has(&self, shelf: &Shelf, place: usize) -> bool {
        self.by_path.contains_key(&shelf.entries[place].path)
    }

    fn put(&mut self, shelf: &Shelf, place: usize, one: Assessed) {
        self.by_path.insert(shelf.entries[place].path.clone(), one);
    }

    fn in_places_of(&mut self, shelf: &Shelf) {
        for (place, entry) in shelf.entries.iter().enumerate() {
            if let Some(one) = self.by_path.remove(&entry.path) {
                self.by_place.insert(place, one);
            }
        }
    }

    fn get(&self, place: usize) -> Option<&Assessed> {
        self.by_place.get(&place)
    }
}

fn worked_in(shelf: &Shelf, needed: &Needed, desk: &Desk) -> Option<WorkedIn> {
    let mut past = Past::default();
    for &place in &needed.batches {
        if let Some(one) = desk.get(place) {
            past.add(one, &shelf.entries[place].path);
        }
    }
    let standing = stand(&past.batches);
    (!past.batches.is_empty()).then_some(WorkedIn {
        batches: past.batches,
        standing,
    })
}

/// What was done between two recordings, in words.
fn what(deeds: &[Deed], worked_in: Option<&WorkedIn>) -> String {
    let cycles = || -> f64 {
        let batches = worked_in.map_or(&[][..], |w| &w.batches);
        let worked: Vec<&Batch> = batches.iter().filter(|b| !b.recheck).collect();
        worked.iter().map(|b| b.cycles).sum()
    };
    let said = deeds.iter().map(|deed| match deed {
        Deed::WorkedIn => format!("{WORKED_IN_WORDS}, {:.0} cycles", cycles()),
        Deed::Noted(note) => {
            let kind = match note.kind {
                NoteKind::ServoReplaced => "servo replaced",
                NoteKind::HingeWork => "hinge work",
                NoteKind::RodWork => "rod work",
                NoteKind::Began | NoteKind::Other => "note",
            };
            format!("{kind}: {}", note.text)
        }
    });
    said.collect::<Vec<_>>().join("; ")
}

fn done(notes: &[Note], own: impl Fn(&str) -> bool) -> Vec<Done> {
    let notes = notes.iter().filter(|note| own(&note.subject));
    notes
        .map(|note| Done {
            at: note.at,
            subject: note.subject.clone(),
            kind: note.kind.word(),
            text: note.text.clone(),
        })
        .collect()
}

/// Takes a subject's record out of all.
fn taken(subjects: &mut Vec<Subject>, kind: Kind, name: &str) -> Option<Subject> {
    let place = subjects
        .iter()
        .position(|s| s.kind == kind && s.name == name)?;
    Some(subjects.remove(place))
}

#[cfg(test)]
#[path = "book_tests.rs"]
mod tests;
