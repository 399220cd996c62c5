//! What the push rod between servo and surface does: angle, advantage, differential and dead points along the throw, the
//! lengths that fit measured angles, and what other holes would do. Pure: no file, clock, port, printing or sentence in it.
//!
//! - [`FourBar`]: Freudenstein's equation, solved on the branch that neutral stands on.
//! - [`Setup`]: a linkage as well as it is known, for numbers with intervals; with other holes where asked.
//! - [`along`]: the table along the throw. [`fit`]: the lengths from a recording. [`holes`]: what to change. [`look`]: all of it.

pub mod along;
pub mod fit;
mod freudenstein;
pub mod holes;
pub mod look;
mod pairs;
mod setup;

pub use freudenstein::{DeadPoint, FourBar, InLine, Stand};
pub use setup::{ARM_ZERO_DEG, Known, Setup, TOLERANCE_MM};

use crate::aircraft::{Aircraft, Surface};
use crate::analysis::{Curve, Interval, Quantity};

/// The rod's line this near to arm's or horn's is near a dead point: force at the joints is then twice what does the work, and
/// play at the end grows as much. Degrees (common practice, no source).
pub const NEAR_DEG: f64 = 30.0;

/// The servo's way from neutral, degrees of its arm, both positive numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Travel {
    pub up_deg: f64,
    pub down_deg: f64,
}

impl Travel {
    /// The pulse that is taken for neutral, µs (common practice, no source).
    const NEUTRAL_US: f64 = 1500.0;

    /// From the pulses that the rig stays within and the servo's angle a µs, where the file has that.
    pub fn of_pulses(aircraft: &Aircraft, surface: &Surface) -> Option<Self> {
        let kind = &aircraft.servo_types[aircraft.servos[surface.servo_index].type_index];
        let scale = kind.arm_deg_per_us?;
        let points = aircraft.trip_points(surface);
        // Which way a longer pulse turns is not known here: the shorter way holds for both.
        let way =
            (points.pulse_hi_us - Self::NEUTRAL_US).min(Self::NEUTRAL_US - points.pulse_lo_us);
        let deg = scale * way.max(0.0);
        Some(Self {
            up_deg: deg,
            down_deg: deg,
        })
    }
}

/// The asked throws furthest from neutral, degrees of the surface: up positive, down negative; 0 where none is asked.
pub fn asked(surface: &Surface) -> (f64, f64) {
    let signed = surface.throws.iter().map(|t| t.side.sign() * t.asked_deg);
    signed.fold((0.0, 0.0), |(up, down), deg| (deg.max(up), deg.min(down)))
}

/// Torque at the hinge against deflection, as one recording showed it: the harder of the two directions.
#[derive(Debug, Clone, PartialEq)]
pub struct HingeTorque {
    /// Deflection °, torque N·cm, half width of its 95 % band; ascending, at least two.
    at: Vec<(f64, f64, f64)>,
}

impl HingeTorque {
    pub fn of(curve: &Curve) -> Option<Self> {
        let harder = |p: &crate::analysis::FitPoint| p.up_ncm.abs().max(p.down_ncm.abs());
        let at: Vec<_> = curve
            .fit
            .iter()
            .map(|p| (p.angle_deg, harder(p), p.band_ncm))
            .filter(|p| p.0.is_finite() && p.1.is_finite())
            .collect();
        (at.len() >= 2).then_some(Self { at })
    }

    /// The stretch that was measured, °.
    pub fn measured_deg(&self) -> (f64, f64) {
        (self.at[0].0, self.at[self.at.len() - 1].0)
    }

    /// Magnitude at a deflection, N·cm; beyond what was measured in a straight line.
    pub fn ncm(&self, surface_deg: f64) -> f64 {
        let (left, right, share) = self.place(surface_deg);
        (left.1 + share * (right.1 - left.1)).max(0.0)
    }

    /// With the curve's own interval.
    pub fn quantity(&self, surface_deg: f64) -> Quantity {
        let (left, right, share) = self.place(surface_deg);
        let value = self.ncm(surface_deg);
        let band = left.2 + share.clamp(0.0, 1.0) * (right.2 - left.2);
        let interval = band.is_finite().then(|| Interval {
            // The band is Student's at the curve's degrees of freedom; as an uncertainty a normal one's is taken.
            u: band / setup::LIMIT_95,
            lo95: value - band,
            hi95: value + band,
        });
        Quantity { value, interval }
    }

    fn place(&self, deg: f64) -> ((f64, f64, f64), (f64, f64, f64), f64) {
        let last = self.at.len() - 2;
        let right = self.at.partition_point(|p| p.0 < deg);
        let k = right.saturating_sub(1).min(last);
        let (left, right) = (self.at[k], self.at[k + 1]);
        let wide = (right.0 - left.0).max(1e-9);
        (left, right, (deg - left.0) / wide)
    }
}

#[cfg(test)]
mod tests;
