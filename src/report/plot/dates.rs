//! Round dates along an axis, in UTC, and what they are called. Nothing is drawn here.

use jiff::civil::{Date, date};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

const DAY: f64 = 86_400.0;
const HOUR: f64 = 3_600.0;
/// Steps that come out on round times of a day and on days, s; weeks and more are counted from the first of January.
const STEPS: [f64; 9] = [
    300.0,
    900.0,
    HOUR,
    3.0 * HOUR,
    6.0 * HOUR,
    12.0 * HOUR,
    DAY,
    2.0 * DAY,
    7.0 * DAY,
];
const MONTHS: [i32; 9] = [1, 2, 3, 6, 12, 24, 60, 120, 600];
const DAYS_OF_A_MONTH: f64 = 30.4;

/// So many days after a time; `None` where no calendar reaches.
pub fn after(start: Timestamp, days: f64) -> Option<Timestamp> {
    let seconds = days * DAY;
    (seconds.abs() < 1e12)
        .then(|| start.checked_add(SignedDuration::from_secs(seconds as i64)))?
        .ok()
}

pub fn days_between(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64() / DAY
}

/// As people write it where order matters: `2026-04-18`.
pub fn day(at: Timestamp) -> String {
    at.strftime("%Y-%m-%d").to_string()
}

/// At most about `most` round times within `range`, days after `start`, each with its label.
pub fn ticks(start: Timestamp, range: (f64, f64), most: usize) -> Vec<(f64, String)> {
    let rough = (range.1 - range.0) / most.max(1) as f64;
    let (Some(from), Some(to)) = (after(start, range.0), after(start, range.1)) else {
        return Vec::new();
    };
    let times = match STEPS.into_iter().find(|step| *step >= rough * DAY) {
        Some(step) => even(from, to, step),
        None => {
            let fits = |m: &i32| f64::from(*m) * DAYS_OF_A_MONTH >= rough;
            months(from, to, MONTHS.into_iter().find(fits).unwrap_or(600))
        }
    };
    let labelled = times.into_iter().map(|(at, label)| {
        let days = days_between(start, at);
        (days, label)
    });
    labelled.take(60).collect()
}

fn even(from: Timestamp, to: Timestamp, step: f64) -> Vec<(Timestamp, String)> {
    let (first, last) = (
        (from.as_second() as f64 / step).ceil() as i64,
        (to.as_second() as f64 / step).floor() as i64,
    );
    let times = (first..=last).filter_map(|i| Timestamp::from_second(i * step as i64).ok());
    let labelled = times.map(|at| {
        let midnight = at.as_second().rem_euclid(DAY as i64) == 0;
        let label = at.strftime(if midnight { "%-d %b" } else { "%H:%M" });
        (at, label.to_string())
    });
    labelled.take(60).collect()
}

fn months(from: Timestamp, to: Timestamp, step: i32) -> Vec<(Timestamp, String)> {
    let first: Date = TimeZone::UTC.to_datetime(from).date();
    let begin = i32::from(first.year()) * 12 + i32::from(first.month()) - 1;
    let begin = begin.div_euclid(step) * step;
    let times = (0..).map_while(|i| {
        let month = begin + i * step;
        let year = i16::try_from(month.div_euclid(12))
            .ok()
            .filter(|y| (1..9999).contains(y))?;
        let day = date(year, (month.rem_euclid(12) + 1) as i8, 1);
        let at = TimeZone::UTC.to_timestamp(day.at(0, 0, 0, 0)).ok()?;
        let label = if month.rem_euclid(12) == 0 {
            "%Y"
        } else {
            "%b"
        };
        (at <= to).then(|| (at, at.strftime(label).to_string()))
    });
    times.filter(|(at, _)| *at >= from).take(60).collect()
}

/// What the axis is called: the day, the year or the years that it is about.
pub fn title(start: Timestamp, range: (f64, f64)) -> String {
    let (Some(from), Some(to)) = (after(start, range.0), after(start, range.1)) else {
        return "time, UTC".into();
    };
    let (first, last) = (day(from), day(to));
    if range.1 - range.0 < 3.0 {
        return match first == last {
            true => format!("{first}, UTC"),
            false => format!("{first} to {last}, UTC"),
        };
    }
    match first[..4] == last[..4] {
        true => first[..4].to_owned(),
        false => format!("{} to {}", &first[..4], &last[..4]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn start() -> Timestamp {
        "2026-04-18T10:22:07Z".parse().unwrap()
    }

    fn labels(range: (f64, f64)) -> Vec<String> {
        let ticks = ticks(start(), range, 6);
        assert!(ticks.iter().all(|t| t.0 >= range.0 && t.0 <= range.1));
        ticks.into_iter().map(|t| t.1).collect()
    }

    #[test]
    fn dates_along_an_axis_are_round_whatever_its_length() {
        assert_eq!(
            labels((0.0, 0.2)),
            ["11:00", "12:00", "13:00", "14:00", "15:00"]
        );
        assert_eq!(
            labels((0.0, 3.0)),
            ["12:00", "19 Apr", "12:00", "20 Apr", "12:00", "21 Apr"]
        );
        assert_eq!(labels((0.0, 5.0))[..2], ["19 Apr", "20 Apr"]);
        assert_eq!(
            labels((0.0, 170.0)),
            ["May", "Jun", "Jul", "Aug", "Sep", "Oct"]
        );
        assert_eq!(labels((0.0, 700.0)), ["Jul", "2027", "Jul", "2028"]);
        assert!(labels((0.0, 1e6)).len() > 1);
        assert!(labels((0.0, 1e9)).is_empty() && labels((f64::NAN, 1.0)).is_empty());
    }

    #[test]
    fn an_axis_says_what_its_labels_leave_out() {
        assert_eq!(title(start(), (0.0, 0.2)), "2026-04-18, UTC");
        assert_eq!(title(start(), (0.0, 100.0)), "2026");
        assert_eq!(title(start(), (0.0, 400.0)), "2026 to 2027");
    }
}
