//! Books of logbooks put together from a sample, day by day.

use std::fs;
use std::path::Path;

use super::*;
use crate::history::compare::Outcome;
use crate::logbook::RECORDINGS;

struct Bench {
    _folder: tempfile::TempDir,
    logbook: Logbook,
}

fn sample(file: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("samples")
        .join(file)
}

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let logbook = Logbook::create(folder.path().join("book"), sample("aircraft.toml")).unwrap();
        fs::create_dir_all(logbook.root().join(RECORDINGS)).unwrap();
        Self {
            _folder: folder,
            logbook,
        }
    }

    /// The left elevator's sample as a recording of this time, with lines of the host before it instead of its own.
    fn record(&self, id: &str, started: &str, lines: &str) {
        let text = fs::read_to_string(sample("1-left-elevator-sound.log")).unwrap();
        let own = text.split_inclusive('\n');
        let own = own.filter(|l| !l.starts_with("# started=") && !l.starts_with("# purpose="));
        self.write(
            id,
            &format!(
                "# started={started}\n{lines}{}",
                own.collect::<Vec<_>>().concat()
            ),
        );
    }

    fn write(&self, id: &str, text: &str) {
        let path = self
            .logbook
            .root()
            .join(RECORDINGS)
            .join(id.to_owned() + ".log");
        fs::write(path, text).unwrap();
    }

    fn note(&self, day: &str, subject: &str, kind: NoteKind, text: &str) {
        let note = Note {
            at: at(&format!("{day}T00:00:00Z")),
            subject: subject.into(),
            kind,
            text: text.into(),
        };
        self.logbook.add_note(&note).unwrap();
    }

    fn book(&self) -> (Book<'_>, Vec<Problem>) {
        self.logbook.book(at("2026-06-01T00:00:00Z")).unwrap()
    }
}

const SWEEP: &str = "# purpose=season\n";

fn batch(before: u32) -> String {
    format!("# purpose=break-in\n# cycles_before={before}\n# stage_deg=20\n# cycles=6\n")
}

fn files(fix: &Fix<'_>) -> [String; 2] {
    [&fix.before, &fix.after].map(|c| c.recording.file.clone())
}

/// Worked in on the second of April, re-glued on the tenth.
fn worked_on() -> Bench {
    let bench = Bench::new();
    bench.record("a", "2026-04-01T10:00:00Z", SWEEP);
    bench.record("b", "2026-04-02T10:00:00Z", &batch(0));
    bench.record("c", "2026-04-02T10:10:00Z", &batch(6));
    bench.record("d", "2026-04-03T10:00:00Z", SWEEP);
    bench.record("e", "2026-04-12T10:00:00Z", SWEEP);
    bench.note(
        "2026-04-10",
        "left elevator",
        NoteKind::HingeWork,
        "re-glued",
    );
    bench
}

#[test]
fn a_surface_s_chapter_has_its_batches_what_was_done_and_whether_it_helped() {
    let bench = worked_on();
    let (book, problems) = bench.book();
    assert_eq!(problems, []);
    let chapter = &book.surfaces[0];
    let latest = chapter.latest.as_ref().unwrap();
    assert_eq!(latest.recording.file, "recordings/e.log");
    let worked = chapter.worked_in.as_ref().unwrap();
    let cycles: Vec<f64> = worked.batches.iter().map(Batch::cycles_after).collect();
    assert_eq!(cycles, [6.0, 12.0]);
    let whats: Vec<&str> = chapter.fixes.iter().map(|f| f.what.as_str()).collect();
    assert_eq!(whats, ["worked in, 12 cycles", "hinge work: re-glued"]);
    assert_eq!(
        files(&chapter.fixes[0]),
        ["recordings/a.log", "recordings/d.log"]
    );
    assert_eq!(
        files(&chapter.fixes[1]),
        ["recordings/d.log", "recordings/e.log"]
    );
    // The same samples on both sides.
    assert_eq!(chapter.fixes[1].proof.outcome, Outcome::NoChangeShown);
    assert_eq!(chapter.done.len(), 1);
    assert_eq!(chapter.done[0].kind, "hinge-work");
    let others = &book.surfaces[1..];
    assert!(
        others
            .iter()
            .all(|c| c.latest.is_none() && c.fixes.is_empty())
    );
}

#[test]
fn trends_come_from_the_results_and_their_want_is_said() {
    let bench = worked_on();
    let (book, _) = bench.book();
    assert!(book.surfaces[0].record.is_none());
    let told = "3 finished recordings have no result";
    assert!(book.remarks[0].contains(told), "{:?}", book.remarks);
    bench.logbook.recheck(&|_, _| {}).unwrap();
    let (book, problems) = bench.book();
    assert_eq!(problems, []);
    assert_eq!(book.surfaces[0].record.as_ref().unwrap().recordings, 3);
    assert!(!book.remarks.iter().any(|r| r.contains("no result")));
    let servo = &book.servos[0];
    assert_eq!(
        (servo.tag.as_str(), &servo.surfaces[..]),
        ("E1", &["left elevator".to_owned()][..])
    );
    assert_eq!(servo.record.as_ref().unwrap().with, ["left elevator"]);
    assert!(book.servos[1].record.is_none());
}

#[test]
fn what_is_unfinished_or_of_the_future_is_not_the_latest() {
    let bench = worked_on();
    bench.record("f", "2026-04-20T10:00:00Z", "# outcome=unfinished\n");
    bench.record("g", "2030-01-01T10:00:00Z", SWEEP);
    let (book, _) = bench.book();
    let latest = book.surfaces[0].latest.as_ref().unwrap();
    assert_eq!(latest.recording.file, "recordings/e.log");
    // Where nothing else is there, a wrong clock is better than nothing.
    let alone = Bench::new();
    alone.record("g", "2030-01-01T10:00:00Z", SWEEP);
    let (book, _) = alone.book();
    assert!(book.surfaces[0].latest.is_some());
}

#[test]
fn a_recording_that_cannot_be_used_is_named_and_the_one_before_takes_its_place() {
    let bench = worked_on();
    let keys = "# started=2026-04-20T10:00:00Z\n# surface=left elevator\n";
    bench.write("f", &format!("{keys}nothing of a rig\n"));
    let (book, problems) = bench.book();
    assert!(
        problems.len() == 1 && problems[0].what.contains("f.log"),
        "{problems:?}"
    );
    let latest = book.surfaces[0].latest.as_ref().unwrap();
    assert_eq!(latest.recording.file, "recordings/e.log");
    assert!(book.remarks.iter().any(|r| r.contains("f.log")));
}

#[test]
fn a_recording_that_no_chapter_needs_is_not_decoded() {
    let bench = worked_on();
    let keys = "# started=2026-04-05T10:00:00Z\n# surface=left elevator\n";
    bench.record("between", "2026-04-05T11:00:00Z", SWEEP);
    bench.write("between-too", &format!("{keys}nothing of a rig\n"));
    assert_eq!(bench.book().1, []);
}

#[test]
fn all_that_was_done_between_two_recordings_is_proved_together() {
    let bench = worked_on();
    bench.note("2026-04-11", "E1", NoteKind::ServoReplaced, "chipped gear");
    bench.note("2026-04-11", "left elevator", NoteKind::Other, "a remark");
    bench.note(
        "2026-04-11",
        "rudder",
        NoteKind::RodWork,
        "of another surface",
    );
    bench.note(
        "2026-05-20",
        "left elevator",
        NoteKind::RodWork,
        "nothing after it yet",
    );
    let (book, _) = bench.book();
    let chapter = &book.surfaces[0];
    assert_eq!(chapter.fixes.len(), 2);
    assert_eq!(
        chapter.fixes[1].what,
        "hinge work: re-glued; servo replaced: chipped gear"
    );
    assert_eq!(chapter.done.len(), 4);
    assert_eq!(book.servos[0].done.len(), 1);
}

/// What is left of a hinge's batches after a note of this kind, and the note that began anew.
fn left_after(
    capture: &str,
    surface: usize,
    subject: &str,
    kind: NoteKind,
) -> (usize, Option<NoteKind>) {
    let bench = Bench::new();
    let name = &bench.logbook.aircraft().surfaces[surface].name;
    let text = fs::read_to_string(sample(capture)).unwrap();
    let own = text.split_inclusive('\n').filter(|l| !l.starts_with("# "));
    let own = own.collect::<String>();
    for (id, at, before) in [
        ("a", "2026-04-02T10:00:00Z", 0),
        ("b", "2026-04-12T10:00:00Z", 6),
    ] {
        let head = format!("# started={at}\n# surface={name}\n{}", batch(before));
        bench.write(id, &(head + &own));
    }
    bench.note("2026-04-10", subject, kind, "done");
    let (past, problems) = bench.logbook.past(surface).unwrap();
    assert_eq!(problems, []);
    (past.batches.len(), past.baseline.map(|note| note.kind))
}

#[test]
fn a_hinge_worked_in_begins_anew_with_the_work_that_changed_what_was_seen_of_it() {
    use NoteKind::{HingeWork, Other, RodWork, ServoReplaced};
    // The knee's sample has a torque sensor, which a servo or a rod does not concern.
    let by_sensor = |subject: &str, kind| left_after("2-right-elevator-knee.log", 1, subject, kind);
    assert_eq!(by_sensor("E2", ServoReplaced), (2, None));
    assert_eq!(by_sensor("right elevator", RodWork), (2, None));
    assert_eq!(by_sensor("right elevator", Other), (2, None));
    assert_eq!(by_sensor("right elevator", HingeWork), (1, Some(HingeWork)));
    // By supply power all of them do; what was done to another surface does not.
    let by_power = |subject: &str, kind| left_after("1-left-elevator-sound.log", 0, subject, kind);
    assert_eq!(by_power("E1", ServoReplaced), (1, Some(ServoReplaced)));
    assert_eq!(by_power("left elevator", RodWork), (1, Some(RodWork)));
    assert_eq!(by_power("right elevator", HingeWork), (2, None));
}
