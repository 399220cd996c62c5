//! `new`: asks, surface by surface, for what the manual and the data sheet say, and writes a commented aircraft file.

mod answer;
mod ask;
mod drawings;
mod page;
mod questions;

use std::fs::OpenOptions;
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};

use super::files::{folder_is_there, told};
use super::{complain, show};
use crate::aircraft::draft::{Draft, Group, LEFT_AND_RIGHT, Layout, Surface, UP_AND_DOWN, text};
use crate::aircraft::parse;
use crate::problem::{Problem, exit};
use answer::unknown;
use ask::{Asker, Stop};
pub use page::at_page;
use questions::{servo, surface};

#[derive(Args)]
#[command(
    after_help = "Have the airframe's manual, the servo's data sheet and a ruler at hand. Enter takes what stands in brackets; `unknown` leaves out what \
                  may be left out; `quit` ends without writing anything. Answers may come from a pipe, one a line. A file that is there is never written \
                  over.\n\n\
                  Exit status: 0 the file was written; 2 it was not.\n\n\
                  Example:\n  hingewright new my-jet.toml --layout one-rudder"
)]
pub struct Arguments {
    /// The aircraft file to be written
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The layout of its surfaces; asked for unless given
    #[arg(long, value_name = "NAME", value_parser = layouts())]
    layout: Option<Layout>,
}

/// Named one by one, so that completions and help know them.
fn layouts() -> impl TypedValueParser<Value = Layout> {
    let words = PossibleValuesParser::new(Layout::ALL.map(Layout::word));
    words.try_map(|word| layout(&word))
}

fn layout(word: &str) -> Result<Layout, String> {
    let words = Layout::ALL.map(Layout::word).join(", ");
    Layout::from_word(word).ok_or_else(|| format!("one of {words} is wanted here"))
}

pub fn run(arguments: &Arguments) -> u8 {
    match made(arguments) {
        Ok(()) => exit::NO_FAULT,
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

fn made(arguments: &Arguments) -> Result<(), Problem> {
    let file = &arguments.file;
    if file.symlink_metadata().is_ok() {
        return Err(is_there(file));
    }
    folder_is_there(file, "FILE")?;
    let mut asker = Asker {
        from: io::stdin().lock(),
        to: anstream::stdout().lock(),
        width: show::terminal_width(),
        echo: !io::stdin().is_terminal(),
        refused: 0,
    };
    let draft = asked(&mut asker, arguments.layout).map_err(|stop| stop.problem())?;
    let text = text_of(&draft, file)?;
    let _ = asker.say("");
    write_new(file, &text)?;
    told(file, &mut asker.to)?;
    if asker.echo && asker.refused > 0 {
        let _ = asker.say(&format!(
            "{} of the answers were not taken, and the question was asked again: from a pipe what came behind may stand one question too late. Read the file.",
            asker.refused
        ));
    }
    let _ = asker.say(&format!(
        "Next: `hingewright sweep \"{}\" --port PORT --logbook DIR --aircraft {}` begins a logbook with it; `--dry-run` says first what would move.",
        draft.surfaces[0].name,
        file.display()
    ));
    Ok(())
}

/// The file's text. What every command will read is read here first.
fn text_of(draft: &Draft, file: &Path) -> Result<String, Problem> {
    let text = text(
        draft,
        &format!(
            "{}, as answered to `hingewright new`.",
            draft.name.replace(char::is_control, " ")
        ),
    );
    let none = |_: &str| Err(Problem::new("a new file names no calibration"));
    parse(&text, &file.display().to_string(), none)?;
    Ok(text)
}

fn is_there(file: &Path) -> Problem {
    Problem::new(format!("{}: this file is there already", file.display()))
        .hint("give another name; a file that is there is never written over")
}

/// Whole or not there, and never over another.
fn write_new(file: &Path, text: &str) -> Result<(), Problem> {
    let cannot = |error: &io::Error| match error.kind() {
        io::ErrorKind::AlreadyExists => is_there(file),
        _ => Problem::new(format!("{}: could not be written: {error}", file.display()))
            .hint("name a file in a folder that you may write to, on a disk with space left"),
    };
    let opened = OpenOptions::new().write(true).create_new(true).open(file);
    let mut out = opened.map_err(|e| cannot(&e))?;
    out.write_all(text.as_bytes()).map_err(|error| {
        drop(std::fs::remove_file(file));
        cannot(&error)
    })
}

fn asked<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    layout: Option<Layout>,
) -> Result<Draft, Stop> {
    asker.say("Enter takes what stands in brackets, `unknown` leaves out what may be left out, `quit` ends without writing anything.")?;
    let mut draft = Draft {
        name: asker.text("What do you call the aircraft?", None)?,
        ..Draft::default()
    };
    let layout = match layout {
        Some(layout) => layout,
        None => asked_layout(asker)?,
    };
    for group in layout.groups() {
        let names = match group.pair {
            Some((other, _)) => format!("{} and {other}", group.name),
            None => group.name.to_owned(),
        };
        asker.say(&format!("\n── {names}"))?;
        let question = format!(
            "Does it have {}?",
            if group.pair.is_some() {
                "this pair"
            } else {
                "this surface"
            }
        );
        if asker.yes(&question, true)? {
            surfaces(asker, &mut draft, group)?;
        }
    }
    while layout == Layout::Own || draft.surfaces.is_empty() {
        let usual = (!draft.surfaces.is_empty()).then_some("none");
        let name = asker.text("\nName of the next surface?", usual)?;
        if unknown(&name) && usual.is_some() {
            break;
        }
        if draft
            .surfaces
            .iter()
            .any(|s| s.name.eq_ignore_ascii_case(&name))
        {
            asker.say("  There is a surface of that name already.")?;
            continue;
        }
        own_surface(asker, &mut draft, &name)?;
    }
    Ok(draft)
}

fn asked_layout<R: BufRead, W: Write>(asker: &mut Asker<R, W>) -> Result<Layout, Stop> {
    for one in Layout::ALL {
        asker.say(&format!("  {:12}{}", one.word(), one.means()))?;
    }
    asker.until("Which layout?", Some(Layout::OneRudder.word()), layout)
}

/// A group's surface, and its opposite number: the same numbers, unless it differs.
fn surfaces<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    draft: &mut Draft,
    group: &Group,
) -> Result<(), Stop> {
    let tag = servo(asker, draft, group.name, group.tag)?;
    let first = surface(asker, group.name, tag, group.throws)?;
    let mut second = None;
    if let Some((name, usual_tag)) = group.pair {
        let tag = servo(asker, draft, name, usual_tag)?;
        let alike = asker.yes(
            &format!("Is the {name} like the {} in all numbers?", group.name),
            true,
        )?;
        second = Some(match alike {
            true => Surface {
                name: name.to_owned(),
                tag,
                ..first.clone()
            },
            false => surface(asker, name, tag, group.throws)?,
        });
    }
    let pair = |of: &Option<Surface>| of.as_ref().map(|s| s.name.clone());
    let other = second.map(|s| Surface {
        pair: Some(first.name.clone()),
        ..s
    });
    draft.surfaces.push(Surface {
        pair: pair(&other),
        ..first
    });
    draft.surfaces.extend(other);
    Ok(())
}

fn own_surface<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    draft: &mut Draft,
    name: &str,
) -> Result<(), Stop> {
    let usual = format!("S{}", draft.servos.len() + 1);
    let tag = servo(asker, draft, name, &usual)?;
    let sideways = asker.yes(
        "Does it move left and right, as a rudder does?",
        name.contains("rudder"),
    )?;
    let throws = if sideways {
        LEFT_AND_RIGHT
    } else {
        UP_AND_DOWN
    };
    let surface = surface(asker, name, tag, throws)?;
    draft.surfaces.push(surface);
    Ok(())
}
