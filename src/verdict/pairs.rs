//! A surface against its opposite number.

use super::sentence::Sentence;
use super::{Finding, Kind, Level};
use crate::aircraft::{Limits, Surface};
use crate::analysis::{Measured, Quantity};
use crate::units::Unit;

/// Stiffness and friction that differ by more than the limit, and by more than their intervals explain.
pub(super) fn differences(
    surface: &Surface,
    measured: &Measured,
    pair: &Surface,
    other: &Measured,
    limits: &Limits,
) -> Vec<Finding> {
    let (Some(own), Some(its)) = (&measured.curve, &other.curve) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let both = [
        (
            "stiffness",
            &own.stiffness_ncm_per_deg,
            &its.stiffness_ncm_per_deg,
            true,
        ),
        ("friction", &own.friction_ncm, &its.friction_ncm, false),
    ];
    for (word, mine, theirs, per_degree) in both {
        let mean = 0.5 * (mine.value.abs() + theirs.value.abs());
        let difference = mine.value - theirs.value;
        if mean <= 0.0
            || difference.abs() < limits.pair_difference * mean
            || !told_apart(mine, theirs)
        {
            continue;
        }
        let start = Sentence::new(format!(
            "{} and {} differ in {word}: ",
            surface.name, pair.name
        ));
        let said = if per_degree {
            start.stiffness(mine).words(" against ").stiffness(theirs)
        } else {
            start.torque(mine).words(" against ").torque(theirs)
        };
        let sentence = said.words(format!(
            ", {} of their mean (limit {}). Find which one is out of the ordinary: both should feel alike.",
            Unit::Share.plain(difference.abs() / mean),
            Unit::Share.given(limits.pair_difference)
        ));
        found.push(Finding::new(
            Kind::PairDifference,
            Level::Work,
            None,
            sentence,
        ));
    }
    found
}

/// The intervals of the two, added as independent, do not reach across the difference.
fn told_apart(a: &Quantity, b: &Quantity) -> bool {
    match (a.interval, b.interval) {
        (Some(ia), Some(ib)) => {
            let half = (0.5 * (ia.hi95 - ia.lo95)).hypot(0.5 * (ib.hi95 - ib.lo95));
            (a.value - b.value).abs() > half
        }
        _ => false,
    }
}
