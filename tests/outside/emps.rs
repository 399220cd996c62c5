//! EMPS: a measured motor and ball screw at 1 kHz with published inertia and friction (A. Janot, M. Gautier, M. Brunot, 2019
//! Workshop on Nonlinear System Identification Benchmarks; figures from the data set's own description).
//! The recipe printed there: fourth-order Butterworth at 100 Hz run both ways, central differences, the first 49 samples
//! left out, decimation by 10, least squares. Decimation here is the mean of each ten samples.

use super::shared::{columns, text};
use hingewright::analysis::stats::regression::{LinearFit, weighted_least_squares};
use nalgebra::DMatrix;

const STEP_S: f64 = 1e-3;
/// Motor force per control volt, N/V, as published with the data.
const FORCE_N_PER_V: f64 = 35.150_651_882_485_47;
const LEFT_OUT: usize = 49;
const TENTH: usize = 10;

/// One second-order section of a Butterworth low pass by the bilinear transform (A. V. Oppenheim and R. W. Schafer,
/// Discrete-Time Signal Processing, section 7.1), run once over the signal.
fn section(signal: &mut [f64], corner_hz: f64, damping: f64) {
    let k = (std::f64::consts::PI * corner_hz * STEP_S).tan();
    let norm = 1.0 + damping * k + k * k;
    let b0 = k * k / norm;
    let (a1, a2) = (
        2.0 * (k * k - 1.0) / norm,
        (1.0 - damping * k + k * k) / norm,
    );
    let first = signal[0];
    // At rest on the first value, so that the start rings least.
    let (mut x1, mut x2, mut y1, mut y2) = (first, first, first, first);
    for v in signal {
        let y = b0 * (*v + 2.0 * x1 + x2) - a1 * y1 - a2 * y2;
        (x2, x1) = (x1, *v);
        (y2, y1) = (y1, y);
        *v = y;
    }
}

/// Fourth-order Butterworth, forwards and backwards, over the signal turned about its ends.
fn zero_phase_low_pass(signal: &[f64], corner_hz: f64) -> Vec<f64> {
    const TURNED: usize = 200;
    let n = signal.len();
    let mut padded: Vec<f64> = (1..=TURNED)
        .rev()
        .map(|i| 2.0 * signal[0] - signal[i])
        .collect();
    padded.extend_from_slice(signal);
    padded.extend((1..=TURNED).map(|i| 2.0 * signal[n - 1] - signal[n - 1 - i]));
    for _ in 0..2 {
        for pole in [1.0, 3.0] {
            section(
                &mut padded,
                corner_hz,
                2.0 * (pole * std::f64::consts::PI / 8.0).sin(),
            );
        }
        padded.reverse();
    }
    padded[TURNED..TURNED + n].to_vec()
}

fn central_difference(signal: &[f64]) -> Vec<f64> {
    let n = signal.len();
    (0..n)
        .map(|i| {
            if i == 0 || i + 1 == n {
                0.0
            } else {
                (signal[i + 1] - signal[i - 1]) / (2.0 * STEP_S)
            }
        })
        .collect()
}

/// Fits the force to the regressors that `row` makes of acceleration and speed, m/s² and m/s.
fn identify(row: impl Fn(f64, f64) -> Vec<f64>) -> Option<(LinearFit, f64)> {
    let columns = columns(&text("emps/DATA_EMPS.csv")?, &["qm_m", "vir_V"]);
    let place_m = zero_phase_low_pass(&columns[0], 100.0);
    let speed = central_difference(&place_m);
    let acceleration = central_difference(&speed);
    let rows: Vec<Vec<f64>> = acceleration
        .iter()
        .zip(&speed)
        .map(|(a, v)| row(*a, *v))
        .collect();
    let kept = LEFT_OUT..rows.len() - LEFT_OUT;
    let tenths: Vec<Vec<f64>> = rows[kept.clone()]
        .chunks_exact(TENTH)
        .map(|c| {
            (0..c[0].len())
                .map(|k| c.iter().map(|r| r[k]).sum::<f64>() / TENTH as f64)
                .collect()
        })
        .collect();
    let force_n: Vec<f64> = columns[1][kept]
        .chunks_exact(TENTH)
        .map(|c| FORCE_N_PER_V * c.iter().sum::<f64>() / TENTH as f64)
        .collect();
    let design = DMatrix::from_fn(tenths.len(), tenths[0].len(), |i, k| tenths[i][k]);
    let fit = weighted_least_squares(&design, &force_n, None)
        .expect("the measured motion tells the parameters apart");
    let size = force_n.iter().map(|f| f * f).sum::<f64>().sqrt();
    let relative = fit.residual_ss.sqrt() / size;
    Some((fit, relative))
}

/// (name, published estimate, published standard deviation)
type Published = (&'static str, f64, f64);

fn compare(fit: &LinearFit, published: &[Published]) {
    let errors = fit.standard_errors().unwrap();
    for ((b, u), (name, estimate, sd)) in fit.coefficients.iter().zip(&errors).zip(published) {
        println!("EMPS {name}: {b:.4} ({u:.4}), published {estimate} ({sd})");
        assert!(
            (b / estimate - 1.0).abs() < 0.005,
            "{name}: {b} instead of {estimate}"
        );
        assert!(
            (u / sd - 1.0).abs() < 0.02,
            "{name}: standard deviation {u} instead of {sd}"
        );
    }
}

/// Published [S]; relative error 4.0834 %.
#[test]
fn published_inertia_and_friction_come_out_within_half_a_per_cent() {
    let Some((fit, relative)) = identify(|a, v| vec![a, v, v.signum(), 1.0]) else {
        return;
    };
    let published = [
        ("mass, kg", 95.1089, 0.1085),
        ("viscous friction, N·s/m", 203.5034, 1.1460),
        ("Coulomb friction, N", 20.3935, 0.1012),
        ("offset, N", -3.1648, 0.0444),
    ];
    compare(&fit, &published);
    assert!(
        (relative - 0.040834).abs() < 0.0002,
        "relative error {relative}"
    );
}

/// Published [S]; relative error 3.1117 %.
#[test]
fn published_friction_of_each_direction_comes_out_within_half_a_per_cent() {
    let split = |a: f64, v: f64| {
        let (forward, backward) = (f64::from(v > 0.0), f64::from(v < 0.0));
        vec![a, v * forward, forward, v * backward, -backward]
    };
    let Some((fit, relative)) = identify(split) else {
        return;
    };
    let published = [
        ("mass, kg", 95.1540, 0.0827),
        ("viscous friction forward, N·s/m", 166.7061, 1.2326),
        ("Coulomb friction forward, N", 20.1440, 0.1088),
        ("viscous friction backward, N·s/m", 240.4236, 1.2346),
        ("Coulomb friction backward, N", 20.6277, 0.1091),
    ];
    compare(&fit, &published);
    assert!(
        (relative - 0.031117).abs() < 0.0002,
        "relative error {relative}"
    );
}
