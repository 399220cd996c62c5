//! From strokes to a curve: whether the recording carries one, what is known of the servo, the fit.

use super::arm::Ratio;
use super::cells::Cells;
use super::curve::{Fitted, Means};
use super::data::Prior;
use super::effort::Effort;
use super::law::STIFFNESS;
use super::measure::{counts, rate_hz};
use super::motion::{Motion, STANDING_DEG};
use super::series::Series;
use super::stats::robust;
use super::{Curve, Doubt, Quantity, StrokeCounts, TorqueSource};
use crate::aircraft::Calibration;
use crate::recording::{Channel, Recording};

/// Strokes of each direction needed before a curve is judged.
pub const FEWEST_STROKES: usize = 3;
/// Travel needed before a curve is judged, °.
const LEAST_TRAVEL_DEG: f64 = 8.0;
/// Strokes whose mean stands off the fitted curve by this share of friction, or of the torque's span, whichever is more,
/// have something in them that the curve does not show.
const MISFIT_OF_FRICTION: f64 = 0.35;
const MISFIT_OF_SPAN: f64 = 0.06;
/// An end of the travel this long that the curve does not reach is not judged by it, share of the travel.
const COVERED: f64 = 0.2;
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
pub(crate) const LAG_S: f64 = 0.010;
const LAG_SAMPLES: f64 = 0.5;

pub(crate) struct CurveAndFit {
    pub curve: Curve,
    pub fitted: Fitted,
}

/// What a fit came to.
pub(crate) struct Outcome {
    pub curve: Option<CurveAndFit>,
    pub strokes: StrokeCounts,
    pub doubts: Vec<Doubt>,
}

/// One recording on its way to a curve.
pub(crate) struct Study<'a> {
    pub recording: &'a Recording,
    pub series: &'a Series<'a>,
    pub motion: &'a Motion,
    pub effort: &'a Effort<'a>,
    pub calibration: Option<&'a Calibration>,
}

impl Study<'_> {
    pub fn fit(&self, ratio: &Ratio) -> Outcome {
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
            return outcome;
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
            angle_scale_u: self.series.angle_u.scale(),
            place_u_deg: self
                .motion
                .unevenness_deg()
                .hypot(self.series.angle_u.at(self.motion.furthest_deg())),
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
        if let Some((by_ncm, at_deg)) = fitted.stands_off(&means, cells) {
            let span = fitted.torque_at(fitted.highest_deg, true).0
                - fitted.torque_at(fitted.lowest_deg, false).0;
            let much = (MISFIT_OF_FRICTION * friction.value).max(MISFIT_OF_SPAN * span.abs());
            if by_ncm.abs() > much {
                outcome.doubts.push(Doubt::Misfit { by_ncm, at_deg });
            }
        }
        let (low, high) = (self.motion.lowest_deg, self.motion.highest_deg);
        let bare = COVERED * (high - low);
        if fitted.lowest_deg - low > bare || high - fitted.highest_deg > bare {
            outcome.doubts.push(Doubt::CurveTooShort {
                from_deg: fitted.lowest_deg,
                to_deg: fitted.highest_deg,
            });
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
                copper_factor(case_c, reference_c)
            })
            .collect();
        Self {
            factors,
            known: case.is_some(),
        }
    }
}

/// Resistance of copper at a temperature over that at the reference, both °C.
fn copper_factor(case_c: f64, reference_c: f64) -> f64 {
    let since_20 = |c: f64| 1.0 + COPPER_PER_K * (c - 20.0);
    since_20(case_c) / since_20(reference_c)
}

fn prior_of(c: &Calibration, copper: &Copper, rate_hz: f64) -> Option<Prior> {
    let mut covariance = c.covariance;
    let mut by_copper = 0.0;
    if !copper.known {
        by_copper = (c.winding_w_per_nm2 * COPPER_PER_K * COPPER_UNKNOWN_K).powi(2);
    }
    covariance[1][1] += by_copper;
    let mut prior = Prior::new(
        [c.idle_w, c.winding_w_per_nm2, c.friction_nm, c.gear_loss],
        &covariance,
        LAG_S.hypot(LAG_SAMPLES / rate_hz.max(1.0)),
    )?;
    prior.unshared[1] = by_copper;
    Some(prior)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn copper_warms_as_the_winding_trade_reckons_it() {
        // R(T)/R(20 °C) = (234.5 + T)/(234.5 + 20), T in °C: the winding trade's rule for annealed copper, with the same
        // coefficient as IEC 60028 said from the other end (1/254.5 K = 0.003 929 /K); rule from memory.
        for case_c in [-10.0, 0.0, 20.0, 45.0, 80.0] {
            let rule = (234.5 + case_c) / 254.5;
            assert!(
                (copper_factor(case_c, 20.0) / rule - 1.0).abs() < 2e-4,
                "{case_c} °C"
            );
        }
    }

    #[test]
    fn twenty_five_kelvin_are_a_tenth_of_the_copper_term() {
        // The contract's physics notes: "25 K of warming is 10 % on the copper term".
        assert!((copper_factor(45.0, 20.0) - 1.098_25).abs() < 1e-9);
        assert!((copper_factor(45.0, 45.0) - 1.0).abs() < 1e-12);
    }
}
