//! Results of another version, and files of many rows, as a season finds them.

use std::fs;

use polars::prelude::*;

use super::*;

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
    assert_eq!((ids, story.left_out.unfinished), (vec!["a", "b"], 1));
}
