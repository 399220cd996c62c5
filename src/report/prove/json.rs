//! `prove --json`: one object. Storage types of their own, converted here and nowhere else; units are those of `check`.

use serde::Serialize;

use super::{Proved, caution, changes, name};
use crate::aircraft::Surface;
use crate::history::compare::{Change, FALSE_ALARM_RATE, Outcome, Verdict, What};
use crate::history::repeats::FEWEST_REPEATS;
use crate::report::json::{Q, number, quantity};

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.prove/1";

/// The comparison as one line of JSON, without the line's end.
pub fn line(proved: &Proved<'_>) -> String {
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&ProveLine::from(proved)).unwrap_or_default()
}

#[derive(Serialize)]
struct ProveLine<'a> {
    schema: &'static str,
    surface: &'a str,
    before: SideOut<'a>,
    after: SideOut<'a>,
    changes: Vec<ChangeOut>,
    /// Names of what could not be compared.
    left_out: Vec<String>,
    cautions: Vec<String>,
    repeats: RepeatsOut,
    /// Of all changes together (Holm).
    false_alarm_rate: f64,
    outcome: &'static str,
}

#[derive(Serialize)]
struct SideOut<'a> {
    file: &'a str,
    torque_from: &'static str,
    unfinished: Option<&'a str>,
}

/// Earlier recordings of the surface as it was before.
#[derive(Serialize)]
struct RepeatsOut {
    recordings: usize,
    needed: usize,
}

/// What repeats of the whole measurement scattered by, in the quantity's unit.
#[derive(Serialize)]
struct SpreadOut {
    recordings: usize,
    sd: Option<f64>,
    /// It is more than the two intervals explain, and was counted in their place.
    counted: bool,
}

#[derive(Serialize)]
struct ChangeOut {
    quantity: &'static str,
    /// Of a throw, a knee's side or the place of a hold: which.
    which: Option<String>,
    before: Option<Q>,
    after: Option<Q>,
    change: Option<Q>,
    /// The change is a bound: at least so far. Then it has no interval.
    at_least: bool,
    repeats: Option<SpreadOut>,
    smallest_change_seen: Option<f64>,
    p: Option<f64>,
    p_of_all: Option<f64>,
    verdict: &'static str,
}

impl<'a> From<&'a Proved<'_>> for ProveLine<'a> {
    fn from(proved: &'a Proved<'_>) -> Self {
        let side = |checked: &'a crate::report::Checked<'_>| SideOut {
            file: &checked.recording.file,
            torque_from: checked.measured.torque_from.word(),
            unfinished: checked.recording.unfinished.as_deref(),
        };
        let proof = proved.proof;
        Self {
            schema: SCHEMA,
            surface: &proved.after.recording.surface,
            before: side(proved.before),
            after: side(proved.after),
            changes: changes(proved).iter().map(|c| change(proved, c)).collect(),
            left_out: proof
                .left_out
                .iter()
                .map(|w| name(proved.after, *w))
                .collect(),
            cautions: proof.cautions.iter().map(caution).collect(),
            repeats: RepeatsOut {
                recordings: proof.repeats,
                needed: FEWEST_REPEATS,
            },
            false_alarm_rate: FALSE_ALARM_RATE,
            outcome: outcome_word(proof.outcome),
        }
    }
}

fn change(proved: &Proved<'_>, change: &Change) -> ChangeOut {
    let (quantity_name, which) = key(proved, change.what);
    ChangeOut {
        quantity: quantity_name,
        which,
        before: change.before.as_ref().and_then(quantity),
        after: change.after.as_ref().and_then(quantity),
        change: quantity(&change.change),
        at_least: change.at_least,
        repeats: change.spread.map(|(spread, counted)| SpreadOut {
            recordings: spread.recordings,
            sd: number(spread.sd),
            counted,
        }),
        smallest_change_seen: number(change.smallest_seen),
        p: number(change.p),
        p_of_all: number(change.p_of_all),
        verdict: verdict_word(change.verdict),
    }
}

pub(in crate::report) fn outcome_word(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Better => "better",
        Outcome::NoChangeShown => "no-change-shown",
        Outcome::Worse => "worse",
        Outcome::NothingComparable => "nothing-comparable",
    }
}

pub(in crate::report) fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Better => "better",
        Verdict::NoChangeShown => "no-change-shown",
        Verdict::Changed => "changed",
        Verdict::Worse => "worse",
    }
}

/// What is compared, as JSON and tables call it; of a throw, a knee's side or the place of a hold: which.
pub(in crate::report) fn key(proved: &Proved<'_>, what: What) -> (&'static str, Option<String>) {
    key_of(proved.after.surface, what)
}

pub(in crate::report) fn key_of(surface: &Surface, what: What) -> (&'static str, Option<String>) {
    let side = |up_side: bool| Some(if up_side { "up" } else { "down" }.to_owned());
    match what {
        What::Stiffness => ("stiffness_ncm_per_deg", None),
        What::Friction => ("friction_ncm", None),
        What::KneePlace { up_side } => ("knee_at_deg", side(up_side)),
        What::KneeStiffness { up_side } => ("stiffness_beyond_ncm_per_deg", side(up_side)),
        What::TightSpot => ("tight_spot_height_ncm", None),
        What::Slop => ("slop_deg", None),
        What::Throw(index) => {
            let throw = surface.throws.get(index);
            ("throw_reached_mm", throw.map(|t| t.name.clone()))
        }
        What::PeakTorque => ("peak_torque_ncm", None),
        What::HoldCurrent(0) => ("hold_current_ma", Some("neutral".into())),
        What::HoldCurrent(place) => ("hold_current_ma", side(place == 2)),
    }
}
