//! Steady samples averaged per stroke and angle step. Averages are what is fitted; strokes are what scatter is counted from.

use super::motion::Motion;
use super::stats::robust::{mad_about, median};

/// Angle steps across the travel, and their least and greatest width, °.
const STEPS: f64 = 200.0;
const STEP_DEG: std::ops::RangeInclusive<f64> = 0.2..=1.0;
/// A sample this many robust standard deviations away from all strokes' readings at its place is out of line.
const OUT_OF_LINE: f64 = 6.0;
/// The same for the mean of a whole stroke against the other strokes.
const STROKE_OUT_OF_LINE: f64 = 10.0;

/// Mean of one stroke's steady samples in one angle step.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cell {
    pub stroke: usize,
    pub cycle: usize,
    pub up: bool,
    /// Angle step number, from the lowest angle.
    pub step: usize,
    pub samples: f64,
    pub angle_deg: f64,
    /// Speed of the surface, °/s, positive.
    pub speed_deg_s: f64,
    /// The measured effort: torque in N·cm or supply power in W.
    pub effort: f64,
    /// Degrees travelled since the reversal.
    pub since_deg: f64,
}

pub(crate) struct Cells {
    pub cells: Vec<Cell>,
    pub steps: usize,
    pub step_deg: f64,
    pub out_of_line: usize,
    /// Strokes left out as a whole, by number.
    pub strokes_out: Vec<usize>,
}

pub(crate) fn step_of(motion: &Motion) -> f64 {
    (motion.travel_deg() / STEPS).clamp(*STEP_DEG.start(), *STEP_DEG.end())
}

impl Cells {
    /// `effort`: one value a sample, NaN where there is none.
    pub fn gather(motion: &Motion, effort: &[f64]) -> Self {
        let step_deg = step_of(motion);
        let steps = (motion.travel_deg() / step_deg).ceil().max(1.0) as usize + 1;
        let place = |i: usize| {
            (((motion.angle_deg[i] - motion.lowest_deg) / step_deg).max(0.0) as usize)
                .min(steps - 1)
        };
        let (centre, spread) = centres(motion, effort, steps, &place);
        let strokes_out = strokes_out_of_line(motion, effort, &centre, &spread, steps, &place);

        let mut cells = Vec::with_capacity(motion.strokes.len() * steps);
        let mut out_of_line = 0;
        let mut sums = vec![[0.0_f64; 4]; steps];
        for (number, stroke) in motion.usable() {
            if strokes_out.contains(&number) {
                continue;
            }
            sums.fill([0.0; 4]);
            for i in stroke.range.clone() {
                if !motion.steady[i] || effort[i].is_nan() || motion.reading_deg[i].is_nan() {
                    continue;
                }
                let step = place(i);
                let k = usize::from(stroke.up) * steps + step;
                if (effort[i] - centre[k]).abs() > OUT_OF_LINE * spread[k] {
                    out_of_line += 1;
                    continue;
                }
                let sum = &mut sums[step];
                sum[0] += 1.0;
                sum[1] += motion.reading_deg[i];
                sum[2] += motion.speed_deg_s[i].abs();
                sum[3] += effort[i];
            }
            for (step, sum) in sums.iter().enumerate().filter(|(_, s)| s[0] > 0.0) {
                let angle_deg = sum[1] / sum[0];
                cells.push(Cell {
                    stroke: number,
                    cycle: stroke.cycle,
                    up: stroke.up,
                    step,
                    samples: sum[0],
                    angle_deg,
                    speed_deg_s: sum[2] / sum[0],
                    effort: sum[3] / sum[0],
                    since_deg: (angle_deg - stroke.from_deg).abs(),
                });
            }
        }
        Cells {
            cells,
            steps,
            step_deg,
            out_of_line,
            strokes_out,
        }
    }
}

/// Median and robust spread of all strokes' samples at each place, one set a direction (down first).
fn centres(
    motion: &Motion,
    effort: &[f64],
    steps: usize,
    place: &impl Fn(usize) -> usize,
) -> (Vec<f64>, Vec<f64>) {
    let mut buckets: Vec<Vec<f64>> = vec![Vec::new(); 2 * steps];
    for (_, stroke) in motion.usable() {
        for i in stroke
            .range
            .clone()
            .filter(|&i| motion.steady[i] && !effort[i].is_nan())
        {
            buckets[usize::from(stroke.up) * steps + place(i)].push(effort[i]);
        }
    }
    let mut centre = vec![0.0; 2 * steps];
    let mut spread = vec![f64::INFINITY; 2 * steps];
    let mut spreads = Vec::with_capacity(2 * steps);
    for (k, bucket) in buckets.iter().enumerate() {
        if bucket.len() >= 5 {
            centre[k] = median(bucket).unwrap_or(0.0);
            spread[k] = mad_about(bucket, centre[k]).unwrap_or(f64::INFINITY);
            spreads.push(spread[k]);
        }
    }
    // Neighbouring places see the same noise: none is taken to be much quieter than is usual.
    let Some(usual) = median(&spreads) else {
        return (centre, spread);
    };
    for s in spread.iter_mut().filter(|s| s.is_finite()) {
        *s = s.max(usual);
    }
    (centre, spread)
}

/// Strokes whose mean stands far away from all the others of their direction: a hand that touched, a slipped rig.
fn strokes_out_of_line(
    motion: &Motion,
    effort: &[f64],
    centre: &[f64],
    spread: &[f64],
    steps: usize,
    place: &impl Fn(usize) -> usize,
) -> Vec<usize> {
    let mut out = Vec::new();
    for up in [false, true] {
        let mut means = Vec::new();
        for (number, stroke) in motion.usable().filter(|(_, s)| s.up == up) {
            let z: Vec<f64> = stroke
                .range
                .clone()
                .filter(|&i| motion.steady[i] && !effort[i].is_nan())
                .filter_map(|i| {
                    let k = usize::from(up) * steps + place(i);
                    (spread[k].is_finite() && spread[k] > 0.0)
                        .then(|| (effort[i] - centre[k]) / spread[k])
                })
                .collect();
            if z.len() >= 5 {
                means.extend(median(&z).map(|m| (number, m)));
            }
        }
        if means.len() < 5 {
            continue;
        }
        let values: Vec<f64> = means.iter().map(|m| m.1).collect();
        let middle = median(&values).unwrap_or(0.0);
        let scatter = mad_about(&values, middle).unwrap_or(0.0).max(0.3);
        out.extend(
            means
                .iter()
                .filter(|m| (m.1 - middle).abs() > STROKE_OUT_OF_LINE * scatter)
                .map(|m| m.0),
        );
    }
    out
}
