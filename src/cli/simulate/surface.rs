//! A surface of an aircraft file as a thing to simulate: servo, linkage, calibration, and how far it must move.
//! The one place where `aircraft` and `simulated` meet.

use crate::aircraft::{Aircraft, Surface};
use crate::assess::surface_named;
use crate::problem::Problem;
use crate::simulated::{Limits, Linkage, Scenario, SecondServo, Servo, Supply};

/// How far beyond its throws a surface may be driven: a share of the throw, and at least so many degrees.
const BEYOND_SHARE: f64 = 0.15;
const BEYOND_DEG: f64 = 3.0;
/// Pulses that every servo understands, µs from the middle.
const USUAL_HALF_RANGE_US: f64 = 600.0;
const WIDEST_HALF_RANGE_US: f64 = 1000.0;
/// Horn of a surface whose linkage nobody measured, mm.
const USUAL_HORN_MM: f64 = 20.0;

/// A surface by name, or the first one.
pub(super) fn choose<'a>(
    aircraft: &'a Aircraft,
    name: Option<&str>,
    file: &str,
) -> Result<&'a Surface, Problem> {
    match name {
        Some(name) => surface_named(name, aircraft).map(|index| &aircraft.surfaces[index]),
        None => aircraft.surfaces.first().ok_or_else(|| {
            Problem::new(format!("{file}: there is no surface in it"))
                .hint("add a [[surface]], as samples/aircraft.toml has it")
        }),
    }
}

/// The scenario that the aircraft file describes; what it does not say keeps its default.
pub fn scenario(aircraft: &Aircraft, surface: &Surface) -> Scenario {
    let mut scenario = Scenario {
        surface: surface.name.clone(),
        ..Scenario::default()
    };
    let fitted = &aircraft.servos[surface.servo_index];
    let kind = &aircraft.servo_types[fitted.type_index];
    let plant = &mut scenario.plant;
    put_servo(&mut plant.servo, aircraft, surface.servo_index);
    plant.supply = Supply {
        open_v: kind.stall_voltage_v,
        ..Supply::default()
    };
    plant.linkage = match &surface.linkage {
        Some(bars) => Linkage::FourBar {
            arm_mm: bars.arm_mm,
            horn_mm: bars.horn_mm,
            rod_mm: bars.rod_mm,
            base_mm: bars.base_mm,
            arm_zero_deg: bars.arm_zero_deg,
        },
        None => Linkage::Ratio {
            surface_per_arm: 1.0,
            horn_mm: USUAL_HORN_MM,
        },
    };
    let servo = &mut plant.servo;
    servo.arm_deg_per_us = kind.arm_deg_per_us.unwrap_or_else(|| {
        let furthest_deg = reach(surface)
            .into_iter()
            .map(|deg| plant.linkage.arm_for(deg).abs())
            .fold(0.0, f64::max);
        servo
            .arm_deg_per_us
            .max(furthest_deg / WIDEST_HALF_RANGE_US)
    });
    plant.second = surface.second_servo_index.map(|index| {
        let mut servo = plant.servo.clone();
        put_servo(&mut servo, aircraft, index);
        SecondServo {
            centre_offset_deg: 0.0,
            servo,
        }
    });
    scenario
}

/// What the aircraft file says of a servo.
fn put_servo(servo: &mut Servo, aircraft: &Aircraft, index: usize) {
    let fitted = &aircraft.servos[index];
    let kind = &aircraft.servo_types[fitted.type_index];
    servo.stall_torque_ncm = kind.stall_torque_ncm;
    servo.stall_voltage_v = kind.stall_voltage_v;
    if let Some(calibration) = &fitted.calibration {
        servo.reference_c = calibration.reference_c;
        servo.idle_w = calibration.idle_w;
        servo.winding_w_per_nm2 = calibration.winding_w_per_nm2;
        servo.friction_nm = calibration.friction_nm;
        servo.gear_loss = calibration.gear_loss;
    }
}

/// Deflections that the rig must be able to command, degree, signed.
pub(super) fn reach(surface: &Surface) -> Vec<f64> {
    surface
        .throws
        .iter()
        .map(|throw| {
            let beyond_deg = (BEYOND_SHARE * throw.asked_deg).max(BEYOND_DEG);
            throw.side.sign() * (throw.asked_deg + beyond_deg)
        })
        .collect()
}

/// Limits wide enough for these deflections, as far as a servo's pulses go.
pub(super) fn limits_for(scenario: &Scenario, reach_deg: &[f64]) -> Limits {
    let (servo, linkage) = (&scenario.plant.servo, &scenario.plant.linkage);
    let half_us = reach_deg
        .iter()
        .map(|&deg| {
            (servo.pulse_for_arm(linkage.arm_for(deg)) - servo.centre_us)
                .abs()
                .ceil()
        })
        .fold(USUAL_HALF_RANGE_US, f64::max)
        .min(WIDEST_HALF_RANGE_US);
    let lowest_v = Limits::default().supply_v;
    Limits {
        pulse_lo_us: (servo.centre_us - half_us).max(500.0),
        pulse_hi_us: (servo.centre_us + half_us).min(2500.0),
        supply_v: lowest_v.min(0.65 * scenario.plant.supply.open_v),
        ..Limits::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulated::Plant;

    fn sample() -> Aircraft {
        crate::aircraft::read_path(std::path::Path::new("samples/aircraft.toml"))
            .expect("the sample is whole")
    }

    #[test]
    fn the_file_s_servo_calibration_and_bars_are_what_is_simulated() {
        let aircraft = sample();
        let surface = choose(&aircraft, Some("left elevator"), "aircraft.toml").unwrap();
        let plant = scenario(&aircraft, surface).plant;
        assert_eq!(plant.servo.stall_torque_ncm, 210.0);
        assert_eq!(
            (plant.servo.winding_w_per_nm2, plant.servo.friction_nm),
            (8.4, 0.06)
        );
        assert_eq!(plant.linkage, Linkage::default());
        let aileron = choose(&aircraft, Some("left aileron"), "aircraft.toml").unwrap();
        assert_eq!(
            scenario(&aircraft, aileron).plant.servo.stall_torque_ncm,
            118.0
        );
        let unknown = choose(&aircraft, Some("left wing"), "aircraft.toml").unwrap_err();
        assert!(unknown.to_string().contains("left elevator"), "{unknown}");
    }

    /// The sample rudder asks for more than its linkage gives, on purpose: its bars end before.
    #[test]
    fn every_surface_of_the_sample_but_the_rudder_can_be_driven_to_its_throws() {
        let aircraft = sample();
        for surface in aircraft.surfaces.iter().filter(|s| s.name != "rudder") {
            let scenario = scenario(&aircraft, surface);
            let limits = limits_for(&scenario, &reach(surface));
            for throw in &surface.throws {
                let wanted_deg = throw.side.sign() * throw.asked_deg;
                let arm_deg = scenario.plant.linkage.arm_for(wanted_deg);
                let pulse_us = scenario.plant.servo.pulse_for_arm(arm_deg);
                assert!(
                    (limits.pulse_lo_us..=limits.pulse_hi_us).contains(&pulse_us),
                    "{} {}: {pulse_us} µs",
                    surface.name,
                    throw.name
                );
                let mut plant = Plant::new(scenario.plant.clone(), 10.0, 1);
                plant.step(2.0, Some(pulse_us));
                let off_deg = plant.observe().angle_deg - wanted_deg;
                assert!(off_deg.abs() < 0.6, "{}: {off_deg}", surface.name);
            }
        }
    }
}
