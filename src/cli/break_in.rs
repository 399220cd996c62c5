//! `break-in`: a hinge worked in, batch by batch and stage by stage, until it has settled.

mod past;
mod said;

use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use super::complain;
use super::record::{Record, a_line, say};
use super::rig::{PortArguments, described, greet, open, runtime};
use super::screen::Screen;
use super::sweep::{agreed, cautions, how_it_ended, opened, surface_named};
use crate::aircraft::{Surface, TripPoints};
use crate::history::settling::{REST_H, Standing, State, next_stage, stand};
use crate::logbook::{CYCLES, CYCLES_BEFORE, Logbook, Past, RECHECK, STAGE_DEG, WORKED_IN};
use crate::problem::{Problem, exit};
use crate::rig::{Asked, Cut, Guard, Line, Rig, Run, Stage, SweepPlan, Way, stages};
use crate::units::TorqueUnit;

#[derive(Args)]
#[command(
    after_help = "Example:\n  hingewright break-in \"left elevator\" --port /dev/ttyACM0 --logbook dunlin\n\n\
                  It goes on where it was: cycles worked so far are read from the logbook.\n\
                  Exit status: 0 settled, or all stages are through; 1 not settled, or stiffer than before; 3 if the rig failed,\n\
                  tripped, or the run was stopped."
)]
pub struct Arguments {
    /// The surface, as aircraft.toml calls it
    surface: String,
    #[command(flatten)]
    port: PortArguments,
    /// The logbook: a folder with aircraft.toml in it
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
    /// Begin a new logbook with this aircraft file, if there is none yet
    #[arg(long, value_name = "FILE")]
    aircraft: Option<PathBuf>,
    /// Deflections of the stages, degrees to each side; each ends at the surface's greatest throw (common practice, no source)
    #[arg(long, value_name = "DEG,…", value_delimiter = ',', default_value = "20,30,45", value_parser = super::number_between::<2, 90>)]
    stages: Vec<f64>,
    /// Let stages go beyond the surface's throws
    #[arg(long)]
    beyond_throws: bool,
    /// Cycles of a stage at most
    #[arg(long, value_name = "N", default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=5000))]
    cycles_per_stage: u32,
    /// Cycles of one batch: a recording of its own, after which it is looked at how the hinge stands
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u32).range(2..=200))]
    batch: u32,
    /// Stop at once where torque (or current) is above the batch before's at like angles by this many per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 25.0, value_parser = super::number_between::<1, 500>)]
    rise: f64,
    /// Stop at once above this torque, N·cm
    #[arg(long, value_name = "NCM", value_parser = super::number_between::<0, 100_000>)]
    most_torque: Option<f64>,
    /// Speed of the surface, degrees a second
    #[arg(long, value_name = "DEG_S", default_value_t = 30.0, value_parser = super::number_between::<2, 200>)]
    rate: f64,
    /// Hold at each end, seconds
    #[arg(long, value_name = "S", default_value_t = 0.4, value_parser = super::number_between::<0, 60>)]
    hold: f64,
    /// One measurement after a rest of 12 hours or more, which confirms that the hinge has settled
    #[arg(long)]
    recheck: bool,
    /// With a rig that only measures: so many cycles were worked by hand since the last recording; record you moving it
    #[arg(long, value_name = "CYCLES", value_parser = clap::value_parser!(u32).range(0..=100_000))]
    hand: Option<u32>,
    /// With --hand: record for so many seconds, instead of until Enter
    #[arg(long, value_name = "S", requires = "hand", value_parser = super::number_between::<1, 7200>)]
    seconds: Option<f64>,
    /// Anything worth remembering, kept with the recordings
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Take the cautions as read and do not ask
    #[arg(long)]
    yes: bool,
    /// Unit of torque in what is shown: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
}

pub fn run(arguments: &Arguments) -> u8 {
    prepared(arguments).unwrap_or_else(|problem| {
        complain(&problem);
        exit::UNUSABLE
    })
}

/// A surface being worked in.
struct Job<'a> {
    arguments: &'a Arguments,
    logbook: &'a Logbook,
    surface_index: usize,
    stages: Vec<Stage>,
    trip: TripPoints,
    past: Past,
}

fn prepared(arguments: &Arguments) -> Result<u8, Problem> {
    let logbook = opened(&arguments.logbook, arguments.aircraft.as_deref(), None)?;
    let aircraft = logbook.aircraft();
    let surface_index = surface_named(&arguments.surface, aircraft)?;
    let surface = &aircraft.surfaces[surface_index];
    let batch = SweepPlan::of(
        aircraft,
        surface,
        arguments.batch,
        arguments.rate,
        arguments.hold,
    );
    let mut asked = arguments.stages.clone();
    asked.sort_by(f64::total_cmp);
    let stages = stages(surface, &asked, arguments.beyond_throws, batch);
    if stages.is_empty() {
        return Err(
            Problem::new(format!("{} has no throw to be worked to", surface.name))
                .hint("give it a [[surface.throw]] in aircraft.toml"),
        );
    }
    let (past, unusable) = logbook.past(surface_index)?;
    for problem in &unusable {
        say(&format!("left out   {}", problem.what));
    }
    let mut job = Job {
        arguments,
        logbook: &logbook,
        surface_index,
        stages,
        trip: aircraft.trip_points(surface),
        past,
    };
    // From here on it is the rig that fails.
    on_rig(&mut job).or_else(|problem| {
        complain(&problem);
        Ok(exit::RIG)
    })
}

fn on_rig(job: &mut Job) -> Result<u8, Problem> {
    let port = &job.arguments.port;
    let line = open(port)?;
    runtime()?.block_on(async {
        let rig = greet(Arc::clone(&line)).await?;
        let who = described(rig.identity());
        say(&format!("port       {}\n{who}\n", port.port));
        match (job.arguments.hand, rig.is_driven()) {
            (Some(cycles), false) => by_hand(job, rig, cycles).await,
            (None, true) => driven(job, line, rig).await,
            (Some(_), true) => Err(Problem::new(
                "--hand is for a rig that only measures, and this one drives",
            )
            .hint("leave --hand out: this rig works the hinge by itself")),
            (None, false) => Err(Problem::new("this rig only measures: it cannot work a hinge in")
                .hint("work it by hand, count the cycles, and run it with --hand CYCLES to record how it stands")),
        }
    })
}

impl Job<'_> {
    fn surface(&self) -> &Surface {
        &self.logbook.aircraft().surfaces[self.surface_index]
    }

    fn stages_deg(&self) -> Vec<f64> {
        self.stages.iter().map(|s| s.deg).collect()
    }

    fn next(&self) -> Option<(f64, f64)> {
        next_stage(
            &self.past.batches,
            &self.stages_deg(),
            f64::from(self.arguments.cycles_per_stage),
        )
    }

    fn plan(&self) -> String {
        let stages: Vec<String> = self
            .stages
            .iter()
            .map(|s| format!("{:+.1}° to {:+.1}°", s.plan.down_deg, s.plan.up_deg))
            .collect();
        let (arguments, worked) = (self.arguments, self.past.worked);
        let what = if arguments.recheck {
            "one batch, to see what a rest gave back".to_owned()
        } else {
            format!(
                "batches of {} cycles at {}°/s, {} cycles a stage at most; a stage ends when it has settled",
                arguments.batch, arguments.rate, arguments.cycles_per_stage
            )
        };
        format!(
            "WHAT WILL MOVE: {}\n\
             worked     {worked:.0} cycles so far, by the logbook\n\
             stages     {}\n\
             batches    {what}\n\
             stops      at {:.0} % more torque than the batch before at like angles; the rig stops above {:.0} mA,\n           \
             below {:.2} V, stalled for {:.0} ms",
            self.surface().name,
            stages.join(", "),
            arguments.rise,
            self.trip.current_ma,
            self.trip.supply_v,
            self.trip.stall_ms,
        )
    }

    /// The command line that goes on with this.
    fn again(&self) -> String {
        format!(
            "hingewright break-in \"{}\" --port {} --logbook {}",
            self.surface().name,
            self.arguments.port.port,
            self.arguments.logbook.display()
        )
    }

    /// A recording of this job, with what stands on top of it.
    fn keys(&self, purpose: &str, more: &[(&'static str, String)]) -> Vec<(&'static str, String)> {
        let mut keys = vec![("purpose", purpose.to_owned())];
        keys.extend_from_slice(more);
        if let Some(note) = &self.arguments.note {
            keys.push(("note", note.clone()));
        }
        keys
    }

    /// Judges and stores a recording, adds it to the past and says a line on it. `None` where it carries no batch.
    fn taken_in(&mut self, path: &Path) -> Result<Option<Standing>, Problem> {
        let assessed = self.logbook.assess(path)?;
        self.logbook.store(self.logbook.aircraft(), &assessed)?;
        let known = self.past.batches.len();
        self.past.add(&assessed, path);
        if self.past.batches.len() == known {
            return Ok(None);
        }
        let standing = stand(&self.past.batches);
        if let Some(batch) = self.past.batches.last() {
            say(&said::batch(
                batch,
                &assessed.measured,
                &standing,
                self.arguments.units,
            ));
        }
        Ok(Some(standing))
    }

    /// The last word, and the exit status.
    fn conclude(&self) -> u8 {
        let standing = stand(&self.past.batches);
        let through = self.next().is_none();
        say("");
        say(&said::summary(
            &standing,
            self.past.worked,
            through,
            &self.again(),
            self.arguments.units,
        ));
        match standing.state {
            State::Settled | State::Confirmed => exit::NO_FAULT,
            State::Stiffer | State::CameBack => exit::FOUND,
            _ if through && !self.measures_only() => exit::NO_FAULT,
            _ => exit::FOUND,
        }
    }

    fn measures_only(&self) -> bool {
        self.arguments.recheck || self.arguments.hand.is_some()
    }

    /// The stage of the next batch and its cycles; `None` where there is nothing left to do.
    fn due(&self) -> Option<(Stage, u32)> {
        let stage = |deg: f64| self.stages.iter().find(|s| (s.deg - deg).abs() < 0.05);
        if self.arguments.recheck {
            let worked = self.past.batches.iter().rev();
            let last = worked.filter_map(|b| b.stage_deg).find_map(stage);
            return Some((*last.or(self.stages.last())?, self.arguments.batch));
        }
        let (deg, left) = self.next()?;
        let cycles = f64::from(self.arguments.batch).min(left.ceil()).max(2.0);
        Some((*stage(deg)?, cycles as u32))
    }
}

/// What a batch hands on to the next.
struct Known {
    stage_deg: f64,
    way: Option<Way>,
    guard: Guard,
}

async fn driven(job: &mut Job<'_>, line: Arc<Line>, rig: Rig<Asked>) -> Result<u8, Problem> {
    say(&job.plan());
    if job.due().is_none() {
        say("\nAll stages are through, and nothing is left to be worked.");
        return Ok(job.conclude());
    }
    cautions(job.arguments.yes);
    if !job.arguments.yes {
        if !io::stdin().is_terminal() {
            complain(
                &Problem::new("nobody can be asked here whether the surface may move")
                    .hint("run it in a terminal, or add --yes once you have read the cautions"),
            );
            return Ok(exit::UNUSABLE);
        }
        if !agreed(&rig).await? {
            say("Nothing was moved.");
            return Ok(exit::NO_FAULT);
        }
    }
    let mut known = Known {
        stage_deg: f64::NAN,
        way: None,
        guard: first_guard(job),
    };
    let mut rig = Some(rig);
    while let Some((stage, cycles)) = job.due() {
        let asked = match rig.take() {
            Some(rig) => rig,
            None => greet(Arc::clone(&line)).await?,
        };
        let run = batch(job, asked, stage, cycles, &mut known).await?;
        let standing = job.taken_in(&run.written.path);
        if how_it_ended(&run) {
            return Ok(match run.cut {
                Some(Cut::Rose(_)) => exit::FOUND,
                _ => exit::RIG,
            });
        }
        let Some(standing) = standing? else {
            return Err(
                Problem::new("the batch shows no cycle of the surface, and is no batch").hint(
                    "look at its recording with `check`, and at the angle sensor with `rig watch`",
                ),
            );
        };
        if job.arguments.recheck || standing.state == State::Stiffer {
            break;
        }
    }
    Ok(job.conclude())
}

/// A guard that knows the last batch, unless the hinge has rested since: what comes back by that is no tearing.
fn first_guard(job: &Job) -> Guard {
    let (rise, most) = (0.01 * job.arguments.rise, job.arguments.most_torque);
    let mut guard = Guard::new(rise, most);
    let last = job.past.batches.last().and_then(|b| b.started);
    let rested_h = last.map(|at| jiff::Timestamp::now().duration_since(at).as_secs_f64() / 3600.0);
    if rested_h.is_some_and(|h| h < REST_H) {
        past::remind(&job.past, job.logbook, &mut guard);
    }
    guard
}

/// One batch; the rig is armed within it alone.
async fn batch(
    job: &Job<'_>,
    rig: Rig<Asked>,
    stage: Stage,
    cycles: u32,
    known: &mut Known,
) -> Result<Run, Problem> {
    let purpose = if job.arguments.recheck {
        RECHECK
    } else {
        WORKED_IN
    };
    let keys = job.keys(
        purpose,
        &[
            (CYCLES_BEFORE, format!("{:.0}", job.past.worked)),
            (CYCLES, cycles.to_string()),
            (STAGE_DEG, stage.deg.to_string()),
        ],
    );
    let keys: Vec<(&str, &str)> = keys.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let record = Record::begin(job.logbook, job.surface_index, &keys)?;
    if known.stage_deg != stage.deg {
        (known.stage_deg, known.way) = (stage.deg, None);
    }
    let plan = SweepPlan {
        cycles,
        ..stage.plan
    };
    let mut screen = Screen::named(&format!(
        "stage {}°, {:.0} worked",
        stage.deg, job.past.worked
    ));
    let before = (known.way.take(), std::mem::take(&mut known.guard));
    let (run, way, guard) = record
        .batch(rig, plan, job.trip, before, &mut screen)
        .await?;
    screen.end();
    (known.way, known.guard) = (way, guard.next());
    for note in &run.notes {
        say(&format!("note       {note}"));
    }
    Ok(run)
}

/// A hinge that was worked by hand: the passive rig records how it stands now.
async fn by_hand(job: &mut Job<'_>, rig: Rig<Asked>, cycles: u32) -> Result<u8, Problem> {
    job.past.worked += f64::from(cycles);
    say(&format!(
        "YOU MOVE: {}\nworked     {:.0} cycles so far, {cycles} of them by hand since the last recording\n\
         Move it from end to end and back, ten times, about 30° a second, without stopping on the way.",
        job.surface().name,
        job.past.worked
    ));
    cautions(job.arguments.yes);
    if !job.arguments.yes && job.arguments.seconds.is_none() && io::stdin().is_terminal() {
        say("Enter begins, and Enter ends it.");
        let _ = a_line().await;
    }
    let purpose = if job.arguments.recheck {
        RECHECK
    } else {
        WORKED_IN
    };
    let keys = job.keys(
        purpose,
        &[(CYCLES_BEFORE, format!("{:.0}", job.past.worked))],
    );
    let keys: Vec<(&str, &str)> = keys.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let record = Record::begin(job.logbook, job.surface_index, &keys)?;
    say(&format!("recording  {}", record.path().display()));
    let mut screen = Screen::new();
    let run = record
        .listen(rig, job.arguments.seconds, &mut screen)
        .await?;
    screen.end();
    let standing = job.taken_in(&run.written.path);
    if how_it_ended(&run) {
        return Ok(exit::RIG);
    }
    standing?;
    Ok(job.conclude())
}
