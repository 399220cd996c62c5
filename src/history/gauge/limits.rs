//! Intervals of sums and differences of mean squares, by the modified large-sample method: exact where one of them stands alone,
//! and near it elsewhere.
//!
//! Sums: F. A. Graybill, C.-M. Wang, Confidence intervals on nonnegative linear combinations of variances, Journal of the American
//! Statistical Association 75 (1980) 869. Differences: N. Ting, R. K. Burdick, F. A. Graybill, S. Jeyaratnam, T.-F. C. Lu, Confidence
//! intervals on linear combinations of variance components that are unrestricted in sign, Journal of Statistical Computation and Simulation
//! 35 (1990) 135. Formulas as in R. K. Burdick, F. A. Graybill, Confidence Intervals on Variance Components, 1992, section 3.3;
//! all from memory, and therefore held to their promise by simulation below.

use super::anova::MeanSquare;
use crate::analysis::stats::variance::f_quantile;
use crate::analysis::{Interval, Quantity};

/// Each tail of a 95 % interval.
const TAIL: f64 = 0.025;

/// A part of a variance: so many times a mean square. Below nought it is taken off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    pub times: f64,
    pub square: MeanSquare,
}

/// A variance made of mean squares.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sum(Vec<Term>);

impl Sum {
    /// Parts that are nought do not count.
    pub fn of(terms: &[(f64, MeanSquare)]) -> Self {
        let counted = terms.iter().filter(|(times, _)| *times != 0.0);
        Self(
            counted
                .map(|&(times, square)| Term { times, square })
                .collect(),
        )
    }

    /// May be below nought.
    pub fn value(&self) -> f64 {
        self.0.iter().map(|t| t.times * t.square.value).sum()
    }

    /// Satterthwaite's degrees of freedom (F. E. Satterthwaite, An approximate distribution of estimates of variance components,
    /// Biometrics 2 (1946) 110).
    pub fn df(&self) -> f64 {
        let fourths = self
            .0
            .iter()
            .map(|t| (t.times * t.square.value).powi(2) / t.square.df);
        self.value().powi(2) / fourths.sum::<f64>()
    }

    /// The 95 % interval of the variance, not cut at nought.
    pub fn interval(&self) -> (f64, f64) {
        let size = |t: &Term| (t.times * t.square.value).abs();
        let low_side = |t: &Term| match t.times > 0.0 {
            true => shortfall(t.square.df),
            false => excess(t.square.df),
        };
        let high_side = |t: &Term| match t.times > 0.0 {
            true => excess(t.square.df),
            false => shortfall(t.square.df),
        };
        let alone = |side: &dyn Fn(&Term) -> f64| {
            self.0
                .iter()
                .map(|t| (side(t) * size(t)).powi(2))
                .sum::<f64>()
        };
        let (mut below, mut above) = (alone(&low_side), alone(&high_side));
        for plus in self.0.iter().filter(|t| t.times > 0.0) {
            for minus in self.0.iter().filter(|t| t.times < 0.0) {
                let both = size(plus) * size(minus);
                below += both * apart_below(plus.square.df, minus.square.df);
                above += both * apart_above(plus.square.df, minus.square.df);
            }
        }
        below += self.alike(1.0, size);
        above += self.alike(-1.0, size);
        let value = self.value();
        (value - below.max(0.0).sqrt(), value + above.max(0.0).sqrt())
    }

    /// What parts of one sign add where parts of the other are there too; of parts that are all of one sign nothing.
    fn alike(&self, sign: f64, size: impl Fn(&Term) -> f64) -> f64 {
        let (those, others): (Vec<&Term>, Vec<&Term>) =
            self.0.iter().partition(|t| t.times * sign > 0.0);
        if others.is_empty() || those.len() < 2 {
            return 0.0;
        }
        let mut sum = 0.0;
        for (i, a) in those.iter().enumerate() {
            for b in &those[..i] {
                sum += together(a.square.df, b.square.df) * size(a) * size(b);
            }
        }
        sum / (those.len() as f64 - 1.0)
    }

    /// The standard deviation with its 95 % interval, cut at nought. `None` where nothing tells it.
    pub fn sd(&self) -> Option<Quantity> {
        let value = self.value().max(0.0);
        let (low, high) = self.interval();
        if self.0.is_empty() || !value.is_finite() || !high.is_finite() || !low.is_finite() {
            return None;
        }
        let sd = value.sqrt();
        let spread: f64 = self
            .0
            .iter()
            .map(|t| 2.0 * (t.times * t.square.value).powi(2) / t.square.df)
            .sum();
        // To first order; where the variance is nought there is no first order, and half the interval stands for it.
        let (lo95, hi95) = (low.max(0.0).sqrt(), high.max(0.0).sqrt());
        let u = match sd > 0.0 {
            true => (spread.sqrt() / (2.0 * sd)).min(hi95),
            false => 0.5 * hi95,
        };
        let interval = Some(Interval {
            u,
            lo95: lo95.min(sd),
            hi95: hi95.max(sd),
        });
        Some(Quantity {
            value: sd,
            interval,
        })
    }
}

/// How far below its estimate a variance may lie, as a share of it: 1 − ν/χ².
fn shortfall(df: f64) -> f64 {
    1.0 - 1.0 / f_quantile(1.0 - TAIL, df, f64::INFINITY)
}

/// How far above it.
fn excess(df: f64) -> f64 {
    1.0 / f_quantile(TAIL, df, f64::INFINITY) - 1.0
}

fn apart_below(plus: f64, minus: f64) -> f64 {
    let f = f_quantile(1.0 - TAIL, plus, minus);
    ((f - 1.0).powi(2) - (shortfall(plus) * f).powi(2) - excess(minus).powi(2)) / f
}

fn apart_above(plus: f64, minus: f64) -> f64 {
    let f = f_quantile(TAIL, plus, minus);
    ((1.0 - f).powi(2) - (excess(plus) * f).powi(2) - shortfall(minus).powi(2)) / f
}

fn together(a: f64, b: f64) -> f64 {
    let both = a + b;
    (shortfall(both) * both).powi(2) / (a * b)
        - shortfall(a).powi(2) * a / b
        - shortfall(b).powi(2) * b / a
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{ChiSquared, Distribution};

    use super::*;
    use crate::analysis::stats::variance::chi_square_quantile;

    fn square(value: f64, df: f64) -> MeanSquare {
        MeanSquare { value, df }
    }

    #[test]
    fn alone_a_mean_square_has_the_exact_interval() {
        let (low, high) = Sum::of(&[(0.5, square(3.0, 6.0))]).interval();
        let exact = |p: f64| 1.5 * 6.0 / chi_square_quantile(p, 6.0);
        assert!((low / exact(0.975) - 1.0).abs() < 1e-10);
        assert!((high / exact(0.025) - 1.0).abs() < 1e-10);
    }

    #[test]
    fn a_difference_that_may_be_nothing_begins_at_nought() {
        let sum = Sum::of(&[(0.5, square(1.0, 1.0)), (-0.5, square(1.2, 6.0))]);
        let sd = sum.sd().unwrap();
        let interval = sd.interval.unwrap();
        assert_eq!((sd.value, interval.lo95), (0.0, 0.0));
        assert!(interval.hi95 > 5.0, "two people tell little: {interval:?}");
    }

    /// How often the intervals held the truth, over invented mean squares; and how often it lay above and below.
    fn held(terms: &[(f64, f64, f64)], rounds: usize) -> (f64, f64) {
        let mut chance = rand_chacha::ChaCha8Rng::seed_from_u64(7);
        let truth: f64 = terms
            .iter()
            .map(|(times, expected, _)| times * expected)
            .sum();
        let (mut above, mut below) = (0, 0);
        for _ in 0..rounds {
            let drawn: Vec<(f64, MeanSquare)> = terms
                .iter()
                .map(|&(times, expected, df)| {
                    let chi = ChiSquared::new(df).unwrap().sample(&mut chance);
                    (times, square(expected * chi / df, df))
                })
                .collect();
            let (low, high) = Sum::of(&drawn).interval();
            above += usize::from(truth > high);
            below += usize::from(truth < low.max(0.0));
        }
        (above as f64 / rounds as f64, below as f64 / rounds as f64)
    }

    #[test]
    fn intervals_hold_what_they_promise_for_sums_and_differences() {
        // σ = 1, people's σ 0, ½, 1 and 3, r mountings each: (mean square's factor, expected, degrees of freedom).
        for (people, r) in [(2.0, 3.0), (2.0, 5.0), (3.0, 3.0), (5.0, 2.0)] {
            for sigma in [0.0, 0.5, 1.0, 3.0_f64] {
                let between = 1.0 + r * sigma * sigma;
                let free = people * (r - 1.0);
                let person = [(1.0 / r, between, people - 1.0), (-1.0 / r, 1.0, free)];
                let all = [(1.0 / r, between, people - 1.0), (1.0 - 1.0 / r, 1.0, free)];
                for (what, terms) in [("person", &person), ("all", &all)] {
                    let (above, below) = held(terms, 4_000);
                    println!(
                        "{people} people, {r} each, σ {sigma}, {what}: above {above}, below {below}"
                    );
                    assert!(above + below < 0.06, "{what} {people} {r} {sigma}");
                }
            }
        }
    }

    #[test]
    fn intervals_of_three_mean_squares_hold_what_they_promise() {
        // Surfaces 4, people 3, mountings 3: σ²_p + σ²_sp = (MS_p + 3·MS_sp − 4·MS_e)/12.
        for (person, both) in [(0.0, 0.0), (1.0, 0.0), (0.5, 0.5), (2.0, 1.0_f64)] {
            let interaction = 1.0 + 3.0 * both;
            let terms = [
                (1.0 / 12.0, interaction + 12.0 * person, 2.0),
                (3.0 / 12.0, interaction, 6.0),
                (-4.0 / 12.0, 1.0, 24.0),
            ];
            let (above, below) = held(&terms, 4_000);
            println!("{person}, {both}: above {above}, below {below}");
            assert!(above + below < 0.06, "{person} {both}");
        }
    }
}
