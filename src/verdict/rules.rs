//! One rule a kind of finding: its limit, its level, its sentence with what to do next.
//! Limits come from the aircraft file or are its defaults (common practice, no source).

use super::data_rules::{bad_data, doubt, trips};
use super::sentence::{Sentence, plain};
use super::{Finding, Kind, Level};
use crate::aircraft::{Limits, Surface};
use crate::analysis::{
    HoldCurrent, Knee, Measured, Quantity, RatioSource, ShortCause, ThrowResult, ThrowState,
    TightSpot, TorqueSource, When,
};
use crate::recording::REMARK;
use crate::recording::Recording;
use crate::recording::purpose::{SCALE_DOUBT, pulse_limit_remark};
use crate::units::Unit;

/// Beyond this many times its limit a load or play is no longer something to work on before flying but a reason not to
/// fly (common practice, no source).
const GRAVE: f64 = 2.0;
/// A slope this many times steeper is a mechanical stop rather than a stiff hinge (common practice, no source).
const LIKE_A_STOP: f64 = 10.0;
/// A servo that steps inside its own dead band stands for less than this share of the time (common practice, no source).
const DEAD_BAND_STANDING: f64 = 0.25;
/// Slower sweeps than this, °/s at the surface, let a sound servo step inside its own dead band.
const SLOW_SWEEP_DEG_S: f64 = 15.0;

pub(super) fn finding(
    kind: Kind,
    level: Level,
    at_deg: Option<f64>,
    sentence: Sentence,
) -> Finding {
    Finding {
        kind,
        level,
        at_deg,
        sentence,
    }
}

/// `Left elevator`.
pub(super) fn named(surface: &Surface) -> String {
    let mut letters = surface.name.chars();
    letters
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

pub(super) fn all(
    measured: &Measured,
    recording: &Recording,
    surface: &Surface,
    limits: &Limits,
) -> Vec<Finding> {
    let mut found = Vec::new();
    if let Some(curve) = &measured.curve {
        found.extend(
            curve
                .knees
                .iter()
                .filter_map(|k| stiffening(k, &curve.stiffness_ncm_per_deg, surface, limits)),
        );
        found.extend(
            curve
                .tight_spots
                .iter()
                .filter_map(|s| tight_spot(s, measured, surface, limits)),
        );
        found.extend(high_friction(
            measured,
            &curve.friction_ncm,
            surface,
            limits,
        ));
    }
    found.extend(
        measured
            .throws
            .iter()
            .filter_map(|t| throw_short(t, measured, recording, surface)),
    );
    found.extend(high_load(measured, surface, limits));
    found.extend(
        measured
            .slop_deg
            .as_ref()
            .and_then(|q| slop(q, surface, limits)),
    );
    found.extend(
        measured
            .load
            .hold_current_ma
            .iter()
            .filter_map(|h| hold_current(h, surface, limits)),
    );
    found.extend(stick_slip(measured, surface));
    found.extend(trips(measured, recording, surface));
    found.extend(measured.doubts.iter().map(|d| doubt(d, measured, surface)));
    found.extend(scale_in_doubt(recording, surface));
    found.extend(bad_data(recording));
    found
}

pub(super) fn side_word(surface: &Surface, up_side: bool) -> &'static str {
    let rudder = surface
        .throws
        .iter()
        .any(|t| matches!(t.side.word(), "left" | "right"));
    match (up_side, rudder) {
        (true, false) => "up",
        (false, false) => "down",
        (true, true) => "left",
        (false, true) => "right",
    }
}

fn stiffening(
    knee: &Knee,
    before: &Quantity,
    surface: &Surface,
    limits: &Limits,
) -> Option<Finding> {
    let beyond = &knee.stiffness_beyond_ncm_per_deg;
    let most = beyond.interval.map_or(beyond.value, |i| i.hi95) / before.value.max(1e-9);
    let level = if knee.ratio >= limits.stiffening_ratio {
        Level::Work
    } else if most >= limits.stiffening_ratio {
        // It may be beyond the limit: said, and left to another measurement.
        Level::Watch
    } else {
        return None;
    };
    let side = side_word(surface, knee.up_side);
    let next = if level == Level::Watch {
        "Its interval reaches past the limit: sweep again with more cycles to tell."
    } else if knee.ratio > LIKE_A_STOP {
        "That is no hinge but a stop: find what the surface, horn or rod meets there, and bring the end point back from it."
    } else {
        "Take the rod off, look along the hinge for tears or glue in it, and work it in further before connecting the rod again."
    };
    let sentence = Sentence::new(format!(
        "{} {side} stiffens from {}: ",
        named(surface),
        plain(Unit::Degree, &knee.at_deg)
    ))
    .stiffness(before)
    .words(" before, ")
    .stiffness(&knee.stiffness_beyond_ncm_per_deg)
    .words(format!(
        " beyond ({:.1} times; limit {}). {next}",
        knee.ratio, limits.stiffening_ratio
    ));
    Some(finding(
        Kind::Stiffening,
        level,
        Some(knee.at_deg.value),
        sentence,
    ))
}

fn tight_spot(
    spot: &TightSpot,
    measured: &Measured,
    surface: &Surface,
    limits: &Limits,
) -> Option<Finding> {
    if spot.height_ncm.value < limits.tight_spot_ncm {
        return None;
    }
    let power = measured.torque_from == TorqueSource::SupplyPower;
    let when = match spot.when {
        When::Both => "both ways",
        When::Up if power => "on the way up (supply power may not show the way back)",
        When::Down if power => "on the way down (supply power may not show the way back)",
        When::Up => "on the way up alone",
        When::Down => "on the way down alone",
    };
    let sentence = Sentence::new(format!(
        "{} has a tight spot at {} (from {} to {}), {when}: ",
        named(surface),
        plain(Unit::Degree, &spot.at_deg),
        Unit::Degree.place(spot.from_deg),
        Unit::Degree.place(spot.to_deg),
    ))
    .torque(&spot.height_ncm)
    .words(" more friction there than around it (limit ")
    .bare_torque(limits.tight_spot_ncm)
    .words("). Move it slowly through that angle with the rod off, then on: feel whether hinge, horn, rod or servo arm catches.");
    Some(finding(
        Kind::TightSpot,
        Level::Work,
        Some(spot.at_deg.value),
        sentence,
    ))
}

fn high_friction(
    measured: &Measured,
    friction: &Quantity,
    surface: &Surface,
    limits: &Limits,
) -> Option<Finding> {
    let share = measured.load.friction_share_of_stall?;
    if share < limits.friction_share_of_stall {
        return None;
    }
    let sentence = Sentence::new(format!("{} drags: friction ", named(surface)))
        .torque(friction)
        .words(format!(
            " is {} of the servo's stall torque (limit {}). Free the rod ends and the hinge line, and measure again with the \
             rod off to see which of them it is.",
            Unit::Share.plain(share),
            Unit::Share.given(limits.friction_share_of_stall)
        ));
    Some(finding(Kind::HighFriction, Level::Work, None, sentence))
}

/// Whether the sweep left a remark that begins so.
fn remarked(recording: &Recording, how_it_begins: &str) -> bool {
    let mut remarks = recording.keys.iter().filter(|(key, _)| key == REMARK);
    remarks.any(|(_, remark)| remark.starts_with(how_it_begins))
}

/// A sweep that found its angle sensor in doubt proves no throw.
fn scale_in_doubt(recording: &Recording, surface: &Surface) -> Option<Finding> {
    let sentence = format!(
        "{}: all angles and throws are unproven, for the angle sensor does not agree with pulse, servo and linkage of aircraft.toml. Hold a \
         ruler to the trailing edge at both ends: where it agrees with the sensor, mend arm_deg_per_us or the linkage's lengths there; \
         where it does not, calibrate the sensor (hingewright calibrate angle). Then sweep again.",
        named(surface)
    );
    remarked(recording, SCALE_DOUBT)
        .then(|| finding(Kind::Unproven, Level::Watch, None, Sentence::new(sentence)))
}

/// What ended the command on this side, and what to do: a sweep says so where it was the pulse's limit.
fn end_of_command(recording: &Recording, up_side: bool) -> &'static str {
    if remarked(recording, SCALE_DOUBT) {
        "the angle sensor does not agree with pulse, servo and linkage of aircraft.toml, and this may be its scale alone: hold a \
         ruler to the trailing edge at that end, and calibrate the sensor (hingewright calibrate angle) before anything is changed"
    } else if remarked(recording, pulse_limit_remark(up_side)) {
        "the surface followed until the pulse came to its limit: where servo and linkage go further by hand without a stop, widen \
         pulse_lo_us or pulse_hi_us in the [trip] table of aircraft.toml; else move the rod inwards on the horn or outwards on the \
         servo arm"
    } else {
        "the surface followed to the end of the command, and no pulse limit of a sweep is named in the recording: if a transmitter \
         drove it, widen its end points; a sweep goes no further than the greatest throw in aircraft.toml. Else move the rod \
         inwards on the horn or outwards on the servo arm"
    }
}

fn throw_short(
    throw: &ThrowResult,
    measured: &Measured,
    recording: &Recording,
    surface: &Surface,
) -> Option<Finding> {
    let mm = throw.reached_mm.as_ref();
    let deg = throw.reached_deg.as_ref();
    let asked = format!(
        "{} ({})",
        Unit::Millimetre.given(throw.asked_mm),
        Unit::Degree.place(throw.asked_deg)
    );
    match throw.state {
        ThrowState::Met => None,
        ThrowState::Unproven => {
            let seen = match mm {
                Some(q) => format!(
                    "reached {} of {asked}, too near the tolerance or in too few strokes to tell",
                    plain(Unit::Millimetre, q)
                ),
                None => format!(
                    "{asked} was asked, and the recording shows no end of the travel on that side"
                ),
            };
            let sentence = Sentence::new(format!(
                "{}, throw \"{}\": {seen}. Sweep it again with three strokes or more to that end.",
                named(surface),
                throw.name
            ));
            Some(finding(Kind::Unproven, Level::Watch, None, sentence))
        }
        ThrowState::Short => {
            let (mm, deg) = (mm?, deg?);
            let (level, why) = match throw.cause {
                Some(ShortCause::Stalled) => (
                    Level::Stop,
                    "the servo stalled there: find what stops the surface before it is powered again",
                ),
                Some(ShortCause::StoppedByLimit) => (
                    Level::Work,
                    "a limit of the rig stopped it there: find what loads the servo, then sweep again",
                ),
                Some(ShortCause::EndOfCommand) => (
                    Level::Work,
                    end_of_command(recording, throw.side.sign() > 0.0),
                ),
                None => (
                    Level::Work,
                    "why cannot be told without the servo's pulse: look for a stop at the hinge or in the linkage",
                ),
            };
            let climbing = if stiffens_towards(measured, throw) {
                " Torque climbs towards that end: work the hinge in first."
            } else {
                ""
            };
            let sentence = Sentence::new(format!(
                "{}, throw \"{}\" falls short: {} ({}) of {asked}, tolerance {}; {why}.{climbing}",
                named(surface),
                throw.name,
                plain(Unit::Millimetre, mm),
                plain(Unit::Degree, deg),
                Unit::Millimetre.given(throw.tolerance_mm),
            ));
            Some(finding(
                Kind::ThrowShort,
                level,
                Some(throw.side.sign() * deg.value),
                sentence,
            ))
        }
    }
}

fn stiffens_towards(measured: &Measured, throw: &ThrowResult) -> bool {
    let up = throw.side.sign() > 0.0;
    measured
        .curve
        .as_ref()
        .is_some_and(|c| c.knees.iter().any(|k| k.up_side == up))
}

fn high_load(measured: &Measured, surface: &Surface, limits: &Limits) -> Option<Finding> {
    let load = &measured.load;
    let (peak, share) = (
        load.peak_torque_ncm.as_ref()?,
        load.share_of_stall.as_ref()?,
    );
    if share.value < limits.share_of_stall {
        return None;
    }
    let level = if share.value >= GRAVE * limits.share_of_stall {
        Level::Stop
    } else {
        Level::Work
    };
    let volts = load.voltage_v.map_or(
        "the data sheet's voltage (none was measured)".to_owned(),
        |v| Unit::Volt.plain(v),
    );
    let ratio = match load.ratio_from {
        RatioSource::AssumedOne => {
            "; arm and surface taken to turn alike, as nothing tells their ratio"
        }
        _ => "",
    };
    let sentence = Sentence::new(format!("{} loads its servo: up to ", named(surface)))
        .torque(peak)
        .words(format!(
            " at {}, {} of the stall torque at {volts} (limit {}{ratio}). Find what resists before air load comes on top: \
             hinge, linkage geometry, or a servo too small.",
            Unit::Degree.place(load.peak_at_deg.unwrap_or(0.0)),
            plain(Unit::Share, share),
            Unit::Share.given(limits.share_of_stall),
        ));
    Some(finding(Kind::HighLoad, level, load.peak_at_deg, sentence))
}

fn slop(slop: &Quantity, surface: &Surface, limits: &Limits) -> Option<Finding> {
    if slop.value < limits.slop_deg {
        return None;
    }
    let level = if slop.value >= GRAVE * limits.slop_deg {
        Level::Stop
    } else {
        Level::Work
    };
    let sentence = Sentence::new(format!(
        "{} has {} of play between servo arm and surface (limit {}). Check clevis, horn and arm holes and the arm's screw; \
         play invites flutter.",
        named(surface),
        plain(Unit::Degree, slop),
        Unit::Degree.given(limits.slop_deg),
    ));
    Some(finding(Kind::Slop, level, None, sentence))
}

fn hold_current(hold: &HoldCurrent, surface: &Surface, limits: &Limits) -> Option<Finding> {
    if hold.ma < limits.hold_current_ma {
        return None;
    }
    let sentence = Sentence::new(format!(
        "{} draws {} while it holds {} (limit {}): the servo heats standing still. Look for a bind, an end point past the \
         mechanical stop, or two servos working against each other.",
        named(surface),
        Unit::Milliampere.plain(hold.ma),
        Unit::Degree.place(hold.at_deg),
        Unit::Milliampere.given(limits.hold_current_ma),
    ));
    Some(finding(
        Kind::HoldCurrent,
        Level::Work,
        Some(hold.at_deg),
        sentence,
    ))
}

fn stick_slip(measured: &Measured, surface: &Surface) -> Option<Finding> {
    let jerks = measured.jerks.as_ref()?;
    if !jerks.jerky() {
        return None;
    }
    // A servo pauses briefly in its dead band; long stops are the surface's own, however slow the sweep.
    let slow = jerks.speed_deg_s < SLOW_SWEEP_DEG_S && jerks.standing_share < DEAD_BAND_STANDING;
    let next = if slow {
        "At this slow rate a sound servo steps inside its own dead band and power reads high: sweep at 20 to 40 degrees a second \
         before blaming the surface."
    } else {
        "It sticks and slips: clean and free the hinge line and the rod ends, then measure again."
    };
    let sentence = Sentence::new(format!(
        "{} moves in jerks under a steady command: {:.1} stops a stroke, steps of about {}, standing {} of the time. {next}",
        named(surface),
        jerks.stops_per_stroke,
        Unit::Degree.place(jerks.step_deg),
        Unit::Share.plain(jerks.standing_share),
    ));
    let level = if slow { Level::Watch } else { Level::Work };
    Some(finding(
        Kind::StickSlip,
        level,
        Some(jerks.at_deg),
        sentence,
    ))
}
