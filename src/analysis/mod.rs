//! From samples to numbers with intervals: strokes, torque, the curve, throws, load.
//! Pure: no file, clock, port or printing in it, and no judging: limits and verdicts are the next room's.

pub mod angle;
mod arm;
mod budget;
pub(crate) mod cells;
mod conditions;
mod curve;
mod data;
mod draw;
mod effort;
mod features;
mod fit;
mod jerks;
mod law;
mod lead;
mod load;
mod measure;
pub(crate) mod motion;
mod normal;
mod search;
pub(crate) mod series;
pub mod stats;
mod study;
mod throws;

pub use budget::{AbsentKnee, Budget, Budgets, CurveBudgets, KneeBudget, variance};
pub use draw::{Draw, NoDraw, PEAK_S, draw, step_peak_ma};
pub use features::{FALSE_ALARM_RATE, KNEE_FALSE_ALARM_RATE};
pub use lead::{CURRENT_SCALE_U, Resistances, VOLTAGE_SCALE_U, resistances};
pub use measure::measure;

use crate::aircraft::Side;

/// A supply below this feeds no servo: such a reading is a sensor's fault, V.
const LEAST_VOLTS: f64 = 1.0;

/// A measured value. Without an interval, too few strokes were seen to tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    pub value: f64,
    pub interval: Option<Interval>,
}

impl Quantity {
    /// In a unit so many times smaller; `by` above 0.
    pub fn times(&self, by: f64) -> Self {
        Self {
            value: by * self.value,
            interval: self.interval.map(|i| Interval {
                u: by * i.u,
                lo95: by * i.lo95,
                hi95: by * i.hi95,
            }),
        }
    }
}

/// Standard uncertainty and the limits of the 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    pub u: f64,
    pub lo95: f64,
    pub hi95: f64,
}

/// Where torque came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TorqueSource {
    /// `torque_ncm`.
    Torque,
    /// `force_n` through the linkage.
    Force,
    /// Supply power through the servo's calibration.
    SupplyPower,
    None,
}

impl TorqueSource {
    pub fn word(self) -> &'static str {
        match self {
            TorqueSource::Torque => "torque",
            TorqueSource::Force => "force",
            TorqueSource::SupplyPower => "supply-power",
            TorqueSource::None => "none",
        }
    }
}

/// Where the gear ratio between surface and servo arm (dθ/dα) came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RatioSource {
    ArmAngle,
    Linkage,
    Pulse,
    /// Nothing told: surface and arm are taken to turn alike (1:1).
    AssumedOne,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    Up,
    Down,
    Both,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knee {
    /// `true`: up (or left) side.
    pub up_side: bool,
    pub at_deg: Quantity,
    pub stiffness_beyond_ncm_per_deg: Quantity,
    /// Slope beyond over slope before.
    pub ratio: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TightSpot {
    pub from_deg: f64,
    pub at_deg: Quantity,
    pub to_deg: f64,
    pub height_ncm: Quantity,
    pub when: When,
}

/// The fitted law and what is drawn of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    pub stiffness_ncm_per_deg: Quantity,
    pub friction_ncm: Quantity,
    pub neutral_torque_ncm: Quantity,
    pub knees: Vec<Knee>,
    pub tight_spots: Vec<TightSpot>,
    /// Rms about the fitted curve, N·cm (from power: turned into torque at the observable stretches).
    pub residual_ncm: f64,
    /// The fitted branches with their 95 % band, for plots; ascending angle.
    pub fit: Vec<FitPoint>,
    /// Measured torque, averaged per stroke and angle step, for plots.
    pub points: Vec<TorquePoint>,
    /// Stretches where supply power says nothing about torque: (from, to, moving up?).
    pub not_observable: Vec<(f64, f64, bool)>,
}

impl Curve {
    /// Of a side's knees the one nearest to neutral.
    pub fn nearest_knee(&self, up_side: bool) -> Option<&Knee> {
        let knees = self.knees.iter().filter(|k| k.up_side == up_side);
        knees.min_by(|a, b| a.at_deg.value.abs().total_cmp(&b.at_deg.value.abs()))
    }
}

/// Both branches of the fitted law at one angle, N·cm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitPoint {
    pub angle_deg: f64,
    pub up_ncm: f64,
    pub down_ncm: f64,
    /// Half width of the 95 % band.
    pub band_ncm: f64,
}

/// A measured torque: the mean over one angle step of one stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TorquePoint {
    pub angle_deg: f64,
    pub torque_ncm: f64,
    /// Its own standard uncertainty (from power: from the power's noise and the local sensitivity).
    pub u_ncm: f64,
    pub moving_up: bool,
    /// Used in the fit (false: just after a reversal, or an outlier).
    pub used: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ThrowState {
    Met,
    Short,
    Unproven,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ShortCause {
    EndOfCommand,
    Stalled,
    StoppedByLimit,
}

#[derive(Debug, Clone, PartialEq)]
pub struct ThrowResult {
    pub name: String,
    pub side: Side,
    pub asked_mm: f64,
    pub asked_deg: f64,
    pub tolerance_mm: f64,
    /// Magnitudes on the throw's own side. `None` where the surface never moved that way.
    pub reached_mm: Option<Quantity>,
    pub reached_deg: Option<Quantity>,
    pub state: ThrowState,
    pub cause: Option<ShortCause>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoldCurrent {
    pub at_deg: f64,
    pub ma: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Load {
    pub peak_torque_ncm: Option<Quantity>,
    /// Where the peak stood.
    pub peak_at_deg: Option<f64>,
    /// At the servo's arm, of the stall torque at the voltage measured at the plug then.
    pub share_of_stall: Option<Quantity>,
    /// Hinge and linkage friction at the arm as a share of the same stall torque.
    pub friction_share_of_stall: Option<f64>,
    pub ratio_from: RatioSource,
    /// The voltage used for the share, V.
    pub voltage_v: Option<f64>,
    pub hold_current_ma: Vec<HoldCurrent>,
}

/// Motion in jerks under a steady command.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Jerks {
    /// Stops per degree of travel, a stroke's mean.
    pub stops_per_stroke: f64,
    /// Share of the time under steady command in which the surface stood still.
    pub standing_share: f64,
    pub step_deg: f64,
    pub at_deg: f64,
    /// Typical speed of the strokes, °/s.
    pub speed_deg_s: f64,
}

impl Jerks {
    /// Stops a stroke and share of time standing from which motion is called jerky (common practice, no source).
    const STOPS: f64 = 2.5;
    const STANDING: f64 = 0.04;

    /// Motion in jerks, not just a surface that takes up play once a stroke.
    pub fn jerky(&self) -> bool {
        self.stops_per_stroke >= Self::STOPS && self.standing_share >= Self::STANDING
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StrokeCounts {
    pub up: usize,
    pub down: usize,
    pub left_out: usize,
    /// Samples in moving stretches that were not steady and were left out.
    pub samples_not_steady: usize,
    /// Samples left out just after reversals.
    pub samples_after_reversal: usize,
    /// Samples out of line with all other strokes.
    pub samples_out_of_line: usize,
}

/// Things that keep a quantity from being judged.
#[derive(Debug, Clone, PartialEq)]
pub enum Doubt {
    /// Made for something else than the surface between its throws.
    NotASweep,
    NoTorqueSource,
    /// Supply current and voltage are there, but no calibration of this servo.
    NoCalibration,
    /// Two servos drive it, and one's supply power is not the whole torque.
    TwoServos,
    NoAngle,
    NeverMoved,
    /// Angles that no control surface has: another channel, or another scale.
    ImpossibleAngles {
        most_deg: f64,
    },
    /// The strokes' mean stands off the fitted curve: there is something that the curve does not show.
    Misfit {
        by_ncm: f64,
        at_deg: f64,
    },
    /// The fitted curve does not reach the ends of the travel.
    CurveTooShort {
        from_deg: f64,
        to_deg: f64,
    },
    /// Arm angle, or pulse, and surface angle have nothing to do with each other.
    DoesNotFollow {
        channel: &'static str,
    },
    /// The sensor that torque would come from reads the same all the time.
    DeadEffort {
        channel: &'static str,
    },
    TooFewStrokes {
        up: usize,
        down: usize,
    },
    TooLittleTravel {
        from_deg: f64,
        to_deg: f64,
    },
    TooMuchLost {
        share: f64,
    },
    /// Torque and angle, or arm and angle, or pulse and angle run against each other.
    SignReversed {
        channel: &'static str,
    },
    /// The fit did not settle, or the data do not carry the law.
    NoFit,
    /// At rest before the sweep the surface does not read zero.
    NeutralOff {
        at_deg: f64,
    },
    /// Supply power of jerky motion follows the steps' speed, not the sweep's: it says nothing about torque.
    JerkyPower,
    /// The calibration and the recording disagree by this many standard uncertainties.
    CalibrationStrained {
        sigmas: f64,
    },
}

/// What a recording was made under, and how. `None` where it was not measured.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Conditions {
    /// The room's mean temperature, °C.
    pub air_c: Option<f64>,
    /// The servo case's last temperature, °C.
    pub case_c: Option<f64>,
    /// Mean voltage at the servo's plug, V.
    pub supply_v: Option<f64>,
    /// Typical speed of the usable strokes (median), °/s.
    pub speed_deg_s: Option<f64>,
    /// Where the surface rested before its first stroke, °.
    pub rest_deg: Option<f64>,
}

/// What a recording of one surface showed.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    pub torque_from: TorqueSource,
    pub strokes: StrokeCounts,
    pub curve: Option<Curve>,
    pub throws: Vec<ThrowResult>,
    pub load: Load,
    pub slop_deg: Option<Quantity>,
    pub lead_mohm: Option<Quantity>,
    pub jerks: Option<Jerks>,
    pub doubts: Vec<Doubt>,
    pub conditions: Conditions,
    /// Where the uncertainties come from, for differences of two recordings.
    pub budgets: Budgets,
    /// Lowest and highest angle seen, degrees.
    pub travel_deg: Option<(f64, f64)>,
    /// Mean rate of the recording, Hz, and its span, s.
    pub rate_hz: f64,
    pub span_s: f64,
    /// For the time plot: thinned traces.
    pub traces: Traces,
}

impl Measured {
    /// Lets go of all that holds for a sweep between the throws alone: this recording is none. Travel, conditions and what is
    /// of the supply's lead stay.
    pub fn leave_out_the_surface(&mut self) {
        self.curve = None;
        self.throws = Vec::new();
        self.load = Load {
            peak_torque_ncm: None,
            peak_at_deg: None,
            share_of_stall: None,
            friction_share_of_stall: None,
            hold_current_ma: Vec::new(),
            ..self.load.clone()
        };
        self.slop_deg = None;
        self.jerks = None;
        self.torque_from = TorqueSource::None;
        self.strokes = StrokeCounts::default();
        self.budgets = Budgets::default();
        self.conditions.rest_deg = None;
        self.doubts = vec![Doubt::NotASweep];
    }

    /// Lets go of what only pictures need: over thousands of recordings it is most of the memory.
    pub fn forget_pictures(&mut self) {
        self.traces = Traces::default();
        if let Some(curve) = &mut self.curve {
            curve.points = Vec::new();
            curve.fit = Vec::new();
        }
    }
}

/// Thinned time traces (at most some 1,500 points each) for plots; NaN where there was no reading.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Traces {
    pub t_s: Vec<f64>,
    pub angle_deg: Vec<f64>,
    /// Torque, force or supply current, whichever the torque came from (else current), with its label and unit.
    pub effort: Vec<f64>,
    pub effort_label: String,
    pub pulse_us: Vec<f64>,
}
