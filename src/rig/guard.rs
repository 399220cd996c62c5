//! Watches torque (or current) over the angle while a hinge is worked, against a limit and against the batch before.
//! Pure. Never in here: the rig.

use std::collections::BTreeMap;

use super::cut::Cut;
use super::live::Sample;
use crate::problem::Problem;
use crate::recording::{Channel, STOPPED_AT};
use crate::units::{TorqueUnit, Unit};

/// Width of a step of angle, degrees.
const BIN_DEG: f64 = 2.0;
/// Readings in a row above it: one alone may be noise.
const READINGS_ABOVE: u32 = 3;
/// A rise smaller than this share of the batch before's most counts nowhere: near neutral little is much of nothing.
const LEAST_OF_MOST: f64 = 0.1;

/// The most that was read at each step of angle, without its sign.
#[derive(Debug, Clone, Default, PartialEq)]
struct Profile {
    most: BTreeMap<i32, f64>,
}

impl Profile {
    fn bin(angle_deg: f64) -> i32 {
        (angle_deg / BIN_DEG).floor() as i32
    }

    fn take(&mut self, angle_deg: f64, effort: f64) {
        let most = self.most.entry(Self::bin(angle_deg)).or_insert(0.0);
        *most = most.max(effort.abs());
    }

    /// The most at like angles: this step and its neighbours. `None` where the surface has not been.
    fn near(&self, angle_deg: f64) -> Option<f64> {
        let bin = Self::bin(angle_deg);
        self.most.get(&bin)?;
        let near = self.most.range(bin - 1..=bin + 1).map(|(_, v)| *v);
        near.reduce(f64::max)
    }

    fn highest(&self) -> f64 {
        self.most.values().copied().fold(0.0, f64::max)
    }
}

/// Ends a batch whose torque rises.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Guard {
    /// By how much it may rise above the batch before, a share.
    rise: f64,
    /// Torque that it never may exceed, N·cm.
    most_ncm: Option<f64>,
    before: Profile,
    now: Profile,
    above: u32,
}

impl Guard {
    /// Nothing is known of a batch before yet. `rise`: a share; `most_ncm`: N·cm.
    pub fn new(rise: f64, most_ncm: Option<f64>) -> Self {
        Self {
            rise,
            most_ncm,
            ..Self::default()
        }
    }

    /// The guard of the next batch: what it saw is the batch before's. One that saw nothing keeps what it knew.
    pub fn next(mut self) -> Self {
        if !self.now.most.is_empty() {
            self.before = std::mem::take(&mut self.now);
        }
        self.above = 0;
        self
    }

    /// What a batch was like that was recorded earlier: its angles in degrees, and efforts as [`Self::take`] would see them.
    pub fn remember(&mut self, readings: impl Iterator<Item = (f64, f64)>) {
        self.before = Profile::default();
        readings
            .filter(|(angle_deg, effort)| angle_deg.is_finite() && effort.is_finite())
            .for_each(|(angle_deg, effort)| self.before.take(angle_deg, effort));
    }

    /// The channel that is watched: torque, or what stands for it.
    pub const CHANNELS: [Channel; 3] = [Channel::TorqueNcm, Channel::ForceN, Channel::CurrentMa];

    /// # Errors
    /// It rose: the run is to end at once.
    pub(super) fn take(&mut self, sample: &Sample) -> Result<(), Cut> {
        let read = Self::CHANNELS
            .iter()
            .find_map(|c| sample.get(*c).map(|v| (*c, v)));
        match (sample.get(Channel::AngleDeg), read) {
            (Some(angle_deg), Some((channel, effort))) => self
                .look(angle_deg, channel, effort.abs())
                .map_err(Cut::Rose),
            _ => Ok(()),
        }
    }

    fn look(&mut self, angle_deg: f64, channel: Channel, effort: f64) -> Result<(), Problem> {
        let before = self.before.near(angle_deg);
        let may_be =
            before.map(|most| most + (self.rise * most).max(LEAST_OF_MOST * self.before.highest()));
        let limit = self.most_ncm.filter(|_| channel == Channel::TorqueNcm);
        let least = [may_be, limit].into_iter().flatten().reduce(f64::min);
        if least.is_none_or(|least| effort <= least) {
            self.above = 0;
            self.now.take(angle_deg, effort);
            return Ok(());
        }
        self.above += 1;
        if self.above < READINGS_ABOVE {
            return Ok(());
        }
        Err(match before {
            Some(before) if limit.is_none_or(|limit| effort <= limit) => {
                rose(angle_deg, channel, effort, before)
            }
            _ => over(angle_deg, channel, effort, limit.unwrap_or_default()),
        })
    }
}

fn amount(channel: Channel, effort: f64) -> String {
    match channel {
        Channel::TorqueNcm => Unit::Torque(TorqueUnit::NewtonCentimetre).plain(effort),
        Channel::CurrentMa => format!("{effort:.0} mA"),
        _ => format!("{effort:.1} N"),
    }
}

fn rose(angle_deg: f64, channel: Channel, effort: f64, before: f64) -> Problem {
    Problem::new(format!(
        "{STOPPED_AT}{}: {} there, and no more than {} in the last sound batch (a rise of {:.0} %)",
        Unit::Degree.place(angle_deg),
        amount(channel, effort),
        amount(channel, before),
        100.0 * (effort / before - 1.0)
    ))
    .hint("a hinge that gets stiffer is tearing or binding: look at it there before you work it any further")
}

fn over(angle_deg: f64, channel: Channel, effort: f64, limit: f64) -> Problem {
    Problem::new(format!(
        "{STOPPED_AT}{}: {} there, above the limit of {}",
        Unit::Degree.place(angle_deg),
        amount(channel, effort),
        amount(channel, limit)
    ))
    .hint("look for what binds there; or work it to a smaller deflection first (--stages)")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stroke of a spring of 0.3 N·cm per degree, with these factors from 10° on.
    fn stroke(guard: &mut Guard, beyond: f64) -> Result<(), Problem> {
        for tenth in -200..200 {
            let angle_deg = 0.1 * f64::from(tenth);
            let effort = 0.3 * angle_deg * if angle_deg > 10.0 { beyond } else { 1.0 };
            guard.look(angle_deg, Channel::TorqueNcm, effort.abs())?;
        }
        Ok(())
    }

    #[test]
    fn a_rise_above_the_batch_before_ends_it_and_says_where() {
        let mut first = Guard::new(0.25, None);
        assert_eq!(stroke(&mut first, 1.0), Ok(()));
        let mut second = first.clone().next();
        assert_eq!(stroke(&mut second, 1.15), Ok(()), "less than it may");
        let told = stroke(&mut first.next(), 1.6).unwrap_err().what;
        // Like angles are those of the same two degrees and of their neighbours.
        let at_deg: f64 = told
            .strip_prefix("stopped at ")
            .and_then(|t| t.split('°').next()?.parse().ok())
            .unwrap();
        assert!((10.0..12.0).contains(&at_deg), "{told}");
    }

    #[test]
    fn one_reading_alone_and_a_little_near_neutral_end_nothing() {
        let mut guard = Guard::new(0.25, None);
        stroke(&mut guard, 1.0).unwrap();
        let mut guard = guard.next();
        for effort in [9.0, 9.0, 3.0, 9.0, 9.0] {
            assert_eq!(guard.look(10.5, Channel::TorqueNcm, effort), Ok(()));
        }
        for _ in 0..10 {
            // Twice what it was, and a tenth of the most.
            assert_eq!(guard.look(1.0, Channel::TorqueNcm, 1.1), Ok(()));
        }
    }

    #[test]
    fn a_limit_holds_where_the_surface_has_never_been() {
        let mut guard = Guard::new(0.25, Some(5.0));
        let told = stroke(&mut guard, 1.0).unwrap_err().what;
        assert!(told.contains("above the limit of 5.00 N·cm"), "{told}");
        let mut free = Guard::new(0.25, None);
        assert_eq!(stroke(&mut free, 9.0), Ok(()), "nothing to compare with");
    }

    #[test]
    fn what_was_recorded_earlier_counts_as_the_batch_before() {
        let mut guard = Guard::new(0.25, None);
        guard.remember((-200..200).map(|t| (0.1 * f64::from(t), -0.03 * f64::from(t))));
        assert!(stroke(&mut guard, 1.6).is_err());
    }
}
