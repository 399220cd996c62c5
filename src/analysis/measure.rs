//! The whole analysis of one recording, in order.

use std::borrow::Cow;

use super::arm::{Ratio, Track};
use super::budget::Budgets;
use super::curve::Fitted;
use super::effort::{self, Effort};
use super::lead::resistances_of;
use super::motion::Motion;
use super::series::Series;
use super::study::{Outcome, Study};
use super::{Doubt, Load, Measured, Quantity, RatioSource, StrokeCounts, TorqueSource, Traces};
use super::{conditions, jerks, load, throws};
use crate::aircraft::{Aircraft, ServoType, Surface};
use crate::recording::{Channel, Event, Recording};

/// Further than this no control surface turns, °.
const MOST_ANGLE_DEG: f64 = 100.0;
/// More play than this bends the track of the servo's arm enough to fit again, °.
const MUCH_SLOP_DEG: f64 = 0.1;
/// Relative standard uncertainty of torque from the power of a standing servo: its winding, and that it may hunt (assumed).
const STANDING_U: f64 = 0.1;
/// A surface at rest may read this far from zero without a word, °.
const NEUTRAL_OFF_DEG: f64 = 1.0;
/// Left out after reversals where no curve tells how much, °.
const SINCE_UNKNOWN_DEG: f64 = 2.0;
/// More than this share of samples lost is too much.
const MOST_LOST: f64 = 0.25;
const TRACE_POINTS: usize = 1500;

/// Measures one surface from one recording.
pub fn measure(recording: &Recording, aircraft: &Aircraft, surface: &Surface) -> Measured {
    let series = Series::new(recording);
    let servo = &aircraft.servos[surface.servo_index];
    let servo_type = &driving(aircraft, surface);
    // Of two servos one's power or rod is part of the torque, and a part that nobody knows: they may even fight.
    let alone = surface.second_servo_index.is_none();
    let calibration = servo.calibration.as_ref().filter(|_| alone);
    let mut doubts = Vec::new();
    if lost_share(recording) > MOST_LOST {
        doubts.push(Doubt::TooMuchLost {
            share: lost_share(recording),
        });
    }
    let Some(motion) = Motion::find(&series) else {
        doubts.push(Doubt::NoAngle);
        return without_motion(recording, &series, surface, doubts);
    };
    let most_deg = motion.highest_deg.max(-motion.lowest_deg);
    if most_deg > MOST_ANGLE_DEG {
        doubts.push(Doubt::ImpossibleAngles { most_deg });
        return without_motion(recording, &series, surface, doubts);
    }
    let mut effort = effort::pick(
        &series,
        &motion.angle_deg,
        surface.linkage.as_ref().filter(|_| alone),
        calibration,
    );
    if let Some(channel) = effort.dead() {
        doubts.push(Doubt::DeadEffort { channel });
        effort = Effort::none();
    }
    match effort.source {
        TorqueSource::None if doubts.iter().any(|d| matches!(d, Doubt::DeadEffort { .. })) => {}
        TorqueSource::None if surface.second_servo_index.is_some() => {
            doubts.push(Doubt::TwoServos);
        }
        TorqueSource::None if effort.lacks_calibration => doubts.push(Doubt::NoCalibration),
        TorqueSource::None => doubts.push(Doubt::NoTorqueSource),
        _ => {}
    }
    let mut follows = |channel: Channel| {
        let column = series.column(channel)?;
        let held = |v: &f64| v.is_nan() || Some(v) == column.iter().find(|v| !v.is_nan());
        if channel == Channel::PulseUs && column.iter().all(held) {
            // A pulse that never changes did not move the surface: a hand did.
            return None;
        }
        let track = Track::find(&series, &motion, channel)?;
        let follows = track.follows();
        // A pulse that leads by its lag on a small travel, or by a surface that sticks, is no fault of the pulse.
        if !follows && channel == Channel::ArmDeg {
            doubts.push(Doubt::DoesNotFollow {
                channel: channel.name(),
            });
        }
        follows.then_some(track)
    };
    let arm = follows(Channel::ArmDeg);
    let pulse = follows(Channel::PulseUs);
    for (track, channel) in [(&arm, "arm_deg"), (&pulse, "pulse_us")] {
        if track.as_ref().is_some_and(Track::reversed) {
            doubts.push(Doubt::SignReversed { channel });
        }
    }
    let pick = |arm: Option<&Track>, pulse: Option<&Track>| {
        Ratio::pick(
            arm,
            surface.linkage.as_ref(),
            pulse,
            servo_type.arm_deg_per_us,
        )
    };
    let mut ratio = pick(arm.as_ref(), pulse.as_ref());
    let study = Study {
        recording,
        series: &series,
        motion: &motion,
        effort: &effort,
        calibration,
    };
    let mut outcome = study.fit(&ratio);
    let mut slop_deg = slop_of(&arm, &pulse, &outcome, &motion);
    // Much play bends the track of the arm; with the curve known it can be told apart, and the curve is fitted again where
    // it hangs on the gear ratio.
    let much = slop_deg.is_some_and(|q| q.value > MUCH_SLOP_DEG);
    if let Some(found) = outcome.curve.as_ref().filter(|_| much) {
        let refined = |track: Option<Track>| -> Option<Track> {
            let track = track?;
            Some(track.refined(&found.fitted.fit).unwrap_or(track))
        };
        let (arm, pulse) = (refined(arm.clone()), refined(pulse.clone()));
        ratio = pick(arm.as_ref(), pulse.as_ref());
        if effort.source == TorqueSource::SupplyPower {
            outcome = study.fit(&ratio);
        }
        slop_deg = slop_of(&arm, &pulse, &outcome, &motion);
    }
    let jerks = jerks::find(&series, &motion);
    if arm.is_none() && jerks.is_some_and(|j| j.jerky()) {
        // A pulse runs ahead of a surface that stops and jumps: that is no play.
        slop_deg = None;
    }
    if effort.source == TorqueSource::SupplyPower && jerks.is_some_and(|j| j.jerky()) {
        outcome.curve = None;
        outcome.doubts.push(Doubt::JerkyPower);
    }
    doubts.extend(neutral_off(&series, &motion).map(|at_deg| Doubt::NeutralOff { at_deg }));
    doubts.extend(outcome.doubts);
    let turned = against(&mut doubts);
    if turned.is_some() {
        outcome.curve = None;
        slop_deg = None;
    }
    let events = events_by_sample(recording, &series);
    let fitted = outcome.curve.as_ref().map(|c| &c.fitted);
    let (load, peak_torque, holds) = load::judge(
        &series,
        &motion,
        fitted,
        &ratio,
        servo_type,
        load::Seen {
            ncm: &standing_torque(&motion, &effort, fitted, &ratio),
            u: if effort.source == TorqueSource::SupplyPower {
                STANDING_U
            } else {
                0.0
            },
        },
    );
    let budgets = Budgets {
        curve: fitted.map(Fitted::budgets).unwrap_or_default(),
        peak_torque,
        holds,
    };
    Measured {
        torque_from: effort.source,
        strokes: outcome.strokes,
        curve: outcome.curve.map(|c| c.curve),
        throws: if turned == Some(ANGLE) {
            surface.throws.iter().map(throws::not_seen).collect()
        } else {
            let unfinished = recording.unfinished().is_some();
            throws::judge(&series, &motion, &events, surface, &load, unfinished)
        },
        load,
        slop_deg,
        lead_mohm: resistances_of(&series, Some(&motion)).lead_mohm,
        jerks,
        doubts,
        conditions: conditions::of(&series, Some(&motion)),
        budgets,
        travel_deg: Some((motion.lowest_deg, motion.highest_deg)),
        rate_hz: rate_hz(recording),
        span_s: span_s(recording),
        traces: traces(&series, &effort),
    }
}

/// What drives the surface, as one servo: the stall torques of two add, the second's at the first's voltage.
fn driving(aircraft: &Aircraft, surface: &Surface) -> ServoType {
    let of = |index: usize| &aircraft.servo_types[aircraft.servos[index].type_index];
    let mut whole = of(surface.servo_index).clone();
    if let Some(second) = surface.second_servo_index.map(of) {
        whole.stall_torque_ncm +=
            second.stall_torque_ncm * whole.stall_voltage_v / second.stall_voltage_v;
    }
    whole
}

fn slop_of(
    arm: &Option<Track>,
    pulse: &Option<Track>,
    outcome: &Outcome,
    motion: &Motion,
) -> Option<Quantity> {
    let fitted = outcome.curve.as_ref().map(|c| &c.fitted);
    let since_deg = fitted.map_or(SINCE_UNKNOWN_DEG, |f| f.since_deg);
    let fit = fitted.map(|f| &f.fit);
    match (arm, pulse) {
        (Some(track), _) => track.slop_deg(fit, motion, since_deg, false),
        (None, Some(track)) => track.slop_deg(fit, motion, since_deg, true),
        _ => None,
    }
}

/// A surface that stands off neutral before its first stroke, if it stood there and not at an end, °.
fn neutral_off(series: &Series, motion: &Motion) -> Option<f64> {
    let at = conditions::rest_deg(series, motion)?;
    let middle = 0.25 * motion.travel_deg();
    (at.abs() > NEUTRAL_OFF_DEG && at.abs() < middle).then_some(at)
}

const ANGLE: &str = "angle_deg";

/// Which sensor's sense is turned round so that nothing measured with it can be used: that of torque or force; or that of
/// the angle, where pulse or arm run against it as well. Those doubts are then one.
fn against(doubts: &mut Vec<Doubt>) -> Option<&'static str> {
    let has = |doubts: &[Doubt], channel| doubts.contains(&Doubt::SignReversed { channel });
    let effort = ["torque_ncm", "force_n"]
        .into_iter()
        .find(|c| has(doubts, c))?;
    if !(has(doubts, "pulse_us") || has(doubts, "arm_deg")) {
        return Some(effort);
    }
    doubts.retain(|d| !matches!(d, Doubt::SignReversed { .. }));
    doubts.push(Doubt::SignReversed { channel: ANGLE });
    Some(ANGLE)
}

pub(crate) fn counts(motion: &Motion) -> StrokeCounts {
    let usable = |up| motion.usable().filter(|(_, s)| s.up == up).count();
    StrokeCounts {
        up: usable(true),
        down: usable(false),
        left_out: motion.strokes.iter().filter(|s| !s.usable).count(),
        samples_not_steady: motion.not_steady,
        ..StrokeCounts::default()
    }
}

/// Torque that a standing servo holds at least, N·cm at the surface, from its supply power; NaN where it moves. For sources
/// other than power the effort itself, moving or not.
///
/// With ω = 0 the balance is P = idle + a·x², and a servo that pushes gives (x − τ_f)/(1 + g).
fn standing_torque<'a>(
    motion: &Motion,
    effort: &'a Effort,
    fitted: Option<&Fitted>,
    ratio: &Ratio,
) -> Cow<'a, [f64]> {
    if effort.source != TorqueSource::SupplyPower {
        return Cow::Borrowed(&effort.values);
    }
    let Some([idle, winding, friction, gear]) = fitted.and_then(|f| f.fit.servo()) else {
        return Cow::Borrowed(&[]);
    };
    let standing = |i: usize| motion.speed_deg_s[i].abs() < 0.5;
    let torque = |i: usize| {
        let x = ((effort.values[i] - idle).max(0.0) / winding).sqrt();
        ((x - friction).max(0.0)) / (1.0 + gear) * 100.0 / ratio.at(motion.angle_deg[i])
    };
    (0..effort.values.len())
        .map(|i| if standing(i) { torque(i) } else { f64::NAN })
        .collect()
}

fn lost_share(recording: &Recording) -> f64 {
    let gone = recording.gone() as f64;
    let all = gone + recording.samples as f64;
    if all > 0.0 { gone / all } else { 0.0 }
}

fn span_s(recording: &Recording) -> f64 {
    recording
        .segments
        .iter()
        .filter_map(|s| Some(s.t_s.last()? - s.t_s.first()?))
        .sum()
}

pub(crate) fn rate_hz(recording: &Recording) -> f64 {
    let steps: usize = recording
        .segments
        .iter()
        .map(|s| s.len().saturating_sub(1))
        .sum();
    let span = span_s(recording);
    // Lost samples took their time as well: the rate is that of sending, not of arriving.
    if span > 0.0 {
        (steps as f64 + recording.lost as f64) / span
    } else {
        0.0
    }
}

fn events_by_sample<'a>(recording: &'a Recording, series: &Series) -> Vec<(usize, &'a Event)> {
    recording
        .events
        .iter()
        .filter_map(|event| {
            let segment = series.segments.get(event.segment)?;
            let clock = &recording.segments[event.segment].t_s;
            let at = clock
                .partition_point(|t| *t < event.t_s)
                .min(clock.len().saturating_sub(1));
            Some((segment.start + at, event))
        })
        .collect()
}

fn without_motion(
    recording: &Recording,
    series: &Series,
    surface: &Surface,
    doubts: Vec<Doubt>,
) -> Measured {
    let nothing = Effort::none();
    Measured {
        torque_from: TorqueSource::None,
        strokes: StrokeCounts::default(),
        curve: None,
        throws: surface.throws.iter().map(throws::not_seen).collect(),
        load: Load {
            peak_torque_ncm: None,
            peak_at_deg: None,
            share_of_stall: None,
            friction_share_of_stall: None,
            ratio_from: RatioSource::AssumedOne,
            voltage_v: None,
            hold_current_ma: Vec::new(),
        },
        slop_deg: None,
        lead_mohm: resistances_of(series, None).lead_mohm,
        jerks: None,
        doubts,
        conditions: conditions::of(series, None),
        budgets: Budgets::default(),
        travel_deg: None,
        rate_hz: rate_hz(recording),
        span_s: span_s(recording),
        traces: traces(series, &nothing),
    }
}

fn traces(series: &Series, effort: &Effort) -> Traces {
    let every = series.len().div_ceil(TRACE_POINTS).max(1);
    let thin = |column: Option<&[f64]>| -> Vec<f64> {
        (0..series.len())
            .step_by(every)
            .map(|i| column.map_or(f64::NAN, |c| c[i]))
            .collect()
    };
    let (column, label) = match effort.source {
        TorqueSource::Torque => (series.column(Channel::TorqueNcm), "torque, N·cm"),
        TorqueSource::Force => (series.column(Channel::ForceN), "rod force, N"),
        _ => (series.column(Channel::CurrentMa), "supply current, mA"),
    };
    Traces {
        t_s: series.t_s.iter().step_by(every).copied().collect(),
        angle_deg: thin(series.column(Channel::AngleDeg)),
        effort: thin(column),
        effort_label: label.to_owned(),
        pulse_us: thin(series.column(Channel::PulseUs)),
    }
}
