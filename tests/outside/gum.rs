//! Worked examples of the GUM (JCGM 100:2008) and of Welch's approximation.

use hingewright::analysis::stats::regression::{LinearFit, weighted_least_squares};
use hingewright::analysis::stats::student::{combine, interval, t_quantile, welch_satterthwaite};
use nalgebra::DMatrix;

/// JCGM 100:2008, H.3, table H.6: thermometer readings and corrections [S].
const READING_C: [f64; 11] = [
    21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
];
const CORRECTION_C: [f64; 11] = [
    -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
];

fn thermometer() -> LinearFit {
    let design = DMatrix::from_fn(11, 2, |i, k| if k == 0 { 1.0 } else { READING_C[i] - 20.0 });
    weighted_least_squares(&design, &CORRECTION_C, None).unwrap()
}

fn near(found: f64, printed: f64, half_a_digit: f64) {
    assert!(
        (found - printed).abs() <= half_a_digit,
        "{found} instead of {printed}"
    );
}

/// Long values [V]; the GUM prints −0.1712(29), 0.00218(67), −0.930, 0.0035 [M].
#[test]
fn gum_h3_calibration_line_with_its_covariance() {
    let fit = thermometer();
    let (u, covariance) = (fit.standard_errors().unwrap(), fit.covariance().unwrap());
    near(fit.coefficients[0], -0.171_203_79, 5e-9);
    near(u[0], 0.002_877_6, 5e-8);
    near(fit.coefficients[1], 0.002_182_7, 5e-8);
    near(u[1], 0.000_667_94, 5e-9);
    near(covariance[(0, 1)] / (u[0] * u[1]), -0.930_43, 5e-6);
    near(fit.residual_sd.unwrap(), 0.003_497_6, 5e-8);
}

/// b(30) = −0.1493768127324772, u(b(30)) = 0.004138595752855 by exact rational arithmetic on the data above [V]; a source
/// computes −0.14937681268874 and 0.004138595752854 [S], which part from that by 4e-11. The GUM prints −0.1494 and 0.0041
/// [M]. The covariance counts, as 30 °C lies outside the data.
#[test]
fn gum_h3_prediction_uses_the_covariance() {
    let fit = thermometer();
    let c = fit.covariance().unwrap();
    let at = 10.0;
    near(
        fit.coefficients[0] + at * fit.coefficients[1],
        -0.149_376_812_732_477_2,
        1e-15,
    );
    let variance = c[(0, 0)] + 2.0 * at * c[(0, 1)] + at * at * c[(1, 1)];
    near(variance.sqrt(), 0.004_138_595_752_855, 1e-15);
    assert_eq!(fit.degrees_of_freedom, 9);
}

/// JCGM 100:2008, H.1.6, the end gauge: parts 25 nm (18), 9.7 nm (25.6), 2.9 nm (50) and 16.6 nm (2) give u_c 32 nm,
/// effective degrees of freedom 16.7 (cut to 16) and t₉₉ = 2.92 [M].
#[test]
fn gum_h1_end_gauge_effective_degrees_of_freedom() {
    let parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)];
    let (u, df) = combine(&parts);
    near(u, 32.0, 0.5);
    near(df, 16.7, 0.1);
    near(welch_satterthwaite(&parts), df, 0.0);
    near(t_quantile(0.995, df.floor()), 2.92, 0.005);
}

/// Welch's test on the sleep data, as R prints it: df 17.776, 95 % interval −3.3654832 to 0.2054832 [S, V; data M,
/// confirmed by the result].
#[test]
fn welch_interval_of_the_sleep_data() {
    let first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0];
    let second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];
    let mean_and_u = |v: &[f64]| {
        let fit = weighted_least_squares(&DMatrix::from_element(v.len(), 1, 1.0), v, None).unwrap();
        (fit.coefficients[0], fit.standard_errors().unwrap()[0])
    };
    let ((m1, u1), (m2, u2)) = (mean_and_u(&first), mean_and_u(&second));
    let (u, df) = combine(&[(u1, 9.0), (u2, 9.0)]);
    near(df, 17.776, 5e-4);
    near((m1 - m2) / u, -1.8608, 5e-5);
    let i = interval(m1 - m2, u, df).unwrap();
    near(i.lo95, -3.365_483_2, 5e-8);
    near(i.hi95, 0.205_483_2, 5e-8);
}
