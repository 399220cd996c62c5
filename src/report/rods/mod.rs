//! What `rods` says, worded once for [`text`] and [`json`]. No deciding.

pub mod json;
pub mod text;

use crate::history::rods::{Apart, Cannot, HingeFrom, Rods};
use crate::report::view::quantity;
use crate::servo::free::Free;
use crate::units::{TorqueUnit, Unit};

/// A surface with its rods on and off.
pub struct Shown<'a> {
    pub surface: &'a str,
    /// The servo's tag.
    pub servo: &'a str,
    /// File of the recording with rods on, and those with rods off.
    pub on: Option<&'a str>,
    pub off: &'a [String],
    pub rods: Rods,
    pub free: Option<Free>,
    /// Notes: what a file was taken for, and what it could not be.
    pub notes: &'a [String],
}

fn sentences(shown: &Shown<'_>, unit: TorqueUnit) -> Vec<String> {
    let rods = &shown.rods;
    let mut said = Vec::new();
    said.extend(friction(&rods.friction, rods, unit));
    said.extend(rods.stiffness.linkage.map(|q| {
        let told = quantity(&q, Unit::Stiffness(unit));
        match q.interval {
            Some(i) if i.lo95 > 0.0 => format!(
                "The linkage adds {told} of spring: a rod that binds or bends, or a sleeve that pushes back."
            ),
            Some(i) if i.hi95 < 0.0 => format!(
                "With rods on it is softer by {told}: the two were not measured alike (laid another way, warmer, or worked in between)."
            ),
            _ => format!("The spring is the hinge's: linkage and servo add nothing that shows ({told})."),
        }
    }));
    if let Some(q) = rods.friction.by_the_rod {
        let told = quantity(&q, Unit::Torque(unit));
        said.push(match q.interval {
            Some(i) if i.lo95 > 0.0 => {
                format!("The rod's pull adds {told} of friction in the hinge itself: a rod that pulls aslant, or a hinge line that bends.")
            }
            _ => format!("The rod's pull adds no friction in the hinge that shows ({told})."),
        });
    }
    if let Some(servo) = &rods.servo {
        let told = quantity(&servo.change_nm.times(100.0), Unit::Torque(unit));
        said.push(match servo.change_nm.interval {
            Some(i) if i.lo95 > 0.0 => format!(
                "Servo {}'s own friction has risen by {told} at its arm since it was calibrated: calibrate it anew, and look at its gears.",
                shown.servo
            ),
            Some(i) if i.hi95 < 0.0 => format!(
                "Servo {}'s own friction has changed by {told} at its arm since it was calibrated: it has run in, or was colder then. \
                 Calibrate it anew.",
                shown.servo
            ),
            _ => format!(
                "Servo {}'s own friction is as it was calibrated ({told} at its arm).",
                shown.servo
            ),
        });
    }
    said.extend(rods.cannot.iter().map(|c| cannot(*c).to_owned()));
    said
}

fn friction(friction: &Apart, rods: &Rods, unit: TorqueUnit) -> Option<String> {
    let linkage = friction.linkage?;
    let torque = |q| quantity(q, Unit::Torque(unit));
    let whose = match rods.cannot.contains(&Cannot::NoFreeServo) || rods.servo.is_none() {
        true => "linkage, and whatever the servo's own friction has changed by,",
        false => "linkage",
    };
    Some(match linkage.interval {
        Some(i) if i.lo95 > 0.0 => format!(
            "Of the friction {} is the hinge's; {whose} takes {} more.",
            torque(&friction.hinge?),
            torque(&linkage)
        ),
        Some(i) if i.hi95 < 0.0 => format!(
            "What the {whose} takes comes out below nothing, {}, and that cannot be: these recordings do not belong together. Were the \
             rods really off, is it the same surface and the same rig, was it moved as fast? Record both anew.",
            torque(&linkage)
        ),
        _ => format!(
            "The friction is the hinge's, {}: what the {whose} takes cannot be told from nothing ({}).",
            torque(&friction.hinge?),
            torque(&linkage)
        ),
    })
}

/// Why something is not told, and what to record.
fn cannot(cannot: Cannot) -> &'static str {
    match cannot {
        Cannot::NoPower => {
            "What the linkage takes cannot be told: with rods on that needs supply power (current_ma, supply_v) and a calibrated servo. \
             `hingewright calibrate` makes one."
        }
        Cannot::NoSensor => {
            "The hinge alone cannot be told: take the rod off, move the surface by hand against a torque sensor (torque_ncm) and record \
             that, with --purpose rods-off. Without a torque sensor hinge and linkage stay one."
        }
        Cannot::NoFreeServo => {
            "The servo by itself was not recorded: put the angle sensor on its arm, rods off, and sweep with --purpose rods-off."
        }
        Cannot::NotCalibrated => {
            "The servo turned free, and without a calibration its power tells no friction."
        }
    }
}

fn hinge_words(from: Option<HingeFrom>) -> &'static str {
    match from {
        Some(HingeFrom::RodsOff) => "by the torque sensor, rods off",
        Some(HingeFrom::SensorRodsOn) => {
            "by the torque sensor with rods on: with what the rod's pull adds"
        }
        None => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Interval, Quantity};

    fn quantity(value: f64, u: f64) -> Option<Quantity> {
        Some(Quantity {
            value,
            interval: Some(Interval {
                u,
                lo95: value - 1.96 * u,
                hi95: value + 1.96 * u,
            }),
        })
    }

    fn rods(linkage: Option<Quantity>) -> Rods {
        Rods {
            friction: Apart {
                whole: quantity(3.0, 0.2),
                hinge: quantity(5.0, 0.2),
                linkage,
                by_the_rod: None,
            },
            stiffness: Apart::default(),
            hinge_from: Some(HingeFrom::RodsOff),
            servo: None,
            servo_ncm: None,
            cannot: vec![Cannot::NoFreeServo],
        }
    }

    fn said(rods: &Rods) -> String {
        friction(&rods.friction, rods, TorqueUnit::default()).unwrap()
    }

    #[test]
    fn friction_below_nothing_is_called_impossible_and_tells_nothing_apart() {
        let below = rods(quantity(-2.0, 0.3));
        assert!(below.impossible() && !below.told());
        let words = said(&below);
        assert!(words.contains("below nothing, \u{2212}2.0"), "{words}");
        assert!(words.contains("Were the rods really off"), "{words}");
        // What may be nothing is no contradiction, and what is above it is the linkage's.
        let nothing = rods(quantity(-0.2, 0.3));
        assert!(nothing.told() && said(&nothing).contains("cannot be told from nothing"));
        let more = rods(quantity(2.0, 0.3));
        assert!(
            more.told() && said(&more).contains("takes 2.0"),
            "{}",
            said(&more)
        );
    }
}
