//! Whether two recordings were made alike: in what they differ besides the fix. Compares no result.

use super::{Caution, Side};

/// Beyond these the two recordings were not made alike (common practice, no source).
pub(in crate::history) const AIR_APART_K: f64 = 8.0;
pub(in crate::history) const SPEED_APART: f64 = 0.25;
pub(in crate::history) const SUPPLY_APART_V: f64 = 0.5;

pub(super) fn differ(before: Option<&str>, after: Option<&str>) -> bool {
    before.zip(after).is_some_and(|(b, a)| b != a)
}

pub(super) fn cautions(before: &Side, after: &Side) -> Vec<Caution> {
    let mut found = Vec::new();
    if let Some((b, a)) = before.started.zip(after.started)
        && a < b
    {
        found.push(Caution::Backwards {
            before: b,
            after: a,
        });
    }
    for (side, is_after) in [(before, false), (after, true)] {
        found.extend(side.unfinished.map(|why| Caution::Unfinished {
            after: is_after,
            why: why.to_owned(),
        }));
        if !side.between_throws {
            found.push(Caution::WithinAStage { after: is_after });
        }
    }
    let shown = |name: Option<&str>| name.unwrap_or("none named").to_owned();
    if before.rig != after.rig {
        found.push(Caution::Rig(shown(before.rig), shown(after.rig)));
    }
    if differ(before.servo, after.servo) {
        found.push(Caution::Servo(shown(before.servo), shown(after.servo)));
    }
    let only = |one: &[String], other: &[String]| -> Vec<String> {
        one.iter().filter(|c| !other.contains(c)).cloned().collect()
    };
    let (only_before, only_after) = (
        only(before.channels, after.channels),
        only(after.channels, before.channels),
    );
    if !(only_before.is_empty() && only_after.is_empty()) {
        found.push(Caution::Channels {
            only_before,
            only_after,
        });
    }
    let (b, a) = (before.measured, after.measured);
    if b.torque_from != a.torque_from {
        found.push(Caution::TorqueFrom(b.torque_from, a.torque_from));
    }
    let (b, a) = (&b.conditions, &a.conditions);
    if let Some((before_c, after_c)) = b.air_c.zip(a.air_c)
        && (after_c - before_c).abs() > AIR_APART_K
    {
        found.push(Caution::Air { before_c, after_c });
    }
    if let Some((before_deg_s, after_deg_s)) = b.speed_deg_s.zip(a.speed_deg_s)
        && (after_deg_s / before_deg_s - 1.0).abs() > SPEED_APART
    {
        found.push(Caution::Speed {
            before_deg_s,
            after_deg_s,
        });
    }
    if let Some((before_v, after_v)) = b.supply_v.zip(a.supply_v)
        && (after_v - before_v).abs() > SUPPLY_APART_V
    {
        found.push(Caution::Supply { before_v, after_v });
    }
    found
}
