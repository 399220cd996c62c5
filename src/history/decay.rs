//! A quantity that falls towards a settled value: y(n) = y_settled + (y_0 − y_settled)·exp(−n/n_0), over cycles worked.
//! Numbers here carry no unit of the trade. Never in here: what counts as settled.
//!
//! For a given n_0 the law is linear, so the fit is a weighted line over exp(−n/n_0), tried over a grid of n_0. Intervals
//! are profile likelihood's (χ² rises by 3.84 from its least, over all n_0): a decay that has hardly begun has a lopsided
//! interval, which a linearised one would hide.

use nalgebra::DMatrix;

use crate::analysis::stats::regression::weighted_least_squares;
use crate::analysis::{Interval, Quantity};

/// χ² of one degree of freedom that 95 in 100 stay below.
const CHI2_95: f64 = 3.841_458_820_694_124;
/// √[`CHI2_95`]: half a normal 95 % interval in standard uncertainties.
pub(super) const NORMAL_95: f64 = 1.959_963_984_540_054;
/// Decays slower than this many spans of the data look like a straight line, and are not tried.
const SLOWEST_SPANS: f64 = 4.0;
/// Decays faster than this share of the least distance between data look like a step.
const FASTEST_SHARE: f64 = 0.25;
const GRID_STEPS: u32 = 160;
/// Parameters of the law.
const PARAMETERS: usize = 3;
/// Fewer data than this say nothing about three parameters.
pub(super) const FEWEST: usize = PARAMETERS + 1;

/// One mean over some cycles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Cycles worked at its middle.
    pub cycles: f64,
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

/// Cycles still needed, with the 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    pub cycles: f64,
    pub lo95: f64,
    /// `None`: no end can be told yet.
    pub hi95: Option<f64>,
}

/// A decay, fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct Decay {
    /// The value that it falls to. No interval where the data do not bound it.
    pub settled: Quantity,
    /// The law at the first point.
    pub first: f64,
    /// Cycles worked at the first point.
    pub first_cycles: f64,
    /// Cycles in which 63 % of what is left goes.
    pub settles_in: f64,
    /// How much the points scatter against their own uncertainty: about 1.
    pub strain: f64,
    /// Cycles from `now` until within the share of the settled value that was asked for.
    pub forecast: Forecast,
}

impl Decay {
    /// The law after so many cycles worked.
    pub fn at(&self, cycles: f64) -> f64 {
        let left = (-(cycles - self.first_cycles) / self.settles_in).exp();
        self.settled.value + (self.first - self.settled.value) * left
    }
}

/// The law's linear part for one n_0.
struct Trial {
    settles_in: f64,
    settled: f64,
    above: f64,
    /// Variances of settled and above, and their covariance.
    variance: (f64, f64, f64),
    chi2: f64,
}

/// Fits a decay. `now`: cycles worked so far; `within`: the share of the settled value that is near enough.
/// `None` with fewer than four points, points at one place, or numbers that cannot be used.
pub fn fit(points: &[Point], now: f64, within: f64) -> Option<Decay> {
    let usable = |p: &Point| p.u > 0.0 && p.u.is_finite() && p.value.is_finite();
    if points.len() < FEWEST || !points.iter().all(usable) {
        return None;
    }
    let first = points
        .iter()
        .map(|p| p.cycles)
        .fold(f64::INFINITY, f64::min);
    let last = points.iter().map(|p| p.cycles).fold(first, f64::max);
    let span = last - first;
    if !(span > 0.0 && span.is_finite()) {
        return None;
    }
    let (fastest, slowest) = (
        FASTEST_SHARE * span / (points.len() - 1) as f64,
        SLOWEST_SPANS * span,
    );
    let trials = grid(fastest, slowest, GRID_STEPS, |n0| trial(points, first, n0));
    let coarse = best(&trials)?;
    let step = (slowest / fastest).powf(1.0 / f64::from(GRID_STEPS));
    let near = grid(
        (coarse.settles_in / step).max(fastest),
        (coarse.settles_in * step).min(slowest),
        20,
        |n0| trial(points, first, n0),
    );
    let best = best(&near)?;
    // Points that scatter more than they say widen the interval; that few points lie well is luck and narrows nothing.
    let freedom = points.len() - PARAMETERS;
    let strain2 = best.chi2 / freedom as f64;
    let rise = CHI2_95 * if freedom >= 3 { strain2.max(1.0) } else { 1.0 };
    let within_rise: Vec<(&Trial, f64)> = trials
        .iter()
        .chain(&near)
        .map(|t| (t, best.chi2 + rise - t.chi2))
        .filter(|(_, room)| *room >= 0.0)
        .collect();
    // At the slow end a significant slope means that a straight line would do as well: no end is in sight.
    let open = within_rise.iter().any(|(t, room)| {
        t.settles_in > 0.99 * slowest && t.above.powi(2) > (rise.max(*room)) * t.variance.1
    });
    Some(Decay {
        settled: settled(best, &within_rise, open),
        first: best.settled + best.above,
        first_cycles: first,
        settles_in: best.settles_in,
        strain: strain2.sqrt(),
        forecast: forecast(best, &within_rise, open, within, now - first),
    })
}

fn grid<T>(from: f64, to: f64, steps: u32, at: impl Fn(f64) -> Option<T>) -> Vec<T> {
    let growth = (to / from).ln() / f64::from(steps);
    (0..=steps)
        .filter_map(|k| at(from * (growth * f64::from(k)).exp()))
        .collect()
}

fn best(trials: &[Trial]) -> Option<&Trial> {
    trials.iter().min_by(|a, b| a.chi2.total_cmp(&b.chi2))
}

fn trial(points: &[Point], first: f64, settles_in: f64) -> Option<Trial> {
    let left = |p: &Point| (-(p.cycles - first) / settles_in).exp();
    let design = DMatrix::from_fn(points.len(), 2, |row, column| match column {
        0 => 1.0,
        _ => left(&points[row]),
    });
    let values: Vec<f64> = points.iter().map(|p| p.value).collect();
    let weights: Vec<f64> = points.iter().map(|p| p.u.powi(-2)).collect();
    let line = weighted_least_squares(&design, &values, Some(&weights))?;
    let (settled, above) = (line.coefficients[0], line.coefficients[1]);
    let chi2 = points
        .iter()
        .map(|p| ((p.value - settled - above * left(p)) / p.u).powi(2))
        .sum();
    let c = &line.unscaled_covariance;
    Some(Trial {
        settles_in,
        settled,
        above,
        variance: (c[(0, 0)], c[(1, 1)], c[(0, 1)]),
        chi2,
    })
}

/// The profile of the settled value: for each n_0 what its own line leaves room for, all of them together.
fn settled(best: &Trial, within_rise: &[(&Trial, f64)], open: bool) -> Quantity {
    let (mut lo, mut hi) = (best.settled, best.settled);
    for (trial, room) in within_rise {
        let half = (room * trial.variance.0).sqrt();
        lo = lo.min(trial.settled - half);
        hi = hi.max(trial.settled + half);
    }
    // Neither stiffness nor friction falls below nothing.
    let lo = if open { 0.0 } else { lo.max(0.0) };
    let bounded = !(open && best.above < 0.0) && lo <= best.settled;
    Quantity {
        value: best.settled,
        interval: bounded.then_some(Interval {
            u: 0.5 * (hi - lo) / NORMAL_95,
            lo95: lo,
            hi95: hi,
        }),
    }
}

/// The profile of n_0·ln((y_first − y_settled) / (within·y_settled)), less the cycles since the first point.
fn forecast(
    best: &Trial,
    within_rise: &[(&Trial, f64)],
    open: bool,
    within: f64,
    since: f64,
) -> Forecast {
    let left = |n0: f64, ratio: f64| (n0 * (ratio / within).max(1e-300).ln() - since).max(0.0);
    let likely = if best.settled > 0.0 {
        left(best.settles_in, best.above / best.settled)
    } else {
        f64::INFINITY
    };
    let (mut lo, mut hi) = (likely, Some(likely).filter(|_| !open));
    for (trial, room) in within_rise {
        let (lowest, highest) = ratio_between(trial, *room);
        lo = lo.min(left(trial.settles_in, lowest));
        hi = hi
            .zip(highest)
            .map(|(hi, ratio)| hi.max(left(trial.settles_in, ratio)));
    }
    Forecast {
        cycles: likely,
        lo95: lo,
        hi95: hi.filter(|hi| hi.is_finite()),
    }
}

/// Between what above/settled lies where χ² has so much room: E. C. Fieller, Some Problems in Interval Estimation,
/// Journal of the Royal Statistical Society B 16, 1954. The upper end is `None` where settled may be nothing.
fn ratio_between(trial: &Trial, room: f64) -> (f64, Option<f64>) {
    let (settled2, above2, both) = trial.variance;
    let a = trial.settled.powi(2) - room * settled2;
    let b = trial.settled * trial.above - room * both;
    let c = trial.above.powi(2) - room * above2;
    if a <= 0.0 || trial.settled <= 0.0 {
        return (0.0, None);
    }
    let root = (b * b - a * c).max(0.0).sqrt();
    ((b - root) / a, Some((b + root) / a))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, Normal};

    /// settled, above at no cycles, settles in.
    type Truth = (f64, f64, f64);

    fn law((settled, above, settles_in): Truth, cycles: f64) -> f64 {
        settled + above * (-cycles / settles_in).exp()
    }

    fn batches(truth: Truth, count: u32, u: f64, seed: u64) -> Vec<Point> {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let noise = Normal::new(0.0, u).unwrap();
        (0..count)
            .map(|k| {
                let cycles = 5.0 + 10.0 * f64::from(k);
                Point {
                    cycles,
                    value: law(truth, cycles) + noise.sample(&mut chance),
                    u,
                }
            })
            .collect()
    }

    #[test]
    fn a_decay_without_noise_is_found_again() {
        let truth = (0.30, 0.12, 25.0);
        let points: Vec<Point> = batches(truth, 8, 1e-12, 1)
            .into_iter()
            .map(|p| Point { u: 1e-4, ..p })
            .collect();
        let decay = fit(&points, 80.0, 0.05).unwrap();
        assert!((decay.settled.value - 0.30).abs() < 2e-4, "{decay:?}");
        assert!((decay.settles_in - 25.0).abs() < 0.3, "{decay:?}");
        for cycles in [5.0, 30.0, 75.0, 200.0] {
            let apart = decay.at(cycles) - law(truth, cycles);
            assert!(apart.abs() < 3e-4, "{cycles}: {apart}");
        }
        // By hand: 25·ln(0.12/(0.05·0.30)) = 25·ln 8 = 51.99 cycles in all, and 80 are worked.
        assert_eq!(decay.forecast.cycles, 0.0);
        let early = fit(&points[..4], 40.0, 0.05).unwrap();
        assert!((early.forecast.cycles - 11.99).abs() < 0.5, "{early:?}");
    }

    /// Shares of a few hundred decays whose settled value, and whose forecast, lie in their 95 % intervals.
    fn covered(truth: Truth, count: u32, u: f64) -> (f64, f64) {
        let runs = 400;
        let now = 10.0 * f64::from(count);
        let left = (truth.2 * (truth.1 / (0.05 * truth.0)).ln() - now).max(0.0);
        let (mut settled, mut forecast) = (0, 0);
        for seed in 0..runs {
            let decay = fit(&batches(truth, count, u, seed), now, 0.05).unwrap();
            let inside = |i: Interval| i.lo95 <= truth.0 && truth.0 <= i.hi95;
            settled += u32::from(decay.settled.interval.is_none_or(inside));
            let told = decay.forecast;
            let inside = told.lo95 <= left + 1e-9 && told.hi95.is_none_or(|hi| hi >= left - 1e-9);
            forecast += u32::from(inside);
        }
        let share = |n: u32| f64::from(n) / runs as f64;
        (share(settled), share(forecast))
    }

    #[test]
    fn ninety_five_in_a_hundred_intervals_hold_the_truth() {
        for (truth, count, u) in [
            ((0.30, 0.12, 30.0), 12, 0.003),
            ((0.30, 0.12, 30.0), 7, 0.003),
            ((0.30, 0.12, 40.0), 6, 0.006),
            ((2.0, 1.5, 20.0), 8, 0.05),
            ((0.50, 0.30, 60.0), 8, 0.005),
            ((0.50, 0.30, 60.0), 4, 0.010),
            ((4.0, 2.5, 35.0), 6, 0.05),
        ] {
            let (settled, forecast) = covered(truth, count, u);
            println!("{truth:?} {count} batches, u {u}: settled {settled}, forecast {forecast}");
            assert!(
                (0.90..=0.99).contains(&settled),
                "{truth:?} {count}: {settled}"
            );
            // Where nothing is left the lower end stands at nothing as well, and holds it always.
            assert!(forecast >= 0.90, "{truth:?} {count}: {forecast}");
            let left = truth.2 * (truth.1 / (0.05 * truth.0)).ln() > 10.0 * f64::from(count);
            assert!(!left || forecast <= 0.99, "{truth:?} {count}: {forecast}");
        }
    }

    #[test]
    fn a_straight_line_has_no_end_in_sight() {
        let points: Vec<Point> = (0..6)
            .map(|k| Point {
                cycles: 10.0 * f64::from(k),
                value: 0.5 - 0.02 * f64::from(k),
                u: 0.001,
            })
            .collect();
        let decay = fit(&points, 60.0, 0.05).unwrap();
        assert_eq!(decay.forecast.hi95, None);
        assert_eq!(decay.settled.interval.unwrap().lo95, 0.0);
    }

    #[test]
    fn too_little_gives_none_and_no_panic() {
        let one = Point {
            cycles: 5.0,
            value: 0.3,
            u: 0.01,
        };
        assert_eq!(fit(&[], 0.0, 0.05), None);
        assert_eq!(fit(&[one; 6], 10.0, 0.05), None, "all at one place");
        let mut bad = batches((0.3, 0.1, 20.0), 6, 0.01, 1);
        bad[2].u = f64::NAN;
        assert_eq!(fit(&bad, 60.0, 0.05), None);
    }
}
