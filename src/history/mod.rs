//! What several recordings of one surface say together: whether a fix changed anything.
//! Pure: slices and structs in, structs out; opens nothing, prints nothing, reads no clock.

pub mod compare;
pub mod welch;
