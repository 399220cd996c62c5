//! One recorded run, from its first byte to the last, however it ends.

use std::fs::File;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use super::cut::Cut;
use super::drive::{Asked, Rig};
use super::ear::Ear;
use super::guard::Guard;
use super::line::Line;
use super::live::Heard;
use super::passive::{Coverage, Passive};
use super::plan::SweepPlan;
use super::sweep::{Progress, Spell, Sweep, Way};
use crate::aircraft::TripPoints;
use crate::problem::Problem;
use crate::recording::{Channel, Journal, REMARK, Written};

/// How long what the rig still says after a run was cut short is recorded.
const AFTERWARDS: Duration = Duration::from_millis(300);
/// A rig that fell silent may be starting anew, which a board does within this.
const BACK_WITHIN: Duration = Duration::from_millis(1500);

/// How a run ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    pub written: Written,
    /// Why it did not reach its end.
    pub cut: Option<Cut>,
    /// The rig confirmed that it is disarmed, or never was armed. Otherwise it disarms itself, for it hears nothing any more.
    pub disarmed: bool,
    /// What a builder should know of the way, as sentences. They stand in the recording as well, as `# remark=`.
    pub notes: Vec<String>,
    /// Where the surface was last seen, degrees.
    pub left_at_deg: Option<f64>,
}

/// The file of a run and what is said on top of it.
pub struct Page<'a> {
    pub file: File,
    pub path: &'a Path,
    pub keys: &'a [(&'a str, String)],
}

/// Drives a sweep and records it.
pub async fn sweep(
    rig: Rig<Asked>,
    page: Page<'_>,
    plan: SweepPlan,
    trip: TripPoints,
    tell: &mut dyn FnMut(&Progress),
) -> Result<Run, Problem> {
    drive(rig, page, Sweep::new(plan, trip, tell))
        .await
        .map(|(run, _, _)| run)
}

/// One batch of a hinge's working in: a recorded sweep that takes a known way, and gives back the one that it went.
/// `guard` sees its cycles, and comes back with what they were like.
pub async fn batch(
    rig: Rig<Asked>,
    page: Page<'_>,
    plan: SweepPlan,
    trip: TripPoints,
    (way, guard): (Option<Way>, Guard),
    tell: &mut dyn FnMut(&Progress),
) -> Result<(Run, Option<Way>, Guard), Problem> {
    let mut sweep = Sweep::new(plan, trip, tell);
    sweep.way = way;
    sweep.guard = Some(guard);
    let (run, way, guard) = drive(rig, page, sweep).await?;
    Ok((run, way, guard.unwrap_or_default()))
}

/// A recorded run of spells: see [`Sweep::run_spells`].
pub async fn spells(
    rig: Rig<Asked>,
    page: Page<'_>,
    mut sweep: Sweep<'_>,
    spells: &[Spell],
    ready: &mut impl AsyncFnMut(usize) -> bool,
) -> Result<Run, Problem> {
    let line = Arc::clone(rig.line());
    let rig = begin(rig, page).await?;
    let cut = sweep.run_spells(rig, spells, ready).await.err();
    let notes = std::mem::take(&mut sweep.notes);
    end(&line, cut, notes).await
}

async fn drive(
    rig: Rig<Asked>,
    page: Page<'_>,
    mut sweep: Sweep<'_>,
) -> Result<(Run, Option<Way>, Option<Guard>), Problem> {
    let line = Arc::clone(rig.line());
    let rig = begin(rig, page).await?;
    let cut = sweep.run(rig).await.err();
    let notes = std::mem::take(&mut sweep.notes);
    let run = end(&line, cut, notes).await?;
    Ok((run, sweep.way, sweep.guard))
}

/// Records while a hand or a transmitter moves the surface, until `enough` says so or the run is cut short.
pub async fn listen(
    rig: Rig<Asked>,
    page: Page<'_>,
    passive: Passive,
    enough: impl Future<Output = ()>,
    tell: &mut dyn FnMut(&Coverage),
) -> Result<Run, Problem> {
    let line = Arc::clone(rig.line());
    let rig = begin(rig, page).await?;
    let cut = passive.run(rig, enough, tell).await.err();
    end(&line, cut, Vec::new()).await
}

/// Asks once more and records from the answer on, so that the rig's own line is the first of the recording.
async fn begin(rig: Rig<Asked>, page: Page<'_>) -> Result<Rig<Asked>, Problem> {
    let path = page.path;
    let begun = async {
        let rig = rig.ask_again().await.map_err(|cut| cut.problem())?;
        let journal = Journal::begin(page.file, page.path, page.keys)?;
        rig.line().record(journal)?;
        Ok(rig)
    };
    begun.await.inspect_err(|_| {
        // Nothing of the rig's is in it. If it cannot be removed, the problem that led here is the one to tell.
        let _ = std::fs::remove_file(path);
    })
}

/// Disarmed, what still comes kept, the outcome written.
async fn end(line: &Line, mut cut: Option<Cut>, notes: Vec<String>) -> Result<Run, Problem> {
    let back = line.listen();
    let mut disarmed = line.disarm().await;
    let says_nothing = matches!(cut, Some(Cut::Silent { .. } | Cut::Unanswered { .. }));
    if says_nothing && comes_back(back).await {
        cut = Some(Cut::Restarted);
        disarmed = line.disarm().await;
    }
    if cut.as_ref().is_some_and(Cut::rig_is_there) {
        tokio::time::sleep(AFTERWARDS).await;
    }
    notes.iter().for_each(|note| line.host_line(REMARK, note));
    let left_at_deg = line
        .live()
        .borrow()
        .latest
        .and_then(|s| s.get(Channel::AngleDeg));
    let outcome = cut.as_ref().map(Cut::outcome);
    let written = line
        .end_recording(outcome.as_deref().map_or(Ok(()), Err))
        .ok_or_else(|| Problem::new("the recording was ended twice"))?;
    Ok(Run {
        written,
        cut,
        disarmed,
        notes,
        left_at_deg,
    })
}

/// Whether the rig says anew who it is.
async fn comes_back(mut ear: Ear) -> bool {
    let listen = async {
        loop {
            match ear.next().await {
                Ok(Heard::Restarted) => break true,
                Ok(_) => {}
                Err(_) => break false,
            }
        }
    };
    tokio::time::timeout(BACK_WITHIN, listen)
        .await
        .unwrap_or(false)
}
