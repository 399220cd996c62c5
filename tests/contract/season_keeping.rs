//! What a builder does to a logbook over a season: renames a surface, copies files, notes what was done, has a wrong clock.

use std::fs;

use serde_json::Value;

use super::season::{Book, WEEKS, find, quantity};

fn of(book: &Book, what: &str) -> Value {
    book.season()["recordings"][what].clone()
}

#[test]
fn another_aircraft_s_recordings_are_named_left_out_and_left_where_they_are() {
    let book = Book::of(&WEEKS);
    book.record(
        "heron",
        "# started=2026-05-14T10:00:00Z\n# aircraft=Heron\n",
    );
    book.record(
        "ours",
        "# started=2026-05-15T10:00:00Z\n# aircraft=dunlin\n",
    );
    let ran = book.run(&["recheck"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.contains("another aircraft, Heron"), "{}", ran.out);
    let season = book.season();
    assert_eq!(season["recordings"]["used"], 8);
    assert_eq!(season["recordings"]["of_other_aircraft"], 1);
    assert_eq!(season["left_out"]["of_other_aircraft"][0], "heron");
    let remarks = season["remarks"].to_string();
    assert!(remarks.contains("Heron: heron."), "{remarks}");
    // It lies in the wrong logbook, and no script is to take that for all well.
    let ran = book.run(&["season"]);
    assert_eq!(ran.status, 2, "{}", ran.err);
    assert!(ran.out.contains("another aircraft, Heron"), "{}", ran.out);
    assert!(book.path("recordings/heron.log").exists());
    // The aircraft was given another name: its recordings are its own still.
    let file = book.path("aircraft.toml");
    let text = fs::read_to_string(&file).unwrap();
    let renamed = text.replacen("[aircraft]\n", "[aircraft]\nwas = [\"Heron\"]\n", 1);
    assert_ne!(text, renamed);
    fs::write(&file, renamed).unwrap();
    book.recheck();
    assert_eq!(of(&book, "used"), 9);
    assert_eq!(of(&book, "of_other_aircraft"), 0);
    assert_eq!(book.run(&["season"]).status, 0);
}

#[test]
fn a_result_made_before_a_recording_was_known_to_be_another_s_is_not_used_and_is_taken_away() {
    let book = Book::of(&WEEKS);
    book.recheck();
    let recording = book.path("recordings/2026-05-13.log");
    let text = fs::read_to_string(&recording).unwrap();
    fs::write(&recording, format!("# aircraft=Heron\n{text}")).unwrap();
    assert_eq!(of(&book, "used"), 6);
    book.recheck();
    let result = book.path("results/aircraft=Dunlin/surface=left%20elevator/2026-05-13.parquet");
    assert!(!result.exists() && recording.exists());
    assert_eq!(of(&book, "used"), 6);
}

#[test]
fn a_recording_copied_within_the_logbook_counts_once_and_is_named() {
    let book = Book::of(&WEEKS);
    let results = book.path("results/aircraft=Dunlin/surface=left%20elevator");
    // With a result of its own, as an older edition left it.
    let copy = "2026-05-13 (1)";
    book.record(copy, "# started=2026-05-20T10:00:00Z\n");
    book.recheck();
    fs::copy(
        book.path("recordings/2026-05-13.log"),
        book.path(&format!("recordings/{copy}.log")),
    )
    .unwrap();
    assert!(results.join(format!("{copy}.parquet")).exists());
    let season = book.season();
    assert_eq!(season["recordings"]["used"], 7);
    assert_eq!(season["recordings"]["copies"], 1);
    let note = [
        "note",
        copy,
        "clock",
        "--kind",
        "began",
        "--date",
        "2026-05-01",
    ];
    let ran = book.run(&note);
    let said = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("no effect now") && said.contains("2026-05-13 counts"),
        "{said}"
    );
    let remarks = season["remarks"].to_string();
    assert!(
        remarks.contains("2026-05-13 (1) is 2026-05-13"),
        "{remarks}"
    );
    let ran = book.run(&["recheck"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.contains("byte for byte"), "{}", ran.out);
    assert!(!results.join(format!("{copy}.parquet")).exists());
    assert!(results.join("2026-05-13.parquet").exists());
    assert!(book.path(&format!("recordings/{copy}.log")).exists());
    assert_eq!(of(&book, "used"), 7);
}

#[test]
fn a_renamed_surface_has_one_advice_and_its_history_follows_it() {
    let book = Book::of(&WEEKS);
    book.recheck();
    book.run(&[
        "note",
        "left elevator",
        "re-glued",
        "--kind",
        "hinge-work",
        "--date",
        "2026-04-25",
    ]);
    let file = book.path("aircraft.toml");
    let renamed = fs::read_to_string(&file)
        .unwrap()
        .replace("\"left elevator\"", "\"port elevator\"");
    fs::write(&file, &renamed).unwrap();
    let advice = "put the line was = [\"left elevator\"] into its [[surface]] in aircraft.toml";
    let season = book.run(&["season"]);
    let unwrapped = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(unwrapped(&season.out).contains(advice), "{}", season.out);
    let ran = book.run(&["recheck"]);
    assert_eq!(ran.status, 2);
    let told = unwrapped(&ran.err);
    assert!(
        told.contains("7 recordings are of \"left elevator\""),
        "{told}"
    );
    assert_eq!(told.matches(advice).count(), 1, "{told}");
    assert!(ran.out.contains("7 not done"), "{}", ran.out);

    let followed = renamed.replace(
        "name = \"port elevator\"",
        "name = \"port elevator\"\nwas = [\"left elevator\"]",
    );
    assert_ne!(followed, renamed);
    fs::write(&file, followed).unwrap();
    // Before the results are made again, and after.
    for again in [false, true] {
        if again {
            let ran = book.run(&["recheck"]);
            assert_eq!(ran.status, 0, "{}", ran.err);
            let lines = ran.out.lines().filter(|l| l.starts_with("removed"));
            assert_eq!(lines.count(), 1, "{}", ran.out);
        }
        let season = book.season();
        let surface = find(&season, "surface", "port elevator");
        assert_eq!(surface["recordings"], 7);
        let since = &quantity(surface, "stiffness_ncm_per_deg")["since"]["what"];
        assert_eq!(since, "hinge-work: re-glued");
        assert!(!season["remarks"].to_string().contains("any more"));
    }
    assert!(
        !book
            .path("results/aircraft=Dunlin/surface=left%20elevator")
            .read_dir()
            .unwrap()
            .any(|_| true)
    );
}

#[test]
fn an_old_name_that_is_a_present_one_is_a_mistake_in_the_aircraft_file() {
    let book = Book::of(&[]);
    let file = book.path("aircraft.toml");
    let text = fs::read_to_string(&file).unwrap();
    let name = "name = \"left elevator\"";
    for (was, word) in [
        ("was = [\"right elevator\"]", "present name"),
        ("was = \"left tail\"", "not a list"),
        ("was = [3]", "list of names"),
    ] {
        fs::write(&file, text.replacen(name, &format!("{name}\n{was}"), 1)).unwrap();
        book.run(&["season"]).refused_with(&[word, "was"]);
    }
}

#[test]
fn a_note_says_what_it_changes() {
    let book = Book::of(&WEEKS);
    let said = |command: &[&str]| {
        let ran = book.run(&[&["note"], command].concat());
        assert_eq!(ran.status, 0, "{}", ran.err);
        ran.out
    };
    let remark = said(&["left elevator", "sounds well", "--date", "2026-04-20"]);
    assert!(remark.contains("2026-04-20 00:00 UTC, left elevator, other: sounds well"));
    assert!(remark.contains("it changes nothing"), "{remark}");
    let servo = said(&["e1", "new", "--kind", "servo-replaced"]);
    for word in [
        "E1, servo-replaced",
        "stiffness by supply power",
        "hold current",
        "limits hold",
    ] {
        assert!(servo.contains(word), "{servo}");
    }
    let hinge = said(&["left elevator", "re-glued", "--kind", "hinge-work"]);
    assert!(
        hinge.contains("friction") && !hinge.contains("hold current"),
        "{hinge}"
    );
    let help = book.run(&["note", "--help"]);
    assert!(
        help.out.contains("is a remark and changes nothing"),
        "{}",
        help.out
    );
}

#[test]
fn a_note_that_fits_nothing_is_refused_with_what_would_fit() {
    let book = Book::of(&[]);
    let kind = |subject: &'static str, kind: &'static str| {
        book.run(&["note", subject, "done", "--kind", kind])
    };
    kind("left elevator", "servo-replaced").refused_with(&["is of a servo", "E1"]);
    kind("E1", "hinge-work").refused_with(&["is of a surface", "\"left elevator\""]);
    kind("E1", "rod-work").refused_with(&["is of a surface", "\"left elevator\""]);
    kind("elevator", "other").refused_with(&["did you mean left elevator or right elevator"]);
    kind("left elevater", "other").refused_with(&["did you mean left elevator"]);
    kind("E1", "began").refused_with(&["no recording \"E1\""]);
    book.run(&["note", "E1", "new", "--date", "2126-01-01"])
        .refused_with(&["still to come", "--date"]);
    assert!(!book.path("notes.csv").exists());
}

#[test]
fn what_was_done_since_the_last_recording_is_told_as_not_measured_yet() {
    let book = Book::of(&WEEKS);
    book.recheck();
    let note = |date: &str| {
        let ran = book.run(&[
            "note",
            "E1",
            "new gears",
            "--kind",
            "servo-replaced",
            "--date",
            date,
        ]);
        assert_eq!(ran.status, 0, "{}", ran.err);
    };
    note("2026-05-01");
    let told = "Noted since the last recording: 2026-05-20, E1, servo-replaced: new gears. Nothing measured since.";
    assert!(!book.season()["remarks"].to_string().contains("Noted since"));
    note("2026-05-20");
    assert!(book.season()["remarks"].to_string().contains(told));
}

#[test]
fn a_recording_from_the_future_counts_once_it_is_noted_when_it_began_and_stays_as_it_is() {
    let book = Book::of(&WEEKS);
    book.record("late", "# started=2130-01-01T10:00:00Z\n");
    book.record("undated", "");
    book.recheck();
    let season = book.season();
    assert_eq!(season["left_out"]["in_the_future"][0], "late");
    assert_eq!(season["left_out"]["without_time"][0], "undated");
    let remarks = season["remarks"].to_string();
    for (id, reason) in [("late", "clock was wrong"), ("undated", "it bears no time")] {
        let command = format!("note {id} \\\"{reason}\\\" --kind began --date WHEN --logbook");
        assert!(remarks.contains(&command), "{remarks}");
    }
    // What is pasted unread is refused, and makes up no date.
    book.run(&["note", "late", "x", "--kind", "began", "--date", "WHEN"])
        .refused_with(&["is wanted here"]);
    book.run(&["note", "late", "clock", "--kind", "began"])
        .refused_with(&["--date"]);
    let before = fs::read(book.path("recordings/late.log")).unwrap();
    for (id, at) in [
        ("late", "2026-05-20T10:00:00Z"),
        ("undated", "2026-05-27T10:00:00Z"),
    ] {
        let ran = book.run(&[
            "note",
            id,
            "clock was wrong",
            "--kind",
            "began",
            "--date",
            at,
        ]);
        assert_eq!(ran.status, 0, "{}", ran.err);
    }
    // At once, and with the results made again.
    for again in [false, true] {
        if again {
            book.recheck();
        }
        let season = book.season();
        assert_eq!(season["recordings"]["used"], 9);
        assert_eq!(season["recordings"]["in_the_future"], 0);
        let surface = find(&season, "surface", "left elevator");
        let stiffness = quantity(surface, "stiffness_ncm_per_deg");
        assert_eq!(stiffness["latest_at"], "2026-05-27T10:00:00Z");
        assert_eq!(stiffness["latest_id"], "undated");
    }
    assert_eq!(fs::read(book.path("recordings/late.log")).unwrap(), before);
}

#[test]
fn an_empty_logbook_is_told_as_such_with_what_to_do() {
    let book = Book::of(&[]);
    let ran = book.run(&["season"]);
    assert_eq!(ran.status, 2, "{}", ran.out);
    assert!(
        ran.err.contains("no finished recording") && ran.err.contains("sweep"),
        "{}",
        ran.err
    );
    let book = Book::of(&WEEKS);
    let ran = book.run(&["season"]);
    assert_eq!(ran.status, 2, "{}", ran.out);
    assert!(ran.err.contains("recheck"), "{}", ran.err);
}

#[test]
fn recordings_whose_results_are_missing_are_told_and_are_no_surface_without_a_record() {
    let book = Book::of(&WEEKS);
    book.recheck();
    fs::remove_dir_all(book.path("results/aircraft=Dunlin/surface=left%20elevator")).unwrap();
    let rudder = "# started=2026-05-14T10:00:00Z\n";
    book.record("rudder", rudder);
    let file = book.path("recordings/rudder.log");
    let text = fs::read_to_string(&file).unwrap();
    fs::write(
        &file,
        text.replace("surface=left elevator", "surface=right elevator"),
    )
    .unwrap();
    let told = "8 finished recordings have no result, and no trend shows them: hingewright recheck";
    for kept in [false, true] {
        let ran = book.run(&["season"]);
        assert_eq!(ran.status, 2, "{kept}: {}", ran.out);
        let shown = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        let remarks = book.season()["remarks"].to_string();
        let told = if kept {
            told.replace("8 finished", "7 finished")
        } else {
            told.to_owned()
        };
        for said in [&shown, &remarks] {
            assert!(said.contains(&told), "{said}");
            assert!(!said.contains("yet of: left elevator"), "{said}");
        }
        // What is empty, unfinished or worked in asks for no result.
        fs::write(&file, "").unwrap();
        book.record(
            "cut",
            "# started=2026-05-15T10:00:00Z\n# outcome=unfinished: cable\n",
        );
        let worked = text.replace("purpose=routine", "purpose=break-in");
        assert_ne!(worked, text);
        fs::write(book.path("recordings/worked.log"), worked).unwrap();
    }
    fs::remove_file(&file).unwrap();
    book.recheck();
    let ran = book.run(&["season"]);
    assert_ne!(ran.status, 2, "{} {}", ran.out, ran.err);
    assert!(!ran.out.contains("no result"), "{}", ran.out);
}

#[test]
fn an_aircraft_renamed_without_its_old_name_is_no_recheck_without_fault() {
    let book = Book::of(&[]);
    for day in ["2026-04-01", "2026-04-08"] {
        book.record(
            day,
            &format!("# started={day}T10:00:00Z\n# aircraft=Dunlin\n"),
        );
    }
    book.recheck();
    let file = book.path("aircraft.toml");
    let text = fs::read_to_string(&file).unwrap();
    let renamed = text.replace("name = \"Dunlin\"", "name = \"Plover\"");
    assert_ne!(text, renamed);
    fs::write(&file, &renamed).unwrap();
    let ran = book.run(&["recheck"]);
    assert_eq!(ran.status, 2, "{}", ran.out);
    let told = ran.err.split_whitespace().collect::<Vec<_>>().join(" ");
    for word in [
        "more recordings are of another aircraft, Dunlin (2), than of Plover (0)",
        "was = [\"Dunlin\"] into [aircraft]",
    ] {
        assert!(told.contains(word), "{told}");
    }
    let followed = renamed.replacen("[aircraft]\n", "[aircraft]\nwas = [\"Dunlin\"]\n", 1);
    fs::write(&file, followed).unwrap();
    book.recheck();
    assert_eq!(of(&book, "used"), 2);
}
