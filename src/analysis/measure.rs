//! The whole analysis of one recording, in order.

use std::borrow::Cow;

use super::arm::{Ratio, Track};
use super::cells::Cells;
use super::curve::{Fitted, Means};
use super::effort::{self, Effort};
use super::fit::Prior;
use super::law::STIFFNESS;
use super::motion::{Motion, STANDING_DEG};
use super::series::Series;
use super::stats::robust;
use super::{
    Curve, Doubt, Load, Measured, Quantity, RatioSource, StrokeCounts, TorqueSource, Traces,
};
use super::{jerks, load, throws};
use crate::aircraft::{Aircraft, Calibration, Surface};
use crate::recording::{Channel, Event, Recording};

/// Strokes of each direction needed before a curve is judged.
pub const FEWEST_STROKES: usize = 3;
/// Further than this no control surface turns, °.
const MOST_ANGLE_DEG: f64 = 100.0;
/// Travel needed before a curve is judged, °.
const LEAST_TRAVEL_DEG: f64 = 8.0;
/// More play than this bends the track of the servo's arm enough to fit again, °.
const MUCH_SLOP_DEG: f64 = 0.3;
/// Left out after reversals where no curve tells how much, °.
const SINCE_UNKNOWN_DEG: f64 = 2.0;
/// More than this share of samples lost is too much.
const MOST_LOST: f64 = 0.25;
/// Fit the calibration no further away than this, in its own standard uncertainties, without saying so.
const STRAINED: f64 = 3.0;
/// Copper: resistance per kelvin at 20 °C, annealed (IEC 60028:1925, 0.003 93 /K).
const COPPER_PER_K: f64 = 0.003_93;
/// Temperatures that a servo's case may have on a bench, °C; others are a sensor's fault.
const CASE_C: std::ops::RangeInclusive<f64> = -20.0..=120.0;
/// Without a case temperature the copper may stand this far from the reference, standard uncertainty, K (assumed).
const COPPER_UNKNOWN_K: f64 = 6.0;
/// Current readings are filtered, and taken a little after the angle's: how far the two may stand apart in time, standard
/// uncertainty of the filter, s, and of the sampling, in samples (both assumed).
const LAG_S: f64 = 0.010;
const LAG_SAMPLES: f64 = 0.5;
const TRACE_POINTS: usize = 1500;

/// Measures one surface from one recording.
pub fn measure(recording: &Recording, aircraft: &Aircraft, surface: &Surface) -> Measured {
    let series = Series::new(recording);
    let servo = &aircraft.servos[surface.servo_index];
    let servo_type = &aircraft.servo_types[servo.type_index];
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
        surface.linkage.as_ref(),
        servo.calibration.as_ref(),
    );
    if let Some(channel) = effort.dead() {
        doubts.push(Doubt::DeadEffort { channel });
        effort = Effort::none();
    }
    match effort.source {
        TorqueSource::None if doubts.iter().any(|d| matches!(d, Doubt::DeadEffort { .. })) => {}
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
        if !follows {
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
        calibration: servo.calibration.as_ref(),
    };
    let mut outcome = study.fit(&ratio);
    // With the curve known, play can be told from the gear ratio; where there is much of it the curve is fitted again.
    let (mut arm, mut pulse) = (arm, pulse);
    if let Some(found) = &outcome.curve {
        let refined = |track: &Option<Track>| track.as_ref()?.refined(&found.fitted.fit);
        arm = refined(&arm).or(arm);
        pulse = refined(&pulse).or(pulse);
        ratio = pick(arm.as_ref(), pulse.as_ref());
    }
    let slop = |outcome: &Outcome| {
        let fitted = outcome.curve.as_ref().map(|c| &c.fitted);
        let since_deg = fitted.map_or(SINCE_UNKNOWN_DEG, |f| f.since_deg);
        let fit = fitted.map(|f| &f.fit);
        match (&arm, &pulse) {
            (Some(track), _) => track.slop_deg(fit, &motion, since_deg, false),
            (None, Some(track)) => track.slop_deg(fit, &motion, since_deg, true),
            _ => None,
        }
    };
    let mut slop_deg = slop(&outcome);
    let much = slop_deg.is_some_and(|q| q.value > MUCH_SLOP_DEG);
    if much && effort.source == TorqueSource::SupplyPower {
        outcome = study.fit(&ratio);
        slop_deg = slop(&outcome);
    }
    let jerks = jerks::find(&series, &motion);
    if arm.is_none() && jerks.is_some_and(|j| j.stops_per_stroke >= 1.0) {
        // A pulse runs ahead of a surface that stops and jumps: that is no play.
        slop_deg = None;
    }
    if effort.source == TorqueSource::SupplyPower && jerks.is_some_and(|j| j.jerky()) {
        outcome.curve = None;
        outcome.doubts.push(Doubt::JerkyPower);
    }
    doubts.extend(outcome.doubts);
    let turned = against(&mut doubts);
    if turned.is_some() {
        outcome.curve = None;
        slop_deg = None;
    }
    let events = events_by_sample(recording, &series);
    let fitted = outcome.curve.as_ref().map(|c| &c.fitted);
    let load = load::judge(
        &series,
        &motion,
        fitted,
        &ratio,
        servo_type,
        &standing_torque(&motion, &effort, fitted, &ratio),
    );
    Measured {
        torque_from: effort.source,
        strokes: outcome.strokes,
        curve: outcome.curve.map(|c| c.curve),
        throws: if turned == Some(ANGLE) {
            surface.throws.iter().map(throws::not_seen).collect()
        } else {
            throws::judge(&series, &motion, &events, surface, &load)
        },
        load,
        slop_deg,
        lead_mohm: load::lead_mohm(&series, Some(&motion)),
        jerks,
        doubts,
        travel_deg: Some((motion.lowest_deg, motion.highest_deg)),
        rate_hz: rate_hz(recording),
        span_s: span_s(recording),
        traces: traces(&series, &effort),
    }
}

struct CurveAndFit {
    curve: Curve,
    fitted: Fitted,
}

/// What a fit came to.
struct Outcome {
    curve: Option<CurveAndFit>,
    strokes: StrokeCounts,
    doubts: Vec<Doubt>,
}

/// One recording on its way to a curve.
struct Study<'a> {
    recording: &'a Recording,
    series: &'a Series<'a>,
    motion: &'a Motion,
    effort: &'a Effort<'a>,
    calibration: Option<&'a Calibration>,
}

impl Study<'_> {
    fn fit(&self, ratio: &Ratio) -> Outcome {
        let mut outcome = Outcome {
            curve: None,
            strokes: counts(self.motion),
            doubts: Vec::new(),
        };
        let motion = self.motion;
        if motion.travel_deg() < STANDING_DEG {
            outcome.doubts.push(Doubt::NeverMoved);
            return outcome;
        }
        if motion.travel_deg() < LEAST_TRAVEL_DEG {
            outcome.doubts.push(Doubt::TooLittleTravel {
                from_deg: motion.lowest_deg,
                to_deg: motion.highest_deg,
            });
        }
        let strokes = &mut outcome.strokes;
        let none = self.effort.source == TorqueSource::None;
        let cells = (!none).then(|| Cells::gather(motion, &self.effort.values));
        if let Some(cells) = &cells {
            strokes.samples_out_of_line = cells.out_of_line;
            for n in &cells.strokes_out {
                *(if motion.strokes[*n].up {
                    &mut strokes.up
                } else {
                    &mut strokes.down
                }) -= 1;
                strokes.left_out += 1;
            }
        }
        if strokes.up < FEWEST_STROKES || strokes.down < FEWEST_STROKES {
            outcome.doubts.push(Doubt::TooFewStrokes {
                up: strokes.up,
                down: strokes.down,
            });
        }
        if let Some(cells) = cells.filter(|_| strokes.up > 0 && strokes.down > 0) {
            self.fit_cells(&cells, ratio, &mut outcome);
        }
        outcome
    }

    fn fit_cells(&self, cells: &Cells, ratio: &Ratio, outcome: &mut Outcome) {
        let power = self.effort.source == TorqueSource::SupplyPower;
        let copper = Copper::new(self.series, self.motion, self.calibration);
        let prior = self
            .calibration
            .filter(|_| power)
            .and_then(|c| prior_of(c, &copper, rate_hz(self.recording)));
        if power && prior.is_none() {
            outcome.doubts.push(Doubt::NoFit);
            return;
        }
        let factor = |stroke: usize| copper.factors.get(stroke).copied().unwrap_or(1.0);
        let means = Means {
            ratio,
            prior,
            winding_factor: &factor,
            cycles: self.motion.cycles,
            travel_deg: self.motion.travel_deg(),
            scale_u: scale_u(self.recording, self.effort.source),
            place_u_deg: self.motion.unevenness_deg(),
        };
        let Some(fitted) = means.fit(cells) else {
            outcome.doubts.push(Doubt::NoFit);
            return;
        };
        outcome.strokes.samples_after_reversal = cells
            .cells
            .iter()
            .filter(|c| c.since_deg <= fitted.since_deg)
            .map(|c| c.samples as usize)
            .sum();
        let friction = fitted.friction();
        if friction
            .interval
            .map_or(friction.value < 0.0, |i| i.hi95 < 0.0)
        {
            // Friction below nothing: what rubs would help the motion.
            outcome.doubts.push(match self.effort.source {
                TorqueSource::Torque => Doubt::SignReversed {
                    channel: "torque_ncm",
                },
                TorqueSource::Force => Doubt::SignReversed { channel: "force_n" },
                _ => Doubt::NoFit,
            });
            if power {
                return;
            }
        }
        let stiffness = fitted.fit.torque_parameter(STIFFNESS);
        let nothing = |q: &Quantity| q.interval.is_some_and(|i| i.lo95 <= 0.0);
        if nothing(&stiffness) && nothing(&friction) {
            // Neither spring nor friction: what was read has nothing to do with the motion.
            outcome.doubts.push(Doubt::NoFit);
            return;
        }
        if fitted.fit.strain > STRAINED {
            outcome.doubts.push(Doubt::CalibrationStrained {
                sigmas: fitted.fit.strain,
            });
        }
        outcome.curve = Some(CurveAndFit {
            curve: fitted.curve(&means, cells),
            fitted,
        });
    }
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

/// The copper's resistance against that at the calibration's reference temperature, by stroke.
struct Copper {
    factors: Vec<f64>,
    known: bool,
}

impl Copper {
    fn new(series: &Series, motion: &Motion, calibration: Option<&Calibration>) -> Self {
        let reference_c = calibration.map_or(20.0, |c| c.reference_c);
        let case = series
            .column(Channel::CaseC)
            .filter(|c| c.iter().any(|c| CASE_C.contains(c)));
        let factors = motion
            .strokes
            .iter()
            .map(|stroke| {
                let Some(case) = case else { return 1.0 };
                let readings: Vec<f64> = case[stroke.range.clone()]
                    .iter()
                    .copied()
                    .filter(|c| CASE_C.contains(c))
                    .collect();
                let Some(case_c) = robust::median(&readings) else {
                    return 1.0;
                };
                (1.0 + COPPER_PER_K * (case_c - 20.0)) / (1.0 + COPPER_PER_K * (reference_c - 20.0))
            })
            .collect();
        Self {
            factors,
            known: case.is_some(),
        }
    }
}

fn prior_of(c: &Calibration, copper: &Copper, rate_hz: f64) -> Option<Prior> {
    let mut covariance = c.covariance;
    if !copper.known {
        covariance[1][1] += (c.winding_w_per_nm2 * COPPER_PER_K * COPPER_UNKNOWN_K).powi(2);
    }
    Prior::new(
        [c.idle_w, c.winding_w_per_nm2, c.friction_nm, c.gear_loss],
        &covariance,
        LAG_S.hypot(LAG_SAMPLES / rate_hz.max(1.0)),
    )
}

/// The sensor's own scale uncertainty, if the recording tells it: `# torque_scale_percent=0.5` (standard uncertainty).
fn scale_u(recording: &Recording, source: TorqueSource) -> f64 {
    let key = match source {
        TorqueSource::Torque => "torque_scale_percent",
        TorqueSource::Force => "force_scale_percent",
        TorqueSource::SupplyPower | TorqueSource::None => return 0.0,
    };
    let percent: Option<f64> = recording.key(key).and_then(|v| v.trim().parse().ok());
    percent
        .filter(|p| p.is_finite() && *p >= 0.0)
        .map_or(0.0, |p| 0.01 * p)
}

fn counts(motion: &Motion) -> StrokeCounts {
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

fn rate_hz(recording: &Recording) -> f64 {
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
        lead_mohm: load::lead_mohm(series, None),
        jerks: None,
        doubts,
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
