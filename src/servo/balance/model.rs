//! The power balance as a least squares problem: four numbers of the servo, and all that is known only with an uncertainty
//! beside them (masses, lengths, level, copper), each with its own prior.
//!
//! V·I = P_idle + a·x² + ω·x, x = (1 + g)·τ + τ_f: supply power is idle, copper loss R·i² with a = R/k², and mechanical
//! power (aircraft-file.md, "calibration.toml"; energy conservation of a motor with a switched bridge).

use nalgebra::DMatrix;

use super::{REFERENCE_C, Setting};
use crate::servo::lifts::{Course, Doing, Known, Level, Lifts, Warmth};

/// Standard acceleration of free fall, m/s² (ISO 80000-3). Places differ from it by 0.3 % at most: less than a scale's error.
const GRAVITY_M_S2: f64 = 9.806_65;
/// Copper: resistance per kelvin at 20 °C, annealed (IEC 60028:1925, 0.003 93 /K).
const COPPER_PER_K: f64 = 0.003_93;
/// An arm that nobody weighed: 15 g, its middle at half its length, standard uncertainty of nothing (assumed).
const ARM_KG: f64 = 0.015;
/// Copper at rest against what was measured of its surroundings, K: mean and standard uncertainty (all assumed). Without
/// any reading it is taken as at the reference, as the analysis of sweeps does.
const BESIDE_CASE_K: (f64, f64) = (0.0, 1.5);
const BESIDE_AIR_K: (f64, f64) = (4.0, 4.0);
const UNKNOWN_K: (f64, f64) = (0.0, 6.0);
/// Winding to case, K/W, and the time it takes, s: mean and standard uncertainty (of the logarithm for the time). Small
/// motors lie within (assumed); heavy strokes, whose power grows as they warm, tell them better.
const WINDING_K_PER_W: (f64, f64) = (7.0, 5.0);
const WINDING_S: (f64, f64) = (25.0, 0.7);
/// Below this speed nothing but copper warms, rad/s.
const STILL_RAD_S: f64 = 0.05;

/// Where the parameters stand. Each is kept near 1 or 10, so that differences and steps are of one size.
pub(super) const FIXED: usize = 10;
const Z: f64 = 10.0;

/// All numbers of the model in their own units.
#[derive(Debug, Clone)]
pub(super) struct Numbers {
    pub idle_w: f64,
    pub winding: f64,
    pub friction_nm: f64,
    pub gear_loss: f64,
    /// Of the arm by itself, level, N·m.
    pub own_nm: f64,
    pub level_deg: f64,
    pub beside_k: f64,
    pub winding_k_per_w: f64,
    pub winding_s: f64,
    /// While the load helps.
    pub gear_helping: f64,
    pub masses_kg: Vec<f64>,
    pub arms_mm: Vec<f64>,
}

impl Numbers {
    pub fn torque_nm(&self, level: &Level) -> f64 {
        self.torque_of((level.mass, level.arm), level.cos, level.sin)
    }

    fn torque_of(&self, (mass, arm): (usize, usize), cos: f64, sin: f64) -> f64 {
        let level = self.level_deg.to_radians();
        let standing = GRAVITY_M_S2 * self.masses_kg[mass] * 1e-3 * self.arms_mm[arm] + self.own_nm;
        standing * (cos * level.cos() + sin * level.sin())
    }

    /// Shaft torque before the servo's own losses, N·m; not above zero where the load drives the servo.
    pub fn x_nm(&self, level: &Level) -> f64 {
        let torque = self.torque_nm(level);
        match level.doing {
            Doing::Lifting => (1.0 + self.gear_loss) * torque + self.friction_nm,
            Doing::Lowering => self.friction_nm - (1.0 + self.gear_helping) * torque,
            Doing::Resting => 0.0,
        }
    }

    /// Supply power of a level, W, with the winding's loss so many times that at the reference.
    pub fn power_w(&self, level: &Level, factor: f64) -> f64 {
        let x = self.x_nm(level).max(0.0);
        self.idle_w + self.winding * factor * x * x + level.speed_rad_s * x
    }

    /// Copper loss at each step of a course, W.
    fn copper_w(&self, course: &Course, lifts_up: bool) -> Vec<f64> {
        let at = |step: &crate::servo::lifts::Step| {
            let Some(load) = step.load else { return 0.0 };
            if !(step.speed_rad_s.is_finite() && step.power_w.is_finite()) {
                return 0.0;
            }
            if step.speed_rad_s.abs() < STILL_RAD_S {
                return (step.power_w - self.idle_w).max(0.0);
            }
            let torque = self.torque_of(load, step.cos, step.sin);
            // Braking warms the copper as driving does; of the gear's loss then nothing is known, and little depends on it.
            let x = if (step.speed_rad_s > 0.0) == lifts_up {
                (1.0 + self.gear_loss) * torque + self.friction_nm
            } else {
                self.friction_nm - torque
            };
            self.winding * x * x
        };
        course.steps.iter().map(at).collect()
    }
}

/// The problem at hand: which levels, how well each is known, and the copper loss that warmed it.
#[derive(Clone)]
pub(super) struct Design<'a> {
    pub lifts: &'a Lifts,
    pub setting: Setting,
    pub used: Vec<Level>,
    /// Standard uncertainty of each used level's power, W.
    pub sigma_w: Vec<f64>,
    /// By course and step.
    copper_w: Vec<Vec<f64>>,
    /// Sizes that the first parameters are shares of.
    idle_w: f64,
    winding: f64,
    torque_nm: f64,
    pub pin_gear: bool,
    pub pin_friction: bool,
}

impl<'a> Design<'a> {
    pub fn new(lifts: &'a Lifts, setting: Setting, used: Vec<Level>, start: &Numbers) -> Self {
        let sigma_w = used
            .iter()
            .map(|l| (lifts.noise_w2_s / l.span_s).sqrt().max(1e-6))
            .collect();
        let torque_nm = used.iter().map(|l| start.torque_nm(l)).fold(1e-3, f64::max);
        let mut design = Self {
            lifts,
            setting,
            used,
            sigma_w,
            copper_w: Vec::new(),
            idle_w: start.idle_w.max(1e-3),
            winding: start.winding,
            torque_nm,
            pin_gear: false,
            pin_friction: false,
        };
        design.warm_by(start);
        design
    }

    /// Takes the copper loss on the way from these numbers.
    pub fn warm_by(&mut self, numbers: &Numbers) {
        let courses = self.lifts.courses.iter();
        self.copper_w = courses
            .map(|c| numbers.copper_w(c, self.lifts.lifts_up))
            .collect();
    }

    pub fn count(&self) -> usize {
        FIXED + self.lifts.masses_kg.len() + self.lifts.arms_mm.len()
    }

    pub fn rows(&self) -> usize {
        // Every parameter but the four has its prior.
        self.used.len() + self.count() - 4
            + usize::from(self.pin_gear)
            + usize::from(self.pin_friction)
    }

    pub fn start(&self, start: &Numbers) -> Vec<f64> {
        let mut p = vec![Z; self.count()];
        p[0] = start.idle_w / self.idle_w;
        p[1] = start.winding / self.winding;
        p[2] = 1.0 + start.friction_nm / self.torque_nm;
        p[3] = 1.0 + start.gear_loss;
        p
    }

    fn own_u_nm(&self) -> Known {
        self.setting.own_nm.unwrap_or_else(|| {
            let arm_mm = self.lifts.arms_mm.first().map_or(60.0, |a| a.value);
            Known {
                value: 0.0,
                u: ARM_KG * GRAVITY_M_S2 * 0.5e-3 * arm_mm,
            }
        })
    }

    fn beside(&self) -> (f64, f64) {
        match self.lifts.warmth {
            Warmth::Case => BESIDE_CASE_K,
            Warmth::Air => BESIDE_AIR_K,
            Warmth::Nothing => UNKNOWN_K,
        }
    }

    pub fn numbers(&self, p: &[f64]) -> Numbers {
        let z = |j: usize| p[j] - Z;
        let of = |known: Known, z: f64| known.value + known.u * z;
        let gear_loss = p[3] - 1.0;
        let masses = self.lifts.masses_kg.len();
        Numbers {
            idle_w: p[0] * self.idle_w,
            winding: p[1] * self.winding,
            friction_nm: (p[2] - 1.0) * self.torque_nm,
            gear_loss,
            own_nm: of(self.own_u_nm(), z(4)),
            level_deg: of(self.setting.level_deg, z(5)),
            beside_k: self.beside().0 + self.beside().1 * z(6),
            winding_k_per_w: WINDING_K_PER_W.0 + WINDING_K_PER_W.1 * z(7),
            winding_s: WINDING_S.0 * (WINDING_S.1 * z(8)).exp(),
            gear_helping: gear_loss.max(0.05) * z(9),
            masses_kg: (0..masses)
                .map(|m| of(self.lifts.masses_kg[m], z(FIXED + m)))
                .collect(),
            arms_mm: (0..self.lifts.arms_mm.len())
                .map(|a| of(self.lifts.arms_mm[a], z(FIXED + masses + a)))
                .collect(),
        }
    }

    /// What a parameter of the first four is, in the servo's own units, per unit of the parameter.
    pub fn unit(&self, j: usize) -> f64 {
        [self.idle_w, self.winding, self.torque_nm, 1.0][j]
    }

    /// The winding's loss at each used level over that at the reference temperature.
    pub fn factors(&self, numbers: &Numbers) -> Vec<f64> {
        let rises: Vec<Vec<f64>> = self
            .copper_w
            .iter()
            .map(|w| risen(w, numbers.winding_s))
            .collect();
        self.used
            .iter()
            .map(|l| {
                let around = self.around_c(l) + numbers.beside_k;
                let rise = numbers.winding_k_per_w
                    * rises[l.course][l.step.min(rises[l.course].len() - 1)];
                1.0 + COPPER_PER_K * (around + rise - REFERENCE_C)
            })
            .collect()
    }

    /// Mean reading around a level, °C; the reference where there is none.
    fn around_c(&self, level: &Level) -> f64 {
        const STEPS: usize = 20;
        let steps = &self.lifts.courses[level.course].steps;
        let from = level.step.saturating_sub(STEPS).min(steps.len());
        let near = &steps[from..(level.step + STEPS).min(steps.len())];
        let (sum, n) = near
            .iter()
            .filter(|s| s.case_c.is_finite())
            .fold((0.0, 0.0), |(sum, n), s| (sum + s.case_c, n + 1.0));
        if n > 0.0 { sum / n } else { REFERENCE_C }
    }

    pub fn residuals(&self, p: &[f64], out: &mut [f64]) {
        let numbers = self.numbers(p);
        let factors = self.factors(&numbers);
        let levels = self.used.iter().zip(&self.sigma_w).zip(&factors);
        let mut at = 0;
        for ((level, sigma), factor) in levels {
            out[at] = (numbers.power_w(level, *factor) - level.power_w) / sigma;
            at += 1;
        }
        for value in &p[4..] {
            out[at] = value - Z;
            at += 1;
        }
        for (pinned, j) in [(self.pin_gear, 3), (self.pin_friction, 2)] {
            if pinned {
                out[at] = (p[j] - 1.0) * 1e6;
                at += 1;
            }
        }
    }

    /// d(power)/d(parameter) of a level that was not measured, copper as warm as at the middle of those that were.
    pub fn gradient(&self, p: &[f64], level: &Level, factor: f64) -> Vec<f64> {
        let step = |p: &[f64]| {
            let numbers = self.numbers(p);
            let beside = numbers.beside_k - self.beside().0;
            numbers.power_w(level, factor + COPPER_PER_K * beside)
        };
        let mut p = p.to_vec();
        (0..p.len())
            .map(|j| {
                let (at, h) = (p[j], 1e-4);
                p[j] = at + h;
                let above = step(&p);
                p[j] = at - h;
                let below = step(&p);
                p[j] = at;
                (above - below) / (2.0 * h)
            })
            .collect()
    }

    /// Sum of squares at a place, priors included.
    pub fn chi_squared(residuals: &[f64]) -> f64 {
        residuals.iter().map(|r| r * r).sum()
    }
}

/// First-order follower of a power, W: times K/W it is how much warmer the winding is than its case.
fn risen(power_w: &[f64], time_s: f64) -> Vec<f64> {
    let share = 1.0 - (-Course::STEP_S / time_s).exp();
    let mut now = 0.0;
    power_w
        .iter()
        .map(|w| {
            now += share * (w - now);
            now
        })
        .collect()
}

/// (JᵀJ + more)⁻¹ from (JᵀJ)⁻¹ and further rows; `None` where it cannot be.
pub(super) fn with_rows(inverse: &DMatrix<f64>, rows: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    // Woodbury: only a small matrix is inverted.
    let side = inverse * rows.transpose();
    let middle = (DMatrix::identity(rows.nrows(), rows.nrows()) + rows * &side).try_inverse()?;
    Some(inverse - &side * middle * side.transpose())
}
