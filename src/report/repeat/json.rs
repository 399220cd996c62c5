//! `repeat --json`: one object. Storage types of their own; units are those of `check`.

use serde::Serialize;

use super::{Shown, caution, sentences};
use crate::analysis::Quantity;
use crate::history::gauge::Found;
use crate::history::gauge::anova::MeanSquare;
use crate::report::json::{Q, number, quantity};
use crate::report::prove::json::key_of;
use crate::units::TorqueUnit;

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.repeat/1";

/// The study as one line of JSON, without the line's end.
pub fn line(shown: &Shown<'_>) -> String {
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&StudyLine::from(shown)).unwrap_or_default()
}

#[derive(Serialize)]
struct StudyLine<'a> {
    schema: &'static str,
    surfaces: Vec<&'a str>,
    people: &'a [String],
    torque_from: &'static str,
    recordings: Vec<SourceOut<'a>>,
    quantities: Vec<FoundOut<'a>>,
    /// Measured in some of the recordings only, and in how many.
    left_out: Vec<LeftOut>,
    cautions: Vec<String>,
    /// At which one quantity's change is called.
    level: Option<f64>,
    outcome: &'static str,
    text: String,
}

#[derive(Serialize)]
struct SourceOut<'a> {
    file: &'a str,
    surface: &'a str,
    by: &'a str,
}

#[derive(Serialize)]
struct LeftOut {
    quantity: &'static str,
    which: Option<String>,
    recordings: usize,
}

#[derive(Serialize)]
struct FoundOut<'a> {
    quantity: &'static str,
    which: Option<String>,
    mean: Option<f64>,
    by: Vec<PersonOut<'a>>,
    /// Standard deviations.
    mounting_sd: Option<Q>,
    people_sd: Option<Q>,
    both_sd: Option<Q>,
    /// Adjusted for all quantities together (Holm).
    p_mounting: Option<f64>,
    p_people: Option<f64>,
    mounting_shows: bool,
    people_differ: bool,
    /// Standard uncertainty by one recording's own strokes.
    one_recording_u: Option<f64>,
    mean_squares: SquaresOut,
    smallest_change: SmallestOut,
}

#[derive(Serialize)]
struct PersonOut<'a> {
    name: &'a str,
    mountings: usize,
    mean: Option<Q>,
}

#[derive(Serialize)]
struct SquaresOut {
    surfaces: Option<SquareOut>,
    people: Option<SquareOut>,
    surfaces_by_people: Option<SquareOut>,
    mountings: Option<SquareOut>,
}

#[derive(Serialize)]
struct SquareOut {
    value: Option<f64>,
    df: f64,
}

#[derive(Serialize)]
struct SmallestOut {
    strokes_alone: Option<f64>,
    each_side: Vec<EachSide>,
}

#[derive(Serialize)]
struct EachSide {
    mountings: usize,
    same_person: Option<Q>,
    another_person: Option<f64>,
}

impl<'a> From<&'a Shown<'_>> for StudyLine<'a> {
    fn from(shown: &'a Shown<'_>) -> Self {
        let study = shown.study;
        Self {
            schema: SCHEMA,
            surfaces: shown.surfaces.iter().map(|s| s.name.as_str()).collect(),
            people: shown.people,
            torque_from: shown.torque_from.word(),
            recordings: shown
                .sources
                .iter()
                .map(|source| SourceOut {
                    file: &source.file,
                    surface: &source.surface,
                    by: &shown.people[source.person],
                })
                .collect(),
            quantities: study.found.iter().map(|f| found(shown, f)).collect(),
            left_out: study
                .left_out
                .iter()
                .map(|(what, recordings)| {
                    let (quantity, which) = key_of(shown.surfaces[0], *what);
                    LeftOut {
                        quantity,
                        which,
                        recordings: *recordings,
                    }
                })
                .collect(),
            cautions: study.cautions.iter().map(|c| caution(shown, c)).collect(),
            level: number(study.level),
            outcome: if study.told() { "told" } else { "unproven" },
            text: sentences(shown, TorqueUnit::default()).join(" "),
        }
    }
}

fn found<'a>(shown: &'a Shown<'_>, found: &Found) -> FoundOut<'a> {
    let (name, which) = key_of(shown.surfaces[0], found.what);
    let q = |q: Option<Quantity>| q.as_ref().and_then(quantity);
    let square = |m: Option<MeanSquare>| {
        m.map(|m| SquareOut {
            value: number(m.value),
            df: m.df,
        })
    };
    let people = shown.people.iter().zip(&found.table.by_person).enumerate();
    FoundOut {
        quantity: name,
        which,
        mean: number(found.mean),
        by: people
            .map(|(i, (name, mean))| PersonOut {
                name,
                mountings: mean.mountings,
                mean: q(found.persons_mean(i)),
            })
            .collect(),
        mounting_sd: q(found.mounting),
        people_sd: q(found.people),
        both_sd: q(found.both),
        p_mounting: found.p_mounting.and_then(number),
        p_people: found.p_people.and_then(number),
        mounting_shows: found.mounting_shows(),
        people_differ: found.people_differ(),
        one_recording_u: found.own_u.and_then(number),
        mean_squares: SquaresOut {
            surfaces: square(found.table.surfaces),
            people: square(found.table.people),
            surfaces_by_people: square(found.table.interaction),
            mountings: square(found.table.mountings),
        },
        smallest_change: SmallestOut {
            strokes_alone: found.own_smallest.and_then(number),
            each_side: found
                .smallest
                .iter()
                .map(|s| EachSide {
                    mountings: s.each_side,
                    same_person: q(s.same_person),
                    another_person: s.another_person.and_then(number),
                })
                .collect(),
        },
    }
}
