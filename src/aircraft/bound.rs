//! What a number of a file may be, and how that is said.

/// What a number may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Bound {
    Positive,
    NotNegative,
    NotZero,
    /// Above 0, at most 1.
    Share,
    AboveOne,
    /// Both ends included.
    Within(f64, f64),
}

impl Bound {
    pub fn holds(self, value: f64) -> bool {
        value.is_finite()
            && match self {
                Bound::Positive => value > 0.0,
                Bound::NotNegative => value >= 0.0,
                Bound::NotZero => value != 0.0,
                Bound::Share => value > 0.0 && value <= 1.0,
                Bound::AboveOne => value > 1.0,
                Bound::Within(lowest, highest) => (lowest..=highest).contains(&value),
            }
    }

    pub fn words(self) -> String {
        match self {
            Bound::Positive => "a number above 0".to_owned(),
            Bound::NotNegative => "0 or a number above it".to_owned(),
            Bound::NotZero => "a number other than 0".to_owned(),
            Bound::Share => "a share above 0 and at most 1".to_owned(),
            Bound::AboveOne => "a number above 1".to_owned(),
            Bound::Within(lowest, highest) => format!("a number from {lowest} to {highest}"),
        }
    }
}
