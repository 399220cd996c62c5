//! NIST Statistical Reference Datasets, linear regression: certified to 15 digits by multiple-precision arithmetic.
//! Certified values are in the files' headers [S] except where a test gives them with their source.

use super::shared::{digits, fewest_digits, numbers, text};
use hingewright::analysis::stats::regression::{LinearFit, weighted_least_squares};
use nalgebra::DMatrix;

const PLOT: &str = "nist_strd/from_dataplot";

struct Certified {
    /// (estimate, standard deviation), lowest power first.
    b: Vec<(f64, f64)>,
    residual_sd: f64,
}

/// Reads a file in NIST's own layout: certified values by their labels, data from line 61 on (y first).
fn strd(path: &str) -> Option<(Certified, Vec<Vec<f64>>)> {
    let text = text(path)?;
    let lines: Vec<&str> = text.lines().collect();
    let mut b = Vec::new();
    let mut residual_sd = f64::NAN;
    for line in &lines[..60] {
        let fields: Vec<&str> = line.split_whitespace().collect();
        match fields[..] {
            [name, estimate, sd] if name.starts_with('B') => {
                if let (Ok(estimate), Ok(sd)) = (estimate.parse(), sd.parse()) {
                    b.push((estimate, sd));
                }
            }
            ["Standard", "Deviation", sd] => residual_sd = sd.parse().unwrap(),
            _ => {}
        }
    }
    let rows = lines[60..]
        .iter()
        .filter_map(|l| numbers(l))
        .filter(|r| r.len() >= 2)
        .collect();
    Some((Certified { b, residual_sd }, rows))
}

/// Reads a file with 25 lines of text before the data.
fn plain(name: &str) -> Option<Vec<Vec<f64>>> {
    let text = text(&format!("{PLOT}/{name}"))?;
    Some(
        text.lines()
            .skip(25)
            .filter_map(numbers)
            .filter(|r| r.len() >= 2)
            .collect(),
    )
}

fn polynomial(x: &[f64], powers: std::ops::RangeInclusive<i32>) -> DMatrix<f64> {
    let first = *powers.start();
    DMatrix::from_fn(x.len(), powers.count(), |i, k| x[i].powi(first + k as i32))
}

fn column(rows: &[Vec<f64>], k: usize) -> Vec<f64> {
    rows.iter().map(|r| r[k]).collect()
}

fn compare(name: &str, fit: &LinearFit, certified: &Certified, floor_b: f64, floor_sd: f64) {
    assert_eq!(
        fit.coefficients.len(),
        certified.b.len(),
        "{name}: certified values read"
    );
    let b = fewest_digits(
        fit.coefficients
            .iter()
            .zip(&certified.b)
            .map(|(f, c)| (*f, c.0)),
    );
    let errors = fit.standard_errors().unwrap();
    // Where the certified scatter is zero, digits of the error itself, in the data's unit.
    let sd = fewest_digits(errors.iter().zip(&certified.b).map(|(f, c)| (*f, c.1)));
    let s = digits(fit.residual_sd.unwrap(), certified.residual_sd);
    println!(
        "{name}: certified digits: coefficients {b:.1}, their standard deviations {sd:.1}, residual {s:.1}"
    );
    assert!(b >= floor_b, "{name}: coefficients reach {b:.1} digits");
    assert!(
        sd.min(s) >= floor_sd,
        "{name}: standard deviations reach {sd:.1}, the residual {s:.1} digits"
    );
}

fn polynomial_case(path: &str, powers: std::ops::RangeInclusive<i32>, floor_b: f64, floor_sd: f64) {
    let Some((certified, rows)) = strd(path) else {
        return;
    };
    let fit = weighted_least_squares(
        &polynomial(&column(&rows, 1), powers),
        &column(&rows, 0),
        None,
    )
    .unwrap();
    compare(path, &fit, &certified, floor_b, floor_sd);
}

#[test]
fn norris_a_straight_line() {
    polynomial_case("nist_strd/from_scipy/Norris.dat", 0..=1, 11.0, 12.0);
}

#[test]
fn noint_lines_through_zero() {
    polynomial_case(&format!("{PLOT}/NOINT1.DAT"), 1..=1, 13.0, 13.0);
    polynomial_case(&format!("{PLOT}/NOINT2.DAT"), 1..=1, 13.0, 13.0);
}

/// The tenth-degree polynomial that many programs cannot fit at all: powers of x as such, no centring.
#[test]
fn filip_a_tenth_degree_polynomial_is_fitted_and_not_refused() {
    polynomial_case(&format!("{PLOT}/FILIP.DAT"), 0..=10, 7.0, 6.5);
}

#[test]
fn wampler_fifth_degree_polynomials_with_growing_noise() {
    polynomial_case(&format!("{PLOT}/WAMPLER3.DAT"), 0..=5, 9.0, 11.0);
    polynomial_case(&format!("{PLOT}/WAMPLER4.DAT"), 0..=5, 7.5, 12.0);
    polynomial_case(&format!("{PLOT}/WAMPLER5.DAT"), 0..=5, 6.0, 12.0);
}

/// Wampler1 and Wampler2 share a file: exact polynomials, coefficients 1 and 10⁻ᵏ, no residual (the file's header [S]).
#[test]
fn wampler_exact_polynomials_leave_next_to_no_residual() {
    let Some(rows) = plain("WAMPLER1.DAT") else {
        return;
    };
    let design = polynomial(&column(&rows, 0), 0..=5);
    for (name, k, ratio, floor) in [("Wampler1", 1, 1.0, 8.0), ("Wampler2", 2, 0.1_f64, 11.0)] {
        let y = column(&rows, k);
        let fit = weighted_least_squares(&design, &y, None).unwrap();
        let b = fewest_digits(
            fit.coefficients
                .iter()
                .enumerate()
                .map(|(k, f)| (*f, ratio.powi(k as i32))),
        );
        let relative = fit.residual_sd.unwrap() / y.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        println!(
            "{name}: certified digits: coefficients {b:.1}; residual over largest y {relative:.1e}"
        );
        assert!(b >= floor, "{name}: {b:.1} digits");
        assert!(
            relative < 1e-14,
            "{name}: residual {relative:e} of the largest y"
        );
    }
}

/// Certified values: NIST StRD Pontius [S in several code bases; V on this file to 1e-10].
#[test]
fn pontius_a_load_cells_quadratic() {
    let Some(rows) = plain("PONTIUS.DAT") else {
        return;
    };
    let fit = weighted_least_squares(
        &polynomial(&column(&rows, 1), 0..=2),
        &column(&rows, 0),
        None,
    )
    .unwrap();
    let certified = Certified {
        b: vec![
            (0.673565789473684E-03, 0.107938612033077E-03),
            (0.732059160401003E-06, 0.157817399981659E-09),
            (-0.316081871345029E-14, 0.486652849992036E-16),
        ],
        residual_sd: 0.205177424076185E-03,
    };
    compare("Pontius", &fit, &certified, 12.5, 12.5);
}

/// Certified values: NIST StRD Longley [S: as quoted in the test suites of GSL and statsmodels].
#[test]
fn longley_six_collinear_columns() {
    let Some(rows) = plain("LONGLEY.DAT") else {
        return;
    };
    let design = DMatrix::from_fn(rows.len(), 7, |i, k| if k == 0 { 1.0 } else { rows[i][k] });
    let fit = weighted_least_squares(&design, &column(&rows, 0), None).unwrap();
    let certified = Certified {
        b: vec![
            (-3482258.63459582, 890420.383607373),
            (15.0618722713733, 84.9149257747669),
            (-0.358191792925910E-01, 0.334910077722432E-01),
            (-2.02022980381683, 0.488399681651699),
            (-1.03322686717359, 0.214274163161675),
            (-0.511041056535807E-01, 0.226073200069370),
            (1829.15146461355, 455.478499142212),
        ],
        residual_sd: 304.854073561965,
    };
    compare("Longley", &fit, &certified, 10.5, 12.0);
}
