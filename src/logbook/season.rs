//! The results as a season's readings: what is left out and why is counted, what cannot be read is named, and the rest is
//! used. Works out no number.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use polars::prelude::*;

use super::schema::{QUANTITY, SCHEMA, SCHEMA_KEY};
use super::{Logbook, WORKED_IN, whole};
use crate::analysis::{Interval, Quantity};
use crate::history::season::{Glance, Measure, Reading};
use crate::problem::Problem;

/// The columns that a season looks at, besides the quantities.
const COLUMNS: [&str; 10] = [
    "id",
    "purpose",
    "started",
    "servo",
    "finished",
    "torque_from",
    "verdict",
    "peak_torque_ncm",
    "aircraft",
    "surface",
];

/// A logbook's readings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Story {
    pub readings: Vec<Reading>,
    pub left_out: LeftOut,
    /// Surfaces that have results and are not in the aircraft file, with their number. Their readings are among the others.
    pub gone_surfaces: BTreeMap<String, usize>,
    /// Results that could not be used.
    pub problems: Vec<Problem>,
}

/// Recordings that a season cannot use.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct LeftOut {
    pub unfinished: usize,
    /// Made while the hinge was worked in: it was meant to change.
    pub worked_in: usize,
    /// Unproven, and without any value.
    pub without_value: usize,
    /// They do not say when they began.
    pub without_time: usize,
    /// IDs of those that began later than now.
    pub in_the_future: Vec<String>,
    /// Other aircraft by name, with their number.
    pub other_aircraft: BTreeMap<String, usize>,
}

impl Logbook {
    /// The readings of all results that can be used; `now` tells those of the future.
    ///
    /// # Errors
    /// A folder cannot be read.
    pub fn story(&self, now: Timestamp) -> Result<Story, Problem> {
        let mut story = Story::default();
        let mut good = Vec::new();
        for path in self.result_paths()? {
            match version(&path) {
                Ok(()) => good.push(path),
                Err(problem) => story.problems.push(self.hinted(problem)),
            }
        }
        let frames = match self.seasons_columns(&good) {
            Ok(frame) => vec![frame],
            // One of them is damaged within: which, only one by one can tell.
            Err(_) => self.one_by_one(&good, &mut story.problems),
        };
        for frame in &frames {
            self.take(frame, now, &mut story)
                .map_err(|error| self.unreadable(&error))?;
        }
        Ok(story)
    }

    fn hinted(&self, problem: Problem) -> Problem {
        let root = self.root().display();
        problem.hint(format!(
            "make it again from its recording: hingewright recheck --logbook {root}; the other results are used"
        ))
    }

    fn seasons_columns(&self, paths: &[PathBuf]) -> PolarsResult<DataFrame> {
        let mut names: Vec<String> = COLUMNS.map(str::to_owned).to_vec();
        for measure in Measure::ALL {
            names.extend(quantity_columns(measure));
        }
        self.scan(paths)?.select([cols(names).as_expr()]).collect()
    }

    fn one_by_one(&self, paths: &[PathBuf], problems: &mut Vec<Problem>) -> Vec<DataFrame> {
        let mut frames = Vec::new();
        for path in paths {
            match self.seasons_columns(std::slice::from_ref(path)) {
                Ok(frame) => frames.push(frame),
                Err(error) => problems.push(self.hinted(damaged(path, &error))),
            }
        }
        frames
    }

    fn take(&self, frame: &DataFrame, now: Timestamp, story: &mut Story) -> PolarsResult<()> {
        let columns = Columns(frame);
        for i in 0..frame.height() {
            let aircraft = columns.text("aircraft", i)?.unwrap_or_default();
            if aircraft != self.aircraft().name {
                *story.left_out.other_aircraft.entry(aircraft).or_default() += 1;
                continue;
            }
            let surface = columns.text("surface", i)?.unwrap_or_default();
            if self.aircraft().surface(&surface).is_none() {
                *story.gone_surfaces.entry(surface.clone()).or_default() += 1;
            }
            let mut values = [None; Measure::COUNT];
            for measure in Measure::ALL {
                values[measure as usize] = columns.quantity(measure, i)?;
            }
            let unproven = columns.text("verdict", i)?.as_deref() == Some("unproven");
            let id = columns.text("id", i)?.unwrap_or_default();
            let at = columns.time("started", i)?;
            let left_out = &mut story.left_out;
            match at {
                _ if columns.flag("finished", i)? == Some(false) => left_out.unfinished += 1,
                _ if columns.text("purpose", i)?.as_deref() == Some(WORKED_IN) => {
                    left_out.worked_in += 1
                }
                _ if unproven && values.iter().all(Option::is_none) => left_out.without_value += 1,
                None => left_out.without_time += 1,
                Some(at) if at > now => left_out.in_the_future.push(id),
                Some(at) => {
                    let share = values[Measure::ShareOfStall as usize].map(|q| q.value);
                    let peak = columns.number("peak_torque_ncm", i)?.filter(|p| *p > 0.0);
                    story.readings.push(Reading {
                        id,
                        at,
                        surface,
                        servo: columns.text("servo", i)?,
                        torque_from: columns.text("torque_from", i)?,
                        values,
                        stall_share_per_ncm: share.zip(peak).map(|(share, peak)| share / peak),
                    });
                }
            }
        }
        Ok(())
    }
}

/// A quantity has four columns, a number one.
fn quantity_columns(measure: Measure) -> Vec<String> {
    let endings = match measure {
        Measure::Rest | Measure::HoldNeutral => &QUANTITY[..1],
        _ => &QUANTITY[..],
    };
    let column = measure.column();
    endings.iter().map(|e| format!("{column}{e}")).collect()
}

struct Columns<'a>(&'a DataFrame);

impl Columns<'_> {
    fn text(&self, name: &str, i: usize) -> PolarsResult<Option<String>> {
        Ok(self.0.column(name)?.str()?.get(i).map(str::to_owned))
    }
    fn number(&self, name: &str, i: usize) -> PolarsResult<Option<f64>> {
        Ok(self.0.column(name)?.f64()?.get(i).filter(|v| v.is_finite()))
    }
    fn flag(&self, name: &str, i: usize) -> PolarsResult<Option<bool>> {
        Ok(self.0.column(name)?.bool()?.get(i))
    }
    fn time(&self, name: &str, i: usize) -> PolarsResult<Option<Timestamp>> {
        let micros = self.0.column(name)?.datetime()?.physical().get(i);
        Ok(micros.and_then(|t| Timestamp::from_microsecond(t).ok()))
    }
    fn quantity(&self, measure: Measure, i: usize) -> PolarsResult<Option<Quantity>> {
        let names = quantity_columns(measure);
        let Some(value) = self.number(&names[0], i)? else {
            return Ok(None);
        };
        let interval = match &names[1..] {
            [u, lo, hi] => {
                let three = (self.number(u, i)?, self.number(lo, i)?, self.number(hi, i)?);
                match three {
                    (Some(u), Some(lo95), Some(hi95)) => Some(Interval { u, lo95, hi95 }),
                    _ => None,
                }
            }
            _ => None,
        };
        Ok(Some(Quantity { value, interval }))
    }
}

/// Whether a file can be opened and says no other version than this program's. One that says none (put together by another
/// program) is taken by its columns.
fn version(path: &Path) -> Result<(), Problem> {
    let file = File::open(path).map_err(|error| whole::cannot_read(path, &error))?;
    let mut reader = ParquetReader::new(file);
    let metadata = reader
        .get_metadata()
        .map_err(|error| damaged(path, &error))?;
    let said = metadata.key_value_metadata().as_ref().and_then(|pairs| {
        let pair = pairs.iter().find(|pair| pair.key == SCHEMA_KEY)?;
        pair.value.clone()
    });
    match said {
        Some(said) if said != SCHEMA => Err(Problem::new(format!(
            "{}: a result of another version ({said}; this program's is {SCHEMA})",
            path.display()
        ))),
        _ => Ok(()),
    }
}

fn damaged(path: &Path, error: &PolarsError) -> Problem {
    let told = error.to_string();
    let first = told.lines().next().unwrap_or_default();
    Problem::new(format!(
        "{}: damaged, or no result: {first}",
        path.display()
    ))
}

/// All surfaces of all logbooks in a folder, summed up without a row of them being made; and what could not be read.
///
/// # Errors
/// The folder cannot be read, or none in it has results.
pub fn glance(folder: &Path) -> Result<(Vec<Glance>, Vec<Problem>), Problem> {
    let mut paths = BTreeSet::new();
    let entries = std::fs::read_dir(folder).map_err(|e| whole::cannot_read(folder, &e))?;
    for entry in entries {
        let root = entry.map_err(|e| whole::cannot_read(folder, &e))?.path();
        paths.extend(super::results::result_paths_below(&root)?);
    }
    if paths.is_empty() {
        return Err(Problem::new(format!(
            "{}: no folder in it is a logbook with results",
            folder.display()
        ))
        .hint("name the folder that the logbooks' folders stand in"));
    }
    let mut paths: Vec<PathBuf> = paths.into_iter().collect();
    let mut problems = Vec::new();
    let frame = match summed_up(folder, &paths) {
        Ok(frame) => frame,
        Err(_) => {
            paths.retain(|path| match summed_up(folder, std::slice::from_ref(path)) {
                Ok(_) => true,
                Err(error) => {
                    problems.push(
                        damaged(path, &error).hint("recheck its logbook; the others are used"),
                    );
                    false
                }
            });
            summed_up(folder, &paths).map_err(|error| damaged(folder, &error))?
        }
    };
    let glances = glances(&frame).map_err(|error| damaged(folder, &error))?;
    Ok((glances, problems))
}

fn summed_up(folder: &Path, paths: &[PathBuf]) -> PolarsResult<DataFrame> {
    let sums = Measure::ALL.iter().flat_map(|measure| {
        let name = measure.column();
        let there = || col(name).drop_nulls();
        [
            there().count().alias(format!("{name} count")),
            there().median().alias(format!("{name} median")),
            there().last().alias(format!("{name} latest")),
            (there().tail(Some(5)).median() - there().head(Some(5)).median())
                .alias(format!("{name} change")),
        ]
    });
    let keys = [col("aircraft"), col("surface")];
    super::results::scan(folder, paths)?
        .filter(
            col("finished")
                .and(col("started").is_not_null())
                .and(col("purpose").neq_missing(lit(WORKED_IN))),
        )
        .sort(["started", "id"], SortMultipleOptions::default())
        .group_by(keys.clone())
        .agg(sums.collect::<Vec<_>>())
        .sort_by_exprs(keys, SortMultipleOptions::default())
        .collect()
}

fn glances(frame: &DataFrame) -> PolarsResult<Vec<Glance>> {
    let columns = Columns(frame);
    let mut all = Vec::new();
    for i in 0..frame.height() {
        for measure in Measure::ALL {
            let name = measure.column();
            let number = |what: &str| columns.number(&format!("{name} {what}"), i);
            let (Some(median), Some(latest), Some(change)) =
                (number("median")?, number("latest")?, number("change")?)
            else {
                continue;
            };
            all.push(Glance {
                aircraft: columns.text("aircraft", i)?.unwrap_or_default(),
                surface: columns.text("surface", i)?.unwrap_or_default(),
                measure,
                count: frame
                    .column(&format!("{name} count"))?
                    .u32()?
                    .get(i)
                    .unwrap_or(0),
                median,
                latest,
                change,
            });
        }
    }
    Ok(all)
}

#[cfg(test)]
#[path = "season_tests.rs"]
mod tests;
