//! What several recordings of one surface say together: whether a fix changed anything.
//! Pure: slices and structs in, structs out; opens nothing, prints nothing, reads no clock.

pub mod compare;
pub mod welch;
//! What many recordings say together: trends, control charts, a season. Pure: slices and structs in, structs out.
//! Nothing here opens a file, prints, reads a clock or knows of a logbook's folders.

pub mod ewma;
pub mod mann_kendall;
pub mod season;
pub mod theil_sen;
//! What recordings tell together, over time. Pure: slices and structs in, structs out.
//! Never in here: a clock, a file, printing, or anything of a rig.

mod decay;
pub mod settling;
