//! Numbers as the link writes them: an optional sign, digits, an optional `.` fraction. No exponent, no infinity, no NaN.
//! `1.` and `.5` are taken (a hobbyist's print routine may write either); a sign or a point alone is no number.

/// One comma-separated field read as a number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Reading {
    /// The field is empty: the sensor gave no reading.
    Missing,
    /// Finite: a field of the longest line stays far below the largest f64.
    Number(f64),
    NotANumber,
}

/// Powers of ten that a f64 holds exactly, as far as they are needed.
const POWERS_OF_TEN: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Reads the field that begins at `start` and ends at a comma or at the end of `bytes`; gives the place of that end.
#[inline]
pub(crate) fn field(bytes: &[u8], start: usize) -> (Reading, usize) {
    let mut at = start;
    let negative = bytes.get(at) == Some(&b'-');
    if negative || bytes.get(at) == Some(&b'+') {
        at += 1;
    }
    let unsigned_start = at;
    let mut mantissa = 0u64;
    at = digits(bytes, at, &mut mantissa);
    let mut digit_count = at - unsigned_start;
    let mut fraction_count = 0;
    if bytes.get(at) == Some(&b'.') {
        let point = at;
        at = digits(bytes, at + 1, &mut mantissa);
        fraction_count = at - point - 1;
        digit_count += fraction_count;
    }
    if bytes.get(at).is_some_and(|&b| b != b',') {
        let end = memchr::memchr(b',', &bytes[at..]).map_or(bytes.len(), |n| at + n);
        return (Reading::NotANumber, end);
    }
    if digit_count == 0 {
        return (
            if at == start {
                Reading::Missing
            } else {
                Reading::NotANumber
            },
            at,
        );
    }
    let size = if digit_count <= 15 {
        // Both operands are exact, so the one division rounds correctly (W. D. Clinger, How to read floating point
        // numbers accurately, PLDI 1990).
        mantissa as f64 / POWERS_OF_TEN[fraction_count]
    } else {
        match fast_float2::parse::<f64, _>(&bytes[unsigned_start..at]) {
            Ok(value) if value.is_finite() => value,
            _ => return (Reading::NotANumber, at),
        }
    };
    (Reading::Number(if negative { -size } else { size }), at)
}

#[inline]
fn digits(bytes: &[u8], mut at: usize, mantissa: &mut u64) -> usize {
    while let Some(&byte) = bytes.get(at) {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            break;
        }
        // May wrap round beyond 19 digits; the caller uses it up to 15 only.
        *mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
        at += 1;
    }
    at
}

/// The whole of `bytes` as one number of the link.
pub(crate) fn whole(bytes: &[u8]) -> Reading {
    match field(bytes, 0) {
        (reading, end) if end == bytes.len() => reading,
        _ => Reading::NotANumber,
    }
}

/// Digits alone, at `start`, up to a comma or the end; `None` where there are none, or other bytes, or it exceeds `max`.
#[inline]
pub(crate) fn counter(bytes: &[u8], start: usize, max: u64) -> Option<(u64, usize)> {
    let mut value = 0u64;
    let mut at = start;
    while let Some(&byte) = bytes.get(at) {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            break;
        }
        value = value * 10 + u64::from(digit);
        if value > max {
            return None;
        }
        at += 1;
    }
    (at > start && bytes.get(at).is_none_or(|&b| b == b',')).then_some((value, at))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_grammar_of_the_link_is_kept() {
        for (text, value) in [
            ("-12", -12.0),
            ("834.25", 834.25),
            ("+7", 7.0),
            ("1.", 1.0),
            (".5", 0.5),
            ("-.5", -0.5),
            ("007", 7.0),
        ] {
            assert_eq!(whole(text.as_bytes()), Reading::Number(value), "{text}");
        }
        for text in [
            "1e3", "1E3", "inf", "nan", "NaN", "-", "+", ".", "-.", "1.2.3", "--1", "1 ", " 1",
            "0x1", "1_0", "1,2", "½",
        ] {
            assert_eq!(whole(text.as_bytes()), Reading::NotANumber, "{text}");
        }
        assert_eq!(whole(b""), Reading::Missing);
    }

    #[test]
    fn a_number_as_long_as_the_line_stays_finite() {
        for text in [
            "9".repeat(190),
            format!("0.{}1", "0".repeat(188)),
            format!("{}.", "9".repeat(189)),
            format!(".{}", "9".repeat(189)),
        ] {
            let Reading::Number(value) = whole(text.as_bytes()) else {
                panic!("{text} is a number")
            };
            assert_eq!(value, text.parse::<f64>().unwrap());
        }
    }

    #[test]
    fn a_counter_is_digits_within_its_range() {
        assert_eq!(counter(b"65535,1", 0, 65535), Some((65535, 5)));
        for text in ["65536", "-1", "+1", "1.0", "", "99999999999999999999999999"] {
            assert_eq!(counter(text.as_bytes(), 0, 65535), None, "{text}");
        }
    }

    proptest! {
        /// The oracle is the standard library's parser, which rounds correctly.
        #[test]
        fn a_number_is_read_as_the_standard_library_reads_it(text in "[+-]?[0-9]{1,25}(\\.[0-9]{0,25})?") {
            prop_assert_eq!(whole(text.as_bytes()), Reading::Number(text.parse::<f64>().unwrap()));
        }
    }
}
