//! How a hinge is worked in, in words: worded once for the terminal and the page. No arithmetic of the trade.

use super::view::quantity;
use crate::history::settling::{RECHECK_AFTER_H, Recheck, Standing, State, WITHIN_SHARE};
use crate::units::{TorqueUnit, Unit, fixed};

/// How it stands, in a few words.
pub fn state(state: State) -> &'static str {
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
pub fn where_it_stands(standing: &Standing, unit: TorqueUnit) -> String {
    let word = state(standing.state);
    let decay = match (standing.state, &standing.stiffness) {
        (State::Softening, Some(decay)) => decay,
        _ => return word.to_owned(),
    };
    let told = &decay.forecast;
    let within = format!("within {:.0} %", 100.0 * WITHIN_SHARE);
    let settled = quantity(&decay.settled, Unit::Stiffness(unit));
    let no_end = "the data do not show yet where it ends";
    match told.hi95 {
        Some(hi) if hi < 1.0 => {
            format!("{word}, and {within} of the settled value already ({settled})")
        }
        Some(hi) if told.cycles < 1.0 => format!(
            "{word}, and near the settled value already ({settled}): {within} of it now, or in {hi:.0} more cycles at the most"
        ),
        Some(hi) => format!(
            "{word}: about {:.0} more cycles ({:.0} to {hi:.0}) until {within} of the settled value ({settled})",
            told.cycles, told.lo95
        ),
        None if told.lo95 < 1.0 => format!("{word}: {no_end}"),
        None => format!("{word}: {:.0} more cycles or more; {no_end}", told.lo95),
    }
}

/// The change from the batch before to the last.
pub fn last_step(standing: &Standing, unit: TorqueUnit) -> Option<String> {
    let change = standing.change?;
    let by = quantity(&change.by, Unit::Stiffness(unit));
    let least = Unit::Stiffness(unit).plain(change.detectable);
    Some(format!(
        "stiffness changed by {by}; less than {least} would not be seen"
    ))
}

/// What the fits say, one sentence a quantity.
pub fn fitted(standing: &Standing, unit: TorqueUnit) -> Vec<String> {
    let both = [
        ("stiffness", &standing.stiffness, Unit::Stiffness(unit)),
        ("friction", &standing.friction, Unit::Torque(unit)),
    ];
    let said = both.into_iter().filter_map(|(name, decay, unit)| {
        let decay = decay.as_ref()?;
        Some(format!(
            "{name} falls from {} to {}, 63 % of it in {:.0} cycles",
            unit.plain(decay.first),
            quantity(&decay.settled, unit),
            decay.settles_in
        ))
    });
    said.collect()
}

/// The look after a rest.
pub fn rested(recheck: &Recheck, unit: TorqueUnit) -> String {
    let rest = match recheck.rest_h {
        Some(hours) if hours < RECHECK_AFTER_H => format!(
            "after {} h of rest, too short to confirm anything,",
            fixed(hours, 1)
        ),
        Some(hours) => format!("after {} h of rest", fixed(hours, 1)),
        None => "after a rest of unknown length".to_owned(),
    };
    match &recheck.stiffness {
        Some(change) => format!(
            "{rest} stiffness differs by {} ({} %) from the batch before{}",
            quantity(&change.by, Unit::Stiffness(unit)),
            signed(100.0 * change.share),
            if change.is_detectable() {
                ""
            } else {
                ", which is no more than repeating shows"
            }
        ),
        None => format!("{rest}; without stiffness nothing can be compared"),
    }
}

/// That batches were measured in rooms too far apart.
pub fn air_apart(standing: &Standing) -> Option<String> {
    let (lo, hi) = standing.air_apart_c?;
    Some(format!(
        "sessions at {lo:.0} and {hi:.0} °C are compared: hinges are stiffer in the cold, and softening may be warmth"
    ))
}

/// With its sign, to a tenth.
pub fn signed(value: f64) -> String {
    let sign = if value > 0.0 { "+" } else { "" };
    format!("{sign}{}", fixed(value, 1))
}
