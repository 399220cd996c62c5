//! A cable between a host and a rig's port that goes bad when told, and keeps what it delivered to the host.

use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

use nix::fcntl::{FcntlArg, OFlag, fcntl};
use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use nix::sys::termios::{SetArg, cfmakeraw, tcgetattr, tcsetattr};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::bench::{now_ms, pause_ms};

/// Bytes, and how many there were when: ms.
type Delivered = (Vec<u8>, Vec<(f64, usize)>);

pub struct Cable {
    port: PathBuf,
    /// Held open, so that the host may come later.
    _theirs: OwnedFd,
    bad: Arc<AtomicBool>,
    ends: Arc<AtomicBool>,
    delivered: Arc<Mutex<Delivered>>,
    thread: Option<JoinHandle<()>>,
}

impl Cable {
    /// Good until told otherwise; then a bit is flipped in this share of the bytes, both ways.
    pub fn between(rig: &Path, share: f64, seed: u64) -> Self {
        let pair = nix::pty::openpty(None, None).unwrap();
        let mut form = tcgetattr(&pair.slave).unwrap();
        cfmakeraw(&mut form);
        tcsetattr(&pair.slave, SetArg::TCSANOW, &form).unwrap();
        fcntl(&pair.master, FcntlArg::F_SETFL(OFlag::O_NONBLOCK)).unwrap();
        let port = nix::unistd::ttyname(&pair.slave).unwrap();
        let rig = OpenOptions::new()
            .read(true)
            .write(true)
            .custom_flags(OFlag::O_NOCTTY.bits())
            .open(rig)
            .unwrap();
        let (bad, ends) = (
            Arc::new(AtomicBool::new(false)),
            Arc::new(AtomicBool::new(false)),
        );
        let delivered = Arc::new(Mutex::new((Vec::new(), Vec::new())));
        let thread = std::thread::spawn({
            let (bad, ends, delivered) = (bad.clone(), ends.clone(), delivered.clone());
            let mut chance = ChaCha8Rng::seed_from_u64(seed);
            let mut carry = move |bytes: &mut [u8]| {
                if bad.load(Ordering::Relaxed) {
                    for byte in bytes {
                        if chance.random_bool(share) {
                            *byte ^= 1 << chance.random_range(0..8_u32);
                        }
                    }
                }
            };
            let mut host = File::from(pair.master);
            move || {
                let mut rig = rig;
                while !ends.load(Ordering::Relaxed) {
                    if let Some(mut bytes) = take(&mut rig) {
                        carry(&mut bytes);
                        if !put(&mut host, &bytes, &ends) {
                            return;
                        }
                        let mut delivered = delivered.lock().unwrap();
                        delivered.0.extend_from_slice(&bytes);
                        let length = delivered.0.len();
                        delivered.1.push((now_ms(), length));
                    }
                    if let Some(mut bytes) = take(&mut host) {
                        carry(&mut bytes);
                        let _ = rig.write_all(&bytes);
                    }
                }
            }
        });
        Self {
            port,
            _theirs: pair.slave,
            bad,
            ends,
            delivered,
            thread: Some(thread),
        }
    }

    pub fn port(&self) -> &Path {
        &self.port
    }

    pub fn go_bad(&self) {
        self.bad.store(true, Ordering::Relaxed);
    }

    /// What has come out at the host's end, and how many bytes of it by a moment, ms.
    pub fn delivered(&self, by_ms: f64) -> (Vec<u8>, usize) {
        let delivered = self.delivered.lock().unwrap();
        let before = delivered.1.iter().rev().find(|(at, _)| *at <= by_ms);
        (delivered.0.clone(), before.map_or(0, |(_, length)| *length))
    }
}

impl Drop for Cable {
    fn drop(&mut self) {
        self.ends.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// What is there within a millisecond.
fn take(from: &mut File) -> Option<Vec<u8>> {
    let mut watched = [PollFd::new(from.as_fd(), PollFlags::POLLIN)];
    let ready = poll(&mut watched, PollTimeout::from(1_u8)).unwrap_or(0);
    let mut bytes = vec![0; 4096];
    if ready == 0 {
        return None;
    }
    let count = from.read(&mut bytes).ok().filter(|count| *count > 0)?;
    bytes.truncate(count);
    Some(bytes)
}

/// Hands all of it over; `false` if the cable ended while the host did not read.
fn put(host: &mut File, mut bytes: &[u8], ends: &AtomicBool) -> bool {
    while !bytes.is_empty() {
        match host.write(bytes) {
            Ok(count) => bytes = &bytes[count..],
            Err(_) if ends.load(Ordering::Relaxed) => return false,
            Err(_) => pause_ms(1.0),
        }
    }
    true
}
