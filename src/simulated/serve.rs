//! A simulated rig run on a pseudo-terminal until it ends: wall clock, signals, cable and record files around the core.
//! What the rig does is in `rig`, what the terminal does in `terminal`.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Instant, SystemTime, UNIX_EPOCH};

use nix::sys::signal::{SigSet, Signal};
use serde::Serialize;

use super::rig::{Kind, Note, Outgoing, SimulatedRig};
use super::terminal::{Link, Terminal};
use super::wire::Cable;
use crate::problem::Problem;

/// How long a rig whose cable was pulled is followed, s: long enough to see it disarm itself.
const AFTER_UNPLUGGING_S: f64 = 1.0;

/// What stands around a rig on a terminal.
#[derive(Debug)]
pub struct Serve {
    pub link: Option<PathBuf>,
    /// Ends by itself after so many seconds of the wall's clock.
    pub for_s: Option<f64>,
    /// Every line as it was sent, before the cable harmed it.
    pub sent: Option<PathBuf>,
    /// JSON lines: when it was armed, disarmed, restarted.
    pub events: Option<PathBuf>,
    pub cable: Cable,
    /// The cable from the host, where it harms too.
    pub cable_back: Option<Cable>,
}

/// How it went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Served {
    pub unplugged: bool,
    /// Lines dropped because the host did not read.
    pub dropped: u64,
}

/// One line of the events file.
#[derive(Serialize)]
struct Event<'a> {
    /// Milliseconds since 1970.
    t_wall_ms: f64,
    /// Milliseconds since the rig's start.
    t_ms: f64,
    what: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    reason: Option<&'a str>,
    /// When the servo got its last pulse; milliseconds since 1970.
    last_pulse_wall_ms: Option<f64>,
}

/// Runs a rig until a signal, its time or a pulled cable ends it. Says on `out` where it is: one line, then its link's.
pub fn serve(mut rig: SimulatedRig, serve: Serve, out: &mut impl Write) -> Result<Served, Problem> {
    let stop = stop_on_signals()?;
    let sent = serve.sent.as_deref().map(create).transpose()?;
    let events = serve.events.as_deref().map(create).transpose()?;
    let terminal = Terminal::open()?;
    let link = serve
        .link
        .as_deref()
        .map(|at| Link::make(at, terminal.path()))
        .transpose()?;
    // A reader of standard output that has gone is no reason to stop.
    let _ = writeln!(out, "the rig is at {}", terminal.path().display());
    if let Some(link) = &link {
        let _ = writeln!(out, "linked at {}", link.path().display());
    }
    let _ = out.flush();
    let mut session = Session {
        began: Instant::now(),
        began_ms: SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .map_or(0.0, |since| 1e3 * since.as_secs_f64()),
        sent,
        events,
        cable: serve.cable,
        cable_back: serve.cable_back,
        greeting: Vec::new(),
    };
    let mut port = Some((terminal, link));
    let mut dropped = 0;
    let mut unplugged_s = None;
    loop {
        match &port {
            Some((terminal, _)) => terminal.wait(1),
            None => std::thread::sleep(std::time::Duration::from_millis(1)),
        }
        let now_s = session.began.elapsed().as_secs_f64();
        match &mut port {
            Some((terminal, _)) => session.turn(&mut rig, terminal, now_s),
            None => session.turn_unplugged(&mut rig, now_s),
        }
        if rig.unplugged() && port.is_some() {
            dropped = port.take().map_or(0, |(terminal, _)| terminal.dropped());
            unplugged_s = Some(now_s);
        }
        let over = |since: Option<f64>, span: f64| since.is_some_and(|since| now_s >= since + span);
        if stop.load(Ordering::Relaxed)
            || over(serve.for_s, 0.0)
            || over(unplugged_s, AFTER_UNPLUGGING_S)
        {
            break;
        }
    }
    if let Some((terminal, _)) = &port {
        dropped = terminal.dropped();
    }
    session.write_event("ended", None, None, session.began.elapsed().as_secs_f64());
    Ok(Served {
        unplugged: unplugged_s.is_some(),
        dropped,
    })
}

struct Session {
    began: Instant,
    began_ms: f64,
    sent: Option<File>,
    events: Option<File>,
    cable: Cable,
    cable_back: Option<Cable>,
    /// A rig's first words wait for the first host; what else it says to nobody is lost.
    greeting: Vec<Outgoing>,
}

impl Session {
    fn turn(&mut self, rig: &mut SimulatedRig, terminal: &mut Terminal, now_s: f64) {
        if terminal.newly_opened() {
            rig.opened(now_s);
            if rig.booting() {
                self.greeting.clear();
            }
            for line in std::mem::take(&mut self.greeting) {
                self.send(terminal, line);
            }
        }
        let mut bytes = terminal.read();
        if let Some(cable) = &mut self.cable_back {
            bytes = cable.carry(&bytes);
        }
        rig.hear(now_s, &bytes);
        rig.pass(now_s);
        // Noted before it is told, so that whoever hears of it finds it in the file.
        self.write_notes(rig);
        for line in rig.take_lines() {
            match line.kind {
                _ if !terminal.alone() => self.send(terminal, line),
                Kind::Noise => self.greeting = vec![line],
                Kind::Hello => {
                    self.greeting.retain(|before| before.kind == Kind::Noise);
                    self.greeting.push(line);
                }
                Kind::Sample | Kind::Other => {}
            }
        }
        terminal.push();
    }

    fn turn_unplugged(&mut self, rig: &mut SimulatedRig, now_s: f64) {
        rig.pass(now_s);
        drop(rig.take_lines());
        self.write_notes(rig);
    }

    fn send(&mut self, terminal: &mut Terminal, line: Outgoing) {
        let arrives = self.cable.carry(&line.bytes);
        let sent = terminal.send(&arrives, line.kind == Kind::Sample);
        if let Some(file) = self
            .sent
            .as_mut()
            .filter(|_| sent && line.kind != Kind::Noise)
        {
            // A full disk must not stop the rig; the file then ends early, which its reader sees.
            let _ = file.write_all(&line.bytes);
        }
    }

    fn write_notes(&mut self, rig: &mut SimulatedRig) {
        for Note {
            wall_s,
            what,
            reason,
            last_pulse_wall_s,
        } in rig.take_notes()
        {
            self.write_event(what, reason.as_deref(), last_pulse_wall_s, wall_s);
        }
    }

    fn write_event(
        &mut self,
        what: &str,
        reason: Option<&str>,
        last_pulse_s: Option<f64>,
        wall_s: f64,
    ) {
        let Some(file) = &mut self.events else { return };
        let event = Event {
            t_wall_ms: self.began_ms + 1e3 * wall_s,
            t_ms: 1e3 * wall_s,
            what,
            reason,
            last_pulse_wall_ms: last_pulse_s.map(|at| self.began_ms + 1e3 * at),
        };
        if let Ok(mut text) = serde_json::to_string(&event) {
            text.push('\n');
            let _ = file.write_all(text.as_bytes());
        }
    }
}

fn create(path: &Path) -> Result<File, Problem> {
    File::create(path).map_err(|error| {
        Problem::new(format!(
            "{}: the file could not be written: {error}",
            path.display()
        ))
        .hint("name a file in a folder that is there and that you may write to")
    })
}

/// A flag that SIGINT, SIGTERM and SIGHUP set. The signals are held back everywhere and waited for in a thread of their own.
fn stop_on_signals() -> Result<Arc<AtomicBool>, Problem> {
    let mut signals = SigSet::empty();
    for signal in [Signal::SIGINT, Signal::SIGTERM, Signal::SIGHUP] {
        signals.add(signal);
    }
    signals
        .thread_block()
        .map_err(|error| Problem::new(format!("signals could not be held back: {error}")))?;
    let stop = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&stop);
    std::thread::spawn(move || {
        let _ = signals.wait();
        flag.store(true, Ordering::Relaxed);
    });
    Ok(stop)
}
