//! A simulated rig in a process of its own, and the smallest host that can talk to one. Nothing of the program's own
//! host in here: lines are cut and checked by hand.

use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::os::fd::AsFd;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use nix::fcntl::OFlag;
use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use serde_json::Value;
use tempfile::TempDir;

/// A running `simulate`; ended when dropped.
pub struct Rig {
    child: Child,
    out: BufReader<std::process::ChildStdout>,
    pub path: PathBuf,
    pub folder: TempDir,
}

impl Rig {
    /// Starts a rig with these options and a link, an events file and a file of what was sent in a folder of its own.
    pub fn start(options: &[&str]) -> Self {
        let folder = TempDir::new().unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_hingewright"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .arg("simulate")
            .args(options)
            .arg("--link")
            .arg(folder.path().join("rig"))
            .arg("--events")
            .arg(folder.path().join("events"))
            .arg("--sent")
            .arg(folder.path().join("sent"))
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let mut first = String::new();
        out.read_line(&mut first).unwrap();
        let path = first.trim_end().strip_prefix("the rig is at ");
        let path = PathBuf::from(path.unwrap_or_else(|| panic!("{first}")));
        let mut second = String::new();
        out.read_line(&mut second).unwrap();
        assert!(second.starts_with("linked at /"), "{second}");
        Self {
            child,
            out,
            path,
            folder,
        }
    }

    pub fn link(&self) -> PathBuf {
        self.folder.path().join("rig")
    }

    pub fn sent(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("sent")).unwrap()
    }

    pub fn events(&self) -> Vec<Value> {
        let text = std::fs::read_to_string(self.folder.path().join("events")).unwrap();
        text.lines()
            .map(|line| serde_json::from_str(line).unwrap())
            .collect()
    }

    pub fn signal(&self, signal: nix::sys::signal::Signal) {
        let id = nix::unistd::Pid::from_raw(i32::try_from(self.child.id()).unwrap());
        nix::sys::signal::kill(id, signal).unwrap();
    }

    /// How it ended, within five seconds.
    pub fn ended(&mut self) -> ExitStatus {
        let began = Instant::now();
        while began.elapsed() < Duration::from_secs(5) {
            if let Some(status) = self.child.try_wait().unwrap() {
                let mut rest = String::new();
                self.out.read_to_string(&mut rest).unwrap();
                return status;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        panic!("the rig does not end");
    }
}

impl Drop for Rig {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// CRC-16/IBM-3740 bit by bit, as its definition reads.
pub fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |start, byte| {
        (0..8).fold(start ^ (u16::from(*byte) << 8), |crc, _| {
            if crc & 0x8000 == 0 {
                crc << 1
            } else {
                (crc << 1) ^ 0x1021
            }
        })
    })
}

/// The payload of a whole line.
pub fn payload(line: &[u8]) -> Option<String> {
    let line = std::str::from_utf8(line).ok()?;
    let (payload, check) = line.rsplit_once('*')?;
    (check == format!("{:04X}", crc(payload.as_bytes()))).then(|| payload.to_owned())
}

/// A host with one port open.
pub struct Host {
    port: File,
    held: Vec<u8>,
    pub heard: Vec<String>,
    pub damaged: usize,
    /// The port is gone.
    pub hung_up: bool,
}

impl Host {
    pub fn open(path: &Path) -> Self {
        let port = OpenOptions::new()
            .read(true)
            .write(true)
            .custom_flags((OFlag::O_NOCTTY | OFlag::O_NONBLOCK).bits())
            .open(path)
            .unwrap();
        Self {
            port,
            held: Vec::new(),
            heard: Vec::new(),
            damaged: 0,
            hung_up: false,
        }
    }

    /// Waits a little for bytes and takes what is there.
    fn take(&mut self) {
        let mut watched = [PollFd::new(self.port.as_fd(), PollFlags::POLLIN)];
        let _ = poll(&mut watched, PollTimeout::from(10_u8));
        let mut part = [0; 4096];
        match self.port.read(&mut part) {
            Ok(0) => self.hung_up = true,
            Ok(count) => self.held.extend_from_slice(&part[..count]),
            Err(error) if error.kind() == ErrorKind::WouldBlock => {}
            Err(_) => self.hung_up = true,
        }
    }

    /// The next line that is whole, if one is here.
    fn line(&mut self) -> Option<String> {
        loop {
            let end = self.held.iter().position(|byte| *byte == b'\n')?;
            let line: Vec<u8> = self.held.drain(..=end).collect();
            match payload(&line[..end]) {
                Some(payload) => return Some(payload),
                None => self.damaged += 1,
            }
        }
    }

    pub fn say(&mut self, payload: &str) {
        let line = format!("{payload}*{:04X}\n", crc(payload.as_bytes()));
        // A port that is gone takes nothing, which `hung_up` tells.
        let _ = self.port.write_all(line.as_bytes());
    }

    /// Listens until a line begins so, with a heartbeat every 100 ms if asked for; the line, or None after `seconds`.
    pub fn listen(&mut self, begins: &str, seconds: f64, heartbeat: bool) -> Option<String> {
        let until = Instant::now() + Duration::from_secs_f64(seconds);
        let mut next_beat = Instant::now();
        while Instant::now() < until {
            if heartbeat && Instant::now() >= next_beat {
                self.say("ALIVE");
                next_beat = Instant::now() + Duration::from_millis(100);
            }
            while let Some(payload) = self.line() {
                self.heard.push(payload.clone());
                if payload.starts_with(begins) {
                    return Some(payload);
                }
            }
            if self.hung_up {
                return None;
            }
            self.take();
        }
        None
    }

    /// Says a command and gives the answer to it, which must come within the link's 200 ms (and a busy machine's 300).
    pub fn ask(&mut self, command: &str) -> String {
        let id = command.split(',').nth(1).unwrap().to_owned();
        self.say(command);
        let from = self.heard.len();
        let until = Instant::now() + Duration::from_millis(500);
        while Instant::now() < until {
            let _ = self.listen("nothing", 0.02, false);
            let answer = self.heard[from..].iter().find(|said| {
                let mut fields = said.split(',');
                matches!(fields.next(), Some("OK" | "NO")) && fields.next() == Some(&id)
            });
            if let Some(answer) = answer {
                return answer.clone();
            }
        }
        panic!("no answer to {command}: {:?}", self.heard.last());
    }

    /// The code and detail of the first event that begins so.
    pub fn event(&mut self, begins: &str, seconds: f64, heartbeat: bool) -> Option<String> {
        let until = Instant::now() + Duration::from_secs_f64(seconds);
        while !self.hung_up && Instant::now() < until {
            let line = self.listen("EV,", 0.1, heartbeat).unwrap_or_default();
            let rest = line.splitn(3, ',').nth(2).unwrap_or_default();
            if rest.starts_with(begins) {
                return Some(rest.to_owned());
            }
        }
        None
    }

    /// The values of a channel over all samples heard; NaN where there was none.
    pub fn column(&self, at: usize) -> Vec<f64> {
        let samples = self.heard.iter().filter_map(|said| said.strip_prefix("S,"));
        samples
            .map(|said| {
                said.split(',')
                    .nth(2 + at)
                    .unwrap()
                    .parse()
                    .unwrap_or(f64::NAN)
            })
            .collect()
    }

    pub fn seqs(&self) -> Vec<u16> {
        let samples = self.heard.iter().filter_map(|said| said.strip_prefix("S,"));
        samples
            .map(|said| said.split(',').next().unwrap().parse().unwrap())
            .collect()
    }
}
