//! A published gauge study, ten parts, three people, three times each, and its analysis of variance.
//!
//! Data: R. E. Houf, D. B. Burman, Statistical analysis of power module thermal test equipment performance, IEEE Transactions on
//! Components, Hybrids, and Manufacturing Technology 11 (1988) 516, as reprinted in the SAS/STAT 14.2 User's Guide, "The VARCOMP Procedure",
//! example 123.2 [S]. Its table prints for the parts: 9 degrees of freedom, sum of squares 3935.955556, mean square 437.328395
//! [S]; the other rows were not seen there and are statsmodels' (tests/reference/make_reference.py) [V].

use hingewright::analysis::stats::variance::{chi_square_quantile, f_quantile};
use hingewright::history::gauge::anova::{MeanSquare, Reading, Table};
use hingewright::history::gauge::limits::Sum;
use serde_json::Value;

fn study() -> Value {
    let all: Value = serde_json::from_str(include_str!("../reference/reference.json")).unwrap();
    all["gauge_study"].clone()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

/// The study's readings; of one part alone where `only` is given.
fn readings(study: &Value, only: Option<usize>) -> Vec<Reading> {
    let mut readings = Vec::new();
    for (i, row) in study["cells"].as_array().unwrap().iter().enumerate() {
        if only.is_some_and(|part| part != i) {
            continue;
        }
        for (person, cell) in row.as_array().unwrap().iter().enumerate() {
            for value in cell.as_array().unwrap() {
                readings.push(Reading {
                    surface: if only.is_some() { 0 } else { i },
                    person,
                    value: number(value),
                });
            }
        }
    }
    readings
}

#[track_caller]
fn same(found: f64, told: f64) {
    assert!(
        (found / told - 1.0).abs() < 1e-9,
        "{found} instead of {told}"
    );
}

#[track_caller]
fn same_square(found: Option<MeanSquare>, told: &Value) {
    let found = found.unwrap();
    same(found.value, number(&told[0]));
    assert_eq!(found.df, number(&told[1]));
}

/// Tolerance 1e-9 of each value; the printed mean square to its last digit.
#[test]
fn the_published_gauge_studys_mean_squares_are_those_printed_and_those_of_statsmodels() {
    let study = study();
    let table = Table::of(&readings(&study, None)).unwrap();
    let parts = table.surfaces.unwrap();
    assert_eq!(
        (parts.df, format!("{:.6}", parts.value)),
        (9.0, "437.328395".into())
    );
    assert_eq!(format!("{:.6}", parts.value * parts.df), "3935.955556");
    let told = &study["mean_squares"];
    same_square(table.people, &told[1]);
    same_square(table.interaction, &told[2]);
    same_square(table.mountings, &told[3]);
    let (people, error) = (table.people.unwrap(), table.mountings.unwrap());
    same(people.value / error.value, number(&study["person_f"]));
    same(people.p_over(&error), number(&study["person_p"]));
    println!("gauge study: {table:?}");
}

/// One part by itself: the one-way table, tolerance 1e-9.
#[test]
fn one_part_of_it_by_itself_has_statsmodels_one_way_table() {
    let study = study();
    let part = study["one_part"].as_u64().unwrap() as usize;
    let table = Table::of(&readings(&study, Some(part))).unwrap();
    same_square(table.people, &study["one_part_mean_squares"][0]);
    same_square(table.mountings, &study["one_part_mean_squares"][1]);
    assert!(table.surfaces.is_none() && table.interaction.is_none());
}

/// Value and limits of the measurement's whole variance; quantiles as SciPy has them. Tolerance 1e-9.
#[test]
fn limits_of_the_measurements_variance_are_those_by_scipy() {
    let study = study();
    let table = Table::of(&readings(&study, None)).unwrap();
    let squares = [table.people, table.interaction, table.mountings].map(Option::unwrap);
    let sum = Sum::of(&[
        (1.0 / 30.0, squares[0]),
        (9.0 / 30.0, squares[1]),
        (20.0 / 30.0, squares[2]),
    ]);
    let (low, high) = sum.interval();
    for (found, told) in [sum.value(), low, high].into_iter().zip(0..) {
        same(found, number(&study["measurement"][told]));
    }
    for row in study["f_quantiles"].as_array().unwrap() {
        same(
            f_quantile(number(&row[0]), number(&row[1]), number(&row[2])),
            number(&row[3]),
        );
    }
    for row in study["chi_square_quantiles"].as_array().unwrap() {
        same(
            chi_square_quantile(number(&row[0]), number(&row[1])),
            number(&row[2]),
        );
    }
}
