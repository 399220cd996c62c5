//! `sweep`: a surface driven between its throws, or listened to while a hand moves it; recorded, kept, checked.

use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::complain;
use super::rig::{PortArguments, described, greet, open, runtime};
use super::screen::Screen;
use super::show;
use super::whose::other_file;
use super::words::{a_line, say, until, words};
use crate::aircraft::{Surface, TripPoints};
use crate::assess::surface_named;
use crate::bench::record::Record;
use crate::logbook::{AIRCRAFT_FILE, BY, Logbook};
use crate::problem::{Problem, exit};
use crate::recording::{Channel, purpose};
use crate::report::text::wrapping;
use crate::report::{CAUTIONS, Checked, at_a_glance};
use crate::rig::{self as bench, Asked, Rig, Run, SweepPlan};
use crate::units::{TorqueUnit, Unit};

#[derive(Args)]
#[command(
    after_help = "Example:\n  hingewright sweep \"left elevator\" --port /dev/ttyACM0 --logbook dunlin --purpose before\n\n\
                  Exit status: that of `check`; 3 if the rig failed, tripped, or the sweep was stopped."
)]
pub struct Arguments {
    /// The surface, as aircraft.toml calls it
    surface: String,
    /// The rig's serial port
    #[arg(long, value_name = "PATH", required_unless_present = "dry_run")]
    port: Option<String>,
    /// Bits per second of the line; a rig with USB of its own does not mind
    #[arg(long, value_name = "N", default_value_t = 115_200)]
    baud: u32,
    /// The logbook: a folder with aircraft.toml in it
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
    /// Begin a new logbook with this aircraft file, if there is none yet
    #[arg(long, value_name = "FILE")]
    aircraft: Option<PathBuf>,
    /// Cycles from end to end and back
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u32).range(1..=500))]
    cycles: u32,
    /// Speed of the surface, degrees a second
    #[arg(long, value_name = "DEG_S", default_value_t = 30.0, value_parser = super::number_between::<2, 200>)]
    rate: f64,
    /// Hold at each end, seconds
    #[arg(long, value_name = "S", default_value_t = 0.4, value_parser = super::number_between::<0, 60>)]
    hold: f64,
    /// What the sweep is for, kept with the recording: before, after, season …
    #[arg(long, value_name = "TEXT")]
    purpose: Option<String>,
    /// Who mounted surface and rig, for `repeat`: mount it anew before each sweep of such a study
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Anything worth remembering, kept with the recording
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Take the cautions as read and do not ask
    #[arg(long)]
    yes: bool,
    /// Say what would be done, ask the rig who it is if --port is given, and move nothing
    #[arg(long)]
    dry_run: bool,
    /// With a rig that only measures: record for so many seconds, instead of until Enter
    #[arg(long, value_name = "S", value_parser = super::number_between::<1, 7200>)]
    seconds: Option<f64>,
    /// Unit of torque in what is shown: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
}

impl Arguments {
    fn rods_off(&self) -> bool {
        self.purpose.as_deref() == Some(purpose::RODS_OFF)
    }
}

pub fn run(arguments: &Arguments) -> u8 {
    prepared(arguments).unwrap_or_else(|problem| {
        complain(&problem);
        exit::UNUSABLE
    })
}

/// What a sweep needs to know.
struct Job<'a> {
    arguments: &'a Arguments,
    logbook: Logbook,
    surface_index: usize,
    plan: SweepPlan,
    trip: TripPoints,
}

impl Job<'_> {
    fn surface(&self) -> &Surface {
        &self.logbook.aircraft().surfaces[self.surface_index]
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
    let aircraft = logbook.aircraft();
    let surface_index = surface_named(&arguments.surface, aircraft)?;
    let surface = &aircraft.surfaces[surface_index];
    let plan = SweepPlan::of(
        aircraft,
        surface,
        arguments.cycles,
        arguments.rate,
        arguments.hold,
    );
    let job = Job {
        plan: match arguments.rods_off() {
            true => plan.alone(aircraft, surface),
            false => plan.with_stops(surface),
        },
        trip: aircraft.trip_points(surface),
        arguments,
        surface_index,
        logbook,
    };
    let Some(port) = &arguments.port else {
        say(&driven_plan(&job));
        say("Nothing was moved (--dry-run).");
        return Ok(exit::NO_FAULT);
    };
    // From here on it is the rig that fails.
    let port = PortArguments {
        port: port.clone(),
        baud: arguments.baud,
    };
    on_rig(&job, &port).or_else(|problem| {
        complain(&problem);
        Ok(exit::RIG)
    })
}

/// The logbook; begun with an aircraft file where there is none, in `scratch` if that is given.
pub fn opened(
    root: &Path,
    aircraft: Option<&Path>,
    scratch: Option<&Path>,
) -> Result<Logbook, Problem> {
    let there = root.join(AIRCRAFT_FILE);
    let Some(file) = aircraft else {
        return Logbook::open(root);
    };
    if there.exists() {
        if let Some(note) = other_file(root, file) {
            say(&format!("note       {note}"));
        }
        return Logbook::open(root);
    }
    match scratch {
        Some(scratch) => Logbook::create(scratch, file),
        None => {
            let logbook = Logbook::create(root, file)?;
            say(&format!(
                "begun      a new logbook in {}",
                logbook.root().display()
            ));
            Ok(logbook)
        }
    }
}

fn on_rig(job: &Job, port: &PortArguments) -> Result<u8, Problem> {
    let line = open(port)?;
    let ended = runtime()?.block_on(async {
        let rig = greet(line).await?;
        say(&format!(
            "port       {}\n{}\n",
            port.port,
            described(rig.identity())
        ));
        let driven = rig.is_driven();
        say(&if driven {
            driven_plan(job)
        } else {
            passive_plan(job)
        });
        if job.arguments.dry_run {
            say("Nothing was moved (--dry-run).");
            return Ok(Ended::Before(exit::NO_FAULT));
        }
        cautions(&rig, job.arguments.yes);
        if !driven
            && !job.arguments.yes
            && job.arguments.seconds.is_none()
            && io::stdin().is_terminal()
        {
            say("Enter begins, and Enter ends it.");
            let _ = a_line().await;
        }
        if driven && !job.arguments.yes {
            if !io::stdin().is_terminal() {
                complain(
                    &Problem::new("nobody can be asked here whether the surface may move")
                        .hint("run it in a terminal, or add --yes once you have read the cautions"),
                );
                return Ok(Ended::Before(exit::UNUSABLE));
            }
            if !agreed(&rig).await? {
                say("Nothing was moved.");
                return Ok(Ended::Before(exit::NO_FAULT));
            }
        }
        recorded(job, rig, driven).await
    })?;
    Ok(match ended {
        Ended::Run(run) => concluded(job, &run),
        Ended::Before(status) => status,
    })
}

enum Ended {
    /// Before anything was recorded, with this exit status.
    Before(u8),
    Run(Box<Run>),
}

fn driven_plan(job: &Job) -> String {
    let (plan, trip, surface) = (&job.plan, &job.trip, job.surface());
    let tag = |index: usize| &job.logbook.aircraft().servos[index].tag;
    let first = tag(surface.servo_index);
    let servos = match surface.second_servo_index.map(tag) {
        None => format!("servo {first}"),
        Some(second) => format!("servos {first} and {second}, by one pulse"),
    };
    let stops = match plan.stop_s > 0.0 {
        true => format!(
            "stops      at neutral and half-way, {} s each: do the two share, or fight?\n",
            plan.stop_s
        ),
        false => String::new(),
    };
    let throws: Vec<String> = surface
        .throws
        .iter()
        .map(|t| format!("{} {:.1} mm ({:.1}°)", t.name, t.asked_mm, t.asked_deg))
        .collect();
    let (before, what) = match job.arguments.rods_off() {
        true => (
            "TAKE THE RODS OFF FIRST, with the supply off, and put the angle sensor on the servo's arm: the servo is to turn free.\n",
            format!(
                "{servos} without the {}, between the surface's angles",
                surface.name
            ),
        ),
        false => ("", format!("{}, {servos}", surface.name)),
    };
    let angle = match (surface.angle, job.arguments.rods_off()) {
        (None, false) => {
            "angle      believed as the sensor reads it: the file has no [surface.angle]. With a wrong scale the surface goes too far: \
             see by a ruler, or `hingewright calibrate angle`\n"
        }
        _ => "",
    };
    format!(
        "{before}WHAT WILL MOVE: {what}\n\
         throws     {}\n\
         sweep      from {} to {}, {} cycles at {}°/s, {} s at each end; about {:.0} s in all\n\
         {stops}{angle}first      a nudge of 2° to see which way it goes, then the deflection grows in steps\n\
         rig stops  above {:.0} mA, below {:.2} V, above {:.0} °C at the case if the rig measures it, stalled for {:.0} ms; pulses from {:.0} to {:.0} µs only",
        throws.join(", "),
        Unit::Degree.side(plan.down_deg),
        Unit::Degree.side(plan.up_deg),
        plan.cycles,
        plan.rate_deg_per_s,
        plan.hold_s,
        plan.whole_s(),
        trip.current_ma,
        trip.supply_v,
        trip.case_c,
        trip.stall_ms,
        trip.pulse_lo_us,
        trip.pulse_hi_us,
    )
}

fn passive_plan(job: &Job) -> String {
    let until = match job.arguments.seconds {
        Some(seconds) => format!("It records for {seconds:.0} s."),
        None => "It records until you press Enter.".to_owned(),
    };
    let before = match job.arguments.rods_off() {
        true => {
            "TAKE THE ROD OFF FIRST, with the supply off: the surface alone is moved, against the torque sensor.\n"
        }
        false => "",
    };
    format!(
        "{before}YOU MOVE: {}\nMove it from end to end and back, ten times, about 30° a second, without stopping on the way. {until}",
        job.surface().name
    )
}

/// What to mind before anything moves.
pub fn cautions(rig: &Rig<Asked>, taken_as_read: bool) {
    let mut out = words();
    let _ = writeln!(out);
    for (heading, sentence) in &CAUTIONS[..4] {
        let text = format!("{heading}: {sentence}");
        let options = wrapping(show::terminal_width())
            .initial_indent("  ")
            .subsequent_indent("    ");
        let _ = writeln!(out, "{}", textwrap::fill(&text, options));
    }
    if rig.is_driven() && !rig.has(Channel::CaseC) {
        let text = "Heat: this rig reads no case temperature and cannot stop for it. Feel the case while it is disarmed, and wait where it is hot.";
        let options = wrapping(show::terminal_width())
            .initial_indent("  ")
            .subsequent_indent("    ");
        let _ = writeln!(out, "{}", textwrap::fill(text, options));
    }
    if taken_as_read {
        let _ = writeln!(out, "  Taken as read (--yes).");
    }
    let _ = writeln!(out);
}

/// Asks once. The rig may go away meanwhile.
pub async fn agreed(rig: &Rig<Asked>) -> Result<bool, Problem> {
    let mut out = words();
    let _ = write!(out, "Is everything clear, and may it move now? [y/N] ");
    let _ = out.flush();
    let mut ear = rig.line().listen();
    tokio::select! {
        answer = a_line() => Ok(answer.is_some_and(|a| matches!(a.trim(), "y" | "Y" | "yes"))),
        cut = async { loop { if let Err(cut) = ear.next().await { break cut } } } => {
            say("");
            match cut {
                bench::Cut::Stopped { .. } => Ok(false),
                cut => Err(cut.problem()),
            }
        }
    }
}

async fn recorded(job: &Job<'_>, rig: Rig<Asked>, driven: bool) -> Result<Ended, Problem> {
    let of = |key, value: &'_ Option<String>| value.clone().map(|value| (key, value));
    let given = [
        of("purpose", &job.arguments.purpose),
        of(BY, &job.arguments.by),
        of("note", &job.arguments.note),
    ];
    let given: Vec<(&str, String)> = given.into_iter().flatten().collect();
    let keys: Vec<(&str, &str)> = given
        .iter()
        .map(|(key, value)| (*key, value.as_str()))
        .collect();
    let record = match Record::begin(&job.logbook, job.surface_index, &keys) {
        Ok(record) => record,
        // It is the folder that cannot be used, not the rig.
        Err(problem) => {
            complain(&problem);
            return Ok(Ended::Before(exit::UNUSABLE));
        }
    };
    say(&format!("recording  {}", record.path().display()));
    let mut screen = Screen::new();
    let run = if driven {
        record
            .sweep(rig, job.plan, job.trip, &mut |p| screen.progress(p))
            .await
    } else {
        let enough = until(job.arguments.seconds);
        record
            .listen(rig, enough, &mut |c| screen.coverage(c))
            .await
    };
    screen.end();
    run.map(|run| Ended::Run(Box::new(run)))
}

/// Says how the run ended, checks what it left, and gives the exit status.
fn concluded(job: &Job, run: &Run) -> u8 {
    for note in &run.notes {
        say(&format!("note       {note}"));
    }
    let whole = std::path::absolute(&run.written.path).unwrap_or_else(|_| run.written.path.clone());
    let status = checked(job, &whole, run.cut.is_some());
    let again = "what was recorded is kept; sweep again when ready";
    if how_it_ended(run, again) {
        exit::RIG
    } else {
        status
    }
}

/// Says where a run that was cut short left the rig, and what went wrong; whether anything did. `again`: what to do next
/// where it was stopped by the user.
pub fn how_it_ended(run: &Run, again: &str) -> bool {
    if run.cut.is_some() && run.disarmed {
        let place = run.left_at_deg.map_or(String::new(), |deg| {
            format!("; the surface stands at {}", Unit::Degree.side(deg))
        });
        say(&format!("disarmed   the rig confirmed it{place}"));
    }
    if !run.disarmed {
        say(
            "The rig did not confirm that it is disarmed. It disarms itself within half a second of this program's silence: \
             wait, and switch its supply off before you touch the surface.",
        );
    }
    // What went wrong comes last, where it is seen.
    if let Some(problem) = &run.written.problem
        && !matches!(&run.cut, Some(bench::Cut::Disk(_)))
    {
        complain(problem);
    }
    if let Some(cut) = &run.cut {
        let problem = cut.problem();
        complain(&match cut {
            bench::Cut::Stopped { .. } => problem.hint(again),
            _ => problem,
        });
    }
    run.cut.is_some() || run.written.problem.is_some()
}

/// The verdict on the recording, printed and stored; the exit status of `check`. Of an unfinished run it is one line.
fn checked(job: &Job, path: &Path, unfinished: bool) -> u8 {
    let (aircraft, shown) = (job.logbook.aircraft(), path.display());
    let assessed = match job.logbook.assess(path) {
        Ok(assessed) => assessed,
        Err(problem) if unfinished => {
            say(&format!(
                "kept       {shown}\njudged     not at all: {}",
                problem.what
            ));
            return exit::UNUSABLE;
        }
        Err(problem) => {
            complain(&problem);
            return exit::UNUSABLE;
        }
    };
    let stored = job.logbook.store(aircraft, &assessed);
    let status = show::status(assessed.judged.verdict);
    let mut checked = Checked::of(aircraft, assessed);
    if checked.servos.is_some() {
        checked.held = job.logbook.held_last(&checked.surface.name);
    }
    if unfinished {
        say(&format!(
            "kept       {shown}\njudged     as far as it goes: {}",
            at_a_glance(&checked)
        ));
    } else {
        // A reader that has seen enough is no fault of ours.
        let _ = show::all(&[checked], job.arguments.units);
        say(&format!("recording  {shown}"));
    }
    match stored {
        Ok(result) => say(&format!("result     {}", result.display())),
        Err(problem) => {
            complain(&problem);
            return exit::UNUSABLE;
        }
    }
    if job.arguments.rods_off() {
        say(&format!(
            "next       rods off is one half: the verdict judges a surface with its rods on. Put them on again, sweep once more, and hold the two against \
             each other: hingewright rods \"{}\" --logbook {}",
            job.surface().name,
            job.logbook.root().display()
        ));
    }
    status
}
