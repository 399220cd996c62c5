//! A recording as the analysis sees it: decoded samples in columns, with everything that was lost or damaged counted.
//! Nothing here judges a surface.
//!
//! [`read_path`] and [`read`] take a capture of the rig link or a CSV file, whichever it is, in one pass and in bounded
//! buffers: memory grows with good samples alone. [`Journal`] writes a recording as it arrives. What was decided where the link is silent is said in `notes`.

mod assemble;
mod capture;
mod csv;
mod journal;
mod open;
mod peek;
pub mod purpose;
mod sniff;
mod timeline;

pub use journal::{Journal, MOST_WAITING_BYTES, Written};
pub use open::{read, read_path};
pub use peek::HostKeys;
pub(crate) use timeline::{Step, Timeline};

use crate::link::RigLine;

/// The channels the host knows, each with its unit in its name, as on the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(usize)]
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
    /// Of the second of two servos on one surface.
    Current2Ma,
}

/// How many there are.
pub(crate) const CHANNELS: usize = Channel::ALL.len();

impl Channel {
    pub const ALL: [Channel; 11] = [
        Channel::PulseUs,
        Channel::AngleDeg,
        Channel::ArmDeg,
        Channel::CurrentMa,
        Channel::SupplyV,
        Channel::SourceV,
        Channel::TorqueNcm,
        Channel::ForceN,
        Channel::CaseC,
        Channel::AirC,
        Channel::Current2Ma,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Channel::PulseUs => "pulse_us",
            Channel::AngleDeg => "angle_deg",
            Channel::ArmDeg => "arm_deg",
            Channel::CurrentMa => "current_ma",
            Channel::SupplyV => "supply_v",
            Channel::SourceV => "source_v",
            Channel::TorqueNcm => "torque_ncm",
            Channel::ForceN => "force_n",
            Channel::CaseC => "case_c",
            Channel::AirC => "air_c",
            Channel::Current2Ma => "current2_ma",
        }
    }

    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.name() == name)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Drive {
    Driven,
    Passive,
}

/// What the rig said it is (its last `RIG` line). A CSV file has none.
#[derive(Debug, Clone, PartialEq)]
pub struct RigIdentity {
    pub name: String,
    pub firmware: String,
    pub drive: Drive,
    /// Samples per second as the rig states it; 0 where it states none.
    pub rate_hz: f64,
    /// Channel names in the order of the samples, unknown ones included.
    pub channels: Vec<String>,
}

impl RigIdentity {
    pub(crate) fn of(rig: &RigLine<'_>) -> Self {
        Self {
            name: rig.name.to_owned(),
            firmware: rig.firmware.to_owned(),
            drive: if rig.driven {
                Drive::Driven
            } else {
                Drive::Passive
            },
            rate_hz: rig.rate_hz,
            channels: rig.channels().map(str::to_owned).collect(),
        }
    }
}

/// The samples between two starts of the rig, in columns of equal length.
#[derive(Debug, Clone, Default)]
pub struct Segment {
    /// Seconds since this segment's first sample; the 32-bit clock's wraps undone; never decreasing.
    pub t_s: Vec<f64>,
    columns: [Option<Vec<f64>>; CHANNELS],
}

impl Segment {
    /// `columns`: the known channels this rig has; a missing reading is NaN; other values are finite.
    pub fn new(mut t_s: Vec<f64>, mut columns: [Option<Vec<f64>>; CHANNELS]) -> Self {
        // Columns grew by doubling: half of a long recording would be empty room.
        t_s.shrink_to_fit();
        columns.iter_mut().flatten().for_each(Vec::shrink_to_fit);
        debug_assert!(columns.iter().flatten().all(|c| c.len() == t_s.len()));
        Self { t_s, columns }
    }
    /// The same, to be changed in place: a sensor's calibration, applied once.
    pub(crate) fn column_mut(&mut self, channel: Channel) -> Option<&mut [f64]> {
        self.columns[channel as usize].as_deref_mut()
    }
    pub fn len(&self) -> usize {
        self.t_s.len()
    }
    pub fn is_empty(&self) -> bool {
        self.t_s.is_empty()
    }
    /// The same as a rig without these channels would have recorded it.
    fn without(&self, channels: &[Channel]) -> Self {
        let mut same = self.clone();
        for channel in channels {
            same.columns[*channel as usize] = None;
        }
        same
    }
    /// The channel's readings, NaN where the sensor gave none; `None` where the rig has no such channel.
    pub fn column(&self, channel: Channel) -> Option<&[f64]> {
        self.columns[channel as usize].as_deref()
    }
}

/// Where a `#` key stands among the samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeyPlace {
    /// Index into [`Recording::keys`].
    pub key: usize,
    /// The segment, and its first sample after the key (there may be none).
    pub segment: usize,
    pub sample: usize,
}

/// An `EV` line.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Which segment it fell into.
    pub segment: usize,
    /// Seconds on the segment's clock (the same zero as its samples; negative where it came before the first of them).
    pub t_s: f64,
    pub code: String,
    pub detail: Option<String>,
}

/// The `#` key with which the host says how a run ended. It stands at the top of a recording as [`UNFINISHED`], which is true
/// until the run's end writes it once more; a run that was killed leaves it standing.
pub const OUTCOME: &str = "outcome";
/// The `#` key of what the host noticed on the way: a sentence for whoever reads the recording.
pub const REMARK: &str = "remark";
pub const UNFINISHED: &str = "unfinished";
pub const FINISHED: &str = "finished";
/// How an outcome begins that says that torque rose while a hinge was worked.
pub const STOPPED_AT: &str = "stopped at ";

/// A recording, read.
#[derive(Debug, Clone, Default)]
pub struct Recording {
    /// `#` keys in the order of the file, unknown ones included.
    pub keys: Vec<(String, String)>,
    /// Where those keys stand that came after a sample: for what holds from there on.
    pub places: Vec<KeyPlace>,
    pub rig: Option<RigIdentity>,
    /// At least one, none of them empty, where it was read from a file.
    pub segments: Vec<Segment>,
    pub events: Vec<Event>,
    /// Good samples in all segments.
    pub samples: u64,
    /// Samples that SEQ shows to have been sent and that did not arrive whole.
    pub lost: u64,
    pub damaged_lines: u64,
    /// `RIG` lines after samples had begun.
    pub restarts: u64,
    /// Things a reader should know that are no error, as plain sentences (a clock that jumped back, NaN in CSV…).
    pub notes: Vec<String>,
}

impl Recording {
    /// The last value given for a `#` key.
    pub fn key(&self, name: &str) -> Option<&str> {
        self.keys
            .iter()
            .rev()
            .find(|(k, _)| k == name)
            .map(|(_, v)| v.as_str())
    }
    /// When the recording began, from its `started` key; `None` where there is none or it is no RFC 3339 time.
    pub fn started(&self) -> Option<jiff::Timestamp> {
        self.key("started")?.parse().ok()
    }
    /// Why the run that made this recording did not reach its end, from its last `outcome` key; `None` where it did, or
    /// where it does not say (a capture of a serial terminal).
    pub fn unfinished(&self) -> Option<&str> {
        let why = self.key(OUTCOME)?.strip_prefix(UNFINISHED)?;
        Some(why.trim_start_matches([':', ' '])).map(|w| {
            if w.is_empty() {
                "it ended without a word: killed, or the computer went down"
            } else {
                w
            }
        })
    }
    /// Samples that did not come through: those that SEQ misses (a damaged sample is one of them), or the damaged lines
    /// where there are more of these.
    pub fn gone(&self) -> u64 {
        self.lost.max(self.damaged_lines)
    }
    /// The same as a rig without these channels would have recorded it.
    pub fn without(&self, channels: &[Channel]) -> Self {
        let segments = self.segments.iter().map(|s| s.without(channels));
        Self {
            segments: segments.collect(),
            ..self.clone()
        }
    }

    pub fn has(&self, channel: Channel) -> bool {
        self.segments.iter().any(|s| {
            s.column(channel)
                .is_some_and(|c| c.iter().any(|v| !v.is_nan()))
        })
    }
}
