//! What was left out of a season or looks odd, in sentences that every output shows as they are. Decides nothing.

use super::{Source, Story};
use crate::aircraft;
use crate::problem::Problem;

/// So many recordings are named in a sentence; the others are counted, and JSON names all.
const NAMED: usize = 3;

impl Source {
    /// What a reader of this story should know of what is not in it. `problems`: what could not be used, the story's own
    /// included.
    pub fn remarks(&self, story: &Story, problems: &[&Problem]) -> Vec<String> {
        let left_out = &story.left_out;
        let mut said = Vec::new();
        for (ids, what) in [
            (&left_out.unfinished, "unfinished"),
            (&left_out.worked_in, "made while a hinge was worked in"),
            (&left_out.without_value, "unproven and without any value"),
        ] {
            if !ids.is_empty() {
                said.push(format!("Left out: {} {what}: {}.", ids.len(), some(ids)));
            }
        }
        for (ids, what, clock, reason) in [
            (
                &left_out.without_time,
                "without the time when it began",
                "Say",
                "it bears no time",
            ),
            (
                &left_out.in_the_future,
                "that began later than now",
                "If this computer's clock is right, say",
                "clock was wrong",
            ),
        ] {
            if let [first, ..] = &ids[..] {
                said.push(format!(
                    "Left out: {} {what}: {}. {clock} when each truly began, and it counts (the recording stays as it is): \
                     hingewright note {first} \"{reason}\" --kind began --date WHEN --logbook {}. For WHEN put its day and time \
                     with the zone, written as YYYY-MM-DDThh:mm:ss+hh:mm, or ending in Z for UTC.",
                    ids.len(),
                    some(ids),
                    self.root().display()
                ));
            }
        }
        let name = self.name();
        for (other, ids) in &left_out.other_aircraft {
            said.push(format!(
                "Left out: {} of another aircraft, {other}: {}. This logbook is {name}'s; {}.",
                ids.len(),
                some(ids),
                aircraft::renamed_aircraft(name, other)
            ));
        }
        if !left_out.copies.is_empty() {
            let pairs = left_out.copies.iter();
            let pairs: Vec<String> = pairs.map(|(id, of)| format!("{id} is {of}")).collect();
            said.push(format!(
                "Counted once, since they are the same byte for byte: {}.",
                some(&pairs)
            ));
        }
        for (surface, count) in &story.gone_surfaces {
            said.push(format!(
                "The aircraft file has no surface {surface} any more; its {count} results stand under that name: {}.",
                aircraft::renamed(surface)
            ));
        }
        if self.limits().is_none() {
            said.push("No aircraft file that can be used: held to no limit.".into());
        }
        said.extend(problems.iter().map(|p| format!("Not used: {}.", p.what)));
        said
    }
}

/// The first few, and how many more there are.
fn some(all: &[String]) -> String {
    let named = all[..all.len().min(NAMED)].join(", ");
    match all.len().saturating_sub(NAMED) {
        0 => named,
        more => format!("{named} and {more} more"),
    }
}
