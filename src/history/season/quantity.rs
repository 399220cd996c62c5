//! The quantities that a season follows: their names, which way is worse, and the limits that they have. No judging.

use super::{Bounds, Reading};
use crate::aircraft::Limits;
use crate::analysis::stats::robust::median;
use crate::servo::limits as servo;
use crate::units::{TorqueUnit, Unit};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    Stiffness,
    Friction,
    Slop,
    Rest,
    HoldNeutral,
    ShareOfStall,
    Lead,
    Slew,
    Idle,
    Centring,
    DeadBand,
    Jitter,
    HeldStiffness,
    HeldPlay,
    Fight,
}

/// Which way is for the worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Worse {
    Higher,
    Either,
}

impl Measure {
    pub const COUNT: usize = 15;
    pub const ALL: [Self; Self::COUNT] = [
        Self::Stiffness,
        Self::Friction,
        Self::Slop,
        Self::Rest,
        Self::HoldNeutral,
        Self::ShareOfStall,
        Self::Lead,
        Self::Slew,
        Self::Idle,
        Self::Centring,
        Self::DeadBand,
        Self::Jitter,
        Self::HeldStiffness,
        Self::HeldPlay,
        Self::Fight,
    ];

    /// The column of a result, with its unit.
    pub fn column(self) -> &'static str {
        match self {
            Self::Stiffness => "stiffness_ncm_per_deg",
            Self::Friction => "friction_ncm",
            Self::Slop => "slop_deg",
            Self::Rest => "rest_deg",
            Self::HoldNeutral => "hold_neutral_ma",
            Self::ShareOfStall => "share_of_stall",
            Self::Lead => "lead_mohm",
            Self::Slew => "slew_s_per_60deg",
            Self::Idle => "idle_ma",
            Self::Centring => "centring_deg",
            Self::DeadBand => "dead_band_us",
            Self::Jitter => "jitter_deg",
            Self::HeldStiffness => "held_ncm_per_deg",
            Self::HeldPlay => "held_play_deg",
            Self::Fight => "fight_ma",
        }
    }

    /// For people.
    pub fn words(self) -> &'static str {
        match self {
            Self::Stiffness => "stiffness",
            Self::Friction => "friction",
            Self::Slop => "slop",
            Self::Rest => "centring",
            Self::HoldNeutral => "hold current",
            Self::ShareOfStall => "share of stall",
            Self::Lead => "lead",
            Self::Slew => "servo's speed",
            Self::Idle => "idle current",
            Self::Centring => "servo's centring",
            Self::DeadBand => "dead band",
            Self::Jitter => "trembling",
            Self::HeldStiffness => "held stiffness",
            Self::HeldPlay => "free play held",
            Self::Fight => "fight of servos",
        }
    }

    pub fn unit(self, torque: TorqueUnit) -> Unit {
        match self {
            Self::Stiffness | Self::HeldStiffness => Unit::Stiffness(torque),
            Self::Friction => Unit::Torque(torque),
            Self::Slop | Self::Rest | Self::Centring | Self::Jitter | Self::HeldPlay => {
                Unit::Degree
            }
            Self::HoldNeutral | Self::Idle | Self::Fight => Unit::Milliampere,
            Self::Slew => Unit::SecondPer60,
            Self::DeadBand => Unit::Microsecond,
            Self::ShareOfStall => Unit::Share,
            Self::Lead => Unit::Milliohm,
        }
    }

    /// A stiffness that falls is as wrong as one that rises: something has come loose.
    pub fn worse(self) -> Worse {
        match self {
            Self::Stiffness | Self::Rest | Self::Centring | Self::HeldStiffness => Worse::Either,
            _ => Worse::Higher,
        }
    }

    /// The smallest scatter that is believed, in the column's unit: steps of sensors and of printing. Own choice.
    pub fn resolution(self) -> f64 {
        match self {
            Self::Stiffness => 0.002,
            Self::Friction => 0.02,
            Self::Slop | Self::HeldPlay => 0.02,
            Self::Rest => 0.05,
            Self::HoldNeutral | Self::Lead | Self::Idle | Self::Fight => 1.0,
            Self::HeldStiffness => 0.1,
            Self::Slew => 0.001,
            Self::Centring => 0.03,
            Self::DeadBand => 0.2,
            Self::Jitter => 0.01,
            Self::ShareOfStall => 0.002,
        }
    }

    /// Goes with the servo from surface to surface.
    pub fn is_the_servos_own(self) -> bool {
        matches!(
            self,
            Self::HoldNeutral
                | Self::Lead
                | Self::Slew
                | Self::Idle
                | Self::Centring
                | Self::DeadBand
                | Self::Jitter
        )
    }

    pub fn needs_torque(self) -> bool {
        matches!(self, Self::Stiffness | Self::Friction | Self::ShareOfStall)
    }

    /// The limits in the column's unit. Friction's is a share of stall torque, brought to the hinge line by the recordings'
    /// own ratio of the two; stiffness is held to its own first recordings by `pair_difference`.
    pub(super) fn bounds<'a>(
        self,
        limits: &Limits,
        readings: impl Iterator<Item = (&'a Reading, f64)>,
    ) -> Bounds {
        let upper = |value| Bounds {
            lower: None,
            upper: Some(value),
        };
        match self {
            Self::Slop | Self::HeldPlay => upper(limits.slop_deg),
            Self::Fight => upper(servo::FIGHT_MA),
            Self::HoldNeutral | Self::Idle => upper(limits.hold_current_ma),
            Self::Centring => Bounds {
                lower: Some(-servo::CENTRING_DEG),
                upper: Some(servo::CENTRING_DEG),
            },
            Self::DeadBand => upper(servo::DEAD_BAND_US),
            Self::Jitter => upper(servo::JITTER_DEG),
            Self::ShareOfStall => upper(limits.share_of_stall),
            Self::Friction => {
                let ratios: Vec<f64> = readings
                    .filter_map(|(r, _)| r.stall_share_per_ncm)
                    .filter(|r| *r > 0.0)
                    .collect();
                Bounds {
                    lower: None,
                    upper: median(&ratios).map(|r| limits.friction_share_of_stall / r),
                }
            }
            Self::Stiffness => {
                let first: Vec<f64> = readings
                    .map(|(_, value)| value)
                    .take(super::FOR_A_BASELINE)
                    .collect();
                if first.len() < super::FOR_A_BASELINE {
                    return Bounds::default();
                }
                let own = median(&first).filter(|own| *own > 0.0);
                Bounds {
                    lower: own.map(|own| own * (1.0 - limits.pair_difference)),
                    upper: own.map(|own| own * (1.0 + limits.pair_difference)),
                }
            }
            // The last word: a lead may have been exchanged, and the file with it.
            Self::Lead => Bounds {
                lower: None,
                upper: readings.filter_map(|(r, _)| r.lead_at_most_mohm).last(),
            },
            // The data sheet's speed holds at another voltage than the season's tests: their own baseline is the measure.
            Self::Rest | Self::Slew | Self::HeldStiffness => Bounds::default(),
        }
    }
}
