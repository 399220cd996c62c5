//! `break-in`: a hinge worked in, batch by batch and stage by stage, until it has settled.

mod ahead;
mod past;
mod said;

use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use self::said::Onward;
use super::complain;
use super::record::{Record, a_line, say};
use super::rig::{PortArguments, described, greet, open, runtime};
use super::screen::Screen;
use super::show;
use super::sweep::{agreed, cautions, how_it_ended, opened};
use crate::aircraft::{Surface, TripPoints};
use crate::assess::surface_named;
use crate::history::settling::{
    REST_H, Standing, State, cycles_to_tell, spent, stages_left, stand, stop,
};
use crate::logbook::{CYCLES, CYCLES_BEFORE, Logbook, Past, RECHECK, STAGE_DEG, WORKED_IN};
use crate::problem::{Problem, exit};
use crate::rig::{Asked, Cut, Guard, Line, Rig, Run, Stage, SweepPlan, Way, stages};
use crate::units::TorqueUnit;

const BAUD: u32 = 115_200;
const STAGES: &str = "20,30,45";
const CYCLES_PER_STAGE: u32 = 60;
const BATCH: u32 = 10;
/// Per cent.
const RISE: f64 = 25.0;
/// Degrees a second.
const RATE: f64 = 30.0;
/// Seconds.
const HOLD: f64 = 0.4;
/// Between two batches, s: about, and for the forecast alone.
const PAUSE_S: f64 = 1.0;
/// The `#` key of a batch that was worked although the hinge had been stopped.
const AFTER_STOP: &str = "after_stop";

#[derive(Args)]
#[command(
    after_help = "Example:\n  hingewright break-in \"left elevator\" --port /dev/ttyACM0 --logbook dunlin\n\n\
                  It goes on where it was: cycles worked so far are read from the logbook.\n\
                  Exit status: 0 settled in all its stages; 1 not settled, or stiffer than before; 2 a file or an argument could not be \
                  used, and nothing was moved; 3 the rig failed or tripped, or you stopped it."
)]
pub struct Arguments {
    /// The surface, as aircraft.toml calls it
    surface: String,
    /// The rig's serial port
    #[arg(long, value_name = "PATH", required_unless_present = "dry_run")]
    port: Option<String>,
    /// Bits per second of the line; a rig with USB of its own does not mind
    #[arg(long, value_name = "N", default_value_t = BAUD)]
    baud: u32,
    /// The logbook: a folder with aircraft.toml in it
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
    /// Begin a new logbook with this aircraft file, if there is none yet
    #[arg(long, value_name = "FILE")]
    aircraft: Option<PathBuf>,
    /// Deflections of the stages, degrees to each side; each ends at the surface's greatest throw (common practice, no source)
    #[arg(long, value_name = "DEG,…", value_delimiter = ',', default_value = STAGES, value_parser = super::number_between::<2, 90>)]
    stages: Vec<f64>,
    /// Let stages go beyond the surface's throws
    #[arg(long)]
    beyond_throws: bool,
    /// Cycles of a stage at most, counting those that it has had already
    #[arg(long, value_name = "N", default_value_t = CYCLES_PER_STAGE, value_parser = clap::value_parser!(u32).range(1..=5000))]
    cycles_per_stage: u32,
    /// Cycles of one batch: a recording of its own, after which it is looked at how the hinge stands
    #[arg(long, value_name = "N", default_value_t = BATCH, value_parser = clap::value_parser!(u32).range(2..=200))]
    batch: u32,
    /// Stop at once where torque (or current) is above the last sound batch's at like angles by this many per cent
    #[arg(long, value_name = "PERCENT", default_value_t = RISE, value_parser = super::number_between::<1, 500>)]
    rise: f64,
    /// Stop at once above this torque, N·cm
    #[arg(long, value_name = "NCM", value_parser = super::number_between::<0, 100_000>)]
    most_torque: Option<f64>,
    /// Speed of the surface, degrees a second
    #[arg(long, value_name = "DEG_S", default_value_t = RATE, value_parser = super::number_between::<2, 200>)]
    rate: f64,
    /// Hold at each end, seconds
    #[arg(long, value_name = "S", default_value_t = HOLD, value_parser = super::number_between::<0, 60>)]
    hold: f64,
    /// One measurement after a rest of 12 hours or more, which confirms that the hinge has settled
    #[arg(long)]
    recheck: bool,
    /// Go on after a stop because the hinge got stiffer: you have looked at it, and it is held against the last sound batch
    #[arg(long)]
    after_stop: bool,
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
    /// Say what would be done, ask the rig who it is if --port is given, and move nothing
    #[arg(long)]
    dry_run: bool,
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
    let scratch = tempfile::tempdir();
    let scratch = scratch.as_ref().ok().map(tempfile::TempDir::path);
    let logbook = opened(
        &arguments.logbook,
        arguments.aircraft.as_deref(),
        scratch.filter(|_| arguments.dry_run),
    )?;
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
    if let Some(status) = ahead::forbidden(&job) {
        return Ok(status);
    }
    let Some(port) = &arguments.port else {
        say(&match arguments.hand {
            Some(cycles) => ahead::by_hand(&job, cycles),
            None => ahead::driven(&job),
        });
        say(NOT_MOVED);
        return Ok(exit::NO_FAULT);
    };
    let port = PortArguments {
        port: port.clone(),
        baud: arguments.baud,
    };
    // From here on it is the rig that fails.
    let status = on_rig(&mut job, &port).unwrap_or_else(|problem| {
        complain(&problem);
        exit::RIG
    });
    Ok(status)
}

const NOT_MOVED: &str = "Nothing was moved (--dry-run).";

/// Says what is wrong with the arguments or a folder. Nothing was moved.
fn unusable(problem: &Problem) -> u8 {
    complain(problem);
    exit::UNUSABLE
}

fn on_rig(job: &mut Job, port: &PortArguments) -> Result<u8, Problem> {
    let line = open(port)?;
    runtime()?.block_on(async {
        let rig = greet(Arc::clone(&line)).await?;
        let who = described(rig.identity());
        say(&format!("port       {}\n{who}\n", port.port));
        match (job.arguments.hand, rig.is_driven()) {
            (Some(cycles), false) => by_hand(job, rig, cycles).await,
            (None, true) => driven(job, line, rig).await,
            (Some(_), true) => Ok(unusable(&Problem::new(
                "--hand is for a rig that only measures, and this one drives; nothing was moved",
            )
            .hint("leave --hand out: this rig works the hinge by itself"))),
            (None, false) => Ok(unusable(&Problem::new("this rig only measures: it cannot work a hinge in")
                .hint("work it by hand, count the cycles, and run it with --hand CYCLES to record how it stands"))),
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

    fn stage(&self, deg: f64) -> Option<&Stage> {
        self.stages.iter().find(|s| (s.deg - deg).abs() < 0.05)
    }

    fn next(&self) -> Option<(f64, f64)> {
        let most = f64::from(self.arguments.cycles_per_stage);
        let left = stages_left(&self.past.batches, &self.stages_deg(), most);
        left.first().copied()
    }

    /// How long the hinge has stood still, h.
    fn rested_h(&self) -> Option<f64> {
        let last = self.past.batches.last()?.started?;
        Some(jiff::Timestamp::now().duration_since(last).as_secs_f64() / 3600.0)
    }

    /// Whether the first batch is held against the last one of the logbook.
    fn is_held_against_last(&self) -> bool {
        let stopped = stop(&self.past.batches).is_some();
        stopped || self.rested_h().is_some_and(|h| h < REST_H)
    }

    fn onward(&self) -> Onward {
        let standing = stand(&self.past.batches);
        let worked = self.past.batches.iter().rev();
        let last_deg = worked.filter(|b| !b.recheck).find_map(|b| b.stage_deg);
        let spent = last_deg.map_or(0.0, |deg| spent(&self.past.batches, deg));
        let plain = self.command();
        let (again, recheck) = match self.arguments.hand {
            // So many more as there were this time; none within the rest.
            Some(cycles) => (
                format!("{plain} --hand {}", cycles.max(20)),
                format!("{plain} --hand 0 --recheck"),
            ),
            None => (plain.clone(), format!("{plain} --recheck")),
        };
        Onward {
            again,
            recheck,
            note: format!(
                "hingewright note \"{}\" \"what was done\" --kind hinge-work --logbook {}",
                self.surface().name,
                quoted(&self.logbook.root().display().to_string())
            ),
            by_hand: self.arguments.hand.is_some(),
            through: self.arguments.hand.is_some() || self.next().is_none(),
            spent,
            to_tell: spent + cycles_to_tell(&standing, f64::from(self.arguments.batch)),
        }
    }

    /// The command line that goes on with this, but for how many cycles.
    fn command(&self) -> String {
        let a = self.arguments;
        let port = a.port.as_deref().unwrap_or("PORT");
        let stages: Vec<String> = a.stages.iter().map(f64::to_string).collect();
        let stages = stages.join(",");
        let mut line = format!(
            "hingewright break-in \"{}\" --port {} --logbook {}",
            self.surface().name,
            quoted(port),
            quoted(&a.logbook.display().to_string())
        );
        let mut put = |differs: bool, option: String| {
            if differs {
                line += " ";
                line += &option;
            }
        };
        put(a.baud != BAUD, format!("--baud {}", a.baud));
        if a.hand.is_none() {
            put(stages != STAGES, format!("--stages {stages}"));
            put(a.beyond_throws, "--beyond-throws".to_owned());
            put(a.batch != BATCH, format!("--batch {}", a.batch));
            put(a.rise != RISE, format!("--rise {}", a.rise));
            put(a.rate != RATE, format!("--rate {}", a.rate));
            put(a.hold != HOLD, format!("--hold {}", a.hold));
            if let Some(most) = a.most_torque {
                put(true, format!("--most-torque {most}"));
            }
        }
        line
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
        let onward = self.onward();
        say("");
        say(&said::summary(
            &standing,
            self.past.worked,
            &onward,
            self.arguments.units,
        ));
        show::standing_caution();
        match standing.state {
            State::Settled | State::Confirmed if onward.through => exit::NO_FAULT,
            _ => exit::FOUND,
        }
    }

    /// Says how a run was cut short, if it was, and what that leads to; the exit status.
    fn cut_short(&self, run: &Run) -> Option<u8> {
        let rose = matches!(run.cut, Some(Cut::Rose(_)));
        let again = format!(
            "run it again: it goes on at {:.0} cycles. `{}`",
            self.past.worked,
            self.onward().again
        );
        if run.cut.is_some() && !rose {
            say(&format!("worked     {:.0} cycles in all", self.past.worked));
        }
        if !how_it_ended(run, &format!("what was recorded is kept; {again}")) {
            return None;
        }
        if rose {
            say(&format!("next       {}", said::look_first(&self.onward())));
        } else if !matches!(run.cut, Some(Cut::Stopped { .. })) {
            say(&format!("next       once that is seen to, {again}"));
        }
        show::standing_caution();
        Some(if rose { exit::FOUND } else { exit::RIG })
    }

    /// The stage of the next batch and its cycles; `None` where there is nothing left to do.
    fn due(&self) -> Option<(Stage, u32)> {
        if self.arguments.recheck {
            let worked = self.past.batches.iter().rev();
            let last = worked
                .filter_map(|b| b.stage_deg)
                .find_map(|deg| self.stage(deg));
            return Some((*last.or(self.stages.last())?, self.arguments.batch));
        }
        let (deg, left) = self.next()?;
        let cycles = f64::from(self.arguments.batch).min(left.ceil()).max(2.0);
        Some((*self.stage(deg)?, cycles as u32))
    }
}

/// As a shell takes it for one word.
fn quoted(text: &str) -> String {
    if text.contains(char::is_whitespace) {
        format!("\"{text}\"")
    } else {
        text.to_owned()
    }
}

/// What a batch hands on to the next.
struct Known {
    stage_deg: f64,
    way: Option<Way>,
    guard: Guard,
}

async fn driven(job: &mut Job<'_>, line: Arc<Line>, rig: Rig<Asked>) -> Result<u8, Problem> {
    say(&ahead::driven(job));
    if job.due().is_none() {
        say("\nAll stages are through, and nothing is left to be worked.");
        return Ok(job.conclude());
    }
    if job.arguments.dry_run {
        say(NOT_MOVED);
        return Ok(exit::NO_FAULT);
    }
    cautions(&rig, job.arguments.yes);
    if !job.arguments.yes {
        if !io::stdin().is_terminal() {
            return Ok(unusable(
                &Problem::new("nobody can be asked here whether the surface may move")
                    .hint("run it in a terminal, or add --yes once you have read the cautions"),
            ));
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
        if let Some(status) = job.cut_short(&run) {
            return Ok(status);
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

/// A guard that knows the last sound batch, unless the hinge has rested since: what comes back by that is no tearing. After
/// a stop a rest explains nothing.
fn first_guard(job: &Job) -> Guard {
    let (rise, most) = (0.01 * job.arguments.rise, job.arguments.most_torque);
    let mut guard = Guard::new(rise, most);
    if job.is_held_against_last() {
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
    let mut of_batch = vec![
        (CYCLES_BEFORE, format!("{:.0}", job.past.worked)),
        (CYCLES, cycles.to_string()),
        (STAGE_DEG, stage.deg.to_string()),
    ];
    if stop(&job.past.batches).is_some() {
        of_batch.push((AFTER_STOP, "yes".to_owned()));
    }
    let keys = job.keys(purpose, &of_batch);
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
    say(&ahead::by_hand(job, cycles));
    if job.arguments.dry_run {
        say(NOT_MOVED);
        return Ok(exit::NO_FAULT);
    }
    job.past.worked += f64::from(cycles);
    cautions(&rig, job.arguments.yes);
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
    if let Some(status) = job.cut_short(&run) {
        return Ok(status);
    }
    standing?;
    Ok(job.conclude())
}
