//! What a recording was made for, as its `# purpose=` says, where that decides how it is read. Any other purpose is a sweep.

/// Made while a hinge was worked in.
pub const WORKED_IN: &str = "break-in";
/// A worked hinge looked at again after a rest, within its last stage.
pub const RECHECK: &str = "recheck";
/// Weights on the servo's arm.
pub const CALIBRATION: &str = "calibration";
/// The servo's own behaviour: steps, dead band, centring.
pub const SERVO_TEST: &str = "servo-test";
/// Neutral held against weights hung on the surface.
pub const HELD: &str = "held";
/// Load and rest until the case's temperature tells.
pub const HEAT: &str = "heat";
/// The servo without the surface, or the surface without the servo.
pub const RODS_OFF: &str = "rods-off";

/// The surface held at known angles, disarmed: what the angle sensor reads there.
pub const ANGLE: &str = "angle-calibration";

/// How a remark begins that says that the pulse's limit, and not the surface, ended the way to one side.
pub fn pulse_limit_remark(up_side: bool) -> &'static str {
    match up_side {
        true => "On the way up the pulse came to its limit",
        false => "On the way down the pulse came to its limit",
    }
}

/// How a remark begins that says that the angle sensor does not agree with pulse, servo and linkage.
pub const SCALE_DOUBT: &str = "Pulse and angle do not agree";

/// Whether a recording with this purpose is a sweep of the surface between its throws, as it will fly.
pub fn is_sweep(purpose: Option<&str>) -> bool {
    !matches!(
        purpose,
        Some(WORKED_IN | RECHECK | CALIBRATION | SERVO_TEST | HELD | HEAT | RODS_OFF | ANGLE)
    )
}

/// Whether a recording with this purpose shows the surface as it is driven between its throws. A hinge that is worked in
/// does; a servo by itself, hung weights and a surface without its rod do not.
pub fn shows_the_surface(purpose: Option<&str>) -> bool {
    !matches!(
        purpose,
        Some(CALIBRATION | SERVO_TEST | HELD | HEAT | RODS_OFF | ANGLE)
    )
}
