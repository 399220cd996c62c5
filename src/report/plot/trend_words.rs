//! What a picture of a trend says under its axis, and to those who listen.

use super::dates;
use crate::history::season::{Crossing, Per, Record, Trend};
use crate::units::Unit;

pub fn trend_words(trend: Option<&Trend>, unit: Unit) -> Option<String> {
    let trend = trend?;
    let per = match trend.per {
        Per::ThirtyDays => "in 30 days",
        Per::Recording => "a recording",
    };
    let (lo, hi) = trend.interval?;
    Some(match lo <= 0.0 && hi >= 0.0 {
        true => "trend: none to be seen".into(),
        false => format!("trend: {} {per}", unit.with_interval(trend.slope, lo, hi)),
    })
}

/// When the limit is reached, in words.
pub fn crossing_words(record: &Record) -> Option<String> {
    let latest_at = record.believed_at;
    match record.health.crossing {
        Crossing::Passed => Some("beyond its limit".into()),
        Crossing::In {
            per: Per::Recording,
            soonest,
            latest,
            ..
        } => Some(match latest {
            Some(latest) => format!(
                "reaches its limit in {:.0} to {:.0} recordings",
                soonest.ceil(),
                latest.ceil()
            ),
            None => format!(
                "reaches its limit in {:.0} recordings or later",
                soonest.ceil()
            ),
        }),
        Crossing::In {
            soonest, latest, ..
        } => {
            let day =
                |days: f64| dates::after(latest_at, days).map_or("far off".into(), dates::day);
            let soonest = day(soonest);
            Some(match latest {
                Some(latest) => format!("reaches its limit {soonest} to {}", day(latest)),
                None => format!("reaches its limit {soonest} or later"),
            })
        }
        Crossing::NoLimit | Crossing::NotForeseeable => None,
    }
}
