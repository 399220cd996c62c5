//! The page over books that are made up.

use super::*;
use crate::history::season::Level;
use crate::report::book_fixture::{self, NEVER_MEASURED};
use crate::report::fixture;

const NCM: TorqueUnit = TorqueUnit::NewtonCentimetre;

fn html() -> String {
    let aircraft = fixture::aircraft();
    page(&book_fixture::book(&aircraft), NCM).unwrap()
}

/// The field page's part of it.
fn field(html: &str) -> &str {
    let from = html.find("<section class=\"field\"").unwrap();
    let to = html[from..].find("</section>").unwrap();
    &html[from..from + to]
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

#[test]
fn the_field_page_has_each_surface_with_verdict_throws_and_load() {
    let aircraft = fixture::aircraft();
    let book = book_fixture::book(&aircraft);
    let html = page(&book, NCM).unwrap();
    let rows: Vec<&str> = field(&html).split("<tr>").skip(2).collect();
    assert_eq!(rows.len(), book.surfaces.len());
    for (row, chapter) in rows.iter().zip(&book.surfaces) {
        let name: String = chapter.surface.name.chars().take(30).collect();
        assert!(row.contains(&escaped(&name)), "{name}: {row}");
        let Some(latest) = &chapter.latest else {
            continue;
        };
        assert!(row.contains(view::verdict_words(latest.judged.verdict)));
        assert!(row.contains("8.2\u{a0}±\u{a0}0.6\u{a0}%"), "{row}");
        assert!(row.contains("hinge still settling, 60 cycles"), "{row}");
    }
    // 24 mm asked with 1 mm, and what the fixture reached.
    assert!(rows[0].contains("up 24\u{a0}±\u{a0}1 →"), "{}", rows[0]);
    assert!(rows[0].contains("\u{a0}mm\u{a0}<b>met</b>"), "{}", rows[0]);
}

#[test]
fn a_surface_that_was_never_measured_says_so_and_has_no_chapter() {
    let html = html();
    let row = field(&html)
        .split("<tr>")
        .find(|r| r.contains(NEVER_MEASURED));
    let row = row.unwrap();
    assert!(row.contains("not measured yet") && row.contains("up 24\u{a0}±\u{a0}1\u{a0}mm → –"));
    assert!(
        !html.contains("id=\"r2\"") && html.contains("id=\"r1\"") && html.contains("id=\"r3\"")
    );
}

#[test]
fn what_asks_to_be_looked_at_stands_on_the_field_page_the_worst_first() {
    let html = html();
    let field = field(&html);
    let list = field.split("To look at first").nth(1).unwrap();
    let first = list.find("urgency act").unwrap();
    assert!(list.find("urgency watch").is_none_or(|watch| watch > first));
    assert!(list.contains("take the rod off"), "{list}");
}

#[test]
fn a_surface_within_its_limits_has_the_season_s_act_in_its_row() {
    let aircraft = fixture::aircraft();
    let mut book = book_fixture::book(&aircraft);
    let mut sound = fixture::fault_free(&aircraft);
    sound.surface = book.surfaces[0].surface;
    book.surfaces[0].latest = Some(sound);
    let record = book.surfaces[0].record.as_mut().unwrap();
    record.quantities[0].health.level = Level::Act;
    let html = page(&book, NCM).unwrap();
    let row = field(&html).split("<tr>").nth(2).unwrap();
    assert!(row.contains("no fault found") && row.contains("season: act, "));
    book.surfaces[0].record = None;
    let html = page(&book, NCM).unwrap();
    let row = field(&html).split("<tr>").nth(2).unwrap();
    assert!(!row.contains("season: act"), "{row}");
}

#[test]
fn a_surface_that_wants_work_is_listed_above_what_is_to_be_watched() {
    let aircraft = fixture::aircraft();
    let mut book = book_fixture::book(&aircraft);
    for chapter in &mut book.surfaces {
        let quantities = chapter.record.iter_mut().flat_map(|r| &mut r.quantities);
        quantities.for_each(|q| q.health.level = q.health.level.min(Level::Watch));
    }
    for servo in &mut book.servos {
        servo.record = None;
    }
    let html = page(&book, NCM).unwrap();
    let list = field(&html).split("To look at first").nth(1).unwrap();
    let work = list.find("urgency work-needed").unwrap();
    assert!(
        list.find("urgency watch").is_none_or(|watch| watch > work),
        "{list}"
    );
    assert!(list.contains("latest sweep"), "{list}");
}

#[test]
fn a_throw_swept_far_beyond_is_reached_and_not_met() {
    let aircraft = fixture::aircraft();
    let mut book = book_fixture::book(&aircraft);
    let latest = book.surfaces[0].latest.as_mut().unwrap();
    latest.measured.throws[0].reached_mm = Some(fixture::q(72.0, 0.1));
    let row = &view::throw_rows(latest)[0];
    assert_eq!(row.state, "reached (swept to 72.0 mm)");
    let html = page(&book, NCM).unwrap();
    let row = field(&html).split("<tr>").nth(2).unwrap();
    assert!(row.contains("<b>reached</b> (swept to 72.0"), "{row}");
    assert!(html.contains("reached (swept to 72.0 mm)"));
}

#[test]
fn the_field_page_is_to_be_signed_and_has_every_caution() {
    let html = html();
    let field = field(&html);
    for word in ["Name", "Date", "Signature", "moved by hand"] {
        assert!(field.contains(word), "{word}");
    }
    for (head, text) in view::CAUTIONS {
        assert!(
            field.contains(head) && field.contains(&text.replace('\'', "&#x27;")),
            "{head}"
        );
    }
    assert!(field.contains(view::STANDING_CAUTION));
    // The one sentence with this word says what the page does not.
    assert_eq!(html.matches("safe to fly").count(), 1);
}

#[test]
fn the_page_fetches_nothing_and_runs_nothing() {
    let html = html();
    for reference in [
        "src=",
        "href=\"http",
        "url(",
        "@import",
        "<script",
        "<link",
        "<iframe",
    ] {
        assert!(!html.contains(reference), "{reference}");
    }
    assert_eq!(
        html.matches("http").count(),
        html.matches("http://www.w3.org/2000/svg").count()
    );
    assert!(html.starts_with("<!DOCTYPE html>") && html.trim_end().ends_with("</html>"));
}

#[test]
fn every_text_from_a_file_is_escaped() {
    let mut aircraft = fixture::aircraft();
    let evil = "<img src=x onerror=alert(1)>'\"&";
    aircraft.name = evil.into();
    aircraft.note = Some(evil.into());
    aircraft.surfaces[0].name = evil.into();
    aircraft.surfaces[0].throws[0].name = evil.into();
    aircraft.servos[0].tag = evil.into();
    let mut book = book_fixture::book(&aircraft);
    book.logbook = evil.into();
    book.remarks.push(evil.into());
    let chapter = &mut book.surfaces[0];
    chapter.fixes[0].what = evil.into();
    chapter.fixes[0].after.recording.file = evil.into();
    chapter.done[0].text = evil.into();
    book.servos[0].model = Some(evil.into());
    let html = page(&book, NCM).unwrap();
    assert!(!html.contains("<img") && html.contains("&lt;img"));
}

#[test]
fn a_chapter_has_its_working_in_its_fix_and_its_record() {
    let html = html();
    let chapter = html.split("id=\"r1\"").nth(1).unwrap();
    let chapter = chapter.split("</section>").next().unwrap();
    for told in [
        "Worked in: still settling",
        "stiffness falls from",
        "Before and after: rod work: new clevis &amp; &lt;ball link&gt;",
        "Smallest seen",
        "From recording to recording",
        "look at friction and stiffness above",
        "What was done",
    ] {
        let told_too = told[..1].to_uppercase() + &told[1..];
        assert!(
            chapter.contains(told) || chapter.contains(&told_too),
            "{told}"
        );
    }
    // Six batches; the change of slop.
    assert_eq!(chapter.matches("data-name=\"Batch\"").count(), 6);
    assert!(chapter.contains("slop, °"));
}

#[test]
fn what_is_the_hinge_s_is_told_once_where_a_servo_never_moved() {
    let html = html();
    let servos = html.split("id=\"servos\"").nth(1).unwrap();
    let of = |tag: &str| {
        let from = servos
            .split(&format!("<h3>Servo {tag}</h3>"))
            .nth(1)
            .unwrap();
        from.split("<h3>").next().unwrap().to_owned()
    };
    let (first, moved) = (of("E1"), of("F1"));
    assert!(
        first.contains("hold current") && !first.contains(">friction<"),
        "{first}"
    );
    // F1 sits in two surfaces.
    assert!(moved.contains(">friction<"), "{moved}");
}

/// For whoever changes the page: look at it.
#[test]
fn the_page_can_be_written_for_the_eye() {
    let aircraft = book_fixture::eight();
    let html = page(&book_fixture::book(&aircraft), NCM).unwrap();
    if let Some(folder) = std::env::var_os("HINGEWRIGHT_PICTURES") {
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(std::path::Path::new(&folder).join("aircraft.html"), &html).unwrap();
    }
    assert_eq!(
        html.matches("<section class=\"surface chapter\"").count(),
        7
    );
}
