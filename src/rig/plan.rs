//! What a sweep is to do, from the aircraft file and the command line: angles, times. Pure.

use super::sweep::{Alone, Expected};
use crate::aircraft::{Aircraft, Surface};

/// How far beyond the furthest throw a sweep goes: the larger of degrees and share, so that "reached" is seen as such.
const BEYOND_DEG: f64 = 1.2;
const BEYOND_SHARE: f64 = 0.05;
/// Largest step in which the deflection grows, degrees.
const GROWTH_STEP_DEG: f64 = 3.0;
/// Hold at each stop on the way, s: current and servo have settled, and something is left to average over. And the least way
/// between two stops, degrees.
const STOP_S: f64 = 0.6;
const STOPS_APART_DEG: f64 = 2.0;
/// Rest at neutral before the first cycle and after the last, s.
pub(super) const REST_S: f64 = 1.2;
/// Time at the end of each growth step, s.
pub(super) const STEP_REST_S: f64 = 0.2;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SweepPlan {
    /// Signed ends, degrees: the furthest throw on each side and a little beyond, or 0 on a side without one.
    pub up_deg: f64,
    pub down_deg: f64,
    pub cycles: u32,
    /// Of the surface, on average, °/s.
    pub rate_deg_per_s: f64,
    /// At each end, s.
    pub hold_s: f64,
    /// +1: a longer pulse drives the surface up, by the servo type's `arm_deg_per_us`; −1 where that is negative.
    pub sense: f64,
    /// On every stroke also at neutral and half-way to each end, s; 0: without stopping. For two servos, whose currents tell
    /// most where they hold.
    pub stop_s: f64,
    /// The rods are off, and the servo is to turn by itself: where it is seen that they are not, the run ends.
    pub alone: Option<Alone>,
    /// What the aircraft file makes of a pulse, to hold the angle sensor against.
    pub expected: Option<Expected>,
}

impl SweepPlan {
    pub fn of(
        aircraft: &Aircraft,
        surface: &Surface,
        cycles: u32,
        rate_deg_per_s: f64,
        hold_s: f64,
    ) -> Self {
        let furthest = |sign: f64| {
            let asked = surface
                .throws
                .iter()
                .filter(|t| t.side.sign() == sign)
                .map(|t| t.asked_deg);
            let most = asked.fold(0.0, f64::max);
            if most > 0.0 {
                most + BEYOND_DEG.max(BEYOND_SHARE * most)
            } else {
                0.0
            }
        };
        let kind = &aircraft.servo_types[aircraft.servos[surface.servo_index].type_index];
        Self {
            up_deg: furthest(1.0),
            down_deg: -furthest(-1.0),
            cycles,
            rate_deg_per_s,
            hold_s,
            sense: kind.arm_deg_per_us.map_or(1.0, f64::signum),
            stop_s: 0.0,
            alone: None,
            expected: Expected::of(aircraft, surface),
        }
    }

    /// Of a servo whose rods are off.
    pub fn alone(self, aircraft: &Aircraft, surface: &Surface) -> Self {
        let kind = &aircraft.servo_types[aircraft.servos[surface.servo_index].type_index];
        Self {
            stop_s: 0.0,
            alone: Some(Alone {
                by_the_rod: surface.linkage.as_ref().map(|l| l.arm_mm / l.horn_mm),
                arm_deg_per_us: kind.arm_deg_per_us,
            }),
            expected: None,
            ..self
        }
    }

    /// With stops on the way where two servos drive the surface; any other is swept without.
    pub fn with_stops(self, surface: &Surface) -> Self {
        Self {
            stop_s: surface.second_servo_index.map_or(0.0, |_| STOP_S),
            ..self
        }
    }

    /// Where a stroke from one angle to another stops on its way, degrees, in its order.
    pub(super) fn stops(&self, from_deg: f64, to_deg: f64) -> Vec<f64> {
        if self.stop_s <= 0.0 {
            return Vec::new();
        }
        let up = to_deg > from_deg;
        let (low, high) = (from_deg.min(to_deg), from_deg.max(to_deg));
        let mut stops = vec![0.5 * self.down_deg, 0.0, 0.5 * self.up_deg];
        stops.retain(|deg| (low + STOPS_APART_DEG..=high - STOPS_APART_DEG).contains(deg));
        stops.dedup();
        if !up {
            stops.reverse();
        }
        stops
    }

    /// From end to end, degrees.
    pub fn travel_deg(&self) -> f64 {
        self.up_deg - self.down_deg
    }

    /// The angles at which growth towards an end stops and looks.
    pub(super) fn growth(&self, end_deg: f64) -> Vec<f64> {
        let steps = (end_deg.abs() / GROWTH_STEP_DEG)
            .ceil()
            .max(if end_deg == 0.0 { 0.0 } else { 2.0 });
        (1..=steps as u32)
            .map(|n| end_deg * f64::from(n) / steps)
            .collect()
    }

    /// How long a cycle takes, s.
    pub fn cycle_s(&self) -> f64 {
        let stops = 2 * self.stops(self.down_deg, self.up_deg).len();
        2.0 * self.travel_deg() / self.rate_deg_per_s
            + 2.0 * self.hold_s
            + stops as f64 * self.stop_s
    }

    /// How long feeling the way to both ends takes, s.
    pub fn growth_s(&self) -> f64 {
        let steps = self.growth(self.up_deg).len() + self.growth(self.down_deg).len();
        2.5 * self.travel_deg() / self.rate_deg_per_s + steps as f64 * (STEP_REST_S + 0.05)
    }

    /// How long all of it takes, s.
    pub fn whole_s(&self) -> f64 {
        self.growth_s() + self.known_way_s()
    }

    /// How long it takes where the way to both ends is known already, s.
    pub fn known_way_s(&self) -> f64 {
        2.0 * REST_S + 3.0 + f64::from(self.cycles) * self.cycle_s()
    }
}

/// What pulse gives what angle, as seen so far. Between two that were seen it is a straight line, and beyond them the last one
/// drawn on.
#[derive(Debug, Clone, Default)]
pub(super) struct PulseMap {
    /// Pulse in µs and angle in degrees, in the order of angle.
    seen: Vec<(f64, f64)>,
}

impl PulseMap {
    /// Angles nearer than this are one place.
    const APART_DEG: f64 = 0.8;

    pub fn saw(&mut self, pulse_us: f64, angle_deg: f64) {
        self.seen
            .retain(|(_, angle)| (angle - angle_deg).abs() > Self::APART_DEG);
        self.seen.push((pulse_us, angle_deg));
        self.seen.sort_by(|a, b| a.1.total_cmp(&b.1));
    }

    /// `None` until two places were seen.
    pub fn pulse_for(&self, angle_deg: f64) -> Option<f64> {
        let (first, second) = self.around(angle_deg)?;
        let slope = (second.0 - first.0) / (second.1 - first.1);
        Some(first.0 + slope * (angle_deg - first.1))
    }

    /// µs for a degree, without its sign, from the lowest place that was seen to the highest.
    pub fn us_per_deg(&self) -> Option<f64> {
        let (first, last) = self.ends()?;
        (self.seen.len() > 1).then(|| ((last.0 - first.0) / (last.1 - first.1)).abs())
    }

    /// Pulse and angle of the lowest place that was seen, and of the highest.
    pub fn ends(&self) -> Option<((f64, f64), (f64, f64))> {
        Some((*self.seen.first()?, *self.seen.last()?))
    }

    fn around(&self, angle_deg: f64) -> Option<((f64, f64), (f64, f64))> {
        if self.seen.len() < 2 {
            return None;
        }
        let above = self.seen.partition_point(|(_, angle)| *angle < angle_deg);
        let second = above.clamp(1, self.seen.len() - 1);
        Some((self.seen[second - 1], self.seen[second]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan() -> SweepPlan {
        SweepPlan {
            up_deg: 25.0,
            down_deg: -20.0,
            cycles: 10,
            rate_deg_per_s: 30.0,
            hold_s: 0.5,
            sense: 1.0,
            stop_s: 0.0,
            alone: None,
            expected: None,
        }
    }

    #[test]
    fn growth_comes_to_the_end_in_even_steps_of_three_degrees_at_most() {
        let steps = plan().growth(-15.0);
        assert_eq!(steps, [-3.0, -6.0, -9.0, -12.0, -15.0]);
        assert!(plan().growth(0.0).is_empty());
        assert_eq!(plan().growth(3.0), [1.5, 3.0]);
    }

    #[test]
    fn a_cycle_is_the_travel_twice_and_a_hold_at_each_end() {
        assert!((plan().cycle_s() - (90.0 / 30.0 + 1.0)).abs() < 1e-12);
    }

    #[test]
    fn stops_on_the_way_come_in_the_order_of_the_stroke_and_take_their_time() {
        let stopping = SweepPlan {
            stop_s: 0.6,
            ..plan()
        };
        assert_eq!(stopping.stops(-20.0, 25.0), [-10.0, 0.0, 12.5]);
        assert_eq!(stopping.stops(25.0, -20.0), [12.5, 0.0, -10.0]);
        assert_eq!(stopping.stops(0.0, 25.0), [12.5]);
        assert!((stopping.cycle_s() - plan().cycle_s() - 6.0 * 0.6).abs() < 1e-12);
        assert!(plan().stops(-20.0, 25.0).is_empty());
        // A surface with throws on one side alone has neutral at its end.
        let one_sided = SweepPlan {
            down_deg: 0.0,
            ..stopping
        };
        assert_eq!(one_sided.stops(0.0, 25.0), [12.5]);
    }

    #[test]
    fn the_map_draws_straight_lines_between_and_beyond_what_was_seen() {
        let mut map = PulseMap::default();
        map.saw(1500.0, 0.0);
        assert_eq!(map.pulse_for(3.0), None);
        map.saw(1520.0, 2.0);
        assert_eq!(map.pulse_for(1.0), Some(1510.0));
        assert_eq!(map.pulse_for(-4.0), Some(1460.0));
        map.saw(1580.0, 6.0);
        assert_eq!(map.pulse_for(8.0), Some(1610.0));
        // The same place again replaces what was seen there.
        map.saw(1530.0, 2.1);
        assert_eq!(map.seen.len(), 3);
    }
}
