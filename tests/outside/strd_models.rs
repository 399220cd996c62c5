//! The 27 models of NIST's nonlinear reference sets, as printed in the files' headers.

/// Value of the model of a set at parameters `b` and predictors `x`.
pub type Model = fn(b: &[f64], x: &[f64]) -> f64;

fn rational(numerator: &[f64], denominator: &[f64], x: f64) -> f64 {
    let horner = |c: &[f64], start: f64| c.iter().rev().fold(start, |sum, c| sum * x + c);
    horner(numerator, 0.0) / (1.0 + x * horner(denominator, 0.0))
}

fn three_decays(b: &[f64], x: &[f64]) -> f64 {
    b.chunks(2).map(|p| p[0] * (-p[1] * x[0]).exp()).sum()
}

fn two_peaks_on_a_decay(b: &[f64], x: &[f64]) -> f64 {
    let peak = |height: f64, at: f64, width: f64| height * (-((x[0] - at) / width).powi(2)).exp();
    b[0] * (-b[1] * x[0]).exp() + peak(b[2], b[3], b[4]) + peak(b[5], b[6], b[7])
}

fn chwirut(b: &[f64], x: &[f64]) -> f64 {
    (-b[0] * x[0]).exp() / (b[1] + b[2] * x[0])
}

fn saturating(b: &[f64], x: &[f64]) -> f64 {
    b[0] * (1.0 - (-b[1] * x[0]).exp())
}

fn enso(b: &[f64], x: &[f64]) -> f64 {
    let turn = std::f64::consts::TAU * x[0];
    let wave = |period: f64, c: f64, s: f64| c * (turn / period).cos() + s * (turn / period).sin();
    b[0] + wave(12.0, b[1], b[2]) + wave(b[3], b[4], b[5]) + wave(b[6], b[7], b[8])
}

/// Every set with its model. Nelson's y is fitted as its logarithm.
pub const MODELS: [(&str, Model); 27] = [
    ("Bennett5", |b, x| b[0] * (b[1] + x[0]).powf(-1.0 / b[2])),
    ("BoxBOD", saturating),
    ("Chwirut1", chwirut),
    ("Chwirut2", chwirut),
    ("DanWood", |b, x| b[0] * x[0].powf(b[1])),
    ("ENSO", enso),
    ("Eckerle4", |b, x| {
        b[0] / b[1] * (-0.5 * ((x[0] - b[2]) / b[1]).powi(2)).exp()
    }),
    ("Gauss1", two_peaks_on_a_decay),
    ("Gauss2", two_peaks_on_a_decay),
    ("Gauss3", two_peaks_on_a_decay),
    ("Hahn1", |b, x| rational(&b[..4], &b[4..], x[0])),
    ("Kirby2", |b, x| rational(&b[..3], &b[3..], x[0])),
    ("Lanczos1", three_decays),
    ("Lanczos2", three_decays),
    ("Lanczos3", three_decays),
    ("MGH09", |b, x| {
        b[0] * (x[0] * x[0] + x[0] * b[1]) / (x[0] * x[0] + x[0] * b[2] + b[3])
    }),
    ("MGH10", |b, x| b[0] * (b[1] / (x[0] + b[2])).exp()),
    ("MGH17", |b, x| {
        b[0] + b[1] * (-x[0] * b[3]).exp() + b[2] * (-x[0] * b[4]).exp()
    }),
    ("Misra1a", saturating),
    ("Misra1b", |b, x| {
        b[0] * (1.0 - (1.0 + 0.5 * b[1] * x[0]).powi(-2))
    }),
    ("Misra1c", |b, x| {
        b[0] * (1.0 - (1.0 + 2.0 * b[1] * x[0]).powf(-0.5))
    }),
    ("Misra1d", |b, x| b[0] * b[1] * x[0] / (1.0 + b[1] * x[0])),
    ("Nelson", |b, x| b[0] - b[1] * x[0] * (-b[2] * x[1]).exp()),
    ("Rat42", |b, x| b[0] / (1.0 + (b[1] - b[2] * x[0]).exp())),
    ("Rat43", |b, x| {
        b[0] / (1.0 + (b[1] - b[2] * x[0]).exp()).powf(1.0 / b[3])
    }),
    ("Roszman1", |b, x| {
        b[0] - b[1] * x[0] - (b[2] / (x[0] - b[3])).atan() / std::f64::consts::PI
    }),
    ("Thurber", |b, x| rational(&b[..4], &b[4..], x[0])),
];
