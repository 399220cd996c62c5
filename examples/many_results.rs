//! Writes many invented results, to measure `season --all-in` and other readers with:
//!
//!     cargo run --example many_results FOLDER ROWS FILES_A_SURFACE
//!
//! A club of ten aircraft, five surfaces each, as FOLDER/aircraft-N/results/…: the rows are spread over so many files a
//! surface, as compacted logbooks have them. The columns are those that a season looks at; all others are missing, as they
//! are in a file of an older program. The values are random, about a level of each surface.

use std::fs::{self, File};
use std::path::Path;

use anyhow::Context;
use polars::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const AIRCRAFT: usize = 10;
const SURFACES: [&str; 5] = [
    "left elevator",
    "right elevator",
    "left aileron",
    "right aileron",
    "rudder",
];
/// 2026-01-01, in microseconds.
const START: i64 = 1_767_225_600_000_000;
const STEP: i64 = 60_000_000;

fn frame(rows: usize, first: usize, rng: &mut ChaCha8Rng) -> PolarsResult<DataFrame> {
    let ids: Vec<String> = (first..first + rows).map(|i| format!("r{i:07}")).collect();
    let times: Vec<i64> = (first..first + rows)
        .map(|i| START + STEP * i as i64)
        .collect();
    let started = Int64Chunked::from_vec("started".into(), times)
        .into_datetime(TimeUnit::Microseconds, Some(TimeZone::UTC))
        .into_series();
    let mut columns = vec![
        Column::new("id".into(), ids),
        started.into_column(),
        Column::new("servo".into(), vec!["E1"; rows]),
        Column::new("finished".into(), vec![true; rows]),
        Column::new("torque_from".into(), vec!["torque"; rows]),
    ];
    for (name, level) in [
        ("stiffness_ncm_per_deg", 0.4),
        ("friction_ncm", 3.0),
        ("slop_deg", 0.2),
        ("rest_deg", 0.0),
        ("hold_neutral_ma", 120.0),
        ("share_of_stall", 0.15),
        ("lead_mohm", 80.0),
    ] {
        let spread = f64::max(0.05 * level, 0.05);
        let mut draw = || level + spread * rng.random_range(-1.0..1.0);
        let values: Vec<f64> = (0..rows).map(|_| draw()).collect();
        columns.push(Column::new(name.into(), values));
    }
    DataFrame::new(rows, columns)
}

fn write(folder: &Path, rows: usize, files: usize, rng: &mut ChaCha8Rng) -> anyhow::Result<()> {
    fs::create_dir_all(folder)?;
    let mut first = 0;
    for number in 0..files {
        let count = (rows - first) / (files - number);
        let file = File::create(folder.join(format!("{number:06}.parquet")))?;
        ParquetWriter::new(file)
            .with_compression(ParquetCompression::Zstd(None))
            .finish(&mut frame(count, first, rng)?)?;
        first += count;
    }
    Ok(())
}

fn main() -> anyhow::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, rows, files] = &arguments[..] else {
        anyhow::bail!("usage: many_results FOLDER ROWS FILES_A_SURFACE");
    };
    let (rows, files): (usize, usize) = (rows.parse()?, files.parse()?);
    let surfaces = AIRCRAFT * SURFACES.len();
    anyhow::ensure!(
        files > 0 && rows >= surfaces * files,
        "a row a file at least"
    );
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut left = rows;
    for number in 0..surfaces {
        let name = format!("aircraft-{}", number / SURFACES.len());
        let surface = SURFACES[number % SURFACES.len()].replace(' ', "%20");
        let own = left / (surfaces - number);
        let results = Path::new(folder).join(&name).join("results");
        let into = results
            .join(format!("aircraft={name}"))
            .join(format!("surface={surface}"));
        write(&into, own, files, &mut rng).with_context(|| into.display().to_string())?;
        left -= own;
    }
    println!("{rows} rows in {} files", surfaces * files);
    Ok(())
}
