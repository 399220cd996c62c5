//! `check --json`: one object a recording, as the contract has it (results.md). Storage types of their own,
//! converted here and nowhere else. Units are the contract's, whatever the builder asked to see.

use serde::Serialize;

use super::Checked;
use crate::analysis::{
    Curve, HoldCurrent, Knee, Load, Quantity, ShortCause, ThrowResult, ThrowState, TightSpot, When,
};
use crate::units::TorqueUnit;
use crate::verdict::Finding;

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.check/1";

/// The recording as one line of JSON, without the line's end.
pub fn line(checked: &Checked<'_>) -> String {
    // Nothing in these types can fail to be written: string keys, no maps, and numbers that are finite or null.
    serde_json::to_string(&CheckLine::from(checked)).unwrap_or_default()
}

#[derive(Serialize)]
struct CheckLine<'a> {
    schema: &'static str,
    recording: RecordingOut<'a>,
    torque_from: &'static str,
    strokes: StrokesOut,
    curve: Option<CurveOut>,
    throws: Vec<ThrowOut<'a>>,
    load: LoadOut,
    slop_deg: Option<Q>,
    lead_mohm: Option<Q>,
    /// Only where two servos drive the surface.
    #[serde(skip_serializing_if = "Option::is_none")]
    servos: Option<super::servos::ServosOut>,
    findings: Vec<FindingOut>,
    verdict: &'static str,
}

#[derive(Serialize)]
struct RecordingOut<'a> {
    file: &'a str,
    surface: &'a str,
    samples: u64,
    lost: u64,
    damaged_lines: u64,
    restarts: u64,
    span_s: Option<f64>,
    rate_hz: Option<f64>,
    events: &'a [String],
    /// Only where the run did not reach its end: why.
    #[serde(skip_serializing_if = "Option::is_none")]
    unfinished: Option<&'a str>,
    /// Only where the angle sensor's calibration was applied: as what.
    #[serde(skip_serializing_if = "Option::is_none")]
    angle_calibration: Option<&'a str>,
}

#[derive(Serialize)]
struct StrokesOut {
    up: usize,
    down: usize,
    left_out: usize,
}

/// A quantity. Without a finite value there is none; without an interval its three numbers are null.
#[derive(Serialize)]
pub(in crate::report) struct Q {
    value: f64,
    u: Option<f64>,
    lo95: Option<f64>,
    hi95: Option<f64>,
}

#[derive(Serialize)]
struct CurveOut {
    stiffness_ncm_per_deg: Option<Q>,
    friction_ncm: Option<Q>,
    neutral_torque_ncm: Option<Q>,
    knees: Vec<KneeOut>,
    tight_spots: Vec<TightSpotOut>,
    residual_ncm: Option<f64>,
}

#[derive(Serialize)]
struct KneeOut {
    side: &'static str,
    at_deg: Option<Q>,
    stiffness_beyond_ncm_per_deg: Option<Q>,
}

#[derive(Serialize)]
struct TightSpotOut {
    from_deg: Option<f64>,
    at_deg: Option<Q>,
    to_deg: Option<f64>,
    height_ncm: Option<Q>,
    when: &'static str,
}

#[derive(Serialize)]
struct ThrowOut<'a> {
    name: &'a str,
    asked_mm: Option<f64>,
    asked_deg: Option<f64>,
    tolerance_mm: Option<f64>,
    reached_mm: Option<Q>,
    reached_deg: Option<Q>,
    state: &'static str,
    cause: Option<&'static str>,
}

#[derive(Serialize)]
struct LoadOut {
    peak_torque_ncm: Option<Q>,
    share_of_stall: Option<Q>,
    hold_current_ma: Vec<HoldOut>,
}

#[derive(Serialize)]
struct HoldOut {
    at_deg: Option<f64>,
    ma: Option<f64>,
}

#[derive(Serialize)]
struct FindingOut {
    kind: &'static str,
    level: &'static str,
    at_deg: Option<f64>,
    text: String,
}

pub(in crate::report) fn number(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

pub(in crate::report) fn quantity(quantity: &Quantity) -> Option<Q> {
    let interval = quantity.interval;
    Some(Q {
        value: number(quantity.value)?,
        u: interval.and_then(|i| number(i.u)),
        lo95: interval.and_then(|i| number(i.lo95)),
        hi95: interval.and_then(|i| number(i.hi95)),
    })
}

impl<'a> From<&'a Checked<'_>> for CheckLine<'a> {
    fn from(checked: &'a Checked<'_>) -> Self {
        let (recording, measured) = (&checked.recording, &checked.measured);
        CheckLine {
            schema: SCHEMA,
            recording: RecordingOut {
                file: &recording.file,
                surface: &recording.surface,
                samples: recording.samples,
                lost: recording.lost,
                damaged_lines: recording.damaged_lines,
                restarts: recording.restarts,
                span_s: number(recording.span_s),
                rate_hz: number(recording.rate_hz),
                events: &recording.events,
                unfinished: recording.unfinished.as_deref(),
                angle_calibration: recording
                    .keys
                    .iter()
                    .find(|(key, _)| key == crate::analysis::angle::APPLIED)
                    .map(|(_, value)| value.as_str()),
            },
            torque_from: measured.torque_from.word(),
            strokes: StrokesOut {
                up: measured.strokes.up,
                down: measured.strokes.down,
                left_out: measured.strokes.left_out,
            },
            curve: measured.curve.as_ref().map(CurveOut::from),
            throws: measured.throws.iter().map(ThrowOut::from).collect(),
            load: LoadOut::from(&measured.load),
            slop_deg: measured.slop_deg.as_ref().and_then(quantity),
            lead_mohm: measured.lead_mohm.as_ref().and_then(quantity),
            servos: checked
                .servos
                .as_ref()
                .map(|share| super::servos::ServosOut::of(share, checked.held.as_ref())),
            findings: checked
                .judged
                .findings
                .iter()
                .map(FindingOut::from)
                .collect(),
            verdict: checked.judged.verdict.word(),
        }
    }
}

impl From<&Curve> for CurveOut {
    fn from(curve: &Curve) -> Self {
        CurveOut {
            stiffness_ncm_per_deg: quantity(&curve.stiffness_ncm_per_deg),
            friction_ncm: quantity(&curve.friction_ncm),
            neutral_torque_ncm: quantity(&curve.neutral_torque_ncm),
            knees: curve.knees.iter().map(KneeOut::from).collect(),
            tight_spots: curve.tight_spots.iter().map(TightSpotOut::from).collect(),
            residual_ncm: number(curve.residual_ncm),
        }
    }
}

impl From<&Knee> for KneeOut {
    fn from(knee: &Knee) -> Self {
        KneeOut {
            side: if knee.up_side { "up" } else { "down" },
            at_deg: quantity(&knee.at_deg),
            stiffness_beyond_ncm_per_deg: quantity(&knee.stiffness_beyond_ncm_per_deg),
        }
    }
}

impl From<&TightSpot> for TightSpotOut {
    fn from(spot: &TightSpot) -> Self {
        TightSpotOut {
            from_deg: number(spot.from_deg),
            at_deg: quantity(&spot.at_deg),
            to_deg: number(spot.to_deg),
            height_ncm: quantity(&spot.height_ncm),
            when: match spot.when {
                When::Up => "up",
                When::Down => "down",
                When::Both => "both",
            },
        }
    }
}

impl<'a> From<&'a ThrowResult> for ThrowOut<'a> {
    fn from(throw: &'a ThrowResult) -> Self {
        ThrowOut {
            name: &throw.name,
            asked_mm: number(throw.asked_mm),
            asked_deg: number(throw.asked_deg),
            tolerance_mm: number(throw.tolerance_mm),
            reached_mm: throw.reached_mm.as_ref().and_then(quantity),
            reached_deg: throw.reached_deg.as_ref().and_then(quantity),
            state: match throw.state {
                ThrowState::Met => "met",
                ThrowState::Short => "short",
                ThrowState::Unproven => "unproven",
            },
            cause: throw.cause.map(|cause| match cause {
                ShortCause::EndOfCommand => "end-of-command",
                ShortCause::Stalled => "stalled",
                ShortCause::StoppedByLimit => "stopped-by-limit",
            }),
        }
    }
}

impl From<&Load> for LoadOut {
    fn from(load: &Load) -> Self {
        LoadOut {
            peak_torque_ncm: load.peak_torque_ncm.as_ref().and_then(quantity),
            share_of_stall: load.share_of_stall.as_ref().and_then(quantity),
            hold_current_ma: load.hold_current_ma.iter().map(HoldOut::from).collect(),
        }
    }
}

impl From<&HoldCurrent> for HoldOut {
    fn from(hold: &HoldCurrent) -> Self {
        HoldOut {
            at_deg: number(hold.at_deg),
            ma: number(hold.ma),
        }
    }
}

impl From<&Finding> for FindingOut {
    fn from(finding: &Finding) -> Self {
        FindingOut {
            kind: finding.kind.word(),
            level: finding.level.word(),
            at_deg: finding.at_deg.and_then(number),
            text: finding.text(TorqueUnit::NewtonCentimetre),
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;
    use crate::report::fixture;

    fn parsed(checked: &Checked<'_>) -> Value {
        let line = line(checked);
        assert!(!line.contains('\n'));
        serde_json::from_str(&line).unwrap()
    }

    fn keys(value: &Value) -> Vec<&str> {
        let mut keys: Vec<&str> = value
            .as_object()
            .unwrap()
            .keys()
            .map(String::as_str)
            .collect();
        keys.sort_unstable();
        keys
    }

    fn assert_quantity(value: &Value) {
        assert_eq!(keys(value), ["hi95", "lo95", "u", "value"]);
        assert!(
            value.as_object().unwrap().values().all(Value::is_number),
            "{value}"
        );
    }

    #[test]
    fn the_object_has_the_contract_s_keys_and_no_others() {
        let aircraft = fixture::aircraft();
        let json = parsed(&fixture::knee(&aircraft));
        assert_eq!(json["schema"], "hingewright.check/1");
        assert_eq!(
            keys(&json),
            [
                "curve",
                "findings",
                "lead_mohm",
                "load",
                "recording",
                "schema",
                "slop_deg",
                "strokes",
                "throws",
                "torque_from",
                "verdict"
            ]
        );
        assert_eq!(
            keys(&json["recording"]),
            [
                "damaged_lines",
                "events",
                "file",
                "lost",
                "rate_hz",
                "restarts",
                "samples",
                "span_s",
                "surface"
            ]
        );
        assert_eq!(keys(&json["strokes"]), ["down", "left_out", "up"]);
        assert_eq!(
            keys(&json["curve"]),
            [
                "friction_ncm",
                "knees",
                "neutral_torque_ncm",
                "residual_ncm",
                "stiffness_ncm_per_deg",
                "tight_spots"
            ]
        );
        assert_eq!(
            keys(&json["curve"]["knees"][0]),
            ["at_deg", "side", "stiffness_beyond_ncm_per_deg"]
        );
        assert_eq!(
            keys(&json["curve"]["tight_spots"][0]),
            ["at_deg", "from_deg", "height_ncm", "to_deg", "when"]
        );
        assert_eq!(
            keys(&json["throws"][0]),
            [
                "asked_deg",
                "asked_mm",
                "cause",
                "name",
                "reached_deg",
                "reached_mm",
                "state",
                "tolerance_mm"
            ]
        );
        assert_eq!(
            keys(&json["load"]),
            ["hold_current_ma", "peak_torque_ncm", "share_of_stall"]
        );
        assert_eq!(keys(&json["load"]["hold_current_ma"][0]), ["at_deg", "ma"]);
        assert_eq!(
            keys(&json["findings"][0]),
            ["at_deg", "kind", "level", "text"]
        );
    }

    #[test]
    fn quantities_are_objects_and_places_are_plain_numbers() {
        let aircraft = fixture::aircraft();
        let json = parsed(&fixture::knee(&aircraft));
        let curve = &json["curve"];
        for quantity in [
            &curve["stiffness_ncm_per_deg"],
            &curve["friction_ncm"],
            &curve["neutral_torque_ncm"],
            &curve["knees"][0]["at_deg"],
            &curve["knees"][0]["stiffness_beyond_ncm_per_deg"],
            &curve["tight_spots"][0]["at_deg"],
            &curve["tight_spots"][0]["height_ncm"],
            &json["throws"][0]["reached_mm"],
            &json["throws"][0]["reached_deg"],
            &json["load"]["peak_torque_ncm"],
            &json["load"]["share_of_stall"],
            &json["slop_deg"],
            &json["lead_mohm"],
        ] {
            assert_quantity(quantity);
        }
        let spot = &curve["tight_spots"][0];
        for number in [
            &spot["from_deg"],
            &spot["to_deg"],
            &curve["residual_ncm"],
            &json["load"]["hold_current_ma"][0]["at_deg"],
            &json["load"]["hold_current_ma"][0]["ma"],
            &json["recording"]["span_s"],
            &json["throws"][0]["asked_mm"],
        ] {
            assert!(number.is_number(), "{number}");
        }
        assert!(json["recording"]["samples"].is_u64() && json["strokes"]["up"].is_u64());
    }

    #[test]
    fn what_was_not_measured_is_null_and_never_a_number() {
        let aircraft = fixture::aircraft();
        let json = parsed(&fixture::nothing_measured(&aircraft));
        assert!(
            json["curve"].is_null() && json["slop_deg"].is_null() && json["lead_mohm"].is_null()
        );
        assert!(
            json["load"]["peak_torque_ncm"].is_null() && json["load"]["share_of_stall"].is_null()
        );
        assert!(json["throws"][0]["reached_mm"].is_null());
        assert_eq!(json["torque_from"], "none");
        assert_eq!(json["verdict"], "unproven");
    }

    #[test]
    fn nan_and_infinity_become_null() {
        let aircraft = fixture::aircraft();
        let mut checked = fixture::knee(&aircraft);
        let curve = checked.measured.curve.as_mut().unwrap();
        curve.friction_ncm.value = f64::NAN;
        curve.residual_ncm = f64::INFINITY;
        curve.stiffness_ncm_per_deg.interval.as_mut().unwrap().hi95 = f64::INFINITY;
        curve.neutral_torque_ncm.interval = None;
        checked.recording.rate_hz = f64::NAN;
        let json = parsed(&checked);
        assert!(json["curve"]["friction_ncm"].is_null() && json["curve"]["residual_ncm"].is_null());
        assert!(json["curve"]["stiffness_ncm_per_deg"]["hi95"].is_null());
        assert!(json["curve"]["stiffness_ncm_per_deg"]["value"].is_number());
        assert_eq!(
            keys(&json["curve"]["neutral_torque_ncm"]),
            ["hi95", "lo95", "u", "value"]
        );
        assert!(json["curve"]["neutral_torque_ncm"]["u"].is_null());
        assert!(json["recording"]["rate_hz"].is_null());
    }

    #[test]
    fn the_line_is_the_golden_one() {
        let aircraft = fixture::aircraft();
        fixture::golden("knee.json", &(line(&fixture::knee(&aircraft)) + "\n"));
    }
}
