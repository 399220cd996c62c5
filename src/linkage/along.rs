//! The linkage along its throw: a row an arm angle, the differential, the dead points.

use super::{DeadPoint, HingeTorque, Setup};
use crate::analysis::{Interval, Quantity};

/// One row of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    pub arm_deg: f64,
    pub surface_deg: Quantity,
    /// Torque at the hinge per torque at the servo.
    pub advantage: Quantity,
    /// At the servo: of the torque measured at the hinge, or of 1 N·cm there where none was measured.
    pub servo_ncm: Quantity,
    pub rod_to_arm_deg: f64,
    pub rod_to_horn_deg: f64,
}

/// Both ways by the same angle of the arm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Differential {
    pub arm_deg: f64,
    pub up_deg: Quantity,
    /// Magnitude.
    pub down_deg: Quantity,
    /// Up over down.
    pub ratio: Quantity,
}

/// A dead point, and what lies before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ahead {
    pub dead: DeadPoint,
    /// Where the arm stands there, °.
    pub arm_deg: Quantity,
    /// The arm angle at which the rod's line comes near to arm or horn, °.
    pub nears_at_arm_deg: f64,
    /// What of the arm's way is left beyond the furthest asked throw, °; negative or none where the throw is not reached.
    pub left_deg: Option<Quantity>,
}

/// The arm angle that a deflection takes, signed; `None` out of the rod's reach.
pub fn arm_needed(setup: &Setup<'_>, surface_deg: f64) -> Option<Quantity> {
    setup.quantity(|bar| Some(bar.at_surface_deg(surface_deg)?.arm_deg))
}

/// Rows from the arm angle that the furthest throw down takes to that of the furthest up, at round angles between.
/// A throw out of reach ends the table short of its dead point.
pub fn rows(setup: &Setup<'_>, asked: (f64, f64), torque: Option<&HingeTorque>) -> Vec<Row> {
    let ends = ends(setup, asked);
    let wide = ends.0 - ends.1;
    let step = [2.0, 5.0, 10.0, 20.0]
        .into_iter()
        .find(|s| wide / s <= 11.0)
        .unwrap_or(30.0);
    let mut angles = vec![ends.1];
    let (first, last) = (
        (ends.1 / step).ceil() as i64,
        (ends.0 / step).floor() as i64,
    );
    // Not next door to an end.
    let round = (first..=last).map(|i| i as f64 * step);
    angles.extend(round.filter(|a| a - ends.1 > 0.3 * step && ends.0 - a > 0.3 * step));
    angles.push(ends.0);
    angles.dedup();
    angles
        .into_iter()
        .filter_map(|arm_deg| row(setup, arm_deg, torque))
        .collect()
}

/// The arm's angles at the furthest asked throws, up and down; short of the dead point where one is out of reach.
pub fn ends(setup: &Setup<'_>, asked: (f64, f64)) -> (f64, f64) {
    const SHORT_OF_IT: f64 = 0.97;
    let Some(bar) = setup.bar() else {
        return (0.0, 0.0);
    };
    let dead = bar.dead_points();
    let end = |asked_deg: f64, dead: Option<DeadPoint>| {
        let needed = bar.at_surface_deg(asked_deg).map(|s| s.arm_deg);
        let needed = needed.filter(|n| *n == 0.0 || n.signum() == asked_deg.signum());
        needed.unwrap_or_else(|| dead.map_or(0.0, |d| SHORT_OF_IT * d.arm_deg))
    };
    (end(asked.0, dead.0), end(asked.1, dead.1))
}

fn row(setup: &Setup<'_>, arm_deg: f64, torque: Option<&HingeTorque>) -> Option<Row> {
    let stand = setup.bar()?.at_arm_deg(arm_deg)?;
    let ratio = setup.quantity(|bar| Some(bar.at_arm_deg(arm_deg)?.ratio))?;
    let servo_ncm = match torque {
        // The torque is that of the place; where exactly the surface stands counts far less than the ratio.
        Some(torque) => product(torque.quantity(stand.surface_deg), ratio),
        None => ratio,
    };
    Some(Row {
        arm_deg,
        surface_deg: setup.quantity(|bar| Some(bar.at_arm_deg(arm_deg)?.surface_deg))?,
        advantage: setup.quantity(|bar| Some(bar.at_arm_deg(arm_deg)?.advantage()))?,
        servo_ncm,
        rod_to_arm_deg: stand.rod_to_arm_deg,
        rod_to_horn_deg: stand.rod_to_horn_deg,
    })
}

/// Of two independent quantities.
pub(super) fn product(a: Quantity, b: Quantity) -> Quantity {
    let value = a.value * b.value;
    let interval = a.interval.zip(b.interval).map(|(of_a, of_b)| {
        let half = |i: Interval| 0.5 * (i.hi95 - i.lo95);
        let both = |x: f64, y: f64| (x * b.value).hypot(y * a.value);
        let wide = both(half(of_a), half(of_b));
        Interval {
            u: both(of_a.u, of_b.u),
            lo95: value - wide,
            hi95: value + wide,
        }
    });
    Quantity { value, interval }
}

/// Both ways by `arm_deg`, or by as much as both sides have before their dead points.
pub fn differential(setup: &Setup<'_>, arm_deg: f64) -> Option<Differential> {
    let at = |arm: f64| {
        move |bar: &super::FourBar| bar.at_arm_deg(arm).map(|s| s.surface_deg * arm.signum())
    };
    let (up, down) = (at(arm_deg), at(-arm_deg));
    Some(Differential {
        arm_deg,
        up_deg: setup.quantity(up)?,
        down_deg: setup.quantity(down)?,
        ratio: setup.quantity(|bar| Some(up(bar)? / down(bar)?))?,
    })
}

/// The dead points on the way up and on the way down.
pub fn ahead(setup: &Setup<'_>, asked: (f64, f64)) -> (Option<Ahead>, Option<Ahead>) {
    let Some(bar) = setup.bar() else {
        return (None, None);
    };
    let dead = bar.dead_points();
    let of = |up: bool, dead: Option<DeadPoint>| {
        let dead = dead?;
        let side = move |bar: &super::FourBar| {
            let both = bar.dead_points();
            if up { both.0 } else { both.1 }
        };
        let asked_deg = if up { asked.0 } else { asked.1 };
        let left_deg = setup.quantity(|bar| {
            let needed = bar.at_surface_deg(asked_deg)?.arm_deg;
            Some((side(bar)?.arm_deg - needed) * if up { 1.0 } else { -1.0 })
        });
        Some(Ahead {
            dead,
            arm_deg: setup.quantity(|bar| Some(side(bar)?.arm_deg))?,
            nears_at_arm_deg: bar.nears_at_arm_deg(&dead),
            left_deg,
        })
    };
    (of(true, dead.0), of(false, dead.1))
}
