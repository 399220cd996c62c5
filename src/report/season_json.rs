//! `season --json`: one object, its shape its own (`hingewright.season/1`). Null where there is no number, never NaN.
//! No arithmetic of the trade.

use serde::Serialize;

use crate::analysis::Quantity;
use crate::history::season::{Chart, Crossing, Health, Kind, Per, Record, Subject, advice};

/// Name and version of the shape.
pub const SEASON: &str = "hingewright.season/1";

/// What stands beside the subjects: how the season came in.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Whence {
    pub aircraft: String,
    pub logbook: String,
    pub recordings: Recordings,
    /// What was worked around, in sentences.
    pub remarks: Vec<String>,
}

/// Recordings used and left out.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Recordings {
    pub used: usize,
    pub unfinished: usize,
    pub worked_in: usize,
    pub without_value: usize,
    pub without_time: usize,
    pub in_the_future: usize,
    pub of_other_aircraft: usize,
    pub unusable_results: usize,
}

/// The line, without a line end.
pub fn season(whence: &Whence, subjects: &[Subject]) -> String {
    let object = Season {
        schema: SEASON,
        whence,
        subjects: subjects.iter().map(OneSubject::of).collect(),
    };
    // String keys, no maps: nothing here can fail to be written.
    serde_json::to_string(&object).unwrap_or_default()
}

#[derive(Serialize)]
struct Season<'a> {
    schema: &'a str,
    #[serde(flatten)]
    whence: &'a Whence,
    subjects: Vec<OneSubject<'a>>,
}

#[derive(Serialize)]
struct OneSubject<'a> {
    kind: &'a str,
    name: &'a str,
    with: &'a [String],
    recordings: usize,
    level: &'a str,
    quantities: Vec<OneQuantity<'a>>,
}

impl<'a> OneSubject<'a> {
    fn of(subject: &'a Subject) -> Self {
        Self {
            kind: match subject.kind {
                Kind::Surface => "surface",
                Kind::Servo => "servo",
            },
            name: &subject.name,
            with: &subject.with,
            recordings: subject.recordings,
            level: subject.level().word(),
            quantities: subject.quantities.iter().map(OneQuantity::of).collect(),
        }
    }
}

#[derive(Serialize)]
struct OneQuantity<'a> {
    quantity: &'a str,
    level: &'a str,
    repeat: bool,
    count: usize,
    median: Option<f64>,
    latest: Q,
    latest_at: String,
    latest_id: &'a str,
    since: Option<Since<'a>>,
    in_baseline: usize,
    baseline: Option<f64>,
    sigma: Option<f64>,
    set_aside: usize,
    step: i8,
    chart: OneChart<'a>,
    trend: Option<OneTrend<'a>>,
    limit: Limit,
    crossing: OneCrossing<'a>,
    advice: Option<String>,
}

impl<'a> OneQuantity<'a> {
    fn of(record: &'a Record) -> Self {
        let health = &record.health;
        Self {
            quantity: record.measure.column(),
            level: health.level.word(),
            repeat: health.repeat,
            count: record.count,
            median: number(record.median),
            latest: Q::of(&record.latest),
            latest_at: record.latest_at.to_string(),
            latest_id: &record.latest_id,
            since: record.since.as_ref().map(|(at, what)| Since {
                at: at.to_string(),
                what,
            }),
            in_baseline: health.recordings,
            baseline: health.baseline.and_then(number),
            sigma: health.sigma.and_then(number),
            set_aside: health.set_aside.len(),
            step: health.step,
            chart: OneChart::of(health),
            trend: health.trend.map(|trend| OneTrend {
                per: per(trend.per),
                slope: number(trend.slope),
                lo95: trend.interval.and_then(|i| number(i.0)),
                hi95: trend.interval.and_then(|i| number(i.1)),
                p: trend.p.and_then(number),
            }),
            limit: Limit {
                lower: record.bounds.lower.and_then(number),
                upper: record.bounds.upper.and_then(number),
            },
            crossing: OneCrossing::of(&health.crossing),
            advice: advice(record.measure, health),
        }
    }
}

#[derive(Serialize)]
struct Since<'a> {
    at: String,
    what: &'a str,
}

#[derive(Serialize)]
struct Q {
    value: Option<f64>,
    u: Option<f64>,
    lo95: Option<f64>,
    hi95: Option<f64>,
}

impl Q {
    fn of(q: &Quantity) -> Self {
        let interval = q.interval;
        Self {
            value: number(q.value),
            u: interval.and_then(|i| number(i.u)),
            lo95: interval.and_then(|i| number(i.lo95)),
            hi95: interval.and_then(|i| number(i.hi95)),
        }
    }
}

#[derive(Serialize)]
struct OneChart<'a> {
    state: &'a str,
    average: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
}

impl OneChart<'_> {
    fn of(health: &Health) -> Self {
        let point = health.average;
        Self {
            state: match health.chart {
                Chart::TooFew(_) => "too-few",
                Chart::Within => "within",
                Chart::Below => "below",
                Chart::Above => "above",
            },
            average: point.and_then(|p| number(p.average)),
            lower: point.and_then(|p| number(p.lower)),
            upper: point.and_then(|p| number(p.upper)),
        }
    }
}

#[derive(Serialize)]
struct OneTrend<'a> {
    per: &'a str,
    slope: Option<f64>,
    lo95: Option<f64>,
    hi95: Option<f64>,
    p: Option<f64>,
}

#[derive(Serialize)]
struct Limit {
    lower: Option<f64>,
    upper: Option<f64>,
}

/// Counted from the latest recording, in days or in recordings.
#[derive(Serialize)]
struct OneCrossing<'a> {
    state: &'a str,
    counted_in: Option<&'a str>,
    soonest: Option<f64>,
    expected: Option<f64>,
    latest: Option<f64>,
}

impl OneCrossing<'_> {
    fn of(crossing: &Crossing) -> Self {
        let state = match crossing {
            Crossing::NoLimit => "no-limit",
            Crossing::NotForeseeable => "not-foreseeable",
            Crossing::Passed => "passed",
            Crossing::In { .. } => "foreseen",
        };
        let none = OneCrossing {
            state,
            counted_in: None,
            soonest: None,
            expected: None,
            latest: None,
        };
        match *crossing {
            Crossing::In {
                per,
                soonest,
                expected,
                latest,
            } => OneCrossing {
                counted_in: Some(match per {
                    Per::ThirtyDays => "days",
                    Per::Recording => "recordings",
                }),
                soonest: number(soonest),
                expected: number(expected),
                latest: latest.and_then(number),
                ..none
            },
            _ => none,
        }
    }
}

fn per(per: Per) -> &'static str {
    match per {
        Per::ThirtyDays => "30 days",
        Per::Recording => "recording",
    }
}

fn number(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}
