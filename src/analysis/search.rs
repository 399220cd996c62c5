//! One round of the search for knees and tight spots: every place, width and direction tried in the fit as it stands, and
//! whether the cycles agree on the best.

use nalgebra::{DMatrix, DVector};

use super::When;
use super::data::Data;
use super::features::{FALSE_ALARM_RATE, KNEE_FALSE_ALARM_RATE};
use super::fit::Fit;
use super::stats::student;

/// Half widths tried, °.
const HALF_WIDTHS_DEG: [f64; 5] = [1.2, 2.0, 3.2, 5.0, 7.5];
const MOST_SPOTS: usize = 3;
/// Places of knees that are not there, °.
const ABSENT_STEP_DEG: f64 = 0.5;
/// Student's t of the cycles at a place itself that pooled scatter asks for besides.
const AGREE_AS_WELL: f64 = 2.5;

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Candidate {
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

/// One round of the search: everything that is the same for all candidates.
pub(crate) struct Round<'a> {
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
    /// The weights themselves, cycle by point.
    weight_by_cycle: Vec<Vec<f64>>,
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
                // The biweight: near enough to a raised cosine for the search, and cheap.
                let x = (angle_deg - centre_deg) / half_width_deg;
                let height = || (1.0 - x * x).max(0.0).powi(2);
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
    pub fn new(data: &'a Data, fit: &'a Fit, step_deg: f64) -> Self {
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
        let mut weight_by_cycle = by_cycle.clone();
        for cell in &data.cells {
            let (model, _) = fit.terms.effort(&fit.p, &cell.at, &mut gradient);
            let w = cell.samples * fit.weight;
            by_cycle[cell.cycle][cell.point] += w * (cell.effort - model);
            weight_by_cycle[cell.cycle][cell.point] += w;
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
            weight_by_cycle,
            scores,
            by_angle,
            lowest_deg,
            highest_deg,
        }
    }

    /// The knee and the tight spot that explain most, as far as the cycles agree on them.
    pub fn best(&self, closed: &[Candidate]) -> Vec<Candidate> {
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
                let pooled = self.pooled(&trials, places);
                let best = trials
                    .into_iter()
                    .max_by(|a, b| a.gain.total_cmp(&b.gain))?;
                (self.chance(&best, pooled) * places < rate).then_some(best.candidate)
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
        let mut column = Vec::new();
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
                trials.extend(self.trial(candidate, &mut column));
                at += self.step_deg.max(0.4);
            }
        }
        trials
    }

    /// Scores of knees at every place from neutral outwards on a side that has none, up to half a degree from the end.
    pub fn absent_knees(&self, up_side: bool) -> Vec<ScoreOfOne> {
        let terms = &self.fit.terms;
        if up_side && terms.knee_up || !up_side && terms.knee_down {
            return Vec::new();
        }
        let (out, end) = if up_side {
            (1.0, self.highest_deg)
        } else {
            (-1.0, -self.lowest_deg)
        };
        let count = ((end - 0.5) / ABSENT_STEP_DEG).max(0.0) as usize;
        (0..=count)
            .map_while(|i| self.score_of(up_side, out * i as f64 * ABSENT_STEP_DEG))
            .collect()
    }

    fn score_of(&self, up_side: bool, at_deg: f64) -> Option<ScoreOfOne> {
        let candidate = Candidate::Knee { up_side, at_deg };
        let mut column = Vec::new();
        self.column(&candidate, &mut column);
        let agreement = self.agreement(&candidate);
        let (zz, gradients) = self.products(&column);
        // At the fit's own optimum nothing else pulls, a calibration's hold included.
        let parts = column.iter();
        let sum = parts
            .map(|&(i, z)| self.weights[i] * z * self.residuals[i])
            .sum();
        (column.len() >= 3 && agreement.own > 1e-6 * zz).then_some(ScoreOfOne {
            at_deg,
            sum,
            own: agreement.own,
            scatter: agreement.scatter,
            gradients,
        })
    }

    fn spots(&self, closed: &[Candidate]) -> Vec<Trial> {
        let mut trials = Vec::new();
        let mut column = Vec::new();
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
                        trials.extend(self.trial(spot, &mut column));
                    }
                }
                centre_deg += (0.25 * half_width_deg).max(self.step_deg);
            }
        }
        trials
    }

    /// What a term of this shape in the torque would explain; `None` where it would be negative or cannot be told apart.
    fn trial(&self, candidate: Candidate, column: &mut Vec<(usize, f64)>) -> Option<Trial> {
        self.column(&candidate, column);
        let zr: f64 = column
            .iter()
            .map(|&(i, z)| self.weights[i] * z * self.residuals[i])
            .sum();
        if column.len() < 3 || zr <= 0.0 {
            return None;
        }
        let (zz, jz) = self.products(column);
        let own = zz - (&self.fit.inverse * &jz).dot(&jz);
        (own > 1e-6 * zz).then(|| Trial {
            candidate,
            gain: zr * zr / own,
        })
    }

    /// ∂effort/∂(its size) at the points it changes, into `column` (thousands are tried: one buffer serves them all).
    fn column(&self, candidate: &Candidate, column: &mut Vec<(usize, f64)>) {
        column.clear();
        let (from, to) = candidate.reach_deg();
        let first = self.by_angle.partition_point(|p| p.0 <= from);
        for &(angle, i) in self.by_angle[first..].iter().take_while(|p| p.0 < to) {
            let z = candidate.shape(angle, self.data.points[i].at.up) * self.by_torque[i];
            if z != 0.0 {
                column.push((i, z));
            }
        }
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

    /// Chance of the cycles agreeing so well on nothing at this one place: by their own scatter there, or, since few cycles
    /// tell that badly, by the scatter they show at all places together, if they agree there as well.
    fn chance(&self, trial: &Trial, pooled: Pooled) -> f64 {
        let agreement = self.agreement(&trial.candidate);
        let n = self.by_cycle.len() as f64;
        // Few cycles may agree by luck: never believe less scatter than half of what single samples show.
        let least = 0.5 * agreement.own * self.fit.weight * self.data.sample_variance;
        let t = agreement.sum / agreement.scatter.max(least).sqrt();
        let by_own = 0.5 * student::t_two_sided_p(t, n - 1.0);
        if t < AGREE_AS_WELL {
            return by_own;
        }
        let t = agreement.sum / (pooled.ratio * agreement.own).max(least).sqrt();
        by_own.min(0.5 * student::t_two_sided_p(t, pooled.df))
    }

    /// The cycles' scatter over what independent samples would show, over all places tried (a sample of them).
    fn pooled(&self, trials: &[Trial], places: f64) -> Pooled {
        const MOST: usize = 40;
        let every = trials.len().div_ceil(MOST).max(1);
        let ratios: Vec<f64> = trials
            .iter()
            .step_by(every)
            .map(|t| self.agreement(&t.candidate))
            .map(|a| a.scatter / a.own.max(1e-300))
            .collect();
        let n = ratios.len().max(1) as f64;
        Pooled {
            ratio: ratios.iter().sum::<f64>() / n,
            df: (self.by_cycle.len() as f64 - 1.0) * places.min(n).max(1.0),
        }
    }

    /// What the cycles say of a candidate.
    fn agreement(&self, candidate: &Candidate) -> Agreement {
        let mut column = Vec::new();
        self.column(candidate, &mut column);
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
        // A cycle that lingered there (a hand does) counts for more, without speaking against the others: what is compared
        // is each cycle's score with its share of the size that all together make.
        let shares = self
            .weight_by_cycle
            .iter()
            .map(|w| column.iter().map(|&(i, z)| w[i] * z * z).sum::<f64>() / zz);
        let n = scores.len() as f64;
        let sum: f64 = scores.iter().sum();
        let apart = scores.iter().zip(shares).map(|(s, share)| s - share * sum);
        Agreement {
            sum,
            own,
            scatter: apart.map(|e| e * e).sum::<f64>() * n / (n - 1.0),
        }
    }
}

/// Score of a knee at one place: its sum, what one unit's would be with everything else fitted, the sum's variance by how
/// the cycles scatter, and its weighted products with the fit's own gradients.
pub(crate) struct ScoreOfOne {
    pub at_deg: f64,
    pub sum: f64,
    pub own: f64,
    pub scatter: f64,
    pub gradients: DVector<f64>,
}

/// Sum of the cycles' scores, what one unit's score would be, and the scatter of the sum.
struct Agreement {
    sum: f64,
    own: f64,
    scatter: f64,
}

#[derive(Clone, Copy)]
struct Pooled {
    ratio: f64,
    df: f64,
}
