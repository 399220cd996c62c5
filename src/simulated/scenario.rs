//! Everything that can be set about one simulated recording, with a fault-free elevator as the default.

use super::plant::{Loaded, PlantSettings};

/// A channel of the rig; its name carries its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Channel {
    PulseUs,
    AngleDeg,
    ArmDeg,
    CurrentMa,
    SupplyV,
    SourceV,
    TorqueNcm,
    ForceN,
    CaseC,
    AirC,
    /// Of the second of two servos.
    Current2Ma,
}

impl Channel {
    pub const ALL: [Self; 11] = [
        Self::PulseUs,
        Self::AngleDeg,
        Self::ArmDeg,
        Self::CurrentMa,
        Self::SupplyV,
        Self::SourceV,
        Self::TorqueNcm,
        Self::ForceN,
        Self::CaseC,
        Self::AirC,
        Self::Current2Ma,
    ];

    /// The channel of this name on the wire.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|channel| channel.name() == name)
    }

    /// The name on the wire.
    pub fn name(self) -> &'static str {
        match self {
            Self::PulseUs => "pulse_us",
            Self::AngleDeg => "angle_deg",
            Self::ArmDeg => "arm_deg",
            Self::CurrentMa => "current_ma",
            Self::SupplyV => "supply_v",
            Self::SourceV => "source_v",
            Self::TorqueNcm => "torque_ncm",
            Self::ForceN => "force_n",
            Self::CaseC => "case_c",
            Self::AirC => "air_c",
            Self::Current2Ma => "current2_ma",
        }
    }

    /// Decimals on the wire.
    pub(super) fn decimals(self) -> usize {
        match self {
            Self::CurrentMa | Self::Current2Ma => 0,
            Self::PulseUs | Self::CaseC | Self::AirC => 1,
            Self::AngleDeg | Self::ArmDeg | Self::TorqueNcm => 2,
            Self::SupplyV | Self::SourceV | Self::ForceN => 3,
        }
    }
}

/// One recording to simulate.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// `# surface=`
    pub surface: String,
    /// `# started=`, RFC 3339.
    pub started: String,
    /// `# purpose=`
    pub purpose: Option<String>,
    /// Further `#` keys.
    pub keys: Vec<(String, String)>,
    pub rig_name: String,
    pub rate_hz: f64,
    pub channels: Vec<Channel>,
    /// The rig's clock at the first sample, µs; it wraps at 2³².
    pub clock_start_us: u32,
    /// Number of the first sample; it wraps at 2¹⁶.
    pub first_seq: u16,
    pub plant: PlantSettings,
    pub programme: Programme,
    pub sensors: Sensors,
    pub line: LineFaults,
}

impl Default for Scenario {
    fn default() -> Self {
        use Channel::*;
        Self {
            surface: "left elevator".into(),
            started: "2026-04-18T10:22:07Z".into(),
            purpose: None,
            keys: Vec::new(),
            rig_name: "bench-sim".into(),
            rate_hz: 200.0,
            channels: vec![PulseUs, AngleDeg, ArmDeg, CurrentMa, SupplyV, TorqueNcm],
            clock_start_us: 1_000_512,
            first_seq: 0,
            plant: PlantSettings::default(),
            programme: Programme::Sweep(Sweep::default()),
            sensors: Sensors::default(),
            line: LineFaults::default(),
        }
    }
}

impl Scenario {
    /// The same scenario seen through other sensors. What happens to the plant does not change with them.
    pub fn with_channels(mut self, channels: Vec<Channel>) -> Self {
        self.channels = channels;
        self
    }
}

/// Who moves the surface.
#[derive(Debug, Clone, PartialEq)]
pub enum Programme {
    /// The rig drives the servo.
    Sweep(Sweep),
    /// A hand moves the surface; the rig is passive and gives no pulse.
    Hand(ByHand),
    /// The rig is armed for some moves and disarmed, several times, with another load each time.
    Spells(Vec<Spell>),
}

/// From one arming to its disarming.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Spell {
    /// `#` keys ahead of it.
    pub keys: Vec<(String, String)>,
    pub loaded: Loaded,
    pub moves: Vec<PulseMove>,
    /// The room's temperature does not matter here, but time does: disarmed before it, s.
    pub waits_s: f64,
}

/// To a pulse, at a rate (0: at once), then a hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PulseMove {
    pub to_us: f64,
    pub us_per_s: f64,
    pub hold_s: f64,
}

/// Cycles between two ends: rest at neutral, up, hold, down, hold …, neutral, rest.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    /// The throws that are wanted, degree, both positive numbers.
    pub throw_up_deg: f64,
    pub throw_down_deg: f64,
    /// How far beyond the throws the command goes, degree of the surface.
    pub overtravel_deg: f64,
    /// Ends of the command instead, signed degrees of the surface (up, down): a command that ends before the throw.
    pub ends_deg: Option<(f64, f64)>,
    pub cycles: u32,
    /// Cycles before those that feel their way: how many, and the share of the ends that they go to.
    pub approach: Option<(u32, f64)>,
    /// Average speed of the surface, degree/s.
    pub rate_deg_per_s: f64,
    pub hold_s: f64,
    pub rest_before_s: f64,
    pub rest_after_s: f64,
    pub trip: Trip,
}

impl Default for Sweep {
    fn default() -> Self {
        Self {
            throw_up_deg: 24.0,
            throw_down_deg: 24.0,
            overtravel_deg: 1.5,
            ends_deg: None,
            cycles: 10,
            approach: None,
            rate_deg_per_s: 30.0,
            hold_s: 0.4,
            rest_before_s: 1.5,
            rest_after_s: 1.0,
            trip: Trip::default(),
        }
    }
}

/// When the rig disarms itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Trip {
    /// `over-current` above this, held for 50 ms, mA.
    pub over_current_ma: f64,
    /// `stalled` when above this and the surface moves less than 0.3° within `stall_ms`, mA.
    pub stall_ma: f64,
    pub stall_ms: f64,
    /// How long the rig goes on recording once disarmed, s.
    pub record_after_s: f64,
}

impl Default for Trip {
    fn default() -> Self {
        Self {
            over_current_ma: 4000.0,
            stall_ma: 900.0,
            stall_ms: 300.0,
            record_after_s: 1.5,
        }
    }
}

/// A hand's uneven strokes between two ends.
#[derive(Debug, Clone, PartialEq)]
pub struct ByHand {
    /// Signed ends, degree of the surface.
    pub up_deg: f64,
    pub down_deg: f64,
    /// How far an end differs from stroke to stroke, one standard deviation, degree.
    pub end_scatter_deg: f64,
    pub cycles: u32,
    /// Typical speed, degree/s.
    pub rate_deg_per_s: f64,
    /// Standard deviation of the logarithm of the speed.
    pub unevenness: f64,
    /// Pauses in mid-stroke, a second of motion.
    pub pauses_per_s: f64,
    pub rest_s: f64,
}

impl Default for ByHand {
    fn default() -> Self {
        Self {
            up_deg: 25.0,
            down_deg: -25.0,
            end_scatter_deg: 0.7,
            cycles: 10,
            rate_deg_per_s: 30.0,
            unevenness: 0.35,
            pauses_per_s: 0.05,
            rest_s: 1.0,
        }
    }
}

/// How the sensors see. Noise is given as one standard deviation.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensors {
    /// Steps of a turn that the angle sensors tell apart.
    pub angle_steps: f64,
    pub angle_noise_deg: f64,
    pub angle_zero_deg: f64,
    pub angle_scale: f64,
    pub arm_zero_deg: f64,
    pub arm_scale: f64,
    pub current_noise_ma: f64,
    pub current_noise_s: f64,
    pub current_step_ma: f64,
    /// What all currents, and each voltage, read as against what is there.
    pub current_scale: f64,
    pub supply_scale: f64,
    pub source_scale: f64,
    /// First-order filter ahead of the current and voltage readings, s.
    pub electrical_lag_s: f64,
    /// Frequency at which the servo's bridge switches, Hz: what the filter leaves of it is in the current. 0 for none.
    pub ripple_hz: f64,
    pub voltage_noise_v: f64,
    pub voltage_step_v: f64,
    pub torque_noise_ncm: f64,
    pub torque_noise_s: f64,
    /// Straight drift of the torque baseline from the middle to the end of the recording, N·cm.
    pub torque_drift_ncm: f64,
    pub torque_scale: f64,
    pub force_noise_n: f64,
    pub force_noise_s: f64,
    pub force_scale: f64,
    pub broken: Vec<Broken>,
}

impl Default for Sensors {
    fn default() -> Self {
        Self {
            angle_steps: 4096.0,
            angle_noise_deg: 0.03,
            angle_zero_deg: 0.0,
            angle_scale: 1.0,
            arm_zero_deg: 0.0,
            arm_scale: 1.0,
            current_noise_ma: 6.0,
            current_noise_s: 0.020,
            current_step_ma: 1.0,
            current_scale: 1.0,
            supply_scale: 1.0,
            source_scale: 1.0,
            electrical_lag_s: 0.010,
            ripple_hz: 0.0,
            voltage_noise_v: 0.003,
            voltage_step_v: 0.001,
            torque_noise_ncm: 0.15,
            torque_noise_s: 0.020,
            torque_drift_ncm: 0.05,
            torque_scale: 1.0,
            force_noise_n: 0.08,
            force_noise_s: 0.020,
            force_scale: 1.0,
            broken: Vec::new(),
        }
    }
}

/// A sensor that fails for a while.
#[derive(Debug, Clone, PartialEq)]
pub struct Broken {
    pub channel: Channel,
    /// Since the first sample, s.
    pub from_s: f64,
    pub until_s: f64,
    pub how: HowBroken,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HowBroken {
    /// No reading: the field is empty.
    Silent,
    /// The last reading before it is repeated.
    Frozen,
}

/// What the wire does to the lines.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LineFaults {
    /// Share of samples that never arrive; the first and the last always do.
    pub lost: f64,
    /// Share of sample lines in which one bit flips.
    pub damaged: f64,
    /// Bytes of boot noise ahead of the rig's first line, ended by one LF.
    pub boot_noise_bytes: usize,
    /// Bytes missing from the end: a torn tail.
    pub torn_bytes: usize,
    /// Lines end in CR LF.
    pub carriage_return: bool,
}
