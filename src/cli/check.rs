//! `check`: recordings in, verdicts out.

use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use rayon::prelude::*;

use super::{complain, show};
use crate::aircraft::{self, Aircraft};
use crate::assess::{Assessed, assess, pair_up, surface_of};
use crate::problem::{Problem, exit};
use crate::recording;
use crate::report::{Checked, html, json, plot};
use crate::units::TorqueUnit;
use crate::verdict::Verdict;

/// From this many recordings on, a progress bar is shown on a terminal.
const MANY: usize = 20;

#[derive(Args)]
#[command(
    after_help = "Example:\n  hingewright check samples/*.log --aircraft samples/aircraft.toml --report check.html"
)]
pub struct Arguments {
    /// Recordings: captures of the rig's link, or CSV
    #[arg(required = true, value_name = "RECORDING")]
    recordings: Vec<PathBuf>,
    /// The aircraft file (aircraft.toml)
    #[arg(long, value_name = "FILE")]
    aircraft: PathBuf,
    /// Which surface the recordings are of, instead of what they say themselves
    #[arg(long, value_name = "NAME")]
    surface: Option<String>,
    /// One JSON object a recording and line, in N·cm whatever --units says
    #[arg(long)]
    json: bool,
    /// Unit of torque in what is shown: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
    /// Write a self-contained HTML report to FILE
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Write the plots of every recording into FOLDER, as SVG and PNG
    #[arg(long, value_name = "FOLDER")]
    plots: Option<PathBuf>,
}

pub fn run(arguments: &Arguments) -> u8 {
    let aircraft = match aircraft::read_path(&arguments.aircraft) {
        Ok(aircraft) => aircraft,
        Err(problem) => {
            complain(&problem);
            return exit::UNUSABLE;
        }
    };
    if let Err(problem) = spare_the_inputs(arguments) {
        complain(&problem);
        return exit::UNUSABLE;
    }
    let mut status = exit::NO_FAULT;
    let mut done: Vec<Assessed> = Vec::new();
    for result in all(arguments, &aircraft) {
        match result {
            Ok(one) => done.push(one),
            Err(problem) => {
                complain(&problem);
                status = exit::UNUSABLE;
            }
        }
    }
    pair_up(&aircraft, &mut done);
    if status == exit::NO_FAULT
        && done
            .iter()
            .any(|d| d.judged.verdict != Verdict::NoFaultFound)
    {
        status = exit::FOUND;
    }
    let checked: Vec<Checked> = done
        .into_iter()
        .map(|one| Checked::of(&aircraft, one))
        .collect();
    if let Err(error) = print(arguments, &checked) {
        // A reader that has seen enough is no fault of ours.
        if error.kind() != io::ErrorKind::BrokenPipe {
            complain(&Problem::new(format!(
                "the result could not be written: {error}"
            )));
            status = exit::UNUSABLE;
        }
    }
    if let Err(problem) = write_files(arguments, &checked) {
        complain(&problem);
        status = exit::UNUSABLE;
    }
    status
}

/// A report is never written over what was measured or over the aircraft file.
fn spare_the_inputs(arguments: &Arguments) -> Result<(), Problem> {
    let Some(report) = &arguments.report else {
        return Ok(());
    };
    // A file that is not there yet has no real path, and is nobody's input.
    let Ok(target) = report.canonicalize() else {
        return Ok(());
    };
    let mut inputs = arguments.recordings.iter().chain([&arguments.aircraft]);
    if inputs.any(|i| i.canonicalize().is_ok_and(|i| i == target)) {
        return Err(Problem::new(format!(
            "{}: the report would be written over a file that is read here",
            report.display()
        ))
        .hint("give --report another name, for instance check.html"));
    }
    Ok(())
}

/// All recordings, side by side, in the order named.
fn all(arguments: &Arguments, aircraft: &Aircraft) -> Vec<Result<Assessed, Problem>> {
    let many = arguments.recordings.len() >= MANY && io::stderr().is_terminal();
    let bar = if many {
        indicatif::ProgressBar::new(arguments.recordings.len() as u64)
    } else {
        indicatif::ProgressBar::hidden()
    };
    let results = arguments
        .recordings
        .par_iter()
        .map(|path| {
            let result = one(path, arguments, aircraft);
            bar.inc(1);
            result
        })
        .collect();
    bar.finish_and_clear();
    results
}

fn one(path: &Path, arguments: &Arguments, aircraft: &Aircraft) -> Result<Assessed, Problem> {
    let recording = recording::read_path(path)?;
    let file = path.display().to_string();
    let surface_index = surface_of(&recording, &file, arguments.surface.as_deref(), aircraft)?;
    let mut assessed = assess(recording, &file, aircraft, surface_index);
    if arguments.report.is_none() && arguments.plots.is_none() {
        assessed.measured.forget_pictures();
    }
    Ok(assessed)
}

fn print(arguments: &Arguments, checked: &[Checked]) -> io::Result<()> {
    if arguments.json {
        let mut out = io::stdout().lock();
        for one in checked {
            writeln!(out, "{}", json::line(one))?;
        }
        return out.flush();
    }
    show::all(checked, arguments.units)
}

fn write_files(arguments: &Arguments, checked: &[Checked]) -> Result<(), Problem> {
    if checked.is_empty() {
        return Ok(());
    }
    if let Some(file) = &arguments.report {
        std::fs::write(file, html::page(checked, arguments.units)?)
            .map_err(|e| cannot_write(file, &e))?;
        said(file);
    }
    let Some(folder) = &arguments.plots else {
        return Ok(());
    };
    std::fs::create_dir_all(folder).map_err(|e| cannot_write(folder, &e))?;
    for (number, one) in checked.iter().enumerate() {
        let stem = Path::new(&one.recording.file)
            .file_stem()
            .map_or("recording".into(), |s| s.to_string_lossy());
        let path = |what: &str| folder.join(format!("{:02}-{stem}-{what}", number + 1));
        for (what, svg) in [
            ("curve.svg", plot::curve_svg(one, arguments.units, None)),
            ("time.svg", plot::traces_svg(one, arguments.units)),
        ] {
            let file = path(what);
            std::fs::write(&file, svg).map_err(|e| cannot_write(&file, &e))?;
            said(&file);
        }
        plot::curve_png(&path("curve.png"), one, arguments.units, None)?;
        said(&path("curve.png"));
        plot::traces_png(&path("time.png"), one, arguments.units)?;
        said(&path("time.png"));
    }
    Ok(())
}

fn cannot_write(path: &Path, error: &io::Error) -> Problem {
    Problem::new(format!("{}: could not be written: {error}", path.display()))
        .hint("name a file in a folder that you may write to, on a disk with space left")
}

/// Says the whole path of a file written, on standard error: standard output may be JSON.
fn said(path: &Path) {
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let _ = writeln!(io::stderr(), "written: {}", whole.display());
}
