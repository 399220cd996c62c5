//! Findings about the recording rather than the surface: trips of the rig, what could not be judged, what did not arrive.

use super::rules::{finding, named, side_word};
use super::sentence::Sentence;
use super::{Finding, Kind, Level};
use crate::aircraft::Surface;
use crate::analysis::{Doubt, Measured, ShortCause};
use crate::recording::Recording;
use crate::units::Unit;

/// Share of lines lost or damaged that is worth a word.
const LOST_WORTH_SAYING: f64 = 0.005;

/// The rig disarmed itself.
pub(super) fn trips(measured: &Measured, recording: &Recording, surface: &Surface) -> Vec<Finding> {
    let mut found = Vec::new();
    for (code, kind, level, what) in [
        (
            "over-current",
            Kind::HighLoad,
            Level::Stop,
            "the servo drew more than the rig's current limit",
        ),
        ("stalled", Kind::HighLoad, Level::Stop, "the servo stalled"),
        (
            "over-temperature",
            Kind::HighLoad,
            Level::Stop,
            "the servo's case passed the rig's temperature limit",
        ),
        (
            "under-voltage",
            Kind::BadData,
            Level::Work,
            "the supply fell below the rig's lowest voltage",
        ),
        (
            "sensor-fault",
            Kind::BadData,
            Level::Work,
            "a sensor failed",
        ),
        (
            "host-lost",
            Kind::BadData,
            Level::Watch,
            "the rig lost its host",
        ),
    ] {
        let events: Vec<_> = recording.events.iter().filter(|e| e.code == code).collect();
        let Some(first) = events.first() else {
            continue;
        };
        let said = measured
            .throws
            .iter()
            .any(|t| t.cause == Some(ShortCause::Stalled));
        if code == "stalled" && said {
            continue;
        }
        let detail = match (&first.detail, code) {
            (Some(d), "over-current") => format!(" ({d} mA)"),
            (Some(d), "over-temperature") => format!(" ({d} °C)"),
            (Some(d), "under-voltage") => format!(" ({d} V)"),
            (Some(d), "sensor-fault") => format!(" ({d})"),
            _ => String::new(),
        };
        let sentence = Sentence::new(format!(
            "{}: {what}{detail} and the rig disarmed itself, {:.1} s into the recording{}. Find the cause before sweeping again.",
            named(surface),
            first.t_s,
            if events.len() > 1 {
                format!(", {} times in all", events.len())
            } else {
                String::new()
            },
        ));
        found.push(finding(kind, level, None, sentence));
    }
    found
}

pub(super) fn doubt(doubt: &Doubt, measured: &Measured, surface: &Surface) -> Finding {
    let unproven = |text: String| finding(Kind::Unproven, Level::Watch, None, Sentence::new(text));
    let bad = |level, text: String| finding(Kind::BadData, level, None, Sentence::new(text));
    let name = named(surface);
    match doubt {
        Doubt::NotASweep => unproven(format!(
            "{name}: the surface is not judged by this recording, which is no sweep between its throws. Sweep it for that."
        )),
        Doubt::NoTorqueSource => unproven(format!(
            "{name}: stiffness, friction and load are unproven: the recording has no torque, no rod force that a linkage in the \
             aircraft file could turn into torque, and no servo current with voltage."
        )),
        Doubt::NoCalibration => unproven(format!(
            "{name}: stiffness, friction and load are unproven: supply current says nothing about torque without a calibration \
             of this servo. Calibrate it with weights on its arm (hingewright calibrate servo, and its tag), and name the file under \
             its [[servo]]; this recording can then be judged anew."
        )),
        Doubt::TwoServos => unproven(format!(
            "{name}: stiffness, friction and load are unproven: two servos drive it, and the power or the rod force of one is not the \
             torque of both, which may push against each other. A torque sensor at the hinge shows what drives the surface."
        )),
        Doubt::NoAngle => unproven(format!(
            "{name}: nothing can be judged: the recording has no reading of angle_deg. Check the angle sensor's channel and wire."
        )),
        Doubt::NeverMoved => unproven(format!(
            "{name}: the surface never moved more than {}: nothing can be judged. Check the angle sensor's magnet or clip, the rod \
             and the servo's lead.",
            Unit::Degree.place(measured.travel_deg.map_or(0.0, |t| t.1 - t.0))
        )),
        Doubt::TooFewStrokes { up, down } => unproven(format!(
            "{name}: strokes used: {up} {}, {down} {}: too few to tell scatter from a fault. Three of each are needed, ten are \
             better. Sweep again with more cycles.",
            side_word(surface, true),
            side_word(surface, false)
        )),
        Doubt::TooLittleTravel { from_deg, to_deg } => unproven(format!(
            "{name}: it moved only from {} to {}: too little travel for a curve. Sweep between the throws.",
            Unit::Degree.place(*from_deg),
            Unit::Degree.place(*to_deg)
        )),
        Doubt::TooMuchLost { share } => unproven(format!(
            "{name}: {} of the recording is lost or damaged: too much to judge from. Shorten or shield the cable, or lower the \
             rig's rate, and record again.",
            Unit::Share.plain(*share)
        )),
        Doubt::SignReversed {
            channel: channel @ "pulse_us",
        } => bad(
            Level::Watch,
            format!(
                "{name}: {channel} and angle_deg run against each other: a longer pulse moves the surface down. If that is not meant, \
                 reverse the channel in the transmitter, or swap the angle sensor's sense."
            ),
        ),
        Doubt::SignReversed {
            channel: channel @ "arm_deg",
        } => bad(
            Level::Watch,
            format!(
                "{name}: {channel} and angle_deg run against each other: turn the arm sensor's sense round so that driving the surface \
                 up reads positive."
            ),
        ),
        Doubt::SignReversed {
            channel: channel @ "angle_deg",
        } => bad(
            Level::Work,
            format!(
                "{name}: {channel} runs against the command and against the effort alike: turn the angle sensor's sense round, so that \
                 trailing edge up (or left) reads positive; nothing measured with it can be used before."
            ),
        ),
        Doubt::SignReversed { channel } => bad(
            Level::Work,
            format!(
                "{name}: {channel} and angle_deg run against each other: friction would help the motion. Swap the two signal wires of \
                 the {} or turn its sense round, so that pushing up reads positive; nothing measured with it can be used before.",
                if *channel == "force_n" {
                    "load cell"
                } else {
                    "torque sensor"
                }
            ),
        ),
        Doubt::NoFit => unproven(format!(
            "{name}: no curve could be fitted: the readings do not follow stiffness and friction in both directions. Look at the plot, \
             check the sensors, and sweep again."
        )),
        Doubt::ImpossibleAngles { most_deg } => unproven(format!(
            "{name}: angle_deg reads up to {}, further than a control surface turns: nothing can be judged. Check the order of the \
             rig's channels, and the angle sensor's scale and zero.",
            Unit::Degree.place(*most_deg)
        )),
        Doubt::Misfit { by_ncm, at_deg } => finding(
            Kind::Unproven,
            Level::Watch,
            Some(*at_deg),
            Sentence::new(format!(
                "{name}: around {} the readings stand off the fitted curve by ",
                Unit::Degree.place(*at_deg)
            ))
            .bare_torque(by_ncm.abs())
            .words(
                ": something is there that these strokes do not pin down. Sweep again, at 20 to 40 degrees a second, with ten cycles.",
            ),
        ),
        Doubt::CurveTooShort { from_deg, to_deg } => unproven(format!(
            "{name}: the fitted curve covers only {} to {} of the travel, the rest is unproven: too little steady motion there, or too \
             few samples a second. Sweep slower, or with more samples a second.",
            Unit::Degree.place(*from_deg),
            Unit::Degree.place(*to_deg)
        )),
        Doubt::DoesNotFollow { channel } => unproven(format!(
            "{name}: {channel} and angle_deg do not go together, so {channel} was not used. Check that sensor, its wire and how it \
             is fixed."
        )),
        Doubt::DeadEffort { channel } => unproven(format!(
            "{name}: stiffness, friction and load are unproven: {channel} reads the same from beginning to end. Check that sensor and \
             its wire."
        )),
        Doubt::NeutralOff { at_deg } => bad(
            Level::Watch,
            format!(
                "{name}: at rest before the sweep it reads {}, and throws are counted from the sensor's zero: set the sensor to zero \
                 with the surface at neutral, or trim the surface, before moving end points.",
                Unit::Degree.place(*at_deg)
            ),
        ),
        Doubt::JerkyPower => unproven(format!(
            "{name}: stiffness, friction and load are unproven: it moved in jerks, and then supply power follows the jerks and reads \
             high for the torque. Sweep at 20 to 40 degrees a second, or free what sticks, and measure again."
        )),
        Doubt::CalibrationStrained { sigmas } => bad(
            Level::Watch,
            format!(
                "{name}: the servo's calibration and this recording disagree by {sigmas:.1} of its own uncertainties. Calibrate the servo \
                 again before trusting torque from supply power."
            ),
        ),
    }
}

pub(super) fn bad_data(recording: &Recording) -> Vec<Finding> {
    let mut found = Vec::new();
    let gone = recording.gone();
    let all = gone + recording.samples;
    if all > 0 && gone as f64 / all as f64 >= LOST_WORTH_SAYING {
        let counted = |n: u64, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
        // A file of rows came over no cable.
        let next = if recording.rig.is_some() {
            "Check the cable, its connectors and the ground between rig and servo supply."
        } else {
            "Look at those rows: every field a number with a point, or empty, and as many as the header names."
        };
        let sentence = Sentence::new(format!(
            "{} and {} in {all} ({}): counted and left out, nothing was guessed. {next}",
            counted(recording.lost, "lost sample"),
            counted(recording.damaged_lines, "damaged line"),
            Unit::Share.plain(gone as f64 / all as f64),
        ));
        found.push(finding(Kind::BadData, Level::Watch, None, sentence));
    }
    if recording.restarts > 0 {
        let sentence = Sentence::new(format!(
            "The rig restarted {} within the recording: strokes are not joined across it. Look for a brown-out of its board.",
            if recording.restarts == 1 {
                "once".to_owned()
            } else {
                format!("{} times", recording.restarts)
            }
        ));
        found.push(finding(Kind::BadData, Level::Watch, None, sentence));
    }
    found.extend(recording.notes.iter().map(|note| {
        finding(
            Kind::BadData,
            Level::Watch,
            None,
            Sentence::new(format!("{}.", note.trim_end_matches('.'))),
        )
    }));
    found
}
