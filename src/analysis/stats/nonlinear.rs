//! Nonlinear least squares: MINPACK's Levenberg–Marquardt, with Jacobians given or taken by differences.

use super::regression::{inverse_gram, weighted_least_squares};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt, TerminationReason};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};
use std::cell::{Cell, RefCell};

const POLISHING_STEPS: usize = 10;
/// Polishing ends where every parameter moves by less than this share of itself.
const POLISHED: f64 = 1e-10;

/// A nonlinear least squares fit.
#[derive(Debug, Clone, PartialEq)]
pub struct NonlinearFit {
    pub parameters: Vec<f64>,
    /// (JᵀJ)⁻¹ at the parameters: times residual_ss/(m − n) their covariance, or the covariance itself where residuals
    /// were divided by their known standard uncertainties. `None`: the data do not tell the parameters apart.
    pub jtj_inverse: Option<DMatrix<f64>>,
    /// Residuals at the parameters.
    pub residuals: Vec<f64>,
    /// Σ residual².
    pub residual_ss: f64,
    /// How often residuals were computed by the search (those for difference Jacobians not counted).
    pub iterations: usize,
    /// `false`: the search gave up before it settled.
    pub converged: bool,
}

/// How hard to search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Search {
    /// Relative change of the sum of squares and of the parameters at which the search has settled; at least 1e-15.
    pub tolerance: f64,
    /// Residuals are computed at most `patience`·(parameters + 1) times.
    pub patience: usize,
    /// First step's length, in lengths of the scaled start: 0.1 (careful) to 100.
    pub step_bound: f64,
}

impl Default for Search {
    fn default() -> Self {
        Self {
            tolerance: 1e-12,
            patience: 100,
            // MINPACK's customary 100 overshoots into a flat place on one of NIST's 27 sets (BoxBOD); 1 solves them all.
            step_bound: 1.0,
        }
    }
}

/// Fits parameters, from `start`, so that `residual_count` residuals have the least sum of squares.
///
/// `problem(parameters, residuals, jacobian)` fills the residuals, and where asked the Jacobian d residual(row)/d
/// parameter(column), which comes zeroed. Wrap a problem without derivatives in [`by_differences`].
///
/// `None` where there is nothing to fit: no parameters, fewer residuals than parameters, or a start at which numbers
/// are not finite.
pub fn fit(
    problem: impl FnMut(&[f64], &mut [f64], Option<&mut DMatrix<f64>>),
    start: &[f64],
    residual_count: usize,
) -> Option<NonlinearFit> {
    fit_with(problem, start, residual_count, Search::default())
}

/// [`fit`] with a search of one's own.
pub fn fit_with(
    problem: impl FnMut(&[f64], &mut [f64], Option<&mut DMatrix<f64>>),
    start: &[f64],
    residual_count: usize,
    search: Search,
) -> Option<NonlinearFit> {
    if start.is_empty() || residual_count < start.len() || !start.iter().all(|v| v.is_finite()) {
        return None;
    }
    let adapter = Adapter {
        problem: RefCell::new(problem),
        parameters: DVector::from_column_slice(start),
        residual_count,
        finite_start: Cell::new(false),
    };
    // The crate asserts on its settings; clamping keeps a strange caller from a panic.
    let tolerance = if search.tolerance.is_finite() {
        search.tolerance.max(1e-15)
    } else {
        1e-12
    };
    let step_bound = if search.step_bound > 0.0 {
        search.step_bound
    } else {
        1.0
    };
    let (adapter, report) = LevenbergMarquardt::new()
        .with_ftol(tolerance)
        .with_xtol(tolerance)
        .with_gtol(1e-15)
        .with_stepbound(step_bound)
        .with_patience(search.patience.max(1))
        .minimize(adapter);
    if !adapter.finite_start.get() || !adapter.parameters.iter().all(|v| v.is_finite()) {
        return None;
    }
    let converged = report.termination.was_successful()
        || matches!(
            report.termination,
            TerminationReason::NoImprovementPossible(_)
        );
    let (parameters, residuals, jacobian) = adapter.polished(converged);
    let residual_ss = sum_of_squares(&residuals);
    Some(NonlinearFit {
        parameters,
        jtj_inverse: inverse_gram(jacobian),
        residuals,
        residual_ss,
        iterations: report.number_of_evaluations,
        converged: converged && residual_ss.is_finite(),
    })
}

fn sum_of_squares(residuals: &[f64]) -> f64 {
    residuals.iter().map(|r| r * r).sum()
}

/// The crate asks for residuals and Jacobian through `&self`, while a problem may keep buffers of its own: hence the cell.
struct Adapter<P> {
    problem: RefCell<P>,
    parameters: DVector<f64>,
    residual_count: usize,
    finite_start: Cell<bool>,
}

impl<P: FnMut(&[f64], &mut [f64], Option<&mut DMatrix<f64>>)> Adapter<P> {
    fn evaluate(&self) -> (Vec<f64>, DMatrix<f64>) {
        let mut residuals = vec![0.0; self.residual_count];
        let mut jacobian = DMatrix::zeros(self.residual_count, self.parameters.len());
        (self.problem.borrow_mut())(
            self.parameters.as_slice(),
            &mut residuals,
            Some(&mut jacobian),
        );
        (residuals, jacobian)
    }

    /// Parameters, residuals and Jacobian after a few Gauss–Newton steps from where the search settled. The search stops
    /// where the sum of squares no longer tells parameters apart, at half the digits they can have; the gradient still
    /// tells. Steps that hardly shrink, or raise the sum of squares, are not taken.
    fn polished(mut self, converged: bool) -> (Vec<f64>, Vec<f64>, DMatrix<f64>) {
        let (mut residuals, mut jacobian) = self.evaluate();
        let mut last_step = f64::INFINITY;
        for _ in 0..if converged { POLISHING_STEPS } else { 0 } {
            let Some(step) = weighted_least_squares(&jacobian, &residuals, None) else {
                break;
            };
            let length = step
                .coefficients
                .iter()
                .zip(self.parameters.iter())
                .fold(0.0_f64, |m, (d, p)| {
                    m.max(d.abs() / p.abs().max(f64::MIN_POSITIVE))
                });
            if length < POLISHED || length > 0.9 * last_step {
                break;
            }
            last_step = length;
            let before = self.parameters.clone();
            for (p, d) in self.parameters.iter_mut().zip(&step.coefficients) {
                *p -= d;
            }
            let (next, next_jacobian) = self.evaluate();
            // NaN fails this as well. The allowance is for rounding alone.
            let no_worse = sum_of_squares(&next) <= sum_of_squares(&residuals) * (1.0 + 1e-12);
            if !no_worse || next_jacobian.iter().any(|v| !v.is_finite()) {
                self.parameters = before;
                break;
            }
            (residuals, jacobian) = (next, next_jacobian);
        }
        (self.parameters.as_slice().to_vec(), residuals, jacobian)
    }
}

impl<P: FnMut(&[f64], &mut [f64], Option<&mut DMatrix<f64>>)> LeastSquaresProblem<f64, Dyn, Dyn>
    for Adapter<P>
{
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        self.parameters.copy_from(x);
    }

    fn params(&self) -> DVector<f64> {
        self.parameters.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let mut residuals = DVector::zeros(self.residual_count);
        (self.problem.borrow_mut())(self.parameters.as_slice(), residuals.as_mut_slice(), None);
        if residuals.iter().all(|r| r.is_finite()) {
            self.finite_start.set(true);
            return Some(residuals);
        }
        // A trial step into nowhere is a bad step and no end of the search: a huge sum of squares makes the search
        // turn back and step shorter. At the start there is nothing to turn back to.
        if self.finite_start.get() {
            residuals.fill(1e150);
            return Some(residuals);
        }
        None
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let (_, jacobian) = self.evaluate();
        jacobian.iter().all(|v| v.is_finite()).then_some(jacobian)
    }
}

/// Makes a problem for [`fit`] from residuals alone: the Jacobian by four-point central differences, whose error is of the
/// fourth order in the step (M. Abramowitz and I. Stegun, Handbook of Mathematical Functions, 25.3.6).
/// Steps are a share of each parameter, or of 1 where a parameter is zero: scale parameters to about 1 where they may
/// vanish.
pub fn by_differences(
    mut residuals: impl FnMut(&[f64], &mut [f64]),
) -> impl FnMut(&[f64], &mut [f64], Option<&mut DMatrix<f64>>) {
    // Below ε^(1/5), where rounding and the formula's own error would be of one size for smooth functions: places and
    // periods act on a scale much smaller than themselves.
    const STEP: f64 = 1e-4;
    let (mut near, mut far, mut trial) = (Vec::new(), Vec::new(), Vec::new());
    move |parameters, out, jacobian| {
        if let Some(jacobian) = jacobian {
            near.resize(out.len(), 0.0);
            far.resize(out.len(), 0.0);
            trial.clear();
            trial.extend_from_slice(parameters);
            for (j, &at) in parameters.iter().enumerate() {
                let step = if at == 0.0 { STEP } else { STEP * at.abs() };
                let mut column = jacobian.column_mut(j);
                for (steps, weight) in [(1.0, 8.0), (2.0, -1.0)] {
                    trial[j] = at + steps * step;
                    residuals(&trial, &mut near);
                    trial[j] = at - steps * step;
                    residuals(&trial, &mut far);
                    for ((c, a), b) in column.iter_mut().zip(&near).zip(&far) {
                        *c += weight * (a - b) / (12.0 * step);
                    }
                }
                trial[j] = at;
            }
        }
        residuals(parameters, out);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// y = a·exp(−b·t), exact.
    fn decay(p: &[f64], r: &mut [f64], jacobian: Option<&mut DMatrix<f64>>) {
        for (i, r) in r.iter_mut().enumerate() {
            *r = p[0] * (-p[1] * i as f64).exp() - 3.0 * (-0.25 * i as f64).exp();
        }
        if let Some(j) = jacobian {
            for i in 0..j.nrows() {
                let t = i as f64;
                j[(i, 0)] = (-p[1] * t).exp();
                j[(i, 1)] = -t * p[0] * (-p[1] * t).exp();
            }
        }
    }

    #[test]
    fn given_and_difference_jacobians_reach_the_same_place() {
        let given = fit(decay, &[1.0, 1.0], 12).unwrap();
        let taken = fit(by_differences(|p, r| decay(p, r, None)), &[1.0, 1.0], 12).unwrap();
        for fit in [&given, &taken] {
            assert!(fit.converged);
            assert!((fit.parameters[0] - 3.0).abs() < 1e-9);
            assert!((fit.parameters[1] - 0.25).abs() < 1e-9);
        }
        let (a, b) = (given.jtj_inverse.unwrap(), taken.jtj_inverse.unwrap());
        assert!((&a - &b).amax() < 1e-8 * a.amax());
    }

    #[test]
    fn parameters_the_data_cannot_tell_apart_have_no_covariance() {
        let fit = fit(
            by_differences(|p, r| r.iter_mut().for_each(|r| *r = p[0] + p[1] - 2.0)),
            &[0.1, 0.2],
            5,
        )
        .unwrap();
        assert_eq!(fit.jtj_inverse, None);
        assert!((fit.parameters[0] + fit.parameters[1] - 2.0).abs() < 1e-9);
    }

    #[test]
    fn a_step_into_nowhere_is_stepped_back_from() {
        // ln of a negative parameter is NaN; a long first step from 5 towards 0.01 goes there.
        let fit = fit(
            by_differences(|p, r| r.fill(p[0].ln() - 0.01_f64.ln())),
            &[5.0],
            3,
        )
        .unwrap();
        assert!((fit.parameters[0] - 0.01).abs() < 1e-9, "{fit:?}");
    }

    #[test]
    fn nothing_to_fit_gives_none_and_no_panic() {
        assert!(fit(by_differences(|_, r| r.fill(f64::NAN)), &[1.0], 3).is_none());
        assert!(fit(by_differences(|_, r| r.fill(1.0)), &[], 3).is_none());
        assert!(fit(by_differences(|_, r| r.fill(1.0)), &[1.0, 2.0], 1).is_none());
        assert!(fit(by_differences(|_, r| r.fill(1.0)), &[f64::NAN], 3).is_none());
        let flat = fit(by_differences(|_, r| r.fill(1.0)), &[1.0], 3);
        assert!(flat.is_some_and(|f| f.jtj_inverse.is_none()));
    }
}
