//! `rig`: which ports there are, what answers on one, and what it reads.

use std::io::{self, IsTerminal, Write};
use std::sync::Arc;
use std::time::Duration;

use clap::{Args, Subcommand};

use super::complain;
use crate::link::port;
use crate::problem::{Problem, exit};
use crate::recording::{Channel, Drive, RigIdentity};
use crate::rig::{Asked, Cut, Heard, Line, Live, Rig, Sample};
use crate::units::fixed;

/// How often a terminal is drawn anew.
const DRAW_EVERY: Duration = Duration::from_millis(16);
/// The rig is called silent after this.
const SILENT_AFTER: Duration = Duration::from_secs(2);

#[derive(Args)]
pub struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// List the serial ports of this computer, and what each one is.
    Ports,
    /// Ask the rig on a port who it is, which channels it has, and how fast it samples.
    #[command(after_help = "Example:\n  hingewright rig ask --port /dev/ttyACM0")]
    Ask(PortArguments),
    /// Show live what the rig reads, with its rate and what was lost or damaged. Nothing moves. Ctrl-C ends it.
    #[command(after_help = "Example:\n  hingewright rig watch --port /dev/ttyACM0 --seconds 10")]
    Watch(WatchArguments),
}

#[derive(Args)]
pub struct PortArguments {
    /// The rig's serial port
    #[arg(long, value_name = "PATH")]
    pub port: String,
    /// Bits per second of the line; a rig with USB of its own does not mind
    #[arg(long, value_name = "N", default_value_t = 115_200)]
    pub baud: u32,
}

#[derive(Args)]
struct WatchArguments {
    #[command(flatten)]
    port: PortArguments,
    /// End by itself after so many seconds
    #[arg(long, value_name = "S")]
    seconds: Option<f64>,
}

pub fn run(arguments: &Arguments) -> u8 {
    let done = match &arguments.what {
        What::Ports => ports(),
        What::Ask(port) => ask(port),
        What::Watch(watched) => watch(watched),
    };
    done.unwrap_or_else(|problem| {
        complain(&problem);
        exit::RIG
    })
}

/// Opens the line to a rig on a serial port.
pub fn open(port: &PortArguments) -> Result<Arc<Line>, Problem> {
    let (path, baud) = (port.port.clone(), port.baud);
    Line::open(&port.port, move || port::open(&path, baud)).map(Arc::new)
}

/// A runtime for the driver: the line has its own.
pub fn runtime() -> Result<tokio::runtime::Runtime, Problem> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Problem::new(format!("the program could not start its clock: {e}")))
}

/// Who answers.
pub async fn greet(line: Arc<Line>) -> Result<Rig<Asked>, Problem> {
    if io::stderr().is_terminal() {
        // A board that restarts when its port is opened takes its time.
        let _ = writeln!(io::stderr(), "asking {} …", line.port());
    }
    Rig::greet(line).await.map_err(|cut| cut.problem())
}

fn ports() -> Result<u8, Problem> {
    let ports = port::list()?;
    let mut out = anstream::stdout().lock();
    let said = if ports.is_empty() {
        writeln!(
            out,
            "No serial port found. Plug the rig in, wait a moment, and look again; if it stays away, try another cable."
        )
    } else {
        let widest = ports.iter().map(|p| p.path.len()).max().unwrap_or(0);
        ports
            .iter()
            .try_for_each(|p| writeln!(out, "{:widest$}  {}", p.path, p.what))
    };
    drop(said);
    Ok(exit::NO_FAULT)
}

/// What a rig is, as lines for people.
pub fn described(identity: &RigIdentity) -> String {
    let drive = match identity.drive {
        Drive::Driven => "drives the servo",
        Drive::Passive => "only measures: the surface is moved by hand or by transmitter",
    };
    let mut out = format!(
        "rig        {} (firmware {}), {drive}\nstates     {} samples/s\nchannels   ",
        identity.name, identity.firmware, identity.rate_hz
    );
    let channels: Vec<String> = identity
        .channels
        .iter()
        .map(|name| match Channel::from_name(name) {
            Some(_) => name.clone(),
            None => format!("{name} (not known here: kept, not used)"),
        })
        .collect();
    out += &channels.join(", ");
    out
}

fn ask(arguments: &PortArguments) -> Result<u8, Problem> {
    let line = open(arguments)?;
    runtime()?.block_on(async {
        let rig = greet(Arc::clone(&line)).await?;
        let identity = rig.identity().clone();
        let mut out = anstream::stdout();
        let _ = writeln!(out, "port       {}\n{}", arguments.port, described(&identity));
        let live = measured(&line).await.map_err(|cut| cut.problem())?;
        let _ = writeln!(
            out,
            "sends      {:.1} samples/s by its own clock\nline       {} samples, {} lost, {} damaged lines",
            live.rate_hz, live.samples, live.lost, live.damaged
        );
        if identity.rate_hz > 0.0 && (live.rate_hz / identity.rate_hz - 1.0).abs() > 0.05 {
            let _ = writeln!(
                out,
                "note       it states {} samples/s and sends {:.1}; its clock counts, the statement does not",
                identity.rate_hz, live.rate_hz
            );
        }
        if let Some(sample) = &live.latest {
            let _ = writeln!(out, "now        {}", reading_words(&identity, sample));
        }
        Ok(exit::NO_FAULT)
    })
}

/// The line after a bit more than a second of samples.
async fn measured(line: &Line) -> Result<Live, Cut> {
    let mut ear = line.listen();
    let live = line.live();
    let mut began_s = None;
    loop {
        if let Heard::Sample(sample) = ear
            .next_within(SILENT_AFTER, || live.borrow().bytes)
            .await?
            && sample.t_s - *began_s.get_or_insert(sample.t_s) > 1.2
        {
            return Ok(live.borrow().clone());
        }
    }
}

/// All readings of a sample in a row, each with its unit.
pub fn reading_words(identity: &RigIdentity, sample: &Sample) -> String {
    let known = identity
        .channels
        .iter()
        .filter_map(|name| Channel::from_name(name));
    known
        .map(|channel| reading(channel, sample.get(channel)))
        .collect::<Vec<_>>()
        .join("  ")
}

fn reading(channel: Channel, value: Option<f64>) -> String {
    let (name, decimals, unit) = match channel {
        Channel::PulseUs => ("pulse", 0, "µs"),
        Channel::AngleDeg => ("angle", 1, "°"),
        Channel::ArmDeg => ("arm", 1, "°"),
        Channel::CurrentMa => ("current", 0, "mA"),
        Channel::SupplyV => ("supply", 2, "V"),
        Channel::SourceV => ("source", 2, "V"),
        Channel::TorqueNcm => ("torque", 1, "N·cm"),
        Channel::ForceN => ("force", 1, "N"),
        Channel::CaseC => ("case", 0, "°C"),
        Channel::AirC => ("air", 0, "°C"),
        Channel::Current2Ma => ("second current", 0, "mA"),
    };
    let gap = if unit == "°" { "" } else { " " };
    match value {
        Some(value) => format!("{name} {}{gap}{unit}", fixed(value, decimals)),
        None => format!("{name} –"),
    }
}

fn watch(arguments: &WatchArguments) -> Result<u8, Problem> {
    let line = open(&arguments.port)?;
    runtime()?.block_on(async {
        let rig = greet(Arc::clone(&line)).await?;
        let identity = rig.identity().clone();
        let shown = if io::stdout().is_terminal() {
            on_terminal(&line, &identity, arguments.seconds).await
        } else {
            as_lines(&line, &identity, arguments.seconds).await
        };
        match shown {
            Ok(()) | Err(Cut::Stopped { .. }) => Ok(exit::NO_FAULT),
            Err(cut) => Err(cut.problem()),
        }
    })
}

/// One line, drawn over and over.
async fn on_terminal(line: &Line, identity: &RigIdentity, seconds: Option<f64>) -> Result<(), Cut> {
    let mut out = io::stdout();
    let _ = writeln!(
        out,
        "{}\nCtrl-C ends it. Nothing is driven.",
        described(identity)
    );
    let live = line.live();
    let mut ear = line.listen();
    let mut drawn = tokio::time::Instant::now();
    let mut began_s = None;
    loop {
        let heard = ear.next_within(SILENT_AFTER, || live.borrow().bytes).await;
        let now = live.borrow().clone();
        let draw = heard.is_err() || drawn.elapsed() >= DRAW_EVERY;
        if draw && let Some(sample) = &now.latest {
            drawn = tokio::time::Instant::now();
            let text = format!(
                "{:.0}/s  {} lost  {} damaged  | {}",
                now.rate_hz,
                now.lost,
                now.damaged,
                reading_words(identity, sample)
            );
            let width = console::Term::stdout()
                .size_checked()
                .map_or(80, |(_, w)| usize::from(w));
            let text = console::truncate_str(&text, width.saturating_sub(1), "…").into_owned();
            let _ = write!(out, "\r\x1b[2K{text}");
            let _ = out.flush();
        }
        match heard {
            Ok(Heard::Sample(sample)) => {
                let since_s = sample.t_s - *began_s.get_or_insert(sample.t_s);
                if seconds.is_some_and(|s| since_s >= s) {
                    let _ = writeln!(out);
                    return Ok(());
                }
            }
            Ok(Heard::Event { code, detail }) => {
                let _ = writeln!(out, "\r\x1b[2K{}", event_words(&code, detail.as_deref()));
            }
            Ok(Heard::Restarted) => {
                began_s = None;
                let _ = writeln!(out, "\r\x1b[2Kthe rig restarted");
            }
            Ok(Heard::Rig(_) | Heard::Ok { .. }) => {}
            Err(cut) => {
                let _ = writeln!(out);
                return Err(cut);
            }
        }
    }
}

fn event_words(code: &str, detail: Option<&str>) -> String {
    match detail {
        Some(detail) => format!("event: {code} ({detail})"),
        None => format!("event: {code}"),
    }
}

/// Every sample as a line of comma-separated values, at once: for a program that reads along.
async fn as_lines(line: &Line, identity: &RigIdentity, seconds: Option<f64>) -> Result<(), Cut> {
    let channels: Vec<Channel> = identity
        .channels
        .iter()
        .filter_map(|name| Channel::from_name(name))
        .collect();
    let names: Vec<&str> = channels.iter().map(|c| c.name()).collect();
    let mut out = io::stdout();
    if writeln!(out, "t_s,{}", names.join(",")).is_err() {
        return Ok(());
    }
    let live = line.live();
    let mut ear = line.listen();
    let mut began_s = None;
    let mut text = String::new();
    loop {
        let sample = match ear
            .next_within(SILENT_AFTER, || live.borrow().bytes)
            .await?
        {
            Heard::Sample(sample) => sample,
            Heard::Event { code, detail } => {
                let _ = writeln!(io::stderr(), "{}", event_words(&code, detail.as_deref()));
                continue;
            }
            Heard::Restarted => {
                let _ = writeln!(io::stderr(), "the rig restarted");
                began_s = None;
                continue;
            }
            Heard::Rig(_) | Heard::Ok { .. } => continue,
        };
        put_row(&mut text, &channels, &sample);
        // A reader that has seen enough is no fault; the whole batch goes out in one write.
        if (!ear.has_more() || text.len() > 16_384) && flush(&mut out, &mut text).is_err() {
            return Ok(());
        }
        let since_s = sample.t_s - *began_s.get_or_insert(sample.t_s);
        if seconds.is_some_and(|s| since_s >= s) {
            let _ = flush(&mut out, &mut text);
            let now = live.borrow().clone();
            let _ = writeln!(
                io::stderr(),
                "{:.1} samples/s, {} lost, {} damaged lines",
                now.rate_hz,
                now.lost,
                now.damaged
            );
            return Ok(());
        }
    }
}

fn put_row(text: &mut String, channels: &[Channel], sample: &Sample) {
    use std::fmt::Write;
    let _ = write!(text, "{:.6}", sample.t_s);
    for channel in channels {
        let _ = match sample.get(*channel) {
            Some(value) => write!(text, ",{value}"),
            None => write!(text, ","),
        };
    }
    text.push('\n');
}

fn flush(out: &mut io::Stdout, text: &mut String) -> io::Result<()> {
    let done = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    text.clear();
    done
}
