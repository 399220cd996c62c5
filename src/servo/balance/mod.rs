//! The power balance of a servo fitted to lifts: four numbers with their covariance, how well they fit, what they are good for.

mod advice;
mod doubts;
mod model;
mod rows;

use nalgebra::DMatrix;

pub use advice::{Add, Advice};
pub use doubts::{Doubt, doubts, implied_stall_ncm};
pub use rows::Row;

use super::lifts::{Doing, Known, Level, Lifts};
use crate::analysis::stats::{nonlinear, robust, student};
use crate::analysis::{Interval, Quantity};
use crate::problem::Problem;
use model::{Design, Numbers};

/// The copper temperature that the winding loss is given for, °C.
pub const REFERENCE_C: f64 = 20.0;
/// The arm is level where the sensor says so, to within this, standard uncertainty, ° (assumed).
pub const LEVEL_U_DEG: f64 = 2.0;
/// A level this many of its uncertainties off the others' fit is something that happened, not the servo.
const OUT_OF_LINE: f64 = 6.0;
/// Lowering serves where the shaft's torque is at least this share of friction: nearer to zero the gear decides.
const LOWERING_SHARE: f64 = 0.25;
/// χ² per degree of freedom from which a fit is poor, beyond what chance does (three standard deviations of χ²), and from
/// which there is no calibration: levels stand five times further off than they scatter.
const POOR_DEVIATIONS: f64 = 3.0;
/// The scatter within strokes is itself known from a few strokes, and a filtered reading hides some of it: below this a fit
/// is not called poor, though its uncertainties are enlarged.
const POOR_FROM: f64 = 2.5;
const REFUSED: f64 = 25.0;
/// With a torque no better than this (95 %, in the middle of the range) there is no calibration.
const USELESS: f64 = 0.25;

/// What is known of the bench beside the recordings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Reading at which the arm is level, °.
    pub level_deg: Known,
    /// Torque of the arm by itself, level, N·m; `None`: a light arm that nobody weighed.
    pub own_nm: Option<Known>,
    /// The most torque that may be asked of the servo in a suggestion, N·m; `None`: twice what it lifted.
    pub most_nm: Option<f64>,
}

impl Default for Setting {
    fn default() -> Self {
        Self {
            level_deg: Known {
                value: 0.0,
                u: LEVEL_U_DEG,
            },
            own_nm: None,
            most_nm: None,
        }
    }
}

/// A servo's power balance as lifts show it.
#[derive(Debug, Clone)]
pub struct Balance {
    /// Idle W, winding W/(N·m)² at [`REFERENCE_C`], friction N·m, gear loss.
    pub values: [f64; 4],
    /// In that order, widened so that 1.96 standard uncertainties are 95 % for the degrees of freedom there were.
    pub covariance: [[f64; 4]; 4],
    /// Levels less the four numbers.
    pub df: f64,
    /// χ² per degree of freedom of the scatter within strokes. Above 1 the uncertainties were enlarged by its root.
    pub chi2_per_df: f64,
    pub rows: Vec<Row>,
    /// Torque lifted, N·m, and speed of the arm, rad/s: least and most.
    pub torque_nm: (f64, f64),
    pub speed_rad_s: (f64, f64),
    /// Mean voltage at the plug, V.
    pub supply_v: f64,
    /// Copper's warmest, °C, and its winding-to-case resistance, K/W, as the strokes show it.
    pub copper_c: f64,
    pub winding_k_per_w: Quantity,
    /// Strokes out of line with all others.
    pub out_of_line: usize,
    /// The mass that most of them were lifted with, kg.
    pub out_of_line_kg: Option<f64>,
    /// Lowering strokes that served, and that could not be observed.
    pub lowering: (usize, usize),
    pub advice: Option<Advice>,
}

impl Balance {
    pub fn u(&self, j: usize) -> f64 {
        self.covariance[j][j].sqrt()
    }

    /// One of the four with its 95 % interval.
    pub fn quantity(&self, j: usize) -> Quantity {
        Quantity {
            value: self.values[j],
            interval: student::interval(self.values[j], self.u(j), f64::INFINITY),
        }
    }

    pub fn correlation(&self, i: usize, j: usize) -> f64 {
        self.covariance[i][j] / (self.u(i) * self.u(j))
    }

    /// The levels stand further off the fit than their scatter explains.
    pub fn poor(&self) -> bool {
        self.chi2_per_df > (1.0 + POOR_DEVIATIONS * (2.0 / self.df).sqrt()).max(POOR_FROM)
    }

    /// Torque of a load lifted at a speed, from supply power with copper at the reference, N·m; `None` where the load drives
    /// the servo. The uncertainty is the calibration's alone.
    pub fn torque(&self, power_w: f64, speed_rad_s: f64) -> Option<Quantity> {
        let value = torque_of(&self.values, power_w, speed_rad_s)?;
        let u = self.torque_u(value, speed_rad_s);
        Some(Quantity {
            value,
            interval: Some(Interval {
                u,
                lo95: value - 1.959_964 * u,
                hi95: value + 1.959_964 * u,
            }),
        })
    }

    /// Standard uncertainty that the calibration leaves in a torque found from power, N·m.
    pub fn torque_u(&self, torque_nm: f64, speed_rad_s: f64) -> f64 {
        torque_u(&self.values, &self.covariance, torque_nm, speed_rad_s)
    }
}

/// Torque of a load, N·m, by the four numbers; `None` where the load drives the servo.
fn torque_of(values: &[f64; 4], power_w: f64, speed_rad_s: f64) -> Option<f64> {
    let [idle, winding, friction, gear] = *values;
    let over = power_w - idle;
    let root = (speed_rad_s * speed_rad_s + 4.0 * winding * over).max(0.0);
    let x = (root.sqrt() - speed_rad_s) / (2.0 * winding);
    (x > 0.0).then(|| (x - friction) / (1.0 + gear))
}

/// From the balance's derivatives at a given power: dτ/dq = −(∂P/∂q)/(∂P/∂τ).
fn torque_u(values: &[f64; 4], covariance: &[[f64; 4]; 4], torque: f64, speed: f64) -> f64 {
    let [_, winding, friction, gear] = *values;
    let x = (1.0 + gear) * torque + friction;
    let by_x = 2.0 * winding * x + speed;
    let by_torque = by_x * (1.0 + gear);
    let by = [1.0, x * x, by_x, by_x * torque].map(|d| d / by_torque);
    let mut variance = 0.0;
    for i in 0..4 {
        for j in 0..4 {
            variance += by[i] * by[j] * covariance[i][j];
        }
    }
    variance.max(0.0).sqrt()
}

/// Fits the balance.
///
/// # Errors
/// Too few loads or speeds to tell the numbers apart, a fit that does not settle, or one that stands off the levels.
pub fn fit(lifts: &Lifts, setting: Setting) -> Result<Balance, Problem> {
    enough(lifts)?;
    let start = first_guess(lifts, &setting);
    let mut design = Design::new(lifts, setting, observable(lifts, None), &start);
    let mut fitted = settle(&design, &design.start(&start))?;
    let mut out_of_line: Vec<Level> = Vec::new();
    for round in 0..3 {
        let numbers = design.numbers(&fitted.parameters);
        let mut used = observable(lifts, Some(&numbers));
        if round > 0 {
            out_of_line = take_out_of_line(&mut used, &design, &numbers);
        }
        design = Design::new(lifts, setting, used, &design.numbers(&fitted.parameters));
        fitted = settle(&design, &design.start(&numbers))?;
    }
    let df = design.used.len() as f64 - 4.0;
    if df < 4.0 {
        return Err(too_few(&format!(
            "{} levels are too few",
            design.used.len()
        )));
    }
    let chi2_per_df = Design::chi_squared(&fitted.residuals) / df;
    if chi2_per_df > 1.0 {
        let wider = chi2_per_df.sqrt();
        design.sigma_w.iter_mut().for_each(|s| *s *= wider);
        fitted = settle(&design, &fitted.parameters)?;
    }
    conclude(design, &fitted, (df, chi2_per_df), &out_of_line)
}

fn conclude(
    mut design: Design<'_>,
    fitted: &nonlinear::NonlinearFit,
    (df, chi2_per_df): (f64, f64),
    out_of_line: &[Level],
) -> Result<Balance, Problem> {
    let lifts = design.lifts;
    let Some(inverse) = fitted.jtj_inverse.clone() else {
        return Err(too_few("the levels do not tell the four numbers apart"));
    };
    let mut p = fitted.parameters.clone();
    let gear_u = covariance_of(&design, &inverse, df)[3][3].sqrt();
    let arms: Vec<f64> = lifts.arms_mm.iter().map(|a| a.value).collect();
    doubts::possible(design.numbers(&p).gear_loss, gear_u, &arms)?;
    // Losses are none or more: what is fitted below nothing is nothing, with the uncertainty that it has.
    design.pin_gear = p[3] < 1.0;
    design.pin_friction = p[2] < 1.0;
    if design.pin_gear || design.pin_friction {
        p = settle(&design, &p)?.parameters;
        p[2] = p[2].max(1.0);
        p[3] = p[3].max(1.0);
    }
    let numbers = design.numbers(&p);
    let values = [
        numbers.idle_w,
        numbers.winding,
        numbers.friction_nm,
        numbers.gear_loss,
    ];
    let covariance = covariance_of(&design, &inverse, df);
    let factors = design.factors(&numbers);
    let lifted = || design.used.iter().filter(|l| l.doing == Doing::Lifting);
    let torque_nm = ends(lifted().map(|l| numbers.torque_nm(l).max(0.0)));
    let speed_rad_s = ends(lifted().map(|l| l.speed_rad_s));
    let lowering = |all: &[Level]| all.iter().filter(|l| l.doing == Doing::Lowering).count();
    let seen = lowering(&design.used);
    let warmest = factors.iter().copied().fold(1.0, f64::max);
    let winding_u = 5.0 * inverse[(7, 7)].max(0.0).sqrt();
    let balance = Balance {
        values,
        covariance,
        df,
        chi2_per_df,
        rows: rows::of(&design, &numbers, &factors),
        torque_nm,
        speed_rad_s,
        supply_v: design.used.iter().map(|l| l.supply_v).sum::<f64>() / design.used.len() as f64,
        copper_c: REFERENCE_C + (warmest - 1.0) / 0.003_93,
        winding_k_per_w: Quantity {
            value: numbers.winding_k_per_w,
            interval: student::interval(numbers.winding_k_per_w, winding_u, f64::INFINITY),
        },
        out_of_line: out_of_line.len(),
        out_of_line_kg: most_of(out_of_line).map(|m| lifts.masses_kg[m].value),
        lowering: (seen, lowering(&lifts.levels) - seen),
        advice: advice::of(&design, &p, &inverse, &values),
    };
    judged(balance)
}

fn judged(balance: Balance) -> Result<Balance, Problem> {
    if balance.chi2_per_df > REFUSED {
        return Err(Problem::new(format!(
            "the levels stand {:.0} times further off the power balance than they scatter: no calibration is made of them",
            balance.chi2_per_df.sqrt()
        ))
        .hint("look for a mass or a length said wrongly, an arm that was not level, something that rubbed, or a servo that moves in jerks"));
    }
    let middle = 0.5 * (balance.torque_nm.0 + balance.torque_nm.1);
    let speed = balance.speed_rad_s.0;
    let share = 1.96 * balance.torque_u(middle, speed) / middle;
    if share.is_nan() || share > USELESS || balance.values[1] <= 0.0 || balance.values[0] < 0.0 {
        let add = balance.advice.as_ref().map_or(String::new(), |a| {
            format!("; of all additions {} would help most", a.words())
        });
        return Err(too_few(&format!(
            "torque from these levels would be no better than ±{:.0} %{add}",
            100.0 * share
        )));
    }
    Ok(balance)
}

fn too_few(what: &str) -> Problem {
    Problem::new(what.to_owned()).hint(
        "lift with the empty arm and at least two masses, the heaviest a fifth to a third of the stall torque, at two speeds or more \
         (30° and 90° a second), each three times",
    )
}

fn enough(lifts: &Lifts) -> Result<(), Problem> {
    let lifting = || lifts.levels.iter().filter(|l| l.doing == Doing::Lifting);
    let mut loads: Vec<(usize, usize)> = lifting().map(|l| (l.mass, l.arm)).collect();
    loads.sort_unstable();
    loads.dedup();
    let mass = |l: &(usize, usize)| lifts.masses_kg[l.0].value;
    let weights = loads.iter().filter(|l| mass(l) > 0.0).count();
    if weights < 1 || loads.len() < 3 {
        let named: Vec<String> = loads.iter().map(|l| words_of(mass(l))).collect();
        let heaviest = loads.iter().map(mass).fold(0.0, f64::max);
        let empty = loads.iter().any(|l| mass(l) == 0.0);
        let add = match (empty, heaviest > 0.0) {
            (false, _) => "the empty arm (# mass_kg=0)".to_owned(),
            (true, true) => {
                format!("a mass about half and one about twice as heavy as {heaviest} kg")
            }
            (true, false) => {
                "two masses, the heavier a fifth to a third of the stall torque".to_owned()
            }
        };
        return Err(Problem::new(format!(
            "only {} was lifted, and three different loads are the least that tell friction, gear loss and winding loss apart",
            named.join(" and ")
        ))
        .hint(format!(
            "lift {add} as well, each at two speeds or more (30° and 90° a second) three times up and down"
        )));
    }
    let (slow, fast) = ends(lifting().map(|l| l.speed_rad_s));
    if fast < 1.4 * slow {
        let now = fast.to_degrees();
        let add = if now > 60.0 { now / 3.0 } else { 3.0 * now };
        return Err(Problem::new(format!(
            "all was lifted at one speed ({now:.0}°/s): copper loss and mechanical power are not told apart"
        ))
        .hint(format!("lift the same weights at {:.0}° a second as well", (add / 10.0).round() * 10.0)));
    }
    Ok(())
}

fn words_of(mass_kg: f64) -> String {
    if mass_kg == 0.0 {
        "the empty arm".to_owned()
    } else {
        format!("{mass_kg} kg")
    }
}

fn settle(design: &Design<'_>, start: &[f64]) -> Result<nonlinear::NonlinearFit, Problem> {
    nonlinear::fit(
        nonlinear::by_differences(|p, out| design.residuals(p, out)),
        start,
        design.rows(),
    )
    .filter(|f| f.converged)
    .ok_or_else(|| too_few("the power balance could not be fitted to these levels"))
}

/// Rough numbers from which the search finds its way: idle from the rests, the rest as small servos have it.
fn first_guess(lifts: &Lifts, setting: &Setting) -> Numbers {
    let powers = |keep: &dyn Fn(&Level) -> bool| -> Option<f64> {
        let all: Vec<f64> = lifts
            .levels
            .iter()
            .filter(|l| keep(l))
            .map(|l| l.power_w)
            .collect();
        robust::median(&all)
    };
    let lowest = lifts
        .levels
        .iter()
        .map(|l| l.power_w)
        .fold(f64::INFINITY, f64::min);
    let idle_w = powers(&|l| l.doing == Doing::Resting)
        .unwrap_or(0.8 * lowest)
        .max(0.01);
    let mut numbers = Numbers {
        idle_w,
        winding: 1.0,
        friction_nm: 0.0,
        gear_loss: 0.15,
        own_nm: setting.own_nm.map_or(0.0, |o| o.value),
        level_deg: setting.level_deg.value,
        beside_k: 0.0,
        winding_k_per_w: 0.0,
        winding_s: 25.0,
        gear_helping: 0.0,
        masses_kg: lifts.masses_kg.iter().map(|m| m.value).collect(),
        arms_mm: lifts.arms_mm.iter().map(|a| a.value).collect(),
    };
    let heaviest = lifts
        .levels
        .iter()
        .filter(|l| l.doing == Doing::Lifting)
        .max_by(|a, b| numbers.torque_nm(a).total_cmp(&numbers.torque_nm(b)));
    if let Some(level) = heaviest {
        let torque = numbers.torque_nm(level);
        numbers.friction_nm = 0.1 * torque;
        let x = 1.25 * torque;
        let copper_w = level.power_w - idle_w - level.speed_rad_s * x;
        numbers.winding = (copper_w.max(0.2 * (level.power_w - idle_w)) / (x * x)).max(1e-3);
    }
    numbers
}

/// Levels of which supply power says something: what is lifted, rests, and lowering while the servo still drives.
fn observable(lifts: &Lifts, numbers: Option<&Numbers>) -> Vec<Level> {
    let rests: Vec<f64> = lifts
        .levels
        .iter()
        .filter(|l| l.doing == Doing::Resting)
        .map(|l| l.power_w)
        .collect();
    let rest_w = robust::median(&rests).unwrap_or(0.0);
    let serves = |l: &&Level| match l.doing {
        Doing::Lifting => true,
        // A servo that leans on its own friction at rest draws more than idle.
        Doing::Resting => l.power_w < rest_w + OUT_OF_LINE * (lifts.noise_w2_s / l.span_s).sqrt(),
        Doing::Lowering => match numbers {
            None => lifts.masses_kg[l.mass].value == 0.0,
            Some(n) => {
                let worst = n.friction_nm - (1.0 + n.gear_loss) * n.torque_nm(l);
                worst > LOWERING_SHARE * n.friction_nm
            }
        },
    };
    lifts.levels.iter().filter(serves).copied().collect()
}

/// The mass that comes most often.
fn most_of(levels: &[Level]) -> Option<usize> {
    let count = |mass: usize| levels.iter().filter(|l| l.mass == mass).count();
    levels.iter().map(|l| l.mass).max_by_key(|m| count(*m))
}

/// Takes those away that something happened to, and gives them back.
fn take_out_of_line(used: &mut Vec<Level>, design: &Design<'_>, numbers: &Numbers) -> Vec<Level> {
    let mut trial = design.clone();
    trial.used = used.clone();
    let factors = trial.factors(numbers);
    let off: Vec<f64> = used
        .iter()
        .zip(&factors)
        .map(|(l, f)| {
            (l.power_w - numbers.power_w(l, *f)) / (design.lifts.noise_w2_s / l.span_s).sqrt()
        })
        .collect();
    let spread = robust::mad_about(&off, 0.0).unwrap_or(1.0).max(1.0);
    let (kept, taken): (Vec<_>, Vec<_>) = used
        .iter()
        .zip(&off)
        .partition(|(_, o)| o.abs() <= OUT_OF_LINE * spread);
    let levels = |all: Vec<(&Level, &f64)>| all.into_iter().map(|(l, _)| *l).collect();
    let taken: Vec<Level> = levels(taken);
    *used = levels(kept);
    taken
}

fn covariance_of(design: &Design<'_>, inverse: &DMatrix<f64>, df: f64) -> [[f64; 4]; 4] {
    let wider = (student::t95(df) / student::t95(f64::INFINITY)).powi(2);
    std::array::from_fn(|i| {
        std::array::from_fn(|j| wider * inverse[(i, j)] * design.unit(i) * design.unit(j))
    })
}

fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, 0.0), |(lo, hi), v| (lo.min(v), v.max(hi)))
}
