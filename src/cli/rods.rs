//! `rods`: the same surface with its rods on and off, and what is the hinge's, the linkage's and the servo's.

use std::path::PathBuf;

use clap::Args;

use super::whose::Whose;
use super::{at_rig, complain, show};
use crate::aircraft::{Aircraft, Surface};
use crate::analysis::{Measured, measure};
use crate::assess::surface_named;
use crate::history::rods::{Sides, apart};
use crate::logbook::Logbook;
use crate::problem::{Problem, exit};
use crate::recording::{self, Channel, Recording, purpose};
use crate::report::rods::{Shown, json, text};
use crate::servo::free::{self, Free};
use crate::units::TorqueUnit;

/// Speeds further apart than this share are told (common practice, no source).
const SPEED_APART: f64 = 0.25;

#[derive(Args)]
#[command(after_help = "What can be told hangs on what was recorded:\n  \
                  rods on    a sweep. Supply power and a calibrated servo show all that its arm moves: hinge and linkage. A torque sensor \
                  at the hinge line shows the hinge alone.\n  \
                  rods off   the surface moved by hand, angle and torque sensor on it: the hinge alone, without the rod's pull. \
                  `sweep SURFACE --purpose rods-off` with a rig that only measures records it.\n  \
                  rods off   the servo turning free, the angle sensor on its arm: its own friction, and what that has changed by since it \
                  was calibrated. `sweep SURFACE --purpose rods-off` with a rig that drives records it.\n\
                  The linkage's part is what the arm moves, less the hinge, less the servo's change. Without a torque sensor hinge and linkage \
                  cannot be told apart. Before a rod comes off: supply off, and hands clear of the arm when it is on again.\n\n\
                  Exit status: 0 something was told apart; 1 nothing could be; 2 an argument or a file could not be used.\n\n\
                  Example:\n  hingewright rods \"left elevator\" --logbook dunlin")]
pub struct Arguments {
    /// The surface, as aircraft.toml calls it
    surface: String,
    /// The recording with rods on; with --logbook alone the surface's latest sweep
    #[arg(long, value_name = "FILE")]
    on: Option<PathBuf>,
    /// Recordings with rods off, of surface, servo or both; with --logbook alone the latest of each with purpose rods-off
    #[arg(long, value_name = "FILE", num_args = 1..)]
    off: Vec<PathBuf>,
    #[command(flatten)]
    whose: Whose,
    /// One JSON object, in N·cm whatever --units says
    #[arg(long)]
    json: bool,
    /// Unit of torque in what is shown: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
}

pub fn run(arguments: &Arguments) -> u8 {
    told(arguments).unwrap_or_else(|problem| {
        complain(&problem);
        exit::UNUSABLE
    })
}

/// A recording and the name it goes by.
type Named = (String, Recording);

fn told(arguments: &Arguments) -> Result<u8, Problem> {
    let opened = arguments.whose.opened()?;
    let Some(aircraft) = opened.aircraft() else {
        return Err(Problem::new("no aircraft is named")
            .hint("add --logbook DIR, or --aircraft FILE with --on and --off"));
    };
    let surface = &aircraft.surfaces[surface_named(&arguments.surface, aircraft)?];
    if opened.logbook.is_none() && (arguments.on.is_none() || arguments.off.is_empty()) {
        return Err(Problem::new(
            "without a logbook the recordings of both sides have to be named",
        )
        .hint("add --on FILE and --off FILE…, or --logbook DIR"));
    }
    let one = |path: &PathBuf| named(path, surface);
    let mut on = arguments.on.as_ref().map(one).transpose()?;
    let mut off: Vec<Named> = arguments.off.iter().map(one).collect::<Result<_, _>>()?;
    if let Some(logbook) = &opened.logbook {
        let (latest_on, latest_off) = latest(logbook, surface)?;
        on = on.or(latest_on);
        if off.is_empty() {
            off = latest_off;
        }
    }
    if on.is_none() && off.is_empty() {
        return Err(Problem::new(format!(
            "the logbook has no recording of the {} to compare",
            surface.name
        ))
        .hint("sweep it with rods on, and once more with rods off and --purpose rods-off"));
    }
    shown(
        arguments,
        (aircraft, surface),
        (on, &off),
        opened.note.as_deref(),
    )
}

fn shown(
    arguments: &Arguments,
    (aircraft, surface): (&Aircraft, &Surface),
    (on, off): (Option<Named>, &[Named]),
    note: Option<&str>,
) -> Result<u8, Problem> {
    let servo = &aircraft.servos[surface.servo_index];
    let calibration = servo.calibration.as_ref();
    let mut notes: Vec<String> = note.map(|note| format!("{note}.")).into_iter().collect();
    let (mut by_hand, mut free): (Option<(Measured, Option<String>)>, Option<Free>) = (None, None);
    for (file, recording) in off {
        if turns_by_pulse(recording) {
            let found = free::measure(recording, calibration);
            notes.push(match &found {
                Some(_) => format!("{file}: taken as the servo turning free, for its pulse moves."),
                None => format!(
                    "{file}: its pulse moves, and no servo turning free can be read from it: that takes current, voltage, the angle of \
                     the arm, and three strokes and rests of half a second."
                ),
            });
            free = found.or(free);
        } else {
            notes.push(format!(
                "{file}: taken as the surface moved by hand, for no pulse moves."
            ));
            by_hand = Some((measure(recording, aircraft, surface), rig(recording)));
        }
    }
    let sensor = [Channel::TorqueNcm, Channel::ForceN];
    let measured = on.as_ref().map(|(_, r)| measure(r, aircraft, surface));
    let power = on
        .as_ref()
        .map(|(_, r)| measure(&r.without(&sensor), aircraft, surface));
    let speed = |m: Option<&Measured>| m.and_then(|m| m.conditions.speed_deg_s);
    if let Some((off, on)) = speed(by_hand.as_ref().map(|(m, _)| m)).zip(speed(measured.as_ref()))
        && (on / off - 1.0).abs() > SPEED_APART
    {
        notes.push(format!(
            "Moved at {off:.0}°/s with rods off and at {on:.0}°/s with rods on: friction that goes with speed is in the difference."
        ));
    }
    let on_rig = on.as_ref().and_then(|(_, r)| rig(r));
    let rods = apart(&Sides {
        on: measured.as_ref(),
        on_by_power: power.as_ref(),
        surface_off: by_hand.as_ref().map(|(m, _)| m),
        servo_off: free.as_ref(),
        same_rig: by_hand
            .as_ref()
            .is_some_and(|(_, rig)| rig.is_some() && *rig == on_rig),
    });
    let files: Vec<String> = off.iter().map(|(file, _)| file.clone()).collect();
    let told = rods.told();
    let shown = Shown {
        surface: &surface.name,
        servo: &servo.tag,
        on: on.as_ref().map(|(file, _)| file.as_str()),
        off: &files,
        rods,
        free,
        notes: &notes,
    };
    let line = arguments.json.then(|| json::line(&shown));
    at_rig::print(line, || {
        text::rods(&shown, arguments.units, show::terminal_width())
    })?;
    Ok(if told { exit::NO_FAULT } else { exit::FOUND })
}

fn rig(recording: &Recording) -> Option<String> {
    recording.rig.as_ref().map(|r| r.name.clone())
}

/// A pulse that changes: the servo was driven.
fn turns_by_pulse(recording: &Recording) -> bool {
    let pulses = recording
        .segments
        .iter()
        .filter_map(|s| s.column(Channel::PulseUs))
        .flatten()
        .filter(|us| us.is_finite());
    let (low, high) = pulses.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), us| {
        (l.min(*us), h.max(*us))
    });
    high - low > 20.0
}

fn named(path: &PathBuf, surface: &Surface) -> Result<Named, Problem> {
    let recording = recording::read_path(path)?;
    match recording.key("surface").map(str::trim) {
        Some(own) if !own.eq_ignore_ascii_case(&surface.name) => Err(Problem::new(format!(
            "{}: this recording is of the {own}, not of the {}",
            path.display(),
            surface.name
        ))
        .hint("name recordings of one surface")),
        _ => Ok((path.display().to_string(), recording)),
    }
}

/// The surface's latest finished sweep, and its latest recordings with rods off: by hand, and of the servo.
fn latest(logbook: &Logbook, surface: &Surface) -> Result<(Option<Named>, Vec<Named>), Problem> {
    let (mut on, mut by_hand, mut servo) = (None, None, None);
    for path in logbook.recordings()?.iter().rev() {
        // What cannot be read is passed by: `check` and `recheck` tell of it.
        let Ok((index, recording)) = logbook.read(path) else {
            continue;
        };
        if logbook.aircraft().surfaces[index].name != surface.name
            || recording.unfinished().is_some()
        {
            continue;
        }
        let place = match recording.key("purpose") {
            Some(purpose::RODS_OFF) if turns_by_pulse(&recording) => &mut servo,
            Some(purpose::RODS_OFF) => &mut by_hand,
            other if purpose::is_sweep(other) => &mut on,
            _ => continue,
        };
        if place.is_none() {
            *place = Some((path.display().to_string(), recording));
        }
        if on.is_some() && by_hand.is_some() && servo.is_some() {
            break;
        }
    }
    Ok((on, by_hand.into_iter().chain(servo).collect()))
}
