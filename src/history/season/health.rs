//! One series against its own baseline: what is out of line, whether it moved, where it is going, and how urgent that is.
//! Pure numbers with a side that is worse; no name of a surface, no sentence.

use super::Worse;
use super::forecast::{self, Crossing, Trend};
use crate::analysis::Quantity;
use crate::analysis::stats::robust::{median, median_in_place};
use crate::history::ewma;

/// Recordings that make the baseline, and those that must be there before it is charted against. Own choice.
pub const FOR_A_BASELINE: usize = 5;
pub const FOR_A_CHART: usize = FOR_A_BASELINE + 1;

/// The chart's memory and limits (e-Handbook 6.3.2.4: λ 0.2 to 0.3, three standard deviations).
const LAMBDA: f64 = 0.25;
const CHART_WIDTH: f64 = 3.0;
/// So many standard deviations from its neighbours a reading is out of line.
const OUT_OF_LINE: f64 = 4.0;
/// As many readings make the neighbours' level.
const NEIGHBOURS: usize = 5;
/// Trend and crossing that call for action: one chance in a hundred, within so many days or recordings. Own choice.
const TREND_TO_ACT_ON: f64 = 0.01;
const SOON_DAYS: f64 = 60.0;
const SOON_RECORDINGS: f64 = 10.0;

/// A reading of a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Days since the series began.
    pub days: f64,
    pub quantity: Quantity,
}

/// The limits of a series; either may be missing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Bounds {
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// How urgent it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    Fine,
    Watch,
    Act,
}

impl Level {
    /// As JSON has it.
    pub fn word(self) -> &'static str {
        match self {
            Level::Fine => "fine",
            Level::Watch => "watch",
            Level::Act => "act",
        }
    }
}

/// What the chart against the baseline says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Chart {
    /// So many recordings are there, of [`FOR_A_CHART`].
    TooFew(usize),
    Within,
    Below,
    Above,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Health {
    /// Recordings since the baseline began.
    pub recordings: usize,
    /// Mean of the first recordings, once there are enough.
    pub baseline: Option<f64>,
    /// Standard deviation of one recording; `None` of too few to tell.
    pub sigma: Option<f64>,
    pub chart: Chart,
    /// The chart's average after the latest recording, and its limits then.
    pub average: Option<ewma::Point>,
    pub trend: Option<Trend>,
    pub crossing: Crossing,
    /// Positions in the series of readings out of line that no second one bore out: not believed.
    pub set_aside: Vec<usize>,
    /// The latest reading is out of line and stands alone: repeat it.
    pub repeat: bool,
    /// Two in a row moved away from the baseline and it has stayed there: −1 lower, +1 higher, 0 no such step.
    pub step: i8,
    /// Position in the series of the first reading of that step.
    pub stepped_at: Option<usize>,
    /// After such a step the latest reading is within the baseline's scatter again.
    pub back: bool,
    pub level: Level,
}

impl Health {
    /// Greater is more urgent: the level first, then a reading to be repeated, then the nearest crossing.
    pub(super) fn urgency(&self) -> (Level, bool, i64) {
        let near = match self.crossing {
            Crossing::Passed => i64::MAX,
            Crossing::In { expected, .. } => 1_000_000 - expected as i64,
            Crossing::NoLimit | Crossing::NotForeseeable => i64::from(self.step != 0),
        };
        (self.level, self.repeat, near)
    }
}

/// The health of a series in the order of time. `resolution` is the smallest scatter that is believed. `None` of nothing.
pub fn health(points: &[Point], worse: Worse, bounds: Bounds, resolution: f64) -> Option<Health> {
    health_after(None, points, worse, bounds, resolution)
}

/// [`health`] of a series that something was done before: `previous` is the last reading before that, for a limit holds
/// across it.
pub(super) fn health_after(
    previous: Option<Quantity>,
    points: &[Point],
    worse: Worse,
    bounds: Bounds,
    resolution: f64,
) -> Option<Health> {
    points.last()?;
    let sigma = sigma(points, resolution);
    let sorted = sort_out(points, sigma);
    let kept: Vec<Point> = sorted.kept.iter().map(|&i| points[i]).collect();
    let values: Vec<f64> = kept.iter().map(|p| p.quantity.value).collect();
    let baseline = (kept.len() >= FOR_A_BASELINE)
        .then(|| values[..FOR_A_BASELINE].iter().sum::<f64>() / FOR_A_BASELINE as f64);
    let (chart, average) = charted(&values, baseline, sigma);
    let trend = forecast::trend(&kept);
    let beyond = beyond(previous, &kept, bounds);
    let crossing = match (&trend, sigma) {
        _ if bounds == Bounds::default() => Crossing::NoLimit,
        _ if beyond == Beyond::Sure => Crossing::Passed,
        (Some(trend), Some(sigma)) => forecast::crossing(&kept, trend, bounds, sigma),
        _ => Crossing::NotForeseeable,
    };
    let step = sorted.step(&values, baseline, sigma);
    let stepped_at = sorted
        .step_at
        .filter(|_| step != 0)
        .map(|at| sorted.kept[at]);
    let back = step != 0
        && sorted.pending
        && points
            .last()
            .zip(baseline.zip(sigma))
            .is_some_and(|(last, (baseline, sigma))| {
                (last.quantity.value - baseline).abs() <= OUT_OF_LINE * sigma
            });
    let mut health = Health {
        recordings: points.len(),
        baseline,
        sigma,
        chart,
        average,
        trend,
        crossing,
        repeat: sorted.pending,
        set_aside: sorted.set_aside,
        step,
        stepped_at,
        back,
        level: Level::Fine,
    };
    health.level = level(&health, worse, beyond);
    Some(health)
}

/// One recording's standard deviation: what its own interval says, or what recordings next to each other differ by if that
/// is more (a surface taken off the rig and put back is not within the interval of one sweep).
fn sigma(points: &[Point], resolution: f64) -> Option<f64> {
    let mut own: Vec<f64> = points
        .iter()
        .filter_map(|p| p.quantity.interval.map(|i| i.u))
        .collect();
    let own = match 2 * own.len() >= points.len() {
        true => median_in_place(&mut own),
        false => None,
    };
    let mut steps: Vec<f64> = points
        .windows(2)
        .map(|w| (w[1].quantity.value - w[0].quantity.value).abs())
        .collect();
    // The median of |N(0, 2σ²)| is 0.9539 σ; few differences scatter, so that it is taken wider.
    let from_steps = (steps.len() >= FOR_A_BASELINE)
        .then(|| median_in_place(&mut steps).map(|m| m / 0.9539))
        .flatten();
    let from_steps = match own {
        Some(_) => from_steps,
        None => from_steps.map(|s| s * (1.0 + 3.0 / steps.len() as f64)),
    };
    let greater = own.into_iter().chain(from_steps).reduce(f64::max)?;
    Some(greater.max(resolution))
}

/// Readings that are believed, and those that are not.
#[derive(Default)]
struct Sorted {
    kept: Vec<usize>,
    set_aside: Vec<usize>,
    /// The latest is out of line and not borne out yet.
    pending: bool,
    /// Where the latest step's first reading stands among those kept.
    step_at: Option<usize>,
}

/// One reading out of line with those before it is set aside; two in a row on one side are a step, and both are kept.
fn sort_out(points: &[Point], sigma: Option<f64>) -> Sorted {
    let Some(sigma) = sigma else {
        return Sorted {
            kept: (0..points.len()).collect(),
            ..Sorted::default()
        };
    };
    let value = |i: usize| points[i].quantity.value;
    let mut sorted = Sorted::default();
    let mut pending: Option<(usize, f64)> = None;
    let mut neighbours = Vec::with_capacity(NEIGHBOURS);
    for i in 0..points.len() {
        neighbours.clear();
        match i < NEIGHBOURS {
            true => neighbours.extend((0..points.len().min(NEIGHBOURS)).map(value)),
            false => {
                let from = sorted.step_at.unwrap_or(0);
                let from = from.max(sorted.kept.len().saturating_sub(NEIGHBOURS));
                neighbours.extend(sorted.kept[from..].iter().map(|&i| value(i)));
            }
        }
        let Some(usual) = median_in_place(&mut neighbours) else {
            sorted.kept.push(i);
            continue;
        };
        let off = value(i) - usual;
        let scatter = sigma * (1.0 + 1.57 / neighbours.len() as f64).sqrt();
        if off.abs() <= OUT_OF_LINE * scatter {
            sorted.set_aside.extend(pending.take().map(|(i, _)| i));
            sorted.kept.push(i);
            continue;
        }
        match pending.take() {
            Some((first, side)) if side == off.signum() => {
                sorted.step_at = Some(sorted.kept.len());
                sorted.kept.extend([first, i]);
            }
            other => {
                sorted.set_aside.extend(other.map(|(i, _)| i));
                pending = Some((i, off.signum()));
            }
        }
    }
    sorted.pending = pending.is_some();
    sorted.set_aside.extend(pending.map(|(i, _)| i));
    sorted
}

impl Sorted {
    /// Whether the level since the latest step is off the baseline still.
    fn step(&self, kept: &[f64], baseline: Option<f64>, sigma: Option<f64>) -> i8 {
        let (Some(at), Some(baseline), Some(sigma)) = (self.step_at, baseline, sigma) else {
            return 0;
        };
        let since = &kept[at.max(kept.len().saturating_sub(NEIGHBOURS))..];
        let off = median(since).unwrap_or(baseline) - baseline;
        let scatter = sigma * (1.57 / since.len() as f64 + 1.0 / FOR_A_BASELINE as f64).sqrt();
        match off.abs() > OUT_OF_LINE * scatter {
            true => off.signum() as i8,
            false => 0,
        }
    }
}

fn charted(
    kept: &[f64],
    baseline: Option<f64>,
    sigma: Option<f64>,
) -> (Chart, Option<ewma::Point>) {
    let (Some(centre), Some(sigma), true) = (baseline, sigma, kept.len() >= FOR_A_CHART) else {
        return (Chart::TooFew(kept.len()), None);
    };
    let chart = ewma::Chart {
        centre,
        sigma,
        centre_from: Some(FOR_A_BASELINE),
        lambda: LAMBDA,
        width: CHART_WIDTH,
    };
    let last = chart.over(&kept[FOR_A_BASELINE..]).pop();
    let state = match last.map_or(0, |p| p.side()) {
        1 => Chart::Above,
        -1 => Chart::Below,
        _ => Chart::Within,
    };
    (state, last)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Beyond {
    Not,
    /// The latest value is, but it stands alone or its interval reaches back.
    Perhaps,
    /// The latest two are, intervals and all.
    Sure,
}

fn beyond(previous: Option<Quantity>, kept: &[Point], bounds: Bounds) -> Beyond {
    let over = |q: &Quantity, sure: bool| {
        let (lo, hi) = match q.interval.filter(|_| sure) {
            Some(interval) => (interval.lo95, interval.hi95),
            None => (q.value, q.value),
        };
        bounds.upper.is_some_and(|limit| lo > limit) || bounds.lower.is_some_and(|limit| hi < limit)
    };
    let [.., last] = kept else {
        return Beyond::Not;
    };
    let before = match kept {
        [.., before, _] => Some(before.quantity),
        _ => previous,
    };
    if before.is_some_and(|q| over(&q, true)) && over(&last.quantity, true) {
        Beyond::Sure
    } else if over(&last.quantity, false) {
        Beyond::Perhaps
    } else {
        Beyond::Not
    }
}

fn level(health: &Health, worse: Worse, beyond: Beyond) -> Level {
    let bad = |side: i8| side > 0 || side < 0 && worse == Worse::Either;
    let chart = match health.chart {
        Chart::Above => 1,
        Chart::Below => -1,
        Chart::Within | Chart::TooFew(_) => 0,
    };
    let side = |p: f64| health.trend.as_ref().and_then(|t| t.side(p));
    let soon = match health.crossing {
        Crossing::In { per, expected, .. } => match per {
            forecast::Per::ThirtyDays => expected <= SOON_DAYS,
            forecast::Per::Recording => expected <= SOON_RECORDINGS,
        },
        _ => false,
    };
    let going = side(TREND_TO_ACT_ON).is_some_and(|s| s * f64::from(chart) > 0.0);
    if beyond == Beyond::Sure || bad(health.step) || bad(chart) && going && soon {
        Level::Act
    } else if beyond == Beyond::Perhaps
        || health.step != 0
        || chart != 0
        || soon
        || side(TREND_TO_ACT_ON).is_some_and(|s| bad(s as i8))
    {
        Level::Watch
    } else {
        Level::Fine
    }
}
