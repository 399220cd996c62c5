//! What `prove` says: names, sentences and small print of a comparison, worded once for [`text`] and [`json`].
//! No arithmetic of the trade, no deciding.

pub mod json;
pub mod text;

use super::{Checked, view};
use crate::aircraft::Surface;
use crate::history::compare::{Caution, Change, FALSE_ALARM_RATE, Outcome, Proof, Verdict, What};
use crate::history::repeats::FEWEST_REPEATS;
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

/// The outcome for a headline. Better is not yet good: what the recording after is still found to have stands beside it.
pub(super) fn headline(proved: &Proved<'_>) -> String {
    let words = outcome_words(proved.proof.outcome);
    let still = view::labels(proved.after);
    match proved.proof.outcome {
        Outcome::Better if !still.is_empty() => format!("{words}, and still: {}", still.join("; ")),
        _ => words.to_owned(),
    }
}

pub(super) fn verdict_words(verdict: Verdict) -> &'static str {
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
    name_of(checked.surface, what)
}

pub(super) fn name_of(surface: &Surface, what: What) -> String {
    let side = |up_side| surface.side_word(up_side);
    match what {
        What::Stiffness => "stiffness".into(),
        What::Friction => "friction".into(),
        What::KneePlace { up_side } => format!("knee {}", side(up_side)),
        What::KneeStiffness { up_side } => format!("stiffness beyond knee {}", side(up_side)),
        What::TightSpot => "highest tight spot".into(),
        What::Slop => "slop".into(),
        What::Throw(index) => {
            let throw = surface.throws.get(index);
            format!("throw {}", throw.map_or("", |t| &t.name))
        }
        What::PeakTorque => "peak torque".into(),
        What::HoldCurrent(0) => "hold current at neutral".into(),
        What::HoldCurrent(place) => format!("hold current {}", side(place == 2)),
    }
}

/// The overall verdict in a sentence.
pub(super) fn sentence(proved: &Proved<'_>) -> String {
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
        Caution::Backwards { before, after } => format!(
            "The recording given as after is the older one: it began {after:.0}, the one given as before {before:.0}. If the two were \
             mixed up, better and worse below are the wrong way round: exchange --before and --after."
        ),
        Caution::InTheFuture { after, at } => format!(
            "The recording {} says that it began {at:.0}, which is yet to come: a clock was wrong, and which of the two is the older one \
             cannot be told by it. `hingewright note` can set its time right.",
            if *after { "after" } else { "before" }
        ),
        Caution::WithinAStage { after } => format!(
            "The recording {} is no sweep between the throws: its ends are those of a stage, so throws are not compared. For these \
             take a sweep before and one after.",
            if *after { "after" } else { "before" }
        ),
        Caution::Unfinished { after, why } => format!(
            "The recording {} is of an unfinished run: {why}.",
            if *after { "after" } else { "before" }
        ),
    }
}

/// What is known of repeating the whole measurement.
fn repeats(proved: &Proved<'_>, unit: TorqueUnit) -> String {
    let proof = proved.proof;
    if !proof.knows_repeats() {
        let there = match proof.repeats {
            0 => "the logbook has none".to_owned(),
            n => format!("the logbook has {n}"),
        };
        return format!(
            "Repeats: remounting the surface or the rig is not covered. It changes more than one cycle differs from the next, and only \
             {FEWEST_REPEATS} recordings or more before this pair, with nothing noted as done in between that changes what is measured, show \
             how much ({there}): \
             sweep, remount, sweep again."
        );
    }
    let counted: Vec<String> = proof
        .changes
        .iter()
        .filter_map(|c| c.spread.filter(|s| s.1).map(|s| (c.what, s.0)))
        .map(|(what, spread)| {
            let unit = unit_of(what, unit);
            format!("{} {}", name(proved.after, what), unit.plain(spread.sd))
        })
        .collect();
    let told = match counted.is_empty() {
        true => "For no quantity is it more than the intervals explain.".to_owned(),
        false => format!(
            "Where it is more than the intervals explain it is counted in their place: spread {}.",
            counted.join(", ")
        ),
    };
    let without: Vec<String> = proof
        .changes
        .iter()
        .filter(|c| c.spread.is_none())
        .map(|c| name(proved.after, c.what))
        .collect();
    let without = match without.is_empty() {
        true => String::new(),
        false => format!(
            " Remounting is not covered of: {} (worked on since, or not measured in {FEWEST_REPEATS} of them).",
            without.join(", ")
        ),
    };
    format!(
        "Repeats: {} earlier recordings with nothing noted as done in between that changes what they are taken for show what repeating \
         the whole measurement changes, each held against the one before it, so that a slow drift hardly counts; remounting, as far \
         as they were remounted. {told}{without}",
        proof.repeats
    )
}

/// How to read the table, as sentences to be set small.
fn small_print(proved: &Proved<'_>, unit: TorqueUnit) -> Vec<String> {
    let proof = proved.proof;
    let mut lines = how_to_read(&format!(
        "{} quantities were compared; together they are",
        proof.changes.len()
    ));
    lines.push(repeats(proved, unit));
    if proof.changes.iter().any(|c| c.at_least) {
        lines.push(AT_LEAST.to_owned());
    }
    lines.extend(not_compared(proved));
    lines
}

/// What a bound on a knee's place says.
const AT_LEAST: &str = "A knee that only one side has: how far it has moved at the least, since the other side rules out one as stiff up \
     to there. Beyond the travel's end a knee leaves no trace, so how much further is not known.";

/// How to read any such table. `together`: of what the false-alarm rate holds.
pub(super) fn how_to_read(together: &str) -> Vec<String> {
    vec![
        "Change: after less before, by Welch's t, with its 95 % interval. Scatter is counted from cycles; the calibration and the \
         sensor's scale, where both sides share them, count only as far as the two sides differ in their dependence on them."
            .to_owned(),
        format!(
            "{together} called changed by mistake in at most {:.0} of 100 comparisons (Holm). So an \
             interval that just leaves zero out is not enough by itself. A knee or tight spot on one side only is held against \
             the number of places searched.",
            100.0 * FALSE_ALARM_RATE
        ),
        "Smallest change seen: the change that this comparison would call in 95 of 100 repeats, were it tested first.".to_owned(),
        "Better: less stiffness, friction, slop, peak torque, hold current, a lower tight spot, a knee further out, a throw nearer to \
         what is asked."
            .to_owned(),
    ]
}

/// What could not be compared, in a sentence.
pub(super) fn not_compared(proved: &Proved<'_>) -> Option<String> {
    let left_out = &proved.proof.left_out;
    let names: Vec<String> = left_out.iter().map(|w| name(proved.after, *w)).collect();
    (!names.is_empty()).then(|| {
        format!(
            "Not compared, for want of a number with an interval on both sides, or of one source: {}.",
            names.join(", ")
        )
    })
}

/// The changes in the order in which they are shown.
fn changes<'p>(proved: &'p Proved<'_>) -> &'p [Change] {
    &proved.proof.changes
}
