//! What `calibrate angle` says: sentences worded once, then [`text`], [`json`] and the table for the aircraft file, [`file`].

pub mod file;
pub mod json;
pub mod text;

use crate::aircraft::Surface;
use crate::analysis::angle::{Bench, Hold, Line, Why};
use crate::units::{fixed, pair, significant};

/// Readings that scatter this many times more than was said of them leave a doubt.
const SCATTERS: f64 = 2.5;

/// One surface's angle sensor.
pub struct Angled<'a> {
    pub surface: &'a Surface,
    pub holds: &'a [Hold],
    pub line: &'a Line,
    pub bench: &'a Bench,
    pub unfinished: &'a [String],
    pub made: jiff::civil::Date,
}

impl Angled<'_> {
    pub fn doubtful(&self) -> bool {
        self.line.is_bent() || self.scatters().is_some()
    }

    fn scatters(&self) -> Option<f64> {
        self.line.scatter.filter(|s| *s > SCATTERS)
    }

    /// Of scale and zero, to be written: what departs from the line beyond noise is in zero's, for every angle has it.
    pub fn covariance(&self) -> [[f64; 2]; 2] {
        let mut covariance = self.line.covariance;
        if let Some(d) = self.line.furthest().filter(|_| self.line.is_bent()) {
            // Anywhere within ± that (a rectangle, GUM 4.3.7), in the sensor's own degrees.
            covariance[1][1] += (d.off_deg / self.line.scale.value).powi(2) / 3.0;
        }
        covariance
    }

    /// What a builder should know, most important first.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = vec![self.scale_sentence(), self.straight_sentence()];
        said.extend(self.scatters().map(|s| {
            format!(
                "Holds at one angle differ {} times more than was said of wedge or ruler: see that the sensor does not slip, and set each angle anew.",
                two(s)
            )
        }));
        let left_out = |why: fn(&Why) -> bool| {
            let all = self.holds.iter();
            all.filter(|h| h.point.as_ref().is_err_and(why)).count()
        };
        let (moved, short) = (
            left_out(|w| matches!(w, Why::Moved(_))),
            left_out(|w| *w == Why::TooShort),
        );
        if moved > 0 {
            said.push(format!(
                "{moved} holds were left out: the surface moved meanwhile."
            ));
        }
        if short > 0 {
            said.push(format!(
                "{short} holds were left out: shorter than a second."
            ));
        }
        said.extend(
            self.unfinished
                .iter()
                .map(|u| format!("Of an unfinished run, taken as far as it goes: {u}.")),
        );
        said.push(self.known_sentence());
        said
    }

    fn scale_sentence(&self) -> String {
        let (scale, zero) = (self.line.scale.value, self.line.zero_deg.value);
        let sign = if scale < 0.0 {
            "The sensor runs the other way round: its sign is turned by the scale, which is below 0. "
        } else {
            ""
        };
        let off = 100.0 * (scale.abs().recip() - 1.0);
        let way = if off < 0.0 { "too little" } else { "too much" };
        format!(
            "{sign}It reads {} % {way}, and {}° at neutral.",
            two(off.abs()),
            fixed(zero, 2)
        )
    }

    fn straight_sentence(&self) -> String {
        let Some(d) = self.line.furthest() else {
            return "Whether the sensor is straight in between cannot be seen with two angles: add one between them, neutral for instance."
                .to_owned();
        };
        let place = format!("{}° at {}°", fixed(d.off_deg, 2), fixed(d.known_deg, 1));
        if self.line.is_bent() {
            let again = if self.line.scatter.is_none() {
                " Hold each angle once more: what comes again is the sensor, what does not is how it was set."
            } else {
                ""
            };
            format!(
                "THE SENSOR IS NOT STRAIGHT: it departs from the line by up to {place}, where noise explains ±{}°. Angles in between are off by \
                 that much, and the uncertainty of zero carries it; look for a lever or magnet that is not square to its axis.{again}",
                fixed(d.noise_deg, 2)
            )
        } else {
            format!(
                "No departure from a straight line is seen: the furthest is {place}, and noise explains ±{}°.",
                fixed(d.noise_deg, 2)
            )
        }
    }

    fn known_sentence(&self) -> String {
        let ruler = self.holds.iter().any(|h| h.by_ruler);
        if ruler {
            format!(
                "Ruler readings are taken as good to {} mm, the chord of {} mm to {} mm (standard uncertainties; the chord's is shared by all angles).",
                self.bench.ruler_u_mm, self.surface.chord_mm, self.bench.chord_u_mm
            )
        } else {
            format!(
                "Each known angle is taken as good to {}° (standard uncertainty).",
                self.bench.known_u_deg
            )
        }
    }

    /// Name, value, 95 % interval.
    pub fn rows(&self) -> [[String; 3]; 2] {
        let of = |name: &str, q: &crate::analysis::Quantity| {
            let half = q.interval.map_or(f64::NAN, |i| i.hi95 - q.value);
            let Some((value, half)) = pair(q.value, half) else {
                return [name.to_owned(), fixed(q.value, 4), "none".to_owned()];
            };
            let digits = half.split_once('.').map_or(0, |(_, d)| d.len() as i32);
            let interval = q.interval.map_or(String::new(), |i| {
                format!("{} to {}", fixed(i.lo95, digits), fixed(i.hi95, digits))
            });
            [name.to_owned(), value, interval]
        };
        [
            of("scale, °/°", &self.line.scale),
            of("reads at neutral, °", &self.line.zero_deg),
        ]
    }
}

fn two(value: f64) -> String {
    significant(value, 2).unwrap_or_else(|| crate::units::NOT_A_NUMBER.into())
}
