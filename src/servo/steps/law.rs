//! Speed against voltage: a motor's speed is the voltage less what friction and load take of it, a straight line.

use nalgebra::DMatrix;

use super::jump::{OneWay, Run};
use super::mean::Mean;
use super::{AtSheet, How};
use crate::aircraft::SheetSpeed;
use crate::analysis::stats::regression::weighted_least_squares;

/// Voltages that lie less apart than this say nothing of the slope, V.
const APART_V: f64 = 0.25;
/// The line is drawn on by so much beyond the voltages measured, V.
const BEYOND_V: f64 = 0.3;
/// Within this share of the voltage measured, speed is converted in proportion to voltage.
const NEAR: f64 = 0.10;
/// Share of the voltage that friction and load may take, at most: what a proportion neglects of a change of voltage (common
/// practice, no source).
const FRICTION_SHARE: f64 = 0.15;

/// Speed at the voltage measured, and how it changes with voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Speed {
    /// °/s, the mean of both ways.
    pub deg_per_s: Mean,
    pub at_v: Option<f64>,
    pub per_volt: Option<Mean>,
    line: Option<Line>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Line {
    /// Covariance of speed at the middle voltage and slope.
    middle_v: f64,
    slope: f64,
    variance: (f64, f64, f64),
    df: f64,
    range_v: (f64, f64),
}

/// Both ways of all spells.
pub(super) fn speed(spells: &[[Option<OneWay>; 2]]) -> Option<Speed> {
    let both: Vec<(&OneWay, &OneWay)> = spells
        .iter()
        .filter_map(|[up, down]| Some((up.as_ref()?, down.as_ref()?)))
        .collect();
    let share = 1.0 / both.len() as f64;
    let deg_per_s = both
        .iter()
        .map(|(up, down)| up.mean.with(0.5, down.mean, 0.5))
        .reduce(|a, b| a.with(1.0, b, 1.0))?
        .scaled(share);
    let runs: Vec<Run> = both
        .iter()
        .flat_map(|(up, down)| up.runs.iter().chain(&down.runs))
        .copied()
        .filter(|r| r.volts.is_finite())
        .collect();
    let simple = Speed {
        deg_per_s,
        at_v: None,
        per_volt: None,
        line: None,
    };
    if runs.is_empty() {
        return Some(simple);
    }
    let middle_v = runs.iter().map(|r| r.volts).sum::<f64>() / runs.len() as f64;
    let at_v = Some(middle_v);
    let Some(line) = fit(&runs, middle_v) else {
        return Some(Speed { at_v, ..simple });
    };
    let (speed, line) = line;
    Some(Speed {
        deg_per_s: speed,
        at_v,
        per_volt: Some(Mean {
            value: line.slope,
            u: line.variance.1.max(0.0).sqrt(),
            df: line.df,
        }),
        line: Some(line),
    })
}

/// Speed at the middle voltage, and the line through it.
fn fit(runs: &[Run], middle_v: f64) -> Option<(Mean, Line)> {
    let range_v = runs
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |r, run| {
            (r.0.min(run.volts), r.1.max(run.volts))
        });
    if range_v.1 - range_v.0 < APART_V {
        return None;
    }
    let design = DMatrix::from_fn(runs.len(), 3, |i, j| match j {
        0 => 1.0,
        1 => runs[i].volts - middle_v,
        _ if runs[i].up => 0.5,
        _ => -0.5,
    });
    let speeds: Vec<f64> = runs.iter().map(|r| r.deg_per_s).collect();
    let fit = weighted_least_squares(&design, &speeds, None)?;
    let covariance = fit.covariance()?;
    let df = fit.degrees_of_freedom as f64;
    let speed = Mean {
        value: fit.coefficients[0],
        u: covariance[(0, 0)].max(0.0).sqrt(),
        df,
    };
    let line = Line {
        middle_v,
        slope: fit.coefficients[1],
        variance: (covariance[(0, 0)], covariance[(1, 1)], covariance[(0, 1)]),
        df,
        range_v,
    };
    Some((speed, line))
}

impl Speed {
    /// What it would be at the data sheet's voltage, where that can be told.
    pub fn at_sheet(&self, sheet: SheetSpeed) -> Option<AtSheet> {
        let measured_v = self.at_v?;
        let told = |deg_per_s: Mean, how| AtSheet {
            sheet,
            slew_s_per_60deg: slew(deg_per_s).quantity(),
            how,
        };
        if let Some(line) = self.line {
            let inside = sheet.voltage_v >= line.range_v.0 - BEYOND_V
                && sheet.voltage_v <= line.range_v.1 + BEYOND_V;
            if !inside {
                return None;
            }
            let by = sheet.voltage_v - line.middle_v;
            let (a, b, ab) = line.variance;
            let mean = Mean {
                value: self.deg_per_s.value + line.slope * by,
                u: (a + by * by * b + 2.0 * by * ab).max(0.0).sqrt(),
                df: line.df,
            };
            return Some(told(mean, How::Line));
        }
        let ratio = sheet.voltage_v / measured_v;
        ((ratio - 1.0).abs() <= NEAR).then(|| {
            let neglected = FRICTION_SHARE * (ratio - 1.0) * self.deg_per_s.value;
            told(
                self.deg_per_s.scaled(ratio).within(neglected),
                How::Proportion,
            )
        })
    }
}

/// Seconds for 60°.
pub(super) fn slew(deg_per_s: Mean) -> Mean {
    let value = 60.0 / deg_per_s.value;
    Mean {
        value,
        u: value * deg_per_s.u / deg_per_s.value.abs(),
        df: deg_per_s.df,
    }
}
