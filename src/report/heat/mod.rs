//! What `heat` says, worded once for [`text`] and [`json`]. No arithmetic of the trade, no deciding.

pub mod json;
pub mod text;

use crate::analysis::{Interval, Quantity};
use crate::servo::heat::{Heat, Until};
use crate::servo::watts::Watts;
use crate::units::{Unit, fixed};

/// One recording of a servo that warmed.
pub struct Warmed<'a> {
    pub file: &'a str,
    pub surface: &'a str,
    /// The servo's tag.
    pub servo: &'a str,
    /// That of the other, where two drive the surface.
    pub second: Option<&'a str>,
    pub limit_c: f64,
    pub heat: Option<Heat>,
    pub watts: Option<Watts>,
    /// The rig reads the case's temperature.
    pub has_case: bool,
    pub unfinished: Option<&'a str>,
}

/// `5 min`, `40 s`: a time that is still to come.
fn time(s: f64) -> String {
    match s {
        s if s < 90.0 => format!("{s:.0} s"),
        s if s < 5400.0 => format!("{:.0} min", s / 60.0),
        s => format!("{:.1} h", s / 3600.0),
    }
}

/// A temperature no finer than its sensor reads it.
pub(in crate::report) fn celsius(c: f64, step_k: f64) -> String {
    let on_step = if step_k > 0.0 {
        (c / step_k).round() * step_k
    } else {
        c
    };
    format!("{} °C", fixed(on_step, decimals(step_k)))
}

/// A tenth at most: what is below it no case shows.
fn decimals(step_k: f64) -> i32 {
    i32::from(step_k < 0.95)
}

/// Where the case would end, no finer than its sensor reads; its interval is rounded outwards.
fn end(q: &Quantity, step_k: f64) -> String {
    let shown = decimals(step_k);
    let finest = 10_f64.powi(-shown);
    let coarse = |i: &Interval| (i.hi95 - q.value).max(q.value - i.lo95) >= 10.0 * finest;
    match q.interval {
        Some(i) if !coarse(&i) => format!(
            "{} ({} to {}) °C",
            fixed(q.value, shown),
            fixed((i.lo95 / finest).floor() * finest, shown),
            fixed((i.hi95 / finest).ceil() * finest, shown)
        ),
        _ => crate::report::view::quantity(q, Unit::Plain("°C")),
    }
}

/// The outcome in a sentence.
fn sentence(warmed: &Warmed<'_>) -> String {
    let limit = warmed.limit_c;
    let Some(heat) = &warmed.heat else {
        return match (warmed.has_case, &warmed.watts) {
            (true, _) => "Where the case would end cannot be told: it did not warm enough, or the recording is too short. Ten minutes under \
                          the load are enough for most servos."
                .into(),
            (false, Some(_)) => "The rig reads no case temperature (channel case_c): what it draws and what of it its copper turns into heat is all that is \
                                 known. How warm it gets hangs on how it is mounted, which power does not show."
                .into(),
            (false, None) => "Neither a case temperature (case_c) nor supply current with voltage was read: nothing can be told.".into(),
        };
    };
    if heat.load_changed {
        return "The load changed by more than a quarter within the recording: there is no one load whose end could be told. Repeat it with \
                one."
            .into();
    }
    let end = end(&heat.end_c, heat.step_k);
    match heat.until {
        Until::Past => format!(
            "The case is at the limit of {limit:.0} °C already, and would end at {end}. Lighten the load, or cool the servo."
        ),
        Until::Never => {
            format!(
                "Under this load the case would end at {end}, below the limit of {limit:.0} °C."
            )
        }
        Until::In {
            expected_s,
            soonest_s,
            latest_s,
        } => {
            let soonest = time(soonest_s);
            match (expected_s, latest_s) {
                (Some(expected), Some(latest)) => format!(
                    "Under this load the case would end at {end}, and comes to the limit of {limit:.0} °C in about {} (between {soonest} and {}) from the recording's \
                     end.",
                    time(expected),
                    time(latest)
                ),
                (Some(expected), None) => format!(
                    "Under this load the case would end at {end}, and comes to the limit of {limit:.0} °C in about {}, at the soonest in {soonest}; it may end below \
                     it. Record longer to know.",
                    time(expected)
                ),
                (None, _) => format!(
                    "Under this load the case would end at {end}, most likely below the limit of {limit:.0} °C, but may come to it, at the soonest in {soonest}. \
                     Record longer to know."
                ),
            }
        }
    }
}

fn until_word(until: Until) -> &'static str {
    match until {
        Until::Past => "past",
        Until::Never => "never",
        Until::In {
            latest_s: Some(_), ..
        } => "reached",
        Until::In { .. } => "possible",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_digit_is_finer_than_the_sensor_s_step() {
        assert_eq!(celsius(24.337, 0.5), "24.5 °C");
        assert_eq!(celsius(24.337, 1.0), "24 °C");
        assert_eq!(celsius(24.337, 0.0625), "24.3 °C");
        let q = |half: f64| Quantity {
            value: 38.417,
            interval: Some(Interval {
                u: half / 2.0,
                lo95: 38.417 - half,
                hi95: 38.417 + half,
            }),
        };
        assert_eq!(end(&q(0.036), 0.1), "38.4 (38.3 to 38.5) °C");
        assert_eq!(end(&q(0.036), 1.0), "38 (38 to 39) °C");
        assert_eq!(end(&q(2.4), 0.1), "38.4 ± 2.4 °C");
    }
}
