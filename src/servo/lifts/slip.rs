//! An arm that gave way: it stands elsewhere at the same pulse, within one spell.

use super::sight::STEADY;
use crate::analysis::stats::robust;

/// An arm that stands this much elsewhere at the same pulse has slipped, °: a servo's own give and dead band are below it.
pub(super) const SLIPPED_DEG: f64 = 1.5;

/// Where the arm stood at which pulse in a steady stroke: means over it, and degrees a µs within it.
pub(super) struct Place {
    pub way: f64,
    pub speed_deg_s: f64,
    pub pulse_us: f64,
    pub arm_deg: f64,
    pub deg_per_us: f64,
}

/// The most that strokes alike of one spell stand apart at the same pulse, °.
pub(super) fn deg(places: &[Place]) -> f64 {
    let slopes: Vec<f64> = places.iter().map(|p| p.deg_per_us).collect();
    let Some(slope) = robust::median(&slopes) else {
        return 0.0;
    };
    let stands = |p: &Place| p.arm_deg - slope * p.pulse_us;
    let mut most = 0.0_f64;
    for (n, one) in places.iter().enumerate() {
        for other in &places[..n] {
            let alike =
                one.way == other.way && (one.speed_deg_s / other.speed_deg_s - 1.0).abs() < STEADY;
            if alike {
                most = most.max((stands(one) - stands(other)).abs());
            }
        }
    }
    most
}
