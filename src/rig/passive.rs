//! Recording what a hand or a transmitter does: how much of the travel it has covered, and when it is enough.

use std::time::Duration;

use super::cut::Cut;
use super::drive::{Asked, Rig};
use super::ear::Ear;
use super::live::{Heard, Sample};
use crate::aircraft::Surface;
use crate::recording::Channel;

/// A passive rig may be slow, and nothing is at stake while it says nothing.
const SILENT_AFTER: Duration = Duration::from_secs(3);
/// A turn is one when the surface came back by this much, degrees.
const TURN_DEG: f64 = 2.0;
/// Strokes from end to end in each direction from which there is enough to judge by.
pub const ENOUGH_STROKES: u32 = 8;
/// A stroke from end to end covers this share of the travel that is wanted.
const END_TO_END: f64 = 0.9;

/// The travel so far.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Coverage {
    pub sample: Option<Sample>,
    /// Lowest and highest angle, degrees.
    pub from_deg: f64,
    pub to_deg: f64,
    /// Strokes from end to end.
    pub up: u32,
    pub down: u32,
    /// Share of the wanted travel that was covered.
    pub share: f64,
    /// By the rig's clock, s.
    pub since_s: f64,
}

impl Coverage {
    /// Enough strokes from end to end for a verdict with an interval.
    pub fn is_enough(&self) -> bool {
        self.share >= END_TO_END && self.up.min(self.down) >= ENOUGH_STROKES
    }
}

/// Follows strokes, wanted from one angle to another, degrees.
#[derive(Debug, Clone)]
pub struct Passive {
    wanted: (f64, f64),
    coverage: Coverage,
    began_s: Option<f64>,
    /// Where the stroke under way began, and its furthest point so far.
    stroke: Option<(f64, f64)>,
}

impl Passive {
    pub fn of(surface: &Surface) -> Self {
        let side = |sign: f64| {
            let asked = surface
                .throws
                .iter()
                .filter(|t| t.side.sign() == sign)
                .map(|t| t.asked_deg);
            sign * asked.fold(0.0, f64::max)
        };
        Self {
            wanted: (side(-1.0), side(1.0)),
            coverage: Coverage::default(),
            began_s: None,
            stroke: None,
        }
    }

    pub fn take(&mut self, sample: &Sample) -> Coverage {
        self.coverage.sample = Some(*sample);
        self.coverage.since_s = sample.t_s - *self.began_s.get_or_insert(sample.t_s);
        if let Some(angle_deg) = sample.get(Channel::AngleDeg) {
            self.follow(angle_deg);
        }
        self.coverage
    }

    fn follow(&mut self, angle_deg: f64) {
        let Some((start, furthest)) = &mut self.stroke else {
            self.stroke = Some((angle_deg, angle_deg));
            (self.coverage.from_deg, self.coverage.to_deg) = (angle_deg, angle_deg);
            return;
        };
        let c = &mut self.coverage;
        (c.from_deg, c.to_deg) = (c.from_deg.min(angle_deg), c.to_deg.max(angle_deg));
        let (low, high) = self.wanted;
        let covered = c.to_deg.min(high) - c.from_deg.max(low);
        c.share = (covered / (high - low)).clamp(0.0, 1.0);
        let heading = (*furthest - *start).signum();
        if (angle_deg - *furthest) * heading >= 0.0 {
            *furthest = angle_deg;
        } else if (*furthest - angle_deg).abs() >= TURN_DEG {
            if (*furthest - *start).abs() >= END_TO_END * (high - low) {
                if heading > 0.0 {
                    c.up += 1
                } else {
                    c.down += 1
                }
            }
            self.stroke = Some((*furthest, angle_deg));
        }
    }

    /// Records until told that it is enough.
    pub(super) async fn run(
        mut self,
        rig: Rig<Asked>,
        enough: impl Future<Output = ()>,
        tell: &mut dyn FnMut(&Coverage),
    ) -> Result<(), Cut> {
        let live = rig.line().live();
        let mut ear: Ear = rig.line().listen();
        tokio::pin!(enough);
        loop {
            let heard = tokio::select! {
                biased;
                () = &mut enough => return Ok(()),
                heard = ear.next_within(SILENT_AFTER, || live.borrow().bytes) => heard?,
            };
            match heard {
                Heard::Sample(sample) => {
                    let coverage = self.take(&sample);
                    tell(&coverage);
                }
                Heard::Restarted => return Err(Cut::Restarted),
                Heard::Rig(_) | Heard::Event { .. } | Heard::Ok { .. } => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn passive(from: f64, to: f64) -> Passive {
        Passive {
            wanted: (from, to),
            coverage: Coverage::default(),
            began_s: None,
            stroke: None,
        }
    }

    #[test]
    fn strokes_from_end_to_end_are_counted_and_half_ones_are_not() {
        let mut passive = passive(-20.0, 20.0);
        let mut go = |from: f64, to: f64| {
            for n in 0..=100 {
                passive.follow(from + (to - from) * f64::from(n) / 100.0);
            }
        };
        go(0.0, 21.0);
        go(21.0, -20.5);
        go(-20.5, 19.8);
        go(19.8, 5.0);
        go(5.0, 20.0);
        go(20.0, 0.0);
        let seen = passive.coverage;
        assert_eq!((seen.up, seen.down), (1, 1));
        assert_eq!(seen.share, 1.0);
        assert!(!seen.is_enough());
    }

    #[test]
    fn noise_at_an_end_is_no_stroke() {
        let mut passive = passive(-20.0, 20.0);
        for n in 0..1000 {
            passive.follow(20.0 + 0.5 * f64::from(n % 3));
        }
        assert_eq!((passive.coverage.up, passive.coverage.down), (0, 0));
    }
}
