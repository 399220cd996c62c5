//! One run into a logbook, driven or by hand: the file, what stands on top of it, the screen.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use super::screen::Screen;
use super::show;
use crate::aircraft::{Surface, TripPoints};
use crate::logbook::{AIRCRAFT_KEY, Logbook};
use crate::problem::Problem;
use crate::recording::{Channel, purpose};
use crate::report::text::wrapping;
use crate::rig::{
    self as bench, Asked, Guard, Page, Passive, Progress, Rig, Run, Spell, Sweep, SweepPlan, Way,
};
use crate::servo::ALONE;

/// Where what is said of a first word begins.
const COLUMN: usize = 11;

/// A run to be recorded.
pub struct Record<'a> {
    pub logbook: &'a Logbook,
    pub surface_index: usize,
    /// Further `#` keys: purpose, note.
    pub keys: &'a [(&'a str, &'a str)],
    path: PathBuf,
    file: std::fs::File,
    started: String,
    /// Of the surface's second servo by itself.
    second_alone: bool,
}

impl<'a> Record<'a> {
    /// Makes the recording's file.
    pub fn begin(
        logbook: &'a Logbook,
        surface_index: usize,
        keys: &'a [(&'a str, &'a str)],
    ) -> Result<Self, Problem> {
        let started = jiff::Timestamp::now();
        let surface = &logbook.aircraft().surfaces[surface_index];
        let (path, file) = logbook.new_recording(&surface.name, started)?;
        Ok(Self {
            logbook,
            surface_index,
            keys,
            path,
            file,
            started: format!("{started:.0}"),
            second_alone: false,
        })
    }

    /// The surface's second servo sits in the first one's place, and the first is not there.
    pub fn of_second_alone(self) -> Self {
        Self {
            second_alone: true,
            ..self
        }
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What is driven and shown goes by the surface's own angle, unless the sensor sits on a servo's arm.
    fn calibrate(&self, rig: &Rig<Asked>) {
        let on_an_arm = |(key, value): &(&str, &str)| {
            *key == ALONE || matches!(*value, purpose::CALIBRATION | purpose::RODS_OFF)
        };
        if let Some(angle) = &self.surface().angle
            && !self.keys.iter().any(on_an_arm)
        {
            rig.line().calibrate_angle(angle.scale, angle.zero_deg);
        }
    }

    fn surface(&self) -> &'a Surface {
        &self.logbook.aircraft().surfaces[self.surface_index]
    }

    /// What stands on top of the recording.
    fn on_top(&self) -> Vec<(&'a str, String)> {
        let (first, second) = (
            self.surface().servo_index,
            self.surface().second_servo_index,
        );
        let (first, second) = match second.filter(|_| self.second_alone) {
            Some(alone) => (alone, None),
            None => (first, second),
        };
        let tag = |index: usize| self.logbook.aircraft().servos[index].tag.clone();
        let mut keys = vec![
            (AIRCRAFT_KEY, self.logbook.aircraft().name.clone()),
            ("surface", self.surface().name.clone()),
            ("servo", tag(first)),
            ("started", self.started.clone()),
        ];
        keys.extend(second.map(|second| ("servo2", tag(second))));
        keys.extend(
            self.keys
                .iter()
                .map(|(key, value)| (*key, (*value).to_owned())),
        );
        keys
    }

    /// A driven sweep.
    pub async fn sweep(
        self,
        rig: Rig<Asked>,
        plan: SweepPlan,
        trip: TripPoints,
        screen: &mut Screen,
    ) -> Result<Run, Problem> {
        self.calibrate(&rig);
        let (keys, file) = (self.on_top(), self.file);
        let page = Page {
            file,
            path: &self.path,
            keys: &keys,
        };
        bench::sweep(rig, page, plan, trip, &mut |progress| {
            screen.progress(progress)
        })
        .await
    }

    /// A batch of working a hinge in: a sweep on a way that is known, if it is, and under a guard.
    pub async fn batch(
        self,
        rig: Rig<Asked>,
        plan: SweepPlan,
        trip: TripPoints,
        known: (Option<Way>, Guard),
        screen: &mut Screen,
    ) -> Result<(Run, Option<Way>, Guard), Problem> {
        self.calibrate(&rig);
        let (keys, file) = (self.on_top(), self.file);
        let page = Page {
            file,
            path: &self.path,
            keys: &keys,
        };
        bench::batch(rig, page, plan, trip, known, &mut |progress| {
            screen.progress(progress)
        })
        .await
    }

    /// Armed and disarmed several times in one recording; `ready` is waited for before each spell, and may end it.
    pub async fn spells(
        self,
        rig: Rig<Asked>,
        (plan, trip, angle_from): (SweepPlan, TripPoints, Channel),
        spells: &[Spell],
        ready: &mut impl AsyncFnMut(usize) -> bool,
        screen: &mut Screen,
    ) -> Result<Run, Problem> {
        self.calibrate(&rig);
        let (keys, file) = (self.on_top(), self.file);
        let page = Page {
            file,
            path: &self.path,
            keys: &keys,
        };
        let mut tell = |progress: &Progress| screen.progress(progress);
        let mut sweep = Sweep::new(plan, trip, &mut tell);
        sweep.angle_from = angle_from;
        bench::spells(rig, page, sweep, spells, ready).await
    }

    /// What the sensors read while somebody holds the surface, until `enough`. Angles are the sensor's own.
    pub async fn held_by_hand(
        self,
        rig: Rig<Asked>,
        enough: impl Future<Output = ()>,
    ) -> Result<Run, Problem> {
        let passive = Passive::of(self.surface());
        let (keys, file) = (self.on_top(), self.file);
        let page = Page {
            file,
            path: &self.path,
            keys: &keys,
        };
        bench::listen(rig, page, passive, enough, &mut |_| {}).await
    }

    /// What a hand or a transmitter does, until the time is up or Enter is pressed.
    pub async fn listen(
        self,
        rig: Rig<Asked>,
        seconds: Option<f64>,
        screen: &mut Screen,
    ) -> Result<Run, Problem> {
        let passive = Passive::of(self.surface());
        self.calibrate(&rig);
        let (keys, file) = (self.on_top(), self.file);
        let page = Page {
            file,
            path: &self.path,
            keys: &keys,
        };
        bench::listen(rig, page, passive, until(seconds), &mut |coverage| {
            screen.coverage(coverage)
        })
        .await
    }
}

/// The time is up, or Enter was pressed.
async fn until(seconds: Option<f64>) {
    let enter = async {
        // Where standard input is at its end nobody can press Enter: time or Ctrl-C ends it.
        if a_line().await.is_none() {
            std::future::pending::<()>().await;
        }
    };
    match seconds {
        Some(seconds) => {
            let _ = tokio::time::timeout(Duration::from_secs_f64(seconds), enter).await;
        }
        None => enter.await,
    }
}

/// A line from standard input, read on a thread of its own; `None` at its end.
pub async fn a_line() -> Option<String> {
    let (tell, told) = tokio::sync::oneshot::channel();
    std::thread::spawn(move || {
        let mut line = String::new();
        let read = io::stdin()
            .read_line(&mut line)
            .is_ok_and(|bytes| bytes > 0);
        let _ = tell.send(read.then_some(line));
    });
    told.await.ok().flatten()
}

/// From here on words go to standard error: standard output is for one JSON object alone.
pub fn words_to_stderr() {
    TO_STDERR.store(true, Ordering::Relaxed);
}

static TO_STDERR: AtomicBool = AtomicBool::new(false);

/// Where words for the one at the bench go.
pub fn words() -> Box<dyn Write> {
    if TO_STDERR.load(Ordering::Relaxed) {
        Box::new(anstream::stderr())
    } else {
        Box::new(anstream::stdout())
    }
}

/// Says something on standard output (or see [`words_to_stderr`]). A closed terminal is told by its signal, and a closed pipe is nobody to talk to.
/// Wrapped, with what follows a first word in a column of its own.
pub fn say(text: &str) {
    let mut out = words();
    for line in text.lines() {
        let in_column =
            line.len() > COLUMN && line.as_bytes()[COLUMN - 1] == b' ' && !line.starts_with("  ");
        let indent = if in_column {
            " ".repeat(COLUMN)
        } else {
            String::new()
        };
        let options = wrapping(show::terminal_width()).subsequent_indent(&indent);
        let _ = writeln!(out, "{}", textwrap::fill(line, options));
    }
    if text.is_empty() || text.ends_with('\n') {
        let _ = writeln!(out);
    }
}
