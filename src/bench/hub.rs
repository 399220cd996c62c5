//! Where pages and worker meet: what is to be shown, who drives, and the stop that waits for nobody.

use std::collections::HashSet;
use std::path::PathBuf;
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use tokio::sync::{oneshot, watch};

use super::told::{
    Ask, CoverageTold, Doing, LiveTold, NowTold, RunTold, State, ThrowTold, Told, What,
};
use crate::recording::Channel;
use crate::rig::{Coverage, ENOUGH_STROKES, Guard, Line, Live, Phase, Progress, Sample};

/// A page that drives and says nothing for so long is lost.
pub const LOST_AFTER: Duration = Duration::from_millis(700);
const LOST: &str =
    "nothing was heard for 0.7 s from the page that drives: its connection or its screen was off";
const CLOSED: &str = "the page that drives was closed";
const TAPPED: &str = "Stop was pressed on the page";
/// Pages that are remembered to have confirmed the cautions.
const MOST_PAGES: usize = 256;

/// What the worker is to do.
#[derive(Debug)]
pub enum Order {
    Run {
        what: What,
        surface: usize,
        after_stop: bool,
        enough: oneshot::Receiver<()>,
    },
    /// Finish and go.
    End,
}

pub struct Hub {
    inner: Mutex<Inner>,
    /// Counts the changes of what is shown.
    version: watch::Sender<u64>,
    orders: Sender<Order>,
}

struct Inner {
    state: State,
    trace: Trace,
    line: Option<Arc<Line>>,
    driver: Option<Driver>,
    confirmed: HashSet<String>,
    /// The surface that the rig was last said to be on.
    wired: Option<usize>,
    enough: Option<oneshot::Sender<()>>,
    pictures: Pictures,
    ending: bool,
    over: bool,
}

/// The run's samples as they are drawn, and the present.
#[derive(Default)]
struct Trace {
    points: Vec<[f32; 2]>,
    /// When each was heard, milliseconds since 1970.
    heard_ms: Vec<f64>,
    moment: LiveTold,
}

struct Driver {
    page: Page,
    heard: Instant,
}

/// A page on one connection: it may come back on another before the first is known to be gone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// What it calls itself, over all its connections.
    pub name: String,
    pub connection: u64,
}

/// Pictures that the page shows, as SVG.
#[derive(Default)]
pub struct Pictures {
    pub verdict: Option<String>,
    pub fall: Option<String>,
}

impl Hub {
    pub fn new(state: State, orders: Sender<Order>) -> Self {
        Self {
            inner: Mutex::new(Inner {
                state,
                trace: Trace::default(),
                line: None,
                driver: None,
                confirmed: HashSet::new(),
                wired: None,
                enough: None,
                pictures: Pictures::default(),
                ending: false,
                over: false,
            }),
            version: watch::channel(0).0,
            orders,
        }
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Tells when what is shown has changed.
    pub fn changes(&self) -> watch::Receiver<u64> {
        self.version.subscribe()
    }

    fn changed(&self) {
        self.version.send_modify(|version| *version += 1);
    }

    /// Changes what is shown.
    pub fn show(&self, change: impl FnOnce(&mut State)) {
        change(&mut self.inner().state);
        self.changed();
    }

    /// Changes the run under way; one that is gone changes no more.
    pub fn show_run(&self, number: u64, change: impl FnOnce(&mut RunTold)) {
        self.show(|state| {
            if let Some(run) = state.run.as_mut().filter(|run| run.number == number) {
                change(run);
            }
        });
    }

    pub fn keep_picture(&self, keep: impl FnOnce(&mut Pictures)) {
        keep(&mut self.inner().pictures);
    }

    pub fn picture(&self, of: impl FnOnce(&Pictures) -> Option<String>) -> Option<String> {
        of(&self.inner().pictures)
    }

    /// The line on which a stop goes out; `None` while there is none.
    pub fn set_line(&self, line: Option<Arc<Line>>) {
        self.inner().line = line;
    }

    pub fn is_ending(&self) -> bool {
        self.inner().ending
    }

    /// Begins to draw anew.
    pub fn begin_trace(&self, number: u64) {
        let trace = &mut self.inner().trace;
        trace.points.clear();
        trace.heard_ms.clear();
        trace.moment = LiveTold {
            run: number,
            ..LiveTold::default()
        };
    }

    /// A sample of a driven run.
    pub fn heard(&self, progress: &Progress) {
        let trace = &mut self.inner().trace;
        let (phase, number, of) = words(progress.phase);
        let moment = &mut trace.moment;
        (moment.phase, moment.number, moment.of) = (phase, number, of);
        moment.left_s = progress.left_s;
        let cycling = matches!(
            progress.phase,
            Phase::Cycling { .. } | Phase::Growing { .. }
        );
        if let Some(sample) = &progress.sample {
            trace.take(sample, cycling);
        }
    }

    /// A sample of what a hand does.
    pub fn heard_by_hand(&self, coverage: &Coverage) {
        let trace = &mut self.inner().trace;
        trace.moment.phase = "moved by hand";
        trace.moment.coverage = Some(CoverageTold {
            up: coverage.up,
            down: coverage.down,
            wanted: ENOUGH_STROKES,
            share: coverage.share,
            enough: coverage.is_enough(),
        });
        if let Some(sample) = &coverage.sample {
            trace.take(sample, true);
        }
    }

    /// What came since a page has drawn `from` points of a run, at most `most` of them.
    pub fn live(&self, (run, from): (u64, usize), most: usize) -> LiveTold {
        let inner = self.inner();
        let trace = &inner.trace;
        let from = match trace.moment.run == run {
            true => from.min(trace.points.len()),
            false => 0,
        };
        let to = trace.points.len().min(from + most);
        let live = inner.line.as_ref().map(|line| line.live());
        LiveTold {
            from,
            points: trace.points[from..to].to_vec(),
            first_ms: trace.heard_ms.get(from).copied().unwrap_or_default(),
            now: live.map(|live| now(&live.borrow())),
            ..trace.moment.clone()
        }
    }

    /// The present as this page is to see it, as one line of JSON.
    pub fn told(&self, page: &Page) -> String {
        let inner = self.inner();
        let told = Told::State {
            drives: inner.is_driver(page),
            driven: inner.driver.is_some(),
            confirmed: inner.confirmed.contains(&page.name),
            wired: inner.state.picked.is_some() && inner.wired == inner.state.picked,
            state: &inner.state,
        };
        serde_json::to_string(&told).unwrap_or_default()
    }

    /// A page has gone. If it drove, so has the hand at the stop.
    pub fn gone(&self, page: &Page) {
        let mut inner = self.inner();
        if inner.is_driver(page) {
            inner.driver = None;
            inner.stop(CLOSED);
            drop(inner);
            self.changed();
        }
    }

    /// Stops a run whose driver says nothing any more.
    pub fn mind_the_driver(&self) {
        let inner = self.inner();
        let lost = inner
            .driver
            .as_ref()
            .is_some_and(|driver| driver.heard.elapsed() > LOST_AFTER);
        if lost {
            inner.stop(LOST);
        }
    }

    /// No run begins any more, and the one under way ends.
    pub fn end(&self, how: &'static str) {
        let mut inner = self.inner();
        inner.ending = true;
        inner.stop(how);
        let _ = self.orders.send(Order::End);
    }

    /// Everything is stopped and kept: pages are told, and go.
    pub fn say_over(&self) {
        self.inner().over = true;
        self.changed();
    }

    pub fn is_over(&self) -> bool {
        self.inner().over
    }

    /// What a page asks for; why it is not done, if it is not.
    ///
    /// # Errors
    /// Words for the one at the page.
    pub fn ask(&self, page: &Page, ask: Ask) -> Result<(), &'static str> {
        let mut inner = self.inner();
        match ask {
            // Before anything else, and for anybody.
            Ask::Stop => inner.stop(TAPPED),
            Ask::Alive => {
                if let Some(driver) = inner.driver.as_mut().filter(|d| d.page == *page) {
                    driver.heard = Instant::now();
                }
                return Ok(());
            }
            Ask::Hello { .. } => {
                let again = |driver: &Driver| driver.page.name == page.name;
                if inner.driver.as_ref().is_none_or(again) {
                    inner.drive(page);
                }
            }
            Ask::Drive => {
                if inner.driver.is_some() && inner.is_busy() && !inner.is_driver(page) {
                    return Err("another page drives a run: stop it, or wait for its end");
                }
                inner.drive(page);
            }
            _ if !inner.is_driver(page) => {
                return Err("another page drives: this one watches. Take over first");
            }
            Ask::Enough => {
                if let Some(enough) = inner.enough.take() {
                    let _ = enough.send(());
                }
            }
            _ if inner.is_busy() => return Err("a run is under way: stop it, or wait for its end"),
            Ask::Pick { surface } => {
                if surface >= inner.state.surfaces.len() {
                    return Err("the aircraft has no such surface");
                }
                inner.state.picked = Some(surface);
            }
            Ask::Confirm => {
                if inner.confirmed.len() >= MOST_PAGES {
                    inner.confirmed.clear();
                }
                inner.confirmed.insert(page.name.clone());
                inner.wired = inner.state.picked;
            }
            Ask::Sweep { surface } => self.begin(&mut inner, page, What::Sweep, &surface, false)?,
            Ask::BreakIn {
                surface,
                after_stop,
            } => self.begin(&mut inner, page, What::BreakIn, &surface, after_stop)?,
            Ask::Listen { surface } => {
                self.begin(&mut inner, page, What::ByHand, &surface, false)?;
            }
        }
        drop(inner);
        self.changed();
        Ok(())
    }

    fn begin(
        &self,
        inner: &mut Inner,
        page: &Page,
        what: What,
        named: &str,
        after_stop: bool,
    ) -> Result<(), &'static str> {
        let surface = inner.may_begin(page, what, named)?;
        let (tell, enough) = oneshot::channel();
        inner.enough = Some(tell);
        let number = inner.state.run.as_ref().map_or(0, |run| run.number) + 1;
        inner.pictures = Pictures::default();
        inner.state.run = Some(RunTold {
            number,
            surface,
            what,
            doing: Doing::Beginning,
            stage: None,
            recording: None,
            findings: Vec::new(),
            notes: Vec::new(),
            torque: None,
            behind: None,
            fall: None,
            verdict: None,
            ended: None,
        });
        let order = Order::Run {
            what,
            surface,
            after_stop,
            enough,
        };
        self.orders.send(order).map_err(|_| "the program is ending")
    }
}

impl Inner {
    fn is_driver(&self, page: &Page) -> bool {
        self.driver.as_ref().is_some_and(|d| d.page == *page)
    }

    fn drive(&mut self, page: &Page) {
        self.driver = Some(Driver {
            page: page.clone(),
            heard: Instant::now(),
        });
    }

    fn is_busy(&self) -> bool {
        self.state.run.as_ref().is_some_and(RunTold::is_under_way)
    }

    /// At once, on this thread: an armed rig has its `DISARM` on the wire when this returns.
    fn stop(&self, how: &'static str) {
        let moving = self.state.run.as_ref().is_some_and(|run| {
            matches!(run.doing, Doing::Beginning | Doing::Moving)
                || run.what == What::BreakIn && run.is_under_way()
        });
        if let Some(line) = self.line.as_ref().filter(|line| moving || line.is_armed()) {
            line.stop(how);
        }
    }

    /// The surface that may move now.
    fn may_begin(&self, page: &Page, what: What, named: &str) -> Result<usize, &'static str> {
        let picked = self
            .state
            .picked
            .and_then(|i| Some((i, self.state.surfaces.get(i)?)));
        let Some((surface, shown)) = picked else {
            return Err("pick a surface first");
        };
        if shown.name != named {
            return Err("the surface shown is another one: look which, and start again");
        }
        if self.ending {
            return Err("the program is ending");
        }
        if !self.confirmed.contains(&page.name) {
            return Err("read the cautions and confirm them first");
        }
        if self.wired != Some(surface) {
            return Err("say first that the rig is on this surface");
        }
        if !self.state.rig.there || self.line.is_none() {
            return Err("no rig answers: nothing can be moved or recorded");
        }
        match (what, self.state.rig.drives) {
            (What::ByHand, true) => Err("this rig drives the servo: sweep the surface"),
            (What::Sweep | What::BreakIn, false) => {
                Err("this rig only measures: record while you move the surface")
            }
            _ => Ok(surface),
        }
    }
}

impl Trace {
    fn take(&mut self, sample: &Sample, draw: bool) {
        let effort = Guard::CHANNELS.iter().find_map(|c| sample.get(*c));
        if let (true, Some(angle_deg), Some(effort)) = (draw, sample.get(Channel::AngleDeg), effort)
        {
            self.points.push([angle_deg as f32, effort as f32]);
            self.heard_ms.push(now_ms());
        }
    }
}

/// Milliseconds since 1970.
pub fn now_ms() -> f64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    since.map_or(0.0, |since| since.as_secs_f64() * 1e3)
}

fn now(live: &Live) -> NowTold {
    let get = |channel| live.latest.as_ref().and_then(|s| s.get(channel));
    NowTold {
        angle_deg: get(Channel::AngleDeg),
        torque_ncm: get(Channel::TorqueNcm),
        force_n: get(Channel::ForceN),
        current_ma: get(Channel::CurrentMa),
        supply_v: get(Channel::SupplyV),
        case_c: get(Channel::CaseC),
        rate_hz: live.rate_hz,
        lost: live.lost,
        damaged: live.damaged,
    }
}

fn words(phase: Phase) -> (&'static str, u32, u32) {
    match phase {
        Phase::Looking => ("looking, nothing moves", 0, 0),
        Phase::Nudging => ("nudging, to see the direction", 0, 0),
        Phase::Growing { up: true } => ("feeling the way to one end", 0, 0),
        Phase::Growing { up: false } => ("feeling the way to the other end", 0, 0),
        Phase::Cycling { number, of } => ("cycle", number, of),
        Phase::Moving { number, of } => ("move", number, of),
        Phase::Returning => ("at neutral", 0, 0),
    }
}

/// The throws of a surface, as the page marks them.
pub fn throws(surface: &crate::aircraft::Surface) -> Vec<ThrowTold> {
    let one = |throw: &crate::aircraft::Throw| ThrowTold {
        name: throw.name.clone(),
        asked_mm: throw.asked_mm,
        asked_deg: throw.side.sign() * throw.asked_deg,
    };
    surface.throws.iter().map(one).collect()
}

/// A file's path within a folder, as people read it.
pub fn within(root: &std::path::Path, path: &std::path::Path) -> String {
    let path = std::path::absolute(path).unwrap_or_else(|_| PathBuf::from(path));
    path.strip_prefix(root)
        .unwrap_or(&path)
        .display()
        .to_string()
}
