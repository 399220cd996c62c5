//! The hinge's own torque as a sweep on the bench found it, at any deflection. Measures nothing.

use crate::analysis::{Curve, FitPoint};

/// So far beyond the ends of what was fitted the curve is still continued straight, °.
const BEYOND_DEG: f64 = 1.0;

/// Torque that the servo must give at the hinge, up positive, N·cm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Torque {
    pub moving_up_ncm: f64,
    pub moving_down_ncm: f64,
    /// Half width of the 95 % interval; `None` where the sweep gives none.
    pub half95_ncm: Option<f64>,
}

/// Both branches of a measured curve.
#[derive(Debug, Clone, Copy)]
pub struct Hinge<'a> {
    fit: &'a [FitPoint],
}

impl<'a> Hinge<'a> {
    /// `None` where the curve has no branches.
    pub fn of(curve: &'a Curve) -> Option<Self> {
        (curve.fit.len() >= 2).then_some(Self { fit: &curve.fit })
    }

    /// Lowest and highest deflection fitted, °.
    pub fn range_deg(&self) -> (f64, f64) {
        (
            self.fit[0].angle_deg,
            self.fit[self.fit.len() - 1].angle_deg,
        )
    }

    /// Whether the sweep says anything about this deflection.
    pub fn reaches(&self, deg: f64) -> bool {
        let (low, high) = self.range_deg();
        (low - BEYOND_DEG..=high + BEYOND_DEG).contains(&deg)
    }

    /// At a deflection; beyond what was fitted the last piece is continued straight.
    pub fn at(&self, deg: f64) -> Torque {
        let after = self.fit.partition_point(|p| p.angle_deg < deg);
        let after = after.clamp(1, self.fit.len() - 1);
        let (a, b) = (&self.fit[after - 1], &self.fit[after]);
        let width = b.angle_deg - a.angle_deg;
        let share = if width > 0.0 {
            (deg - a.angle_deg) / width
        } else {
            0.0
        };
        let between = |x: f64, y: f64| x + share * (y - x);
        let half = a.band_ncm.max(b.band_ncm);
        Torque {
            moving_up_ncm: between(a.up_ncm, b.up_ncm),
            moving_down_ncm: between(a.down_ncm, b.down_ncm),
            half95_ncm: (half.is_finite() && half > 0.0).then_some(half),
        }
    }
}
