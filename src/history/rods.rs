//! The same surface with its rods on and off: what of the friction and the spring is the hinge's own, what comes with linkage and
//! servo. Pure; wording is the report's.
//!
//! A torque sensor at the hinge line reads the hinge alone, rods on or off. Supply power, read by a calibration, is what the
//! servo's arm has to give: hinge and linkage together, and whatever the servo's own friction has changed by since it was
//! calibrated. A servo that turns free tells that change. So the linkage's part is a difference of the two, and each step of it
//! needs its own recording. Friction that the rod's pull makes *in the hinge* is the hinge's with rods on, and is not there
//! with rods off.

use super::welch::Difference;
use crate::analysis::{Budget, Measured, Quantity, TorqueSource, variance};
use crate::servo::free::{Free, Friction};

/// The servo's friction among its numbers, and its winding loss (`Budget::by_servo`).
const WINDING: usize = 1;
const FRICTION: usize = 2;

/// What was measured, each `None` where there is no such recording.
#[derive(Debug, Clone, Copy, Default)]
pub struct Sides<'a> {
    /// Rods on, by the torque sensor where there is one.
    pub on: Option<&'a Measured>,
    /// The same recording by supply power alone.
    pub on_by_power: Option<&'a Measured>,
    /// Rods off, the surface moved by hand against a torque sensor.
    pub surface_off: Option<&'a Measured>,
    /// Rods off, the servo turning free.
    pub servo_off: Option<&'a Free>,
    /// On and off were recorded by one rig: its torque sensor's scale is shared.
    pub same_rig: bool,
}

/// Where the hinge's own part was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HingeFrom {
    RodsOff,
    /// The torque sensor at the hinge line while the servo drives: with what the rod's pull adds.
    SensorRodsOn,
}

/// One quantity, taken apart. N·cm, or N·cm/°.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Apart {
    /// All that the servo's arm has to give, at the hinge line.
    pub whole: Option<Quantity>,
    pub hinge: Option<Quantity>,
    /// Whole less hinge.
    pub linkage: Option<Quantity>,
    /// By the sensor, rods on less rods off: what the rod's pull adds in the hinge.
    pub by_the_rod: Option<Quantity>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cannot {
    /// No calibrated supply power with rods on: what the linkage takes does not show.
    NoPower,
    /// No torque sensor, neither with rods off nor on: the hinge alone does not show.
    NoSensor,
    /// No recording of the servo turning free: its own change stands in the linkage's part.
    NoFreeServo,
    /// The servo turned free and is not calibrated: its friction has no number.
    NotCalibrated,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Rods {
    pub friction: Apart,
    pub stiffness: Apart,
    pub hinge_from: Option<HingeFrom>,
    /// The servo's own friction, N·m at its arm.
    pub servo: Option<Friction>,
    /// What that change makes at the hinge line, N·cm, taken off the linkage's part.
    pub servo_ncm: Option<f64>,
    pub cannot: Vec<Cannot>,
}

impl Rods {
    /// Friction below nothing is none: the recordings do not belong together.
    pub fn impossible(&self) -> bool {
        let linkage = self.friction.linkage.and_then(|q| q.interval);
        linkage.is_some_and(|i| i.hi95 < 0.0)
    }

    /// Whether something was told apart, and can be.
    pub fn told(&self) -> bool {
        let any = self.friction.linkage.is_some()
            || self.servo.is_some()
            || self.friction.by_the_rod.is_some();
        any && !self.impossible()
    }
}

pub fn apart(sides: &Sides<'_>) -> Rods {
    let by_sensor =
        |m: &&Measured| matches!(m.torque_from, TorqueSource::Torque) && m.curve.is_some();
    let on_sensor = sides.on.filter(by_sensor);
    let off_sensor = sides
        .surface_off
        .filter(|m| m.curve.is_some() && m.torque_from != TorqueSource::SupplyPower);
    let power = sides
        .on_by_power
        .filter(|m| m.torque_from == TorqueSource::SupplyPower && m.curve.is_some());
    let servo = sides.servo_off.and_then(|f| f.friction);
    let hinge = match (off_sensor, on_sensor) {
        (Some(off), _) => Some((off, HingeFrom::RodsOff)),
        (None, Some(on)) => Some((on, HingeFrom::SensorRodsOn)),
        _ => None,
    };
    let one = |of: fn(&Measured) -> Option<Budget>| Apart {
        whole: power.and_then(|m| with_servo(&of(m)?, m, servo.as_ref(), 0.0, &[])),
        hinge: hinge.and_then(|(m, _)| alone(&of(m)?)),
        linkage: power.zip(hinge).and_then(|(m, (h, _))| {
            let h = of(h)?;
            let parts = [
                (h.scatter_u, h.df),
                (h.own_u, f64::INFINITY),
                (h.scale_u * h.value, f64::INFINITY),
            ];
            with_servo(&of(m)?, m, servo.as_ref(), h.value, &parts)
        }),
        by_the_rod: on_sensor
            .zip(off_sensor)
            .and_then(|(on, off)| sensor_difference(&of(on)?, &of(off)?, sides.same_rig)),
    };
    let friction = one(|m| m.budgets.curve.friction);
    let stiffness = one(|m| m.budgets.curve.stiffness);
    let servo_ncm = power.zip(servo).and_then(|(m, s)| {
        let by = m.budgets.curve.friction?.by_servo[FRICTION];
        Some(-by * s.change_nm.value)
    });
    let mut cannot = Vec::new();
    cannot.extend(power.is_none().then_some(Cannot::NoPower));
    cannot.extend(hinge.is_none().then_some(Cannot::NoSensor));
    cannot.extend(sides.servo_off.is_none().then_some(Cannot::NoFreeServo));
    cannot.extend((sides.servo_off.is_some() && servo.is_none()).then_some(Cannot::NotCalibrated));
    Rods {
        friction,
        stiffness,
        hinge_from: hinge.map(|(_, from)| from),
        servo,
        servo_ncm,
        cannot,
    }
}

/// A quantity by supply power, with the servo's friction as it is now where that is known, less another: by the law's own
/// dependence on the servo's numbers. What the calibration said of friction then cancels.
fn with_servo(
    on: &Budget,
    measured: &Measured,
    servo: Option<&Friction>,
    less: f64,
    less_parts: &[(f64, f64)],
) -> Option<Quantity> {
    let mut by = on.by_servo;
    let mut value = on.value;
    let mut parts = vec![
        (on.scatter_u, on.df),
        (on.own_u, f64::INFINITY),
        (on.scale_u * on.value, f64::INFINITY),
    ];
    if let Some(servo) = servo {
        value += by[FRICTION] * servo.change_nm.value;
        parts.push((by[FRICTION].abs() * servo.scatter_u, servo.df));
        by[WINDING] += by[FRICTION] * servo.by_winding;
        by[FRICTION] = 0.0;
    }
    let shared = variance(&by, &measured.budgets.curve.servo);
    parts.push((shared.max(0.0).sqrt(), f64::INFINITY));
    parts.extend_from_slice(less_parts);
    Difference::of(less, value, &parts).map(|d| d.quantity())
}

fn alone(budget: &Budget) -> Option<Quantity> {
    let parts = [
        (budget.scatter_u, budget.df),
        (budget.own_u, f64::INFINITY),
        (budget.scale_u * budget.value, f64::INFINITY),
    ];
    Difference::of(0.0, budget.value, &parts).map(|d| d.quantity())
}

/// Of one sensor's scale as much is left as the two differ by.
fn sensor_difference(on: &Budget, off: &Budget, same_rig: bool) -> Option<Quantity> {
    let (a, b) = (on.scale_u * on.value, off.scale_u * off.value);
    let scale = if same_rig { (a - b).abs() } else { a.hypot(b) };
    let parts = [
        (on.scatter_u, on.df),
        (off.scatter_u, off.df),
        (on.own_u, f64::INFINITY),
        (off.own_u, f64::INFINITY),
        (scale, f64::INFINITY),
    ];
    Difference::of(off.value, on.value, &parts).map(|d| d.quantity())
}

#[cfg(test)]
#[path = "rods_tests.rs"]
mod tests;
