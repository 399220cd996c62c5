//! `report`: the page over a logbook.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use rayon::prelude::*;

use super::complain;
use crate::assess::{Assessed, pair_up};
use crate::logbook::{AIRCRAFT_FILE, Logbook, RECORDINGS, RESULTS, write_whole};
use crate::problem::{Problem, exit};
use crate::recording::purpose::is_sweep;
use crate::report::{Checked, html};
use crate::units::TorqueUnit;

#[derive(Args)]
#[command(after_help = "Example:\n  hingewright report --logbook dunlin")]
pub struct Arguments {
    /// The logbook's folder
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
    /// Write the page to FILE instead of report.html in the logbook; - is standard output
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,
    /// All recordings, unfinished ones too, instead of the latest finished one of each surface
    #[arg(long)]
    all: bool,
    /// Unit of torque in what is shown: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
}

pub fn run(arguments: &Arguments) -> u8 {
    match report(arguments) {
        Ok(problems) if problems.is_empty() => exit::NO_FAULT,
        Ok(problems) => {
            problems.iter().for_each(complain);
            exit::UNUSABLE
        }
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

/// Writes the page over recordings of a logbook to its usual place, which is given back.
pub fn page(logbook: &Logbook, checked: &[Checked], unit: TorqueUnit) -> Result<PathBuf, Problem> {
    let file = logbook.root().join("report.html");
    write_whole(&file, html::page(checked, unit)?.as_bytes())?;
    Ok(file)
}

/// Writes the page; the recordings that could not be used, and why.
fn report(arguments: &Arguments) -> Result<Vec<Problem>, Problem> {
    let logbook = Logbook::open(&arguments.logbook)?;
    let file = match &arguments.into {
        Some(file) => file.clone(),
        None => logbook.root().join("report.html"),
    };
    spare_the_logbook(&logbook, &file)?;
    let paths = logbook.recordings()?;
    let mut problems = Vec::new();
    let chosen = if arguments.all {
        paths
    } else {
        latest(&logbook, &paths, &mut problems)
    };
    let read: Vec<_> = chosen.par_iter().map(|p| logbook.assess(p)).collect();
    let mut assessed: Vec<Assessed> = Vec::new();
    for one in read {
        match one {
            Ok(one) => assessed.push(one),
            Err(problem) => problems.push(problem),
        }
    }
    if assessed.is_empty() {
        problems.iter().for_each(complain);
        return Err(nothing_to_report(&logbook));
    }
    pair_up(logbook.aircraft(), &mut assessed);
    let checked: Vec<Checked> = assessed
        .into_iter()
        .map(|one| Checked::of(logbook.aircraft(), one))
        .collect();
    write(&file, &html::page(&checked, arguments.units)?)?;
    Ok(problems)
}

/// The latest finished recording of each surface, in the order of the aircraft file: by the time when it began, and
/// by name where it does not say.
pub(super) fn latest(
    logbook: &Logbook,
    paths: &[PathBuf],
    problems: &mut Vec<Problem>,
) -> Vec<PathBuf> {
    let read: Vec<_> = paths.par_iter().map(|path| logbook.read(path)).collect();
    let surfaces = logbook.aircraft().surfaces.len();
    let mut found: Vec<Option<(Option<jiff::Timestamp>, &PathBuf)>> = vec![None; surfaces];
    for (path, result) in paths.iter().zip(read) {
        match result {
            Ok((_, recording)) if recording.unfinished().is_some() => {}
            // A hinge worked in is not taken to its throws in every stage.
            Ok((_, recording)) if !is_sweep(recording.key("purpose")) => {}
            Ok((surface, recording)) => {
                let this = Some((recording.started(), path));
                found[surface] = found[surface].max(this);
            }
            Err(problem) => problems.push(problem),
        }
    }
    found
        .into_iter()
        .flatten()
        .map(|(_, p)| p.clone())
        .collect()
}

/// A report is never written over what was measured or over the aircraft file.
fn spare_the_logbook(logbook: &Logbook, file: &Path) -> Result<(), Problem> {
    let folder = file.parent().filter(|p| *p != Path::new(""));
    let real = folder.unwrap_or(Path::new(".")).canonicalize();
    let (Ok(folder), Ok(root)) = (real, logbook.root().canonicalize()) else {
        return Ok(());
    };
    let inside = [RECORDINGS, RESULTS].map(|f| root.join(f));
    let taken = folder == root && file.file_name().is_some_and(|n| n == AIRCRAFT_FILE)
        || inside.iter().any(|f| folder.starts_with(f));
    if taken {
        return Err(Problem::new(format!(
            "{}: the report would stand among the logbook's own files",
            file.display()
        ))
        .hint("give --into another name, for instance report.html"));
    }
    Ok(())
}

fn nothing_to_report(logbook: &Logbook) -> Problem {
    Problem::new(format!(
        "{}: no finished recording to report on",
        logbook.root().join(RECORDINGS).display()
    ))
    .hint("sweep a surface, or put recordings there; --all takes unfinished ones too")
}

fn write(file: &Path, page: &str) -> Result<(), Problem> {
    let mut out = io::stdout().lock();
    let told = if file == Path::new("-") {
        out.write_all(page.as_bytes()).and_then(|()| out.flush())
    } else {
        write_whole(file, page.as_bytes())?;
        let whole = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
        writeln!(out, "written: {}", whole.display())
    };
    match told {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Problem::new(format!(
            "standard output could not be written: {error}"
        ))),
        _ => Ok(()),
    }
}
