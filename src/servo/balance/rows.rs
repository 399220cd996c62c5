//! The levels of one load, one way and one speed together, beside what the fit makes of them.

use super::model::{Design, Numbers};
use crate::servo::lifts::Doing;

/// Speeds within this share of each other are one.
const ONE_SPEED: f64 = 0.15;

/// Strokes alike, taken together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    pub mass_kg: f64,
    pub arm_mm: f64,
    pub doing: Doing,
    pub speed_rad_s: f64,
    pub strokes: usize,
    pub power_w: f64,
    pub fitted_w: f64,
    /// What the fit says with copper at the reference temperature, W.
    pub reference_w: f64,
    /// How far strokes alike stand off each other, in what a stroke's own scatter makes of it; 0 for a single one.
    pub scatter: f64,
    /// Standard uncertainty of the measured power, W.
    pub u_w: f64,
    /// Mean torque of the load, N·m.
    pub torque_nm: f64,
    mass: usize,
    arm: usize,
    /// Σ of weighted residuals and of their squares.
    sums: (f64, f64),
}

impl Row {
    /// How far the measured power stands off the fit, in its own standard uncertainties.
    pub fn off(&self) -> f64 {
        (self.power_w - self.fitted_w) / self.u_w
    }
}

impl Row {
    fn told(mut self) -> Self {
        let n = self.strokes as f64;
        if n > 1.0 {
            let (sum, squares) = self.sums;
            self.scatter = ((squares - sum * sum / n).max(0.0) / (n - 1.0)).sqrt();
        }
        self
    }
}

pub(super) fn of(design: &Design<'_>, numbers: &Numbers, factors: &[f64]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for ((level, sigma), factor) in design.used.iter().zip(&design.sigma_w).zip(factors) {
        let fitted_w = numbers.power_w(level, *factor);
        let reference_w = numbers.power_w(level, 1.0);
        let off = (level.power_w - fitted_w) / sigma;
        let known = rows.iter_mut().find(|r| {
            (r.mass, r.arm, r.doing) == (level.mass, level.arm, level.doing)
                && (r.speed_rad_s - level.speed_rad_s).abs() <= ONE_SPEED * r.speed_rad_s
        });
        match known {
            Some(row) => {
                let n = row.strokes as f64;
                let on = |mean: &mut f64, value: f64| *mean += (value - *mean) / (n + 1.0);
                on(&mut row.speed_rad_s, level.speed_rad_s);
                on(&mut row.power_w, level.power_w);
                on(&mut row.fitted_w, fitted_w);
                on(&mut row.reference_w, reference_w);
                row.sums = (row.sums.0 + off, row.sums.1 + off * off);
                on(&mut row.torque_nm, numbers.torque_nm(level));
                row.u_w = ((row.u_w * n).powi(2) + sigma * sigma).sqrt() / (n + 1.0);
                row.strokes += 1;
            }
            None => rows.push(Row {
                mass_kg: design.lifts.masses_kg[level.mass].value,
                arm_mm: design.lifts.arms_mm[level.arm].value,
                doing: level.doing,
                speed_rad_s: level.speed_rad_s,
                strokes: 1,
                power_w: level.power_w,
                fitted_w,
                reference_w,
                scatter: 0.0,
                sums: (off, off * off),
                u_w: *sigma,
                torque_nm: numbers.torque_nm(level),
                mass: level.mass,
                arm: level.arm,
            }),
        }
    }
    let order = |r: &Row| match r.doing {
        Doing::Resting => 0,
        Doing::Lifting => 1,
        Doing::Lowering => 2,
    };
    let mut rows: Vec<Row> = rows.into_iter().map(Row::told).collect();
    rows.sort_by(|a, b| {
        (a.mass_kg * a.arm_mm)
            .total_cmp(&(b.mass_kg * b.arm_mm))
            .then(order(a).cmp(&order(b)))
            .then(a.speed_rad_s.total_cmp(&b.speed_rad_s))
    });
    rows
}
