//! `break-in`: a hinge worked in, batch by batch and stage by stage, until it has settled.

mod ahead;
mod said;

use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use self::said::Onward;
use super::complain;
use super::rig::{PortArguments, described, greet, open, runtime};
use super::screen::Screen;
use super::show;
use super::sweep::{agreed, cautions, how_it_ended, opened};
use super::words::{a_line, say, until};
use crate::assess::surface_named;
use crate::bench::course::{Course, Rules};
use crate::bench::record::Record;
use crate::command::word;
use crate::history::settling::{Standing, State, cycles_to_tell, spent};
use crate::problem::{Problem, exit};
use crate::rig::{Asked, Cut, Line, Rig, Run, Stage};
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
    course: Course<'a>,
}

impl Arguments {
    fn rules(&self) -> Rules {
        Rules {
            stages_deg: self.stages.clone(),
            beyond_throws: self.beyond_throws,
            cycles_per_stage: self.cycles_per_stage,
            batch: self.batch,
            rise_percent: self.rise,
            most_torque_ncm: self.most_torque,
            rate_deg_per_s: self.rate,
            hold_s: self.hold,
            recheck: self.recheck,
            note: self.note.clone(),
        }
    }
}

fn prepared(arguments: &Arguments) -> Result<u8, Problem> {
    let scratch = tempfile::tempdir();
    let scratch = scratch.as_ref().ok().map(tempfile::TempDir::path);
    let logbook = opened(
        &arguments.logbook,
        arguments.aircraft.as_deref(),
        scratch.filter(|_| arguments.dry_run),
    )?;
    let surface_index = surface_named(&arguments.surface, logbook.aircraft())?;
    let mut job = Job {
        arguments,
        course: Course::new(&logbook, surface_index, arguments.rules())?,
    };
    for problem in &job.course.left_out {
        say(&format!("left out   {}", problem.what));
    }
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
    fn onward(&self) -> Onward {
        let standing = self.course.standing();
        let worked = self.course.past.batches.iter().rev();
        let last_deg = worked.filter(|b| !b.recheck).find_map(|b| b.stage_deg);
        let spent = last_deg.map_or(0.0, |deg| spent(&self.course.past.batches, deg));
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
                "hingewright note {} \"what was done\" --kind hinge-work --logbook {}",
                word(&self.course.surface().name),
                word(&self.course.logbook.root().display().to_string())
            ),
            by_hand: self.arguments.hand.is_some(),
            through: self.arguments.hand.is_some() || self.course.left().is_empty(),
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
            "hingewright break-in {} --port {} --logbook {}",
            word(&self.course.surface().name),
            word(port),
            word(&a.logbook.display().to_string())
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

    /// Measures and stores a recording, adds it to the past and says a line on it. `None` where it carries no batch.
    fn taken_in(&mut self, path: &Path) -> Result<Option<Standing>, Problem> {
        let taken = self.course.take_in(path)?;
        let (Some((assessed, standing)), Some(batch)) = (taken, self.course.past.batches.last())
        else {
            return Ok(None);
        };
        say(&said::batch(
            batch,
            &assessed.measured,
            &standing,
            self.arguments.units,
        ));
        Ok(Some(standing))
    }

    /// The last word, and the exit status.
    fn conclude(&self) -> u8 {
        let standing = self.course.standing();
        let onward = self.onward();
        say("");
        say(&said::summary(
            &standing,
            self.course.past.worked,
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
            self.course.past.worked,
            self.onward().again
        );
        if run.cut.is_some() && !rose {
            say(&format!(
                "worked     {:.0} cycles in all",
                self.course.past.worked
            ));
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
}

async fn driven(job: &mut Job<'_>, line: Arc<Line>, rig: Rig<Asked>) -> Result<u8, Problem> {
    say(&ahead::driven(job));
    if job.course.due().is_none() {
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
    let mut rig = Some(rig);
    while let Some((stage, cycles)) = job.course.due() {
        let asked = match rig.take() {
            Some(rig) => rig,
            None => greet(Arc::clone(&line)).await?,
        };
        let run = batch(&mut job.course, asked, stage, cycles).await?;
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

/// One batch, and what a builder should know of its way.
async fn batch(
    course: &mut Course<'_>,
    rig: Rig<Asked>,
    stage: Stage,
    cycles: u32,
) -> Result<Run, Problem> {
    let worked = course.past.worked;
    let mut screen = Screen::named(&format!("stage {}°, {worked:.0} worked", stage.deg));
    let run = course
        .batch(rig, stage, cycles, &mut |p| screen.progress(p))
        .await?;
    screen.end();
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
    job.course.past.worked += f64::from(cycles);
    cautions(&rig, job.arguments.yes);
    if !job.arguments.yes && job.arguments.seconds.is_none() && io::stdin().is_terminal() {
        say("Enter begins, and Enter ends it.");
        let _ = a_line().await;
    }
    let keys = job.course.keys(&[]);
    let keys: Vec<(&str, &str)> = keys.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let record = Record::begin(job.course.logbook, job.course.surface_index, &keys)?;
    say(&format!("recording  {}", record.path().display()));
    let mut screen = Screen::new();
    let run = record
        .listen(rig, until(job.arguments.seconds), &mut |c| {
            screen.coverage(c)
        })
        .await?;
    screen.end();
    let standing = job.taken_in(&run.written.path);
    if let Some(status) = job.cut_short(&run) {
        return Ok(status);
    }
    standing?;
    Ok(job.conclude())
}
