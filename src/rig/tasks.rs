//! The tasks of a line, on two threads: reading on one; heartbeat, signals and the disk on the other.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt};
use tokio::sync::{oneshot, watch};
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
const BEAT_EVERY: Duration = Duration::from_millis(60);
const READ_BYTES: usize = 64 << 10;

/// Reads a line until its handle lets go. On a thread of its own: the kernel may keep it waiting.
pub(super) async fn read_until(
    shared: Arc<Shared>,
    from: Box<dyn AsyncRead + Send + Unpin>,
    ended: oneshot::Receiver<()>,
) {
    tokio::select! {
        () = read(Guard(shared), from) => {}
        // An error only means that the handle is gone, which is the end as well.
        _ = ended => {}
    }
}

/// Beats and minds signals and disk until the handle lets go. On another thread, which never touches the port but to write.
pub(super) async fn watch_until(shared: Arc<Shared>, ended: oneshot::Receiver<()>) {
    let signals = tokio::spawn(mind_signals(Arc::clone(&shared)));
    tokio::select! {
        () = beat(Guard(shared)) => {}
        _ = ended => {}
    }
    signals.abort();
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

async fn read(guard: Guard, mut from: Box<dyn AsyncRead + Send + Unpin>) {
    let shared = &guard.0;
    let mut decoder = Decoder::knowing(|name| Channel::from_name(name).is_some());
    let mut follower = Follower::new();
    let mut buffer = vec![0; READ_BYTES];
    loop {
        let count = match from.read(&mut buffer).await {
            Ok(0) => break,
            Ok(count) => count,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(_) => break,
        };
        let bytes = &buffer[..count];
        let mut batch: Vec<Heard> = Vec::new();
        let mut rig_line = false;
        follower.angle = *shared.angle();
        decoder.feed(bytes, |message| {
            rig_line |= matches!(message, Message::Rig(_));
            hear(shared, &message);
            follower.take(&message, &mut batch);
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
        _ => {}
    }
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
        let lets_go = shared.lets_go.load(Ordering::SeqCst) || shared.is_cut();
        if shared.armed.load(Ordering::SeqCst) && !lets_go {
            // A port that is gone is noticed by whoever reads it.
            let _ = shared.way_out.put(&alive);
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
