//! Means of repeats with their uncertainty. No samples: a repeat is one step, one staircase, one rest.

use crate::analysis::Quantity;
use crate::analysis::stats::student;

/// A mean, its standard uncertainty and the degrees of freedom behind it (none where there was one repeat).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Mean {
    pub value: f64,
    pub u: f64,
    pub df: f64,
}

impl Mean {
    /// Of repeats that scatter by chance; `None` of nothing.
    pub fn of(values: &[f64]) -> Option<Self> {
        let n = values.len() as f64;
        if values.is_empty() {
            return None;
        }
        let value = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - value).powi(2)).sum();
        Some(Self {
            value,
            u: (squares / (n - 1.0).max(1.0) / n).sqrt(),
            df: n - 1.0,
        })
    }

    /// Of a statistic from what it is without each of the repeats: the delete-one jackknife (B. Efron and C. Stein, The
    /// Jackknife Estimate of Variance, Annals of Statistics 9, 1981, equation 1.2).
    pub fn jackknifed(value: f64, without: &[f64]) -> Self {
        let n = without.len() as f64;
        let middle = without.iter().sum::<f64>() / n.max(1.0);
        let squares: f64 = without.iter().map(|v| (v - middle).powi(2)).sum();
        Self {
            value,
            u: (squares * (n - 1.0) / n.max(1.0)).sqrt(),
            df: n - 1.0,
        }
    }

    /// `a·self + b·other`, the two being independent.
    pub fn with(self, a: f64, other: Self, b: f64) -> Self {
        let (u, df) = student::combine(&[(a * self.u, self.df), (b * other.u, other.df)]);
        Self {
            value: a * self.value + b * other.value,
            u,
            df,
        }
    }

    /// The same with a further part of uncertainty, known as a rectangle of this half width.
    pub fn within(self, half_width: f64) -> Self {
        let part = (half_width.abs() / 3f64.sqrt(), f64::INFINITY);
        let (u, df) = student::combine(&[(self.u, self.df), part]);
        Self { u, df, ..self }
    }

    pub fn scaled(self, by: f64) -> Self {
        Self {
            value: by * self.value,
            u: by.abs() * self.u,
            ..self
        }
    }

    pub fn quantity(self) -> Quantity {
        Quantity {
            value: self.value,
            interval: student::interval(self.value, self.u, self.df),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_jackknifed_mean_has_the_mean_s_own_uncertainty() {
        let values = [3.0, 5.0, 4.0, 8.0];
        let mean = Mean::of(&values).unwrap();
        let without: Vec<f64> = values.iter().map(|v| (20.0 - v) / 3.0).collect();
        let jackknifed = Mean::jackknifed(5.0, &without);
        assert!((mean.value - 5.0).abs() < 1e-12);
        // By hand: squares 4 + 0 + 1 + 9 = 14, over 3 and over 4.
        assert!((mean.u - (14.0_f64 / 12.0).sqrt()).abs() < 1e-12);
        assert!((jackknifed.u - mean.u).abs() < 1e-12);
    }

    #[test]
    fn one_repeat_has_no_interval() {
        assert_eq!(Mean::of(&[2.0]).unwrap().quantity().interval, None);
        assert_eq!(Mean::of(&[]), None);
    }
}
