//! Before and after a fix: what changed beyond what repeating the measurement changes, and whether for the better.
//! Judges changes alone, never a surface: limits are the verdict's. Wording for people is the report's.
//!
//! Each change is tested by Welch's t. What both recordings share cancels: of the calibration's and the scale's errors
//! only as much is left as the two sides differ in their dependence on them. All changes together are called at a
//! false-alarm rate of [`FALSE_ALARM_RATE`] after Holm. A knee or a tight spot that only one side has was searched for: its
//! probability is multiplied by the places searched, and the other side is granted one just too small to be found.

use super::welch::{Difference, Part, holm};
use crate::aircraft::Surface;
use crate::analysis::{Budget, Budgets, Curve, Measured, Quantity, TorqueSource, variance};

/// Rate at which a surface that has not changed is called changed, all quantities together.
pub const FALSE_ALARM_RATE: f64 = 0.05;
/// Smaller knees (share of the slope) and tight spots (share of friction, and of the torque's span) are not found: by torque
/// and by supply power, as the search has it.
const LEAST_KNEE: f64 = 0.20;
const LEAST_SPOT: (f64, f64) = (0.15, 0.02);
const LEAST_SPOT_BY_POWER: (f64, f64) = (0.45, 0.05);
/// Independent places searched: a knee in two degrees; a tight spot in two degrees at four widths in three directions.
const KNEES_PER_DEG: f64 = 0.5;
const SPOTS_PER_DEG: f64 = 6.0;
/// Beyond these the two recordings were not made alike (common practice, no source).
const AIR_APART_K: f64 = 8.0;
const SPEED_APART: f64 = 0.25;
const SUPPLY_APART_V: f64 = 0.5;

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
    /// After − before, with its own 95 % interval.
    pub change: Quantity,
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
    pub outcome: Outcome,
}

/// A change on its way: estimated, not judged yet.
struct Found {
    what: What,
    before: Option<Quantity>,
    after: Option<Quantity>,
    difference: Difference,
    /// Places that were searched for it.
    places: f64,
    /// Which way is better: −1 less, +1 more; 0 neither.
    better: f64,
}

/// Compares two recordings of one surface.
pub fn compare(surface: &Surface, before: &Side, after: &Side) -> Proof {
    let cautions = cautions(before, after);
    let mut pairing = Pairing::of(before, after);
    pairing.curve();
    pairing.rest(surface);
    let Pairing {
        found, left_out, ..
    } = pairing;
    let p: Vec<f64> = found
        .iter()
        .map(|f| (f.difference.p() * f.places).min(1.0))
        .collect();
    let adjusted = holm(&p);
    let count = found.len() as f64;
    let changes: Vec<Change> = found
        .iter()
        .zip(p.iter().zip(adjusted))
        .map(|(f, (&p, p_of_all))| Change {
            what: f.what,
            before: f.before,
            after: f.after,
            change: f.difference.quantity(),
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

/// Both sides, and what has been found of them.
struct Pairing<'a> {
    before: &'a Measured,
    after: &'a Measured,
    /// Torque by the same sensor, or by the same servo's power.
    same_scale: bool,
    same_servo: bool,
    same_source: bool,
    found: Vec<Found>,
    left_out: Vec<What>,
}

impl<'a> Pairing<'a> {
    fn of(before: &Side<'a>, after: &Side<'a>) -> Self {
        let (b, a) = (before.measured, after.measured);
        let same_servo = !differ(before.servo, after.servo);
        // Both were read by one calibration: of two servos it is at most one's.
        let readable = same_servo || b.torque_from != TorqueSource::SupplyPower;
        Self {
            before: b,
            after: a,
            same_scale: before.rig == after.rig,
            same_servo,
            same_source: b.torque_from == a.torque_from && readable,
            found: Vec::new(),
            left_out: Vec::new(),
        }
    }

    /// The difference of two budgets: scatter and what is each one's own from both, the shared as far as it is left.
    fn difference(&self, before: &Budget, after: &Budget) -> Option<Difference> {
        let known = |u: f64| (u, f64::INFINITY);
        let mut parts: Vec<Part> = vec![
            (before.scatter_u, before.df),
            (after.scatter_u, after.df),
            known(before.own_u),
            known(after.own_u),
        ];
        let (by_b, by_a) = (before.by_servo, after.by_servo);
        let (c_b, c_a) = (
            &self.before.budgets.curve.servo,
            &self.after.budgets.curve.servo,
        );
        if self.same_servo && self.same_scale && c_b == c_a {
            let left = std::array::from_fn(|i| by_a[i] - by_b[i]);
            parts.push(known(variance(&left, c_b).sqrt()));
        } else {
            parts.push(known(variance(&by_b, c_b).sqrt()));
            parts.push(known(variance(&by_a, c_a).sqrt()));
        }
        let (scale_b, scale_a) = (before.scale_u * before.value, after.scale_u * after.value);
        if self.same_scale {
            parts.push(known((scale_a - scale_b).abs()));
        } else {
            parts.extend([known(scale_b.abs()), known(scale_a.abs())]);
        }
        Difference::of(before.value, after.value, &parts)
    }

    fn add(
        &mut self,
        what: What,
        better: f64,
        before: (Option<Budget>, Option<Quantity>),
        after: (Option<Budget>, Option<Quantity>),
    ) {
        self.add_searched(what, better, before, after, 1.0);
    }

    fn add_searched(
        &mut self,
        what: What,
        better: f64,
        before: (Option<Budget>, Option<Quantity>),
        after: (Option<Budget>, Option<Quantity>),
        places: f64,
    ) {
        let difference = before
            .0
            .zip(after.0)
            .and_then(|(b, a)| self.difference(&b, &a));
        match difference {
            Some(difference) => self.found.push(Found {
                what,
                before: before.1,
                after: after.1,
                difference,
                places,
                better,
            }),
            None if before.1.is_some() || after.1.is_some() => self.left_out.push(what),
            None => {}
        }
    }

    /// What hangs on torque.
    fn curve(&mut self) {
        let (Some(b), Some(a)) = (&self.before.curve, &self.after.curve) else {
            if self.before.curve.is_some() || self.after.curve.is_some() {
                self.left_out.extend([What::Stiffness, What::Friction]);
            }
            return;
        };
        if !self.same_source {
            self.left_out
                .extend([What::Stiffness, What::Friction, What::PeakTorque]);
            return;
        }
        let (ours, theirs) = (&self.before.budgets, &self.after.budgets);
        self.add(
            What::Stiffness,
            -1.0,
            (ours.curve.stiffness, Some(b.stiffness_ncm_per_deg)),
            (theirs.curve.stiffness, Some(a.stiffness_ncm_per_deg)),
        );
        self.add(
            What::Friction,
            -1.0,
            (ours.curve.friction, Some(b.friction_ncm)),
            (theirs.curve.friction, Some(a.friction_ncm)),
        );
        for up_side in [true, false] {
            self.knee(up_side, b, a);
        }
        self.tight_spot(b, a);
        self.add(
            What::PeakTorque,
            -1.0,
            (ours.peak_torque, self.before.load.peak_torque_ncm),
            (theirs.peak_torque, self.after.load.peak_torque_ncm),
        );
    }

    fn knee(&mut self, up_side: bool, b: &Curve, a: &Curve) {
        let of = |curve: &Curve| curve.knees.iter().find(|k| k.up_side == up_side).copied();
        let (knee_b, knee_a) = (of(b), of(a));
        if knee_b.is_none() && knee_a.is_none() {
            return;
        }
        let index = usize::from(!up_side);
        let budgets = [&self.before.budgets, &self.after.budgets].map(|b| b.curve.knees[index]);
        let beyond =
            |knee: Option<crate::analysis::Knee>| knee.map(|k| k.stiffness_beyond_ncm_per_deg);
        let what = What::KneeStiffness { up_side };
        if let (Some(knee_b), Some(knee_a)) = (knee_b, knee_a) {
            let out = if up_side { 1.0 } else { -1.0 };
            self.add(
                What::KneePlace { up_side },
                out,
                (budgets[0].map(|k| k.at_deg), Some(knee_b.at_deg)),
                (budgets[1].map(|k| k.at_deg), Some(knee_a.at_deg)),
            );
            self.add(
                what,
                -1.0,
                (budgets[0].map(|k| k.stiffness_beyond), beyond(Some(knee_b))),
                (budgets[1].map(|k| k.stiffness_beyond), beyond(Some(knee_a))),
            );
            return;
        }
        let without = |budgets: &Budgets| {
            let straight = budgets.curve.stiffness?;
            Some(unseen(straight, LEAST_KNEE * straight.value.abs()))
        };
        let places = (KNEES_PER_DEG * self.travel_deg()).max(1.0);
        self.add_searched(
            what,
            -1.0,
            (
                budgets[0].map_or_else(
                    || without(&self.before.budgets),
                    |k| Some(k.stiffness_beyond),
                ),
                beyond(knee_b),
            ),
            (
                budgets[1].map_or_else(
                    || without(&self.after.budgets),
                    |k| Some(k.stiffness_beyond),
                ),
                beyond(knee_a),
            ),
            places,
        );
    }

    fn tight_spot(&mut self, b: &Curve, a: &Curve) {
        let height = |curve: &Curve| {
            let heights = curve.tight_spots.iter().map(|s| s.height_ncm);
            heights.max_by(|a, b| a.value.total_cmp(&b.value))
        };
        let found = [&self.before.budgets, &self.after.budgets].map(|b| b.curve.highest_spot);
        let shares = match self.before.torque_from {
            TorqueSource::SupplyPower => LEAST_SPOT_BY_POWER,
            _ => LEAST_SPOT,
        };
        // Where there is none a fit would scatter as that of the other side does.
        let absent = |other: Option<Budget>, curve: &Curve| {
            let floor = (shares.0 * curve.friction_ncm.value).max(shares.1 * span_ncm(curve));
            other.map(|other| {
                unseen(
                    Budget {
                        value: 0.0,
                        by_servo: [0.0; 6],
                        own_u: 0.0,
                        ..other
                    },
                    floor,
                )
            })
        };
        let places = match found {
            [Some(_), Some(_)] => 1.0,
            _ => (SPOTS_PER_DEG * self.travel_deg()).max(1.0),
        };
        self.add_searched(
            What::TightSpot,
            -1.0,
            (found[0].or_else(|| absent(found[1], b)), height(b)),
            (found[1].or_else(|| absent(found[0], a)), height(a)),
            places,
        );
    }

    /// What needs no torque.
    fn rest(&mut self, surface: &Surface) {
        let whole = |q: Option<Quantity>| (q.as_ref().and_then(Budget::of), q);
        self.add(
            What::Slop,
            -1.0,
            whole(self.before.slop_deg),
            whole(self.after.slop_deg),
        );
        for (index, throw) in surface.throws.iter().enumerate() {
            let reached = |m: &Measured| m.throws.get(index).and_then(|t| t.reached_mm);
            let (b, a) = (reached(self.before), reached(self.after));
            let short =
                |q: Option<Quantity>| q.map_or(0.0, |q| (throw.asked_mm - q.value).max(0.0));
            // Nearer to what is asked, or over it, is better; beyond it more is neither.
            let differs = short(b) > 0.0 || short(a) > 0.0;
            let better = if differs { 1.0 } else { 0.0 };
            self.add(What::Throw(index), better, whole(b), whole(a));
        }
        for place in 0..3 {
            let of = |m: &Measured| {
                let budget = m.budgets.holds[place];
                (budget, budget.map(|b| as_quantity(&b)))
            };
            let (b, a) = (of(self.before), of(self.after));
            self.add(What::HoldCurrent(place), -1.0, b, a);
        }
    }

    fn travel_deg(&self) -> f64 {
        [self.before, self.after]
            .into_iter()
            .filter_map(|m| m.travel_deg)
            .map(|(low, high)| high - low)
            .fold(0.0, f64::max)
    }
}

/// A side without the feature, that may have one up to `floor` which nobody would have found: a rectangle (GUM 4.3.7).
fn unseen(budget: Budget, floor: f64) -> Budget {
    Budget {
        own_u: budget.own_u.hypot(floor / 3.0_f64.sqrt()),
        ..budget
    }
}

fn as_quantity(budget: &Budget) -> Quantity {
    Quantity {
        value: budget.value,
        interval: crate::analysis::stats::student::interval(
            budget.value,
            budget.scatter_u,
            budget.df,
        ),
    }
}

fn span_ncm(curve: &Curve) -> f64 {
    let torques = curve.fit.iter().flat_map(|f| [f.up_ncm, f.down_ncm]);
    let (low, high) = torques.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), t| {
        (l.min(t), h.max(t))
    });
    (high - low).max(0.0)
}

fn differ(before: Option<&str>, after: Option<&str>) -> bool {
    before.zip(after).is_some_and(|(b, a)| b != a)
}

fn cautions(before: &Side, after: &Side) -> Vec<Caution> {
    let mut found = Vec::new();
    for (side, is_after) in [(before, false), (after, true)] {
        found.extend(side.unfinished.map(|why| Caution::Unfinished {
            after: is_after,
            why: why.to_owned(),
        }));
    }
    let shown = |name: Option<&str>| name.unwrap_or("none named").to_owned();
    if before.rig != after.rig {
        found.push(Caution::Rig(shown(before.rig), shown(after.rig)));
    }
    if differ(before.servo, after.servo) {
        found.push(Caution::Servo(shown(before.servo), shown(after.servo)));
    }
    let only = |one: &[String], other: &[String]| -> Vec<String> {
        one.iter().filter(|c| !other.contains(c)).cloned().collect()
    };
    let (only_before, only_after) = (
        only(before.channels, after.channels),
        only(after.channels, before.channels),
    );
    if !(only_before.is_empty() && only_after.is_empty()) {
        found.push(Caution::Channels {
            only_before,
            only_after,
        });
    }
    let (b, a) = (before.measured, after.measured);
    if b.torque_from != a.torque_from {
        found.push(Caution::TorqueFrom(b.torque_from, a.torque_from));
    }
    let (b, a) = (&b.conditions, &a.conditions);
    if let Some((before_c, after_c)) = b.air_c.zip(a.air_c)
        && (after_c - before_c).abs() > AIR_APART_K
    {
        found.push(Caution::Air { before_c, after_c });
    }
    if let Some((before_deg_s, after_deg_s)) = b.speed_deg_s.zip(a.speed_deg_s)
        && (after_deg_s / before_deg_s - 1.0).abs() > SPEED_APART
    {
        found.push(Caution::Speed {
            before_deg_s,
            after_deg_s,
        });
    }
    if let Some((before_v, after_v)) = b.supply_v.zip(a.supply_v)
        && (after_v - before_v).abs() > SUPPLY_APART_V
    {
        found.push(Caution::Supply { before_v, after_v });
    }
    found
}
