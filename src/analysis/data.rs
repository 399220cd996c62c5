//! What is fitted: cells with all that the forward model needs, their means by place, and what is known beforehand.

use nalgebra::{Cholesky, DMatrix};

use super::cells::Cell;
use super::law::{SERVO_NUMBERS, State, Terms};

/// What is known of a servo before the recording: the numbers of [`SERVO_NUMBERS`].
#[derive(Debug, Clone)]
pub(crate) struct Prior {
    pub mean: [f64; SERVO_NUMBERS],
    /// Inverse of the covariance.
    pub precision: DMatrix<f64>,
    /// Lower triangle L with L·Lᵀ = precision.
    pub root: DMatrix<f64>,
    /// Variances, within the covariance, that each recording has anew.
    pub unshared: [f64; SERVO_NUMBERS],
}

impl Prior {
    /// `calibration`: the first four numbers, with their covariance. The fifth is known to stand between the loss of
    /// driving taken with its sign (x = (1 + g)·τ all the way) and against it (a loss is a loss): 0 ± g. The sixth, the lag,
    /// is 0 ± `lag_u_s`.
    pub fn new(calibration: [f64; 4], covariance: &[[f64; 4]; 4], lag_u_s: f64) -> Option<Self> {
        let [idle, winding, friction, gear] = calibration;
        let mean = [idle, winding, friction, gear, 0.0, 0.0];
        let mut c = DMatrix::zeros(SERVO_NUMBERS, SERVO_NUMBERS);
        for i in 0..4 {
            for j in 0..4 {
                c[(i, j)] = covariance[i][j];
            }
        }
        c[(4, 4)] = gear.max(0.05).powi(2);
        c[(5, 5)] = lag_u_s.powi(2);
        // A number said to be exact is exact to a millionth: the algebra needs a width.
        for i in 0..SERVO_NUMBERS {
            c[(i, i)] += (1e-6 * mean[i].abs().max(1e-6)).powi(2);
        }
        let precision = Cholesky::new(c)?.inverse();
        let root = Cholesky::new(precision.clone())?.l();
        Some(Self {
            mean,
            precision,
            root,
            unshared: [0.0; SERVO_NUMBERS],
        })
    }
}

/// A cell with all that the forward model needs.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sampled {
    pub at: State,
    pub effort: f64,
    pub samples: f64,
    pub stroke: usize,
    pub cycle: usize,
    pub point: usize,
}

/// Mean of all strokes at one place and one direction.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Point {
    pub at: State,
    pub effort: f64,
    pub samples: f64,
}

impl Point {
    /// Adds so many samples, as sums.
    fn add(&mut self, at: &State, effort: f64, samples: f64) {
        self.samples += samples;
        self.effort += samples * effort;
        self.at.angle_deg += samples * at.angle_deg;
        self.at.speed_deg_s += samples * at.speed_deg_s;
        self.at.ratio += samples * at.ratio;
        self.at.winding_factor += samples * at.winding_factor;
    }

    /// Makes means of the sums.
    fn divide(&mut self) {
        let n = self.samples;
        self.effort /= n;
        self.at.angle_deg /= n;
        self.at.speed_deg_s /= n;
        self.at.ratio /= n;
        self.at.winding_factor /= n;
    }
}

/// What is fitted: cells, and their means by place.
pub(crate) struct Data {
    pub cells: Vec<Sampled>,
    pub points: Vec<Point>,
    pub cycles: usize,
    pub prior: Option<Prior>,
    /// Variance of a single sample as the scatter between strokes shows it.
    pub sample_variance: f64,
}

impl Data {
    /// `state` tells ratio and winding factor of a cell; `keep` which cells take part.
    pub fn new(
        cells: &[Cell],
        steps: usize,
        cycles: usize,
        prior: Option<Prior>,
        state: impl Fn(&Cell) -> State,
        keep: impl Fn(&Cell) -> bool,
    ) -> Self {
        let seen = seen_often(cells, steps, cycles, &keep);
        let mut number = vec![usize::MAX; 2 * steps];
        let mut points: Vec<Point> = Vec::with_capacity(2 * steps);
        let mut sampled = Vec::with_capacity(cells.len());
        for cell in cells.iter().filter(|c| keep(c) && seen[place(c, steps)]) {
            let at = state(cell);
            let slot = &mut number[place(cell, steps)];
            if *slot == usize::MAX {
                *slot = points.len();
                let zero = State {
                    angle_deg: 0.0,
                    up: cell.up,
                    speed_deg_s: 0.0,
                    ratio: 0.0,
                    winding_factor: 0.0,
                };
                points.push(Point {
                    at: zero,
                    effort: 0.0,
                    samples: 0.0,
                });
            }
            let n = cell.samples;
            points[*slot].add(&at, cell.effort, n);
            sampled.push(Sampled {
                at,
                effort: cell.effort,
                samples: n,
                stroke: cell.stroke,
                cycle: cell.cycle,
                point: *slot,
            });
        }
        points.iter_mut().for_each(Point::divide);
        let mut data = Self {
            cells: sampled,
            points,
            cycles,
            prior,
            sample_variance: 1.0,
        };
        data.sample_variance = data.scatter().max(1e-12);
        data
    }

    /// The same data without one cycle, at the scatter of all.
    pub fn without_cycle(&self, cycle: usize) -> Self {
        let cells: Vec<Sampled> = self
            .cells
            .iter()
            .filter(|c| c.cycle != cycle)
            .copied()
            .collect();
        let mut points: Vec<Point> = self.points.clone();
        for point in &mut points {
            point.samples = 0.0;
            point.effort = 0.0;
            point.at = State {
                angle_deg: 0.0,
                speed_deg_s: 0.0,
                ratio: 0.0,
                winding_factor: 0.0,
                ..point.at
            };
        }
        for cell in &cells {
            points[cell.point].add(&cell.at, cell.effort, cell.samples);
        }
        points.retain(|p| p.samples > 0.0);
        points.iter_mut().for_each(Point::divide);
        Self {
            cells,
            points,
            cycles: self.cycles,
            prior: self.prior.clone(),
            sample_variance: self.sample_variance,
        }
    }

    /// The same data without those beyond the inner share of the travel.
    pub fn inner(&self, share: f64) -> Self {
        let angles = || self.points.iter().map(|p| p.at.angle_deg);
        let low = angles().fold(f64::INFINITY, f64::min);
        let high = angles().fold(f64::NEG_INFINITY, f64::max);
        let inside = |angle: f64| (angle - 0.5 * (low + high)).abs() <= 0.5 * share * (high - low);
        let mut number = vec![usize::MAX; self.points.len()];
        let mut points = Vec::new();
        for (old, point) in self
            .points
            .iter()
            .enumerate()
            .filter(|(_, p)| inside(p.at.angle_deg))
        {
            number[old] = points.len();
            points.push(*point);
        }
        let cells = self
            .cells
            .iter()
            .filter(|c| number[c.point] != usize::MAX)
            .map(|c| Sampled {
                point: number[c.point],
                ..*c
            })
            .collect();
        let mut data = Self {
            cells,
            points,
            cycles: self.cycles,
            prior: self.prior.clone(),
            sample_variance: 1.0,
        };
        data.sample_variance = data.scatter().max(1e-12);
        data
    }

    /// Mean square of the points' residuals over what single samples' scatter explains.
    pub fn excess(&self, terms: &Terms, p: &[f64]) -> f64 {
        let mut gradient = vec![0.0; terms.len()];
        let ss: f64 = self
            .points
            .iter()
            .map(|point| {
                let model = terms.effort(p, &point.at, &mut gradient).0;
                point.samples * (point.effort - model).powi(2)
            })
            .sum();
        ss / (self.points.len() as f64 * self.sample_variance)
    }

    fn scatter(&self) -> f64 {
        let ss: f64 = self
            .cells
            .iter()
            .map(|c| c.samples * (c.effort - self.points[c.point].effort).powi(2))
            .sum();
        let df = self.cells.len().saturating_sub(self.points.len()).max(1);
        ss / df as f64
    }
}

fn place(cell: &Cell, steps: usize) -> usize {
    usize::from(cell.up) * steps + cell.step
}

/// Places that more than one cycle passed: a single stroke beyond the others has no scatter to be judged by, and far out
/// it would swing the whole curve.
fn seen_often(
    cells: &[Cell],
    steps: usize,
    cycles: usize,
    keep: &impl Fn(&Cell) -> bool,
) -> Vec<bool> {
    let needed = if cycles >= 3 { 2 } else { 1 };
    let mut count = vec![0; 2 * steps];
    let mut last = vec![usize::MAX; 2 * steps];
    for cell in cells.iter().filter(|c| keep(c)) {
        let k = place(cell, steps);
        if last[k] != cell.cycle {
            last[k] = cell.cycle;
            count[k] += 1;
        }
    }
    count.into_iter().map(|n| n >= needed).collect()
}
