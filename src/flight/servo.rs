//! What the servo has: the data sheet's stall torque at the voltage then at its plug. Knows nothing of air.

use super::Part;
use crate::aircraft::{Calibration, ServoType};
use crate::analysis::Quantity;

/// Why the voltage at the plug is taken as that of the supply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoDrop {
    /// The lead's resistance was not measured.
    NoLead,
    /// It was, but without a calibration the current at that torque is not known.
    NoCalibration,
}

/// The servo at its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Has {
    /// Torque at the arm, N·cm.
    pub torque_ncm: Part,
    /// Voltage at the plug while it gives that, V.
    pub plug_v: f64,
    /// Current it draws then, A; or why no drop along the lead was counted.
    pub drawn_a: Result<f64, NoDrop>,
}

/// Stall torque in proportion to the voltage at the plug, as the share of stall on the bench is counted. The voltage is that
/// while the servo gives it, held still: V·(V_supply − V)/R = idle + a·x², x = (1 + g)·τ + τ_f, τ = k·V (the calibration's
/// power balance at ω = 0). `None` if the lead is so poor that no voltage satisfies this.
pub fn has(
    servo_type: &ServoType,
    supply_v: f64,
    lead_mohm: Option<&Quantity>,
    calibration: Option<&Calibration>,
) -> Option<Has> {
    let per_volt_ncm = servo_type.stall_torque_ncm / servo_type.stall_voltage_v;
    let undropped = |why| Has {
        torque_ncm: Part {
            value: per_volt_ncm * supply_v,
            half95: None,
        },
        plug_v: supply_v,
        drawn_a: Err(why),
    };
    let Some(lead) = lead_mohm else {
        return Some(undropped(NoDrop::NoLead));
    };
    let Some(calibration) = calibration else {
        return Some(undropped(NoDrop::NoCalibration));
    };
    let plug = |mohm: f64| plug_v(supply_v, 1e-3 * mohm.max(0.0), per_volt_ncm, calibration);
    let plug_v = plug(lead.value)?;
    let half95 = lead.interval.map(|i| {
        let ends = [i.lo95, i.hi95].map(|mohm| plug(mohm).unwrap_or(0.0));
        0.5 * per_volt_ncm * (ends[0] - ends[1]).abs()
    });
    Some(Has {
        torque_ncm: Part {
            value: per_volt_ncm * plug_v,
            half95,
        },
        plug_v,
        drawn_a: Ok(power_w(plug_v, per_volt_ncm, calibration) / plug_v),
    })
}

/// Power at the plug while the servo holds all it has at a voltage, W.
fn power_w(plug_v: f64, per_volt_ncm: f64, calibration: &Calibration) -> f64 {
    let shaft_nm =
        (1.0 + calibration.gear_loss) * 0.01 * per_volt_ncm * plug_v + calibration.friction_nm;
    calibration.idle_w + calibration.winding_w_per_nm2 * shaft_nm * shaft_nm
}

/// The higher root of a quadratic: from the lower one the servo would draw itself out of it.
fn plug_v(supply_v: f64, ohm: f64, per_volt_ncm: f64, calibration: &Calibration) -> Option<f64> {
    let Calibration {
        idle_w,
        winding_w_per_nm2: a,
        friction_nm,
        gear_loss,
        ..
    } = *calibration;
    let shaft_nm_per_v = (1.0 + gear_loss) * 0.01 * per_volt_ncm;
    let squared = 1.0 + ohm * a * shaft_nm_per_v * shaft_nm_per_v;
    let linear = 2.0 * ohm * a * shaft_nm_per_v * friction_nm - supply_v;
    let constant = ohm * (idle_w + a * friction_nm * friction_nm);
    let root = linear * linear - 4.0 * squared * constant;
    let plug_v = (-linear + root.sqrt()) / (2.0 * squared);
    (root >= 0.0 && plug_v > 0.0).then_some(plug_v)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::Interval;

    fn servo_type() -> ServoType {
        ServoType {
            name: "metal gear".into(),
            stall_torque_ncm: 210.0,
            stall_voltage_v: 7.4,
            arm_deg_per_us: None,
            speed: None,
            dead_band_us: None,
        }
    }

    fn calibration() -> Calibration {
        Calibration {
            tag: "E1".into(),
            made: None,
            reference_c: 20.0,
            idle_w: 0.21,
            winding_w_per_nm2: 8.4,
            friction_nm: 0.06,
            gear_loss: 0.18,
            covariance: [[0.0; 4]; 4],
        }
    }

    fn lead(mohm: f64, half: f64) -> Quantity {
        Quantity {
            value: mohm,
            interval: Some(Interval {
                u: half / 1.96,
                lo95: mohm - half,
                hi95: mohm + half,
            }),
        }
    }

    #[test]
    fn stall_torque_goes_with_the_voltage() {
        let found = has(&servo_type(), 6.0, None, Some(&calibration())).unwrap();
        assert!((found.torque_ncm.value - 210.0 * 6.0 / 7.4).abs() < 1e-9);
        assert_eq!(found.drawn_a, Err(NoDrop::NoLead));
        let found = has(&servo_type(), 6.0, Some(&lead(80.0, 5.0)), None).unwrap();
        assert_eq!(
            (found.plug_v, found.drawn_a),
            (6.0, Err(NoDrop::NoCalibration))
        );
    }

    /// Kirchhoff: what the supply gives is what the plug has and what the lead takes, at the current drawn.
    #[test]
    fn the_lead_takes_its_drop_at_the_current_drawn_then() {
        let found = has(
            &servo_type(),
            7.4,
            Some(&lead(80.0, 8.0)),
            Some(&calibration()),
        )
        .unwrap();
        let drawn_a = found.drawn_a.unwrap();
        assert!((found.plug_v + 0.080 * drawn_a - 7.4).abs() < 1e-9);
        assert!(found.plug_v < 7.1 && drawn_a > 3.0, "{found:?}");
        let half = found.torque_ncm.half95.unwrap();
        assert!(half > 0.1 && half < 5.0, "{half}");
    }

    #[test]
    fn a_lead_without_resistance_drops_nothing_and_a_hopeless_one_feeds_no_servo() {
        let with = |mohm| {
            has(
                &servo_type(),
                7.4,
                Some(&lead(mohm, 0.0)),
                Some(&calibration()),
            )
        };
        assert!((with(0.0).unwrap().plug_v - 7.4).abs() < 1e-12);
        assert_eq!(with(1e6), None);
    }
}
