//! `supply`: all servos together on one supply, from a logbook or from recordings.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;
use rayon::prelude::*;

use super::{complain, show};
use crate::aircraft::{self, Aircraft};
use crate::assess::surface_of;
use crate::logbook::Logbook;
use crate::problem::{Problem, exit};
use crate::recording;
use crate::report::supply::{Supplied, findings, json, text, verdict};
use crate::supply::{Asked, Candidate, Picked, Seen, pick, work_out};
use crate::verdict::Verdict;

#[derive(Args)]
#[command(
    after_help = "Currents are of the latest believed sweep of each surface, leads of whichever recording of that day shows them best. For leads a rig needs \
                  source_v (at the supply's end of the lead) and supply_v (at the servo's plug). What feeds the servos stands in [supply] of aircraft.toml, what a \
                  lead is made of in [servo.lead]: length_mm, awg or area_mm2, connections.\n\n\
                  Exit status: 0 no fault found, 1 something found or unproven, 2 an argument, the aircraft file or a recording could not be used.\n\n\
                  Example:\n  hingewright supply --logbook dunlin --flight-min 6 --reserve 0.4"
)]
pub struct Arguments {
    /// Recordings instead of a logbook's, with --aircraft
    #[arg(value_name = "RECORDING", requires = "aircraft")]
    recordings: Vec<PathBuf>,
    /// The same, as other commands name them
    #[arg(long, value_name = "RECORDING", num_args = 1.., requires = "aircraft")]
    from: Vec<PathBuf>,
    /// The logbook's folder: aircraft and recordings are taken from it
    #[arg(long, value_name = "DIR", required_unless_present = "aircraft")]
    logbook: Option<PathBuf>,
    /// The aircraft file, for recordings that are in no logbook
    #[arg(long, value_name = "FILE", conflicts_with = "logbook")]
    aircraft: Option<PathBuf>,
    /// So many surfaces move at once, the worst of all, instead of what [supply] says
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    moving_at_once: Option<u16>,
    /// How long a flight is, min
    #[arg(long, value_name = "MIN", default_value_t = Asked::default().flight_min, value_parser = minutes)]
    flight_min: f64,
    /// The share of a flight in which a surface moves
    #[arg(long, value_name = "SHARE", default_value_t = Asked::default().moving_share, value_parser = share)]
    moving_share: f64,
    /// The share of a flight in which it rests near neutral; the rest of it is held
    #[arg(long, value_name = "SHARE", default_value_t = Asked::default().resting_share, value_parser = share)]
    resting_share: f64,
    /// What is drawn beyond rest is multiplied by this, for the air
    #[arg(long, value_name = "N", default_value_t = Asked::default().air_factor, value_parser = factor)]
    air_factor: f64,
    /// The share of a charge that is kept
    #[arg(long, value_name = "SHARE", default_value_t = Asked::default().reserve, value_parser = share)]
    reserve: f64,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

fn between(text: &str, low: f64, high: f64) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(number) if (low..=high).contains(&number) => Ok(number),
        _ => Err(format!("a number from {low} to {high} is wanted here")),
    }
}

fn minutes(text: &str) -> Result<f64, String> {
    between(text, 0.1, 600.0)
}

fn share(text: &str) -> Result<f64, String> {
    between(text, 0.0, 1.0)
}

fn factor(text: &str) -> Result<f64, String> {
    between(text, 0.1, 20.0)
}

pub fn run(arguments: &Arguments) -> u8 {
    match supply(arguments) {
        Ok(status) => status,
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

fn supply(arguments: &Arguments) -> Result<u8, Problem> {
    if arguments.moving_share + arguments.resting_share > 1.0 {
        return Err(Problem::new(format!(
            "--moving-share {} and --resting-share {} are more than the whole flight",
            arguments.moving_share, arguments.resting_share
        ))
        .hint("give two shares that are at most 1 together: what is left of it is held"));
    }
    let (aircraft, candidates, problems) = match (&arguments.logbook, &arguments.aircraft) {
        (Some(root), _) => {
            let logbook = Logbook::open(root)?;
            let (candidates, problems) = logbook.supply_candidates(Timestamp::now())?;
            (logbook.aircraft().clone(), candidates, problems)
        }
        (None, Some(file)) => {
            let aircraft = aircraft::read_path(file)?;
            let (candidates, problems) = of_files(
                &[&arguments.recordings[..], &arguments.from].concat(),
                &aircraft,
            );
            (aircraft, candidates, problems)
        }
        (None, None) => {
            return Err(Problem::new("no logbook is named")
                .hint("give --logbook DIR, or --aircraft FILE and recordings"));
        }
    };
    if let Some(moving) = arguments.moving_at_once
        && usize::from(moving) > aircraft.surfaces.len()
    {
        return Err(Problem::new(format!(
            "--moving-at-once {moving}: the aircraft has {} surfaces",
            aircraft.surfaces.len()
        ))
        .hint(format!(
            "give a number from 1 to {}, or leave it out: then all that go both ways do",
            aircraft.surfaces.len()
        )));
    }
    problems.iter().for_each(complain);
    let verdict = told(arguments, &aircraft, &candidates)?;
    Ok(match (problems.is_empty(), verdict) {
        (false, _) => exit::UNUSABLE,
        (true, Verdict::NoFaultFound) => exit::NO_FAULT,
        _ => exit::FOUND,
    })
}

fn of_files(paths: &[PathBuf], aircraft: &Aircraft) -> (Vec<Vec<Candidate>>, Vec<Problem>) {
    let read = |path: &PathBuf| of_file(path, aircraft);
    let mut found = vec![Vec::new(); aircraft.surfaces.len()];
    let mut problems = Vec::new();
    for one in paths.par_iter().map(read).collect::<Vec<_>>() {
        match one {
            Ok((surface, candidate)) => found[surface].push(candidate),
            Err(problem) => problems.push(problem),
        }
    }
    (found, problems)
}

fn of_file(path: &Path, aircraft: &Aircraft) -> Result<(usize, Candidate), Problem> {
    let recording = recording::read_path(path)?;
    let shown = path.display().to_string();
    let index = surface_of(&recording, &shown, None, aircraft).map_err(|problem| {
        problem
            .hint("put the line `# surface=NAME` on top of it, with a surface of the aircraft file")
    })?;
    let tags = aircraft.tags_at(index);
    Ok((index, Candidate::of(&recording, &shown, tags)))
}

fn told(
    arguments: &Arguments,
    aircraft: &Aircraft,
    candidates: &[Vec<Candidate>],
) -> Result<Verdict, Problem> {
    let asked = Asked {
        moving_at_once: arguments.moving_at_once.map(usize::from),
        flight_min: arguments.flight_min,
        moving_share: arguments.moving_share,
        resting_share: arguments.resting_share,
        air_factor: arguments.air_factor,
        reserve: arguments.reserve,
    };
    let picked: Vec<Option<Picked>> = candidates.iter().map(|c| pick(c)).collect();
    let seen: Vec<(usize, Seen)> = picked
        .iter()
        .enumerate()
        .filter_map(|(i, p)| Some((i, p.as_ref()?.seen)))
        .collect();
    let outcome = work_out(aircraft, &seen, &asked);
    let doubted = aircraft.surfaces.iter().zip(candidates);
    let passed_over = doubted.flat_map(|(surface, all)| {
        all.iter().filter_map(|c| {
            let doubt = c.doubt.clone()?;
            Some((surface.name.clone(), c.file.clone(), doubt))
        })
    });
    let supplied = Supplied {
        aircraft,
        asked: &asked,
        outcome: &outcome,
        picked: &picked,
        passed_over: passed_over.collect(),
    };
    print(arguments, &supplied)?;
    Ok(verdict(&findings(&supplied)))
}

fn print(arguments: &Arguments, supplied: &Supplied<'_>) -> Result<(), Problem> {
    let told = if arguments.json {
        let mut out = io::stdout().lock();
        writeln!(out, "{}", json::line(supplied)).and_then(|()| out.flush())
    } else {
        let mut out = anstream::stdout().lock();
        let text = text::supplied(supplied, show::terminal_width());
        write!(out, "{text}").and_then(|()| out.flush())
    };
    match told {
        // A reader that has seen enough is no fault of ours.
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Problem::new(format!(
            "the supply could not be written: {error}"
        ))),
        _ => Ok(()),
    }
}
