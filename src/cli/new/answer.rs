//! An answer as a builder types it: a number with or without its unit, yes or no, or that it is not known.

use crate::units::TorqueUnit;

/// A number that is wanted: in which unit it is kept, and between what it can be true.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    pub kind: Kind,
    /// Both ends included; common practice, no source, and wide.
    pub between: (f64, f64),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// mm.
    Length,
    /// mm, or degrees where the answer says so.
    Travel,
    /// N·cm.
    Torque,
    Volt,
    /// m/s.
    Speed,
    /// s.
    Second,
    /// °/µs.
    DegPerUs,
}

impl Kind {
    /// The unit that a bare number is in.
    pub fn unit(self) -> &'static str {
        match self {
            Kind::Length | Kind::Travel => "mm",
            Kind::Torque => "N·cm",
            Kind::Volt => "V",
            Kind::Speed => "m/s",
            Kind::Second => "s",
            Kind::DegPerUs => "°/µs",
        }
    }

    /// What a question adds on units that may be written behind the number.
    pub fn behind(self) -> &'static str {
        match self {
            Kind::Travel => " (or degrees, with deg behind it)",
            Kind::Torque => " (or with kg·cm, N·m or oz·in behind it)",
            Kind::Speed => " (or with km/h behind it)",
            _ => "",
        }
    }

    /// Other units that are taken, for the reason of asking again.
    fn others(self) -> &'static str {
        match self {
            Kind::Length => "mm, cm or in",
            Kind::Travel => "mm, cm, in or deg",
            Kind::Torque => "N·cm, N·m, kg·cm or oz·in",
            Kind::Volt => "V",
            Kind::Speed => "m/s or km/h",
            Kind::Second => "s or ms",
            Kind::DegPerUs => "°/µs",
        }
    }

    /// How many of the kept unit one of this is.
    fn factor(self, unit: &str) -> Option<f64> {
        let plain = unit.to_lowercase();
        Some(match (self, plain.as_str()) {
            (_, "") => 1.0,
            (Kind::Length | Kind::Travel, "mm") => 1.0,
            (Kind::Length | Kind::Travel, "cm") => 10.0,
            // The international inch, exact.
            (Kind::Length | Kind::Travel, "in" | "inch" | "\"") => 25.4,
            (Kind::Torque, _) => 1.0 / unit.parse::<TorqueUnit>().ok()?.per_ncm(),
            (Kind::Volt, "v") => 1.0,
            (Kind::Speed, "m/s") => 1.0,
            (Kind::Speed, "km/h" | "kmh") => 1.0 / 3.6,
            (Kind::Second, "s") => 1.0,
            (Kind::Second, "ms") => 1e-3,
            (Kind::DegPerUs, "°/µs" | "deg/us" | "°/us") => 1.0,
            _ => return None,
        })
    }
}

/// A number in the kept unit, and whether it is degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number {
    pub value: f64,
    pub in_deg: bool,
}

/// Most degrees that a surface turns, as the aircraft file has it.
const MOST_DEG: f64 = 90.0;

impl Wanted {
    /// # Errors
    /// Why it is asked again.
    pub fn read(&self, answer: &str) -> Result<Number, String> {
        let text = answer.trim();
        let end = text
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+')))
            .unwrap_or(text.len());
        let (number, unit) = (text[..end].replace(',', "."), text[end..].trim());
        let kind = self.kind;
        let Ok(value) = number.parse::<f64>() else {
            return Err(format!(
                "a number is wanted here, in {}, for example 24 or 24.5{}",
                kind.unit(),
                if number.is_empty() {
                    ""
                } else {
                    "; write 1200, not 1,200"
                }
            ));
        };
        let degrees = matches!(
            unit.to_lowercase().as_str(),
            "deg" | "°" | "degrees" | "degree"
        );
        if kind == Kind::Travel && degrees {
            return match value > 0.0 && value <= MOST_DEG {
                true => Ok(Number {
                    value,
                    in_deg: true,
                }),
                false => Err(format!(
                    "{value}° cannot be: a surface turns by more than 0 and at most {MOST_DEG}°"
                )),
            };
        }
        let Some(factor) = kind.factor(unit) else {
            return Err(format!(
                "\"{unit}\" is no unit here: {} are taken",
                kind.others()
            ));
        };
        let value = value * factor;
        let (lowest, highest) = self.between;
        if !(lowest..=highest).contains(&value) {
            return Err(format!(
                "{} {} is not plausible: {lowest} to {highest} {} is; check unit and point. If it is true, write it into the file by hand \
                 afterwards",
                crate::units::significant(value, 3).unwrap_or_default(),
                kind.unit(),
                kind.unit()
            ));
        }
        Ok(Number {
            value,
            in_deg: false,
        })
    }
}

/// The answer says that it is not known, or is not there.
pub fn unknown(answer: &str) -> bool {
    matches!(
        answer.trim().to_lowercase().as_str(),
        "unknown" | "none" | "-" | "–" | "no idea"
    )
}

/// `None` where it is neither.
pub fn yes(answer: &str) -> Option<bool> {
    match answer.trim().to_lowercase().as_str() {
        "y" | "yes" => Some(true),
        "n" | "no" => Some(false),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LENGTH: Wanted = Wanted {
        kind: Kind::Length,
        between: (5.0, 1000.0),
    };

    fn value(kind: Kind, answer: &str) -> f64 {
        let wanted = Wanted {
            kind,
            between: (0.0, 1e4),
        };
        wanted.read(answer).unwrap().value
    }

    #[test]
    fn a_number_is_read_with_its_unit_or_without() {
        assert_eq!(value(Kind::Length, " 58 "), 58.0);
        assert_eq!(value(Kind::Length, "5,8 cm"), 58.0);
        assert_eq!(value(Kind::Length, "2in"), 50.8);
        assert!((value(Kind::Torque, "21 kg·cm") - 21.0 * 9.806_65).abs() < 1e-9);
        assert!((value(Kind::Torque, "2.1 Nm") - 210.0).abs() < 1e-9);
        assert!((value(Kind::Speed, "306 km/h") - 85.0).abs() < 1e-9);
        assert_eq!(value(Kind::Second, "150 ms"), 0.15);
        let travel = Wanted {
            kind: Kind::Travel,
            between: (0.5, 500.0),
        };
        assert_eq!(
            travel.read("24°"),
            Ok(Number {
                value: 24.0,
                in_deg: true
            })
        );
        assert_eq!(
            travel.read("24"),
            Ok(Number {
                value: 24.0,
                in_deg: false
            })
        );
    }

    #[test]
    fn what_cannot_be_is_refused_with_the_reason() {
        for (answer, words) in [
            ("", "a number is wanted"),
            ("long", "a number is wanted"),
            ("1.2.3", "a number is wanted"),
            ("58 V", "no unit here: mm, cm or in"),
            ("58 m", "no unit here"),
            ("5800", "5 to 1000 mm"),
            ("-58", "not plausible"),
            ("24 deg", "no unit here"),
            ("nan", "a number is wanted"),
        ] {
            let why = LENGTH.read(answer).unwrap_err();
            assert!(why.contains(words), "{answer}: {why}");
        }
        let travel = Wanted {
            kind: Kind::Travel,
            between: (0.5, 500.0),
        };
        assert!(travel.read("120 deg").unwrap_err().contains("at most 90"));
    }

    #[test]
    fn not_known_and_yes_and_no_have_several_words() {
        assert!(unknown("Unknown") && unknown("-") && !unknown("24"));
        assert_eq!(
            (yes("Y"), yes("no"), yes("perhaps")),
            (Some(true), Some(false), None)
        );
    }
}
