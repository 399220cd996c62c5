//! Sentences kept as pieces, so that one finding can be said in the unit the builder asked for.

use crate::analysis::Quantity;
use crate::units::{TorqueUnit, Unit};

/// Words with quantities among them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sentence(Vec<Piece>);

#[derive(Debug, Clone, PartialEq)]
enum Piece {
    Words(String),
    Torque(f64, Option<f64>),
    Stiffness(f64, Option<f64>),
}

impl Sentence {
    pub fn new(words: impl Into<String>) -> Self {
        Self(vec![Piece::Words(words.into())])
    }
    pub fn words(mut self, words: impl Into<String>) -> Self {
        self.0.push(Piece::Words(words.into()));
        self
    }
    pub fn torque(mut self, q: &Quantity) -> Self {
        self.0.push(Piece::Torque(q.value, half_width(q)));
        self
    }
    pub fn bare_torque(mut self, ncm: f64) -> Self {
        self.0.push(Piece::Torque(ncm, None));
        self
    }
    pub fn stiffness(mut self, q: &Quantity) -> Self {
        self.0.push(Piece::Stiffness(q.value, half_width(q)));
        self
    }

    pub fn said_in(&self, unit: TorqueUnit) -> String {
        self.0
            .iter()
            .map(|piece| match piece {
                Piece::Words(words) => words.clone(),
                Piece::Torque(value, half) => shown(Unit::Torque(unit), *value, *half),
                Piece::Stiffness(value, half) => shown(Unit::Stiffness(unit), *value, *half),
            })
            .collect()
    }
}

fn half_width(q: &Quantity) -> Option<f64> {
    q.interval.map(|i| 0.5 * (i.hi95 - i.lo95))
}

fn shown(unit: Unit, value: f64, half: Option<f64>) -> String {
    match half {
        Some(half) => unit.plus_minus(value, half),
        None => unit.plain(value),
    }
}

/// A quantity in a unit that is not torque.
pub(super) fn plain(unit: Unit, q: &Quantity) -> String {
    shown(unit, q.value, half_width(q))
}
