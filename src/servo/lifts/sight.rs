//! A segment's readings: motion one way and rest, steady stretches, their levels, and what warms the copper.

use std::ops::Range;

use super::slip::Place;
use super::{Course, Doing, HEAT_STEP_S, Level, Step};
use crate::analysis::stats::robust;

/// Slower than this is rest, °/s.
const REST_DEG_S: f64 = 2.0;
/// Slower than this is no stroke, °/s.
const STROKE_DEG_S: f64 = 6.0;
/// Left out after a stroke has come to its speed and before it loses it, s: half a window, and five times a filter of 10 ms.
const AFTER_START_S: f64 = 0.10;
const BEFORE_END_S: f64 = 0.06;
/// Left out of a rest after motion, s.
const AFTER_MOTION_S: f64 = 0.25;
/// Shortest steady stretch that makes a level, s.
const SHORTEST_S: f64 = 0.12;
/// A stroke's speed may stray from its middle by this share, and for this share of the time by more.
pub(super) const STEADY: f64 = 0.15;
const UNSTEADY_SHARE: f64 = 0.2;
/// Blocks whose means are taken as independent, s: several times the memory of a filtered current reading.
const BLOCK_S: f64 = 0.06;
/// Temperatures that a case may have on a bench, °C; others are a sensor's fault.
const CASE_C: std::ops::RangeInclusive<f64> = -20.0..=120.0;

/// A segment's readings.
pub(super) struct Sight<'a> {
    pub t_s: &'a [f64],
    pub arm_deg: &'a [f64],
    pub volts: &'a [f64],
    pub power_w: Vec<f64>,
    pub speed_deg_s: Vec<f64>,
    pub case_c: Option<&'a [f64]>,
    pub pulse_us: Option<&'a [f64]>,
}

/// Motion one way, or rest (0), with what is left out at its ends taken away.
pub(super) struct Stretch {
    pub way: f64,
    pub range: Range<usize>,
    pub steady: bool,
}

impl Sight<'_> {
    fn way(&self, i: usize) -> f64 {
        let v = self.speed_deg_s[i];
        if v.abs() < REST_DEG_S {
            0.0
        } else if v.abs() < STROKE_DEG_S || v.is_nan() {
            f64::NAN
        } else {
            v.signum()
        }
    }

    pub(super) fn stretches(&self, samples: Range<usize>) -> Vec<Stretch> {
        let mut found = Vec::new();
        let mut from = samples.start;
        while from < samples.end {
            let way = self.way(from);
            let mut to = from + 1;
            while to < samples.end && self.way(to) == way {
                to += 1;
            }
            if !way.is_nan()
                && let Some(stretch) = self.trimmed(way, from..to)
            {
                found.push(stretch);
            }
            from = to;
        }
        found
    }

    /// The stretch in which the speed stands, without its ends.
    fn trimmed(&self, way: f64, run: Range<usize>) -> Option<Stretch> {
        let within = |range: Range<usize>, start_s: f64, end_s: f64| {
            let (first, last) = (
                self.t_s[range.start] + start_s,
                self.t_s[range.end - 1] - end_s,
            );
            let kept = range.clone().find(|&i| self.t_s[i] >= first)?
                ..range.rev().find(|&i| self.t_s[i] <= last)? + 1;
            (kept.len() >= 8 && self.t_s[kept.end - 1] - self.t_s[kept.start] >= SHORTEST_S)
                .then_some(kept)
        };
        if way == 0.0 {
            let range = within(run, AFTER_MOTION_S, BEFORE_END_S)?;
            return Some(Stretch {
                way,
                range,
                steady: true,
            });
        }
        let mut speeds: Vec<f64> = self.speed_deg_s[run.clone()]
            .iter()
            .map(|v| v.abs())
            .collect();
        let brisk = robust::median_in_place(&mut speeds)?;
        let off = |i: &usize| (self.speed_deg_s[*i].abs() / brisk - 1.0).abs() > STEADY;
        let first = run.clone().find(|i| !off(i))?;
        let last = run.clone().rev().find(|i| !off(i))?;
        let range = within(first..last + 1, AFTER_START_S, BEFORE_END_S)?;
        let unsteady = range.clone().filter(off).count() as f64 / range.len() as f64;
        Some(Stretch {
            way,
            range,
            steady: unsteady <= UNSTEADY_SHARE,
        })
    }

    /// `None` at rest, and where there is no pulse that moves.
    pub(super) fn place(&self, way: f64, range: &Range<usize>) -> Option<Place> {
        let pulse = self.pulse_us?;
        let seen = || {
            range
                .clone()
                .filter(|&i| pulse[i].is_finite() && self.arm_deg[i].is_finite())
        };
        let n = seen().count() as f64;
        if way == 0.0 || n < 8.0 {
            return None;
        }
        let mean = |f: &dyn Fn(usize) -> f64| seen().map(f).sum::<f64>() / n;
        let (t, p, a) = (
            mean(&|i| self.t_s[i]),
            mean(&|i| pulse[i]),
            mean(&|i| self.arm_deg[i]),
        );
        let by_time = |f: &dyn Fn(usize) -> f64| mean(&|i| (self.t_s[i] - t) * f(i));
        let (us, deg) = (by_time(&|i| pulse[i]), by_time(&|i| self.arm_deg[i]));
        let speed_deg_s = deg / mean(&|i| (self.t_s[i] - t).powi(2));
        (us != 0.0).then(|| Place {
            way,
            speed_deg_s: speed_deg_s.abs(),
            pulse_us: p,
            arm_deg: a,
            deg_per_us: deg / us,
        })
    }

    /// The level, and the variance of a second's mean as the scatter within it shows it.
    pub(super) fn level(
        &self,
        range: Range<usize>,
        way: f64,
        (mass, arm): (usize, usize),
        course: usize,
    ) -> Option<(Level, Option<f64>)> {
        let seen: Vec<usize> = range
            .clone()
            .filter(|&i| self.power_w[i].is_finite() && self.arm_deg[i].is_finite())
            .collect();
        if seen.len() < 8 {
            return None;
        }
        let n = seen.len() as f64;
        let mean = |f: &dyn Fn(usize) -> f64| seen.iter().map(|&i| f(i)).sum::<f64>() / n;
        let t_mean = mean(&|i| self.t_s[i]);
        let spread = mean(&|i| (self.t_s[i] - t_mean).powi(2));
        let slope = |y: &dyn Fn(usize) -> f64| mean(&|i| (self.t_s[i] - t_mean) * y(i)) / spread;
        let power_w = mean(&|i| self.power_w[i]);
        let tilt = slope(&|i| self.power_w[i]);
        // A weight's lever shortens towards both ends: straight and bent courses are no scatter.
        let bend = |i: usize| (self.t_s[i] - t_mean).powi(2) - spread;
        let bent = mean(&|i| bend(i) * self.power_w[i]) / mean(&|i| bend(i).powi(2));
        let rest =
            |i: usize| self.power_w[i] - power_w - tilt * (self.t_s[i] - t_mean) - bent * bend(i);
        let span_s = self.t_s[range.end - 1] - self.t_s[range.start];
        let level = Level {
            doing: Doing::Resting,
            mass,
            arm,
            speed_rad_s: if way == 0.0 {
                0.0
            } else {
                slope(&|i| self.arm_deg[i]).abs().to_radians()
            },
            cos: mean(&|i| self.arm_deg[i].to_radians().cos()),
            sin: mean(&|i| self.arm_deg[i].to_radians().sin()),
            power_w,
            supply_v: mean(&|i| self.volts[i]),
            span_s,
            course,
            step: (t_mean / HEAT_STEP_S) as usize,
        };
        Some((level, self.noise(&seen, span_s, &rest)))
    }

    /// From the means of blocks about the level's own course.
    fn noise(&self, seen: &[usize], span_s: f64, rest: &dyn Fn(usize) -> f64) -> Option<f64> {
        let blocks = (span_s / BLOCK_S) as usize;
        if blocks < 6 {
            return None;
        }
        let first_s = self.t_s[seen[0]];
        let mut sums = vec![(0.0, 0.0); blocks];
        for &i in seen {
            let at = (((self.t_s[i] - first_s) / span_s * blocks as f64) as usize).min(blocks - 1);
            sums[at] = (sums[at].0 + rest(i), sums[at].1 + 1.0);
        }
        let squares: f64 = sums
            .iter()
            .filter(|s| s.1 > 0.0)
            .map(|s| (s.0 / s.1).powi(2))
            .sum();
        // Mean, slope and bend were taken away.
        let variance = squares / (blocks as f64 - 3.0);
        Some(variance * span_s / blocks as f64)
    }

    pub(super) fn course(&self, loads: &[(Range<usize>, (usize, usize))]) -> Course {
        let end_s = self.t_s.last().copied().unwrap_or(0.0);
        let count = (end_s / HEAT_STEP_S) as usize + 1;
        let mut sums = vec![[0.0_f64; 5]; count];
        let mut case = vec![(0.0_f64, 0.0_f64); count];
        let mut load = vec![None; count];
        for (i, t) in self.t_s.iter().enumerate() {
            let at = ((t / HEAT_STEP_S) as usize).min(count - 1);
            if let Some(c) = self.case_c.map(|c| c[i]).filter(|c| CASE_C.contains(c)) {
                case[at] = (case[at].0 + c, case[at].1 + 1.0);
            }
            let values = [
                self.power_w[i],
                self.speed_deg_s[i].to_radians(),
                self.arm_deg[i].to_radians().cos(),
                self.arm_deg[i].to_radians().sin(),
            ];
            if values.iter().all(|v| v.is_finite()) {
                for (sum, v) in sums[at].iter_mut().zip(values) {
                    *sum += v;
                }
                sums[at][4] += 1.0;
            }
        }
        for (range, of) in loads {
            let from = (self.t_s[range.start] / HEAT_STEP_S) as usize;
            let to = (self.t_s[range.end - 1] / HEAT_STEP_S) as usize;
            load[from..=to.min(count - 1)].fill(Some(*of));
        }
        let steps = (0..count).map(|k| {
            let mean = |j: usize| sums[k][j] / sums[k][4];
            Step {
                power_w: mean(0),
                speed_rad_s: mean(1),
                cos: mean(2),
                sin: mean(3),
                load: load[k],
                case_c: case[k].0 / case[k].1,
            }
        });
        Course {
            steps: steps.collect(),
        }
    }
}
