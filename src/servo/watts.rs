//! What a servo draws while it holds still and while it works, less what its electronics take: the copper loss. Pure; no sentence.
//!
//! Held still nothing mechanical leaves the servo, so V·I less idle is what the winding turns into heat (the power balance of the
//! aircraft file's description with ω = 0).

use std::ops::Range;

use super::spells;
use crate::aircraft::Calibration;
use crate::analysis::stats::student;
use crate::analysis::{Interval, Quantity};
use crate::recording::{Channel, Recording, Segment};

/// A pulse that has not changed for so long: the servo has come to rest, s.
const RESTS_AFTER_S: f64 = 0.4;
/// Pulses this near to each other are the same, µs.
const SAME_US: f64 = 0.5;
/// Power is averaged over so long, s: long against the noise's memory and a cycle's length.
const BLOCK_S: f64 = 20.0;
/// Disarmed there is little time, and nothing happens, s.
const IDLE_BLOCK_S: f64 = 0.5;
/// A block that moves for this share of its time is work, not holding.
const WORKS_SHARE: f64 = 0.3;
/// A spell begins with feeling the way; where there is time enough that is left out.
const FEELING_S: f64 = 20.0;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IdleFrom {
    Calibration,
    /// The same recording before and after it was armed.
    Disarmed,
}

/// All in W.
#[derive(Debug, Clone, PartialEq)]
pub struct Watts {
    /// What the electronics take, and who says so; `None`: nobody does.
    pub idle: Option<(Quantity, IdleFrom)>,
    /// Drawn while it holds still.
    pub hold_w: Option<Quantity>,
    /// That less idle.
    pub copper_w: Option<Quantity>,
    /// Drawn on average while it goes to and fro, holds at the ends included.
    pub cycle_w: Option<Quantity>,
    /// Time in which it held still, s.
    pub held_s: f64,
}

/// `None` where current or voltage are not there, or the rig never armed.
pub fn measure(recording: &Recording, calibration: Option<&Calibration>) -> Option<Watts> {
    let all = spells(recording);
    if all.is_empty() {
        return None;
    }
    let (mut held, mut worked) = (Vec::new(), Vec::new());
    let mut held_s = 0.0;
    for spell in &all {
        let power = power_w(spell.segment)?;
        let t_s = &spell.segment.t_s;
        let still = stillness(t_s, spell.segment.column(Channel::PulseUs)?, &spell.samples);
        let span_s = t_s[spell.samples.end - 1] - t_s[spell.samples.start];
        let skip_s = if span_s > 3.0 * FEELING_S {
            FEELING_S
        } else {
            0.0
        };
        let from = spell.samples.start
            + spell
                .t_s()
                .partition_point(|t| *t < t_s[spell.samples.start] + skip_s);
        for run in runs(&still, from..spell.samples.end) {
            held_s += t_s[run.end - 1] - t_s[run.start];
            held.extend(blocks(t_s, run, BLOCK_S).filter_map(|b| mean(&power[b])));
        }
        for block in blocks(t_s, from..spell.samples.end, BLOCK_S) {
            let moving = still[block.clone()].iter().filter(|s| !**s).count();
            if moving as f64 > WORKS_SHARE * block.len() as f64 {
                worked.extend(mean(&power[block]));
            }
        }
    }
    let idle = idle(recording, calibration);
    let hold = mean_of(&held);
    Some(Watts {
        copper_w: hold
            .zip(idle)
            .map(|(hold, (idle, _))| less(&hold, &idle).quantity()),
        idle: idle.map(|(mean, from)| (mean.quantity(), from)),
        hold_w: hold.map(|m| m.quantity()),
        cycle_w: mean_of(&worked).map(|m| m.quantity()),
        held_s,
    })
}

/// An average, with what it is uncertain by.
#[derive(Debug, Clone, Copy)]
struct Mean {
    value: f64,
    u: f64,
    df: f64,
}

impl Mean {
    fn quantity(&self) -> Quantity {
        let interval: Option<Interval> = student::interval(self.value, self.u, self.df);
        Quantity {
            value: self.value,
            interval: interval.filter(|_| self.u > 0.0),
        }
    }
}

fn less(one: &Mean, other: &Mean) -> Mean {
    let (u, df) = student::combine(&[(one.u, one.df), (other.u, other.df)]);
    Mean {
        value: one.value - other.value,
        u,
        df,
    }
}

fn mean_of(values: &[f64]) -> Option<Mean> {
    let n = values.len() as f64;
    let value = mean(values)?;
    let squares: f64 = values.iter().map(|v| (v - value).powi(2)).sum();
    Some(match values.len() {
        // One block or two say nothing of how blocks scatter.
        0..=2 => Mean {
            value,
            u: f64::NAN,
            df: 0.0,
        },
        _ => Mean {
            value,
            u: (squares / (n * (n - 1.0))).sqrt(),
            df: n - 1.0,
        },
    })
}

/// Of those that are numbers.
fn mean(values: &[f64]) -> Option<f64> {
    let seen = values.iter().filter(|v| v.is_finite());
    let (sum, count) = seen.fold((0.0, 0_u32), |(s, n), v| (s + v, n + 1));
    (count > 0).then(|| sum / f64::from(count))
}

fn idle(recording: &Recording, calibration: Option<&Calibration>) -> Option<(Mean, IdleFrom)> {
    if let Some(known) = calibration {
        let mean = Mean {
            value: known.idle_w,
            u: known.covariance[0][0].max(0.0).sqrt(),
            df: f64::INFINITY,
        };
        return Some((mean, IdleFrom::Calibration));
    }
    let mut means = Vec::new();
    for segment in &recording.segments {
        let power = power_w(segment)?;
        let pulse = segment.column(Channel::PulseUs)?;
        let off: Vec<bool> = pulse.iter().map(|p| p.is_nan()).collect();
        for run in runs(&off, 0..segment.len()) {
            // What the filters still hold of the spell before, and lines that were lost, are not idle.
            let late = segment.t_s[run.start] + 2.0 * IDLE_BLOCK_S;
            let from = segment.t_s.partition_point(|t| *t < late);
            let run = from.min(run.end)..run.end;
            means.extend(blocks(&segment.t_s, run, IDLE_BLOCK_S).filter_map(|b| mean(&power[b])));
        }
    }
    mean_of(&means).map(|mean| (mean, IdleFrom::Disarmed))
}

/// Supply power, W, NaN where it is not known; `None` without current or voltage.
fn power_w(segment: &Segment) -> Option<Vec<f64>> {
    let volts = segment
        .column(Channel::SupplyV)
        .or_else(|| segment.column(Channel::SourceV))?;
    let current = segment.column(Channel::CurrentMa)?;
    Some(
        current
            .iter()
            .zip(volts)
            .map(|(ma, v)| 1e-3 * ma * v)
            .collect(),
    )
}

/// Whether the pulse has stood for [`RESTS_AFTER_S`], by sample of the segment; false outside the spell.
fn stillness(t_s: &[f64], pulse_us: &[f64], spell: &Range<usize>) -> Vec<bool> {
    let mut still = vec![false; t_s.len()];
    let (mut at_us, mut since_s) = (f64::NAN, f64::INFINITY);
    for i in spell.clone() {
        let same = (pulse_us[i] - at_us).abs() < SAME_US;
        if pulse_us[i].is_finite() && !same {
            (at_us, since_s) = (pulse_us[i], t_s[i]);
        }
        still[i] = t_s[i] - since_s > RESTS_AFTER_S;
    }
    still
}

/// Stretches in which a thing is so.
fn runs(so: &[bool], within: Range<usize>) -> Vec<Range<usize>> {
    let mut found: Vec<Range<usize>> = Vec::new();
    for i in within.filter(|i| so[*i]) {
        match found.last_mut() {
            Some(run) if run.end == i => run.end = i + 1,
            _ => found.push(i..i + 1),
        }
    }
    found
}

/// A stretch in pieces of equal time, none longer than `most_s`.
fn blocks(t_s: &[f64], run: Range<usize>, most_s: f64) -> impl Iterator<Item = Range<usize>> {
    let span_s = match run.is_empty() {
        true => 0.0,
        false => t_s[run.end - 1] - t_s[run.start],
    };
    let count = (span_s / most_s).ceil().clamp(1.0, 1e4) as usize;
    let (from, n) = (run.start, run.len());
    (0..count)
        .map(move |k| from + n * k / count..from + n * (k + 1) / count)
        .filter(|block| !block.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulated::{
        Channel as Sent, Loaded, OnArm, Programme, PulseMove, Scenario, Spell, simulate,
    };

    /// A weight on the arm, held for so long, the sum of several.
    fn recording(holds: &[f64], mass_kg: f64) -> Recording {
        let go = |to_us: f64, hold_s: f64| PulseMove {
            to_us,
            us_per_s: 300.0,
            hold_s,
        };
        let moves = holds
            .iter()
            .enumerate()
            .map(|(n, hold_s)| go(if n % 2 == 0 { 1600.0 } else { 1400.0 }, *hold_s))
            .collect();
        let scenario = Scenario {
            rate_hz: 50.0,
            channels: vec![
                Sent::PulseUs,
                Sent::AngleDeg,
                Sent::CurrentMa,
                Sent::SupplyV,
            ],
            programme: Programme::Spells(vec![Spell {
                loaded: Loaded {
                    on_arm: OnArm::Weight {
                        mass_kg,
                        arm_mm: 70.0,
                    },
                    hung_ncm: 0.0,
                },
                moves,
                waits_s: 5.0,
                ..Spell::default()
            }]),
            ..Scenario::default()
        };
        crate::recording::read(&simulate(&scenario, 3).capture[..], "watts").unwrap()
    }

    #[test]
    fn idle_is_told_by_the_disarmed_stretch_and_what_is_held_costs_copper() {
        let watts = measure(&recording(&[150.0], 1.2), None).unwrap();
        let (idle, from) = watts.idle.unwrap();
        assert_eq!(from, IdleFrom::Disarmed);
        // The plant's own electronics take 0.21 W.
        assert!((idle.value - 0.21).abs() < 0.01, "{idle:?}");
        let copper = watts.copper_w.unwrap();
        // By hand: 1.2 kg at 70 mm is 0.824 N·m, a = 8.4 W/(N·m)². Friction, 0.06 + 0.18·τ, holds that much of it while it sinks and
        // adds as much while it is lifted; the winding warms by some forty kelvin.
        let (least, most) = (8.4 * 0.615_f64.powi(2), 1.2 * 8.4 * 1.032_f64.powi(2));
        assert!(least < copper.value && copper.value < most, "{copper:?}");
        assert!(watts.cycle_w.is_none(), "it never worked: {watts:?}");
    }

    #[test]
    fn going_to_and_fro_is_told_apart_from_holding() {
        let watts = measure(&recording(&[0.3; 200], 0.3), None).unwrap();
        assert!(watts.cycle_w.unwrap().value > watts.idle.unwrap().0.value);
        assert!(watts.hold_w.is_none() || watts.held_s < 5.0, "{watts:?}");
    }

    #[test]
    fn without_a_voltage_there_is_no_power() {
        let scenario = Scenario {
            channels: vec![Sent::PulseUs, Sent::AngleDeg, Sent::CurrentMa],
            ..Scenario::default()
        };
        let capture = simulate(&scenario, 1).capture;
        let recording = crate::recording::read(&capture[..], "watts").unwrap();
        assert!(measure(&recording, None).is_none());
    }
}
