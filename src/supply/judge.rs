//! A lead against its copper, a voltage against the least, a load against a rating: what each comes to. No sentence.

use super::copper::Copper;
use crate::analysis::Quantity;

/// How a lead stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeadState {
    /// The whole interval is within what its copper and plugs may have.
    Sound,
    /// The whole interval is above it.
    Worse,
    /// The interval reaches from within to above.
    Unproven,
    /// The whole interval is below what its copper has at least: it is not the lead described, or not all of it was measured.
    Less,
    /// Measured, and the aircraft file does not say what it is made of.
    NotDescribed,
    /// Described, and never measured.
    NotMeasured,
    /// Neither.
    Unknown,
}

impl LeadState {
    pub fn of(measured: Option<&Quantity>, copper: Option<&Copper>) -> Self {
        match (measured, copper) {
            (Some(measured), Some(copper)) => match measured.interval {
                Some(i) if i.lo95 > copper.upper_mohm() => Self::Worse,
                Some(i) if i.hi95 < copper.lower_mohm() => Self::Less,
                Some(i) if i.hi95 <= copper.upper_mohm() => Self::Sound,
                _ => Self::Unproven,
            },
            (Some(_), None) => Self::NotDescribed,
            (None, Some(_)) => Self::NotMeasured,
            (None, None) => Self::Unknown,
        }
    }

    pub fn word(self) -> &'static str {
        match self {
            Self::Sound => "sound",
            Self::Worse => "worse",
            Self::Unproven => "unproven",
            Self::Less => "less",
            Self::NotDescribed => "not-described",
            Self::NotMeasured => "not-measured",
            Self::Unknown => "unknown",
        }
    }
}

/// From this share of a rating on a load is near it: common practice, no source.
pub const NEAR_SHARE: f64 = 0.8;

/// A load against a rating, or a voltage against the least.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    Within,
    /// Near it, or its interval reaches beyond.
    Near,
    Beyond,
}

impl Standing {
    /// Of a share of a rating.
    pub fn of_share(share: &Quantity) -> Self {
        let hi = share.interval.map_or(share.value, |i| i.hi95);
        match share.value {
            value if value > 1.0 => Self::Beyond,
            value if value >= NEAR_SHARE || hi > 1.0 => Self::Near,
            _ => Self::Within,
        }
    }

    /// Of a voltage at a plug.
    pub fn of_volts(volts: &Quantity, least_v: f64) -> Self {
        let lo = volts.interval.map_or(volts.value, |i| i.lo95);
        match volts.value {
            value if value < least_v => Self::Beyond,
            _ if lo < least_v => Self::Near,
            _ => Self::Within,
        }
    }

    pub fn word(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Near => "near",
            Self::Beyond => "beyond",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aircraft::{Gauge, Piece};
    use crate::analysis::Interval;

    fn q(value: f64, half: f64) -> Quantity {
        Quantity {
            value,
            interval: Some(Interval {
                u: 0.5 * half,
                lo95: value - half,
                hi95: value + half,
            }),
        }
    }

    /// Copper 68.84, at most 83.0 and 20 for a plug: 103.0 mΩ.
    #[test]
    fn only_an_interval_wholly_above_is_worse_and_one_that_straddles_is_unproven() {
        let piece = Piece {
            length_mm: 650.0,
            gauge: Gauge::Awg(22.0),
            connections: 1,
        };
        let copper = Copper::of(&[piece], Some(20.0)).unwrap();
        let state = |measured: Quantity| LeadState::of(Some(&measured), Some(&copper));
        assert_eq!(state(q(80.0, 12.0)), LeadState::Sound);
        assert_eq!(state(q(110.0, 12.0)), LeadState::Unproven);
        assert_eq!(state(q(98.0, 12.0)), LeadState::Unproven);
        assert_eq!(state(q(120.0, 12.0)), LeadState::Worse);
        assert_eq!(state(q(40.0, 12.0)), LeadState::Less);
        assert_eq!(state(q(60.0, 12.0)), LeadState::Sound);
        let bare = Quantity {
            value: 80.0,
            interval: None,
        };
        assert_eq!(state(bare), LeadState::Unproven);
        assert_eq!(LeadState::of(None, Some(&copper)), LeadState::NotMeasured);
        assert_eq!(LeadState::of(Some(&bare), None), LeadState::NotDescribed);
    }

    #[test]
    fn a_load_is_near_from_four_fifths_on_and_beyond_above_all() {
        assert_eq!(Standing::of_share(&q(0.5, 0.1)), Standing::Within);
        assert_eq!(Standing::of_share(&q(0.81, 0.01)), Standing::Near);
        assert_eq!(Standing::of_share(&q(0.7, 0.4)), Standing::Near);
        assert_eq!(Standing::of_share(&q(1.01, 0.5)), Standing::Beyond);
        assert_eq!(Standing::of_volts(&q(5.2, 0.1), 5.0), Standing::Within);
        assert_eq!(Standing::of_volts(&q(5.05, 0.1), 5.0), Standing::Near);
        assert_eq!(Standing::of_volts(&q(4.9, 0.2), 5.0), Standing::Beyond);
    }
}
