//! What repeating a whole measurement changes, mounting the surface and the rig included: the spread of earlier recordings
//! between which nothing was done. Knows nothing of surfaces; which recordings are repeats is not decided here.
//!
//! After JCGM 100:2008, H.5.2 (analysis of variance): where recordings differ by more than the scatter within them
//! explains, only their own spread tells how well one of them is known. The scatter within is part of that spread, and so
//! is not added to it. What all recordings share does not show in it.
//!
//! A fault that grows from recording to recording is no spread of repeats. So the spread is taken from what each differs by from
//! the one before it, not from their mean: half the mean square successive difference (J. von Neumann, R. H. Kent,
//! H. R. Bellinson, B. I. Hart, The mean square successive difference, Annals of Mathematical Statistics 12 (1941) 153, from
//! memory). Of n independent normal values it is the variance without bias, and its own variance is (3n − 4)/(n − 1)²
//! times σ⁴ (ibid.): as much as of a χ² with 2(n − 1)²/(3n − 4) degrees of freedom.

/// Repeats needed before their spread says anything: 1.6 degrees of freedom.
pub const FEWEST_REPEATS: usize = 3;

/// The spread of repeats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    pub recordings: usize,
    /// Standard deviation of one recording's value about a course that changes slowly, in the value's unit.
    pub sd: f64,
}

impl Spread {
    /// Of values in the order of time, either way round. `None` of fewer than [`FEWEST_REPEATS`].
    pub fn of(values: &[f64]) -> Option<Self> {
        if values.len() < FEWEST_REPEATS {
            return None;
        }
        let steps = values.windows(2).map(|pair| pair[1] - pair[0]);
        let squares: f64 = steps.map(|step| step * step).sum();
        Some(Self {
            recordings: values.len(),
            sd: (squares / (2.0 * (values.len() as f64 - 1.0))).sqrt(),
        })
    }

    /// Standard uncertainty of the difference of two further recordings, √2·s, and its degrees of freedom.
    pub fn of_a_difference(&self) -> (f64, f64) {
        let n = self.recordings as f64;
        (
            std::f64::consts::SQRT_2 * self.sd,
            2.0 * (n - 1.0).powi(2) / (3.0 * n - 4.0),
        )
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, Normal};

    use super::*;
    use crate::analysis::stats::student;

    #[test]
    fn spread_by_hand() {
        // Steps 2 and −1: squares 4 + 1, over twice 2.
        let spread = Spread::of(&[2.0, 4.0, 3.0]).unwrap();
        assert_eq!((spread.recordings, spread.sd), (3, 1.25_f64.sqrt()));
        let (u, df) = spread.of_a_difference();
        // 2·4/5.
        assert!((u * u - 2.5).abs() < 1e-12 && (df - 1.6).abs() < 1e-12);
    }

    #[test]
    fn two_recordings_say_nothing_of_their_spread() {
        assert!(Spread::of(&[2.0, 3.0]).is_none());
    }

    #[test]
    fn a_slow_drift_is_hardly_counted_as_spread() {
        // 3 to 13.6 in ten steps of 1.18: about their mean they scatter by 3.6.
        let drift: Vec<f64> = (0..10).map(|i| 3.0 + 1.178 * f64::from(i)).collect();
        let spread = Spread::of(&drift).unwrap();
        assert!((spread.sd - 1.178 / 2.0_f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn of_independent_repeats_neither_the_spread_nor_its_degrees_of_freedom_is_off() {
        let mut chance = rand_chacha::ChaCha8Rng::seed_from_u64(41);
        let normal = Normal::new(5.0, 1.0).unwrap();
        let rounds = 40_000;
        for n in [3, 5, 10, 20] {
            let (mut sum, mut squares, mut called) = (0.0, 0.0, 0);
            let mut told_df = 0.0;
            for _ in 0..rounds {
                let values: Vec<f64> = (0..n).map(|_| normal.sample(&mut chance)).collect();
                let spread = Spread::of(&values).unwrap();
                let variance = spread.sd.powi(2);
                sum += variance;
                squares += variance * variance;
                let further = normal.sample(&mut chance) - normal.sample(&mut chance);
                let (u, df) = spread.of_a_difference();
                called += usize::from(student::t_two_sided_p(further / u, df) < 0.05);
                told_df = df;
            }
            let mean = sum / f64::from(rounds);
            // Of χ² over its degrees of freedom: variance 2/df.
            let df = 2.0 * mean * mean / (squares / f64::from(rounds) - mean * mean);
            assert!((mean - 1.0).abs() < 0.02, "{n}: variance {mean}");
            assert!((df / told_df - 1.0).abs() < 0.06, "{n}: {df}, {told_df}");
            // Never more than promised; of so few a little less.
            let share = called as f64 / f64::from(rounds);
            assert!((0.03..0.055).contains(&share), "{n}: called in {share}");
        }
    }
}
