//! `aircraft.toml` and the calibrations it names, from text to the checked [`Aircraft`]. Every fault is said with
//! file, line, the line itself, the key and the remedy. Nothing is guessed: what is not understood is an error.

use std::path::Path;

use crate::problem::Problem;

use super::bound::Bound;
use super::document::Document;
use super::file::{NamedText, read_text};
use super::keys;
use super::section::{Section, shortened};
use super::surface::{self, look_up};
use super::{
    Aircraft, Calibration, Limits, Servo, ServoType, SheetSpeed, Surface, Trip, calibration,
    supply, trip,
};

/// Reads an aircraft file and the calibration files named in it, which lie relative to its folder.
///
/// # Errors
/// The first thing that is wrong with any of them, in the order of the aircraft file.
pub fn read_path(path: &Path) -> Result<Aircraft, Problem> {
    let named = read_text(path)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    parse(&named.text, &named.file_name, |file| {
        read_text(&folder.join(file))
    })
}

/// Reads the calibration file of the servo with this tag, by itself.
///
/// # Errors
/// It cannot be read, or is none of this servo.
pub fn read_calibration_path(path: &Path, tag: &str) -> Result<Calibration, Problem> {
    calibration::parse(&read_text(path)?, tag)
}

/// Reads an aircraft file from its text. `file_name` is what messages call it; `calibration_loader` gives the text of
/// a calibration file by the name that the aircraft file has for it.
///
/// # Errors
/// The first thing that is wrong, in the order of the file.
pub fn parse(
    text: &str,
    file_name: &str,
    mut calibration_loader: impl FnMut(&str) -> Result<NamedText, Problem>,
) -> Result<Aircraft, Problem> {
    let doc = Document::new(file_name, text, keys::AIRCRAFT_FILE);
    let tables = doc.tables()?;
    let top = Section::open(
        &doc,
        &keys::TOP,
        tables.get_ref(),
        0..0,
        "the file".to_owned(),
    );
    let aircraft = read(&doc, &top, &mut calibration_loader);
    match (doc.first_fault(), aircraft) {
        (None, Some(aircraft)) => Ok(aircraft),
        (Some(problem), _) => Err(problem),
        (None, None) => Err(Problem::new(format!("{file_name} is incomplete"))
            .hint("compare it with samples/aircraft.toml")),
    }
}

fn read(
    doc: &Document,
    top: &Section,
    calibration_loader: &mut dyn FnMut(&str) -> Result<NamedText, Problem>,
) -> Option<Aircraft> {
    let head = top
        .need_header("aircraft")
        .then(|| top.table("aircraft", &keys::AIRCRAFT, "[aircraft]".to_owned()))
        .flatten();
    for name in ["servo_type", "servo", "surface"] {
        top.need_header(name);
    }
    let type_sections = top.tables("servo_type", &keys::SERVO_TYPE);
    let servo_sections = top.tables("servo", &keys::SERVO);
    let surface_sections = top.tables("surface", &keys::SURFACE);
    let type_names = unique_names(doc, &type_sections, "name");
    let servo_tags = unique_names(doc, &servo_sections, "tag");
    let surface_names = unique_names(doc, &surface_sections, "name");

    let servo_types: Vec<Option<ServoType>> = type_sections.iter().map(read_servo_type).collect();
    let servos: Vec<Option<Servo>> = servo_sections
        .iter()
        .map(|s| read_servo(doc, s, &type_names, calibration_loader))
        .collect();
    let surfaces: Vec<Option<Surface>> = surface_sections
        .iter()
        .enumerate()
        .map(|(index, s)| surface::read(doc, s, index, &servo_tags, &surface_names))
        .collect();
    let limits = top
        .table("limits", &keys::LIMITS, "[limits]".to_owned())
        .map_or_else(Limits::default, |s| read_limits(&s));
    let trip = top
        .table("trip", &keys::TRIP, "[trip]".to_owned())
        .map_or_else(Trip::default, |s| trip::read(&s));
    let supply = top
        .table("supply", &keys::SUPPLY, "[supply]".to_owned())
        .map(|s| supply::read(&s, &surface_names));
    let (name, note, was) = {
        let head = head?;
        let name = head.need_text("name");
        let was = surface::read_was(&head, name, &Vec::new());
        (name, head.text("note"), was)
    };
    no_name_twice(&surface_sections, &surfaces);
    Some(Aircraft {
        name: name?.to_owned(),
        was,
        note: note.map(str::to_owned),
        servo_types: servo_types.into_iter().collect::<Option<_>>()?,
        servos: servos.into_iter().collect::<Option<_>>()?,
        surfaces: surfaces.into_iter().collect::<Option<_>>()?,
        limits,
        trip,
        supply,
    })
}

/// Two surfaces that were both called the same: whose a recording is, nobody could tell.
fn no_name_twice(sections: &[Section], surfaces: &[Option<Surface>]) {
    for (i, surface) in surfaces.iter().enumerate() {
        let before = || surfaces[..i].iter().flatten();
        let names = surface.iter().flat_map(|s| &s.was);
        for name in names {
            if let Some(other) = before().find(|other| other.is_called(name)) {
                sections[i].fault(
                    "was",
                    &format!(
                        "\"{}\" was {} already",
                        shortened(name),
                        shortened(&other.name)
                    ),
                    "leave the old name with the surface that the recordings are of",
                );
            }
        }
    }
}

/// The tables' names in the order of the file; a name that is there twice is a fault at the second, which then counts
/// as having none: it was probably meant to be another.
fn unique_names<'d>(
    doc: &Document,
    sections: &[Section<'d>],
    key: &'static str,
) -> Vec<Option<&'d str>> {
    let mut names: Vec<Option<&str>> = Vec::with_capacity(sections.len());
    for section in sections {
        let name = section.value(key).and_then(|v| v.get_ref().as_str());
        if let Some(first) = names.iter().position(|n| n.is_some() && *n == name) {
            let line = doc.line_number(sections[first].key_span(key).start);
            section.fault(
                key,
                &format!(
                    "{key} \"{}\" is taken already, by line {line}",
                    shortened(name.unwrap_or_default())
                ),
                &format!("give each its own {key}"),
            );
            names.push(None);
        } else {
            names.push(name);
        }
    }
    names
}

fn read_servo_type(section: &Section) -> Option<ServoType> {
    let name = section.need_text("name");
    let stall_torque_ncm = section.need_number("stall_torque_ncm", Bound::Positive);
    let stall_voltage_v = section.need_number("stall_voltage_v", Bound::Positive);
    // A servo that turns the other way with the pulse is a negative number.
    let arm_deg_per_us = section.number("arm_deg_per_us", Bound::NotZero);
    let speed = read_speed(section);
    let dead_band_us = section.number("dead_band_us", Bound::Positive);
    Some(ServoType {
        name: name?.to_owned(),
        stall_torque_ncm: stall_torque_ncm?,
        stall_voltage_v: stall_voltage_v?,
        arm_deg_per_us,
        speed,
        dead_band_us,
    })
}

/// A speed without its voltage says nothing, nor does a voltage alone.
fn read_speed(section: &Section) -> Option<SheetSpeed> {
    const KEYS: [&str; 2] = ["speed_s_per_60deg", "speed_voltage_v"];
    if !KEYS.iter().any(|key| section.has(key)) {
        return None;
    }
    let [s_per_60deg, voltage_v] = KEYS.map(|key| section.need_number(key, Bound::Positive));
    Some(SheetSpeed {
        s_per_60deg: s_per_60deg?,
        voltage_v: voltage_v?,
    })
}

fn read_servo(
    doc: &Document,
    section: &Section,
    type_names: &surface::Names,
    calibration_loader: &mut dyn FnMut(&str) -> Result<NamedText, Problem>,
) -> Option<Servo> {
    let tag = section.need_text("tag");
    let type_index = section
        .require("type")
        .then(|| look_up(section, "type", type_names, "[[servo_type]]"))
        .flatten();
    let fitted = section.date("fitted");
    let calibration = match (section.text("calibration"), tag) {
        (Some(file), Some(tag)) => Some(read_calibration(
            doc,
            section,
            file,
            tag,
            calibration_loader,
        )?),
        _ => None,
    };
    Some(Servo {
        tag: tag?.to_owned(),
        type_index: type_index?,
        fitted,
        calibration,
        lead: supply::read_lead(section),
    })
}

/// A file that cannot be read is a fault of the line that names it; a fault inside the file is told as that file's.
fn read_calibration(
    doc: &Document,
    servo: &Section,
    file: &str,
    tag: &str,
    calibration_loader: &mut dyn FnMut(&str) -> Result<NamedText, Problem>,
) -> Option<Calibration> {
    match calibration_loader(file) {
        Ok(named) => match calibration::parse(&named, tag) {
            Ok(calibration) => Some(calibration),
            Err(problem) => {
                doc.fault_elsewhere(servo.key_span("calibration"), problem);
                None
            }
        },
        Err(problem) => {
            let remedy = problem.hint.unwrap_or_default();
            servo.fault(
                "calibration",
                &format!("calibration: {}", problem.what),
                &format!("{remedy}; calibration is looked for beside the aircraft file, and may be left out"),
            );
            None
        }
    }
}

fn read_limits(section: &Section) -> Limits {
    let mut limits = Limits::default();
    let mut take = |key: &'static str, bound: Bound, into: fn(&mut Limits) -> &mut f64| {
        if let Some(value) = section.number(key, bound) {
            *into(&mut limits) = value;
            limits.given.push(key);
        }
    };
    take("share_of_stall", Bound::Share, |l| &mut l.share_of_stall);
    take("slop_deg", Bound::Positive, |l| &mut l.slop_deg);
    take("pair_difference", Bound::Share, |l| &mut l.pair_difference);
    take("stiffening_ratio", Bound::AboveOne, |l| {
        &mut l.stiffening_ratio
    });
    take("friction_share_of_stall", Bound::Share, |l| {
        &mut l.friction_share_of_stall
    });
    take("tight_spot_ncm", Bound::Positive, |l| &mut l.tight_spot_ncm);
    take("hold_current_ma", Bound::Positive, |l| {
        &mut l.hold_current_ma
    });
    limits
}

#[cfg(test)]
#[path = "read_tests.rs"]
mod tests;
