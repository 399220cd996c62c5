//! What `prove` says: names, sentences and small print of a comparison, worded once for [`text`] and [`json`].
//! No arithmetic of the trade, no deciding.

pub mod json;
pub mod text;

use super::{Checked, view};
use crate::history::compare::{Caution, Change, FALSE_ALARM_RATE, Outcome, Proof, Verdict, What};
use crate::units::{TorqueUnit, Unit};

/// Two recordings of one surface and what comparing them came to.
pub struct Proved<'a> {
    pub before: &'a Checked<'a>,
    pub after: &'a Checked<'a>,
    pub proof: &'a Proof,
}

pub fn outcome_words(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Better => "better",
        Outcome::NoChangeShown => "no change shown",
        Outcome::Worse => "worse",
        Outcome::NothingComparable => "nothing comparable",
    }
}

fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Better => "better",
        Verdict::NoChangeShown => "no change shown",
        Verdict::Changed => "changed",
        Verdict::Worse => "worse",
    }
}

pub(super) fn unit_of(what: What, unit: TorqueUnit) -> Unit {
    match what {
        What::Stiffness | What::KneeStiffness { .. } => Unit::Stiffness(unit),
        What::Friction | What::TightSpot | What::PeakTorque => Unit::Torque(unit),
        What::KneePlace { .. } | What::Slop => Unit::Degree,
        What::Throw(_) => Unit::Millimetre,
        What::HoldCurrent(_) => Unit::Milliampere,
    }
}

pub(super) fn name(checked: &Checked<'_>, what: What) -> String {
    let side = |up_side| view::side_word(checked, up_side);
    match what {
        What::Stiffness => "stiffness".into(),
        What::Friction => "friction".into(),
        What::KneePlace { up_side } => format!("knee {}", side(up_side)),
        What::KneeStiffness { up_side } => format!("stiffness beyond knee {}", side(up_side)),
        What::TightSpot => "highest tight spot".into(),
        What::Slop => "slop".into(),
        What::Throw(index) => {
            let throw = checked.surface.throws.get(index);
            format!("throw {}", throw.map_or("", |t| &t.name))
        }
        What::PeakTorque => "peak torque".into(),
        What::HoldCurrent(0) => "hold current at neutral".into(),
        What::HoldCurrent(place) => format!("hold current {}", side(place == 2)),
    }
}

/// The overall verdict in a sentence.
fn sentence(proved: &Proved<'_>) -> String {
    let proof = proved.proof;
    let named = |verdict: Verdict| -> Vec<String> {
        let those = proof.changes.iter().filter(|c| c.verdict == verdict);
        those.map(|c| name(proved.after, c.what)).collect()
    };
    let (better, worse) = (named(Verdict::Better), named(Verdict::Worse));
    match proof.outcome {
        Outcome::NothingComparable => {
            "Nothing was measured on both sides with an interval: neither a change nor its absence can be shown.".into()
        }
        Outcome::Better => format!("The surface is better after than before: {}.", better.join(", ")),
        Outcome::Worse if better.is_empty() => {
            format!("The surface is worse after than before: {}.", worse.join(", "))
        }
        Outcome::Worse => format!(
            "The surface is worse after than before: {}; better: {}.",
            worse.join(", "),
            better.join(", ")
        ),
        Outcome::NoChangeShown => format!(
            "Of {} quantities compared none is shown to be better or worse. A change smaller than the smallest that could be seen \
             is not ruled out.",
            proof.changes.len()
        ),
    }
}

/// What differs besides the fix, as sentences.
pub(super) fn caution(caution: &Caution) -> String {
    let volts = |v| Unit::Volt.plain(v);
    match caution {
        Caution::Rig(before, after) => format!(
            "Another rig: {before} before, {after} after. The errors of both sensors' scales are counted."
        ),
        Caution::Servo(before, after) => format!(
            "Another servo: {before} before, {after} after. What changed may be the servo; torque from supply power is not compared."
        ),
        Caution::Channels {
            only_before,
            only_after,
        } => {
            let list = |channels: &[String]| match channels {
                [] => "none".to_owned(),
                some => some.join(", "),
            };
            format!(
                "Other channels: only before {}, only after {}.",
                list(only_before),
                list(only_after)
            )
        }
        Caution::TorqueFrom(before, after) => format!(
            "Torque from another source: {} before, {} after. What hangs on torque is not compared.",
            before.word(),
            after.word()
        ),
        Caution::Air { before_c, after_c } => format!(
            "The room was at {before_c:.1} °C before and at {after_c:.1} °C after; grease and hinges feel that. Repeat within 8 K."
        ),
        Caution::Speed {
            before_deg_s,
            after_deg_s,
        } => format!(
            "Swept at {before_deg_s:.1}°/s before and at {after_deg_s:.1}°/s after; friction hangs on speed. Repeat within a quarter."
        ),
        Caution::Supply { before_v, after_v } => format!(
            "The servo's plug had {} before and {} after. Repeat within 0.5 V.",
            volts(*before_v),
            volts(*after_v)
        ),
        Caution::Unfinished { after, why } => format!(
            "The recording {} is of an unfinished run: {why}.",
            if *after { "after" } else { "before" }
        ),
    }
}

/// How to read the table, as sentences to be set small.
fn small_print(proved: &Proved<'_>) -> Vec<String> {
    let proof = proved.proof;
    let mut lines = vec![
        "Change: after less before, by Welch's t, with its 95 % interval. Scatter is counted from cycles; the calibration and the \
         sensor's scale, where both sides share them, count only as far as the two sides differ in their dependence on them."
            .to_owned(),
        format!(
            "{} quantities were compared; together they are called changed by mistake in at most {:.0} of 100 comparisons (Holm). So an \
             interval that just leaves zero out is not enough by itself. A knee or tight spot on one side only is held against \
             the number of places searched.",
            proof.changes.len(),
            100.0 * FALSE_ALARM_RATE
        ),
        "Smallest change seen: the change that this comparison would call in 95 of 100 repeats, were it tested first.".to_owned(),
        "Better: less stiffness, friction, slop, peak torque, hold current, a lower tight spot, a knee further out, a throw nearer to \
         what is asked. Taking a surface off and mounting it again changes more than one cycle differs from the next, and no single \
         pair shows how much: sweep, remount, sweep again and prove that first, to know."
            .to_owned(),
    ];
    if !proof.left_out.is_empty() {
        let names: Vec<String> = proof
            .left_out
            .iter()
            .map(|w| name(proved.after, *w))
            .collect();
        lines.push(format!(
            "Not compared, for want of a number with an interval on both sides, or of one source: {}.",
            names.join(", ")
        ));
    }
    lines
}

/// The changes in the order in which they are shown.
fn changes<'p>(proved: &'p Proved<'_>) -> &'p [Change] {
    &proved.proof.changes
}
