//! A servo that is to turn by itself: whether its rods are really off, as far as the channels tell. Pure.

use crate::problem::Problem;
use crate::rig::cut::Cut;
use crate::rig::look::Means;

/// An arm that moved by less tells nothing, degrees.
const LEAST_DEG: f64 = 1.6;
/// The angle moves along from this much on, degrees and as a share of the arm.
const ALONG_DEG: f64 = 0.5;
const ALONG_SHARE: f64 = 0.2;
/// A sensor on the arm reads the arm's degrees to within this share, and within this many degrees of noise, steps and play.
const ALIKE_SHARE: f64 = 0.08;
const ALIKE_DEG: f64 = 0.5;
/// Without a channel of the arm's own: between these, degrees, the pulse tells arm and surface apart; further out a linkage bends.
const BY_PULSE_DEG: std::ops::RangeInclusive<f64> = 7.0..=20.0;
/// As near to what the surface would do, and as far from what the arm does, as shares.
const NEAR_SURFACE: f64 = 0.07;
const OFF_ARM: f64 = 0.10;

/// What is known beforehand of a servo whose rods are off.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Alone {
    /// Degrees of the surface for one of the arm, were the rods on: arm over horn. `None` without a linkage in the aircraft file.
    pub by_the_rod: Option<f64>,
    /// Degrees of the arm for a µs of pulse, by the aircraft file.
    pub arm_deg_per_us: Option<f64>,
}

impl Alone {
    /// # Errors
    /// What moved since `from` moved as a surface does whose rods are on.
    pub(super) fn mind(&self, from: &Means, now: &Means) -> Result<(), Cut> {
        let moved = |of: fn(&Means) -> Option<f64>| Some((of(now)? - of(from)?).abs());
        let surface_deg = moved(|m| m.surface_deg);
        let told = match (moved(|m| m.arm_deg), surface_deg) {
            (Some(arm_deg), Some(surface_deg)) => by_both(arm_deg, surface_deg),
            (None, Some(deg)) => moved(|m| m.pulse_us).and_then(|us| self.by_pulse(deg, us)),
            _ => None,
        };
        told.map_or(Ok(()), |what| Err(Cut::Unwise(still_on(&what))))
    }

    fn by_pulse(&self, deg: f64, us: f64) -> Option<String> {
        let arm = self.arm_deg_per_us?.abs() * us;
        let surface = self.by_the_rod? * arm;
        let on = BY_PULSE_DEG.contains(&deg)
            && (deg / surface - 1.0).abs() <= NEAR_SURFACE
            && (deg / arm - 1.0).abs() > OFF_ARM;
        on.then(|| {
            format!(
                "{us:.0} \u{b5}s of pulse moved the angle by {deg:.1}\u{b0}, as the surface goes with its rods on, and not by the {arm:.1}\u{b0} of the arm"
            )
        })
    }
}

fn by_both(arm_deg: f64, surface_deg: f64) -> Option<String> {
    let along = surface_deg > ALONG_DEG.max(ALONG_SHARE * arm_deg);
    let on_the_arm = (surface_deg - arm_deg).abs() <= ALIKE_SHARE * arm_deg + ALIKE_DEG;
    (arm_deg >= LEAST_DEG && along && !on_the_arm).then(|| {
        format!(
            "the surface's angle moves along with the arm, by {surface_deg:.1}\u{b0} while the arm went {arm_deg:.1}\u{b0}"
        )
    })
}

fn still_on(what: &str) -> Problem {
    Problem::new(format!("the rods seem to be on still: {what}")).hint(
        "switch the supply off, take the rods off the servo's arm and begin again; if they are off, put the angle sensor square on the arm, \
         or let it lie still, and see that arm_deg_per_us in aircraft.toml is this servo's",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALONE: Alone = Alone {
        by_the_rod: Some(18.0 / 22.0),
        arm_deg_per_us: Some(0.09),
    };

    fn means(pulse_us: f64, arm_deg: Option<f64>, surface_deg: Option<f64>) -> Means {
        Means {
            angle_deg: arm_deg.or(surface_deg).unwrap_or(f64::NAN),
            pulse_us: Some(pulse_us),
            arm_deg,
            surface_deg,
        }
    }

    fn minds(pulse_us: f64, arm_deg: Option<f64>, surface_deg: Option<f64>) -> bool {
        let from = means(1500.0, arm_deg.map(|_| 0.4), surface_deg.map(|_| -1.0));
        let now = means(
            1500.0 + pulse_us,
            arm_deg.map(|d| d + 0.4),
            surface_deg.map(|d| d - 1.0),
        );
        ALONE.mind(&from, &now).is_err()
    }

    #[test]
    fn a_surface_that_goes_along_with_the_arm_is_minded_and_a_sensor_on_the_arm_is_not() {
        assert!(minds(100.0, Some(9.0), Some(7.36)));
        assert!(minds(-100.0, Some(-9.0), Some(-7.36)));
        assert!(minds(100.0, Some(9.0), Some(14.0)), "a long arm");
        assert!(!minds(100.0, Some(9.0), Some(9.2)), "on the arm");
        assert!(!minds(100.0, Some(9.0), Some(0.1)), "left lying");
        assert!(!minds(22.0, Some(1.0), Some(0.5)), "too little to tell");
    }

    #[test]
    fn without_the_arm_s_channel_the_pulse_tells_them_apart_where_the_file_has_both_ratios() {
        assert!(minds(111.0, None, Some(0.09 * 111.0 * 18.0 / 22.0)));
        assert!(!minds(111.0, None, Some(0.09 * 111.0)));
        assert!(
            !minds(44.0, None, Some(0.09 * 44.0 * 18.0 / 22.0)),
            "too little"
        );
        let unknown = Alone::default();
        let from = means(1500.0, None, Some(0.0));
        assert!(unknown.mind(&from, &means(1600.0, None, Some(7.4))).is_ok());
    }
}
