//! `servo`: a servo tested by steps, staircases and rests, on a rig or from recordings of such a test.

mod on_rig;

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::at_rig::Source;
use super::files::{Picture, picture, told_aside};
use super::words::words_to_stderr;
use super::{complain, show};
use crate::aircraft::{Aircraft, Surface};
use crate::analysis::angle::calibrated;
use crate::assess::{servo_of, surface_named};
use crate::logbook::write_whole;
use crate::problem::{Problem, exit};
use crate::recording::{self, Recording};
use crate::report::plot;
use crate::report::servo::{ServoTest, json, text};
use crate::servo;
use crate::verdict::{Judged, judge_servo};

#[derive(Args)]
#[command(
    after_help = "Examples:\n  hingewright servo E1 --port /dev/ttyACM0 --logbook dunlin --alone --plot e1.svg\n  \
                  hingewright servo E1 --from at-6v.log at-8v.log --aircraft dunlin/aircraft.toml\n\n\
                  Exit status: that of `check`; 3 if the rig failed, tripped, or the test was stopped."
)]
pub struct Arguments {
    /// The servo, by its tag in the aircraft file
    tag: String,
    #[command(flatten)]
    source: Source,
    /// The surface that it drives, where it drives more than one
    #[arg(long, value_name = "NAME")]
    surface: Option<String>,
    /// The servo lies on the bench without rods, the angle sensor on its arm
    #[arg(long)]
    alone: bool,
    /// One JSON object
    #[arg(long)]
    json: bool,
    /// Draw steps and staircases into FILE, an SVG or (by its ending) a PNG
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
}

pub fn run(arguments: &Arguments) -> u8 {
    // Before anything moves or is computed.
    if let Some(Err(problem)) = arguments.plot.as_ref().map(|file| picture(file, "--plot")) {
        complain(&problem);
        return exit::UNUSABLE;
    }
    let done = || -> Result<u8, Problem> {
        if arguments.json {
            words_to_stderr();
        }
        let home = arguments.source.home()?;
        if !arguments.source.from.is_empty() {
            return from_files(arguments, home.aircraft());
        }
        on_rig::test(arguments, home.logbook()?)
    };
    done().unwrap_or_else(|problem| {
        complain(&problem);
        exit::UNUSABLE
    })
}

fn from_files(arguments: &Arguments, aircraft: &Aircraft) -> Result<u8, Problem> {
    let place = place(arguments, aircraft)?;
    let surface = &place.aircraft.surfaces[place.surface_index];
    let mut recordings = Vec::new();
    for path in &arguments.source.from {
        let mut recording = recording::read_path(path)?;
        if arguments.alone {
            recording.keys.push((servo::ALONE.into(), "yes".into()));
        }
        let recording = calibrated(recording, surface);
        recordings.push((path.display().to_string(), recording));
    }
    shown(arguments, &place, &recordings)
}

/// The surface that the servo drives.
struct Place {
    /// With this servo alone at it.
    aircraft: Aircraft,
    surface_index: usize,
    /// It is the second of two.
    is_second: bool,
}

fn place(arguments: &Arguments, aircraft: &Aircraft) -> Result<Place, Problem> {
    let tags: Vec<&str> = aircraft.servos.iter().map(|s| s.tag.as_str()).collect();
    let own = tags
        .iter()
        .position(|tag| tag.eq_ignore_ascii_case(&arguments.tag))
        .ok_or_else(|| {
            Problem::new(format!(
                "{} has no servo with the tag \"{}\"",
                aircraft.name, arguments.tag
            ))
            .hint(format!("name one of {}", tags.join(", ")))
        })?;
    let drives = |s: &Surface| s.servo_index == own || s.second_servo_index == Some(own);
    let surface_index = match &arguments.surface {
        Some(name) => {
            let index = surface_named(name, aircraft)?;
            let surface = &aircraft.surfaces[index];
            if !drives(surface) {
                return Err(Problem::new(format!(
                    "the {} is driven by servo {}, not by {}",
                    surface.name, aircraft.servos[surface.servo_index].tag, arguments.tag
                ))
                .hint("leave --surface out, or name the servo that drives it"));
            }
            index
        }
        None => aircraft.surfaces.iter().position(drives).ok_or_else(|| {
            Problem::new(format!("servo {} drives no surface", arguments.tag)).hint(
                "name it as the servo of the [[surface]] that it is for, in the aircraft file",
            )
        })?,
    };
    Ok(Place {
        aircraft: aircraft.with_one_servo(surface_index, own),
        surface_index,
        is_second: aircraft.surfaces[surface_index].servo_index != own,
    })
}

/// Judges, shows and draws; the exit status.
fn shown(
    arguments: &Arguments,
    place: &Place,
    recordings: &[(String, Recording)],
) -> Result<u8, Problem> {
    let aircraft = &place.aircraft;
    let surface = &aircraft.surfaces[place.surface_index];
    let tag = &aircraft.servos[surface.servo_index].tag;
    let all: Vec<&Recording> = recordings.iter().map(|r| &r.1).collect();
    let tested = servo::tested(&all, aircraft, surface);
    let of = servo_of(tag, aircraft, surface);
    let judged = Judged::new(judge_servo(&tested, of));
    let files: Vec<String> = recordings.iter().map(|r| r.0.clone()).collect();
    let notes: Vec<String> = recordings.iter().flat_map(|r| notes(r, tag)).collect();
    let test = ServoTest {
        aircraft: &aircraft.name,
        tag,
        kind: of.kind,
        surface: &surface.name,
        files: &files,
        tested: &tested,
        judged: &judged,
        notes: &notes,
    };
    print(arguments.json, &test)?;
    if let Some(file) = &arguments.plot {
        draw(file, &test)?;
    }
    Ok(show::status(judged.verdict))
}

/// What a reader should know of a recording.
fn notes((file, recording): &(String, Recording), tag: &str) -> Vec<String> {
    let mut notes = Vec::new();
    if let Some(why) = recording.unfinished() {
        notes.push(format!("{file} is of an unfinished run: {why}."));
    }
    if let Some(own) = recording
        .key("servo")
        .filter(|own| !own.eq_ignore_ascii_case(tag))
    {
        notes.push(format!(
            "{file} says it is of servo {own}; judged as {tag}, as told."
        ));
    }
    if recording.gone() > 0 {
        let (gone, samples) = (recording.gone(), recording.samples);
        notes.push(format!("{file}: {gone} samples were lost, {samples} came."));
    }
    notes
}

fn print(as_json: bool, test: &ServoTest<'_>) -> Result<(), Problem> {
    let told = if as_json {
        let mut out = io::stdout().lock();
        writeln!(out, "{}", json::line(test)).and_then(|()| out.flush())
    } else {
        let mut out = anstream::stdout().lock();
        let text = text::servo(test, show::terminal_width());
        write!(out, "{text}").and_then(|()| out.flush())
    };
    match told {
        // A reader that has seen enough is no fault of ours.
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Problem::new(format!(
            "the result could not be written: {error}"
        ))),
        _ => Ok(()),
    }
}

fn draw(file: &Path, test: &ServoTest<'_>) -> Result<(), Problem> {
    if picture(file, "--plot")? == Picture::Png {
        plot::servo_png(file, test)?;
    } else {
        write_whole(file, plot::servo_svg(test).as_bytes())?;
    }
    told_aside(file);
    Ok(())
}
