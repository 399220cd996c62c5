//! Fitting the law to what was measured, and how far the result may be trusted.
//!
//! The fit is least squares on the measured effort through the forward model, over means of all strokes at each place.
//! From supply power the calibration's four numbers are fitted too, held by their covariance as prior observations.
//! Scatter is counted from cycles by the delete-one jackknife (B. Efron, The Jackknife, the Bootstrap and Other
//! Resampling Plans, SIAM 1982, chapter 3), so samples of one stroke need not be independent; what every stroke shares
//! (calibration, sensor scale) is a part of its own that does not shrink with more strokes. Both are combined after the
//! GUM (JCGM 100:2008, 5.1.2 and G.4.1).

use nalgebra::{DMatrix, DVector};

use super::data::Data;
use super::features::FOOT;
use super::law::{SERVO_NUMBERS, Terms, curvature, foot};
use super::normal::{self, Normal};
use super::stats::nonlinear::{self, Search};
use super::stats::student;
use super::{Interval, Quantity};

/// Relative standard uncertainty of a tight spot's height from its unknown form (assumed; forms tried differ by this).
pub(crate) const FORM_U: f64 = 0.015;

/// The law fitted.
#[derive(Debug, Clone)]
pub(crate) struct Fit {
    pub terms: Terms,
    pub p: Vec<f64>,
    /// From the scatter between cycles.
    pub scatter: DMatrix<f64>,
    /// From the calibration.
    pub shared: DMatrix<f64>,
    /// Degrees of freedom of the scatter.
    pub df: f64,
    /// (JᵀWJ + prior)⁻¹ with the weights used.
    pub inverse: DMatrix<f64>,
    /// Weight of one sample.
    pub weight: f64,
    /// Variance of a single sample's effort as the scatter between strokes shows it.
    pub sample_variance: f64,
    /// Relative standard uncertainty of the sensor's scale, of all torques alike.
    pub scale_u: f64,
    /// The same of the angle sensor: of all torques a degree alike.
    pub angle_scale_u: f64,
    /// Standard deviation of the strokes' own levels, N·cm (0 where it was not told apart).
    pub level_sd: f64,
    /// Standard uncertainty of a place on the travel that the angle sensor leaves, °, the same in every stroke.
    pub place_u_deg: f64,
    /// How far the calibration was pulled, in its own standard uncertainties (root mean square of the four).
    pub strain: f64,
}

/// A tight spot as fitted.
pub(crate) struct FittedSpot {
    /// Place of its height among the parameters; its centre follows.
    pub at: usize,
    pub when: super::When,
    pub height_ncm: f64,
    pub centre_deg: f64,
    /// Distance from the centre to where it no longer stands out.
    pub half_width_deg: f64,
    /// Of a height of 1, at its top, 1/°².
    pub curvature_per_deg2: f64,
}

/// The parameters of the least squares at a given weight of the data.
fn settle(data: &Data, terms: &Terms, start: &[f64], weight: f64) -> Option<Vec<f64>> {
    let (rows, count) = (data.points.len(), terms.len());
    let prior = data.prior.as_ref().filter(|_| terms.power);
    let extra = if prior.is_some() { SERVO_NUMBERS } else { 0 };
    let mut gradient = vec![0.0; count];
    let problem = |p: &[f64], residuals: &mut [f64], mut jacobian: Option<&mut DMatrix<f64>>| {
        for (i, point) in data.points.iter().enumerate() {
            let root = (point.samples * weight).sqrt();
            let (model, _) = terms.effort(p, &point.at, &mut gradient);
            residuals[i] = root * (model - point.effort);
            if let Some(j) = jacobian.as_deref_mut() {
                for (k, g) in gradient.iter().enumerate() {
                    j[(i, k)] = root * g;
                }
            }
        }
        if let Some(prior) = prior {
            let at = terms.calibration_at();
            for row in 0..SERVO_NUMBERS {
                residuals[rows + row] = (0..SERVO_NUMBERS)
                    .map(|k| prior.root[(k, row)] * (p[at + k] - prior.mean[k]))
                    .sum();
                if let Some(j) = jacobian.as_deref_mut() {
                    for k in 0..SERVO_NUMBERS {
                        j[(rows + row, at + k)] = prior.root[(k, row)];
                    }
                }
            }
        }
    };
    let search = Search {
        tolerance: 1e-8,
        patience: 30,
        ..Search::default()
    };
    let fit = nonlinear::fit_with(problem, start, rows + extra, search)?;
    fit.residual_ss.is_finite().then_some(fit.parameters)
}

impl Fit {
    /// Fits from `start` and works out the covariance. From supply power the weight of the data against the calibration
    /// comes from how well the law follows them and how the cycles scatter, not from single samples.
    pub fn new(data: &Data, terms: &Terms, start: &[f64]) -> Option<Self> {
        let single = 1.0 / data.sample_variance;
        if !terms.power {
            return Self::at(data, terms, settle(data, terms, start, single)?, single);
        }
        // From a calibration that is all but fixed towards data that speak for themselves: a law that does not fit yet
        // must not drag the servo's numbers along.
        let mut weight = 1e-3 * single;
        let mut p = start.to_vec();
        for _ in 0..6 {
            p = settle(data, terms, &p, weight)?;
            let next = single / data.excess(terms, &p).max(1.0);
            let near = (next / weight - 1.0).abs() < 0.2;
            weight = next.min(30.0 * weight);
            if near {
                break;
            }
        }
        let fit = Self::at(data, terms, settle(data, terms, &p, weight)?, weight)?;
        let effect = fit.design_effect();
        if data.cycles < 3 || effect <= 1.1 {
            return Some(fit);
        }
        let weight = weight / effect;
        Self::at(data, terms, settle(data, terms, &fit.p, weight)?, weight)
    }

    /// Covariance at parameters already found.
    /// Parameters from elsewhere, held against these data.
    pub fn at_given(data: &Data, terms: &Terms, p: Vec<f64>) -> Option<Self> {
        let weight = 1.0 / (data.sample_variance * data.excess(terms, &p).max(1.0));
        Self::at(data, terms, p, weight)
    }

    fn at(data: &Data, terms: &Terms, p: Vec<f64>, weight: f64) -> Option<Self> {
        let normal = Normal::gather(data, terms, &p, weight);
        Self::from_normal(data, terms, p, weight, &normal)
    }

    /// The same fit with a level of its own for every stroke. From power it stays as it is: there a stroke's own friction
    /// is no mere level, and the weight of the data was lowered instead.
    pub fn levelled(self, data: &Data) -> Self {
        if self.terms.power {
            return self;
        }
        let mut normal = Normal::gather(data, &self.terms, &self.p, self.weight);
        let mut p = self.p.clone();
        let Some(level_sd) = normal.level_strokes() else {
            return self;
        };
        if normal.step(&mut p).is_none() {
            return self;
        }
        match Self::from_normal(data, &self.terms, p, self.weight, &normal) {
            Some(fit) => Self { level_sd, ..fit },
            None => self,
        }
    }

    fn from_normal(
        data: &Data,
        terms: &Terms,
        p: Vec<f64>,
        weight: f64,
        normal: &Normal,
    ) -> Option<Self> {
        let count = terms.len();
        let mut total = normal.total();
        let mut prior_information = DMatrix::zeros(count, count);
        let mut strain = 0.0;
        if let Some(prior) = data.prior.as_ref().filter(|_| terms.power) {
            let at = terms.calibration_at();
            prior_information
                .view_mut((at, at), (SERVO_NUMBERS, SERVO_NUMBERS))
                .copy_from(&prior.precision);
            total += &prior_information;
            let pulled = DVector::from_fn(SERVO_NUMBERS, |k, _| p[at + k] - prior.mean[k]);
            strain = ((pulled.transpose() * &prior.precision * &pulled)[(0, 0)] / 4.0)
                .max(0.0)
                .sqrt();
        }
        let inverse = normal::inverse(&total)?;
        let shared = &inverse * &prior_information * &inverse;
        let scatter = normal.jackknife(&total, &inverse);
        Some(Self {
            terms: terms.clone(),
            p,
            scatter,
            shared,
            df: data.cycles.max(1) as f64 - 1.0,
            inverse,
            weight,
            sample_variance: data.sample_variance,
            scale_u: 0.0,
            angle_scale_u: 0.0,
            level_sd: 0.0,
            place_u_deg: 0.0,
            strain,
        })
    }

    /// The scatter by fitting anew without each cycle in turn. From power the law is far from linear (idle below a floor, a knee
    /// that only the driving branch shows), and one step from the whole fit, as elsewhere, comes out too small.
    pub fn refitted(mut self, data: &Data) -> Self {
        if !self.terms.power || data.cycles < 3 {
            return self;
        }
        let n = data.cycles as f64;
        let whole = DVector::from_column_slice(&self.p);
        let shift = |cycle: usize| {
            let without = data.without_cycle(cycle);
            let p = settle(&without, &self.terms, &self.p, self.weight)?;
            Some(DVector::from_vec(p) - &whole)
        };
        let Some(shifts) = (0..data.cycles).map(shift).collect::<Option<Vec<_>>>() else {
            return self;
        };
        let mean: DVector<f64> = shifts.iter().sum::<DVector<f64>>() / n;
        let about = shifts.iter().map(|shift| shift - &mean);
        let squares: DMatrix<f64> = about.map(|d| &d * d.transpose()).sum();
        self.scatter = squares * ((n - 1.0) / n);
        self
    }

    /// Counts that the weight of the data against the calibration is itself estimated, from how this recording's cycles scatter:
    /// another recording has another weight, and leans otherwise on the calibration. At the minimum of w·S(p) + prior,
    /// dp/d ln w = (JᵀWJ + P)⁻¹·P·(p − mean); ln w scatters as the logarithm of a variance does, by 2/df in variance. No cycle
    /// left out shows this, for all have one weight. From torque or force there is no such weight.
    pub fn weight_counted(mut self, data: &Data) -> Self {
        let Some(prior) = data.prior.as_ref().filter(|_| self.terms.power) else {
            return self;
        };
        if self.df < 1.0 {
            return self;
        }
        let at = self.terms.calibration_at();
        let pulled = DVector::from_fn(SERVO_NUMBERS, |k, _| self.p[at + k] - prior.mean[k]);
        let by = self.inverse.columns(at, SERVO_NUMBERS) * (&prior.precision * pulled);
        self.scatter += &by * by.transpose() * (2.0 / self.df);
        self
    }

    /// The servo's idle power W, winding loss W/(N·m)², friction N·m and gear loss, if they were fitted.
    pub fn servo(&self) -> Option<[f64; 4]> {
        let at = self.terms.calibration_at();
        self.terms
            .power
            .then(|| [0, 1, 2, 3].map(|i| self.p[at + i]))
    }

    pub fn spots(&self) -> impl Iterator<Item = FittedSpot> {
        self.terms.spots.iter().enumerate().map(|(n, spot)| {
            let at = self.terms.spot_at(n);
            FittedSpot {
                at,
                when: spot.when,
                height_ncm: self.p[at],
                centre_deg: self.p[at + 1],
                half_width_deg: self.p[at + 2].exp() * foot(spot.form, FOOT),
                curvature_per_deg2: curvature(spot.form) / self.p[at + 2].exp().powi(2),
            }
        })
    }

    /// How much more the cycles scatter than independent samples would: of the worst determined law parameters' mean.
    fn design_effect(&self) -> f64 {
        let law = 3;
        let sum: f64 = (0..law)
            .map(|i| {
                self.scatter[(i, i)] / (self.inverse[(i, i)] - self.shared[(i, i)]).max(1e-300)
            })
            .sum();
        sum / law as f64
    }

    /// A torque, or torque per degree, that depends on the parameters by `gradient`.
    pub fn torque(&self, value: f64, gradient: &[f64]) -> Quantity {
        let common_u = self.scale_u * value.abs();
        Quantity {
            value,
            interval: self.interval(value, gradient, common_u),
        }
    }

    pub fn parts(&self, gradient: &[f64]) -> (f64, f64) {
        let g = DVector::from_column_slice(gradient);
        let scatter = (g.transpose() * &self.scatter * &g)[(0, 0)].max(0.0).sqrt();
        let shared = (g.transpose() * &self.shared * &g)[(0, 0)].max(0.0).sqrt();
        (scatter, shared)
    }

    fn interval(&self, value: f64, gradient: &[f64], common_u: f64) -> Option<Interval> {
        if self.df < 1.0 {
            return None;
        }
        let (scatter, shared) = self.parts(gradient);
        let (u, df) = student::combine(&[
            (scatter, self.df),
            (shared, f64::INFINITY),
            (common_u, f64::INFINITY),
        ]);
        student::interval(value, u, df)
    }

    /// A torque per degree: the scales of both sensors are in it.
    pub fn stiffness(&self, value: f64, gradient: &[f64]) -> Quantity {
        let common_u = self.stiffness_scale_u() * value.abs();
        Quantity {
            value,
            interval: self.interval(value, gradient, common_u),
        }
    }

    /// Relative standard uncertainty of all torques a degree alike.
    pub fn stiffness_scale_u(&self) -> f64 {
        self.scale_u.hypot(self.angle_scale_u)
    }

    /// A torque of one stroke, which has a level of its own.
    pub fn torque_of_one_stroke(&self, value: f64, gradient: &[f64]) -> Quantity {
        let common_u = (self.scale_u * value.abs()).hypot(self.level_sd);
        Quantity {
            value,
            interval: self.interval(value, gradient, common_u),
        }
    }

    /// A single parameter that is a torque, or torque per degree.
    pub fn torque_parameter(&self, index: usize) -> Quantity {
        self.torque(self.p[index], &self.unit(index))
    }

    /// The height of a tight spot: what its form, one of a few tried, and the readings' filter leave open is added.
    pub fn height_parameter(&self, index: usize, lost_to_filter: f64) -> Quantity {
        let value = self.p[index];
        let common_u = self.scale_u.hypot(FORM_U).hypot(lost_to_filter) * value.abs();
        Quantity {
            value,
            interval: self.interval(value, &self.unit(index), common_u),
        }
    }

    /// A single parameter that is a place on the travel, °.
    pub fn place_parameter(&self, index: usize) -> Quantity {
        let value = self.p[index];
        Quantity {
            value,
            interval: self.interval(value, &self.unit(index), self.place_u_deg),
        }
    }

    pub fn unit(&self, index: usize) -> Vec<f64> {
        let mut gradient = vec![0.0; self.p.len()];
        gradient[index] = 1.0;
        gradient
    }

    /// Student's t of a parameter from the scatter between cycles alone.
    pub fn t_of(&self, index: usize) -> f64 {
        self.p[index] / self.scatter[(index, index)].max(1e-300).sqrt()
    }
}
