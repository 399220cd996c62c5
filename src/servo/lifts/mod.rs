//! Weights lifted and lowered on a servo's arm: from recordings to levels, each the mean power of one stroke at one speed,
//! or of a rest with the empty arm. What they say of the servo is `balance`'s business.
//!
//! - `gather`: recordings taken apart spell by spell;
//! - `marks`: what each spell says of its mass and arm, and which of two servos lifted;
//! - `sight`: a stretch's readings as strokes, levels and the course of heating;
//! - `slip`: an arm that gave way.

mod gather;
mod marks;
mod sight;
mod slip;

use crate::problem::Problem;
use crate::recording::Recording;
use gather::Gathered;
pub use marks::{LIFTED_BY, is_of};

/// Step in which the course of heating is kept, s.
const HEAT_STEP_S: f64 = 0.05;

/// Without a stated uncertainty: of a mass the share that a kitchen scale is good for, of a length half a millimetre of a
/// steel rule (both assumed, one standard uncertainty).
const MASS_SHARE_U: f64 = 0.005;
const LENGTH_U_MM: f64 = 0.5;

/// A number of the bench with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    pub value: f64,
    pub u: f64,
}

impl Known {
    /// A mass in kg; what a kitchen scale is good for where nothing else is said.
    pub fn mass_kg(value: f64, u: Option<f64>) -> Self {
        Self {
            value,
            u: u.unwrap_or(MASS_SHARE_U * value),
        }
    }

    /// A length in mm; what a steel rule is good for where nothing else is said.
    pub fn length_mm(value: f64, u: Option<f64>) -> Self {
        Self {
            value,
            u: u.unwrap_or(LENGTH_U_MM),
        }
    }
}

/// What the arm did during a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doing {
    /// Against the weight.
    Lifting,
    Lowering,
    /// Nothing, with the empty arm.
    Resting,
}

/// One stroke's, or one rest's, steady stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    pub doing: Doing,
    /// Index into [`Lifts::masses_kg`] and [`Lifts::arms_mm`].
    pub mass: usize,
    pub arm: usize,
    /// Of the arm, positive.
    pub speed_rad_s: f64,
    /// Means of cosine and sine of the arm's angle.
    pub cos: f64,
    pub sin: f64,
    pub power_w: f64,
    pub supply_v: f64,
    pub span_s: f64,
    /// Which course of heating it lies in, and at which of its steps.
    pub course: usize,
    pub step: usize,
}

/// A stretch of one rig's clock in steps of [`HEAT_STEP_S`]: what warms the copper.
#[derive(Debug, Clone, Default)]
pub struct Course {
    pub steps: Vec<Step>,
}

impl Course {
    pub const STEP_S: f64 = HEAT_STEP_S;
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    pub power_w: f64,
    /// Of the arm, up positive; NaN where it is not known.
    pub speed_rad_s: f64,
    pub cos: f64,
    pub sin: f64,
    /// Mass and arm; `None` while disarmed.
    pub load: Option<(usize, usize)>,
    /// °C; NaN where it was not measured.
    pub case_c: f64,
}

/// How far an arm moved against its pulse, °, at most, and with which mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slip {
    pub mass_kg: f64,
    pub deg: f64,
}

/// Where the copper's temperature is known from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Warmth {
    Case,
    Air,
    Nothing,
}

/// All that recordings of lifts hold.
#[derive(Debug, Clone)]
pub struct Lifts {
    /// Different masses, 0 for the empty arm; an error of one is shared by all levels with it.
    pub masses_kg: Vec<Known>,
    pub arms_mm: Vec<Known>,
    pub levels: Vec<Level>,
    pub courses: Vec<Course>,
    /// Variance of a mean of power over a second, as the scatter within strokes shows it, W²·s.
    pub noise_w2_s: f64,
    pub warmth: Warmth,
    /// Moving up the arm lifts; otherwise moving down does.
    pub lifts_up: bool,
    /// Strokes whose speed was not steady.
    pub unsteady: usize,
    /// The arm stood elsewhere at the same pulse, within one spell.
    pub slipped: Option<Slip>,
    pub started: Option<jiff::Timestamp>,
    /// Samples that did not come through.
    pub gone: u64,
}

/// What the command line says of the arm, over what the recordings say.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Said<'a> {
    pub arm_mm: Option<Known>,
    /// The servo that lifted, where two sit on the surface; empty: the first.
    pub tag: &'a str,
}

/// Takes recordings with armed spells apart.
///
/// # Errors
/// A channel is missing, a spell does not say its mass or arm, or nothing in them is a steady stroke.
pub fn lifts(recordings: &[(String, Recording)], said: Said<'_>) -> Result<Lifts, Problem> {
    let mut found = Gathered::default();
    for (name, recording) in recordings {
        found.take(name, recording, said)?;
    }
    found.finish()
}

#[cfg(test)]
mod tests;
