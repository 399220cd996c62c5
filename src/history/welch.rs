//! The difference of two independent estimates whose scatters need not be alike, with what both share left out once.
//! Knows nothing of surfaces, and decides nothing.
//!
//! B. L. Welch, The generalization of 'Student's' problem when several different population variances are involved,
//! Biometrika 34 (1947) 28; effective degrees of freedom as in JCGM 100:2008, equation (G.2b).

use crate::analysis::stats::student;
use crate::analysis::{Interval, Quantity};

/// A standard uncertainty and its degrees of freedom (infinite: known from elsewhere than scatter).
pub type Part = (f64, f64);

/// An estimated difference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    pub value: f64,
    pub u: f64,
    pub df: f64,
}

impl Difference {
    /// `parts`: all that makes the difference uncertain: each side's scatter, and what of the shared does not cancel.
    /// `None` where no interval can be given: a part without degrees of freedom, no uncertainty at all, or no number.
    pub fn of(before: f64, after: f64, parts: &[Part]) -> Option<Self> {
        let (u, df) = student::combine(parts);
        let value = after - before;
        let told = value.is_finite() && u.is_finite() && u > 0.0 && df >= 1.0;
        told.then_some(Self { value, u, df })
    }

    pub fn t(&self) -> f64 {
        self.value / self.u
    }

    /// Two-sided probability of so large a difference where there is none.
    pub fn p(&self) -> f64 {
        student::t_two_sided_p(self.t(), self.df)
    }

    /// With the 95 % interval.
    pub fn quantity(&self) -> Quantity {
        let half = student::t95(self.df) * self.u;
        Quantity {
            value: self.value,
            interval: Some(Interval {
                u: self.u,
                lo95: self.value - half,
                hi95: self.value + half,
            }),
        }
    }

    /// The smallest true difference that a two-sided test at `level` finds in 95 of 100 repeats:
    /// (t₁₋level/₂ + t₀.₉₅)·u. After L. A. Currie, Limits for qualitative detection and quantitative determination,
    /// Analytical Chemistry 40 (1968) 586, whose detection limit stands as far beyond the decision limit, and ISO 11843-1
    /// (both from memory); the noncentral t is replaced by the sum of two central ones.
    pub fn smallest_seen(&self, level: f64) -> f64 {
        (student::t_quantile(1.0 - 0.5 * level, self.df) + student::t_quantile(0.95, self.df))
            * self.u
    }
}

/// Probabilities adjusted so that whatever is called at `level` keeps the false-alarm rate of all together (S. Holm, A
/// simple sequentially rejective multiple test procedure, Scandinavian Journal of Statistics 6 (1979) 65).
pub fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    let mut adjusted = vec![1.0; p.len()];
    let mut highest = 0.0_f64;
    for (rank, &i) in order.iter().enumerate() {
        highest = highest.max((p[i] * (p.len() - rank) as f64).min(1.0));
        adjusted[i] = highest;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_both_share_only_widens_by_what_is_left_of_it() {
        let alone = Difference::of(1.0, 1.5, &[(0.1, 9.0), (0.1, 9.0)]).unwrap();
        assert!((alone.df - 18.0).abs() < 1e-9 && (alone.u - 0.02_f64.sqrt()).abs() < 1e-12);
        let shared =
            Difference::of(1.0, 1.5, &[(0.1, 9.0), (0.1, 9.0), (0.2, f64::INFINITY)]).unwrap();
        assert!(shared.u > alone.u && shared.df > alone.df && shared.p() > alone.p());
    }

    #[test]
    fn where_nothing_tells_the_scatter_there_is_no_difference_to_speak_of() {
        assert!(Difference::of(1.0, 2.0, &[(0.1, 0.0), (0.1, 9.0)]).is_none());
        assert!(Difference::of(1.0, 2.0, &[(0.0, 9.0), (0.0, 9.0)]).is_none());
        assert!(Difference::of(f64::NAN, 2.0, &[(0.1, 9.0)]).is_none());
    }

    #[test]
    fn holm_by_hand() {
        // Sorted 0.01·4, 0.02·3, 0.03·2, 0.2·1, each at least the one before.
        let adjusted = holm(&[0.03, 0.01, 0.2, 0.02]);
        for (found, expected) in adjusted.iter().zip([0.06, 0.04, 0.2, 0.06]) {
            assert!((found - expected).abs() < 1e-12, "{adjusted:?}");
        }
        assert!(holm(&[]).is_empty());
        assert_eq!(holm(&[0.9, 0.8]), [1.0, 1.0]);
    }
}
