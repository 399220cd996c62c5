//! `new`: asks, surface by surface, for what the manual and the data sheet say, and writes a commented aircraft file.

mod answer;
mod ask;
mod drawings;
mod page;
mod questions;
mod read_back;

use std::fs::OpenOptions;
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};

use super::files::{folder_is_there, told};
use super::{complain, show};
use crate::aircraft::draft::{Draft, Group, LEFT_AND_RIGHT, Layout, Surface, UP_AND_DOWN, text};
use crate::aircraft::parse;
use crate::command::word;
use crate::problem::{Problem, exit};
use answer::{unknown, yes};
use ask::{Asker, Stop};
pub use page::at_page;
use questions::{servo, surface};
use read_back::read_back;

#[derive(Args)]
#[command(
    after_help = "Have the airframe's manual, the servo's data sheet and a ruler at hand. Enter takes what stands in brackets; `unknown` leaves out what \
                  may be left out; `back` takes the last answer back (`back 3` three); `quit` ends without writing anything. Before it is written all is \
                  read back. Answers may come from a pipe, one a line: then nothing is asked twice, and the first that is not taken ends it. A file that \
                  is there is never written over.\n\n\
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
    let at_keys = io::stdin().is_terminal();
    let (from, to) = (io::stdin().lock(), anstream::stdout().lock());
    let mut asker = Asker::new(from, to, show::terminal_width(), !at_keys, at_keys);
    let draft = approved(&mut asker, arguments.layout).map_err(|stop| stop.problem())?;
    let text = text_of(&draft, file)?;
    let _ = asker.say("");
    write_new(file, &text)?;
    told(file, &mut asker.to)?;
    // Lines to be copied are not cut.
    let _ = asker.draw(&next(&draft.surfaces[0], file));
    Ok(())
}

/// What to do with the file, in its order.
fn next(first: &Surface, file: &Path) -> String {
    let (name, tag) = (word(&first.name), word(&first.tag));
    let with = format!(
        "--port PATH --logbook DIR --aircraft {}",
        word(&file.display().to_string())
    );
    format!(
        "Next, with the rig on the {}:\n\
         \x20 hingewright doctor {with}\n\
         \x20     whether the rig is fit for it\n\
         \x20 hingewright calibrate angle {name} {with} --ruler-mm -20,-10,0,10,20\n\
         \x20     the angle sensor's scale: without it the surface may go too far\n\
         \x20 hingewright calibrate servo {tag} {with} --masses 0,0.2,0.5,0.8 --arm-mm 60\n\
         \x20     where the rig has no torque sensor: without it stiffness and friction stay unproven\n\
         \x20 hingewright sweep {name} {with} --dry-run\n\
         \x20     what would move; without --dry-run it moves",
        first.name
    )
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

/// Asks, and goes back as often as wished, until what was answered is right.
fn approved<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    layout: Option<Layout>,
) -> Result<Draft, Stop> {
    loop {
        let draft = asked(asker, layout).and_then(|draft| {
            approve(asker, &draft)?;
            Ok(draft)
        });
        match draft {
            Err(Stop::Back) => asker.begin_again(),
            other => return other,
        }
    }
}

/// All of it read back, where somebody is there to hear it.
fn approve<R: BufRead, W: Write>(asker: &mut Asker<R, W>, draft: &Draft) -> Result<(), Stop> {
    if !asker.insists {
        return Ok(());
    }
    asker.say("\n── This will be written")?;
    for line in read_back(draft) {
        asker.say(&line)?;
    }
    let question = "Is all of it right, and shall it be written?";
    asker.until(question, Some("yes"), |answer| match yes(answer) {
        Some(true) => Ok(()),
        Some(false) => Err(
            "`back` goes back to the last question, `back 12` twelve questions, and what was answered before them stands; \
             `quit` ends without writing anything; or write it and mend the file in an editor"
                .into(),
        ),
        None => Err("yes or no is wanted here".into()),
    })
}

fn asked<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    layout: Option<Layout>,
) -> Result<Draft, Stop> {
    asker.say("Enter takes what stands in brackets, `unknown` leaves out what may be left out, `back` takes the last answer back, `quit` ends without writing anything.")?;
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

#[cfg(test)]
mod tests {
    use super::*;

    /// What somebody at the keys answers, the draft that comes of it, and what was said.
    fn at_keys(layout: Layout, answers: &str) -> (Result<Draft, Stop>, String) {
        let mut asker = Asker::new(answers.as_bytes(), Vec::new(), 200, true, true);
        let draft = approved(&mut asker, Some(layout));
        (draft, String::from_utf8(asker.to).unwrap())
    }

    const DELTA: &str = "Dunlin\nno\nyes\nR1\nmetal gear\n210\n7.4\n\n\n58\n\n20\n22\n\n\n\n";

    #[test]
    fn an_answer_that_cannot_be_is_asked_again_with_the_reason() {
        // A name missing, a torque that is none, a chord in metres, a throw beyond twice the chord, a rod that closes nothing, a chord of
        // the wing below the surface's.
        let answers = "\nunknown\nDunlin\nperhaps\nyes\nE1\nmetal gear\nstrong\n2 Nm\n7.4\nunknown\nunknown\nunknown\n58 m\n58\nround\n\
                       square\n70\n24\n22 deg\n\n18\n22\n97\n300\n95\n340\n50\nunknown\nE1\nE2\n\nyes\nno\nno\nno\nno\nyes\n";
        let (draft, said) = at_keys(Layout::OneRudder, answers);
        for reason in [
            "a name is wanted here",
            "a name of your own is wanted here",
            "yes or no is wanted here",
            "a number is wanted here, in N·cm",
            "this cannot be left out",
            "\"m\" is no unit here",
            "straight or square is wanted here",
            "a chord of 58.0 mm reaches 58.0 mm at most",
            "mm closes the linkage at neutral",
            "the whole chord holds the surface's 58 mm",
            "E1 drives another surface already",
            "`back` goes back to the last question",
        ] {
            assert!(said.contains(reason), "no {reason:?} in {said}");
        }
        let draft = draft.unwrap();
        let down = &draft.surfaces[0].throws[1];
        assert!(down.in_deg && down.value == 22.0 && draft.surfaces[0].air.is_none());
    }

    #[test]
    fn all_is_read_back_before_it_is_written() {
        let (draft, said) = at_keys(Layout::Delta, &format!("{DELTA}yes\n"));
        assert!(draft.is_ok());
        let read_back = said.split("This will be written").nth(1).unwrap();
        for words in [
            "rudder: servo R1; chord 58 mm; throws left 20 mm, right 22 mm, measured straight, ± 1 mm; no linkage; no air loads",
            "R1: metal gear, 210 N·cm at 7.4 V",
        ] {
            assert!(read_back.contains(words), "no {words:?} in {read_back}");
        }
        let (draft, _) = at_keys(Layout::Delta, DELTA);
        assert!(matches!(draft, Err(Stop::Ended(_))), "{draft:?}");
    }

    #[test]
    fn back_takes_answers_back_and_those_before_them_stand() {
        // At the very end: six back is the left throw; then the right one, tolerance, linkage and air once more.
        let (draft, said) = at_keys(
            Layout::Delta,
            &format!("{DELTA}back 5\n25\nback\n26\n22\n\n\n\nyes\n"),
        );
        let draft = draft.unwrap();
        let left: Vec<f64> = draft.surfaces[0].throws.iter().map(|t| t.value).collect();
        assert_eq!(left, [26.0, 22.0]);
        assert_eq!(draft.servos, [("R1".to_owned(), 0)]);
        // What stands is neither asked nor said once more.
        assert_eq!(said.matches("What do you call the aircraft?").count(), 1);
        assert_eq!(said.matches("throw left").count(), 3);
        // Further back than the first question is the first question.
        let (draft, _) = at_keys(Layout::Delta, &format!("back\nback 3\n{DELTA}yes\n"));
        assert_eq!(draft.unwrap().name, "Dunlin");
    }
}
