//! `note`: what was done to a surface or a servo, or when a recording truly began, written into the logbook.

use std::io::{self, Write};
use std::path::PathBuf;

use clap::Args;
use jiff::Timestamp;

use super::{complain, show};
use crate::aircraft::Aircraft;
use crate::history::season::Work;
use crate::logbook::{Logbook, Note, NoteKind, note_time};
use crate::problem::{Problem, exit};

#[derive(Args)]
#[command(
    after_help = "Examples:\n  hingewright note \"left elevator\" \"hinge re-glued\" --kind hinge-work --logbook dunlin\n  \
                  hingewright note E1 \"new gears\" --kind servo-replaced --date 2026-05-02 --logbook dunlin\n\n\
                  servo-replaced (of a servo's tag), hinge-work and rod-work (of a surface) begin a new baseline for what they change:\n\
                  the reply says of what. other, which a note is without --kind, is a remark and changes nothing. began is of a\n\
                  recording's ID: with --date it says when the recording truly began, where a clock was wrong."
)]
pub struct Arguments {
    /// The surface, or the servo's tag; with --kind began a recording's ID
    #[arg(value_name = "SURFACE|SERVO|ID")]
    subject: String,
    /// What was done
    text: String,
    /// The logbook's folder
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
    /// servo-replaced, hinge-work, rod-work, began or other
    #[arg(long, default_value = "other", value_parser = kind)]
    kind: NoteKind,
    /// When, instead of now: YYYY-MM-DD counts from that day's beginning (UTC), or a time with its zone
    #[arg(long, visible_alias = "at", value_parser = date)]
    date: Option<Timestamp>,
}

fn kind(word: &str) -> Result<NoteKind, String> {
    NoteKind::from_word(word).ok_or_else(|| {
        let words = NoteKind::ALL.map(NoteKind::word);
        format!("one of {} is wanted here", words.join(", "))
    })
}

fn date(text: &str) -> Result<Timestamp, String> {
    note_time(text)
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
    let kind = arguments.kind;
    let subject = match kind {
        NoteKind::Began => recording(&logbook, &arguments.subject)?,
        _ => known(logbook.aircraft(), &arguments.subject, kind)
            .or_else(|problem| of_the_past(&logbook, &arguments.subject, kind).ok_or(problem))?,
    };
    let note = Note {
        at: when(arguments, Timestamp::now())?,
        subject,
        kind,
        text: arguments.text.clone(),
    };
    let path = logbook.add_note(&note)?;
    let without_effect = match kind {
        NoteKind::Began => left_out(&logbook, &note.subject)?,
        _ => None,
    };
    let changed = without_effect.unwrap_or_else(|| changes(&note, &logbook));
    Ok(format!(
        "noted: {}, {}, {}: {}\n{}\nin {}",
        note.at.strftime("%Y-%m-%d %H:%M UTC"),
        note.subject,
        kind.word(),
        note.text.trim(),
        wrapped(&changed),
        path.display()
    ))
}

/// The time that the note is given, which no deed can have that is still to come.
fn when(arguments: &Arguments, now: Timestamp) -> Result<Timestamp, Problem> {
    match arguments.date {
        None if arguments.kind == NoteKind::Began => {
            Err(Problem::new("the note does not say when the recording began")
                .hint("say it with --date, as 2026-05-02T10:00:00Z"))
        }
        Some(at) if at > now => Err(Problem::new(format!(
            "{} is still to come; it is {} by this computer's clock",
            at.strftime("%Y-%m-%d %H:%M UTC"),
            now.strftime("%Y-%m-%d %H:%M UTC")
        ))
        .hint("give the day it was done with --date, or leave --date out for now; if the clock is wrong, set it right first")),
        given => Ok(given.unwrap_or(now)),
    }
}

/// For the terminal, with no path or command word torn.
fn wrapped(text: &str) -> String {
    let options = textwrap::Options::new(show::terminal_width()).break_words(false);
    textwrap::fill(
        text,
        options.word_splitter(textwrap::WordSplitter::NoHyphenation),
    )
}

/// What the note changes, in a sentence.
fn changes(note: &Note, logbook: &Logbook) -> String {
    match (note.kind.work(), note.kind) {
        (Some(work), _) => format!(
            "From then on against a new baseline: {}. All else goes on, and limits hold as before.",
            work.begins()
        ),
        (None, NoteKind::Began) => format!(
            "`season` takes the recording as begun then; hingewright recheck --logbook {} writes it into its result.",
            logbook.root().display()
        ),
        (None, _) => {
            "A remark: it changes nothing. Work that begins a new baseline has a --kind: servo-replaced, hinge-work or rod-work."
                .into()
        }
    }
}

/// Why a note on this recording has no effect now; `None` where it has.
fn left_out(logbook: &Logbook, id: &str) -> Result<Option<String>, Problem> {
    let sorted = logbook.sorted()?;
    let own = |path: &PathBuf| path.file_stem().is_some_and(|stem| stem == id);
    if sorted.own.iter().any(own) {
        return Ok(None);
    }
    let copy = sorted.copies.iter().find(|copy| copy.id() == id);
    let foreign = sorted.foreign.iter().find(|foreign| foreign.id() == id);
    let why = match (copy, foreign) {
        (Some(copy), _) => format!(
            "it is {of} byte for byte, and {of} counts; give the note of {of}",
            of = copy.of_id()
        ),
        (None, Some(foreign)) => format!("it is of another aircraft, {}", foreign.aircraft),
        (None, None) => return Ok(None),
    };
    Ok(Some(format!(
        "The note has no effect now, for this recording is left out: {why}."
    )))
}

/// The recording's ID.
fn recording(logbook: &Logbook, id: &str) -> Result<String, Problem> {
    let path = logbook.recording_by_id(id)?;
    let stem = path.file_stem().unwrap_or_default();
    Ok(stem.to_string_lossy().into_owned())
}

/// The name as the aircraft file has it, where the kind fits it.
fn known(aircraft: &Aircraft, subject: &str, kind: NoteKind) -> Result<String, Problem> {
    let subject = subject.trim();
    let surface = aircraft.surface_called(subject).map(|(_, s)| s);
    let alike = |s: &&crate::aircraft::Servo| s.tag.eq_ignore_ascii_case(subject);
    let servo = aircraft.servos.iter().find(alike);
    match (kind, surface, servo) {
        (NoteKind::ServoReplaced, _, Some(servo)) => Ok(servo.tag.clone()),
        (NoteKind::HingeWork | NoteKind::RodWork, Some(surface), _) => Ok(surface.name.clone()),
        (NoteKind::ServoReplaced, Some(surface), None) => {
            let tag = &aircraft.servos[surface.servo_index].tag;
            Err(Problem::new(format!(
                "servo-replaced is of a servo, and {} is a surface",
                surface.name
            ))
            .hint(format!(
                "name the servo that was exchanged by its tag: {}'s is {tag}",
                surface.name
            )))
        }
        (NoteKind::HingeWork | NoteKind::RodWork, None, Some(servo)) => {
            let sits = |s: &&crate::aircraft::Surface| {
                [Some(s.servo_index), s.second_servo_index]
                    .into_iter()
                    .flatten()
                    .any(|i| aircraft.servos[i].tag == servo.tag)
            };
            let driven: Vec<String> = aircraft
                .surfaces
                .iter()
                .filter(sits)
                .map(|s| format!("\"{}\"", s.name))
                .collect();
            Err(Problem::new(format!(
                "{} is of a surface, and {} is a servo",
                kind.word(),
                servo.tag
            ))
            .hint(match driven.is_empty() {
                true => "name the surface whose hinge or rod it was".to_owned(),
                false => format!(
                    "name the surface: {} drives {}",
                    servo.tag,
                    driven.join(", ")
                ),
            }))
        }
        (_, Some(surface), _) => Ok(surface.name.clone()),
        (_, None, Some(servo)) => Ok(servo.tag.clone()),
        (_, None, None) => Err(unknown(aircraft, subject)),
    }
}

/// A surface or servo that the aircraft file has no more, but recordings have: what was done to it is still theirs.
fn of_the_past(logbook: &Logbook, subject: &str, kind: NoteKind) -> Option<String> {
    let work = kind.work();
    let rows = logbook.rows().ok()?;
    let mut names = rows.iter().flat_map(|row| {
        let surface = (work != Some(Work::Servo)).then_some(row.surface.as_str());
        let on_surfaces = matches!(work, Some(Work::Hinge | Work::Rod));
        let servos = ["servo", "servo2"].map(|column| row.text(column).filter(|_| !on_surfaces));
        surface.into_iter().chain(servos.into_iter().flatten())
    });
    let subject = subject.trim();
    names
        .find(|name| name.eq_ignore_ascii_case(subject))
        .map(str::to_owned)
}

fn unknown(aircraft: &Aircraft, subject: &str) -> Problem {
    let surfaces = aircraft.surfaces.iter().map(|s| s.name.as_str());
    let servos = aircraft.servos.iter().map(|s| s.tag.as_str());
    let names: Vec<&str> = surfaces.chain(servos).collect();
    let lower = subject.to_lowercase();
    let near = |name: &&&str| {
        let name = name.to_lowercase();
        !lower.is_empty() && name.contains(&lower) || strsim::jaro_winkler(&name, &lower) > 0.85
    };
    let near: Vec<&str> = names.iter().filter(near).copied().collect();
    let all = format!("the aircraft has {}", names.join(", "));
    Problem::new(format!(
        "{} has no surface and no servo \"{subject}\"",
        aircraft.name
    ))
    .hint(match near.is_empty() {
        true => all,
        false => format!("did you mean {}? ({all})", near.join(" or ")),
    })
}
