//! The live page at the bench, and what it does on a rig just as the commands do: runs into a logbook, a hinge being worked in.
//!
//! - [`record`], [`course`]: a recorded run; a hinge worked in, batch by batch. The commands use them as well.
//!
//! Never in here: measuring, judging, driving; those are the rooms below.

pub mod course;
pub mod record;
