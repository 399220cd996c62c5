//! What each channel reads while nothing moves: whether it is there, alive, quiet and within what can be true.

use super::{Look, State};
use crate::aircraft::Limits;
use crate::recording::{Channel, Drive, RigIdentity};
use crate::units::{Unit, significant};

/// Angles beyond this are no control surface's, as a sweep has it.
const MOST_DEG: f64 = 100.0;
/// A surface that moves further while nothing drives it is moved by somebody, as a sweep has it.
const STILL_DEG: f64 = 2.0;
/// Noise leaves the middle of a while where it was: where the middles of so many parts lie further apart, it was moved a little
/// (common practice, no source).
const PARTS: usize = 10;
const DRIFT_DEG: f64 = 0.5;
/// Of white noise that is 1: the standard deviation over that between neighbours (common practice, no source).
const GOES_ON: f64 = 2.0;
/// A servo's case or a room outside this is a sensor that is broken or not connected, °C.
const TEMPERATURES_C: (f64, f64) = (-30.0, 110.0);
/// Below this no current is true: a sensor's zero is off, mA.
const LEAST_MA: f64 = -50.0;
/// A supply below this feeds no servo; above that no servo here takes it (common practice, no source), V.
const VOLTS: (f64, f64) = (1.0, 30.0);
/// Noise at rest beyond this share of the limit that the channel is judged by hides what is looked for (common practice, no source).
const NOISE_SHARE: f64 = 0.2;
/// So large a share of noisy readings that all stand at their highest or lowest value: the sensor is at the end of its range.
const AT_THE_END: f64 = 0.3;
/// Values that a noisy sensor shows at least.
const FEWEST_VALUES: usize = 5;
/// Missing readings up to this share are told only.
const MISSING: f64 = 0.01;

/// Whether the channels that measuring needs are there.
pub fn channels(rig: &RigIdentity) -> Look {
    let at = "channels";
    let has = |channel: Channel| rig.channels.iter().any(|c| c == channel.name());
    let listed = rig.channels.join(", ");
    if !has(Channel::AngleDeg) {
        return Look::with(
            State::Fault,
            at,
            format!("no angle_deg among {listed}"),
            "connect the surface's angle sensor: nothing is moved, and nothing is judged, without it",
        );
    }
    let strangers: Vec<&str> = rig
        .channels
        .iter()
        .map(String::as_str)
        .filter(|c| Channel::from_name(c).is_none())
        .collect();
    if !strangers.is_empty() {
        return Look::with(
            State::Mind,
            at,
            format!("{listed}; not known here: {}", strangers.join(", ")),
            "they are kept and not used: check the spelling in the rig's RIG line if they were meant to be",
        );
    }
    Look::good(at, listed)
}

/// A look at each known channel. `of` gives its readings in order, `None` where a sample had none.
pub fn readings(
    rig: &RigIdentity,
    of: &dyn Fn(Channel) -> Vec<Option<f64>>,
    limits: &Limits,
    least_supply_v: Option<(f64, &str)>,
) -> Vec<Look> {
    let known = rig.channels.iter().filter_map(|c| Channel::from_name(c));
    let moved = moved(of);
    let at_rest = moved.map(|(channel, lowest, highest)| {
        Look::with(
            State::Fault,
            "at rest",
            format!(
                "moved while it was to rest: {} went from {} to {}",
                channel.name(),
                Unit::Degree.place(lowest),
                Unit::Degree.place(highest)
            ),
            "lay it still and run it again: noise and range are told at rest only",
        )
    });
    let mut looks: Vec<Look> = at_rest.into_iter().collect();
    looks.extend(known.map(|channel| one(rig, channel, &of(channel), limits, moved.is_some())));
    let mean = |channel: Channel| {
        let there: Vec<f64> = of(channel).into_iter().flatten().collect();
        (!there.is_empty()).then(|| there.iter().sum::<f64>() / there.len() as f64)
    };
    if let (Some(volts), Some((least, surface))) = (mean(Channel::SupplyV), least_supply_v)
        && volts > VOLTS.0
    {
        looks.push(supply(volts, least, surface));
    }
    if let Some((at_plug, at_source)) = mean(Channel::SupplyV).zip(mean(Channel::SourceV))
        && at_source < at_plug - 0.05
    {
        looks.push(Look::with(
            State::Fault,
            "supply",
            format!("source_v {at_source:.2} V lies below supply_v {at_plug:.2} V"),
            "exchange the two leads: supply_v is at the servo's plug, source_v at the battery or regulator",
        ));
    }
    looks
}

/// Whether the surface, or its servo's arm, was moved: the channel that shows it and how far it went.
fn moved(of: &dyn Fn(Channel) -> Vec<Option<f64>>) -> Option<(Channel, f64, f64)> {
    [Channel::AngleDeg, Channel::ArmDeg]
        .into_iter()
        .find_map(|channel| {
            let there: Vec<f64> = of(channel).into_iter().flatten().collect();
            let (lowest, highest) = span(&there)?;
            // Noise jumps from one sample to the next; what is moved goes on from where it was.
            let jumps: f64 = there.windows(2).map(|w| (w[1] - w[0]).powi(2)).sum();
            let jump = (0.5 * jumps / (there.len() as f64 - 1.0)).sqrt();
            let goes = highest - lowest > STILL_DEG && Seen::of(&there).noise > GOES_ON * jump;
            let part = (there.len() / PARTS).max(FEWEST_VALUES);
            let middles: Vec<f64> = there.chunks_exact(part).map(middle).collect();
            // By noise alone ten of them lie hardly further apart than five standard deviations of a median.
            let by_noise = 5.0 * 1.25 * jump / (part as f64).sqrt();
            let drifts = span(&middles).is_some_and(|(l, h)| h - l > DRIFT_DEG + by_noise);
            (goes || drifts).then_some((channel, lowest, highest))
        })
}

fn span(values: &[f64]) -> Option<(f64, f64)> {
    let ends = (f64::INFINITY, f64::NEG_INFINITY);
    let (low, high) = values.iter().fold(ends, |(l, h), v| (l.min(*v), h.max(*v)));
    (!values.is_empty()).then_some((low, high))
}

fn middle(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

fn supply(volts: f64, least: f64, surface: &str) -> Look {
    let says = format!("{volts:.2} V at the plug; {surface} needs {least:.2} V to be swept");
    match volts < least {
        true => Look::with(
            State::Fault,
            "supply",
            says,
            "charge or connect the pack, or set supply_v in the [trip] table of aircraft.toml if this pack is meant to be lower",
        ),
        false => Look::good("supply", says),
    }
}

fn one(
    rig: &RigIdentity,
    channel: Channel,
    all: &[Option<f64>],
    limits: &Limits,
    moved: bool,
) -> Look {
    let name = channel.name();
    let there: Vec<f64> = all.iter().flatten().copied().collect();
    if channel == Channel::PulseUs {
        return pulse(rig, &there, all.len());
    }
    if there.is_empty() {
        let todo = match channel {
            Channel::AngleDeg => {
                "look at its sensor and wires: without this angle nothing is moved, and nothing is judged"
            }
            _ => {
                "look at its sensor and wires; if the rig has no such sensor, take the channel out of its RIG line"
            }
        };
        return Look::with(State::Fault, name, "gives no reading", todo);
    }
    let seen = Seen::of(&there);
    let says = seen.words(unit(channel));
    if let Some(look) = impossible(channel, &seen, &says) {
        return look;
    }
    let missing = all.len() - there.len();
    if missing as f64 > MISSING * all.len() as f64 {
        return Look::with(
            State::Fault,
            name,
            format!("{says}; {missing} of {} readings missing", all.len()),
            "look for a loose wire or a sensor that answers too late",
        );
    }
    if moved && shows_motion(channel) && !seen.dead(channel, &there) {
        return Look::not_looked(name, "noise and range not looked at: it moved");
    }
    if seen.clipped(&there) {
        return Look::with(
            State::Fault,
            name,
            format!("{says}; stands at the end of its range"),
            "set the sensor's zero and gain so that what is to be measured lies within its range",
        );
    }
    trembling(channel, &seen, &there, limits, says)
}

/// Whether a sensor that reads what can be true reads it as quietly as it should, and trembles at all.
fn trembling(channel: Channel, seen: &Seen, there: &[f64], limits: &Limits, says: String) -> Look {
    let name = channel.name();
    if seen.dead(channel, there) {
        return Look::with(
            State::Mind,
            name,
            format!("{says}; the same all the time"),
            "move the surface by hand and look with `hingewright rig watch`: it should follow",
        );
    }
    if let Some(most) = quiet_below(channel, limits).filter(|most| seen.noise > *most) {
        let most = significant(most, 2).unwrap_or_default() + &unit(channel).suffix();
        return Look::with(
            State::Mind,
            name,
            format!("{says}; noisy, {most} or less is quiet"),
            "shield and ground its leads, keep them off the servo's, filter it, or average more readings in the rig",
        );
    }
    Look::good(name, says)
}

/// A disarmed rig sends no pulse, so none is there.
fn pulse(rig: &RigIdentity, there: &[f64], samples: usize) -> Look {
    let name = Channel::PulseUs.name();
    match (rig.drive, there.len()) {
        (Drive::Driven, 0) => Look::good(name, "none, as it is while disarmed"),
        (Drive::Driven, n) => Look::with(
            State::Fault,
            name,
            format!("a pulse in {n} of {samples} samples, and nothing is armed"),
            "a disarmed rig sends no pulse and leaves pulse_us empty: correct its firmware, or unplug the servo, before anything is driven",
        ),
        (Drive::Passive, 0) => Look::with(
            State::Mind,
            name,
            "gives no reading",
            "connect the receiver's pulse if it is to be recorded; the rest is measured without it",
        ),
        (Drive::Passive, _) => Look::good(name, Seen::of(there).words(unit(Channel::PulseUs))),
    }
}

/// What no such sensor reads while all is well.
fn impossible(channel: Channel, seen: &Seen, says: &str) -> Option<Look> {
    let (lowest, highest) = (seen.lowest, seen.highest);
    let todo = match channel {
        Channel::AngleDeg | Channel::ArmDeg if lowest < -MOST_DEG || highest > MOST_DEG => {
            "no surface stands there: set the sensor's zero with the surface at neutral, and check its scale"
        }
        Channel::CurrentMa | Channel::Current2Ma if seen.mean < LEAST_MA => {
            "no servo feeds the battery at rest: set the current sensor's zero, or turn it round in its lead"
        }
        Channel::SupplyV | Channel::SourceV if seen.mean < VOLTS.0 => {
            "the servo is not fed, or the wire is off: switch the supply on and look again"
        }
        Channel::SupplyV | Channel::SourceV if seen.mean > VOLTS.1 => {
            "no servo takes that: check the divider's scale"
        }
        Channel::CaseC | Channel::AirC
            if lowest < TEMPERATURES_C.0 || highest > TEMPERATURES_C.1 =>
        {
            "no case and no room is there: the sensor is broken or not connected"
        }
        _ => return None,
    };
    Some(Look::with(State::Fault, channel.name(), says, todo))
}

/// What changes with the surface's place, or with what moves it.
fn shows_motion(channel: Channel) -> bool {
    match channel {
        Channel::AngleDeg | Channel::ArmDeg | Channel::TorqueNcm | Channel::ForceN => true,
        Channel::CurrentMa | Channel::Current2Ma => true,
        Channel::PulseUs | Channel::SupplyV | Channel::SourceV => false,
        Channel::CaseC | Channel::AirC => false,
    }
}

/// Noise below this leaves what the channel is judged by to be seen; in the channel's unit.
fn quiet_below(channel: Channel, limits: &Limits) -> Option<f64> {
    Some(match channel {
        Channel::AngleDeg | Channel::ArmDeg => NOISE_SHARE * limits.slop_deg,
        Channel::TorqueNcm => NOISE_SHARE * limits.tight_spot_ncm,
        Channel::CurrentMa | Channel::Current2Ma => NOISE_SHARE * limits.hold_current_ma,
        _ => return None,
    })
}

fn unit(channel: Channel) -> Unit {
    match channel {
        Channel::PulseUs => Unit::Microsecond,
        Channel::AngleDeg | Channel::ArmDeg => Unit::Degree,
        Channel::CurrentMa | Channel::Current2Ma => Unit::Milliampere,
        Channel::SupplyV | Channel::SourceV => Unit::Volt,
        Channel::TorqueNcm => Unit::Plain("N·cm"),
        Channel::ForceN => Unit::Plain("N"),
        Channel::CaseC | Channel::AirC => Unit::Plain("°C"),
    }
}

/// A channel over the while it was looked at, in its unit.
struct Seen {
    mean: f64,
    /// Standard deviation about the mean.
    noise: f64,
    lowest: f64,
    highest: f64,
    /// The smallest step between two different readings.
    step: Option<f64>,
}

impl Seen {
    fn of(values: &[f64]) -> Self {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let steps = sorted.windows(2).map(|w| w[1] - w[0]).filter(|s| *s > 0.0);
        Self {
            mean,
            noise: (squares / (n - 1.0).max(1.0)).sqrt(),
            lowest: sorted[0],
            highest: sorted[sorted.len() - 1],
            step: steps.min_by(f64::total_cmp),
        }
    }

    /// Mean and noise, to the digits that the noise leaves.
    fn words(&self, unit: Unit) -> String {
        let step = match self.step {
            Some(step) => format!(", smallest step {}", unit.given(step)),
            None => String::new(),
        };
        let digits = crate::units::pair(self.mean, self.noise);
        let (mean, noise) = digits.unwrap_or_default();
        format!(
            "{mean}{}, noise {noise}{} (standard deviation){step}",
            unit.suffix(),
            unit.suffix()
        )
    }

    fn clipped(&self, values: &[f64]) -> bool {
        let mut different = values.to_vec();
        different.sort_by(f64::total_cmp);
        different.dedup();
        let at = |end: f64| values.iter().filter(|v| **v == end).count() as f64;
        let share = at(self.lowest).max(at(self.highest)) / values.len() as f64;
        different.len() >= FEWEST_VALUES && share > AT_THE_END
    }

    /// Of a sensor that always trembles a little.
    fn dead(&self, channel: Channel, values: &[f64]) -> bool {
        let trembles = matches!(
            channel,
            Channel::TorqueNcm | Channel::ForceN | Channel::CurrentMa | Channel::Current2Ma
        );
        trembles && values.len() > FEWEST_VALUES && self.step.is_none()
    }
}
