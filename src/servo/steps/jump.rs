//! Steps of the pulse that the arm follows at its full speed: dead time, speed, overshoot, settling.
//!
//! A motor that is given its full voltage comes to its speed exponentially, since back-EMF takes from the current in
//! proportion: x = v·(t − τ·(1 − e^(−t/τ))) (any text on DC motors; from memory). The speed v is what it would settle to, the
//! time constant τ is shared by all steps of a spell one way, and each step has its own beginning.

use super::mean::Mean;
use super::trace::{Level, Trace, finite, mean};

/// Steps that move the arm by more than this are made at full speed, degrees.
const LARGE_DEG: f64 = 5.0;
/// Of the largest steps: those that reach this share of the largest.
const LARGEST: f64 = 0.9;
/// Slower than this share of its greatest speed the servo has begun to brake.
const BRAKING: f64 = 0.92;
/// A fitted speed so much above the greatest that was seen was never reached.
const NEVER_REACHED: f64 = 1.15;
/// Readings in motion before it brakes that a step must have.
const READINGS: usize = 3;
/// What the exponential's shape is trusted for: share of the speed, and of the time between samples for its beginning (own
/// choice, from the study of simulated servos).
const SHAPE_SPEED: f64 = 0.006;
pub(super) const SHAPE_BEGINNING: f64 = 0.1;
/// Two places on the sensor's scale are alike to this share of its step (own choice, likewise).
pub(super) const ALIKE: f64 = 0.15;
/// Share of the time between samples to which a crossing between two of them is told (own choice, likewise).
const CROSSING: f64 = 0.2;
/// What is at its place stays within this of it, degrees (own choice; the report says so).
pub const SETTLED_WITHIN_DEG: f64 = 0.5;
/// How much of a step is looked at, s.
const LOOKED_AT_S: f64 = 1.5;
/// Time constants tried, s.
const TAUS: usize = 48;
const TAU_S: (f64, f64) = (0.3e-3, 80e-3);

/// One step.
#[derive(Debug, Clone)]
pub(super) struct Step {
    /// Which spell of all, for what a spell's steps share.
    pub spell: usize,
    pub up: bool,
    pub size_deg: f64,
    /// Seconds since the last sample with the old pulse and the first with the new: it changed halfway between, as far as
    /// can be told.
    pub known_s: (f64, f64),
    /// Time in s since the step, and how far the arm has gone its way, degrees.
    pub way: Vec<(f64, f64)>,
    /// Where it came to rest, degrees of the way.
    pub rest_deg: f64,
    /// Voltage at the plug, V, with the same times as `way`.
    pub volts: Vec<f64>,
}

/// All large steps of a spell.
pub(super) fn steps(trace: &Trace<'_>, spell: usize) -> Vec<Step> {
    trace
        .levels
        .windows(2)
        .filter_map(|two| step(trace, spell, &two[0], &two[1]))
        .collect()
}

fn step(trace: &Trace<'_>, spell: usize, from: &Level, to: &Level) -> Option<Step> {
    let (before, after) = (from.rest?, to.rest?);
    let far = after.arm_deg - before.arm_deg;
    if far.abs() < LARGE_DEG || !trace.jumped(from, to) {
        return None;
    }
    let (last_s, first_s) = (trace.t_s[from.at.end - 1], trace.t_s[to.at.start]);
    let zero_s = 0.5 * (last_s + first_s);
    let begin = from.at.end.saturating_sub(5).max(from.at.start);
    let seen: Vec<usize> = (begin..to.at.end)
        .filter(|&i| trace.arm_deg[i].is_finite() && trace.t_s[i] - zero_s < LOOKED_AT_S)
        .collect();
    Some(Step {
        spell,
        up: far > 0.0,
        size_deg: far.abs(),
        known_s: (last_s - zero_s, first_s - zero_s),
        way: seen
            .iter()
            .map(|&i| {
                let deg = (trace.arm_deg[i] - before.arm_deg) * far.signum();
                (trace.t_s[i] - zero_s, deg)
            })
            .collect(),
        rest_deg: far.abs(),
        volts: seen
            .iter()
            .map(|&i| trace.volts.map_or(f64::NAN, |v| v[i]))
            .collect(),
    })
}

/// Of one step at full speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Run {
    pub up: bool,
    pub deg_per_s: f64,
    pub dead_s: f64,
    /// At the plug while it ran at its speed, V; NaN where it was not measured.
    pub volts: f64,
}

/// The steps of one spell that reached full speed, one way.
#[derive(Debug, Clone)]
pub(super) struct OneWay {
    pub up: bool,
    pub runs: Vec<Run>,
    /// The steps' mean speed, °/s, with the shared time constant's part in its uncertainty.
    pub mean: Mean,
}

/// Speeds of the steps of one spell, up and down each by themselves. A way with fewer than three usable steps is left out.
pub(super) fn one_way(steps: &[&Step], up: bool) -> Option<OneWay> {
    let tables: Vec<Table> = steps
        .iter()
        .filter(|s| s.up == up)
        .filter_map(|s| Table::of(s))
        .collect();
    let all: Vec<usize> = (0..tables.len()).collect();
    if all.len() < 3 {
        return None;
    }
    let best = best_tau(&tables, &all)?;
    let runs: Vec<Run> = tables
        .iter()
        .map(|t| Run {
            up,
            deg_per_s: t.at(best).0,
            dead_s: t.at(best).1,
            volts: t.volts,
        })
        .collect();
    let speed = |which: &[usize]| {
        let tau = best_tau(&tables, which).unwrap_or(best);
        which.iter().map(|&i| tables[i].at(tau).0).sum::<f64>() / which.len() as f64
    };
    let without: Vec<f64> = all
        .iter()
        .map(|leave| {
            let rest: Vec<usize> = all.iter().copied().filter(|i| i != leave).collect();
            speed(&rest)
        })
        .collect();
    let mean = Mean::jackknifed(speed(&all), &without);
    let peak = tables.iter().map(|t| t.peak).fold(0.0, f64::max);
    let mean = mean.within(SHAPE_SPEED * mean.value);
    (mean.value < NEVER_REACHED * peak).then_some(OneWay { up, runs, mean })
}

/// Where on the table of time constants the squares of these steps together are least: a place between two entries.
fn best_tau(tables: &[Table], which: &[usize]) -> Option<f64> {
    let total = |k: usize| {
        which
            .iter()
            .map(|&i| tables[i].fits[k].squares)
            .sum::<f64>()
    };
    let k = (0..TAUS).min_by(|&a, &b| total(a).total_cmp(&total(b)))?;
    if k + 1 == TAUS {
        // Still gaining speed to the end: there is no steady part.
        return None;
    }
    if k == 0 {
        return Some(0.0);
    }
    let (a, b, c) = (total(k - 1), total(k), total(k + 1));
    let bend = a - 2.0 * b + c;
    let off = if bend > 0.0 {
        0.5 * (a - c) / bend
    } else {
        0.0
    };
    Some(k as f64 + off.clamp(-0.5, 0.5))
}

/// One step's fits, one for each time constant.
struct Table {
    fits: Vec<Fitted>,
    peak: f64,
    volts: f64,
}

#[derive(Clone, Copy)]
struct Fitted {
    squares: f64,
    deg_per_s: f64,
    begins_s: f64,
}

impl Table {
    fn of(step: &Step) -> Option<Self> {
        let (end, peak) = until_it_brakes(&step.way)?;
        let way = &step.way[..=end];
        let moving = way.iter().filter(|w| w.1 > 0.05 * step.size_deg).count();
        if moving < READINGS {
            return None;
        }
        let late_s = way.iter().find(|w| w.1 > 0.3 * step.size_deg)?.0;
        let fits = (0..TAUS)
            .map(|k| {
                let tau_s = TAU_S.0 * (TAU_S.1 / TAU_S.0).powf(k as f64 / (TAUS - 1) as f64);
                fitted(way, tau_s, (step.known_s.0 - 0.002, late_s))
            })
            .collect();
        // Until then the supply has not come back from the dip of the start, nor the filter ahead of its reading.
        let steady = end.saturating_sub(1);
        let volts = mean(&finite(&step.volts[steady..=end])).unwrap_or(f64::NAN);
        Some(Self { fits, peak, volts })
    }

    /// Speed in °/s and beginning in s at a place on the table.
    fn at(&self, place: f64) -> (f64, f64) {
        let low = (place.floor() as usize).min(TAUS - 2);
        let share = place - low as f64;
        let (a, b) = (self.fits[low], self.fits[low + 1]);
        (
            a.deg_per_s + share * (b.deg_per_s - a.deg_per_s),
            a.begins_s + share * (b.begins_s - a.begins_s),
        )
    }
}

/// The last sample before the servo begins to brake, and its greatest speed, °/s.
fn until_it_brakes(way: &[(f64, f64)]) -> Option<(usize, f64)> {
    let speed = |i: usize| (way[i + 2].1 - way[i].1) / (way[i + 2].0 - way[i].0).max(1e-9);
    let last = way.len().checked_sub(2)?;
    let fastest = (0..last).max_by(|&a, &b| speed(a).total_cmp(&speed(b)))?;
    let peak = speed(fastest);
    let braked = (fastest..last).find(|&i| speed(i) < BRAKING * peak)?;
    // In the two stretches before it may have begun to.
    (peak > 0.0).then_some((braked.checked_sub(2)?, peak))
}

/// Speed and beginning for a time constant: the speed follows from the beginning, which is searched for.
fn fitted(way: &[(f64, f64)], tau_s: f64, (from_s, to_s): (f64, f64)) -> Fitted {
    let at = |begins_s: f64| {
        let (mut over, mut under, mut whole) = (0.0, 0.0, 0.0);
        for &(t, x) in way {
            let since = t - begins_s;
            let gone = if since > 0.0 {
                since - tau_s * (1.0 - (-since / tau_s).exp())
            } else {
                0.0
            };
            over += gone * x;
            under += gone * gone;
            whole += x * x;
        }
        let deg_per_s = over / under.max(1e-30);
        Fitted {
            squares: (whole - deg_per_s * over).max(0.0),
            deg_per_s,
            begins_s,
        }
    };
    const TRIED: usize = 30;
    let step = (to_s - from_s) / TRIED as f64;
    let near = (0..TRIED)
        .map(|k| from_s + step * k as f64)
        .min_by(|&a, &b| at(a).squares.total_cmp(&at(b).squares))
        .unwrap_or(from_s);
    // Golden section between its neighbours.
    let (mut low, mut high) = (near - step, near + step);
    const GOLDEN: f64 = 0.618_033_988_749_895;
    for _ in 0..28 {
        let (a, b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        if at(a).squares < at(b).squares {
            high = b;
        } else {
            low = a;
        }
    }
    at(0.5 * (low + high))
}

/// The largest steps one way.
fn largest(steps: &[Step], up: bool) -> Vec<&Step> {
    let most = steps.iter().map(|s| s.size_deg).fold(0.0, f64::max);
    steps
        .iter()
        .filter(|s| s.up == up && s.size_deg >= LARGEST * most)
        .collect()
}

/// The largest steps one way, laid over each other from the step of the pulse on.
struct Laid {
    /// Mean time of each place, s.
    t_s: Vec<f64>,
    /// Of each step, how far the arm is beyond where it came to rest, degrees.
    beyond: Vec<Vec<f64>>,
    total: Vec<f64>,
}

impl Laid {
    fn of(steps: &[Step], up: bool) -> Option<Self> {
        let those = largest(steps, up);
        let after = |s: &Step| s.way.iter().position(|w| w.0 > 0.0).unwrap_or(0);
        let places = those.iter().map(|s| s.way.len() - after(s)).min()?;
        let beyond: Vec<Vec<f64>> = those
            .iter()
            .map(|s| {
                let way = s.way[after(s)..].iter().take(places);
                way.map(|w| w.1 - s.rest_deg).collect()
            })
            .collect();
        let n = those.len() as f64;
        let sum = |f: &dyn Fn(usize) -> f64| (0..those.len()).map(f).sum::<f64>();
        Some(Self {
            t_s: (0..places)
                .map(|k| sum(&|i| those[i].way[after(those[i]) + k].0) / n)
                .collect(),
            total: (0..places).map(|k| sum(&|i| beyond[i][k])).collect(),
            beyond,
        })
        .filter(|laid| laid.beyond.len() >= 3)
    }

    /// The mean of all but one.
    fn without(&self, one: usize) -> Vec<f64> {
        let n = (self.beyond.len() - 1) as f64;
        let own = &self.beyond[one];
        let rest = self.total.iter().zip(own);
        rest.map(|(t, o)| (t - o) / n).collect()
    }

    /// The mean of every second step, from the first on or from the second.
    fn half(&self, from: usize) -> Vec<f64> {
        let half: Vec<&Vec<f64>> = self.beyond.iter().skip(from).step_by(2).collect();
        (0..self.total.len())
            .map(|k| half.iter().map(|b| b[k]).sum::<f64>() / half.len() as f64)
            .collect()
    }

    fn mean(&self) -> Vec<f64> {
        let n = self.beyond.len() as f64;
        self.total.iter().map(|t| t / n).collect()
    }
}

/// How far the arm goes beyond its place after the largest steps, degrees. For one half of the steps the place of the peak
/// is taken from the other half: each step's own highest reading would be its noise.
pub(super) fn overshoot(steps: &[Step]) -> Option<Mean> {
    let (mut found, mut between_all) = (Vec::new(), Vec::new());
    for laid in [true, false]
        .into_iter()
        .filter_map(|up| Laid::of(steps, up))
    {
        for half in [0, 1] {
            let Some((place, between)) = peak(&laid.half(1 - half)) else {
                continue;
            };
            let own = laid.beyond.iter().skip(half).step_by(2);
            let mean = Mean::of(&own.map(|b| b[place] + between).collect::<Vec<f64>>());
            found.extend(mean.filter(|m| m.df >= 1.0));
            between_all.push(between);
        }
    }
    // What is added for the peak's falling between samples is not known better than it is large.
    let between = Mean::of(&between_all)?.value;
    let share = 1.0 / found.len() as f64;
    let whole = found.into_iter().reduce(|a, b| a.with(1.0, b, 1.0))?;
    Some(whole.scaled(share).within(between))
}

/// The highest place once it has arrived, and how much higher it is between the places: a parabola through three, and what
/// samples without regard to the peak miss of it on average (a twelfth of a place squared).
fn peak(mean: &[f64]) -> Option<(usize, f64)> {
    let arrived = mean.iter().position(|b| *b > -SETTLED_WITHIN_DEG)?;
    let top = (arrived..mean.len()).max_by(|&a, &b| mean[a].total_cmp(&mean[b]))?;
    let (Some(before), Some(after)) = (top.checked_sub(1).map(|k| mean[k]), mean.get(top + 1))
    else {
        return Some((top, 0.0));
    };
    let bend = 2.0 * mean[top] - before - after;
    let higher = if bend > 0.0 {
        ((after - before).powi(2) / (8.0 * bend)).min(bend / 8.0) + bend / 24.0
    } else {
        0.0
    };
    Some((top, higher))
}

/// From the pulse's step until the arm, on the mean of the largest steps, stays within [`SETTLED_WITHIN_DEG`] of its place,
/// s. Of a single step the trembling would tell.
pub(super) fn settling(steps: &[Step]) -> Option<Mean> {
    let ways = [true, false].map(|up| {
        let laid = Laid::of(steps, up)?;
        let without: Option<Vec<f64>> = (0..laid.beyond.len())
            .map(|i| settled_s(&laid.t_s, &laid.without(i)))
            .collect();
        let dt_s = laid.t_s.get(1)? - laid.t_s.first()?;
        let value = settled_s(&laid.t_s, &laid.mean())?;
        Some(Mean::jackknifed(value, &without?).within(CROSSING * dt_s))
    });
    match ways {
        [Some(up), Some(down)] => Some(up.with(0.5, down, 0.5)),
        [one, other] => one.or(other),
    }
}

fn settled_s(t_s: &[f64], beyond: &[f64]) -> Option<f64> {
    let off = |k: usize| beyond[k].abs() - SETTLED_WITHIN_DEG;
    let last = (0..beyond.len()).rev().find(|&k| off(k) > 0.0)?;
    let next = (last + 1 < beyond.len()).then_some(last + 1)?;
    let share = off(last) / (off(last) - off(next)).max(1e-9);
    Some(t_s[last] + share * (t_s[next] - t_s[last]))
}
