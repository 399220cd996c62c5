//! Which knees and tight spots the data call for.
//!
//! Forward selection: at every round each place (and width, and direction) is tried in the fit as it stands; the one that
//! explains most is taken if the cycles agree on it. Agreement is Student's t of the cycles' scores, and its threshold is
//! divided by the number of independent places searched (Bonferroni; e.g. R. G. Miller, Simultaneous Statistical
//! Inference, 2nd ed., Springer 1981, section 1.3), so that the whole search raises a false alarm at the stated rate.

use super::data::Data;
use super::fit::Fit;
use super::law::{FRICTION, Form, NEUTRAL, STIFFNESS, Spot, Terms};
use super::search::{Candidate, Round};

/// False-alarm rate of the whole search for tight spots on a surface that has none.
pub const FALSE_ALARM_RATE: f64 = 0.005;
/// The same for knees: higher, since a weak knee that is left out leaves its mark on stiffness and friction, and since a
/// knee becomes a finding only by its size.
pub const KNEE_FALSE_ALARM_RATE: f64 = 0.03;
/// A knee must raise the slope by this share at least, and a tight spot stand out by this share of the friction or of the
/// torque's whole span, whichever is more: smaller ones are within what the law leaves out (common practice, no source).
const LEAST_KNEE: f64 = 0.20;
const LEAST_SPOT_OF_FRICTION: f64 = 0.15;
const LEAST_SPOT_OF_SPAN: f64 = 0.02;
/// The same where torque comes from supply power, whose balance is itself an approximation.
const LEAST_SPOT_OF_FRICTION_BY_POWER: f64 = 0.45;
const LEAST_SPOT_OF_SPAN_BY_POWER: f64 = 0.05;
/// First guesses of a knee's extra slope, over the slope before it.
const KNEE_SIZES: [f64; 3] = [0.5, 4.0, 40.0];
const HALF_WIDTH_LIMITS_DEG: (f64, f64) = (0.5, 12.0);
/// Student's t of a feature's size, from the scatter between cycles, that must be left once everything is fitted together:
/// its place has been chosen already, and paid for.
const STILL_AGREED: f64 = 3.25;
/// Forms tried for a tight spot, with how much wider than a raised cosine each starts to be as wide at half its height.
const FORMS: [(Form, f64); 3] = [
    (Form::Cosine(1), 1.0),
    (Form::Cosine(8), 2.7),
    (Form::Flat, 0.67),
];
/// A tight spot reaches from where it stands out by this share of its height.
pub(crate) const FOOT: f64 = 0.05;

/// The first fit: a straight line and friction.
pub(crate) fn base(data: &Data, viscous: bool) -> Option<Fit> {
    if data.prior.is_none() {
        return line(data, viscous, 1.0, &[0.0]);
    }
    // From supply power the model is not linear: from several slopes; and where a steep end (a stop) has led the line
    // astray, from the middle of the travel, to which the features are then added.
    let slopes = [0.1, 0.4, 1.0, 2.5];
    let whole = line(data, viscous, 1.0, &slopes);
    if whole.as_ref().is_some_and(|f| f.p[FRICTION] > 0.0) {
        return whole;
    }
    let middle = line(data, viscous, 0.6, &slopes).filter(|f| f.p[FRICTION] > 0.0);
    match middle {
        Some(fit) => Fit::at_given(data, &fit.terms, fit.p.clone()).or(whole),
        None => whole,
    }
}

/// A line fitted to the inner `share` of the travel, from each of the slopes; the best.
fn line(data: &Data, viscous: bool, share: f64, slopes: &[f64]) -> Option<Fit> {
    let power = data.prior.is_some();
    let terms = Terms {
        viscous,
        power,
        ..Terms::default()
    };
    let inner = (share < 1.0).then(|| data.inner(share));
    let data = inner.as_ref().unwrap_or(data);
    let from = |slope: &f64| {
        let mut start = vec![0.0; terms.len()];
        start[STIFFNESS] = *slope;
        start[FRICTION] = if power { 2.0 } else { 0.0 };
        if let Some(prior) = &data.prior {
            start[terms.calibration_at()..].copy_from_slice(&prior.mean);
        }
        Fit::new(data, &terms, &start).filter(|fit| possible(data, &terms, &fit.p))
    };
    best_of(data, slopes.iter().filter_map(from))
}

/// A search that left for where no servo is, its numbers far from the calibration, found no answer.
fn possible(data: &Data, terms: &Terms, p: &[f64]) -> bool {
    let Some(prior) = data.prior.as_ref().filter(|_| terms.power) else {
        return true;
    };
    let at = terms.calibration_at();
    (0..3).all(|i| p[at + i] > 0.5 * prior.mean[i] && p[at + i] < 2.0 * prior.mean[i])
}

/// The terms of an earlier fit on other data, if they still hold there.
pub(crate) fn again(data: &Data, before: &Fit) -> Option<Fit> {
    let fit = Fit::new(data, &before.terms, &before.p)?;
    (possible(data, &fit.terms, &fit.p) && holds(data, &fit)).then_some(fit)
}

/// Adds features to a fit as long as the data call for them.
pub(crate) fn choose(data: &Data, base: Fit, step_deg: f64) -> Fit {
    let mut fit = base;
    let mut closed: Vec<Candidate> = Vec::new();
    if data.cycles < 2 {
        return fit;
    }
    for _ in 0..12 {
        let candidates = Round::new(data, &fit, step_deg).best(&closed);
        if candidates.is_empty() {
            break;
        }
        // A knee and a tight spot may explain the same thing in part: the one that fits better once it is in.
        let mut better: Option<Fit> = None;
        for candidate in candidates {
            match with(data, &fit, candidate) {
                Some(larger) => {
                    if better
                        .as_ref()
                        .is_none_or(|b| misfit(data, &larger) < misfit(data, b))
                    {
                        better = Some(larger);
                    }
                }
                None => closed.push(candidate),
            }
        }
        if let Some(larger) = better {
            fit = larger;
        }
    }
    fit
}

/// Sum of squares of the points at weight 1 (fits weigh the data each by its own scatter).
fn misfit(data: &Data, fit: &Fit) -> f64 {
    let mut gradient = vec![0.0; fit.p.len()];
    data.points
        .iter()
        .map(|point| {
            let model = fit.terms.effort(&fit.p, &point.at, &mut gradient).0;
            point.samples * (point.effort - model).powi(2)
        })
        .sum()
}

/// The fit with the candidate added, if it holds: in place, large enough, and still agreed on by the cycles.
fn with(data: &Data, fit: &Fit, candidate: Candidate) -> Option<Fit> {
    let (larger, index) = match candidate {
        Candidate::Knee { up_side, at_deg } => {
            let mut terms = fit.terms.clone();
            if up_side {
                terms.knee_up = true;
            } else {
                terms.knee_down = true;
            }
            let j = terms.knee_at(up_side);
            // From power the model is not linear: a stop is far from a mere stiffening.
            let sizes: &[f64] = if terms.power {
                &KNEE_SIZES
            } else {
                &KNEE_SIZES[..1]
            };
            let from = |size: &f64| {
                let mut start = fit.p.clone();
                let guess = size * start[STIFFNESS].abs().max(0.05);
                start.splice(j..j, [guess, at_deg]);
                Fit::new(data, &terms, &start)
            };
            (best_of(data, sizes.iter().filter_map(from))?, j)
        }
        Candidate::Spot {
            centre_deg,
            half_width_deg,
            when,
        } => {
            let as_form = |(form, wider): (Form, f64)| {
                let mut terms = fit.terms.clone();
                terms.spots.push(Spot { when, form });
                let j = fit.terms.calibration_at();
                let mut start = fit.p.clone();
                let guess = 0.5 * start[FRICTION].abs().max(0.1);
                start.splice(j..j, [guess, centre_deg, (wider * half_width_deg).ln()]);
                Fit::new(data, &terms, &start)
            };
            let best = best_of(data, FORMS.into_iter().filter_map(as_form));
            (best?, fit.terms.calibration_at())
        }
    };
    (larger.t_of(index) > STILL_AGREED
        && possible(data, &larger.terms, &larger.p)
        && holds(data, &larger))
    .then_some(larger)
}

/// The fit with the least misfit.
fn best_of(data: &Data, fits: impl Iterator<Item = Fit>) -> Option<Fit> {
    fits.map(|f| (misfit(data, &f), f))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|b| b.1)
}

/// Every feature of a fit is in place and large enough to matter.
fn holds(data: &Data, fit: &Fit) -> bool {
    let angles = || data.points.iter().map(|p| p.at.angle_deg);
    let (low, high) = (
        angles().fold(f64::INFINITY, f64::min),
        angles().fold(f64::NEG_INFINITY, f64::max),
    );
    let stiffness = fit.p[STIFFNESS];
    for up_side in [true, false] {
        if !(if up_side {
            fit.terms.knee_up
        } else {
            fit.terms.knee_down
        }) {
            continue;
        }
        let j = fit.terms.knee_at(up_side);
        let (more, at) = (fit.p[j], fit.p[j + 1]);
        if !(more > LEAST_KNEE * stiffness.max(0.0)
            && more > 0.0
            && at > low + 0.5
            && at < high - 0.5)
        {
            return false;
        }
    }
    let mut gradient = vec![0.0; fit.p.len()];
    let torques = data
        .points
        .iter()
        .map(|p| fit.terms.torque(&fit.p, &p.at, &mut gradient));
    let (least, most) = torques.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| {
        (a.min(t), b.max(t))
    });
    let (of_friction, of_span) = if fit.terms.power {
        (LEAST_SPOT_OF_FRICTION_BY_POWER, LEAST_SPOT_OF_SPAN_BY_POWER)
    } else {
        (LEAST_SPOT_OF_FRICTION, LEAST_SPOT_OF_SPAN)
    };
    let floor = (of_friction * fit.p[FRICTION]).max(of_span * (most - least));
    let spots_hold = fit.spots().all(|spot| {
        // From power, mostly one direction is seen: there friction must be seen to fall again on either side, for a rise up
        // to the end of the travel may as well be a knee.
        let half = if fit.terms.power {
            0.5 * spot.half_width_deg
        } else {
            0.0
        };
        spot.height_ncm > floor
            && spot.centre_deg - half > low
            && spot.centre_deg + half < high
            && (HALF_WIDTH_LIMITS_DEG.0..=HALF_WIDTH_LIMITS_DEG.1).contains(&spot.half_width_deg)
    });
    spots_hold && fit.p[NEUTRAL].is_finite()
}
