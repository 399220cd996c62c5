//! Which knees and tight spots the data call for.
//!
//! Forward selection: at every round each place (and width, and direction) is tried in the fit as it stands; the one that
//! explains most is taken if the cycles agree on it. Agreement is Student's t of the cycles' scores, and its threshold is
//! divided by the number of independent places searched (Bonferroni; e.g. R. G. Miller, Simultaneous Statistical
//! Inference, 2nd ed., Springer 1981, section 1.3), so that the whole search raises a false alarm at the stated rate.

use nalgebra::{DMatrix, DVector};

use super::When;
use super::fit::{Data, Fit};
use super::law::{FRICTION, NEUTRAL, STIFFNESS, Spot, Terms, bump};
use super::stats::student;

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
/// Half widths tried, °.
const HALF_WIDTHS_DEG: [f64; 5] = [1.2, 2.0, 3.2, 5.0, 7.5];
const HALF_WIDTH_LIMITS_DEG: (f64, f64) = (0.5, 12.0);
const MOST_SPOTS: usize = 3;
/// Forms tried for a tight spot: powers of the raised cosine, with how much wider each starts.
const FORMS: [(i32, f64); 2] = [(1, 1.0), (8, 2.7)];
/// A tight spot reaches from where it stands out by this share of its height.
pub(crate) const FOOT: f64 = 0.05;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Candidate {
    Knee {
        up_side: bool,
        at_deg: f64,
    },
    Spot {
        centre_deg: f64,
        half_width_deg: f64,
        when: When,
    },
}

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

/// One round of the search: everything that is the same for all candidates.
struct Round<'a> {
    data: &'a Data,
    fit: &'a Fit,
    step_deg: f64,
    /// Gradients of the points, one a column, and ∂effort/∂torque.
    gradients: DMatrix<f64>,
    by_torque: Vec<f64>,
    weights: Vec<f64>,
    residuals: Vec<f64>,
    /// Weighted residual sums, cycle by point.
    by_cycle: Vec<Vec<f64>>,
    /// Score of every cycle by the fit's own parameters.
    scores: Vec<DVector<f64>>,
    /// Points in the order of their angles.
    by_angle: Vec<(f64, usize)>,
    lowest_deg: f64,
    highest_deg: f64,
}

struct Trial {
    candidate: Candidate,
    gain: f64,
}

impl Candidate {
    /// The stretch of the travel that it changes.
    fn reach_deg(&self) -> (f64, f64) {
        match *self {
            Candidate::Knee {
                up_side: true,
                at_deg,
            } => (at_deg, f64::INFINITY),
            Candidate::Knee {
                up_side: false,
                at_deg,
            } => (f64::NEG_INFINITY, at_deg),
            Candidate::Spot {
                centre_deg,
                half_width_deg,
                ..
            } => (centre_deg - half_width_deg, centre_deg + half_width_deg),
        }
    }

    /// What one unit of it adds to the torque, within its reach.
    fn shape(&self, angle_deg: f64, up: bool) -> f64 {
        match *self {
            Candidate::Knee { at_deg, .. } => angle_deg - at_deg,
            Candidate::Spot {
                centre_deg,
                half_width_deg,
                when,
            } => {
                let height = || bump(angle_deg, centre_deg, half_width_deg, 1).0;
                match (when, up) {
                    (When::Up | When::Both, true) => height(),
                    (When::Down | When::Both, false) => -height(),
                    _ => 0.0,
                }
            }
        }
    }
}

impl<'a> Round<'a> {
    fn new(data: &'a Data, fit: &'a Fit, step_deg: f64) -> Self {
        let (points, count) = (data.points.len(), fit.p.len());
        let mut gradients = DMatrix::zeros(count, points);
        let mut by_angle = Vec::with_capacity(points);
        let mut by_torque = Vec::with_capacity(points);
        let mut residuals = Vec::with_capacity(points);
        let mut gradient = vec![0.0; count];
        let (mut lowest_deg, mut highest_deg) = (f64::INFINITY, f64::NEG_INFINITY);
        for (i, point) in data.points.iter().enumerate() {
            let (model, slope) = fit.terms.effort(&fit.p, &point.at, &mut gradient);
            residuals.push(point.effort - model);
            by_torque.push(slope);
            gradients.column_mut(i).copy_from_slice(&gradient);
            by_angle.push((point.at.angle_deg, i));
            lowest_deg = lowest_deg.min(point.at.angle_deg);
            highest_deg = highest_deg.max(point.at.angle_deg);
        }
        by_angle.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut by_cycle = vec![vec![0.0; points]; data.cycles];
        for cell in &data.cells {
            let (model, _) = fit.terms.effort(&fit.p, &cell.at, &mut gradient);
            by_cycle[cell.cycle][cell.point] += cell.samples * fit.weight * (cell.effort - model);
        }
        let scores = by_cycle
            .iter()
            .map(|r| &gradients * DVector::from_column_slice(r))
            .collect();
        Round {
            data,
            fit,
            step_deg,
            weights: data.points.iter().map(|p| p.samples * fit.weight).collect(),
            gradients,
            by_torque,
            residuals,
            by_cycle,
            scores,
            by_angle,
            lowest_deg,
            highest_deg,
        }
    }

    /// The knee and the tight spot that explain most, as far as the cycles agree on them.
    fn best(&self, closed: &[Candidate]) -> Vec<Candidate> {
        let searches = [
            (
                self.knees(closed),
                self.knee_places(),
                KNEE_FALSE_ALARM_RATE,
            ),
            (self.spots(closed), self.spot_places(), FALSE_ALARM_RATE),
        ];
        searches
            .into_iter()
            .filter_map(|(trials, places, rate)| {
                let best = trials
                    .into_iter()
                    .max_by(|a, b| a.gain.total_cmp(&b.gain))?;
                (self.chance(&best) * places < rate).then_some(best.candidate)
            })
            .collect()
    }

    fn travel_deg(&self) -> f64 {
        self.highest_deg - self.lowest_deg
    }
    /// Independent places of a knee: about one in two degrees, both sides.
    fn knee_places(&self) -> f64 {
        (self.travel_deg() / 2.0).max(2.0)
    }
    /// Independent tight spots: places a width apart, for every width and direction tried.
    fn spot_places(&self) -> f64 {
        3.0 * HALF_WIDTHS_DEG
            .iter()
            .map(|w| (self.travel_deg() / w).max(1.0))
            .sum::<f64>()
    }

    fn knees(&self, closed: &[Candidate]) -> Vec<Trial> {
        let margin = (0.06 * self.travel_deg()).max(1.5);
        let mut trials = Vec::new();
        for up_side in [true, false] {
            let present = if up_side {
                self.fit.terms.knee_up
            } else {
                self.fit.terms.knee_down
            };
            let shut = closed
                .iter()
                .any(|c| matches!(c, Candidate::Knee { up_side: u, .. } if *u == up_side));
            if present || shut {
                continue;
            }
            // A knee belongs to its own side of neutral, or of the travel's middle where neutral is not in it.
            let neutral = 0.0_f64.clamp(
                self.lowest_deg + margin,
                (self.highest_deg - margin).max(self.lowest_deg + margin),
            );
            let (mut at, end) = if up_side {
                (neutral, self.highest_deg - margin)
            } else {
                (self.lowest_deg + margin, neutral)
            };
            while at <= end {
                let candidate = Candidate::Knee {
                    up_side,
                    at_deg: at,
                };
                trials.extend(self.trial(candidate));
                at += self.step_deg.max(0.4);
            }
        }
        trials
    }

    fn spots(&self, closed: &[Candidate]) -> Vec<Trial> {
        let mut trials = Vec::new();
        if self.fit.terms.spots.len() >= MOST_SPOTS {
            return trials;
        }
        // One place has one tight spot: what its form leaves over is no second one.
        let taken = self.fit.spots().map(|s| (s.centre_deg, s.half_width_deg));
        let refused = closed.iter().filter_map(|c| match c {
            Candidate::Spot {
                centre_deg,
                half_width_deg,
                ..
            } => Some((*centre_deg, *half_width_deg)),
            Candidate::Knee { .. } => None,
        });
        let occupied: Vec<(f64, f64)> = taken.chain(refused).collect();
        let shut = |centre: f64, half: f64| {
            occupied
                .iter()
                .any(|(at, width)| (at - centre).abs() < width.max(half))
        };
        for half_width_deg in HALF_WIDTHS_DEG
            .into_iter()
            .filter(|w| *w >= 1.5 * self.step_deg)
        {
            let mut centre_deg = self.lowest_deg + 0.5 * half_width_deg;
            while centre_deg < self.highest_deg - 0.5 * half_width_deg {
                if !shut(centre_deg, half_width_deg) {
                    for when in [When::Up, When::Down, When::Both] {
                        let spot = Candidate::Spot {
                            centre_deg,
                            half_width_deg,
                            when,
                        };
                        trials.extend(self.trial(spot));
                    }
                }
                centre_deg += (0.25 * half_width_deg).max(self.step_deg);
            }
        }
        trials
    }

    /// What a term of this shape in the torque would explain; `None` where it would be negative or cannot be told apart.
    fn trial(&self, candidate: Candidate) -> Option<Trial> {
        let mut zr = 0.0;
        let column = self.column(&candidate);
        for &(i, z) in &column {
            zr += self.weights[i] * z * self.residuals[i];
        }
        if column.len() < 3 || zr <= 0.0 {
            return None;
        }
        let (zz, jz) = self.products(&column);
        let own = zz - (&self.fit.inverse * &jz).dot(&jz);
        (own > 1e-6 * zz).then(|| Trial {
            candidate,
            gain: zr * zr / own,
        })
    }

    /// ∂effort/∂(its size) at the points it changes.
    fn column(&self, candidate: &Candidate) -> Vec<(usize, f64)> {
        let (from, to) = candidate.reach_deg();
        let first = self.by_angle.partition_point(|p| p.0 <= from);
        let last = self.by_angle.partition_point(|p| p.0 < to);
        self.by_angle[first..last.max(first)]
            .iter()
            .map(|&(angle, i)| {
                (
                    i,
                    candidate.shape(angle, self.data.points[i].at.up) * self.by_torque[i],
                )
            })
            .filter(|(_, z)| *z != 0.0)
            .collect()
    }

    /// Weighted products of a column with itself and with the fit's own.
    fn products(&self, column: &[(usize, f64)]) -> (f64, DVector<f64>) {
        let mut jz = DVector::zeros(self.gradients.nrows());
        let mut zz = 0.0;
        for &(i, z) in column {
            let wz = self.weights[i] * z;
            zz += wz * z;
            jz.axpy(wz, &self.gradients.column(i), 1.0);
        }
        (zz, jz)
    }

    /// Chance of the cycles agreeing so well on nothing at this one place.
    fn chance(&self, trial: &Trial) -> f64 {
        let column = self.column(&trial.candidate);
        let (zz, jz) = self.products(&column);
        let through = &self.fit.inverse * &jz;
        let own = zz - jz.dot(&through);
        let scores: Vec<f64> = self
            .by_cycle
            .iter()
            .zip(&self.scores)
            .map(|(r, score)| {
                column.iter().map(|&(i, z)| z * r[i]).sum::<f64>() - through.dot(score)
            })
            .collect();
        let n = scores.len() as f64;
        let mean = scores.iter().sum::<f64>() / n;
        let scatter = scores.iter().map(|s| (s - mean).powi(2)).sum::<f64>() * n / (n - 1.0);
        // Few cycles may agree by luck: never believe less scatter than half of what single samples show.
        let variance = scatter.max(0.5 * own * self.fit.weight * self.data.sample_variance);
        0.5 * student::t_two_sided_p(n * mean / variance.sqrt(), n - 1.0)
    }
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
            let as_form = |(power, wider): (i32, f64)| {
                let mut terms = fit.terms.clone();
                terms.spots.push(Spot { when, power });
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
    let agreed =
        0.5 * student::t_two_sided_p(larger.t_of(index), larger.df.max(1.0)) < FALSE_ALARM_RATE;
    (agreed && possible(data, &larger.terms, &larger.p) && holds(data, &larger)).then_some(larger)
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
