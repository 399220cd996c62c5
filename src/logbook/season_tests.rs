//! Results of another version, and files of many rows, as a season finds them.

use std::fs;
use std::path::PathBuf;

use polars::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::*;
use crate::history::season::Measure;

#[test]
fn a_result_of_another_version_is_named_with_what_to_do_and_one_of_many_rows_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let sample = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
    let logbook = Logbook::create(folder.path().join("book"), sample).unwrap();
    let into = logbook
        .root()
        .join("results/aircraft=Dunlin/surface=rudder");
    fs::create_dir_all(&into).unwrap();
    let day = 86_400_000_000;
    let started = Int64Chunked::new("started".into(), [day, 2 * day, 3 * day]);
    let started = started.into_datetime(TimeUnit::Microseconds, Some(TimeZone::UTC));
    let mut frame = DataFrame::new(
        3,
        vec![
            Column::new("id".into(), ["a", "b", "c"]),
            started.into_series().into_column(),
            Column::new("finished".into(), [true, true, false]),
            Column::new("slop_deg".into(), [0.1, 0.2, 0.3]),
        ],
    )
    .unwrap();
    let mut write = |name: &str, metadata: Option<&str>| {
        let file = fs::File::create(into.join(name)).unwrap();
        let pairs = metadata.map(|v| {
            KeyValueMetadata::from_static(vec![(super::super::schema::SCHEMA_KEY.into(), v.into())])
        });
        let writer = ParquetWriter::new(file).with_key_value_metadata(pairs);
        writer.finish(&mut frame).unwrap();
    };
    write("old.parquet", Some("hingewright.result/0"));
    write("compacted.parquet", None);
    let story = logbook
        .story("2026-01-01T00:00:00Z".parse().unwrap())
        .unwrap();
    let [problem] = &story.problems[..] else {
        panic!("{:?}", story.problems)
    };
    assert!(problem.what.contains("old.parquet") && problem.what.contains("result/0"));
    assert!(problem.hint.as_ref().unwrap().contains("recheck"));
    let ids: Vec<&str> = story.readings.iter().map(|r| r.id.as_str()).collect();
    assert_eq!(
        (ids, story.left_out.unfinished),
        (vec!["a", "b"], vec!["c".to_owned()])
    );
}

fn empty_logbook(folder: &Path) -> (Logbook, PathBuf) {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
    let logbook = Logbook::create(folder.join("book"), sample).unwrap();
    let into = logbook
        .root()
        .join("results/aircraft=Dunlin/surface=rudder");
    fs::create_dir_all(&into).unwrap();
    (logbook, into)
}

/// Rows from the `first`-th on, each an hour after the one before it.
fn rows(first: usize, count: usize) -> DataFrame {
    let numbers = first..first + count;
    let hours: Vec<i64> = numbers
        .clone()
        .map(|i| 3_600_000_000 * (i as i64 + 1))
        .collect();
    let started = Int64Chunked::from_vec("started".into(), hours)
        .into_datetime(TimeUnit::Microseconds, Some(TimeZone::UTC));
    let ids: Vec<String> = numbers.clone().map(|i| format!("r{i:05}")).collect();
    let slops: Vec<f64> = numbers.map(|i| 0.1 + i as f64 * 1e-6).collect();
    let columns = vec![
        Column::new("id".into(), ids),
        started.into_series().into_column(),
        Column::new("finished".into(), vec![true; count]),
        Column::new("servo".into(), vec!["R1"; count]),
        Column::new("slop_deg".into(), slops.clone()),
        Column::new("slop_deg_u".into(), vec![0.01; count]),
        Column::new("slop_deg_lo95".into(), slops.clone()),
        Column::new("slop_deg_hi95".into(), slops),
    ];
    DataFrame::new(count, columns).unwrap()
}

fn write(path: &Path, frame: &mut DataFrame) {
    let writer = ParquetWriter::new(fs::File::create(path).unwrap());
    let writer = writer.with_compression(ParquetCompression::Uncompressed);
    writer.finish(frame).unwrap();
}

fn now() -> Timestamp {
    "2026-01-01T00:00:00Z".parse().unwrap()
}

#[test]
fn files_of_few_rows_and_one_of_many_give_the_same_readings() {
    let count = FEW_ROWS + 500;
    let read = |each: usize| {
        let folder = tempfile::tempdir().unwrap();
        let (logbook, into) = empty_logbook(folder.path());
        for first in (0..count).step_by(each) {
            write(
                &into.join(format!("{first:05}.parquet")),
                &mut rows(first, each),
            );
        }
        logbook.story(now()).unwrap()
    };
    let many = read(count);
    assert_eq!(many.readings.len(), count);
    let values = &many.readings[0].values;
    let there: Vec<_> = Measure::ALL
        .into_iter()
        .filter_map(|m| values.get(m))
        .collect();
    assert!(!there.is_empty() && there.iter().all(|q| q.interval.is_some()));
    for each in [1, 250, FEW_ROWS / 2] {
        assert_eq!(read(each), many, "{each} rows a file");
    }
}

#[test]
fn a_column_of_another_kind_is_named_and_never_read_as_something_else() {
    let folder = tempfile::tempdir().unwrap();
    let (logbook, into) = empty_logbook(folder.path());
    write(&into.join("good.parquet"), &mut rows(0, 2));
    // Nanoseconds, and a text for a number: in files of few rows and of many.
    for count in [2, FEW_ROWS + 1] {
        let mut nanos = rows(0, count);
        let started = nanos.column("started").unwrap().clone();
        let started = started.cast(&DataType::Datetime(
            TimeUnit::Nanoseconds,
            Some(TimeZone::UTC),
        ));
        nanos.with_column(started.unwrap()).unwrap();
        write(&into.join(format!("nanos-{count}.parquet")), &mut nanos);
        let mut text = rows(0, count);
        text.with_column(Column::new("slop_deg".into(), vec!["0.1"; count]))
            .unwrap();
        write(&into.join(format!("text-{count}.parquet")), &mut text);
    }
    let story = logbook.story(now()).unwrap();
    assert_eq!(story.readings.len(), 2);
    let named: Vec<&str> = story.problems.iter().map(|p| p.what.as_str()).collect();
    assert_eq!(named.len(), 4, "{named:?}");
    assert!(
        named
            .iter()
            .all(|n| n.contains("nanos-") || n.contains("text-")),
        "{named:?}"
    );
}

/// One bit at a time, in a file that is read when it is opened and in one that is scanned.
#[test]
fn whatever_bit_is_damaged_the_result_is_read_or_named_and_the_others_are_used() {
    for (rows_in_it, tries) in [(1, 400), (FEW_ROWS + 1, 100)] {
        let folder = tempfile::tempdir().unwrap();
        let (logbook, into) = empty_logbook(folder.path());
        write(&into.join("good.parquet"), &mut rows(0, 1));
        let damaged = into.join("damaged.parquet");
        write(&damaged, &mut rows(1, rows_in_it));
        let whole = fs::read(&damaged).unwrap();
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let mut named = 0;
        for _ in 0..tries {
            let mut bytes = whole.clone();
            let at = rng.random_range(0..bytes.len());
            bytes[at] ^= 1_u8 << rng.random_range(0..8);
            fs::write(&damaged, bytes).unwrap();
            let story = logbook.story(now()).unwrap();
            let good = story.readings.iter().any(|r| r.id == "r00000");
            assert!(good, "byte {at}: {:?}", story.problems);
            let out = &story.left_out;
            let out = out.unfinished.len() + out.without_time.len() + out.in_the_future.len();
            let all = story.readings.len() + out == 1 + rows_in_it;
            assert!(all || story.problems.len() == 1, "byte {at}: lost");
            named += story.problems.len();
        }
        assert!(named >= tries / 20, "{named}");
    }
}

#[test]
fn a_result_that_is_cut_short_is_told_in_a_builder_s_words_and_once() {
    let folder = tempfile::tempdir().unwrap();
    let (logbook, into) = empty_logbook(folder.path());
    fs::write(into.join("cut.parquet"), "PAR1 half").unwrap();
    let story = logbook.story(now()).unwrap();
    let [problem] = &story.problems[..] else {
        panic!("{:?}", story.problems);
    };
    assert!(problem.what.contains("cut.parquet"), "{problem:?}");
    assert!(problem.what.contains("cut short"), "{problem:?}");
    for told in [problem.what.clone(), logbook.rows().unwrap_err().what] {
        assert!(
            !told.contains("PAR1") && !told.contains("specification"),
            "{told}"
        );
    }
}

/// AWG 22 is 0.326 mm² (printed tables, from memory): 53 mΩ/m, there and back 69 mΩ for 650 mm; then warmth, flexible wire and a plug.
#[test]
fn what_a_lead_may_have_comes_from_the_aircraft_file() {
    let folder = tempfile::tempdir().unwrap();
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
    let text = fs::read_to_string(&sample).unwrap();
    let lead = "tag = \"R1\"\ntype = \"metal gear, 21 kg·cm\"\n";
    let text = text.replacen(
        lead,
        &format!("{lead}[servo.lead]\nlength_mm = 650\nawg = 22\nconnections = 1\n"),
        1,
    );
    for file in ["E1.calibration.toml", "E2.calibration.toml"] {
        fs::copy(sample.with_file_name(file), folder.path().join(file)).unwrap();
    }
    let file = folder.path().join("aircraft.toml");
    fs::write(&file, text).unwrap();
    let logbook = Logbook::create(folder.path().join("book"), file).unwrap();
    let source = logbook.source().unwrap();
    let most = source.lead_at_most_mohm("R1").unwrap();
    assert!((69.0..110.0).contains(&most), "{most}");
    assert_eq!(source.lead_at_most_mohm("F1"), None);
    assert_eq!(source.lead_at_most_mohm("X9"), None);
}
