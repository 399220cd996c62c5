//! `held`: weights hung on a surface that the servo holds at neutral, guided step by step.

use clap::Args;

use super::at_rig::{self, Bench, Ended, Job, Source};
use super::words::{a_line, say, words_to_stderr};
use super::{complain, show};
use crate::aircraft::{Aircraft, Surface};
use crate::logbook::Logbook;
use crate::problem::{Problem, exit};
use crate::recording::{Recording, purpose};
use crate::report::held::{Shown, json, text};
use crate::rig::{Move, Pace, Spell, SweepPlan, To};
use crate::servo::held::{HUNG, HUNG_U, measure_all};
use crate::units::{TorqueUnit, Unit};

/// Standard acceleration of free fall, m/s² (ISO 80000-3).
const GRAVITY_M_S2: f64 = 9.806_65;
/// Neutral is held for so long, s.
const HOLD_S: f64 = 4.0;
/// The way is felt for this far, degrees: neutral is all that is wanted.
const FELT_DEG: f64 = 4.0;

#[derive(Args)]
#[command(
    after_help = "A weight pulls down. For the other side lead its thread over a pulley, so that it pulls the trailing edge up.\n\n\
                  Exit status: 0 stiffness and free play were told; 1 they could not be; 2 an argument or a file could not be used; 3 the rig \
                  failed, tripped, or the run was stopped.\n\n\
                  Example:\n  hingewright held \"left elevator\" --port /dev/ttyACM0 --logbook dunlin --weights-g 100,300"
)]
pub struct Arguments {
    /// The surface, as aircraft.toml calls it
    surface: String,
    #[command(flatten)]
    source: Source,
    /// Two weights or more, grams, each hung at the trailing edge on either side; the chord in aircraft.toml is their lever
    #[arg(long, value_name = "G,G…", value_delimiter = ',', value_parser = super::number_between::<1, 50_000>, conflicts_with = "ncm")]
    weights_g: Vec<f64>,
    /// How far the neutral chord line stands from level, degrees: the lever is the chord times its cosine
    #[arg(long, value_name = "DEG", default_value_t = 0.0, value_parser = super::number_between::<0, 60>)]
    attitude: f64,
    /// Torques about the hinge line instead of weights, N·cm
    #[arg(long, value_name = "NCM,NCM…", value_delimiter = ',', value_parser = super::number_between::<0, 10_000>)]
    ncm: Vec<f64>,
    /// Standard uncertainty of all weights and their lever together, per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 1.0, value_parser = super::number_between::<0, 50>)]
    weights_u_percent: f64,
    /// How often all of them are hung
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u32).range(2..=20))]
    repeats: u32,
    /// One JSON object over all recordings, in N·cm whatever --units says; at a rig all words go to standard error
    #[arg(long)]
    json: bool,
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

fn prepared(arguments: &Arguments) -> Result<u8, Problem> {
    if arguments.json {
        words_to_stderr();
    }
    let home = arguments.source.home()?;
    let surface_index = home.surface_index(&arguments.surface)?;
    let surface = &home.aircraft().surfaces[surface_index];
    if !arguments.source.from.is_empty() {
        let (files, recordings): (Vec<_>, Vec<_>) =
            arguments.source.read(surface)?.into_iter().unzip();
        return told(arguments, surface, &files, &recordings);
    }
    at_the_rig(arguments, home.logbook()?, surface_index)
}

/// What is hung in one arming.
#[derive(Debug, Clone, PartialEq)]
struct Load {
    ncm: f64,
    /// Of a weight, g.
    grams: Option<f64>,
    /// What the builder hangs: `100 g`, or the torque.
    what: String,
}

/// From the lightest to the heaviest.
fn loads(
    arguments: &Arguments,
    aircraft: &Aircraft,
    surface: &Surface,
) -> Result<Vec<Load>, Problem> {
    let mut loads: Vec<Load> = if arguments.ncm.is_empty() {
        let lever_cm = 0.1 * surface.chord_mm * arguments.attitude.to_radians().cos();
        let of = |g: &f64| Load {
            ncm: 1e-3 * g * GRAVITY_M_S2 * lever_cm,
            grams: Some(*g),
            what: format!("{g} g"),
        };
        arguments.weights_g.iter().map(of).collect()
    } else {
        let of = |ncm: &f64| Load {
            ncm: *ncm,
            grams: None,
            what: format!("the weight that makes {ncm} N·cm"),
        };
        arguments.ncm.iter().map(of).collect()
    };
    if loads.is_empty() {
        return Err(Problem::new("it is not said what is hung on the surface").hint(
            "at a rig: name two weights or more with --weights-g 100,300, or torques about the hinge line with --ncm 5,15; or name a \
             recording that is there with --from FILE",
        ));
    }
    loads.sort_by(|a, b| a.ncm.total_cmp(&b.ncm));
    loads.dedup_by(|a, b| a.ncm == b.ncm);
    not_too_heavy(&loads, aircraft, surface)?;
    if loads.len() < 2 || loads[0].ncm <= 0.0 {
        return Err(
            Problem::new("give and free play cannot be told apart with one weight")
                .hint("name two that differ, the lighter heavy enough to take up the play: --weights-g 100,300"),
        );
    }
    Ok(loads)
}

/// More than half of what stalls the servo is not hung on it; the arm is taken to be as long as the horn where the file says neither.
fn not_too_heavy(loads: &[Load], aircraft: &Aircraft, surface: &Surface) -> Result<(), Problem> {
    let servos = [Some(surface.servo_index), surface.second_servo_index];
    let stall_ncm: f64 = servos
        .into_iter()
        .flatten()
        .map(|i| aircraft.servo_types[aircraft.servos[i].type_index].stall_torque_ncm)
        .sum();
    let ratio = surface
        .linkage
        .as_ref()
        .map_or(1.0, |l| l.horn_mm / l.arm_mm);
    let most_ncm = 0.5 * stall_ncm * ratio;
    let Some(load) = loads.last().filter(|l| l.ncm > most_ncm) else {
        return Ok(());
    };
    let torque = |ncm| Unit::Torque(TorqueUnit::default()).plain(ncm);
    let through = match &surface.linkage {
        Some(l) => format!(", times horn over arm, {} over {} mm", l.horn_mm, l.arm_mm),
        None => ", arm and horn taken as equally long".to_owned(),
    };
    let heaviest = match load.grams {
        Some(g) => format!("at most {:.0} g there", (g * most_ncm / load.ncm).floor()),
        None => format!("at most --ncm {:.0}", most_ncm.floor()),
    };
    Err(Problem::new(format!(
        "{} turns the hinge with {}, and no more than {} is hung on it here: half of the servo's stall torque of {}{through}",
        load.what,
        torque(load.ncm),
        torque(most_ncm),
        torque(stall_ncm),
    ))
    .hint(format!(
        "take {heaviest}: a servo that stalls gets hot, and a weight that it cannot hold falls"
    )))
}

/// 0, +a, +b, 0, −a, −b, as often as asked, and 0 at the end. Up positive.
fn order(loads: &[Load], repeats: u32) -> Vec<(f64, Option<&Load>)> {
    let side = |sign: f64| loads.iter().map(move |l| (sign, Some(l)));
    let nothing = || std::iter::once((0.0, None));
    let once: Vec<_> = nothing()
        .chain(side(1.0))
        .chain(nothing())
        .chain(side(-1.0))
        .collect();
    let mut all = once.repeat(repeats as usize);
    all.extend(nothing());
    all
}

fn at_the_rig(
    arguments: &Arguments,
    logbook: &Logbook,
    surface_index: usize,
) -> Result<u8, Problem> {
    let aircraft = logbook.aircraft();
    let surface = &aircraft.surfaces[surface_index];
    let loads = loads(arguments, aircraft, surface)?;
    let order = order(&loads, arguments.repeats);
    let mut plan = SweepPlan::of(aircraft, surface, 1, 20.0, 0.0);
    plan.up_deg = plan.up_deg.min(FELT_DEG);
    plan.down_deg = plan.down_deg.max(-FELT_DEG);
    let hold = Move {
        to: To::OffsetUs(0.0),
        pace: Pace::UsPerS(300.0),
        hold_s: HOLD_S,
    };
    let spells = order.iter().map(|(sign, load)| Spell {
        marks: vec![(HUNG, format!("{:+.3}", sign * load.map_or(0.0, |l| l.ncm)))],
        moves: vec![hold],
        ends_after_s: None,
    });
    let job = Job {
        bench: Bench {
            json: arguments.json,
            ..arguments.source.bench()
        },
        logbook,
        surface_index,
        purpose: purpose::HELD,
        keys: vec![(HUNG_U, arguments.weights_u_percent.to_string())],
        by_second: None,
        plan,
        spells: spells.collect(),
        said: said(arguments, surface, &loads, &plan, order.len()),
    };
    let mut ready = async |number: usize| {
        say(&step(&order, number, surface));
        a_line().await.is_some()
    };
    // From here on it is the rig that fails.
    let ended = match at_rig::run(&job, &mut ready) {
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
    let status = told(
        arguments,
        surface,
        &[path.display().to_string()],
        std::slice::from_ref(&recording),
    )?;
    at_rig::store(logbook, &path)?;
    Ok(status)
}

fn said(
    arguments: &Arguments,
    surface: &Surface,
    loads: &[Load],
    plan: &SweepPlan,
    armings: usize,
) -> String {
    let each: Vec<String> = loads
        .iter()
        .map(|l| {
            let torque = Unit::Torque(arguments.units).plain(l.ncm);
            match arguments.ncm.is_empty() {
                true => format!("{} ({torque})", l.what),
                false => torque,
            }
        })
        .collect();
    let lever = match arguments.ncm.is_empty() {
        true => format!(
            "lever      the chord, {:.1} mm, times the cosine of {}°: {:.1} mm. Hang them at the trailing edge.\n",
            surface.chord_mm,
            arguments.attitude,
            surface.chord_mm * arguments.attitude.to_radians().cos()
        ),
        false => String::new(),
    };
    format!(
        "WHAT WILL MOVE: {}\n\
         first      with nothing hung, by {:+.1}° and {:+.1}°, to feel its way; from then on neutral is held for {HOLD_S:.0} s at a time\n\
         weights    {} on either side, {} times; {armings} armings\n\
         {lever}\
         you        hang and take off while it is disarmed, press Enter, and keep hands clear while it is armed",
        surface.name,
        plan.up_deg,
        plan.down_deg,
        each.join(", "),
        arguments.repeats,
    )
}

/// What to do ahead of an arming.
fn step(order: &[(f64, Option<&Load>)], number: usize, surface: &Surface) -> String {
    let place = format!("Step {:>2} of {}, disarmed.", number + 1, order.len());
    let what = match order[number] {
        (_, None) => "Take everything off the surface.".to_owned(),
        (sign, Some(load)) => {
            let way = surface.side_word(sign > 0.0).to_uppercase();
            let way = match way.as_str() {
                "DOWN" => way,
                _ => format!("{way} (thread over a pulley)"),
            };
            format!(
                "Hang {} so that it pulls the trailing edge {way}, and let it come to rest.",
                load.what
            )
        }
    };
    format!("{place} {what} Then hands clear, and Enter arms it.")
}

/// Measures, says what it shows, and gives the exit status.
fn told(
    arguments: &Arguments,
    surface: &Surface,
    files: &[String],
    recordings: &[Recording],
) -> Result<u8, Problem> {
    let shown = Shown {
        files,
        surface,
        held: measure_all(recordings),
        unfinished: recordings.iter().find_map(Recording::unfinished),
    };
    let line = arguments.json.then(|| json::line(&shown));
    at_rig::print(line, || {
        text::held(&shown, arguments.units, show::terminal_width())
    })?;
    let held = &shown.held;
    // A circuit too stiff for these weights is told from one on which nothing hung by its play.
    let played = held
        .play_deg
        .and_then(|q| q.interval)
        .is_some_and(|i| i.lo95 > 0.0);
    let whole = held.play_deg.is_some()
        && (held.stiffness.is_some() || (held.stiffer_than.is_some() && played));
    Ok(if whole { exit::NO_FAULT } else { exit::FOUND })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_sides_come_in_turn_with_nothing_between_them_and_at_the_end() {
        let load = |ncm| Load {
            ncm,
            grams: None,
            what: String::new(),
        };
        let loads = [load(5.0), load(12.0)];
        let hung: Vec<f64> = order(&loads, 2)
            .iter()
            .map(|(sign, l)| sign * l.map_or(0.0, |l| l.ncm))
            .collect();
        let once = [0.0, 5.0, 12.0, 0.0, -5.0, -12.0];
        assert_eq!(hung, [&once[..], &once[..], &[0.0]].concat());
    }

    fn sample() -> Aircraft {
        let none = |_: &str| Err(Problem::new("no calibration here"));
        let text = std::fs::read_to_string("samples/aircraft.toml").unwrap();
        let text: String = text
            .lines()
            .filter(|l| !l.trim_start().starts_with("calibration"))
            .map(|l| format!("{l}\n"))
            .collect();
        crate::aircraft::parse(&text, "aircraft.toml", none).unwrap()
    }

    #[test]
    fn what_would_stall_the_servo_is_not_hung() {
        let aircraft = sample();
        let load = |ncm| Load {
            ncm,
            grams: Some(3000.0),
            what: "3000 g".into(),
        };
        let of = |ncm| not_too_heavy(&[load(5.0), load(ncm)], &aircraft, &aircraft.surfaces[0]);
        assert!(of(17.0).is_ok());
        let told = of(1710.0).unwrap_err().to_string();
        // Half of 210 N·cm, times 22 over 18: 128.3 N·cm, which of 3000 g for 1710 N·cm is 225 g.
        for words in [
            "3000 g turns the hinge",
            "128 N·cm",
            "210 N·cm, times horn over arm, 22 over 18 mm",
            "at most 225 g",
        ] {
            assert!(told.contains(words), "{words}: {told}");
        }
    }

    #[test]
    fn each_step_says_what_to_hang_and_that_hands_stay_clear() {
        let load = Load {
            ncm: 5.0,
            grams: Some(100.0),
            what: "100 g".into(),
        };
        let aircraft = sample();
        let order = [(0.0, None), (1.0, Some(&load)), (-1.0, Some(&load))];
        let said: Vec<String> = (0..3)
            .map(|n| step(&order, n, &aircraft.surfaces[0]))
            .collect();
        assert!(said[0].contains("Take everything off"), "{}", said[0]);
        assert!(
            said[1].contains("100 g") && said[1].contains("UP"),
            "{}",
            said[1]
        );
        assert!(said[2].contains("DOWN,"), "{}", said[2]);
        // A rudder goes left and right, and a weight pulls neither way by itself.
        let rudder = aircraft.surfaces.iter().find(|s| s.name == "rudder");
        let sideways: Vec<String> = (1..3).map(|n| step(&order, n, rudder.unwrap())).collect();
        assert!(sideways[0].contains("LEFT (thread"), "{}", sideways[0]);
        assert!(sideways[1].contains("RIGHT (thread"), "{}", sideways[1]);
        assert!(
            said.iter()
                .all(|s| s.contains("disarmed") && s.contains("hands clear"))
        );
    }
}
