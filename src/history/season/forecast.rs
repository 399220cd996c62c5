//! Where a series is going, and when it will be at a limit. Knows of no level and of no surface.

use super::{Bounds, Point};
use crate::analysis::stats::robust::median;
use crate::history::mann_kendall::mann_kendall;
use crate::history::theil_sen::theil_sen;

/// Recordings of fewer days than this are counted, not dated: a day's work at the bench says nothing of a month.
const FEWEST_DAYS: f64 = 7.0;
/// No forecast beyond so many times the span seen, nor beyond two years. Own choice.
const FURTHEST: f64 = 5.0;
const FURTHEST_DAYS: f64 = 730.0;
/// A trend of greater probability by chance carries no forecast.
pub(super) const TREND: f64 = 0.05;

/// What a slope is per.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Per {
    ThirtyDays,
    Recording,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    pub per: Per,
    /// In the quantity's unit per [`Trend::per`].
    pub slope: f64,
    /// Ends of the slope's 95 % interval; `None` where there are too few recordings.
    pub interval: Option<(f64, f64)>,
    /// The line at the latest recording that is believed, and there for either end of the slope's interval.
    pub level: f64,
    pub level_of_ends: Option<(f64, f64)>,
    /// Recordings that it is of.
    pub count: usize,
    /// Probability of so steady a rise or fall by chance alone (Mann–Kendall, two-sided).
    pub p: Option<f64>,
}

impl Trend {
    /// The line's value `after` the latest recording that is believed, in [`Trend::per`]; negative: before it.
    pub fn at(&self, after: f64) -> f64 {
        self.level + self.slope * after
    }

    /// Between what the line lies there, by the slope's interval and the level's: what a crossing's interval is read from.
    /// `sigma` is one recording's standard deviation.
    pub fn band_at(&self, after: f64, sigma: f64) -> Option<(f64, f64)> {
        let ((lo, hi), (at_lo, at_hi)) = (self.interval?, self.level_of_ends?);
        let (one, other) = (at_lo + lo * after, at_hi + hi * after);
        let unsure = self.unsure(sigma);
        Some((one.min(other) - unsure, one.max(other) + unsure))
    }

    /// The level, too, is known only so well: 1.25 is the median's scatter over the mean's.
    fn unsure(&self, sigma: f64) -> f64 {
        1.96 * 1.25 * sigma / (self.count as f64).sqrt()
    }

    /// The slope's sign, where chance is no explanation of it at this probability.
    pub(super) fn side(&self, p: f64) -> Option<f64> {
        let (lo, hi) = self.interval?;
        let sure = self.p? < p && (lo > 0.0 || hi < 0.0);
        sure.then(|| self.slope.signum())
    }
}

/// When the trend will be at its limit, counted from the latest recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Crossing {
    /// The aircraft file has no limit for this.
    NoLimit,
    /// No trend that is more than chance, none towards the limit, or too far off to tell.
    NotForeseeable,
    /// The level is beyond it already.
    Passed,
    /// In so many days or recordings (see `per`), at the soonest and, where that can be said, at the latest.
    In {
        per: Per,
        soonest: f64,
        expected: f64,
        latest: Option<f64>,
    },
}

/// The trend of points in the order of time; `None` of fewer than three.
pub(super) fn trend(points: &[Point]) -> Option<Trend> {
    if points.len() < 3 {
        return None;
    }
    let (per, x, y) = axes(points);
    let line = theil_sen(&x, &y, 0.95)?;
    let level = |slope: f64| level(&x, &y, slope);
    Some(Trend {
        per,
        slope: line.slope,
        interval: line.interval,
        level: level(line.slope),
        level_of_ends: line.interval.map(|(lo, hi)| (level(lo), level(hi))),
        count: points.len(),
        p: mann_kendall(&y).map(|test| test.p),
    })
}

/// x in thirty days, or in recordings.
fn axes(points: &[Point]) -> (Per, Vec<f64>, Vec<f64>) {
    let y = points.iter().map(|p| p.quantity.value).collect();
    let days = span_days(points);
    if days < FEWEST_DAYS {
        let x = (0..points.len()).map(|i| i as f64).collect();
        return (Per::Recording, x, y);
    }
    let x = points.iter().map(|p| p.days / 30.0).collect();
    (Per::ThirtyDays, x, y)
}

fn span_days(points: &[Point]) -> f64 {
    points.last().map_or(0.0, |p| p.days) - points.first().map_or(0.0, |p| p.days)
}

/// The level at the last x, of a line with this slope.
fn level(x: &[f64], y: &[f64], slope: f64) -> f64 {
    let rests: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
    median(&rests).unwrap_or(0.0) + slope * x.last().unwrap_or(&0.0)
}

/// When the trend crosses the limit that it is heading for. `sigma` is one recording's standard deviation.
pub(super) fn crossing(points: &[Point], trend: &Trend, bounds: Bounds, sigma: f64) -> Crossing {
    let Some(side) = trend.side(TREND) else {
        return Crossing::NotForeseeable;
    };
    let limit = match side > 0.0 {
        true => bounds.upper,
        false => bounds.lower,
    };
    let (Some(limit), Some(slopes), Some(levels)) = (limit, trend.interval, trend.level_of_ends)
    else {
        return Crossing::NotForeseeable;
    };
    let (per, x, _) = axes(points);
    let last = x[x.len() - 1];
    let unsure = trend.unsure(sigma);
    let at = |(slope, level): (f64, f64), nearer: f64| (limit - level - nearer * side) / slope;
    let scale = match per {
        Per::ThirtyDays => 30.0,
        Per::Recording => 1.0,
    };
    let (low, high) = ((slopes.0, levels.0), (slopes.1, levels.1));
    let (steep, flat) = if side > 0.0 { (high, low) } else { (low, high) };
    let expected = at((trend.slope, trend.level), 0.0) * scale;
    let span = (last - x[0]) * scale;
    let furthest = match per {
        Per::ThirtyDays => (FURTHEST * span).min(FURTHEST_DAYS),
        Per::Recording => FURTHEST * span,
    };
    if expected > furthest {
        return Crossing::NotForeseeable;
    }
    let latest = at(flat, -unsure) * scale;
    Crossing::In {
        per,
        soonest: (at(steep, unsure) * scale).max(0.0).min(expected.max(0.0)),
        expected: expected.max(0.0),
        latest: (latest.is_finite() && latest <= 2.0 * furthest).then_some(latest.max(0.0)),
    }
}
