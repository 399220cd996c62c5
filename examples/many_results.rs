//! Writes many invented results, to measure `season` and other readers with:
//!
//!     cargo run --example many_results FOLDER ROWS FILES_A_SURFACE [AIRCRAFT]
//!
//! A club of ten aircraft, or so many, five surfaces each, as FOLDER/aircraft-N with an aircraft file and results: the rows
//! are spread over so many files a surface, and a file of one row is what `check` writes for a season to look at. All
//! other columns are missing, as they are in a file of an older program. The values are random, about a level of each
//! surface; there are no recordings behind them.

use std::fs::{self, File};
use std::path::Path;

use anyhow::Context;
use polars::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const SURFACES: [(&str, &str); 5] = [
    ("left elevator", "E1"),
    ("right elevator", "E2"),
    ("left aileron", "A1"),
    ("right aileron", "A2"),
    ("rudder", "R1"),
];
/// 2024-01-01, in microseconds.
const START: i64 = 1_704_067_200_000_000;
const STEP: i64 = 60_000_000;

/// Name, level and whether an interval stands beside it.
const QUANTITIES: [(&str, f64, bool); 8] = [
    ("stiffness_ncm_per_deg", 0.4, true),
    ("friction_ncm", 3.0, true),
    ("slop_deg", 0.2, true),
    ("rest_deg", 0.0, false),
    ("hold_neutral_ma", 120.0, false),
    ("share_of_stall", 0.15, true),
    ("lead_mohm", 80.0, true),
    ("peak_torque_ncm", 24.0, true),
];

/// Rows of one surface, the `first`-th and on.
fn frame(
    surface: usize,
    rows: usize,
    first: usize,
    rng: &mut ChaCha8Rng,
) -> PolarsResult<DataFrame> {
    let numbers = first..first + rows;
    let ids: Vec<String> = numbers
        .clone()
        .map(|i| format!("r{i:07}-{surface}"))
        .collect();
    let times: Vec<i64> = numbers.map(|i| START + STEP * i as i64).collect();
    let started = Int64Chunked::from_vec("started".into(), times)
        .into_datetime(TimeUnit::Microseconds, Some(TimeZone::UTC))
        .into_series();
    let mut columns = vec![
        Column::new("id".into(), ids),
        started.into_column(),
        Column::new("servo".into(), vec![SURFACES[surface].1; rows]),
        Column::new("finished".into(), vec![true; rows]),
        Column::new("torque_from".into(), vec!["torque"; rows]),
        Column::new("verdict".into(), vec!["no-fault-found"; rows]),
    ];
    for (name, level, with_interval) in QUANTITIES {
        let spread = f64::max(0.05 * level, 0.05);
        let mut draw = || level + spread * rng.random_range(-1.0..1.0);
        let values: Vec<f64> = (0..rows).map(|_| draw()).collect();
        let moved = |by: f64| values.iter().map(|v| v + by * spread).collect::<Vec<f64>>();
        if with_interval {
            columns.push(Column::new(
                format!("{name}_u").into(),
                vec![0.5 * spread; rows],
            ));
            columns.push(Column::new(format!("{name}_lo95").into(), moved(-1.0)));
            columns.push(Column::new(format!("{name}_hi95").into(), moved(1.0)));
        }
        columns.push(Column::new(name.into(), values));
    }
    DataFrame::new(rows, columns)
}

fn write(
    folder: &Path,
    surface: usize,
    rows: usize,
    files: usize,
    rng: &mut ChaCha8Rng,
) -> anyhow::Result<()> {
    fs::create_dir_all(folder)?;
    let mut first = 0;
    for number in 0..files {
        let count = (rows - first) / (files - number);
        let file = File::create(folder.join(format!("{number:07}.parquet")))?;
        let metadata = KeyValueMetadata::from_static(vec![(
            "hingewright.schema".into(),
            hingewright::logbook::SCHEMA.into(),
        )]);
        let compression = match count {
            // As the program writes a result.
            1 => ParquetCompression::Uncompressed,
            _ => ParquetCompression::Zstd(None),
        };
        ParquetWriter::new(file)
            .with_compression(compression)
            .with_statistics(StatisticsOptions::empty())
            .with_key_value_metadata(Some(metadata))
            .finish(&mut frame(surface, count, first, rng)?)?;
        first += count;
    }
    Ok(())
}

/// The sample's, under another name, with its calibrations.
fn aircraft_file(folder: &Path, name: &str) -> anyhow::Result<()> {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    fs::create_dir_all(folder)?;
    for file in ["E1.calibration.toml", "E2.calibration.toml"] {
        fs::copy(samples.join(file), folder.join(file))?;
    }
    let text = fs::read_to_string(samples.join("aircraft.toml"))?;
    let text = text.replace("name = \"Dunlin\"", &format!("name = \"{name}\""));
    Ok(fs::write(folder.join("aircraft.toml"), text)?)
}

fn main() -> anyhow::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (folder, rows, files, aircraft) = match &arguments[..] {
        [folder, rows, files] => (folder, rows, files, 10),
        [folder, rows, files, aircraft] => (folder, rows, files, aircraft.parse()?),
        _ => anyhow::bail!("usage: many_results FOLDER ROWS FILES_A_SURFACE [AIRCRAFT]"),
    };
    let (rows, files): (usize, usize) = (rows.parse()?, files.parse()?);
    let surfaces = aircraft * SURFACES.len();
    anyhow::ensure!(
        files > 0 && surfaces > 0 && rows >= surfaces * files,
        "a row a file at least"
    );
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut left = rows;
    for number in 0..surfaces {
        let name = format!("aircraft-{}", number / SURFACES.len());
        let logbook = Path::new(folder).join(&name);
        let one = number % SURFACES.len();
        if one == 0 {
            aircraft_file(&logbook, &name).with_context(|| name.clone())?;
        }
        let surface = SURFACES[one].0.replace(' ', "%20");
        let own = left / (surfaces - number);
        let into = logbook
            .join("results")
            .join(format!("aircraft={name}"))
            .join(format!("surface={surface}"));
        write(&into, one, own, files, &mut rng).with_context(|| into.display().to_string())?;
        left -= own;
    }
    println!("{rows} rows in {} files", surfaces * files);
    Ok(())
}
