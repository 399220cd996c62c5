//! `rods --json`: one object. Storage types of their own; N·cm and N·cm/° at the hinge line, N·cm at the arm for the servo.

use serde::Serialize;

use super::{Shown, sentences};
use crate::history::rods::{Apart, Cannot, HingeFrom};
use crate::report::json::{Q, quantity};
use crate::units::TorqueUnit;

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.rods/1";

/// All of it as one line of JSON, without the line's end.
pub fn line(shown: &Shown<'_>) -> String {
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&RodsLine::from(shown)).unwrap_or_default()
}

#[derive(Serialize)]
struct RodsLine<'a> {
    schema: &'static str,
    surface: &'a str,
    servo: &'a str,
    on: Option<&'a str>,
    off: &'a [String],
    friction_ncm: ApartOut,
    stiffness_ncm_per_deg: ApartOut,
    hinge_from: Option<&'static str>,
    servo_friction_ncm: Option<Q>,
    servo_change_ncm: Option<Q>,
    servo_turning_w: Option<Q>,
    cannot: Vec<&'static str>,
    text: String,
}

#[derive(Serialize)]
struct ApartOut {
    whole: Option<Q>,
    hinge: Option<Q>,
    linkage: Option<Q>,
    by_the_rod: Option<Q>,
}

impl From<&Apart> for ApartOut {
    fn from(apart: &Apart) -> Self {
        let q = |q: Option<_>| q.as_ref().and_then(quantity);
        Self {
            whole: q(apart.whole),
            hinge: q(apart.hinge),
            linkage: q(apart.linkage),
            by_the_rod: q(apart.by_the_rod),
        }
    }
}

impl<'a> From<&'a Shown<'_>> for RodsLine<'a> {
    fn from(shown: &'a Shown<'_>) -> Self {
        let rods = &shown.rods;
        let at_arm =
            |q: Option<crate::analysis::Quantity>| q.and_then(|q| quantity(&q.times(100.0)));
        Self {
            schema: SCHEMA,
            surface: shown.surface,
            servo: shown.servo,
            on: shown.on,
            off: shown.off,
            friction_ncm: ApartOut::from(&rods.friction),
            stiffness_ncm_per_deg: ApartOut::from(&rods.stiffness),
            hinge_from: rods.hinge_from.map(|from| match from {
                HingeFrom::RodsOff => "rods-off",
                HingeFrom::SensorRodsOn => "sensor-rods-on",
            }),
            servo_friction_ncm: at_arm(rods.servo.map(|s| s.now_nm)),
            servo_change_ncm: at_arm(rods.servo.map(|s| s.change_nm)),
            servo_turning_w: shown.free.as_ref().and_then(|f| quantity(&f.turning_w)),
            cannot: rods
                .cannot
                .iter()
                .map(|c| match c {
                    Cannot::NoPower => "no-power",
                    Cannot::NoSensor => "no-torque-sensor",
                    Cannot::NoFreeServo => "no-free-servo",
                    Cannot::NotCalibrated => "not-calibrated",
                })
                .collect(),
            text: sentences(shown, TorqueUnit::default()).join(" "),
        }
    }
}
