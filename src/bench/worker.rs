//! The one at the rig: keeps the line open, does what a page has asked for, judges and keeps what was recorded. On a thread of
//! its own, with a clock of its own only while something runs: what stands in the logbook is read and written outside of it.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

use tokio::sync::oneshot;

use super::course::{Course, Rules};
use super::hub::{Hub, Order, now_ms, within};
use super::look::{self, Looker};
use super::record::Record;
use super::told::{Doing, EffortTold, EndedTold, RigTold, TorqueTold, TroubleTold, What};
use crate::aircraft::{Aircraft, Surface};
use crate::analysis::TorqueSource;
use crate::history::settling::{self, State};
use crate::logbook::Logbook;
use crate::problem::Problem;
use crate::recording::{Channel, RigIdentity};
use crate::report::Checked;
use crate::report::book::WorkedIn;
use crate::report::plot::worked_in_svg;
use crate::rig::{Asked, Cut, Guard, Line, Phase, Progress, Rig, Run, SweepPlan};
use crate::units::TorqueUnit;

/// How often the line is looked at while nothing runs.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// How long after a line could not be opened it is tried again.
const AGAIN_AFTER: Duration = Duration::from_secs(2);
const CYCLES: u32 = 10;
/// Degrees a second.
const RATE: f64 = 30.0;
/// At each end, s.
const HOLD: f64 = 0.4;
/// From this cycle on the recording is looked at while it grows.
const FIRST_LOOK: u32 = 4;

/// The sweep that the page offers.
pub fn plan(aircraft: &Aircraft, surface: &Surface) -> SweepPlan {
    SweepPlan::of(aircraft, surface, CYCLES, RATE, HOLD).with_stops(surface)
}

/// Opens a line to the rig.
pub type Open = Box<dyn Fn() -> Result<Arc<Line>, Problem> + Send>;

pub struct Worker {
    logbook: Arc<Logbook>,
    hub: Arc<Hub>,
    orders: Receiver<Order>,
    open: Open,
    runtime: tokio::runtime::Runtime,
    looker: Looker,
    line: Option<Arc<Line>>,
    /// When the line may be tried again.
    again: Instant,
}

/// What a run is known by.
#[derive(Clone, Copy)]
struct Here {
    number: u64,
    surface: usize,
}

impl Worker {
    /// # Errors
    /// The worker's clock cannot be started.
    pub fn new(
        logbook: Arc<Logbook>,
        hub: Arc<Hub>,
        orders: Receiver<Order>,
        open: Open,
    ) -> Result<Self, Problem> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|e| Problem::new(format!("the program could not start its clock: {e}")))?;
        Ok(Self {
            looker: Looker::new(Arc::clone(&logbook), Arc::clone(&hub)),
            logbook,
            hub,
            orders,
            open,
            runtime,
            line: None,
            again: Instant::now(),
        })
    }

    /// Works until told to end.
    pub fn work(mut self) {
        self.show_last_verdicts();
        loop {
            self.mind_the_line();
            match self.orders.recv_timeout(LOOK_EVERY) {
                Ok(Order::Run {
                    what,
                    surface,
                    after_stop,
                    enough,
                }) => self.run(what, surface, after_stop, enough),
                Err(RecvTimeoutError::Timeout) => {}
                Ok(Order::End) | Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    /// Lets a line that has ended go, and opens one where there is none.
    fn mind_the_line(&mut self) {
        if let Some(cut) = self.line.as_ref().and_then(|line| line.cut()) {
            self.let_go();
            // One that was stopped is opened again at once.
            if !matches!(cut, Cut::Stopped { .. }) {
                self.show_trouble(&cut.problem());
                return;
            }
        }
        if self.line.is_some() || Instant::now() < self.again || self.hub.is_ending() {
            return;
        }
        match self.opened() {
            Ok((line, told)) => {
                self.hub.set_line(Some(Arc::clone(&line)));
                self.line = Some(line);
                self.hub.show(|state| state.rig = told);
            }
            Err(problem) => self.show_trouble(&problem),
        }
    }

    fn opened(&self) -> Result<(Arc<Line>, RigTold), Problem> {
        let line = (self.open)()?;
        let rig = self.runtime.block_on(Rig::greet(Arc::clone(&line)));
        let rig = rig.map_err(|cut| cut.problem())?;
        let told = rig_told(line.port(), rig.identity(), rig.is_driven());
        Ok((line, told))
    }

    fn let_go(&mut self) {
        self.hub.set_line(None);
        self.line = None;
    }

    fn show_trouble(&mut self, problem: &Problem) {
        self.again = Instant::now() + AGAIN_AFTER;
        self.hub.show(|state| {
            state.rig.there = false;
            state.rig.trouble = Some(TroubleTold::from(problem));
        });
    }

    fn show_last_verdicts(&self) {
        let last = look::last_verdicts(&self.logbook);
        self.hub.show(|state| {
            for (surface, last) in state.surfaces.iter_mut().zip(last) {
                surface.last = last;
            }
        });
    }

    fn run(&mut self, what: What, surface: usize, after_stop: bool, enough: oneshot::Receiver<()>) {
        let mut number = 0;
        self.hub
            .show(|state| number = state.run.as_ref().map_or(0, |run| run.number));
        let here = Here { number, surface };
        self.hub.begin_trace(number);
        self.show_behind(here);
        let done = match what {
            What::Sweep => self.sweep(here),
            What::ByHand => self.by_hand(here, enough),
            What::BreakIn => self.break_in(here, after_stop),
        };
        if let Err(problem) = done {
            self.over(here, failed(&problem));
        }
        self.show_last_verdicts();
    }

    fn show_behind(&self, here: Here) {
        let behind = look::behind(&self.logbook, here.surface);
        let rig_reads_torque = self.line.as_ref().is_some_and(|line| {
            let live = line.live();
            let rig = live.borrow().rig.clone();
            rig.is_some_and(|rig| rig.channels.iter().any(|c| c == Channel::TorqueNcm.name()))
        });
        self.hub.show_run(here.number, |run| {
            let torque = behind.as_ref().map(|(_, torque)| torque.clone());
            run.behind = behind.map(|(behind, _)| behind);
            run.torque = (!rig_reads_torque).then(|| TorqueTold {
                from: TorqueSource::SupplyPower.word(),
                points: Vec::new(),
                behind: torque.unwrap_or_default(),
            });
        });
    }

    /// The rig, asked once more.
    fn rig(&self) -> Result<Rig<Asked>, Problem> {
        let line = self.line.as_ref().ok_or_else(|| {
            Problem::new("the rig is gone").hint("look at its plug, and wait until it answers")
        })?;
        let rig = self.runtime.block_on(Rig::greet(Arc::clone(line)));
        rig.map_err(|cut| cut.problem())
    }

    fn sweep(&mut self, here: Here) -> Result<(), Problem> {
        let aircraft = self.logbook.aircraft();
        let surface = &aircraft.surfaces[here.surface];
        let plan = plan(aircraft, surface);
        let trip = aircraft.trip_points(surface);
        let rig = self.rig()?;
        let record = Record::begin(&self.logbook, here.surface, &[])?;
        let path = record.path().to_owned();
        self.moving(here, &path);
        let mut tell = self.teller(here, path);
        let run = self
            .runtime
            .block_on(record.sweep(rig, plan, trip, &mut tell))?;
        self.judged(here, &run)
    }

    fn by_hand(&mut self, here: Here, enough: oneshot::Receiver<()>) -> Result<(), Problem> {
        let rig = self.rig()?;
        let record = Record::begin(&self.logbook, here.surface, &[])?;
        let path = record.path().to_owned();
        self.moving(here, &path);
        let (hub, looker) = (&self.hub, &self.looker);
        let mut strokes = 0;
        let mut tell = |coverage: &crate::rig::Coverage| {
            hub.heard_by_hand(coverage);
            let now = coverage.up.min(coverage.down);
            if now > strokes && now >= FIRST_LOOK {
                looker.look(here.number, &path);
            }
            strokes = now;
        };
        let enough = async {
            // A page that has gone says nothing more, and the time goes on: its stop ends it.
            if enough.await.is_err() {
                std::future::pending::<()>().await;
            }
        };
        let run = self
            .runtime
            .block_on(record.listen(rig, enough, &mut tell))?;
        self.judged(here, &run)
    }

    /// Shows samples as they come, and has the recording looked at after each cycle.
    fn teller(&self, here: Here, path: PathBuf) -> impl FnMut(&Progress) + use<> {
        let (hub, looks) = (Arc::clone(&self.hub), self.looker.clone());
        let mut cycle = 0;
        move |progress| {
            hub.heard(progress);
            if let Phase::Cycling { number, .. } = progress.phase
                && number != cycle
            {
                cycle = number;
                if number >= FIRST_LOOK {
                    looks.look(here.number, &path);
                }
            }
        }
    }

    fn moving(&self, here: Here, path: &std::path::Path) {
        let name = within(self.logbook.root(), path);
        self.hub.show_run(here.number, |run| {
            run.doing = Doing::Moving;
            run.recording = Some(name);
        });
    }

    /// Measures what a run has left, keeps the result, and shows what it comes to.
    fn judged(&mut self, here: Here, run: &Run) -> Result<(), Problem> {
        self.hub.show_run(here.number, |told| {
            told.doing = Doing::Judging;
            told.notes.clone_from(&run.notes);
        });
        let aircraft = self.logbook.aircraft();
        let ended = ended(run);
        match self.logbook.assess(&run.written.path) {
            Ok(assessed) => {
                self.logbook.store(aircraft, &assessed)?;
                let mut checked = Checked::of(aircraft, assessed);
                if checked.servos.is_some() {
                    checked.held = self.logbook.held_last(&checked.surface.name);
                }
                if run.cut.is_none() {
                    let (verdict, findings, picture) = look::verdict(&checked);
                    self.hub.keep_picture(|p| p.verdict = Some(picture));
                    self.hub.show_run(here.number, |told| {
                        told.verdict = Some(verdict);
                        told.findings = findings;
                    });
                }
            }
            // What was cut short need not carry anything.
            Err(_) if run.cut.is_some() => {}
            Err(problem) => return Err(problem),
        }
        self.over(here, ended);
        Ok(())
    }

    fn over(&mut self, here: Here, ended: EndedTold) {
        // A line that was stopped is of no use any more. That is told together with the end: a rig that is said to be there
        // when a run is over takes the next one.
        let cut = self.line.as_ref().and_then(|line| line.cut());
        let stopped = matches!(cut, Some(Cut::Stopped { .. }));
        if stopped {
            self.let_go();
        }
        self.hub.show(|state| {
            state.rig.there &= !stopped;
            if let Some(told) = state.run.as_mut().filter(|run| run.number == here.number) {
                told.doing = Doing::Over;
                told.ended = Some(ended);
            }
        });
    }

    /// Batch by batch, as the command does it.
    fn break_in(&mut self, here: Here, after_stop: bool) -> Result<(), Problem> {
        let logbook = Arc::clone(&self.logbook);
        let mut course = Course::new(&logbook, here.surface, Rules::default())?;
        if settling::stop(&course.past.batches).is_some() && !after_stop {
            self.show_fall(here, &course, 0);
            let stopped = Problem::new(
                "nothing was moved: the working in of this hinge was stopped for getting stiffer",
            )
            .hint(LOOK_FIRST);
            self.over(
                here,
                EndedTold {
                    how: "rose",
                    ..failed(&stopped)
                },
            );
            return Ok(());
        }
        let mut picture = 0;
        self.show_fall(here, &course, picture);
        while let Some((stage, cycles)) = course.due() {
            let rig = self.rig()?;
            let stage_words = format!(
                "stage {}°, {:.0} cycles worked",
                stage.deg, course.past.worked
            );
            self.hub.show_run(here.number, |told| {
                told.doing = Doing::Moving;
                told.stage = Some(stage_words);
            });
            let hub = Arc::clone(&self.hub);
            let mut tell = move |progress: &Progress| hub.heard(progress);
            let run = self
                .runtime
                .block_on(course.batch(rig, stage, cycles, &mut tell))?;
            let name = within(logbook.root(), &run.written.path);
            self.hub.show_run(here.number, |told| {
                told.doing = Doing::Judging;
                told.recording = Some(name);
                told.notes.clone_from(&run.notes);
            });
            let taken = course.take_in(&run.written.path);
            picture += 1;
            self.show_fall(here, &course, picture);
            if run.cut.is_some() || run.written.problem.is_some() {
                self.over(here, ended(&run));
                return Ok(());
            }
            let Some((_, standing)) = taken? else {
                return Err(Problem::new(
                    "the batch shows no cycle of the surface, and is no batch",
                )
                .hint("look at the angle sensor: the page shows what it reads"));
            };
            if standing.state == State::Stiffer {
                break;
            }
        }
        self.over(here, worked_in(&course));
        Ok(())
    }

    fn show_fall(&self, here: Here, course: &Course<'_>, picture: u64) {
        let standing = course.standing();
        let fall = look::fall(&course.past.batches, &standing, picture);
        if !course.past.batches.is_empty() {
            let worked = WorkedIn {
                batches: course.past.batches.clone(),
                standing,
            };
            let drawn = worked_in_svg(&worked, TorqueUnit::NewtonCentimetre);
            self.hub.keep_picture(|p| p.fall = Some(drawn));
        }
        self.hub
            .show_run(here.number, |told| told.fall = Some(fall));
    }
}

const LOOK_FIRST: &str = "take the rod off and move the surface by hand, from end to end; look along the hinge line for a tear, a \
                          loose pin, glue or filler in the gap and an edge that rubs, then at horn, rod and arm";

/// How working in has ended, where nothing cut it short.
fn worked_in(course: &Course<'_>) -> EndedTold {
    let standing = course.standing();
    let (what, hint) = match standing.state {
        State::Stiffer => (
            "stopped: the hinge got stiffer, which is tearing or binding and not wearing in",
            LOOK_FIRST,
        ),
        State::Confirmed => (
            "settled, and a re-check after a rest has confirmed it",
            "sweep it for the record, and again through the season",
        ),
        State::Settled => (
            "settled, as far as today shows",
            "let it rest for 12 hours, then re-check it: hingewright break-in with --recheck",
        ),
        _ if course.due().is_none() => (
            "its cycles are spent, and it is not shown to have settled",
            "let it rest, and go on with hingewright break-in and more --cycles-per-stage",
        ),
        _ => (
            "the working in has ended",
            "start it again to go on where it was",
        ),
    };
    EndedTold {
        how: match standing.state {
            State::Stiffer => "rose",
            _ => "whole",
        },
        what: what.to_owned(),
        hint: Some(hint.to_owned()),
        disarmed: true,
        at_ms: now_ms() as i64,
    }
}

fn ended(run: &Run) -> EndedTold {
    let how = match &run.cut {
        None if run.written.problem.is_some() => "failed",
        None => "whole",
        Some(Cut::Stopped { .. }) => "stopped",
        Some(Cut::Rose(_)) => "rose",
        Some(_) => "failed",
    };
    let problem = run.cut.as_ref().map(Cut::problem);
    let problem = problem.or_else(|| run.written.problem.clone());
    EndedTold {
        how,
        what: problem.as_ref().map_or_else(
            || "recorded from the first cycle to the last".to_owned(),
            |p| p.what.clone(),
        ),
        hint: problem.and_then(|p| p.hint),
        disarmed: run.disarmed,
        at_ms: now_ms() as i64,
    }
}

fn failed(problem: &Problem) -> EndedTold {
    EndedTold {
        how: "failed",
        what: problem.what.clone(),
        hint: problem.hint.clone(),
        disarmed: true,
        at_ms: now_ms() as i64,
    }
}

fn rig_told(port: &str, identity: &RigIdentity, drives: bool) -> RigTold {
    let has = |channel: &Channel| identity.channels.iter().any(|n| n == channel.name());
    let effort = Guard::CHANNELS.into_iter().find(has).map(|c| match c {
        Channel::TorqueNcm => EffortTold {
            name: "torque",
            unit: "N·cm",
            is_torque: true,
        },
        Channel::ForceN => EffortTold {
            name: "rod force",
            unit: "N",
            is_torque: false,
        },
        _ => EffortTold {
            name: "servo current",
            unit: "mA",
            is_torque: false,
        },
    });
    RigTold {
        there: true,
        drives,
        name: identity.name.clone(),
        port: port.to_owned(),
        effort,
        measures_heat: has(&Channel::CaseC),
        trouble: None,
    }
}
