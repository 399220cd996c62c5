//! `season` and `note` from outside: what they make of a logbook, sound and otherwise.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;
use tempfile::TempDir;

use super::bench::{Ran, run};

const SOUND: &str = "samples/1-left-elevator-sound.log";

/// A logbook with one sample as recordings of many days.
pub struct Book(TempDir);

impl Book {
    pub fn of(days: &[&str]) -> Self {
        let book = Self(tempfile::tempdir().unwrap());
        fs::create_dir(book.path("recordings")).unwrap();
        for file in [
            "aircraft.toml",
            "E1.calibration.toml",
            "E2.calibration.toml",
        ] {
            fs::copy(Path::new("samples").join(file), book.path(file)).unwrap();
        }
        for day in days {
            book.record(day, &format!("# started={day}T10:00:00Z\n"));
        }
        book
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// The sample with lines of the host before it, its own time taken out.
    pub fn record(&self, id: &str, lines: &str) {
        let text = fs::read_to_string(SOUND).unwrap();
        let own: String = text
            .split_inclusive('\n')
            .filter(|line| !line.starts_with("# started="))
            .collect();
        fs::write(
            self.path(&format!("recordings/{id}.log")),
            format!("{lines}{own}"),
        )
        .unwrap();
    }

    pub fn run(&self, command: &[&str]) -> Ran {
        let root = self.0.path().to_str().unwrap();
        run([command, &["--logbook", root]].concat())
    }

    pub fn recheck(&self) {
        let ran = self.run(&["recheck"]);
        assert_eq!(ran.status, 0, "{}", ran.err);
    }

    pub fn season(&self) -> Value {
        let ran = self.run(&["season", "--json"]);
        assert!(!ran.out.contains("NaN"));
        serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {} {}", ran.out, ran.err))
    }
}

pub fn find<'a>(season: &'a Value, kind: &str, name: &str) -> &'a Value {
    let subjects = season["subjects"].as_array().unwrap();
    subjects
        .iter()
        .find(|s| s["kind"] == kind && s["name"] == name)
        .unwrap_or_else(|| panic!("no {kind} {name} in {season}"))
}

pub fn quantity<'a>(subject: &'a Value, name: &str) -> &'a Value {
    let quantities = subject["quantities"].as_array().unwrap();
    quantities.iter().find(|q| q["quantity"] == name).unwrap()
}

pub const WEEKS: [&str; 7] = [
    "2026-04-01",
    "2026-04-08",
    "2026-04-15",
    "2026-04-22",
    "2026-04-29",
    "2026-05-06",
    "2026-05-13",
];

#[test]
fn a_steady_surface_is_fine_and_says_so_in_text_and_json() {
    let book = Book::of(&WEEKS);
    book.recheck();
    let season = book.season();
    assert_eq!(season["schema"], "hingewright.season/1");
    assert_eq!(season["recordings"]["used"], 7);
    let surface = find(&season, "surface", "left elevator");
    assert_eq!(surface["with"][0], "E1");
    assert_eq!(surface["level"], "fine");
    assert_eq!(find(&season, "servo", "E1")["recordings"], 7);
    let stiffness = quantity(surface, "stiffness_ncm_per_deg");
    assert_eq!(stiffness["chart"]["state"], "within");
    assert_eq!(stiffness["crossing"]["state"], "not-foreseeable");
    assert_eq!(stiffness["latest_id"], "2026-05-13");
    assert_eq!(stiffness["count"], 7);
    let text = book.run(&["season"]);
    assert_eq!(text.status, 0, "{}", text.err);
    assert!(text.out.contains("7 recordings used"), "{}", text.out);
    assert!(text.out.contains("Nothing asks to be looked at"));
    assert!(!text.out.contains("servo E1"), "told twice: {}", text.out);
    assert!(
        text.out.lines().all(|l| l.chars().count() <= 80),
        "{}",
        text.out
    );
}

/// A logbook with one of everything that a season cannot use, and the names of the results that it has to name.
pub fn spoiled() -> (Book, Vec<String>) {
    let book = Book::of(&WEEKS);
    book.record("later", "# started=2126-01-01T10:00:00Z\n");
    book.record(
        "cut",
        "# started=2026-05-14T10:00:00Z\n# outcome=unfinished: cable\n",
    );
    book.record("undated", "");
    book.recheck();
    let results = book.path("results/aircraft=Dunlin/surface=left%20elevator");
    // Another aircraft's result, and one of a surface that was given another name since.
    for folder in [
        "results/aircraft=Heron/surface=rudder",
        "results/aircraft=Dunlin/surface=elevator",
    ] {
        fs::create_dir_all(book.path(folder)).unwrap();
        let copy = book.path(folder).join("2026-04-01.parquet");
        fs::copy(results.join("2026-04-01.parquet"), copy).unwrap();
    }
    let spoil = |name: &str, how: &dyn Fn(&mut Vec<u8>)| {
        let path = results.join(name);
        let mut bytes = fs::read(&path).unwrap();
        how(&mut bytes);
        fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let version = b"hingewright.result/1";
    let named = vec![
        spoil("2026-04-08.parquet", &|bytes| {
            bytes.truncate(bytes.len() / 2)
        }),
        // Whole at its end, and damaged within.
        spoil("2026-04-15.parquet", &|bytes| bytes[4..200].fill(0xa5)),
        spoil("2026-04-22.parquet", &|bytes| {
            let windows = bytes.windows(version.len());
            let at = windows.into_iter().position(|w| w == version).unwrap();
            bytes[at + version.len() - 1] = b'7';
        }),
    ];
    (book, named)
}

#[test]
fn what_cannot_be_used_is_named_and_counted_and_the_rest_is_shown() {
    let (book, named) = spoiled();
    let ran = book.run(&["season", "--json"]);
    assert_eq!(ran.status, 2, "{}", ran.out);
    for name in &named {
        assert!(ran.err.contains(name), "{}", ran.err);
    }
    assert!(
        ran.err.contains("another version (hingewright.result/7"),
        "{}",
        ran.err
    );
    assert!(ran.err.contains("recheck"), "{}", ran.err);
    let season: Value = serde_json::from_str(&ran.out).unwrap();
    let counts = &season["recordings"];
    for (what, count) in [
        ("unfinished", 1),
        ("without_time", 1),
        ("in_the_future", 1),
        ("of_other_aircraft", 1),
        ("unusable_results", 3),
        // Seven of the left elevator less three, and one under the old name.
        ("used", 5),
    ] {
        assert_eq!(counts[what], count, "{what}: {counts}");
    }
    let remarks = season["remarks"].to_string();
    for word in [
        "later",
        "Heron",
        "no surface elevator any more",
        "was = [\\\"elevator\\\"]",
    ] {
        assert!(remarks.contains(word), "{remarks}");
    }
    assert_eq!(find(&season, "surface", "left elevator")["recordings"], 4);
    assert_eq!(find(&season, "surface", "elevator")["recordings"], 1);
}

#[test]
fn the_recording_s_own_servo_wins_since_it_may_sit_elsewhere_by_now() {
    let book = Book::of(&[]);
    for (i, day) in WEEKS.iter().enumerate() {
        let servo = if i < 3 { "A7" } else { "E1" };
        book.record(
            day,
            &format!("# started={day}T10:00:00Z\n# servo={servo}\n"),
        );
    }
    book.recheck();
    let season = book.season();
    let surface = find(&season, "surface", "left elevator");
    assert_eq!(surface["with"].as_array().unwrap().len(), 2);
    assert_eq!(find(&season, "servo", "A7")["recordings"], 3);
    assert_eq!(find(&season, "servo", "E1")["recordings"], 4);
    let stiffness = quantity(surface, "stiffness_ncm_per_deg");
    assert_eq!(stiffness["since"]["what"], "servo E1 instead of A7");
    assert_eq!(stiffness["in_baseline"], 4);
    assert_eq!(stiffness["chart"]["state"], "too-few");
}

#[test]
fn a_note_begins_a_new_baseline_and_a_remark_does_not() {
    let book = Book::of(&WEEKS);
    book.recheck();
    let remark = book.run(&[
        "note",
        "left elevator",
        "sounds well",
        "--date",
        "2026-04-20",
    ]);
    assert_eq!(remark.status, 0, "{}", remark.err);
    let stiffness = |season: &Value| {
        quantity(
            find(season, "surface", "left elevator"),
            "stiffness_ncm_per_deg",
        )
        .clone()
    };
    assert!(stiffness(&book.season())["since"].is_null());
    let kind = ["--kind", "hinge-work", "--date", "2026-04-25"];
    let noted = book.run(&[&["note", "LEFT elevator", "re-glued, \"twice\""], &kind[..]].concat());
    assert_eq!(noted.status, 0, "{}", noted.err);
    let file = book.path("notes.csv");
    assert!(noted.out.contains(file.to_str().unwrap()));
    let since = stiffness(&book.season());
    assert_eq!(since["since"]["what"], "hinge-work: re-glued, \"twice\"");
    assert_eq!(
        (&since["in_baseline"], &since["count"]),
        (&3.into(), &7.into())
    );
    let lines = fs::read_to_string(&file).unwrap();
    assert_eq!(
        lines.lines().last(),
        Some("2026-04-25T00:00:00Z,left elevator,hinge-work,\"re-glued, \"\"twice\"\"\"")
    );
    fs::write(&file, lines + "nonsense\n").unwrap();
    let ran = book.run(&["season"]);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("notes.csv, line 4"), "{}", ran.err);
    assert!(ran.out.contains("7 recordings used"));
}

#[test]
fn a_note_of_nobody_is_refused_with_the_names_there_are() {
    let book = Book::of(&[]);
    book.run(&["note", "elevator", "x"])
        .refused_with(&["elevator", "left elevator"]);
    book.run(&["note", "E1", "x", "--kind", "painted"])
        .refused_with(&["servo-replaced"]);
    assert!(!book.path("notes.csv").exists());
}

#[test]
fn what_is_too_early_to_tell_is_said_to_be_in_text_json_and_tables_alike() {
    let book = Book::of(&WEEKS[..2]);
    book.recheck();
    let season = book.season();
    let surface = find(&season, "surface", "left elevator");
    assert_eq!(
        (&surface["said"], &surface["level"]),
        (&"early".into(), &"fine".into())
    );
    assert_eq!(quantity(surface, "slop_deg")["said"], "early");
    let tables = book.path("tables");
    let ran = book.run(&["report", "--csv", tables.to_str().unwrap()]);
    assert!(tables.join("servos.csv").exists(), "{}", ran.err);
    for table in ["surfaces.csv", "servos.csv", "record.csv"] {
        let text = fs::read_to_string(tables.join(table)).unwrap();
        assert!(text.contains(",early"), "{table}: {text}");
    }
}
