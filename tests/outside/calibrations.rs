//! Two calibrations worked by SciPy (tests/reference/make_reference.py) and by this crate: a line with errors in both
//! coordinates, and a servo's power balance with copper's temperature held by a prior.

use hingewright::analysis::angle::{Point, line};
use hingewright::analysis::stats::student::t95;
use hingewright::servo::balance::{Setting, fit};
use hingewright::servo::lifts::{Course, Doing, Known, Level, Lifts, Step, Warmth};
use serde_json::Value;

fn stored(name: &str) -> Value {
    let all: Value = serde_json::from_str(include_str!("../reference/reference.json")).unwrap();
    all[name].clone()
}

fn list(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

fn near(what: &str, found: f64, stored: f64, relative: f64) {
    assert!(
        (found - stored).abs() <= relative * stored.abs(),
        "{what}: {found} instead of {stored}"
    );
}

/// SciPy's least_squares over slope, intercept and every true reading. York's equations are the same minimum.
#[test]
fn the_line_through_known_angles_is_that_of_scipy() {
    let reference = stored("line_with_errors_in_both");
    let columns = ["known", "known_u", "read", "read_u"].map(|k| list(&reference[k]));
    let points: Vec<Point> = (0..columns[0].len())
        .map(|i| Point {
            known_deg: columns[0][i],
            known_u_deg: columns[1][i],
            read_deg: columns[2][i],
            read_u_deg: columns[3][i],
        })
        .collect();
    let found = line(&points, 0.0).unwrap();
    let chi2 = reference["chi2"].as_f64().unwrap();
    let free = points.len() as f64 - 2.0;
    near(
        "slope",
        found.scale.value,
        reference["slope"].as_f64().unwrap(),
        1e-8,
    );
    near(
        "zero",
        found.zero_deg.value,
        reference["zero"].as_f64().unwrap(),
        1e-7,
    );
    near("chi-square", found.chi2, chi2, 1e-7);
    // Eight degrees of freedom for what is said of the angles, and Student's factor over the normal one.
    let df = 8.0 + free;
    let wider = (8.0 + chi2) / df * (t95(df) / t95(f64::INFINITY)).powi(2);
    for (i, row) in reference["covariance"]
        .as_array()
        .unwrap()
        .iter()
        .enumerate()
    {
        for (j, stored) in list(row).iter().enumerate() {
            near("covariance", found.covariance[i][j], wider * stored, 2e-4);
        }
    }
}

#[test]
fn the_power_balance_is_that_of_scipy() {
    let reference = stored("power_balance");
    let [mass, speed, span, power] =
        ["mass", "speed", "span", "power"].map(|k| list(&reference[k]));
    let exact = |value| Known { value, u: 0.0 };
    let masses = [0.0, 0.2, 0.5, 0.8];
    let levels = (0..mass.len()).map(|i| Level {
        doing: if speed[i] == 0.0 {
            Doing::Resting
        } else {
            Doing::Lifting
        },
        mass: masses.iter().position(|m| *m == mass[i]).unwrap(),
        arm: 0,
        speed_rad_s: speed[i],
        cos: 1.0,
        sin: 0.0,
        power_w: power[i],
        supply_v: 7.4,
        span_s: span[i],
        course: 0,
        step: 20,
    });
    // The case stands at 20 °C all the time, and nothing is said to warm the copper.
    let step = Step {
        power_w: f64::NAN,
        speed_rad_s: f64::NAN,
        cos: f64::NAN,
        sin: f64::NAN,
        load: None,
        case_c: 20.0,
    };
    let lifts = Lifts {
        masses_kg: masses.map(exact).to_vec(),
        arms_mm: vec![exact(60.0)],
        levels: levels.collect(),
        courses: vec![Course {
            steps: vec![step; 40],
        }],
        noise_w2_s: reference["noise_w2_s"].as_f64().unwrap(),
        warmth: Warmth::Case,
        lifts_up: true,
        unsteady: 0,
        slipped: None,
        started: None,
        gone: 0,
    };
    let setting = Setting {
        level_deg: exact(0.0),
        own_nm: Some(exact(0.0)),
        most_nm: None,
    };
    let found = fit(&lifts, setting).unwrap();
    near(
        "chi-square",
        found.chi2_per_df,
        reference["chi2_per_df"].as_f64().unwrap(),
        1e-5,
    );
    for (j, (value, u)) in list(&reference["values"])
        .iter()
        .zip(list(&reference["standard_errors"]))
        .enumerate()
    {
        near("value", found.values[j], *value, 1e-5);
        near("standard error", found.u(j), u, 1e-3);
    }
}
