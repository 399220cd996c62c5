//! One rig and one host, each the real program in a process of its own, on a pseudo-terminal; and when what happened.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use serde_json::Value;
use tempfile::TempDir;

/// The rig's clock runs so much faster than the wall's.
pub const FAST: f64 = 10.0;
/// What a recording may lack at its end, ms.
pub const MAY_LACK_MS: f64 = 250.0;
const SURFACE: &str = "left elevator";

pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_hingewright"));
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null());
    command
}

/// Milliseconds since 1970.
pub fn now_ms() -> f64 {
    1e3 * SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap()
        .as_secs_f64()
}

pub fn pause_ms(ms: f64) {
    std::thread::sleep(Duration::from_secs_f64(1e-3 * ms.max(0.0)));
}

/// A process of ours, ended when dropped.
pub struct Process(Child);

impl Process {
    pub fn signal(&self, signal: Signal) {
        let id = Pid::from_raw(i32::try_from(self.0.id()).unwrap());
        // One that has just ended takes no signal.
        let _ = kill(id, signal);
    }

    /// How it ended, and when; `None` if it goes on for longer than this.
    pub fn ended(&mut self, within: Duration) -> Option<(Option<i32>, f64)> {
        let began = Instant::now();
        while began.elapsed() < within {
            if let Some(status) = self.0.try_wait().unwrap() {
                return Some((status.code(), now_ms()));
            }
            pause_ms(2.0);
        }
        None
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.signal(Signal::SIGCONT);
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

pub struct Bench {
    pub folder: Option<TempDir>,
    pub root: PathBuf,
    pub logbook: PathBuf,
    pub rig: Process,
    /// How much the rig had sent when: ms, bytes.
    lengths: Arc<Mutex<Vec<(f64, usize)>>>,
    watching: Arc<AtomicBool>,
    watch: Option<JoinHandle<()>>,
}

impl Bench {
    /// A rig with these faults, the sample aircraft's elevator on it, and an empty logbook.
    pub fn new(rig_options: &[String]) -> Self {
        let folder = TempDir::new().unwrap();
        let root = folder.path().to_owned();
        let rig = program()
            .args([
                "simulate",
                "--aircraft",
                "samples/aircraft.toml",
                "--surface",
                SURFACE,
            ])
            .args(["--fast", &FAST.to_string()])
            .args(rig_options)
            .arg("--link")
            .arg(root.join("rig"))
            .arg("--sent")
            .arg(root.join("sent"))
            .arg("--events")
            .arg(root.join("events"))
            .stdout(Stdio::null())
            .stderr(File::create(root.join("rig.err")).unwrap())
            .spawn()
            .unwrap();
        let lengths = Arc::new(Mutex::new(Vec::new()));
        let watching = Arc::new(AtomicBool::new(true));
        let watch = std::thread::spawn({
            let (lengths, watching, sent) = (lengths.clone(), watching.clone(), root.join("sent"));
            move || {
                while watching.load(Ordering::Relaxed) {
                    let now = now_ms();
                    let length = std::fs::metadata(&sent).map_or(0, |m| m.len() as usize);
                    lengths.lock().unwrap().push((now, length));
                    pause_ms(5.0);
                }
            }
        });
        let bench = Self {
            logbook: root.join("logbook"),
            folder: Some(folder),
            root,
            rig: Process(rig),
            lengths,
            watching,
            watch: Some(watch),
        };
        let began = Instant::now();
        while !bench.root.join("rig").exists() {
            assert!(began.elapsed() < Duration::from_secs(20), "no rig");
            pause_ms(5.0);
        }
        bench
    }

    /// A host that sweeps over a port, quickly.
    pub fn sweep_over(&self, port: &Path, name: &str) -> Process {
        let child = program()
            .args(["sweep", SURFACE, "--yes", "--cycles", "5", "--rate", "60"])
            .args(["--hold", "0.2", "--aircraft", "samples/aircraft.toml"])
            .arg("--port")
            .arg(port)
            .arg("--logbook")
            .arg(&self.logbook)
            .stdout(File::create(self.root.join(format!("{name}.out"))).unwrap())
            .stderr(File::create(self.root.join(format!("{name}.err"))).unwrap())
            .spawn()
            .unwrap();
        Process(child)
    }

    pub fn sweep(&self) -> Process {
        self.sweep_over(&self.root.join("rig"), "host")
    }

    pub fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.root.join(name)).unwrap_or_default()
    }

    pub fn sent(&self) -> Vec<u8> {
        std::fs::read(self.root.join("sent")).unwrap_or_default()
    }

    /// How much the rig had sent by then.
    pub fn sent_by(&self, ms: f64) -> usize {
        let lengths = self.lengths.lock().unwrap();
        let before = lengths.iter().rev().find(|(at, _)| *at <= ms);
        before.map_or(0, |(_, length)| *length)
    }

    pub fn events(&self) -> Vec<Value> {
        let text = self.text("events");
        text.lines()
            .filter_map(|line| serde_json::from_str(line).ok())
            .collect()
    }

    /// When the rig noted this for the first time, ms; waits for it.
    pub fn noted(&self, what: &str, within: Duration) -> Option<f64> {
        let began = Instant::now();
        loop {
            let events = self.events();
            if let Some(event) = events.iter().find(|e| e["what"] == what) {
                return event["t_wall_ms"].as_f64();
            }
            if began.elapsed() >= within {
                return None;
            }
            pause_ms(4.0);
        }
    }

    /// Since when the rig has been disarmed for good, ms; 0 where it never was armed, `None` where it is armed.
    pub fn disarmed_since(&self) -> Option<f64> {
        let mut since = Some(0.0);
        for event in self.events() {
            match event["what"].as_str() {
                Some("armed") => since = None,
                Some("disarmed" | "restarted") if since.is_none() => {
                    since = event["t_wall_ms"].as_f64();
                }
                _ => {}
            }
        }
        since
    }

    /// The one recording, if there is one.
    pub fn recording(&self) -> Option<PathBuf> {
        let folder = std::fs::read_dir(self.logbook.join("recordings")).ok()?;
        let mut found: Vec<PathBuf> = folder.flatten().map(|entry| entry.path()).collect();
        assert!(found.len() < 2, "{found:?}");
        found.pop()
    }

    /// Leaves the folder where it is, for whoever looks into a failure.
    pub fn keep(&mut self) {
        if let Some(folder) = self.folder.take() {
            let _ = folder.keep();
        }
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.watching.store(false, Ordering::Relaxed);
        if let Some(watch) = self.watch.take() {
            let _ = watch.join();
        }
    }
}

/// Options as the rig takes them.
pub fn options(words: &[&str]) -> Vec<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}
