//! `prove`: two recordings of a surface, before and after a fix, held against each other.

use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;

use super::files::{Picture, picture, print, print_raw, spare_the_logbook, told_aside};
use super::{complain, show};
use crate::assess::{Assessed, surface_named};
use crate::history::compare::{Earlier, Outcome, compare};
use crate::logbook::{Logbook, Repeat, write_whole};
use crate::problem::{Problem, exit};
use crate::report::prove::{Proved, json, text};
use crate::report::{Checked, plot};
use crate::units::TorqueUnit;

#[derive(Args)]
#[command(
    after_help = "Exit status: 0 the two were compared and nothing got worse, 1 something got worse or nothing could be compared, 2 an \
                  argument, the logbook or a recording could not be used.\n\n\
                  Example:\n  hingewright prove \"left elevator\" --logbook dunlin --before left-elevator-20260402-101500 --after left-elevator-20260402-114000 --plot pair.svg"
)]
pub struct Arguments {
    /// The surface, by its name in the aircraft file
    surface: String,
    /// The logbook's folder
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
    /// The recording before the fix: its file name in the logbook, with or without its ending
    #[arg(long, value_name = "ID")]
    before: String,
    /// The recording after the fix
    #[arg(long, value_name = "ID")]
    after: String,
    /// One JSON object, in N·cm whatever --units says
    #[arg(long)]
    json: bool,
    /// Draw both curves into FILE, an SVG or (by its ending) a PNG
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Unit of torque in what is shown: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
}

pub fn run(arguments: &Arguments) -> u8 {
    match prove(arguments) {
        Ok(status) => status,
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

fn prove(arguments: &Arguments) -> Result<u8, Problem> {
    let logbook = Logbook::open(&arguments.logbook)?;
    let aircraft = logbook.aircraft();
    let surface_index = surface_named(&arguments.surface, aircraft)?;
    let picture = match &arguments.plot {
        Some(file) => {
            let kind = picture(file, "--plot")?;
            spare_the_logbook(&logbook, file, "the picture", "--plot")?;
            Some((file.as_path(), kind))
        }
        None => None,
    };
    let (before_path, after_path) = (
        logbook.recording_by_id(&arguments.before)?,
        logbook.recording_by_id(&arguments.after)?,
    );
    if before_path == after_path {
        return Err(Problem::new(format!(
            "{}: before and after are the same recording",
            before_path.display()
        ))
        .hint("sweep the surface once more, and name that recording with --after"));
    }
    own_and_twice(&logbook, &before_path, &after_path)?;
    let before = of_surface(&logbook, &before_path, surface_index)?;
    let after = of_surface(&logbook, &after_path, surface_index)?;
    let repeats = logbook.repeats_before(&before_path)?;
    let (before, after) = (Checked::of(aircraft, before), Checked::of(aircraft, after));
    let repeats: Vec<Earlier> = repeats.iter().map(Repeat::earlier).collect();
    let mut proof = compare(after.surface, &before.side(), &after.side(), &repeats);
    proof.mind_the_future(&before.side(), &after.side(), Timestamp::now());
    let proved = Proved {
        before: &before,
        after: &after,
        proof: &proof,
    };
    shown(arguments, &proved)?;
    if let Some(picture) = picture {
        draw(picture, &before, &after, arguments.units)?;
    }
    Ok(match proof.outcome {
        Outcome::Better | Outcome::NoChangeShown => exit::NO_FAULT,
        Outcome::Worse | Outcome::NothingComparable => exit::FOUND,
    })
}

/// Refuses what a season leaves out too: another aircraft's recording, and one side that is the other byte for byte.
fn own_and_twice(logbook: &Logbook, before: &Path, after: &Path) -> Result<(), Problem> {
    let sorted = logbook.sorted()?;
    let sides = [before, after];
    if let Some(foreign) = sorted
        .foreign
        .iter()
        .find(|f| sides.contains(&f.path.as_path()))
    {
        let aircraft = &logbook.aircraft().name;
        return Err(Problem::new(format!(
            "{}: this recording says that it is of \"{}\", and this logbook is of \"{aircraft}\"",
            foreign.path.display(),
            foreign.aircraft
        ))
        .hint(
            "name one of this aircraft's, or take it to that aircraft's logbook; where this aircraft was called so once, put \
             `was = [\"its old name\"]` under [aircraft] in aircraft.toml",
        ));
    }
    let original = |side: &Path| {
        let copy = sorted.copies.iter().find(|copy| copy.path == side);
        copy.map_or(side.to_owned(), |copy| copy.of.clone())
    };
    if original(before) == original(after) {
        return Err(Problem::new(format!(
            "{} and {} are the same byte for byte: one is a copy of the other",
            before.display(),
            after.display()
        ))
        .hint("sweep the surface once more, and name that recording with --after"));
    }
    Ok(())
}

fn of_surface(logbook: &Logbook, path: &Path, surface_index: usize) -> Result<Assessed, Problem> {
    let assessed = logbook.assess(path)?;
    if assessed.surface_index == surface_index {
        return Ok(assessed);
    }
    let surface = &logbook.aircraft().surfaces[surface_index];
    Err(Problem::new(format!(
        "{}: this recording is of the {}, not of the {}",
        path.display(),
        assessed.summary.surface,
        surface.name
    ))
    .hint("name two recordings of one surface"))
}

fn shown(arguments: &Arguments, proved: &Proved<'_>) -> Result<(), Problem> {
    match arguments.json {
        true => print_raw(&(json::line(proved) + "\n")),
        false => print(&text::proof(
            proved,
            arguments.units,
            show::terminal_width(),
        )),
    }
}

fn draw(
    (file, kind): (&Path, Picture),
    before: &Checked<'_>,
    after: &Checked<'_>,
    unit: TorqueUnit,
) -> Result<(), Problem> {
    match kind {
        Picture::Png => plot::pair_png(file, before, after, unit)?,
        Picture::Svg => write_whole(file, plot::pair_svg(before, after, unit).as_bytes())?,
    }
    told_aside(file);
    Ok(())
}
