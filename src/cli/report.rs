//! `report`: the page over a logbook, and its print.

mod pdf;

use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use rayon::prelude::*;

use super::files::{print_raw, spare_the_logbook, told, told_aside};
use super::{complain, report_csv};
use crate::assess::{Assessed, pair_up};
use crate::logbook::{Logbook, RECORDINGS, write_whole};
use crate::problem::{Problem, exit};
use crate::report::{Checked, aircraft_page, html};
use crate::units::TorqueUnit;

/// The page's name in a logbook.
const PAGE: &str = "report.html";
const STDOUT: &str = "-";

#[derive(Args)]
#[command(
    after_help = "The first page is for the field: it prints on one sheet, with a line to sign. Then a chapter for each surface, the \
                  servos' records, and how to read the numbers.\n\n\
                  --pdf prints with a Chromium that is on the PATH (chromium, chromium-browser, google-chrome, chrome), or with the one \
                  that the environment variable HINGEWRIGHT_BROWSER names.\n\n\
                  Exit status: 0 all is written, 2 something could not be used or written (the rest is written all the same).\n\n\
                  Examples:\n  hingewright report --logbook dunlin\n  hingewright report --logbook dunlin --pdf"
)]
pub struct Arguments {
    /// The logbook's folder
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
    /// Write the page to FILE instead of report.html in the logbook; - is standard output
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,
    /// Print the page to FILE too; without FILE to report.pdf beside the page
    #[arg(long, value_name = "FILE", num_args = 0..=1)]
    pdf: Option<Option<PathBuf>>,
    /// So long the browser may take to print, seconds
    #[arg(long, value_name = "S", default_value_t = 60, requires = "pdf", value_parser = clap::value_parser!(u64).range(1..=3600))]
    pdf_seconds: u64,
    /// Write every table of the report as CSV into FOLDER too
    #[arg(long, value_name = "FOLDER", conflicts_with = "all")]
    csv: Option<PathBuf>,
    /// Instead of all that, a plain list: every recording one after the other, unfinished ones too, without what they say
    /// together
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

/// Writes the report of a logbook's aircraft to its usual place, which is given back.
pub fn write_book(logbook: &Logbook, unit: TorqueUnit) -> Result<PathBuf, Problem> {
    let (book, problems) = logbook.book(jiff::Timestamp::now())?;
    problems.iter().for_each(complain);
    let file = logbook.root().join(PAGE);
    write_whole(&file, aircraft_page::page(&book, unit)?.as_bytes())?;
    Ok(file)
}

/// Writes the page and its print; what could not be used, and why.
fn report(arguments: &Arguments) -> Result<Vec<Problem>, Problem> {
    let logbook = Logbook::open(&arguments.logbook)?;
    let file = match &arguments.into {
        Some(file) => file.clone(),
        None => logbook.root().join(PAGE),
    };
    let print = arguments.pdf.as_ref().map(|named| match named {
        Some(named) => named.clone(),
        None if file == Path::new(STDOUT) => logbook.root().join(PAGE).with_extension("pdf"),
        None => file.with_extension("pdf"),
    });
    spare_the_logbook(&logbook, &file, "the report", "--into")?;
    if let Some(print) = &print {
        spare_the_logbook(&logbook, print, "the report", "--pdf")?;
        if *print == file || print == Path::new(STDOUT) {
            return Err(Problem::new(format!(
                "{}: the print would stand in the page's place",
                print.display()
            ))
            .hint("give --pdf a name of its own, for instance report.pdf"));
        }
    }
    let (page, mut problems) = match arguments.all {
        true => every_recording(&logbook, arguments.units),
        false => of_the_aircraft(&logbook, arguments),
    }?;
    write(&file, &page)?;
    if let Some(print) = &print {
        let within = Duration::from_secs(arguments.pdf_seconds);
        match pdf::print(&page, print, within) {
            // The page itself may be on standard output.
            Ok(()) if file == Path::new(STDOUT) => told_aside(print),
            Ok(()) => told(print, &mut io::stdout())?,
            Err(problem) => problems.push(problem),
        }
    }
    Ok(problems)
}

fn of_the_aircraft(
    logbook: &Logbook,
    arguments: &Arguments,
) -> Result<(String, Vec<Problem>), Problem> {
    let (book, problems) = logbook.book(jiff::Timestamp::now())?;
    let any = |c: &crate::report::book::Chapter<'_>| {
        c.latest.is_some() || c.worked_in.is_some() || c.record.is_some()
    };
    if !book.surfaces.iter().any(any) {
        problems.iter().for_each(complain);
        return Err(nothing_to_report(logbook));
    }
    if let Some(folder) = &arguments.csv {
        // The page itself may go to standard output.
        match arguments.into.as_deref() == Some(Path::new(STDOUT)) {
            true => report_csv::write_tables(&book, folder, logbook, &mut io::stderr()),
            false => report_csv::write_tables(&book, folder, logbook, &mut io::stdout()),
        }?;
    }
    Ok((aircraft_page::page(&book, arguments.units)?, problems))
}

fn every_recording(logbook: &Logbook, unit: TorqueUnit) -> Result<(String, Vec<Problem>), Problem> {
    let paths = logbook.sorted()?.own;
    let read: Vec<_> = paths.par_iter().map(|p| logbook.assess(p)).collect();
    let (mut assessed, mut problems): (Vec<Assessed>, _) = (Vec::new(), Vec::new());
    for one in read {
        match one {
            Ok(one) => assessed.push(one),
            Err(problem) => problems.push(problem),
        }
    }
    if assessed.is_empty() {
        problems.iter().for_each(complain);
        return Err(nothing_to_report(logbook));
    }
    pair_up(logbook.aircraft(), &mut assessed);
    let assessed = assessed.into_iter();
    let checked: Vec<Checked> = assessed
        .map(|one| Checked::of(logbook.aircraft(), one))
        .collect();
    Ok((html::page(&checked, unit)?, problems))
}

fn nothing_to_report(logbook: &Logbook) -> Problem {
    Problem::new(format!(
        "{}: no finished recording to report on",
        logbook.root().join(RECORDINGS).display()
    ))
    .hint("sweep a surface, or put recordings there; --all takes unfinished ones too")
}

fn write(file: &Path, page: &str) -> Result<(), Problem> {
    if file == Path::new(STDOUT) {
        return print_raw(page);
    }
    write_whole(file, page.as_bytes())?;
    told(file, &mut io::stdout())
}
