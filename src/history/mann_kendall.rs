//! Whether a series rises or falls at all, whatever its form: the Mann–Kendall test. No unit anywhere.
//!
//! R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring, 1987, section 16.4: S (eq. 16.2), its variance
//! with ties (eq. 16.4), Z with its correction for continuity (eq. 16.5).

use statrs::distribution::{ContinuousCDF, Normal};

use super::theil_sen::{kendall_term, tie_terms};

/// To this many values, and without ties, the probability is counted out; beyond, the normal one serves (Gilbert, 16.4.1).
const COUNTED_OUT: usize = 10;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MannKendall {
    /// Pairs that rise less pairs that fall.
    pub s: i64,
    pub variance: f64,
    pub z: f64,
    /// Two-sided probability of such an S by chance, by the normal approximation.
    pub p_normal: f64,
    /// The same, counted out over all orders where that is exact and few: the one to judge by.
    pub p: f64,
}

/// The test of a series in its order. `None` of fewer than three values. No NaN allowed.
pub fn mann_kendall(values: &[f64]) -> Option<MannKendall> {
    let n = values.len();
    if n < 3 {
        return None;
    }
    let mut s = 0_i64;
    for (i, later) in values.iter().enumerate() {
        for earlier in &values[..i] {
            s += i64::from(later > earlier) - i64::from(later < earlier);
        }
    }
    let ties = tie_terms(values);
    let variance = (kendall_term(n) - ties) / 18.0;
    let z = match variance > 0.0 {
        true => (s - s.signum()) as f64 / variance.sqrt(),
        false => 0.0,
    };
    let p_normal = (2.0 * Normal::standard().cdf(-z.abs())).min(1.0);
    let p = if n <= COUNTED_OUT && ties == 0.0 {
        counted(n, s)
    } else {
        p_normal
    };
    Some(MannKendall {
        s,
        variance,
        z,
        p_normal,
        p,
    })
}

/// The share of the orders of n different values whose |S| is this one's or more. Orders with so many pairs that fall
/// are counted by letting the n-th value in at each place (M. G. Kendall, Rank Correlation Methods, chapter 5).
fn counted(n: usize, s: i64) -> f64 {
    let mut orders = vec![1.0];
    for size in 2..=n {
        let mut next = vec![0.0; orders.len() + size - 1];
        for (falling, count) in orders.iter().enumerate() {
            for more in 0..size {
                next[falling + more] += count;
            }
        }
        orders = next;
    }
    let pairs = (n * (n - 1) / 2) as i64;
    let all: f64 = orders.iter().sum();
    let as_far = orders
        .iter()
        .enumerate()
        .filter(|(falling, _)| (pairs - 2 * *falling as i64).abs() >= s.abs());
    as_far.map(|(_, count)| count).sum::<f64>() / all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wisconsin Administrative Code, the worked table (one tie) [S, V].
    #[test]
    fn the_printed_table_with_a_tie_gives_its_s() {
        assert_eq!(
            mann_kendall(&[100.0, 50.0, 85.0, 75.0, 50.0]).unwrap().s,
            -5
        );
    }

    /// Gilbert 1987: 10 15 14 20 gives S = 4 [V].
    #[test]
    fn gilbert_s_four_values_give_four() {
        let found = mann_kendall(&[10.0, 15.0, 14.0, 20.0]).unwrap();
        assert_eq!(found.s, 4);
        // By hand: of 24 orders 1 + 3 have |S| = 6 or 4 on each side.
        assert!((found.p - 8.0 / 24.0).abs() < 1e-12);
    }

    /// 1 to 100: S 4950, variance 112750, Z 14.738 699 98 [S].
    #[test]
    fn a_hundred_rising_values_give_the_published_figures() {
        let values: Vec<f64> = (1..=100).map(f64::from).collect();
        let found = mann_kendall(&values).unwrap();
        assert_eq!((found.s, found.variance), (4950, 112_750.0));
        assert!((found.z - 14.738_699_98).abs() < 1e-7, "{}", found.z);
    }

    #[test]
    fn equal_values_are_no_trend_and_two_are_too_few() {
        let found = mann_kendall(&[2.0; 6]).unwrap();
        assert_eq!((found.s, found.variance, found.p), (0, 0.0, 1.0));
        assert!(mann_kendall(&[1.0, 2.0]).is_none());
    }
}
