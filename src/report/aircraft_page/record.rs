//! A season's record as a table, with its pictures; and a servo's, wherever it sat. Wording is `season_text`'s.

use serde::Serialize;

use super::Shown;
use crate::history::season::{
    BEFORE_IT_IS_RUN, FOR_A_BASELINE, FOR_A_CHART, Kind, Level, Measure, Record, Subject, Tell,
    advice,
};
use crate::report::book::{Chapter, Done, ServoRecord};
use crate::report::html::unbroken;
use crate::report::{plot, season_text};
use crate::units::TorqueUnit;

/// One quantity over its recordings.
#[derive(Serialize)]
pub struct RecordRow {
    level: &'static str,
    quantity: &'static str,
    latest: String,
    trend: String,
    chart: String,
    limit: String,
    at_its_limit: String,
    recordings: usize,
}

impl RecordRow {
    pub fn of(record: &Record, unit: TorqueUnit) -> Self {
        let shown = record.measure.unit(unit);
        let given = |bound: Option<f64>| bound.map(|b| shown.plain(b));
        let limit = match (given(record.bounds.lower), given(record.bounds.upper)) {
            (Some(lower), Some(upper)) => format!("{lower} to {upper}"),
            (None, Some(upper)) => upper,
            (Some(lower), None) => format!("not below {lower}"),
            (None, None) => "none".into(),
        };
        Self {
            level: record.said(),
            quantity: record.measure.words(),
            latest: unbroken(season_text::latest(record, unit)),
            trend: unbroken(season_text::trend(record, unit)),
            chart: season_text::chart(record),
            limit,
            at_its_limit: season_text::crossing(record),
            recordings: record.count,
        }
    }
}

/// What to look at.
#[derive(Serialize)]
struct AdviceOut {
    level: &'static str,
    quantity: &'static str,
    says: String,
}

/// The quantities of a subject that can be followed: those of two recordings or more.
#[derive(Serialize)]
pub struct RecordOut {
    recordings: usize,
    rows: Vec<RecordRow>,
    advice: Vec<AdviceOut>,
    /// What was done, if it was, and the command that tells the logbook.
    tell: Vec<(&'static str, String)>,
    before_it_is_run: &'static str,
    /// What began a new baseline, and of which quantities.
    baselines: Vec<(String, Vec<&'static str>)>,
    /// Over time.
    pictures: Vec<String>,
}

impl RecordOut {
    /// Of those quantities alone that are `wanted`.
    pub fn of(
        subject: &Subject,
        wanted: impl Fn(Measure) -> bool,
        pictures: bool,
        shown: Shown<'_>,
    ) -> Self {
        let unit = shown.unit;
        let followed: Vec<&Record> = subject
            .quantities
            .iter()
            .filter(|record| record.points.len() > 1 && wanted(record.measure))
            .collect();
        let rows = followed.iter().map(|record| RecordRow::of(record, unit));
        let drawn = followed.iter().filter(|_| pictures);
        let mut baselines: Vec<(String, Vec<&'static str>)> = Vec::new();
        for record in &followed {
            let Some((at, what)) = &record.since else {
                continue;
            };
            let since = format!("{}, {what}", at.strftime("%Y-%m-%d"));
            let word = record.measure.words();
            match baselines.iter_mut().find(|(known, _)| *known == since) {
                Some((_, words)) => words.push(word),
                None => baselines.push((since, vec![word])),
            }
        }
        let mut tell: Vec<Tell> = Vec::new();
        let mut advised: Vec<AdviceOut> = Vec::new();
        for record in &followed {
            let Some(advice) = advice(record, shown.logbook) else {
                continue;
            };
            advised.push(AdviceOut {
                level: record.said(),
                quantity: record.measure.words(),
                says: advice.says,
            });
            // Several quantities step by one piece of work.
            for one in advice.tell {
                if !tell.contains(&one) {
                    tell.push(one);
                }
            }
        }
        Self {
            recordings: subject.recordings,
            rows: rows.collect(),
            advice: advised,
            tell: tell.into_iter().map(|t| (t.what, t.command)).collect(),
            before_it_is_run: BEFORE_IT_IS_RUN,
            baselines,
            pictures: drawn.map(|record| plot::trend_svg(record, unit)).collect(),
        }
    }
}

/// What asks to be looked at.
pub fn asks(record: &Record) -> bool {
    record.health.level > Level::Fine || record.health.repeat
}

/// An entry of the notes in a line.
pub fn done_line(done: &Done, subject: &str) -> String {
    let of = match done.subject == subject {
        true => String::new(),
        false => format!("{}, ", done.subject),
    };
    let kind = match done.kind {
        "other" => "note".to_owned(),
        kind => kind.replace('-', " "),
    };
    format!(
        "{}: {of}{kind}: {}",
        done.at.strftime("%Y-%m-%d"),
        done.text
    )
}

/// One servo's record.
#[derive(Serialize)]
pub struct ServoOut {
    tag: String,
    /// What it is, where it sits and sat.
    says: String,
    done: Vec<String>,
    record: Option<RecordOut>,
    /// The surface that it alone is followed in, and its chapter, where that has the hinge's part of the record.
    sits: Option<String>,
    chapter: Option<usize>,
}

impl ServoOut {
    pub fn of(servo: &ServoRecord, surfaces: &[Chapter<'_>], shown: Shown<'_>) -> Self {
        let sat = servo.record.as_ref().map_or(&[][..], |r| &r.with);
        let mut parts: Vec<String> = vec![match &servo.model {
            Some(model) => model.clone(),
            None => "not in the aircraft file any more".into(),
        }];
        match &servo.surfaces[..] {
            [] => parts.push("sits in no surface now".into()),
            now => parts.push(format!("sits in {}", now.join(", "))),
        }
        let elsewhere = sat.iter().any(|s| !servo.surfaces.contains(s));
        if elsewhere {
            parts.push(format!("sat in {}", sat.join(", then ")));
        }
        let record = servo.record.as_ref().filter(|s| s.kind == Kind::Servo);
        let only = match sat {
            [only] => surfaces.iter().position(|c| c.surface.name == *only),
            _ => None,
        };
        let wanted =
            |m: Measure| only.is_none() || m.is_the_servos_own() || m == Measure::ShareOfStall;
        Self {
            tag: servo.tag.clone(),
            says: parts.join("; "),
            done: servo
                .done
                .iter()
                .map(|d| done_line(d, &servo.tag))
                .collect(),
            // What is followed in one place alone is drawn in that surface's chapter.
            record: record.map(|r| RecordOut::of(r, wanted, only.is_none(), shown)),
            sits: only.map(|i| surfaces[i].surface.name.clone()),
            chapter: only.map(|i| i + 1),
        }
    }
}

/// How the tables are to be read.
pub fn how_to_read() -> Vec<String> {
    vec![
        format!(
            "Each quantity is held to its own baseline: its first {FOR_A_BASELINE} recordings since something was done to it. The chart \
             takes {FOR_A_CHART} recordings at least; \"higher\" and \"lower\" are more than repeating shows."
        ),
        "Trend: Theil and Sen's slope with its 95 % interval; \"none to be seen\" where the interval has zero in it.".into(),
        "At its limit: the soonest and the latest day that the trend and its interval allow. A trend that goes on is an assumption."
            .into(),
        "act: look before the next flight. watch: look when you are at it. repeat: one reading out of line, to be repeated before it \
         is believed. fine: nothing to be seen."
            .into(),
    ]
}
