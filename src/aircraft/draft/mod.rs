//! A new aircraft file on its way: usual layouts, what has been told so far, and the commented text of the file. Asks nobody and
//! opens nothing.

mod text;

pub use text::text;

use super::ThrowMeasure;

/// What is usual where nothing else is said, mm (common practice, no source).
pub const TOLERANCE_MM: f64 = super::surface::DEFAULT_TOLERANCE_MM;

/// A usual layout of surfaces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    OneRudder,
    TwoRudders,
    VTail,
    Delta,
    /// Surfaces named one by one.
    Own,
}

impl Layout {
    pub const ALL: [Layout; 5] = [
        Self::OneRudder,
        Self::TwoRudders,
        Self::VTail,
        Self::Delta,
        Self::Own,
    ];

    /// As an option and an answer have it.
    pub fn word(self) -> &'static str {
        match self {
            Self::OneRudder => "one-rudder",
            Self::TwoRudders => "two-rudders",
            Self::VTail => "v-tail",
            Self::Delta => "delta",
            Self::Own => "own",
        }
    }

    pub fn means(self) -> &'static str {
        match self {
            Self::OneRudder => "two elevators, two ailerons, two flaps, one rudder",
            Self::TwoRudders => "two elevators, two ailerons, two flaps, two rudders",
            Self::VTail => {
                "two tail surfaces that are elevator and rudder at once, two ailerons, two flaps"
            }
            Self::Delta => "two elevons, one rudder",
            Self::Own => "you name the surfaces one by one",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|layout| layout.word() == word.trim())
    }

    pub fn groups(self) -> &'static [Group] {
        match self {
            Self::OneRudder => &[ELEVATORS, AILERONS, FLAPS, RUDDER],
            Self::TwoRudders => &[ELEVATORS, AILERONS, FLAPS, RUDDERS],
            Self::VTail => &[TAIL, AILERONS, FLAPS],
            Self::Delta => &[ELEVONS, RUDDER],
            Self::Own => &[],
        }
    }
}

/// A surface, or two opposite ones that are alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Group {
    pub name: &'static str,
    pub tag: &'static str,
    /// The opposite one's name and its servo's tag.
    pub pair: Option<(&'static str, &'static str)>,
    /// Usual throws: name, and the way it goes.
    pub throws: &'static [(&'static str, &'static str)],
}

pub const UP_AND_DOWN: &[(&str, &str)] = &[("up", "up"), ("down", "down")];
pub const LEFT_AND_RIGHT: &[(&str, &str)] = &[("left", "left"), ("right", "right")];

const ELEVATORS: Group = Group {
    name: "left elevator",
    tag: "E1",
    pair: Some(("right elevator", "E2")),
    throws: UP_AND_DOWN,
};
const AILERONS: Group = Group {
    name: "left aileron",
    tag: "A1",
    pair: Some(("right aileron", "A2")),
    throws: UP_AND_DOWN,
};
const FLAPS: Group = Group {
    name: "left flap",
    tag: "F1",
    pair: Some(("right flap", "F2")),
    throws: &[("take-off", "down"), ("landing", "down")],
};
const RUDDER: Group = Group {
    name: "rudder",
    tag: "R1",
    pair: None,
    throws: LEFT_AND_RIGHT,
};
const RUDDERS: Group = Group {
    name: "left rudder",
    tag: "R1",
    pair: Some(("right rudder", "R2")),
    throws: LEFT_AND_RIGHT,
};
const TAIL: Group = Group {
    name: "left tail",
    tag: "T1",
    pair: Some(("right tail", "T2")),
    throws: UP_AND_DOWN,
};
const ELEVONS: Group = Group {
    name: "left elevon",
    tag: "V1",
    pair: Some(("right elevon", "V2")),
    throws: UP_AND_DOWN,
};

/// What has been told of an aircraft.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Draft {
    pub name: String,
    pub kinds: Vec<Kind>,
    /// Tag, and index of its kind.
    pub servos: Vec<(String, usize)>,
    pub surfaces: Vec<Surface>,
}

/// A kind of servo, by its data sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Kind {
    pub name: String,
    pub stall_torque_ncm: f64,
    pub stall_voltage_v: f64,
    pub arm_deg_per_us: Option<f64>,
    /// s per 60°, at the voltage of the stall torque.
    pub speed_s_per_60deg: Option<f64>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Surface {
    pub name: String,
    pub tag: String,
    pub pair: Option<String>,
    pub chord_mm: f64,
    pub measure: ThrowMeasure,
    pub throws: Vec<Throw>,
    /// Arm, horn, rod, base, mm.
    pub linkage: Option<[f64; 4]>,
    /// Span mm, wing chord mm, fastest m/s.
    pub air: Option<[f64; 3]>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Throw {
    pub name: String,
    /// `up`, `down`, `left` or `right`.
    pub way: &'static str,
    pub value: f64,
    pub in_deg: bool,
    pub tolerance_mm: f64,
}
