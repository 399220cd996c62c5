//! Copper wire against printed tables.

use hingewright::aircraft::{Gauge, Piece};
use hingewright::supply::{Copper, awg_diameter_mm, ohm_per_m};

/// Copper wire at 20 °C, Ω/1000 ft, to four digits: [S], a printed table of American wire gauge resistances; [V] from
/// 1.7241e-8 Ω·m and ASTM B258's diameters.
#[test]
fn a_gauges_resistance_is_that_of_the_printed_table() {
    const PER_1000_FT_M: f64 = 304.8;
    for (number, ohm_per_1000_ft) in [
        (18.0, 6.385),
        (20.0, 10.15),
        (22.0, 16.14),
        (24.0, 25.67),
        (26.0, 40.81),
        (28.0, 64.90),
        (30.0, 103.2),
    ] {
        let ours = ohm_per_m(Gauge::Awg(number), 20.0) * PER_1000_FT_M;
        assert!(
            (ours / ohm_per_1000_ft - 1.0).abs() < 5e-4,
            "AWG {number}: {ours} against {ohm_per_1000_ft}"
        );
    }
}

/// Diameters of ASTM B258 in inch, to four digits: [M].
#[test]
fn a_gauges_diameter_is_that_of_the_standard() {
    for (number, inch) in [
        (10.0, 0.1019),
        (18.0, 0.0403),
        (22.0, 0.0253),
        (26.0, 0.0159),
        (36.0, 0.0050),
    ] {
        let ours = awg_diameter_mm(number) / 25.4;
        assert!((ours - inch).abs() < 6e-5, "AWG {number}: {ours}");
    }
}

/// IEC 60228 table 3, class 5 (flexible), plain copper at 20 °C, the most that is allowed, Ω/km: [M]. A lead just within the
/// standard must not be called worse than its copper, nor may much be given away: within 5 %.
#[test]
fn the_most_that_a_lead_may_have_is_what_the_standard_allows_flexible_copper() {
    for (area_mm2, most_ohm_per_km) in [
        (0.5, 39.0),
        (0.75, 26.0),
        (1.0, 19.5),
        (1.5, 13.3),
        (2.5, 7.98),
        (4.0, 4.95),
    ] {
        let one_metre = Piece {
            length_mm: 1000.0,
            gauge: Gauge::Area(area_mm2),
            connections: 0,
        };
        // 10 K warmer than the air is allowed for: at 10 °C of air the most is that at 20 °C.
        let copper = Copper::of(&[one_metre], Some(10.0)).unwrap();
        let allowed = 2.0 * most_ohm_per_km;
        let over = copper.upper_mohm() / allowed - 1.0;
        assert!((0.0..0.05).contains(&over), "{area_mm2} mm²: {over}");
    }
}
