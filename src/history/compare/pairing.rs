//! What is compared, one quantity after another, and how uncertain each change is. Calls nothing better or worse.

use super::comparable::differ;
use super::{Earlier, Found, Side, What};
use crate::aircraft::Surface;
use crate::analysis::stats::student;
use crate::analysis::{Budget, Budgets, Curve, Measured, Quantity, TorqueSource, variance};
use crate::history::repeats::Spread;
use crate::history::welch::{Difference, Part};

/// Smaller knees (share of the slope) and tight spots (share of friction, and of the torque's span) are not found: by torque
/// and by supply power, as the search has it.
const LEAST_KNEE: f64 = 0.20;
const LEAST_SPOT: (f64, f64) = (0.15, 0.02);
const LEAST_SPOT_BY_POWER: (f64, f64) = (0.45, 0.05);
/// Independent places searched: a knee in two degrees; a tight spot in two degrees at four widths in three directions.
const KNEES_PER_DEG: f64 = 0.5;
const SPOTS_PER_DEG: f64 = 6.0;
/// Both sides, and what has been found of them.
pub(super) struct Pairing<'a> {
    pub(super) before: &'a Measured,
    pub(super) after: &'a Measured,
    surface: &'a Surface,
    repeats: Vec<Earlier<'a>>,
    /// Torque by the same sensor, or by the same servo's power.
    same_scale: bool,
    same_servo: bool,
    same_source: bool,
    between_throws: bool,
    pub(super) found: Vec<Found>,
    pub(super) left_out: Vec<What>,
}

impl<'a> Pairing<'a> {
    pub fn of(
        before: &Side<'a>,
        after: &Side<'a>,
        surface: &'a Surface,
        repeats: &[Earlier<'a>],
    ) -> Self {
        let (b, a) = (before.measured, after.measured);
        let same_servo = !differ(before.servo, after.servo);
        // Both were read by one calibration: of two servos it is at most one's.
        let readable = same_servo || b.torque_from != TorqueSource::SupplyPower;
        Self {
            before: b,
            after: a,
            surface,
            repeats: repeats.to_vec(),
            same_scale: before.rig == after.rig,
            same_servo,
            same_source: b.torque_from == a.torque_from && readable,
            between_throws: before.between_throws && after.between_throws,
            found: Vec::new(),
            left_out: Vec::new(),
        }
    }

    /// The difference of two budgets: scatter and what is each one's own from both, the shared as far as it is left.
    /// `spread`: what repeats scattered by, counted in place of both sides' scatter where it is more; with whether it was.
    pub(super) fn difference(
        &self,
        before: &Budget,
        after: &Budget,
        spread: Option<Spread>,
    ) -> Option<(Difference, bool)> {
        let known = |u: f64| (u, f64::INFINITY);
        let mut parts: Vec<Part> = vec![
            (before.scatter_u, before.df),
            (after.scatter_u, after.df),
            known(before.own_u),
            known(after.own_u),
        ];
        let explained = student::combine(&parts).0;
        let repeated = spread.map(|s| s.of_a_difference());
        let more = repeated.filter(|r| r.0 > explained);
        if let Some(repeated) = more {
            parts = vec![repeated];
        }
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
        let difference = Difference::of(before.value, after.value, &parts)?;
        Some((difference, more.is_some()))
    }

    /// What the repeats say of a quantity.
    fn spread(&self, what: What) -> Option<Spread> {
        Spread::of(&self.repeated(what))
    }

    /// A quantity's values in the recordings that repeat it.
    fn repeated(&self, what: What) -> Vec<f64> {
        let source = self.before.torque_from;
        let alike = self.repeats.iter().filter(|r| r.repeats(what, source));
        alike.filter_map(|r| value_of(r.measured, what)).collect()
    }

    /// Repeats of the quantity found that has the most.
    pub(super) fn most_repeats(&self) -> usize {
        let counts = self.found.iter().map(|f| self.repeated(f.what).len());
        counts.max().unwrap_or(0)
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
        // What was searched for on one side is held against a bound, not against another value.
        let spread = self.spread(what).filter(|_| places == 1.0);
        let both = before.0.zip(after.0);
        match both.and_then(|(b, a)| self.difference(&b, &a, spread)) {
            Some((difference, repeats_counted)) => self.found.push(Found {
                what,
                before: before.1,
                after: after.1,
                difference,
                p: difference.p(),
                at_least: false,
                spread: spread.map(|s| (s, repeats_counted)),
                places,
                better,
            }),
            None if before.1.is_some() || after.1.is_some() => self.left_out.push(what),
            None => {}
        }
    }

    /// What hangs on torque.
    pub fn curve(&mut self) {
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
        let at = [knee_b, knee_a].map(|k| k.map(|k| k.at_deg));
        self.found
            .extend(self.moved_at_least(up_side, budgets, at, places));
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
            (found[0].or_else(|| absent(found[1], b)), highest_spot(b)),
            (found[1].or_else(|| absent(found[0], a)), highest_spot(a)),
            places,
        );
    }

    /// What needs no torque.
    pub fn rest(&mut self) {
        let whole = |q: Option<Quantity>| (q.as_ref().and_then(Budget::of), q);
        self.add(
            What::Slop,
            -1.0,
            whole(self.before.slop_deg),
            whole(self.after.slop_deg),
        );
        for (index, throw) in self.surface.throws.iter().enumerate() {
            // The end of a stage was chosen, and says nothing of how far the surface can go.
            if !self.between_throws {
                self.left_out.push(What::Throw(index));
                continue;
            }
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

/// A quantity's value in one recording; `None` where it was not measured, or the feature is not there.
pub(in crate::history) fn value_of(measured: &Measured, what: What) -> Option<f64> {
    let curve = measured.curve.as_ref();
    let knee = |up_side: bool| curve?.knees.iter().find(|k| k.up_side == up_side);
    let quantity = match what {
        What::Stiffness => curve?.stiffness_ncm_per_deg,
        What::Friction => curve?.friction_ncm,
        What::KneePlace { up_side } => knee(up_side)?.at_deg,
        What::KneeStiffness { up_side } => knee(up_side)?.stiffness_beyond_ncm_per_deg,
        What::TightSpot => highest_spot(curve?)?,
        What::Slop => measured.slop_deg?,
        What::Throw(index) => measured.throws.get(index)?.reached_mm?,
        What::PeakTorque => measured.load.peak_torque_ncm?,
        What::HoldCurrent(place) => {
            return Some(measured.budgets.holds.get(place)?.as_ref()?.value);
        }
    };
    quantity.value.is_finite().then_some(quantity.value)
}

/// How well one recording by itself knows a quantity, by its own strokes and what is its own: standard uncertainty and degrees of
/// freedom. What all recordings share is left out. `None` where it tells none.
pub(in crate::history) fn own_scatter(measured: &Measured, what: What) -> Option<Part> {
    let budgets = &measured.budgets;
    let curve = &budgets.curve;
    let knee = |up_side: bool| curve.knees[usize::from(!up_side)];
    let whole = |q: Option<Quantity>| q.as_ref().and_then(Budget::of);
    let budget = match what {
        What::Stiffness => curve.stiffness,
        What::Friction => curve.friction,
        What::KneePlace { up_side } => knee(up_side).map(|k| k.at_deg),
        What::KneeStiffness { up_side } => knee(up_side).map(|k| k.stiffness_beyond),
        What::TightSpot => curve.highest_spot,
        What::Slop => whole(measured.slop_deg),
        What::Throw(index) => whole(measured.throws.get(index).and_then(|t| t.reached_mm)),
        What::PeakTorque => budgets.peak_torque,
        What::HoldCurrent(place) => *budgets.holds.get(place)?,
    }?;
    let (u, df) = student::combine(&[(budget.scatter_u, budget.df), (budget.own_u, f64::INFINITY)]);
    (u.is_finite() && u > 0.0 && df >= 1.0).then_some((u, df))
}

fn highest_spot(curve: &Curve) -> Option<Quantity> {
    let heights = curve.tight_spots.iter().map(|s| s.height_ncm);
    heights.max_by(|a, b| a.value.total_cmp(&b.value))
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
