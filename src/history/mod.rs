//! What many recordings say together: trends, control charts, a season. Pure: slices and structs in, structs out.
//! Nothing here opens a file, prints, reads a clock or knows of a logbook's folders.

pub mod ewma;
pub mod mann_kendall;
pub mod season;
pub mod theil_sen;
