//! The resistance that copper of a gauge and a length has, there and back, and the most that a sound lead may have. Nothing
//! measured comes in here.

use crate::aircraft::{Gauge, Piece};

/// Of annealed copper at 20 °C, Ω·mm²/m, and its rise per kelvin there: IEC 60028 (1/58, 0.003 93).
const OHM_MM2_PER_M: f64 = 1.0 / 58.0;
const RISE_PER_K: f64 = 0.003_93;
const TABLE_C: f64 = 20.0;

/// Where the air was not measured it is taken to be so warm, °C.
pub const ASSUMED_C: f64 = 20.0;
/// Inside an airframe, and carrying current, a lead may be so much warmer than the air, K (own choice).
pub const WARMER_K: f64 = 10.0;
/// A flexible conductor may have so much more than copper of its nominal area: IEC 60228 table 3 (class 5) allows 13 to 16 % at
/// 0.5 to 6 mm² (from memory), and is taken for gauge numbers too.
pub const FLEXIBLE_SHARE: f64 = 0.16;
/// A plug in its socket, there and back: two contacts of 10 mΩ each. Common practice, no source.
pub const CONNECTION_MOHM: f64 = 20.0;
/// Below this share of its copper a lead is not the one described (own choice: gauges are a fifth apart).
pub const LEAST_SHARE: f64 = 0.9;

/// What a lead of copper comes to, mΩ, both conductors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Copper {
    /// Copper alone, of the nominal area, at the air's temperature.
    pub nominal_mohm: f64,
    /// The most that sound copper may have, [`WARMER_K`] warmer, without plugs.
    pub most_mohm: f64,
    /// What is allowed for plugs.
    pub plugs_mohm: f64,
    pub connections: u32,
    pub air_c: f64,
    pub air_is_measured: bool,
}

impl Copper {
    /// `None` of no pieces.
    pub fn of(pieces: &[Piece], air_c: Option<f64>) -> Option<Self> {
        if pieces.is_empty() {
            return None;
        }
        let at_c = air_c.unwrap_or(ASSUMED_C);
        let copper = |c: f64| pieces.iter().map(|p| piece_mohm(p, c)).sum::<f64>();
        let connections = pieces.iter().map(|p| p.connections).sum();
        Some(Self {
            nominal_mohm: copper(at_c),
            most_mohm: (1.0 + FLEXIBLE_SHARE) * copper(at_c + WARMER_K),
            plugs_mohm: CONNECTION_MOHM * f64::from(connections),
            connections,
            air_c: at_c,
            air_is_measured: air_c.is_some(),
        })
    }

    /// The most that a sound lead may have, plugs included, mΩ.
    pub fn upper_mohm(&self) -> f64 {
        self.most_mohm + self.plugs_mohm
    }

    /// Less than this it cannot be, mΩ.
    pub fn lower_mohm(&self) -> f64 {
        LEAST_SHARE * self.nominal_mohm
    }
}

/// Diameter of a solid round wire of a gauge number, mm: ASTM B258, 0.127 mm at number 36 and 39 equal ratios up to 92 times
/// that.
pub fn awg_diameter_mm(number: f64) -> f64 {
    0.127 * 92_f64.powf((36.0 - number) / 39.0)
}

/// Copper of one conductor, mm².
pub fn area_mm2(gauge: Gauge) -> f64 {
    match gauge {
        Gauge::Awg(number) => 0.25 * std::f64::consts::PI * awg_diameter_mm(number).powi(2),
        Gauge::Area(area_mm2) => area_mm2,
    }
}

/// One conductor's resistance at a temperature in °C, Ω/m.
pub fn ohm_per_m(gauge: Gauge, copper_c: f64) -> f64 {
    OHM_MM2_PER_M / area_mm2(gauge) * (1.0 + RISE_PER_K * (copper_c - TABLE_C))
}

fn piece_mohm(piece: &Piece, copper_c: f64) -> f64 {
    // Thousandths of a metre of length, thousandths of an ohm: they cancel.
    2.0 * piece.length_mm * ohm_per_m(piece.gauge, copper_c)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand from the table: AWG 22 has 16.14 Ω/1000 ft = 52.95 mΩ/m; 0.65 m there and back is 1.3 m of it.
    #[test]
    fn a_lead_has_its_wire_twice_and_its_plugs_on_top() {
        let lead = Piece {
            length_mm: 650.0,
            gauge: Gauge::Awg(22.0),
            connections: 2,
        };
        let copper = Copper::of(&[lead], Some(20.0)).unwrap();
        assert!(
            (copper.nominal_mohm - 68.84).abs() < 0.02,
            "{}",
            copper.nominal_mohm
        );
        // 10 K are 3.93 %, 16 % on top, and 40 mΩ for two plugs.
        assert!((copper.upper_mohm() - (68.84 * 1.0393 * 1.16 + 40.0)).abs() < 0.03);
        let two = Copper::of(&[lead, lead], None).unwrap();
        assert!((two.nominal_mohm - 2.0 * copper.nominal_mohm).abs() < 1e-9);
        assert!(!two.air_is_measured && two.connections == 4);
        assert_eq!(Copper::of(&[], Some(20.0)), None);
    }

    #[test]
    fn warm_copper_has_more() {
        let gauge = Gauge::Area(0.5);
        let ratio = ohm_per_m(gauge, 45.0) / ohm_per_m(gauge, 20.0);
        assert!((ratio - 1.098_25).abs() < 1e-9);
    }
}
