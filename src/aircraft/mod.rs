//! `aircraft.toml` as the program uses it: servos, surfaces, linkage, limits; calibrations.
//! Reading is in `read`, geometry in `linkage`. Nothing here knows of recordings.

mod bound;
mod calibration;
mod document;
pub mod draft;
mod file;
mod keys;
pub mod linkage;
mod read;
mod section;
mod supply;
mod surface;
mod trip;

pub use file::{NamedText, read_text};
pub use linkage::{LinkageSolver, Pose};
pub use read::{parse, read_calibration_path, read_path};
pub use supply::{Gauge, Piece, Supply};
pub use trip::{SUPPLY_SHARE, Trip, TripPoints};

/// An aircraft file, read and checked: every name it refers to exists.
#[derive(Debug, Clone, PartialEq)]
pub struct Aircraft {
    pub name: String,
    /// Names that it had before: its recordings may say them.
    pub was: Vec<String>,
    pub note: Option<String>,
    pub servo_types: Vec<ServoType>,
    pub servos: Vec<Servo>,
    pub surfaces: Vec<Surface>,
    pub limits: Limits,
    pub trip: Trip,
    /// `None` where the file does not say what feeds the servos.
    pub supply: Option<Supply>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct ServoType {
    pub name: String,
    /// At [`ServoType::stall_voltage_v`].
    pub stall_torque_ncm: f64,
    pub stall_voltage_v: f64,
    pub arm_deg_per_us: Option<f64>,
    pub speed: Option<SheetSpeed>,
    /// Smallest change of the pulse that it answers, µs.
    pub dead_band_us: Option<f64>,
}

/// A servo's speed as its data sheet gives it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SheetSpeed {
    /// Time for 60° of the arm, s.
    pub s_per_60deg: f64,
    pub voltage_v: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Servo {
    pub tag: String,
    /// Index into [`Aircraft::servo_types`].
    pub type_index: usize,
    pub fitted: Option<jiff::civil::Date>,
    /// Read already, from the path given beside aircraft.toml.
    pub calibration: Option<Calibration>,
    /// The pieces of its lead, one after another; none where the file does not say.
    pub lead: Vec<Piece>,
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

/// What a surface's angle sensor reads turned into its deflection: deflection = scale · (reading − zero).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AngleCalibration {
    /// Degrees a degree read; below 0 where the sensor runs against the surface.
    pub scale: f64,
    /// What it reads at neutral, degrees.
    pub zero_deg: f64,
    /// Of scale and zero (degrees), in that order. Symmetric, no negative eigenvalue.
    pub covariance: [[f64; 2]; 2],
    pub made: Option<jiff::civil::Date>,
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
    /// Names that it had before: recordings, results and notes may say them.
    pub was: Vec<String>,
    /// Index into [`Aircraft::servos`].
    pub servo_index: usize,
    /// The other one, where two servos drive it together: its current is in the channel `current2_ma`.
    pub second_servo_index: Option<usize>,
    /// Index into [`Aircraft::surfaces`].
    pub pair_index: Option<usize>,
    pub chord_mm: f64,
    pub measure: ThrowMeasure,
    pub throws: Vec<Throw>,
    pub linkage: Option<Linkage>,
    pub linkage_notes: LinkageNotes,
    pub air: Option<Air>,
    /// What its angle sensor reads, calibrated.
    pub angle: Option<AngleCalibration>,
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

/// What the file says about a linkage beyond its lengths.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LinkageNotes {
    /// How far off the lengths of arm and horn may be.
    pub tolerance_mm: Option<f64>,
    /// All holes of arm and horn, the one in use among them or not; empty where the file lists none.
    pub arm_holes_mm: Vec<f64>,
    pub horn_holes_mm: Vec<f64>,
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

impl ThrowMeasure {
    /// Trailing-edge travel in mm (sign kept) of a surface of this chord at a deflection in degrees.
    pub fn mm_at_deg(self, chord_mm: f64, deg: f64) -> f64 {
        let d = deg.to_radians();
        match self {
            ThrowMeasure::Straight => 2.0 * chord_mm * (d / 2.0).sin(),
            ThrowMeasure::Square => chord_mm * d.sin(),
        }
    }

    /// The deflection in degrees (sign kept) that the ruler reads as this travel; `None` beyond what it can read.
    pub fn deg_at_mm(self, chord_mm: f64, mm: f64) -> Option<f64> {
        let sine = mm / self.longest_mm(chord_mm);
        let d = (-1.0..=1.0).contains(&sine).then(|| sine.asin())?;
        Some(match self {
            ThrowMeasure::Straight => (2.0 * d).to_degrees(),
            ThrowMeasure::Square => d.to_degrees(),
        })
    }

    /// The longest travel that the ruler can read at all, mm: twice the chord straight, the chord square.
    pub fn longest_mm(self, chord_mm: f64) -> f64 {
        match self {
            ThrowMeasure::Straight => 2.0 * chord_mm,
            ThrowMeasure::Square => chord_mm,
        }
    }
}

/// What to do where recordings, results or notes have a surface's old name: the one way there is.
pub fn renamed(old: &str) -> String {
    format!(
        "if it has another name now, put the line was = [\"{old}\"] into its [[surface]] in aircraft.toml, and recheck"
    )
}

/// What to do where recordings or results have the aircraft's old name.
pub fn renamed_aircraft(now: &str, old: &str) -> String {
    format!(
        "if that is what {now} was called before, put the line was = [\"{old}\"] into [aircraft] of aircraft.toml, and recheck"
    )
}

fn called(now: &str, was: &[String], name: &str) -> bool {
    let name = name.trim();
    let mut names = was.iter().map(String::as_str).chain([now]);
    names.any(|one| one.trim().eq_ignore_ascii_case(name))
}

impl Surface {
    /// Whether this is its name, or was; upper or lower case alike.
    pub fn is_called(&self, name: &str) -> bool {
        called(&self.name, &self.was, name)
    }

    /// What its positive side is called, or the other: left and right where its throws are.
    pub fn side_word(&self, positive: bool) -> &'static str {
        let sideways = |t: &Throw| matches!(t.side, Side::Left | Side::Right);
        match (self.throws.iter().any(sideways), positive) {
            (false, true) => "up",
            (false, false) => "down",
            (true, true) => "left",
            (true, false) => "right",
        }
    }

    /// Trailing-edge travel in mm (magnitude, sign kept) at a deflection in degrees, as the manual's ruler would read it.
    pub fn mm_at_deg(&self, deg: f64) -> f64 {
        self.measure.mm_at_deg(self.chord_mm, deg)
    }

    /// Deflection in degrees (sign kept) at a trailing-edge travel in mm; `None` beyond what the ruler can read.
    pub fn deg_at_mm(&self, mm: f64) -> Option<f64> {
        self.measure.deg_at_mm(self.chord_mm, mm)
    }
}

impl Aircraft {
    /// The same with this servo alone at a surface that two drive.
    pub fn with_one_servo(&self, surface_index: usize, servo_index: usize) -> Self {
        let mut one = self.clone();
        let surface = &mut one.surfaces[surface_index];
        surface.servo_index = servo_index;
        surface.second_servo_index = None;
        one
    }

    /// The surface of this name and its index.
    pub fn surface(&self, name: &str) -> Option<(usize, &Surface)> {
        self.surfaces
            .iter()
            .enumerate()
            .find(|(_, s)| s.name == name)
    }

    /// The surface of this name, present or former, and its index; upper or lower case alike, a present name first.
    pub fn surface_called(&self, name: &str) -> Option<(usize, &Surface)> {
        let mut now = self.surfaces.iter().enumerate();
        let mut then = self.surfaces.iter().enumerate();
        now.find(|(_, s)| s.name.eq_ignore_ascii_case(name))
            .or_else(|| then.find(|(_, s)| s.is_called(name)))
    }

    /// Whether this is its name, or was; upper or lower case alike.
    pub fn is_called(&self, name: &str) -> bool {
        called(&self.name, &self.was, name)
    }

    /// Tags of the servo that drives a surface, by its index, and of the second where there are two.
    pub fn tags_at(&self, surface: usize) -> [Option<&str>; 2] {
        let surface = &self.surfaces[surface];
        [Some(surface.servo_index), surface.second_servo_index]
            .map(|index| Some(self.servos[index?].tag.as_str()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_ruler_straight_across_reads_twice_the_chord_times_the_half_sine() {
        let straight = ThrowMeasure::Straight;
        // By hand: 26/(2·58) = 0.224 138; asin = 12.9522°; twice that 25.904°.
        assert!((straight.deg_at_mm(58.0, 26.0).unwrap() - 25.904).abs() < 1e-3);
        // The same at 60°, where the triangle is equilateral and the travel is the chord itself.
        assert!((straight.mm_at_deg(58.0, 60.0) - 58.0).abs() < 1e-12);
        // The contract's own example: 24.0 mm on 58 mm is 23.9°.
        assert!((straight.deg_at_mm(58.0, 24.0).unwrap() - 23.9).abs() < 0.05);
    }

    #[test]
    fn a_ruler_square_to_the_chord_reads_the_chord_times_the_sine() {
        let square = ThrowMeasure::Square;
        assert!((square.mm_at_deg(58.0, 30.0) - 29.0).abs() < 1e-12);
        assert!((square.deg_at_mm(58.0, 29.0).unwrap() - 30.0).abs() < 1e-12);
    }

    /// Common practice, no source: one degree is a sixtieth of the chord (1 in 60), good to 5 % up to 25° or so.
    #[test]
    fn the_one_in_sixty_rule_of_the_trade_holds_to_five_percent() {
        for chord_mm in [40.0, 58.0, 75.0] {
            for deg in [5.0, 10.0, 15.0, 20.0, 25.0] {
                let rule_mm = chord_mm * deg / 60.0;
                let mm = ThrowMeasure::Straight.mm_at_deg(chord_mm, deg);
                assert!((mm / rule_mm - 1.0).abs() < 0.05, "{chord_mm} {deg} {mm}");
            }
        }
    }

    #[test]
    fn beyond_what_a_ruler_can_read_there_is_no_angle() {
        assert_eq!(ThrowMeasure::Straight.deg_at_mm(58.0, 116.1), None);
        assert_eq!(ThrowMeasure::Square.deg_at_mm(58.0, -58.1), None);
        assert_eq!(ThrowMeasure::Square.deg_at_mm(58.0, f64::NAN), None);
        assert_eq!(ThrowMeasure::Square.deg_at_mm(0.0, 0.0), None);
    }

    proptest! {
        #[test]
        fn travel_and_angle_undo_each_other(chord_mm in 5.0..300.0, deg in -89.0..89.0) {
            for measure in [ThrowMeasure::Straight, ThrowMeasure::Square] {
                let back = measure.deg_at_mm(chord_mm, measure.mm_at_deg(chord_mm, deg)).unwrap();
                prop_assert!((back - deg).abs() < 1e-9);
            }
        }
    }
}
