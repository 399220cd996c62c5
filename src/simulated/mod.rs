//! A rig with a plant behind it. It shares no formula with `analysis`: an estimator tested only against its own model proves nothing.
//!
//! Never in here: anything of `analysis`, `link` or `recording`. What is simulated is nature, in time steps: a controller
//! sets a duty, a motor pushes, friction resists; nothing is computed backwards from what an estimator would like to see.
//!
//! - [`Scenario`]: all that can be set; the default is a fault-free elevator.
//! - [`simulate`]: a scenario and a seed give the bytes of a capture, and the truth behind them.
//! - [`Plant`]: the plant alone, stepped by whoever holds it.
//! - [`SimulatedRig`]: a rig that speaks the link in front of a plant; `serve` puts it on a pseudo-terminal.

mod break_in;
mod capture;
mod faults;
mod file;
mod guard;
mod hinge;
mod host_line;
mod linkage;
mod plant;
mod programme;
mod rig;
mod run;
mod scenario;
mod sensors;
#[cfg(unix)]
mod serve;
mod servo;
#[cfg(unix)]
mod terminal;
mod truth;
mod wire;
mod wiring;

pub use break_in::BreakIn;
pub use capture::WireCount;
pub use faults::Faults;
pub use file::put_plant_file;
pub use guard::Limits;
pub use hinge::{Bump, Hinge, StickSlip, StiffBeyond, TightSpot, When};
pub use host_line::CommandName;
pub use linkage::{Linkage, Pose};
pub use plant::{Joints, Loaded, Observation, OnArm, Plant, PlantSettings, SecondServo, Variation};
pub use rig::{Kind, Note, Outgoing, RigSettings, SimulatedRig};
pub use run::{Simulated, simulate};
pub use scenario::{
    Broken, ByHand, Channel, HowBroken, LineFaults, Programme, PulseMove, Scenario, Sensors, Spell,
    Sweep, Trip,
};
pub use sensors::SensorSet;
#[cfg(unix)]
pub use serve::{Serve, Served, serve};
pub use servo::{Overrun, Servo, Supply};
pub use truth::{CalibrationNumbers, CalibrationOnFile, CalibrationScatter, TrueKnee, Truth};

pub use wire::Cable;
pub use wiring::Wiring;

#[cfg(test)]
mod tests;
