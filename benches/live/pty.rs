//! A rig's end of a pseudo-terminal, and lines ready to be sent.

use std::fs::File;
use std::io::{Read, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use hingewright::link::encode;
use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use nix::sys::termios::{SetArg, cfmakeraw, tcgetattr, tcsetattr};

/// What a bench's rig says it is; `current_ma` carries the sample's number.
pub fn identity(rate_hz: u32) -> String {
    line(&format!(
        "RIG,1,bench,1,passive,{rate_hz},angle_deg,current_ma,supply_v,pulse_us"
    ))
}

pub fn sample(number: u32, rate_hz: u32) -> String {
    let t_us = u64::from(number) * 1_000_000 / u64::from(rate_hz);
    let angle_deg = f64::from(number % 400) * 0.1 - 20.0;
    line(&format!(
        "S,{},{},{angle_deg:.2},{number},7.412,1500",
        number % 65_536,
        t_us % (1 << 32)
    ))
}

fn line(payload: &str) -> String {
    encode(payload).unwrap()
}

pub struct Pty {
    pub rig: File,
    pub path: PathBuf,
    _host: OwnedFd,
}

impl Pty {
    pub fn open() -> Self {
        let pair = nix::pty::openpty(None, None).unwrap();
        let mut form = tcgetattr(&pair.slave).unwrap();
        cfmakeraw(&mut form);
        tcsetattr(&pair.slave, SetArg::TCSANOW, &form).unwrap();
        Self {
            rig: File::from(pair.master),
            path: nix::unistd::ttyname(&pair.slave).unwrap(),
            _host: pair.slave,
        }
    }

    /// Answers `ASK` if it is there, waiting for so long at most.
    pub fn answer(&mut self, identity: &str, within: Duration) {
        let mut watched = [PollFd::new(self.rig.as_fd(), PollFlags::POLLIN)];
        let within = PollTimeout::try_from(within).unwrap();
        if poll(&mut watched, within).unwrap_or(0) == 0 {
            return;
        }
        let mut heard = [0; 1024];
        let count = self.rig.read(&mut heard).unwrap_or(0);
        for asked in String::from_utf8_lossy(&heard[..count]).lines() {
            if let Some(id) = asked.strip_prefix("ASK,").and_then(|a| a.split('*').next()) {
                let ok = line(&format!("OK,{id}"));
                self.rig.write_all(identity.as_bytes()).unwrap();
                self.rig.write_all(ok.as_bytes()).unwrap();
            }
        }
    }

    /// Sends samples at their times, answering in between, and notes in `written` when each was written, ns since `began`.
    pub fn send(&mut self, rate_hz: u32, began: Instant, written: &[AtomicU64]) {
        let identity = identity(rate_hz);
        for (number, at) in (0_u32..).zip(written) {
            let due = Duration::from_secs_f64(f64::from(number) / f64::from(rate_hz));
            while let Some(left) = due.checked_sub(began.elapsed()).filter(|l| !l.is_zero()) {
                // The poll's grain is a millisecond.
                if left > Duration::from_millis(2) {
                    self.answer(&identity, left - Duration::from_millis(1));
                } else {
                    std::thread::sleep(left);
                }
            }
            self.answer(&identity, Duration::ZERO);
            let text = sample(number, rate_hz);
            at.store(began.elapsed().as_nanos() as u64, Ordering::Release);
            self.rig.write_all(text.as_bytes()).unwrap();
        }
    }
}
