//! The calibration as the file that the aircraft file names: key by key as the reader in `aircraft` wants it, with what was
//! measured and when in comments.

use std::fmt::Write;

use super::{Calibrated, doing_word};
use crate::servo::balance::REFERENCE_C;

/// The file's text. `made`: the day of the measurement.
pub fn toml(calibrated: &Calibrated<'_>, made: jiff::civil::Date) -> String {
    let balance = calibrated.balance;
    let mut out = format!(
        "# Calibration of servo {}: supply power to torque, from weights lifted on its arm. Made by hingewright.\n",
        one_line(calibrated.tag)
    );
    for file in calibrated.files {
        let _ = writeln!(out, "# From {}", one_line(file));
    }
    let lifts = calibrated.lifts;
    let masses: Vec<String> = lifts
        .masses_kg
        .iter()
        .map(|m| format!("{} ± {:.4}", m.value, m.u))
        .collect();
    let arms: Vec<String> = lifts
        .arms_mm
        .iter()
        .map(|a| format!("{} ± {}", a.value, a.u))
        .collect();
    let _ = writeln!(
        out,
        "# Masses, kg: {}. Arm, mm: {} (standard uncertainties).",
        masses.join(", "),
        arms.join(", ")
    );
    let _ = writeln!(
        out,
        "# Lifted up to {:.1} N·cm at {:.0} to {:.0} deg/s of the arm, {:.2} V at the plug, copper up to {:.0} °C.",
        100.0 * balance.torque_nm.1,
        balance.speed_rad_s.0.to_degrees(),
        balance.speed_rad_s.1.to_degrees(),
        balance.supply_v,
        balance.copper_c
    );
    let _ = writeln!(
        out,
        "# Chi-square per degree of freedom {:.2} ({:.0} degrees of freedom). Power, W, measured and fitted:",
        balance.chi2_per_df, balance.df
    );
    for row in &balance.rows {
        let _ = writeln!(
            out,
            "#   {} kg {}, {:.0} deg/s, {} strokes: {:.4} ± {:.4}, {:.4}",
            row.mass_kg,
            doing_word(row.doing),
            row.speed_rad_s.to_degrees(),
            row.strokes,
            row.power_w,
            row.u_w,
            row.fitted_w
        );
    }
    let [idle, winding, friction, gear] = balance.values;
    let _ = write!(
        out,
        "[servo]\ntag = {}\nmade = {made}\nreference_c = {REFERENCE_C:?}\n\n[power_balance]\n\
         idle_w = {idle:.6}\n\
         winding_w_per_nm2 = {winding:.6}     # a, W/(N·m)²\n\
         friction_nm = {friction:.7}          # the servo's own friction, N·m\n\
         gear_loss = {gear:.6}             # load-dependent gear loss\n\
         covariance = [                  # order: idle, winding, friction, gear loss\n",
        toml::Value::String(calibrated.tag.to_owned())
    );
    for row in &balance.covariance {
        let entries: Vec<String> = row.iter().map(|v| format!("{v:.8e}")).collect();
        let _ = writeln!(out, "  [{}],", entries.join(", "));
    }
    out + "]\n"
}

fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}
