//! `season --json`: one object, its shape its own (`hingewright.season/1`); of a folder of logbooks one with such an object
//! of each (`hingewright.seasons/2`). Null where there is no number, never NaN.
//! No arithmetic of the trade.

use jiff::Timestamp;
use serde::Serialize;

use crate::analysis::Quantity;
use crate::history::season::{Chart, Crossing, Health, Kind, Per, Record, Subject, advice, groups};

/// Name and version of the shape.
pub const SEASON: &str = "hingewright.season/1";
pub const SEASONS: &str = "hingewright.seasons/2";

/// What stands beside the subjects: how the season came in.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Whence {
    pub aircraft: String,
    pub logbook: String,
    pub recordings: Recordings,
    /// IDs of those left out.
    pub left_out: LeftOut,
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
    pub copies: usize,
}

/// The IDs of recordings left out, by the reason.
#[derive(Debug, Clone, Default, Serialize)]
pub struct LeftOut {
    pub unfinished: Vec<String>,
    pub worked_in: Vec<String>,
    pub without_value: Vec<String>,
    pub without_time: Vec<String>,
    pub in_the_future: Vec<String>,
    pub of_other_aircraft: Vec<String>,
    pub copies: Vec<String>,
}

/// The line, without a line end.
pub fn season(whence: &Whence, subjects: &[Subject]) -> String {
    // String keys, no maps: nothing here can fail to be written.
    serde_json::to_string(&Season::of(whence, subjects)).unwrap_or_default()
}

/// The line of a folder of logbooks, in their order: each has the object that [`season`] gives of it.
pub fn club(folder: &str, logbooks: &[(&Whence, &[Subject])], remarks: &[String]) -> String {
    let object = Club {
        schema: SEASONS,
        folder,
        recordings: total(logbooks.iter().map(|(whence, _)| &whence.recordings)),
        logbooks: logbooks.iter().map(|(w, s)| Season::of(w, s)).collect(),
        remarks,
    };
    serde_json::to_string(&object).unwrap_or_default()
}

fn total<'a>(of: impl Iterator<Item = &'a Recordings>) -> Recordings {
    of.fold(Recordings::default(), |sum, one| Recordings {
        used: sum.used + one.used,
        unfinished: sum.unfinished + one.unfinished,
        worked_in: sum.worked_in + one.worked_in,
        without_value: sum.without_value + one.without_value,
        without_time: sum.without_time + one.without_time,
        in_the_future: sum.in_the_future + one.in_the_future,
        of_other_aircraft: sum.of_other_aircraft + one.of_other_aircraft,
        unusable_results: sum.unusable_results + one.unusable_results,
        copies: sum.copies + one.copies,
    })
}

#[derive(Serialize)]
struct Club<'a> {
    schema: &'a str,
    folder: &'a str,
    recordings: Recordings,
    logbooks: Vec<Season<'a>>,
    remarks: &'a [String],
}

impl<'a> Season<'a> {
    fn of(whence: &'a Whence, subjects: &'a [Subject]) -> Self {
        Self {
            schema: SEASON,
            whence,
            subjects: subjects
                .iter()
                .map(|s| OneSubject::of(s, &whence.logbook))
                .collect(),
        }
    }
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
    /// As the text has it: "early" and "repeat" where the level is "fine".
    said: &'a str,
    quantities: Vec<OneQuantity<'a>>,
}

impl<'a> OneSubject<'a> {
    fn of(subject: &'a Subject, logbook: &str) -> Self {
        Self {
            kind: match subject.kind {
                Kind::Surface => "surface",
                Kind::Servo => "servo",
            },
            name: &subject.name,
            with: &subject.with,
            recordings: subject.recordings,
            level: subject.level().word(),
            said: subject.said(),
            quantities: subject
                .quantities
                .iter()
                .map(|q| OneQuantity::of(q, logbook))
                .collect(),
        }
    }
}

#[derive(Serialize)]
struct OneQuantity<'a> {
    quantity: &'a str,
    level: &'a str,
    said: &'a str,
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
    fn of(record: &'a Record, logbook: &str) -> Self {
        let health = &record.health;
        Self {
            quantity: record.measure.column(),
            level: health.level.word(),
            said: record.said(),
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
                groups: groups(health.recordings - health.set_aside.len()),
                slope: number(trend.slope),
                lo95: trend.interval.and_then(|i| number(i.0)),
                hi95: trend.interval.and_then(|i| number(i.1)),
                p: trend.p.and_then(number),
            }),
            limit: Limit {
                lower: record.bounds.lower.and_then(number),
                upper: record.bounds.upper.and_then(number),
            },
            crossing: OneCrossing::of(&health.crossing, record.believed_at),
            advice: advice(record, logbook).map(|a| a.to_string()),
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
    groups: Option<usize>,
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

/// In days or in recordings, counted from the latest recording that is believed.
#[derive(Serialize)]
struct OneCrossing<'a> {
    state: &'a str,
    counted_in: Option<&'a str>,
    counted_from: Option<String>,
    soonest: Option<f64>,
    expected: Option<f64>,
    latest: Option<f64>,
}

impl OneCrossing<'_> {
    fn of(crossing: &Crossing, counted_from: Timestamp) -> Self {
        let state = match crossing {
            Crossing::NoLimit => "no-limit",
            Crossing::NotForeseeable => "not-foreseeable",
            Crossing::Passed => "passed",
            Crossing::In { .. } => "foreseen",
        };
        let none = OneCrossing {
            state,
            counted_in: None,
            counted_from: None,
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
                counted_from: Some(counted_from.to_string()),
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
