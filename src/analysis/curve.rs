//! The fitted law of one surface: how long friction takes to build up after a reversal, the fit, and what is drawn of it.

use super::arm::Ratio;
use super::budget::{self, AbsentKnee};
use super::cells::{Cell, Cells};
use super::data::{Data, Prior};
use super::features;
use super::fit::{Fit, FittedSpot};
use super::law::{FRICTION, NEUTRAL, STIFFNESS, State};
use super::study::LAG_S;
use super::{Curve, FitPoint, Knee, Quantity, TightSpot, TorquePoint};

/// Nothing is kept from the first stretch after a reversal of at most this share of the travel, °, while the curve is
/// still unknown; and the least and most that may be left out in the end.
const FIRST_LEFT_OUT: f64 = 0.18;
const MOST_LEFT_OUT: f64 = 0.35;
const LEAST_LEFT_OUT_DEG: f64 = 0.5;
/// Friction counts as built up once what is missing is below this share of it, or below twice its own scatter.
const BUILT_UP: f64 = 0.02;
/// Stretch over which a mean that stands off the curve is a misfit and no noise, °.
const STANDS_OFF_OVER_DEG: f64 = 1.5;
/// Steps in a row without anything missing that end the stretch.
const STEPS_IN_LINE: usize = 4;
/// Speeds that vary by more than this (coefficient of variation) can tell viscous from dry friction.
pub(crate) const SPEED_VARIES: f64 = 0.3;

/// What the fit needs besides the cells.
pub(crate) struct Means<'a> {
    pub ratio: &'a Ratio,
    pub prior: Option<Prior>,
    /// Winding loss now over that at the reference temperature, by stroke number.
    pub winding_factor: &'a dyn Fn(usize) -> f64,
    pub cycles: usize,
    pub travel_deg: f64,
    pub scale_u: f64,
    pub angle_scale_u: f64,
    pub place_u_deg: f64,
}

pub(crate) struct Fitted {
    pub fit: Fit,
    /// Left out after each reversal, °.
    pub since_deg: f64,
    /// The speed that friction is quoted at, °/s.
    pub speed_deg_s: f64,
    pub lowest_deg: f64,
    pub highest_deg: f64,
    /// What was known of the servo beforehand.
    pub prior: Option<Prior>,
    pub absent_knees: [Vec<AbsentKnee>; 2],
}

impl Means<'_> {
    pub fn state(&self, cell: &Cell) -> State {
        State {
            angle_deg: cell.angle_deg,
            up: cell.up,
            speed_deg_s: cell.speed_deg_s,
            // A measured torque asks for neither.
            ratio: if self.prior.is_some() {
                self.ratio.at(cell.angle_deg)
            } else {
                1.0
            },
            winding_factor: (self.winding_factor)(cell.stroke),
        }
    }

    fn data(&self, cells: &Cells, since_deg: f64) -> Data {
        Data::new(
            &cells.cells,
            cells.steps,
            self.cycles,
            self.prior.clone(),
            |c| self.state(c),
            |c| c.since_deg > since_deg,
        )
    }

    /// Fits with a generous stretch left out, sees from that how long friction takes to build up, and fits again.
    pub fn fit(&self, cells: &Cells) -> Option<Fitted> {
        let viscous = self.prior.is_none() && speed_variation(&cells.cells) > SPEED_VARIES;
        let mut since_deg = (FIRST_LEFT_OUT * self.travel_deg).clamp(1.0, 9.0);
        let mut fit = self.fit_with(cells, since_deg, viscous, None)?;
        for _ in 0..2 {
            let built = self.built_up_after(cells, &fit, since_deg);
            if (built - since_deg).abs() <= cells.step_deg {
                break;
            }
            since_deg = built;
            fit = self.fit_with(cells, since_deg, viscous, Some(&fit))?;
        }
        let data = self.data(cells, since_deg);
        let angles = || data.points.iter().map(|p| p.at.angle_deg);
        let samples: f64 = data.cells.iter().map(|c| c.samples).sum();
        let speed_deg_s = data
            .cells
            .iter()
            .map(|c| c.samples * c.at.speed_deg_s)
            .sum::<f64>()
            / samples;
        // Scores go with the weights of the points, not with strokes that each have a level of their own.
        let by_points = (!fit.terms.power)
            .then(|| Fit::new(&data, &fit.terms, &fit.p))
            .flatten();
        let scored = by_points.as_ref().unwrap_or(&fit);
        let absent_knees = budget::absent_knees(&data, scored, fit.scale_u, cells.step_deg);
        Some(Fitted {
            lowest_deg: angles().fold(f64::INFINITY, f64::min),
            highest_deg: angles().fold(f64::NEG_INFINITY, f64::max),
            fit,
            since_deg,
            speed_deg_s,
            absent_knees,
            prior: self.prior.clone(),
        })
    }

    /// `before`: what was found with another stretch left out; its features are kept as far as they hold.
    fn fit_with(
        &self,
        cells: &Cells,
        since_deg: f64,
        viscous: bool,
        before: Option<&Fit>,
    ) -> Option<Fit> {
        let data = self.data(cells, since_deg);
        let up = data.points.iter().filter(|p| p.at.up).count();
        if up < 4 || data.points.len() - up < 4 {
            return None;
        }
        let start = match before.and_then(|b| features::again(&data, b)) {
            Some(fit) => fit,
            None => Self::base(&data, viscous)?,
        };
        let mut fit = features::choose(&data, start, cells.step_deg)
            .levelled(&data)
            .refitted(&data)
            .weight_counted(&data);
        fit.scale_u = self.scale_u;
        fit.angle_scale_u = self.angle_scale_u;
        fit.place_u_deg = self.place_u_deg;
        Some(fit)
    }

    fn base(data: &Data, viscous: bool) -> Option<Fit> {
        let base = features::base(data, viscous)?;
        if viscous && base.t_of(base.terms.viscous_at()).abs() < 3.0 {
            return features::base(data, false);
        }
        Some(base)
    }

    /// Travel after a reversal from which on the strokes follow the fitted curve.
    fn built_up_after(&self, cells: &Cells, fit: &Fit, tried_deg: f64) -> f64 {
        let most = (MOST_LEFT_OUT * self.travel_deg).max(LEAST_LEFT_OUT_DEG);
        let step = cells.step_deg;
        let bins = (most / step).ceil() as usize + 1;
        let mut sums = vec![[0.0_f64; 3]; bins];
        let mut gradient = vec![0.0; fit.p.len()];
        for cell in &cells.cells {
            let bin = (cell.since_deg / step) as usize;
            if bin >= bins {
                continue;
            }
            let at = self.state(cell);
            let (model, by_torque) = fit.terms.effort(&fit.p, &at, &mut gradient);
            // Missing friction: less effort the way the surface moves, as torque.
            if by_torque.abs() < 1e-9 {
                continue;
            }
            let missing = at.sign() * (model - cell.effort) / by_torque;
            sums[bin][0] += 1.0;
            sums[bin][1] += missing;
            sums[bin][2] += missing * missing;
        }
        let floor = BUILT_UP * fit.p[FRICTION].abs();
        // Up to the first few steps in a row where nothing is missing: further on, a step out of line is chance, or another
        // matter than friction that builds up.
        let (mut built, mut in_a_row) = (0, 0);
        for (bin, [n, sum, squares]) in sums.iter().enumerate() {
            if *n < 3.0 {
                continue;
            }
            let mean = sum / n;
            let u = ((squares / n - mean * mean).max(0.0) / (n - 1.0)).sqrt();
            if mean > floor.max(2.5 * u) && bin as f64 * step <= tried_deg.max(0.6 * most) {
                built = bin + 1;
                in_a_row = 0;
            } else {
                in_a_row += 1;
                if in_a_row == STEPS_IN_LINE {
                    break;
                }
            }
        }
        // What is missing decays: from all of it (2 F, a reversal) to a fiftieth takes ln 100 decay lengths, to a
        // thousandth ln 2000: 1.65 times as far. The last step found is taken whole.
        (1.65 * built as f64 * step + 0.5 * step).clamp(LEAST_LEFT_OUT_DEG, most)
    }
}

pub(crate) fn speed_variation(cells: &[Cell]) -> f64 {
    let n: f64 = cells.iter().map(|c| c.samples).sum();
    if n == 0.0 {
        return 0.0;
    }
    let mean = cells.iter().map(|c| c.samples * c.speed_deg_s).sum::<f64>() / n;
    let variance = cells
        .iter()
        .map(|c| c.samples * (c.speed_deg_s - mean).powi(2))
        .sum::<f64>()
        / n;
    if mean > 0.0 {
        variance.sqrt() / mean
    } else {
        0.0
    }
}

impl Fitted {
    /// The furthest that the strokes' mean stands off the fitted curve over a stretch of a degree or so, N·cm, and where.
    /// From power nothing is said: what it tells of torque differs from place to place.
    pub fn stands_off(&self, means: &Means, cells: &Cells) -> Option<(f64, f64)> {
        if self.fit.terms.power {
            return None;
        }
        let data = means.data(cells, self.since_deg);
        let width = ((STANDS_OFF_OVER_DEG / cells.step_deg).round() as usize).max(3);
        let mut gradient = vec![0.0; self.fit.p.len()];
        let mut furthest: Option<(f64, f64)> = None;
        for up in [true, false] {
            let mut off: Vec<(f64, f64)> = data
                .points
                .iter()
                .filter(|p| p.at.up == up)
                .map(|p| {
                    let model = self.fit.terms.effort(&self.fit.p, &p.at, &mut gradient).0;
                    (p.at.angle_deg, p.effort - model)
                })
                .collect();
            off.sort_by(|a, b| a.0.total_cmp(&b.0));
            for near in off.windows(width) {
                let mean = near.iter().map(|o| o.1).sum::<f64>() / width as f64;
                if furthest.is_none_or(|f| mean.abs() > f.0.abs()) {
                    furthest = Some((mean, near[width / 2].0));
                }
            }
        }
        furthest
    }

    pub fn gradient(&self, entries: &[(usize, f64)]) -> Vec<f64> {
        let mut gradient = vec![0.0; self.fit.p.len()];
        for (i, g) in entries {
            gradient[*i] += g;
        }
        gradient
    }

    /// Half the distance between the branches at the recording's speed, tight spots left out.
    pub fn friction(&self) -> Quantity {
        let (value, gradient) = self.friction_and_gradient();
        self.fit.torque(value, &gradient)
    }

    pub fn friction_and_gradient(&self) -> (f64, Vec<f64>) {
        let fit = &self.fit;
        let mut entries = vec![(FRICTION, 1.0)];
        let mut value = fit.p[FRICTION];
        if fit.terms.viscous {
            let j = fit.terms.viscous_at();
            value += self.speed_deg_s * fit.p[j];
            entries.push((j, self.speed_deg_s));
        }
        (value, self.gradient(&entries))
    }

    pub fn torque_at(&self, angle_deg: f64, up: bool) -> (f64, Vec<f64>) {
        let at = State {
            angle_deg,
            up,
            speed_deg_s: self.speed_deg_s,
            ratio: 1.0,
            winding_factor: 1.0,
        };
        let mut gradient = vec![0.0; self.fit.p.len()];
        let torque = self.fit.terms.torque(&self.fit.p, &at, &mut gradient);
        (torque, gradient)
    }

    fn knees(&self) -> Vec<Knee> {
        let (fit, terms) = (&self.fit, &self.fit.terms);
        let mut knees = Vec::new();
        for up_side in [true, false] {
            if !(if up_side {
                terms.knee_up
            } else {
                terms.knee_down
            }) {
                continue;
            }
            let j = terms.knee_at(up_side);
            let beyond = fit.p[STIFFNESS] + fit.p[j];
            knees.push(Knee {
                up_side,
                at_deg: fit.place_parameter(j + 1),
                stiffness_beyond_ncm_per_deg: fit
                    .stiffness(beyond, &self.gradient(&[(STIFFNESS, 1.0), (j, 1.0)])),
                ratio: beyond / fit.p[STIFFNESS].max(1e-9),
            });
        }
        knees
    }

    /// Share of a spot's height that the filter of the current's readings may take: a filter of the first order with a time
    /// constant of τ spreads the readings by a standard deviation of τ, which lowers a peak by half its curvature times the
    /// variance. τ is known as 0 ± [`LAG_S`] and normal, so the root mean square of τ² is √3·LAG_S².
    pub fn lost_to_filter(&self, spot: &FittedSpot) -> f64 {
        if !self.fit.terms.power {
            return 0.0;
        }
        let smeared_deg = self.speed_deg_s * LAG_S;
        0.5 * 3.0_f64.sqrt() * spot.curvature_per_deg2 * smeared_deg * smeared_deg
    }

    fn tight_spots(&self) -> Vec<TightSpot> {
        let mut spots: Vec<TightSpot> = self
            .fit
            .spots()
            .map(|spot| TightSpot {
                from_deg: spot.centre_deg - spot.half_width_deg,
                at_deg: self.fit.place_parameter(spot.at + 1),
                to_deg: spot.centre_deg + spot.half_width_deg,
                height_ncm: self
                    .fit
                    .height_parameter(spot.at, self.lost_to_filter(&spot)),
                when: spot.when,
            })
            .collect();
        spots.sort_by(|a, b| a.at_deg.value.total_cmp(&b.at_deg.value));
        spots
    }

    /// The contract's curve, and what the plots need.
    pub fn curve(&self, means: &Means, cells: &Cells) -> Curve {
        let (points, residual_ncm) = self.points(means, cells);
        Curve {
            stiffness_ncm_per_deg: self
                .fit
                .stiffness(self.fit.p[STIFFNESS], &self.fit.unit(STIFFNESS)),
            friction_ncm: self.friction(),
            neutral_torque_ncm: self.fit.torque_parameter(NEUTRAL),
            knees: self.knees(),
            tight_spots: self.tight_spots(),
            residual_ncm,
            fit: self.branches(),
            points,
            not_observable: self.not_observable(means, cells),
        }
    }

    fn branches(&self) -> Vec<FitPoint> {
        const COUNT: usize = 120;
        (0..=COUNT)
            .map(|i| {
                let angle_deg = self.lowest_deg
                    + (self.highest_deg - self.lowest_deg) * i as f64 / COUNT as f64;
                let (up_ncm, gradient) = self.torque_at(angle_deg, true);
                let (down_ncm, _) = self.torque_at(angle_deg, false);
                let quantity = self.fit.torque(up_ncm, &gradient);
                let band_ncm = quantity.interval.map_or(0.0, |i| i.hi95 - up_ncm);
                FitPoint {
                    angle_deg,
                    up_ncm,
                    down_ncm,
                    band_ncm,
                }
            })
            .collect()
    }

    /// Measured torque by cell (from power: solved for torque where power tells it), and the rms about the curve.
    fn points(&self, means: &Means, cells: &Cells) -> (Vec<TorquePoint>, f64) {
        let fit = &self.fit;
        let mut gradient = vec![0.0; fit.p.len()];
        let (mut ss, mut n) = (0.0, 0.0);
        let mut points = Vec::with_capacity(cells.cells.len());
        for cell in &cells.cells {
            let at = means.state(cell);
            let used = cell.since_deg > self.since_deg;
            let (model, by_torque) = fit.terms.effort(&fit.p, &at, &mut gradient);
            let (torque_ncm, u_ncm) = if fit.terms.power {
                let Some(found) = self.torque_from_power(cell, &at, model) else {
                    continue;
                };
                found
            } else {
                (cell.effort, (fit.sample_variance / cell.samples).sqrt())
            };
            if used && by_torque != 0.0 {
                let residual = (cell.effort - model) / by_torque;
                ss += cell.samples * residual * residual;
                n += cell.samples;
            }
            points.push(TorquePoint {
                angle_deg: cell.angle_deg,
                torque_ncm,
                u_ncm,
                moving_up: cell.up,
                used,
            });
        }
        (points, (ss / f64::max(n, 1.0)).sqrt())
    }

    /// The power balance solved for the surface's torque, N·cm, with its standard uncertainty from the power's noise;
    /// `None` where the fitted law puts power within two of those of idle, so that only a bound is known. (Chosen by what is
    /// expected, not by what was read: readings picked for being high would be.)
    fn torque_from_power(&self, cell: &Cell, at: &State, expected_w: f64) -> Option<(f64, f64)> {
        let fit = &self.fit;
        let j = fit.terms.calibration_at();
        let (idle, winding) = (fit.p[j], fit.p[j + 1] * at.winding_factor);
        let friction = fit.p[j + 2];
        let arm_rad_s = (at.speed_deg_s / at.ratio).to_radians();
        let noise_w = (fit.sample_variance / cell.samples).sqrt();
        if expected_w - idle < 2.0 * noise_w {
            return None;
        }
        let power = (cell.effort - idle).max(0.0);
        // a·x² + ω·x = P: the positive root, in the form that keeps its digits.
        let x = 2.0 * power / (arm_rad_s + (arm_rad_s * arm_rad_s + 4.0 * winding * power).sqrt());
        let gear = fit.p[j + if x >= friction { 3 } else { 4 }];
        let to_surface = 100.0 / ((1.0 + gear) * at.ratio);
        let u_x = noise_w / (2.0 * winding * x + arm_rad_s);
        Some((at.sign() * (x - friction) * to_surface, u_x * to_surface))
    }

    /// Where by the fitted law power stands at idle whatever the torque, since the load drives the servo, or too near to
    /// idle for a single stroke to show it.
    fn not_observable(&self, means: &Means, cells: &Cells) -> Vec<(f64, f64, bool)> {
        let fit = &self.fit;
        let Some([idle, ..]) = fit.servo() else {
            return Vec::new();
        };
        let samples: f64 = cells.cells.iter().map(|c| c.samples).sum();
        let noise_w = (fit.sample_variance * cells.cells.len() as f64 / samples).sqrt();
        let mut stretches: Vec<(f64, f64, bool)> = Vec::new();
        let mut gradient = vec![0.0; fit.p.len()];
        const COUNT: usize = 200;
        let step = (self.highest_deg - self.lowest_deg) / COUNT as f64;
        for up in [true, false] {
            let mut open: Option<f64> = None;
            for i in 0..=COUNT {
                let angle_deg = self.lowest_deg + step * i as f64;
                let at = State {
                    angle_deg,
                    up,
                    speed_deg_s: self.speed_deg_s,
                    ratio: means.ratio.at(angle_deg),
                    winding_factor: 1.0,
                };
                let (power, by_torque) = fit.terms.effort(&fit.p, &at, &mut gradient);
                let hidden = by_torque == 0.0 || power - idle < 2.0 * noise_w;
                match (hidden, open) {
                    (true, None) => open = Some(angle_deg),
                    (false, Some(from)) => {
                        stretches.push((from, angle_deg, up));
                        open = None;
                    }
                    _ => {}
                }
            }
            stretches.extend(open.map(|from| (from, self.highest_deg, up)));
        }
        stretches
    }
}
