//! `[trip]`: where the rig disarms itself, told to it before it is armed.

use super::bound::Bound;
use super::section::Section;
use super::{Aircraft, Surface};

/// What the file says. The defaults are common practice, no source.
#[derive(Debug, Clone, PartialEq)]
pub struct Trip {
    pub current_ma: f64,
    /// `None`: [`SUPPLY_SHARE`] of the voltage on the servo's data sheet.
    pub supply_v: Option<f64>,
    pub case_c: f64,
    pub pulse_lo_us: f64,
    pub pulse_hi_us: f64,
    pub stall_ms: f64,
}

/// Lowest supply voltage as a share of the data sheet's, where the file gives none: a 7.4 V pack at 5.55 V is empty or its
/// lead is bad (common practice, no source).
pub const SUPPLY_SHARE: f64 = 0.75;

/// A range of pulses that moves any surface at all, µs.
const NARROWEST_US: f64 = 200.0;

impl Default for Trip {
    fn default() -> Self {
        Self {
            current_ma: 2500.0,
            supply_v: None,
            case_c: 70.0,
            pulse_lo_us: 900.0,
            pulse_hi_us: 2100.0,
            stall_ms: 500.0,
        }
    }
}

/// Where the rig disarms itself on one surface: highest current, lowest voltage, hottest case, longest stall, and the pulses
/// that it stays within.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TripPoints {
    pub current_ma: f64,
    pub supply_v: f64,
    pub case_c: f64,
    pub pulse_lo_us: f64,
    pub pulse_hi_us: f64,
    pub stall_ms: f64,
}

impl Aircraft {
    /// Where the rig disarms itself while it drives this surface.
    pub fn trip_points(&self, surface: &Surface) -> TripPoints {
        let trip = &self.trip;
        let kind = &self.servo_types[self.servos[surface.servo_index].type_index];
        // Two decimals are what a rig's converter tells apart, and what a builder can read.
        let share_v = (100.0 * SUPPLY_SHARE * kind.stall_voltage_v).round() / 100.0;
        TripPoints {
            current_ma: trip.current_ma,
            supply_v: trip.supply_v.unwrap_or(share_v),
            case_c: trip.case_c,
            pulse_lo_us: trip.pulse_lo_us,
            pulse_hi_us: trip.pulse_hi_us,
            stall_ms: trip.stall_ms,
        }
    }
}

pub(super) fn read(section: &Section) -> Trip {
    let mut trip = Trip::default();
    let number = |key, bound, default| section.number(key, bound).unwrap_or(default);
    trip.current_ma = number("current_ma", Bound::Within(50.0, 20_000.0), trip.current_ma);
    trip.supply_v = section.number("supply_v", Bound::Positive);
    trip.case_c = number("case_c", Bound::Within(20.0, 120.0), trip.case_c);
    trip.pulse_lo_us = number(
        "pulse_lo_us",
        Bound::Within(400.0, 2600.0),
        trip.pulse_lo_us,
    );
    trip.pulse_hi_us = number(
        "pulse_hi_us",
        Bound::Within(400.0, 2600.0),
        trip.pulse_hi_us,
    );
    trip.stall_ms = number("stall_ms", Bound::Within(50.0, 10_000.0), trip.stall_ms);
    if trip.pulse_hi_us - trip.pulse_lo_us < NARROWEST_US {
        let key = if section.has("pulse_lo_us") {
            "pulse_lo_us"
        } else {
            "pulse_hi_us"
        };
        section.fault(
            key,
            &format!("pulse_lo_us = {} is not {NARROWEST_US} \u{b5}s or more below pulse_hi_us = {}", trip.pulse_lo_us, trip.pulse_hi_us),
            "give the shortest pulse as pulse_lo_us and the longest as pulse_hi_us, for instance 1000 and 2000",
        );
    }
    trip
}
