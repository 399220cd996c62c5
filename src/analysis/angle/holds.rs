//! Where a recording says that the surface was held at a known angle: what the sensor read there, and whether it stood still.

use super::Point;
use crate::aircraft::Surface;
use crate::problem::Problem;
use crate::recording::{Channel, Recording, Segment};

/// `#` keys from which on the surface is held: at a deflection, degrees up positive, or where a ruler at the trailing edge
/// reads so many millimetres.
pub const AT_DEG: &str = "at_deg";
pub const AT_MM: &str = "at_mm";
/// So long a hold is averaged, s, and at least so long.
pub const HOLD_S: f64 = 2.0;
const SHORTEST_S: f64 = 1.0;
const FEWEST: usize = 20;
/// Means of tenths of a hold that stand further apart than this are a surface that moved, °.
const MOVED_DEG: f64 = 0.3;
const PARTS: usize = 10;
/// A mean is never better than this, °: a hundredth is what the link carries.
const LEAST_U_DEG: f64 = 0.01;
/// A protractor or printed wedge that was set by eye, and a ruler held to a trailing edge (assumed, one standard uncertainty).
pub const KNOWN_U_DEG: f64 = 0.2;
pub const RULER_U_MM: f64 = 0.3;
/// Of the chord, by a steel rule (assumed), mm.
pub const CHORD_U_MM: f64 = 0.5;
/// Further than this no control surface turns, °.
const MOST_DEG: f64 = 100.0;

/// How well the bench knows its angles; standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bench {
    pub known_u_deg: f64,
    pub ruler_u_mm: f64,
    pub chord_u_mm: f64,
}

impl Default for Bench {
    fn default() -> Self {
        Self {
            known_u_deg: KNOWN_U_DEG,
            ruler_u_mm: RULER_U_MM,
            chord_u_mm: CHORD_U_MM,
        }
    }
}

impl Bench {
    /// Relative standard uncertainty that angles by a ruler share: the chord's.
    pub fn shared_scale_u(&self, holds: &[Hold], surface: &Surface) -> f64 {
        if holds.iter().any(|h| h.by_ruler) {
            self.chord_u_mm / surface.chord_mm
        } else {
            0.0
        }
    }

    /// The deflection and its own standard uncertainty, °.
    pub fn known(&self, value: f64, by_ruler: bool, surface: &Surface) -> Option<(f64, f64)> {
        if !by_ruler {
            return (value.abs() <= MOST_DEG).then_some((value, self.known_u_deg));
        }
        let deg = surface.deg_at_mm(value)?;
        let step = |mm: f64| surface.deg_at_mm(value + mm);
        // One side may lie beyond what the ruler reads.
        let slope = match (step(0.1), step(-0.1)) {
            (Some(a), Some(b)) => (a - b) / 0.2,
            (Some(a), None) => (a - deg) / 0.1,
            (None, Some(b)) => (deg - b) / 0.1,
            (None, None) => return None,
        };
        Some((deg, slope.abs() * self.ruler_u_mm))
    }
}

/// Why a hold does not count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// By so many degrees.
    Moved(f64),
    TooShort,
}

/// One hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Hold {
    /// The file it is from.
    pub file: String,
    /// What stands there: degrees, or millimetres by the ruler.
    pub value: f64,
    pub by_ruler: bool,
    pub point: Result<Point, Why>,
}

/// All holds that a recording marks; none where it marks none.
///
/// # Errors
/// No angle in it, or a mark that is no number or no deflection.
pub fn holds(
    file: &str,
    recording: &Recording,
    surface: &Surface,
    bench: &Bench,
) -> Result<Vec<Hold>, Problem> {
    has_angle(file, recording)?;
    let mut marks: Vec<(usize, usize, usize)> = Vec::new();
    for (key, (name, _)) in recording.keys.iter().enumerate() {
        if name != AT_DEG && name != AT_MM {
            continue;
        }
        let place = recording.places.iter().find(|p| p.key == key);
        marks.push(place.map_or((key, 0, 0), |p| (key, p.segment, p.sample)));
    }
    let mut found = Vec::new();
    for (n, (key, number, sample)) in marks.iter().copied().enumerate() {
        let (name, text) = &recording.keys[key];
        let by_ruler = name == AT_MM;
        let value: f64 = text.trim().parse().map_err(|_| {
            Problem::new(format!("{file}: # {name}={text} is no number"))
                .hint("write it with a point and without a unit, for instance `# at_deg=-12.5`")
        })?;
        let end = marks
            .get(n + 1)
            .filter(|next| next.1 == number)
            .map_or(usize::MAX, |next| next.2);
        let segment = recording.segments.get(number);
        let read = segment.map_or(Err(Why::TooShort), |s| {
            mean(s, sample..end.min(s.len()), HOLD_S)
        });
        found.push(hold(file, (value, by_ruler), read, surface, bench)?);
    }
    Ok(found)
}

/// A whole recording held at one angle.
///
/// # Errors
/// As [`holds`].
pub fn whole(
    file: &str,
    recording: &Recording,
    (value, by_ruler): (f64, bool),
    surface: &Surface,
    bench: &Bench,
) -> Result<Hold, Problem> {
    has_angle(file, recording)?;
    let longest = recording.segments.iter().max_by_key(|s| s.len());
    let read = longest.map_or(Err(Why::TooShort), |s| mean(s, 0..s.len(), f64::INFINITY));
    hold(file, (value, by_ruler), read, surface, bench)
}

fn has_angle(file: &str, recording: &Recording) -> Result<(), Problem> {
    if recording.has(Channel::AngleDeg) {
        return Ok(());
    }
    Err(
        Problem::new(format!("{file}: there is no reading of angle_deg in it")).hint(
            "connect the angle sensor, see it with `hingewright rig watch`, and record again",
        ),
    )
}

fn hold(
    file: &str,
    (value, by_ruler): (f64, bool),
    read: Result<(f64, f64), Why>,
    surface: &Surface,
    bench: &Bench,
) -> Result<Hold, Problem> {
    let (known_deg, known_u_deg) = bench.known(value, by_ruler, surface).ok_or_else(|| {
        let unit = if by_ruler { "mm" } else { "degrees" };
        Problem::new(format!(
            "{file}: the {} cannot stand at {value} {unit}",
            surface.name
        ))
        .hint("up or left is above 0, down or right below; by a ruler it is the travel of the trailing edge from neutral, by the chord in aircraft.toml")
    })?;
    Ok(Hold {
        file: file.to_owned(),
        value,
        by_ruler,
        point: read.map(|(read_deg, read_u_deg)| Point {
            known_deg,
            known_u_deg,
            read_deg,
            read_u_deg,
        }),
    })
}

/// Mean and its standard uncertainty over a stretch, from its start for at most so long.
fn mean(segment: &Segment, samples: std::ops::Range<usize>, for_s: f64) -> Result<(f64, f64), Why> {
    let angle = segment.column(Channel::AngleDeg).ok_or(Why::TooShort)?;
    let first_s = *segment.t_s.get(samples.start).ok_or(Why::TooShort)?;
    let readings: Vec<(f64, f64)> = samples
        .map(|i| (segment.t_s[i] - first_s, angle[i]))
        .filter(|(t, a)| *t <= for_s && a.is_finite())
        .collect();
    still(&readings)
}

/// Readings as (s, °) while the surface was held: their mean and its standard uncertainty, or why they do not count.
pub fn still(readings: &[(f64, f64)]) -> Result<(f64, f64), Why> {
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else {
        return Err(Why::TooShort);
    };
    if readings.len() < FEWEST || last.0 - first.0 < SHORTEST_S {
        return Err(Why::TooShort);
    }
    let parts: Vec<f64> = readings
        .chunks(readings.len().div_ceil(PARTS))
        .map(|part| part.iter().map(|r| r.1).sum::<f64>() / part.len() as f64)
        .collect();
    let (lo, hi) = parts
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| {
            (lo.min(*v), hi.max(*v))
        });
    if hi - lo > MOVED_DEG {
        return Err(Why::Moved(hi - lo));
    }
    let n = parts.len() as f64;
    let mean = readings.iter().map(|r| r.1).sum::<f64>() / readings.len() as f64;
    let squares: f64 = parts.iter().map(|p| (p - mean).powi(2)).sum();
    let scatter = (squares / (n * (n - 1.0).max(1.0))).sqrt();
    Ok((mean, scatter.hypot(LEAST_U_DEG)))
}
