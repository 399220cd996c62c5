//! Rules for two servos on one surface: what they draw against each other. The limit stands in `servo::limits`.

use super::rules::named;
use super::sentence::{Sentence, plain};
use super::{Finding, Kind, Level};
use crate::aircraft::Surface;
use crate::servo::limits::FIGHT_MA;
use crate::servo::share::{Lack, Share, Trim};
use crate::units::Unit;

/// All that is to be said of them. What was not measured is told with the rest, and judges nothing.
pub fn judge_share(share: &Share, surface: &Surface) -> Vec<Finding> {
    fight(share, surface).into_iter().collect()
}

fn fight(share: &Share, surface: &Surface) -> Option<Finding> {
    let [first, second] = &share.tags;
    let drawn = share.fight_ma()?;
    let interval = drawn.interval?;
    // What the data leave open is no fight.
    if drawn.value < FIGHT_MA || interval.lo95 <= 0.0 {
        return None;
    }
    let level = match interval.lo95 > FIGHT_MA {
        true => Level::Work,
        false => Level::Watch,
    };
    let next = match share.trim {
        Trim::FirstPushes { up } => {
            let (higher, lower) = if up { (first, second) } else { (second, first) };
            format!(
                "{higher} pushes up and {lower} down: trim the neutral of {higher} down, or that of {lower} up, until both draw least."
            )
        }
        _ => "Take one rod off, trim its servo until the rod goes on without force, and measure again.".to_owned(),
    };
    let sentence = Sentence::new(format!(
        "{}: at neutral its servos {first} and {second} each draw {} against each other (limit {}); they heat standing still, and \
         rods and gears carry that load all the time. {next}",
        named(surface),
        plain(Unit::Milliampere, &drawn),
        Unit::Milliampere.given(FIGHT_MA),
    ));
    let at_deg = share.at(crate::servo::share::Place::Neutral)?.angle_deg;
    Some(Finding::new(
        Kind::ServoFight,
        level,
        Some(at_deg),
        sentence,
    ))
}

/// Why nothing is told, and what would help.
pub fn lack_words(lack: Lack) -> &'static str {
    match lack {
        Lack::Current => {
            "it takes the current of each, in the channels current_ma and current2_ma."
        }
        Lack::Idle => {
            "what each draws at idle is not known. Record a second disarmed, or calibrate both."
        }
        Lack::Holds => {
            "it takes three holds at neutral and more, of half a second each. `hingewright sweep` makes them."
        }
    }
}
