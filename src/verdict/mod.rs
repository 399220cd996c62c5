//! Rules with their limit, unit and reason; findings; the sentences. Pure.

mod data_rules;
mod pairs;
mod rules;
mod sentence;
mod servo_rules;
mod share_rules;

use crate::aircraft::{Aircraft, Limits, Surface};
use crate::analysis::Measured;
use crate::recording::Recording;
use crate::units::TorqueUnit;
pub use sentence::Sentence;
pub use servo_rules::{ServoOf, judge_servo, lack_words};
pub use share_rules::{judge_share, lack_words as share_lack_words};

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
    ServoFight,
    SlowServo,
    Centring,
    DeadBand,
    Jitter,
    Overshoot,
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
            Kind::ServoFight => "servo-fight",
            Kind::SlowServo => "slow-servo",
            Kind::Centring => "centring",
            Kind::DeadBand => "dead-band",
            Kind::Jitter => "jitter",
            Kind::Overshoot => "overshoot",
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

    pub fn from_word(word: &str) -> Option<Self> {
        [
            Verdict::NoFaultFound,
            Verdict::WorkNeeded,
            Verdict::DoNotFly,
            Verdict::Unproven,
        ]
        .into_iter()
        .find(|verdict| verdict.word() == word)
    }
}

/// Something found, with its numbers and what to do next in one sentence.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    pub kind: Kind,
    pub level: Level,
    /// Where on the surface's travel, if anywhere.
    pub at_deg: Option<f64>,
    sentence: Sentence,
}

impl Finding {
    /// What was found, with its numbers, and what to do next.
    pub fn text(&self, unit: TorqueUnit) -> String {
        self.sentence.said_in(unit)
    }

    /// Its level as people are shown it: what could not be judged is no fault to keep an eye on, and makes the verdict unproven
    /// where nothing worse was found.
    pub fn mark(&self) -> &'static str {
        match self.kind {
            Kind::Unproven => self.kind.word(),
            _ => self.level.word(),
        }
    }

    pub fn new(kind: Kind, level: Level, at_deg: Option<f64>, sentence: Sentence) -> Self {
        Self {
            kind,
            level,
            at_deg,
            sentence,
        }
    }
}

/// A surface judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Worst first.
    pub findings: Vec<Finding>,
    pub verdict: Verdict,
}

impl Judged {
    /// The verdict that findings add up to: the worst of them, else unproven where something was.
    pub fn new(mut findings: Vec<Finding>) -> Self {
        findings.sort_by_key(|f| std::cmp::Reverse((f.level, f.kind == Kind::Unproven)));
        let worst = findings.iter().map(|f| f.level).max();
        let verdict = match worst {
            Some(Level::Stop) => Verdict::DoNotFly,
            Some(Level::Work) => Verdict::WorkNeeded,
            _ if findings.iter().any(|f| f.kind == Kind::Unproven) => Verdict::Unproven,
            _ => Verdict::NoFaultFound,
        };
        Self { findings, verdict }
    }
}

/// Judges one surface by the aircraft's limits.
pub fn judge(
    measured: &Measured,
    recording: &Recording,
    surface: &Surface,
    limits: &Limits,
) -> Judged {
    Judged::new(rules::all(measured, recording, surface, limits))
}

/// Compares surfaces with their pairs among recordings judged together, and adds what differs to both.
/// `results`: surface index, what was measured, what was judged.
pub fn compare_pairs(aircraft: &Aircraft, results: &mut [(usize, &Measured, &mut Judged)]) {
    let mut added: Vec<(usize, Finding)> = Vec::new();
    for (i, (surface_index, measured, _)) in results.iter().enumerate() {
        let surface = &aircraft.surfaces[*surface_index];
        let Some(pair_index) = surface.pair_index else {
            continue;
        };
        // The pair's last recording of those given.
        let Some((_, other, _)) = results.iter().rev().find(|(s, _, _)| *s == pair_index) else {
            continue;
        };
        let pair = &aircraft.surfaces[pair_index];
        added.extend(
            pairs::differences(surface, measured, pair, other, &aircraft.limits)
                .into_iter()
                .map(|f| (i, f)),
        );
    }
    for (i, finding) in added {
        let judged = &mut *results[i].2;
        let mut findings = std::mem::take(&mut judged.findings);
        findings.push(finding);
        *judged = Judged::new(findings);
    }
}
