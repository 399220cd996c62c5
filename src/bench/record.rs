//! One run into a logbook, driven or by hand: the file, and what stands on top of it.

use std::path::{Path, PathBuf};

use crate::aircraft::{Surface, TripPoints};
use crate::logbook::{AIRCRAFT_KEY, Logbook};
use crate::problem::Problem;
use crate::recording::{Channel, purpose};
use crate::rig::{
    self, Asked, Coverage, Guard, Page, Passive, Progress, Rig, Run, Spell, Sweep, SweepPlan, Way,
};
use crate::servo::ALONE;

/// Who is told of each sample of a driven run; it may be slow, never wait.
pub type Tell<'t> = &'t mut dyn FnMut(&Progress);

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
        let own = self.surface().angle.as_ref();
        let angle = own.filter(|_| !self.keys.iter().any(on_an_arm));
        rig.line()
            .calibrate_angle(angle.map(|a| (a.scale, a.zero_deg)));
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
        tell: Tell<'_>,
    ) -> Result<Run, Problem> {
        self.calibrate(&rig);
        let (keys, file) = (self.on_top(), self.file);
        let page = Page {
            file,
            path: &self.path,
            keys: &keys,
        };
        rig::sweep(rig, page, plan, trip, tell).await
    }

    /// A batch of working a hinge in: a sweep on a way that is known, if it is, and under a guard.
    pub async fn batch(
        self,
        rig: Rig<Asked>,
        plan: SweepPlan,
        trip: TripPoints,
        known: (Option<Way>, Guard),
        tell: Tell<'_>,
    ) -> Result<(Run, Option<Way>, Guard), Problem> {
        self.calibrate(&rig);
        let (keys, file) = (self.on_top(), self.file);
        let page = Page {
            file,
            path: &self.path,
            keys: &keys,
        };
        rig::batch(rig, page, plan, trip, known, tell).await
    }

    /// Armed and disarmed several times in one recording; `ready` is waited for before each spell, and may end it.
    pub async fn spells(
        self,
        rig: Rig<Asked>,
        (plan, trip, angle_from): (SweepPlan, TripPoints, Channel),
        spells: &[Spell],
        ready: &mut impl AsyncFnMut(usize) -> bool,
        tell: Tell<'_>,
    ) -> Result<Run, Problem> {
        self.calibrate(&rig);
        let (keys, file) = (self.on_top(), self.file);
        let page = Page {
            file,
            path: &self.path,
            keys: &keys,
        };
        let mut sweep = Sweep::new(plan, trip, tell);
        sweep.angle_from = angle_from;
        rig::spells(rig, page, sweep, spells, ready).await
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
        rig::listen(rig, page, passive, enough, &mut |_| {}).await
    }

    /// What a hand or a transmitter does, until `enough`.
    pub async fn listen(
        self,
        rig: Rig<Asked>,
        enough: impl Future<Output = ()>,
        tell: &mut dyn FnMut(&Coverage),
    ) -> Result<Run, Problem> {
        let passive = Passive::of(self.surface());
        self.calibrate(&rig);
        let (keys, file) = (self.on_top(), self.file);
        let page = Page {
            file,
            path: &self.path,
            keys: &keys,
        };
        rig::listen(rig, page, passive, enough, tell).await
    }
}
