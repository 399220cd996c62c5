//! `calibrate angle --json`: one object. Storage types of their own; degrees.

use serde::Serialize;

use super::{Angled, file};
use crate::analysis::angle::Why;
use crate::report::json::{Q, number, quantity};

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.calibrate-angle/1";

#[derive(Serialize)]
struct Out<'a> {
    schema: &'static str,
    surface: &'a str,
    /// deflection = scale · (reading − zero_deg).
    scale: Option<Q>,
    zero_deg: Option<Q>,
    /// Of scale and zero, as written.
    covariance: [[f64; 2]; 2],
    sign_reversed: bool,
    holds: Vec<HoldOut<'a>>,
    departures: Option<Vec<DepartureOut>>,
    /// Whether the furthest departure is more than noise explains; null with two angles, where it cannot be seen.
    not_straight: Option<bool>,
    /// How many times further holds at one angle differ than was said of them; null where none was held twice.
    scatter: Option<f64>,
    unfinished: &'a [String],
    doubtful: bool,
    toml: String,
}

#[derive(Serialize)]
struct HoldOut<'a> {
    file: &'a str,
    at_deg: Option<f64>,
    at_mm: Option<f64>,
    known_deg: Option<f64>,
    known_u_deg: Option<f64>,
    read_deg: Option<f64>,
    read_u_deg: Option<f64>,
    off_deg: Option<f64>,
    left_out: Option<&'static str>,
}

#[derive(Serialize)]
struct DepartureOut {
    known_deg: Option<f64>,
    holds: usize,
    off_deg: Option<f64>,
    /// Noise explains as much in 95 of 100 calibrations.
    noise_deg: Option<f64>,
}

/// The calibration as one line of JSON, without the line's end.
pub fn line(angled: &Angled<'_>) -> String {
    let line = angled.line;
    let holds = angled.holds.iter().map(|h| {
        let p = h.point.ok();
        HoldOut {
            file: &h.file,
            at_deg: number(h.value).filter(|_| !h.by_ruler),
            at_mm: number(h.value).filter(|_| h.by_ruler),
            known_deg: p.and_then(|p| number(p.known_deg)),
            known_u_deg: p.and_then(|p| number(p.known_u_deg)),
            read_deg: p.and_then(|p| number(p.read_deg)),
            read_u_deg: p.and_then(|p| number(p.read_u_deg)),
            off_deg: p.and_then(|p| number(line.deg(p.read_deg) - p.known_deg)),
            left_out: h.point.err().map(|why| match why {
                Why::Moved(_) => "moved",
                Why::TooShort => "too-short",
            }),
        }
    });
    let seen = line.furthest().is_some();
    let departures = line.departures.iter().map(|d| DepartureOut {
        known_deg: number(d.known_deg),
        holds: d.holds,
        off_deg: number(d.off_deg),
        noise_deg: number(d.noise_deg),
    });
    let out = Out {
        schema: SCHEMA,
        surface: &angled.surface.name,
        scale: quantity(&line.scale),
        zero_deg: quantity(&line.zero_deg),
        covariance: angled.covariance(),
        sign_reversed: line.scale.value < 0.0,
        holds: holds.collect(),
        departures: seen.then(|| departures.collect()),
        not_straight: seen.then(|| line.is_bent()),
        scatter: line.scatter.and_then(number),
        unfinished: angled.unfinished,
        doubtful: angled.doubtful(),
        toml: file::toml(angled),
    };
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&out).unwrap_or_default()
}
