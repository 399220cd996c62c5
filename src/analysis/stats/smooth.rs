//! Smoothing and slopes of sampled signals: Savitzky–Golay where spacing is even, running straight lines where it is not.

use super::regression::weighted_least_squares;
use nalgebra::DMatrix;

/// A Savitzky–Golay filter (A. Savitzky and M. J. E. Golay, Analytical Chemistry 36, 1964, 1627): every output is the
/// value, or the slope, at its place of the polynomial fitted to the window around it.
///
/// The first and last half windows take the polynomial of the first and last whole window.
#[derive(Debug, Clone)]
pub struct SavitzkyGolay {
    window: usize,
    /// Row k: weights over the window that give the k-th coefficient of the polynomial in x = (i − half)/half.
    projector: DMatrix<f64>,
}

impl SavitzkyGolay {
    /// `window`: samples, odd, more than `order`. `order`: 1 to 4. `None` otherwise.
    pub fn new(window: usize, order: usize) -> Option<Self> {
        if window.is_multiple_of(2) || !(1..=4).contains(&order) || window <= order {
            return None;
        }
        let half = (window / 2) as f64;
        let design = DMatrix::from_fn(window, order + 1, |i, k| {
            ((i as f64 - half) / half).powi(k as i32)
        });
        // One fit gives (XᵀX)⁻¹; times Xᵀ that is the projector. Positions within ±1 keep it well conditioned.
        let inverse =
            weighted_least_squares(&design, &vec![0.0; window], None)?.unscaled_covariance;
        Some(Self {
            window,
            projector: inverse * design.transpose(),
        })
    }

    /// Smoothed values, in the unit of `y`. `None` where `y` is shorter than the window. A NaN spoils what its window
    /// touches and nothing else.
    pub fn smooth(&self, y: &[f64]) -> Option<Vec<f64>> {
        self.run(y, |offset| self.value_weights(offset))
    }

    /// First derivative, in the unit of `y` over that of `spacing`. `None` where `y` is shorter than the window or
    /// `spacing` is not positive.
    pub fn derivative(&self, y: &[f64], spacing: f64) -> Option<Vec<f64>> {
        if !(spacing > 0.0 && spacing.is_finite()) {
            return None;
        }
        self.run(y, |offset| self.slope_weights(offset, spacing))
    }

    /// Weights over the window for the value `offset` samples from its middle.
    pub fn value_weights(&self, offset: isize) -> Vec<f64> {
        let x = offset as f64 / self.half() as f64;
        self.combine_rows(|k| x.powi(k as i32))
    }

    /// Weights over the window for the slope `offset` samples from its middle.
    pub fn slope_weights(&self, offset: isize, spacing: f64) -> Vec<f64> {
        let half = self.half() as f64;
        let x = offset as f64 / half;
        self.combine_rows(|k| {
            if k == 0 {
                0.0
            } else {
                k as f64 * x.powi(k as i32 - 1) / (half * spacing)
            }
        })
    }

    fn half(&self) -> usize {
        self.window / 2
    }

    fn combine_rows(&self, factor: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut weights = vec![0.0; self.window];
        for (k, row) in self.projector.row_iter().enumerate() {
            let factor = factor(k);
            for (w, p) in weights.iter_mut().zip(row.iter()) {
                *w += factor * p;
            }
        }
        weights
    }

    fn run(&self, y: &[f64], weights: impl Fn(isize) -> Vec<f64>) -> Option<Vec<f64>> {
        let (n, half) = (y.len(), self.half());
        if n < self.window {
            return None;
        }
        let mut out = Vec::with_capacity(n);
        let (first, last) = (&y[..self.window], &y[n - self.window..]);
        out.extend((0..half).map(|i| dot(&weights(i as isize - half as isize), first)));
        // Weight by weight over the whole signal: long runs of independent sums, which the compiler can do many at once.
        out.resize(n - half, 0.0);
        for (k, w) in weights(0).into_iter().enumerate() {
            for (o, v) in out[half..].iter_mut().zip(&y[k..]) {
                *o += w * v;
            }
        }
        out.extend((1..=half).map(|i| dot(&weights(i as isize), last)));
        Some(out)
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Straight lines fitted around every sample: their value and slope at the sample's time.
#[derive(Debug, Clone, PartialEq)]
pub struct LocalLines {
    /// Unit of y. NaN where the window holds no reading.
    pub value: Vec<f64>,
    /// Unit of y per unit of time. NaN where the window holds fewer than two different times with readings.
    pub slope: Vec<f64>,
}

/// For every sample, the slope of the straight line fitted to the readings within ± half of `window_s` (see
/// [`local_lines`]).
pub fn local_linear_slope(t_s: &[f64], y: &[f64], window_s: f64) -> Vec<f64> {
    local_lines(t_s, y, window_s).slope
}

/// For every sample, the straight line fitted to the readings within ± half of `window_s`, in time that grows with the
/// number of samples alone. NaN in `y` is a missing reading and left out; a sample without a reading still gets the line
/// of its neighbours. `t_s` must be finite and never decrease; spacing is free. Slices of unequal length are read to the
/// shorter one.
pub fn local_lines(t_s: &[f64], y: &[f64], window_s: f64) -> LocalLines {
    let n = t_s.len().min(y.len());
    let half = 0.5 * window_s;
    let mut lines = LocalLines {
        value: Vec::with_capacity(n),
        slope: Vec::with_capacity(n),
    };
    // Begun around the first sample: origins far away cost digits.
    let mut sums = Sums::around(t_s.get(..1).unwrap_or(&[]), &[f64::NAN]);
    sums.y0 = y.iter().copied().find(|v| !v.is_nan()).unwrap_or(0.0);
    let (mut from, mut to, mut steps) = (0, 0, 0);
    for i in 0..n {
        while to < n && t_s[to] <= t_s[i] + half {
            sums.add(t_s[to], y[to], 1.0);
            to += 1;
            steps += 1;
        }
        while from < to && t_s[from] < t_s[i] - half {
            sums.add(t_s[from], y[from], -1.0);
            from += 1;
            steps += 1;
        }
        // Running sums gather rounding errors and drift away from their origin: begun anew, around the present sample,
        // each time a window's worth has passed, they stay exact and the whole stays linear in n.
        if steps > 2 * (to - from) {
            steps = 0;
            sums = Sums::around(&t_s[from..to], &y[from..to]);
        }
        let (value, slope) = sums.line_at(t_s[i]);
        lines.value.push(value);
        lines.slope.push(slope);
    }
    lines
}

/// Sums of a straight-line fit about an origin.
#[derive(Default)]
struct Sums {
    t0: f64,
    y0: f64,
    n: f64,
    t: f64,
    y: f64,
    tt: f64,
    ty: f64,
}

impl Sums {
    fn around(t_s: &[f64], y: &[f64]) -> Self {
        let t0 = t_s.get(t_s.len() / 2).copied().unwrap_or(0.0);
        let y0 = y.iter().copied().find(|v| !v.is_nan()).unwrap_or(0.0);
        let mut sums = Self {
            t0,
            y0,
            ..Self::default()
        };
        for (t, y) in t_s.iter().zip(y) {
            sums.add(*t, *y, 1.0);
        }
        sums
    }

    fn add(&mut self, t: f64, y: f64, sign: f64) {
        if y.is_nan() {
            return;
        }
        let (t, y) = (t - self.t0, y - self.y0);
        self.n += sign;
        self.t += sign * t;
        self.y += sign * y;
        self.tt += sign * t * t;
        self.ty += sign * t * y;
    }

    fn line_at(&self, at: f64) -> (f64, f64) {
        if self.n < 0.5 {
            return (f64::NAN, f64::NAN);
        }
        let (t, y) = (self.t / self.n, self.y / self.n);
        let stt = self.tt - self.n * t * t;
        // Times that differ by rounding alone carry no slope.
        if self.n < 1.5 || stt <= 1e-12 * self.tt.max(f64::MIN_POSITIVE) {
            return (y + self.y0, f64::NAN);
        }
        let slope = (self.ty - self.n * t * y) / stt;
        (self.y0 + y + slope * (at - self.t0 - t), slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_polynomial_of_the_filters_order_passes_unchanged_edges_included() {
        for order in 1..=4 {
            let poly = |x: f64| {
                (0..=order)
                    .map(|k| (x / 10.0).powi(k) * (1.0 + f64::from(k)))
                    .sum::<f64>()
            };
            let slope = |x: f64| {
                (1..=order)
                    .map(|k| f64::from(k) * (x / 10.0).powi(k - 1) / 10.0 * (1.0 + f64::from(k)))
                    .sum::<f64>()
            };
            let y: Vec<f64> = (0..40).map(|i| poly(f64::from(i) * 0.5)).collect();
            let filter = SavitzkyGolay::new(11, order as usize).unwrap();
            for (i, (v, d)) in filter
                .smooth(&y)
                .unwrap()
                .iter()
                .zip(filter.derivative(&y, 0.5).unwrap())
                .enumerate()
            {
                let x = i as f64 * 0.5;
                assert!(
                    (v - poly(x)).abs() < 1e-11 && (d - slope(x)).abs() < 1e-11,
                    "order {order} at {i}"
                );
            }
        }
    }

    #[test]
    fn a_window_that_makes_no_sense_is_refused() {
        assert!(SavitzkyGolay::new(4, 2).is_none());
        assert!(SavitzkyGolay::new(3, 3).is_none());
        assert!(SavitzkyGolay::new(5, 0).is_none());
        assert!(SavitzkyGolay::new(0, 1).is_none());
        assert!(SavitzkyGolay::new(1, 1).is_none());
        let filter = SavitzkyGolay::new(5, 2).unwrap();
        assert!(filter.smooth(&[1.0; 4]).is_none());
        assert!(filter.derivative(&[1.0; 9], 0.0).is_none());
    }

    #[test]
    fn running_lines_agree_with_lines_fitted_one_by_one() {
        // Uneven times far from zero, gaps of missing readings.
        let n = 3000;
        let t: Vec<f64> = (0..n)
            .map(|i| 5000.0 + 0.005 * i as f64 + 0.002 * (i as f64 * 1.7).sin())
            .collect();
        let y: Vec<f64> = t
            .iter()
            .enumerate()
            .map(|(i, t)| {
                if i % 97 < 5 {
                    f64::NAN
                } else {
                    1e3 + 20.0 * (t * 0.9).sin()
                }
            })
            .collect();
        let lines = local_lines(&t, &y, 0.1);
        for i in (0..n).step_by(37) {
            let near: Vec<usize> = (0..n)
                .filter(|&j| (t[j] - t[i]).abs() <= 0.05 && !y[j].is_nan())
                .collect();
            let design =
                DMatrix::from_fn(
                    near.len(),
                    2,
                    |r, c| if c == 0 { 1.0 } else { t[near[r]] - t[i] },
                );
            let ys: Vec<f64> = near.iter().map(|&j| y[j]).collect();
            let fit = weighted_least_squares(&design, &ys, None).unwrap();
            assert!(
                (lines.slope[i] - fit.coefficients[1]).abs() < 1e-6,
                "slope at {i}"
            );
            assert!(
                (lines.value[i] - fit.coefficients[0]).abs() < 1e-8,
                "value at {i}"
            );
        }
    }

    #[test]
    fn too_few_readings_give_no_slope() {
        let slope = local_linear_slope(&[0.0, 1.0, 1.0, 9.0], &[1.0, 2.0, 3.0, f64::NAN], 0.5);
        assert!(slope.iter().all(|s| s.is_nan()));
        assert!(local_linear_slope(&[], &[], 1.0).is_empty());
        assert_eq!(local_lines(&[3.0], &[7.0], 1.0).value, [7.0]);
    }
}
