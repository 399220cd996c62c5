//! Linear least squares: by Householder QR with scaled columns, and Huber's robust fit on top of it.
//! Normal equations are not formed here: they square the condition number (Å. Björck, Numerical Methods for Least
//! Squares Problems, SIAM 1996, section 2.2).

use super::robust;
use nalgebra::{DMatrix, DVector};

/// A column of the scaled design (length 1) that lies closer than this to the span of the columns before it is taken to
/// be one of their combinations: its coefficient would be made of rounding errors.
const DEPENDENT_COLUMN: f64 = 1e-13;

/// A linear least squares fit.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearFit {
    /// One for each column of the design, unit of y over the unit of the column.
    pub coefficients: Vec<f64>,
    /// (XᵀWX)⁻¹: times [`Self::residual_sd`]² it is the covariance of the coefficients. Where the weights are 1/u² with
    /// known u, it is the covariance itself.
    pub unscaled_covariance: DMatrix<f64>,
    /// y − Xb, unweighted, for every row (rows of weight zero included).
    pub residuals: Vec<f64>,
    /// Σ w·residual².
    pub residual_ss: f64,
    /// √(residual_ss / degrees_of_freedom); `None` without degrees of freedom.
    pub residual_sd: Option<f64>,
    /// Rows of positive weight less columns.
    pub degrees_of_freedom: usize,
}

impl LinearFit {
    /// s²·(XᵀWX)⁻¹; `None` without degrees of freedom.
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        self.residual_sd
            .map(|s| &self.unscaled_covariance * (s * s))
    }

    /// Standard uncertainty of each coefficient, from the residuals' scatter; `None` without degrees of freedom.
    pub fn standard_errors(&self) -> Option<Vec<f64>> {
        let s = self.residual_sd?;
        Some(
            (0..self.coefficients.len())
                .map(|j| s * self.unscaled_covariance[(j, j)].max(0.0).sqrt())
                .collect(),
        )
    }
}

/// Least squares of `y` on the columns of `design`, rows weighted by `w` (all 1 where `None`).
///
/// `None` where the data do not determine the coefficients or cannot be used: no columns, fewer rows of positive weight
/// than columns, lengths that differ, dependent columns, a negative weight, or a number that is not finite.
pub fn weighted_least_squares(
    design: &DMatrix<f64>,
    y: &[f64],
    w: Option<&[f64]>,
) -> Option<LinearFit> {
    let (rows, columns) = design.shape();
    if columns == 0 || y.len() != rows || !y.iter().all(|v| v.is_finite()) {
        return None;
    }
    let used = match w {
        None => rows,
        Some(w) if w.len() == rows && w.iter().all(|v| v.is_finite() && *v >= 0.0) => {
            w.iter().filter(|v| **v > 0.0).count()
        }
        Some(_) => return None,
    };
    let degrees_of_freedom = used.checked_sub(columns)?;
    let mut x = design.clone();
    let mut rhs = DVector::from_column_slice(y);
    if let Some(w) = w {
        let roots: Vec<f64> = w.iter().map(|w| w.sqrt()).collect();
        let weigh = |column: &mut [f64]| {
            column
                .iter_mut()
                .zip(&roots)
                .for_each(|(v, root)| *v *= root)
        };
        weigh(rhs.as_mut_slice());
        x.column_iter_mut()
            .for_each(|mut column| weigh(column.as_mut_slice()));
    }
    let factors = ScaledQr::new(x)?;
    let coefficients = factors.solve(rhs)?;
    let residuals = residuals_of(design, y, &coefficients);
    let residual_ss = match w {
        None => sum_of_squares(&residuals),
        Some(w) => residuals.iter().zip(w).map(|(r, w)| w * r * r).sum(),
    };
    if !residual_ss.is_finite() {
        return None;
    }
    Some(LinearFit {
        unscaled_covariance: factors.inverse_gram()?,
        residual_sd: (degrees_of_freedom > 0)
            .then(|| (residual_ss / degrees_of_freedom as f64).sqrt()),
        coefficients,
        residuals,
        residual_ss,
        degrees_of_freedom,
    })
}

/// (XᵀX)⁻¹ by the same factorization; `None` where columns depend on each other or numbers are not finite.
pub fn inverse_gram(x: DMatrix<f64>) -> Option<DMatrix<f64>> {
    if x.ncols() == 0 || x.nrows() < x.ncols() {
        return None;
    }
    ScaledQr::new(x)?.inverse_gram()
}

fn residuals_of(design: &DMatrix<f64>, y: &[f64], coefficients: &[f64]) -> Vec<f64> {
    let mut residuals = y.to_vec();
    // Column by column, as the matrix lies in memory.
    for (column, b) in design.column_iter().zip(coefficients) {
        for (r, x) in residuals.iter_mut().zip(column.iter()) {
            *r -= b * x;
        }
    }
    residuals
}

/// A column's length; `None` where it is zero or not finite.
fn length_of(column: &[f64]) -> Option<f64> {
    let squares = sum_of_squares(column);
    if (1e-280..1e280).contains(&squares) {
        return Some(squares.sqrt());
    }
    // Squares overflow or vanish: scaled by the largest first.
    let largest = column
        .iter()
        .fold(0.0_f64, |m, v| if v.is_nan() { *v } else { m.max(v.abs()) });
    if !(largest > 0.0 && largest.is_finite()) || column.iter().any(|v| v.is_nan()) {
        return None;
    }
    Some(
        largest
            * column
                .iter()
                .map(|v| (v / largest).powi(2))
                .sum::<f64>()
                .sqrt(),
    )
}

/// In four interleaved sums: quicker, and rounding errors grow with a quarter of the length.
fn sum_of_squares(values: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let (fours, rest) = values.as_chunks::<4>();
    for four in fours {
        for (s, v) in sums.iter_mut().zip(four) {
            *s += v * v;
        }
    }
    sums.iter().sum::<f64>() + rest.iter().map(|v| v * v).sum::<f64>()
}

fn power_of_two_near(length: f64) -> f64 {
    length.log2().round().clamp(-1000.0, 1000.0).exp2()
}

/// QR of X·D⁻¹, D the columns' lengths to the next power of two: scaling is what makes "dependent" a question of direction and not of units.
struct ScaledQr {
    qr: nalgebra::linalg::QR<f64, nalgebra::Dyn, nalgebra::Dyn>,
    r: DMatrix<f64>,
    lengths: Vec<f64>,
}

impl ScaledQr {
    fn new(mut x: DMatrix<f64>) -> Option<Self> {
        let mut lengths = Vec::with_capacity(x.ncols());
        for mut column in x.column_iter_mut() {
            let length = power_of_two_near(length_of(column.as_slice())?);
            // Exact: dividing by a power of two rounds nothing.
            column.as_mut_slice().iter_mut().for_each(|v| *v /= length);
            lengths.push(length);
        }
        let qr = x.qr();
        let r = qr.r();
        let independent = r.diagonal().iter().all(|d| d.abs() > DEPENDENT_COLUMN);
        independent.then_some(Self { qr, r, lengths })
    }

    fn solve(&self, mut rhs: DVector<f64>) -> Option<Vec<f64>> {
        self.qr.q_tr_mul(&mut rhs);
        let solution = self
            .r
            .solve_upper_triangular(&rhs.rows(0, self.lengths.len()))?;
        let b: Vec<f64> = solution
            .iter()
            .zip(&self.lengths)
            .map(|(b, length)| b / length)
            .collect();
        b.iter().all(|v| v.is_finite()).then_some(b)
    }

    fn inverse_gram(&self) -> Option<DMatrix<f64>> {
        let n = self.lengths.len();
        let mut inverse = self.r.solve_upper_triangular(&DMatrix::identity(n, n))?;
        for (mut row, length) in inverse.row_iter_mut().zip(&self.lengths) {
            row /= *length;
        }
        Some(&inverse * inverse.transpose())
    }
}

/// Huber's tuning constant for 95 % efficiency at the normal distribution (P. J. Huber and E. M. Ronchetti, Robust
/// Statistics, Wiley 2009; the customary value).
pub const HUBER_TUNING: f64 = 1.345;

const HUBER_ROUNDS: usize = 200;
/// Rounds end where no fitted value moves by more than this share of the scale.
const HUBER_SETTLED: f64 = 1e-10;

/// A robust linear fit.
#[derive(Debug, Clone, PartialEq)]
pub struct RobustFit {
    pub coefficients: Vec<f64>,
    /// Covariance of the coefficients after P. J. Huber, Robust Statistics (Wiley 1981), section 7.6, the first of its
    /// three estimates. It treats rows as independent of each other.
    pub covariance: DMatrix<f64>,
    /// y − Xb for every row.
    pub residuals: Vec<f64>,
    /// 1 within `tuning` scales of the fit, falling off as 1/|residual| beyond.
    pub weights: Vec<f64>,
    /// Normal-consistent median of |residual| about zero, unit of y.
    pub scale: f64,
    pub iterations: usize,
    /// `false`: the rounds ran out first.
    pub converged: bool,
}

/// Huber's M-estimate by iterated reweighting, scale re-estimated every round as the normal-consistent median absolute
/// residual about zero. [`HUBER_TUNING`] is the customary `tuning`.
///
/// `None` as [`weighted_least_squares`], or where `tuning` is not positive.
pub fn huber(design: &DMatrix<f64>, y: &[f64], tuning: f64) -> Option<RobustFit> {
    if !(tuning > 0.0 && tuning.is_finite()) {
        return None;
    }
    let start = weighted_least_squares(design, y, None)?;
    let unweighted = start.unscaled_covariance.clone();
    let size = y.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    let mut fit = start;
    let mut scale = robust::mad_about(&fit.residuals, 0.0)?;
    let mut weights = vec![1.0; y.len()];
    let mut iterations = 0;
    let mut converged = false;
    while iterations < HUBER_ROUNDS {
        // More than half the rows lie on the fit to rounding: a scale of zero would throw away all others.
        if scale <= size * f64::EPSILON * 16.0 {
            converged = true;
            break;
        }
        iterations += 1;
        for (w, r) in weights.iter_mut().zip(&fit.residuals) {
            *w = (tuning * scale / r.abs()).min(1.0);
        }
        let next = weighted_least_squares(design, y, Some(&weights))?;
        let moved = next
            .residuals
            .iter()
            .zip(&fit.residuals)
            .fold(0.0_f64, |m, (a, b)| m.max((a - b).abs()));
        fit = next;
        scale = robust::mad_about(&fit.residuals, 0.0)?;
        if moved <= HUBER_SETTLED * scale {
            converged = true;
            break;
        }
    }
    let covariance = huber_covariance(&unweighted, &fit.residuals, scale, tuning);
    Some(RobustFit {
        coefficients: fit.coefficients,
        covariance,
        residuals: fit.residuals,
        weights,
        scale,
        iterations,
        converged,
    })
}

/// Huber 1981, section 7.6: K²·(Σψ²/(n−p))/(mean ψ′)²·(XᵀX)⁻¹ with K = 1 + p/n·var(ψ′)/(mean ψ′)².
fn huber_covariance(
    inverse_gram: &DMatrix<f64>,
    residuals: &[f64],
    scale: f64,
    tuning: f64,
) -> DMatrix<f64> {
    let n = residuals.len() as f64;
    let p = inverse_gram.ncols() as f64;
    let bound = tuning * scale;
    let inside = residuals.iter().filter(|r| r.abs() <= bound).count() as f64 / n;
    let psi_ss: f64 = residuals.iter().map(|r| r.abs().min(bound).powi(2)).sum();
    if inside == 0.0 || n <= p {
        return inverse_gram * f64::INFINITY;
    }
    // ψ′ is 1 inside and 0 outside, so its variance is that of a coin.
    let k = 1.0 + p / n * (inside * (1.0 - inside)) / (inside * inside);
    inverse_gram * (k * k * (psi_ss / (n - p)) / (inside * inside))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(x: &[f64]) -> DMatrix<f64> {
        DMatrix::from_fn(x.len(), 2, |i, j| if j == 0 { 1.0 } else { x[i] })
    }

    #[test]
    fn a_weight_of_two_counts_as_the_row_twice() {
        let twice =
            weighted_least_squares(&line(&[0.0, 1.0, 2.0, 2.0]), &[1.0, 2.5, 2.0, 2.0], None)
                .unwrap();
        let weighted = weighted_least_squares(
            &line(&[0.0, 1.0, 2.0]),
            &[1.0, 2.5, 2.0],
            Some(&[1.0, 1.0, 2.0]),
        )
        .unwrap();
        for (a, b) in twice.coefficients.iter().zip(&weighted.coefficients) {
            assert!((a - b).abs() < 1e-14);
        }
        assert!((twice.residual_ss - weighted.residual_ss).abs() < 1e-14);
    }

    #[test]
    fn dependent_columns_are_refused_whatever_their_units() {
        let x = DMatrix::from_fn(6, 2, |i, j| if j == 0 { i as f64 } else { 1e-9 * i as f64 });
        assert!(weighted_least_squares(&x, &[1.0; 6], None).is_none());
        let far_apart_in_size =
            DMatrix::from_fn(6, 2, |i, j| if j == 0 { 1.0 } else { 1e-200 * i as f64 });
        assert!(
            weighted_least_squares(&far_apart_in_size, &[1.0, 2.0, 3.0, 4.0, 5.0, 6.0], None)
                .is_some()
        );
    }

    #[test]
    fn data_that_cannot_be_used_give_none_and_no_panic() {
        let x = line(&[0.0, 1.0, 2.0]);
        assert!(weighted_least_squares(&x, &[1.0, f64::NAN, 2.0], None).is_none());
        assert!(weighted_least_squares(&x, &[1.0, 2.0], None).is_none());
        assert!(weighted_least_squares(&x, &[1.0, 2.0, 3.0], Some(&[1.0, -1.0, 1.0])).is_none());
        assert!(weighted_least_squares(&x, &[1.0, 2.0, 3.0], Some(&[1.0, 0.0, 0.0])).is_none());
        assert!(
            weighted_least_squares(&line(&[0.0, f64::INFINITY, 1.0]), &[1.0, 2.0, 3.0], None)
                .is_none()
        );
        assert!(
            weighted_least_squares(&line(&[0.0, f64::NAN, 1.0]), &[1.0, 2.0, 3.0], None).is_none()
        );
        assert!(weighted_least_squares(&DMatrix::zeros(3, 0), &[1.0, 2.0, 3.0], None).is_none());
        assert!(weighted_least_squares(&DMatrix::zeros(0, 2), &[], None).is_none());
        assert!(huber(&x, &[1.0, 2.0, 3.0], 0.0).is_none());
    }

    #[test]
    fn two_points_give_a_line_but_no_scatter() {
        let fit = weighted_least_squares(&line(&[1.0, 3.0]), &[2.0, 6.0], None).unwrap();
        assert!((fit.coefficients[1] - 2.0).abs() < 1e-14);
        assert_eq!(fit.residual_sd, None);
        assert_eq!(fit.standard_errors(), None);
    }

    #[test]
    fn a_wild_row_hardly_bends_the_robust_line() {
        let x: Vec<f64> = (0..40).map(f64::from).collect();
        let mut y: Vec<f64> = x
            .iter()
            .map(|x| 2.0 * x + 1.0 + 0.1 * (x * 7.0).sin())
            .collect();
        y[35] = -500.0;
        let plain = weighted_least_squares(&line(&x), &y, None).unwrap();
        let robust = huber(&line(&x), &y, HUBER_TUNING).unwrap();
        assert!(robust.converged);
        assert!((plain.coefficients[1] - 2.0).abs() > 1.0);
        assert!((robust.coefficients[1] - 2.0).abs() < 0.01);
        assert!(robust.weights[35] < 0.01);
    }

    #[test]
    fn an_exact_line_settles_with_a_scale_of_zero() {
        let x: Vec<f64> = (0..20).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| 3.0 - x).collect();
        let fit = huber(&line(&x), &y, HUBER_TUNING).unwrap();
        assert!(fit.converged && fit.scale < 1e-13);
        assert!((fit.coefficients[1] + 1.0).abs() < 1e-13);
    }
}
