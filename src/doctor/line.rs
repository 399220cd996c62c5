//! The line and the clocks: how fast samples come, what is lost or damaged, and whether the rig's second is one.

use super::{Look, State};
use crate::units::{Unit, fixed, pair, significant};

/// A rate off its statement by more than this is told, as `rig ask` does.
const RATE_OFF: f64 = 0.05;
/// Fewer samples a second than this show little of a stroke (common practice, no source).
const LEAST_HZ: f64 = 50.0;
/// More lost or damaged than this spoils measuring; less is told (common practice, no source).
const GONE: f64 = 0.01;
/// A rig's clock further off than this makes speeds and times wrong by as much (common practice, no source).
const CLOCK_OFF: f64 = 0.01;

/// No crystal or ceramic resonator is further off than this; an oscillator inside a chip may be, up to that (common practice, no source).
const CRYSTAL_MOST: f64 = 0.02;
const OSCILLATOR_MOST: f64 = 0.15;

/// A sample's time by the rig's clock and by the computer's, s, each from a zero of its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrival {
    pub rig_s: f64,
    pub here_s: f64,
}

/// The rate stated against the rate by the rig's own clock.
pub fn rate(stated_hz: f64, measured_hz: f64) -> Look {
    let at = "rate";
    if !measured_hz.is_finite() {
        return Look::not_looked(at, "too few samples to tell");
    }
    let hz = |hz: f64| significant(hz, 4).unwrap_or_default();
    let says = format!(
        "{} samples/s by the rig's clock, {} stated",
        hz(measured_hz),
        hz(stated_hz)
    );
    if measured_hz < LEAST_HZ {
        return Look::with(
            State::Mind,
            at,
            says,
            "sample faster if the board can, 100 a second or more: a slow rig sees little of a stroke",
        );
    }
    if stated_hz > 0.0 && (measured_hz / stated_hz - 1.0).abs() > RATE_OFF {
        return Look::with(
            State::Mind,
            at,
            says,
            "put the true rate into the rig's RIG line; results go by its clock, and are not touched by this",
        );
    }
    Look::good(at, says)
}

/// What did not arrive.
pub fn line(samples: u64, lost: u64, damaged: u64) -> Look {
    let at = "line";
    let says = format!("{samples} samples, {lost} lost, {damaged} damaged lines");
    let all = samples + lost;
    let share = lost.max(damaged) as f64 / (all.max(1)) as f64;
    if lost + damaged == 0 {
        return Look::good(at, says);
    }
    let todo = "check plug, cable and ground, keep the cable away from the servo's leads, and try a lower baud rate on both sides";
    match share > GONE {
        true => Look::with(State::Fault, at, says, todo),
        false => Look::with(State::Mind, at, says, todo),
    }
}

/// The rig's clock against the computer's. Lines come late, never early: so the least delay early on is held against the least
/// delay late, and what delays vary by says how well that is known.
pub fn rig_clock(arrivals: &[Arrival]) -> Look {
    let at = "rig's clock";
    let Some((early, late)) = least_delays(arrivals) else {
        return Look::not_looked(at, "too few samples to tell");
    };
    // So much of the rig's time goes by in a second of the computer's.
    let span_s = late.here_s - early.here_s;
    let times = (late.rig_s - early.rig_s) / span_s;
    let mut delays: Vec<f64> = arrivals
        .iter()
        .map(|a| a.here_s - a.rig_s / times)
        .collect();
    delays.sort_by(f64::total_cmp);
    let unsure = 2.0 * times.abs() * (delays[delays.len() / 2] - delays[0]) / span_s;
    let fast = times - 1.0;
    if fast.is_finite() && fast.abs() > CLOCK_OFF + unsure {
        return Look::with(
            State::Fault,
            at,
            off_words(times, unsure),
            cause(fast.abs()),
        );
    }
    Look::good(
        at,
        format!(
            "within {} % of the computer's",
            significant(100.0 * (fast.abs() + unsure), 2).unwrap_or_default()
        ),
    )
}

/// `fast by 5.0 ± 0.3 % against the computer's`; beyond twice or half it is said in times.
fn off_words(times: f64, unsure: f64) -> String {
    let as_fast = |times, unsure, word| {
        let (times, unsure) = pair(times, unsure).unwrap_or_default();
        format!("runs {times} ± {unsure} times as {word} as the computer's")
    };
    if times >= 2.0 {
        return as_fast(times, unsure, "fast");
    }
    if times <= 0.5 && times > 0.0 {
        return as_fast(1.0 / times, unsure / times.powi(2), "slow");
    }
    let which = if times > 1.0 { "fast" } else { "slow" };
    let by = Unit::Share.plus_minus((times - 1.0).abs(), unsure);
    format!("{which} by {by} against the computer's")
}

/// What makes a clock wrong by so much, and what to do: a crystal or a resonator only where it can be one.
fn cause(off: f64) -> &'static str {
    if off <= CRYSTAL_MOST {
        "check the board's crystal or resonator, and that its timer loses no ticks: speeds and times are wrong by as much"
    } else if off <= OSCILLATOR_MOST {
        "see whether the board runs on its inner oscillator, which may be off by so much, and whether its timer is divided as the firmware \
         takes it to be: speeds and times are wrong by as much"
    } else {
        "see that T_US counts microseconds, that the timer is divided rightly, and that the firmware was built for the clock the board has; \
         a simulated rig runs so with --fast. Speeds and times are wrong by as much"
    }
}

/// The samples of least delay in the first and in the last quarter.
fn least_delays(arrivals: &[Arrival]) -> Option<(Arrival, Arrival)> {
    let quarter = arrivals.len() / 4;
    if quarter < 10 {
        return None;
    }
    let least = |part: &[Arrival]| {
        let delay = |a: &Arrival| a.here_s - a.rig_s;
        part.iter()
            .copied()
            .min_by(|a, b| delay(a).total_cmp(&delay(b)))
    };
    let early = least(&arrivals[..quarter])?;
    let late = least(&arrivals[arrivals.len() - quarter..])?;
    (late.here_s - early.here_s > 0.5).then_some((early, late))
}

/// Seconds to a tenth.
pub(super) fn seconds(s: f64) -> String {
    fixed(s, 1) + " s"
}
