//! The computer: its clock, and the disk that the logbook lies on.

use jiff::{Timestamp, ToSpan};

use super::line::seconds;
use super::{Look, State};
use crate::aircraft::Aircraft;

/// No recording of this program is older; a computer that thinks it is earlier has lost its clock.
const EARLIEST: &str = "2025-01-01T00:00:00Z";
/// A disk with less room than this is called full, bytes.
const LEAST_BYTES: u64 = 50_000_000;
/// Room for so many hours of recording is wanted.
const HOURS: f64 = 8.0;
/// Bringing a little to the disk takes no longer, s: a recording is brought there ten times as often as this.
const SLOW_S: f64 = 1.0;

/// What the aircraft file holds, of which of its surfaces the angle was calibrated included.
pub fn aircraft_file(aircraft: &Aircraft) -> Look {
    let all = aircraft.surfaces.len();
    let calibrated = aircraft.surfaces.iter().filter(|s| s.angle.is_some());
    let calibrated = match calibrated.count() {
        0 => "the angle calibrated of none".to_owned(),
        n if n == all => "the angle calibrated of each".to_owned(),
        n => format!("the angle calibrated of {n}"),
    };
    let surfaces = if all == 1 { "surface" } else { "surfaces" };
    Look::good(
        "aircraft file",
        format!("{}, {all} {surfaces}, {calibrated}", aircraft.name),
    )
}

/// Another aircraft file was named besides the logbook's.
pub fn other_file(note: &str) -> Look {
    let todo = "leave --aircraft out: it is there to begin a logbook with";
    Look::with(State::Mind, "aircraft file", note, todo)
}

/// The computer's clock against when the program was made and the logbook's latest recording began.
pub fn clock(now: Timestamp, latest: Option<(Timestamp, &str)>) -> Look {
    let at = "computer's clock";
    let says = format!("{now:.0} (UTC)");
    let todo = "set the computer's clock (on Linux `timedatectl` shows it): seasons and repeats go by the time at which a recording began";
    if EARLIEST
        .parse()
        .is_ok_and(|earliest: Timestamp| now < earliest)
    {
        return Look::with(State::Fault, at, format!("{says}, which is past"), todo);
    }
    match latest {
        // A minute is what clocks may differ by.
        Some((began, id)) if began > now.saturating_add(1.minute()).unwrap_or(now) => Look::with(
            State::Fault,
            at,
            format!(
                "{says}, and recording {id} says that it began {began:.0}, which is yet to come"
            ),
            "set the clock if it is wrong; if it was wrong then, `hingewright note ID TEXT --kind began --date TIME` sets the recording right",
        ),
        Some((began, _)) => Look::good(
            at,
            format!("{says}; the logbook's latest recording began {began:.0}"),
        ),
        None => Look::good(at, says),
    }
}

/// Room on the disk, and how long bringing a little to it took. `per_s`: bytes a second that the rig sends.
pub fn disk(free_bytes: u64, wrote_s: f64, per_s: Option<f64>) -> Look {
    let at = "disk";
    let room = free_bytes as f64;
    let hours = per_s.filter(|b| *b > 0.0).map(|b| room / b / 3600.0);
    let says = format!(
        "{} free{}",
        if room < 1e10 {
            format!("{:.0} MB", room / 1e6)
        } else {
            format!("{:.0} GB", room / 1e9)
        },
        match hours {
            Some(hours) if hours < 1000.0 => format!(", {hours:.0} hours of this rig"),
            Some(_) => ", more than 1000 hours of this rig".into(),
            None => String::new(),
        }
    );
    let todo = "make room on the disk, or put the logbook on another one";
    if free_bytes < LEAST_BYTES {
        return Look::with(State::Fault, at, says, todo);
    }
    if hours.is_some_and(|h| h < HOURS) {
        return Look::with(State::Mind, at, says, todo);
    }
    if wrote_s > SLOW_S {
        return Look::with(
            State::Mind,
            at,
            format!("{says}; bringing a little to it took {}", seconds(wrote_s)),
            "let other programs finish, or put the logbook on a faster disk: a sweep that cannot be kept is stopped",
        );
    }
    Look::good(at, says)
}
