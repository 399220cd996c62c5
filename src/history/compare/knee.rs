//! A knee that only one of two recordings has: how far it has moved at the least, or from how far away it came.
//! Searches no recording: what a knee at each place would be is measured beforehand ([`AbsentKnee`]).

use super::pairing::Pairing;
use super::{Found, What};
use crate::analysis::stats::student;
use crate::analysis::{AbsentKnee, Budget, KneeBudget, Quantity};
use crate::history::welch::Difference;

impl Pairing<'_> {
    /// The side without the knee rules it out, as stiff as the other side has it, from neutral up to some place: a
    /// confidence set by the inversion of a test at every place (e.g. G. Casella and R. L. Berger, Statistical Inference,
    /// 2nd ed., Duxbury 2002, section 9.2.1; from memory). Beyond the travel's end it would leave no trace, so the set is
    /// open there. `None`: nothing is ruled out beyond where the other side has it.
    pub(super) fn moved_at_least(
        &self,
        up_side: bool,
        budgets: [Option<KneeBudget>; 2],
        at: [Option<Quantity>; 2],
        places: f64,
    ) -> Option<Found> {
        let (there, gone) = match budgets {
            [Some(knee), None] => (knee, true),
            [None, Some(knee)] => (knee, false),
            _ => return None,
        };
        let (with, without) = match gone {
            true => (self.before, self.after),
            false => (self.after, self.before),
        };
        let absent = &without.budgets.curve.absent_knees[usize::from(!up_side)];
        let out_deg = |at: f64| if up_side { at } else { -at };
        let found_deg = out_deg(there.at_deg.value);
        let shown = |a: &AbsentKnee| self.less_than(&a.extra, &there.extra_stiffness);
        let ruled_out = absent.iter().take_while(|a| {
            shown(a).is_some_and(|d| d.quantity().interval.is_some_and(|i| i.lo95 > 0.0))
        });
        let nearest_deg = out_deg(ruled_out.last()?.at_deg);
        let end_deg = out_deg(absent.last()?.at_deg);
        // Limits of a difference from the limits of its two sides (G. Y. Zou and A. Donner, Construction of confidence limits
        // about effect measures: a general approach, Statistics in Medicine 27 (2008) 1693, equation 4; from memory): the
        // one side is best explained by a knee at the end, or none.
        let (u, df) = there.at_deg.combined(&with.budgets.curve.servo);
        let reach = (end_deg - nearest_deg).hypot(student::t95(df) * u);
        let least_deg = end_deg - found_deg - reach;
        let unmoved = absent.iter().find(|a| out_deg(a.at_deg) >= found_deg)?;
        let p = shown(unmoved)?.p();
        let outward = if up_side == gone { 1.0 } else { -1.0 };
        // What could be seen is told as if the other side's knee stood as uncertain.
        let scatter = Difference::of(0.0, outward * least_deg, &[(u, df), (u, df)])?;
        (least_deg > 0.0).then_some(Found {
            what: What::KneePlace { up_side },
            before: at[0],
            after: at[1],
            difference: scatter,
            p,
            at_least: true,
            spread: None,
            places,
            better: if up_side { 1.0 } else { -1.0 },
        })
    }

    /// How much more of the extra slope the one side has than the other could have there.
    fn less_than(&self, absent: &Budget, there: &Budget) -> Option<Difference> {
        self.difference(absent, there, None).map(|d| d.0)
    }
}
