//! Savitzky–Golay weights against the printed tables of A. Savitzky and M. J. E. Golay (Analytical Chemistry 36, 1964).

use hingewright::analysis::stats::smooth::SavitzkyGolay;

fn check(found: &[f64], numerators: &[f64], norm: f64) {
    assert_eq!(found.len(), numerators.len());
    for (found, n) in found.iter().zip(numerators) {
        assert!(
            (found - n / norm).abs() < 1e-14,
            "{found} instead of {n}/{norm}"
        );
    }
}

/// Quadratic and cubic smoothing share their weights. Table as in Chemgapedia [S; windows 5 to 11 also V].
#[test]
fn smoothing_weights_are_the_printed_ones() {
    let table: [(&[f64], f64); 5] = [
        (&[-3.0, 12.0, 17.0], 35.0),
        (&[-2.0, 3.0, 6.0, 7.0], 21.0),
        (&[-21.0, 14.0, 39.0, 54.0, 59.0], 231.0),
        (&[-36.0, 9.0, 44.0, 69.0, 84.0, 89.0], 429.0),
        (&[-11.0, 0.0, 9.0, 16.0, 21.0, 24.0, 25.0], 143.0),
    ];
    for (half, norm) in table {
        let whole: Vec<f64> = half
            .iter()
            .chain(half.iter().rev().skip(1))
            .copied()
            .collect();
        for order in [2, 3] {
            let filter = SavitzkyGolay::new(whole.len(), order).unwrap();
            check(&filter.value_weights(0), &whole, norm);
        }
    }
}

/// First derivative of a quadratic: i over the sum of i² [V, M].
#[test]
fn derivative_weights_are_the_printed_ones() {
    for (half, norm) in [(2, 10.0), (3, 28.0), (4, 60.0), (5, 110.0)] {
        let numerators: Vec<f64> = (-half..=half).map(f64::from).collect();
        let filter = SavitzkyGolay::new(numerators.len(), 2).unwrap();
        check(&filter.slope_weights(0, 1.0), &numerators, norm);
    }
}
