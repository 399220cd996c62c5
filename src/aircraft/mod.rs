//! `aircraft.toml` as the program uses it: servos, surfaces, linkage, limits; calibrations.
//! Reading is in `read`, geometry in `linkage`. Nothing here knows of recordings.

pub mod linkage;

/// An aircraft file, read and checked: every name it refers to exists.
#[derive(Debug, Clone, PartialEq)]
pub struct Aircraft {
    pub name: String,
    pub note: Option<String>,
    pub servo_types: Vec<ServoType>,
    pub servos: Vec<Servo>,
    pub surfaces: Vec<Surface>,
    pub limits: Limits,
}

#[derive(Debug, Clone, PartialEq)]
pub struct ServoType {
    pub name: String,
    /// At [`ServoType::stall_voltage_v`].
    pub stall_torque_ncm: f64,
    pub stall_voltage_v: f64,
    pub arm_deg_per_us: Option<f64>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Servo {
    pub tag: String,
    /// Index into [`Aircraft::servo_types`].
    pub type_index: usize,
    pub fitted: Option<jiff::civil::Date>,
    /// Read already, from the path given beside aircraft.toml.
    pub calibration: Option<Calibration>,
}

/// Supply power of a servo as a power balance, with the covariance of its four numbers.
/// V·I − idle = a·x² + ω·x, x = (1 + g)·τ + τ_f, SI units, ω in rad/s at the arm.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    pub tag: String,
    pub made: Option<jiff::civil::Date>,
    /// Copper temperature that `winding_w_per_nm2` holds at, °C.
    pub reference_c: f64,
    pub idle_w: f64,
    pub winding_w_per_nm2: f64,
    pub friction_nm: f64,
    pub gear_loss: f64,
    /// Order: idle, winding, friction, gear loss. Symmetric, no negative eigenvalue.
    pub covariance: [[f64; 4]; 4],
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ThrowMeasure {
    /// Ruler from the neutral to the deflected trailing edge: mm = 2 c sin(d/2).
    #[default]
    Straight,
    /// Ruler square to the neutral chord line: mm = c sin d.
    Square,
}

/// Which way a throw goes. `Left` is the positive side of a rudder, as `Up` is of everything else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Up,
    Down,
    Left,
    Right,
}

impl Side {
    /// +1 for up and left, −1 for down and right.
    pub fn sign(self) -> f64 {
        match self {
            Side::Up | Side::Left => 1.0,
            Side::Down | Side::Right => -1.0,
        }
    }
    pub fn word(self) -> &'static str {
        match self {
            Side::Up => "up",
            Side::Down => "down",
            Side::Left => "left",
            Side::Right => "right",
        }
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Throw {
    pub name: String,
    pub side: Side,
    /// Magnitudes, both always filled: whichever was given, the other follows from chord and measure.
    pub asked_mm: f64,
    pub asked_deg: f64,
    pub tolerance_mm: f64,
    /// The manual gave degrees, not millimetres.
    pub given_in_deg: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Surface {
    pub name: String,
    /// Index into [`Aircraft::servos`].
    pub servo_index: usize,
    /// Index into [`Aircraft::surfaces`].
    pub pair_index: Option<usize>,
    pub chord_mm: f64,
    pub measure: ThrowMeasure,
    pub throws: Vec<Throw>,
    pub linkage: Option<Linkage>,
    pub air: Option<Air>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Linkage {
    pub arm_mm: f64,
    pub horn_mm: f64,
    pub rod_mm: f64,
    pub base_mm: f64,
    /// Angle of the arm away from square to the shaft-to-hinge line at neutral pulse, positive the way that drives the surface up.
    pub arm_zero_deg: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    pub span_mm: f64,
    pub wing_chord_mm: f64,
    pub fastest_m_s: f64,
}

/// Limits to judge by; `given` tells which came from the file (the others are defaults, common practice, no source).
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    pub share_of_stall: f64,
    pub slop_deg: f64,
    pub pair_difference: f64,
    pub stiffening_ratio: f64,
    pub friction_share_of_stall: f64,
    pub tight_spot_ncm: f64,
    pub hold_current_ma: f64,
    /// Names of the keys that the file gave.
    pub given: Vec<&'static str>,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            share_of_stall: 0.30,
            slop_deg: 0.5,
            pair_difference: 0.25,
            stiffening_ratio: 1.5,
            friction_share_of_stall: 0.10,
            tight_spot_ncm: 3.0,
            hold_current_ma: 400.0,
            given: Vec::new(),
        }
    }
}

impl Surface {
    /// Trailing-edge travel in mm (magnitude, sign kept) at a deflection in degrees, as the manual's ruler would read it.
    pub fn mm_at_deg(&self, deg: f64) -> f64 {
        let d = deg.to_radians();
        match self.measure {
            ThrowMeasure::Straight => 2.0 * self.chord_mm * (d / 2.0).sin(),
            ThrowMeasure::Square => self.chord_mm * d.sin(),
        }
    }
}
