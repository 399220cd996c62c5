//! Before and after a fix: what changed beyond what repeating the measurement changes, and whether for the better.
//! Judges changes alone, never a surface: limits are the verdict's. Wording for people is the report's.
//!
//! Each change is tested by Welch's t. What both recordings share cancels: of the calibration's and the scale's errors
//! only as much is left as the two sides differ in their dependence on them. All changes together are called at a
//! false-alarm rate of [`FALSE_ALARM_RATE`] after Holm. A knee or a tight spot that only one side has was searched for: its
//! probability is multiplied by the places searched, and the other side is granted one just too small to be found. How far
//! such a knee has moved at least is asked of the side that has none ([`knee`]).
//!
//! Cycles of one recording do not show what mounting the surface anew changes. Where earlier repeats do ([`super::repeats`])
//! and it is more, their spread stands in for the scatter of both sides.

mod comparable;
mod earlier;
mod knee;
mod pairing;

use super::repeats::{FEWEST_REPEATS, Spread};
use super::welch::{Difference, holm};
use crate::aircraft::Surface;
use crate::analysis::{Measured, Quantity, TorqueSource};
use comparable::cautions;
pub(super) use comparable::{AIR_APART_K, SPEED_APART, SUPPLY_APART_V};
pub use earlier::{Earlier, none_repeats};
use pairing::Pairing;
pub(super) use pairing::{own_scatter, value_of};

/// Rate at which a surface that has not changed is called changed, all quantities together.
pub const FALSE_ALARM_RATE: f64 = 0.05;
/// One recording's part in the comparison.
#[derive(Debug, Clone, Copy)]
pub struct Side<'a> {
    pub measured: &'a Measured,
    /// The rig's name; `None` for CSV.
    pub rig: Option<&'a str>,
    /// The servo's tag, where the recording says it.
    pub servo: Option<&'a str>,
    pub channels: &'a [String],
    /// Why its run did not reach its end.
    pub unfinished: Option<&'a str>,
    /// When it began, where the recording says it.
    pub started: Option<jiff::Timestamp>,
    /// It is a sweep between the throws, no batch of working in or the like, whose ends are its stage's.
    pub between_throws: bool,
}

/// What is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    Stiffness,
    Friction,
    KneePlace {
        up_side: bool,
    },
    KneeStiffness {
        up_side: bool,
    },
    TightSpot,
    Slop,
    /// Index into the surface's throws.
    Throw(usize),
    PeakTorque,
    /// At neutral, at the lower end, at the upper end.
    HoldCurrent(usize),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    Better,
    /// Less than what repeating the measurement may change, or nothing.
    NoChangeShown,
    /// It changed, and neither is better: a throw beyond what is asked.
    Changed,
    Worse,
}

/// A quantity before and after.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    pub what: What,
    /// As measured; of a knee or tight spot `None` where that side has none.
    pub before: Option<Quantity>,
    pub after: Option<Quantity>,
    /// After − before, with its own 95 % interval. Of a knee that only one side has, that it moved at least so far (one-sided,
    /// 97.5 %), without an interval: how far beyond is not known.
    pub change: Quantity,
    pub at_least: bool,
    /// What earlier repeats of the whole measurement scattered by, and whether that was counted.
    pub spread: Option<(Spread, bool)>,
    /// The smallest change that would be called in 95 of 100 repeats, were it tested first of all compared.
    pub smallest_seen: f64,
    /// Probability of so large a change where there is none; adjusted for all that was compared.
    pub p: f64,
    pub p_of_all: f64,
    pub verdict: Verdict,
}

/// In what the recordings differ besides the fix, or fall short.
#[derive(Debug, Clone, PartialEq)]
pub enum Caution {
    Rig(String, String),
    Channels {
        only_before: Vec<String>,
        only_after: Vec<String>,
    },
    TorqueFrom(TorqueSource, TorqueSource),
    Servo(String, String),
    Air {
        before_c: f64,
        after_c: f64,
    },
    Speed {
        before_deg_s: f64,
        after_deg_s: f64,
    },
    Supply {
        before_v: f64,
        after_v: f64,
    },
    Unfinished {
        after: bool,
        why: String,
    },
    /// The one called after began before the other.
    Backwards {
        before: jiff::Timestamp,
        after: jiff::Timestamp,
    },
    /// It began later than now, by the clock of this computer.
    InTheFuture {
        after: bool,
        at: jiff::Timestamp,
    },
    /// No sweep between the throws: how far it went was its stage's choice.
    WithinAStage {
        after: bool,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    Better,
    NoChangeShown,
    /// Something is worse, whatever else is better.
    Worse,
    NothingComparable,
}

/// What the comparison came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Proof {
    pub changes: Vec<Change>,
    /// Measured on one side alone, or without an interval.
    pub left_out: Vec<What>,
    pub cautions: Vec<Caution>,
    /// Earlier recordings of the surface that repeat at least one quantity compared: the most that one has. Fewer than
    /// [`FEWEST_REPEATS`] say nothing.
    pub repeats: usize,
    pub outcome: Outcome,
}

impl Proof {
    /// Whether there are repeats enough to know what repeating the whole measurement changes.
    pub fn knows_repeats(&self) -> bool {
        self.repeats >= FEWEST_REPEATS
    }

    /// Adds a caution for a side that began later than `now`.
    pub fn mind_the_future(&mut self, before: &Side, after: &Side, now: jiff::Timestamp) {
        for (side, after) in [(before, false), (after, true)] {
            if let Some(at) = side.started.filter(|at| *at > now) {
                self.cautions.push(Caution::InTheFuture { after, at });
            }
        }
    }
}

/// A change on its way: estimated, not judged yet.
struct Found {
    what: What,
    before: Option<Quantity>,
    after: Option<Quantity>,
    difference: Difference,
    /// Probability where there is no change, before the places searched are counted.
    p: f64,
    at_least: bool,
    spread: Option<(Spread, bool)>,
    /// Places that were searched for it.
    places: f64,
    /// Which way is better: −1 less, +1 more; 0 neither.
    better: f64,
}

/// Compares two recordings of one surface. `repeats`: earlier recordings of it by the same rig.
pub fn compare(surface: &Surface, before: &Side, after: &Side, repeats: &[Earlier]) -> Proof {
    let cautions = cautions(before, after);
    let mut pairing = Pairing::of(before, after, surface, repeats);
    pairing.curve();
    pairing.rest();
    let repeats = pairing.most_repeats();
    let Pairing {
        found, left_out, ..
    } = pairing;
    let p: Vec<f64> = found.iter().map(|f| (f.p * f.places).min(1.0)).collect();
    let adjusted = holm(&p);
    let count = found.len() as f64;
    let changes: Vec<Change> = found
        .iter()
        .zip(p.iter().zip(adjusted))
        .map(|(f, (&p, p_of_all))| Change {
            what: f.what,
            before: f.before,
            after: f.after,
            change: match f.at_least {
                true => Quantity {
                    value: f.difference.value,
                    interval: None,
                },
                false => f.difference.quantity(),
            },
            at_least: f.at_least,
            spread: f.spread,
            smallest_seen: f
                .difference
                .smallest_seen(FALSE_ALARM_RATE / (count * f.places)),
            p,
            p_of_all,
            verdict: verdict(f, p_of_all),
        })
        .collect();
    let any = |verdict| changes.iter().any(|c| c.verdict == verdict);
    let outcome = if changes.is_empty() {
        Outcome::NothingComparable
    } else if any(Verdict::Worse) {
        Outcome::Worse
    } else if any(Verdict::Better) {
        Outcome::Better
    } else {
        Outcome::NoChangeShown
    };
    Proof {
        changes,
        left_out,
        cautions,
        repeats,
        outcome,
    }
}

fn verdict(found: &Found, p_of_all: f64) -> Verdict {
    if p_of_all > FALSE_ALARM_RATE {
        return Verdict::NoChangeShown;
    }
    match found.better * found.difference.value {
        way if way > 0.0 => Verdict::Better,
        way if way < 0.0 => Verdict::Worse,
        _ => Verdict::Changed,
    }
}
