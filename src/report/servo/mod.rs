//! What `servo` says: the rows of its table and the small print, worded once for [`text`] and [`json`]. No arithmetic of the
//! trade, no deciding.

pub mod json;
pub mod text;

use super::view;
use crate::aircraft::ServoType;
use crate::analysis::Quantity;
use crate::servo::{ArmFrom, How, Lack, SETTLED_WITHIN_DEG, Tested};
use crate::units::Unit;
use crate::verdict::{Judged, lack_words};

/// A servo tested and judged.
pub struct ServoTest<'a> {
    pub aircraft: &'a str,
    pub tag: &'a str,
    pub kind: &'a ServoType,
    pub surface: &'a str,
    pub files: &'a [String],
    pub tested: &'a Tested,
    pub judged: &'a Judged,
    /// Of the recordings: unfinished runs, lost samples, as sentences.
    pub notes: &'a [String],
}

/// A line of the table.
struct Row {
    name: String,
    found: String,
    sheet: String,
}

fn rows(test: &ServoTest<'_>) -> Vec<Row> {
    let (tested, found) = (test.tested, &test.tested.found);
    let row = |name: &str, q: &Option<Quantity>, unit: Unit, sheet: Option<String>| Row {
        name: name.to_owned(),
        found: q
            .as_ref()
            .map_or(view::NOT_MEASURED.to_owned(), |q| view::quantity(q, unit)),
        sheet: sheet.unwrap_or_default(),
    };
    let (ms, per60) = (Unit::Millisecond, Unit::SecondPer60);
    let speed_at = tested.at_v.map_or("speed".into(), |v| {
        format!("speed at {}", Unit::Volt.plain(v))
    });
    let mut rows = vec![
        row("dead time", &found.dead_time_ms, ms, None),
        row(&speed_at, &found.slew_s_per_60deg, per60, None),
        row("  upwards", &tested.slew_up_s_per_60deg, per60, None),
        row("  downwards", &tested.slew_down_s_per_60deg, per60, None),
    ];
    if let Some(speed) = test.kind.speed {
        let name = format!("  at {}", Unit::Volt.given(speed.voltage_v));
        let at = tested.at_sheet.map(|at| at.slew_s_per_60deg);
        rows.push(row(&name, &at, per60, Some(per60.given(speed.s_per_60deg))));
    }
    let dead_band = match tested.lacks.iter().find_map(|lack| match lack {
        Lack::BelowTheSteps(us) => Some(*us),
        _ => None,
    }) {
        Some(us) => Row {
            name: "dead band".into(),
            found: format!("below {}", Unit::Microsecond.plain(us)),
            sheet: String::new(),
        },
        None => row("dead band", &found.dead_band_us, Unit::Microsecond, None),
    };
    rows.extend([
        row("overshoot", &found.overshoot_deg, Unit::Degree, None),
        row("settling", &found.settling_ms, ms, None),
        Row {
            sheet: test
                .kind
                .dead_band_us
                .map_or(String::new(), |us| Unit::Microsecond.given(us)),
            ..dead_band
        },
        row(
            match tested.without_rods() {
                true => "arm behind pulse, dead band in it",
                false => "slop, pulse against arm",
            },
            &found.arm_slop_deg,
            Unit::Degree,
            None,
        ),
        row(
            "centring, from above less from below",
            &found.centring_deg,
            Unit::Degree,
            None,
        ),
        row("trembling at rest", &found.jitter_deg, Unit::Degree, None),
        row(
            "current at rest at neutral",
            &found.idle_ma,
            Unit::Milliampere,
            None,
        ),
        row(
            "  away from neutral",
            &tested.hold_ma,
            Unit::Milliampere,
            None,
        ),
    ]);
    rows
}

/// How to read the table.
fn small_print(test: &ServoTest<'_>) -> Vec<String> {
    let tested = test.tested;
    let arm = match tested.arm_from {
        ArmFrom::Arm => "the arm's own sensor",
        ArmFrom::SensorOnArm => "the angle sensor on the arm",
        ArmFrom::Linkage => "the surface's angle through the linkage, play in the rods included",
        ArmFrom::Pulse => {
            "the surface's angle, scaled by arm_deg_per_us, play in the rods included"
        }
        ArmFrom::AssumedOne => "the surface's angle taken as the arm's: nothing tells their ratio",
    };
    let mut lines = vec![format!(
        "Angles are of the arm, from {arm}. {} steps up, {} down, {} staircases. Intervals are of 95 %, from the scatter of repeats.",
        tested.large_steps.0, tested.large_steps.1, tested.staircases
    )];
    lines.push(format!(
        "A sample every {}: the moment of a step is known to half of that, either way. Settled: within {}. Dead band: the \
         smallest change of the pulse that is answered, half the width from edge to edge.",
        Unit::Millisecond.plain(tested.resolution_ms),
        Unit::Degree.given(SETTLED_WITHIN_DEG)
    ));
    lines.extend(dead_band_words(tested));
    lines.extend(sheet_words(test));
    if let Some(per_volt) = &tested.speed_per_volt {
        let q = view::quantity(per_volt, Unit::Degree);
        lines.push(format!("Speed rises by {q}/s for each volt."));
    }
    if let Some(at) = &tested.at_sheet {
        lines.push(match at.how {
            How::Line => "Speed at the data sheet's voltage: by the line through the speeds at several voltages.".into(),
            How::Proportion => {
                "Speed at the data sheet's voltage: in proportion to voltage, which is near; test at another voltage to be surer.".into()
            }
        });
    }
    let told = tested.lacks.iter().filter(|lack| {
        matches!(
            lack,
            Lack::BelowTheSteps(_)
                | Lack::LongRests
                | Lack::SensorsNoise
                | Lack::Voltage
                | Lack::SheetVoltageFar
        )
    });
    lines.extend(told.map(lack_words));
    lines.extend(test.notes.iter().cloned());
    lines
}

/// Without rods there is no slop of theirs: what the arm stays behind is the dead band first.
fn dead_band_words(tested: &Tested) -> Option<String> {
    let makes_deg = tested.dead_band_makes_deg()?;
    let seen = [tested.found.arm_slop_deg, tested.found.centring_deg];
    let seen = seen.iter().flatten();
    // What may lie within it is no play that shows.
    let least = seen.map(|q| match q.interval {
        Some(i) if i.lo95 <= 0.0 && i.hi95 >= 0.0 => 0.0,
        Some(i) => i.lo95.abs().min(i.hi95.abs()),
        None => q.value.abs(),
    });
    let most = least.reduce(f64::max)?;
    let whose = match tested.without_rods() {
        true => "What the arm stays behind the pulse is no slop of rods",
        false => "Slop and centring hold the servo's dead band as well",
    };
    let rest = match most > makes_deg {
        true => "What is more than that is play.",
        false => "There is no more than that here: no play shows.",
    };
    Some(format!(
        "{whose}: its dead band makes up to {} of it, and of centring. {rest}",
        Unit::Degree.plain(makes_deg)
    ))
}

/// What fills the column of the data sheet where it has nothing.
fn sheet_words(test: &ServoTest<'_>) -> Option<String> {
    let mut keys = Vec::new();
    if test.kind.speed.is_none() {
        keys.push("speed_s_per_60deg with speed_voltage_v");
    }
    if test.kind.dead_band_us.is_none() {
        keys.push("dead_band_us");
    }
    (!keys.is_empty()).then(|| {
        format!(
            "The column of the data sheet is filled from the [[servo_type]] \"{}\" in aircraft.toml: {} not there yet: {}.",
            test.kind.name,
            if keys.len() == 1 { "this key is" } else { "these keys are" },
            keys.join(", and ")
        )
    })
}
