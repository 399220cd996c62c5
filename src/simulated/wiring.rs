//! What a lead is made of, there and back: how much copper, and what its plugs add. Its resistance goes into the plant's
//! supply. From copper's conductivity and its inferred point of no resistance, not from a table or a coefficient at 20 °C.

/// A piece of lead as someone would cut and crimp it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wiring {
    /// One way, m.
    pub length_m: f64,
    /// Cross-section of the copper in one conductor, mm².
    pub area_mm2: f64,
    pub copper_c: f64,
    /// Plugs in the way, each passed there and back.
    pub plugs: u32,
    /// One contact of a plug, mΩ.
    pub contact_mohm: f64,
    /// Share of the copper's conductivity that the wire has: 1 of copper, some 0.6 of copper-clad aluminium.
    pub conducts: f64,
}

/// A wire of annealed copper, 1 m long and 1 mm² thick, has 1/58 Ω at 20 °C (International Annealed Copper Standard, 1913; from
/// memory).
const METRES_PER_OHM_MM2: f64 = 58.0;
/// Copper's resistance runs in a straight line towards nothing at this temperature, °C (annealed copper, from memory).
const NO_RESISTANCE_C: f64 = -234.5;

impl Wiring {
    /// Both conductors with all contacts, mΩ.
    pub fn mohm(&self) -> f64 {
        let there_and_back_m = self.length_m + self.length_m;
        let cold_ohm =
            there_and_back_m / (METRES_PER_OHM_MM2 * self.conducts.max(1e-3) * self.area_mm2);
        let warmer = (self.copper_c - NO_RESISTANCE_C) / (20.0 - NO_RESISTANCE_C);
        1000.0 * cold_ohm * warmer + f64::from(2 * self.plugs) * self.contact_mohm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_metre_of_half_a_square_and_one_plug_add_up() {
        let wiring = Wiring {
            length_m: 0.5,
            area_mm2: 0.5,
            copper_c: 20.0,
            plugs: 1,
            contact_mohm: 5.0,
            conducts: 1.0,
        };
        // By hand: 1 m of 0.5 mm² is 2/58 Ω = 34.48 mΩ, and two contacts of 5 mΩ.
        assert!((wiring.mohm() - 44.483).abs() < 1e-3);
        // 25.45 K are a tenth of the way from −234.5 °C to 20 °C: copper has a tenth more.
        let warm = Wiring {
            copper_c: 45.45,
            ..wiring
        };
        assert!((warm.mohm() - 10.0 - 1.1 * 34.483).abs() < 1e-3);
    }
}
