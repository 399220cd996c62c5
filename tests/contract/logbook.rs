//! A logbook from outside: what `recheck` and `report` make of a folder, and several of them at once.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use hingewright::logbook::Logbook;
use serde_json::Value;
use tempfile::TempDir;

use super::bench::{Ran, run};
use super::samples::SAMPLES;

/// A folder put together by hand, as its form is written down: no program made it.
struct Book {
    folder: TempDir,
}

impl Book {
    fn of(samples: &[&str]) -> Self {
        let book = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        fs::create_dir(book.path("recordings")).unwrap();
        for file in [
            "aircraft.toml",
            "E1.calibration.toml",
            "E2.calibration.toml",
        ] {
            fs::copy(Path::new("samples").join(file), book.path(file)).unwrap();
        }
        for sample in samples {
            let name = Path::new(sample).file_name().unwrap();
            fs::copy(sample, book.path("recordings").join(name)).unwrap();
        }
        book
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn root(&self) -> &str {
        self.folder.path().to_str().unwrap()
    }

    fn recheck(&self) -> Ran {
        run(["recheck", "--logbook", self.root()])
    }

    fn report(&self, more: &[&str]) -> Ran {
        run([&["report", "--logbook", self.root()], more].concat())
    }

    /// Every file in it, whole paths.
    fn files(&self) -> Vec<PathBuf> {
        let mut found = Vec::new();
        let mut folders = vec![self.folder.path().to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    found.push(path);
                }
            }
        }
        found.sort();
        found
    }
}

#[test]
fn a_result_holds_the_very_line_that_check_prints() {
    let book = Book::of(&SAMPLES);
    let ran = book.recheck();
    assert_eq!(ran.status, 0, "{}", ran.err);
    let results = book.path("results");
    assert!(ran.out.contains("6 results made again, 6 of them changed"));
    assert!(ran.out.contains(results.to_str().unwrap()), "{}", ran.out);

    let checked = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .current_dir(book.folder.path())
        .args(["check", "--json", "--aircraft", "aircraft.toml"])
        .args(SAMPLES.map(|s| s.replace("samples/", "recordings/")))
        .output()
        .unwrap();
    let checked = String::from_utf8(checked.stdout).unwrap();
    let mut printed: Vec<&str> = checked.lines().collect();
    printed.sort_unstable();
    let rows = Logbook::open(book.folder.path()).unwrap().rows().unwrap();
    let mut kept: Vec<&str> = rows.iter().map(|r| r.text("check_json").unwrap()).collect();
    kept.sort_unstable();
    assert_eq!(kept, printed);
    // And the columns say what the line says.
    for row in &rows {
        let line: Value = serde_json::from_str(row.text("check_json").unwrap()).unwrap();
        assert_eq!(line["verdict"], row.text("verdict").unwrap());
        assert_eq!(line["recording"]["surface"], *row.surface);
        assert_eq!(line["recording"]["samples"].as_i64(), row.count("samples"));
        let friction = &line["curve"]["friction_ncm"];
        for (key, column) in [("value", "friction_ncm"), ("hi95", "friction_ncm_hi95")] {
            let (told, kept) = (friction[key].as_f64(), row.number(column));
            // The JSON reader of the tests may be off by the last bit.
            let apart = told.zip(kept).map_or(0.0, |(t, k)| (t - k).abs() / k);
            assert_eq!(told.is_some(), kept.is_some());
            assert!(apart <= 2.0 * f64::EPSILON, "{told:?} {kept:?}");
        }
    }
}

#[test]
fn a_second_recheck_changes_nothing_and_recordings_are_never_touched() {
    let book = Book::of(&SAMPLES[..2]);
    book.recheck();
    let read = || -> Vec<(PathBuf, Vec<u8>)> {
        let files = book.files().into_iter();
        files.map(|f| (f.clone(), fs::read(f).unwrap())).collect()
    };
    let before = read();
    let ran = book.recheck();
    assert!(
        ran.out.contains("2 results made again, 0 of them changed"),
        "{}",
        ran.out
    );
    assert_eq!(read(), before);
}

#[test]
fn a_recording_that_cannot_be_read_gives_exit_status_2_and_the_others_results_all_the_same() {
    let book = Book::of(&SAMPLES[..2]);
    let broken = book.path("recordings/broken.log");
    fs::write(&broken, "nothing of a rig\n").unwrap();
    let ran = book.recheck();
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains(broken.to_str().unwrap()), "{}", ran.err);
    assert!(ran.out.contains("2 results made again"), "{}", ran.out);
}

#[test]
fn a_result_whose_recording_is_gone_is_named_in_full_and_kept() {
    let book = Book::of(&SAMPLES[..2]);
    book.recheck();
    let gone = Path::new(SAMPLES[0]).file_name().unwrap();
    fs::remove_file(book.path("recordings").join(gone)).unwrap();
    let ran = book.recheck();
    assert_eq!(ran.status, 0);
    let kept = book
        .files()
        .into_iter()
        .find(|f| f.ends_with("1-left-elevator-sound.parquet"))
        .expect("the result is still there");
    assert!(ran.out.contains("its recording is gone"), "{}", ran.out);
    assert!(ran.out.contains(kept.to_str().unwrap()), "{}", ran.out);
}

#[test]
fn a_folder_that_is_no_logbook_is_refused_by_each_command() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().to_str().unwrap();
    for command in ["recheck", "report"] {
        run([command, "--logbook", root]).refused_with(&[root, "no aircraft.toml"]);
        let none = format!("{root}/none");
        run([command, "--logbook", &none]).refused_with(&[&none, "no such folder"]);
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

/// Programs as a builder starts them: none knows of the others.
#[test]
fn programs_at_once_on_one_logbook_leave_whole_files_and_nothing_else() {
    let book = Book::of(&SAMPLES);
    let start = |command: &str| {
        Command::new(env!("CARGO_BIN_EXE_hingewright"))
            .args([command, "--logbook", book.root()])
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    };
    let mut running: Vec<_> = (0..4).map(|_| start("recheck")).collect();
    running.push(start("report"));
    let logbook = Logbook::open(book.folder.path()).unwrap();
    let mut most = 0;
    loop {
        let rows = logbook.rows().unwrap();
        assert!(rows.len() >= most, "a result went away");
        most = rows.len();
        if running.iter_mut().all(|c| c.try_wait().unwrap().is_some()) {
            break;
        }
    }
    for child in running {
        let output = child.wait_with_output().unwrap();
        let err = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "{err}");
    }
    assert_eq!(logbook.rows().unwrap().len(), 6);
    // Three of the aircraft, six recordings, six results, one page.
    assert_eq!(book.files().len(), 16, "{:?}", book.files());
}

/// Killed at another moment each time, some of them between writing a file and giving it its name.
#[cfg(unix)]
#[test]
fn a_program_killed_at_any_moment_leaves_no_result_half_written() {
    let book = Book::of(&SAMPLES);
    let logbook = Logbook::open(book.folder.path()).unwrap();
    let mut cut_short = 0;
    for attempt in 0..40 {
        let _ = fs::remove_dir_all(book.path("results"));
        let mut child = Command::new(env!("CARGO_BIN_EXE_hingewright"))
            .args(["recheck", "--logbook", book.root()])
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(std::time::Duration::from_millis(3 * attempt));
        // On Unix this is SIGKILL.
        child.kill().unwrap();
        cut_short += usize::from(!child.wait().unwrap().success());
        let rows = logbook.rows().unwrap();
        assert!(rows.iter().all(|r| r.text("check_json").is_some()));
    }
    assert!(cut_short > 0, "none was killed in time");
    book.recheck();
    assert_eq!(logbook.rows().unwrap().len(), 6);
}

#[test]
fn the_report_is_of_each_surface_s_latest_finished_recording() {
    let book = Book::of(&SAMPLES);
    let unfinished = fs::read_to_string(SAMPLES[3]).unwrap();
    let unfinished = unfinished.replacen("2026-04", "2027-04", 1);
    let cut = book.path("recordings/9-rudder-cut.log");
    fs::write(
        &cut,
        format!("# outcome=unfinished: the cable came off\n{unfinished}"),
    )
    .unwrap();
    let ran = book.report(&[]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let page = book.path("report.html");
    assert_eq!(ran.out, format!("written: {}\n", page.display()));
    let html = fs::read_to_string(page).unwrap();
    // Of the left elevator's two, the later one alone.
    let shown = |file: &str| html.contains(file);
    assert!(shown("6-left-elevator-damaged.log") && !shown("1-left-elevator-sound.log"));
    assert!(shown("4-rudder-short-by-geometry.log") && !shown("9-rudder-cut.log"));
    // Two pictures a surface, five surfaces.
    assert_eq!(html.matches("<svg").count(), 10);

    let all = book.report(&["--all", "--into", "-"]);
    assert!(all.out.contains("9-rudder-cut.log") && all.out.contains("1-left-elevator-sound.log"));
    assert!(!all.out.contains("written:"));
}

#[test]
fn the_report_goes_where_it_is_told_and_never_over_the_logbook_s_own_files() {
    let book = Book::of(&SAMPLES[..1]);
    let page = book.path("my page.html");
    let ran = book.report(&["--into", page.to_str().unwrap()]);
    assert_eq!(ran.out, format!("written: {}\n", page.display()));
    let before = book.files();
    for file in ["aircraft.toml", "recordings/1-left-elevator-sound.log"] {
        let file = book.path(file);
        let bytes = fs::read(&file).unwrap();
        book.report(&["--into", file.to_str().unwrap()])
            .refused_with(&[file.to_str().unwrap(), "--into"]);
        assert_eq!(fs::read(&file).unwrap(), bytes);
    }
    assert_eq!(book.files(), before);
}

#[test]
fn a_logbook_without_a_finished_recording_has_no_report() {
    let book = Book::of(&[]);
    book.report(&[])
        .refused_with(&["no finished recording", "--all"]);
    assert!(!book.path("report.html").exists());
}

#[test]
fn the_readme_has_the_columns_as_they_are() {
    let readme = fs::read_to_string("README.md").unwrap();
    let columns = fs::read_to_string("src/logbook/schema.md").unwrap();
    assert!(
        readme.contains(columns.trim()),
        "copy src/logbook/schema.md into the README's section on the columns of a result"
    );
}
