//! The lengths of a linkage from arm and surface angles measured together: least squares within the tolerances of what the
//! file says. What the angles do not tell stays as the file has it, with its tolerance, and is said to be untold.
//!
//! The tolerances enter as observations of the lengths (a Gaussian prior; A. Gelman et al., Bayesian Data Analysis, linear
//! regression with prior information as additional data points, source from memory). The scatter's covariance is counted
//! from cycles (the 'sandwich' over clusters: K.-Y. Liang and S. L. Zeger, 'Longitudinal data analysis using generalized
//! linear models', Biometrika 73 (1986), source from memory), so that samples of one stroke are never taken for independent.

use nalgebra::{DMatrix, DVector};

use super::pairs::{self, Pair, Pairs};
use super::setup::{Covariance, LENGTHS, LIMIT_95, as_array, as_linkage, tolerance_u};
use super::{FourBar, Known};
use crate::aircraft::{Linkage, LinkageNotes};
use crate::analysis::stats::{nonlinear, student};
use crate::analysis::{Curve, Quantity};
use crate::recording::Recording;

/// Where the arm's angle came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ArmFrom {
    ArmAngle,
    /// The pulse, by the servo's degrees a µs.
    Pulse,
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoFit {
    NoSurfaceAngle,
    /// Neither arm angle, nor pulse with degrees a µs.
    NoArmAngle,
    TooFewCycles {
        cycles: usize,
    },
    /// Too few places, or too short a way, to say anything of a linkage.
    TooLittle,
    DidNotSettle,
}

/// What is fitted besides the lengths.
const SURFACE_ZERO: usize = LENGTHS;
const SCALE: usize = LENGTHS + 1;
const DIRECTION: usize = LENGTHS + 2;
const PLAY: usize = LENGTHS + 3;
const PARAMETERS: usize = LENGTHS + 4;

/// Limits of what is fitted along, taken as 95 % intervals (all assumed): the surface sensor's zero, °; the two angles' scales
/// against each other, what rod and horn give included; the same of a pulse; half the gap between the directions; half of play.
const ZERO_DEG: f64 = 1.0;
const SENSOR_SCALE: f64 = 0.01;
const PULSE_SCALE: f64 = 0.10;
const GAP_DEG: f64 = 1.0;
/// A servo in motion is this far behind its pulse at the most.
const PULSE_GAP_DEG: f64 = 10.0;
/// What a servo on the move leaves between its pulse and its arm beyond lag and scale, and what play leaves where no torque says
/// on which side the linkage stands: °, and over how many places that goes together (assumed).
const SHAPE: (f64, f64) = (0.1, 30.0);
/// Fits in turn with weights from what the one before left over.
const ROUNDS: usize = 5;
const FEWEST_CYCLES: usize = 3;
const FEWEST_PLACES: usize = 30;
/// Less travel of the surface than this shows nothing but a straight line, °.
const LEAST_TRAVEL_DEG: f64 = 10.0;
/// A length is told where its uncertainty is less than this share of what the tolerance leaves.
const TOLD_SHARE: f64 = 0.5;
/// Residuals beyond this, rms, are not those of a four-bar, ° (assumed: play and lag out of the model stay below).
const MISFIT_DEG: f64 = 0.25;
/// A length this many of the tolerance's standard uncertainties away from the file is not the file's.
const STRAINED: f64 = 3.0;

/// One length: as the file has it, as fitted, and whether the recording told it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Length {
    pub on_file: f64,
    pub fitted: Quantity,
    pub told: bool,
    /// Further from the file than its tolerance explains, in the tolerance's standard uncertainties.
    pub strained: Option<f64>,
}

/// What is left over at one place and direction: measured surface angle less fitted, mean over cycles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftOver {
    pub arm_deg: f64,
    pub surface_deg: f64,
    pub left_deg: f64,
    pub up: bool,
}

/// A linkage fitted to a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    pub known: Known,
    pub from: ArmFrom,
    pub cycles: usize,
    /// In the order arm, horn, rod, base (mm), arm at neutral (°).
    pub lengths: [Length; LENGTHS],
    /// Arm over horn: told apart from either where only the quotient shows.
    pub arm_over_horn: Length,
    /// Surface degrees per arm degree at neutral.
    pub ratio_at_neutral: Quantity,
    pub left_over: Vec<LeftOver>,
    pub rms_deg: f64,
    /// Play of the joints (whole), °: fitted along; nuisance, see `check` for the number that is judged.
    pub play_deg: f64,
}

impl Fitted {
    /// No four-bar near to the file's describes what was measured.
    pub fn misfits(&self) -> bool {
        self.rms_deg > MISFIT_DEG
    }

    /// A length, or the quotient, stands further from the file than the tolerance explains.
    pub fn strained(&self) -> bool {
        let mut all = self.lengths.iter().chain([&self.arm_over_horn]);
        all.any(|l| l.strained.is_some())
    }

    /// The place with the largest left-over angle.
    pub fn worst(&self) -> Option<LeftOver> {
        let by = |p: &&LeftOver, q: &&LeftOver| p.left_deg.abs().total_cmp(&q.left_deg.abs());
        self.left_over.iter().max_by(by).copied()
    }
}

/// Fits the linkage to one recording. `curve`: the torque of the same recording, which says on which side of its play the
/// linkage stands; without it the deflection's sign does.
///
/// # Errors
/// Why the recording does not carry a fit.
pub fn fit(
    recording: &Recording,
    linkage: &Linkage,
    notes: &LinkageNotes,
    arm_deg_per_us: Option<f64>,
    curve: Option<&Curve>,
) -> Result<Fitted, NoFit> {
    let data = pairs::gather(recording, arm_deg_per_us, curve)?;
    if data.cycles < FEWEST_CYCLES {
        return Err(NoFit::TooFewCycles {
            cycles: data.cycles,
        });
    }
    let file = Known::on_file(linkage, notes);
    Fit::new(&file, &data)?.settle()
}

/// Pairs of one place and direction, all cycles together, and their mean: within an angle step the linkage is straight.
struct Place {
    pairs: Vec<Pair>,
    mean: Pair,
    weight: f64,
}

impl Place {
    fn of(pairs: Vec<Pair>) -> Self {
        let mean = |of: fn(&Pair) -> f64| pairs.iter().map(of).sum::<f64>() / pairs.len() as f64;
        let mean = Pair {
            arm_deg: mean(|q| q.arm_deg),
            surface_deg: mean(|q| q.surface_deg),
            side: mean(|q| q.side),
            ..pairs[0]
        };
        Self {
            pairs,
            mean,
            weight: 1.0,
        }
    }
}

struct Fit<'d> {
    file: &'d Known,
    data: &'d Pairs,
    places: Vec<Place>,
    /// What is taken for granted of every parameter: value and standard uncertainty.
    prior: [(f64, f64); PARAMETERS],
    /// Variance that all cycles share at a place, what goes together from one place to the next counted in, °².
    shared: f64,
}

impl<'d> Fit<'d> {
    fn new(file: &'d Known, data: &'d Pairs) -> Result<Self, NoFit> {
        let mut places: Vec<Place> = Vec::new();
        let most = data.pairs.iter().map(|p| p.place).max().unwrap_or(0);
        let mut by_place: Vec<Vec<Pair>> = vec![Vec::new(); most + 1];
        for pair in &data.pairs {
            by_place[pair.place].push(*pair);
        }
        for pairs in by_place.into_iter().filter(|p| p.len() >= 2) {
            places.push(Place::of(pairs));
        }
        let angles = || data.pairs.iter().map(|p| p.surface_deg);
        let travel = angles().fold(f64::MIN, f64::max) - angles().fold(f64::MAX, f64::min);
        if places.len() < FEWEST_PLACES || travel < LEAST_TRAVEL_DEG {
            return Err(NoFit::TooLittle);
        }
        let (scale, gap) = match data.from {
            ArmFrom::ArmAngle => (SENSOR_SCALE, GAP_DEG),
            ArmFrom::Pulse => (PULSE_SCALE, PULSE_GAP_DEG),
        };
        let limits = [ZERO_DEG, scale, gap, GAP_DEG].map(|l| (0.0, l / LIMIT_95));
        let (lengths, u) = (as_array(&file.linkage), tolerance_u(file.tolerance_mm));
        let prior = std::array::from_fn(|i| match i.checked_sub(LENGTHS) {
            Some(other) => limits[other],
            None => (lengths[i], u[i]),
        });
        Ok(Self {
            file,
            data,
            places,
            prior,
            shared: 0.0,
        })
    }

    /// Parameters are searched as distances from the file in the tolerance's standard uncertainties.
    fn actual(&self, z: &[f64]) -> [f64; PARAMETERS] {
        std::array::from_fn(|i| self.prior[i].0 + z[i] * self.prior[i].1)
    }

    fn residual(bar: &FourBar, p: &[f64; PARAMETERS], pair: &Pair) -> f64 {
        let direction = if pair.up { 1.0 } else { -1.0 };
        let turned = bar
            .at_arm_deg((1.0 + p[SCALE]) * pair.arm_deg)
            .map_or(f64::NAN, |s| s.surface_deg);
        pair.surface_deg - turned - p[SURFACE_ZERO] - p[DIRECTION] * direction - p[PLAY] * pair.side
    }

    /// Mean residual of every place, °.
    fn means(&self, z: &[f64]) -> Vec<f64> {
        let p = self.actual(z);
        let Some(bar) = FourBar::new(&as_linkage(&p)) else {
            return vec![f64::NAN; self.places.len()];
        };
        let mean = |place: &Place| Self::residual(&bar, &p, &place.mean);
        self.places.iter().map(mean).collect()
    }

    fn search(&self) -> Option<nonlinear::NonlinearFit> {
        let count = self.places.len();
        let problem = nonlinear::by_differences(|z: &[f64], out: &mut [f64]| {
            for (i, r) in self.means(z).into_iter().enumerate() {
                // Where it does not close the search is turned back.
                out[i] = if r.is_finite() { r } else { 90.0 } * self.places[i].weight.sqrt();
            }
            out[count..].copy_from_slice(z);
        });
        // A start a little off zero: difference steps are shares of the parameters.
        let found = nonlinear::fit(problem, &[0.0; PARAMETERS], count + PARAMETERS)?;
        found.converged.then_some(found)
    }

    fn settle(mut self) -> Result<Fitted, NoFit> {
        let mut z = vec![0.0; PARAMETERS];
        for _ in 0..ROUNDS {
            self.weigh(&z);
            z = self.search().ok_or(NoFit::DidNotSettle)?.parameters;
        }
        let left = self.means(&z);
        if left.iter().any(|r| !r.is_finite()) {
            return Err(NoFit::DidNotSettle);
        }
        let (of_tolerance, of_scatter) = self.covariances(&z).ok_or(NoFit::DidNotSettle)?;
        self.fitted(&z, &left, of_tolerance, of_scatter)
            .ok_or(NoFit::DidNotSettle)
    }

    /// Weights of the places: their scatter between cycles, and what all cycles share there, raised to what is left over.
    fn weigh(&mut self, z: &[f64]) {
        let p = self.actual(z);
        let Some(bar) = FourBar::new(&as_linkage(&p)) else {
            return;
        };
        let (mut squares, mut df) = (0.0, 0.0);
        for place in &self.places {
            let r: Vec<f64> = place
                .pairs
                .iter()
                .map(|q| Self::residual(&bar, &p, q))
                .collect();
            let mean = r.iter().sum::<f64>() / r.len() as f64;
            squares += r.iter().map(|r| (r - mean).powi(2)).sum::<f64>();
            df += r.len() as f64 - 1.0;
        }
        let within = squares / f64::max(df, 1.0);
        let left = self.means(z);
        let of_mean: f64 = left.iter().map(|r| r * r).sum::<f64>() / left.len() as f64;
        let expected = self.places.iter().map(|p| within / p.pairs.len() as f64);
        let expected = expected.sum::<f64>() / self.places.len() as f64;
        let floor = 2.0 * self.data.unevenness_deg * self.data.unevenness_deg;
        let (floor, least_stretch) = match self.data.from {
            ArmFrom::ArmAngle if self.data.side_known => (floor, 1.0),
            _ => (floor + SHAPE.0 * SHAPE.0, SHAPE.1),
        };
        let each = (of_mean - expected).max(floor).max(1e-8);
        self.shared = each * stretched(&left).max(least_stretch);
        for place in &mut self.places {
            let scatter = within / place.pairs.len() as f64;
            place.weight = 1.0 / (scatter + self.shared);
        }
    }

    /// Of all parameters, in units of the prior: from tolerances and what all cycles share, and from scatter of cycles.
    fn covariances(&self, z: &[f64]) -> Option<(DMatrix<f64>, DMatrix<f64>)> {
        const STEP: f64 = 1e-3;
        let n = self.places.len();
        let mut jacobian = DMatrix::zeros(n, PARAMETERS);
        for k in 0..PARAMETERS {
            let (mut above, mut below) = (z.to_vec(), z.to_vec());
            above[k] += STEP;
            below[k] -= STEP;
            for (i, (a, b)) in self
                .means(&above)
                .iter()
                .zip(self.means(&below))
                .enumerate()
            {
                jacobian[(i, k)] = (a - b) / (2.0 * STEP);
            }
        }
        let weights = DVector::from_iterator(n, self.places.iter().map(|p| p.weight));
        let weighted = DMatrix::from_fn(n, PARAMETERS, |i, k| weights[i] * jacobian[(i, k)]);
        let unit = DMatrix::identity(PARAMETERS, PARAMETERS);
        let inverse = (jacobian.transpose() * &weighted + &unit).try_inverse()?;
        let of_shared = weighted.transpose() * &weighted * self.shared;
        let of_tolerance = &inverse * (unit + of_shared) * &inverse;
        let of_scatter = &inverse * self.scores(z, &weighted)? * &inverse;
        Some((of_tolerance, of_scatter))
    }

    /// Covariance of the summed scores, from how they differ between cycles.
    fn scores(&self, z: &[f64], weighted: &DMatrix<f64>) -> Option<DMatrix<f64>> {
        let p = self.actual(z);
        let bar = FourBar::new(&as_linkage(&p))?;
        let cycles = self.data.cycles;
        let mut scores = DMatrix::zeros(cycles, PARAMETERS);
        for (i, place) in self.places.iter().enumerate() {
            let share = 1.0 / place.pairs.len() as f64;
            let r: Vec<f64> = place
                .pairs
                .iter()
                .map(|q| Self::residual(&bar, &p, q))
                .collect();
            let mean = r.iter().sum::<f64>() * share;
            for (pair, r) in place.pairs.iter().zip(r) {
                let row = weighted.row(i) * (share * (r - mean));
                let mut sum = scores.row_mut(pair.cycle.min(cycles - 1));
                sum += row;
            }
        }
        let n = cycles as f64;
        Some(scores.transpose() * scores * (n / (n - 1.0)))
    }

    fn fitted(
        &self,
        z: &[f64],
        left: &[f64],
        of_tolerance: DMatrix<f64>,
        of_scatter: DMatrix<f64>,
    ) -> Option<Fitted> {
        let p = self.actual(z);
        let df = self.data.cycles as f64 - 1.0;
        let scaled = |c: &DMatrix<f64>| {
            Covariance::from_fn(|i, k| c[(i, k)] * self.prior[i].1 * self.prior[k].1)
        };
        let known = Known {
            linkage: as_linkage(&p),
            of_tolerance: scaled(&of_tolerance),
            of_scatter: scaled(&of_scatter),
            df,
            tolerance_mm: self.file.tolerance_mm,
        };
        let on_file = as_array(&self.file.linkage);
        let lengths = std::array::from_fn(|i| {
            let mut gradient = [0.0; LENGTHS];
            gradient[i] = 1.0;
            length(&known, self.file, gradient, (on_file[i], p[i]))
        });
        let quotient = |l: &Linkage| l.arm_mm / l.horn_mm;
        let (on_file, fitted) = (quotient(&self.file.linkage), quotient(&known.linkage));
        let gradient = [fitted / p[0], -fitted / p[1], 0.0, 0.0, 0.0];
        let arm_over_horn = length(&known, self.file, gradient, (on_file, fitted));
        let setup = super::Setup::as_it_is(&known);
        let left_over = self.places.iter().zip(left).map(|(place, left)| LeftOver {
            arm_deg: place.mean.arm_deg,
            surface_deg: place.mean.surface_deg,
            left_deg: *left,
            up: place.mean.up,
        });
        Some(Fitted {
            from: self.data.from,
            cycles: self.data.cycles,
            lengths,
            arm_over_horn,
            ratio_at_neutral: setup.quantity(|bar| Some(bar.at_arm_deg(0.0)?.ratio))?,
            left_over: left_over.collect(),
            rms_deg: (left.iter().map(|r| r * r).sum::<f64>() / left.len() as f64).sqrt(),
            play_deg: 2.0 * p[PLAY].abs(),
            known,
        })
    }
}

/// What lies between neighbours that go together: (1 + ρ)/(1 − ρ) for a first-order autoregression with the residuals' own
/// correlation ρ from one place to the next (G. E. P. Box and G. M. Jenkins, Time Series Analysis, source from memory).
fn stretched(left: &[f64]) -> f64 {
    // Places alternate between the directions.
    let mean = left.iter().sum::<f64>() / left.len() as f64;
    let of = |lag: usize| {
        let pairs = left.iter().zip(&left[lag.min(left.len())..]);
        pairs.map(|(a, b)| (a - mean) * (b - mean)).sum::<f64>()
    };
    let correlation = (of(2) / of(0)).clamp(0.0, 0.95);
    (1.0 + correlation) / (1.0 - correlation)
}

fn length(
    known: &Known,
    file: &Known,
    gradient: [f64; LENGTHS],
    (on_file, fitted): (f64, f64),
) -> Length {
    let g = nalgebra::SVector::<f64, LENGTHS>::from(gradient);
    let u = |c: &Covariance| (g.transpose() * c * g)[0].max(0.0).sqrt();
    let parts = [
        (u(&known.of_tolerance), f64::INFINITY),
        (u(&known.of_scatter), known.df),
    ];
    let (combined, df) = student::combine(&parts);
    let prior = u(&file.of_tolerance);
    let off = (fitted - on_file).abs() / prior;
    Length {
        on_file,
        fitted: Quantity {
            value: fitted,
            interval: student::interval(fitted, combined, df),
        },
        told: combined < TOLD_SHARE * prior,
        strained: (off > STRAINED).then_some(off),
    }
}
