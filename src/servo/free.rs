//! A servo that turns with nothing on its arm: what its own friction takes. Pure.
//!
//! The power balance of the aircraft file's description with no load: V·I − idle = a·x² + ω·x, and x is friction alone. Idle is
//! what the same recording draws standing still, for free of any load a servo that stands needs no more; the winding loss a is the
//! calibration's. A stroke is one reading.

use std::ops::Range;

use super::{Armed, spells};
use crate::aircraft::Calibration;
use crate::analysis::stats::regression::weighted_least_squares;
use crate::analysis::stats::student;
use crate::analysis::{Interval, Quantity};
use crate::recording::{Channel, Recording};

/// After the pulse has begun to move, s: speed is steady from there on.
const STEADY_AFTER_S: f64 = 0.35;
/// And it must go on for so long, s.
const SHORTEST_S: f64 = 0.25;
/// A pulse that stands for so long: the servo rests, s.
const RESTS_AFTER_S: f64 = 0.3;
/// Slower than this at the arm, °/s, a servo goes in steps of its dead band, and its power is that of the steps.
const SLOWEST_DEG_S: f64 = 8.0;
const SAME_US: f64 = 0.25;
const FEWEST: usize = 3;

/// A servo by itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Free {
    pub strokes: usize,
    /// Of the arm, typical, °/s.
    pub speed_deg_s: f64,
    /// Drawn while it turns less while it stands, W.
    pub turning_w: Quantity,
    /// N·m at the arm; `None` without a calibration's winding loss.
    pub friction: Option<Friction>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Friction {
    pub now_nm: Quantity,
    /// As the calibration has it.
    pub calibrated_nm: Quantity,
    /// Now less then, what both share counted once.
    pub change_nm: Quantity,
    /// Standard uncertainty of the friction now by the scatter of the strokes, N·m, and its degrees of freedom.
    pub scatter_u: f64,
    pub df: f64,
    /// By how much it goes with the winding loss, N·m for W/(N·m)².
    pub by_winding: f64,
}

/// `None` where there are no steady strokes, no pulse, no power or no angle of arm or surface sensor.
pub fn measure(recording: &Recording, calibration: Option<&Calibration>) -> Option<Free> {
    let (mut strokes, mut rests) = (Vec::new(), Vec::new());
    for spell in spells(recording) {
        look(&spell, &mut strokes, &mut rests)?;
    }
    if strokes.len() < FEWEST || rests.len() < FEWEST {
        return None;
    }
    let rest = mean(&rests);
    let watts: Vec<f64> = strokes.iter().map(|s| s.watts - rest.0).collect();
    let (turning, u, df) = mean(&watts);
    let (turning_u, turning_df) = student::combine(&[(u, df), (rest.1, rest.2)]);
    let speeds: Vec<f64> = strokes.iter().map(|s| s.rad_s.to_degrees()).collect();
    Some(Free {
        strokes: strokes.len(),
        speed_deg_s: mean(&speeds).0,
        turning_w: quantity(turning, turning_u, turning_df),
        friction: calibration.map(|c| friction(&strokes, rest, c)),
    })
}

struct Stroke {
    watts: f64,
    rad_s: f64,
}

fn friction(strokes: &[Stroke], rest: (f64, f64, f64), calibration: &Calibration) -> Friction {
    let a = calibration.winding_w_per_nm2;
    let of = |s: &Stroke| {
        let left = (s.watts - rest.0).max(0.0);
        ((s.rad_s.powi(2) + 4.0 * a * left).sqrt() - s.rad_s) / (2.0 * a)
    };
    let each: Vec<f64> = strokes.iter().map(of).collect();
    let (now, u, df) = mean(&each);
    let speeds: Vec<f64> = strokes.iter().map(|s| s.rad_s).collect();
    let slope = 2.0 * a * now + mean(&speeds).0;
    // From a·x² + ω·x = P: dx/dP = 1/(2ax + ω), dx/da = −x²/(2ax + ω).
    let (scatter_u, df) = student::combine(&[(u, df), (rest.1 / slope, rest.2)]);
    let by_winding = -now * now / slope;
    let c = &calibration.covariance;
    let known = |variance: f64| (variance.max(0.0).sqrt(), f64::INFINITY);
    let told = |value: f64, variance: f64| {
        let (u, df) = student::combine(&[(scatter_u, df), known(variance)]);
        quantity(value, u, df)
    };
    let then = calibration.friction_nm;
    Friction {
        now_nm: told(now, by_winding.powi(2) * c[1][1]),
        calibrated_nm: quantity(then, c[2][2].max(0.0).sqrt(), f64::INFINITY),
        change_nm: told(
            now - then,
            by_winding.powi(2) * c[1][1] + c[2][2] - 2.0 * by_winding * c[1][2],
        ),
        scatter_u,
        df,
        by_winding,
    }
}

/// Adds a spell's strokes and rests; `None` where a channel is missing.
fn look(spell: &Armed<'_>, strokes: &mut Vec<Stroke>, rests: &mut Vec<f64>) -> Option<()> {
    let pulse = spell.column(Channel::PulseUs)?;
    let angle = spell
        .column(Channel::ArmDeg)
        .or_else(|| spell.column(Channel::AngleDeg))?;
    let current = spell.column(Channel::CurrentMa)?;
    let volts = spell
        .column(Channel::SupplyV)
        .or_else(|| spell.column(Channel::SourceV))?;
    let t_s = spell.t_s();
    let watts: Vec<f64> = current
        .iter()
        .zip(volts)
        .map(|(ma, v)| 1e-3 * ma * v)
        .collect();
    for (run, stands) in runs(pulse) {
        let skip_s = if stands {
            RESTS_AFTER_S
        } else {
            STEADY_AFTER_S
        };
        let late = t_s[run.clone()].partition_point(|t| *t < t_s[run.start] + skip_s);
        let run = run.start + late..run.end;
        if run.is_empty() || t_s[run.end - 1] - t_s[run.start] < SHORTEST_S {
            continue;
        }
        let seen: Vec<f64> = watts[run.clone()]
            .iter()
            .copied()
            .filter(|w| w.is_finite())
            .collect();
        if seen.is_empty() {
            continue;
        }
        let watts = mean(&seen).0;
        if stands {
            rests.push(watts);
        } else if let Some(rad_s) = speed(&t_s[run.clone()], &angle[run]) {
            strokes.push(Stroke { watts, rad_s });
        }
    }
    Some(())
}

/// rad/s without its sign, by a straight line.
fn speed(t_s: &[f64], angle_deg: &[f64]) -> Option<f64> {
    let seen: Vec<(f64, f64)> = t_s
        .iter()
        .zip(angle_deg)
        .filter(|(_, a)| a.is_finite())
        .map(|(t, a)| (*t - t_s[0], *a))
        .collect();
    let design = nalgebra::DMatrix::from_fn(seen.len(), 2, |i, j| match j {
        0 => seen[i].0,
        _ => 1.0,
    });
    let angles: Vec<f64> = seen.iter().map(|s| s.1).collect();
    let deg_s = weighted_least_squares(&design, &angles, None)?.coefficients[0].abs();
    (deg_s >= SLOWEST_DEG_S).then(|| deg_s.to_radians())
}

/// Stretches in which the pulse stands, or moves on from sample to sample.
fn runs(pulse_us: &[f64]) -> Vec<(Range<usize>, bool)> {
    let mut found: Vec<(Range<usize>, bool)> = Vec::new();
    let mut before: Option<(usize, f64)> = None;
    for (i, us) in pulse_us.iter().enumerate().filter(|(_, us)| us.is_finite()) {
        if let Some((from, last)) = before {
            let stands = (us - last).abs() < SAME_US;
            match found.last_mut() {
                Some((run, so)) if *so == stands => run.end = i + 1,
                _ => found.push((from..i + 1, stands)),
            }
        }
        before = Some((i, *us));
    }
    found
}

/// Mean, its standard uncertainty and degrees of freedom.
fn mean(values: &[f64]) -> (f64, f64, f64) {
    let n = values.len() as f64;
    let value = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - value).powi(2)).sum();
    (value, (squares / (n * (n - 1.0))).sqrt(), n - 1.0)
}

fn quantity(value: f64, u: f64, df: f64) -> Quantity {
    let interval: Option<Interval> = student::interval(value, u, df);
    Quantity {
        value,
        interval: interval.filter(|_| u > 0.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulated::{
        Channel as Sent, Loaded, OnArm, Programme, PulseMove, Scenario, Spell, simulate,
    };

    fn recording(friction_nm: f64, seed: u64) -> Recording {
        let go = |to_us| PulseMove {
            to_us,
            us_per_s: 350.0,
            hold_s: 0.7,
        };
        let mut scenario = Scenario {
            channels: vec![
                Sent::PulseUs,
                Sent::AngleDeg,
                Sent::CurrentMa,
                Sent::SupplyV,
            ],
            programme: Programme::Spells(vec![Spell {
                loaded: Loaded {
                    on_arm: OnArm::Nothing,
                    hung_ncm: 0.0,
                },
                moves: [1750.0, 1250.0].repeat(8).into_iter().map(go).collect(),
                waits_s: 1.0,
                ..Spell::default()
            }]),
            ..Scenario::default()
        };
        scenario.plant.servo.friction_nm = friction_nm;
        crate::recording::read(&simulate(&scenario, seed).capture[..], "free").unwrap()
    }

    fn calibration() -> Calibration {
        Calibration {
            tag: "E1".into(),
            made: None,
            reference_c: 20.0,
            idle_w: 0.21,
            winding_w_per_nm2: 8.4,
            friction_nm: 0.06,
            gear_loss: 0.18,
            covariance: [
                [4.41e-6, 0.0, 0.0, 0.0],
                [0.0, 2.8224e-2, 0.0, 0.0],
                [0.0, 0.0, 1.44e-6, 0.0],
                [0.0, 0.0, 0.0, 2.916e-5],
            ],
        }
    }

    fn held(friction_nm: f64, n: u64) -> (u32, f64) {
        let (mut held, mut sum) = (0, 0.0);
        for seed in 0..n {
            let free = measure(&recording(friction_nm, seed), Some(&calibration())).unwrap();
            let q = free.friction.unwrap().now_nm;
            let i = q.interval.unwrap();
            held += u32::from(i.lo95 <= friction_nm && friction_nm <= i.hi95);
            sum += q.value;
        }
        println!(
            "{friction_nm} N·m: mean {:.5}, {held} of {n} hold it",
            sum / n as f64
        );
        (held, sum / n as f64)
    }

    #[test]
    fn a_free_servo_tells_its_own_friction_and_what_it_has_gained() {
        let free = measure(&recording(0.09, 1), Some(&calibration())).unwrap();
        let friction = free.friction.unwrap();
        assert!(
            (friction.now_nm.value / 0.09 - 1.0).abs() < 0.05,
            "{free:?}"
        );
        assert!(friction.change_nm.interval.unwrap().lo95 > 0.02, "{free:?}");
        let (held, _) = held(0.06, 20);
        assert!(held >= 16, "{held}");
    }

    #[test]
    #[ignore = "a study"]
    fn study() {
        for friction_nm in [0.04, 0.06, 0.10] {
            held(friction_nm, 300);
        }
    }

    #[test]
    fn without_a_calibration_there_is_power_and_no_friction() {
        let free = measure(&recording(0.06, 2), None).unwrap();
        assert!(
            free.friction.is_none() && free.turning_w.value > 0.01,
            "{free:?}"
        );
    }
}
