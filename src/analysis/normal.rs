//! Normal equations kept apart by cycle: what each cycle knows of the parameters and which way it pulls them. From these
//! come covariance by the delete-one jackknife and the weight of strokes that each have a level of their own.

use nalgebra::{Cholesky, DMatrix, DVector};

use super::data::Data;
use super::law::Terms;

/// Strokes needed before a level of their own is told from noise.
const FEWEST_LEVELS: usize = 6;

pub(crate) struct Normal {
    /// JᵀWJ of every cycle.
    pub informations: Vec<DMatrix<f64>>,
    /// JᵀWr of every cycle.
    pub scores: Vec<DVector<f64>>,
    strokes: Vec<StrokeSums>,
}

/// Sums over one stroke's samples.
struct StrokeSums {
    cycle: usize,
    weight: f64,
    /// Σ w·gradient, Σ w·residual.
    gradient: DVector<f64>,
    residual: f64,
}

impl Normal {
    pub fn gather(data: &Data, terms: &Terms, p: &[f64], weight: f64) -> Self {
        let count = terms.len();
        let n = data.cycles.max(1);
        let mut informations = vec![DMatrix::<f64>::zeros(count, count); n];
        let mut scores = vec![DVector::<f64>::zeros(count); n];
        let mut strokes: Vec<StrokeSums> = Vec::new();
        let mut number = usize::MAX;
        let mut gradient = vec![0.0; count];
        for cell in &data.cells {
            let (model, _) = terms.effort(p, &cell.at, &mut gradient);
            let w = cell.samples * weight;
            let pull = w * (cell.effort - model);
            if number != cell.stroke {
                number = cell.stroke;
                strokes.push(StrokeSums {
                    cycle: cell.cycle,
                    weight: 0.0,
                    gradient: DVector::zeros(count),
                    residual: 0.0,
                });
            }
            if let Some(stroke) = strokes.last_mut() {
                stroke.weight += w;
                stroke.residual += pull;
                for (sum, g) in stroke.gradient.iter_mut().zip(&gradient) {
                    *sum += w * g;
                }
            }
            let information = &mut informations[cell.cycle];
            let score = &mut scores[cell.cycle];
            for (i, gi) in gradient.iter().enumerate().filter(|(_, g)| **g != 0.0) {
                score[i] += gi * pull;
                for (j, gj) in gradient[..=i].iter().enumerate() {
                    information[(i, j)] += w * gi * gj;
                }
            }
        }
        for information in &mut informations {
            information.fill_upper_triangle_with_lower_triangle();
        }
        Self {
            informations,
            scores,
            strokes,
        }
    }

    pub fn total(&self) -> DMatrix<f64> {
        self.informations.iter().sum()
    }

    /// Gives every stroke a level of its own, as large as the strokes' means scatter: generalised least squares with a
    /// random intercept (e.g. J. C. Pinheiro and D. M. Bates, Mixed-Effects Models in S and S-PLUS, Springer 2000, section
    /// 2.2). Friction that differs from stroke to stroke then no longer tilts the slope. Returns the levels' standard
    /// deviation; `None`: too few strokes to tell.
    pub fn level_strokes(&mut self) -> Option<f64> {
        if self.strokes.len() < FEWEST_LEVELS {
            return None;
        }
        let count = self.strokes.len() as f64;
        let mean_square: f64 = self
            .strokes
            .iter()
            .map(|s| (s.residual / s.weight).powi(2))
            .sum::<f64>()
            / (count - 2.0);
        let noise: f64 = self.strokes.iter().map(|s| 1.0 / s.weight).sum::<f64>() / count;
        let level = (mean_square - noise).max(0.0);
        for stroke in &self.strokes {
            let share = stroke.weight * level / (1.0 + stroke.weight * level) / stroke.weight;
            let g = &stroke.gradient;
            self.informations[stroke.cycle] -= g * g.transpose() * share;
            self.scores[stroke.cycle] -= g * (stroke.residual * share);
        }
        Some(level.sqrt())
    }

    /// Moves the parameters to where the pulls balance, to first order.
    pub fn step(&mut self, p: &mut [f64]) -> Option<()> {
        let pull: DVector<f64> = self.scores.iter().sum();
        let by = inverse(&self.total())? * pull;
        for (score, information) in self.scores.iter_mut().zip(&self.informations) {
            *score -= information * &by;
        }
        for (p, by) in p.iter_mut().zip(by.iter()) {
            *p += by;
        }
        Some(())
    }

    /// Covariance by leaving out one cycle at a time. `total`: of all cycles and what is known beforehand.
    pub fn jackknife(&self, total: &DMatrix<f64>, whole_inverse: &DMatrix<f64>) -> DMatrix<f64> {
        let n = self.informations.len() as f64;
        let shifts: Vec<DVector<f64>> = self
            .informations
            .iter()
            .zip(&self.scores)
            .map(
                |(information, score)| match inverse(&(total - information)) {
                    Some(without) => without * score,
                    None => whole_inverse * score,
                },
            )
            .collect();
        let mean: DVector<f64> = shifts.iter().sum::<DVector<f64>>() / n;
        let mut covariance = DMatrix::zeros(total.nrows(), total.ncols());
        for shift in &shifts {
            let d = shift - &mean;
            covariance += &d * d.transpose();
        }
        covariance * ((n - 1.0) / n)
    }
}

/// Inverse of a symmetric positive matrix after scaling it to a unit diagonal; `None` where it has no useful inverse.
pub(crate) fn inverse(matrix: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let n = matrix.nrows();
    let scale = DVector::from_fn(n, |i, _| matrix[(i, i)].sqrt());
    if scale.iter().any(|s| !(s.is_finite() && *s > 0.0)) {
        return None;
    }
    let scaled = DMatrix::from_fn(n, n, |i, j| matrix[(i, j)] / (scale[i] * scale[j]));
    let mut inverse = Cholesky::new(scaled)?.inverse();
    for i in 0..n {
        if inverse[(i, i)] > 1e12 {
            return None;
        }
        for j in 0..n {
            inverse[(i, j)] /= scale[i] * scale[j];
        }
    }
    Some(inverse)
}
