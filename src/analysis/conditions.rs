//! What a recording was made under, and how: needed to compare recordings with each other. Nothing is judged by it.

use super::Conditions;
use super::motion::Motion;
use super::series::Series;
use super::stats::robust;
use crate::recording::Channel;

/// A rest is this slow, °/s, and lasts this long at least, s.
const STILL_DEG_S: f64 = 1.0;
const REST_S: f64 = 0.4;
/// A servo that is given its first pulse has come to rest after this, s.
const TAKES_HOLD_S: f64 = 0.3;

pub(crate) fn of(series: &Series, motion: Option<&Motion>) -> Conditions {
    Conditions {
        air_c: mean(series, Channel::AirC),
        case_c: last(series, Channel::CaseC),
        supply_v: mean(series, Channel::SupplyV),
        speed_deg_s: motion.and_then(|m| {
            let speeds: Vec<f64> = m.usable().map(|(_, s)| s.speed_deg_s).collect();
            robust::median(&speeds)
        }),
        rest_deg: motion.and_then(|m| rest_deg(series, m)),
    }
}

fn mean(series: &Series, channel: Channel) -> Option<f64> {
    let readings = || series.column(channel).into_iter().flatten();
    let (sum, count) = readings()
        .filter(|v| !v.is_nan())
        .fold((0.0, 0_u32), |(sum, n), v| (sum + v, n + 1));
    (count > 0).then(|| sum / f64::from(count))
}

fn last(series: &Series, channel: Channel) -> Option<f64> {
    let column = series.column(channel)?;
    column.iter().rev().find(|v| !v.is_nan()).copied()
}

/// Where the surface rested before its first stroke, if it did: median reading, °. A driven surface rests where its servo
/// holds it, not where it lay before the servo had a pulse.
pub(crate) fn rest_deg(series: &Series, motion: &Motion) -> Option<f64> {
    let first = motion.strokes.first()?;
    let raw = series.column(Channel::AngleDeg)?;
    let begins = held_from(series, first.range.end);
    let still = |i: &usize| {
        let speed = motion.speed_deg_s[*i];
        speed.is_nan() || speed.abs() <= STILL_DEG_S
    };
    let resting: Vec<usize> = (begins..first.range.end).take_while(still).collect();
    let until_s = series.t_s[*resting.last()?];
    let rest: Vec<f64> = resting
        .iter()
        .map(|&i| raw[i])
        .filter(|a| !a.is_nan())
        .collect();
    robust::median(&rest).filter(|_| until_s - series.t_s[begins] >= REST_S)
}

/// The first sample at which a servo that was given no pulse at first has had one for long enough to hold the surface;
/// the first of all where it was never without.
fn held_from(series: &Series, before: usize) -> usize {
    let Some(pulse) = series.column(Channel::PulseUs) else {
        return 0;
    };
    match (0..before).find(|&i| !pulse[i].is_nan()) {
        Some(given) if given > 0 => (given..before)
            .find(|&i| series.t_s[i] - series.t_s[given] >= TAKES_HOLD_S)
            .unwrap_or(given),
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Recording, Segment};

    fn segment(case_c: Vec<f64>, supply_v: Vec<f64>) -> Segment {
        let t_s = (0..case_c.len()).map(|i| i as f64).collect();
        let mut columns: [Option<Vec<f64>>; crate::recording::CHANNELS] = Default::default();
        columns[Channel::CaseC as usize] = Some(case_c);
        columns[Channel::SupplyV as usize] = Some(supply_v);
        Segment::new(t_s, columns)
    }

    #[test]
    fn a_mean_leaves_out_missing_readings_and_the_case_is_as_warm_as_it_last_was() {
        let recording = Recording {
            segments: vec![
                segment(vec![21.0, 24.0], vec![7.0, f64::NAN]),
                segment(vec![26.0, f64::NAN], vec![8.0, 7.5]),
            ],
            ..Recording::default()
        };
        let found = of(&Series::new(&recording), None);
        assert_eq!(found.case_c, Some(26.0));
        assert_eq!(found.supply_v, Some(7.5));
        assert_eq!(found.air_c, None);
        assert_eq!(found.rest_deg, None);
    }
}
