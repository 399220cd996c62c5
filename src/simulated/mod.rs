//! A rig with a plant behind it. It shares no formula with `analysis`: an estimator tested only against its own model proves nothing.
//!
//! Never in here: anything of `analysis`, `link` or `recording`. What is simulated is nature, in time steps: a controller
//! sets a duty, a motor pushes, friction resists; nothing is computed backwards from what an estimator would like to see.
//!
//! - [`Scenario`]: all that can be set; the default is a fault-free elevator.
//! - [`simulate`]: a scenario and a seed give the bytes of a capture, and the truth behind them.
//! - [`Plant`]: the plant alone, stepped by whoever holds it.

mod capture;
mod hinge;
mod linkage;
mod plant;
mod programme;
mod run;
mod scenario;
mod sensors;
mod servo;
mod truth;

pub use capture::WireCount;
pub use hinge::{Bump, Hinge, StickSlip, StiffBeyond, TightSpot, When};
pub use linkage::{Linkage, Pose};
pub use plant::{Joints, Observation, Plant, PlantSettings, Variation};
pub use run::{Simulated, simulate};
pub use scenario::{
    Broken, ByHand, Channel, HowBroken, LineFaults, Programme, Scenario, Sensors, Sweep, Trip,
};
pub use sensors::SensorSet;
pub use servo::{Overrun, Servo, Supply};
pub use truth::{CalibrationNumbers, CalibrationOnFile, CalibrationScatter, TrueKnee, Truth};

#[cfg(test)]
mod tests;
