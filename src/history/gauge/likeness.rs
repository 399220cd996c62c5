//! Whether the mountings of a study were measured alike, and whether the surface stayed the same meanwhile.

use super::Mounting;
use crate::history::compare::{AIR_APART_K, SPEED_APART, SUPPLY_APART_V, What};
use crate::history::mann_kendall::mann_kendall;

/// Mountings from which a drift can be called at all.
const FEWEST_FOR_DRIFT: usize = 5;

/// In what the mountings differ besides being mountings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Caution {
    Air {
        lowest_c: f64,
        highest_c: f64,
    },
    Speed {
        lowest_deg_s: f64,
        highest_deg_s: f64,
    },
    Supply {
        lowest_v: f64,
        highest_v: f64,
    },
    /// In the order of time the values rise or fall: the surface changed, or people took turns one after the other.
    Drift {
        what: What,
        rises: bool,
    },
}

pub(super) fn of(mountings: &[Mounting<'_>]) -> Vec<Caution> {
    let span = |of: &dyn Fn(&Mounting<'_>) -> Option<f64>| {
        let values = mountings.iter().filter_map(of);
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(v), h.max(v))
        })
    };
    let mut cautions = Vec::new();
    let (lowest_c, highest_c) = span(&|m| m.measured.conditions.air_c);
    if highest_c - lowest_c > AIR_APART_K {
        cautions.push(Caution::Air {
            lowest_c,
            highest_c,
        });
    }
    let (lowest_deg_s, highest_deg_s) = span(&|m| m.measured.conditions.speed_deg_s);
    if highest_deg_s / lowest_deg_s - 1.0 > SPEED_APART {
        cautions.push(Caution::Speed {
            lowest_deg_s,
            highest_deg_s,
        });
    }
    let (lowest_v, highest_v) = span(&|m| m.measured.conditions.supply_v);
    if highest_v - lowest_v > SUPPLY_APART_V {
        cautions.push(Caution::Supply {
            lowest_v,
            highest_v,
        });
    }
    cautions
}

/// A drift of one quantity's values, each less its surface's mean, in the order of time. `None` where a time is not known.
pub(super) fn drift(
    mountings: &[Mounting<'_>],
    what: What,
    values: &[f64],
    level: f64,
) -> Option<Caution> {
    if mountings.len() < FEWEST_FOR_DRIFT {
        return None;
    }
    let mean = |surface: usize| {
        let own = mountings
            .iter()
            .zip(values)
            .filter(|(m, _)| m.surface == surface);
        let (sum, count) = own.fold((0.0, 0.0), |(s, n), (_, v)| (s + v, n + 1.0));
        sum / count
    };
    let mut timed = Vec::with_capacity(values.len());
    for (mounting, value) in mountings.iter().zip(values) {
        timed.push((mounting.started?, value - mean(mounting.surface)));
    }
    timed.sort_by_key(|(at, _)| *at);
    let in_order: Vec<f64> = timed.into_iter().map(|(_, value)| value).collect();
    let test = mann_kendall(&in_order)?;
    (test.p < level).then_some(Caution::Drift {
        what,
        rises: test.s > 0,
    })
}
