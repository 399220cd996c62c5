//! What was left out of a season or looks odd, in sentences that every output shows as they are. Decides nothing.

use super::{Source, Story};
use crate::problem::Problem;

impl Source {
    /// What a reader of this story should know of what is not in it. `problems`: what could not be used, the story's own
    /// included.
    pub fn remarks(&self, story: &Story, problems: &[&Problem]) -> Vec<String> {
        let left_out = &story.left_out;
        let mut said = Vec::new();
        for (count, what) in [
            (left_out.unfinished, "unfinished"),
            (left_out.worked_in, "made while a hinge was worked in"),
            (left_out.without_value, "unproven and without any value"),
            (left_out.without_time, "without the time when it began"),
        ] {
            if count > 0 {
                said.push(format!("Left out: {count} {what}."));
            }
        }
        if !left_out.in_the_future.is_empty() {
            said.push(format!(
                "Left out, since they began later than now: {}. Set the clock right, here or where they were made.",
                left_out.in_the_future.join(", ")
            ));
        }
        let name = self.name();
        for (aircraft, count) in &left_out.other_aircraft {
            said.push(format!(
                "Left out: {count} of another aircraft, {aircraft}; this logbook is {name}'s."
            ));
        }
        for (surface, count) in &story.gone_surfaces {
            said.push(format!(
                "The aircraft file has no surface {surface} any more; its {count} results stand under that name. If it has another \
                 name now, change `# surface=` in copies of its recordings, and recheck."
            ));
        }
        if self.limits().is_none() {
            said.push("No aircraft file that can be used: held to no limit.".into());
        }
        said.extend(problems.iter().map(|p| format!("Not used: {}.", p.what)));
        said
    }
}
