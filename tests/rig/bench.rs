//! `bench` from outside: the program, a simulated rig, and a page without a browser.

use std::io::{BufRead, BufReader, Read};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use serde_json::{Value, json};
use tungstenite::client::IntoClientRequest;
use tungstenite::{Message, WebSocket};

use super::host::Rig;

pub const SURFACE: &str = "left elevator";
/// Its place in the aircraft file.
pub const PLACE: usize = 0;
/// How often a page says that it is there.
const ALIVE_EVERY: Duration = Duration::from_millis(100);

/// A running `bench` over a simulated rig; ended when dropped.
pub struct Bench {
    child: Child,
    out: BufReader<std::process::ChildStdout>,
    pub rig: Rig,
    /// `127.0.0.1:PORT`.
    pub host: String,
    pub key: String,
    /// What it said before its page was there.
    pub said: String,
}

impl Bench {
    pub fn start(rig: &[&str]) -> Self {
        Self::with(rig, &[])
    }

    pub fn with(rig: &[&str], more: &[&str]) -> Self {
        let aircraft = ["--aircraft", "samples/aircraft.toml"];
        Self::of(rig, &[&aircraft[..], more].concat())
    }

    /// Over a logbook that is not there yet, and no aircraft for it.
    pub fn without_an_aircraft() -> Self {
        Self::of(&[], &[])
    }

    fn of(rig: &[&str], more: &[&str]) -> Self {
        let elevator = ["--aircraft", "samples/aircraft.toml", "--surface", SURFACE];
        let rig = Rig::start(&[&elevator[..], rig].concat());
        let mut child = Command::new(env!("CARGO_BIN_EXE_hingewright"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .args(["bench", "--page-port", "0"])
            .arg("--port")
            .arg(rig.link())
            .arg("--logbook")
            .arg(rig.folder.path().join("logbook"))
            .args(more)
            .spawn()
            .unwrap();
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let mut said = String::new();
        while !said.contains("ends the page.") && !said.contains("ends\nthe page.") {
            assert!(out.read_line(&mut said).unwrap() > 0, "{said}");
        }
        let address = said.split_once("http://").unwrap().1;
        let address = address.split_whitespace().next().unwrap();
        let (host, key) = address.split_once("/?key=").unwrap();
        Self {
            host: host.to_owned(),
            key: key.to_owned(),
            child,
            out,
            rig,
            said,
        }
    }

    pub fn logbook(&self) -> PathBuf {
        self.rig.folder.path().join("logbook")
    }

    pub fn page(&self, name: &str) -> Page {
        Page::open(&self.host, &self.key, name)
    }

    /// A page that may drive: its rig is there, its surface picked, its cautions confirmed.
    pub fn ready(&self, name: &str) -> Page {
        let mut page = self.page(name);
        page.until("the rig", |p| p.state["rig"]["there"] == true);
        page.wish(&json!({"ask": "pick", "surface": PLACE}));
        page.wish(&json!({"ask": "confirm"}));
        page.until("its surface", |p| {
            p.state["picked"] == PLACE && p.told["confirmed"] == true
        });
        page
    }

    /// When the rig noted this last, milliseconds since 1970.
    pub fn noted(&self, what: &str, within: Duration) -> Option<f64> {
        let began = Instant::now();
        loop {
            let events = self.rig.events();
            let last = events.iter().rev().find(|e| e["what"] == what);
            if let Some(event) = last {
                return event["t_wall_ms"].as_f64();
            }
            if began.elapsed() > within {
                return None;
            }
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    /// Waits until the rig is disarmed after it was armed; the time at which it was, milliseconds since 1970.
    pub fn disarmed(&self) -> f64 {
        self.noted("disarmed", Duration::from_secs(5))
            .unwrap_or_else(|| panic!("not disarmed: {:?}", self.rig.events()))
    }

    pub fn signal(&self, signal: Signal) {
        let id = Pid::from_raw(i32::try_from(self.child.id()).unwrap());
        kill(id, signal).unwrap();
    }

    /// How it ended, and what it said then.
    pub fn ended(mut self) -> (ExitStatus, String) {
        let began = Instant::now();
        while began.elapsed() < Duration::from_secs(10) {
            if let Some(status) = self.child.try_wait().unwrap() {
                let mut rest = String::new();
                self.out.read_to_string(&mut rest).unwrap();
                return (status, rest);
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        panic!("the program does not end");
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub fn now_ms() -> f64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap();
    since.as_secs_f64() * 1e3
}

/// A page without a browser.
pub struct Page {
    socket: WebSocket<TcpStream>,
    alive: Instant,
    /// The last message on the state, and the state in it.
    pub told: Value,
    pub state: Value,
    pub points: usize,
    pub phase: String,
    pub refused: Vec<String>,
    pub closed: bool,
}

impl Page {
    pub fn open(host: &str, key: &str, name: &str) -> Self {
        let request = format!("ws://{host}/live?key={key}")
            .into_client_request()
            .unwrap();
        let stream = TcpStream::connect(host).unwrap();
        let (socket, _) = tungstenite::client(request, stream).unwrap();
        let wait = Some(Duration::from_millis(10));
        socket.get_ref().set_read_timeout(wait).unwrap();
        let mut page = Self {
            socket,
            alive: Instant::now(),
            told: Value::Null,
            state: Value::Null,
            points: 0,
            phase: String::new(),
            refused: Vec::new(),
            closed: false,
        };
        page.wish(&json!({"ask": "hello", "page": name}));
        page
    }

    pub fn wish(&mut self, wish: &Value) {
        self.send(Message::text(wish.to_string()));
    }

    pub fn send(&mut self, message: Message) {
        self.closed |= self.socket.send(message).is_err();
    }

    /// What has come. Without saying that it is there.
    pub fn hear(&mut self) {
        match self.socket.read() {
            Ok(Message::Text(text)) => self.take(&serde_json::from_str(&text).unwrap()),
            Ok(Message::Close(_)) => self.closed = true,
            Ok(_) => {}
            Err(tungstenite::Error::Io(e))
                if matches!(
                    e.kind(),
                    std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut
                ) => {}
            Err(_) => self.closed = true,
        }
    }

    fn take(&mut self, told: &Value) {
        match told["kind"].as_str().unwrap() {
            "state" => {
                self.told = told.clone();
                self.state = told["state"].clone();
            }
            "live" => {
                let came = told["points"].as_array().unwrap().len();
                self.points = told["from"].as_u64().unwrap() as usize + came;
                self.phase = told["phase"].as_str().unwrap().to_owned();
            }
            "no" => self
                .refused
                .push(told["words"].as_str().unwrap().to_owned()),
            other => panic!("{other}"),
        }
    }

    /// Hears, and says that it is there.
    pub fn live(&mut self) {
        if self.alive.elapsed() >= ALIVE_EVERY {
            self.alive = Instant::now();
            self.wish(&json!({"ask": "alive"}));
        }
        self.hear();
    }

    /// Lives until this is so.
    pub fn until(&mut self, what: &str, so: impl Fn(&Self) -> bool) {
        let began = Instant::now();
        while !so(self) {
            assert!(!self.closed, "closed while it waits for {what}");
            assert!(
                began.elapsed() < Duration::from_secs(120),
                "{what} does not come: {:#} {:?}",
                self.state["run"],
                self.refused
            );
            self.live();
        }
    }

    pub fn run(&self) -> &Value {
        &self.state["run"]
    }

    /// Starts a run, and lives until it moves between its ends.
    pub fn cycling(&mut self, ask: &str) {
        self.wish(&json!({"ask": ask, "surface": SURFACE}));
        self.until("its cycles", |p| {
            p.phase == "cycle" && p.run()["doing"] == "moving"
        });
    }

    pub fn over(&mut self) -> Value {
        self.until("its end", |p| p.run()["doing"] == "over");
        self.run().clone()
    }
}
