//! The quantities that a season follows: their names, which way is worse, and the limits that they have. No judging.

use super::{Bounds, Reading};
use crate::aircraft::Limits;
use crate::analysis::stats::robust::median;
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
}

/// Which way is for the worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Worse {
    Higher,
    Either,
}

impl Measure {
    pub const COUNT: usize = 7;
    pub const ALL: [Self; Self::COUNT] = [
        Self::Stiffness,
        Self::Friction,
        Self::Slop,
        Self::Rest,
        Self::HoldNeutral,
        Self::ShareOfStall,
        Self::Lead,
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
        }
    }

    pub fn unit(self, torque: TorqueUnit) -> Unit {
        match self {
            Self::Stiffness => Unit::Stiffness(torque),
            Self::Friction => Unit::Torque(torque),
            Self::Slop | Self::Rest => Unit::Degree,
            Self::HoldNeutral => Unit::Milliampere,
            Self::ShareOfStall => Unit::Share,
            Self::Lead => Unit::Milliohm,
        }
    }

    /// A stiffness that falls is as wrong as one that rises: something has come loose.
    pub fn worse(self) -> Worse {
        match self {
            Self::Stiffness | Self::Rest => Worse::Either,
            _ => Worse::Higher,
        }
    }

    /// The smallest scatter that is believed, in the column's unit: steps of sensors and of printing. Own choice.
    pub fn resolution(self) -> f64 {
        match self {
            Self::Stiffness => 0.002,
            Self::Friction => 0.02,
            Self::Slop => 0.02,
            Self::Rest => 0.05,
            Self::HoldNeutral | Self::Lead => 1.0,
            Self::ShareOfStall => 0.002,
        }
    }

    /// Goes with the servo from surface to surface.
    pub fn is_the_servos_own(self) -> bool {
        matches!(self, Self::HoldNeutral | Self::Lead)
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
            Self::Slop => upper(limits.slop_deg),
            Self::HoldNeutral => upper(limits.hold_current_ma),
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
            Self::Rest | Self::Lead => Bounds::default(),
        }
    }
}
