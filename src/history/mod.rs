//! What recordings tell together, over time. Pure: slices and structs in, structs out.
//! Never in here: a clock, a file, printing, or anything of a rig.

mod decay;
pub mod settling;
