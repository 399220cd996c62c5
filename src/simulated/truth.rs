//! What is true of a simulated recording, and what a user would have on file of its servo.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::capture::WireCount;
use super::hinge::{Bump, StiffBeyond, TightSpot};
use super::plant::PlantSettings;
use super::servo::Servo;

/// The numbers of a servo calibration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationNumbers {
    pub idle_w: f64,
    /// W/(N·m)² at `reference_c`.
    pub winding_w_per_nm2: f64,
    pub friction_nm: f64,
    pub gear_loss: f64,
    pub reference_c: f64,
}

/// A calibration as it stands on file: off the truth by chance, with its covariance in the order idle, winding,
/// friction, gear loss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationOnFile {
    pub numbers: CalibrationNumbers,
    pub covariance: [[f64; 4]; 4],
}

/// Standard deviations of a calibration, shares of the true values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationScatter {
    pub idle: f64,
    pub winding: f64,
    pub friction: f64,
    pub gear_loss: f64,
}

impl Default for CalibrationScatter {
    fn default() -> Self {
        Self {
            idle: 0.01,
            winding: 0.02,
            friction: 0.02,
            gear_loss: 0.03,
        }
    }
}

impl CalibrationNumbers {
    pub(super) fn of(servo: &Servo) -> Self {
        Self {
            idle_w: servo.idle_w,
            winding_w_per_nm2: servo.winding_w_per_nm2,
            friction_nm: servo.friction_nm,
            gear_loss: servo.gear_loss,
            reference_c: servo.reference_c,
        }
    }

    /// A calibration that someone could have made of this servo, drawn anew for each seed.
    pub fn drawn(&self, scatter: CalibrationScatter, seed: u64) -> CalibrationOnFile {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        chance.set_stream(4);
        let mut covariance = [[0.0; 4]; 4];
        let mut place = 0;
        let mut off = |value: f64, share: f64| {
            covariance[place][place] = (share * value) * (share * value);
            place += 1;
            value * (1.0 + share * chance.sample::<f64, _>(StandardNormal))
        };
        let numbers = Self {
            idle_w: off(self.idle_w, scatter.idle),
            winding_w_per_nm2: off(self.winding_w_per_nm2, scatter.winding),
            friction_nm: off(self.friction_nm, scatter.friction),
            gear_loss: off(self.gear_loss, scatter.gear_loss),
            reference_c: self.reference_c,
        };
        CalibrationOnFile {
            numbers,
            covariance,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueKnee {
    pub at_deg: f64,
    pub stiffness_beyond_ncm_per_deg: f64,
}

/// What an estimate is to be held against. Sign: up positive.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    pub seed: u64,
    /// Slope of the elastic curve at zero deflection, gravity included, N·cm/deg.
    pub stiffness_ncm_per_deg: f64,
    /// Half the distance between the branches at `sweep_rate_deg_per_s`, tight spots left out, viscous drag included, N·cm.
    pub friction_ncm: f64,
    /// Elastic curve at zero deflection, gravity included, N·cm.
    pub neutral_torque_ncm: f64,
    pub knee_up: Option<TrueKnee>,
    pub knee_down: Option<TrueKnee>,
    pub tight_spots: Vec<TightSpot>,
    pub sweep_rate_deg_per_s: f64,
    pub slop_deg: f64,
    pub lead_mohm: f64,
    /// Deflection held at the ends on average; the furthest reached where nothing was held. Degree, signed.
    pub reached_up_deg: f64,
    pub reached_down_deg: f64,
    /// Furthest deflections at any sample, degree, signed.
    pub furthest_up_deg: f64,
    pub furthest_down_deg: f64,
    /// Largest torque on the surface, N·cm, without sign.
    pub peak_torque_ncm: f64,
    /// Largest torque at the arm, N·cm, without sign, and the stall torque at that moment's voltage and copper.
    pub peak_arm_torque_ncm: f64,
    pub stall_torque_then_ncm: f64,
    pub calibration: CalibrationNumbers,
    pub copper_c_at_end: f64,
    pub wire: WireCount,
}

/// Extremes seen while a recording is simulated.
#[derive(Debug, Clone, Default)]
pub(super) struct Extremes {
    pub(super) up_deg: f64,
    pub(super) down_deg: f64,
    pub(super) torque_ncm: f64,
    pub(super) arm_torque_ncm: f64,
    pub(super) stall_ncm: f64,
    pub(super) copper_c: f64,
    pub(super) held_deg: Vec<(f64, f64)>,
}

impl Extremes {
    fn held(&self, side: f64) -> Option<f64> {
        let held: Vec<f64> = self
            .held_deg
            .iter()
            .filter(|(at, _)| *at == side)
            .map(|(_, angle)| *angle)
            .collect();
        (!held.is_empty()).then(|| held.iter().sum::<f64>() / held.len() as f64)
    }
}

impl Truth {
    pub(super) fn of(
        plant: &PlantSettings,
        rate_deg_per_s: f64,
        seen: &Extremes,
        wire: WireCount,
        seed: u64,
    ) -> Self {
        let hinge = &plant.hinge;
        let (neutral_torque_ncm, stiffness_ncm_per_deg) = hinge.elastic(0.0);
        let knee = |place: Option<StiffBeyond>| {
            place.map(|knee| TrueKnee {
                at_deg: knee.at_deg,
                stiffness_beyond_ncm_per_deg: hinge.stiffness_ncm_per_deg + knee.extra_ncm_per_deg,
            })
        };
        Self {
            seed,
            stiffness_ncm_per_deg,
            friction_ncm: hinge.friction_ncm + hinge.viscous_ncm_s_per_deg * rate_deg_per_s,
            neutral_torque_ncm,
            knee_up: knee(hinge.knee_up),
            knee_down: knee(hinge.knee_down),
            tight_spots: hinge.tight_spots.clone(),
            sweep_rate_deg_per_s: rate_deg_per_s,
            slop_deg: plant.joints.slop_deg,
            lead_mohm: plant.supply.lead_mohm,
            reached_up_deg: seen.held(1.0).unwrap_or(seen.up_deg),
            reached_down_deg: seen.held(-1.0).unwrap_or(seen.down_deg),
            furthest_up_deg: seen.up_deg,
            furthest_down_deg: seen.down_deg,
            peak_torque_ncm: seen.torque_ncm,
            peak_arm_torque_ncm: seen.arm_torque_ncm,
            stall_torque_then_ncm: seen.stall_ncm,
            calibration: CalibrationNumbers::of(&plant.servo),
            copper_c_at_end: seen.copper_c,
            wire,
        }
    }
}

impl TightSpot {
    /// Where the spot begins and ends: where a raised cosine vanishes, or two standard deviations of a Gaussian. Degree.
    pub fn extent_deg(&self) -> (f64, f64) {
        let half = match self.bump {
            Bump::RaisedCosine => self.width_deg,
            Bump::Gaussian => 2.0 * self.width_deg,
        };
        (self.at_deg - half, self.at_deg + half)
    }
}
