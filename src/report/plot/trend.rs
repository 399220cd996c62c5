//! One quantity over time: recordings with their bars, the baseline in force, the trend, and the limits it has.
//! What is drawn was worked out by the season. Never in here: what counts as a trend or as too much.

use jiff::Timestamp;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::canvas::*;
use super::curve::ROW;
use super::dates;
use super::legend::Keys;
use super::marks::*;
use super::said::Said;
use super::trend_pen::{Pen, draw_key};
use super::trend_words::{crossing_words, trend_words};
use crate::analysis::Quantity;
use crate::history::season::{Crossing, Per, Record, Trend};
use crate::units::{TorqueUnit, Unit};

pub const RIGHT: f64 = 976.0;
const FRAME_HEIGHT: f64 = 480.0;
pub const Y_TICKS: usize = 7;
pub const X_TICKS: usize = 6;
/// A crossing is drawn for so many of the spans seen at most, and beyond that told in words alone.
const FURTHEST: f64 = 1.0;
/// A limit that would make the picture more than so many times as high as what was measured is told in words.
const HIGHEST: f64 = 4.0;
/// Recordings from which a trend is drawn.
const FEWEST_FOR_A_TREND: usize = 3;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    Before,
    InForce,
    SetAside,
}

pub struct Dot {
    pub days: f64,
    pub quantity: Quantity,
    pub part: Part,
}

#[derive(Clone, Copy)]
pub enum Key {
    InForce,
    Before,
    SetAside,
    /// With the limits of its chart.
    Charted,
    Baseline,
    Average,
    Trend,
    /// With its band.
    Banded,
    Limit,
    Crossing,
}

/// Everything in its place on a sheet as tall as it needs to be.
pub struct Sheet<'r> {
    pub record: &'r Record,
    pub unit: Unit,
    start: Option<Timestamp>,
    pub dots: Vec<Dot>,
    /// Days from the start to the end of the picture, and the values shown; `None` where there is nothing to draw.
    axes: Option<((f64, f64), (f64, f64))>,
    left: f64,
    keys: Keys<Key>,
}

impl<'r> Sheet<'r> {
    pub fn of(record: &'r Record, torque: TorqueUnit) -> Self {
        let unit = record.measure.unit(torque);
        let start = record.points.first().map(|p| p.at);
        let dots = dots(record, start);
        let axes = days_range(record, start, &dots).zip(value_range(record, unit, &dots));
        let left = left_edge(axes.iter().map(|a| a.1), Y_TICKS);
        let mut sheet = Self {
            record,
            unit,
            start,
            dots,
            axes,
            left,
            keys: Keys::of(Vec::new()),
        };
        sheet.keys = Keys::of(sheet.keys());
        sheet
    }

    fn frame(&self) -> Option<Frame> {
        let (x, y) = self.axes?;
        let top = 76.0 + if self.since(x).is_some() { ROW } else { 0.0 };
        Some(Frame {
            upper_left: (self.left, top),
            lower_right: (RIGHT, top + FRAME_HEIGHT),
            x,
            y,
        })
    }

    /// When the baseline in force began, in days, and why, where that is within the picture.
    pub fn since(&self, x: (f64, f64)) -> Option<(f64, &'r str)> {
        let (at, why) = self.record.since.as_ref()?;
        let days = dates::days_between(self.start?, *at);
        (x.0..=x.1).contains(&days).then_some((days, why))
    }

    pub fn believed(&self) -> impl Iterator<Item = &Dot> {
        self.dots.iter().filter(|d| d.part == Part::InForce)
    }

    /// The trend, where there are recordings enough to draw one through.
    pub fn trend(&self) -> Option<&'r Trend> {
        let enough = self.believed().count() >= FEWEST_FOR_A_TREND;
        self.record.health.trend.as_ref().filter(|_| enough)
    }

    /// What the legend's marks do not say.
    fn words(&self) -> Vec<String> {
        let mut words: Vec<String> = trend_words(self.trend(), self.unit).into_iter().collect();
        words.extend(crossing_words(self.record));
        let Some((_, y)) = self.axes else {
            return words;
        };
        words.extend(limits(self.record).filter_map(|(limit, _)| {
            let shown = limit * self.unit.factor();
            let where_to = match () {
                _ if shown > y.1 => "above",
                _ if shown < y.0 => "below",
                _ => return None,
            };
            Some(format!(
                "its limit, {}, lies {where_to} the picture",
                self.unit.given(limit)
            ))
        }));
        words
    }

    fn words_at(&self) -> f64 {
        let bottom = self.frame().map_or(0.0, |f| f.lower_right.1);
        bottom + 2.3 * ROW + 10.0
    }

    fn keys_at(&self) -> f64 {
        self.words_at() + self.words().len() as f64 * ROW + 8.0
    }

    pub fn size(&self) -> (f64, f64) {
        if self.axes.is_none() {
            return (1000.0, 220.0);
        }
        (1000.0, self.keys_at() + self.keys.height() + 20.0)
    }

    fn title(&self) -> String {
        let unit = match self.unit {
            Unit::Degree => "degrees".to_owned(),
            unit => unit.suffix().trim().to_owned(),
        };
        format!("{}, {unit}", self.record.measure.words())
    }

    /// What the picture shows, in words.
    pub fn said(&self) -> Said {
        let ends = self.record.points.first().zip(self.record.points.last());
        let mut seen = match ends {
            Some((first, last)) => format!(
                "{} recordings from {} to {}, the latest {}.",
                self.record.points.len(),
                dates::day(first.at),
                dates::day(last.at),
                self.unit.plain(last.quantity.value)
            ),
            None => "No reading to draw.".to_owned(),
        };
        if let Some((at, why)) = &self.record.since {
            seen += &format!(" A new baseline since {}: {why}.", dates::day(*at));
        }
        let words = self.words();
        if !words.is_empty() {
            seen += &format!(" Also: {}.", words.join("; "));
        }
        Said {
            title: format!("{} over time", self.title()),
            seen,
        }
    }

    pub fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Drawn<DB> {
        canvas.paper()?;
        let left = (HPos::Left, VPos::Top);
        canvas.text(&self.title(), (24.0, 18.0), LETTERS * 1.15, &INK, left)?;
        let (Some(frame), Some(start)) = (self.frame(), self.start) else {
            let middle = (HPos::Center, VPos::Center);
            return canvas.text("no reading to draw", (500.0, 140.0), LETTERS, &INK, middle);
        };
        let pen = Pen {
            canvas,
            frame,
            sheet: self,
            factor: self.unit.factor(),
        };
        pen.draw(start)?;
        let below = ((self.left + RIGHT) / 2.0, frame.lower_right.1 + 10.0 + ROW);
        let centre = (HPos::Center, VPos::Top);
        canvas.text(&dates::title(start, frame.x), below, LETTERS, &INK, centre)?;
        for (row, words) in self.words().iter().enumerate() {
            let at = (24.0, self.words_at() + row as f64 * ROW);
            let words = cut(words, LETTERS, RIGHT - 24.0);
            canvas.text(&words, at, LETTERS, &INK, left)?;
        }
        self.keys
            .draw(canvas, self.keys_at(), |key, at| draw_key(canvas, key, at))
    }

    fn keys(&self) -> Vec<(Key, String)> {
        let Some((_, y)) = self.axes else {
            return Vec::new();
        };
        let any = |part: Part| self.dots.iter().any(|d| d.part == part);
        let mut keys = Vec::new();
        let mut key = |there: bool, key: Key, words: &str| {
            if there {
                keys.push((key, words.to_owned()));
            }
        };
        let health = &self.record.health;
        let bars = self.dots.iter().any(|d| d.quantity.interval.is_some());
        let recording = if bars {
            "recording, 95 % bar"
        } else {
            "recording"
        };
        key(any(Part::InForce), Key::InForce, recording);
        key(
            any(Part::Before),
            Key::Before,
            "before the baseline in force",
        );
        key(any(Part::SetAside), Key::SetAside, "out of line, set aside");
        match (health.baseline, health.average) {
            (Some(_), Some(_)) => {
                key(true, Key::Charted, "baseline, its chart's limits");
                key(true, Key::Average, "running average");
            }
            (Some(_), None) => key(true, Key::Baseline, "baseline"),
            _ => {}
        }
        let trend = self.trend();
        let banded = trend.is_some_and(|t| t.interval.is_some()) && health.sigma.is_some();
        key(banded, Key::Banded, "trend, 95 % band");
        key(
            trend.is_some() && !banded,
            Key::Trend,
            "trend, without a band",
        );
        let within = |limit: f64| (y.0..=y.1).contains(&(limit * self.unit.factor()));
        let limit = limits(self.record).any(|(limit, _)| within(limit));
        key(limit, Key::Limit, "limit");
        let drawn = self.crossing().is_some_and(|(_, limit, _)| within(limit));
        key(drawn, Key::Crossing, "reaches it, 95 %");
        keys
    }

    /// When the limit is reached, in days from the start of the picture: soonest, expected, latest; the limit; and
    /// whether the picture reaches that far.
    pub fn crossing(&self) -> Option<([f64; 3], f64, bool)> {
        let (x, _) = self.axes?;
        let [soonest, expected, latest] = crossing_days(self.record)?;
        let last = self.believed().last()?.days;
        let limit = heading_for(self.record)?;
        let drawn = last + soonest <= x.1;
        drawn.then_some((
            [last + soonest, last + expected, last + latest],
            limit,
            last + expected <= x.1,
        ))
    }
}

fn dots(record: &Record, start: Option<Timestamp>) -> Vec<Dot> {
    let Some(start) = start else {
        return Vec::new();
    };
    let dots = record.points.iter().enumerate().map(|(i, point)| Dot {
        days: dates::days_between(start, point.at),
        quantity: point.quantity,
        part: match i.checked_sub(record.in_force_from) {
            None => Part::Before,
            Some(i) if record.health.set_aside.contains(&i) => Part::SetAside,
            Some(_) => Part::InForce,
        },
    });
    dots.filter(|dot| dot.quantity.value.is_finite()).collect()
}

/// Days after the latest recording that is believed; an open end is infinite. `None` where none is foreseen by the day.
pub fn crossing_days(record: &Record) -> Option<[f64; 3]> {
    match record.health.crossing {
        Crossing::In {
            per: Per::ThirtyDays,
            soonest,
            expected,
            latest,
        } => Some([soonest, expected, latest.unwrap_or(f64::INFINITY)]),
        _ => None,
    }
}

/// The limit that the trend goes towards.
fn heading_for(record: &Record) -> Option<f64> {
    match record.health.trend?.slope > 0.0 {
        true => record.bounds.upper,
        false => record.bounds.lower,
    }
}

/// The limits there are; `true`: the upper one.
pub fn limits(record: &Record) -> impl Iterator<Item = (f64, bool)> {
    let both = [(record.bounds.lower, false), (record.bounds.upper, true)];
    both.into_iter()
        .filter_map(|(limit, upper)| Some((limit.filter(|l| l.is_finite())?, upper)))
}

/// From the first recording to the latest, and on to where the limit is reached if that is near.
fn days_range(record: &Record, start: Option<Timestamp>, dots: &[Dot]) -> Option<(f64, f64)> {
    let since = record.since.as_ref().filter(|_| record.in_force_from > 0);
    let since = since
        .zip(start)
        .map(|((at, _), start)| dates::days_between(start, *at));
    let seen = range(dots.iter().map(|d| d.days).chain(since), 0.02, 0.0)?;
    let span = seen.1 - seen.0;
    let mut believed = dots.iter().filter(|d| d.part == Part::InForce);
    let onward = crossing_days(record)
        .zip(believed.next_back())
        .map(|(days, last)| {
            let [soonest, expected, latest] = days.map(|d| d.min(FURTHEST * span));
            last.days
                + if latest > expected {
                    latest
                } else {
                    expected.max(soonest)
                }
        });
    range([seen.0, seen.1].into_iter().chain(onward), 0.02, 0.03)
}

/// All that was measured, the baseline's limits, and the record's own where they are not far off.
fn value_range(record: &Record, unit: Unit, dots: &[Dot]) -> Option<(f64, f64)> {
    let factor = unit.factor();
    let bars = dots.iter().flat_map(|dot| reach(&dot.quantity, factor));
    let average = record.health.average;
    let chart = average
        .into_iter()
        .flat_map(|a| [a.lower, a.upper, a.average]);
    let baseline = chart.chain(record.health.baseline).map(|v| v * factor);
    let least = 6.0 * record.measure.resolution() * factor;
    let (lo, hi) = range(bars.chain(baseline), least, 0.0)?;
    let near = |limit: &f64| hi.max(*limit) - lo.min(*limit) <= HIGHEST * (hi - lo);
    let limits = limits(record).map(|(limit, _)| limit * factor).filter(near);
    range([lo, hi].into_iter().chain(limits), least, 0.1)
}
