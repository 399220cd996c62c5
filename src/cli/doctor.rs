//! `doctor`: port, rig, readings at rest, clocks, disk and files looked at before a session. Nothing moves.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use clap::Args;
use jiff::Timestamp;

use super::rig::{PortArguments, greet, open, runtime};
use super::whose::{Opened, Whose};
use super::{at_rig, show};
use crate::aircraft::{Aircraft, Surface};
use crate::assess::surface_named;
use crate::command::word;
use crate::doctor::{self, Arrival, Look, Named, Said, State};
use crate::link::port;
use crate::logbook::{Logbook, free_bytes, try_writing};
use crate::problem::{Problem, exit};
use crate::recording::{Channel, HostKeys, RigIdentity};
use crate::report::doctor::{json, summary, text};
use crate::rig::{Cut, Heard, Line, Live, Sample};

/// What a line's speed is unless it is said.
const BAUD: u32 = 115_200;
/// A rig is silent after this long.
const SILENT_AFTER: std::time::Duration = std::time::Duration::from_secs(2);

#[derive(Args)]
#[command(
    after_help = "Lay the surface still and leave it alone meanwhile: noise and range are told at rest only. What is not named is not looked at.\n\n\
                  Exit status: 0 nothing found (what is only to mind counts as nothing); 1 something that spoils measuring; 2 a file or folder cannot be \
                  used; 3 the port could not be opened, or the rig failed or is silent. Of several the highest.\n\n\
                  Example:\n  hingewright doctor --port /dev/ttyACM0 --logbook dunlin --surface \"left elevator\""
)]
pub struct Arguments {
    /// The rig's serial port; without it the ports that there are are listed
    #[arg(long, value_name = "PATH")]
    port: Option<String>,
    /// Bits per second of the line; a rig with USB of its own does not mind
    #[arg(long, value_name = "N", default_value_t = BAUD)]
    baud: u32,
    #[command(flatten)]
    whose: Whose,
    /// The surface that the rig is on: what it needs is looked at, and no other's
    #[arg(long, value_name = "NAME")]
    surface: Option<String>,
    /// How long to look at the readings, seconds
    #[arg(long, value_name = "S", default_value_t = 5.0, value_parser = super::number_between::<2, 600>)]
    seconds: f64,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

pub fn run(arguments: &Arguments) -> u8 {
    let mut looks = Looks {
        shown: !arguments.json,
        all: Vec::new(),
    };
    computer_and_rig(arguments, &mut looks);
    let line = arguments.json.then(|| json(&looks.all));
    let said = at_rig::print(line, || format!("\n{}\n", summary(&looks.all)));
    let status = looks.all.iter().map(|look| status(look.state)).max();
    match said {
        Ok(()) => status.unwrap_or(exit::NO_FAULT),
        Err(problem) => {
            super::complain(&problem);
            exit::UNUSABLE
        }
    }
}

fn status(state: State) -> u8 {
    match state {
        State::Good | State::Mind | State::NotLooked => exit::NO_FAULT,
        State::Fault => exit::FOUND,
        State::Unusable => exit::UNUSABLE,
        State::RigFailed => exit::RIG,
    }
}

/// The looks, each shown as soon as it is there.
struct Looks {
    shown: bool,
    all: Vec<Look>,
}

impl Looks {
    fn add(&mut self, look: Look) {
        if self.shown {
            use std::io::Write;
            // A reader that has seen enough is no fault of ours.
            let _ = write!(
                anstream::stdout(),
                "{}",
                text(&look, show::terminal_width())
            );
        }
        self.all.push(look);
    }
}

fn computer_and_rig(arguments: &Arguments, looks: &mut Looks) {
    let whose = &arguments.whose;
    let at = match whose.logbook.is_some() && whose.not_begun().is_none() {
        true => "logbook",
        false => "aircraft file",
    };
    let opened = opened_or_told(at, whose.opened_or_not_begun(), looks);
    let logbook = opened.as_ref().and_then(|o| o.logbook.as_ref());
    let aircraft = opened.as_ref().and_then(Opened::aircraft);
    let mut of = Of {
        aircraft,
        ..Of::default()
    };
    if let Some(aircraft) = aircraft {
        looks.add(doctor::aircraft_file(aircraft));
        if let Some(note) = opened.as_ref().and_then(|o| o.note.as_ref()) {
            looks.add(doctor::other_file(note));
        }
        of.named = named(arguments);
        let index = arguments.surface.as_ref();
        let index = index.map(|name| surface_named(name, aircraft));
        let index = index.and_then(|index| opened_or_told("surface", index, looks));
        of.surface = index.map(|index| &aircraft.surfaces[index]);
        if let Some(surface) = of.surface {
            looks.add(doctor::angle_scale(surface, &of.named));
        }
    } else if arguments.surface.is_some() && opened.is_some() {
        looks.add(Look::not_looked(
            "surface",
            "no aircraft file was named: add --logbook DIR or --aircraft FILE",
        ));
    }
    looks.add(clock(logbook));
    let per_s = on_port(arguments, &of, looks);
    match (logbook, whose.not_begun()) {
        (Some(logbook), _) => disk(
            "logbook",
            || logbook.try_writing(),
            logbook.root(),
            per_s,
            looks,
        ),
        (None, Some((root, _))) => {
            looks.add(Look::good(
                "logbook",
                format!(
                    "{} is not begun yet: the first sweep with --aircraft begins it",
                    root.display()
                ),
            ));
            let whole = std::path::absolute(root).unwrap_or_else(|_| root.to_owned());
            if let Some(folder) = whole.ancestors().find(|f| f.is_dir()) {
                disk("folder", || try_writing(folder), folder, per_s, looks);
            }
        }
        (None, None) if whose.logbook.is_none() => looks.add(Look::not_looked(
            "disk",
            "no logbook was named: add --logbook DIR",
        )),
        (None, None) => {}
    }
}

/// What the rig is looked at for.
#[derive(Default)]
struct Of<'a> {
    aircraft: Option<&'a Aircraft>,
    surface: Option<&'a Surface>,
    named: Named,
}

fn named(arguments: &Arguments) -> Named {
    let whose = &arguments.whose;
    let text = |path: &Path| path.display().to_string();
    let begun = whose.logbook.is_some() && whose.not_begun().is_none();
    Named {
        port: arguments.port.as_ref().map(|path| {
            let baud = match arguments.baud {
                BAUD => String::new(),
                baud => format!(" --baud {baud}"),
            };
            format!("--port {}{baud}", word(path))
        }),
        logbook: whose.logbook.as_deref().map(text),
        // A logbook that is there has its own.
        aircraft: whose.aircraft.as_deref().filter(|_| !begun).map(text),
    }
}

fn opened_or_told<T>(at: &str, opened: Result<T, Problem>, looks: &mut Looks) -> Option<T> {
    opened
        .map_err(|problem| looks.add(Look::problem(at, State::Unusable, &problem)))
        .ok()
}

/// The computer's clock against the latest recording's own time.
fn clock(logbook: Option<&Logbook>) -> Look {
    let recordings = logbook
        .and_then(|l| l.recordings().ok())
        .unwrap_or_default();
    let began = |path: &PathBuf| {
        let at = HostKeys::of(path).ok()?.key("started")?.parse().ok()?;
        Some((at, path.file_stem()?.to_string_lossy().into_owned()))
    };
    let latest: Option<(Timestamp, String)> = recordings.iter().filter_map(began).max();
    let latest = latest.as_ref().map(|(at, id)| (*at, id.as_str()));
    doctor::clock(Timestamp::now(), latest)
}

fn disk(
    at: &str,
    try_writing: impl FnOnce() -> Result<(), Problem>,
    folder: &Path,
    per_s: Option<f64>,
    looks: &mut Looks,
) {
    let began = Instant::now();
    match try_writing() {
        Ok(()) => {
            let took_s = began.elapsed().as_secs_f64();
            looks.add(Look::good(
                at,
                format!("{} can be written to", folder.display()),
            ));
            looks.add(match free_bytes(folder) {
                Some(free) => doctor::disk(free, took_s, per_s),
                None => Look::not_looked("disk", "this system does not tell its free room"),
            });
        }
        Err(problem) => looks.add(Look::problem(at, State::Unusable, &problem)),
    }
}

/// What the port and the rig on it show; bytes a second that it sends, where it does.
fn on_port(arguments: &Arguments, of: &Of<'_>, looks: &mut Looks) -> Option<f64> {
    let Some(path) = &arguments.port else {
        looks.add(no_port_named());
        return None;
    };
    let port = PortArguments {
        port: path.clone(),
        baud: arguments.baud,
    };
    let failed = |at, problem: &Problem| Look::problem(at, State::RigFailed, problem);
    let line = match open(&port) {
        Ok(line) => line,
        Err(problem) => {
            looks.add(failed("port", &problem));
            looks.add(Look::not_looked("rig", "its port is not open"));
            return None;
        }
    };
    looks.add(Look::good(
        "port",
        format!("{path} opens, to read and to write"),
    ));
    let looked = runtime().map(|runtime| {
        runtime.block_on(async {
            let rig = greet(Arc::clone(&line)).await?;
            let identity = rig.identity().clone();
            looks.add(Look::good("rig", who(&identity)));
            looks.add(doctor::channels(&identity));
            looks.add(doctor::torque(
                &identity,
                of.aircraft,
                of.surface,
                &of.named,
            ));
            let seen = Seen::over(&line, arguments.seconds)
                .await
                .map_err(|cut| cut.problem())?;
            Ok((identity, seen))
        })
    });
    match looked.and_then(|looked| looked) {
        Ok((identity, seen)) => {
            all_seen(&identity, &seen, of, looks);
            Some(seen.bytes_per_s)
        }
        Err(problem) => {
            looks.add(failed("rig", &problem));
            None
        }
    }
}

fn no_port_named() -> Look {
    let ports = port::list().unwrap_or_default();
    match ports.is_empty() {
        true => Look::not_looked(
            "port",
            "none was named with --port, and this computer shows none: plug the rig in, or try another cable",
        ),
        false => {
            let paths: Vec<&str> = ports.iter().map(|p| p.path.as_str()).collect();
            Look::not_looked(
                "port",
                format!("none was named with --port; there are {}", paths.join(", ")),
            )
        }
    }
}

fn who(identity: &RigIdentity) -> String {
    let drive = match identity.drive {
        crate::recording::Drive::Driven => "drives the servo",
        crate::recording::Drive::Passive => "only measures",
    };
    format!(
        "{} (firmware {}) answers, {drive}",
        identity.name, identity.firmware
    )
}

fn all_seen(identity: &RigIdentity, seen: &Seen, of: &Of<'_>, looks: &mut Looks) {
    looks.add(doctor::rate(identity.rate_hz, seen.rate_hz));
    let (before, after) = (&seen.before, &seen.after);
    looks.add(doctor::line(
        after.samples - before.samples,
        after.lost - before.lost,
        after.damaged - before.damaged,
    ));
    looks.add(doctor::rig_clock(&seen.arrivals));
    for said in &seen.events {
        looks.add(doctor::event(said));
    }
    let limits = of.aircraft.map(|a| a.limits.clone()).unwrap_or_default();
    let least = of.aircraft.and_then(|aircraft| {
        let one = of.surface.map(std::slice::from_ref);
        // Of those alike the first.
        let each = one.unwrap_or(&aircraft.surfaces).iter().rev();
        let of = |s| aircraft.trip_points(s).supply_v;
        each.max_by(|a, b| of(a).total_cmp(&of(b)))
            .map(|s| (of(s), s.name.as_str()))
    });
    let of = |channel: Channel| seen.samples.iter().map(|s| s.get(channel)).collect();
    for look in doctor::readings(identity, &of, &limits, least) {
        looks.add(look);
    }
}

/// What came over a while.
struct Seen {
    samples: Vec<Sample>,
    arrivals: Vec<Arrival>,
    events: Vec<Said>,
    before: Live,
    after: Live,
    rate_hz: f64,
    bytes_per_s: f64,
}

impl Seen {
    /// Of a rig that restarts meanwhile there is nothing to go by.
    async fn over(line: &Line, seconds: f64) -> Result<Self, Cut> {
        let live = line.live();
        let mut ear = line.listen();
        let before = live.borrow().clone();
        let began = Instant::now();
        let (mut samples, mut arrivals, mut events) = (Vec::new(), Vec::new(), Vec::new());
        while began.elapsed().as_secs_f64() < seconds {
            match ear
                .next_within(SILENT_AFTER, || live.borrow().bytes)
                .await?
            {
                Heard::Sample(sample) => {
                    arrivals.push(Arrival {
                        rig_s: sample.t_s,
                        here_s: began.elapsed().as_secs_f64(),
                    });
                    samples.push(sample);
                }
                Heard::Event { code, detail } => {
                    Said::count(&mut events, code, detail);
                }
                Heard::Restarted => return Err(Cut::Restarted),
                Heard::Rig(_) | Heard::Ok { .. } => {}
            }
        }
        let took_s = began.elapsed().as_secs_f64();
        let after = live.borrow().clone();
        let span = arrivals.first().zip(arrivals.last());
        let span_s = span.map_or(0.0, |(first, last)| last.rig_s - first.rig_s);
        let (came, lost) = (samples.len() as f64, (after.lost - before.lost) as f64);
        Ok(Self {
            // What was sent, whether it arrived or not.
            rate_hz: if span_s > 0.0 {
                (came + lost - 1.0) / span_s
            } else {
                f64::NAN
            },
            bytes_per_s: (after.bytes - before.bytes) as f64 / took_s,
            samples,
            arrivals,
            events,
            before,
            after,
        })
    }
}
