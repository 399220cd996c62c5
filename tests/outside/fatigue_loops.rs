//! Load–displacement loops of cyclic tests with an upstream slope for every cycle (data: Barcelloni Corte, Benettin, Wehrle,
//! Weil, Bancal; MIT licence). Upstream stiffness = least-squares slope of load over displacement within the cycle,
//! times 1000·length/area [S, V].

use super::shared::{columns, text};
use hingewright::analysis::stats::regression::weighted_least_squares;
use hingewright::analysis::stats::robust::median;
use nalgebra::DMatrix;
use std::collections::BTreeMap;

struct Specimen {
    folder: &'static str,
    number: &'static str,
    /// 1000·length/area, MPa per kN/mm: dimensions from tests.csv beside the data.
    per_slope: f64,
}

const SPECIMENS: [Specimen; 2] = [
    Specimen {
        folder: "TST_Liu_2020-09_FA",
        number: "001",
        per_slope: 1000.0 * 64.0 / (36.0 * 2.0),
    },
    Specimen {
        folder: "TST_Khalooei_2021-10_FA",
        number: "006",
        per_slope: 1000.0 * 160.0 / (25.0 * 2.8),
    },
];

/// Our slope and the upstream stiffness of every cycle that has both.
fn cycles(specimen: &Specimen) -> Option<Vec<(f64, f64)>> {
    let folder = format!("fatigue_stiffness/{}", specimen.folder);
    let loops = text(&format!("{folder}/measure_{}.csv", specimen.number))?;
    let upstream = text(&format!("{folder}/HYS_measure_{}.csv", specimen.number))?;
    let loops = columns(
        &loops,
        &["Machine_N_cycles", "Machine_Displacement", "Machine_Load"],
    );
    let mut by_cycle: BTreeMap<u64, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
    for ((n, x), y) in loops[0]
        .iter()
        .zip(&loops[1])
        .zip(&loops[2])
        .filter(|((n, _), _)| n.is_finite())
    {
        let (xs, ys) = by_cycle.entry(*n as u64).or_default();
        xs.push(*x);
        ys.push(*y);
    }
    let upstream = columns(&upstream, &["n_cycles", "stiffness"]);
    let pairs = upstream[0]
        .iter()
        .zip(&upstream[1])
        .filter(|(_, stiffness)| stiffness.is_finite());
    Some(
        pairs
            .filter_map(|(n, stiffness)| {
                let (xs, ys) = by_cycle.get(&(*n as u64))?;
                let design = DMatrix::from_fn(xs.len(), 2, |i, k| if k == 0 { 1.0 } else { xs[i] });
                let fit = weighted_least_squares(&design, ys, None)?;
                Some((fit.coefficients[1] * specimen.per_slope, *stiffness))
            })
            .collect(),
    )
}

#[test]
fn every_cycles_slope_is_the_upstream_one_to_a_billionth() {
    for specimen in &SPECIMENS {
        let Some(cycles) = cycles(specimen) else {
            continue;
        };
        let worst = cycles.iter().fold(0.0_f64, |m, (ours, theirs)| {
            m.max((ours / theirs - 1.0).abs())
        });
        println!(
            "{} {}: {} cycles, worst relative difference {worst:.1e}",
            specimen.folder,
            specimen.number,
            cycles.len()
        );
        assert!(cycles.len() > 150);
        assert!(worst < 1e-9, "{}: {worst:e}", specimen.folder);
    }
}

/// Softening, medians of the first and last ten cycles: 29221 to 18741 MPa, and to 0.488 of the start [V].
#[test]
fn softening_over_the_life_is_seen() {
    let expected = [Some((29221.0, 18741.0)), None];
    for ((specimen, printed), ratio) in SPECIMENS.iter().zip(expected).zip([0.641, 0.488]) {
        let Some(cycles) = cycles(specimen) else {
            continue;
        };
        let slopes: Vec<f64> = cycles.iter().map(|c| c.0).collect();
        let first = median(&slopes[..10]).unwrap();
        let last = median(&slopes[slopes.len() - 10..]).unwrap();
        assert!(
            (last / first - ratio).abs() < 0.0006,
            "{}: {first} to {last}",
            specimen.folder
        );
        if let Some((a, b)) = printed {
            assert!(
                (first - a).abs() < 1.0 && (last - b).abs() < 1.0,
                "{first} to {last}"
            );
        }
    }
}
