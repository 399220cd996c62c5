//! The analysis of variance of a gauge study: surfaces × people × mountings. Knows nothing of what is measured.
//!
//! Two-way random effects with interaction: y = μ + surface + person + surface·person + mounting, all independent and normal.
//! Mean squares expect (as in any text; e.g. R. K. Burdick, C. M. Borror, D. C. Montgomery, A review of methods for measurement
//! systems capability analysis, Journal of Quality Technology 35 (2003) 342):
//!
//! | mean square | degrees of freedom | expects |
//! | --- | --- | --- |
//! | surfaces | I − 1 | σ² + r·σ²_sp + r·J·σ²_s |
//! | people | J − 1 | σ² + r·σ²_sp + r·I·σ²_p |
//! | surfaces × people | (I − 1)(J − 1) | σ² + r·σ²_sp |
//! | mountings | N − I·J | σ² |
//!
//! With one surface the interaction is part of the people's. Where cells have not all the same number of mountings, the mean squares but the
//! last are those of the cells' means, r being the harmonic mean of the cells' numbers (the method of unweighted means; R. K. Burdick, F. A.
//! Graybill, Confidence Intervals on Variance Components, 1992, from memory): of a balanced study it is the ordinary table.

use crate::analysis::stats::variance::f_upper_tail;

/// A measurement: which surface, who mounted it, what came out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    pub surface: usize,
    pub person: usize,
    pub value: f64,
}

/// A mean square and its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanSquare {
    pub value: f64,
    pub df: f64,
}

impl MeanSquare {
    fn of(squares: f64, df: usize) -> Option<Self> {
        (df > 0).then(|| Self {
            value: squares / df as f64,
            df: df as f64,
        })
    }

    /// The probability of so large a ratio to another mean square where both expect the same.
    pub fn p_over(&self, other: &Self) -> f64 {
        f_upper_tail(self.value / other.value, self.df, other.df)
    }
}

/// The table. A row without degrees of freedom is `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    pub surfaces: Option<MeanSquare>,
    pub people: Option<MeanSquare>,
    pub interaction: Option<MeanSquare>,
    /// Within a surface and a person: mounted again.
    pub mountings: Option<MeanSquare>,
    pub surface_count: usize,
    pub person_count: usize,
    /// Mountings a cell: their harmonic mean.
    pub per_cell: f64,
    /// Surface and person of cells that nobody measured. Then only `mountings` is told.
    pub empty: Vec<(usize, usize)>,
    /// Means by person over all surfaces, each cell counting alike.
    pub by_person: Vec<PersonsMean>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PersonsMean {
    pub value: f64,
    pub mountings: usize,
    /// Its variance as a share of that of one mounting.
    pub share: f64,
}

impl Table {
    /// Of readings whose surfaces and people are numbered from nought without gaps. `None` of none, or of one that is no number.
    pub fn of(readings: &[Reading]) -> Option<Self> {
        if readings.is_empty() || readings.iter().any(|r| !r.value.is_finite()) {
            return None;
        }
        let count = |of: fn(&Reading) -> usize| readings.iter().map(of).max().map_or(0, |m| m + 1);
        let (rows, columns) = (count(|r| r.surface), count(|r| r.person));
        let mut cells = vec![vec![Vec::new(); columns]; rows];
        for reading in readings {
            cells[reading.surface][reading.person].push(reading.value);
        }
        let within: f64 = cells.iter().flatten().map(|cell| squares(cell)).sum();
        let filled = cells.iter().flatten().filter(|cell| !cell.is_empty());
        let mountings = MeanSquare::of(within, readings.len() - filled.count());
        let each = |f: fn(&Vec<f64>) -> bool| {
            let all = (0..rows).flat_map(|i| (0..columns).map(move |j| (i, j)));
            all.filter(|(i, j)| f(&cells[*i][*j])).collect::<Vec<_>>()
        };
        let empty = each(Vec::is_empty);
        let mut table = Self {
            surfaces: None,
            people: None,
            interaction: None,
            mountings,
            surface_count: rows,
            person_count: columns,
            per_cell: f64::NAN,
            empty,
            by_person: Vec::new(),
        };
        if table.empty.is_empty() {
            table.between(&cells);
        }
        Some(table)
    }

    /// What the means of the cells say.
    fn between(&mut self, cells: &[Vec<Vec<f64>>]) {
        let (rows, columns) = (self.surface_count, self.person_count);
        let means: Vec<Vec<f64>> = cells
            .iter()
            .map(|row| row.iter().map(|c| mean(c)).collect())
            .collect();
        let inverse: f64 = cells.iter().flatten().map(|c| 1.0 / c.len() as f64).sum();
        let r = (rows * columns) as f64 / inverse;
        let by_row: Vec<f64> = means.iter().map(|row| mean(row)).collect();
        let column = |j: usize| means.iter().map(|row| row[j]).collect::<Vec<_>>();
        let by_column: Vec<f64> = (0..columns).map(|j| mean(&column(j))).collect();
        let grand = mean(&by_row);
        let mut left = 0.0;
        for (row, own) in means.iter().zip(&by_row) {
            for (value, person) in row.iter().zip(&by_column) {
                left += (value - own - person + grand).powi(2);
            }
        }
        self.per_cell = r;
        self.surfaces = MeanSquare::of(r * columns as f64 * squares(&by_row), rows - 1);
        self.people = MeanSquare::of(r * rows as f64 * squares(&by_column), columns - 1);
        self.interaction = MeanSquare::of(r * left, (rows - 1) * (columns - 1));
        let person = |j: usize| {
            let counts = cells.iter().map(|row| row[j].len());
            PersonsMean {
                value: by_column[j],
                mountings: counts.clone().sum(),
                share: counts.map(|n| 1.0 / n as f64).sum::<f64>() / (rows * rows) as f64,
            }
        };
        self.by_person = (0..columns).map(person).collect();
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Squares about the mean; of none, nought.
fn squares(values: &[f64]) -> f64 {
    let middle = mean(values);
    values.iter().map(|v| (v - middle).powi(2)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings(cells: &[(usize, usize, &[f64])]) -> Vec<Reading> {
        let of = |(surface, person, values): &(usize, usize, &[f64])| {
            let (surface, person) = (*surface, *person);
            values
                .iter()
                .map(move |&value| Reading {
                    surface,
                    person,
                    value,
                })
                .collect::<Vec<_>>()
        };
        cells.iter().flat_map(of).collect()
    }

    #[test]
    fn one_surface_by_hand() {
        // Means 2 and 5, each of two: 2·2·1.5² = 9 over one; within 2·(½·2²) = 4 over two.
        let table = Table::of(&readings(&[(0, 0, &[1.0, 3.0]), (0, 1, &[4.0, 6.0])])).unwrap();
        let people = table.people.unwrap();
        let mountings = table.mountings.unwrap();
        assert_eq!((people.value, people.df), (9.0, 1.0));
        assert_eq!((mountings.value, mountings.df), (2.0, 2.0));
        assert_eq!((table.surfaces, table.interaction), (None, None));
        let means = table
            .by_person
            .iter()
            .map(|p| (p.value, p.mountings, p.share));
        assert_eq!(means.collect::<Vec<_>>(), [(2.0, 2, 0.5), (5.0, 2, 0.5)]);
    }

    #[test]
    fn uneven_numbers_are_taken_by_their_harmonic_mean_and_mountings_as_they_are() {
        let table = Table::of(&readings(&[(0, 0, &[1.0, 3.0]), (0, 1, &[5.0])])).unwrap();
        assert!((table.per_cell - 4.0 / 3.0).abs() < 1e-12);
        // Means 2 and 5: 4/3·4.5.
        assert!((table.people.unwrap().value - 6.0).abs() < 1e-12);
        assert_eq!(table.mountings.unwrap().df, 1.0);
    }

    #[test]
    fn a_cell_that_nobody_measured_leaves_only_the_mountings() {
        let cells = readings(&[(0, 0, &[1.0, 3.0]), (1, 1, &[4.0, 6.0])]);
        let table = Table::of(&cells).unwrap();
        assert_eq!(table.empty, [(0, 1), (1, 0)]);
        assert_eq!((table.people, table.surfaces), (None, None));
        assert_eq!(table.mountings.unwrap().df, 2.0);
    }

    #[test]
    fn what_is_no_number_makes_no_table() {
        assert_eq!(Table::of(&[]), None);
        assert_eq!(Table::of(&readings(&[(0, 0, &[1.0, f64::NAN])])), None);
    }
}
