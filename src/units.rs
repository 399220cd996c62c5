//! The one place that formats a quantity for people, and the torque units a builder may ask for.
//! Nothing here measures or judges. Inside the program torque is N·cm, angle is degree, length is mm.

use std::fmt;
use std::str::FromStr;

/// A torque unit to show. JSON keeps N·cm whatever is chosen here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TorqueUnit {
    #[default]
    NewtonCentimetre,
    KilogramCentimetre,
    OunceInch,
    NewtonMetre,
}

impl TorqueUnit {
    pub const ALL: [TorqueUnit; 4] = [
        Self::NewtonCentimetre,
        Self::KilogramCentimetre,
        Self::OunceInch,
        Self::NewtonMetre,
    ];

    /// One N·cm in this unit. Standard gravity 9.806 65 m/s² (ISO 80000-3, by definition),
    /// ounce 28.349 523 125 g and inch 25.4 mm (international yard and pound agreement of 1959, exact).
    pub fn per_ncm(self) -> f64 {
        const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;
        match self {
            Self::NewtonCentimetre => 1.0,
            Self::KilogramCentimetre => 1.0 / STANDARD_GRAVITY_M_S2,
            Self::OunceInch => 1.0 / (0.028_349_523_125 * STANDARD_GRAVITY_M_S2 * 2.54),
            Self::NewtonMetre => 0.01,
        }
    }

    pub fn symbol(self) -> &'static str {
        match self {
            Self::NewtonCentimetre => "N·cm",
            Self::KilogramCentimetre => "kg·cm",
            Self::OunceInch => "oz·in",
            Self::NewtonMetre => "N·m",
        }
    }
}

impl fmt::Display for TorqueUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// `ncm`, `kgcm`, `ozin`, `nm`, or the symbols as one writes them: `N·cm`, `kg-cm`, `oz in`…
impl FromStr for TorqueUnit {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        // Newtons are capital by rule, but nobody types them so at a prompt; `mNm` and the like stay unknown.
        let letters: String = text
            .chars()
            .filter(|c| !matches!(c, '·' | '⋅' | '.' | '*' | '-' | '_' | ' '))
            .collect();
        match letters.to_lowercase().as_str() {
            "ncm" => Ok(Self::NewtonCentimetre),
            "kgcm" | "kgfcm" => Ok(Self::KilogramCentimetre),
            "ozin" | "ozfin" => Ok(Self::OunceInch),
            "nm" => Ok(Self::NewtonMetre),
            _ => Err(format!(
                "no torque unit \"{text}\"; it is one of ncm, kgcm, ozin, nm"
            )),
        }
    }
}

/// What a number is. It holds the number as the program does (N·cm, degree, mm, mA, mΩ, a share of one)
/// and says how it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// From N·cm.
    Torque(TorqueUnit),
    /// From N·cm per degree.
    Stiffness(TorqueUnit),
    Degree,
    Millimetre,
    Milliampere,
    Ampere,
    MilliampereHour,
    WattHour,
    Milliohm,
    /// From a share of one, shown in per cent.
    Share,
    Volt,
    Second,
    Millisecond,
    Microsecond,
    /// Time for 60° of a servo's arm, s.
    SecondPer60,
    Hertz,
    MetrePerSecond,
    /// Shown as it is, with this symbol.
    Plain(&'static str),
}

impl Unit {
    /// What the program's own number is multiplied by to be shown.
    pub fn factor(self) -> f64 {
        match self {
            Unit::Torque(unit) | Unit::Stiffness(unit) => unit.per_ncm(),
            Unit::Share => 100.0,
            _ => 1.0,
        }
    }

    /// The symbol with the space before it, if one belongs there.
    pub fn suffix(self) -> String {
        match self {
            Unit::Torque(unit) => format!(" {unit}"),
            Unit::Stiffness(unit) => format!(" {unit}/°"),
            Unit::Degree => "°".into(),
            Unit::Millimetre => " mm".into(),
            Unit::Milliampere => " mA".into(),
            Unit::Ampere => " A".into(),
            Unit::MilliampereHour => " mAh".into(),
            Unit::WattHour => " Wh".into(),
            Unit::Milliohm => " mΩ".into(),
            Unit::Share => " %".into(),
            Unit::Volt => " V".into(),
            Unit::Second => " s".into(),
            Unit::Millisecond => " ms".into(),
            Unit::Microsecond => " µs".into(),
            Unit::SecondPer60 => " s/60°".into(),
            Unit::Hertz => " Hz".into(),
            Unit::MetrePerSecond => " m/s".into(),
            Unit::Plain(symbol) => format!(" {symbol}"),
        }
    }

    /// A number without an interval, to three significant digits: `8.40 N·cm`.
    pub fn plain(self, value: f64) -> String {
        match significant(value * self.factor(), 3) {
            Some(number) => number + &self.suffix(),
            None => NOT_A_NUMBER.into(),
        }
    }

    /// A place along the travel, to a tenth: where something stands, not how well that is known.
    pub fn place(self, value: f64) -> String {
        match (value * self.factor()).is_finite() {
            true => fixed(value * self.factor(), 1) + &self.suffix(),
            false => NOT_A_NUMBER.into(),
        }
    }

    /// A place on either side of neutral, to a tenth and with its sign: `+23.9°`, `−21.9°`.
    pub fn side(self, value: f64) -> String {
        match (value * self.factor()).is_finite() {
            true => signed(value * self.factor(), 1) + &self.suffix(),
            false => NOT_A_NUMBER.into(),
        }
    }

    /// A number as a data sheet or a manual gives it, without zeros at its end: `24 mm`, `0.5°`.
    pub fn given(self, value: f64) -> String {
        let shown = value * self.factor();
        if !shown.is_finite() {
            return NOT_A_NUMBER.into();
        }
        let decimals = decimals_for(shown, 4).clamp(0, MOST_DECIMALS);
        let number = fixed(shown, decimals);
        let number = if number.contains('.') {
            number.trim_end_matches('0').trim_end_matches('.')
        } else {
            &number
        };
        format!("{number}{}", self.suffix())
    }

    /// Value and half width of its interval, both to the last of two significant digits of the half width:
    /// `0.312 ± 0.011 N·cm/°`.
    pub fn plus_minus(self, value: f64, half_width: f64) -> String {
        match pair(value * self.factor(), half_width * self.factor()) {
            Some((number, half)) => format!("{number} ± {half}{}", self.suffix()),
            None => self.plain(value),
        }
    }

    /// A number to a tenth, for a glance: the half width is rounded up, what the number loses by rounding included, so that
    /// the interval stays within what is shown. `25.1 ± 0.1 mm`.
    pub fn to_a_tenth(self, value: f64, half_width: Option<f64>) -> String {
        let shown = value * self.factor();
        let half = half_width.map(|h| h * self.factor());
        match half.filter(|h| h.is_finite() && *h >= 0.0) {
            Some(half) if shown.is_finite() => {
                let lost = (shown - (shown * 10.0).round() / 10.0).abs();
                // A hair below the next tenth is that tenth.
                let tenths = ((half + lost) * 10.0 - 1e-9).ceil();
                let (number, half) = (fixed(shown, 1), fixed(tenths / 10.0, 1));
                format!("{number} ± {half}{}", self.suffix())
            }
            _ => self.place(value),
        }
    }

    /// Value and interval; where the interval is lopsided its ends are given: `3.1 (2.6 to 4.9) N·cm`.
    pub fn with_interval(self, value: f64, lo: f64, hi: f64) -> String {
        let (below, above) = (value - lo, hi - value);
        if !(value.is_finite() && below.is_finite() && above.is_finite())
            || below < 0.0
            || above < 0.0
        {
            return self.plain(value);
        }
        let (narrow, wide) = if below < above {
            (below, above)
        } else {
            (above, below)
        };
        if narrow >= 0.9 * wide {
            return self.plus_minus(value, wide);
        }
        let factor = self.factor();
        let decimals = decimals_for(wide * factor, 2);
        let [value, lo, hi] = [value, lo, hi].map(|x| fixed(x * factor, decimals));
        format!("{value} ({lo} to {hi}){}", self.suffix())
    }
}

/// Shown in place of a number that is none.
pub const NOT_A_NUMBER: &str = "no number";

/// More decimals than this help nobody; smaller numbers are shown by a power of ten.
const MOST_DECIMALS: i32 = 6;

/// To so many significant digits; `None` if it is not a number.
pub fn significant(value: f64, digits: i32) -> Option<String> {
    value
        .is_finite()
        .then(|| fixed(value, decimals_for(value, digits)))
}

/// Value and uncertainty, the uncertainty to two significant digits and the value to match (JCGM 100, 7.2.6).
/// `None` if either is not a number, or the uncertainty is negative.
pub fn pair(value: f64, uncertainty: f64) -> Option<(String, String)> {
    if !value.is_finite() || !uncertainty.is_finite() || uncertainty < 0.0 {
        return None;
    }
    if uncertainty == 0.0 {
        return Some((significant(value, 3)?, "0".into()));
    }
    let decimals = decimals_for(uncertainty, 2);
    Some((fixed(value, decimals), fixed(uncertainty, decimals)))
}

/// Decimals that show `value` to so many significant digits, after rounding (0.0996 to two digits is 0.10).
/// Negative: digits before the point that are rounded away.
fn decimals_for(value: f64, digits: i32) -> i32 {
    if value == 0.0 || !value.is_finite() {
        return digits - 1;
    }
    let first = value.abs().log10().floor() as i32;
    let decimals = digits - 1 - first;
    let grown = (value.abs() * 10f64.powi(decimals)).round() >= 10f64.powi(digits);
    if grown { decimals - 1 } else { decimals }
}

/// The one place where a number is rounded for people. A true minus sign; no minus before a zero.
pub fn fixed(value: f64, decimals: i32) -> String {
    if !value.is_finite() {
        return NOT_A_NUMBER.into();
    }
    let text =
        if value != 0.0 && (decimals > MOST_DECIMALS && value.abs() < 1e-3 || value.abs() >= 1e9) {
            format!("{value:.1e}")
        } else if decimals >= 0 {
            format!("{value:.*}", decimals.min(MOST_DECIMALS) as usize)
        } else {
            let step = 10f64.powi(-decimals);
            format!("{:.0}", (value / step).round() * step)
        };
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.into(),
        Some(rest) => format!("−{}", rest.replace("e-", "e−")),
        None => text.replace("e-", "e−"),
    }
}

/// As [`fixed`], with its sign even where it is positive.
pub fn signed(value: f64, decimals: i32) -> String {
    let text = fixed(value, decimals);
    let is_nought = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value > 0.0 && value.is_finite() && !is_nought {
        format!("+{text}")
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NCM: TorqueUnit = TorqueUnit::NewtonCentimetre;

    #[test]
    fn at_a_glance_an_interval_never_gets_narrower() {
        let mm = |value, half| Unit::Millimetre.to_a_tenth(value, half);
        assert_eq!(mm(25.074, Some(0.045)), "25.1 ± 0.1 mm");
        assert_eq!(mm(25.1, Some(0.1)), "25.1 ± 0.1 mm");
        assert_eq!(mm(25.14, Some(0.08)), "25.1 ± 0.2 mm");
        assert_eq!(mm(-0.04, None), "0.0 mm");
        assert_eq!(
            Unit::Share.to_a_tenth(0.05165, Some(0.00051)),
            "5.2 ± 0.1 %"
        );
        assert_eq!(mm(f64::NAN, Some(1.0)), NOT_A_NUMBER);
    }

    #[test]
    fn an_uncertainty_has_two_digits_and_the_value_matches_it() {
        assert_eq!(
            Unit::Stiffness(NCM).plus_minus(0.31234, 0.01061),
            "0.312 ± 0.011 N·cm/°"
        );
        assert_eq!(Unit::Degree.plus_minus(16.2, 0.6), "16.20 ± 0.60°");
        assert_eq!(Unit::Share.plus_minus(0.2412, 0.013), "24.1 ± 1.3 %");
        assert_eq!(
            Unit::Torque(NCM).plus_minus(-0.04, 0.12),
            "−0.04 ± 0.12 N·cm"
        );
    }

    #[test]
    fn rounding_up_to_a_new_digit_does_not_add_one() {
        // GUM-style rounding of 0.0996: two digits are 0.10, not 0.100.
        assert_eq!(pair(1.23456, 0.0996), Some(("1.23".into(), "0.10".into())));
        assert_eq!(pair(1.23456, 9.96), Some(("1".into(), "10".into())));
        assert_eq!(significant(0.9996, 3), Some("1.00".into()));
    }

    #[test]
    fn nought_and_no_uncertainty_are_shown_as_such() {
        assert_eq!(pair(0.0, 0.0), Some(("0.00".into(), "0".into())));
        assert_eq!(pair(24.0, 0.0), Some(("24.0".into(), "0".into())));
        assert_eq!(fixed(-0.0001, 2), "0.00");
        assert_eq!(fixed(-0.0, 0), "0");
        assert_eq!(Unit::Millimetre.plain(0.0), "0.00 mm");
    }

    #[test]
    fn huge_and_tiny_numbers_stay_short() {
        assert_eq!(
            pair(123_456.0, 1_234.0),
            Some(("123500".into(), "1200".into()))
        );
        assert_eq!(
            pair(1e308, 1e300),
            Some(("1.0e308".into(), "1.0e300".into()))
        );
        assert_eq!(
            pair(3.2e-9, 1.1e-10),
            Some(("3.2e−9".into(), "1.1e−10".into()))
        );
        assert_eq!(
            Unit::Torque(TorqueUnit::NewtonMetre).plus_minus(1e308, 1e307),
            "1.0e306 ± 1.0e305 N·m"
        );
        assert_eq!(
            Unit::Share.plain(1e307),
            NOT_A_NUMBER,
            "a hundred times that is beyond any f64"
        );
        assert_eq!(
            pair(5.0, 1e-300),
            Some(("5.000000".into(), "1.0e−300".into()))
        );
        assert_eq!(significant(f64::MIN_POSITIVE, 3), Some("2.2e−308".into()));
        assert_eq!(significant(5e-324, 3), Some("4.9e−324".into()));
    }

    #[test]
    fn what_is_no_number_is_never_shown_as_one() {
        assert_eq!(Unit::Degree.plus_minus(f64::NAN, 1.0), NOT_A_NUMBER);
        assert_eq!(Unit::Degree.plus_minus(2.0, f64::NAN), "2.00°");
        assert_eq!(Unit::Degree.plus_minus(2.0, f64::INFINITY), "2.00°");
        assert_eq!(Unit::Degree.plus_minus(2.0, -1.0), "2.00°");
        assert_eq!(Unit::Degree.given(f64::INFINITY), NOT_A_NUMBER);
        assert_eq!(Unit::Degree.with_interval(2.0, f64::NAN, 3.0), "2.00°");
        assert_eq!(fixed(f64::NAN, 2), NOT_A_NUMBER);
    }

    #[test]
    fn a_lopsided_interval_is_given_by_its_ends() {
        assert_eq!(
            Unit::Torque(NCM).with_interval(3.1, 2.6, 4.9),
            "3.1 (2.6 to 4.9) N·cm"
        );
        assert_eq!(
            Unit::Torque(NCM).with_interval(3.1, 2.6, 3.6),
            "3.10 ± 0.50 N·cm"
        );
    }

    #[test]
    fn a_side_of_neutral_has_a_plus_or_a_true_minus_and_neutral_none() {
        assert_eq!(Unit::Degree.side(23.94), "+23.9°");
        assert_eq!(Unit::Degree.side(-21.9), "−21.9°");
        assert_eq!(Unit::Degree.side(0.04), "0.0°");
        assert_eq!(Unit::Degree.side(f64::INFINITY), NOT_A_NUMBER);
        assert_eq!(signed(-0.001, 2), "0.00");
    }

    #[test]
    fn a_given_number_has_no_idle_zeros() {
        assert_eq!(Unit::Millimetre.given(24.0), "24 mm");
        assert_eq!(Unit::Millimetre.given(23.857), "23.86 mm");
        assert_eq!(Unit::Degree.given(0.5), "0.5°");
        assert_eq!(Unit::Milliampere.given(400.0), "400 mA");
        assert_eq!(Unit::Share.given(0.3), "30 %");
    }

    #[test]
    fn torque_is_turned_into_each_unit() {
        // 1 kgf·cm = 9.80665 N·cm by definition; 1 ozf·in = 0.706155 N·cm (NIST SP 811, appendix B.8, from memory).
        assert!((TorqueUnit::KilogramCentimetre.per_ncm() * 9.806_65 - 1.0).abs() < 1e-12);
        assert!((TorqueUnit::OunceInch.per_ncm() * 0.706_155 - 1.0).abs() < 1e-6);
        assert_eq!(
            Unit::Torque(TorqueUnit::NewtonMetre).plain(210.0),
            "2.10 N·m"
        );
        assert_eq!(
            Unit::Stiffness(TorqueUnit::KilogramCentimetre).plus_minus(0.312, 0.011),
            "0.0318 ± 0.0011 kg·cm/°"
        );
    }

    #[test]
    fn a_unit_is_read_by_name_or_by_symbol() {
        for (text, unit) in [
            ("ncm", TorqueUnit::NewtonCentimetre),
            ("N·cm", TorqueUnit::NewtonCentimetre),
            ("kg·cm", TorqueUnit::KilogramCentimetre),
            ("kg-cm", TorqueUnit::KilogramCentimetre),
            ("OZ in", TorqueUnit::OunceInch),
            ("oz.in", TorqueUnit::OunceInch),
            ("nm", TorqueUnit::NewtonMetre),
            ("N·m", TorqueUnit::NewtonMetre),
        ] {
            assert_eq!(text.parse(), Ok(unit), "{text}");
        }
        for unit in TorqueUnit::ALL {
            assert_eq!(unit.symbol().parse(), Ok(unit));
        }
        assert!(
            "furlong"
                .parse::<TorqueUnit>()
                .unwrap_err()
                .contains("ncm, kgcm, ozin, nm")
        );
        assert!("".parse::<TorqueUnit>().is_err());
    }
}
