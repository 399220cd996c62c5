//! `season --all-in` from outside: each logbook as `season --logbook` has it, the worst on top, and nothing lost on the way.

use std::fs;
use std::path::Path;

use serde_json::Value;
use tempfile::TempDir;

use super::bench::{Ran, run};
use super::season::{Book, WEEKS, find, quantity, spoiled};

/// A folder of logbooks, each a copy of a book under a folder's name.
fn club(books: &[(&str, &Book)]) -> TempDir {
    let club = tempfile::tempdir().unwrap();
    for (name, book) in books {
        copy(&book.path(""), &club.path().join(name));
    }
    club
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let to = to.join(entry.file_name());
        match entry.file_type().unwrap().is_dir() {
            true => copy(&entry.path(), &to),
            false => {
                fs::copy(entry.path(), to).unwrap();
            }
        }
    }
}

fn all_in(folder: &Path) -> (Ran, Value) {
    let ran = run(["season", "--json", "--all-in", folder.to_str().unwrap()]);
    assert!(!ran.out.contains("NaN"));
    let value = serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}", ran.err));
    (ran, value)
}

fn by_itself(logbook: &Path) -> Value {
    let ran = run(["season", "--json", "--logbook", logbook.to_str().unwrap()]);
    serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}", ran.err))
}

/// A book in which every slop is beyond its limit.
fn worn() -> Book {
    let book = Book::of(&WEEKS);
    let file = book.path("aircraft.toml");
    let text = fs::read_to_string(&file).unwrap();
    let text = text.replace("\nslop_deg = 0.5", "\nslop_deg = 0.001");
    let text = text.replace("name = \"Dunlin\"", "name = \"Plover\"");
    fs::write(&file, text).unwrap();
    book.recheck();
    book
}

#[test]
fn each_logbook_of_a_folder_is_told_as_by_itself_and_the_worst_stands_on_top() {
    let sound = Book::of(&WEEKS);
    sound.recheck();
    let club = club(&[("a", &sound), ("b", &worn()), ("c", &sound)]);
    let (ran, all) = all_in(club.path());
    assert_eq!(ran.status, 1, "{}", ran.err);
    assert_eq!(all["schema"], "hingewright.seasons/2");
    assert_eq!(all["recordings"]["used"], 21);
    let logbooks = all["logbooks"].as_array().unwrap();
    let folders: Vec<&str> = logbooks
        .iter()
        .map(|l| l["logbook"].as_str().unwrap().rsplit('/').next().unwrap())
        .collect();
    assert_eq!(folders, ["b", "a", "c"]);
    for (folder, told) in folders.iter().zip(logbooks) {
        assert_eq!(told, &by_itself(&club.path().join(folder)), "{folder}");
    }
    let slop = quantity(find(&logbooks[0], "surface", "left elevator"), "slop_deg");
    assert_eq!((&slop["level"], &slop["count"]), (&"act".into(), &7.into()));

    let text = run(["season", "--all-in", club.path().to_str().unwrap()]);
    assert!(
        text.out.contains("3 logbooks, 21 recordings used"),
        "{}",
        text.out
    );
    let at = |word: &str| {
        text.out
            .find(word)
            .unwrap_or_else(|| panic!("{word}: {}", text.out))
    };
    assert!(at("act") < at("Fine"));
    // Two of one name are told apart by their folders.
    assert!(text.out.contains("Plover: left"), "{}", text.out);
    assert!(
        text.out.contains("Look at first:\n  1. Plover"),
        "{}",
        text.out
    );
}

#[test]
fn what_one_of_many_logbooks_cannot_use_is_named_and_counted_as_by_itself() {
    let sound = Book::of(&WEEKS[..2]);
    sound.recheck();
    let (spoiled, named) = spoiled();
    let club = club(&[("sound", &sound), ("spoiled", &spoiled)]);
    let (ran, all) = all_in(club.path());
    assert_eq!(ran.status, 2);
    for path in named {
        let name = path.rsplit('/').next().unwrap();
        assert!(ran.err.contains(name), "{name}: {}", ran.err);
    }
    let logbooks = all["logbooks"].as_array().unwrap();
    assert_eq!(logbooks.len(), 2);
    for told in logbooks {
        assert_eq!(
            told,
            &by_itself(Path::new(told["logbook"].as_str().unwrap()))
        );
    }
    for (what, count) in [
        ("used", 7),
        ("unfinished", 1),
        ("without_time", 1),
        ("in_the_future", 1),
        ("of_other_aircraft", 1),
        ("unusable_results", 3),
    ] {
        assert_eq!(all["recordings"][what], count, "{what}");
    }
    let text = run(["season", "--all-in", club.path().to_str().unwrap()]).out;
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for word in ["later", "Heron", "no surface elevator any more", "result/7"] {
        assert!(text.contains(word), "{word}: {text}");
    }
}

#[test]
fn results_without_an_aircraft_file_are_told_each_aircraft_by_itself_and_held_to_no_limit() {
    let (sound, worn) = (Book::of(&WEEKS), worn());
    sound.recheck();
    let club = club(&[("bare", &sound), ("broken", &worn)]);
    let other = "bare/results/aircraft=Heron/surface=rudder";
    fs::create_dir_all(club.path().join(other)).unwrap();
    fs::copy(
        club.path()
            .join("bare/results/aircraft=Dunlin/surface=left%20elevator/2026-04-01.parquet"),
        club.path().join(other).join("1.parquet"),
    )
    .unwrap();
    fs::remove_file(club.path().join("bare/aircraft.toml")).unwrap();
    fs::write(club.path().join("broken/aircraft.toml"), "name = ").unwrap();
    let (ran, all) = all_in(club.path());
    assert_eq!(ran.status, 2, "the broken file has to be told");
    assert!(ran.err.contains("broken/aircraft.toml"), "{}", ran.err);
    assert!(
        all["remarks"][0]
            .as_str()
            .unwrap()
            .contains("aircraft.toml")
    );
    let logbooks = all["logbooks"].as_array().unwrap();
    let told: Vec<(&str, u64)> = logbooks
        .iter()
        .map(|l| {
            let used = l["recordings"]["used"].as_u64().unwrap();
            (l["aircraft"].as_str().unwrap(), used)
        })
        .collect();
    assert_eq!(told, [("Dunlin", 7), ("Heron", 1), ("Plover", 7)]);
    for logbook in logbooks {
        assert!(logbook["remarks"].to_string().contains("no limit"));
        for subject in logbook["subjects"].as_array().unwrap() {
            for one in subject["quantities"].as_array().unwrap() {
                assert_eq!(one["crossing"]["state"], "no-limit");
            }
        }
    }
}

#[test]
fn a_folder_without_logbooks_is_refused_and_a_logbook_itself_is_told_what_to_do() {
    let empty = tempfile::tempdir().unwrap();
    run(["season", "--all-in", empty.path().to_str().unwrap()]).refused_with(&["no folder in it"]);
    let book = Book::of(&WEEKS[..1]);
    book.recheck();
    let itself = book.path("");
    run(["season", "--all-in", itself.to_str().unwrap()]).refused_with(&["season --logbook"]);
}

#[test]
fn a_recording_without_a_result_is_named_in_a_folder_of_logbooks_as_by_itself() {
    let (sound, behind) = (Book::of(&WEEKS), Book::of(&WEEKS[..5]));
    sound.recheck();
    behind.recheck();
    behind.record("new", "# started=2026-05-14T10:00:00Z\n");
    behind.record(
        "astray",
        "# started=2026-05-15T10:00:00Z\n# aircraft=Heron\n",
    );
    let club = club(&[("sound", &sound), ("behind", &behind)]);
    let (ran, all) = all_in(club.path());
    assert_eq!(ran.status, 2, "{}", ran.err);
    for told in all["logbooks"].as_array().unwrap() {
        let folder = told["logbook"].as_str().unwrap();
        assert_eq!(told, &by_itself(Path::new(folder)));
        let remarks = told["remarks"].to_string();
        let named = remarks.contains("1 finished recording has no result");
        assert_eq!(named, folder.ends_with("behind"), "{remarks}");
        assert_eq!(remarks.contains("Heron: astray."), named, "{remarks}");
    }
    fs::remove_dir_all(club.path().join("behind")).unwrap();
    assert_eq!(all_in(club.path()).0.status, 0);
}
