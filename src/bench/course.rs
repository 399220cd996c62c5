//! A hinge being worked in on a rig: what is left to do, one batch after the other, and what each has shown. Commands and page
//! go the same way. Never in here: words for people.

use std::path::Path;

use super::record::{Record, Tell};
use crate::aircraft::{Surface, TripPoints};
use crate::assess::Assessed;
use crate::history::settling::{REST_H, Standing, stages_left, stand, stop};
use crate::logbook::{CYCLES, CYCLES_BEFORE, Logbook, Past, RECHECK, STAGE_DEG, WORKED_IN};
use crate::problem::Problem;
use crate::recording::Channel;
use crate::rig::{Asked, Guard, Rig, Run, Stage, SweepPlan, Way, stages};

/// The `#` key of a batch that was worked although the hinge had been stopped.
const AFTER_STOP: &str = "after_stop";

/// How a hinge is worked in.
#[derive(Debug, Clone, PartialEq)]
pub struct Rules {
    /// Deflections of the stages, degrees to each side; each ends at the surface's greatest throw.
    pub stages_deg: Vec<f64>,
    pub beyond_throws: bool,
    /// Of a stage at most, counting those that it has had already.
    pub cycles_per_stage: u32,
    /// Cycles of one batch.
    pub batch: u32,
    /// Torque above the last sound batch's at like angles by so many per cent ends a batch.
    pub rise_percent: f64,
    pub most_torque_ncm: Option<f64>,
    pub rate_deg_per_s: f64,
    /// At each end, s.
    pub hold_s: f64,
    /// One measurement after a rest.
    pub recheck: bool,
    pub note: Option<String>,
}

impl Default for Rules {
    /// Common practice, no source.
    fn default() -> Self {
        Self {
            stages_deg: vec![20.0, 30.0, 45.0],
            beyond_throws: false,
            cycles_per_stage: 60,
            batch: 10,
            rise_percent: 25.0,
            most_torque_ncm: None,
            rate_deg_per_s: 30.0,
            hold_s: 0.4,
            recheck: false,
            note: None,
        }
    }
}

/// A surface being worked in.
pub struct Course<'a> {
    pub logbook: &'a Logbook,
    pub surface_index: usize,
    pub rules: Rules,
    pub stages: Vec<Stage>,
    pub trip: TripPoints,
    pub past: Past,
    /// Recordings that could not be used, and why.
    pub left_out: Vec<Problem>,
    known: Option<Known>,
}

/// What a batch hands on to the next.
struct Known {
    stage_deg: f64,
    way: Option<Way>,
    guard: Guard,
}

impl<'a> Course<'a> {
    /// # Errors
    /// The surface has no throw, or the logbook's folder cannot be read.
    pub fn new(
        logbook: &'a Logbook,
        surface_index: usize,
        mut rules: Rules,
    ) -> Result<Self, Problem> {
        let aircraft = logbook.aircraft();
        let surface = &aircraft.surfaces[surface_index];
        let batch = SweepPlan::of(
            aircraft,
            surface,
            rules.batch,
            rules.rate_deg_per_s,
            rules.hold_s,
        );
        rules.stages_deg.sort_by(f64::total_cmp);
        let stages = stages(surface, &rules.stages_deg, rules.beyond_throws, batch);
        if stages.is_empty() {
            return Err(
                Problem::new(format!("{} has no throw to be worked to", surface.name))
                    .hint("give it a [[surface.throw]] in aircraft.toml"),
            );
        }
        let (past, left_out) = logbook.past(surface_index)?;
        Ok(Self {
            logbook,
            surface_index,
            rules,
            stages,
            trip: aircraft.trip_points(surface),
            past,
            left_out,
            known: None,
        })
    }

    pub fn surface(&self) -> &'a Surface {
        &self.logbook.aircraft().surfaces[self.surface_index]
    }

    pub fn standing(&self) -> Standing {
        stand(&self.past.batches)
    }

    pub fn stage(&self, deg: f64) -> Option<&Stage> {
        self.stages.iter().find(|s| (s.deg - deg).abs() < 0.05)
    }

    /// The stages that are left, degrees, each with the cycles that it may still have.
    pub fn left(&self) -> Vec<(f64, f64)> {
        let stages_deg: Vec<f64> = self.stages.iter().map(|s| s.deg).collect();
        let most = f64::from(self.rules.cycles_per_stage);
        stages_left(&self.past.batches, &stages_deg, most)
    }

    /// How long the hinge has stood still, h.
    pub fn rested_h(&self) -> Option<f64> {
        let last = self.past.batches.last()?.started?;
        Some(jiff::Timestamp::now().duration_since(last).as_secs_f64() / 3600.0)
    }

    /// Whether the first batch is held against the last one of the logbook.
    pub fn is_held_against_last(&self) -> bool {
        let stopped = stop(&self.past.batches).is_some();
        stopped || self.rested_h().is_some_and(|h| h < REST_H)
    }

    /// The stage of the next batch and its cycles; `None` where there is nothing left to do.
    pub fn due(&self) -> Option<(Stage, u32)> {
        if self.rules.recheck {
            let worked = self.past.batches.iter().rev();
            let last = worked
                .filter_map(|b| b.stage_deg)
                .find_map(|deg| self.stage(deg));
            return Some((*last.or(self.stages.last())?, self.rules.batch));
        }
        let (deg, left) = self.left().first().copied()?;
        let cycles = f64::from(self.rules.batch).min(left.ceil()).max(2.0);
        Some((*self.stage(deg)?, cycles as u32))
    }

    /// What stands on top of a recording of this course.
    pub fn keys(&self, more: &[(&'static str, String)]) -> Vec<(&'static str, String)> {
        let purpose = match self.rules.recheck {
            true => RECHECK,
            false => WORKED_IN,
        };
        let mut keys = vec![
            ("purpose", purpose.to_owned()),
            (CYCLES_BEFORE, format!("{:.0}", self.past.worked)),
        ];
        keys.extend_from_slice(more);
        keys.extend(self.rules.note.clone().map(|note| ("note", note)));
        keys
    }

    /// One batch; the rig is armed within it alone.
    pub async fn batch(
        &mut self,
        rig: Rig<Asked>,
        stage: Stage,
        cycles: u32,
        tell: Tell<'_>,
    ) -> Result<Run, Problem> {
        let mut of_batch = vec![
            (CYCLES, cycles.to_string()),
            (STAGE_DEG, stage.deg.to_string()),
        ];
        if stop(&self.past.batches).is_some() {
            of_batch.push((AFTER_STOP, "yes".to_owned()));
        }
        let keys = self.keys(&of_batch);
        let keys: Vec<(&str, &str)> = keys.iter().map(|(k, v)| (*k, v.as_str())).collect();
        let record = Record::begin(self.logbook, self.surface_index, &keys)?;
        let known = self.known.take().unwrap_or_else(|| Known {
            stage_deg: stage.deg,
            way: None,
            guard: self.first_guard(),
        });
        let way = known.way.filter(|_| known.stage_deg == stage.deg);
        let plan = SweepPlan {
            cycles,
            ..stage.plan
        };
        let (run, way, guard) = record
            .batch(rig, plan, self.trip, (way, known.guard), tell)
            .await?;
        self.known = Some(Known {
            stage_deg: stage.deg,
            way,
            guard: guard.next(),
        });
        Ok(run)
    }

    /// A guard that knows the last sound batch, unless the hinge has rested since: what comes back by that is no tearing. After
    /// a stop a rest explains nothing.
    fn first_guard(&self) -> Guard {
        let mut guard = Guard::new(0.01 * self.rules.rise_percent, self.rules.most_torque_ncm);
        if self.is_held_against_last() {
            self.remind(&mut guard);
        }
        guard
    }

    /// Lets a guard know the last sound batch, as it would have seen it.
    fn remind(&self, guard: &mut Guard) {
        let last = self.past.last.as_ref();
        let Some(Ok((_, recording))) = last.map(|path| self.logbook.read(path)) else {
            return;
        };
        let Some(channel) = Guard::CHANNELS.into_iter().find(|c| recording.has(*c)) else {
            return;
        };
        let readings = recording.segments.iter().flat_map(|segment| {
            let angle = segment.column(Channel::AngleDeg);
            let effort = segment.column(channel);
            let both = angle.zip(effort).into_iter();
            both.flat_map(|(a, e)| a.iter().copied().zip(e.iter().copied()))
        });
        guard.remember(readings);
    }

    /// Measures and stores a recording of this course and adds it to the past; how the hinge stands by it. `None` where it
    /// carries no batch.
    ///
    /// # Errors
    /// It cannot be read, or its result not be kept.
    pub fn take_in(&mut self, path: &Path) -> Result<Option<(Assessed, Standing)>, Problem> {
        let assessed = self.logbook.assess(path)?;
        self.logbook.store(self.logbook.aircraft(), &assessed)?;
        let known = self.past.batches.len();
        self.past.add(&assessed, path);
        let added = self.past.batches.len() > known;
        Ok(added.then(|| {
            let standing = self.standing();
            (assessed, standing)
        }))
    }
}
