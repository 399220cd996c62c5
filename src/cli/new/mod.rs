//! `new`: asks, surface by surface, for what the manual and the data sheet say, and writes a commented aircraft file.

mod answer;
mod ask;
mod drawings;
mod page;

use std::fs::OpenOptions;
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::files::{folder_is_there, told};
use super::{complain, show};
use crate::aircraft::draft::{
    Draft, Group, Kind as ServoKind, LEFT_AND_RIGHT, Layout, Surface, TOLERANCE_MM, Throw,
    UP_AND_DOWN, text,
};
use crate::aircraft::linkage::closing_rod_mm;
use crate::aircraft::{Linkage, LinkageSolver, ThrowMeasure, parse};
use crate::problem::{Problem, exit};
use answer::{Kind, Number, Wanted, unknown};
use ask::{Asker, Need, Stop};
pub use page::at_page;

const fn wanted(kind: Kind, lowest: f64, highest: f64) -> Wanted {
    Wanted {
        kind,
        between: (lowest, highest),
    }
}

/// What can be true of a model aircraft, widely (common practice, no source).
const CHORD: Wanted = wanted(Kind::Length, 8.0, 500.0);
const TRAVEL: Wanted = wanted(Kind::Travel, 0.5, 500.0);
const TOLERANCE: Wanted = wanted(Kind::Length, 0.05, 20.0);
const ARM: Wanted = wanted(Kind::Length, 4.0, 80.0);
const HORN: Wanted = wanted(Kind::Length, 4.0, 150.0);
const ROD: Wanted = wanted(Kind::Length, 10.0, 2000.0);
const SPAN: Wanted = wanted(Kind::Length, 30.0, 3000.0);
const WING: Wanted = wanted(Kind::Length, 30.0, 3000.0);
const FASTEST: Wanted = wanted(Kind::Speed, 10.0, 250.0);
const STALL: Wanted = wanted(Kind::Torque, 10.0, 3000.0);
const VOLTAGE: Wanted = wanted(Kind::Volt, 3.0, 30.0);
const RATIO: Wanted = wanted(Kind::DegPerUs, 0.02, 0.5);
const SPEED: Wanted = wanted(Kind::Second, 0.02, 1.0);

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
    /// one-rudder, two-rudders, v-tail, delta or own; asked for unless given
    #[arg(long, value_name = "NAME", value_parser = layout)]
    layout: Option<Layout>,
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
    };
    let draft = asked(&mut asker, arguments.layout).map_err(|stop| stop.problem())?;
    let text = text_of(&draft, file)?;
    let _ = asker.say("");
    write_new(file, &text)?;
    told(file, &mut asker.to)?;
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

/// A servo of its own for a surface: its tag, noted with its kind.
fn servo<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    draft: &mut Draft,
    surface: &str,
    usual: &str,
) -> Result<String, Stop> {
    let taken: Vec<String> = draft.servos.iter().map(|(tag, _)| tag.clone()).collect();
    let free = (!taken.iter().any(|t| t == usual)).then_some(usual);
    let tag = asker.until(
        &format!("Mark on the servo of the {surface}?"),
        free,
        |answer| match answer.trim() {
            "" => Err("a mark is wanted here, as it stands on the servo's case".into()),
            tag if taken.iter().any(|t| t == tag) => Err(format!(
                "{tag} drives another surface already: each servo has its own mark"
            )),
            tag => Ok(tag.to_owned()),
        },
    )?;
    let kind = servo_kind(asker, draft)?;
    draft.servos.push((tag.clone(), kind));
    Ok(tag)
}

fn servo_kind<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    draft: &mut Draft,
) -> Result<usize, Stop> {
    let latest = draft
        .servos
        .last()
        .map(|(_, kind)| draft.kinds[*kind].name.clone());
    let name = asker.text(
        "Which kind of servo, by a name of your own?",
        latest.as_deref(),
    )?;
    if let Some(known) = draft.kinds.iter().position(|k| k.name == name) {
        return Ok(known);
    }
    asker.say(&format!("From the data sheet of \"{name}\":"))?;
    let stall = asker.must("  stall torque", STALL, |_| Ok(()))?;
    let voltage = asker.must("  at which voltage", VOLTAGE, |_| Ok(()))?;
    let speed = asker.number("  time for 60° at that voltage", Need::May, SPEED, |_| {
        Ok(())
    })?;
    asker.say("Arm angle per µs of pulse: 45° either way for 500 µs is 0.09. Needed only where the rig has no arm_deg channel.")?;
    let ratio = asker.number("  arm angle per µs", Need::May, RATIO, |_| Ok(()))?;
    draft.kinds.push(ServoKind {
        name,
        stall_torque_ncm: stall.value,
        stall_voltage_v: voltage.value,
        arm_deg_per_us: ratio.map(|n| n.value),
        speed_s_per_60deg: speed.map(|n| n.value),
    });
    Ok(draft.kinds.len() - 1)
}

fn surface<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    name: &str,
    tag: String,
    usual: &[(&str, &'static str)],
) -> Result<Surface, Stop> {
    asker.draw(drawings::CHORD)?;
    let chord_mm = asker
        .must("  chord, hinge line to trailing edge", CHORD, |_| Ok(()))?
        .value;
    asker.draw(drawings::THROW)?;
    let measure = asker.until(
        "  how is the throw measured, straight or square?",
        Some("straight"),
        |answer| match answer {
            "straight" => Ok(ThrowMeasure::Straight),
            "square" => Ok(ThrowMeasure::Square),
            _ => Err("straight or square is wanted here, as the drawing has it".into()),
        },
    )?;
    let throws = throws(asker, usual, chord_mm, measure)?;
    let linkage = linkage(asker)?;
    let air = air(asker, chord_mm)?;
    Ok(Surface {
        name: name.to_owned(),
        tag,
        pair: None,
        chord_mm,
        measure,
        throws,
        linkage,
        air,
    })
}

/// At least one of the usual throws.
fn throws<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    usual: &[(&str, &'static str)],
    chord_mm: f64,
    measure: ThrowMeasure,
) -> Result<Vec<Throw>, Stop> {
    let longest = measure.longest_mm(chord_mm);
    let fits = |number: Number| match number.in_deg || number.value <= longest {
        true => Ok(()),
        false => Err(format!(
            "a chord of {chord_mm} mm reaches {longest} mm at most measured so: check throw and chord"
        )),
    };
    let mut throws: Vec<Throw> = Vec::new();
    for (i, &(name, way)) in usual.iter().enumerate() {
        let last = throws.is_empty() && i + 1 == usual.len();
        let need = if last { Need::Must } else { Need::May };
        let named = if name == way {
            name.to_owned()
        } else {
            format!("{name}, {way}")
        };
        let question = format!("  throw {named}");
        let Some(number) = asker.number(&question, need, TRAVEL, fits)? else {
            continue;
        };
        throws.push(Throw {
            name: name.to_owned(),
            way,
            value: number.value,
            in_deg: number.in_deg,
            tolerance_mm: TOLERANCE_MM,
        });
    }
    let usual = TOLERANCE_MM.to_string();
    let tolerance = asker.until(
        "  how far off may a throw be at the trailing edge, mm?",
        Some(&usual),
        |answer| TOLERANCE.read(answer),
    )?;
    for throw in &mut throws {
        throw.tolerance_mm = tolerance.value;
    }
    Ok(throws)
}

/// All four lengths, or none: a linkage that lacks one cannot be worked out.
fn linkage<R: BufRead, W: Write>(asker: &mut Asker<R, W>) -> Result<Option<[f64; 4]>, Stop> {
    asker.draw(drawings::LINKAGE)?;
    asker.say("All four lengths, or `unknown`: then it is left out. Torque sensor and supply power with an arm_deg channel do without.")?;
    let mut lengths = [0.0; 3];
    for (length, (question, wanted)) in lengths.iter_mut().zip([
        ("  arm, output shaft to rod", ARM),
        ("  horn, hinge line to rod", HORN),
        ("  base, output shaft to hinge line", ROD),
    ]) {
        match asker.number(question, Need::May, wanted, |_| Ok(()))? {
            Some(number) => *length = number.value,
            None => return Ok(None),
        }
    }
    let [arm_mm, horn_mm, base_mm] = lengths;
    let with = |rod_mm| Linkage {
        arm_mm,
        horn_mm,
        rod_mm,
        base_mm,
        arm_zero_deg: 0.0,
    };
    let closes = |number: Number| match (
        LinkageSolver::new(&with(number.value)),
        closing_rod_mm(&with(number.value)),
    ) {
        (Some(_), _) => Ok(()),
        (None, Some((shortest, longest))) => Err(format!(
            "with these, a rod between {shortest:.1} and {longest:.1} mm closes the linkage at neutral: check the four lengths"
        )),
        (None, None) => Err("these lengths close no linkage: check them".into()),
    };
    let rod = asker.number("  rod, hole to hole", Need::May, ROD, closes)?;
    Ok(rod.map(|rod| [arm_mm, horn_mm, rod.value, base_mm]))
}

fn air<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    chord_mm: f64,
) -> Result<Option<[f64; 3]>, Stop> {
    asker.draw(drawings::AIR)?;
    asker.say("For the estimate of air loads; `unknown` leaves it out.")?;
    let Some(span) = asker.number(
        "  span, length along the hinge",
        Need::May,
        SPAN,
        |_| Ok(()),
    )?
    else {
        return Ok(None);
    };
    let longer = |number: Number| match number.value > chord_mm {
        true => Ok(()),
        false => Err(format!(
            "the whole chord holds the surface's {chord_mm} mm and more"
        )),
    };
    let Some(wing) = asker.number("  wing chord, surface included", Need::May, WING, longer)?
    else {
        return Ok(None);
    };
    let fastest = asker.number("  highest airspeed", Need::May, FASTEST, |_| Ok(()))?;
    Ok(fastest.map(|fastest| [span.value, wing.value, fastest.value]))
}
