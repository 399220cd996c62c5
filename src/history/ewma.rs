//! The EWMA control chart: an average in which the past fades, and the limits that it leaves by chance once in hundreds.
//! NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4. Values have their own unit; nothing is judged here.

/// How fast the past fades, and how wide the limits are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chart {
    /// The value that is to be held to.
    pub centre: f64,
    /// Standard deviation of one value.
    pub sigma: f64,
    /// How many values the centre was taken from, if it was: its own scatter widens the limits.
    pub centre_from: Option<usize>,
    /// Weight of the newest value, above 0 to 1.
    pub lambda: f64,
    /// Half the distance between the limits, in standard deviations of the average.
    pub width: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    pub average: f64,
    pub lower: f64,
    pub upper: f64,
}

impl Point {
    /// −1 below the limits, +1 above, 0 within.
    pub fn side(&self) -> i8 {
        i8::from(self.average > self.upper) - i8::from(self.average < self.lower)
    }
}

impl Chart {
    /// The limits long after the start, λ/(2 − λ) of the variance: lower and upper.
    pub fn settled_limits(&self) -> (f64, f64) {
        let half = self.half(0.0);
        (self.centre - half, self.centre + half)
    }

    /// The chart over values in their order: the variance of the i-th average is σ²·λ/(2 − λ)·(1 − (1 − λ)²ⁱ), besides the centre's.
    pub fn over(&self, values: &[f64]) -> Vec<Point> {
        let mut average = self.centre;
        let mut faded = 1.0;
        let step = |value: &f64| {
            average = self.lambda * value + (1.0 - self.lambda) * average;
            faded *= 1.0 - self.lambda;
            let half = self.half(faded);
            Point {
                average,
                lower: self.centre - half,
                upper: self.centre + half,
            }
        };
        values.iter().map(step).collect()
    }

    /// Half the distance between the limits where the start still weighs `faded`.
    fn half(&self, faded: f64) -> f64 {
        let centre = self
            .centre_from
            .map_or(0.0, |n| (1.0 - faded).powi(2) / n.max(1) as f64);
        let values = self.lambda / (2.0 - self.lambda) * (1.0 - faded.powi(2));
        self.width * self.sigma * (values + centre).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// e-Handbook 6.3.2.4: all values of its example, printed to two decimals [S, V].
    #[test]
    fn the_handbook_s_chart_comes_out_to_its_last_digit() {
        let values = [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3,
            47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
        ];
        let printed = [
            50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36,
            49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
        ];
        let chart = Chart {
            centre: 50.0,
            sigma: 2.0539,
            centre_from: None,
            lambda: 0.3,
            width: 3.0,
        };
        let points = chart.over(&values);
        for (point, printed) in points.iter().zip(printed) {
            assert!((point.average - printed).abs() <= 0.005 + 1e-9, "{printed}");
            assert_eq!(point.side(), 0);
        }
        let (lower, upper) = chart.settled_limits();
        assert!((upper - 52.5884).abs() < 5e-5, "{upper}");
        assert!((lower - 47.4116).abs() < 5e-5, "{lower}");
        let last = points.last().unwrap();
        assert!((last.upper - upper).abs() < 1e-5);
    }

    #[test]
    fn the_limits_widen_from_the_first_value_and_by_an_uncertain_centre() {
        let chart = Chart {
            centre: 0.0,
            sigma: 1.0,
            centre_from: None,
            lambda: 0.2,
            width: 3.0,
        };
        // The first average is 0.2 of one value: its limits are 0.6.
        assert!((chart.over(&[0.5])[0].upper - 0.6).abs() < 1e-12);
        let unsure = Chart {
            centre_from: Some(5),
            ..chart
        };
        assert!(unsure.over(&[0.5])[0].upper > 0.6);
        assert_eq!(chart.over(&[9.0])[0].side(), 1);
        assert_eq!(chart.over(&[-9.0])[0].side(), -1);
    }
}
