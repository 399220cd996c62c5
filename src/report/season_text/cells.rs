//! What a season's quantity says in a cell: latest, trend, chart, when it is at its limit. Rounds, and works out nothing else.

use jiff::{SignedDuration, Timestamp};

use crate::history::season::{Chart, Crossing, FOR_A_CHART, Per, Record};
use crate::history::theil_sen::FEWEST_FOR_AN_INTERVAL;
use crate::units::{TorqueUnit, significant};

/// Titles of columns, and the cells of a quantity below them.
pub type Layout = (
    &'static [&'static str],
    fn(&Record, TorqueUnit) -> Vec<String>,
);

/// What a row says, from the fullest to the shortest: the first that fits the terminal is taken, so that no cell is torn.
pub const LAYOUTS: [Layout; 5] = [
    (&["latest", "trend", "chart", "at its limit"], |r, unit| {
        vec![latest(r, unit), trend(r, unit), chart(r), crossing(r)]
    }),
    (
        &["latest", "in 30 days", "chart", "at its limit"],
        |r, unit| vec![latest(r, unit), slope(r, unit), chart(r), soonest(r)],
    ),
    (&["latest", "in 30 days", "at its limit"], |r, unit| {
        vec![latest(r, unit), slope(r, unit), soonest(r)]
    }),
    (&["latest", "in 30 days", "at its limit"], |r, unit| {
        vec![plain(r, unit), slope(r, unit), soonest(r)]
    }),
    (&["latest", "in 30 days"], |r, unit| {
        vec![plain(r, unit), slope(r, unit)]
    }),
];

pub fn latest(record: &Record, unit: TorqueUnit) -> String {
    let unit = record.measure.unit(unit);
    match record.latest.interval {
        Some(i) => unit.with_interval(record.latest.value, i.lo95, i.hi95),
        None => unit.plain(record.latest.value),
    }
}

pub fn trend(record: &Record, unit: TorqueUnit) -> String {
    let Some(trend) = record.health.trend else {
        return "too few".into();
    };
    let per = match trend.per {
        Per::ThirtyDays => "in 30 days",
        Per::Recording => "a recording",
    };
    let unit = record.measure.unit(unit);
    match trend.interval {
        Some((lo, hi)) if lo <= 0.0 && hi >= 0.0 => "none to be seen".into(),
        Some((lo, hi)) => format!("{} {per}", unit.with_interval(trend.slope, lo, hi)),
        // Equal values have no interval, however many they are.
        None if record.health.recordings >= FEWEST_FOR_AN_INTERVAL => "none to be seen".into(),
        None => "too few".into(),
    }
}

fn plain(record: &Record, unit: TorqueUnit) -> String {
    record.measure.unit(unit).plain(record.latest.value)
}

/// The trend in a few letters, in the unit of the quantity beside it, in thirty days unless it says otherwise.
fn slope(record: &Record, unit: TorqueUnit) -> String {
    let Some(trend) = record.health.trend else {
        return "too few".into();
    };
    let per = match trend.per {
        Per::ThirtyDays => "",
        Per::Recording => " a recording",
    };
    let slope = trend.slope * record.measure.unit(unit).factor();
    match (trend.interval, significant(slope, 2)) {
        (Some((lo, hi)), Some(number)) if lo > 0.0 || hi < 0.0 => {
            let sign = if slope > 0.0 { "+" } else { "" };
            format!("{sign}{number}{per}")
        }
        (None, _) if record.health.recordings < FEWEST_FOR_AN_INTERVAL => "too few".into(),
        _ => "none seen".into(),
    }
}

/// When it is at its limit, at the soonest.
fn soonest(record: &Record) -> String {
    match record.health.crossing {
        Crossing::NoLimit => "no limit".into(),
        Crossing::NotForeseeable => "not foreseen".into(),
        Crossing::Passed => "beyond it".into(),
        Crossing::In {
            per: Per::Recording,
            soonest,
            ..
        } => format!("in {:.0} recordings", soonest.ceil()),
        Crossing::In { soonest, .. } => format!("from {}", date(record.believed_at, soonest)),
    }
}

pub fn chart(record: &Record) -> String {
    match record.health.chart {
        Chart::TooFew(have) => format!("{have} of {FOR_A_CHART} needed"),
        Chart::Within => "as it was".into(),
        Chart::Below => "lower".into(),
        Chart::Above => "higher".into(),
    }
}

pub fn crossing(record: &Record) -> String {
    match record.health.crossing {
        Crossing::NoLimit => "no limit".into(),
        Crossing::NotForeseeable => "not foreseeable".into(),
        Crossing::Passed => "beyond it".into(),
        Crossing::In {
            per: Per::Recording,
            soonest,
            latest,
            ..
        } => match latest {
            Some(latest) => format!(
                "in {:.0} to {:.0} recordings",
                soonest.ceil(),
                latest.ceil()
            ),
            None => format!("in {:.0} recordings or later", soonest.ceil()),
        },
        Crossing::In {
            soonest, latest, ..
        } => {
            let from = date(record.believed_at, soonest);
            match latest {
                Some(latest) => format!("{from} to {}", date(record.believed_at, latest)),
                None => format!("{from} or later"),
            }
        }
    }
}

fn date(from: Timestamp, days: f64) -> String {
    let day = from.checked_add(SignedDuration::from_secs((days * 86_400.0) as i64));
    day.map_or("far off".into(), |day| day.strftime("%Y-%m-%d").to_string())
}
