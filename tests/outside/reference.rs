//! The same small recording worked by NumPy, SciPy and statsmodels (tests/reference/make_reference.py, versions pinned
//! beside it; CI computes reference.json again and compares) and by this crate.

use super::shared::columns;
use hingewright::analysis::stats::regression::{HUBER_TUNING, huber, weighted_least_squares};
use hingewright::analysis::stats::smooth::SavitzkyGolay;
use hingewright::analysis::stats::student::{t_quantile, t_two_sided_p};
use hingewright::analysis::stats::{robust, smooth};
use hingewright::flight::Flap;
use hingewright::history::welch::Difference;
use hingewright::history::{mann_kendall::mann_kendall, theil_sen::theil_sen};
use nalgebra::DMatrix;
use serde_json::Value;

const SPACING_S: f64 = 1.0 / 200.0;

fn stored() -> (Value, Vec<Vec<f64>>) {
    let recording = columns(
        include_str!("../reference/recording.csv"),
        &["t_s", "angle_deg", "torque_ncm"],
    );
    (
        serde_json::from_str(include_str!("../reference/reference.json")).unwrap(),
        recording,
    )
}

fn list(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

/// Offset, angle and branch (+1 where the angle rises over five samples either way), as the script has it.
fn design(angle_deg: &[f64]) -> DMatrix<f64> {
    let n = angle_deg.len();
    DMatrix::from_fn(n, 3, |i, k| match k {
        0 => 1.0,
        1 => angle_deg[i],
        _ if angle_deg[(i + 5).min(n - 1)] > angle_deg[i.saturating_sub(5)] => 1.0,
        _ => -1.0,
    })
}

fn alike(what: &str, found: &[f64], stored: &[f64], relative: f64) {
    assert_eq!(found.len(), stored.len(), "{what}");
    for (f, s) in found.iter().zip(stored) {
        assert!(
            (f - s).abs() <= relative * s.abs().max(1e-3),
            "{what}: {f} instead of {s}"
        );
    }
}

/// Tolerance 1e-11 of each value.
#[test]
fn both_branches_fit_as_statsmodels_fits_them() {
    let (reference, recording) = stored();
    let x = design(&recording[1]);
    let fit = weighted_least_squares(&x, &recording[2], None).unwrap();
    let ols = &reference["ols"];
    alike("OLS", &fit.coefficients, &list(&ols["coefficients"]), 1e-11);
    alike(
        "OLS errors",
        &fit.standard_errors().unwrap(),
        &list(&ols["standard_errors"]),
        1e-11,
    );
    alike(
        "OLS residual",
        &[fit.residual_sd.unwrap()],
        &[ols["residual_sd"].as_f64().unwrap()],
        1e-11,
    );
    assert_eq!(
        fit.degrees_of_freedom as u64,
        ols["degrees_of_freedom"].as_u64().unwrap()
    );

    let weights: Vec<f64> = recording[1]
        .iter()
        .map(|a| 1.0 / (1.0 + (a / 10.0).powi(2)))
        .collect();
    let fit = weighted_least_squares(&x, &recording[2], Some(&weights)).unwrap();
    let wls = &reference["wls"];
    alike("WLS", &fit.coefficients, &list(&wls["coefficients"]), 1e-11);
    alike(
        "WLS errors",
        &fit.standard_errors().unwrap(),
        &list(&wls["standard_errors"]),
        1e-11,
    );
    alike(
        "WLS residual",
        &[fit.residual_sd.unwrap()],
        &[wls["residual_sd"].as_f64().unwrap()],
        1e-11,
    );
}

/// statsmodels' RLM with HuberT(1.345), scale_est "mad" (about zero), covariance "H1", run to coefficients standing still
/// within 1e-13. Tolerance 1e-8 of each value.
#[test]
fn the_robust_fit_is_that_of_statsmodels() {
    let (reference, recording) = stored();
    let fit = huber(&design(&recording[1]), &recording[2], HUBER_TUNING).unwrap();
    let rlm = &reference["huber"];
    let errors: Vec<f64> = (0..3).map(|k| fit.covariance[(k, k)].sqrt()).collect();
    println!(
        "Huber: {} rounds, converged {}",
        fit.iterations, fit.converged
    );
    assert!(fit.converged);
    alike("RLM", &fit.coefficients, &list(&rlm["coefficients"]), 1e-8);
    alike(
        "RLM scale",
        &[fit.scale],
        &[rlm["scale"].as_f64().unwrap()],
        1e-8,
    );
    alike("RLM errors", &errors, &list(&rlm["standard_errors"]), 1e-8);
    let below = fit.weights.iter().filter(|w| **w < 1.0).count();
    assert_eq!(below as u64, rlm["weights_below_one"].as_u64().unwrap());
}

/// Quantiles within 1e-10 of the value; tails within 1e-9.
#[test]
fn student_quantiles_and_tails_are_scipys() {
    let (reference, _) = stored();
    for row in reference["t_quantiles"].as_array().unwrap() {
        let [p, df, t] = list(row)[..] else {
            panic!("three numbers a row")
        };
        alike(
            &format!("t at {p}, df {df}"),
            &[t_quantile(p, df)],
            &[t],
            1e-10,
        );
    }
    for row in reference["t_two_sided_p"].as_array().unwrap() {
        let [t, df, p] = list(row)[..] else {
            panic!("three numbers a row")
        };
        alike(
            &format!("p of {t}, df {df}"),
            &[t_two_sided_p(t, df)],
            &[p],
            1e-9,
        );
    }
}

/// SciPy's ttest_ind without equal variances: tolerance 1e-9 of each value.
#[test]
fn differences_are_scipys() {
    let (reference, recording) = stored();
    for case in reference["welch"].as_array().unwrap() {
        let part = |key: &str| {
            let [from, to] = list(&case[key])[..] else {
                panic!("two numbers")
            };
            mean_and_scatter(&recording[2][from as usize..to as usize])
        };
        let ((before, u_b, df_b), (after, u_a, df_a)) = (part("before"), part("after"));
        let found = Difference::of(before, after, &[(u_b, df_b), (u_a, df_a)]).unwrap();
        let interval = found.quantity().interval.unwrap();
        for (what, found) in [
            ("t", found.t()),
            ("df", found.df),
            ("p", found.p()),
            ("lo95", interval.lo95),
            ("hi95", interval.hi95),
        ] {
            alike(what, &[found], &[case[what].as_f64().unwrap()], 1e-9);
        }
    }
}

/// Mean, its standard uncertainty, degrees of freedom: by the textbook.
fn mean_and_scatter(values: &[f64]) -> (f64, f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    (mean, (squares / (n * (n - 1.0))).sqrt(), n - 1.0)
}

/// SciPy's savgol_filter, mode "interp": tolerance 1e-10 of each value (of a thousandth where values are smaller).
#[test]
fn savitzky_golay_is_scipys_edges_included() {
    let (reference, recording) = stored();
    let torque = &recording[2][..reference["savgol_samples"].as_u64().unwrap() as usize];
    for case in reference["savgol"].as_array().unwrap() {
        let (window, order) = (
            case["window"].as_u64().unwrap() as usize,
            case["order"].as_u64().unwrap() as usize,
        );
        let filter = SavitzkyGolay::new(window, order).unwrap();
        let what = format!("window {window}, order {order}");
        alike(
            &what,
            &filter.smooth(torque).unwrap(),
            &list(&case["smooth"]),
            1e-10,
        );
        let slope = filter.derivative(torque, SPACING_S).unwrap();
        let largest = slope.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        for (f, s) in slope.iter().zip(list(&case["derivative"])) {
            assert!(
                (f - s).abs() < 1e-11 * largest,
                "{what}: slope {f} instead of {s}"
            );
        }
    }
}

/// A first-order Savitzky–Golay slope is a straight line's: the running lines must agree with SciPy there, away from the
/// edges (which they treat otherwise). Tolerance 1e-9 of the largest slope.
#[test]
fn running_lines_are_scipys_first_order_slope() {
    let (reference, recording) = stored();
    let n = reference["savgol_samples"].as_u64().unwrap() as usize;
    let case = &reference["savgol"][0];
    assert_eq!(
        (case["window"].as_u64(), case["order"].as_u64()),
        (Some(11), Some(1))
    );
    let slope =
        smooth::local_linear_slope(&recording[0][..n], &recording[2][..n], 10.5 * SPACING_S);
    let stored = list(&case["derivative"]);
    let largest = stored.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    for i in 5..n - 5 {
        assert!(
            (slope[i] - stored[i]).abs() < 1e-9 * largest,
            "at {i}: {} instead of {}",
            slope[i],
            stored[i]
        );
    }
}

/// NumPy's default quantile and SciPy's normal-consistent MAD, tolerance 1e-12.
#[test]
fn order_statistics_are_numpys() {
    let (reference, recording) = stored();
    for row in reference["quantiles"].as_array().unwrap() {
        let [p, q] = list(row)[..] else {
            panic!("two numbers a row")
        };
        alike(
            "quantile",
            &[robust::quantile(&recording[2], p).unwrap()],
            &[q],
            1e-12,
        );
    }
    alike(
        "MAD",
        &[robust::mad(&recording[2]).unwrap()],
        &[reference["mad"].as_f64().unwrap()],
        1e-12,
    );
}

/// SciPy's theilslopes ("separate") and kendalltau ("exact"), pymannkendall's original_test; with ties and without.
/// Tolerance 1e-12; 1e-9 for what goes through the normal distribution.
#[test]
fn trends_are_those_of_scipy_and_pymannkendall() {
    let (reference, _) = stored();
    for case in reference["trends"].as_array().unwrap() {
        let (x, y) = (list(&case["x"]), list(&case["y"]));
        let one = |key: &str| [case[key].as_f64().unwrap()];
        let line = theil_sen(&x, &y, 0.95).unwrap();
        alike("slope", &[line.slope], &one("slope"), 1e-12);
        alike("at zero", &[line.at_zero], &one("at_zero"), 1e-12);
        let (lo, hi) = line.interval.unwrap();
        alike("interval", &[lo, hi], &list(&case["interval"]), 1e-12);
        let test = mann_kendall(&y).unwrap();
        assert_eq!(test.s, case["s"].as_i64().unwrap());
        alike("variance", &[test.variance], &one("variance"), 1e-12);
        alike("z", &[test.z], &one("z"), 1e-12);
        alike("p", &[test.p_normal], &one("p_normal"), 1e-9);
        if let Some(counted) = case["p_counted"].as_f64().filter(|_| y.len() <= 10) {
            alike("p counted out", &[test.p], &[counted], 1e-12);
        }
    }
}

/// Glauert's closed form against quadrature of the pressure jump that it is the integral of. Tolerance 1e-10: the jump has a
/// logarithm at the hinge.
#[test]
fn a_flaps_slopes_are_the_integrals_of_its_pressure_jump() {
    let (reference, _) = stored();
    let flaps = reference["plain_flap"].as_array().unwrap();
    assert_eq!(flaps.len(), 10);
    for stored in flaps {
        let flap = Flap::plain(stored["share"].as_f64().unwrap());
        let found = [flap.a1, flap.a2, flap.b1, flap.b2];
        let stored = ["a1", "a2", "b1", "b2"].map(|name| stored[name].as_f64().unwrap());
        alike("plain flap", &found, &stored, 1e-10);
    }
}
