//! What a picture shows, in words, for those who listen instead of look.

use super::curve::Sheet;
use crate::report::{Checked, view};
use crate::units::{TorqueUnit, Unit};

/// A picture's name and what is seen in it.
pub struct Said {
    pub title: String,
    pub seen: String,
}

pub fn curve(checked: &Checked<'_>, unit: TorqueUnit) -> Said {
    let title = format!(
        "Torque against deflection of the {}",
        checked.recording.surface
    );
    let mut seen = Vec::new();
    match &checked.measured.curve {
        Some(curve) => {
            let ends = curve.fit.first().zip(curve.fit.last());
            if let Some((first, last)) = ends {
                let torque = |ncm| Unit::Torque(unit).plain(ncm);
                seen.push(format!(
                    "From {} to {} the fitted torque goes from {} to {} moving {}, and from {} to {} moving {}.",
                    Unit::Degree.place(first.angle_deg),
                    Unit::Degree.place(last.angle_deg),
                    torque(first.up_ncm),
                    torque(last.up_ncm),
                    view::side_word(checked, true),
                    torque(first.down_ncm),
                    torque(last.down_ncm),
                    view::side_word(checked, false),
                ));
            }
            let marked: Vec<String> = Sheet::marked(checked).collect();
            if !marked.is_empty() {
                seen.push(format!("Marked: {}.", marked.join("; ")));
            }
        }
        None => seen.push("Torque could not be measured.".into()),
    }
    let throws: Vec<String> = view::throw_rows(checked)
        .into_iter()
        .map(|row| format!("{} {}", row.name, row.state))
        .collect();
    if !throws.is_empty() {
        seen.push(format!("Throws: {}.", throws.join("; ")));
    }
    Said {
        title,
        seen: seen.join(" "),
    }
}

pub fn traces(checked: &Checked<'_>) -> Said {
    let traces = &checked.measured.traces;
    let mut names = Vec::new();
    for (values, name) in [
        (&traces.angle_deg, "angle, degrees"),
        (&traces.effort, traces.effort_label.as_str()),
        (&traces.pulse_us, "pulse, µs"),
    ] {
        if values.iter().any(|v| v.is_finite()) && !name.is_empty() {
            names.push(name);
        }
    }
    let mut seen = match names.is_empty() {
        true => "No reading to draw.".into(),
        false => format!("Over time, one above the other: {}.", names.join("; ")),
    };
    if let Some((lo, hi)) = checked.measured.travel_deg {
        seen += &format!(
            " The surface moved between {} and {}.",
            Unit::Degree.place(lo),
            Unit::Degree.place(hi)
        );
    }
    Said {
        title: format!("The {} over time", checked.recording.surface),
        seen,
    }
}
