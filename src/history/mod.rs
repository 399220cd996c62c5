//! What several recordings say together: whether a fix changed anything, how a hinge settles, a season's trends.
//! Pure: slices and structs in, structs out. Nothing here opens a file, prints, reads a clock or knows of a logbook's folders.

pub mod compare;
pub mod decay;
pub mod ewma;
pub mod gauge;
pub mod mann_kendall;
pub mod repeats;
pub mod rods;
pub mod season;
pub mod settling;
pub mod theil_sen;
pub mod welch;
