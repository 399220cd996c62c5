//! `linkage`: what the push rods do along their throws, and what other holes would do.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::{complain, number_between, show};
use crate::aircraft::{self, Aircraft};
use crate::analysis::{Measured, measure};
use crate::assess::{choices, find_surface, surface_of};
use crate::linkage::look::{Given, look};
use crate::logbook::{AIRCRAFT_FILE, Logbook, RECORDINGS, RESULTS, write_whole};
use crate::problem::{Problem, exit};
use crate::recording::{self, Recording, purpose};
use crate::report::linkage::{Looked, json, text};
use crate::report::plot;
use crate::units::TorqueUnit;

#[derive(Args)]
#[command(
    after_help = "Exit status: 0 nothing found, 1 a throw out of reach, a dead point near, or lengths that do not go with the recording, 2 an \
                  argument or a file could not be used.\n\n\
                  Example:\n  hingewright linkage --logbook dunlin --surface \"left elevator\" --arm-holes 12,15,18 --horn-holes 20,22,25 --plot rod.svg"
)]
pub struct Arguments {
    /// Sweeps with arm angle (or pulse) and surface angle, to fit the lengths to; of several of one surface the last counts
    #[arg(value_name = "RECORDING")]
    recordings: Vec<PathBuf>,
    /// The same, as other commands name them
    #[arg(long, value_name = "RECORDING", num_args = 1..)]
    from: Vec<PathBuf>,
    /// The aircraft file (aircraft.toml)
    #[arg(long, value_name = "FILE", required_unless_present = "logbook")]
    aircraft: Option<PathBuf>,
    /// Instead of it and of recordings: a logbook's folder, with each surface's latest sweep
    #[arg(long, value_name = "DIR", conflicts_with_all = ["aircraft", "recordings", "from"])]
    logbook: Option<PathBuf>,
    /// This surface alone
    #[arg(long, value_name = "NAME")]
    surface: Option<String>,
    /// Holes of the arm to try: shaft to hole, mm, with commas between
    #[arg(long, value_name = "MM,…", value_delimiter = ',', value_parser = number_between::<1, 300>)]
    arm_holes: Vec<f64>,
    /// Holes of the horn to try: hinge line to hole, mm
    #[arg(long, value_name = "MM,…", value_delimiter = ',', value_parser = number_between::<1, 300>)]
    horn_holes: Vec<f64>,
    /// How far the servo's arm turns from neutral either way, degrees, instead of what its pulses give
    #[arg(long, value_name = "DEG", value_parser = number_between::<1, 170>)]
    servo_travel: Option<f64>,
    /// One JSON object, in N·cm whatever --units says
    #[arg(long)]
    json: bool,
    /// Draw one surface's linkage into FILE, an SVG or (by its ending) a PNG
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Unit of torque in what is shown: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
}

pub fn run(arguments: &Arguments) -> u8 {
    match linkage(arguments) {
        Ok(status) => status,
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

/// A surface's sweep: the name to show, what came in, what was measured.
struct Sweep {
    name: String,
    recording: Recording,
    measured: Measured,
}

fn linkage(arguments: &Arguments) -> Result<u8, Problem> {
    let logbook = arguments.logbook.as_ref().map(Logbook::open).transpose()?;
    let aircraft = match (&logbook, &arguments.aircraft) {
        (Some(logbook), _) => logbook.aircraft().clone(),
        (None, Some(file)) => aircraft::read_path(file)?,
        (None, None) => return Err(Problem::new("neither --aircraft nor --logbook was given")),
    };
    let wanted = wanted(arguments, &aircraft)?;
    spare_the_inputs(arguments, logbook.as_ref(), &wanted)?;
    let mut sweeps = match &logbook {
        Some(logbook) => latest(logbook, &wanted)?,
        None => named(arguments, &aircraft)?,
    };
    let given = Given {
        arm_holes_mm: arguments.arm_holes.clone(),
        horn_holes_mm: arguments.horn_holes.clone(),
        servo_travel_deg: arguments.servo_travel,
    };
    let (mut looked, mut without) = (Vec::new(), Vec::new());
    for index in wanted {
        let surface = &aircraft.surfaces[index];
        let Some(linkage) = &surface.linkage else {
            without.push(surface.name.as_str());
            continue;
        };
        let sweep = sweeps[index].take();
        let seen = sweep.as_ref().map(|s| (&s.recording, &s.measured));
        looked.push(Looked {
            surface,
            look: look(&aircraft, surface, linkage, seen, &given),
            recording: sweep.map(|s| s.name),
        });
    }
    if looked.is_empty() {
        return Err(Problem::new(format!(
            "no [surface.linkage] is on file of {}",
            without.join(", ")
        ))
        .hint("measure arm_mm, horn_mm, rod_mm and base_mm and write them below the surface, in [surface.linkage]"));
    }
    print(arguments, &looked, &without)?;
    if let Some(file) = &arguments.plot {
        draw(file, &looked[0], arguments.units)?;
    }
    let found = looked.iter().any(|l| !l.look.findings.is_empty());
    Ok(if found { exit::FOUND } else { exit::NO_FAULT })
}

/// Indices of the surfaces to look at.
fn wanted(arguments: &Arguments, aircraft: &Aircraft) -> Result<Vec<usize>, Problem> {
    let Some(name) = &arguments.surface else {
        return Ok((0..aircraft.surfaces.len()).collect());
    };
    let index = find_surface(name, aircraft).map_err(|_| {
        Problem::new(format!("the aircraft has no surface \"{name}\""))
            .hint(format!("name one of {}", choices(aircraft)))
    })?;
    Ok(vec![index])
}

/// The recordings named, by surface.
fn named(arguments: &Arguments, aircraft: &Aircraft) -> Result<Vec<Option<Sweep>>, Problem> {
    let mut sweeps: Vec<Option<Sweep>> = aircraft.surfaces.iter().map(|_| None).collect();
    for path in arguments.recordings.iter().chain(&arguments.from) {
        let recording = recording::read_path(path)?;
        let name = path.display().to_string();
        let index = surface_of(&recording, &name, arguments.surface.as_deref(), aircraft)?;
        sweeps[index] = Some(sweep(name, recording, aircraft, index));
    }
    Ok(sweeps)
}

/// The latest sweep of every wanted surface. One that cannot be read is told and passed over.
fn latest(logbook: &Logbook, wanted: &[usize]) -> Result<Vec<Option<Sweep>>, Problem> {
    let aircraft = logbook.aircraft();
    let mut sweeps: Vec<Option<Sweep>> = aircraft.surfaces.iter().map(|_| None).collect();
    // Names stand in the order of surface and time: later ones go over earlier ones.
    for path in logbook.recordings()? {
        let (index, recording) = match logbook.read(&path) {
            Ok(read) => read,
            Err(problem) => {
                complain(&problem);
                continue;
            }
        };
        if !wanted.contains(&index) || !purpose::is_sweep(recording.key("purpose")) {
            continue;
        }
        let earlier = |s: &Sweep| s.recording.started() <= recording.started();
        if sweeps[index].as_ref().is_none_or(earlier) {
            let name = path.strip_prefix(logbook.root()).unwrap_or(&path);
            sweeps[index] = Some(sweep(
                name.display().to_string(),
                recording,
                aircraft,
                index,
            ));
        }
    }
    Ok(sweeps)
}

fn sweep(name: String, recording: Recording, aircraft: &Aircraft, index: usize) -> Sweep {
    let measured = measure(&recording, aircraft, &aircraft.surfaces[index]);
    Sweep {
        name,
        recording,
        measured,
    }
}

fn print(arguments: &Arguments, looked: &[Looked<'_>], without: &[&str]) -> Result<(), Problem> {
    let told = if arguments.json {
        let mut out = io::stdout().lock();
        writeln!(out, "{}", json::line(looked)).and_then(|()| out.flush())
    } else {
        let mut out = anstream::stdout().lock();
        let text = text::linkages(looked, without, arguments.units, show::terminal_width());
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

/// A picture is of one surface, and never written over what was measured or over the aircraft file.
fn spare_the_inputs(
    arguments: &Arguments,
    logbook: Option<&Logbook>,
    wanted: &[usize],
) -> Result<(), Problem> {
    let Some(file) = &arguments.plot else {
        return Ok(());
    };
    if wanted.len() > 1 {
        return Err(
            Problem::new("--plot draws one surface, and there are several")
                .hint("say which with --surface NAME"),
        );
    }
    let real = |path: &Path| path.canonicalize().ok();
    let folder = file.parent().filter(|p| *p != Path::new(""));
    let folder = real(folder.unwrap_or(Path::new(".")));
    let target = folder
        .as_ref()
        .zip(file.file_name())
        .map(|(f, n)| f.join(n));
    let recordings = arguments.recordings.iter().chain(&arguments.from);
    let inputs = recordings.chain(&arguments.aircraft);
    let over_input = inputs.filter_map(|p| real(p)).any(|p| Some(p) == target);
    let root = logbook.and_then(|l| real(l.root()));
    let within = |root: PathBuf| {
        let kept = [RECORDINGS, RESULTS].map(|f| root.join(f));
        let inside = |f: &PathBuf| kept.iter().any(|k| f.starts_with(k));
        folder.as_ref().is_some_and(inside) || target == Some(root.join(AIRCRAFT_FILE))
    };
    if over_input || root.is_some_and(within) {
        return Err(Problem::new(format!(
            "{}: the picture would stand over or among what was measured",
            file.display()
        ))
        .hint("give --plot another name, for instance rod.svg"));
    }
    Ok(())
}

fn draw(file: &Path, looked: &Looked<'_>, unit: TorqueUnit) -> Result<(), Problem> {
    let ending = file.extension();
    if ending.is_some_and(|e| e.eq_ignore_ascii_case("png")) {
        plot::linkage_png(file, looked, unit)?;
    } else {
        write_whole(file, plot::linkage_svg(looked, unit).as_bytes())?;
    }
    let whole = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    // Standard output may be JSON.
    let _ = writeln!(io::stderr(), "written: {}", whole.display());
    Ok(())
}
