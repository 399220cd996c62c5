//! The angle sensor: its calibration fitted to known angles ([`line`](fn@line)), found in recordings ([`holds`](fn@holds)), and
//! applied to others, once and said ([`calibrated`]). No file, no sentence for a screen but the recording's own note.

mod holds;
mod line;

pub use holds::{
    AT_DEG, AT_MM, Bench, CHORD_U_MM, HOLD_S, Hold, KNOWN_U_DEG, RULER_U_MM, Why, holds, still,
    whole,
};
pub use line::{Departure, Line, Point, line};

use crate::aircraft::Surface;
use crate::recording::{Channel, Recording, purpose};

/// `#` keys of what a calibration leaves open, as they may stand in a recording: relative standard uncertainty of the scale,
/// per cent; standard uncertainty of zero, degrees of deflection; how both go together.
pub const SCALE_PERCENT: &str = "angle_scale_percent";
pub const ZERO_U: &str = "angle_zero_u_deg";
pub const TOGETHER: &str = "angle_scale_zero_correlation";
/// A servo that lies alone, with the angle sensor on its arm (see the room `servo`).
const ALONE: &str = "alone";
/// The key that says that angles are calibrated ones: nothing is applied twice.
pub const APPLIED: &str = "angle_calibration";

/// Turns the angles of a recording into those of the surface's own calibration, if it has one, and notes it. A recording that
/// has been through it, or whose angle sensor sat on a servo's arm, stays as it is.
pub fn calibrated(mut recording: Recording, surface: &Surface) -> Recording {
    let on_an_arm = matches!(
        recording.key("purpose"),
        Some(purpose::CALIBRATION | purpose::RODS_OFF)
    ) || recording.key(ALONE).is_some();
    let Some(c) = surface.angle else {
        return recording;
    };
    if on_an_arm || recording.key(APPLIED).is_some() || !recording.has(Channel::AngleDeg) {
        return recording;
    }
    for column in recording
        .segments
        .iter_mut()
        .filter_map(|s| s.column_mut(Channel::AngleDeg))
    {
        column
            .iter_mut()
            .for_each(|v| *v = c.scale * (*v - c.zero_deg));
    }
    let [[scale, both], [_, zero]] = c.covariance;
    let (scale_u, zero_u) = (scale.sqrt() / c.scale.abs(), c.scale.abs() * zero.sqrt());
    let together = if both == 0.0 {
        0.0
    } else {
        both / (scale * zero).sqrt()
    };
    let of = c.made.map_or(String::new(), |day| format!(" of {day}"));
    recording.notes.push(format!(
        "Angles are those read, less {} degrees, times {}: the angle sensor's calibration{of} in aircraft.toml. The recording itself is as it came.",
        c.zero_deg, c.scale
    ));
    for (key, value) in [
        (SCALE_PERCENT, (100.0 * scale_u).to_string()),
        (ZERO_U, zero_u.to_string()),
        (TOGETHER, together.to_string()),
        (APPLIED, format!("{} * (reading - {})", c.scale, c.zero_deg)),
    ] {
        recording.keys.push((key.into(), value));
    }
    recording
}

/// What the sensor's calibration leaves open of every angle alike.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct AngleU {
    scale: f64,
    zero_deg: f64,
    together: f64,
}

impl AngleU {
    pub fn of(recording: &Recording) -> Self {
        let number = |key| -> f64 {
            let given: Option<f64> = recording.key(key).and_then(|v| v.trim().parse().ok());
            given.filter(|v| v.is_finite()).unwrap_or(0.0)
        };
        Self {
            scale: 0.01 * number(SCALE_PERCENT).max(0.0),
            zero_deg: number(ZERO_U).max(0.0),
            together: number(TOGETHER).clamp(-1.0, 1.0),
        }
    }

    /// Relative standard uncertainty of the scale.
    pub fn scale(self) -> f64 {
        self.scale
    }

    /// Standard uncertainty of a deflection, °: of s·(r − z) by the GUM's law of propagation (JCGM 100:2008, equation 13).
    pub fn at(self, deg: f64) -> f64 {
        let (by_scale, by_zero) = (deg * self.scale, -self.zero_deg);
        (by_scale * by_scale + by_zero * by_zero + 2.0 * self.together * by_scale * by_zero)
            .max(0.0)
            .sqrt()
    }
}

#[cfg(test)]
mod tests;
