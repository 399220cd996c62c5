//! How a hinge settles as it is worked in: batches of cycles, stage by stage, and what they say together.
//! Never in here: a clock, a file, a rig, or a sentence for people.
//!
//! Two batches differ detectably where their difference exceeds 1.96·√(u₁² + u₂²), the smallest difference that repeating
//! the measurement does not bring about by itself in 95 of 100 cases. Batches carry what they share (a calibration, a
//! sensor's scale) in their own intervals, and with it the smallest difference is told too large rather than too small.

use super::decay::{self, NORMAL_95, Point};
pub use super::decay::{Decay, Forecast};
use crate::analysis::{Interval, Quantity};
use crate::recording::STOPPED_AT;

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
/// Further than this no forecast is worth following at once.
const MOST_BATCHES_ADVISED: f64 = 20.0;
/// Sessions further apart than this in the room's temperature are compared with a warning only, K.
pub const AIR_APART_K: f64 = 8.0;

/// How a batch ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    Finished,
    /// By anything that says nothing of the hinge.
    CutShort,
    /// At once, because torque rose.
    Rose,
}

impl End {
    /// From why a recording is unfinished, if it is.
    pub fn of(unfinished: Option<&str>) -> Self {
        match unfinished {
            None => Self::Finished,
            Some(why) if why.starts_with(STOPPED_AT) => Self::Rose,
            Some(_) => Self::CutShort,
        }
    }
}

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
    pub end: End,
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

    fn is_of(&self, stage_deg: f64) -> bool {
        self.stage_deg.is_some_and(|s| (s - stage_deg).abs() < 0.05)
    }

    pub fn same_stage(&self, other: &Self) -> bool {
        match (self.stage_deg, other.stage_deg) {
            (_, Some(deg)) => self.is_of(deg),
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
    /// The hinge got stiffer, and no sound batch has followed: tearing or binding.
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

/// A batch that ended the working in, which no sound one has followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stop<'a> {
    pub batch: &'a Batch,
    /// From the last sound batch; `None` where torque rose within this one.
    pub change: Option<Change>,
}

/// What batches are to each other, in the order of time.
struct Course<'a> {
    /// Those that a hinge may be held against: worked, and not stiffer than it may be.
    sound: Vec<&'a Batch>,
    stop: Option<Stop<'a>>,
}

impl<'a> Course<'a> {
    fn of(batches: &'a [Batch]) -> Self {
        let mut course = Self {
            sound: Vec::new(),
            stop: None,
        };
        batches.iter().for_each(|batch| course.take(batch));
        course
    }

    fn take(&mut self, batch: &'a Batch) {
        if batch.end == End::Rose {
            self.stop = Some(Stop {
                batch,
                change: None,
            });
        }
        if batch.end == End::Rose || batch.recheck {
            return;
        }
        let before = self.of_stage(batch).last().copied();
        let change = before.and_then(|before| change(before, batch));
        // A rest explains what came back, and is no tearing. It explains nothing once the hinge was stopped.
        let rested = self.stop.is_none()
            && before
                .and_then(|before| hours_between(before, batch))
                .is_some_and(|h| h >= REST_H);
        if !rested && change.is_some_and(|c| c.is_stiffer()) {
            self.stop = Some(Stop { batch, change });
        } else if self.stop.is_none() || batch.end == End::Finished {
            self.stop = None;
            self.sound.push(batch);
        }
    }

    fn of_stage(&self, of: &Batch) -> Vec<&'a Batch> {
        let sound = self.sound.iter().copied();
        sound.filter(|b| b.same_stage(of)).collect()
    }
}

/// The stop that no sound batch has followed, if there is one.
pub fn stop(batches: &[Batch]) -> Option<Stop<'_>> {
    Course::of(batches).stop
}

/// Whether the last batch is one that a hinge may be held against.
pub fn is_last_sound(batches: &[Batch]) -> bool {
    let sound = Course::of(batches).sound;
    let (last, of_all) = (sound.last().copied(), batches.last());
    last.zip(of_all).is_some_and(|(a, b)| std::ptr::eq(a, b))
}

/// The re-check after a rest, against the last batch before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recheck {
    /// How long the hinge stood still, re-checks counted as movement; `None` where a recording does not say when it began.
    pub rest_h: Option<f64>,
    pub stiffness: Option<Change>,
    /// This one or one before it, since the hinge was last worked, came after a rest that confirms.
    pub confirms: bool,
}

impl Recheck {
    /// It came after a rest that would confirm, and shows no change.
    pub fn is_unchanged(&self) -> bool {
        self.confirms && self.stiffness.is_some_and(|c| !c.is_detectable())
    }
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
    let course = Course::of(batches);
    let last = batches.iter().rev().find(|b| !b.recheck);
    let stage = last.map_or(Vec::new(), |last| course.of_stage(last));
    let change = match course.stop {
        Some(stop) => stop.change,
        None => last_change(&stage),
    };
    let recheck = recheck(batches);
    let settled = is_settled(&stage);
    let checked = recheck.and_then(|r| r.stiffness);
    let state = match (settled, checked) {
        _ if course.stop.is_some() => State::Stiffer,
        (true, Some(change)) if change.is_stiffer() => State::CameBack,
        (true, Some(_)) if recheck.is_some_and(|r| r.confirms) => State::Confirmed,
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
    change(earlier, later)
}

fn change(earlier: &Batch, later: &Batch) -> Option<Change> {
    let (earlier, later) = (Which::Stiffness.of(earlier)?, Which::Stiffness.of(later)?);
    Some(Change::between(earlier, later))
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
    let rests_h = batches.windows(2).rev().take_while(|w| w[1].recheck);
    let confirms = rests_h
        .filter_map(|w| hours_between(&w[0], &w[1]))
        .any(|h| h >= RECHECK_AFTER_H);
    Some(Recheck {
        rest_h: hours_between(before.last()?, last),
        stiffness: change(alike, last),
        confirms,
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

/// The stages still to be worked, the next one first, and how many of its cycles each has left. A stage is through when it
/// has settled or its cycles are spent.
pub fn stages_left(
    batches: &[Batch],
    stages_deg: &[f64],
    cycles_per_stage: f64,
) -> Vec<(f64, f64)> {
    let sound = Course::of(batches).sound;
    let left = |&stage_deg: &f64| {
        let of_stage = sound.iter().copied().filter(|b| b.is_of(stage_deg));
        let left = cycles_per_stage - spent(batches, stage_deg);
        let settled = is_settled(&of_stage.collect::<Vec<_>>());
        (left >= 1.0 && !settled).then_some((stage_deg, left))
    };
    stages_deg.iter().filter_map(left).collect()
}

/// Cycles worked in a stage, by batches.
pub fn spent(batches: &[Batch], stage_deg: f64) -> f64 {
    let of_stage = batches.iter().filter(|b| !b.recheck && b.is_of(stage_deg));
    of_stage.map(|b| b.cycles).sum()
}

/// How many more cycles should show whether a hinge has settled: those of the forecast's far end and two batches without a
/// change, in whole batches of this many, and three batches at least.
pub fn cycles_to_tell(standing: &Standing, batch: f64) -> f64 {
    let decay = standing.stiffness.as_ref().map(|d| &d.forecast);
    let to_come = decay.map_or(0.0, |f| f.hi95.unwrap_or(f.cycles.max(f.lo95)));
    batch * ((to_come / batch).ceil() + 2.0).clamp(3.0, MOST_BATCHES_ADVISED)
}

#[cfg(test)]
#[path = "settling_tests.rs"]
mod tests;
