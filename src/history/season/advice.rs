//! What to look at first, in a builder's words: one sentence for a quantity that is not fine. No number is worked out here.

use std::fmt;

use super::Measure;
use super::{Chart, Crossing, Health, Level, Record, Work};
use crate::command;

/// What to look at, and what to tell the logbook where work is behind it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advice {
    /// What is the matter, and where to look.
    pub says: String,
    /// Of a step that work may have caused: the notes by which the quantity begins anew.
    pub tell: Vec<Tell>,
}

/// A note that would explain a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tell {
    /// What was done, if it was.
    pub what: &'static str,
    /// As a shell takes it; what was done is left to say, in place of [`WORDS`].
    pub command: String,
}

/// Stands for what the builder has to say in words.
pub const WORDS: &str = "TEXT";

/// What is left to do about a command before it is run.
pub const BEFORE_IT_IS_RUN: &str = "For TEXT put in your words what was done. The time is that of the first recording that shows it; the work came before";

impl fmt::Display for Advice {
    /// In one piece, without the last full stop.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.says)?;
        for Tell { what, command } in &self.tell {
            write!(f, ". If {what}: `{command}`")?;
        }
        match self.tell.is_empty() {
            true => Ok(()),
            false => write!(f, ". {BEFORE_IT_IS_RUN}"),
        }
    }
}

/// What to do about a quantity; `logbook` is the folder that its notes are kept in. `None` where nothing is to be done.
pub fn advice(record: &Record, logbook: &str) -> Option<Advice> {
    let tell = match work_may_explain(record) {
        true => tell(record, logbook),
        false => Vec::new(),
    };
    let says = says(record.measure, &record.health)?;
    Some(Advice { says, tell })
}

fn says(measure: Measure, health: &Health) -> Option<String> {
    if health.level == Level::Fine {
        return health.repeat.then(|| {
            "the latest reading is out of line and stands alone: repeat it before believing it"
                .to_owned()
        });
    }
    let look = place(measure, falls(health));
    let why = if health.crossing == Crossing::Passed {
        "beyond its limit in the latest two recordings"
    } else if health.step != 0 {
        stepped(health)
    } else if health.level == Level::Act {
        "moving steadily towards its limit"
    } else if health.repeat {
        "drifting, and the latest reading is out of line besides: repeat it"
    } else {
        "drifting"
    };
    Some(format!("{why}: {look}"))
}

/// A step within the limits may be of work that was never noted. Beyond a limit work is no excuse; but stiffness's limit is taken
/// from its own first recordings, and begins anew with them.
fn work_may_explain(record: &Record) -> bool {
    let excused =
        record.measure == Measure::Stiffness || record.health.crossing != Crossing::Passed;
    record.health.step != 0 && excused
}

fn stepped(health: &Health) -> &'static str {
    match health.back {
        false => "two recordings in a row have left the baseline",
        true => {
            "two recordings in a row had left the baseline, and the latest is back at it: repeat it"
        }
    }
}

/// The notes of work that begin the quantity anew, dated so that the step's first recording is the first after the work.
fn tell(record: &Record, logbook: &str) -> Vec<Tell> {
    let of = &record.latest_of;
    let surface = Some(&of.surface);
    let works = [
        (
            Work::Servo,
            "the servo was exchanged",
            of.servo.as_ref(),
            "servo-replaced",
        ),
        (
            Work::Hinge,
            "the hinge was worked on",
            surface,
            "hinge-work",
        ),
        (Work::Rod, "the rod was worked on", surface, "rod-work"),
    ];
    let anew = works
        .into_iter()
        .filter(|(work, ..)| work.begins_anew(record.measure, of.torque_from.as_deref()));
    anew.filter_map(|(_, what, whose, kind)| {
        let at = record.stepped_at?;
        Some(Tell {
            what,
            command: format!(
                "hingewright note {} \"{WORDS}\" --kind {kind} --date {at} --logbook {}",
                command::word(whose?),
                command::word(logbook)
            ),
        })
    })
    .collect()
}

fn falls(health: &Health) -> bool {
    match health.step {
        0 => health.chart == Chart::Below || health.trend.is_some_and(|t| t.slope < 0.0),
        step => step < 0,
    }
}

/// Common practice; no source.
fn place(measure: Measure, falls: bool) -> &'static str {
    match (measure, falls) {
        (Measure::Stiffness, false) => {
            "look for paint, glue or a gap seal that binds on the hinge line"
        }
        (Measure::Stiffness, true) => {
            "look for a hinge or horn that has come loose, or a tape that has let go"
        }
        (Measure::Friction, false) => "free the rod ends and clean the hinge line",
        (Measure::Friction, true) => "see that the rod ends still hold: less friction may be wear",
        (Measure::Slop, _) => "feel for play in clevis, horn, arm and gears, in this order",
        (Measure::Rest, _) => "see whether the arm's screw, the rod's length or the trim has moved",
        (Measure::HoldNeutral, false) => {
            "take the rod off: if the servo still hums it is the servo, otherwise the linkage binds"
        }
        (Measure::HoldNeutral, true) => "see that the rod still reaches the surface without play",
        (Measure::ShareOfStall, _) => {
            "look at friction and stiffness above, then at the linkage's ratio"
        }
        (Measure::Lead, false) => "look at plugs, extension leads and solder joints",
        (Measure::Lead, true) => "see whether a lead or a plug was exchanged, and note it",
        (Measure::Slew, false) => {
            "test the servo alone at the same voltage: if it is slow there too, it is the servo"
        }
        (Measure::Slew, true) => "see whether it was tested at a higher voltage",
        (Measure::Idle, false) => {
            "take the rod off: if the servo still draws it at rest, exchange it"
        }
        (Measure::Idle, true) => "see that the current sensor still reads zero with nothing joined",
        (Measure::Centring, _) => "feel for play in its gears, and see that nothing holds the arm",
        (Measure::DeadBand, _) => {
            "see whether a setting of the servo was changed, and that nothing binds"
        }
        (Measure::HeldStiffness, false) => {
            "see whether lighter weights were hung, or a rod was exchanged"
        }
        (Measure::HeldStiffness, true) => {
            "look for a cracked horn, a loose servo mount or a bent rod: a soft circuit invites flutter"
        }
        (Measure::HeldPlay, _) => "feel for play in clevis, horn, arm and gears, in this order",
        (Measure::Fight, _) => "trim the two servos against each other anew, as `check` says which",
        (Measure::Jitter, _) => {
            "look at its supply and lead; a worn position sensor inside trembles for ever"
        }
    }
}

#[cfg(test)]
#[path = "advice_tests.rs"]
mod tests;
