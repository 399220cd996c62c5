//! What the page shows of recordings: the one under way as far as it is certain, the one before it in grey, and in the end
//! the verdict, as `check` has it.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};

use super::hub::Hub;
use super::told::{
    BatchTold, BehindTold, FallTold, FindingTold, LastTold, RowTold, ThrowRowTold, VerdictTold,
};
use crate::assess::Assessed;
use crate::history::settling::{Batch, Standing};
use crate::logbook::Logbook;
use crate::recording::purpose::is_sweep;
use crate::recording::{Channel, Recording};
use crate::report::worked_in::{state, where_it_stands};
use crate::report::{
    Checked, meaning, quantity, quantity_rows, throw_rows, verdict_meaning, verdict_words,
};
use crate::rig::Guard;
use crate::units::{TorqueUnit, Unit};
use crate::verdict::{Finding, Kind};

/// Points of the session before that are drawn at most: more cannot be told apart on a page.
const MOST_BEHIND: usize = 3000;
/// Places of one finding in two looks, degrees.
const SAME_PLACE_DEG: f64 = 4.0;
const UNIT: TorqueUnit = TorqueUnit::NewtonCentimetre;

/// Looks at recordings that are still being written, on a thread of its own.
#[derive(Clone)]
pub struct Looker {
    looks: SyncSender<(u64, PathBuf)>,
}

impl Looker {
    pub fn new(logbook: Arc<Logbook>, hub: Arc<Hub>) -> Self {
        let (looks, asked) = sync_channel::<(u64, PathBuf)>(1);
        std::thread::spawn(move || {
            let mut before: (u64, Vec<Finding>) = (0, Vec::new());
            while let Ok((number, path)) = asked.recv() {
                let Ok(assessed) = logbook.assess(&path) else {
                    continue;
                };
                let now = assessed.judged.findings.clone();
                let known = match before.0 == number {
                    true => std::mem::take(&mut before.1),
                    false => Vec::new(),
                };
                let certain = told(now.iter().filter(|f| is_certain(f, &known)));
                let torque = torque(&assessed);
                before = (number, now);
                hub.show_run(number, |run| {
                    run.findings = certain;
                    if let Some(told) = &mut run.torque {
                        told.points = torque;
                    }
                });
            }
        });
        Self { looks }
    }

    /// Looks, unless it is still looking: the next cycle tells as much.
    pub fn look(&self, number: u64, path: &Path) {
        match self.looks.try_send((number, path.to_owned())) {
            Ok(()) | Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => {}
        }
    }
}

/// Seen in the look before as well, at the same place. What is missing yet is no finding while it is being recorded.
fn is_certain(finding: &Finding, known: &[Finding]) -> bool {
    let same_place = |other: &Finding| match (finding.at_deg, other.at_deg) {
        (Some(a), Some(b)) => (a - b).abs() < SAME_PLACE_DEG,
        (a, b) => a.is_none() && b.is_none(),
    };
    !matches!(finding.kind, Kind::Unproven | Kind::BadData)
        && known
            .iter()
            .any(|other| other.kind == finding.kind && same_place(other))
}

/// Findings for the page, in their order.
pub fn told<'f>(findings: impl Iterator<Item = &'f Finding>) -> Vec<FindingTold> {
    findings
        .map(|finding| FindingTold {
            level: finding.mark(),
            kind: finding.kind.word(),
            meaning: meaning(finding),
            text: finding.text(UNIT),
        })
        .collect()
}

fn torque(assessed: &Assessed) -> Vec<[f32; 2]> {
    let points = assessed.measured.curve.iter().flat_map(|c| &c.points);
    points
        .map(|p| [p.angle_deg as f32, p.torque_ncm as f32])
        .collect()
}

/// The surface's last finished sweep: its samples behind the live trace, its torque where samples are none.
pub fn behind(logbook: &Logbook, surface: usize) -> Option<(BehindTold, Vec<[f32; 2]>)> {
    let (mut latest, _) = logbook
        .latest_sweeps(&[surface], jiff::Timestamp::now())
        .ok()?;
    let assessed = latest.pop()?;
    let path = logbook.root().join(&assessed.summary.file);
    let (_, recording) = logbook.read(&path).ok()?;
    let day = recording
        .started()
        .map(|at| at.strftime("%Y-%m-%d %H:%M").to_string());
    let words = day.map_or("the last session".to_owned(), |day| {
        format!("last session, {day} UTC")
    });
    let behind = BehindTold {
        words,
        points: samples(&recording),
    };
    Some((behind, torque(&assessed)))
}

/// Deflection and effort of a recording, thinned.
fn samples(recording: &Recording) -> Vec<[f32; 2]> {
    let Some(channel) = Guard::CHANNELS.into_iter().find(|c| recording.has(*c)) else {
        return Vec::new();
    };
    let all: Vec<[f32; 2]> = recording
        .segments
        .iter()
        .filter_map(|s| s.column(Channel::AngleDeg).zip(s.column(channel)))
        .flat_map(|(angle, effort)| angle.iter().zip(effort))
        .filter(|(angle, effort)| angle.is_finite() && effort.is_finite())
        .map(|(angle, effort)| [*angle as f32, *effort as f32])
        .collect();
    let every = all.len().div_ceil(MOST_BEHIND).max(1);
    all.into_iter().step_by(every).collect()
}

/// How each surface stood when it was swept last, in the order of the aircraft file.
pub fn last_verdicts(logbook: &Logbook) -> Vec<Option<LastTold>> {
    let rows = logbook.rows().unwrap_or_default();
    let of = |name: &str| {
        let own = rows.iter().filter(|r| r.surface == name);
        // What was cut short says nothing against the sweep before it.
        let whole =
            own.filter(|r| r.flag("finished") != Some(false) && is_sweep(r.text("purpose")));
        let judged = whole.filter_map(|r| {
            let verdict = crate::verdict::Verdict::from_word(r.text("verdict")?)?;
            Some((r.time("started")?, verdict))
        });
        let (at, verdict) = judged.max_by_key(|(at, _)| *at)?;
        Some(LastTold {
            verdict: verdict.word(),
            words: verdict_words(verdict),
            day: at.strftime("%Y-%m-%d").to_string(),
        })
    };
    let surfaces = &logbook.aircraft().surfaces;
    surfaces.iter().map(|s| of(&s.name)).collect()
}

/// The verdict on a recording, its findings and its picture.
pub fn verdict(checked: &Checked<'_>) -> (VerdictTold, Vec<FindingTold>, String) {
    let verdict = checked.judged.verdict;
    let rows = quantity_rows(checked, UNIT);
    let throws = throw_rows(checked);
    let told_all = VerdictTold {
        word: verdict.word(),
        words: verdict_words(verdict),
        meaning: verdict_meaning(verdict),
        rows: rows
            .into_iter()
            .map(|row| RowTold {
                name: row.name,
                value: row.value,
                known: row.known,
            })
            .collect(),
        throws: throws
            .into_iter()
            .map(|row| ThrowRowTold {
                name: row.name,
                asked: row.asked,
                reached: row.reached,
                state: row.state,
                word: row.state_word,
            })
            .collect(),
        check: serde_json::from_str(&crate::report::json::line(checked)).unwrap_or_default(),
    };
    let picture = crate::report::plot::curve_svg(checked, UNIT, None);
    (told_all, told(checked.judged.findings.iter()), picture)
}

/// How a hinge has softened so far.
pub fn fall(batches: &[Batch], standing: &Standing, picture: u64) -> FallTold {
    let stiffness = Unit::Stiffness(UNIT);
    let one = |batch: &Batch| {
        let knees = batch.knees_deg.iter().flatten();
        let knees: Vec<String> = knees.map(|k| Unit::Degree.place(k.value)).collect();
        BatchTold {
            cycles: batch.cycles_after(),
            stage_deg: batch.stage_deg,
            stiffness: batch.stiffness_ncm_per_deg.map(|q| quantity(&q, stiffness)),
            friction: batch.friction_ncm.map(|q| quantity(&q, Unit::Torque(UNIT))),
            knees: match knees.is_empty() {
                true => "none".to_owned(),
                false => knees.join(", "),
            },
        }
    };
    FallTold {
        batches: batches.iter().map(one).collect(),
        state: state(standing.state).to_owned(),
        stands: where_it_stands(standing, UNIT),
        picture,
    }
}
