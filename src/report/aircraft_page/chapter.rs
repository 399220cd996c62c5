//! A surface's chapter: how it is now, how it was worked in, what was done and whether that helped, how its numbers went.

use serde::Serialize;

use super::Shown;
use super::record::{RecordOut, done_line};
use crate::analysis::Quantity;
use crate::history::compare::{Outcome, Verdict};
use crate::history::settling::{Batch, WITHIN_SHARE};
use crate::report::book::{Chapter, Fix, WorkedIn};
use crate::report::html::{SurfaceOut, unbroken};
use crate::report::prove::{self, Proved};
use crate::report::{Checked, plot, view, worked_in};
use crate::units::{TorqueUnit, Unit};

/// Whether there is more to say of a surface than that it was never measured.
pub fn has_something(chapter: &Chapter<'_>) -> bool {
    chapter.latest.is_some()
        || chapter.worked_in.is_some()
        || chapter.record.is_some()
        || !chapter.fixes.is_empty()
        || !chapter.done.is_empty()
}

#[derive(Serialize)]
pub struct ChapterOut {
    id: usize,
    surface: String,
    now: Option<SurfaceOut>,
    worked_in: Option<WorkedInOut>,
    fixes: Vec<FixOut>,
    done: Vec<String>,
    record: Option<RecordOut>,
}

impl ChapterOut {
    /// `latest`: of all surfaces, whose pictures have shared axes.
    pub fn of(id: usize, chapter: &Chapter<'_>, latest: &[&Checked<'_>], shown: Shown<'_>) -> Self {
        let unit = shown.unit;
        let name = &chapter.surface.name;
        let now = chapter.latest.as_ref();
        let worked = chapter.worked_in.as_ref();
        let record = chapter.record.as_ref();
        Self {
            id,
            surface: name.clone(),
            now: now.map(|checked| SurfaceOut::of(id, checked, latest, unit)),
            worked_in: worked.map(|w| WorkedInOut::of(w, unit)),
            fixes: chapter.fixes.iter().map(|f| FixOut::of(f, unit)).collect(),
            done: chapter.done.iter().map(|d| done_line(d, name)).collect(),
            record: record.map(|r| RecordOut::of(r, |_| true, true, shown)),
        }
    }
}

#[derive(Serialize)]
struct WorkedInOut {
    stands: String,
    svg: String,
    sentences: Vec<String>,
    batches: Vec<BatchOut>,
}

#[derive(Serialize)]
struct BatchOut {
    started: String,
    stage: String,
    worked: String,
    stiffness: String,
    friction: String,
    knees: String,
}

impl WorkedInOut {
    fn of(worked: &WorkedIn, unit: TorqueUnit) -> Self {
        let standing = &worked.standing;
        let cycles = worked.batches.last().map_or(0.0, Batch::cycles_after);
        let mut sentences = vec![format!("worked {cycles:.0} cycles in all")];
        sentences.extend(worked_in::last_step(standing, unit));
        sentences.extend(worked_in::fitted(standing, unit));
        let rested = standing.recheck.as_ref();
        sentences.extend(rested.map(|r| worked_in::rested(r, unit)));
        sentences.extend(worked_in::air_apart(standing));
        Self {
            stands: worked_in::where_it_stands(standing, unit),
            svg: plot::worked_in_svg(worked, unit),
            sentences: sentences.into_iter().map(sentence).collect(),
            batches: worked
                .batches
                .iter()
                .map(|b| BatchOut::of(b, unit))
                .collect(),
        }
    }
}

impl BatchOut {
    fn of(batch: &Batch, unit: TorqueUnit) -> Self {
        let shown = |q: Option<Quantity>, unit: Unit| match q {
            Some(q) => unbroken(view::quantity(&q, unit)),
            None => view::NOT_MEASURED.to_owned(),
        };
        let started = batch.started;
        let knees = batch.knees_deg.iter().flatten();
        let knees: Vec<String> = knees.map(|k| Unit::Degree.place(k.value)).collect();
        let curve = batch.stiffness_ncm_per_deg.is_some();
        Self {
            started: started.map_or("–".into(), |at| at.strftime("%Y-%m-%d %H:%M").to_string()),
            stage: match (batch.recheck, batch.stage_deg) {
                (true, _) => "after a rest".into(),
                (false, Some(deg)) => Unit::Degree.given(deg),
                (false, None) => "by hand".into(),
            },
            worked: format!("{:.0}", batch.cycles_after()),
            stiffness: shown(batch.stiffness_ncm_per_deg, Unit::Stiffness(unit)),
            friction: shown(batch.friction_ncm, Unit::Torque(unit)),
            knees: match (curve, knees.is_empty()) {
                (false, _) => view::NOT_MEASURED.into(),
                (true, true) => "none".into(),
                (true, false) => knees.join(", "),
            },
        }
    }
}

#[derive(Serialize)]
struct FixOut {
    what: String,
    outcome: &'static str,
    /// The colour that goes with it.
    class: &'static str,
    sentence: String,
    before: String,
    after: String,
    svg: String,
    changes: Vec<ChangeOut>,
    cautions: Vec<String>,
    not_compared: Option<String>,
}

/// Quantity, before, after, change, smallest change seen, verdict.
#[derive(Serialize)]
struct ChangeOut {
    cells: [String; 6],
    class: &'static str,
}

impl FixOut {
    fn of(fix: &Fix<'_>, unit: TorqueUnit) -> Self {
        let proved = Proved {
            before: &fix.before,
            after: &fix.after,
            proof: &fix.proof,
        };
        let changes = fix.proof.changes.iter();
        Self {
            what: fix.what.clone(),
            outcome: prove::outcome_words(fix.proof.outcome),
            class: outcome_class(fix.proof.outcome),
            sentence: prove::sentence(&proved),
            before: when_and_which(&fix.before),
            after: when_and_which(&fix.after),
            svg: plot::pair_svg(&fix.before, &fix.after, unit),
            changes: changes
                .map(|change| ChangeOut {
                    cells: prove::text::row(&proved, change, unit).map(unbroken),
                    class: match change.verdict {
                        Verdict::Better => "good",
                        Verdict::Worse => "bad",
                        Verdict::Changed | Verdict::NoChangeShown => "",
                    },
                })
                .collect(),
            cautions: fix.proof.cautions.iter().map(prove::caution).collect(),
            not_compared: prove::not_compared(&proved),
        }
    }
}

pub fn outcome_class(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Better => "good",
        Outcome::Worse => "bad",
        Outcome::NoChangeShown | Outcome::NothingComparable => "open",
    }
}

fn when_and_which(checked: &Checked<'_>) -> String {
    let file = view::file_name(&checked.recording.file);
    match view::started(checked) {
        Some(at) => format!("{}, {file}", at.strftime("%Y-%m-%d %H:%M UTC")),
        None => file.to_owned(),
    }
}

/// With a capital and a full stop.
fn sentence(text: String) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str() + "."
}

/// How the batches' table is to be read.
pub fn how_to_read_batches() -> Vec<String> {
    vec![format!(
        "A batch is some cycles worked and measured as one recording; \"worked\" counts the cycles to its end. The fit lets a quantity \
         fall towards a settled value, over the batches of the last stage; settled is within {:.0} % of it, seen in three batches \
         running, and confirmed only after a night's rest. Knees are those nearest to neutral.",
        100.0 * WITHIN_SHARE
    )]
}
