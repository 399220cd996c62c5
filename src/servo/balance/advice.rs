//! What to add to a calibration so that its numbers come apart: the one of a short list that shrinks the volume of the joint
//! uncertainty of winding loss, friction and gear loss most (D-optimality; V. V. Fedorov, Theory of Optimal Experiments, 1972).

use nalgebra::{DMatrix, Matrix3};

use super::model::{Design, with_rows};
use crate::servo::lifts::{Doing, Level};

/// Masses that are at hand at a bench, kg (a litre of water is one).
const MASSES_KG: [f64; 12] = [0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 5.0];
/// A mass this near to one that was lifted tells nothing new, share.
const ALIKE: f64 = 0.15;
/// A mass is weighed as well as this, share (assumed).
const MASS_U: f64 = 0.005;
/// A number known worse than this (95 % half width over value) is worth an addition.
const WEAK: f64 = 0.15;

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Add {
    /// kg, at the arm, mm.
    Mass {
        kg: f64,
        arm_mm: f64,
    },
    /// All masses lifted at this speed of the arm as well, °/s.
    Speed {
        deg_s: f64,
    },
    EmptyArm,
}

/// The addition that helps most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Advice {
    pub add: Add,
    /// 95 % half widths of winding loss, friction and gear loss as shares of them (of gear loss itself), now and with it; infinite
    /// where the number is nothing.
    pub now: [f64; 3],
    pub then: [f64; 3],
    /// The same in the numbers' own units: W/(N·m)², N·m, and a share of the load.
    pub now_half: [f64; 3],
    pub then_half: [f64; 3],
}

impl Advice {
    pub fn words(&self) -> String {
        match self.add {
            Add::Mass { kg, arm_mm } => format!("a mass of {kg} kg at {arm_mm} mm"),
            Add::Speed { deg_s } => format!("lifting at {deg_s:.0}°/s as well"),
            Add::EmptyArm => "the empty arm moved up and down".to_owned(),
        }
    }
}

/// `None` where every number is known well enough, or nothing on the list helps.
pub(super) fn of(
    design: &Design<'_>,
    p: &[f64],
    inverse: &DMatrix<f64>,
    values: &[f64; 4],
) -> Option<Advice> {
    let now_half = half_widths(design, inverse);
    let now = shares(&now_half, values);
    if now.iter().all(|w| *w < WEAK) {
        return None;
    }
    let numbers = design.numbers(p);
    let factors = design.factors(&numbers);
    let factor = factors.iter().sum::<f64>() / factors.len() as f64;
    let (_, best, add) = candidates(design, p)
        .into_iter()
        .filter_map(|(add, levels)| {
            let after = with_rows(inverse, &rows(design, p, &levels, factor))?;
            Some((volume(&after), after, add))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    let then_half = half_widths(design, &best);
    let then = shares(&then_half, values);
    let gains = now.iter().zip(&then).any(|(a, b)| *b < 0.85 * a);
    gains.then_some(Advice {
        add,
        now,
        then,
        now_half,
        then_half,
    })
}

fn half_widths(design: &Design<'_>, inverse: &DMatrix<f64>) -> [f64; 3] {
    std::array::from_fn(|k| 1.96 * inverse[(k + 1, k + 1)].max(0.0).sqrt() * design.unit(k + 1))
}

fn shares(half: &[f64; 3], values: &[f64; 4]) -> [f64; 3] {
    std::array::from_fn(|k| match values[k + 1].abs() {
        // What is held at nothing.
        value if value < 1e-9 => f64::INFINITY,
        value => half[k] / value,
    })
}

fn volume(inverse: &DMatrix<f64>) -> f64 {
    Matrix3::from_fn(|i, j| inverse[(i + 1, j + 1)]).determinant()
}

/// Each level with the relative uncertainty of a mass that is new with it.
fn rows(design: &Design<'_>, p: &[f64], levels: &[(Level, f64)], factor: f64) -> DMatrix<f64> {
    let spans = design.used.iter().map(|l| l.span_s);
    let span_s = spans.clone().sum::<f64>() / design.used.len() as f64;
    let noise = design.sigma_w[0] * design.used[0].span_s.sqrt();
    let numbers = design.numbers(p);
    let mut all = DMatrix::zeros(levels.len(), p.len());
    for (i, (level, mass_u)) in levels.iter().enumerate() {
        // Speeds higher than those lifted make shorter strokes of the same way.
        let span_s = if level.speed_rad_s > 0.0 {
            span_s.min(0.5 / level.speed_rad_s)
        } else {
            span_s
        };
        let mut sigma = noise / span_s.sqrt() / 3.0_f64.sqrt();
        let x = numbers.x_nm(level).max(0.0);
        let slope = (2.0 * numbers.winding * factor * x + level.speed_rad_s)
            * (1.0 + numbers.gear_loss)
            * numbers.torque_nm(level);
        // The new mass's own error is not one of the parameters: it is taken into the scatter.
        sigma = sigma.hypot(slope * mass_u);
        let gradient = design.gradient(p, level, factor);
        for (j, g) in gradient.iter().enumerate() {
            all[(i, j)] = g / sigma;
        }
    }
    all
}

type Candidate = (Add, Vec<(Level, f64)>);

fn candidates(design: &Design<'_>, p: &[f64]) -> Vec<Candidate> {
    let numbers = design.numbers(p);
    let lifting: Vec<&Level> = design
        .used
        .iter()
        .filter(|l| l.doing == Doing::Lifting)
        .collect();
    let Some(heaviest) = lifting
        .iter()
        .max_by(|a, b| numbers.torque_nm(a).total_cmp(&numbers.torque_nm(b)))
    else {
        return Vec::new();
    };
    let most_nm = design
        .setting
        .most_nm
        .unwrap_or(2.0 * numbers.torque_nm(heaviest));
    let speeds = lifting.iter().map(|l| l.speed_rad_s);
    let (slow, fast) = super::ends(speeds);
    let at = |mass: usize, speed_rad_s: f64, doing| Level {
        mass,
        arm: heaviest.arm,
        speed_rad_s,
        doing,
        cos: 0.97,
        sin: 0.0,
        ..**heaviest
    };
    let masses = &design.lifts.masses_kg;
    let arm_mm = design.lifts.arms_mm[heaviest.arm].value;
    let mut all: Vec<Candidate> = Vec::new();
    for kg in MASSES_KG {
        let torque = numbers.torque_nm(heaviest) * kg / masses[heaviest.mass].value;
        if torque > most_nm || masses.iter().any(|m| (m.value / kg - 1.0).abs() < ALIKE) {
            continue;
        }
        // A level of the heaviest mass on an arm that gives the new one's torque.
        let share = kg / masses[heaviest.mass].value;
        let scaled = |speed| {
            let mut level = at(heaviest.mass, speed, Doing::Lifting);
            level.cos *= share;
            (level, MASS_U)
        };
        all.push((Add::Mass { kg, arm_mm }, vec![scaled(slow), scaled(fast)]));
    }
    let deg_s = (2.0 * fast.to_degrees() / 10.0).round() * 10.0;
    if deg_s <= 240.0 {
        let faster = (0..masses.len()).map(|m| (at(m, deg_s.to_radians(), Doing::Lifting), 0.0));
        all.push((Add::Speed { deg_s }, faster.collect()));
    }
    if !masses.iter().any(|m| m.value == 0.0) {
        let mut empty = at(heaviest.mass, slow, Doing::Lifting);
        (empty.cos, empty.sin) = (0.0, 0.0);
        let fast_one = Level {
            speed_rad_s: fast,
            ..empty
        };
        let rest = Level {
            doing: Doing::Resting,
            speed_rad_s: 0.0,
            ..empty
        };
        all.push((
            Add::EmptyArm,
            vec![(empty, 0.0), (fast_one, 0.0), (rest, 0.0)],
        ));
    }
    all
}
