//! Arguments; one file a command, thin. What a command does is in the rooms below.

mod at_rig;
mod bench;
mod break_in;
mod calibrate;
mod check;
mod demo;
mod doctor;
mod files;
mod flight;
mod heat;
mod held;
mod linkage;
mod new;
mod note;
mod prove;
mod recheck;
mod repeat;
mod report;
mod report_csv;
mod rig;
mod rods;
mod screen;
mod season;
mod servo;
mod show;
mod simulate;
mod supply;
mod sweep;
mod whose;
mod words;

use clap::{CommandFactory, Parser, Subcommand};

use crate::problem::{Problem, exit};

#[derive(Parser)]
#[command(
    name = "hingewright",
    version,
    about = "Measures what a builder feels in a control surface, and judges it with an honest interval.",
    long_about = "Measures what a builder feels in a control surface, and judges it with an honest interval.\n\n\
                  Keep hands and clothing clear, make propulsion and fuel safe, follow the airframe's and the servo's own manuals. \
                  National model-flying rules and the club's inspector decide; a bench result is no airworthiness statement.",
    after_help = "Exit status: 0 no fault found, 1 something found or unproven, 2 a file or an argument could not be used, 3 the rig failed or tripped."
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serve the live page at the bench: pick a surface, sweep it or work it in, and see it live.
    Bench(bench::Arguments),
    /// Work a hinge in, in stages of growing deflection, and follow it until it has settled.
    BreakIn(Box<break_in::Arguments>),
    /// Calibrate a servo by known masses on its arm, or a surface's angle sensor by known angles.
    Calibrate(calibrate::Arguments),
    /// Analyse recordings of control surfaces and judge them.
    Check(check::Arguments),
    /// See the whole job on simulated rigs, without any hardware.
    Demo(demo::Arguments),
    /// Look before a session whether port, rig, readings, clocks, disk and files are in order, and what to do where not. Nothing moves.
    Doctor(doctor::Arguments),
    /// A push rod's advantage along the throw, its dead points, and which holes to change.
    Linkage(linkage::Arguments),
    /// Estimate what the air asks of each servo at speed, on top of the hinge as measured, against what it has.
    Flight(flight::Arguments),
    /// How warm a servo gets: what it draws under a load, where its case would end, and when it comes to its limit.
    Heat(Box<heat::Arguments>),
    /// How stiffly a servo and its linkage hold neutral, and their free play: weights hung on either side, guided step by step.
    Held(Box<held::Arguments>),
    /// Rods off against rods on: what of friction and spring is the hinge's, the linkage's, the servo's
    Rods(rods::Arguments),
    /// Hold two recordings of a surface, before and after a fix, against each other: did it change anything?
    Prove(prove::Arguments),
    /// How repeatable the rig is: a surface mounted and measured again, by one or several people, and the smallest change that shows.
    Repeat(repeat::Arguments),
    /// Write a new aircraft file by answering questions, each number explained with a drawing.
    New(new::Arguments),
    /// Note what was done to a surface or a servo: its record begins a new baseline.
    Note(note::Arguments),
    /// Make all results of a logbook again from its recordings.
    Recheck(recheck::Arguments),
    /// Write the report of an aircraft from its logbook: a page for the field, then each surface and servo with its history.
    Report(report::Arguments),
    /// Look at a rig: its port, who it is, what it reads.
    Rig(rig::Arguments),
    /// Every surface's and servo's health over its recordings: trends, and when a limit will be reached.
    Season(season::Arguments),
    /// Test a servo: dead time, speed, dead band, centring, current, on a rig or from recordings.
    Servo(servo::Arguments),
    /// All servos on one supply: what they draw together, their leads against copper, ratings, flights on a charge.
    Supply(supply::Arguments),
    /// Sweep a surface between its throws, keep the recording, and judge it.
    Sweep(sweep::Arguments),
    /// A rig on a pseudo-terminal that behaves as a real one would, with faults on demand.
    Simulate(Box<simulate::Arguments>),
}

/// All commands and options as they are defined, for manual pages and completions.
pub fn command() -> clap::Command {
    Arguments::command()
}

/// Parses the command line and runs it; the exit status.
pub fn run() -> u8 {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version go to standard output and are no fault; anything else is an argument that could not be used.
            let _ = error.print();
            return if error.use_stderr() {
                exit::UNUSABLE
            } else {
                exit::NO_FAULT
            };
        }
    };
    match arguments.command {
        Command::Bench(arguments) => bench::run(&arguments),
        Command::BreakIn(arguments) => break_in::run(&arguments),
        Command::Calibrate(arguments) => calibrate::run(&arguments),
        Command::Check(arguments) => check::run(&arguments),
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Doctor(arguments) => doctor::run(&arguments),
        Command::Linkage(arguments) => linkage::run(&arguments),
        Command::Flight(arguments) => flight::run(&arguments),
        Command::Heat(arguments) => heat::run(&arguments),
        Command::Held(arguments) => held::run(&arguments),
        Command::Rods(arguments) => rods::run(&arguments),
        Command::Prove(arguments) => prove::run(&arguments),
        Command::New(arguments) => new::run(&arguments),
        Command::Note(arguments) => note::run(&arguments),
        Command::Recheck(arguments) => recheck::run(&arguments),
        Command::Repeat(arguments) => repeat::run(&arguments),
        Command::Report(arguments) => report::run(&arguments),
        Command::Rig(arguments) => rig::run(&arguments),
        Command::Season(arguments) => season::run(&arguments),
        Command::Servo(arguments) => servo::run(&arguments),
        Command::Supply(arguments) => supply::run(&arguments),
        Command::Sweep(arguments) => sweep::run(&arguments),
        Command::Simulate(arguments) => simulate::run(&arguments),
    }
}

/// Shows a problem on standard error, wrapped to a terminal's width; the excerpt of a file stays as it is.
pub(crate) fn complain(problem: &Problem) {
    use std::io::{IsTerminal, Write};
    let shown = if std::io::stderr().is_terminal() {
        let wrap = |text: &str, indent: &str| {
            textwrap::fill(
                text,
                crate::report::text::wrapping(show::terminal_width()).subsequent_indent(indent),
            )
        };
        let wrapped = Problem {
            what: wrap(&format!("hingewright: {}", problem.what), "  ").replacen(
                "hingewright: ",
                "",
                1,
            ),
            excerpt: problem.excerpt.clone(),
            hint: problem.hint.as_ref().map(|hint| {
                wrap(&format!("  what to do: {hint}"), "    ").replacen("  what to do: ", "", 1)
            }),
        };
        wrapped.to_string()
    } else {
        problem.to_string()
    };
    // Nothing can be done about a standard error that is closed.
    let _ = writeln!(anstream::stderr(), "\u{1b}[1mhingewright:\u{1b}[0m {shown}");
}

/// A number of the command line within bounds.
fn number_between<const LOWEST: u32, const HIGHEST: u32>(text: &str) -> Result<f64, String> {
    let (lowest, highest) = (f64::from(LOWEST), f64::from(HIGHEST));
    match text.parse::<f64>() {
        Ok(number) if (lowest..=highest).contains(&number) => Ok(number),
        _ => Err(format!(
            "a number from {lowest} to {highest} is wanted here"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The words of a line as a shell takes them, as far as examples use one: blanks and quotation marks.
    fn words(line: &str) -> Vec<String> {
        let quoted = |(i, part): (usize, &str)| match i % 2 {
            0 => part.split_whitespace().map(str::to_owned).collect(),
            _ => vec![part.to_owned()],
        };
        line.split('"').enumerate().flat_map(quoted).collect()
    }

    fn examples(command: &clap::Command) -> Vec<String> {
        let help = command.get_after_help().map(ToString::to_string);
        let lines = help.unwrap_or_default();
        let lines = lines.lines().map(str::trim);
        let own = lines.filter(|l| l.starts_with("hingewright "));
        let mut all: Vec<String> = own.map(str::to_owned).collect();
        all.extend(command.get_subcommands().flat_map(examples));
        all
    }

    #[test]
    fn every_example_in_a_help_text_is_one_that_the_program_takes() {
        let all = examples(&Arguments::command());
        assert!(all.len() > 12, "{all:?}");
        for example in all {
            if let Err(error) = Arguments::try_parse_from(words(&example)) {
                panic!("{example}: {error}");
            }
        }
    }

    #[test]
    fn a_sweep_in_an_example_that_nothing_came_before_begins_its_logbook() {
        let all = examples(&Arguments::command());
        let new = all.iter().filter(|e| e.contains("--logbook my-logbook"));
        assert!(new.clone().count() > 0);
        for example in new {
            assert!(example.contains("--aircraft samples/"), "{example}");
        }
    }
}
