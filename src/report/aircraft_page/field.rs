//! The field page: each surface in a row, what asks to be looked at, a line to sign. It has to stay one sheet of paper for an
//! aircraft of eight surfaces, so texts are cut and long lists end in a number; the chapters have the rest.

use serde::Serialize;

use super::chapter::{has_something, outcome_class};
use super::record::{asks, done_line};
use crate::aircraft::Throw;
use crate::analysis::{Interval, Quantity, ThrowResult, ThrowState};
use crate::history::season::{Kind, Level, Record, Subject, advice};
use crate::history::settling::Batch;
use crate::report::book::{Book, Chapter};
use crate::report::html::unbroken;
use crate::report::{Checked, prove, season_text, view, worked_in};
use crate::units::{TorqueUnit, Unit};
use crate::verdict::Verdict;

/// So many findings and things done of a surface, and so many things to look at.
const MOST_FINDINGS: usize = 3;
const MOST_DONE: usize = 2;
const MOST_ASKING: usize = 3;
const MOST_THROWS: usize = 5;
/// Letters of a text from a file.
const MOST_LETTERS: usize = 42;
const MOST_LETTERS_OF_A_NAME: usize = 40;

#[derive(Serialize)]
pub struct FieldOut {
    aircraft: String,
    rows: Vec<FieldRow>,
    /// What asks to be looked at, the worst first.
    asking: Vec<Asking>,
    /// How many more there are.
    more_asking: usize,
    /// Whether any record is there to ask.
    followed: bool,
}

#[derive(Serialize)]
struct Asking {
    /// A record's level, or the words of the latest sweep's verdict.
    level: &'static str,
    subject: String,
    /// With their latest; of a verdict that it is the latest sweep's.
    quantities: Vec<String>,
    says: String,
}

#[derive(Serialize)]
struct FieldRow {
    id: usize,
    has_chapter: bool,
    surface: String,
    servo: String,
    measured: Option<String>,
    verdict: &'static str,
    verdict_words: &'static str,
    throws: Vec<FieldThrow>,
    more_throws: usize,
    load: Option<String>,
    findings: Vec<String>,
    done: Vec<DoneOut>,
}

#[derive(Serialize)]
struct FieldThrow {
    name: String,
    asked: String,
    /// `None` where it was never measured.
    reached: Option<String>,
    state: &'static str,
    /// Swept beyond what is asked: shown is that it can be reached.
    beyond: bool,
}

#[derive(Serialize)]
struct DoneOut {
    text: String,
    /// Whether it helped, and the colour that goes with it.
    outcome: Option<(&'static str, &'static str)>,
}

impl FieldOut {
    pub fn of(book: &Book<'_>, unit: TorqueUnit) -> Self {
        let chapters = book.surfaces.iter().enumerate();
        let (from_season, followed) = asking(book, unit);
        let mut asking = from_verdicts(book);
        asking.extend(from_season);
        // Stable: within a level the order stays.
        asking.sort_by_key(|one| rank(one.level));
        let more_asking = asking.len().saturating_sub(MOST_ASKING);
        asking.truncate(MOST_ASKING);
        Self {
            aircraft: cut(&book.aircraft.name, 2 * MOST_LETTERS_OF_A_NAME),
            rows: chapters
                .map(|(i, c)| FieldRow::of(i + 1, c, book))
                .collect(),
            asking,
            more_asking,
            followed,
        }
    }
}

/// The surfaces whose latest sweep is not to be flown or wants work.
fn from_verdicts(book: &Book<'_>) -> Vec<Asking> {
    let latest = book.surfaces.iter().filter_map(|c| c.latest.as_ref());
    latest
        .filter(|checked| {
            matches!(
                checked.judged.verdict,
                Verdict::WorkNeeded | Verdict::DoNotFly
            )
        })
        .map(|checked| Asking {
            level: view::verdict_words(checked.judged.verdict),
            subject: cut(&checked.surface.name, MOST_LETTERS_OF_A_NAME),
            quantities: vec!["latest sweep".to_owned()],
            says: shortened(view::labels(checked), 2).join(", "),
        })
        .collect()
}

/// What is listed first.
fn rank(level: &str) -> usize {
    let order = [
        view::verdict_words(Verdict::DoNotFly),
        Level::Act.word(),
        view::verdict_words(Verdict::WorkNeeded),
    ];
    let place = order.iter().position(|word| *word == level);
    place.unwrap_or(order.len())
}

fn asking(book: &Book<'_>, unit: TorqueUnit) -> (Vec<Asking>, bool) {
    let surfaces = book.surfaces.iter().filter_map(|c| c.record.as_ref());
    let servos = book.servos.iter().filter_map(|s| s.record.as_ref());
    let all: Vec<Subject> = surfaces.chain(servos).cloned().collect();
    let every: Vec<&Subject> = all.iter().collect();
    let ranked = season_text::ranked_records(&every);
    let mut said: Vec<Asking> = Vec::new();
    let own = |(subject, record): &&(&Subject, &Record)| {
        asks(record) && !told_by_its_surface(subject, record, &all)
    };
    for (subject, record) in ranked.iter().filter(own) {
        let latest = unbroken(season_text::latest(record, unit));
        let one = Asking {
            level: record.said(),
            subject: cut(&season_text::named(subject), MOST_LETTERS_OF_A_NAME),
            quantities: vec![format!("{} {latest}", record.measure.words())],
            // Which note would explain a step, the chapter says.
            says: advice(record, &book.logbook).map_or(String::new(), |a| a.says),
        };
        let alike = |other: &&mut Asking| {
            other.level == one.level && other.subject == one.subject && other.says == one.says
        };
        match said.iter_mut().find(alike) {
            Some(other) => other.quantities.extend(one.quantities),
            None => said.push(one),
        }
    }
    (said, !ranked.is_empty())
}

/// Whether the surface that a servo alone sat in says the same of a quantity, or worse. What was done to the hinge gives the
/// surface a new baseline and leaves the servo's as it was.
fn told_by_its_surface(subject: &Subject, record: &Record, all: &[Subject]) -> bool {
    let urgency = |r: &Record| (r.health.level, r.health.repeat);
    let same = |other: &&Record| other.measure == record.measure;
    season_text::told_by(subject, all)
        && all
            .iter()
            .filter(|s| s.kind == Kind::Surface && subject.with.contains(&s.name))
            .filter_map(|s| s.quantities.iter().find(|other| same(other)))
            .any(|other| urgency(other) >= urgency(record))
}

impl FieldRow {
    fn of(id: usize, chapter: &Chapter<'_>, book: &Book<'_>) -> Self {
        let surface = chapter.surface;
        let servo = book.aircraft.servos.get(surface.servo_index);
        let latest = chapter.latest.as_ref();
        let verdict = latest.map(|checked| checked.judged.verdict);
        Self {
            id,
            has_chapter: has_something(chapter),
            surface: cut(&surface.name, MOST_LETTERS_OF_A_NAME),
            servo: servo.map_or(String::new(), |s| cut(&s.tag, MOST_LETTERS_OF_A_NAME)),
            measured: latest
                .and_then(view::started)
                .map(|at| at.strftime("%Y-%m-%d").to_string()),
            verdict: verdict.map_or("none", |v| v.word()),
            verdict_words: verdict.map_or(NOT_MEASURED_YET, view::verdict_words),
            throws: throws(chapter),
            more_throws: surface.throws.len().saturating_sub(MOST_THROWS),
            load: latest.and_then(load),
            findings: findings(chapter),
            done: done(chapter),
        }
    }
}

/// What the latest sweep found, and after it what its record from recording to recording asks to act on: that can be much where
/// a single sweep is within every limit.
fn findings(chapter: &Chapter<'_>) -> Vec<String> {
    let labels = chapter.latest.as_ref().map(view::labels);
    let mut all = shortened(labels.unwrap_or_default(), MOST_FINDINGS);
    let records = chapter.record.iter().flat_map(|r| &r.quantities);
    let acts: Vec<&str> = records
        .filter(|record| record.health.level == Level::Act)
        .map(|record| record.measure.words())
        .collect();
    if !acts.is_empty() {
        all.push(format!("season: act, {}", as_many(&acts, 2 * MOST_LETTERS)));
    }
    all
}

/// Shown for a surface that no finished sweep is of.
pub const NOT_MEASURED_YET: &str = "not measured yet";

/// In the unit that the aircraft file has.
fn throws(chapter: &Chapter<'_>) -> Vec<FieldThrow> {
    let results = chapter.latest.as_ref().map(|c| &c.measured.throws);
    let result = |i: usize| results.and_then(|all| all.get(i));
    let throws = chapter.surface.throws.iter().enumerate();
    throws
        .take(MOST_THROWS)
        .map(|(i, throw)| FieldThrow {
            name: cut(&throw.name, 24),
            asked: asked(throw, result(i).is_some()),
            reached: result(i).map(|r| reached(r, throw.given_in_deg)),
            state: result(i).map_or("", |r| match r.state {
                ThrowState::Met => "met",
                ThrowState::Short => "short",
                ThrowState::Unproven => "unproven",
            }),
            beyond: result(i).is_some_and(|r| view::swept_beyond(r).is_some()),
        })
        .collect()
}

/// Millimetres go without their unit where what was reached, in the same, stands beside them.
fn asked(throw: &Throw, beside_reached: bool) -> String {
    if throw.given_in_deg {
        return Unit::Degree.given(throw.asked_deg);
    }
    let millimetre = |mm| Unit::Millimetre.given(mm);
    let [mm, tolerance] = [throw.asked_mm, throw.tolerance_mm].map(millimetre);
    let bare = |text: &str| text.trim_end_matches(" mm").to_owned();
    let tolerance = match beside_reached {
        true => bare(&tolerance),
        false => tolerance,
    };
    format!("{} ± {tolerance}", bare(&mm)).replace(' ', "\u{a0}")
}

fn reached(result: &ThrowResult, in_deg: bool) -> String {
    let (quantity, unit) = match in_deg {
        true => (result.reached_deg.as_ref(), Unit::Degree),
        false => (result.reached_mm.as_ref(), Unit::Millimetre),
    };
    match quantity {
        Some(q) => at_a_glance(q, unit),
        None => "not\u{a0}measured".into(),
    }
}

fn at_a_glance(quantity: &Quantity, unit: Unit) -> String {
    let wider = |i: Interval| (i.hi95 - quantity.value).max(quantity.value - i.lo95);
    let shown = unit.to_a_tenth(quantity.value, quantity.interval.map(wider));
    shown.replace(' ', "\u{a0}")
}

fn load(checked: &Checked<'_>) -> Option<String> {
    let share = checked.measured.load.share_of_stall.as_ref()?;
    Some(at_a_glance(share, Unit::Share))
}

/// How the hinge stands, each fix with its outcome, then what else was noted; the latest first.
fn done(chapter: &Chapter<'_>) -> Vec<DoneOut> {
    let mut all = Vec::new();
    if let Some(worked) = &chapter.worked_in {
        all.push(DoneOut {
            text: format!(
                "hinge {}, {:.0} cycles",
                worked_in::state(worked.standing.state),
                worked.batches.last().map_or(0.0, Batch::cycles_after)
            ),
            outcome: None,
        });
    }
    for fix in chapter.fixes.iter().rev() {
        let outcome = fix.proof.outcome;
        let at = view::started(&fix.after)
            .map_or(String::new(), |at| format!("{}: ", at.strftime("%Y-%m-%d")));
        all.push(DoneOut {
            text: at + &cut(&fix.what, MOST_LETTERS),
            outcome: Some((prove::outcome_words(outcome), outcome_class(outcome))),
        });
    }
    for note in chapter.done.iter().rev() {
        let line = done_line(note, &chapter.surface.name);
        let told = |what: &str| what.contains(&note.text) && !note.text.trim().is_empty();
        if !chapter.fixes.iter().any(|fix| told(&fix.what)) {
            all.push(DoneOut {
                text: cut(&line, MOST_LETTERS),
                outcome: None,
            });
        }
    }
    let more = all.len().saturating_sub(MOST_DONE);
    all.truncate(MOST_DONE);
    if more > 0 {
        all.push(DoneOut {
            text: format!("and {more} earlier"),
            outcome: None,
        });
    }
    all
}

fn shortened(mut all: Vec<String>, most: usize) -> Vec<String> {
    let more = all.len().saturating_sub(most);
    all.truncate(most);
    all.iter_mut()
        .for_each(|text| *text = cut(text, MOST_LETTERS));
    if more > 0 {
        all.push(format!("and {more} more"));
    }
    all
}

/// As many words as have room, at least one, and how many more there are.
fn as_many(words: &[&str], letters: usize) -> String {
    let mut named = words.len();
    loop {
        let mut said = words[..named].join(", ");
        if named < words.len() {
            said += &format!(" and {} more", words.len() - named);
        }
        if named <= 1 || said.chars().count() <= letters {
            return said;
        }
        named -= 1;
    }
}

/// So many letters of a text at most.
fn cut(text: &str, letters: usize) -> String {
    match text.char_indices().nth(letters) {
        None => text.to_owned(),
        Some((end, _)) => format!("{}…", text[..end].trim_end()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_has_no_room_on_the_field_page_is_counted() {
        let words = ["stiffness", "friction", "slop", "hold current"];
        assert_eq!(
            as_many(&words, 100),
            "stiffness, friction, slop, hold current"
        );
        assert_eq!(as_many(&words, 30), "stiffness, friction and 2 more");
        assert_eq!(as_many(&words, 3), "stiffness and 3 more");
        let labels = ["a", "b", "c", "d", "e"].map(str::to_owned).to_vec();
        assert_eq!(shortened(labels, 3), ["a", "b", "c", "and 2 more"]);
    }
}
