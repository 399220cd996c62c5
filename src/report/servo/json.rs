//! `servo --json`: one object. Storage types of their own, converted here and nowhere else; names carry their units.

use serde::Serialize;
use serde_json::{Map, Value};

use super::ServoTest;
use crate::report::json::{Q, number, quantity};
use crate::servo::{ArmFrom, How};
use crate::units::TorqueUnit;
use crate::verdict::lack_words;

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.servo/1";

/// The test as one line of JSON, without the line's end.
pub fn line(test: &ServoTest<'_>) -> String {
    // String keys and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&ServoLine::from(test)).unwrap_or_default()
}

#[derive(Serialize)]
struct ServoLine<'a> {
    schema: &'static str,
    servo: &'a str,
    surface: &'a str,
    files: &'a [String],
    arm_from: &'static str,
    large_steps_up: usize,
    large_steps_down: usize,
    staircases: usize,
    resolution_ms: Option<f64>,
    arm_deg_per_us: Option<f64>,
    /// During the large steps.
    supply_v: Option<f64>,
    /// By the names of a result's columns.
    found: Map<String, Value>,
    slew_up_s_per_60deg: Option<Q>,
    slew_down_s_per_60deg: Option<Q>,
    speed_deg_per_s_per_v: Option<Q>,
    hold_ma: Option<Q>,
    data_sheet: SheetOut,
    not_measured: Vec<String>,
    notes: &'a [String],
    findings: Vec<FindingOut>,
    verdict: &'static str,
}

#[derive(Serialize)]
struct SheetOut {
    speed_s_per_60deg: Option<f64>,
    speed_voltage_v: Option<f64>,
    dead_band_us: Option<f64>,
    /// Measured, at the data sheet's voltage.
    slew_s_per_60deg: Option<Q>,
    converted: Option<&'static str>,
}

#[derive(Serialize)]
struct FindingOut {
    kind: &'static str,
    level: &'static str,
    text: String,
}

impl<'a> From<&'a ServoTest<'_>> for ServoLine<'a> {
    fn from(test: &'a ServoTest<'_>) -> Self {
        let tested = test.tested;
        let q = |value: &Option<_>| value.as_ref().and_then(quantity);
        let found = tested.found.quantities().into_iter().map(|(name, value)| {
            let value = value.and_then(quantity);
            let value = serde_json::to_value(value).unwrap_or(Value::Null);
            (name.to_owned(), value)
        });
        let at = tested.at_sheet.as_ref();
        Self {
            schema: SCHEMA,
            servo: test.tag,
            surface: test.surface,
            files: test.files,
            arm_from: match tested.arm_from {
                ArmFrom::Arm => "arm",
                ArmFrom::SensorOnArm => "sensor-on-arm",
                ArmFrom::Linkage => "linkage",
                ArmFrom::Pulse => "pulse",
                ArmFrom::AssumedOne => "assumed-one",
            },
            large_steps_up: tested.large_steps.0,
            large_steps_down: tested.large_steps.1,
            staircases: tested.staircases,
            resolution_ms: number(tested.resolution_ms),
            arm_deg_per_us: tested.deg_per_us.and_then(number),
            supply_v: tested.at_v.and_then(number),
            found: found.collect(),
            slew_up_s_per_60deg: q(&tested.slew_up_s_per_60deg),
            slew_down_s_per_60deg: q(&tested.slew_down_s_per_60deg),
            speed_deg_per_s_per_v: q(&tested.speed_per_volt),
            hold_ma: q(&tested.hold_ma),
            data_sheet: SheetOut {
                speed_s_per_60deg: test.kind.speed.map(|s| s.s_per_60deg),
                speed_voltage_v: test.kind.speed.map(|s| s.voltage_v),
                dead_band_us: test.kind.dead_band_us,
                slew_s_per_60deg: at.and_then(|at| quantity(&at.slew_s_per_60deg)),
                converted: at.map(|at| match at.how {
                    How::Line => "line",
                    How::Proportion => "proportion",
                }),
            },
            not_measured: tested.lacks.iter().map(lack_words).collect(),
            notes: test.notes,
            findings: test
                .judged
                .findings
                .iter()
                .map(|f| FindingOut {
                    kind: f.kind.word(),
                    level: f.level.word(),
                    text: f.text(TorqueUnit::default()),
                })
                .collect(),
            verdict: test.judged.verdict.word(),
        }
    }
}
