//! What a season takes of a finished recording.

use std::sync::Arc;

use jiff::Timestamp;

use super::Measure;
use crate::analysis::Quantity;
use crate::verdict::Verdict;

/// One finished recording, as far as a season looks at it. They come by the million: names are shared, and what was not measured
/// takes no room.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    pub id: String,
    pub at: Timestamp,
    pub surface: Arc<str>,
    /// The servo's tag.
    pub servo: Option<Arc<str>>,
    /// That of the other, where two drive the surface.
    pub second: Option<Arc<str>>,
    /// Where torque came from: readings of two kinds of sensor are not one series.
    pub torque_from: Option<Arc<str>>,
    /// Of a sweep between the throws; `None` of any other recording.
    pub verdict: Option<Verdict>,
    pub values: Values,
    /// Share of stall torque per N·cm at the hinge line, where both were measured.
    pub stall_share_per_ncm: Option<f64>,
    /// The most that the servo's lead may have by its copper and plugs, mΩ, where the aircraft file says what it is made of.
    pub lead_at_most_mohm: Option<f64>,
}

/// What was measured.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Values(Box<[(Measure, Quantity)]>);

impl Values {
    pub fn get(&self, measure: Measure) -> Option<Quantity> {
        let found = self.0.iter().find(|(of, _)| *of == measure);
        found.map(|(_, quantity)| *quantity)
    }

    pub(super) fn all(&self) -> impl Iterator<Item = (Measure, Quantity)> {
        self.0.iter().copied()
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl FromIterator<(Measure, Quantity)> for Values {
    fn from_iter<I: IntoIterator<Item = (Measure, Quantity)>>(all: I) -> Self {
        Self(all.into_iter().collect())
    }
}

impl Reading {
    pub(super) fn has(&self, tag: &str) -> bool {
        [&self.servo, &self.second]
            .into_iter()
            .flatten()
            .any(|t| **t == *tag)
    }

    /// What it says of the second of two servos: all that is not the first one's own, whose current and lead were measured.
    pub(super) fn of_second(&self) -> Option<Self> {
        let servo = Some(self.second.clone()?);
        let values = self
            .values
            .all()
            .filter(|(m, _)| !m.is_the_servos_own())
            .collect();
        Some(Self {
            servo,
            second: self.servo.clone(),
            values,
            ..self.clone()
        })
    }
}
