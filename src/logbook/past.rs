//! What a logbook knows of the working in of one surface: its batches, and the cycles worked so far. Judges nothing: how the
//! hinge stands is `history::settling`'s.

use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::sorting::keys_in_head;
use super::{Logbook, Note, RECHECK, WORKED_IN};
use crate::analysis::TorqueSource;
use crate::assess::Assessed;
use crate::history::season::Measure;
use crate::history::settling::{Batch, End, is_last_sound};
use crate::problem::Problem;

/// The `#` keys of a batch.
pub const CYCLES_BEFORE: &str = "cycles_before";
pub const STAGE_DEG: &str = "stage_deg";
pub const CYCLES: &str = "cycles";

/// What was done with a surface so far, in the order of time.
#[derive(Debug, Clone, Default)]
pub struct Past {
    pub batches: Vec<Batch>,
    /// Cycles worked so far: by batches, by other sweeps, and by hand as far as a recording says so.
    pub worked: f64,
    /// The recording of the last sound batch.
    pub last: Option<PathBuf>,
    /// The latest note of work that batches were left out for: by what they measured torque with, they say nothing of how the
    /// hinge stands now.
    pub baseline: Option<Note>,
    /// All work noted on the surface and what drives it.
    works: Vec<Note>,
    /// How the last batch ended within which torque rose.
    pub rose: Option<String>,
}

impl Logbook {
    /// What all recordings of a surface say of it, and those that could not be used.
    ///
    /// # Errors
    /// The folder of the recordings cannot be read.
    pub fn past(&self, surface_index: usize) -> Result<(Past, Vec<Problem>), Problem> {
        let surface = &self.aircraft().surfaces[surface_index];
        let (works, mut problems) = works(self, surface_index)?;
        let mut past = Past {
            works,
            ..Past::default()
        };
        for path in self.sorted()?.own {
            if surface_in_head(&path).is_some_and(|of| !surface.is_called(&of)) {
                continue;
            }
            match self.assess(&path) {
                Ok(one) if one.surface_index == surface_index => past.add(&one, &path),
                Ok(_) => {}
                Err(problem) => problems.push(problem),
            }
        }
        Ok((past, problems))
    }
}

impl Past {
    /// Adds a recording.
    pub fn add(&mut self, assessed: &Assessed, path: &Path) {
        let key = |name: &str| {
            let mut keys = assessed.summary.keys.iter().rev();
            keys.find(|(k, _)| k == name).map(|(_, v)| v.as_str())
        };
        let number = |name: &str| {
            let value = key(name)?.parse::<f64>().ok()?;
            (value.is_finite() && value >= 0.0).then_some(value)
        };
        let end = End::of(assessed.summary.unfinished.as_deref());
        let finished = end == End::Finished;
        let strokes = &assessed.measured.strokes;
        let seen = strokes.up.max(strokes.down) as f64;
        let cycles = number(CYCLES).filter(|_| finished).unwrap_or(seen);
        let cycles_before = self.worked.max(number(CYCLES_BEFORE).unwrap_or(0.0));
        self.worked = cycles_before + cycles;
        let purpose = key("purpose");
        let belongs = matches!(purpose, Some(WORKED_IN | RECHECK));
        if !belongs || (cycles < 1.0 && end != End::Rose) {
            return;
        }
        let started: Option<Timestamp> = key("started").and_then(|v| v.parse().ok());
        if let Some(note) = self.begun_anew(started, assessed.measured.torque_from) {
            let latest = self.baseline.take().into_iter().chain([note]);
            self.baseline = latest.max_by_key(|note| note.at);
            return;
        }
        let curve = assessed.measured.curve.as_ref();
        self.batches.push(Batch {
            cycles_before,
            cycles,
            stage_deg: number(STAGE_DEG),
            recheck: purpose == Some(RECHECK),
            end,
            started,
            air_c: assessed.measured.conditions.air_c,
            stiffness_ncm_per_deg: curve.map(|c| c.stiffness_ncm_per_deg),
            friction_ncm: curve.map(|c| c.friction_ncm),
            knees_deg: [true, false].map(|up| curve?.nearest_knee(up).map(|k| k.at_deg)),
        });
        if end == End::Rose {
            self.rose.clone_from(&assessed.summary.unfinished);
        }
        if is_last_sound(&self.batches) {
            self.last = Some(path.to_owned());
        }
    }

    /// The latest work after a batch that begins anew what is followed of it: a new servo leaves alone what a torque sensor
    /// saw. (Of a rig that sees no torque the current is followed, which work on any part changes.)
    fn begun_anew(&self, started: Option<Timestamp>, from: TorqueSource) -> Option<Note> {
        let started = started?;
        let followed = [Measure::Stiffness, Measure::Friction];
        let anew = |note: &&Note| {
            let work = note.kind.work();
            work.is_some_and(|w| {
                followed
                    .iter()
                    .any(|m| w.begins_anew(*m, Some(from.word())))
            })
        };
        let since = self.works.iter().filter(|note| note.at > started);
        since.filter(anew).max_by_key(|note| note.at).cloned()
    }
}

/// The notes of work on a surface or on what drives it.
fn works(logbook: &Logbook, surface_index: usize) -> Result<(Vec<Note>, Vec<Problem>), Problem> {
    let aircraft = logbook.aircraft();
    let surface = &aircraft.surfaces[surface_index];
    let servos = [Some(surface.servo_index), surface.second_servo_index];
    let is_its_servo = |subject: &str| {
        let mut tags = servos.iter().flatten().map(|&i| &aircraft.servos[i].tag);
        tags.any(|tag| tag == subject)
    };
    let (mut notes, problems) = logbook.notes()?;
    notes.retain(|n| n.kind.work().is_some());
    notes.retain(|n| n.subject == surface.name || is_its_servo(&n.subject));
    Ok((notes, problems))
}

/// The surface that the top of a recording names, if it does: most are of others and need not be read.
fn surface_in_head(path: &Path) -> Option<String> {
    keys_in_head(path)?.key("surface").map(str::to_owned)
}
