//! Which of two servos that fight pushes up, and what their middles stand apart by. Decides nothing else.

use nalgebra::DMatrix;

use super::holds::{Hold, Mean};
use super::{At, Trim, quantity};
use crate::aircraft::{Aircraft, Surface};
use crate::analysis::Quantity;
use crate::analysis::stats::regression::weighted_least_squares;
use crate::analysis::stats::student;

/// Away from neutral at least so far, degrees, for a load whose sign is known.
const LEAST_TRAVEL_DEG: f64 = 4.0;
/// Holds within this of neutral say how angle goes with pulse there, degrees.
const AROUND_DEG: f64 = 15.0;

/// By the slope of the currents' difference over the angle; the square of the angle takes what two unlike servos differ by
/// under a load that both share, and the way it was come from what friction does.
pub(super) fn which(holds: &[Hold]) -> Trim {
    let angle = |h: &Hold| h.angle_deg;
    let way = |h: &Hold| if h.from_above { 1.0 } else { -1.0 };
    let difference: Vec<f64> = holds
        .iter()
        .map(|h| h.currents_ma[0] - h.currents_ma[1])
        .collect();
    let (low, high) = holds
        .iter()
        .map(angle)
        .fold((0.0, 0.0), |(l, h), a| (f64::min(l, a), f64::max(h, a)));
    if high - low < LEAST_TRAVEL_DEG {
        return Trim::CannotTell;
    }
    let rows: Vec<[f64; 4]> = holds
        .iter()
        .map(|h| [angle(h), 1.0, way(h), (angle(h) / (high - low)).powi(2)])
        .collect();
    let slope = |columns: usize| -> Option<Quantity> {
        let design = DMatrix::from_fn(rows.len(), columns, |i, j| rows[i][j]);
        let fit = weighted_least_squares(&design, &difference, None)?;
        Some(quantity(Mean {
            value: fit.coefficients[0],
            u: fit.residual_sd? * fit.unscaled_covariance[(0, 0)].sqrt(),
            df: fit.degrees_of_freedom as f64,
        }))
    };
    let interval = [4, 3, 2]
        .into_iter()
        .find_map(slope)
        .and_then(|q| q.interval);
    match interval {
        Some(i) if i.lo95 > 0.0 => Trim::FirstPushes { up: true },
        Some(i) if i.hi95 < 0.0 => Trim::FirstPushes { up: false },
        _ => Trim::CannotTell,
    }
}

/// 4·τ/r, τ the torque about the hinge line that each fights with, r degrees of the surface for a µs: see [`super::Share::apart_us`].
pub(super) fn apart(
    at: &At,
    holds: &[Hold],
    aircraft: &Aircraft,
    surface: &Surface,
) -> Option<Quantity> {
    let [first, second] = at.torque_ncm?;
    let fought_ncm = 0.5 * (first.value + second.value);
    let u = 0.5 * first.interval?.u.hypot(second.interval?.u);
    let surface_deg_per_us = surface_per_us(holds)?.abs();
    let kind = &aircraft.servo_types[aircraft.servos[surface.servo_index].type_index];
    let arm_deg_per_us = kind.arm_deg_per_us?.abs();
    // The work is the same at the arm and at the hinge line.
    let at_hinge = arm_deg_per_us / surface_deg_per_us;
    let value = 4.0 * fought_ncm * at_hinge / surface_deg_per_us;
    let (u, df) = student::combine(&[(value * u / fought_ncm, f64::INFINITY)]);
    (fought_ncm > 0.0).then(|| quantity(Mean { value, u, df }))
}

/// Degrees of the surface for a µs of pulse, from the holds around neutral.
fn surface_per_us(holds: &[Hold]) -> Option<f64> {
    let near: Vec<&Hold> = holds
        .iter()
        .filter(|h| h.angle_deg.abs() < AROUND_DEG)
        .collect();
    let middle_us = near.first()?.pulse_us;
    let design = DMatrix::from_fn(near.len(), 2, |i, j| match j {
        0 => near[i].pulse_us - middle_us,
        _ => 1.0,
    });
    let angles: Vec<f64> = near.iter().map(|h| h.angle_deg).collect();
    let fit = weighted_least_squares(&design, &angles, None)?;
    Some(fit.coefficients[0]).filter(|r| r.is_finite() && *r != 0.0)
}
