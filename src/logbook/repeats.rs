//! Which earlier recordings repeat a measurement: of the same surface, by the same rig and servo, with nothing done in
//! between. Works out no number of them.

use std::path::Path;

use jiff::Timestamp;

use super::{Logbook, RECHECK, WORKED_IN};
use crate::assess::{Assessed, assess};
use crate::problem::Problem;
use crate::recording::Recording;
use crate::recording::purpose::is_sweep;

/// The latest so many repeats are looked at.
const MOST: usize = 20;

impl Logbook {
    /// The finished recordings that repeat one of the logbook, made before it, the latest first: since the last note that begins a
    /// new baseline and since the hinge was last worked in. None where that recording does not say when it began. What cannot be
    /// read is no repeat.
    ///
    /// # Errors
    /// The recording, the folder or the notes cannot be read.
    pub fn repeats_before(&self, of: &Path) -> Result<Vec<Assessed>, Problem> {
        let (surface, recording) = self.read(of)?;
        let Some(until) = recording.started() else {
            return Ok(Vec::new());
        };
        let (servo, rig) = (recording.key("servo"), rig_name(&recording));
        let subjects = [Some(self.aircraft().surfaces[surface].name.as_str()), servo];
        let mut since = Timestamp::MIN;
        for event in self.notes()?.0.iter().filter_map(|note| note.event()) {
            if event.at <= until && subjects.contains(&Some(event.subject.as_str())) {
                since = since.max(event.at);
            }
        }
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
            match its.key("purpose").map(str::trim) {
                Some(WORKED_IN | RECHECK) => since = since.max(at),
                other if !is_sweep(other) => {}
                _ if its.key("servo") == servo && rig_name(&its) == rig => {
                    alike.push((at, path));
                }
                _ => {}
            }
        }
        alike.retain(|(at, _)| *at > since);
        alike.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
        let mut repeats = Vec::new();
        for (_, path) in alike {
            let (_, recording) = self.read(&path)?;
            let name = self.relative(&path);
            let assessed = assess(recording, &name, self.aircraft(), surface);
            if assessed.summary.unfinished.is_none() {
                repeats.push(assessed);
            }
            if repeats.len() == MOST {
                break;
            }
        }
        Ok(repeats)
    }
}

fn rig_name(recording: &Recording) -> Option<&str> {
    recording.rig.as_ref().map(|rig| rig.name.as_str())
}
