//! Student's t, effective degrees of freedom and intervals, after the GUM (JCGM 100:2008, annex G).
//! Degrees of freedom need not be whole and may be infinite: then t is the normal distribution's.

use crate::analysis::Interval;
use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};
use std::cell::Cell;

/// From here on series in 1/df are exact to 1e-11 and the incomplete beta function loses digits.
const MANY: f64 = 1e6;

/// Below this t's tails reach beyond what numbers can hold. Effective degrees of freedom are never below those of the
/// poorest part, so only nonsense comes here.
const FEWEST: f64 = 0.01;

/// The value below which a share `p` of Student's t with `df` degrees of freedom lies. NaN unless 0 < p < 1 and df ≥ 0.01.
pub fn t_quantile(p: f64, df: f64) -> f64 {
    if !(p > 0.0 && p < 1.0 && df >= FEWEST) {
        return f64::NAN;
    }
    if p == 0.5 {
        return 0.0;
    }
    // Work in the upper half: 1 − p is exact there, and the answer's sign is put back at the end.
    let (upper, sign) = if p < 0.5 { (p, -1.0) } else { (1.0 - p, 1.0) };
    sign * upper_quantile(upper, df)
}

/// t above which a share `upper` (at most one half) lies.
fn upper_quantile(upper: f64, df: f64) -> f64 {
    let normal = -Normal::standard().inverse_cdf(upper);
    if df >= MANY {
        return cornish_fisher(normal, df);
    }
    if df == 1.0 {
        return 1.0 / (std::f64::consts::PI * upper).tan();
    }
    let Ok(t) = StudentsT::new(0.0, 1.0, df) else {
        return f64::NAN;
    };
    // Halley's steps on log of the tail, from a start that is never far off, with bisection to fall back on:
    // statrs' own inverse is slower and gives fewer digits.
    let (mut low, mut high) = (0.0, f64::INFINITY);
    let mut at = start(normal, upper, df);
    for _ in 0..200 {
        let tail = upper_tail(&t, at, df);
        if tail > upper {
            low = at;
        } else {
            high = at;
        }
        let density = t.pdf(at);
        let newton = (tail - upper) / density;
        // Curvature of the density: f'/f = −(ν+1)·x/(ν+x²).
        let halley = newton / (1.0 - newton * 0.5 * (df + 1.0) * at / (df + at * at)).max(0.5);
        let mut next = at + halley;
        if !(next > low && next < high) {
            next = if high.is_finite() {
                0.5 * (low + high)
            } else {
                2.0 * at.max(1.0)
            };
        }
        if (next - at).abs() <= 4.0 * f64::EPSILON * at.abs() || next == at {
            return next;
        }
        at = next;
    }
    at
}

/// The normal quantile's first two corrections (Abramowitz and Stegun, 26.7.5).
fn cornish_fisher(z: f64, df: f64) -> f64 {
    let g1 = (z.powi(3) + z) / 4.0;
    let g2 = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    z + g1 / df + g2 / (df * df)
}

/// Where to begin: close for many degrees of freedom, the tail's power law for few.
fn start(z: f64, upper: f64, df: f64) -> f64 {
    if df > 3.0 && z < 0.6 * df {
        return cornish_fisher(z, df);
    }
    // Exact for df = 2, and of the right order in the tail elsewhere.
    let two = (2.0 / (4.0 * upper * (1.0 - upper)) - 2.0).max(0.0).sqrt();
    if df > 2.0 {
        z.max(two.min(z * 4.0))
    } else {
        two.powf((2.0 / df).min(50.0)).max(z)
    }
}

/// Share above t ≥ 0.
fn upper_tail(distribution: &StudentsT, t: f64, df: f64) -> f64 {
    let square = t * t;
    if square > 0.5 || square > 0.5 * df {
        return distribution.sf(t);
    }
    // Near the middle the incomplete beta function sees 1 − t²/df and loses digits: Gauss's series of the integral of
    // the density instead, t·f(0)·₂F₁(1/2, (df+1)/2; 3/2; −t²/df).
    let z = -square / df;
    let (mut power, mut sum) = (1.0, 1.0);
    for k in 0..200 {
        let k = f64::from(k);
        power *= (0.5 * (df + 1.0) + k) / (k + 1.0) * z;
        let term = power / (2.0 * k + 3.0);
        sum += term;
        if term.abs() < f64::EPSILON * sum {
            break;
        }
    }
    0.5 - t * distribution.pdf(0.0) * sum
}

/// Two-sided probability of a |t| at least as large as this by chance alone. NaN where `t` is NaN or df
/// below 0.01.
pub fn t_two_sided_p(t: f64, df: f64) -> f64 {
    if t.is_nan() || df.is_nan() || df < FEWEST {
        return f64::NAN;
    }
    if t.is_infinite() {
        return 0.0;
    }
    if df >= MANY {
        // Abramowitz and Stegun, 26.7.8.
        let z = t.abs() * (1.0 - 0.25 / df) / (1.0 + t * t * (0.5 / df)).sqrt();
        return 2.0 * Normal::standard().sf(z);
    }
    StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |d| (2.0 * upper_tail(&d, t.abs(), df)).min(1.0))
}

/// The two-sided 95 % factor: `t_quantile(0.975, df)`. The last answer is kept, as intervals of one fit share their df.
pub fn t95(df: f64) -> f64 {
    thread_local! { static LAST: Cell<(f64, f64)> = const { Cell::new((f64::NAN, f64::NAN)) } }
    LAST.with(|last| {
        let (known_df, known_t) = last.get();
        if known_df == df {
            return known_t;
        }
        let t = t_quantile(0.975, df);
        last.set((df, t));
        t
    })
}

/// The degrees of freedom at which the 95 % factor is `t`: what an interval was made with. Infinite at the normal
/// distribution's factor or below.
pub fn df_of_t95(t: f64) -> f64 {
    if t.is_nan() {
        return f64::NAN;
    }
    if t <= t_quantile(0.975, MANY) {
        return f64::INFINITY;
    }
    // By halving on the logarithm: the factor falls all along.
    let (mut low, mut high) = (FEWEST.ln(), MANY.ln());
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if t_quantile(0.975, middle.exp()) > t {
            low = middle;
        } else {
            high = middle;
        }
    }
    (0.5 * (low + high)).exp()
}

/// Effective degrees of freedom of √Σu² from parts (u, df): Welch–Satterthwaite, JCGM 100:2008 equation (G.2b).
/// Infinite where no part with finite df counts. Zero where a part with u > 0 has none (df not positive): then no
/// interval can be given. A part with u = 0 does not count.
pub fn welch_satterthwaite(parts: &[(f64, f64)]) -> f64 {
    combine(parts).1
}

/// Combined standard uncertainty √Σu² of independent parts (u, df), in the parts' common unit, and its effective degrees
/// of freedom as in [`welch_satterthwaite`]. NaN in a part gives NaN or 0 degrees of freedom: never an interval.
pub fn combine(parts: &[(f64, f64)]) -> (f64, f64) {
    let largest = parts.iter().fold(
        0.0_f64,
        |m, (u, _)| if u.is_nan() { f64::NAN } else { m.max(u.abs()) },
    );
    if parts.iter().any(|(u, _)| u.is_nan()) || largest.is_infinite() {
        return (f64::NAN, 0.0);
    }
    if largest == 0.0 {
        return (0.0, f64::INFINITY);
    }
    // Relative to the largest part, so that fourth powers neither overflow nor vanish.
    let (mut squares, mut fourths) = (0.0, 0.0);
    for &(u, df) in parts.iter().filter(|(u, _)| *u != 0.0) {
        let square = (u / largest).powi(2);
        squares += square;
        if df > 0.0 {
            fourths += square * square / df;
        } else {
            fourths = f64::INFINITY;
        }
    }
    (
        largest * squares.sqrt(),
        if fourths == 0.0 {
            f64::INFINITY
        } else {
            squares * squares / fourths
        },
    )
}

/// The 95 % interval value ± t₀.₉₇₅(df)·u; `None` where none can be told (df not positive, or a number not finite).
pub fn interval(value: f64, u: f64, df: f64) -> Option<Interval> {
    let half = t95(df) * u;
    let told = value.is_finite() && u.is_finite() && u >= 0.0 && half.is_finite();
    told.then_some(Interval {
        u,
        lo95: value - half,
        hi95: value + half,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn degrees_of_freedom_are_found_again_from_the_factor() {
        for df in [1.0, 1.7, 4.0, 9.0, 17.776, 120.0] {
            assert!((df_of_t95(t95(df)) / df - 1.0).abs() < 1e-9, "{df}");
        }
        assert_eq!(df_of_t95(1.959_963), f64::INFINITY);
        assert!(df_of_t95(f64::NAN).is_nan());
    }

    #[test]
    fn quantile_and_tail_undo_each_other() {
        for df in [
            0.3,
            0.7,
            1.0,
            1.5,
            2.0,
            3.0,
            4.7,
            9.0,
            30.0,
            1e3,
            1e6,
            f64::INFINITY,
        ] {
            for p in [1e-9, 1e-4, 0.01, 0.025, 0.3, 0.499, 0.6, 0.9, 0.975, 0.9995] {
                let t = t_quantile(p, df);
                let back = 0.5 * t_two_sided_p(t, df);
                let tail = p.min(1.0 - p);
                assert!(
                    (back / tail - 1.0).abs() < 1e-8,
                    "df {df}, p {p}: t {t}, tail {back}"
                );
            }
        }
    }

    #[test]
    fn one_and_two_degrees_of_freedom_have_closed_forms() {
        // Cauchy: tan(π(p − ½)). Two: (2p−1)·√(2/(4p(1−p))).
        assert!((t_quantile(0.975, 1.0) / 12.706_204_736_174_7 - 1.0).abs() < 1e-13);
        let two = 0.95 * (2.0 / (4.0 * 0.975 * 0.025_f64)).sqrt();
        assert!((t_quantile(0.975, 2.0) / two - 1.0).abs() < 1e-12);
    }

    #[test]
    fn parts_known_for_certain_leave_the_degrees_of_freedom_infinite() {
        assert_eq!(
            combine(&[(3.0, f64::INFINITY), (4.0, f64::INFINITY)]),
            (5.0, f64::INFINITY)
        );
        assert_eq!(combine(&[(0.0, 0.0)]), (0.0, f64::INFINITY));
        assert_eq!(combine(&[]), (0.0, f64::INFINITY));
        assert_eq!(combine(&[(2.0, 7.0)]), (2.0, 7.0));
        // Equal parts of equal df add their degrees of freedom.
        let (u, df) = combine(&[(1e-200, 5.0), (1e-200, 5.0)]);
        assert!((u / (2.0_f64.sqrt() * 1e-200) - 1.0).abs() < 1e-15 && (df - 10.0).abs() < 1e-12);
    }

    #[test]
    fn where_nothing_can_be_told_there_is_no_interval() {
        assert_eq!(interval(1.0, 0.1, 0.0), None);
        assert_eq!(interval(1.0, f64::NAN, 5.0), None);
        assert_eq!(interval(f64::NAN, 0.1, 5.0), None);
        let (u, df) = combine(&[(0.1, 0.0), (0.2, 8.0)]);
        assert_eq!(interval(1.0, u, df), None);
        let (u, df) = combine(&[(f64::NAN, 3.0), (0.2, 8.0)]);
        assert_eq!(interval(1.0, u, df), None);
    }

    #[test]
    fn the_kept_factor_never_serves_another_df() {
        let first = t95(4.0);
        assert!(t95(5.0) < first && t95(4.0) == first);
    }

    #[test]
    fn strange_arguments_give_nan_or_a_number_and_no_panic() {
        let odd = [
            f64::NAN,
            f64::NEG_INFINITY,
            -1.0,
            0.0,
            5e-324,
            1e-300,
            1e-3,
            0.5,
            1.0,
            1e5,
            1e300,
            f64::INFINITY,
        ];
        for a in odd {
            for b in odd {
                let _ = (
                    t_quantile(a, b),
                    t_two_sided_p(a, b),
                    combine(&[(a, b), (b, a)]),
                );
                let _ = t_two_sided_p(b, a);
                for c in odd {
                    if let Some(i) = interval(a, b, c) {
                        assert!(i.u.is_finite() && i.lo95 <= i.hi95 && !i.lo95.is_nan());
                    }
                }
            }
        }
    }
}
