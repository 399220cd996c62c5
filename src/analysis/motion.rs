//! How the surface moved: cleaned angle, speed, strokes between reversals, holds. No torque in it.

use super::series::Series;
use super::stats::robust::{median_in_place, quantile_in_place};
use super::stats::smooth::local_lines;
use crate::recording::Channel;

/// Window of the local straight line that gives angle and speed, s, and the fewest readings in it.
const SPEED_WINDOW_S: f64 = 0.10;
const FEWEST_IN_WINDOW: f64 = 7.0;
/// A reading further than this from the median of its five neighbours is a glitch of the sensor: a surface cannot
/// do it between two samples without its neighbours showing the way.
const GLITCH_DEG: f64 = 1.0;
/// Speed may change by this share of itself across a window for the motion to count as steady.
const MOST_CHANGE: f64 = 0.5;
/// Below this whole travel the surface is taken not to have moved.
pub(crate) const STANDING_DEG: f64 = 0.6;

/// One movement from one reversal to the next.
#[derive(Debug, Clone)]
pub(crate) struct Stroke {
    pub up: bool,
    /// Samples from reversal to reversal.
    pub range: std::ops::Range<usize>,
    pub from_deg: f64,
    pub to_deg: f64,
    /// Typical speed of its moving part, °/s, positive.
    pub speed_deg_s: f64,
    /// Long and steady enough to be used.
    pub usable: bool,
    /// Which out-and-back it belongs to: the unit from which scatter is counted.
    pub cycle: usize,
    /// The last movement of a segment may have been cut off by the end of the recording.
    pub ends_in_reversal: bool,
}

impl Stroke {
    pub fn sign(&self) -> f64 {
        if self.up { 1.0 } else { -1.0 }
    }
}

pub(crate) struct Motion {
    /// Locally smoothed angle, °; NaN where too few readings stood near.
    pub angle_deg: Vec<f64>,
    /// The readings themselves, glitches taken out (NaN).
    pub reading_deg: Vec<f64>,
    /// Speed, °/s, up positive.
    pub speed_deg_s: Vec<f64>,
    /// Sample is steady motion of a usable stroke.
    pub steady: Vec<bool>,
    pub strokes: Vec<Stroke>,
    /// Samples in half a speed window.
    half_window: usize,
    pub cycles: usize,
    pub lowest_deg: f64,
    pub highest_deg: f64,
    /// Samples inside moving stretches that were not steady.
    pub not_steady: usize,
    /// Smallest step of the angle sensor, °: its resolution as seen in the data.
    pub resolution_deg: f64,
}

impl Motion {
    /// The end of the travel that is further from neutral, °.
    pub fn furthest_deg(&self) -> f64 {
        if self.highest_deg > -self.lowest_deg {
            self.highest_deg
        } else {
            self.lowest_deg
        }
    }

    /// `None` where there is no angle at all.
    pub fn find(series: &Series) -> Option<Self> {
        let raw = series.column(Channel::AngleDeg)?;
        let mut clean = raw.to_vec();
        for segment in &series.segments {
            remove_glitches(&raw[segment.clone()], &mut clean[segment.clone()]);
        }
        let mut half_window = 1;
        let (mut angle, mut speed) = (Vec::with_capacity(raw.len()), Vec::with_capacity(raw.len()));
        for segment in &series.segments {
            let t = &series.t_s[segment.clone()];
            let window = speed_window_s(t);
            if let (Some(first), Some(last)) = (t.first(), t.last())
                && last > first
            {
                half_window =
                    (0.5 * window * (t.len() - 1) as f64 / (last - first)).round() as usize;
            }
            let lines = local_lines(t, &clean[segment.clone()], window);
            angle.extend(lines.value);
            speed.extend(lines.slope);
        }
        let (lowest_deg, highest_deg) = inner_range(&angle)?;
        let mut motion = Motion {
            angle_deg: angle,
            reading_deg: clean,
            speed_deg_s: speed,
            steady: vec![false; raw.len()],
            strokes: Vec::new(),
            half_window: half_window.max(1),
            cycles: 0,
            lowest_deg,
            highest_deg,
            not_steady: 0,
            resolution_deg: resolution(raw),
        };
        if motion.travel_deg() >= STANDING_DEG {
            for segment in &series.segments {
                motion.find_strokes(segment.clone());
            }
            motion.judge_strokes();
            motion.number_cycles();
        }
        Some(motion)
    }

    pub fn travel_deg(&self) -> f64 {
        self.highest_deg - self.lowest_deg
    }

    /// What the angle sensor's uneven steps leave over in a place found from many of them, °, the same in every stroke:
    /// a tenth of a step (assumed).
    pub fn unevenness_deg(&self) -> f64 {
        0.1 * self.resolution_deg
    }

    pub fn usable(&self) -> impl Iterator<Item = (usize, &Stroke)> {
        self.strokes.iter().enumerate().filter(|(_, s)| s.usable)
    }

    /// Reversals by the zig-zag rule: one counts once the surface has come back by a share of the whole travel.
    fn find_strokes(&mut self, segment: std::ops::Range<usize>) {
        let turn_deg = (0.15 * self.travel_deg()).max(STANDING_DEG / 2.0);
        let angle = &self.angle_deg;
        let Some(first) = segment.clone().find(|&i| !angle[i].is_nan()) else {
            return;
        };
        let mut turns = vec![first];
        let (mut low, mut high) = (first, first);
        let mut going_up: Option<bool> = None;
        for i in first..segment.end {
            let a = angle[i];
            if a.is_nan() {
                continue;
            }
            if a < angle[low] {
                low = i;
            }
            if a > angle[high] {
                high = i;
            }
            if going_up != Some(false) && angle[high] - a > turn_deg {
                turns.push(high);
                going_up = Some(false);
                low = i;
                high = i;
            } else if going_up != Some(true) && a - angle[low] > turn_deg {
                turns.push(low);
                going_up = Some(true);
                low = i;
                high = i;
            }
        }
        let Some(up_last) = going_up else { return };
        turns.push(if up_last { high } else { low });
        turns.dedup();
        let last = turns.len() - 1;
        for (k, pair) in turns.windows(2).enumerate() {
            let (from_deg, to_deg) = (angle[pair[0]], angle[pair[1]]);
            if (to_deg - from_deg).abs() < turn_deg {
                continue;
            }
            self.strokes.push(Stroke {
                up: to_deg > from_deg,
                range: pair[0]..pair[1] + 1,
                from_deg,
                to_deg,
                speed_deg_s: 0.0,
                usable: false,
                cycle: 0,
                ends_in_reversal: k + 1 < last,
            });
        }
    }

    /// Marks steady samples and the strokes that have enough of them.
    fn judge_strokes(&mut self) {
        let travel = self.travel_deg();
        let mut speeds = Vec::new();
        for stroke in &mut self.strokes {
            let sign = stroke.sign();
            speeds.clear();
            speeds.extend(
                stroke
                    .range
                    .clone()
                    .map(|i| sign * self.speed_deg_s[i])
                    .filter(|v| *v > 0.0),
            );
            if speeds.len() < 5 {
                continue;
            }
            let brisk = quantile_in_place(&mut speeds, 0.90).unwrap_or(0.0);
            speeds.retain(|v| *v > 0.25 * brisk);
            stroke.speed_deg_s = median_in_place(&mut speeds).unwrap_or(0.0);
            let threshold = 0.3 * stroke.speed_deg_s;
            // Where speed changes much within a window, the window's line is no longer where the surface was.
            let speed = &self.speed_deg_s;
            let reach = self.half_window;
            let (start, end) = (stroke.range.start, stroke.range.end - 1);
            let is_steady = |i: usize| {
                let change =
                    speed[(i + reach).min(end)] - speed[i.saturating_sub(reach).max(start)];
                sign * speed[i] > threshold && change.abs() < MOST_CHANGE * speed[i].abs()
            };
            let Some(first) = stroke.range.clone().find(|&i| is_steady(i)) else {
                continue;
            };
            let Some(last) = stroke.range.clone().rev().find(|&i| is_steady(i)) else {
                continue;
            };
            let steady = (first..=last).filter(|&i| is_steady(i)).count();
            let long = (stroke.to_deg - stroke.from_deg).abs() >= 0.4 * travel;
            stroke.usable = long && steady >= 12;
            if stroke.usable {
                for i in first..=last {
                    if is_steady(i) {
                        self.steady[i] = true;
                    } else {
                        self.not_steady += 1;
                    }
                }
            }
        }
    }

    /// An upward and the next downward stroke (or the other way round) make one cycle; a lone half joins the last.
    fn number_cycles(&mut self) {
        let mut cycle = 0;
        let mut open: Option<bool> = None;
        let first_up = self.strokes.iter().find(|s| s.usable).map(|s| s.up);
        for stroke in self.strokes.iter_mut().filter(|s| s.usable) {
            if open.is_some() && Some(stroke.up) == first_up {
                cycle += 1;
            }
            open = Some(stroke.up);
            stroke.cycle = cycle;
        }
        if open.is_none() {
            return;
        }
        let in_last = self
            .strokes
            .iter()
            .filter(|s| s.usable && s.cycle == cycle)
            .count();
        if in_last == 1 && cycle > 0 {
            for stroke in self
                .strokes
                .iter_mut()
                .filter(|s| s.usable && s.cycle == cycle)
            {
                stroke.cycle = cycle - 1;
            }
            cycle -= 1;
        }
        self.cycles = cycle + 1;
    }
}

fn speed_window_s(t_s: &[f64]) -> f64 {
    let n = t_s.len();
    if n < 2 {
        return SPEED_WINDOW_S;
    }
    let step_s = (t_s[n - 1] - t_s[0]) / (n - 1) as f64;
    SPEED_WINDOW_S.max(FEWEST_IN_WINDOW * step_s)
}

/// Replaces single readings that jump away from their neighbours by "missing". A steady ramp is never touched: there
/// the middle one of five is its own median.
fn remove_glitches(raw: &[f64], clean: &mut [f64]) {
    let mut five = [0.0; 5];
    for i in 0..raw.len() {
        let (lo, hi) = (i.saturating_sub(2), (i + 3).min(raw.len()));
        if hi - lo < 5 || raw[lo..hi].iter().any(|v| v.is_nan()) {
            continue;
        }
        let near = (raw[i] - raw[i - 1]).abs().max((raw[i] - raw[i + 1]).abs());
        if near <= GLITCH_DEG {
            continue;
        }
        five.copy_from_slice(&raw[lo..hi]);
        five.sort_by(f64::total_cmp);
        if (raw[i] - five[2]).abs() > GLITCH_DEG {
            clean[i] = f64::NAN;
        }
    }
}

/// Lowest and highest smoothed angle.
fn inner_range(angle: &[f64]) -> Option<(f64, f64)> {
    let (lo, hi) = angle
        .iter()
        .filter(|a| !a.is_nan())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), &a| {
            (lo.min(a), hi.max(a))
        });
    (lo <= hi).then_some((lo, hi))
}

/// The smallest change between neighbouring readings that occurs often: what the sensor's steps look like from outside.
fn resolution(raw: &[f64]) -> f64 {
    let step = raw
        .windows(2)
        .map(|w| (w[1] - w[0]).abs())
        .filter(|d| *d > 1e-9)
        .fold(f64::INFINITY, f64::min);
    if step.is_finite() { step } else { 0.0 }
}
