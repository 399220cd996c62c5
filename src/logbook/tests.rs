//! The logbook as a whole, on recordings of the simulated rig.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, SystemTime};

use polars::prelude::*;

use super::*;
use crate::assess::Assessed;
use crate::simulated::{Programme, Scenario, Sweep, simulate};

const STARTED: &str = "2026-04-18T10:22:07Z";

struct Bench {
    _folder: tempfile::TempDir,
    logbook: Logbook,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let logbook = Logbook::create(folder.path().join("book"), sample("aircraft.toml")).unwrap();
        Self {
            _folder: folder,
            logbook,
        }
    }

    /// A sample of the repository as a recording of this logbook, and its path.
    fn take(&self, file: &str) -> PathBuf {
        let path = self.logbook.root().join(RECORDINGS).join(file);
        fs::copy(sample(file), &path).unwrap();
        path
    }

    fn files(&self) -> Vec<String> {
        let root = self.logbook.root();
        let files = whole::files_below(root).unwrap();
        let within = files.iter().map(|f| f.strip_prefix(root).unwrap());
        within.map(|f| f.display().to_string()).collect()
    }
}

const SOUND: &str = "1-left-elevator-sound.log";
const KNEE: &str = "2-right-elevator-knee.log";
const GEOMETRY: &str = "4-rudder-short-by-geometry.log";

fn sample(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("samples")
        .join(file)
}

fn no_progress(_: usize, _: usize) {}

fn stored(bench: &Bench, file: &str) -> (Assessed, PathBuf) {
    let assessed = bench.logbook.assess(&bench.take(file)).unwrap();
    let path = bench
        .logbook
        .store(bench.logbook.aircraft(), &assessed)
        .unwrap();
    (assessed, path)
}

#[test]
fn a_new_logbook_has_the_aircraft_and_its_calibrations_byte_for_byte() {
    let bench = Bench::new();
    assert_eq!(
        bench.files(),
        [
            "E1.calibration.toml",
            "E2.calibration.toml",
            "aircraft.toml"
        ]
    );
    for file in bench.files() {
        let copy = fs::read(bench.logbook.root().join(&file)).unwrap();
        assert_eq!(copy, fs::read(sample(&file)).unwrap());
    }
    assert_eq!(bench.logbook.aircraft().name, "Dunlin");
    assert!(bench.logbook.root().is_absolute());
    // Once more is no fault, and from the logbook's own file neither.
    let root = bench.logbook.root();
    Logbook::create(root, sample("aircraft.toml")).unwrap();
    Logbook::create(root, root.join(AIRCRAFT_FILE)).unwrap();
}

#[test]
fn another_aircraft_is_never_laid_over_a_logbook_s_own() {
    let bench = Bench::new();
    let file = bench.logbook.root().join(AIRCRAFT_FILE);
    let mine = fs::read_to_string(&file).unwrap() + "# mine\n";
    fs::write(&file, &mine).unwrap();
    let problem = Logbook::create(bench.logbook.root(), sample("aircraft.toml")).unwrap_err();
    assert!(problem.what.contains("differs from"), "{problem}");
    assert_eq!(fs::read_to_string(&file).unwrap(), mine);
}

#[test]
fn a_calibration_outside_the_aircraft_file_s_folder_is_refused_before_anything_is_made() {
    let folder = tempfile::tempdir().unwrap();
    let inner = folder.path().join("inner");
    fs::create_dir(&inner).unwrap();
    for file in ["E1.calibration.toml", "E2.calibration.toml"] {
        fs::copy(sample(file), folder.path().join(file)).unwrap();
    }
    let text = fs::read_to_string(sample("aircraft.toml")).unwrap();
    let text = text.replace("\"E1.calibration", "\"../E1.calibration");
    let text = text.replace("\"E2.calibration", "\"../E2.calibration");
    fs::write(inner.join("a.toml"), text).unwrap();
    let book = folder.path().join("book");
    let problem = Logbook::create(&book, inner.join("a.toml")).unwrap_err();
    assert!(problem.what.contains("../E1.calibration.toml"), "{problem}");
    assert!(!book.exists());
}

#[test]
fn a_folder_that_is_no_logbook_says_what_it_lacks() {
    let folder = tempfile::tempdir().unwrap();
    let told = |path: &Path| Logbook::open(path).unwrap_err();
    let missing = told(&folder.path().join("none"));
    assert!(missing.what.contains("no such folder"), "{missing}");
    let empty = told(folder.path());
    assert!(empty.what.contains("no aircraft.toml"), "{empty}");
    let file = folder.path().join("a file");
    fs::write(&file, "").unwrap();
    let file = told(&file);
    assert!(file.what.contains("this is a file"), "{file}");
    for problem in [missing, empty, file] {
        assert!(problem.hint.is_some(), "{problem}");
        assert!(
            problem
                .what
                .starts_with(&folder.path().display().to_string())
        );
    }
}

#[test]
fn recordings_started_in_the_same_second_never_share_a_file() {
    let bench = Bench::new();
    let started = STARTED.parse().unwrap();
    let logbook = &bench.logbook;
    let names = std::sync::Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..8 {
            scope.spawn(|| {
                let (path, _) = logbook.new_recording("left elevator", started).unwrap();
                names.lock().unwrap().push(path);
            });
        }
    });
    let mut names = names.into_inner().unwrap();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), 8);
    assert_eq!(logbook.recordings().unwrap(), names);
    let first = logbook
        .root()
        .join("recordings/20260418T102207Z-left-elevator.log");
    assert!(names.contains(&first), "{names:?}");
    assert_eq!(
        logbook.recording_by_id("20260418T102207Z-left-elevator"),
        Ok(first)
    );
}

#[test]
fn an_id_that_is_not_there_is_told_with_one_that_is_near() {
    let bench = Bench::new();
    let none = bench.logbook.recording_by_id("x").unwrap_err();
    assert!(none.hint.unwrap().contains("no recordings yet"));
    bench.take(SOUND);
    let near = bench
        .logbook
        .recording_by_id("1-left-elevator-soud")
        .unwrap_err();
    assert!(near.hint.unwrap().contains("1-left-elevator-sound"));
}

#[test]
fn an_empty_logbook_has_no_results_and_all_columns() {
    let bench = Bench::new();
    let frame = bench.logbook.results().unwrap().collect().unwrap();
    assert_eq!(frame.height(), 0);
    let mut names: Vec<String> = schema::columns().into_iter().map(|(n, _)| n).collect();
    names.extend(schema::FOLDERS.map(str::to_owned));
    let own: Vec<&str> = frame
        .get_column_names()
        .iter()
        .map(|n| n.as_str())
        .collect();
    assert_eq!(own, names);
    assert_eq!(bench.logbook.rows().unwrap(), []);
    fs::remove_dir(bench.logbook.root().join(RESULTS)).unwrap();
    assert_eq!(bench.logbook.rows().unwrap(), []);
}

#[test]
fn what_is_stored_comes_back_as_it_was() {
    let bench = Bench::new();
    let (assessed, path) = stored(&bench, KNEE);
    let within = path.strip_prefix(bench.logbook.root()).unwrap();
    assert_eq!(
        within,
        Path::new("results/aircraft=Dunlin/surface=right%20elevator/2-right-elevator-knee.parquet")
    );
    let rows = bench.logbook.rows().unwrap();
    let [row] = &rows[..] else { panic!("{rows:?}") };
    let aircraft = bench.logbook.aircraft();
    assert_eq!(
        *row,
        super::row::of("2-right-elevator-knee", aircraft, &assessed)
    );
    assert_eq!(row.aircraft, "Dunlin");
    assert_eq!(row.surface, "right elevator");
    assert_eq!(
        row.text("file"),
        Some("recordings/2-right-elevator-knee.log")
    );
    assert_eq!(row.text("servo"), Some("E2"));
    assert_eq!(row.text("drive"), Some("driven"));
    assert_eq!(row.flag("finished"), Some(true));
    assert!(row.time("started").is_some());
    let curve = assessed.measured.curve.as_ref().unwrap();
    assert_eq!(row.quantity("friction_ncm"), Some(curve.friction_ncm));
    assert_eq!(row.quantity("knee_up_deg"), Some(curve.knees[0].at_deg));
    assert_eq!(row.quantity("knee_down_deg"), None);
    assert_eq!(row.count("tight_spots"), Some(0));
    // The sweeps of the samples go at 30°/s.
    assert!((row.number("speed_deg_s").unwrap() - 30.0).abs() < 1.0);
}

/// As they come from a frame of many, too: a list, nulls, a time.
#[test]
fn every_sample_makes_a_row_with_the_columns_of_the_schema_and_no_nan() {
    let bench = Bench::new();
    for file in [SOUND, KNEE, GEOMETRY] {
        stored(&bench, file);
    }
    let names: Vec<String> = schema::columns().into_iter().map(|(n, _)| n).collect();
    let rows = bench.logbook.rows().unwrap();
    assert_eq!(rows.len(), 3);
    for row in &rows {
        let own: Vec<&str> = row.cells().iter().map(|(n, _)| n.as_str()).collect();
        assert_eq!(own, names);
        for (name, cell) in row.cells() {
            if let Cell::Number(Some(value)) = cell {
                assert!(value.is_finite(), "{name}");
            }
        }
        assert!(
            row.cells()
                .iter()
                .any(|(_, c)| matches!(c, Cell::Texts(Some(e)) if !e.is_empty()))
        );
    }
    // The rudder's rig measures both ends of the lead.
    assert!(rows.iter().any(|r| r.number("lead_mohm").is_some()));
}

#[test]
fn a_recording_of_which_nothing_could_be_measured_is_a_row_of_nulls() {
    let bench = Bench::new();
    let path = bench.logbook.root().join("recordings/still.csv");
    fs::write(&path, "# surface=rudder\nt_s,angle_deg\n0,0\n0.1,0\n").unwrap();
    let assessed = bench.logbook.assess(&path).unwrap();
    bench
        .logbook
        .store(bench.logbook.aircraft(), &assessed)
        .unwrap();
    let rows = bench.logbook.rows().unwrap();
    assert_eq!(rows[0].number("stiffness_ncm_per_deg"), None);
    assert_eq!(rows[0].count("tight_spots"), None);
    assert_eq!(rows[0].text("rig"), None);
    assert_eq!(rows[0].text("verdict"), Some("unproven"));
}

#[test]
fn names_that_folders_and_globs_dislike_come_back_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(sample("aircraft.toml")).unwrap();
    let text = text.replace("\"Dunlin\"", "\"Möwe 50% [a=b] *\"");
    let text = text.replace("\"rudder\"", "\"007\"");
    for file in ["E1.calibration.toml", "E2.calibration.toml"] {
        fs::copy(sample(file), folder.path().join(file)).unwrap();
    }
    let file = folder.path().join("a.toml");
    fs::write(&file, text).unwrap();
    // The way to the logbook is no pattern and has no columns in it.
    let root = folder.path().join("year=2026").join("log[1]*");
    let logbook = Logbook::create(&root, &file).unwrap();
    let path = root.join("recordings/r.csv");
    fs::write(&path, "# surface=007\nt_s,angle_deg\n0,0\n0.1,0\n").unwrap();
    let assessed = logbook.assess(&path).unwrap();
    logbook.store(logbook.aircraft(), &assessed).unwrap();
    let rows = logbook.rows().unwrap();
    assert_eq!(rows.len(), 1);
    assert_eq!(rows[0].aircraft, "Möwe 50% [a=b] *");
    assert_eq!(rows[0].surface, "007");
}

#[test]
fn a_recheck_makes_the_same_bytes_again() {
    let bench = Bench::new();
    bench.take(SOUND);
    bench.take(KNEE);
    let first = bench.logbook.recheck(&no_progress).unwrap();
    assert_eq!((first.stored, first.changed), (2, 2));
    let bytes = || -> Vec<Vec<u8>> {
        let paths = bench.logbook.result_paths().unwrap();
        paths.iter().map(|p| fs::read(p).unwrap()).collect()
    };
    let before = bytes();
    let again = bench.logbook.recheck(&no_progress).unwrap();
    assert_eq!((again.stored, again.changed), (2, 0));
    fs::remove_dir_all(bench.logbook.root().join(RESULTS)).unwrap();
    bench.logbook.recheck(&no_progress).unwrap();
    assert_eq!(bytes(), before);
    assert!(again.problems.is_empty());
}

#[test]
fn a_recheck_tells_what_it_could_not_use_and_does_the_rest() {
    let bench = Bench::new();
    bench.take(SOUND);
    let folder = bench.logbook.root().join(RECORDINGS);
    fs::write(folder.join("empty.log"), "").unwrap();
    fs::write(folder.join("nameless.csv"), "t_s,angle_deg\n0,0\n0.1,0\n").unwrap();
    let twin = folder.join(SOUND).with_extension("LOG");
    // Not the same bytes: those would be a copy.
    let bytes = fs::read(folder.join(SOUND)).unwrap();
    fs::write(&twin, [&bytes[..], b"# remark=twin\n"].concat()).unwrap();
    let seen = AtomicBool::new(false);
    let done = bench
        .logbook
        .recheck(&|done, of| {
            assert_eq!(of, 4);
            seen.fetch_or(done == 4, Ordering::Relaxed);
        })
        .unwrap();
    assert!(seen.into_inner());
    assert_eq!(done.stored, 1);
    let told: Vec<String> = done.problems.iter().map(Problem::to_string).collect();
    assert_eq!(told.len(), 3, "{told:?}");
    for (word, hint) in [
        ("empty.log", "record again"),
        ("nameless.csv", "# surface=NAME"),
        ("same name but for its ending", "another name"),
    ] {
        let found = told.iter().any(|t| t.contains(word) && t.contains(hint));
        assert!(found, "{word}: {told:?}");
    }
}

#[test]
fn a_recording_that_grows_during_the_recheck_is_left_to_its_own_program() {
    let bench = Bench::new();
    let path = bench.take(SOUND);
    bench.take(KNEE);
    let done = bench
        .logbook
        .recheck(&|done, of| {
            if done == of {
                let mut file = fs::File::options().append(true).open(&path).unwrap();
                std::io::Write::write_all(&mut file, b"# note=more\n").unwrap();
            }
        })
        .unwrap();
    assert_eq!(done.being_written, std::slice::from_ref(&path));
    assert_eq!(done.stored, 1);
    let rows = bench.logbook.rows().unwrap();
    assert_eq!(rows[0].surface, "right elevator");
}

#[test]
fn a_result_whose_recording_is_gone_is_said_and_left_alone() {
    let bench = Bench::new();
    let (_, result) = stored(&bench, SOUND);
    fs::remove_file(bench.logbook.root().join(RECORDINGS).join(SOUND)).unwrap();
    let done = bench.logbook.recheck(&no_progress).unwrap();
    assert_eq!(done.without_recording, std::slice::from_ref(&result));
    assert!(result.exists());
}

#[test]
fn a_result_under_an_old_name_gives_way_and_is_said() {
    let bench = Bench::new();
    let (_, old) = stored(&bench, SOUND);
    let file = bench.logbook.root().join(AIRCRAFT_FILE);
    let text = fs::read_to_string(&file).unwrap();
    fs::write(&file, text.replace("\"Dunlin\"", "\"Dunlin II\"")).unwrap();
    let done = Logbook::open(bench.logbook.root())
        .unwrap()
        .recheck(&no_progress)
        .unwrap();
    assert_eq!(done.moved, std::slice::from_ref(&old));
    assert!(!old.exists());
    assert_eq!(bench.logbook.rows().unwrap()[0].aircraft, "Dunlin II");
}

#[test]
fn what_a_killed_program_left_is_read_by_nobody_and_swept_up_once_it_is_old() {
    let bench = Bench::new();
    let (_, result) = stored(&bench, SOUND);
    let old = result.with_file_name(".hingewright-a1b2c3.part");
    let young = result.with_file_name(".hingewright-d4e5f6.part");
    for path in [&old, &young] {
        fs::write(path, "PAR1 half").unwrap();
    }
    assert_eq!(bench.logbook.rows().unwrap().len(), 1);
    let hours_ago = SystemTime::now() - Duration::from_secs(2 * 3600);
    let file = fs::File::options().write(true).open(&old).unwrap();
    file.set_modified(hours_ago).unwrap();
    let done = bench.logbook.recheck(&no_progress).unwrap();
    assert_eq!(done.swept, 1);
    assert!(!old.exists() && young.exists() && result.exists());
}

/// A recording that grows or shrinks makes another result of another length each time, so that a reader who held
/// on to a replaced file's footer would fail.
#[test]
fn two_who_write_and_one_who_reads_do_not_disturb_each_other() {
    let bench = Bench::new();
    let (sound, _) = stored(&bench, SOUND);
    let (knee, _) = stored(&bench, KNEE);
    let logbook = &bench.logbook;
    let aircraft = logbook.aircraft();
    let done = AtomicBool::new(false);
    let mut noted = sound.clone();
    noted.summary.keys.push(("note".into(), "n".repeat(3000)));
    let reads = std::thread::scope(|scope| {
        let writers: Vec<_> = (0..2)
            .map(|_| {
                scope.spawn(|| {
                    for _ in 0..60 {
                        for one in [&sound, &knee, &noted] {
                            logbook.store(aircraft, one).unwrap();
                        }
                    }
                })
            })
            .collect();
        let rechecker = scope.spawn(|| {
            for _ in 0..3 {
                let done = logbook.recheck(&no_progress).unwrap();
                assert_eq!((done.stored, done.problems.len()), (2, 0));
            }
        });
        let reader = scope.spawn(|| {
            let mut reads = 0;
            while !done.load(Ordering::Relaxed) {
                let rows = logbook.rows().unwrap();
                assert_eq!(rows.len(), 2);
                for (row, samples) in rows
                    .iter()
                    .zip([sound.summary.samples, knee.summary.samples])
                {
                    assert_eq!(row.count("samples"), Some(samples as i64));
                }
                reads += 1;
            }
            reads
        });
        for writer in writers {
            writer.join().unwrap();
        }
        rechecker.join().unwrap();
        done.store(true, Ordering::Relaxed);
        reader.join().unwrap()
    });
    assert!(reads > 5, "{reads}");
    let files = bench.files();
    assert!(!files.iter().any(|f| f.ends_with(".part")), "{files:?}");
}

#[test]
fn a_lazy_frame_answers_a_question_across_recordings() {
    let bench = Bench::new();
    for file in [SOUND, KNEE, GEOMETRY] {
        stored(&bench, file);
    }
    let frame = bench
        .logbook
        .results()
        .unwrap()
        .filter(col("verdict").eq(lit("work-needed")))
        .select([col("surface"), col("friction_ncm")])
        .collect()
        .unwrap();
    assert_eq!(frame.height(), 2);
}

#[test]
fn an_unfinished_run_is_a_result_that_says_so() {
    let bench = Bench::new();
    let scenario = Scenario {
        rate_hz: 100.0,
        programme: Programme::Sweep(Sweep {
            cycles: 2,
            ..Sweep::default()
        }),
        ..Scenario::default()
    };
    let made = simulate(&scenario, 3);
    let path = bench.logbook.root().join("recordings/cut.log");
    let mut bytes = b"# outcome=unfinished: the cable came off\n".to_vec();
    bytes.extend(&made.capture);
    fs::write(&path, bytes).unwrap();
    let done = bench.logbook.recheck(&no_progress).unwrap();
    assert_eq!(done.stored, 1, "{:?}", done.problems);
    let rows = bench.logbook.rows().unwrap();
    assert_eq!(rows[0].flag("finished"), Some(false));
    assert_eq!(rows[0].text("unfinished_why"), Some("the cable came off"));
}
