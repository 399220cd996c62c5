//! The slope that most pairs of points agree on, with its interval. No unit: a slope has that of y over that of x.
//!
//! P. K. Sen, Estimates of the Regression Coefficient Based on Kendall's Tau, JASA 63, 1968; R. O. Gilbert, Statistical
//! Methods for Environmental Pollution Monitoring, 1987, section 16.5. Ties and ranks as SciPy's `theilslopes` has them.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::analysis::stats::robust::{median, median_in_place};

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
    let slope = median_in_place(&mut slopes)?;
    Some(Line {
        slope,
        interval: interval(&mut slopes, x, y, confidence),
        at_zero: median(y)? - slope * median(x)?,
    })
}

/// Consecutive points put together, each group by the median of its x and of its y, the groups as equal in number as they can
/// be: all pairs of 20,000 points are 200 million. The slope through the groups strays by chance, and its interval is wider
/// for it, 1.25 times as much as that of all pairs where y scatters normally (a median's scatter over a mean's, √(π/2)).
pub fn grouped(x: &[f64], y: &[f64], groups: usize) -> (Vec<f64>, Vec<f64>) {
    let n = x.len().min(y.len());
    let groups = groups.min(n);
    let middle = |of: &[f64]| {
        let within = |i: usize| &of[i * n / groups..(i + 1) * n / groups];
        (0..groups).filter_map(|i| median(within(i))).collect()
    };
    (middle(x), middle(y))
}

/// Gilbert's eq. 16.7 and 16.8: the ranks of the slopes that bound the interval.
fn interval(slopes: &mut [f64], x: &[f64], y: &[f64], confidence: f64) -> Option<(f64, f64)> {
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
    let mut ranked = |rank: f64| {
        *slopes
            .select_nth_unstable_by(rank as usize, f64::total_cmp)
            .1
    };
    Some((ranked(low), ranked(high)))
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
    use rand::SeedableRng;
    use rand_distr::Distribution;

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

    /// 3,000 points of normal scatter about a line, 40 times over, as groups of 15 and all pairs.
    #[test]
    fn groups_give_the_slope_of_all_pairs_within_its_interval_and_an_honest_one_of_their_own() {
        let normal = rand_distr::Normal::new(0.0, 1.0).unwrap();
        let (mut widths, mut held, mut apart) = (0.0, 0, 0.0_f64);
        let runs = 40;
        for seed in 0..runs {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
            let x: Vec<f64> = (0..3000).map(|i| f64::from(i) / 3000.0).collect();
            let y: Vec<f64> = x
                .iter()
                .map(|x| 2.0 * x + normal.sample(&mut rng))
                .collect();
            let all = theil_sen(&x, &y, 0.95).unwrap();
            let (x, y) = grouped(&x, &y, 200);
            assert_eq!((x.len(), y.len()), (200, 200));
            let few = theil_sen(&x, &y, 0.95).unwrap();
            let ((lo, hi), (all_lo, all_hi)) = (few.interval.unwrap(), all.interval.unwrap());
            widths += (hi - lo) / (all_hi - all_lo) / runs as f64;
            held += u32::from(lo <= 2.0 && 2.0 <= hi);
            apart = apart.max((few.slope - all.slope).abs() / (all_hi - all_lo));
        }
        println!("widths {widths:.3}, held {held} of {runs}, apart {apart:.3} of the interval");
        assert!((1.15..1.35).contains(&widths), "{widths}");
        // 95 % of 40 are 38; fewer than 34 come once in 500 times.
        assert!(held >= 34, "{held}");
        assert!(apart < 0.6, "{apart}");
    }

    #[test]
    fn groups_of_one_point_are_the_points_and_none_of_nothing_is_made() {
        let (x, y) = ([0.0, 1.0, 2.0], [5.0, 7.0, 6.0]);
        assert_eq!(grouped(&x, &y, 3), (x.to_vec(), y.to_vec()));
        assert_eq!(grouped(&x, &y, 9), (x.to_vec(), y.to_vec()));
        assert_eq!(grouped(&x, &y, 1), (vec![1.0], vec![6.0]));
        assert_eq!(grouped(&[], &[], 4), (vec![], vec![]));
    }

    #[test]
    fn values_that_never_vary_have_slope_zero_and_no_interval() {
        let line = theil_sen(&[0.0, 1.0, 2.0, 3.0, 4.0], &[7.0; 5], 0.95).unwrap();
        assert_eq!((line.slope, line.interval), (0.0, None));
    }
}
