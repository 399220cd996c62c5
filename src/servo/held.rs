//! How stiffly a control circuit holds a surface at neutral: weights hung on either side, the deflection that each gives.
//!
//! Beyond the free play, which the first load takes up, the surface gives way in proportion: θ = A± + τ/K with the sign of the load,
//! a straight line a side, a step of A₊ − A₋ between them. What is measured is all between servo and surface, the servo's dead
//! band and control included. Fitted by least squares over armings, each of which is one reading: an arming is what repeats.
//! Angle readings come in steps, and the same load meets the same step however often it is repeated: that part is each load's own.

use std::f64::consts::PI;
use std::ops::Range;

use nalgebra::DMatrix;

use super::{Armed, ServoFound, spells};
use crate::analysis::stats::regression::{LinearFit, weighted_least_squares};
use crate::analysis::stats::robust::median;
use crate::analysis::stats::student;
use crate::analysis::{Interval, Quantity};
use crate::recording::{Channel, Recording};

/// The `#` key of a load, N·cm about the hinge line, up positive; and that of their relative standard uncertainty, per cent.
pub const HUNG: &str = "hung_ncm";
pub const HUNG_U: &str = "hung_u_percent";
/// Relative standard uncertainty of the loads where nothing is said: kitchen scales and a ruler (assumed).
const HUNG_U_SHARE: f64 = 0.01;
/// The servo settles for so long once the pulse stands, s; a hold is that and this long at least.
const SETTLING_S: f64 = 1.0;
const SHORTEST_S: f64 = 1.0;
/// Pulses this near to each other are the same, µs.
const SAME_US: f64 = 1.0;
/// A surface that goes on moving by this while it is held has not come to rest, degrees.
const STILL_DEG: f64 = 0.15;

/// One arming under one load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    pub hung_ncm: f64,
    /// Mean while held.
    pub angle_deg: f64,
    /// Mean of the last third less that of the first.
    pub drift_deg: f64,
    /// Standard deviation of single readings.
    pub spread_deg: f64,
    pulse_us: f64,
}

/// Why there is no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Short {
    /// No angle, no pulse, or no `hung_ncm` ahead of the armings.
    Nothing,
    /// Loads on one side alone.
    OneSide,
    /// One load a side: give and play cannot be told apart.
    OneLoad,
    /// No load was repeated.
    NotRepeated,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    pub readings: Vec<Reading>,
    /// Both sides together, N·cm/°; `None` where [`Held::short`] says why, or where no give was seen.
    pub stiffness: Option<Quantity>,
    /// Where the give is too small to be bounded: it is stiffer than this, with 95 % confidence, N·cm/°.
    pub stiffer_than: Option<f64>,
    /// Of weights that push up, and down.
    pub sides: [Option<Quantity>; 2],
    /// Free play, the whole of it, degrees; its interval holds what [`Held::memory_deg`] may hide or feign of it.
    pub play_deg: Option<Quantity>,
    /// Neutral after loads up less neutral after loads down: friction, dead band and play that keep what was done last, degrees.
    pub memory_deg: Option<Quantity>,
    /// Steps in which the angle is read, degrees, and by how much they differ from each other.
    pub step_deg: f64,
    pub steps_differ_deg: f64,
    /// The lightest load on either side, N·cm: free play is told for what it takes up.
    pub lightest_ncm: f64,
    pub heaviest_ncm: f64,
    /// Relative standard uncertainty of all loads together.
    pub hung_u: f64,
    /// Loads under which it went on moving, N·cm.
    pub moving_on: Vec<f64>,
    pub short: Option<Short>,
}

/// For the results.
pub fn found(recording: &Recording) -> ServoFound {
    let held = measure(recording);
    ServoFound {
        held_ncm_per_deg: held.stiffness,
        held_play_deg: held.play_deg,
        ..ServoFound::default()
    }
}

pub fn measure(recording: &Recording) -> Held {
    measure_all(std::slice::from_ref(recording))
}

/// Several recordings of one surface, one after the other, as if they were one.
pub fn measure_all(recordings: &[Recording]) -> Held {
    let mut readings: Vec<Reading> = recordings.iter().flat_map(readings).collect();
    // The angle is compared at one pulse: the one that most were held at.
    let alike = |us: f64| {
        readings
            .iter()
            .filter(|r| (r.pulse_us - us).abs() < SAME_US)
            .count()
    };
    let usual = readings
        .iter()
        .map(|r| r.pulse_us)
        .max_by_key(|us| alike(*us));
    readings.retain(|r| usual.is_some_and(|us| (r.pulse_us - us).abs() < SAME_US));
    let of = |recording: &Recording| recording.key(HUNG_U)?.trim().parse::<f64>().ok();
    let said = recordings
        .iter()
        .filter_map(of)
        .find(|p| (0.0..=50.0).contains(p));
    let loads = || {
        readings
            .iter()
            .map(|r| r.hung_ncm.abs())
            .filter(|l| *l > 0.0)
    };
    let (step_deg, steps_differ_deg) = recordings
        .first()
        .map_or((0.0, 0.0), |r| steps(r, Channel::AngleDeg));
    let mut held = Held {
        stiffness: None,
        stiffer_than: None,
        sides: [None, None],
        play_deg: None,
        memory_deg: memory(&readings),
        step_deg,
        steps_differ_deg,
        lightest_ncm: loads().fold(f64::INFINITY, f64::min),
        heaviest_ncm: loads().fold(0.0, f64::max),
        hung_u: said.map_or(HUNG_U_SHARE, |p| 0.01 * p),
        moving_on: moving_on(&readings),
        short: None,
        readings,
    };
    held.short = held.fit();
    held
}

impl Held {
    fn fit(&mut self) -> Option<Short> {
        let levels = |up: bool| {
            let loaded = self.readings.iter().map(|r| r.hung_ncm);
            let mut levels: Vec<f64> = loaded.filter(|h| *h != 0.0 && (*h > 0.0) == up).collect();
            let all = levels.len();
            levels.sort_by(f64::total_cmp);
            levels.dedup();
            (levels.len(), all)
        };
        let ((up, ups), (down, downs)) = (levels(true), levels(false));
        match (up, down) {
            (0, 0) => return Some(Short::Nothing),
            (0, _) | (_, 0) => return Some(Short::OneSide),
            (1, _) | (_, 1) => return Some(Short::OneLoad),
            _ if ups + downs <= up + down => return Some(Short::NotRepeated),
            _ => {}
        }
        // Where there is a step: up, down; how it gives: together, or a side each.
        let is = |so: bool| if so { 1.0 } else { 0.0 };
        let both = self.lines(|h| vec![is(h > 0.0), is(h < 0.0), h]);
        if let Some(lines) = &both {
            // A load meets the play from where friction and dead band left the surface: anywhere within what neutral remembers.
            let memory_u = self
                .memory_deg
                .map_or(0.0, |q| q.value.abs() / 3.0_f64.sqrt());
            self.play_deg = Some(lines.quantity_with(&[1.0, -1.0, 0.0], memory_u));
            let give = lines.quantity(&[0.0, 0.0, 1.0], self.hung_u);
            self.stiffness = inverse(&give);
            self.stiffer_than = match (self.stiffness, give.interval) {
                (None, Some(i)) if i.hi95 > 0.0 => Some(1.0 / i.hi95),
                _ => None,
            };
        }
        let apart = self.lines(|h| vec![is(h > 0.0), is(h < 0.0), h.max(0.0), h.min(0.0)]);
        if let Some(lines) = &apart {
            let give = |of: &[f64]| inverse(&lines.quantity(of, self.hung_u));
            self.sides = [give(&[0.0, 0.0, 1.0, 0.0]), give(&[0.0, 0.0, 0.0, 1.0])];
        }
        None
    }

    fn lines(&self, columns: impl Fn(f64) -> Vec<f64>) -> Option<Lines> {
        let loaded: Vec<&Reading> = self.readings.iter().filter(|r| r.hung_ncm != 0.0).collect();
        let rows: Vec<Vec<f64>> = loaded.iter().map(|r| columns(r.hung_ncm)).collect();
        let design = DMatrix::from_fn(rows.len(), rows[0].len(), |i, j| rows[i][j]);
        let angles: Vec<f64> = loaded.iter().map(|r| r.angle_deg).collect();
        let fit = weighted_least_squares(&design, &angles, None)?;
        // What each reading counts for in each coefficient.
        let shares = &fit.unscaled_covariance * design.transpose();
        Some(Lines {
            fit,
            shares,
            loads: loaded.iter().map(|r| r.hung_ncm).collect(),
            step_u_deg: self.step_u_deg(),
        })
    }

    /// Standard uncertainty of a mean by the sensor's steps. Noise smears them: of the error, which for no noise is anything up to
    /// half a step, the first harmonic is left, (q/π)·e^(−2π²σ²/q²) (B. Widrow, I. Kollár, Quantization Noise, from memory). Taken
    /// as independent from load to load; angles a whole number of steps apart have the same error, and by where that falls the 95 %
    /// intervals of single circuits hold in 92 to 99 of 100 (the study beside the tests, 1,000 each).
    fn step_u_deg(&self) -> f64 {
        let step = self.step_deg;
        if step <= 0.0 || self.readings.is_empty() {
            return 0.0;
        }
        let variances = self.readings.iter().map(|r| r.spread_deg.powi(2));
        let mean = variances.sum::<f64>() / self.readings.len() as f64;
        // A step's own share of the spread.
        let noise = (mean - step * step / 12.0).max(0.0);
        let left = step / (PI * 2.0_f64.sqrt()) * (-2.0 * PI * PI * noise / (step * step)).exp();
        left.min(step / 12.0_f64.sqrt())
            .hypot(self.steps_differ_deg / 12.0_f64.sqrt())
    }
}

/// Straight lines through the loaded readings.
struct Lines {
    fit: LinearFit,
    shares: DMatrix<f64>,
    loads: Vec<f64>,
    step_u_deg: f64,
}

impl Lines {
    /// A sum of coefficients with its uncertainty: scatter of the armings, the sensor's steps, and a relative one that all share.
    fn quantity(&self, of: &[f64], shared: f64) -> Quantity {
        self.quantity_with(of, shared * self.value(of).abs())
    }

    fn value(&self, of: &[f64]) -> f64 {
        let parts = of.iter().zip(&self.fit.coefficients);
        parts.map(|(w, c)| w * c).sum()
    }

    /// The same with a further uncertainty of the sum's own unit.
    fn quantity_with(&self, of: &[f64], further_u: f64) -> Quantity {
        let value = self.value(of);
        let (n, covariance) = (of.len(), &self.fit.unscaled_covariance);
        let mut variance = 0.0;
        for i in 0..n {
            for j in 0..n {
                variance += of[i] * covariance[(i, j)] * of[j];
            }
        }
        let scatter_u = self.fit.residual_sd.unwrap_or(f64::NAN) * variance.max(0.0).sqrt();
        let counts = |row: usize| -> f64 { (0..n).map(|j| of[j] * self.shares[(j, row)]).sum() };
        let mut levels: Vec<(f64, f64)> = Vec::new();
        for (row, load) in self.loads.iter().enumerate() {
            match levels.iter_mut().find(|l| l.0 == *load) {
                Some(level) => level.1 += counts(row),
                None => levels.push((*load, counts(row))),
            }
        }
        let squares: f64 = levels.iter().map(|l| l.1 * l.1).sum();
        let (u, df) = student::combine(&[
            (scatter_u, self.fit.degrees_of_freedom as f64),
            (self.step_u_deg * squares.sqrt(), f64::INFINITY),
            (further_u, f64::INFINITY),
        ]);
        Quantity {
            value,
            interval: student::interval(value, u, df).filter(|_| u > 0.0),
        }
    }
}

/// Stiffness from give; `None` where the give may be none at all.
fn inverse(give: &Quantity) -> Option<Quantity> {
    let i = give.interval?;
    (i.lo95 > 0.0).then(|| Quantity {
        value: 1.0 / give.value,
        interval: Some(Interval {
            u: i.u / give.value.powi(2),
            lo95: 1.0 / i.hi95,
            hi95: 1.0 / i.lo95,
        }),
    })
}

fn readings(recording: &Recording) -> Vec<Reading> {
    let hung = recording.keys.iter().filter(|(key, _)| key == HUNG);
    let hung: Vec<Option<f64>> = hung.map(|(_, v)| v.trim().parse().ok()).collect();
    spells(recording)
        .iter()
        .filter_map(|spell| {
            let load = hung.get(spell.number).copied().flatten()?;
            reading(spell, load).filter(|_| load.is_finite())
        })
        .collect()
}

fn reading(spell: &Armed<'_>, hung_ncm: f64) -> Option<Reading> {
    let (pulse, angle) = (
        spell.column(Channel::PulseUs)?,
        spell.column(Channel::AngleDeg)?,
    );
    let t_s = spell.t_s();
    let run = longest_hold(t_s, pulse)?;
    let (from_s, to_s) = (t_s[run.start] + SETTLING_S, t_s[run.end - 1]);
    if to_s - from_s < SHORTEST_S {
        return None;
    }
    let within = |from: f64, to: f64| -> Vec<f64> {
        run.clone()
            .filter(|i| (from..=to).contains(&t_s[*i]) && angle[*i].is_finite())
            .map(|i| angle[i])
            .collect()
    };
    let third_s = (to_s - from_s) / 3.0;
    let all = within(from_s, to_s);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let (first, last) = (
        within(from_s, from_s + third_s),
        within(to_s - third_s, to_s),
    );
    if first.is_empty() || last.is_empty() {
        return None;
    }
    let angle_deg = mean(&all);
    let squares: f64 = all.iter().map(|a| (a - angle_deg).powi(2)).sum();
    Some(Reading {
        hung_ncm,
        angle_deg,
        drift_deg: mean(&last) - mean(&first),
        spread_deg: (squares / (all.len() as f64 - 1.0).max(1.0)).sqrt(),
        pulse_us: pulse[run.start],
    })
}

/// The longest time with one pulse; single readings may be missing.
fn longest_hold(t_s: &[f64], pulse_us: &[f64]) -> Option<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (i, us) in pulse_us.iter().enumerate().filter(|(_, us)| us.is_finite()) {
        match runs.last_mut() {
            Some(run) if (us - pulse_us[run.start]).abs() < 0.5 * SAME_US => run.end = i + 1,
            _ => runs.push(i..i + 1),
        }
    }
    let span = |run: &Range<usize>| t_s[run.end - 1] - t_s[run.start];
    runs.into_iter().max_by(|a, b| span(a).total_cmp(&span(b)))
}

/// The usual difference between neighbouring readings of a channel, in its unit, and how much such differences vary: numbers that are
/// cut to decimals on the wire stand now nearer, now further.
pub(super) fn steps(recording: &Recording, channel: Channel) -> (f64, f64) {
    let columns = recording.segments.iter();
    let mut seen: Vec<f64> = columns
        .filter_map(|s| s.column(channel))
        .flatten()
        .copied()
        .filter(|a| a.is_finite())
        .collect();
    seen.sort_by(f64::total_cmp);
    seen.dedup();
    let apart: Vec<f64> = seen.windows(2).map(|w| w[1] - w[0]).collect();
    let Some(usual) = median(&apart) else {
        return (0.0, 0.0);
    };
    let alike = apart.iter().filter(|d| (*d / usual - 1.0).abs() < 0.3);
    let (lo, hi) = alike.fold((usual, usual), |(lo, hi), d| (lo.min(*d), hi.max(*d)));
    (usual, hi - lo)
}

fn memory(readings: &[Reading]) -> Option<Quantity> {
    let after = |up: bool| -> Vec<f64> {
        let pairs = readings.windows(2);
        pairs
            .filter(|w| w[1].hung_ncm == 0.0 && w[0].hung_ncm != 0.0)
            .filter(|w| (w[0].hung_ncm > 0.0) == up)
            .map(|w| w[1].angle_deg)
            .collect()
    };
    let (up, down) = (after(true), after(false));
    if up.is_empty() || down.is_empty() {
        return None;
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let squares = |v: &[f64]| v.iter().map(|x| (x - mean(v)).powi(2)).sum::<f64>();
    let df = (up.len() + down.len() - 2) as f64;
    let variance = (squares(&up) + squares(&down)) / df.max(1.0);
    let u = (variance * (1.0 / up.len() as f64 + 1.0 / down.len() as f64)).sqrt();
    let value = mean(&up) - mean(&down);
    let interval = student::interval(value, u, df).filter(|_| u > 0.0 && df >= 1.0);
    Some(Quantity { value, interval })
}

fn moving_on(readings: &[Reading]) -> Vec<f64> {
    let moved = readings.iter().filter(|r| r.drift_deg.abs() > STILL_DEG);
    let mut loads: Vec<f64> = moved.map(|r| r.hung_ncm).collect();
    loads.sort_by(f64::total_cmp);
    loads.dedup();
    loads
}

#[cfg(test)]
#[path = "held_tests.rs"]
mod tests;
