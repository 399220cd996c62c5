//! What was answered, read back before it is written.

use crate::aircraft::ThrowMeasure;
use crate::aircraft::draft::{Draft, Kind, Surface};
use crate::units::{TorqueUnit, Unit};

/// One line a surface and one a kind of servo.
pub fn read_back(draft: &Draft) -> Vec<String> {
    let mut lines = vec![format!("{}:", draft.name)];
    lines.extend(
        draft
            .surfaces
            .iter()
            .map(|one| format!("  {}", surface(one))),
    );
    for (i, one) in draft.kinds.iter().enumerate() {
        let tags = draft.servos.iter().filter(|(_, kind)| *kind == i);
        let tags: Vec<&str> = tags.map(|(tag, _)| tag.as_str()).collect();
        lines.push(format!("  {}: {}", tags.join(", "), kind(one)));
    }
    lines
}

fn surface(surface: &Surface) -> String {
    let mm = |value| Unit::Millimetre.given(value);
    let throws = surface.throws.iter().map(|throw| {
        let value = match throw.in_deg {
            true => Unit::Degree.given(throw.value),
            false => mm(throw.value),
        };
        format!("{} {value}", throw.name)
    });
    let measured = match surface.measure {
        ThrowMeasure::Straight => "straight",
        ThrowMeasure::Square => "square",
    };
    let tolerance = surface.throws.first().map_or(0.0, |t| t.tolerance_mm);
    let mut said = vec![
        format!("servo {}", surface.tag),
        format!("chord {}", mm(surface.chord_mm)),
        format!(
            "throws {}, measured {measured}, ± {}",
            throws.collect::<Vec<_>>().join(", "),
            mm(tolerance)
        ),
    ];
    said.push(match surface.linkage {
        Some([arm, horn, rod, base]) => format!(
            "arm {}, horn {}, rod {}, base {}",
            mm(arm),
            mm(horn),
            mm(rod),
            mm(base)
        ),
        None => "no linkage".to_owned(),
    });
    said.push(match surface.air {
        Some([span, chord, fastest]) => {
            format!(
                "span {}, wing chord {}, {fastest:.0} m/s",
                mm(span),
                mm(chord)
            )
        }
        None => "no air loads".to_owned(),
    });
    format!("{}: {}", surface.name, said.join("; "))
}

fn kind(kind: &Kind) -> String {
    let torque = Unit::Torque(TorqueUnit::NewtonCentimetre).plain(kind.stall_torque_ncm);
    let mut said = vec![format!(
        "{torque} at {}",
        Unit::Volt.given(kind.stall_voltage_v)
    )];
    said.extend(kind.speed_s_per_60deg.map(|s| format!("{s} s for 60°")));
    said.extend(kind.arm_deg_per_us.map(|r| format!("{r}°/µs")));
    format!("{}, {}", kind.name, said.join(", "))
}
