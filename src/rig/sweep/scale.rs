//! Whether the angle sensor's degrees agree with the pulse, the servo and the linkage of the aircraft file. A sensor that shows
//! half of what there is would have the surface driven to twice its throws. Pure.

use crate::aircraft::{Aircraft, LinkageSolver, Surface};
use crate::problem::Problem;
use crate::recording::purpose::SCALE_DOUBT;
use crate::rig::cut::Cut;
use crate::units::Unit;

/// Below this the file's numbers tell nothing yet: dead band, play and a rod's flex are as large. Degrees by the file.
const TELLS_DEG: f64 = 6.0;
/// Of what the file makes of a pulse, play and dead band may take so much, degrees ...
const PLAY_DEG: f64 = 1.0;
/// ... and with that given, a sensor that is believed unseen must show this share, or the surface goes no further. Data sheets'
/// angles a µs and lengths by a ruler are good to a fifth or so (common practice, no source).
const STOPS_BELOW: f64 = 0.6;
/// From end to end, shares that are worth a word.
const ALIKE: std::ops::RangeInclusive<f64> = 0.7..=1.4;

/// What the aircraft file lets one expect of a pulse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    linkage: LinkageSolver,
    /// Degrees of the arm a µs, without its sign.
    arm_deg_per_us: f64,
    /// The file has no calibration of the angle sensor: its degrees are taken as they come.
    believed: bool,
}

impl Expected {
    /// `None` where the file says nothing of the servo's angle a µs, or of the linkage.
    pub fn of(aircraft: &Aircraft, surface: &Surface) -> Option<Self> {
        let kind = &aircraft.servo_types[aircraft.servos[surface.servo_index].type_index];
        Some(Self {
            linkage: LinkageSolver::new(surface.linkage.as_ref()?)?,
            arm_deg_per_us: kind.arm_deg_per_us?.abs(),
            believed: surface.angle.is_none(),
        })
    }

    /// Where so many µs from neutral put the surface, degrees; those that drive it up are positive.
    fn deg(&self, up_us: f64) -> Option<f64> {
        self.linkage
            .surface_deg_at_arm_deg(self.arm_deg_per_us * up_us)
    }

    /// After a step that the surface followed: so many µs upwards from neutral have brought so many degrees.
    ///
    /// # Errors
    /// The sensor, believed unseen, shows so much less than the file that the surface may be far beyond where it is said to be.
    pub(super) fn mind(&self, up_us: f64, moved_deg: f64) -> Result<(), Cut> {
        let Some(by_file) = self.deg(up_us).map(f64::abs) else {
            return Ok(());
        };
        let seen = moved_deg.abs();
        if !self.believed || by_file < TELLS_DEG || seen + PLAY_DEG >= STOPS_BELOW * by_file {
            return Ok(());
        }
        Err(Cut::Unwise(
            Problem::new(format!(
                "stopped before it goes too far: the angle sensor shows {} where pulse, servo and linkage of the file make {}",
                Unit::Degree.place(seen),
                Unit::Degree.place(by_file),
            ))
            .hint(WHICH),
        ))
    }

    /// A word on what a sweep found from end to end, where a sensor believed unseen and the file do not agree; angles and pulses
    /// upwards from neutral.
    pub(super) fn doubt(&self, down: (f64, f64), up: (f64, f64)) -> Option<String> {
        let by_file = self.deg(up.0)? - self.deg(down.0)?;
        let seen = up.1 - down.1;
        let doubtful =
            self.believed && by_file >= 2.0 * TELLS_DEG && !ALIKE.contains(&(seen / by_file));
        doubtful.then(|| {
            format!(
                "{SCALE_DOUBT}: from end to end the angle sensor shows {} where pulse, servo and linkage of the file make {}; {WHICH}.",
                Unit::Degree.place(seen),
                Unit::Degree.place(by_file),
            )
        })
    }
}

const WHICH: &str = "hold a ruler to the trailing edge and move the surface: where it agrees with the sensor, mend arm_deg_per_us of its \
                     [[servo_type]], or arm and horn in its [surface.linkage]; where it does not, calibrate the sensor (hingewright \
                     calibrate angle) before you believe a throw";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aircraft::Linkage;

    /// A linkage of 18 on 22 mm: near neutral 18/22 of a degree for a degree of the arm, and 0.09° a µs.
    fn expected(believed: bool) -> Expected {
        let linkage = Linkage {
            arm_mm: 18.0,
            horn_mm: 22.0,
            rod_mm: 95.0,
            base_mm: 97.0,
            arm_zero_deg: 0.0,
        };
        Expected {
            linkage: LinkageSolver::new(&linkage).unwrap(),
            arm_deg_per_us: 0.09,
            believed,
        }
    }

    #[test]
    fn a_sensor_that_shows_half_stops_the_surface_before_thirteen_true_degrees_on_either_side() {
        for sign in [1.0, -1.0] {
            let stopped_at = (1..400)
                .map(|us| sign * f64::from(us))
                .find(|us| {
                    let true_deg = expected(true).deg(*us).unwrap();
                    expected(true).mind(*us, 0.5 * true_deg).is_err()
                })
                .map(|us| expected(true).deg(us).unwrap().abs());
            assert!(stopped_at.is_some_and(|deg| deg < 13.0), "{stopped_at:?}");
        }
    }

    #[test]
    fn play_flex_and_a_data_sheet_off_by_a_fifth_stop_nothing() {
        for us in 1..400 {
            let true_deg = 0.8 * 0.85 * expected(true).deg(f64::from(us)).unwrap();
            let seen = (true_deg - 1.0).max(0.0);
            assert_eq!(expected(true).mind(f64::from(us), seen), Ok(()), "{us} µs");
        }
    }

    #[test]
    fn a_calibrated_sensor_is_believed_before_the_file() {
        assert_eq!(expected(false).mind(400.0, 3.0), Ok(()));
        assert_eq!(expected(false).doubt((-300.0, -10.0), (300.0, 10.0)), None);
    }

    #[test]
    fn a_doubt_from_end_to_end_is_said_either_way_and_names_both() {
        let deg = |us| expected(true).deg(us).unwrap();
        let said = |share: f64| {
            expected(true).doubt((-300.0, share * deg(-300.0)), (300.0, share * deg(300.0)))
        };
        assert_eq!(said(1.0), None);
        assert_eq!(said(0.75), None);
        for share in [0.65, 1.5] {
            let words = said(share).unwrap();
            assert!(words.starts_with(SCALE_DOUBT), "{words}");
            assert!(words.contains("calibrate angle") && words.contains("arm_deg_per_us"));
        }
    }
}
