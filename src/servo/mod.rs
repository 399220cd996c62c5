//! What a servo and its control circuit are like, apart from the hinge: recordings of steps, held weights and heat go in,
//! numbers with intervals come out. Pure: no file, clock, port or sentence, as `analysis` is.

pub mod balance;
pub mod free;
pub mod heat;
pub mod held;
pub mod lifts;
pub mod limits;
pub mod share;
mod spells;
mod steps;
pub mod watts;

pub use spells::{Armed, spells};
pub use steps::{
    ALONE, ArmFrom, AtSheet, How, Lack, Pictures, Response, SETTLED_WITHIN_DEG, Stair, Staircase,
    Tested, tested,
};

use crate::aircraft::{Aircraft, Surface};
use crate::analysis::Quantity;
use crate::recording::{Recording, purpose};

/// What one recording says of a servo; `None` where it was not measured.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ServoFound {
    /// From a step of the pulse until the arm begins to move, ms.
    pub dead_time_ms: Option<Quantity>,
    /// Time for 60° of the arm at full speed, s, at the voltage measured.
    pub slew_s_per_60deg: Option<Quantity>,
    /// Of the arm beyond its place after a step, degrees.
    pub overshoot_deg: Option<Quantity>,
    /// From the step until it stays at its place, ms.
    pub settling_ms: Option<Quantity>,
    /// Smallest change of the pulse that it answers, µs.
    pub dead_band_us: Option<Quantity>,
    /// Neutral come to from one side less from the other, degrees of the arm.
    pub centring_deg: Option<Quantity>,
    /// Play between arm and pulse, degrees of the arm.
    pub arm_slop_deg: Option<Quantity>,
    /// Standard deviation of the arm at rest beyond the sensor's own noise, degrees.
    pub jitter_deg: Option<Quantity>,
    /// Supply current at rest with nothing to hold, mA.
    pub idle_ma: Option<Quantity>,
    /// Torque per deflection of the whole control circuit with neutral held, N·cm/°.
    pub held_ncm_per_deg: Option<Quantity>,
    /// Free play in it, degrees of the surface.
    pub held_play_deg: Option<Quantity>,
    /// Where the case's temperature would end under the load of the recording, °C.
    pub case_end_c: Option<Quantity>,
    /// What two servos on one surface draw against each other at neutral, mA.
    pub fight_ma: Option<Quantity>,
}

impl ServoFound {
    /// All of them by the names of the results' columns, in their order.
    pub fn quantities(&self) -> [(&'static str, Option<&Quantity>); 13] {
        [
            ("dead_time_ms", self.dead_time_ms.as_ref()),
            ("slew_s_per_60deg", self.slew_s_per_60deg.as_ref()),
            ("overshoot_deg", self.overshoot_deg.as_ref()),
            ("settling_ms", self.settling_ms.as_ref()),
            ("dead_band_us", self.dead_band_us.as_ref()),
            ("centring_deg", self.centring_deg.as_ref()),
            ("arm_slop_deg", self.arm_slop_deg.as_ref()),
            ("jitter_deg", self.jitter_deg.as_ref()),
            ("idle_ma", self.idle_ma.as_ref()),
            ("held_ncm_per_deg", self.held_ncm_per_deg.as_ref()),
            ("held_play_deg", self.held_play_deg.as_ref()),
            ("case_end_c", self.case_end_c.as_ref()),
            ("fight_ma", self.fight_ma.as_ref()),
        ]
    }
}

/// What a recording says of the servo, by what it was made for.
pub fn found(recording: &Recording, aircraft: &Aircraft, surface: &Surface) -> Option<ServoFound> {
    match recording.key("purpose") {
        Some(purpose::SERVO_TEST) => Some(tested(&[recording], aircraft, surface).found),
        Some(purpose::HEAT) => Some(ServoFound {
            case_end_c: heat::measure(recording, aircraft.trip_points(surface).case_c)
                .and_then(|heat| heat.told_end_c()),
            ..ServoFound::default()
        }),
        Some(purpose::HELD) => Some(held::found(recording)),
        _ => None,
    }
}
