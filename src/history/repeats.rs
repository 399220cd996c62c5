//! What repeating a whole measurement changes, mounting the surface and the rig included: the spread of earlier recordings
//! between which nothing was done. Knows nothing of surfaces; which recordings are repeats is not decided here.
//!
//! After JCGM 100:2008, H.5.2 (analysis of variance): where recordings differ by more than the scatter within them
//! explains, only their own spread, s with n − 1 degrees of freedom (4.2.2), tells how well one of them is known. The
//! scatter within is part of that spread, and so is not added to it. What all recordings share does not show in it.

/// Repeats needed before their spread says anything: two degrees of freedom.
pub const FEWEST_REPEATS: usize = 3;

/// The spread of repeats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    pub recordings: usize,
    /// Experimental standard deviation of one recording's value, in the value's unit.
    pub sd: f64,
}

impl Spread {
    /// `None` of fewer than [`FEWEST_REPEATS`].
    pub fn of(values: &[f64]) -> Option<Self> {
        if values.len() < FEWEST_REPEATS {
            return None;
        }
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        Some(Self {
            recordings: values.len(),
            sd: (squares / (n - 1.0)).sqrt(),
        })
    }

    /// Standard uncertainty of the difference of two further recordings, √2·s, and its degrees of freedom.
    pub fn of_a_difference(&self) -> (f64, f64) {
        (
            std::f64::consts::SQRT_2 * self.sd,
            self.recordings as f64 - 1.0,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spread_by_hand() {
        // Mean 3; squares 1 + 0 + 1 over 2.
        let spread = Spread::of(&[2.0, 3.0, 4.0]).unwrap();
        assert_eq!((spread.recordings, spread.sd), (3, 1.0));
        let (u, df) = spread.of_a_difference();
        assert!((u * u - 2.0).abs() < 1e-12 && df == 2.0);
    }

    #[test]
    fn two_recordings_say_nothing_of_their_spread() {
        assert!(Spread::of(&[2.0, 3.0]).is_none());
    }
}
