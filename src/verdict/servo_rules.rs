//! Rules for a servo tested by itself: limit, level and sentence of each. The limits stand in `servo::limits`, but for the
//! data sheet's and `hold_current_ma`.

use super::sentence::{Sentence, plain};
use super::{Finding, Kind, Level};
use crate::aircraft::{Limits, ServoType};
use crate::analysis::Quantity;
use crate::servo::{Lack, Tested, limits};
use crate::units::Unit;

/// The servo that is judged.
#[derive(Debug, Clone, Copy)]
pub struct ServoOf<'a> {
    pub tag: &'a str,
    pub kind: &'a ServoType,
    pub limits: &'a Limits,
}

/// A quantity held against its limit.
struct Rule<'a> {
    kind: Kind,
    quantity: &'a Option<Quantity>,
    limit: f64,
    unit: Unit,
    what: &'static str,
    next: &'static str,
}

/// All that is to be said of it.
pub fn judge_servo(tested: &Tested, of: ServoOf<'_>) -> Vec<Finding> {
    let mut all: Vec<Finding> = slow(tested, of).into_iter().collect();
    all.extend(rules(tested, of).iter().filter_map(|rule| rule.broken(of)));
    let missing = tested.lacks.iter().filter(|lack| leaves_open(lack));
    all.extend(missing.map(|lack| {
        let text = format!("Servo {}: {}", of.tag, lack_words(lack));
        finding(Kind::Unproven, Level::Watch, text)
    }));
    all
}

fn rules<'a>(tested: &'a Tested, of: ServoOf<'_>) -> [Rule<'a>; 6] {
    let found = &tested.found;
    let sheet_us = of.kind.dead_band_us;
    let (ma, hold_ma) = (Unit::Milliampere, of.limits.hold_current_ma);
    [
        Rule {
            kind: Kind::Centring,
            quantity: &found.centring_deg,
            limit: limits::CENTRING_DEG,
            unit: Unit::Degree,
            what: "the difference of neutral come to from both sides",
            next: "Feel for play in its gears and see that nothing holds the arm; if it stays, exchange the servo.",
        },
        Rule {
            kind: Kind::DeadBand,
            quantity: &found.dead_band_us,
            limit: sheet_us.map_or(limits::DEAD_BAND_US, |us| limits::DEAD_BAND_TIMES * us),
            unit: Unit::Microsecond,
            what: "the smallest change of the pulse that it answers",
            next: "See whether a setting of the servo widens its dead band, and that nothing binds.",
        },
        Rule {
            kind: Kind::Jitter,
            quantity: &found.jitter_deg,
            limit: limits::JITTER_DEG,
            unit: Unit::Degree,
            what: "its trembling at rest",
            next: "Look at its supply and its lead first; a worn position sensor inside trembles for ever.",
        },
        Rule {
            kind: Kind::Overshoot,
            quantity: &found.overshoot_deg,
            limit: limits::OVERSHOOT_DEG,
            unit: Unit::Degree,
            what: "its overshoot",
            next: "A heavy arm or surface overshoots: lighter parts, or another setting of the servo, help.",
        },
        Rule {
            kind: Kind::HoldCurrent,
            quantity: &found.idle_ma,
            limit: hold_ma,
            unit: ma,
            what: "the current at rest at neutral",
            next: "At neutral nothing should be held: take the rod off, and if it stays, exchange the servo.",
        },
        Rule {
            kind: Kind::HoldCurrent,
            quantity: &tested.hold_ma,
            limit: hold_ma,
            unit: ma,
            what: "the current at rest away from neutral",
            next: "Find what the servo holds against: a rod that binds, a stop, a stiff hinge.",
        },
    ]
}

impl Rule<'_> {
    fn broken(&self, of: ServoOf<'_>) -> Option<Finding> {
        let quantity = magnitude(self.quantity.as_ref()?);
        let level = beyond(&quantity, self.limit)?;
        let text = format!(
            "Servo {}: {} is {}, limit {}. {}",
            of.tag,
            self.what,
            plain(self.unit, &quantity),
            self.unit.given(self.limit),
            told(level, self.next)
        );
        Some(finding(self.kind, level, text))
    }
}

fn slow(tested: &Tested, of: ServoOf<'_>) -> Option<Finding> {
    let at = tested.at_sheet?;
    let slew = at.slew_s_per_60deg;
    let limit = at.sheet.s_per_60deg * (1.0 + limits::SLOWER_SHARE);
    let level = beyond(&slew, limit)?;
    let text = format!(
        "Servo {}: at {} it takes {}, limit {}: {:.0} % more than the {} of its data sheet. {}",
        of.tag,
        Unit::Volt.given(at.sheet.voltage_v),
        plain(Unit::SecondPer60, &slew),
        Unit::SecondPer60.given(limit),
        100.0 * limits::SLOWER_SHARE,
        Unit::SecondPer60.given(at.sheet.s_per_60deg),
        told(
            level,
            "See that nothing binds and that its supply holds its voltage; test it alone on the bench to tell."
        )
    );
    Some(finding(Kind::SlowServo, level, text))
}

fn finding(kind: Kind, level: Level, text: String) -> Finding {
    Finding::new(kind, level, None, Sentence::new(text))
}

fn told(level: Level, next: &'static str) -> &'static str {
    match level {
        Level::Watch => "Its interval reaches past the limit: repeat the test to tell.",
        _ => next,
    }
}

/// Without its sign.
fn magnitude(q: &Quantity) -> Quantity {
    if q.value >= 0.0 {
        return *q;
    }
    Quantity {
        value: -q.value,
        interval: q.interval.map(|i| crate::analysis::Interval {
            lo95: -i.hi95,
            hi95: -i.lo95,
            ..i
        }),
    }
}

fn beyond(q: &Quantity, limit: f64) -> Option<Level> {
    if q.value > limit {
        return Some(Level::Work);
    }
    q.interval
        .is_some_and(|i| i.hi95 > limit)
        .then_some(Level::Watch)
}

/// Whether something that must be judged was not measured.
fn leaves_open(lack: &Lack) -> bool {
    !matches!(
        lack,
        Lack::BelowTheSteps(_)
            | Lack::LongRests
            | Lack::SensorsNoise
            | Lack::Voltage
            | Lack::SheetVoltageFar
    )
}

/// Why something is not there, and what would help.
pub fn lack_words(lack: &Lack) -> String {
    match lack {
        Lack::Nothing => "nothing was measured: the recording has no pulse_us together with arm_deg or angle_deg.".into(),
        Lack::LargeSteps => "speed and dead time were not measured: it takes three steps each way that the arm follows by 5° and more.".into(),
        Lack::FullSpeed => {
            "speed and dead time were not measured: the steps are too short for full speed. Test it alone, with longer steps, or \
             sample faster.".into()
        }
        Lack::Staircases => {
            "the dead band was not measured: it takes staircases of small steps, up and down at least twice each.".into()
        }
        Lack::Restless => "the dead band was not measured: the arm trembles more than it would move.".into(),
        Lack::BelowTheSteps(us) => format!(
            "The dead band is below the staircase's steps of {}: nearly all were answered.",
            Unit::Microsecond.plain(*us)
        ),
        Lack::ReturnsFromBothSides => {
            "centring was not measured: it takes returns to one pulse from both sides, at least twice each.".into()
        }
        Lack::Current => "current at rest was not measured: the recording has no current_ma.".into(),
        Lack::LongRests => "Trembling was not measured: it takes rests of a second and more.".into(),
        Lack::SensorsNoise => {
            "Trembling was not measured: without time disarmed the sensor's own noise is not known.".into()
        }
        Lack::Voltage => "Speed holds at a voltage that was not measured: the recording has no supply_v.".into(),
        Lack::SheetVoltageFar => {
            "Speed is not held against the data sheet: its voltage is too far from those measured. Test at another voltage as \
             well.".into()
        }
    }
}
