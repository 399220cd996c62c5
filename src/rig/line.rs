//! The line to a rig: reading and recording on one thread of its own, heartbeat and signals on another, so that a slow screen,
//! a slow disk or a busy driver never makes it lose a byte, nor a kernel that keeps the reader waiting make it miss a beat.
//!
//! Whatever ends it (the driver's end, a panic, a signal, a failing disk), an armed rig is sent `DISARM` first.

use std::collections::HashMap;
use std::future::poll_fn;
use std::pin::Pin;
use std::sync::atomic::{AtomicBool, AtomicU16, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::Poll;
use std::thread::JoinHandle;
use std::time::Duration;

use tokio::sync::{broadcast, oneshot, watch};

use super::cut::Cut;
use super::ear::Ear;
use super::live::{Heard, Live};
use super::tasks;
use super::wire::WayOut;
use crate::link::{PutNow, Wire, encode};
use crate::problem::Problem;
use crate::recording::{Journal, Written};

/// The link gives a rig 200 ms to answer; the rest is for a slow line and a busy computer.
pub const ANSWER_WITHIN: Duration = Duration::from_millis(350);
/// A command that is not answered is sent again, with a new number, until it has been sent this often. Every command of the
/// link may be repeated without harm.
pub const TRIES: usize = 3;
/// Bytes kept before a recording begins, so that it can begin with the rig's own `RIG` line.
const MOST_KEPT_BYTES: usize = 256 << 10;
/// Batches that a slow listener may fall behind before it misses some.
const LISTENER_BATCHES: usize = 4096;

/// Shared by the line's tasks and its handle.
pub(super) struct Shared {
    pub port: String,
    pub way_out: WayOut,
    /// Set before `ARM` is sent, cleared once `DISARM` is answered or the rig says that it is disarmed.
    pub armed: AtomicBool,
    /// Set while `DISARM` is being sent: no heartbeat keeps a rig armed that did not hear it.
    pub lets_go: AtomicBool,
    /// What its events said last.
    says: Mutex<Option<Says>>,
    next_id: AtomicU16,
    /// Scale and zero of the angle sensor, where it is calibrated.
    pub angle: Mutex<Option<(f64, f64)>>,
    waiting: Mutex<HashMap<u16, oneshot::Sender<Answer>>>,
    taker: Mutex<Taker>,
    pub heard: broadcast::Sender<Arc<[Heard]>>,
    pub live: watch::Sender<Live>,
    cut: watch::Sender<Option<Cut>>,
    runtime: tokio::runtime::Handle,
}

type Answer = Result<(), String>;

/// Whether the rig said last that it is armed, or that it is not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Says {
    Armed,
    Disarmed,
}

/// What becomes of the bytes.
enum Taker {
    /// Kept since the last `RIG` line, for a recording that may begin.
    Before(Vec<u8>),
    Journal(Journal),
}

/// A line to a rig.
pub struct Line {
    shared: Arc<Shared>,
    ends: Vec<oneshot::Sender<()>>,
    threads: Vec<JoinHandle<()>>,
}

impl Line {
    /// Opens a line. `open` is called within the line's own runtime; `port` is what messages call it.
    pub fn open<F>(port: &str, open: F) -> Result<Self, Problem>
    where
        F: FnOnce() -> Result<Wire, Problem> + Send + 'static,
    {
        let (heart_ends, heart_ended) = oneshot::channel();
        let (tell_handle, told_handle) = std::sync::mpsc::channel();
        let (tell_shared, told_shared) = std::sync::mpsc::channel::<Arc<Shared>>();
        let heart = on_a_thread("heart", move || async move {
            let _ = tell_handle.send(tokio::runtime::Handle::current());
            // There is nothing to watch until the port is open, and nothing at all if it cannot be opened.
            if let Ok(shared) = told_shared.recv() {
                tasks::watch_until(shared, heart_ended).await;
            }
        })?;
        let runtime = told_handle.recv().map_err(|_| not_started())?;
        let (line_ends, line_ended) = oneshot::channel();
        let (tell, told) = std::sync::mpsc::channel();
        let name = port.to_owned();
        let reader = on_a_thread("line", move || async move {
            match open() {
                Ok(wire) => {
                    let shared = Arc::new(Shared::new(name, wire.write, runtime));
                    let _ = tell_shared.send(Arc::clone(&shared));
                    let _ = tell.send(Ok(Arc::clone(&shared)));
                    tasks::read_until(shared, wire.read, line_ended).await;
                }
                Err(problem) => {
                    let _ = tell.send(Err(problem));
                }
            }
        })?;
        let shared = told.recv().map_err(|_| not_started())??;
        Ok(Self {
            shared,
            ends: vec![line_ends, heart_ends],
            threads: vec![reader, heart],
        })
    }

    pub fn port(&self) -> &str {
        &self.shared.port
    }

    /// The present, for whoever watches.
    pub fn live(&self) -> watch::Receiver<Live> {
        self.shared.live.subscribe()
    }

    /// Everything from now on, in order.
    pub fn listen(&self) -> Ear {
        Ear::new(
            self.shared.port.clone(),
            self.shared.heard.subscribe(),
            self.shared.cut.subscribe(),
        )
    }

    /// Sends a command and waits for its answer, by the one rule: [`ANSWER_WITHIN`], [`TRIES`]. Gives the number that was answered:
    /// its `OK` stands in what an [`Ear`] hears, too.
    pub async fn command(&self, kind: &'static str, arguments: &str) -> Result<u16, Cut> {
        let mut cut = self.shared.cut.subscribe();
        let mut answers = Vec::with_capacity(TRIES);
        for _ in 0..TRIES {
            let (id, answer) = self.shared.post(kind, arguments);
            answers.push((id, answer));
            let answer = tokio::select! {
                biased;
                Ok(cut) = cut.wait_for(Option::is_some) => return Err(cut.clone().unwrap_or(Cut::Restarted)),
                answer = first_of(&mut answers) => Some(answer),
                () = tokio::time::sleep(ANSWER_WITHIN) => None,
            };
            match answer {
                Some((id, Ok(()))) => return Ok(id),
                Some((_, Err(reason))) => {
                    return Err(Cut::Refused {
                        command: kind,
                        reason,
                    });
                }
                None => {}
            }
        }
        Err(Cut::Unanswered { command: kind })
    }

    /// From before `ARM` goes out until `DISARM` is answered, every end of this program sends `DISARM`.
    pub(super) fn mark_armed(&self) {
        // What it said of an arming before this one counts no more.
        self.shared.said(None);
        self.shared.lets_go.store(false, Ordering::SeqCst);
        self.shared.armed.store(true, Ordering::SeqCst);
    }

    /// What the rig's events said last.
    pub(super) fn says(&self) -> Option<Says> {
        *self
            .shared
            .says
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    pub fn is_armed(&self) -> bool {
        self.shared.armed.load(Ordering::SeqCst)
    }

    /// `DISARM` on the wire at once, and again until it is answered. Says whether it was; does nothing if nothing was armed.
    pub async fn disarm(&self) -> bool {
        self.shared.lets_go.store(true, Ordering::SeqCst);
        for _ in 0..TRIES {
            if !self.is_armed() {
                return true;
            }
            let (_, answer) = self.shared.post("DISARM", "");
            let answer = tokio::time::timeout(ANSWER_WITHIN, answer).await;
            // Where the answer was lost, its event tells as well; and the next try may be refused for having nothing to disarm.
            if matches!(answer, Ok(Ok(Ok(())))) || self.says() == Some(Says::Disarmed) {
                self.shared.armed.store(false, Ordering::SeqCst);
            }
        }
        !self.is_armed()
    }

    /// Begins to record, with the last `RIG` line as the first of the rig's.
    pub fn record(&self, journal: Journal) -> Result<(), Problem> {
        let failed = journal.failed();
        let mut taker = self.shared.taker();
        if let Taker::Before(kept) = &*taker {
            journal.bytes(kept).map_err(|_| disk_too_slow())?;
        }
        *taker = Taker::Journal(journal);
        drop(taker);
        // The disk is watched from the line's thread, for a driver may be waiting for something else.
        let shared = Arc::clone(&self.shared);
        self.shared
            .runtime
            .spawn(async move { tasks::mind_the_disk(&shared, failed).await });
        Ok(())
    }

    /// From here on angles heard are scale · (reading − zero in degrees), or the sensor's own. The recording stays as the rig
    /// sends it.
    pub fn calibrate_angle(&self, scale_and_zero: Option<(f64, f64)>) {
        *self.shared.angle() = scale_and_zero;
    }

    /// Ends whatever runs on this line, at once and for good: an armed rig is disarmed before this returns. From any thread.
    pub fn stop(&self, how: &'static str) {
        self.shared.cut(Cut::Stopped { how });
    }

    /// A `#` line of the host's into the recording, if there is one.
    pub fn host_line(&self, key: &str, value: &str) {
        if let Taker::Journal(journal) = &*self.shared.taker() {
            journal.host_line(key, value);
        }
    }

    /// Ends the recording, if there is one. Waits for the disk. Another may begin.
    pub fn end_recording(&self, outcome: Result<(), &str>) -> Option<Written> {
        let taker = std::mem::replace(&mut *self.shared.taker(), Taker::Before(Vec::new()));
        match taker {
            Taker::Journal(journal) => Some(journal.finish(outcome)),
            _ => None,
        }
    }

    /// Why the line ended, if it has.
    pub fn cut(&self) -> Option<Cut> {
        self.shared.cut.borrow().clone()
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        if self.is_armed() {
            self.shared.disarm_now();
        }
        self.ends.clear();
        for thread in self.threads.drain(..) {
            let _ = thread.join();
        }
    }
}

/// Runs a future on a thread with a runtime of its own.
fn on_a_thread<F: Future<Output = ()>>(
    name: &str,
    future: impl FnOnce() -> F + Send + 'static,
) -> Result<JoinHandle<()>, Problem> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|_| not_started())?;
    std::thread::Builder::new()
        .name(name.into())
        .spawn(move || runtime.block_on(async move { future().await }))
        .map_err(|_| not_started())
}

fn not_started() -> Problem {
    Problem::new("the line to the rig could not be started")
        .hint("close other programs, and try again")
}

impl Shared {
    fn new(port: String, way_out: Box<dyn PutNow>, runtime: tokio::runtime::Handle) -> Self {
        Self {
            port,
            way_out: WayOut::new(way_out),
            armed: AtomicBool::new(false),
            lets_go: AtomicBool::new(false),
            says: Mutex::new(None),
            next_id: AtomicU16::new(1),
            angle: Mutex::new(None),
            waiting: Mutex::default(),
            taker: Mutex::new(Taker::Before(Vec::new())),
            heard: broadcast::channel(LISTENER_BATCHES).0,
            live: watch::channel(Live::default()).0,
            cut: watch::channel(None).0,
            runtime,
        }
    }

    pub fn said(&self, says: Option<Says>) {
        *self.says.lock().unwrap_or_else(PoisonError::into_inner) = says;
    }

    pub fn angle(&self) -> MutexGuard<'_, Option<(f64, f64)>> {
        self.angle.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn taker(&self) -> MutexGuard<'_, Taker> {
        self.taker.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn waiting(&self) -> MutexGuard<'_, HashMap<u16, oneshot::Sender<Answer>>> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn command_line(&self, kind: &str, arguments: &str) -> (u16, Vec<u8>) {
        let id = self.next_id.fetch_add(1, Ordering::Relaxed);
        let comma = if arguments.is_empty() { "" } else { "," };
        let payload = format!("{kind},{id}{comma}{arguments}");
        // Commands are put together from words and numbers of our own, all of which the link carries.
        let line = encode(&payload).unwrap_or_default();
        (id, line.into_bytes())
    }

    /// Puts a command on the wire; its answer.
    fn post(&self, kind: &str, arguments: &str) -> (u16, oneshot::Receiver<Answer>) {
        let (id, line) = self.command_line(kind, arguments);
        let (tell, told) = oneshot::channel();
        self.waiting().insert(id, tell);
        // A port that is gone is noticed by whoever reads it.
        let _ = self.way_out.put(&line);
        (id, told)
    }

    pub fn answered(&self, id: u16, answer: Answer) {
        if let Some(tell) = self.waiting().remove(&id) {
            let _ = tell.send(answer);
        }
    }

    /// `DISARM` on the wire, from whatever thread, without waiting for anything.
    pub fn disarm_now(&self) {
        let (_, line) = self.command_line("DISARM", "");
        let _ = self.way_out.put(&line);
    }

    /// The first reason to end stays; an armed rig is disarmed at once. The reason stands before the rig can answer: what it
    /// says to a `DISARM` of ours would else be taken for its own doing.
    pub fn cut(&self, why: Cut) {
        self.cut.send_if_modified(|cut| {
            let first = cut.is_none();
            cut.get_or_insert(why);
            first
        });
        if self.armed.load(Ordering::SeqCst) {
            self.disarm_now();
        }
    }

    pub fn is_cut(&self) -> bool {
        self.cut.borrow().is_some()
    }

    /// Bytes to where they are kept. `rig_line`: a `RIG` line ended in them.
    pub fn keep(&self, bytes: &[u8], rig_line: bool) -> Result<(), Problem> {
        match &mut *self.taker() {
            Taker::Journal(journal) => journal.bytes(bytes).map_err(|_| disk_too_slow())?,
            Taker::Before(kept) => {
                kept.extend_from_slice(bytes);
                if rig_line {
                    let from = memchr::memmem::rfind(kept, b"\nRIG,").map_or(0, |at| at + 1);
                    kept.drain(..from);
                } else if kept.len() > MOST_KEPT_BYTES {
                    kept.clear();
                }
            }
        }
        Ok(())
    }
}

fn disk_too_slow() -> Problem {
    Problem::new("the disk has not kept up for so long that the recording had to be ended")
        .hint("give a logbook on another disk with --logbook; what had come by then is kept")
}

/// The first answer to any of these commands, with its number. One whose sender is gone never answers.
async fn first_of(answers: &mut [(u16, oneshot::Receiver<Answer>)]) -> (u16, Answer) {
    poll_fn(|context| {
        for (id, answer) in answers.iter_mut().filter(|(_, a)| !a.is_terminated()) {
            if let Poll::Ready(Ok(answer)) = Pin::new(answer).poll(context) {
                return Poll::Ready((*id, answer));
            }
        }
        Poll::Pending
    })
    .await
}
