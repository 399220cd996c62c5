//! How the numbers came about, in sentences to be set small: source, strokes, recording, limits.

use super::Checked;
use super::view::{NO_INTERVAL, side_word};
use crate::aircraft::Limits;
use crate::analysis::{RatioSource, TorqueSource};
use crate::units::{TorqueUnit, Unit};

/// How the numbers came about: sentences to be set small.
pub fn small_print(checked: &Checked<'_>) -> Vec<String> {
    let mut lines = vec![source_words(checked)];
    if checked.measured.load.share_of_stall.is_some() {
        lines.push(ratio_words(checked.measured.load.ratio_from).into());
    }
    lines.push(stroke_words(checked));
    lines.push(recording_words(checked));
    let told = |note: &str| {
        let findings = &checked.judged.findings;
        let ncm = TorqueUnit::NewtonCentimetre;
        findings.iter().any(|f| f.text(ncm).contains(note))
    };
    let notes = checked.recording.notes.iter();
    lines.extend(
        notes
            .filter(|note| !told(note.trim_end_matches('.')))
            .cloned(),
    );
    lines
}

/// What holds for all recordings shown together: limits, and how to read a number.
pub fn shared_print<'a>(
    all: impl IntoIterator<Item = &'a Limits>,
    unit: TorqueUnit,
) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for limits in all {
        for line in limit_words(limits, unit) {
            if !lines.contains(&line) {
                lines.push(line);
            }
        }
    }
    lines.push(format!(
        "Intervals (±, or low to high) hold the true value in 95 of 100 recordings; {} where too few strokes were seen.",
        NO_INTERVAL.trim_matches(['(', ')'])
    ));
    lines
}

fn source_words(checked: &Checked<'_>) -> String {
    match checked.measured.torque_from {
        TorqueSource::Torque => "Torque: from the rig's torque sensor.".into(),
        TorqueSource::Force => {
            "Torque: from the force along the rod and the linkage's geometry.".into()
        }
        TorqueSource::None => "Torque: no source in this recording.".into(),
        TorqueSource::SupplyPower => {
            let servo = checked.aircraft.servos.get(checked.surface.servo_index);
            let calibration = servo.and_then(|servo| servo.calibration.as_ref());
            match calibration.map(|c| (&c.tag, c.made)) {
                Some((tag, Some(made))) => {
                    format!("Torque: from supply power, by servo {tag}'s calibration of {made}.")
                }
                Some((tag, None)) => {
                    format!("Torque: from supply power, by servo {tag}'s calibration.")
                }
                None => "Torque: from supply power.".into(),
            }
        }
    }
}

fn ratio_words(ratio: RatioSource) -> &'static str {
    match ratio {
        RatioSource::ArmAngle => "Ratio of surface to servo arm: from the measured arm angle.",
        RatioSource::Linkage => "Ratio of surface to servo arm: from the linkage's geometry.",
        RatioSource::Pulse => {
            "Ratio of surface to servo arm: from the pulse, by the servo's arm_deg_per_us."
        }
        RatioSource::AssumedOne => {
            "Ratio of surface to servo arm: taken as 1:1, as neither arm angle, linkage nor pulse tells."
        }
    }
}

fn counted(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

fn stroke_words(checked: &Checked<'_>) -> String {
    let strokes = &checked.measured.strokes;
    let (up, down) = (side_word(checked, true), side_word(checked, false));
    let mut text = format!(
        "Strokes used: {} {up}, {} {down}; left out: {}.",
        strokes.up, strokes.down, strokes.left_out
    );
    let left_out: Vec<String> = [
        (strokes.samples_not_steady, "not steady"),
        (strokes.samples_after_reversal, "just after a reversal"),
        (
            strokes.samples_out_of_line,
            "out of line with all other strokes",
        ),
    ]
    .iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, why)| format!("{count} {why}"))
    .collect();
    if !left_out.is_empty() {
        text += &format!(" Samples left out: {}.", left_out.join(", "));
    }
    text
}

fn recording_words(checked: &Checked<'_>) -> String {
    let recording = &checked.recording;
    let mut text = counted(recording.samples, "sample", "samples");
    if recording.span_s.is_finite() {
        text += &format!(" over {}", Unit::Second.plain(recording.span_s));
    }
    if recording.rate_hz.is_finite() {
        text += &format!(" at {}", Unit::Hertz.plain(recording.rate_hz));
    }
    text += &format!(
        "; {} lost, {}",
        recording.lost,
        counted(recording.damaged_lines, "damaged line", "damaged lines")
    );
    if recording.restarts > 0 {
        text += &format!(
            ", {} of the rig",
            counted(recording.restarts, "restart", "restarts")
        );
    }
    let telling: Vec<&str> = recording
        .events
        .iter()
        .map(String::as_str)
        .filter(|e| !matches!(*e, "armed" | "disarmed" | "arrived"))
        .collect();
    if !telling.is_empty() {
        text += &format!("; events: {}", telling.join(", "));
    }
    text + "."
}

/// Which limits the owner gave and which are defaults.
fn limit_words(limits: &Limits, unit: TorqueUnit) -> Vec<String> {
    let Limits {
        share_of_stall,
        slop_deg,
        pair_difference,
        stiffening_ratio,
        ..
    } = *limits;
    let all = [
        ("share_of_stall", Unit::Share.given(share_of_stall)),
        ("slop_deg", Unit::Degree.given(slop_deg)),
        ("pair_difference", Unit::Share.given(pair_difference)),
        ("stiffening_ratio", crate::units::fixed(stiffening_ratio, 1)),
        (
            "friction_share_of_stall",
            Unit::Share.given(limits.friction_share_of_stall),
        ),
        (
            "tight_spot_ncm",
            Unit::Torque(unit).given(limits.tight_spot_ncm),
        ),
        (
            "hold_current_ma",
            Unit::Milliampere.given(limits.hold_current_ma),
        ),
    ];
    let said = |given: bool| -> Vec<String> {
        let those = all
            .iter()
            .filter(|(key, _)| limits.given.contains(key) == given);
        those.map(|(key, value)| format!("{key} {value}")).collect()
    };
    let mut lines = Vec::new();
    let (given, defaults) = (said(true), said(false));
    if !given.is_empty() {
        lines.push(format!(
            "Limits from the aircraft file: {}.",
            given.join(", ")
        ));
    }
    if !defaults.is_empty() {
        lines.push(format!(
            "Limits by default (common practice, no source): {}.",
            defaults.join(", ")
        ));
    }
    lines
}
