//! A run of spells at a rig, for the commands that have one: who it is, what will move, the cautions, the recording, how it ended.
//! And recordings that are there already, read for the same commands. What is measured is theirs.

use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::complain;
use super::rig::{PortArguments, described, greet, open, runtime};
use super::screen::Screen;
use super::sweep::{agreed, cautions, how_it_ended, opened};
use super::words::{say, words_to_stderr};
use crate::aircraft::{self, Aircraft, Surface};
use crate::analysis::angle::calibrated;
use crate::assess::surface_named;
use crate::bench::record::Record;
use crate::logbook::{AIRCRAFT_FILE, Logbook, RECORDINGS, RESULTS};
use crate::problem::{Problem, exit};
use crate::recording::{self, Channel, Recording};
use crate::rig::{Asked, Rig, Spell, SweepPlan};

/// Where the recording comes from: a rig and a logbook, or files.
#[derive(Args)]
pub struct Source {
    /// The rig's serial port
    #[arg(long, value_name = "PATH")]
    port: Option<String>,
    /// Bits per second of the line; a rig with USB of its own does not mind
    #[arg(long, value_name = "N", default_value_t = 115_200)]
    baud: u32,
    /// The logbook: a folder with aircraft.toml in it
    #[arg(long, value_name = "DIR")]
    logbook: Option<PathBuf>,
    /// The aircraft file: begins a new logbook if there is none yet; with --from it is enough by itself
    #[arg(long, value_name = "FILE")]
    aircraft: Option<PathBuf>,
    /// Recordings that are there already, instead of a rig
    #[arg(long, value_name = "FILE", num_args = 1.., conflicts_with = "port")]
    pub from: Vec<PathBuf>,
    /// Anything worth remembering, kept with the recording
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Take the cautions as read and do not ask
    #[arg(long)]
    pub yes: bool,
    /// Say what would be done, ask the rig who it is if --port is given, and move and write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// The aircraft, in a logbook or by itself.
pub enum Home {
    /// In a folder of the moment, where nothing is to be begun.
    Logbook {
        logbook: Box<Logbook>,
        _scratch: Option<tempfile::TempDir>,
    },
    File(Box<Aircraft>),
}

impl Home {
    /// A logbook; begun with an aircraft file where there is none, but for a dry run.
    pub fn opened(root: &Path, aircraft: Option<&Path>, dry_run: bool) -> Result<Self, Problem> {
        let scratch = dry_run.then(tempfile::tempdir).and_then(Result::ok);
        let logbook = opened(
            root,
            aircraft,
            scratch.as_ref().map(tempfile::TempDir::path),
        )?;
        Ok(Self::Logbook {
            logbook: Box::new(logbook),
            _scratch: scratch,
        })
    }

    pub fn aircraft(&self) -> &Aircraft {
        match self {
            Self::Logbook { logbook, .. } => logbook.aircraft(),
            Self::File(aircraft) => aircraft,
        }
    }

    /// The logbook that a rig's recording is kept in.
    pub fn logbook(&self) -> Result<&Logbook, Problem> {
        match self {
            Self::Logbook { logbook, .. } => Ok(logbook),
            Self::File(_) => Err(
                Problem::new("a rig's recording needs a logbook to be kept in")
                    .hint("add --logbook DIR, or name recordings that are there"),
            ),
        }
    }

    pub fn surface_index(&self, name: &str) -> Result<usize, Problem> {
        surface_named(name, self.aircraft())
    }
}

impl Source {
    pub fn home(&self) -> Result<Home, Problem> {
        match (&self.logbook, &self.aircraft) {
            (None, Some(file)) => aircraft::read_path(file).map(|a| Home::File(Box::new(a))),
            (Some(root), file) => {
                let file = file.as_deref().filter(|_| self.from.is_empty());
                Home::opened(root, file, self.dry_run)
            }
            (None, None) => Err(Problem::new("no aircraft is named")
                .hint("add --logbook DIR, or with --from also --aircraft FILE")),
        }
    }

    /// The recordings of --from, each with its name. One of another surface is refused.
    pub fn read(&self, surface: &Surface) -> Result<Vec<(String, Recording)>, Problem> {
        let one = |path: &PathBuf| {
            let recording = recording::read_path(path)?;
            let own = recording.key("surface").map(str::trim);
            if let Some(own) = own.filter(|own| !surface.is_called(own)) {
                return Err(Problem::new(format!(
                    "{}: this recording is of the {own}, not of the {}",
                    path.display(),
                    surface.name
                ))
                .hint("name recordings of one surface, or the surface that they are of"));
            }
            Ok((path.display().to_string(), calibrated(recording, surface)))
        };
        self.from.iter().map(one).collect()
    }
}

/// The rig and how one talks at it.
#[derive(Debug, Clone, Copy)]
pub struct Bench<'a> {
    pub port: Option<&'a str>,
    pub baud: u32,
    pub note: Option<&'a str>,
    pub yes: bool,
    /// Standard output is for one JSON object: all words go to standard error.
    pub json: bool,
    /// Say what would be done, and move nothing.
    pub dry_run: bool,
    /// Where the angle that is driven comes from: the first of these that the rig has.
    pub angle_from: &'a [Channel],
}

impl Source {
    pub fn bench(&self) -> Bench<'_> {
        Bench {
            port: self.port.as_deref(),
            baud: self.baud,
            note: self.note.as_deref(),
            yes: self.yes,
            json: false,
            dry_run: self.dry_run,
            angle_from: &[Channel::AngleDeg],
        }
    }
}

impl Bench<'_> {
    fn driven_angle(&self, rig: &Rig<Asked>) -> Channel {
        let all = self.angle_from.iter().copied();
        all.clone()
            .find(|c| rig.has(*c))
            .or(all.clone().next())
            .unwrap_or(Channel::AngleDeg)
    }
}

/// Where the second servo of a surface is plugged in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plug {
    /// Its own, by whose current (current2_ma) it is seen; the first one's, where the rig has no such.
    Own,
    /// In the first one's place.
    First,
}

/// What a run is to do.
pub struct Job<'a> {
    pub bench: Bench<'a>,
    pub logbook: &'a Logbook,
    pub surface_index: usize,
    pub purpose: &'a str,
    /// Further `#` keys.
    pub keys: Vec<(&'a str, String)>,
    /// It is the surface's second servo alone, and where it is plugged in.
    pub by_second: Option<Plug>,
    pub plan: SweepPlan,
    pub spells: Vec<Spell>,
    /// What will move, in words.
    pub said: String,
}

/// How a run ended.
pub enum Ended {
    /// Before anything was recorded, with this exit status.
    Before(u8),
    /// A recording is there, and it reached its end.
    Whole(PathBuf),
    /// A recording is there, and it did not.
    Short(PathBuf),
}

/// Goes through it. `ready` is asked before each arming while the rig is disarmed.
pub fn run(job: &Job<'_>, ready: &mut impl AsyncFnMut(usize) -> bool) -> Result<Ended, Problem> {
    let bench = &job.bench;
    if bench.json {
        words_to_stderr();
    }
    let Some(port) = bench.port else {
        if !bench.dry_run {
            complain(
                &Problem::new("no rig is named, and no recording")
                    .hint("add --port PATH (`hingewright rig ports` lists them), or --from FILE"),
            );
            return Ok(Ended::Before(exit::UNUSABLE));
        }
        say(&job.said);
        say("Nothing was moved (--dry-run).");
        return Ok(Ended::Before(exit::NO_FAULT));
    };
    let port = PortArguments {
        port: port.to_owned(),
        baud: bench.baud,
    };
    let line = open(&port)?;
    runtime()?.block_on(async {
        let rig = greet(line).await?;
        say(&format!(
            "port       {}\n{}\n",
            port.port,
            described(rig.identity())
        ));
        if !rig.is_driven() {
            return Err(Problem::new(
                "this rig only measures, and here the servo has to be driven",
            )
            .hint("use a rig that gives the servo its pulses, or name recordings with --from"));
        }
        say(&job.said);
        if bench.dry_run {
            say("Nothing was moved (--dry-run).");
            return Ok(Ended::Before(exit::NO_FAULT));
        }
        match may_move(bench, &rig).await? {
            Some(status) => Ok(Ended::Before(status)),
            None => recorded(job, rig, ready).await,
        }
    })
}

/// Cautions and consent; the exit status where there is none.
async fn may_move(bench: &Bench<'_>, rig: &Rig<Asked>) -> Result<Option<u8>, Problem> {
    cautions(rig, bench.yes);
    if bench.yes {
        return Ok(None);
    }
    if !io::stdin().is_terminal() {
        complain(
            &Problem::new("nobody can be asked here whether it may move")
                .hint("run it in a terminal, or add --yes once you have read the cautions"),
        );
        return Ok(Some(exit::UNUSABLE));
    }
    if !agreed(rig).await? {
        say("Nothing was moved.");
        return Ok(Some(exit::NO_FAULT));
    }
    Ok(None)
}

async fn recorded(
    job: &Job<'_>,
    rig: Rig<Asked>,
    ready: &mut impl AsyncFnMut(usize) -> bool,
) -> Result<Ended, Problem> {
    let mut keys: Vec<(&str, &str)> = vec![("purpose", job.purpose)];
    keys.extend(job.keys.iter().map(|(key, value)| (*key, value.as_str())));
    keys.extend(job.bench.note.map(|note| ("note", note)));
    let record = match Record::begin(job.logbook, job.surface_index, &keys) {
        Ok(record) => match job.by_second {
            Some(Plug::First) => record.of_second_alone(),
            Some(Plug::Own) if !rig.has(Channel::Current2Ma) => record.of_second_alone(),
            _ => record,
        },
        // It is the folder that cannot be used, not the rig.
        Err(problem) => {
            complain(&problem);
            return Ok(Ended::Before(exit::UNUSABLE));
        }
    };
    say(&format!("recording  {}", record.path().display()));
    let aircraft = job.logbook.aircraft();
    let trip = aircraft.trip_points(&aircraft.surfaces[job.surface_index]);
    let mut screen = Screen::new();
    let way = (job.plan, trip, job.bench.driven_angle(&rig));
    let run = record
        .spells(rig, way, &job.spells, ready, &mut |p| screen.progress(p))
        .await;
    screen.end();
    let run = run?;
    for note in &run.notes {
        say(&format!("note       {note}"));
    }
    let whole = std::path::absolute(&run.written.path).unwrap_or_else(|_| run.written.path.clone());
    if how_it_ended(
        &run,
        "what was recorded is kept; run the same command again when ready",
    ) {
        say(&format!("kept       {}", whole.display()));
        return Ok(Ended::Short(whole));
    }
    Ok(Ended::Whole(whole))
}

/// Measures a recording of the logbook's for its results, and stores them.
pub fn store(logbook: &Logbook, path: &Path) -> Result<(), Problem> {
    let assessed = logbook.assess(path)?;
    let stored = logbook.store(logbook.aircraft(), &assessed)?;
    say(&format!("result     {}", stored.display()));
    Ok(())
}

/// Prints what a command found: as JSON on one line, or as text.
pub fn print(json: Option<String>, text: impl FnOnce() -> String) -> Result<(), Problem> {
    let told = match json {
        Some(line) => {
            let mut out = io::stdout().lock();
            writeln!(out, "{line}").and_then(|()| out.flush())
        }
        None => {
            let mut out = anstream::stdout().lock();
            write!(out, "{}", text()).and_then(|()| out.flush())
        }
    };
    match told {
        // A reader that has seen enough is no fault of ours.
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Problem::new(format!(
            "the result could not be written: {error}"
        ))),
        _ => Ok(()),
    }
}

/// A picture is never written over a recording that is read, nor among a logbook's own files.
pub fn spare(source: &Source, home: &Home, file: &Path) -> Result<(), Problem> {
    let clash = || {
        Problem::new(format!(
            "{}: the picture would stand over a file that is read here, or among the logbook's own",
            file.display()
        ))
        .hint("give --plot another name, for instance heat.svg")
    };
    let real = |path: &Path| path.canonicalize().ok();
    let inputs = source.from.iter().chain(&source.aircraft);
    if let Some(target) = real(file)
        && inputs.filter_map(|i| real(i)).any(|i| i == target)
    {
        return Err(clash());
    }
    let Home::Logbook { logbook, .. } = home else {
        return Ok(());
    };
    let folder = file.parent().filter(|p| *p != Path::new(""));
    let (Some(folder), Some(root)) = (real(folder.unwrap_or(Path::new("."))), real(logbook.root()))
    else {
        return Ok(());
    };
    let over_the_aircraft = folder == root && file.file_name().is_some_and(|n| n == AIRCRAFT_FILE);
    let inside = [RECORDINGS, RESULTS].map(|f| root.join(f));
    match over_the_aircraft || inside.iter().any(|f| folder.starts_with(f)) {
        true => Err(clash()),
        false => Ok(()),
    }
}
