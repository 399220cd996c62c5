//! Results into their folders and out again. Decides no number.

use std::path::{Component, Path, PathBuf};

use polars::prelude::*;

use super::whole::{self, Put};
use super::{Logbook, RESULTS, Row, frame, name, row, schema};
use crate::aircraft::Aircraft;
use crate::analysis::Quantity;
use crate::assess::Assessed;
use crate::problem::Problem;

impl Logbook {
    /// Writes the result of a recording of this logbook, whole or not at all; its whole path. What was there of the same
    /// recording is replaced.
    ///
    /// # Errors
    /// The folder cannot be written to: read-only, full, or not this user's.
    pub fn store(&self, aircraft: &Aircraft, assessed: &Assessed) -> Result<PathBuf, Problem> {
        self.put(aircraft, assessed).map(|(path, _)| path)
    }

    pub(super) fn put(
        &self,
        aircraft: &Aircraft,
        assessed: &Assessed,
    ) -> Result<(PathBuf, Put), Problem> {
        let mut assessed = assessed.clone();
        assessed.measured.forget_pictures();
        // The same bytes, wherever the program was when it named the recording.
        assessed.summary.file = self.relative(Path::new(&assessed.summary.file));
        let id = name::id(Path::new(&assessed.summary.file)).unwrap_or_default();
        let row = row::of(&id, aircraft, &assessed);
        let path = self.result_path(&row.aircraft, &row.surface, &id);
        let bytes = frame::parquet(&row).map_err(|error| {
            Problem::new(format!("{}: could not be made: {error}", path.display()))
        })?;
        let put = whole::put(&path, &bytes)?;
        Ok((path, put))
    }

    fn result_path(&self, aircraft: &str, surface: &str, id: &str) -> PathBuf {
        let [aircraft_column, surface_column] = schema::FOLDERS;
        self.root()
            .join(RESULTS)
            .join(name::partition(aircraft_column, aircraft))
            .join(name::partition(surface_column, surface))
            .join(format!("{id}.parquet"))
    }

    /// Whole paths of all results, sorted.
    ///
    /// # Errors
    /// A folder cannot be read.
    pub fn result_paths(&self) -> Result<Vec<PathBuf>, Problem> {
        result_paths_below(self.root())
    }

    /// All results, one row each, read when asked for: the columns of the schema, then `aircraft` and `surface`. A logbook
    /// without any gives a frame without rows.
    ///
    /// # Errors
    /// A folder cannot be read, or the logbook's path is not UTF-8.
    pub fn results(&self) -> Result<LazyFrame, Problem> {
        let paths = self.result_paths()?;
        self.scan(&paths).map_err(|error| self.unreadable(&error))
    }

    /// [`Logbook::results`] of these files alone.
    pub(super) fn scan(&self, paths: &[PathBuf]) -> PolarsResult<LazyFrame> {
        scan(self.root(), paths)
    }

    /// All results as values, for rooms that know nothing of frames; in the order of aircraft, surface, ID.
    ///
    /// # Errors
    /// A result cannot be read, or is no result.
    pub fn rows(&self) -> Result<Vec<Row>, Problem> {
        let frame = self.results()?.collect();
        frame
            .and_then(|frame| frame::rows(&frame))
            .map_err(|error| self.unreadable(&error))
    }

    /// The stiffness of a surface's whole control circuit as it was held last, N·cm/°. Results that cannot be read have none.
    pub fn held_last(&self, surface: &str) -> Option<Quantity> {
        let rows = self.rows().ok()?;
        let own = rows.iter().filter(|r| r.surface == surface);
        let held = own.filter_map(|r| Some((r.time("started")?, r.quantity("held_ncm_per_deg")?)));
        held.max_by_key(|(at, _)| *at).map(|(_, held)| held)
    }

    pub(super) fn unreadable(&self, error: &PolarsError) -> Problem {
        unreadable(self.root(), error)
    }
}

pub(super) fn unreadable(root: &Path, error: &PolarsError) -> Problem {
    Problem::new(format!(
        "{}: the results cannot be read: {}",
        root.join(RESULTS).display(),
        in_a_builder_s_words(error)
    ))
    .hint(format!(
        "make them again from the recordings: hingewright recheck --logbook {}",
        root.display()
    ))
}

/// Why a result cannot be read, without the terms of its format where these say no more than that it is damaged.
pub(super) fn in_a_builder_s_words(error: &PolarsError) -> String {
    let told = error.to_string();
    let first = told.lines().next().unwrap_or_default();
    // The format's own mark stands at both ends of a whole file; a file cut short or of another kind lacks it.
    let torn = ["PAR1", "out of specification", "thrift", "OutOfSpec"];
    match torn.iter().any(|t| told.contains(t)) {
        true => "it was cut short or overwritten, or another program made it".to_owned(),
        false => first.to_owned(),
    }
}

/// Whole paths of all results of the logbook in this folder, sorted.
pub(super) fn result_paths_below(root: &Path) -> Result<Vec<PathBuf>, Problem> {
    let folder = root.join(RESULTS);
    let mut files = whole::files_below(&folder)?;
    files.retain(|file| {
        let within = file.strip_prefix(&folder).unwrap_or(file);
        let parts: Vec<_> = within.iter().map(|p| p.to_string_lossy()).collect();
        let [aircraft, surface, file] = &parts[..] else {
            return false;
        };
        let [aircraft_column, surface_column] = schema::FOLDERS;
        name::partition_value(aircraft, aircraft_column).is_some()
            && name::partition_value(surface, surface_column).is_some()
            && file.ends_with(".parquet")
            && !file.starts_with('.')
    });
    Ok(files)
}

/// These files, all below `root`, read when asked for; none gives a frame without rows.
pub(super) fn scan(root: &Path, paths: &[PathBuf]) -> PolarsResult<LazyFrame> {
    if paths.is_empty() {
        let mut all = frame::file_schema();
        all.merge(frame::folder_schema());
        return Ok(DataFrame::empty_with_schema(&all).lazy());
    }
    let paths = paths
        .iter()
        .map(|path| PlRefPath::try_from_path(path))
        .collect::<PolarsResult<Vec<_>>>()?;
    let arguments = ScanArgsParquet {
        // Given, not taken from the first file: that one may be replaced between a plan and its execution.
        schema: Some(SchemaRef::new(frame::file_schema())),
        hive_options: HiveOptions {
            enabled: Some(true),
            hive_start_idx: 0,
            schema: Some(SchemaRef::new(hive_schema(root))),
            // A surface may be called 2, or 2026-04-18.
            try_parse_dates: false,
        },
        // Any name may be a logbook's: none is a pattern.
        glob: false,
        // A file of an older version has fewer.
        allow_missing_columns: true,
        ..ScanArgsParquet::default()
    };
    let names: Vec<PlSmallStr> = frame::file_schema()
        .iter_names()
        .chain(frame::folder_schema().iter_names())
        .cloned()
        .collect();
    LazyFrame::scan_parquet_files(paths.into(), arguments)
        .map(|frame| frame.select([cols(names).as_expr()]))
}

/// The folders' columns, and those that polars would see in the path to the logbook.
fn hive_schema(root: &Path) -> Schema {
    let mut hive = frame::folder_schema();
    for part in root.components() {
        if let Component::Normal(part) = part
            && let Some((column, _)) = part.to_string_lossy().split_once('=')
        {
            hive.insert(column.into(), DataType::String);
        }
    }
    hive
}
