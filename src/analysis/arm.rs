//! How the servo's arm and the surface go together: gear ratio, and the loop between them that slop opens.

use nalgebra::DMatrix;

use super::cells::{Cell, Cells};
use super::curve::{SPEED_VARIES, speed_variation};
use super::fit::Fit;
use super::law::State;
use super::motion::Motion;
use super::series::Series;
use super::stats::{regression, robust, student};
use super::{Quantity, RatioSource};
use crate::aircraft::Linkage;
use crate::aircraft::linkage::LinkageSolver;
use crate::recording::Channel;

/// Standard uncertainty of slop that comes from choosing places by their gap, ° (assumed).
const CHOSEN_BY_GAP_DEG: f64 = 0.03;

/// dθ/dα, surface degrees per arm degree, against deflection.
pub(crate) struct Ratio {
    pub source: RatioSource,
    kind: Kind,
}

enum Kind {
    /// Arm angle as a polynomial of surface angle: of fourth degree where there are data for it, since a four-bar linkage's
    /// ratio is its slope and a cubic's slope is off by half a per cent.
    Polynomial(Track),
    FourBar(LinkageSolver),
    One,
}

impl Ratio {
    pub fn at(&self, angle_deg: f64) -> f64 {
        match &self.kind {
            Kind::Polynomial(track) => 1.0 / track.slope(angle_deg).abs().max(1e-3),
            Kind::FourBar(solver) => solver.ratio_at_surface_deg(angle_deg).unwrap_or(1.0),
            Kind::One => 1.0,
        }
    }

    /// From the arm's angle, else from the linkage, else from the pulse, else taken as one to one.
    pub fn pick(
        arm: Option<&Track>,
        linkage: Option<&Linkage>,
        pulse: Option<&Track>,
        arm_deg_per_us: Option<f64>,
    ) -> Self {
        if let Some(track) = arm {
            return Self {
                source: RatioSource::ArmAngle,
                kind: Kind::Polynomial(track.clone()),
            };
        }
        if let Some(solver) = linkage.and_then(LinkageSolver::new) {
            return Self {
                source: RatioSource::Linkage,
                kind: Kind::FourBar(solver),
            };
        }
        if let Some((track, scale)) = pulse.zip(arm_deg_per_us) {
            return Self {
                source: RatioSource::Pulse,
                kind: Kind::Polynomial(track.scaled(scale)),
            };
        }
        Self {
            source: RatioSource::AssumedOne,
            kind: Kind::One,
        }
    }
}

/// A driving quantity (arm angle, or pulse) as a polynomial of the surface's angle, with an offset between the two directions.
#[derive(Clone)]
pub(crate) struct Track {
    /// Of (θ − middle)/half.
    coefficients: [f64; 6],
    middle_deg: f64,
    half_deg: f64,
    cells: Vec<Cell>,
    steps: usize,
}

impl Track {
    pub fn find(series: &Series, motion: &Motion, channel: Channel) -> Option<Self> {
        let cells = Cells::gather(motion, series.column(channel)?);
        let track = Self {
            coefficients: [0.0; 6],
            middle_deg: 0.5 * (motion.highest_deg + motion.lowest_deg),
            half_deg: (0.5 * motion.travel_deg()).max(1e-6),
            steps: cells.steps,
            cells: cells.cells,
        };
        track.fitted(None)
    }

    /// The same track, with play told apart: on which side of its play the linkage stands follows the torque's sign. Left
    /// in, play bends the track where the torque changes sign, and with it the gear ratio.
    pub fn refined(&self, curve: &Fit) -> Option<Self> {
        self.fitted(Some(curve))
    }

    fn fitted(&self, curve: Option<&Fit>) -> Option<Self> {
        let rows = &self.cells;
        let order = if rows.len() > 200 {
            5
        } else if rows.len() > 40 {
            4
        } else {
            2
        };
        let both = rows.iter().any(|c| c.up) && rows.iter().any(|c| !c.up);
        let sign = |up| if up { 1.0 } else { -1.0 };
        let mut columns: Vec<Vec<f64>> = (0..order)
            .map(|k| {
                let x = |c: &Cell| (c.angle_deg - self.middle_deg) / self.half_deg;
                rows.iter().map(|c| x(c).powi(k)).collect()
            })
            .collect();
        if both {
            columns.push(rows.iter().map(|c| sign(c.up)).collect());
        }
        if let Some(fit) = curve {
            let side: Vec<f64> = rows
                .iter()
                .map(|c| torque_of(fit, c.angle_deg, c.up).signum())
                .collect();
            // Where friction outweighs the spring everywhere the torque's sign is the direction's: nothing to tell apart.
            if rows.iter().zip(&side).any(|(c, s)| *s != sign(c.up)) {
                columns.push(side);
            }
        }
        let design = DMatrix::from_fn(rows.len(), columns.len(), |i, k| columns[k][i]);
        let y: Vec<f64> = rows.iter().map(|c| c.effort).collect();
        let w: Vec<f64> = rows.iter().map(|c| c.samples).collect();
        let fit = regression::weighted_least_squares(&design, &y, Some(&w))?;
        let mut track = self.clone();
        track.coefficients = [0.0; 6];
        track.coefficients[..order as usize].copy_from_slice(&fit.coefficients[..order as usize]);
        Some(track)
    }

    fn scaled(&self, by: f64) -> Self {
        let mut scaled = self.clone();
        for c in &mut scaled.coefficients {
            *c *= by;
        }
        scaled
    }

    /// d(driving quantity)/dθ.
    pub fn slope(&self, angle_deg: f64) -> f64 {
        let x = ((angle_deg - self.middle_deg) / self.half_deg).clamp(-1.0, 1.0);
        let rises = self.coefficients.iter().enumerate().rev();
        let slope = rises
            .take(self.coefficients.len() - 1)
            .fold(0.0, |sum, (k, c)| sum * x + k as f64 * c);
        slope / self.half_deg
    }

    /// The driving quantity and the surface go together: what the track leaves over is small against what it spans.
    pub fn follows(&self) -> bool {
        const MOST_LEFT_OVER: f64 = 0.2;
        let low = self.value(self.middle_deg - self.half_deg);
        let high = self.value(self.middle_deg + self.half_deg);
        let spans = 0.5 * (high - low).abs();
        let left: Vec<f64> = self
            .cells
            .iter()
            .map(|c| (c.effort - self.value(c.angle_deg)).abs())
            .collect();
        robust::median(&left).is_some_and(|left| left < MOST_LEFT_OVER * spans)
    }

    fn value(&self, angle_deg: f64) -> f64 {
        let x = (angle_deg - self.middle_deg) / self.half_deg;
        self.coefficients
            .iter()
            .rev()
            .fold(0.0, |sum, c| sum * x + c)
    }

    /// The driving quantity runs against the surface.
    pub fn reversed(&self) -> bool {
        self.slope(self.middle_deg) < 0.0
    }

    /// Free play in degrees of the surface: how much further apart the two directions stand where the torque changes
    /// sign between them than where it does not.
    ///
    /// Where the hinge's spring outweighs friction the linkage stays on one side and play does not show; there the gap is
    /// what lag and give of the linkage alone make of it. `lags`: the driving quantity runs ahead in time (a pulse), so
    /// that without such a stretch to compare with nothing can be said.
    pub fn slop_deg(
        &self,
        curve: Option<&Fit>,
        motion: &Motion,
        since_deg: f64,
        lags: bool,
    ) -> Option<Quantity> {
        if lags && speed_variation(&self.cells) > SPEED_VARIES {
            // What lag makes of the gap differs from place to place.
            return None;
        }
        let mut gaps: Vec<Gap> = vec![Gap::default(); motion.cycles * self.steps];
        for cell in self.cells.iter().filter(|c| c.since_deg > since_deg) {
            let gap = &mut gaps[cell.cycle * self.steps + cell.step];
            let side = usize::from(cell.up);
            // Both directions are brought to the middle of their angles along the track.
            gap.driving[side] += cell.samples * cell.effort;
            gap.angle[side] += cell.samples * cell.angle_deg;
            gap.samples[side] += cell.samples;
        }
        let zones = match curve {
            Some(fit) => self.zones_by_torque(fit, &gaps),
            None => self.zones_by_gap(&gaps),
        };
        let mut by_cycle: Vec<f64> = Vec::new();
        for cycle in gaps.chunks(self.steps) {
            // Medians: where the surface set off or stopped on the way, a few steps stand far apart.
            let (mut inside, mut outside, mut slopes) = (Vec::new(), Vec::new(), Vec::new());
            for (gap, zone) in cycle.iter().zip(&zones) {
                let Some((angle, width)) = gap.width(self) else {
                    continue;
                };
                match zone {
                    Some(true) => {
                        inside.push(width);
                        slopes.push(self.slope(angle));
                    }
                    Some(false) => outside.push(width),
                    None => {}
                }
            }
            if inside.len() < 3 {
                continue;
            }
            let inner = robust::median(&inside).unwrap_or(0.0);
            let slope = robust::median(&slopes).unwrap_or(1.0);
            match robust::median(&outside).filter(|_| outside.len() >= 3) {
                Some(outer) => by_cycle.push((inner - outer) / slope),
                None if !lags => by_cycle.push(inner / slope),
                None => {}
            }
        }
        // Two sensors are compared; and where the gap itself had to say which places are inside, those were the widest.
        let sensors = 2.0_f64.sqrt() * motion.unevenness_deg();
        let chosen = if curve.is_some() {
            0.0
        } else {
            CHOSEN_BY_GAP_DEG
        };
        mean_of(&by_cycle, sensors.hypot(chosen))
    }

    /// Inside: the torque changes sign between the directions. Outside: it clearly does not.
    fn zones_by_torque(&self, fit: &Fit, gaps: &[Gap]) -> Vec<Option<bool>> {
        self.mean_gaps(gaps)
            .into_iter()
            .map(|gap| {
                let share = elastic_over_friction(fit, gap?.0)?;
                if share < 0.7 {
                    Some(true)
                } else if share > 1.4 {
                    Some(false)
                } else {
                    None
                }
            })
            .collect()
    }

    /// Without a torque: inside is where the mean gap is wide, outside where it is narrow.
    fn zones_by_gap(&self, gaps: &[Gap]) -> Vec<Option<bool>> {
        let wide = |gap: (f64, f64)| (gap.0, gap.1 * self.slope(gap.0).signum());
        let means: Vec<Option<(f64, f64)>> = self
            .mean_gaps(gaps)
            .into_iter()
            .map(|gap| gap.map(wide))
            .collect();
        let widths: Vec<f64> = means.iter().flatten().map(|m| m.1).collect();
        let quantile = |p| robust::quantile(&widths, p).unwrap_or(0.0);
        let (narrow, wide) = (quantile(0.15), quantile(0.95));
        let inside = narrow + 0.8 * (wide - narrow);
        let outside = narrow + 0.3 * (wide - narrow);
        means
            .into_iter()
            .map(|mean| match mean?.1 {
                w if w >= inside => Some(true),
                w if w <= outside => Some(false),
                _ => None,
            })
            .collect()
    }

    /// Angle and gap at every step, all cycles together.
    fn mean_gaps(&self, gaps: &[Gap]) -> Vec<Option<(f64, f64)>> {
        let mut sums = vec![Gap::default(); self.steps];
        for cycle in gaps.chunks(self.steps) {
            for (sum, gap) in sums.iter_mut().zip(cycle) {
                for side in 0..2 {
                    sum.driving[side] += gap.driving[side];
                    sum.angle[side] += gap.angle[side];
                    sum.samples[side] += gap.samples[side];
                }
            }
        }
        sums.iter().map(|sum| sum.width(self)).collect()
    }
}

#[derive(Clone, Default)]
struct Gap {
    driving: [f64; 2],
    angle: [f64; 2],
    samples: [f64; 2],
}

impl Gap {
    /// Mean angle, and by how much, in its own unit, the driving side leads on the way up against the way down. In that
    /// unit a lag is the same all along a steady sweep.
    fn width(&self, track: &Track) -> Option<(f64, f64)> {
        if self.samples[0] == 0.0 || self.samples[1] == 0.0 {
            return None;
        }
        let angle = [
            self.angle[0] / self.samples[0],
            self.angle[1] / self.samples[1],
        ];
        let middle = 0.5 * (angle[0] + angle[1]);
        let slope = track.slope(middle);
        let ahead = self.driving[1] / self.samples[1] - self.driving[0] / self.samples[0];
        Some((middle, ahead - slope * (angle[1] - angle[0])))
    }
}

fn torque_of(fit: &Fit, angle_deg: f64, up: bool) -> f64 {
    let at = State {
        angle_deg,
        up,
        speed_deg_s: 0.0,
        ratio: 1.0,
        winding_factor: 1.0,
    };
    fit.terms.torque(&fit.p, &at, &mut vec![0.0; fit.p.len()])
}

fn elastic_over_friction(fit: &Fit, angle_deg: f64) -> Option<f64> {
    let (up, down) = (
        torque_of(fit, angle_deg, true),
        torque_of(fit, angle_deg, false),
    );
    let friction = 0.5 * (up - down);
    (friction > 0.0).then(|| (0.5 * (up + down)).abs() / friction)
}

/// Mean of one value a cycle with its Student interval, `shared_u` added once.
pub(crate) fn mean_of(values: &[f64], shared_u: f64) -> Option<Quantity> {
    let n = values.len() as f64;
    if values.is_empty() {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    if values.len() < 2 {
        return Some(Quantity {
            value: mean,
            interval: None,
        });
    }
    let scatter = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n * (n - 1.0))).sqrt();
    let (u, df) = student::combine(&[(scatter, n - 1.0), (shared_u, f64::INFINITY)]);
    Some(Quantity {
        value: mean,
        interval: student::interval(mean, u, df),
    })
}
