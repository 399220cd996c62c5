//! Quantiles of χ² and of Fisher's F, for intervals of variances. Degrees of freedom need not be whole.

use statrs::function::beta::beta_reg;
use statrs::function::gamma::{gamma_lr, gamma_ur};

/// Degrees of freedom between these are taken; beyond them only nonsense comes here, and incomplete gamma and beta functions fail.
const DF: std::ops::RangeInclusive<f64> = 1e-2..=1e9;

/// The value below which a share `p` of χ² with `df` degrees of freedom lies. NaN unless 0 < p < 1 and 0.01 ≤ df ≤ 10⁹.
pub fn chi_square_quantile(p: f64, df: f64) -> f64 {
    if !(p > 0.0 && p < 1.0 && DF.contains(&df)) {
        return f64::NAN;
    }
    // Of the two tails the smaller one keeps its digits.
    match p < 0.5 {
        true => rising(|x| gamma_lr(0.5 * df, 0.5 * x) - p, df),
        false => rising(|x| 1.0 - p - gamma_ur(0.5 * df, 0.5 * x), df),
    }
}

/// The value below which a share `p` of F with `above` over `below` degrees of freedom lies; `below` may be infinite. NaN unless
/// 0 < p < 1 and degrees of freedom are from 0.01 to 10⁹.
pub fn f_quantile(p: f64, above: f64, below: f64) -> f64 {
    if !(p > 0.0 && p < 1.0 && DF.contains(&above)) {
        return f64::NAN;
    }
    if below == f64::INFINITY {
        return chi_square_quantile(p, above) / above;
    }
    if !DF.contains(&below) {
        return f64::NAN;
    }
    // F below x is the incomplete beta function of x·m/(x·m + n) (Abramowitz and Stegun, 26.6.2).
    let under = |x: f64| beta_reg(0.5 * above, 0.5 * below, 1.0 / (1.0 + below / (above * x)));
    let over = |x: f64| beta_reg(0.5 * below, 0.5 * above, 1.0 / (1.0 + above * x / below));
    match p < 0.5 {
        true => rising(|x| under(x) - p, 1.0),
        false => rising(|x| 1.0 - p - over(x), 1.0),
    }
}

/// The share of F with these degrees of freedom above `x`: the probability of so large a ratio of two mean squares by chance.
/// NaN unless x ≥ 0 and degrees of freedom are from 0.01 to 10⁹.
pub fn f_upper_tail(x: f64, above: f64, below: f64) -> f64 {
    if !(x >= 0.0 && DF.contains(&above) && DF.contains(&below)) {
        return f64::NAN;
    }
    beta_reg(0.5 * below, 0.5 * above, 1.0 / (1.0 + above * x / below))
}

/// The exponent of the largest number looked at, and of the smallest.
const FURTHEST: f64 = 600.0;

/// Where a function that rises all along crosses zero, by halving on the logarithm; `near` is a scale to begin at.
fn rising(function: impl Fn(f64) -> f64, near: f64) -> f64 {
    let (mut low, mut high) = (near.ln() - 1.0, near.ln() + 1.0);
    while function(low.exp()) > 0.0 && low > -FURTHEST {
        low = (low - 2.0 * (high - low)).max(-FURTHEST);
    }
    while function(high.exp()) < 0.0 && high < FURTHEST {
        high = (high + 2.0 * (high - low)).min(FURTHEST);
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        match function(middle.exp()) > 0.0 {
            true => high = middle,
            false => low = middle,
        }
    }
    (0.5 * (low + high)).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_degrees_of_freedom_have_a_closed_form() {
        // χ² with two: −2·ln(1 − p). F with two over two: p/(1 − p).
        for p in [0.001, 0.025, 0.3, 0.5, 0.95, 0.975] {
            let chi = chi_square_quantile(p, 2.0);
            assert!((chi / (-2.0 * (1.0 - p).ln()) - 1.0).abs() < 1e-12, "{p}");
            let f = f_quantile(p, 2.0, 2.0);
            assert!((f / (p / (1.0 - p)) - 1.0).abs() < 1e-11, "{p}: {f}");
            assert!((f_upper_tail(f, 2.0, 2.0) - (1.0 - p)).abs() < 1e-12, "{p}");
        }
    }

    #[test]
    fn f_over_many_is_chi_square_over_its_own() {
        let many = f_quantile(0.975, 3.0, 1e7);
        assert!((many / f_quantile(0.975, 3.0, f64::INFINITY) - 1.0).abs() < 1e-5);
    }

    #[test]
    fn strange_arguments_give_nan_or_a_number_and_no_panic() {
        let odd = [
            f64::NAN,
            -1.0,
            0.0,
            1e-300,
            0.5,
            1.0,
            7.5,
            1e300,
            f64::INFINITY,
        ];
        for a in odd {
            for b in odd {
                let _ = chi_square_quantile(a, b);
                for c in odd {
                    let _ = (f_quantile(a, b, c), f_upper_tail(a, b, c));
                }
            }
        }
        assert!(chi_square_quantile(0.5, f64::INFINITY).is_nan());
    }
}
