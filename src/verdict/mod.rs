//! Rules with their limit, unit and reason; findings; the sentences. Pure.

use crate::units::TorqueUnit;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    Stiffening,
    TightSpot,
    HighFriction,
    ThrowShort,
    HighLoad,
    Slop,
    PairDifference,
    StickSlip,
    HoldCurrent,
    BadData,
    Unproven,
}

impl Kind {
    pub fn word(self) -> &'static str {
        match self {
            Kind::Stiffening => "stiffening",
            Kind::TightSpot => "tight-spot",
            Kind::HighFriction => "high-friction",
            Kind::ThrowShort => "throw-short",
            Kind::HighLoad => "high-load",
            Kind::Slop => "slop",
            Kind::PairDifference => "pair-difference",
            Kind::StickSlip => "stick-slip",
            Kind::HoldCurrent => "hold-current",
            Kind::BadData => "bad-data",
            Kind::Unproven => "unproven",
        }
    }
}

/// How bad a finding is; the order is from mild to grave.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    Watch,
    Work,
    Stop,
}

impl Level {
    pub fn word(self) -> &'static str {
        match self {
            Level::Watch => "watch",
            Level::Work => "work",
            Level::Stop => "stop",
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    NoFaultFound,
    WorkNeeded,
    DoNotFly,
    Unproven,
}

impl Verdict {
    pub fn word(self) -> &'static str {
        match self {
            Verdict::NoFaultFound => "no-fault-found",
            Verdict::WorkNeeded => "work-needed",
            Verdict::DoNotFly => "do-not-fly",
            Verdict::Unproven => "unproven",
        }
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    pub kind: Kind,
    pub level: Level,
    pub at_deg: Option<f64>,
    pub(crate) sentence: Sentence,
}

/// A sentence kept as pieces, so that it can be said in the unit the builder asked for.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sentence(pub(crate) Vec<Piece>);

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Piece {
    Words(String),
}

impl Finding {
    /// What was found, with its numbers, and what to do next.
    pub fn text(&self, _unit: TorqueUnit) -> String {
        self.sentence.0.iter().map(|Piece::Words(w)| w.as_str()).collect()
    }
}

/// A surface judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Worst first.
    pub findings: Vec<Finding>,
    pub verdict: Verdict,
}
