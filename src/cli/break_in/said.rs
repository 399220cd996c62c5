//! What `break-in` says in a terminal of batches, of how the hinge stands and of what comes next. No arithmetic of the trade.

use crate::analysis::Measured;
use crate::history::settling::{Batch, RECHECK_AFTER_H, STIFFER_SHARE, Standing, State};
use crate::report::quantity;
use crate::report::worked_in::{
    air_apart, fitted, last_step, rested, signed, state, where_it_stands,
};
use crate::units::{TorqueUnit, Unit};

/// One line on a batch: what was worked, what was measured, how it stands.
pub fn batch(batch: &Batch, measured: &Measured, standing: &Standing, unit: TorqueUnit) -> String {
    let stage = match batch.stage_deg {
        Some(deg) => format!("stage {}", Unit::Degree.given(deg)),
        None => "by hand".to_owned(),
    };
    let mut parts = Vec::new();
    match &measured.curve {
        Some(curve) => {
            let stiffness = quantity(&curve.stiffness_ncm_per_deg, Unit::Stiffness(unit));
            let change = standing.change.map_or(String::new(), |c| {
                format!(" ({} %)", signed(100.0 * c.share))
            });
            parts.push(format!("stiffness {stiffness}{change}"));
            let friction = quantity(&curve.friction_ncm, Unit::Torque(unit));
            parts.push(format!("friction {friction}"));
            let knees: Vec<String> = curve
                .knees
                .iter()
                .map(|k| Unit::Degree.place(k.at_deg.value))
                .collect();
            parts.push(if knees.is_empty() {
                "no knee".to_owned()
            } else {
                format!("knee at {}", knees.join(" and "))
            });
        }
        None => parts.push("no curve: it carries no stiffness".to_owned()),
    }
    parts.push(where_it_stands(standing, unit));
    format!(
        "batch      {stage}, {:.0} cycles worked: {}",
        batch.cycles_after(),
        parts.join(", ")
    )
}

/// What a builder should know at the end, and do next. `again`: the command line that got here.
pub fn summary(
    standing: &Standing,
    worked: f64,
    through: bool,
    again: &str,
    unit: TorqueUnit,
) -> String {
    let mut lines = vec![format!("worked     {worked:.0} cycles in all")];
    lines.extend(last_step(standing, unit).map(|said| format!("last step  {said}")));
    let fits = fitted(standing, unit).into_iter();
    lines.extend(fits.map(|said| format!("fitted     {said}")));
    let recheck = standing.recheck.as_ref();
    lines.extend(recheck.map(|r| format!("rested     {}", rested(r, unit))));
    lines.extend(air_apart(standing).map(|said| format!("note       {said}")));
    lines.push(format!("state      {}", state(standing.state)));
    lines.push(format!("next       {}", next(standing, through, again)));
    lines.join("\n")
}

fn next(standing: &Standing, through: bool, again: &str) -> String {
    let after = format!("let it rest for {RECHECK_AFTER_H:.0} hours, then `{again} --recheck`");
    match standing.state {
        State::Stiffer => format!(
            "look at hinge and linkage: more than {:.0} % stiffer within a stage is tearing or binding, and more cycles do not mend it",
            100.0 * STIFFER_SHARE
        ),
        State::Settled => format!("{after}: only that confirms it"),
        State::Confirmed => {
            "worked in: `sweep` it for the record, and again through the season".to_owned()
        }
        State::CameBack => {
            format!(
                "work it again with more cycles (`{again} --cycles-per-stage N`), and re-check after another night"
            )
        }
        State::TooCoarse => format!(
            "take more cycles a batch (`{again} --batch 20 --cycles-per-stage N`), or give the rig a torque or force sensor"
        ),
        State::Softening | State::TooFew if through => format!(
            "its cycles are spent and it is not shown to have settled: go on with more (`{again} --cycles-per-stage N`), or {after}"
        ),
        State::Softening | State::TooFew => format!("go on where it was with `{again}`"),
    }
}
