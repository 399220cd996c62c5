//! `season`: health and trends over a logbook's recordings, or several logbooks at a glance.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;

use super::{complain, show};
use crate::history::season::{Event, Level, Subject, season};
use crate::logbook::{Logbook, Story, glance};
use crate::problem::{Problem, exit};
use crate::report::season_json::{self, Recordings, Whence};
use crate::report::season_text;
use crate::units::TorqueUnit;

#[derive(Args)]
#[command(
    after_help = "Examples:\n  hingewright season --logbook dunlin\n  hingewright season --all-in club\n\n\
                  Exit status: 0 nothing to act on, 1 something to act on, 2 something could not be used (it is named, the rest is shown)."
)]
pub struct Arguments {
    /// The logbook's folder
    #[arg(long, value_name = "DIR", required_unless_present = "all_in")]
    logbook: Option<PathBuf>,
    /// All logbooks in a folder at a glance: counts, medians, latest values and how far they have moved
    #[arg(long, value_name = "DIR", conflicts_with = "logbook")]
    all_in: Option<PathBuf>,
    /// One JSON object instead of text
    #[arg(long)]
    json: bool,
    /// Unit of torque in text: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
}

pub fn run(arguments: &Arguments) -> u8 {
    let told = match (&arguments.logbook, &arguments.all_in) {
        (Some(folder), _) => of_one(arguments, folder),
        (None, Some(folder)) => of_all(arguments, folder),
        (None, None) => Err(Problem::new("no logbook is named").hint("give --logbook DIR")),
    };
    let (text, status) = match told {
        Ok(told) => told,
        Err(problem) => {
            complain(&problem);
            return exit::UNUSABLE;
        }
    };
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            complain(&Problem::new(format!(
                "standard output could not be written: {error}"
            )));
            exit::UNUSABLE
        }
        _ => status,
    }
}

fn of_one(arguments: &Arguments, folder: &Path) -> Result<(String, u8), Problem> {
    let logbook = Logbook::open(folder)?;
    let story = logbook.story(jiff::Timestamp::now())?;
    let (notes, damaged) = logbook.notes()?;
    let events: Vec<Event> = notes.iter().filter_map(|note| note.event()).collect();
    let subjects = season(&story.readings, &events, &logbook.aircraft().limits);
    let problems: Vec<&Problem> = story.problems.iter().chain(&damaged).collect();
    for problem in &problems {
        complain(problem);
    }
    let whence = whence(&logbook, &story, &problems);
    let text = match arguments.json {
        true => season_json::season(&whence, &subjects) + "\n",
        false => {
            let width = show::terminal_width();
            season_text::season(&whence, &subjects, arguments.units, width)
        }
    };
    Ok((text, status(&subjects, problems.is_empty())))
}

fn status(subjects: &[Subject], all_used: bool) -> u8 {
    if !all_used {
        exit::UNUSABLE
    } else if subjects.iter().any(|s| s.level() == Level::Act) {
        exit::FOUND
    } else {
        exit::NO_FAULT
    }
}

fn whence(logbook: &Logbook, story: &Story, problems: &[&Problem]) -> Whence {
    let left_out = &story.left_out;
    let mut remarks = logbook.remarks(story, problems);
    if story.readings.is_empty() {
        remarks.push("No finished recording to look at: sweep a surface, or recheck.".into());
    }
    Whence {
        aircraft: logbook.aircraft().name.clone(),
        logbook: logbook.root().display().to_string(),
        recordings: Recordings {
            used: story.readings.len(),
            unfinished: left_out.unfinished,
            worked_in: left_out.worked_in,
            without_value: left_out.without_value,
            without_time: left_out.without_time,
            in_the_future: left_out.in_the_future.len(),
            of_other_aircraft: left_out.other_aircraft.values().sum(),
            unusable_results: story.problems.len(),
        },
        remarks,
    }
}

fn of_all(arguments: &Arguments, folder: &Path) -> Result<(String, u8), Problem> {
    let (glances, problems) = glance(folder)?;
    problems.iter().for_each(complain);
    let status = match problems.is_empty() {
        true => exit::NO_FAULT,
        false => exit::UNUSABLE,
    };
    if !arguments.json {
        let width = show::terminal_width();
        return Ok((
            season_text::glance(&glances, arguments.units, width),
            status,
        ));
    }
    let rows: Vec<_> = glances
        .iter()
        .map(|one| {
            json!({
                "aircraft": one.aircraft, "surface": one.surface, "quantity": one.measure.column(),
                "count": one.count, "median": one.median, "latest": one.latest, "change": one.change,
            })
        })
        .collect();
    let object = json!({"schema": "hingewright.seasons/1", "surfaces": rows});
    Ok((format!("{object}\n"), status))
}
