//! The standard atmosphere, with the temperature that is really there. Knows nothing of surfaces.
//!
//! ISO 2533:1975 and U.S. Standard Atmosphere, 1976, which agree below 32 km; constants from memory, the table that the tests
//! hold them against was seen. Air is dry: damp air is lighter by a few thousandths.

/// Standard gravity, m/s², and the gas constant of dry air, J/(kg·K).
const GRAVITY_M_S2: f64 = 9.806_65;
const GAS_J_KGK: f64 = 287.052_87;
/// At sea level, K and Pa; fall of temperature with geopotential height in the lowest layer, K/m.
const SEA_LEVEL_K: f64 = 288.15;
const SEA_LEVEL_PA: f64 = 101_325.0;
const LAPSE_K_M: f64 = 0.006_5;
/// The lowest layer ends here, geopotential m; above it the temperature stays.
const LAYER_ENDS_M: f64 = 11_000.0;
/// Nominal radius of the earth, m.
const EARTH_M: f64 = 6_356_766.0;
/// Ratio of the specific heats.
const HEATS: f64 = 1.4;
pub const ZERO_C_K: f64 = 273.15;

/// Air at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Atmosphere {
    pub pressure_pa: f64,
    pub temperature_k: f64,
    pub density_kg_m3: f64,
    pub sound_m_s: f64,
    /// By how much it is warmer than standard at that height, K.
    pub warmer_k: f64,
}

impl Atmosphere {
    /// At a height above sea level (geometric, as on a map), with the standard's temperature there. From −5 to 20 km.
    pub fn standard(height_m: f64) -> Self {
        let geopotential_m = EARTH_M * height_m / (EARTH_M + height_m);
        let in_layer_m = geopotential_m.min(LAYER_ENDS_M);
        let temperature_k = SEA_LEVEL_K - LAPSE_K_M * in_layer_m;
        let exponent = GRAVITY_M_S2 / (GAS_J_KGK * LAPSE_K_M);
        let in_layer_pa = SEA_LEVEL_PA * (temperature_k / SEA_LEVEL_K).powf(exponent);
        let above_m = geopotential_m - in_layer_m;
        let pressure_pa =
            in_layer_pa * (-GRAVITY_M_S2 * above_m / (GAS_J_KGK * temperature_k)).exp();
        Self::of(pressure_pa, temperature_k, 0.0)
    }

    /// The standard's pressure at a height, with a measured temperature.
    pub fn with_air_c(height_m: f64, air_c: f64) -> Self {
        let standard = Self::standard(height_m);
        let temperature_k = air_c + ZERO_C_K;
        Self::of(
            standard.pressure_pa,
            temperature_k,
            temperature_k - standard.temperature_k,
        )
    }

    fn of(pressure_pa: f64, temperature_k: f64, warmer_k: f64) -> Self {
        Self {
            pressure_pa,
            temperature_k,
            density_kg_m3: pressure_pa / (GAS_J_KGK * temperature_k),
            sound_m_s: (HEATS * GAS_J_KGK * temperature_k).sqrt(),
            warmer_k,
        }
    }

    /// Dynamic pressure, Pa, at a true airspeed.
    pub fn dynamic_pa(&self, speed_m_s: f64) -> f64 {
        0.5 * self.density_kg_m3 * speed_m_s * speed_m_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, printed: f64, unit: f64) {
        // Half a unit of the last printed digit, and a little for printed values that were cut instead of rounded.
        assert!((found - printed).abs() <= 0.6 * unit, "{found} {printed}");
    }

    /// US Standard Atmosphere 1976 by geometric height, as printed in a handbook of mechanical engineering (seen): K, bar,
    /// kg/m³.
    #[test]
    fn the_standard_is_the_printed_table() {
        for (height_m, kelvin, bar, density) in [
            (0.0, 288.15, 1.0133, 1.2250),
            (1000.0, 281.65, 0.8988, 1.1117),
            (2000.0, 275.15, 0.7950, 1.0066),
            (3000.0, 268.66, 0.7012, 0.9093),
            (5000.0, 255.68, 0.5405, 0.7364),
            (11_000.0, 216.77, 0.2270, 0.3648),
        ] {
            let air = Atmosphere::standard(height_m);
            near(air.temperature_k, kelvin, 0.01);
            near(air.pressure_pa / 1e5, bar, 1e-4);
            near(air.density_kg_m3, density, 1e-4);
            assert_eq!(air.warmer_k, 0.0);
        }
    }

    /// By geopotential height: Pa, kg/m³ (recomputed elsewhere, not seen in print).
    #[test]
    fn geopotential_height_gives_the_standards_pressure() {
        for (geopotential_m, pascal, density) in [
            (1000.0, 89_874.6, 1.11164),
            (2000.0, 79_495.2, 1.00649),
            (5000.0, 54_019.9, 0.736116),
            (11_000.0, 22_632.06, 0.363918),
        ] {
            let height_m = EARTH_M * geopotential_m / (EARTH_M - geopotential_m);
            let air = Atmosphere::standard(height_m);
            near(air.pressure_pa, pascal, 0.1);
            near(air.density_kg_m3, density, 1e-5);
        }
    }

    #[test]
    fn warm_air_is_thinner_at_the_same_pressure_and_carries_sound_faster() {
        let (cool, warm) = (
            Atmosphere::with_air_c(0.0, 15.0),
            Atmosphere::with_air_c(0.0, 35.0),
        );
        assert!((cool.density_kg_m3 - 1.225).abs() < 1e-4 && cool.warmer_k.abs() < 1e-9);
        // Speed of sound at 15 °C: 340.294 m/s (US Standard Atmosphere 1976, from memory).
        assert!((cool.sound_m_s - 340.294).abs() < 1e-3);
        assert_eq!(warm.pressure_pa, cool.pressure_pa);
        assert!((warm.density_kg_m3 / cool.density_kg_m3 - 288.15 / 308.15).abs() < 1e-12);
        assert!(warm.sound_m_s > cool.sound_m_s && (warm.warmer_k - 20.0).abs() < 1e-9);
        // ½·1.225·85² by hand.
        assert!((cool.dynamic_pa(85.0) - 4425.3).abs() < 0.5);
    }
}
