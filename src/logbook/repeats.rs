//! Which earlier recordings repeat a measurement: of the same surface, by the same rig, with what was done in between. Works out
//! no number of them.

use std::path::Path;

use jiff::Timestamp;

use super::{Logbook, RECHECK, WORKED_IN};
use crate::analysis::Measured;
use crate::assess::{Assessed, assess};
use crate::history::compare::{Earlier, none_repeats};
use crate::history::season::Work;
use crate::problem::Problem;
use crate::recording::Recording;
use crate::recording::purpose::is_sweep;

/// The `#` key that says who mounted and measured.
pub const BY: &str = "by";

/// The latest so many repeats are looked at.
const MOST: usize = 20;

/// An earlier recording, and the work that came after it: of a quantity that the work begins anew it is no repeat.
#[derive(Debug, Clone)]
pub struct Repeat {
    pub assessed: Assessed,
    pub work_since: Vec<Work>,
}

impl Repeat {
    /// As a comparison takes it.
    pub fn earlier(&self) -> Earlier<'_> {
        let measured: &Measured = &self.assessed.measured;
        Earlier {
            measured,
            work_since: &self.work_since,
        }
    }
}

impl Logbook {
    /// The finished recordings that repeat one of the logbook, made before it, the latest first, with the work on surface and
    /// servo that was noted since, the working in of the hinge, and another servo. None where that recording does not say
    /// when it began. What cannot be read is no repeat.
    ///
    /// # Errors
    /// The recording, the folder or the notes cannot be read.
    pub fn repeats_before(&self, of: &Path) -> Result<Vec<Repeat>, Problem> {
        let (surface, recording) = self.read(of)?;
        let Some(until) = recording.started() else {
            return Ok(Vec::new());
        };
        let (servo, rig) = (self.servo_of(surface, &recording), rig_name(&recording));
        let subjects = [self.aircraft().surfaces[surface].name.as_str(), servo];
        let notes = self.notes()?.0;
        let noted = notes.iter().filter(|n| subjects.contains(&&*n.subject));
        let mut works: Vec<(Timestamp, Work)> = noted
            .filter_map(|note| Some((note.at, note.kind.work()?)))
            .collect();
        let mut alike = Vec::new();
        for path in self.sorted()?.own {
            let Ok((its_surface, its)) = self.read(&path) else {
                continue;
            };
            let Some(at) = its.started().filter(|at| *at < until) else {
                continue;
            };
            if its_surface != surface {
                continue;
            }
            let purpose = its.key("purpose").map(str::trim);
            if matches!(purpose, Some(WORKED_IN | RECHECK)) {
                works.push((at, Work::WorkedIn));
                continue;
            }
            if self.servo_of(surface, &its) != servo {
                works.push((at, Work::Servo));
            }
            if is_sweep(purpose) && rig_name(&its) == rig {
                alike.push((at, path));
            }
        }
        works.retain(|(at, _)| *at <= until);
        alike.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
        let mut repeats = Vec::new();
        for (at, path) in alike {
            let since = works.iter().filter(|(work_at, _)| *work_at >= at);
            let work_since: Vec<Work> = since.map(|(_, work)| *work).collect();
            if none_repeats(&work_since) || repeats.len() == MOST {
                break;
            }
            let (_, recording) = self.read(&path)?;
            let name = self.relative(&path);
            let assessed = assess(recording, &name, self.aircraft(), surface);
            if assessed.summary.unfinished.is_none() {
                repeats.push(Repeat {
                    assessed,
                    work_since,
                });
            }
        }
        Ok(repeats)
    }

    /// The finished sweeps of these surfaces that say who mounted them (`# by=`), the oldest first, measured, since work was last
    /// noted on surface or servo or the hinge was worked in; and how many such sweeps are older. What cannot be read is none.
    ///
    /// # Errors
    /// The folder or the notes cannot be read.
    pub fn mounted_by(&self, surfaces: &[usize]) -> Result<(Vec<Assessed>, usize), Problem> {
        let notes = self.notes()?.0;
        let mut since: Vec<(usize, Timestamp)> = Vec::new();
        let mut mounted = Vec::new();
        for path in self.sorted()?.own {
            let Ok((surface, recording)) = self.read(&path) else {
                continue;
            };
            if !surfaces.contains(&surface) {
                continue;
            }
            let purpose = recording.key("purpose").map(str::trim);
            if matches!(purpose, Some(WORKED_IN | RECHECK)) {
                since.extend(recording.started().map(|at| (surface, at)));
            } else if is_sweep(purpose)
                && recording.unfinished().is_none()
                && recording.key(BY).is_some_and(|by| !by.trim().is_empty())
            {
                mounted.push((recording.started(), path, surface, recording));
            }
        }
        for &surface in surfaces {
            let on_file = &self.aircraft().surfaces[surface];
            let servo = &self.aircraft().servos[on_file.servo_index].tag;
            let of_it = notes.iter().filter(|note| note.kind.work().is_some());
            let of_it = of_it.filter(|note| note.subject == on_file.name || note.subject == *servo);
            since.extend(of_it.map(|note| (surface, note.at)));
        }
        let before = mounted.len();
        mounted.retain(|(started, _, surface, _)| {
            let mut works = since.iter().filter(|(of, _)| of == surface);
            works.all(|(_, at)| started.is_some_and(|started| started >= *at))
        });
        let older = before - mounted.len();
        mounted.sort_by_key(|(started, path, ..)| (*started, path.clone()));
        let measured = mounted.into_iter().map(|(_, path, surface, recording)| {
            assess(recording, &self.relative(&path), self.aircraft(), surface)
        });
        Ok((measured.collect(), older))
    }

    /// The servo that a recording says it is of; else the one that the aircraft file has there.
    fn servo_of<'a>(&'a self, surface: usize, recording: &'a Recording) -> &'a str {
        let aircraft = self.aircraft();
        let on_file = &aircraft.servos[aircraft.surfaces[surface].servo_index].tag;
        recording.key("servo").unwrap_or(on_file)
    }
}

fn rig_name(recording: &Recording) -> Option<&str> {
    recording.rig.as_ref().map(|rig| rig.name.as_str())
}
