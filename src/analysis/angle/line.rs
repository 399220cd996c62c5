//! A straight line through what a sensor reads at known angles, errors in both, and how far the readings depart from it.

use crate::analysis::stats::student;
use crate::analysis::{Interval, Quantity};

/// A ruler's or wedge's standard uncertainty is itself known to a quarter (assumed): ½·(¼)⁻² = 8 degrees of freedom (JCGM
/// 100:2008, G.4.2). What the readings scatter counts beside it.
const SAID_DF: f64 = 8.0;
/// Angles this near to each other are one, held again, °.
const ONE_ANGLE_DEG: f64 = 0.01;
const ROUNDS: usize = 60;

/// One known angle and what was read there, ° with standard uncertainties that no other point shares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    pub known_deg: f64,
    pub known_u_deg: f64,
    pub read_deg: f64,
    pub read_u_deg: f64,
}

/// How far the mean of what was held at one angle stands off the line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Departure {
    pub known_deg: f64,
    pub holds: usize,
    /// Deflection by the line less the known angle, °.
    pub off_deg: f64,
    /// What noise explains of it in 95 of 100 such calibrations, over all angles together, °.
    pub noise_deg: f64,
}

/// deflection = scale · (reading − zero).
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    pub scale: Quantity,
    pub zero_deg: Quantity,
    /// Of scale and zero, widened so that 1.96 standard uncertainties are 95 %.
    pub covariance: [[f64; 2]; 2],
    /// Weighted squares of all points about the line.
    pub chi2: f64,
    /// How much further readings at one angle scatter among themselves than was said of them, root mean square; `None` where no
    /// angle was held twice.
    pub scatter: Option<f64>,
    pub df: f64,
    /// By angle, in order; with fewer than three angles they say nothing.
    pub departures: Vec<Departure>,
}

impl Line {
    /// The furthest departure; `None` where two angles alone were held and nonlinearity cannot be seen.
    pub fn furthest(&self) -> Option<Departure> {
        let ratio = |d: &Departure| (d.off_deg / d.noise_deg).abs();
        let all = self.departures.iter().copied();
        (self.departures.len() > 2)
            .then(|| all.max_by(|a, b| ratio(a).total_cmp(&ratio(b))))
            .flatten()
    }

    /// Whether it is more than noise explains.
    pub fn is_bent(&self) -> bool {
        self.furthest()
            .is_some_and(|d| d.off_deg.abs() > d.noise_deg)
    }

    pub fn deg(&self, read_deg: f64) -> f64 {
        self.scale.value * (read_deg - self.zero_deg.value)
    }
}

/// Best straight line with errors in both coordinates (D. York, N. M. Evensen, M. López Martínez, J. De Basabe Delgado,
/// Unified equations for the slope, intercept, and standard errors of the best straight line, Am. J. Phys. 72 (2004) 367,
/// equations 13a to 13d, errors uncorrelated). `shared_scale_u`: relative standard uncertainty of all known angles alike.
///
/// `None` of fewer than two angles, or where readings do not follow them.
pub fn line(points: &[Point], shared_scale_u: f64) -> Option<Line> {
    let York {
        slope,
        zero,
        variance: [[vb, vbz], [_, vz]],
        weights,
        x_mean,
        intercept,
    } = york(points)?;
    let n = points.len() as f64;
    let off = |p: &Point| intercept + slope * p.read_deg - p.known_deg;
    let chi2: f64 = points
        .iter()
        .zip(&weights)
        .map(|(p, w)| w * off(p).powi(2))
        .sum();
    // What was said of the readings, and what they show, weighed by their degrees of freedom.
    let df = SAID_DF + n - 2.0;
    let s2 = (SAID_DF + chi2) / df;
    let wider = (student::t95(df) / student::t95(f64::INFINITY)).powi(2) * s2;
    let shared = (shared_scale_u * slope).powi(2);
    let covariance = [
        [wider * vb + shared, wider * vbz],
        [wider * vbz, wider * vz],
    ];
    let told = |value: f64, variance: f64| Quantity {
        value,
        interval: student::interval(value, variance.sqrt(), f64::INFINITY)
            .filter(|i: &Interval| i.u.is_finite()),
    };
    let groups = by_angle(points);
    let (pure, pure_df) = pure_error(points, &weights, &groups, slope);
    // A bend is in all points' scatter about the line, but not in how holds at one angle differ.
    let noise = ((SAID_DF + pure) / (SAID_DF + pure_df)).sqrt();
    Some(Line {
        scale: told(slope, covariance[0][0]),
        zero_deg: told(zero, covariance[1][1]),
        covariance,
        chi2,
        scatter: (pure_df > 0.0).then(|| (pure / pure_df).sqrt()),
        df,
        departures: departures(
            points,
            &weights,
            &groups,
            (x_mean, vb),
            off,
            (noise, SAID_DF + pure_df),
        ),
    })
}

/// Points in the order of their angles, those of one angle together.
fn by_angle(points: &[Point]) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|a, b| points[*a].known_deg.total_cmp(&points[*b].known_deg));
    order
        .chunk_by(|a, b| points[*b].known_deg - points[*a].known_deg <= ONE_ANGLE_DEG)
        .map(<[usize]>::to_vec)
        .collect()
}

/// Weighted squares of the readings about the mean of their own angle, and the degrees of freedom.
fn pure_error(points: &[Point], weights: &[f64], groups: &[Vec<usize>], slope: f64) -> (f64, f64) {
    let mut all = (0.0, 0.0);
    for group in groups {
        let weight: f64 = group.iter().map(|i| weights[*i]).sum();
        let sum: f64 = group
            .iter()
            .map(|i| weights[*i] * points[*i].read_deg)
            .sum();
        let mean = sum / weight;
        let squares = group
            .iter()
            .map(|i| weights[*i] * (slope * (points[*i].read_deg - mean)).powi(2));
        all.0 += squares.sum::<f64>();
        all.1 += group.len() as f64 - 1.0;
    }
    all
}

struct York {
    slope: f64,
    intercept: f64,
    zero: f64,
    /// Of slope and zero.
    variance: [[f64; 2]; 2],
    weights: Vec<f64>,
    /// Weighted mean of the adjusted readings.
    x_mean: f64,
}

fn york(points: &[Point]) -> Option<York> {
    let ends = |f: fn(&Point) -> f64| {
        points
            .iter()
            .map(f)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| {
                (lo.min(v), hi.max(v))
            })
    };
    let (low, high) = ends(|p| p.known_deg);
    let usable = points.iter().all(|p| {
        [p.known_deg, p.read_deg].iter().all(|v| v.is_finite())
            && p.known_u_deg >= 0.0
            && p.read_u_deg >= 0.0
            && p.known_u_deg + p.read_u_deg > 0.0
    });
    if points.len() < 2 || high - low <= ONE_ANGLE_DEG || !usable {
        return None;
    }
    let n = points.len() as f64;
    let mean = |f: &dyn Fn(&Point) -> f64| points.iter().map(f).sum::<f64>() / n;
    let (x, y) = (mean(&|p| p.read_deg), mean(&|p| p.known_deg));
    let xx = mean(&|p| (p.read_deg - x).powi(2));
    let mut slope = mean(&|p| (p.read_deg - x) * (p.known_deg - y)) / xx;
    for _ in 0..ROUNDS {
        let next = Step::at(points, slope).slope();
        let settled = (next - slope).abs() <= 1e-14 * slope.abs();
        slope = next;
        if settled {
            break;
        }
    }
    let step = Step::at(points, slope);
    let total: f64 = step.weights.iter().sum();
    let intercept = step.y - slope * step.x;
    let adjusted: Vec<f64> = step.beta.iter().map(|b| step.x + b).collect();
    let by_weight = |f: &dyn Fn(f64) -> f64| {
        let all = step.weights.iter().zip(&adjusted);
        all.map(|(w, x)| w * f(*x)).sum::<f64>()
    };
    let x_mean = by_weight(&|x| x) / total;
    let vb = 1.0 / by_weight(&|x| (x - x_mean).powi(2));
    let (va, vab) = (1.0 / total + x_mean * x_mean * vb, -x_mean * vb);
    // zero = −intercept/slope.
    let zero = -intercept / slope;
    let vz = (va + zero * zero * vb + 2.0 * zero * vab) / (slope * slope);
    let vbz = -(vab + zero * vb) / slope;
    let found = [slope, zero, vb, vz, vbz].iter().all(|v| v.is_finite());
    (found && slope != 0.0).then_some(York {
        slope,
        intercept,
        zero,
        variance: [[vb, vbz], [vbz, vz]],
        weights: step.weights,
        x_mean,
    })
}

/// One round: weights for a slope, the means by them, and the adjustments.
struct Step<'a> {
    points: &'a [Point],
    weights: Vec<f64>,
    beta: Vec<f64>,
    x: f64,
    y: f64,
}

impl<'a> Step<'a> {
    fn at(points: &'a [Point], slope: f64) -> Self {
        let weights: Vec<f64> = points
            .iter()
            .map(|p| 1.0 / (p.known_u_deg.powi(2) + (slope * p.read_u_deg).powi(2)))
            .collect();
        let total: f64 = weights.iter().sum();
        let mean = |f: fn(&Point) -> f64| {
            let all = points.iter().zip(&weights);
            all.map(|(p, w)| w * f(p)).sum::<f64>() / total
        };
        let (x, y) = (mean(|p| p.read_deg), mean(|p| p.known_deg));
        let beta = points
            .iter()
            .zip(&weights)
            .map(|(p, w)| {
                let (u, v) = (p.read_deg - x, p.known_deg - y);
                w * (u * p.known_u_deg.powi(2) + slope * v * p.read_u_deg.powi(2))
            })
            .collect();
        Self {
            points,
            weights,
            beta,
            x,
            y,
        }
    }

    fn slope(&self) -> f64 {
        let all = || self.points.iter().zip(&self.weights).zip(&self.beta);
        let over: f64 = all()
            .map(|((p, w), b)| w * b * (p.known_deg - self.y))
            .sum();
        let under: f64 = all().map(|((p, w), b)| w * b * (p.read_deg - self.x)).sum();
        over / under
    }
}

/// Each angle's mean residual against what is left of its noise once the line is taken away; Student's t with the level divided
/// by the number of angles (Bonferroni).
fn departures(
    points: &[Point],
    weights: &[f64],
    groups: &[Vec<usize>],
    (x_mean, vb): (f64, f64),
    off: impl Fn(&Point) -> f64,
    (s, df): (f64, f64),
) -> Vec<Departure> {
    let total: f64 = weights.iter().sum();
    let t = student::t_quantile(1.0 - 0.025 / groups.len() as f64, df);
    let one = |group: &Vec<usize>| {
        let weight: f64 = group.iter().map(|i| weights[*i]).sum();
        let mean = |f: &dyn Fn(&Point) -> f64| {
            group
                .iter()
                .map(|i| weights[*i] * f(&points[*i]))
                .sum::<f64>()
                / weight
        };
        let fitted = 1.0 / total + (mean(&|p| p.read_deg) - x_mean).powi(2) * vb;
        Departure {
            known_deg: mean(&|p| p.known_deg),
            holds: group.len(),
            off_deg: mean(&off),
            noise_deg: t * s * (1.0 / weight - fitted).max(0.0).sqrt(),
        }
    };
    groups.iter().map(one).collect()
}
