//! Sliding friction of a pneumatic cylinder, moved out and back at a steady pressure (data set
//! 3D-printed-pneumatic-actuator, CC0): half the difference of outward and inward force is friction, the mean of both is
//! pressure times area.

use super::shared::{numbers, text};
use hingewright::analysis::stats::smooth::local_linear_slope;

struct Loop {
    half_difference_n: f64,
    mid_n: f64,
    mid_pressure_bar: f64,
}

/// Mean forces between 5 and 30 mm, outward and inward told apart by the sign of the local slope.
fn measure(name: &str) -> Option<Loop> {
    let text = text(&format!("pneumatic_friction/{name}.csv"))?;
    let rows: Vec<Vec<f64>> = text
        .lines()
        .filter_map(numbers)
        .filter(|r| r.len() == 7)
        .collect();
    let column = |k: usize| rows.iter().map(|r| r[k]).collect::<Vec<_>>();
    let t_s: Vec<f64> = rows.iter().map(|r| r[0] * 1e-3).collect();
    let (place_mm, pressure_bar, force_n) = (column(4), column(5), column(6));
    let speed = local_linear_slope(&t_s, &place_mm, 0.3);
    let mean = |values: &[f64], sign: f64| {
        let chosen: Vec<f64> = (0..values.len())
            .filter(|&i| (5.0..30.0).contains(&place_mm[i]) && speed[i] * sign > 1.0)
            .map(|i| values[i])
            .collect();
        assert!(chosen.len() > 500, "{name}: {} samples", chosen.len());
        chosen.iter().sum::<f64>() / chosen.len() as f64
    };
    let (out, back) = (mean(&force_n, 1.0), mean(&force_n, -1.0));
    Some(Loop {
        half_difference_n: 0.5 * (out - back),
        mid_n: 0.5 * (out + back),
        mid_pressure_bar: 0.5 * (mean(&pressure_bar, 1.0) + mean(&pressure_bar, -1.0)),
    })
}

/// Half differences computed independently from the same files [V].
const SESSIONS: [(&str, f64); 7] = [
    ("Circle_1bar", 5.64),
    ("O-ring_3bar", 7.52),
    ("rerun_friction_1_O-ring257_3bar", 7.62),
    ("rerun_friction_2_O-ring257_3bar", 8.77),
    ("rerun_friction_3_O-ring257_3bar", 8.39),
    ("reconnected_friction_1_O-ring257_3bar", 8.54),
    ("reconnected_friction_3_O-ring257_3bar", 10.07),
];

#[test]
fn friction_is_half_the_difference_of_out_and_back() {
    for (name, expected) in SESSIONS {
        let Some(l) = measure(name) else { continue };
        println!(
            "{name}: half difference {:.3} N, mid {:.2} N at {:.3} bar",
            l.half_difference_n, l.mid_n, l.mid_pressure_bar
        );
        assert!(
            (l.half_difference_n / expected - 1.0).abs() < 0.01,
            "{name}: {:.3} N",
            l.half_difference_n
        );
    }
}

/// The five sessions of one seal: mid force 157.1 to 159.4 N at 3 bar [V], which is pressure times the area of a bore
/// "near 26 mm" (530.9 mm²).
#[test]
fn mid_force_is_pressure_times_area() {
    let area_mm2 = std::f64::consts::PI / 4.0 * 26.0 * 26.0;
    for (name, _) in SESSIONS
        .iter()
        .filter(|(name, _)| name.contains("O-ring257"))
    {
        let Some(l) = measure(name) else { continue };
        let expected_n = l.mid_pressure_bar * 0.1 * area_mm2;
        assert!(
            (157.05..159.45).contains(&l.mid_n),
            "{name}: {:.2} N",
            l.mid_n
        );
        assert!(
            (l.mid_n / expected_n - 1.0).abs() < 0.015,
            "{name}: {:.2} N instead of {expected_n:.2} N",
            l.mid_n
        );
    }
}
