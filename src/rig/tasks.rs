//! The tasks on the line's thread: reading, writing, heartbeat, signals, the disk.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::MissedTickBehavior;

use super::cut::Cut;
use super::drive::disarms;
use super::line::{Says, Shared};
use super::live::{Follower, Heard};
use super::stop;
use crate::link::{Decoder, Message};
use crate::problem::Problem;
use crate::recording::Channel;

/// The link asks for one line every 150 ms at least.
const BEAT_EVERY: Duration = Duration::from_millis(80);
const READ_BYTES: usize = 64 << 10;

/// Runs a line until its handle lets go. A task that panics or is dropped disarms an armed rig on its way out.
pub(super) async fn run(
    shared: Arc<Shared>,
    out: mpsc::Receiver<Vec<u8>>,
    ended: oneshot::Receiver<()>,
) {
    let tasks = [
        tokio::spawn(read(Guard(Arc::clone(&shared)))),
        tokio::spawn(write(Guard(Arc::clone(&shared)), out)),
        tokio::spawn(beat(Guard(Arc::clone(&shared)))),
        tokio::spawn(mind_signals(Arc::clone(&shared))),
    ];
    // An error only means that the handle is gone, which is the end as well.
    let _ = ended.await;
    tasks.iter().for_each(tokio::task::JoinHandle::abort);
}

/// Held by a task without which a rig must not stay armed.
struct Guard(Arc<Shared>);

impl Drop for Guard {
    fn drop(&mut self) {
        if self.0.armed.load(Ordering::SeqCst) {
            self.0.disarm_now();
        }
    }
}

async fn read(guard: Guard) {
    let shared = &guard.0;
    let mut decoder = Decoder::knowing(|name| Channel::from_name(name).is_some());
    let mut follower = Follower::new();
    let mut buffer = vec![0; READ_BYTES];
    loop {
        let count = match shared.wire.read(&mut buffer).await {
            Ok(0) => break,
            Ok(count) => count,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(_) => break,
        };
        let bytes = &buffer[..count];
        let mut batch: Vec<Heard> = Vec::new();
        let mut rig_line = false;
        decoder.feed(bytes, |message| {
            rig_line |= matches!(message, Message::Rig(_));
            hear(shared, &message);
            batch.extend(follower.take(&message));
        });
        if let Err(problem) = shared.keep(bytes, rig_line) {
            shared.cut(Cut::Disk(problem));
        }
        follower.live.bytes += count as u64;
        shared.live.send_replace(follower.live.clone());
        if !batch.is_empty() {
            // Nobody need be listening.
            let _ = shared.heard.send(batch.into());
        }
    }
    shared.cut(Cut::PortGone {
        port: shared.port.clone(),
    });
}

/// What the line itself makes of a message.
fn hear(shared: &Shared, message: &Message<'_>) {
    match message {
        Message::Ok { id } => shared.answered(*id, Ok(())),
        Message::No { id, reason } => shared.answered(*id, Err((*reason).to_owned())),
        Message::Event(event) if event.code == "armed" => shared.said(Some(Says::Armed)),
        Message::Event(event) if disarms(event.code) => shared.said(Some(Says::Disarmed)),
        Message::Rig(_) => shared.said(None),
        _ => {}
    }
}

async fn write(guard: Guard, mut lines: mpsc::Receiver<Vec<u8>>) {
    let shared = &guard.0;
    while let Some(line) = lines.recv().await {
        if shared.wire.write(&line).await.is_err() {
            break;
        }
    }
    shared.cut(Cut::PortGone {
        port: shared.port.clone(),
    });
}

async fn beat(guard: Guard) {
    let shared = &guard.0;
    let alive = crate::link::encode("ALIVE")
        .unwrap_or_default()
        .into_bytes();
    let mut beats = tokio::time::interval(BEAT_EVERY);
    beats.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        beats.tick().await;
        // Once there is a reason to end, nothing keeps a rig armed.
        if shared.armed.load(Ordering::SeqCst) && !shared.is_cut() {
            // Where the queue is full the line is stuck, and one beat more would not help.
            let _ = shared.out.try_send(alive.clone());
        }
    }
}

async fn mind_signals(shared: Arc<Shared>) {
    let how = stop::asked().await;
    shared.cut(Cut::Stopped { how });
}

/// Ends the line's run when the journal fails.
pub(super) async fn mind_the_disk(shared: &Shared, mut failed: watch::Receiver<Option<Problem>>) {
    if let Ok(problem) = failed.wait_for(Option::is_some).await
        && let Some(problem) = problem.clone()
    {
        shared.cut(Cut::Disk(problem));
    }
}
