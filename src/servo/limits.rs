//! What a servo is judged by where neither the aircraft file nor its data sheet says: common practice, no source. The one
//! place for these numbers.

/// Slower than the data sheet by more than this share.
pub const SLOWER_SHARE: f64 = 0.20;
/// Neutral come to from one side less from the other, degrees of the arm.
pub const CENTRING_DEG: f64 = 0.5;
/// Smallest change of the pulse that is answered, µs, where the data sheet gives none; else so many times the data sheet's.
pub const DEAD_BAND_US: f64 = 6.0;
pub const DEAD_BAND_TIMES: f64 = 2.0;
/// Trembling at rest, degrees of the arm.
pub const JITTER_DEG: f64 = 0.2;
/// Beyond its place after a large step, degrees of the arm.
pub const OVERSHOOT_DEG: f64 = 3.0;
/// What each of two servos on one surface draws against the other at neutral, mA. Own choice: at 7.4 V it is some 0.7 W of heat
/// in each, for nothing.
pub const FIGHT_MA: f64 = 100.0;
