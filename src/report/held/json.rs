//! `held --json`: one object. Storage types of their own; N·cm and degrees.

use serde::Serialize;

use super::{Shown, sentence};
use crate::report::json::{Q, number, quantity};
use crate::servo::held::{Reading, Short};
use crate::units::TorqueUnit;

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.held/1";

/// All recordings together as one line of JSON, without the line's end.
pub fn line(shown: &Shown<'_>) -> String {
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&HeldLine::from(shown)).unwrap_or_default()
}

#[derive(Serialize)]
struct HeldLine<'a> {
    schema: &'static str,
    files: &'a [String],
    surface: &'a str,
    unfinished: Option<&'a str>,
    stiffness_ncm_per_deg: Option<Q>,
    stiffer_than_ncm_per_deg: Option<f64>,
    up_ncm_per_deg: Option<Q>,
    down_ncm_per_deg: Option<Q>,
    play_deg: Option<Q>,
    play_edge_mm: Option<Q>,
    play_of_chord: Option<Q>,
    memory_deg: Option<Q>,
    weights_u: Option<f64>,
    angle_step_deg: Option<f64>,
    readings: Vec<ReadingOut>,
    cannot: Option<&'static str>,
    text: String,
}

#[derive(Serialize)]
struct ReadingOut {
    hung_ncm: Option<f64>,
    angle_deg: Option<f64>,
    drift_deg: Option<f64>,
}

impl From<&Reading> for ReadingOut {
    fn from(reading: &Reading) -> Self {
        Self {
            hung_ncm: number(reading.hung_ncm),
            angle_deg: number(reading.angle_deg),
            drift_deg: number(reading.drift_deg),
        }
    }
}

impl<'a> From<&'a Shown<'_>> for HeldLine<'a> {
    fn from(shown: &'a Shown<'_>) -> Self {
        let held = &shown.held;
        let q = |q: Option<_>| q.as_ref().and_then(quantity);
        Self {
            schema: SCHEMA,
            files: shown.files,
            surface: &shown.surface.name,
            unfinished: shown.unfinished,
            stiffness_ncm_per_deg: q(held.stiffness),
            stiffer_than_ncm_per_deg: held.stiffer_than.and_then(number),
            up_ncm_per_deg: q(held.sides[0]),
            down_ncm_per_deg: q(held.sides[1]),
            play_deg: q(held.play_deg),
            play_edge_mm: q(shown.play_mm()),
            play_of_chord: q(shown.play_of_chord()),
            memory_deg: q(held.memory_deg),
            weights_u: number(held.hung_u),
            angle_step_deg: number(held.step_deg),
            readings: held.readings.iter().map(ReadingOut::from).collect(),
            cannot: held.short.map(|short| match short {
                Short::Nothing => "nothing-hung",
                Short::OneSide => "one-side",
                Short::OneLoad => "one-load",
                Short::NotRepeated => "not-repeated",
            }),
            text: sentence(shown, TorqueUnit::default()),
        }
    }
}
