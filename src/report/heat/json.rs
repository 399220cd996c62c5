//! `heat --json`: one object. Storage types of their own; powers in W, temperatures in °C, times in s.

use serde::Serialize;

use super::{Warmed, sentence, until_word};
use crate::report::json::{Q, number, quantity};
use crate::servo::heat::{Heat, Until};
use crate::servo::watts::IdleFrom;

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.heat/1";

/// The recording as one line of JSON, without the line's end.
pub fn line(warmed: &Warmed<'_>) -> String {
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&HeatLine::from(warmed)).unwrap_or_default()
}

#[derive(Serialize)]
struct HeatLine<'a> {
    schema: &'static str,
    file: &'a str,
    surface: &'a str,
    servo: &'a str,
    unfinished: Option<&'a str>,
    idle_w: Option<Q>,
    idle_from: Option<&'static str>,
    hold_w: Option<Q>,
    copper_w: Option<Q>,
    cycle_w: Option<Q>,
    limit_c: Option<f64>,
    case: Option<CaseOut>,
    text: String,
}

#[derive(Serialize)]
struct CaseOut {
    first_c: Option<f64>,
    last_c: Option<f64>,
    air_c: Option<f64>,
    air_measured: bool,
    span_s: Option<f64>,
    load_changed: bool,
    end_c: Option<Q>,
    settles_in_s: Option<Q>,
    limit: Option<&'static str>,
    limit_expected_s: Option<f64>,
    limit_soonest_s: Option<f64>,
    limit_latest_s: Option<f64>,
}

impl<'a> From<&'a Warmed<'_>> for HeatLine<'a> {
    fn from(warmed: &'a Warmed<'_>) -> Self {
        let watts = warmed.watts.as_ref();
        let idle = watts.and_then(|w| w.idle);
        Self {
            schema: SCHEMA,
            file: warmed.file,
            surface: warmed.surface,
            servo: warmed.servo,
            unfinished: warmed.unfinished,
            idle_w: idle.and_then(|(q, _)| quantity(&q)),
            idle_from: idle.map(|(_, from)| match from {
                IdleFrom::Calibration => "calibration",
                IdleFrom::Disarmed => "disarmed",
            }),
            hold_w: watts.and_then(|w| quantity(w.hold_w.as_ref()?)),
            copper_w: watts.and_then(|w| quantity(w.copper_w.as_ref()?)),
            cycle_w: watts.and_then(|w| quantity(w.cycle_w.as_ref()?)),
            limit_c: number(warmed.limit_c),
            case: warmed.heat.as_ref().map(CaseOut::from),
            text: sentence(warmed),
        }
    }
}

impl From<&Heat> for CaseOut {
    fn from(heat: &Heat) -> Self {
        let (expected, soonest, latest) = match heat.until {
            Until::In {
                expected_s,
                soonest_s,
                latest_s,
            } => (expected_s, Some(soonest_s), latest_s),
            _ => (None, None, None),
        };
        let one_load = !heat.load_changed;
        Self {
            first_c: number(heat.first_c),
            last_c: number(heat.last_c),
            air_c: number(heat.air_c).filter(|_| heat.air_is_measured),
            air_measured: heat.air_is_measured,
            span_s: number(heat.span_s),
            load_changed: heat.load_changed,
            end_c: heat.told_end_c().and_then(|q| quantity(&q)),
            settles_in_s: quantity(&heat.settles_in_s).filter(|_| one_load),
            limit: one_load.then(|| until_word(heat.until)),
            limit_expected_s: expected.and_then(number).filter(|_| one_load),
            limit_soonest_s: soonest.and_then(number).filter(|_| one_load),
            limit_latest_s: latest.and_then(number).filter(|_| one_load),
        }
    }
}
