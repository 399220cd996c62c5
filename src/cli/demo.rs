//! `demo`: the whole job without hardware. Each surface of an invented aircraft is a rig of its own, simulated by this program in
//! a second process on a pseudo-terminal; all that follows is what a builder would do.

mod season;

use std::io::{self, BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use clap::Args;

use super::rig::{PortArguments, greet, open, runtime};
use super::screen::Screen;
use super::words::say;
use super::{complain, report, show};
use crate::aircraft::Surface;
use crate::assess::pair_up;
use crate::bench::record::Record;
use crate::command::word;
use crate::logbook::{AIRCRAFT_FILE, Logbook, write_whole};
use crate::problem::{Problem, exit};
use crate::report::Checked;
use crate::rig::SweepPlan;
use crate::units::TorqueUnit;

/// How much faster than the wall's the simulated rigs' clocks run.
const TIMES_FASTER: &str = "10";
const CYCLES: u32 = 8;
const RATE_DEG_PER_S: f64 = 30.0;
const HOLD_S: f64 = 0.4;

/// The invented aircraft, with the calibrations that it names.
const FILES: [(&str, &str); 3] = [
    (AIRCRAFT_FILE, include_str!("../../samples/aircraft.toml")),
    (
        "E1.calibration.toml",
        include_str!("../../samples/E1.calibration.toml"),
    ),
    (
        "E2.calibration.toml",
        include_str!("../../samples/E2.calibration.toml"),
    ),
];

/// What is wrong with which surface: options of `simulate`.
const FAULTS: [(&str, &[&str]); 2] = [
    (STIFF, &["--knee-up", "15:3", "--cycles-worked", "0"]),
    // Where its season has come to by now: 3 N·cm, and 0.6 times that more with each of six sessions.
    ("rudder", &["--friction", "13.8"]),
];
/// The one whose hinge is new.
const STIFF: &str = "right elevator";

#[derive(Args)]
#[command(after_help = "Example:\n  hingewright demo --into dunlin")]
pub struct Arguments {
    /// The folder for the demo's logbook; made if it is not there
    #[arg(long, value_name = "DIR", default_value = "hingewright-demo")]
    into: PathBuf,
}

pub fn run(arguments: &Arguments) -> u8 {
    match demo(&arguments.into) {
        Ok(()) => exit::NO_FAULT,
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

fn demo(into: &Path) -> Result<(), Problem> {
    let logbook = invented(into)?;
    let aircraft = logbook.aircraft();
    say(&format!(
        "A demonstration. The aircraft \"{}\" is invented, and no hardware is needed: its rigs are simulated, {TIMES_FASTER} times\n\
         faster than life. With a real rig the same steps are `hingewright sweep SURFACE --port PATH --logbook DIR`.\n",
        aircraft.name
    ));
    let mut paths = Vec::new();
    let mut stiff = None;
    for (index, surface) in aircraft.surfaces.iter().enumerate() {
        let rig = SimulatedRig::start(&logbook.root().join(AIRCRAFT_FILE), surface, index)?;
        let path = swept(&logbook, index, surface, &rig, "demonstration")?;
        if surface.name == STIFF {
            stiff = Some((index, rig, path.clone()));
        }
        paths.push(path);
    }
    let mut assessed = Vec::new();
    for path in &paths {
        assessed.push(logbook.assess(path)?);
    }
    pair_up(aircraft, &mut assessed);
    for one in &assessed {
        logbook.store(aircraft, one)?;
    }
    let checked: Vec<Checked> = assessed
        .into_iter()
        .map(|one| Checked::of(aircraft, one))
        .collect();
    say("");
    // A reader that has seen enough is no fault of ours.
    let _ = show::found(&checked, TorqueUnit::NewtonCentimetre);
    if let Some((index, rig, before)) = stiff {
        worked_in_and_proved(&logbook, index, &rig, &before)?;
    }
    season_of(&logbook)?;
    made_anew(&logbook)?;
    let page = report::write_book(&logbook, TorqueUnit::NewtonCentimetre)?;
    say(&format!(
        "\nlogbook    {}\nopen this  {}",
        logbook.root().display(),
        page.display()
    ));
    Ok(())
}

/// The demo's logbook: its files are written if they are not there.
fn invented(into: &Path) -> Result<Logbook, Problem> {
    std::fs::create_dir_all(into).map_err(|error| {
        Problem::new(format!(
            "{}: the folder could not be made: {error}",
            into.display()
        ))
        .hint("give another one with --into")
    })?;
    for (name, text) in FILES {
        let path = into.join(name);
        match std::fs::read_to_string(&path) {
            Ok(there) if there == text => {}
            Ok(_) => {
                return Err(Problem::new(format!(
                    "{}: this folder has another {name} in it",
                    into.display()
                ))
                .hint("the demo leaves it alone: give it a folder of its own with --into"));
            }
            Err(_) => write_whole(&path, text.as_bytes())?,
        }
    }
    Logbook::open(into)
}

/// The new hinge worked in on its rig, swept again, and held against how it was.
fn worked_in_and_proved(
    logbook: &Logbook,
    index: usize,
    rig: &SimulatedRig,
    before: &Path,
) -> Result<(), Problem> {
    let surface = &logbook.aircraft().surfaces[index];
    let book = logbook.root().display().to_string();
    let how = ["--stages", "24", "--batch", "8", "--cycles-per-stage", "24"];
    let begin = |port| {
        let mut arguments = vec!["break-in", &surface.name, "--port", port];
        arguments.extend(["--logbook", &book]);
        arguments.extend(how);
        arguments
    };
    say(
        "\nIts hinge is new. It is worked in on the same rig, as yours would be with its port for PORT:",
    );
    show_command(&begin("PORT"));
    let mut arguments = begin(&rig.port);
    arguments.push("--yes");
    let worked = own(&arguments)?;
    // What will move and the cautions were said for the first sweep.
    let from = worked.find("batch      stage").unwrap_or(0);
    // The simulated rig is gone when the demo ends, and its port with it.
    let said = worked[from..].replace(&rig.port, "PORT");
    say(said.trim_end());
    if said.contains("PORT") {
        say("           (PORT: your rig's; the demo's is gone at its end)");
    }
    say("");
    let after = swept(logbook, index, surface, rig, "after")?;
    logbook.store(logbook.aircraft(), &logbook.assess(&after)?)?;
    let id = |path: &Path| {
        path.file_stem()
            .map_or(String::new(), |stem| stem.to_string_lossy().into_owned())
    };
    let (before, after) = (id(before), id(&after));
    let arguments = [
        "prove",
        &surface.name,
        "--logbook",
        &book,
        "--before",
        &before,
        "--after",
        &after,
    ];
    say("\nDid it change anything?");
    show_command(&arguments);
    let proved = own(&arguments)?;
    say(proved.trim_end());
    Ok(())
}

/// Half a year of two surfaces, and what `season` makes of it.
fn season_of(logbook: &Logbook) -> Result<(), Problem> {
    let count = season::lay_down(logbook, jiff::Timestamp::now())?;
    let book = logbook.root().display().to_string();
    let arguments = ["season", "--logbook", &book];
    say(&format!(
        "\nHalf a year is laid down in the same logbook ({count} simulated recordings), and this reads it:"
    ));
    show_command(&arguments);
    let read = own(&arguments)?;
    say(read.trim_end());
    Ok(())
}

/// A side that was worked in may differ from its pair since: results stand as a builder's recheck would leave them.
fn made_anew(logbook: &Logbook) -> Result<(), Problem> {
    let done = logbook.recheck(&|_, _| {})?;
    if done.changed > 0 {
        say(&format!(
            "\nThe first table is of the first sweeps. A hinge worked in can differ from its pair on the other side, and this holds \
             every pair's recordings against each other again ({} of {} results differ from what was stored):",
            done.changed, done.stored
        ));
        show_command(&[
            "recheck",
            "--logbook",
            &logbook.root().display().to_string(),
        ]);
    }
    Ok(())
}

/// A command line as a shell takes it, in one piece whatever the terminal's width is.
fn show_command(arguments: &[&str]) {
    let words: Vec<String> = arguments.iter().map(|text| word(text)).collect();
    let line = words.join(" ");
    // A reader that has seen enough is no fault of ours.
    let _ = writeln!(io::stdout(), "\n  hingewright {line}\n");
}

/// What a command of this program says on standard output. Its exit status is its verdict's, which the demo is about.
fn own(arguments: &[&str]) -> Result<String, Problem> {
    let failed = |why: String| {
        Problem::new(format!(
            "`hingewright {}` failed: {why}",
            arguments.join(" ")
        ))
        .hint("run it yourself to see what it says")
    };
    let program = std::env::current_exe().map_err(|e| failed(e.to_string()))?;
    let ran = Command::new(program)
        .args(arguments)
        .stdin(Stdio::null())
        .output()
        .map_err(|e| failed(e.to_string()))?;
    match ran.status.code() {
        Some(0 | 1) => Ok(String::from_utf8_lossy(&ran.stdout).into_owned()),
        _ => Err(failed(
            String::from_utf8_lossy(&ran.stderr).trim().to_owned(),
        )),
    }
}

/// Sweeps one surface on its rig; the recording.
fn swept(
    logbook: &Logbook,
    index: usize,
    surface: &Surface,
    rig: &SimulatedRig,
    purpose: &str,
) -> Result<PathBuf, Problem> {
    let aircraft = logbook.aircraft();
    let line = open(&PortArguments {
        port: rig.port.clone(),
        baud: 115_200,
    })?;
    let keys = [("purpose", purpose), ("note", "simulated rig")];
    let mut screen = Screen::named(&surface.name);
    let plan = SweepPlan::of(aircraft, surface, CYCLES, RATE_DEG_PER_S, HOLD_S);
    let run = runtime()?.block_on(async {
        let rig = greet(line).await?;
        let record = Record::begin(logbook, index, &keys)?;
        record
            .sweep(rig, plan, aircraft.trip_points(surface), &mut |p| {
                screen.progress(p)
            })
            .await
    })?;
    screen.end();
    if let Some(cut) = run.cut {
        return Err(cut.problem());
    }
    say(&format!(
        "swept      {:16} {}",
        surface.name,
        run.written.path.display()
    ));
    Ok(run.written.path)
}

/// A simulated rig in a process of its own, ended with this value.
struct SimulatedRig {
    child: Child,
    port: String,
}

impl SimulatedRig {
    fn start(aircraft: &Path, surface: &Surface, seed: usize) -> Result<Self, Problem> {
        let failed = |why: String| {
            Problem::new(format!("the simulated rig could not be started: {why}"))
                .hint("see what `hingewright simulate` says; it needs a pseudo-terminal, as Linux and macOS have them")
        };
        let program = std::env::current_exe().map_err(|e| failed(e.to_string()))?;
        let faults = FAULTS
            .iter()
            .find(|(name, _)| *name == surface.name)
            .map_or(&[][..], |(_, faults)| faults);
        let mut child = Command::new(program)
            .args([
                "simulate",
                "--fast",
                TIMES_FASTER,
                "--surface",
                &surface.name,
            ])
            .arg("--aircraft")
            .arg(aircraft)
            .args(["--seed", &seed.to_string()])
            .args(faults)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|e| failed(e.to_string()))?;
        let mut first = String::new();
        if let Some(out) = child.stdout.take() {
            let _ = BufReader::new(out).read_line(&mut first);
        }
        match first.trim().strip_prefix("the rig is at ") {
            Some(port) => Ok(Self {
                port: port.to_owned(),
                child,
            }),
            None => {
                let _ = child.kill();
                let _ = child.wait();
                Err(failed(format!("it said \"{}\"", first.trim())))
            }
        }
    }
}

impl Drop for SimulatedRig {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
