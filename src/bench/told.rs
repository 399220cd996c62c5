//! What page and program tell each other over the WebSocket: the page's wishes, and what it is to show. Wire types of their own.

use serde::{Deserialize, Serialize};

/// What a page asks for.
#[derive(Debug, Clone, Deserialize)]
#[serde(tag = "ask", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Ask {
    /// First word of a page: a name that it made up for itself and keeps while it is open.
    Hello {
        page: String,
    },
    /// It is still there. Expected five times a second of the page that drives.
    Alive,
    /// It wants to be the one that drives.
    Drive,
    /// Shows a surface, by its place in the aircraft file.
    Pick {
        surface: usize,
    },
    /// The cautions are read, everything is clear, and the rig is on the surface that it shows: once more for each other surface.
    Confirm,
    /// Runs on the surface that it shows, named once more.
    Sweep {
        surface: String,
    },
    BreakIn {
        surface: String,
        /// To go on although the hinge was stopped for getting stiffer: it was looked at.
        #[serde(default)]
        after_stop: bool,
    },
    Listen {
        surface: String,
    },
    /// Ends what is recorded by hand, as finished.
    Enough,
    /// Stops everything at once. Any page may.
    Stop,
}

/// Everything that does not change with each sample.
#[derive(Debug, Clone, Default, Serialize)]
pub struct State {
    pub aircraft: String,
    pub logbook: String,
    pub surfaces: Vec<SurfaceTold>,
    pub rig: RigTold,
    pub picked: Option<usize>,
    /// The run under way, or the last one.
    pub run: Option<RunTold>,
}

#[derive(Debug, Clone, Default, Serialize)]
pub struct SurfaceTold {
    pub name: String,
    pub servo: String,
    pub throws: Vec<ThrowTold>,
    /// What a sweep of it is.
    pub sweep: SweepTold,
    /// Its angle sensor is calibrated: the file has its `[surface.angle]`.
    pub calibrated: bool,
    pub last: Option<LastTold>,
}

#[derive(Debug, Clone, Default, Serialize)]
pub struct SweepTold {
    pub from_deg: f64,
    pub to_deg: f64,
    pub cycles: u32,
    pub takes_s: f64,
}

#[derive(Debug, Clone, Serialize)]
pub struct ThrowTold {
    pub name: String,
    pub asked_mm: f64,
    /// With its side's sign.
    pub asked_deg: f64,
}

/// How a surface stood when it was swept last.
#[derive(Debug, Clone, Serialize)]
pub struct LastTold {
    pub verdict: &'static str,
    pub words: &'static str,
    pub day: String,
}

#[derive(Debug, Clone, Default, Serialize)]
pub struct RigTold {
    pub there: bool,
    /// It drives the servo; otherwise a hand does.
    pub drives: bool,
    pub name: String,
    pub port: String,
    /// What stands for torque in its samples, with its unit.
    pub effort: Option<EffortTold>,
    pub measures_heat: bool,
    pub trouble: Option<TroubleTold>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EffortTold {
    pub name: &'static str,
    pub unit: &'static str,
    /// It is torque at the hinge line itself.
    pub is_torque: bool,
}

/// What happened, and what to do next.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TroubleTold {
    pub what: String,
    pub hint: Option<String>,
}

impl From<&crate::problem::Problem> for TroubleTold {
    fn from(problem: &crate::problem::Problem) -> Self {
        Self {
            what: problem.what.clone(),
            hint: problem.hint.clone(),
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    Sweep,
    BreakIn,
    ByHand,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Doing {
    /// From the wish to the first sample.
    Beginning,
    Moving,
    /// Disarmed; what was recorded is measured.
    Judging,
    Over,
}

#[derive(Debug, Clone, Serialize)]
pub struct RunTold {
    pub number: u64,
    pub surface: usize,
    pub what: What,
    pub doing: Doing,
    /// Of a break-in: `stage 20°, 30 cycles worked`.
    pub stage: Option<String>,
    /// The file, within the logbook.
    pub recording: Option<String>,
    /// What was found in two looks in a row while it was moving, or in the end.
    pub findings: Vec<FindingTold>,
    /// What a builder should know of the way.
    pub notes: Vec<String>,
    /// Torque as measured so far, where the samples themselves are not torque.
    pub torque: Option<TorqueTold>,
    pub behind: Option<BehindTold>,
    pub fall: Option<FallTold>,
    pub verdict: Option<VerdictTold>,
    pub ended: Option<EndedTold>,
}

impl RunTold {
    pub fn is_under_way(&self) -> bool {
        self.doing != Doing::Over
    }
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FindingTold {
    pub level: &'static str,
    pub kind: &'static str,
    /// What the level means.
    pub meaning: &'static str,
    pub text: String,
}

/// Points of deflection in degrees and torque in N·cm.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct TorqueTold {
    pub from: &'static str,
    pub points: Vec<[f32; 2]>,
    /// The surface's last session.
    pub behind: Vec<[f32; 2]>,
}

/// The surface's last session, in the same channel as the live trace.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BehindTold {
    pub words: String,
    pub points: Vec<[f32; 2]>,
}

/// How a hinge has softened so far.
#[derive(Debug, Clone, Serialize)]
pub struct FallTold {
    pub batches: Vec<BatchTold>,
    /// How it stands, in words.
    pub state: String,
    pub stands: String,
    /// Which picture of it is the latest.
    pub picture: u64,
}

#[derive(Debug, Clone, Serialize)]
pub struct BatchTold {
    pub cycles: f64,
    pub stage_deg: Option<f64>,
    pub stiffness: Option<String>,
    pub friction: Option<String>,
    pub knees: String,
}

#[derive(Debug, Clone, Serialize)]
pub struct VerdictTold {
    pub word: &'static str,
    pub words: &'static str,
    pub meaning: &'static str,
    pub rows: Vec<RowTold>,
    pub throws: Vec<ThrowRowTold>,
    /// What `check --json` says of the recording.
    pub check: serde_json::Value,
}

#[derive(Debug, Clone, Serialize)]
pub struct RowTold {
    pub name: String,
    pub value: String,
    pub known: bool,
}

#[derive(Debug, Clone, Serialize)]
pub struct ThrowRowTold {
    pub name: String,
    pub asked: String,
    pub reached: String,
    pub state: String,
    pub word: &'static str,
}

#[derive(Debug, Clone, Serialize)]
pub struct EndedTold {
    /// `whole`, `stopped`, `rose` or `failed`.
    pub how: &'static str,
    pub what: String,
    pub hint: Option<String>,
    /// The rig confirmed that it sends no pulses.
    pub disarmed: bool,
    /// Milliseconds since 1970, for a page that comes back.
    pub at_ms: i64,
}

/// What changes with each sample.
#[derive(Debug, Clone, Default, Serialize)]
pub struct LiveTold {
    pub run: u64,
    /// Number of the first of `points` in the run.
    pub from: usize,
    /// Deflection in degrees and effort.
    pub points: Vec<[f32; 2]>,
    pub phase: &'static str,
    pub number: u32,
    pub of: u32,
    pub left_s: f64,
    pub coverage: Option<CoverageTold>,
    pub now: Option<NowTold>,
    /// When the first of `points` was heard, milliseconds since 1970.
    pub first_ms: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CoverageTold {
    pub up: u32,
    pub down: u32,
    pub wanted: u32,
    pub share: f64,
    pub enough: bool,
}

/// The latest reading.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct NowTold {
    pub angle_deg: Option<f64>,
    pub torque_ncm: Option<f64>,
    pub force_n: Option<f64>,
    pub current_ma: Option<f64>,
    pub supply_v: Option<f64>,
    pub case_c: Option<f64>,
    pub rate_hz: f64,
    pub lost: u64,
    pub damaged: u64,
}

/// What is sent to a page.
#[derive(Debug, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Told<'a> {
    State {
        /// This page is the one that drives.
        drives: bool,
        /// There is one that drives.
        driven: bool,
        /// This page has confirmed the cautions.
        confirmed: bool,
        /// And that the rig is on the surface that is shown.
        wired: bool,
        state: &'a State,
    },
    Live(&'a LiveTold),
    /// The program ends: nothing moves any more, and this address is no longer good.
    Gone,
    /// A wish that is not met, and why.
    No {
        words: &'a str,
    },
}
