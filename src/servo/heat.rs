//! How warm a servo gets: the case's temperature under a steady load, as one heat capacity behind one resistance.
//!
//! C·dT/dt = P − (T − T_air)/R gives T = T_end + (T_0 − T_end)·e^(−t/τ) with T_end = T_air + R·P (lumped capacity: F. P. Incropera,
//! D. P. DeWitt, Fundamentals of Heat and Mass Transfer, section 5.3, from memory). Where the power itself follows the temperature
//! in a straight line, as a winding's does, the law keeps its form. For a given τ it is linear; τ is tried over a grid, and
//! intervals are profile likelihood's: a case that has hardly warmed yet has a wide one.

use nalgebra::DMatrix;

use crate::analysis::stats::regression::weighted_least_squares;
use crate::analysis::stats::robust::median;
use crate::analysis::{Interval, Quantity};
use crate::recording::{Channel, Recording};

/// Samples are averaged over so long, s.
const BIN_S: f64 = 2.0;
/// The winding warms first and the case follows: so long from the start is not fitted, s (common practice, no source).
const WARMING_THROUGH_S: f64 = 90.0;
/// Fewer averages than this tell nothing.
const FEWEST: usize = 20;
/// A case that moved less than this says nothing about where it goes, K.
const LEAST_RISE_K: f64 = 0.5;
/// The load has changed where the power did by this share.
const LOAD_CHANGED: f64 = 0.25;
/// Winding and case are two capacities, not one: standard uncertainty of the law as a share of the warming that is still to come.
/// Own choice; against the simulated servo, whose two capacities this does not know, it is off by 1 to 2 %.
const LAW_SHARE: f64 = 0.02;
/// τ is tried from this, s, to so many spans of the recording.
const FASTEST_S: f64 = 30.0;
const SLOWEST_SPANS: f64 = 8.0;
const STEPS: u32 = 160;
/// χ² of one degree of freedom that 95 in 100 stay below.
const CHI2_95: f64 = 3.841_458_820_694_124;

/// The case's temperature, as it was and as it will be.
#[derive(Debug, Clone, PartialEq)]
pub struct Heat {
    /// Supply power, averaged over the later half, W.
    pub power_w: f64,
    /// It differs from that of the earlier half by more than a quarter: there is no one load to be told of.
    pub load_changed: bool,
    /// °C: of the air (measured, or where the case began), and of the case at the start and the end.
    pub air_c: f64,
    pub air_is_measured: bool,
    pub first_c: f64,
    pub last_c: f64,
    /// The steps in which the case's temperature is read, K; 0 where none are seen.
    pub step_k: f64,
    pub span_s: f64,
    /// Where it would end under the same load, °C; without an interval where the recording is too short to bound it.
    pub end_c: Quantity,
    /// The time in which 63 % of what is left is covered, s.
    pub settles_in_s: Quantity,
    pub until: Until,
    /// What was measured, averaged: s from the recording's start, °C.
    pub course: Vec<(f64, f64)>,
    /// The fitted law from where it holds to as long again after the recording.
    pub law: Vec<Told>,
}

/// The law at one moment, °C, with its 95 % band; no band while it was measured, nor where its end is not bounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    pub t_s: f64,
    pub case_c: f64,
    pub band_c: Option<(f64, f64)>,
}

impl Heat {
    /// Where it would end; `None` where the load changed, for then there is no one load to be told of.
    pub fn told_end_c(&self) -> Option<Quantity> {
        (!self.load_changed).then_some(self.end_c)
    }
}

/// When the case comes to a limit under the same load, from the recording's end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Until {
    /// It is there already.
    Past,
    /// Its end lies below the limit, with 95 % of confidence.
    Never,
    /// s. `soonest` and `latest` bound it with 95 %; no latest: perhaps never.
    In {
        expected_s: Option<f64>,
        soonest_s: f64,
        latest_s: Option<f64>,
    },
}

/// Averages over [`BIN_S`].
#[derive(Debug, Clone, Copy)]
struct Bin {
    t_s: f64,
    case_c: f64,
    air_c: f64,
    power_w: f64,
}

/// `None` without a case temperature, current or voltage, or where it is too short or did not warm.
pub fn measure(recording: &Recording, limit_c: f64) -> Option<Heat> {
    let bins = bins(recording)?;
    if bins.len() < FEWEST {
        return None;
    }
    let air_is_measured = bins.iter().all(|b| b.air_c.is_finite());
    let (first, last) = (bins[0], bins[bins.len() - 1]);
    let air_c = match air_is_measured {
        true => mean(bins.iter().map(|b| b.air_c)),
        false => first.case_c,
    };
    // From where the load is on and the winding has warmed through.
    let powers: Vec<f64> = bins.iter().map(|b| b.power_w).collect();
    let usual_w = median(&powers)?;
    let on = bins.iter().position(|b| b.power_w > 0.5 * usual_w)?;
    let from = bins.partition_point(|b| b.t_s < bins[on].t_s + WARMING_THROUGH_S);
    let warming = &bins[from..];
    if warming.len() < FEWEST || (last.case_c - warming[0].case_c).abs() < LEAST_RISE_K {
        return None;
    }
    let half = warming.len() / 2;
    let watts = |part: &[Bin]| mean(part.iter().map(|b| b.power_w));
    let (early_w, late_w) = (watts(&warming[..half]), watts(&warming[half..]));
    let accepted = Accepted::search(warming)?;
    let best = &accepted.best;
    Some(Heat {
        power_w: late_w,
        load_changed: (late_w - early_w).abs() > LOAD_CHANGED * early_w,
        air_c,
        air_is_measured,
        first_c: first.case_c,
        last_c: last.case_c,
        step_k: super::held::steps(recording, Channel::CaseC).0,
        span_s: last.t_s - first.t_s,
        end_c: accepted.quantity(best.end_c, Trial::ends),
        settles_in_s: accepted.quantity(best.tau_s, |t| (t.tau_s, t.tau_s)),
        until: accepted.until(last.case_c, limit_c),
        course: bins.iter().map(|b| (b.t_s, b.case_c)).collect(),
        law: accepted.law(warming[0].t_s, last.t_s),
    })
}

/// Means over stretches of time; segments follow each other without a gap.
fn bins(recording: &Recording) -> Option<Vec<Bin>> {
    let mut all: Vec<Bin> = Vec::new();
    let mut offset_s = 0.0;
    for segment in &recording.segments {
        let case = segment.column(Channel::CaseC)?;
        let current = segment.column(Channel::CurrentMa)?;
        let volts = segment.column(Channel::SupplyV)?;
        let air = segment.column(Channel::AirC);
        let mut at = 0;
        while at < segment.len() {
            let from_s = segment.t_s[at];
            let end = at + segment.t_s[at..].partition_point(|t| *t < from_s + BIN_S);
            let finite =
                |values: &[f64]| mean(values[at..end].iter().copied().filter(|v| v.is_finite()));
            let watts = current[at..end].iter().zip(&volts[at..end]);
            let power_w = mean(watts.map(|(ma, v)| 1e-3 * ma * v).filter(|w| w.is_finite()));
            let bin = Bin {
                t_s: offset_s + from_s + 0.5 * BIN_S,
                case_c: finite(case),
                air_c: air.map_or(f64::NAN, finite),
                power_w,
            };
            let whole = segment.t_s[end - 1] - from_s > 0.5 * BIN_S;
            if whole && bin.case_c.is_finite() && bin.power_w.is_finite() {
                all.push(bin);
            }
            at = end;
        }
        offset_s += segment.t_s.last().copied().unwrap_or(0.0);
    }
    Some(all)
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0_u32), |(sum, count), v| (sum + v, count + 1));
    sum / f64::from(count)
}

/// The linear part of the law for one τ.
struct Trial {
    tau_s: f64,
    end_c: f64,
    /// Where the case began, less its end.
    began_k: f64,
    /// Where the case is at the recording's end.
    last_c: f64,
    /// Of the end, for residuals of variance 1.
    variance: f64,
    chi2: f64,
    /// χ² that is left of what is allowed.
    room: f64,
    residuals: Vec<f64>,
}

impl Trial {
    fn of(bins: &[Bin], tau_s: f64) -> Option<Self> {
        let decayed = |row: usize| (-(bins[row].t_s - bins[0].t_s) / tau_s).exp();
        let design = DMatrix::from_fn(bins.len(), 2, |row, column| match column {
            0 => 1.0,
            _ => decayed(row),
        });
        let y: Vec<f64> = bins.iter().map(|b| b.case_c).collect();
        let fit = weighted_least_squares(&design, &y, None)?;
        let (end_c, began_k) = (fit.coefficients[0], fit.coefficients[1]);
        let told = |row: usize| end_c + began_k * decayed(row);
        let residuals: Vec<f64> = (0..bins.len()).map(|row| y[row] - told(row)).collect();
        Some(Self {
            tau_s,
            end_c,
            began_k,
            last_c: bins[bins.len() - 1].case_c,
            variance: fit.unscaled_covariance[(0, 0)],
            chi2: residuals.iter().map(|r| r * r).sum(),
            room: 0.0,
            residuals,
        })
    }

    /// Lowest and highest end within the room that is left, and with what the law itself falls short by.
    fn ends(&self) -> (f64, f64) {
        let law_k = CHI2_95.sqrt() * LAW_SHARE * (self.end_c - self.last_c).abs();
        let by = (self.room * self.variance).max(0.0).sqrt().hypot(law_k);
        (self.end_c - by, self.end_c + by)
    }
}

/// The τ that the data allow.
struct Accepted {
    best: Trial,
    others: Vec<Trial>,
    /// The slowest τ that was tried is among them: no end is in sight.
    open: bool,
}

impl Accepted {
    fn search(bins: &[Bin]) -> Option<Self> {
        let span_s = bins[bins.len() - 1].t_s - bins[0].t_s;
        let slowest_s = SLOWEST_SPANS * span_s;
        if slowest_s <= FASTEST_S {
            return None;
        }
        let grid = |from: f64, to: f64| -> Vec<Trial> {
            let growth = (to / from).ln() / f64::from(STEPS);
            (0..=STEPS)
                .filter_map(|k| Trial::of(bins, from * (growth * f64::from(k)).exp()))
                .collect()
        };
        let least = |trials: &[Trial]| {
            (0..trials.len()).min_by(|&a, &b| trials[a].chi2.total_cmp(&trials[b].chi2))
        };
        let coarse = grid(FASTEST_S, slowest_s);
        let near_s = coarse[least(&coarse)?].tau_s;
        // The likelihood may be narrower than a step of the grid.
        let step = (slowest_s / FASTEST_S).powf(1.0 / f64::from(STEPS));
        let mut trials = grid(near_s / step.powi(2), near_s * step.powi(2));
        trials.extend(coarse);
        let place = least(&trials)?;
        let allowed = trials[place].chi2 + CHI2_95 * variance(&trials[place].residuals);
        for trial in &mut trials {
            trial.room = allowed - trial.chi2;
        }
        let open = trials
            .iter()
            .any(|t| t.room >= 0.0 && t.tau_s > 0.99 * slowest_s);
        let best = trials.swap_remove(place);
        trials.retain(|t| t.room >= 0.0);
        let others = trials;
        Some(Self { best, others, open })
    }

    fn all(&self) -> impl Iterator<Item = &Trial> {
        std::iter::once(&self.best).chain(&self.others)
    }

    fn quantity(&self, value: f64, reach: impl Fn(&Trial) -> (f64, f64)) -> Quantity {
        let ends = self.all().map(reach);
        let (lo95, hi95) = ends.fold((value, value), |(lo, hi), (a, b)| (lo.min(a), hi.max(b)));
        let interval = Interval {
            u: 0.5 * (hi95 - lo95) / CHI2_95.sqrt(),
            lo95,
            hi95,
        };
        Quantity {
            value,
            interval: (!self.open).then_some(interval),
        }
    }

    fn law(&self, from_s: f64, to_s: f64) -> Vec<Told> {
        const PLACES: usize = 120;
        let best = &self.best;
        let span_s = to_s - from_s;
        let value = |t_s: f64| best.end_c + best.began_k * (-(t_s - from_s) / best.tau_s).exp();
        let band = |after_s: f64| {
            let ends = self.all().flat_map(|t| {
                let (lo, hi) = t.ends();
                [(t.tau_s, lo), (t.tau_s, hi)]
            });
            let then = ends.map(|(tau, end)| end + (best.last_c - end) * (-after_s / tau).exp());
            then.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), c| {
                (lo.min(c), hi.max(c))
            })
        };
        (0..=PLACES)
            .map(|k| {
                let t_s = from_s + 2.0 * span_s * k as f64 / PLACES as f64;
                let later = t_s >= to_s && !self.open;
                Told {
                    t_s,
                    case_c: value(t_s),
                    band_c: later.then(|| band(t_s - to_s)),
                }
            })
            .collect()
    }

    fn until(&self, now_c: f64, limit_c: f64) -> Until {
        if now_c >= limit_c {
            return Until::Past;
        }
        // T(t) = end + (now − end)·e^(−t/τ) comes to the limit where its end lies beyond it.
        let when = |tau_s: f64, end_c: f64| {
            (end_c > limit_c).then(|| tau_s * ((end_c - now_c) / (end_c - limit_c)).ln())
        };
        let ends: Vec<Option<f64>> = self
            .all()
            .flat_map(|t| {
                let (lo, hi) = t.ends();
                [when(t.tau_s, lo), when(t.tau_s, hi)]
            })
            .collect();
        let soonest_s = ends.iter().flatten().copied().fold(f64::INFINITY, f64::min);
        if !soonest_s.is_finite() {
            return Until::Never;
        }
        let all_reach = !self.open && ends.iter().all(Option::is_some);
        Until::In {
            expected_s: when(self.best.tau_s, self.best.end_c),
            soonest_s,
            latest_s: all_reach.then(|| ends.iter().flatten().copied().fold(0.0, f64::max)),
        }
    }
}

/// Of an average, for the whole of them: averages next to each other err alike, so as many fewer of them count (G. E. P. Box, G. M.
/// Jenkins, Time Series Analysis, from memory: variance of a mean of a first-order autoregression).
fn variance(residuals: &[f64]) -> f64 {
    let freedom = residuals.len().saturating_sub(3).max(1) as f64;
    let kept = neighbours_correlation(residuals);
    let squares: f64 = residuals.iter().map(|r| r * r).sum();
    squares / freedom * (1.0 + kept) / (1.0 - kept)
}

/// Of residuals that stand next to each other; never so near to 1 that nothing is left.
fn neighbours_correlation(residuals: &[f64]) -> f64 {
    let squares: f64 = residuals.iter().map(|r| r * r).sum();
    if squares == 0.0 {
        return 0.0;
    }
    let products: f64 = residuals.windows(2).map(|w| w[0] * w[1]).sum();
    (products / squares).clamp(0.0, 0.98)
}

#[cfg(test)]
#[path = "heat_tests.rs"]
mod tests;
