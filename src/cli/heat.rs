//! `heat`: how warm a servo gets under a load, told from how it warms.

use std::path::PathBuf;

use clap::Args;

use super::at_rig::{self, Bench, Ended, Job, Source};
use super::files::{Picture, picture, told_aside};
use super::words::words_to_stderr;
use super::{complain, show};
use crate::aircraft::{Aircraft, Surface};
use crate::logbook::write_whole;
use crate::problem::{Problem, exit};
use crate::recording::{Recording, purpose};
use crate::report::heat::{Warmed, json, text};
use crate::report::plot;
use crate::rig::{Move, Pace, Spell, SweepPlan, To};
use crate::servo::heat::Until;
use crate::servo::{heat, watts};

/// Speed between the throws, °/s, and hold at each end, s.
const RATE_DEG_PER_S: f64 = 30.0;
const HOLD_S: f64 = 0.4;

#[derive(Args)]
#[command(
    after_help = "Exit status: 0 it would end below the limit; 1 it comes to the limit or may, or nothing could be told; 2 an argument or a \
                  file could not be used; 3 the rig failed, tripped, or the run was stopped.\n\n\
                  Example:\n  hingewright heat \"left elevator\" --port /dev/ttyACM0 --logbook dunlin --minutes 10 --plot heat.svg"
)]
pub struct Arguments {
    /// The surface, as aircraft.toml calls it
    surface: String,
    #[command(flatten)]
    source: Source,
    /// How long it works or holds
    #[arg(long, value_name = "MIN", default_value_t = 10.0, value_parser = super::number_between::<2, 120>)]
    minutes: f64,
    /// Hold this deflection, degrees (down negative), instead of going to and fro between the throws
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, value_parser = degrees)]
    hold: Option<f64>,
    /// One JSON object a recording, one a line, in W, °C and s; at a rig all words go to standard error
    #[arg(long)]
    json: bool,
    /// Draw the temperature, the fitted law and the limit into FILE, an SVG or (by its ending) a PNG
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
}

fn degrees(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(deg) if deg.abs() <= 90.0 => Ok(deg),
        _ => Err("a number of degrees from -90 to 90 is wanted here".into()),
    }
}

pub fn run(arguments: &Arguments) -> u8 {
    let done = || -> Result<u8, Problem> {
        if let Some(file) = &arguments.plot {
            picture(file, "--plot")?;
        }
        if arguments.json {
            words_to_stderr();
        }
        let home = arguments.source.home()?;
        let surface_index = home.surface_index(&arguments.surface)?;
        if let Some(file) = &arguments.plot {
            at_rig::spare(&arguments.source, &home, file)?;
            if arguments.source.from.len() > 1 {
                return Err(
                    Problem::new("--plot draws one recording, and several are named")
                        .hint("name one recording with --from for the picture"),
                );
            }
        }
        if !arguments.source.from.is_empty() {
            return from_files(arguments, home.aircraft(), surface_index);
        }
        at_the_rig(arguments, home.logbook()?, surface_index)
    };
    done().unwrap_or_else(|problem| {
        complain(&problem);
        exit::UNUSABLE
    })
}

fn from_files(
    arguments: &Arguments,
    aircraft: &Aircraft,
    surface_index: usize,
) -> Result<u8, Problem> {
    let surface = &aircraft.surfaces[surface_index];
    let mut status = exit::NO_FAULT;
    for (file, recording) in arguments.source.read(surface)? {
        status = status.max(told(arguments, aircraft, surface, &file, &recording)?);
    }
    Ok(status)
}

fn at_the_rig(
    arguments: &Arguments,
    logbook: &crate::logbook::Logbook,
    surface_index: usize,
) -> Result<u8, Problem> {
    let aircraft = logbook.aircraft();
    let surface = &aircraft.surfaces[surface_index];
    let mut plan = SweepPlan::of(aircraft, surface, 1, RATE_DEG_PER_S, HOLD_S);
    if let Some(deg) = arguments.hold
        && !(plan.down_deg..=plan.up_deg).contains(&deg)
    {
        return Err(Problem::new(format!(
            "--hold {deg}: the {} goes from {:.1} to {:.1} degrees",
            surface.name, plan.down_deg, plan.up_deg
        ))
        .hint("name a deflection within its throws"));
    }
    let spell = spell(arguments, &mut plan);
    let what = match arguments.hold {
        Some(deg) => format!("holds {deg:+.1}°"),
        None => format!(
            "goes to and fro from {:+.1}° to {:+.1}° at {RATE_DEG_PER_S}°/s",
            plan.down_deg, plan.up_deg
        ),
    };
    let trip = aircraft.trip_points(surface);
    let job = Job {
        bench: Bench {
            json: arguments.json,
            ..arguments.source.bench()
        },
        logbook,
        surface_index,
        purpose: purpose::HEAT,
        keys: Vec::new(),
        by_second: None,
        plan,
        spells: vec![spell],
        said: format!(
            "WHAT WILL MOVE: {}, servo {}\n\
             load       it {what} for {:.1} minutes\n\
             first      a nudge of 2° to see which way it goes, then the deflection grows in steps, which takes about {:.0} s more\n\
             what of    this is the bench's load alone: no air pushes on the surface. In flight the servo has more to hold\n\
             rig stops  above {:.0} mA, below {:.2} V, above {:.0} °C at the case if the rig measures it, stalled for {:.0} ms\n\
             The servo's case gets hot: do not touch it afterwards either.",
            surface.name,
            aircraft.servos[surface.servo_index].tag,
            arguments.minutes,
            plan.growth_s(),
            trip.current_ma,
            trip.supply_v,
            trip.case_c,
            trip.stall_ms
        ),
    };
    // From here on it is the rig that fails.
    let ended = match at_rig::run(&job, &mut async |_| true) {
        Ok(ended) => ended,
        Err(problem) => {
            complain(&problem);
            return Ok(exit::RIG);
        }
    };
    let path = match ended {
        Ended::Before(status) => return Ok(status),
        Ended::Short(_) => return Ok(exit::RIG),
        Ended::Whole(path) => path,
    };
    let (_, recording) = logbook.read(&path)?;
    let file = path.display().to_string();
    let status = told(arguments, aircraft, surface, &file, &recording)?;
    at_rig::store(logbook, &path)?;
    Ok(status)
}

/// Moves that fill the time; the last of them is broken off when it is over.
fn spell(arguments: &Arguments, plan: &mut SweepPlan) -> Spell {
    let whole_s = 60.0 * arguments.minutes;
    let go = |deg, hold_s| Move {
        to: To::Deg(deg),
        pace: Pace::DegPerS(RATE_DEG_PER_S),
        hold_s,
    };
    let moves = match arguments.hold {
        Some(deg) => vec![go(deg, whole_s)],
        None => {
            plan.cycles = (whole_s / plan.cycle_s()).ceil().max(1.0) as u32;
            let once = [go(plan.up_deg, HOLD_S), go(plan.down_deg, HOLD_S)];
            // Ends that lie nearer than planned make shorter cycles, down to their holds alone.
            let most = (whole_s / (2.0 * HOLD_S)).ceil() as usize;
            once.repeat(most)
        }
    };
    Spell {
        marks: Vec::new(),
        moves,
        ends_after_s: Some(whole_s),
    }
}

/// Measures one recording, says what it shows, and gives the exit status.
fn told(
    arguments: &Arguments,
    aircraft: &Aircraft,
    surface: &Surface,
    file: &str,
    recording: &Recording,
) -> Result<u8, Problem> {
    let limit_c = aircraft.trip_points(surface).case_c;
    let servo = &aircraft.servos[surface.servo_index];
    let warmed = Warmed {
        file,
        surface: &surface.name,
        servo: &servo.tag,
        second: surface
            .second_servo_index
            .map(|i| aircraft.servos[i].tag.as_str()),
        limit_c,
        heat: heat::measure(recording, limit_c),
        watts: watts::measure(recording, servo.calibration.as_ref()),
        has_case: recording.has(crate::recording::Channel::CaseC),
        unfinished: recording.unfinished(),
    };
    let line = arguments.json.then(|| json::line(&warmed));
    at_rig::print(line, || text::warmed(&warmed, show::terminal_width()))?;
    if let Some(file) = &arguments.plot {
        draw(file, &warmed)?;
    }
    let below = warmed
        .heat
        .as_ref()
        .is_some_and(|h| !h.load_changed && h.until == Until::Never);
    Ok(if below { exit::NO_FAULT } else { exit::FOUND })
}

fn draw(file: &std::path::Path, warmed: &Warmed<'_>) -> Result<(), Problem> {
    let Some(heat) = &warmed.heat else {
        return Err(Problem::new(format!(
            "{}: there is no course of a temperature to draw",
            file.display()
        ))
        .hint("record for ten minutes with a rig that reads the servo's case (channel case_c)"));
    };
    if picture(file, "--plot")? == Picture::Png {
        plot::heat_png(file, warmed.surface, heat, warmed.limit_c)?;
    } else {
        let svg = plot::heat_svg(warmed.surface, heat, warmed.limit_c);
        write_whole(file, svg.as_bytes())?;
    }
    told_aside(file);
    Ok(())
}
