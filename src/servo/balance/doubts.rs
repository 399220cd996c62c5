//! What stands against a calibration that fits. A length said wrongly, or all masses, makes every torque too large or too small by
//! one factor, and the balance takes that for gear loss: (1 + g)·τ is all that power sees. The levels themselves cannot show it, so the
//! result is held against what gears can lose, the calibration that it replaces, and the data sheet. Pure numbers; words are the report's.

use super::{Balance, torque_of, torque_u};
use crate::aircraft::{Calibration, ServoType, SheetSpeed};
use crate::problem::Problem;

/// Gears that lose a share of the load beyond this are none that one meets: four stages that give on 0.9 each lose 0.52 (common
/// practice, no source).
const GEARS_LOSE_MOST: f64 = 0.55;
/// Torque by two calibrations of one servo stands apart by this share at most, or by what their uncertainties explain (own choice).
const OLDER_APART: f64 = 0.10;
/// Stall torque by the sheet's speed and by the sheet's own word: sheets round and flatter, up to this factor (own choice).
const SHEET_APART: f64 = 1.5;
/// A gear loss so many standard uncertainties below nothing is impossible.
const BELOW_NOTHING: f64 = 3.0;
const COPPER_PER_K: f64 = 0.003_93;

/// One thing that does not agree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Doubt {
    /// Gears lose more than gears do.
    Gears { loss: f64 },
    /// From the same power: torque by this calibration over that by the older one, less 1, and its 95 % half width.
    Older {
        share: f64,
        half95: f64,
        made: Option<jiff::civil::Date>,
    },
    /// The stall torque that the sheet's speed and this calibration come to, over the sheet's own.
    Sheet { times: f64, implied_ncm: f64 },
}

impl Doubt {
    /// By how much the torques said are too large, if one length or all masses are to blame.
    pub fn too_large(&self) -> Option<f64> {
        match self {
            Doubt::Older { share, .. } => Some(1.0 + share),
            Doubt::Sheet { times, .. } => Some(*times),
            Doubt::Gears { .. } => None,
        }
    }
}

/// All that stands against it. `speed`: of the data sheet.
pub fn doubts(
    balance: &Balance,
    older: Option<&Calibration>,
    kind: Option<&ServoType>,
    speed: Option<SheetSpeed>,
) -> Vec<Doubt> {
    let loss = balance.values[3];
    let gears = (loss - 1.96 * balance.u(3) > GEARS_LOSE_MOST).then_some(Doubt::Gears { loss });
    let sheet = kind.zip(speed).and_then(|(kind, speed)| {
        let implied_ncm = implied_stall_ncm(balance, kind, speed);
        let times = implied_ncm / kind.stall_torque_ncm;
        (times.max(1.0 / times) > SHEET_APART).then_some(Doubt::Sheet { times, implied_ncm })
    });
    let older = older.and_then(|older| against(balance, older));
    gears.into_iter().chain(older).chain(sheet).collect()
}

/// Stall torque, N·cm at the sheet's stall voltage, of a servo with this balance and the sheet's speed: at stall V/k = a·x, running
/// free V/k = ω + a·τ_f, k the motor's constant at the arm; so ω = a·(1 + g)·τ_stall, with ω in proportion to voltage.
pub fn implied_stall_ncm(balance: &Balance, kind: &ServoType, speed: SheetSpeed) -> f64 {
    let free_rad_s =
        60_f64.to_radians() / speed.s_per_60deg * kind.stall_voltage_v / speed.voltage_v;
    100.0 * free_rad_s / (balance.values[1] * (1.0 + balance.values[3]))
}

fn against(balance: &Balance, older: &Calibration) -> Option<Doubt> {
    let (torque_nm, speed) = (0.5 * balance.torque_nm.1, balance.speed_rad_s.0);
    let [idle, winding, friction, gear] = balance.values;
    let x = (1.0 + gear) * torque_nm + friction;
    let power_w = idle + winding * x * x + speed * x;
    let warm = 1.0 + COPPER_PER_K * (older.reference_c - super::REFERENCE_C);
    let values = [
        older.idle_w,
        older.winding_w_per_nm2 / warm,
        older.friction_nm,
        older.gear_loss,
    ];
    let older_nm = torque_of(&values, power_w, speed).filter(|t| *t > 0.0)?;
    let share = torque_nm / older_nm - 1.0;
    let u = balance.torque_u(torque_nm, speed) / torque_nm;
    let half95 = 1.96 * u.hypot(torque_u(&values, &older.covariance, older_nm, speed) / older_nm);
    (share.abs() > OLDER_APART.max(half95)).then_some(Doubt::Older {
        share,
        half95,
        made: older.made,
    })
}

/// Gears give out no more than they take in. `loss` as the fit has it where nothing holds it above zero, `u` its standard uncertainty.
///
/// # Errors
/// It is below nothing beyond what its uncertainty explains.
pub(super) fn possible(loss: f64, u: f64, arms_mm: &[f64]) -> Result<(), Problem> {
    if loss + BELOW_NOTHING * u >= 0.0 {
        return Ok(());
    }
    let out = 100.0 / (1.0 + loss) - 100.0;
    let arms: Vec<String> = arms_mm.iter().map(|a| format!("{a} mm")).collect();
    Err(Problem::new(format!(
        "the weights as said take {out:.0} % more mechanical power than the supply leaves once copper and friction have had their share: \
         that cannot be, and no calibration is made of it"
    ))
    .hint(format!(
        "an arm or masses said too large do that: measure the arm again, from the shaft's middle to where the weight hangs (said: {}, at most \
         {:.0} % of that is possible), and weigh the masses, in kg",
        arms.join(", "),
        100.0 * (1.0 + loss)
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gears_that_give_out_more_than_they_take_in_are_refused_beyond_their_uncertainty_alone() {
        assert!(possible(-0.05, 0.02, &[60.0]).is_ok());
        assert!(possible(0.18, 0.02, &[60.0]).is_ok());
        let told = possible(-0.2, 0.02, &[90.0]).unwrap_err();
        // 1 / 0.8 is a quarter more.
        assert!(told.what.contains("25 % more mechanical power"), "{told}");
        let hint = told.hint.unwrap_or_default();
        assert!(hint.contains("said: 90 mm, at most 80 %"), "{hint}");
    }
}
