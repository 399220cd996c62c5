//! `calibrate servo --json`: one object. Storage types of their own, converted here and nowhere else; SI units in the names.

use serde::Serialize;

use super::{Calibrated, doing_word};
use crate::report::json::{Q, number, quantity};

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.calibrate-servo/1";

#[derive(Serialize)]
struct Out<'a> {
    schema: &'static str,
    servo: &'a str,
    files: &'a [String],
    reference_c: f64,
    idle_w: Option<Q>,
    winding_w_per_nm2: Option<Q>,
    friction_nm: Option<Q>,
    gear_loss: Option<Q>,
    covariance: [[f64; 4]; 4],
    degrees_of_freedom: Option<f64>,
    chi_square_per_degree: Option<f64>,
    poor: bool,
    /// The arm gave way against its pulse by so much.
    slipped_deg: Option<f64>,
    unfinished: &'a [String],
    levels: Vec<RowOut>,
    torque: Vec<TorqueOut>,
    lifted_to_nm: Option<f64>,
    copper_to_c: Option<f64>,
    strokes_not_steady: usize,
    levels_out_of_line: usize,
    lowering_observed: usize,
    lowering_not_observable: usize,
    advice: Option<AdviceOut>,
    /// What stands against it although it fits, in sentences.
    doubts: Vec<String>,
    /// The file that was written.
    written: Option<&'a str>,
}

#[derive(Serialize)]
struct RowOut {
    mass_kg: f64,
    arm_mm: f64,
    doing: &'static str,
    speed_deg_s: Option<f64>,
    strokes: usize,
    power_w: Option<f64>,
    u_w: Option<f64>,
    fitted_w: Option<f64>,
    residual_in_u: Option<f64>,
    /// Of strokes alike among themselves.
    scatter_in_u: Option<f64>,
}

#[derive(Serialize)]
struct TorqueOut {
    torque_nm: Option<f64>,
    half_width_95_share: Option<f64>,
}

#[derive(Serialize)]
struct AdviceOut {
    add: String,
    /// 95 % half widths as shares of winding loss, friction and gear loss; null where the number is nothing.
    now: [Option<f64>; 3],
    then: [Option<f64>; 3],
}

/// The calibration as one line of JSON, without the line's end.
pub fn line(calibrated: &Calibrated<'_>, written: Option<&str>) -> String {
    let balance = calibrated.balance;
    let q = |j: usize| quantity(&balance.quantity(j));
    let out = Out {
        schema: SCHEMA,
        servo: calibrated.tag,
        files: calibrated.files,
        reference_c: crate::servo::balance::REFERENCE_C,
        idle_w: q(0),
        winding_w_per_nm2: q(1),
        friction_nm: q(2),
        gear_loss: q(3),
        covariance: balance.covariance,
        degrees_of_freedom: number(balance.df),
        chi_square_per_degree: number(balance.chi2_per_df),
        poor: calibrated.poor(),
        slipped_deg: calibrated.lifts.slipped.and_then(|s| number(s.deg)),
        unfinished: calibrated.unfinished,
        levels: balance
            .rows
            .iter()
            .map(|r| RowOut {
                mass_kg: r.mass_kg,
                arm_mm: r.arm_mm,
                doing: doing_word(r.doing),
                speed_deg_s: number(r.speed_rad_s.to_degrees()),
                strokes: r.strokes,
                power_w: number(r.power_w),
                u_w: number(r.u_w),
                fitted_w: number(r.fitted_w),
                residual_in_u: number(r.off()),
                scatter_in_u: number(r.scatter),
            })
            .collect(),
        torque: calibrated
            .torque_widths()
            .iter()
            .map(|(torque, share)| TorqueOut {
                torque_nm: number(*torque),
                half_width_95_share: number(*share),
            })
            .collect(),
        lifted_to_nm: number(balance.torque_nm.1),
        copper_to_c: number(balance.copper_c),
        strokes_not_steady: calibrated.lifts.unsteady,
        levels_out_of_line: balance.out_of_line,
        lowering_observed: balance.lowering.0,
        lowering_not_observable: balance.lowering.1,
        advice: balance.advice.map(|a| AdviceOut {
            add: a.words(),
            now: a.now.map(number),
            then: a.then.map(number),
        }),
        doubts: calibrated
            .doubts
            .iter()
            .map(|d| calibrated.doubt_sentence(d))
            .collect(),
        written,
    };
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&out).unwrap_or_default()
}
