//! Hearing a rig in order, with the reasons to stop in between.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{broadcast, watch};
use tokio::time::Instant;

use super::cut::Cut;
use super::live::Heard;

/// Woken so much later than asked for, the program stood still itself (a computer that sleeps, a terminal's Ctrl-Z) ...
const OVERSLEPT: Duration = Duration::from_millis(50);
/// ... and what waits in the port is heard first, for so long.
const CATCH_UP: Duration = Duration::from_millis(250);

/// What a rig says, from when it was made. It misses the oldest where its owner falls far behind; the recording does not.
pub struct Ear {
    port: String,
    heard: broadcast::Receiver<Arc<[Heard]>>,
    cut: watch::Receiver<Option<Cut>>,
    batch: Arc<[Heard]>,
    next: usize,
    last_sample: Instant,
}

impl Ear {
    pub(super) fn new(
        port: String,
        heard: broadcast::Receiver<Arc<[Heard]>>,
        cut: watch::Receiver<Option<Cut>>,
    ) -> Self {
        Self {
            port,
            heard,
            cut,
            batch: Arc::from([]),
            next: 0,
            last_sample: Instant::now(),
        }
    }

    /// What comes next. Cancelled, it has taken nothing.
    pub async fn next(&mut self) -> Result<Heard, Cut> {
        loop {
            // A reason to end goes before what was said ahead of it: a driver must not go on.
            if let Some(cut) = self.cut.borrow().clone() {
                return Err(cut);
            }
            if let Some(heard) = self.batch.get(self.next) {
                self.next += 1;
                if matches!(heard, Heard::Sample(_)) {
                    self.last_sample = Instant::now();
                }
                return Ok(heard.clone());
            }
            tokio::select! {
                biased;
                _ = self.cut.changed() => {}
                batch = self.heard.recv() => match batch {
                    Ok(batch) => (self.batch, self.next) = (batch, 0),
                    Err(broadcast::error::RecvError::Lagged(_)) => {}
                    Err(broadcast::error::RecvError::Closed) => {
                        return Err(Cut::PortGone { port: self.port.clone() });
                    }
                }
            }
        }
    }

    /// The same, unless no good sample comes for as long as this.
    pub async fn next_within(
        &mut self,
        patience: Duration,
        bytes: impl Fn() -> u64,
    ) -> Result<Heard, Cut> {
        let before = bytes();
        loop {
            let deadline = self.last_sample + patience;
            if let Ok(heard) = tokio::time::timeout_at(deadline, self.next()).await {
                return heard;
            }
            if deadline.elapsed() < OVERSLEPT {
                break;
            }
            self.last_sample += deadline.elapsed() + CATCH_UP;
        }
        let (port, seconds) = (self.port.clone(), patience.as_secs_f64());
        Err(if bytes() > before {
            Cut::NoGoodSample { port, seconds }
        } else {
            Cut::Silent { port, seconds }
        })
    }

    /// Whether more of what came together is still to be heard.
    pub fn has_more(&self) -> bool {
        self.next < self.batch.len()
    }

    /// Begins the patience of [`Ear::next_within`] anew.
    pub fn be_patient_from_now(&mut self) {
        self.last_sample = Instant::now();
    }
}
