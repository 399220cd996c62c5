//! The Cramér–Rao bound of a simulated case: how well anyone could know the surface from such readings
//! (e.g. S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, Prentice Hall 1993, chapter 3; with
//! prior knowledge of nuisance numbers, H. L. Van Trees, Detection, Estimation, and Modulation Theory I, Wiley 1968, 2.4.3).
//!
//! Written from the contract's law and power balance, not from the analysis. The readings are an ideal sweep's: steady from
//! end to end. Their noise is first-order autoregressive; friction and neutral torque differ from stroke to stroke. From
//! supply power the servo's numbers are known as well as its calibration tells, and what the analysis is not told (gear
//! loss while the load helps, lag between current and angle) is unknown here too, as far as it holds it for possible.

use hingewright::simulated::{Bump, Scenario, TightSpot, Truth, When};
use nalgebra::{DMatrix, DVector};

use super::study::Source;

/// Standard deviations that no unbiased estimate can beat.
#[derive(Debug, Clone, Copy, Default)]
pub struct Bound {
    /// Relative.
    pub stiffness: f64,
    /// Relative.
    pub friction: f64,
    pub knee_deg: f64,
    pub spot_deg: f64,
}

/// Numbers in this order: τ0, k, F, extra slope, knee, height, centre, width, idle, winding, servo friction, gear loss,
/// gear loss while helped, lag.
const COUNT: usize = 14;
const SWEEP_END_DEG: f64 = 25.5;
const RATIO: f64 = 18.0 / 22.0;

pub fn bound(source: Source, scenario: &Scenario, truth: &Truth) -> Bound {
    let rate_hz = scenario.rate_hz;
    let (sd, correlation_s) = match source {
        Source::Torque => (
            scenario.sensors.torque_noise_ncm,
            scenario.sensors.torque_noise_s,
        ),
        Source::Power => (
            7.4e-3 * scenario.sensors.current_noise_ma,
            scenario.sensors.current_noise_s,
        ),
    };
    let keep = (-1.0 / (rate_hz * correlation_s)).exp();
    let innovation = sd * (1.0 - keep * keep).sqrt();
    let numbers = numbers(truth);
    let mut information = DMatrix::zeros(COUNT, COUNT);
    for up in [true, false] {
        let stroke = stroke_information(source, scenario, truth, &numbers, up, keep, innovation);
        information += stroke * 10.0;
    }
    let free = free(source, truth, &mut information);
    let sub = DMatrix::from_fn(free.len(), free.len(), |i, j| {
        information[(free[i], free[j])]
    });
    let Some(covariance) = sub.try_inverse() else {
        return Bound::default();
    };
    let sd_of = |number: usize| {
        free.iter()
            .position(|f| *f == number)
            .map_or(0.0, |i| covariance[(i, i)].max(0.0).sqrt())
    };
    Bound {
        stiffness: sd_of(1) / truth.stiffness_ncm_per_deg,
        friction: sd_of(2) / truth.friction_ncm,
        knee_deg: sd_of(4),
        spot_deg: sd_of(6),
    }
}

fn numbers(truth: &Truth) -> [f64; COUNT] {
    let (at, beyond) = truth
        .knee_up
        .or(truth.knee_down)
        .map_or((0.0, truth.stiffness_ncm_per_deg), |k| {
            (k.at_deg, k.stiffness_beyond_ncm_per_deg)
        });
    let spot = truth.tight_spots.first();
    let c = &truth.calibration;
    [
        truth.neutral_torque_ncm,
        truth.stiffness_ncm_per_deg,
        truth.friction_ncm,
        beyond - truth.stiffness_ncm_per_deg,
        at,
        spot.map_or(0.0, |s| s.height_ncm),
        spot.map_or(0.0, |s| s.at_deg),
        spot.map_or(1.0, |s| s.width_deg),
        c.idle_w,
        c.winding_w_per_nm2,
        c.friction_nm,
        c.gear_loss,
        -c.gear_loss,
        0.0,
    ]
}

/// Which numbers are unknown; what is known beforehand is added to the information.
fn free(source: Source, truth: &Truth, information: &mut DMatrix<f64>) -> Vec<usize> {
    let mut free = vec![0, 1, 2];
    if truth.knee_up.or(truth.knee_down).is_some() {
        free.extend([3, 4]);
    }
    if !truth.tight_spots.is_empty() {
        free.extend([5, 6, 7]);
    }
    if source == Source::Power {
        let c = &truth.calibration;
        let known = [
            0.01 * c.idle_w,
            0.02 * c.winding_w_per_nm2,
            0.02 * c.friction_nm,
            0.03 * c.gear_loss,
            c.gear_loss,
            0.010,
        ];
        for (i, sd) in known.into_iter().enumerate() {
            information[(8 + i, 8 + i)] += 1.0 / (sd * sd);
            free.push(8 + i);
        }
    }
    free
}

fn stroke_information(
    source: Source,
    scenario: &Scenario,
    truth: &Truth,
    numbers: &[f64; COUNT],
    up: bool,
    keep: f64,
    innovation: f64,
) -> DMatrix<f64> {
    let speed = truth.sweep_rate_deg_per_s;
    let samples = (2.0 * SWEEP_END_DEG / speed * scenario.rate_hz) as usize;
    let mut jacobian = DMatrix::zeros(samples, COUNT);
    for i in 0..samples {
        let travelled = speed * i as f64 / scenario.rate_hz;
        let angle = if up {
            travelled - SWEEP_END_DEG
        } else {
            SWEEP_END_DEG - travelled
        };
        for n in 0..COUNT {
            let step = 1e-5 * numbers[n].abs().max(0.01);
            let reading = |by: f64| {
                let mut shifted = *numbers;
                shifted[n] += by;
                reading(source, truth, &shifted, angle, up, speed)
            };
            jacobian[(i, n)] = (reading(step) - reading(-step)) / (2.0 * step);
        }
    }
    // Neighbours are correlated: what is new in each reading.
    let mut fresh = jacobian.clone();
    for i in 1..samples {
        for n in 0..COUNT {
            fresh[(i, n)] = (jacobian[(i, n)] - keep * jacobian[(i - 1, n)]) / innovation;
        }
    }
    for n in 0..COUNT {
        fresh[(0, n)] = jacobian[(0, n)] * (1.0 - keep * keep).sqrt() / innovation;
    }
    // Friction and neutral torque of this one stroke.
    let variation = &scenario.plant.variation;
    let mut own = DMatrix::zeros(samples, 2);
    own.set_column(
        0,
        &(fresh.column(2) * (variation.friction_share * truth.friction_ncm)),
    );
    own.set_column(1, &(fresh.column(0) * variation.neutral_ncm));
    let middle = DMatrix::identity(2, 2) + own.tr_mul(&own);
    let across = own.tr_mul(&fresh);
    let Some(inverse) = middle.try_inverse() else {
        return fresh.tr_mul(&fresh);
    };
    fresh.tr_mul(&fresh) - across.transpose() * inverse * across
}

/// The expected reading at an angle: torque in N·cm or power in W.
fn reading(
    source: Source,
    truth: &Truth,
    n: &[f64; COUNT],
    angle: f64,
    up: bool,
    speed: f64,
) -> f64 {
    let sign = if up { 1.0 } else { -1.0 };
    let angle = angle - sign * speed * n[13];
    let mut torque = n[0] + n[1] * angle + sign * n[2];
    let beyond = angle - n[4];
    if (truth.knee_up.is_some() && beyond > 0.0) || (truth.knee_down.is_some() && beyond < 0.0) {
        torque += n[3] * beyond;
    }
    if let Some(spot) = truth.tight_spots.first() {
        torque += sign * rise(spot, n, angle, up);
    }
    if source == Source::Torque {
        return torque;
    }
    let load_nm = 0.01 * sign * torque * RATIO;
    let gear = if load_nm > 0.0 { n[11] } else { n[12] };
    let shaft = ((1.0 + gear) * load_nm + n[10]).max(0.0);
    n[8] + n[9] * shaft * shaft + (speed / RATIO).to_radians() * shaft
}

fn rise(spot: &TightSpot, n: &[f64; COUNT], angle: f64, up: bool) -> f64 {
    let acts = match spot.when {
        When::Up => up,
        When::Down => !up,
        When::Both => true,
    };
    let x = (angle - n[6]) / n[7];
    match spot.bump {
        _ if !acts => 0.0,
        Bump::RaisedCosine if x.abs() >= 1.0 => 0.0,
        Bump::RaisedCosine => 0.5 * n[5] * (1.0 + (std::f64::consts::PI * x).cos()),
        Bump::Gaussian => n[5] * (-0.5 * x * x).exp(),
    }
}

/// Root mean square of bounds over recordings.
pub fn rms(bounds: &[f64]) -> f64 {
    DVector::from_column_slice(bounds).norm() / (bounds.len().max(1) as f64).sqrt()
}
