//! What a rig can measure of this aircraft's surfaces: where torque can come from, and whether an angle's scale is proven. Where
//! something is lacking, the command that mends it.

use super::{Look, State};
use crate::aircraft::linkage::LinkageSolver;
use crate::aircraft::{Aircraft, Surface};
use crate::command::word;
use crate::recording::{Channel, Drive, RigIdentity};

/// How rig and aircraft are named on a command line.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Named {
    /// The rig's options: `--port /dev/ttyACM0`.
    pub port: Option<String>,
    pub logbook: Option<String>,
    pub aircraft: Option<String>,
}

impl Named {
    /// Options of a command that records with the rig.
    fn at_rig(&self) -> String {
        let port = self.port.as_deref().unwrap_or("--port PATH");
        let logbook = word_or(self.logbook.as_deref(), "DIR");
        match &self.aircraft {
            Some(file) => format!("{port} --logbook {logbook} --aircraft {}", word(file)),
            None => format!("{port} --logbook {logbook}"),
        }
    }

    /// Options of a command that reads recordings.
    fn of_recordings(&self) -> String {
        match (&self.logbook, &self.aircraft) {
            (None, Some(file)) => format!("--aircraft {}", word(file)),
            (logbook, _) => format!("--logbook {}", word_or(logbook.as_deref(), "DIR")),
        }
    }
}

fn word_or(text: Option<&str>, otherwise: &str) -> String {
    text.map_or_else(|| otherwise.to_owned(), word)
}

/// What one surface's torque lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lacks {
    /// Lengths of its linkage, for the rod's force.
    Linkage,
    /// A calibration of its servo, for the supply's power.
    Calibration,
    /// Two servos drive it: the rod or the power of one is not the whole.
    OneServo,
}

fn has(rig: &RigIdentity, channel: Channel) -> bool {
    rig.channels.iter().any(|c| c == channel.name())
}

fn has_power(rig: &RigIdentity) -> bool {
    has(rig, Channel::CurrentMa) && (has(rig, Channel::SupplyV) || has(rig, Channel::SourceV))
}

/// Where torque comes from with this rig, in the order in which an analysis takes it. `surface`: the only one that is looked at.
pub fn torque(
    rig: &RigIdentity,
    aircraft: Option<&Aircraft>,
    surface: Option<&Surface>,
    named: &Named,
) -> Look {
    let at = "torque";
    if has(rig, Channel::TorqueNcm) {
        return Look::good(at, "measured by a sensor, torque_ncm");
    }
    let (force, power) = (has(rig, Channel::ForceN), has_power(rig));
    if !force && !power {
        return Look::with(
            State::Mind,
            at,
            format!("no channel that it can come from: {}", without(rig)),
            "add torque_ncm, or force_n and the linkage's lengths, or current_ma and supply_v with a calibrated servo",
        );
    }
    let Some(aircraft) = aircraft else {
        let needs = match force {
            true => "by force_n, if the aircraft file has the linkage's lengths",
            false => "by current_ma and voltage, if the servo is calibrated",
        };
        return Look::not_looked(
            at,
            format!("{needs}: no aircraft file was named, add --logbook DIR or --aircraft FILE"),
        );
    };
    let one = surface.map(std::slice::from_ref);
    let surfaces = one.unwrap_or(&aircraft.surfaces);
    let lacking: Vec<(&Surface, Lacks)> = surfaces
        .iter()
        .filter_map(|s| Some((s, lacks(s, aircraft, (force, power))?)))
        .collect();
    if lacking.is_empty() {
        return Look::good(
            at,
            match force {
                true => "by force_n and the linkage's lengths, or else by the servo's calibration",
                false => "by current_ma and voltage, through the servo's calibration",
            },
        );
    }
    let names: Vec<&str> = lacking.iter().map(|(s, _)| s.name.as_str()).collect();
    Look::with(
        State::Mind,
        at,
        format!("unproven for {}: {}", names.join(", "), without(rig)),
        &todo(rig, aircraft, &lacking, named),
    )
}

/// `None` where its torque can be told.
fn lacks(surface: &Surface, aircraft: &Aircraft, (force, power): (bool, bool)) -> Option<Lacks> {
    if surface.second_servo_index.is_some() {
        return Some(Lacks::OneServo);
    }
    let linkage = surface.linkage.as_ref();
    if force && linkage.and_then(LinkageSolver::new).is_some() {
        return None;
    }
    let servo = &aircraft.servos[surface.servo_index];
    match (force, power && servo.calibration.is_some()) {
        (_, true) => None,
        (true, false) => Some(Lacks::Linkage),
        (false, false) => Some(Lacks::Calibration),
    }
}

/// What is measured where torque is not.
fn without(rig: &RigIdentity) -> String {
    let angle = has(rig, Channel::AngleDeg);
    let pulse = has(rig, Channel::ArmDeg) || has(rig, Channel::PulseUs);
    let all = [
        (angle, "throws"),
        (angle && pulse, "slop"),
        (has(rig, Channel::CurrentMa), "current"),
    ];
    let seen: Vec<&str> = all.iter().filter(|(is, _)| *is).map(|(_, w)| *w).collect();
    match seen.is_empty() {
        true => "stiffness and friction stay unproven".into(),
        false => format!(
            "this rig measures {}; stiffness and friction stay unproven",
            seen.join(", ")
        ),
    }
}

fn todo(
    rig: &RigIdentity,
    aircraft: &Aircraft,
    lacking: &[(&Surface, Lacks)],
    named: &Named,
) -> String {
    let those = |what| {
        lacking
            .iter()
            .filter(move |(_, l)| *l == what)
            .map(|(s, _)| *s)
    };
    let names = |what| {
        those(what)
            .map(|s| s.name.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    };
    let mut said = Vec::new();
    let mut tags: Vec<&str> = those(Lacks::Calibration)
        .map(|s| aircraft.servos[s.servo_index].tag.as_str())
        .collect();
    tags.dedup();
    if let Some((first, others)) = tags.split_first() {
        let command = match rig.drive {
            Drive::Driven => format!(
                "`hingewright calibrate servo {} {} --arm-mm 60` (60: mm from the servo's shaft to the weight)",
                word(first),
                named.at_rig()
            ),
            Drive::Passive => format!(
                "`hingewright calibrate servo {} --from FILE {}`, from a recording of lifted weights by a rig that drives the servo",
                word(first),
                named.of_recordings()
            ),
        };
        said.push(match others.is_empty() {
            true => command,
            false => format!("{command}; likewise {}", others.join(", ")),
        });
    }
    if those(Lacks::Linkage).next().is_some() {
        said.push(format!(
            "put the lengths of [surface.linkage] into the aircraft file, for {}",
            names(Lacks::Linkage)
        ));
    }
    if those(Lacks::OneServo).next().is_some() {
        said.push(format!(
            "add a torque sensor (torque_ncm) for {}, for of two servos one's current or rod is not the whole torque",
            names(Lacks::OneServo)
        ));
    }
    said.join("; ")
}

/// Whether the surface's angle sensor was held against known angles.
pub fn angle_scale(surface: &Surface, named: &Named) -> Look {
    let at = "angle's scale";
    match surface.angle {
        Some(_) => Look::good(at, format!("calibrated for the {}", surface.name)),
        None => Look::with(
            State::Mind,
            at,
            format!(
                "the {}'s angle is believed as the sensor reads it, its scale unproven: the aircraft file has no [surface.angle] for it",
                surface.name
            ),
            &format!(
                "`hingewright calibrate angle {} {} --ruler-mm -20,-10,0,10,20` (mm at the trailing edge)",
                word(&surface.name),
                named.at_rig()
            ),
        ),
    }
}
