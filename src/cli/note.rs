//! `note`: what was done to a surface or a servo, written into the logbook.

use std::io::{self, Write};
use std::path::PathBuf;

use clap::Args;

use super::complain;
use crate::aircraft::Aircraft;
use crate::logbook::{Logbook, Note, NoteKind, note_time};
use crate::problem::{Problem, exit};

#[derive(Args)]
#[command(
    after_help = "Examples:\n  hingewright note \"left elevator\" \"hinge re-glued\" --kind hinge-work --logbook dunlin\n  \
                  hingewright note E1 \"new gears\" --kind servo-replaced --date 2026-05-02 --logbook dunlin\n\n\
                  All kinds but other begin a new baseline for `season`."
)]
pub struct Arguments {
    /// The surface, or the servo's tag
    #[arg(value_name = "SURFACE|SERVO")]
    subject: String,
    /// What was done
    text: String,
    /// The logbook's folder
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
    /// servo-replaced, hinge-work, rod-work or other
    #[arg(long, default_value = "other", value_parser = kind)]
    kind: NoteKind,
    /// When, instead of now: YYYY-MM-DD counts from that day's beginning (UTC), or a time with its zone
    #[arg(long, value_parser = date)]
    date: Option<jiff::Timestamp>,
}

fn kind(word: &str) -> Result<NoteKind, String> {
    NoteKind::from_word(word).ok_or_else(|| {
        let words = NoteKind::ALL.map(NoteKind::word);
        format!("one of {} is wanted here", words.join(", "))
    })
}

fn date(text: &str) -> Result<jiff::Timestamp, String> {
    note_time(text).ok_or_else(|| "a date as 2026-05-02 is wanted here".into())
}

pub fn run(arguments: &Arguments) -> u8 {
    match note(arguments) {
        Ok(said) => {
            // A closed pipe is no fault: the note is on the disk.
            let _ = writeln!(io::stdout(), "{said}");
            exit::NO_FAULT
        }
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

fn note(arguments: &Arguments) -> Result<String, Problem> {
    let logbook = Logbook::open(&arguments.logbook)?;
    if arguments.text.trim().is_empty() {
        return Err(Problem::new("the note is empty").hint("say in a few words what was done"));
    }
    let note = Note {
        at: arguments.date.unwrap_or_else(jiff::Timestamp::now),
        subject: known(logbook.aircraft(), &arguments.subject)?,
        kind: arguments.kind,
        text: arguments.text.clone(),
    };
    let path = logbook.add_note(&note)?;
    Ok(format!("noted of {}: {}", note.subject, path.display()))
}

/// The name as the aircraft file has it.
fn known(aircraft: &Aircraft, subject: &str) -> Result<String, Problem> {
    let surfaces = aircraft.surfaces.iter().map(|s| s.name.as_str());
    let servos = aircraft.servos.iter().map(|s| s.tag.as_str());
    let names: Vec<&str> = surfaces.chain(servos).collect();
    let exact = names.iter().find(|n| **n == subject);
    let loose = || names.iter().find(|n| n.eq_ignore_ascii_case(subject));
    if let Some(name) = exact.or_else(loose) {
        return Ok((*name).to_owned());
    }
    Err(Problem::new(format!(
        "{} has no surface and no servo \"{subject}\"",
        aircraft.name
    ))
    .hint(format!("one of these: {}", names.join(", "))))
}
