//! A servo tested on a rig: what will move, the cautions, the run into the logbook, then what came of it.

use std::io::IsTerminal;

use super::Arguments;
use crate::cli::complain;
use crate::cli::record::{Record, say};
use crate::cli::rig::{PortArguments, described, greet, open, runtime};
use crate::cli::screen::Screen;
use crate::cli::sweep::{agreed, cautions, how_it_ended, opened};
use crate::logbook::Logbook;
use crate::problem::{Problem, exit};
use crate::recording::{self, Channel, purpose};
use crate::rig::{Asked, Rig, Run, Spell, SweepPlan, servo_moves, servo_moves_s};
use crate::servo::ALONE;

/// How far the arm of a servo that lies alone is turned to either side, degrees.
const ALONE_DEG: f64 = 45.0;
/// The large steps stay this far within the ends, as a share of the way to them.
const INSIDE: f64 = 0.7;
/// While the way is felt for, °/s.
const FEELING_DEG_PER_S: f64 = 30.0;

struct Job<'a> {
    arguments: &'a Arguments,
    logbook: Logbook,
    surface_index: usize,
    plan: SweepPlan,
    half_deg: f64,
}

pub(super) fn test(arguments: &Arguments, port: &str) -> Result<u8, Problem> {
    let Some(root) = &arguments.logbook else {
        return Err(
            Problem::new("nothing says where the recording is kept").hint("add --logbook DIR")
        );
    };
    let logbook = opened(root, arguments.aircraft.as_deref(), None)?;
    let surface_index = super::place(arguments, logbook.aircraft())?;
    let surface = &logbook.aircraft().surfaces[surface_index];
    let mut plan = SweepPlan::of(logbook.aircraft(), surface, 1, FEELING_DEG_PER_S, 0.4);
    if arguments.alone {
        (plan.up_deg, plan.down_deg) = (ALONE_DEG, -ALONE_DEG);
    }
    let (up, down) = (plan.up_deg, -plan.down_deg);
    // A flap has one side alone: steps are kept between neutral and there.
    let way = if up.min(down) > 0.0 {
        up.min(down)
    } else {
        up.max(down)
    };
    let job = Job {
        arguments,
        surface_index,
        plan,
        half_deg: INSIDE * way,
        logbook,
    };
    let port = PortArguments {
        port: port.to_owned(),
        baud: arguments.baud,
    };
    // From here on it is the rig that fails.
    on_rig(&job, &port).or_else(|problem| {
        complain(&problem);
        Ok(exit::RIG)
    })
}

fn on_rig(job: &Job<'_>, port: &PortArguments) -> Result<u8, Problem> {
    let line = open(port)?;
    let ended = runtime()?.block_on(async {
        let rig = greet(line).await?;
        let told = format!("port       {}\n{}\n", port.port, described(rig.identity()));
        tell(job, &told);
        if !rig.is_driven() {
            return Err(
                Problem::new("this rig only measures: it cannot drive a servo")
                    .hint("record its steps by hand with a transmitter, and show them with --from"),
            );
        }
        tell(job, &plan_words(job));
        if !job.arguments.json {
            cautions(job.arguments.yes);
        }
        if !job.arguments.yes {
            if !std::io::stdin().is_terminal() {
                complain(
                    &Problem::new("nobody can be asked here whether the servo may move")
                        .hint("run it in a terminal, or add --yes once you have read the cautions"),
                );
                return Ok(Err(exit::UNUSABLE));
            }
            if !agreed(&rig).await? {
                say("Nothing was moved.");
                return Ok(Err(exit::NO_FAULT));
            }
        }
        recorded(job, rig).await
    })?;
    match ended {
        Ok(run) => concluded(job, &run),
        Err(status) => Ok(status),
    }
}

/// With --json, standard output is for the object alone.
fn tell(job: &Job<'_>, text: &str) {
    if !job.arguments.json {
        say(text);
    }
}

fn plan_words(job: &Job<'_>) -> String {
    let trip = job
        .logbook
        .aircraft()
        .trip_points(&job.logbook.aircraft().surfaces[job.surface_index]);
    let surface = &job.logbook.aircraft().surfaces[job.surface_index];
    let tag = &job.logbook.aircraft().servos[surface.servo_index].tag;
    let what = if job.arguments.alone {
        format!("servo {tag} alone: rods off, the angle sensor on its arm")
    } else {
        format!("servo {tag} and with it the {}", surface.name)
    };
    let moves = servo_moves(job.half_deg);
    format!(
        "WHAT WILL MOVE: {what}\n\
         first      a nudge of 2° to see which way it goes, then the deflection grows in steps to {:+.1}° and {:+.1}°\n\
         steps      AT FULL SPEED between {:+.1}° and {:+.1}°, then returns to neutral, rests and small steps about it; about {:.0} s in all\n\
         rig stops  above {:.0} mA, below {:.2} V, above {:.0} °C at the case, stalled for {:.0} ms;\n           \
         pulses from {:.0} to {:.0} µs only",
        job.plan.up_deg,
        job.plan.down_deg,
        -job.half_deg,
        job.half_deg,
        job.plan.growth_s() + 6.0 + servo_moves_s(&moves),
        trip.current_ma,
        trip.supply_v,
        trip.case_c,
        trip.stall_ms,
        trip.pulse_lo_us,
        trip.pulse_hi_us,
    )
}

/// The run; or, before anything was recorded, the exit status.
async fn recorded(job: &Job<'_>, rig: Rig<Asked>) -> Result<Result<Run, u8>, Problem> {
    let mut keys = vec![("purpose", purpose::SERVO_TEST)];
    if job.arguments.alone {
        keys.push((ALONE, "yes"));
    }
    keys.extend(job.arguments.note.as_deref().map(|note| ("note", note)));
    let record = match Record::begin(&job.logbook, job.surface_index, &keys) {
        Ok(record) => record,
        // It is the folder that cannot be used, not the rig.
        Err(problem) => {
            complain(&problem);
            return Ok(Err(exit::UNUSABLE));
        }
    };
    tell(job, &format!("recording  {}", record.path().display()));
    let surface = &job.logbook.aircraft().surfaces[job.surface_index];
    let trip = job.logbook.aircraft().trip_points(surface);
    let angle_from = if job.arguments.alone && !rig.has(Channel::AngleDeg) {
        Channel::ArmDeg
    } else {
        Channel::AngleDeg
    };
    let spells = [Spell {
        marks: Vec::new(),
        moves: servo_moves(job.half_deg),
    }];
    let mut screen = Screen::new();
    let mut ready = async |_| true;
    let run = record
        .spells(
            rig,
            (job.plan, trip, angle_from),
            &spells,
            &mut ready,
            &mut screen,
        )
        .await;
    screen.end();
    run.map(Ok)
}

fn concluded(job: &Job<'_>, run: &Run) -> Result<u8, Problem> {
    for note in &run.notes {
        tell(job, &format!("note       {note}"));
    }
    let path = &run.written.path;
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.clone());
    let aircraft = job.logbook.aircraft();
    let kept = job.logbook.assess(&whole).and_then(|assessed| {
        let result = job.logbook.store(aircraft, &assessed)?;
        let recording = recording::read_path(&whole)?;
        Ok((result, recording))
    });
    let status = match kept {
        Ok((result, recording)) => {
            let shown = whole.display().to_string();
            let all = [(shown, recording)];
            let status = super::shown(job.arguments, aircraft, job.surface_index, &all)?;
            tell(job, &format!("recording  {}", whole.display()));
            tell(job, &format!("result     {}", result.display()));
            status
        }
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    };
    let again = "what was recorded is kept; run the same command again when ready";
    Ok(if how_it_ended(run, again) {
        exit::RIG
    } else {
        status
    })
}
