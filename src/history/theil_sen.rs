//! The slope that most pairs of points agree on, with its interval. No unit: a slope has that of y over that of x.
//!
//! P. K. Sen, Estimates of the Regression Coefficient Based on Kendall's Tau, JASA 63, 1968; R. O. Gilbert, Statistical
//! Methods for Environmental Pollution Monitoring, 1987, section 16.5. Ties and ranks as SciPy's `theilslopes` has them.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::analysis::stats::robust::median;

/// Fewer points have no 95 % interval: of four, one order in twelve rises or falls throughout by chance alone.
pub const FEWEST_FOR_AN_INTERVAL: usize = 5;

/// A robust line y = `at_zero` + `slope`·x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Median of the slopes of all pairs.
    pub slope: f64,
    /// Ends of the slope's interval; `None` where there are too few points or y never varies.
    pub interval: Option<(f64, f64)>,
    /// Median of y less `slope` times the median of x.
    pub at_zero: f64,
}

/// The line through points, its interval at `confidence` (0.95). `None` of fewer than two different x. No NaN allowed.
pub fn theil_sen(x: &[f64], y: &[f64], confidence: f64) -> Option<Line> {
    let n = x.len().min(y.len());
    let mut slopes = Vec::with_capacity(n * n.saturating_sub(1) / 2);
    for i in 0..n {
        for j in 0..i {
            let run = x[i] - x[j];
            if run != 0.0 {
                slopes.push((y[i] - y[j]) / run);
            }
        }
    }
    let slope = median(&slopes)?;
    slopes.sort_by(f64::total_cmp);
    Some(Line {
        slope,
        interval: interval(&slopes, x, y, confidence),
        at_zero: median(y)? - slope * median(x)?,
    })
}

/// Gilbert's eq. 16.7 and 16.8: the ranks of the slopes that bound the interval.
fn interval(slopes: &[f64], x: &[f64], y: &[f64], confidence: f64) -> Option<(f64, f64)> {
    if x.len() < FEWEST_FOR_AN_INTERVAL {
        return None;
    }
    let variance = (kendall_term(x.len()) - tie_terms(x) - tie_terms(y)) / 18.0;
    if variance <= 0.0 {
        return None;
    }
    let z = Normal::standard().inverse_cdf(0.5 + confidence / 2.0);
    let (count, reach) = (slopes.len() as f64, z * variance.sqrt());
    let last = count - 1.0;
    let high = ((count + reach) / 2.0).round_ties_even().min(last);
    let low = (((count - reach) / 2.0).round_ties_even() - 1.0).max(0.0);
    Some((slopes[low as usize], slopes[high as usize]))
}

/// n(n − 1)(2n + 5).
pub(super) fn kendall_term(n: usize) -> f64 {
    let n = n as f64;
    n * (n - 1.0) * (2.0 * n + 5.0)
}

/// The same, summed over groups of equal values.
pub(super) fn tie_terms(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
        .chunk_by(|a, b| a == b)
        .map(|group| kendall_term(group.len()))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exact_line_comes_back_and_one_wild_point_does_not_turn_it() {
        let x: Vec<f64> = (0..12).map(f64::from).collect();
        let mut y: Vec<f64> = x.iter().map(|x| 3.0 - 0.5 * x).collect();
        y[7] = 90.0;
        let line = theil_sen(&x, &y, 0.95).unwrap();
        assert_eq!(line.slope, -0.5);
        let (lo, hi) = line.interval.unwrap();
        assert!(lo <= -0.5 && (-0.5..0.0).contains(&hi), "{lo} {hi}");
    }

    #[test]
    fn four_points_have_a_slope_and_no_interval() {
        let line = theil_sen(&[0.0, 1.0, 2.0, 3.0], &[0.0, 1.0, 2.0, 4.0], 0.95).unwrap();
        assert!(line.interval.is_none());
        assert!(theil_sen(&[2.0, 2.0], &[1.0, 3.0], 0.95).is_none());
        assert!(theil_sen(&[], &[], 0.95).is_none());
    }

    #[test]
    fn values_that_never_vary_have_slope_zero_and_no_interval() {
        let line = theil_sen(&[0.0, 1.0, 2.0, 3.0, 4.0], &[7.0; 5], 0.95).unwrap();
        assert_eq!((line.slope, line.interval), (0.0, None));
    }
}
