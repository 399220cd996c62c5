//! The firmware and its simulated board, built once; and one run of the board.

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;

use serde_json::Value;
use tempfile::TempDir;

pub const SOURCES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/firmware-notes/firmware");

/// Where everything was built, or `None`, said, where the tools are missing.
pub fn built() -> Option<&'static Path> {
    static BUILT: OnceLock<Option<PathBuf>> = OnceLock::new();
    BUILT.get_or_init(build).as_deref()
}

fn missing() -> Option<String> {
    for tool in ["make", "cc", "avr-gcc", "avr-size", "avr-objcopy"] {
        let found = Command::new(tool)
            .arg("--version")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
        if found.is_err() {
            return Some(tool.to_owned());
        }
    }
    for header in ["/usr/include/simavr/sim_avr.h", "/usr/include/libelf.h"] {
        if !Path::new(header).exists() {
            return Some(header.to_owned());
        }
    }
    None
}

fn build() -> Option<PathBuf> {
    if let Some(tool) = missing() {
        let asked = std::env::var_os("HINGEWRIGHT_FIRMWARE").is_some();
        assert!(!asked, "the firmware cannot be built: {tool} is missing");
        println!("SKIPPED: the reference firmware, since {tool} is missing");
        return None;
    }
    let out = Path::new(env!("CARGO_TARGET_TMPDIR")).join("firmware");
    std::fs::create_dir_all(&out).unwrap();
    // Several test processes may build at a time.
    let lock = File::create(out.join("lock")).unwrap();
    lock.lock().unwrap();
    make(&out, &["all", "passive", "sim"]);
    make(&out.join("digital"), &["all", "MORE=-DFRAMES_PER_S=100u"]);
    Some(out)
}

/// Runs `make`, and gives what it printed.
pub fn make(out: &Path, targets: &[&str]) -> String {
    let done = Command::new("make")
        .args(["-C", SOURCES])
        .arg(format!("OUT={}", out.display()))
        .args(targets)
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&done.stdout).into_owned();
    let errors = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "make {targets:?}\n{text}\n{errors}");
    text
}

/// One thing that happened on the board.
pub type Note = Value;

/// What came out of a run.
pub struct Ran {
    pub notes: Vec<Note>,
    /// Every byte that the board sent.
    pub said: String,
    #[expect(dead_code, reason = "the folder goes away with it")]
    folder: TempDir,
}

/// A pulse at the pin.
#[derive(Debug, Clone, Copy)]
pub struct Pulse {
    pub t_s: f64,
    pub us: f64,
    pub rose: u64,
}

impl Pulse {
    pub fn ends_s(&self) -> f64 {
        self.t_s + 1e-6 * self.us
    }
}

/// Runs a board as fast as it goes, to its end: `script` is commands with their times.
pub fn run_free(out: &Path, elf: &str, seconds: f64, options: &[&str], script: &[String]) -> Ran {
    let folder = TempDir::new().unwrap();
    let (events, said) = (folder.path().join("events"), folder.path().join("said"));
    let mut command = Command::new(out.join("board"));
    command
        .arg("--elf")
        .arg(out.join(elf))
        .arg("--free")
        .args(["--for", &seconds.to_string()])
        .arg("--events")
        .arg(&events)
        .arg("--said")
        .arg(&said)
        .args(options);
    for one in script {
        command.args(["--do", one]);
    }
    let status = command.stdin(Stdio::null()).stdout(Stdio::null());
    assert!(status.status().unwrap().success());
    let mut said = String::from_utf8_lossy(&std::fs::read(&said).unwrap()).into_owned();
    // The end of the run may have cut a line.
    said.truncate(said.rfind('\n').map_or(0, |end| end + 1));
    Ran {
        notes: notes(&events),
        said,
        folder,
    }
}

fn notes(path: &Path) -> Vec<Note> {
    let text = std::fs::read_to_string(path).unwrap();
    text.lines()
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect()
}

impl Ran {
    pub fn pulses(&self) -> Vec<Pulse> {
        self.of("pulse")
            .map(|note| Pulse {
                t_s: note["t_s"].as_f64().unwrap(),
                us: note["us"].as_f64().unwrap(),
                rose: note["rose"].as_u64().unwrap(),
            })
            .collect()
    }

    pub fn of<'a>(&'a self, what: &'a str) -> impl Iterator<Item = &'a Note> + 'a {
        self.notes.iter().filter(move |note| note["what"] == what)
    }

    /// When the last of these happened, s.
    pub fn last_s(&self, what: &str) -> Option<f64> {
        self.of(what).last().and_then(|note| note["t_s"].as_f64())
    }

    /// When a line with these words was out whole, s.
    pub fn said_s(&self, words: &str) -> Option<f64> {
        let found = self
            .of("line-said")
            .find(|note| note["line"].as_str().unwrap().contains(words));
        found.and_then(|note| note["t_s"].as_f64())
    }

    pub fn count_said(&self, words: &str) -> usize {
        self.of("line-said")
            .filter(|note| note["line"].as_str().unwrap().contains(words))
            .count()
    }

    /// A number of the board's closing note.
    pub fn end(&self, key: &str) -> f64 {
        self.of("end").last().unwrap()[key].as_f64().unwrap()
    }

    /// Counts of the samples that came, in order.
    pub fn seqs(&self) -> Vec<u16> {
        let samples = self.said.lines().filter_map(|line| line.strip_prefix("S,"));
        samples
            .map(|rest| rest.split(',').next().unwrap().parse().unwrap())
            .collect()
    }
}

/// A board that runs in real time on a pseudo-terminal; ended when dropped.
pub struct Board {
    child: Child,
    pub folder: TempDir,
}

impl Board {
    pub fn start(out: &Path, elf: &str, options: &[&str]) -> Self {
        let folder = TempDir::new().unwrap();
        let mut child = Command::new(out.join("board"))
            .arg("--elf")
            .arg(out.join(elf))
            .arg("--link")
            .arg(folder.path().join("port"))
            .arg("--events")
            .arg(folder.path().join("events"))
            .args(options)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let printed = BufReader::new(child.stdout.take().unwrap());
        let ready = printed
            .lines()
            .map_while(Result::ok)
            .any(|line| line.starts_with("the board is at "));
        assert!(ready, "the board did not start");
        Self { child, folder }
    }

    pub fn port(&self) -> PathBuf {
        self.folder.path().join("port")
    }

    pub fn notes(&self) -> Vec<Note> {
        notes(&self.folder.path().join("events"))
    }

    /// Sends a signal to the simulated board: `STOP`, `CONT`.
    pub fn signal(&self, name: &str) {
        let mut kill = Command::new("kill");
        let kill = kill.args(["-s", name]).arg(self.child.id().to_string());
        assert!(kill.status().unwrap().success());
    }
}

impl Drop for Board {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The program itself.
pub fn hingewright() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_hingewright"));
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null());
    command
}

/// Standard output and error of a command, and its exit code.
pub fn told(command: &mut Command) -> (String, i32) {
    let done = command.output().unwrap();
    let text = [&done.stdout[..], &done.stderr[..]].concat();
    let text = String::from_utf8_lossy(&text).into_owned();
    (text, done.status.code().unwrap_or(-1))
}

/// `S PAYLOAD` as a command of the board's.
pub fn say(at_s: f64, payload: &str) -> String {
    format!("{at_s:.4} say {payload}")
}

/// Heartbeats over a while, as the host sends them.
pub fn beats(from_s: f64, to_s: f64) -> Vec<String> {
    let count = ((to_s - from_s) / 0.15) as usize;
    (0..=count)
        .map(|i| say(from_s + 0.15 * i as f64, "ALIVE"))
        .collect()
}
