//! How a hinge settles as it is worked in: batches of cycles, stage by stage, and what they say together.
//! Never in here: a clock, a file, a rig, or a sentence for people.
//!
//! Two batches differ detectably where their difference exceeds 1.96·√(u₁² + u₂²), the smallest difference that repeating
//! the measurement does not bring about by itself in 95 of 100 cases. Batches carry what they share (a calibration, a
//! sensor's scale) in their own intervals, and with it the smallest difference is told too large rather than too small.

use super::decay::{self, Decay, NORMAL_95, Point};
use crate::analysis::{Interval, Quantity};

/// A batch stiffer than the one before by more than this share, and detectably so, is no hinge that wears in
/// (common practice, no source).
pub const STIFFER_SHARE: f64 = 0.05;
/// Near enough to the settled value to be called there (common practice, no source).
pub const WITHIN_SHARE: f64 = 0.05;
/// A rest from which a re-check confirms, h.
pub const RECHECK_AFTER_H: f64 = 12.0;
/// A rest in which a hinge takes back some of its stiffness, so that it may be stiffer after it, h
/// (common practice, no source).
pub const REST_H: f64 = 1.0;
/// Sessions further apart than this in the room's temperature are compared with a warning only, K.
pub const AIR_APART_K: f64 = 8.0;

/// Cycles worked together and measured as one recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// Cycles worked before its first.
    pub cycles_before: f64,
    pub cycles: f64,
    /// The stage's deflection; `None` for one that a hand worked.
    pub stage_deg: Option<f64>,
    /// A measurement after a rest, which is not there to work the hinge.
    pub recheck: bool,
    pub started: Option<jiff::Timestamp>,
    /// °C.
    pub air_c: Option<f64>,
    pub stiffness_ncm_per_deg: Option<Quantity>,
    pub friction_ncm: Option<Quantity>,
    /// The knees nearest to neutral, on the up and on the down side; `None` of a side without.
    pub knees_deg: [Option<Quantity>; 2],
}

impl Batch {
    /// Cycles worked at its middle: where its mean stands.
    pub fn middle(&self) -> f64 {
        self.cycles_before + 0.5 * self.cycles
    }

    /// Cycles worked after its last.
    pub fn cycles_after(&self) -> f64 {
        self.cycles_before + self.cycles
    }

    pub fn same_stage(&self, other: &Self) -> bool {
        match (self.stage_deg, other.stage_deg) {
            (Some(a), Some(b)) => (a - b).abs() < 0.05,
            (None, None) => true,
            _ => false,
        }
    }
}

/// What is followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    Stiffness,
    Friction,
}

impl Which {
    fn of(self, batch: &Batch) -> Option<(f64, f64)> {
        let quantity = match self {
            Self::Stiffness => batch.stiffness_ncm_per_deg,
            Self::Friction => batch.friction_ncm,
        }?;
        let interval = quantity.interval?;
        let u = 0.5 * (interval.hi95 - interval.lo95) / NORMAL_95;
        (u > 0.0).then_some((quantity.value, u))
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Too few batches with a number to tell.
    TooFew,
    /// Still changing, or not shown to have stopped.
    Softening,
    /// No change is seen, and none of [`WITHIN_SHARE`] could be: it takes more cycles a batch, or a better torque source.
    TooCoarse,
    /// The last batch is stiffer than the one before: tearing or binding.
    Stiffer,
    /// No change that repeating would show, in two batches running.
    Settled,
    /// Settled, and found so again after a night's rest.
    Confirmed,
    /// Settled once, and detectably stiffer after the rest.
    CameBack,
}

/// A change from one batch to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Later less earlier, with its interval.
    pub by: Quantity,
    /// Share of the earlier.
    pub share: f64,
    /// The smallest difference that these two could show.
    pub detectable: f64,
}

impl Change {
    fn between(earlier: (f64, f64), later: (f64, f64)) -> Self {
        let by = later.0 - earlier.0;
        let u = earlier.1.hypot(later.1);
        let detectable = NORMAL_95 * u;
        Self {
            by: Quantity {
                value: by,
                interval: Some(Interval {
                    u,
                    lo95: by - detectable,
                    hi95: by + detectable,
                }),
            },
            share: by / earlier.0,
            detectable,
        }
    }

    pub fn is_detectable(&self) -> bool {
        self.by.value.abs() > self.detectable
    }

    /// More than chance, and more than a little.
    pub fn is_stiffer(&self) -> bool {
        self.by.value > self.detectable && self.share > STIFFER_SHARE
    }
}

/// The re-check after a rest, against the last batch before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recheck {
    /// How long the hinge rested; `None` where a recording does not say when it began.
    pub rest_h: Option<f64>,
    pub stiffness: Option<Change>,
}

/// How a hinge stands after its last batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    pub state: State,
    /// Fitted over the batches of the last one's stage.
    pub stiffness: Option<Decay>,
    pub friction: Option<Decay>,
    /// From the batch before to the last, in one stage.
    pub change: Option<Change>,
    pub recheck: Option<Recheck>,
    /// Lowest and highest air temperature of the batches, °C, where they are too far apart to be compared as they are.
    pub air_apart_c: Option<(f64, f64)>,
}

/// How the hinge stands, from all its batches in the order of time.
pub fn stand(batches: &[Batch]) -> Standing {
    let worked: Vec<&Batch> = batches.iter().filter(|b| !b.recheck).collect();
    let stage: Vec<&Batch> = worked.last().map_or(Vec::new(), |last| {
        worked
            .iter()
            .copied()
            .filter(|b| b.same_stage(last))
            .collect()
    });
    let change = last_change(&stage);
    let recheck = recheck(batches);
    let settled = is_settled(&stage);
    let rested = recheck.is_some_and(|r| r.rest_h.is_some_and(|h| h >= RECHECK_AFTER_H));
    let checked = recheck.and_then(|r| r.stiffness);
    let state = match (settled, checked) {
        _ if is_stiffer(&stage) => State::Stiffer,
        (true, Some(change)) if change.is_stiffer() => State::CameBack,
        (true, Some(_)) if rested => State::Confirmed,
        (true, _) => State::Settled,
        (false, _) if change.is_none() => State::TooFew,
        (false, _) if is_steady(&stage) && is_coarse(&stage) => State::TooCoarse,
        (false, _) => State::Softening,
    };
    Standing {
        state,
        stiffness: followed(&stage, Which::Stiffness),
        friction: followed(&stage, Which::Friction),
        change,
        recheck,
        air_apart_c: air_apart(batches),
    }
}

fn followed(stage: &[&Batch], which: Which) -> Option<Decay> {
    let points: Vec<Point> = stage
        .iter()
        .filter_map(|batch| {
            which.of(batch).map(|(value, u)| Point {
                cycles: batch.middle(),
                value,
                u,
            })
        })
        .collect();
    decay::fit(&points, stage.last()?.cycles_after(), WITHIN_SHARE)
}

fn last_change(stage: &[&Batch]) -> Option<Change> {
    let [.., earlier, later] = stage else {
        return None;
    };
    Some(Change::between(
        Which::Stiffness.of(earlier)?,
        Which::Stiffness.of(later)?,
    ))
}

/// A rest between two batches explains what came back, and is no tearing.
fn is_stiffer(stage: &[&Batch]) -> bool {
    let [.., earlier, later] = stage else {
        return false;
    };
    let rested = hours_between(earlier, later).is_some_and(|h| h >= REST_H);
    !rested && last_change(stage).is_some_and(|c| c.is_stiffer())
}

/// Steady, measured finely enough to tell, and the decay over all batches does not speak against it.
fn is_settled(stage: &[&Batch]) -> bool {
    let more_to_come = || followed(stage, Which::Stiffness).is_some_and(|d| d.forecast.lo95 > 0.0);
    is_steady(stage) && !is_coarse(stage) && !more_to_come()
}

/// No detectable change of stiffness or friction in two batches running, nor over both together: a change that is just not
/// seen from batch to batch is seen over two.
fn is_steady(stage: &[&Batch]) -> bool {
    let [.., a, b, c] = stage else {
        return false;
    };
    let steady = |which: Which| -> Option<bool> {
        let (a, b, c) = (which.of(a)?, which.of(b)?, which.of(c)?);
        let changes = [(a, b), (b, c), (a, c)].map(|(x, y)| Change::between(x, y));
        Some(changes.iter().all(|change| !change.is_detectable()))
    };
    steady(Which::Stiffness) == Some(true) && steady(Which::Friction) != Some(false)
}

/// What can be told apart is more than what is near enough.
fn is_coarse(stage: &[&Batch]) -> bool {
    let last = stage.last().and_then(|b| Which::Stiffness.of(b));
    last_change(stage)
        .zip(last)
        .is_none_or(|(change, (value, _))| change.detectable > WITHIN_SHARE * value.abs())
}

fn hours_between(earlier: &Batch, later: &Batch) -> Option<f64> {
    let seconds = later
        .started?
        .duration_since(earlier.started?)
        .as_secs_f64();
    Some(seconds / 3600.0)
}

fn recheck(batches: &[Batch]) -> Option<Recheck> {
    let (last, before) = batches.split_last()?;
    if !last.recheck {
        return None;
    }
    // The last that worked it, in the same stage if there is one.
    let worked = || before.iter().rev().filter(|b| !b.recheck);
    let nearest = worked().next()?;
    let alike = worked().find(|b| b.same_stage(last)).unwrap_or(nearest);
    Some(Recheck {
        rest_h: hours_between(nearest, last),
        stiffness: Which::Stiffness
            .of(alike)
            .zip(Which::Stiffness.of(last))
            .map(|(earlier, later)| Change::between(earlier, later)),
    })
}

fn air_apart(batches: &[Batch]) -> Option<(f64, f64)> {
    let air = || batches.iter().filter_map(|b| b.air_c);
    let (lo, hi) = (
        air().fold(f64::INFINITY, f64::min),
        air().fold(f64::NEG_INFINITY, f64::max),
    );
    (hi - lo > AIR_APART_K).then_some((lo, hi))
}

/// The stage to be worked next, and how many of its cycles are left; `None` where all are through. A stage is through when
/// it has settled or its cycles are spent.
pub fn next_stage(
    batches: &[Batch],
    stages_deg: &[f64],
    cycles_per_stage: f64,
) -> Option<(f64, f64)> {
    stages_deg.iter().find_map(|&stage_deg| {
        let of_stage: Vec<&Batch> = batches
            .iter()
            .filter(|b| !b.recheck && b.stage_deg.is_some_and(|s| (s - stage_deg).abs() < 0.05))
            .collect();
        let spent: f64 = of_stage.iter().map(|b| b.cycles).sum();
        let left = cycles_per_stage - spent;
        (left >= 1.0 && !is_settled(&of_stage)).then_some((stage_deg, left))
    })
}

#[cfg(test)]
#[path = "settling_tests.rs"]
mod tests;
