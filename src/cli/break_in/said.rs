//! What `break-in` says of batches and of how the hinge stands. No arithmetic of the trade.

use crate::analysis::{Measured, Quantity};
use crate::history::settling::{
    Batch, RECHECK_AFTER_H, Recheck, STIFFER_SHARE, Standing, State, WITHIN_SHARE,
};
use crate::units::{TorqueUnit, Unit, fixed};

/// One line on a batch: what was worked, what was measured, how it stands.
pub fn batch(batch: &Batch, measured: &Measured, standing: &Standing, unit: TorqueUnit) -> String {
    let stage = match batch.stage_deg {
        Some(deg) => format!("stage {}", Unit::Degree.given(deg)),
        None => "by hand".to_owned(),
    };
    let mut parts = Vec::new();
    match &measured.curve {
        Some(curve) => {
            let stiffness = quantity(Unit::Stiffness(unit), &curve.stiffness_ncm_per_deg);
            let change = standing.change.map_or(String::new(), |c| {
                format!(" ({} %)", signed(100.0 * c.share))
            });
            parts.push(format!("stiffness {stiffness}{change}"));
            let friction = quantity(Unit::Torque(unit), &curve.friction_ncm);
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

fn signed(value: f64) -> String {
    let sign = if value > 0.0 { "+" } else { "" };
    format!("{sign}{}", fixed(value, 1))
}

fn quantity(unit: Unit, quantity: &Quantity) -> String {
    match quantity.interval {
        Some(i) => unit.with_interval(quantity.value, i.lo95, i.hi95),
        None => format!("{} (no interval)", unit.plain(quantity.value)),
    }
}

fn state(state: State) -> &'static str {
    match state {
        State::TooFew => "too little to tell yet",
        State::Softening => "still settling",
        State::TooCoarse => "no change seen, but measured too coarsely to call it settled",
        State::Stiffer => "STIFFER than before",
        State::Settled => "settled",
        State::Confirmed => "settled and confirmed",
        State::CameBack => "stiffer again after the rest",
    }
}

/// The state and, while it settles, the forecast.
fn where_it_stands(standing: &Standing, unit: TorqueUnit) -> String {
    let word = state(standing.state);
    if standing.state != State::Softening {
        return word.to_owned();
    }
    let Some(decay) = &standing.stiffness else {
        return word.to_owned();
    };
    let within = format!("to within {:.0} % of", 100.0 * WITHIN_SHARE);
    let settled = quantity(Unit::Stiffness(unit), &decay.settled);
    let told = &decay.forecast;
    let cycles = match told.hi95 {
        Some(hi) if hi < 1.0 => return format!("{word}, and already {within} {settled}"),
        Some(hi) => format!(
            "{:.0} more cycles ({:.0} to {hi:.0})",
            told.cycles, told.lo95
        ),
        None => format!(
            "{:.0} more cycles at least, with no end in sight yet,",
            told.lo95
        ),
    };
    format!("{word}: {cycles} {within} {settled}")
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
    if let Some(c) = &standing.change {
        let by = quantity(Unit::Stiffness(unit), &c.by);
        let least = Unit::Stiffness(unit).plain(c.detectable);
        lines.push(format!(
            "last step  stiffness changed by {by}; less than {least} would not be seen"
        ));
    }
    for (name, decay, unit) in [
        ("stiffness", &standing.stiffness, Unit::Stiffness(unit)),
        ("friction", &standing.friction, Unit::Torque(unit)),
    ] {
        if let Some(decay) = decay {
            lines.push(format!(
                "fitted     {name} falls from {} to {}, 63 % of it in {:.0} cycles",
                unit.plain(decay.first),
                quantity(unit, &decay.settled),
                decay.settles_in
            ));
        }
    }
    if let Some(recheck) = &standing.recheck {
        lines.push(rechecked(recheck, unit));
    }
    if let Some((lo, hi)) = standing.air_apart_c {
        lines.push(format!(
            "note       sessions at {lo:.0} and {hi:.0} °C are compared: hinges are stiffer in the cold, and softening may be warmth"
        ));
    }
    lines.push(format!("state      {}", state(standing.state)));
    lines.push(format!("next       {}", next(standing, through, again)));
    lines.join("\n")
}

fn rechecked(recheck: &Recheck, unit: TorqueUnit) -> String {
    let rest = match recheck.rest_h {
        Some(hours) => format!("after {} h of rest", fixed(hours, 1)),
        None => "after a rest of unknown length".to_owned(),
    };
    match &recheck.stiffness {
        Some(change) => format!(
            "rested     {rest} stiffness differs by {} ({} %) from the batch before{}",
            quantity(Unit::Stiffness(unit), &change.by),
            signed(100.0 * change.share),
            if change.is_detectable() {
                ""
            } else {
                ", which is no more than repeating shows"
            }
        ),
        None => format!("rested     {rest}; without stiffness nothing can be compared"),
    }
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
