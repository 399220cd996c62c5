//! What `heat` says, worded once for [`text`] and [`json`]. No arithmetic of the trade, no deciding.

pub mod json;
pub mod text;

use crate::servo::heat::{Heat, Until};
use crate::servo::watts::Watts;
use crate::units::Unit;

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
    let end = crate::report::view::quantity(&heat.end_c, Unit::Plain("°C"));
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
