//! The text of a new aircraft file, with a word on every key and on what was left out.

use std::fmt::Write;

use super::{Draft, Kind, Surface};
use crate::aircraft::ThrowMeasure;

/// Where the comments begin.
const COLUMN: usize = 36;

/// The file's whole text. `made` stands in its first line.
pub fn text(draft: &Draft, made: &str) -> String {
    let mut out = format!(
        "# {made}\n# Numbers are as answered. A mistake is shown with its line by every command that reads this file.\n\n[aircraft]\n"
    );
    put(&mut out, "name", &quoted(&draft.name), "");
    for kind in &draft.kinds {
        put_kind(&mut out, kind);
    }
    for (tag, kind) in &draft.servos {
        out += "\n[[servo]]\n";
        put(&mut out, "tag", &quoted(tag), "the mark on this one servo");
        put(&mut out, "type", &quoted(&draft.kinds[*kind].name), "");
        out += "# fitted = 2026-04-02               # the day it was fitted\n\
                # calibration = \"…\"                 # written by `hingewright calibrate servo`: torque from supply power\n";
    }
    for surface in &draft.surfaces {
        put_surface(&mut out, surface);
    }
    out + "\n# [limits]                          # to judge by; those left out have defaults, and every result names them\n\
           # [trip]                            # where the rig disarms itself; defaults as well\n\
           # [supply]                          # what feeds the servos, for `hingewright supply`\n"
}

fn put(out: &mut String, key: &str, value: &str, comment: &str) {
    let line = format!("{key} = {value}");
    // Nothing can fail in writing to a string.
    let _ = match comment {
        "" => writeln!(out, "{line}"),
        _ => writeln!(
            out,
            "{line:w$}# {comment}",
            w = COLUMN.max(line.chars().count() + 1)
        ),
    };
}

/// A string as TOML has it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// At most four decimals, none of them idle.
fn number(value: f64) -> String {
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    text.to_owned()
}

fn put_kind(out: &mut String, kind: &Kind) {
    *out += "\n[[servo_type]]                      # what the data sheet says of all of a kind\n";
    put(out, "name", &quoted(&kind.name), "");
    let stall = number(kind.stall_torque_ncm);
    put(out, "stall_torque_ncm", &stall, "N·cm, at stall_voltage_v");
    put(out, "stall_voltage_v", &number(kind.stall_voltage_v), "");
    match kind.arm_deg_per_us {
        Some(ratio) => put(
            out,
            "arm_deg_per_us",
            &number(ratio),
            "arm angle per µs of pulse",
        ),
        None => {
            *out += "# arm_deg_per_us = …                # not known: arm angle per µs of pulse, needed where the rig has no arm_deg channel\n";
        }
    }
    match kind.speed_s_per_60deg {
        Some(speed) => {
            put(
                out,
                "speed_s_per_60deg",
                &number(speed),
                "time for 60° of the arm, s",
            );
            put(out, "speed_voltage_v", &number(kind.stall_voltage_v), "");
        }
        None => {
            *out += "# speed_s_per_60deg = …             # not known: `hingewright servo` measures it all the same\n"
        }
    }
}

fn put_surface(out: &mut String, surface: &Surface) {
    *out += "\n[[surface]]\n";
    put(out, "name", &quoted(&surface.name), "");
    put(out, "servo", &quoted(&surface.tag), "");
    if let Some(pair) = &surface.pair {
        put(
            out,
            "pair",
            &quoted(pair),
            "its opposite number, to be compared with",
        );
    }
    let chord = number(surface.chord_mm);
    put(
        out,
        "chord_mm",
        &chord,
        "hinge line to trailing edge, where the throw is measured",
    );
    let (word, means) = match surface.measure {
        ThrowMeasure::Straight => (
            "straight",
            "ruler from the neutral to the deflected trailing edge",
        ),
        ThrowMeasure::Square => ("square", "ruler square to the neutral chord line"),
    };
    put(out, "throw_as", &quoted(word), means);
    *out += "throws = [\n";
    for throw in &surface.throws {
        let unit = if throw.in_deg { "deg" } else { "mm" };
        let _ = writeln!(
            out,
            "  {{ name = {}, {}_{unit} = {}, tolerance_mm = {} }},",
            quoted(&throw.name),
            throw.way,
            number(throw.value),
            number(throw.tolerance_mm)
        );
    }
    *out += "]\n";
    put_linkage(out, surface);
    put_air(out, surface);
}

fn put_linkage(out: &mut String, surface: &Surface) {
    match surface.linkage {
        Some([arm, horn, rod, base]) => {
            *out += "\n[surface.linkage]\n";
            put(out, "arm_mm", &number(arm), "output shaft to rod");
            put(out, "horn_mm", &number(horn), "hinge line to rod");
            put(out, "rod_mm", &number(rod), "hole to hole");
            put(out, "base_mm", &number(base), "output shaft to hinge line");
        }
        None => {
            *out += "\n# [surface.linkage]                 # not known: arm_mm, horn_mm, rod_mm, base_mm, for `hingewright linkage` and torque by rod force\n";
        }
    }
}

fn put_air(out: &mut String, surface: &Surface) {
    match surface.air {
        Some([span, chord, fastest]) => {
            *out += "\n[surface.air]                       # for `hingewright flight`\n";
            put(out, "span_mm", &number(span), "length along the hinge");
            put(
                out,
                "wing_chord_mm",
                &number(chord),
                "whole chord, surface included",
            );
            put(
                out,
                "fastest_m_s",
                &number(fastest),
                "highest airspeed, m/s",
            );
        }
        None => {
            *out += "\n# [surface.air]                     # not known: span_mm, wing_chord_mm, fastest_m_s, for `hingewright flight`\n"
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Throw, UP_AND_DOWN};
    use super::*;
    use crate::aircraft::parse;
    use crate::problem::Problem;

    fn surface(name: &str, tag: &str, pair: Option<&str>) -> Surface {
        Surface {
            name: name.into(),
            tag: tag.into(),
            pair: pair.map(str::to_owned),
            chord_mm: 58.0,
            measure: ThrowMeasure::Straight,
            throws: UP_AND_DOWN
                .iter()
                .map(|(name, way)| Throw {
                    name: (*name).into(),
                    way,
                    value: 22.25,
                    in_deg: *way == "down",
                    tolerance_mm: 1.0,
                })
                .collect(),
            linkage: Some([18.0, 22.0, 95.0, 97.0]),
            air: Some([340.0, 190.0, 85.0]),
        }
    }

    #[test]
    fn what_is_written_is_read_back_with_quotation_marks_in_its_names_and_all() {
        let mut draft = Draft {
            name: "The \"Dunlin\" \\ 2".into(),
            kinds: vec![Kind {
                name: "metal gear, 21 kg·cm".into(),
                stall_torque_ncm: 205.93965,
                stall_voltage_v: 7.4,
                arm_deg_per_us: Some(0.09),
                speed_s_per_60deg: Some(0.15),
            }],
            servos: vec![("E1".into(), 0), ("E2".into(), 0)],
            surfaces: vec![
                surface("left elevator", "E1", Some("right elevator")),
                surface("right elevator", "E2", Some("left elevator")),
            ],
        };
        let none = |_: &str| Err(Problem::new("no calibration is named"));
        let read = parse(&text(&draft, "made"), "new.toml", none).unwrap();
        assert_eq!(read.name, draft.name);
        assert_eq!(read.servo_types[0].stall_torque_ncm, 205.9397);
        let first = &read.surfaces[0];
        assert_eq!(
            (first.pair_index, first.throws[0].asked_mm),
            (Some(1), 22.25)
        );
        assert!(first.throws[1].given_in_deg && first.linkage.is_some() && first.air.is_some());

        draft.kinds[0].arm_deg_per_us = None;
        draft.kinds[0].speed_s_per_60deg = None;
        for surface in &mut draft.surfaces {
            (surface.linkage, surface.air) = (None, None);
        }
        let written = text(&draft, "made");
        let read = parse(&written, "new.toml", none).unwrap();
        assert!(read.surfaces[0].linkage.is_none() && read.servo_types[0].arm_deg_per_us.is_none());
        assert_eq!(written.matches("# not known").count(), 6, "{written}");
    }
}
