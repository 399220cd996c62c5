//! `season`: health and trends over the recordings of a logbook, or of all logbooks in a folder by the same rules.

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;
use rayon::prelude::*;

use super::{complain, show};
use crate::history::season::{Event, Level, Reading, Subject, outline};
use crate::logbook::{self, Logbook, Missing, Note, NoteKind, Source, Story, sources};
use crate::problem::{Problem, exit};
use crate::report::season_json::{self, Recordings, Whence};
use crate::report::{season_text, verdict_words};
use crate::units::TorqueUnit;
use crate::verdict::Verdict;

#[derive(Args)]
#[command(
    after_help = "Examples:\n  hingewright season --logbook dunlin\n  hingewright season --all-in club\n\n\
                  Exit status: 0 nothing to act on, 1 something to act on (by a trend, a chart, or a surface's latest sweep), 2 something could not be used, a recording is another aircraft's, or recordings have no result yet (they are named, the rest is shown)."
)]
pub struct Arguments {
    /// The logbook's folder
    #[arg(long, value_name = "DIR", required_unless_present = "all_in")]
    logbook: Option<PathBuf>,
    /// All logbooks in a folder: the same of each from its results, worst on top; recordings without a result are named
    #[arg(long, value_name = "DIR", conflicts_with = "logbook")]
    all_in: Option<PathBuf>,
    /// One JSON object instead of text
    #[arg(long)]
    json: bool,
    /// Every quantity of every surface and servo in text, not only what asks for something
    #[arg(long, conflicts_with = "json")]
    all: bool,
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

fn style(arguments: &Arguments) -> season_text::Style {
    season_text::Style {
        unit: arguments.units,
        width: show::terminal_width(),
        all: arguments.all,
    }
}

fn of_one(arguments: &Arguments, folder: &Path) -> Result<(String, u8), Problem> {
    let source = Logbook::open(folder)?.source()?;
    let told = told(&source, Timestamp::now())?;
    told.problems.iter().for_each(complain);
    let one = [told];
    let used = one[0].whence.recordings.used;
    if used == 0 {
        complain(&nothing(&source));
    }
    let text = match arguments.json {
        true => season_json::season(&one[0].whence, &one[0].subjects) + "\n",
        false => season_text::season(&one[0].whence, &one[0].subjects, style(arguments)),
    };
    Ok((text, status(&one, used > 0 && one[0].problems.is_empty())))
}

fn of_all(arguments: &Arguments, folder: &Path) -> Result<(String, u8), Problem> {
    let (sources, mut problems) = sources(folder)?;
    let now = Timestamp::now();
    let mut all = Vec::new();
    // Each by itself: no more of them are in memory at once than there are processors.
    for one in sources.par_iter().map(|s| told(s, now)).collect::<Vec<_>>() {
        match one {
            Ok(told) => all.push(told),
            Err(problem) => problems.push(problem),
        }
    }
    // Stable: of equals, by the name of their folder.
    all.sort_by_key(|told| Reverse(told.subjects.iter().map(Subject::urgency).max()));
    let remarks: Vec<String> = problems.iter().map(not_used).collect();
    problems.iter().for_each(complain);
    all.iter().flat_map(|t| &t.problems).for_each(complain);
    let club: Vec<_> = all.iter().map(|t| (&t.whence, &t.subjects[..])).collect();
    let folder = folder.display().to_string();
    let text = match arguments.json {
        true => season_json::club(&folder, &club, &remarks) + "\n",
        false => season_text::club(&folder, &club, &remarks, style(arguments)),
    };
    let all_used = problems.is_empty() && all.iter().all(|t| t.problems.is_empty());
    Ok((text, status(&all, all_used)))
}

/// One logbook's season.
struct Told {
    whence: Whence,
    subjects: Vec<Subject>,
    /// A surface's latest sweep found something, or proved nothing.
    verdict_asks: bool,
    problems: Vec<Problem>,
    /// Recordings stand beside the results that no trend shows.
    incomplete: bool,
}

fn told(source: &Source, now: Timestamp) -> Result<Told, Problem> {
    let mut story = source.story(now)?;
    let (notes, damaged) = source.notes()?;
    let noted = notes.iter().filter_map(|note| note.event());
    let events: Vec<Event> = noted.chain(std::mem::take(&mut story.worked_in)).collect();
    let subjects = outline(&story.readings, &events, source.limits());
    let unusable_results = story.problems.len();
    let mut problems = std::mem::take(&mut story.problems);
    let standing = standing(&story);
    problems.extend(damaged);
    let missing = source.without_result();
    Ok(Told {
        incomplete: missing.is_some(),
        whence: whence(
            source,
            &story,
            missing.as_ref(),
            &standing,
            &notes,
            unusable_results,
            &problems,
        ),
        verdict_asks: !standing.is_empty(),
        subjects,
        problems,
    })
}

fn status(all: &[Told], all_used: bool) -> u8 {
    let mut subjects = all.iter().flat_map(|told| &told.subjects);
    // Another aircraft's recording lies in the wrong logbook, and is missing in the right one.
    let astray = |told: &Told| told.whence.recordings.of_other_aircraft > 0;
    if !all_used || all.iter().any(|told| told.incomplete || astray(told)) {
        exit::UNUSABLE
    } else if subjects.any(|s| s.level() == Level::Act) || all.iter().any(|t| t.verdict_asks) {
        exit::FOUND
    } else {
        exit::NO_FAULT
    }
}

/// The latest sweep of each surface, where its verdict asks for something, by the surface's name.
fn standing(story: &Story) -> Vec<&Reading> {
    let mut latest: BTreeMap<&str, &Reading> = BTreeMap::new();
    for reading in story.readings.iter().filter(|r| r.verdict.is_some()) {
        let of_surface = latest.entry(&reading.surface).or_insert(reading);
        if (reading.at, &reading.id) > (of_surface.at, &of_surface.id) {
            *of_surface = reading;
        }
    }
    let asks = |r: &&Reading| r.verdict != Some(Verdict::NoFaultFound);
    latest.into_values().filter(asks).collect()
}

fn stands(reading: &&Reading) -> String {
    let words = reading.verdict.map_or("", verdict_words);
    format!(
        "By its latest sweep ({}) the {} is: {words}.",
        reading.id, reading.surface
    )
}

fn whence(
    source: &Source,
    story: &Story,
    missing: Option<&Missing>,
    standing: &[&Reading],
    notes: &[Note],
    unusable_results: usize,
    problems: &[Problem],
) -> Whence {
    let left_out = &story.left_out;
    let refs: Vec<&Problem> = problems.iter().collect();
    let mut remarks: Vec<String> = missing
        .map(|m| source.missing_words(m))
        .into_iter()
        .collect();
    remarks.extend(source.remarks(story, &refs));
    remarks.extend(standing.iter().map(stands));
    remarks.extend(notes.iter().filter_map(|note| not_measured(note, story)));
    let has_recordings = |name: &&str| missing.is_some_and(|m| m.surfaces.contains(*name));
    let mut never = source.never_followed(story);
    never.retain(|name| !has_recordings(name));
    if !never.is_empty() {
        remarks.push(format!(
            "Nothing to follow yet of: {}. A finished sweep of each begins its record.",
            never.join(", ")
        ));
    }
    Whence {
        aircraft: source.name().to_owned(),
        logbook: source.root().display().to_string(),
        recordings: Recordings {
            used: story.readings.len(),
            unfinished: left_out.unfinished.len(),
            worked_in: left_out.worked_in.len(),
            without_value: left_out.without_value.len(),
            without_time: left_out.without_time.len(),
            in_the_future: left_out.in_the_future.len(),
            of_other_aircraft: left_out.other_aircraft.values().map(Vec::len).sum(),
            unusable_results,
            copies: left_out.copies.len(),
        },
        left_out: ids(left_out),
        remarks,
    }
}

/// Nothing can be said of a logbook without a single recording to look at; what to do about that.
fn nothing(source: &Source) -> Problem {
    let root = source.root().display();
    Problem::new(format!("{root}: no finished recording to look at")).hint(match source.has_recordings() {
        true => format!(
            "if none is told as left out, their results are missing: hingewright recheck --logbook {root}"
        ),
        false => format!(
            "sweep a surface first: hingewright sweep SURFACE --port PATH --logbook {root}; or put recordings into its \
             recordings folder, and recheck"
        ),
    })
}

/// What was done since a surface or a servo was last measured.
fn not_measured(note: &Note, story: &Story) -> Option<String> {
    let of =
        |r: &&Reading| *r.surface == *note.subject || r.servo.as_deref() == Some(&*note.subject);
    let last = story.readings.iter().filter(of).map(|r| r.at).max();
    let news = note.kind != NoteKind::Began && last.is_none_or(|last| note.at > last);
    news.then(|| {
        format!(
            "Noted since the last recording: {}, {}, {}: {}. Nothing measured since.",
            note.at.strftime("%Y-%m-%d"),
            note.subject,
            note.kind.word(),
            note.text.trim().trim_end_matches('.')
        )
    })
}

fn ids(left_out: &logbook::LeftOut) -> season_json::LeftOut {
    season_json::LeftOut {
        unfinished: left_out.unfinished.clone(),
        worked_in: left_out.worked_in.clone(),
        without_value: left_out.without_value.clone(),
        without_time: left_out.without_time.clone(),
        in_the_future: left_out.in_the_future.clone(),
        of_other_aircraft: left_out
            .other_aircraft
            .values()
            .flatten()
            .cloned()
            .collect(),
        copies: left_out.copies.iter().map(|(id, _)| id.clone()).collect(),
    }
}

fn not_used(problem: &Problem) -> String {
    format!("Not used: {}.", problem.what)
}
