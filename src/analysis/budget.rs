//! A quantity's uncertainty with its sources kept apart, so that what two recordings share can cancel in their difference.
//! Together the parts are what the quantity's own interval is made of; nothing is compared or judged here.

use nalgebra::{DMatrix, DVector};

use super::curve::Fitted;
use super::data::{Data, Prior};
use super::fit::{FORM_U, Fit};
use super::law::{SERVO_NUMBERS, STIFFNESS};
use super::search::{Round, ScoreOfOne};
use super::stats::student;
use super::{Interval, Quantity};

/// One value and what makes it uncertain. All in the value's unit but where said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Budget {
    pub value: f64,
    /// Standard uncertainty from how the cycles scatter, and its degrees of freedom.
    pub scatter_u: f64,
    pub df: f64,
    /// By how much the value goes up with each of the servo's numbers: idle power W, winding loss W/(N·m)², friction N·m,
    /// gear loss, gear loss while the load helps, lag s. Zero where no calibration was used.
    pub by_servo: [f64; SERVO_NUMBERS],
    /// Relative standard uncertainty of the sensor's scale, and of what its filter takes from a narrow peak.
    pub scale_u: f64,
    /// Standard uncertainty that all strokes of this recording share and no other recording does.
    pub own_u: f64,
}

/// A knee's place, °, and the stiffness beyond it, N·cm/°.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KneeBudget {
    pub at_deg: Budget,
    pub stiffness_beyond: Budget,
    /// Stiffness beyond it less that before it, N·cm/°.
    pub extra_stiffness: Budget,
}

/// What a knee at a place where the curve has none would add to the stiffness, were it fitted there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AbsentKnee {
    pub at_deg: f64,
    /// N·cm/°.
    pub extra: Budget,
}

/// The budgets of one fitted curve.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CurveBudgets {
    pub stiffness: Option<Budget>,
    pub friction: Option<Budget>,
    /// Up (or left), then down.
    pub knees: [Option<KneeBudget>; 2],
    /// Where there is no knee: what one could be, from neutral outwards. Up (or left), then down.
    pub absent_knees: [Vec<AbsentKnee>; 2],
    /// Height of the highest tight spot, N·cm.
    pub highest_spot: Option<Budget>,
    /// What the calibration leaves open about the servo's numbers: their covariance.
    pub servo: [[f64; SERVO_NUMBERS]; SERVO_NUMBERS],
}

/// The budgets of one recording.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Budgets {
    pub curve: CurveBudgets,
    /// N·cm.
    pub peak_torque: Option<Budget>,
    /// Current while holding at neutral, at the lower and at the upper end, mA: means of holds.
    pub holds: [Option<Budget>; 3],
}

impl Budget {
    /// A mean of independent values; `None` of fewer than three.
    pub(crate) fn of_mean(values: &[f64]) -> Option<Self> {
        if values.len() < 3 {
            return None;
        }
        let n = values.len() as f64;
        let value = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - value).powi(2)).sum();
        Some(Self {
            value,
            scatter_u: (squares / (n * (n - 1.0))).sqrt(),
            df: n - 1.0,
            by_servo: [0.0; SERVO_NUMBERS],
            scale_u: 0.0,
            own_u: 0.0,
        })
    }

    /// A quantity whose parts are nobody else's; `None` without an interval.
    pub fn of(quantity: &Quantity) -> Option<Self> {
        let Interval { u, lo95, hi95 } = quantity.interval?;
        Some(Self {
            value: quantity.value,
            scatter_u: u,
            df: student::df_of_t95(0.5 * (hi95 - lo95) / u),
            by_servo: [0.0; SERVO_NUMBERS],
            scale_u: 0.0,
            own_u: 0.0,
        })
    }

    /// Combined standard uncertainty and degrees of freedom, by themselves (`servo`: the numbers' covariance).
    pub fn combined(&self, servo: &[[f64; SERVO_NUMBERS]; SERVO_NUMBERS]) -> (f64, f64) {
        student::combine(&[
            (self.scatter_u, self.df),
            (variance(&self.by_servo, servo).sqrt(), f64::INFINITY),
            (self.scale_u * self.value, f64::INFINITY),
            (self.own_u, f64::INFINITY),
        ])
    }
}

/// sᵀ·C·s of sensitivities and a covariance, never below zero.
pub fn variance(
    by: &[f64; SERVO_NUMBERS],
    covariance: &[[f64; SERVO_NUMBERS]; SERVO_NUMBERS],
) -> f64 {
    let rows = by.iter().zip(covariance);
    rows.map(|(s, row)| s * row.iter().zip(by).map(|(c, t)| c * t).sum::<f64>())
        .sum::<f64>()
        .max(0.0)
}

impl Fitted {
    /// What depends on the parameters by `gradient`; `relative_u` and `own_u` as in [`Budget`].
    pub fn budget(&self, value: f64, gradient: &[f64], relative_u: f64, own_u: f64) -> Budget {
        let fit = &self.fit;
        let by_servo = self.prior.as_ref().map_or([0.0; SERVO_NUMBERS], |prior| {
            by_servo(&self.fit, gradient, prior)
        });
        let unshared: f64 = self.prior.as_ref().map_or(0.0, |prior| {
            let parts = by_servo.iter().zip(&prior.unshared);
            parts.map(|(s, variance)| s * s * variance).sum()
        });
        Budget {
            value,
            scatter_u: fit.parts(gradient).0,
            df: fit.df,
            by_servo,
            scale_u: relative_u,
            own_u: own_u.hypot(unshared.sqrt()),
        }
    }

    pub fn budgets(&self) -> CurveBudgets {
        let fit = &self.fit;
        if fit.df < 1.0 {
            return CurveBudgets::default();
        }
        let (friction, by_friction) = self.friction_and_gradient();
        let one = |index: usize| self.gradient(&[(index, 1.0)]);
        let knee = |up_side: bool, there: bool| {
            let j = fit.terms.knee_at(up_side);
            there.then(|| KneeBudget {
                at_deg: self.budget(fit.p[j + 1], &one(j + 1), 0.0, fit.place_u_deg),
                stiffness_beyond: self.budget(
                    fit.p[STIFFNESS] + fit.p[j],
                    &self.gradient(&[(STIFFNESS, 1.0), (j, 1.0)]),
                    fit.stiffness_scale_u(),
                    0.0,
                ),
                extra_stiffness: self.budget(fit.p[j], &one(j), fit.stiffness_scale_u(), 0.0),
            })
        };
        let highest = fit
            .spots()
            .max_by(|a, b| a.height_ncm.total_cmp(&b.height_ncm));
        CurveBudgets {
            stiffness: Some(self.budget(
                fit.p[STIFFNESS],
                &one(STIFFNESS),
                fit.stiffness_scale_u(),
                0.0,
            )),
            friction: Some(self.budget(friction, &by_friction, fit.scale_u, 0.0)),
            knees: [
                knee(true, fit.terms.knee_up),
                knee(false, fit.terms.knee_down),
            ],
            highest_spot: highest.map(|spot| {
                let form_u = FORM_U * spot.height_ncm.abs();
                let relative_u = fit.scale_u.hypot(self.lost_to_filter(&spot));
                self.budget(spot.height_ncm, &one(spot.at), relative_u, form_u)
            }),
            absent_knees: self.absent_knees.clone(),
            servo: self
                .prior
                .as_ref()
                .map_or_else(Default::default, shared_covariance),
        }
    }
}

/// The fit follows a servo's numbers by (JᵀWJ + P)⁻¹·P, P the calibration's precision: to first order the answer of the
/// least squares to its prior observations. How what depends on the parameters by `gradient` follows them.
fn by_servo(fit: &Fit, gradient: &[f64], prior: &Prior) -> [f64; SERVO_NUMBERS] {
    let at = fit.terms.calibration_at();
    let across = fit.inverse.columns(at, SERVO_NUMBERS).transpose();
    let by = &prior.precision * (across * DVector::from_column_slice(gradient));
    std::array::from_fn(|i| by[i])
}

/// What knees at places where the fit has none would be: to first order, one more parameter in the fit as it stands.
pub(crate) fn absent_knees(
    data: &Data,
    fit: &Fit,
    scale_u: f64,
    step_deg: f64,
) -> [Vec<AbsentKnee>; 2] {
    if fit.df < 1.0 {
        return Default::default();
    }
    let round = Round::new(data, fit, step_deg);
    [true, false].map(|up_side| {
        let one = |score: ScoreOfOne| {
            let prior = data.prior.as_ref().filter(|_| fit.terms.power);
            let by = prior.map_or([0.0; SERVO_NUMBERS], |prior| {
                by_servo(fit, score.gradients.as_slice(), prior).map(|s| -s / score.own)
            });
            let unshared: f64 = prior.map_or(0.0, |prior| {
                let parts = by.iter().zip(&prior.unshared);
                parts.map(|(s, variance)| s * s * variance).sum()
            });
            AbsentKnee {
                at_deg: score.at_deg,
                extra: Budget {
                    value: score.sum / score.own,
                    scatter_u: score.scatter.sqrt() / score.own,
                    df: fit.df,
                    by_servo: by,
                    scale_u,
                    own_u: unshared.sqrt(),
                },
            }
        };
        round.absent_knees(up_side).into_iter().map(one).collect()
    })
}

/// The servo's numbers' covariance without what is each recording's own.
fn shared_covariance(prior: &Prior) -> [[f64; SERVO_NUMBERS]; SERVO_NUMBERS] {
    let Some(mut covariance): Option<DMatrix<f64>> = prior.precision.clone().try_inverse() else {
        return Default::default();
    };
    for (i, variance) in prior.unshared.iter().enumerate() {
        covariance[(i, i)] = (covariance[(i, i)] - variance).max(0.0);
    }
    std::array::from_fn(|i| std::array::from_fn(|j| covariance[(i, j)]))
}
