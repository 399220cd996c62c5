//! Welch's test of two independent samples, as published.

use super::shared::{digits, numbers, text};
use hingewright::history::welch::Difference;

fn near(found: f64, printed: f64, within: f64) {
    assert!(
        (found - printed).abs() <= within,
        "{found} against {printed}"
    );
}

/// Mean, its standard uncertainty, degrees of freedom.
fn part(values: &[f64]) -> (f64, (f64, f64)) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    (mean, ((squares / (n * (n - 1.0))).sqrt(), n - 1.0))
}

/// R's sleep data, second group less first, as R prints it: t 1.8608, df 17.776, p 0.07939, −0.2054832 to 3.3654832 [S, V;
/// data M, confirmed by the result].
#[test]
fn the_sleep_data_come_out_as_r_prints_them() {
    let (first, a) = part(&[0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]);
    let (second, b) = part(&[1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]);
    let found = Difference::of(first, second, &[a, b]).unwrap();
    near(found.t(), 1.8608, 5e-5);
    near(found.df, 17.776, 5e-4);
    near(found.p(), 0.07939, 5e-6);
    let i = found.quantity().interval.unwrap();
    near(i.lo95, -0.205_483_2, 5e-8);
    near(i.hi95, 3.365_483_2, 5e-8);
}

/// AUTO83B of NIST's Dataplot, e-Handbook 1.3.5.3: means 20.14458 and 30.48101 [S, V], Welch's T −12.94627 [S, V] for the
/// first less the second, df 136.875 [V].
#[test]
fn auto83b_comes_out_as_the_handbook_has_it() {
    let Some(text) = text("nist_strd/from_dataplot/AUTO83B.DAT") else {
        return;
    };
    let rows: Vec<Vec<f64>> = text.lines().skip(25).filter_map(numbers).collect();
    let column = |i: usize| -> Vec<f64> {
        let values = rows.iter().filter_map(|r| r.get(i).copied());
        values.filter(|v| *v > 0.0).collect()
    };
    let (american, japanese) = (column(0), column(1));
    assert_eq!((american.len(), japanese.len()), (249, 79));
    let ((us, a), (japan, b)) = (part(&american), part(&japanese));
    near(us, 20.14458, 5e-6);
    near(japan, 30.48101, 5e-6);
    let found = Difference::of(japan, us, &[b, a]).unwrap();
    near(found.t(), -12.94627, 5e-6);
    near(found.df, 136.875, 5e-4);
    println!("AUTO83B: {:.1} digits of T", digits(found.t(), -12.94627));
}
