//! A servo tested on a rig: what will move and in which moves; the run into the logbook, then what came of it.

use super::{Arguments, Place};
use crate::aircraft::Aircraft;
use crate::cli::at_rig::{self, Bench, Ended, Job, Plug};
use crate::cli::complain;
use crate::cli::words::say;
use crate::logbook::Logbook;
use crate::problem::{Problem, exit};
use crate::recording::{Channel, purpose};
use crate::rig::{Spell, SweepPlan, servo_moves, servo_moves_s};
use crate::servo::ALONE;

/// How far the arm of a servo that lies alone is turned to either side, degrees.
const ALONE_DEG: f64 = 45.0;
/// The large steps stay this far within the ends, as a share of the way to them.
const INSIDE: f64 = 0.7;
/// While the way is felt for, °/s.
const FEELING_DEG_PER_S: f64 = 30.0;

pub(super) fn test(arguments: &Arguments, logbook: &Logbook) -> Result<u8, Problem> {
    let place = super::place(arguments, logbook.aircraft())?;
    let (aircraft, surface_index) = (&place.aircraft, place.surface_index);
    if place.is_second && !arguments.alone {
        return Err(by_itself(
            &arguments.tag,
            &aircraft.surfaces[surface_index].name,
        ));
    }
    let surface = &aircraft.surfaces[surface_index];
    let mut plan = SweepPlan::of(aircraft, surface, 1, FEELING_DEG_PER_S, 0.4);
    if arguments.alone {
        (plan.up_deg, plan.down_deg) = (ALONE_DEG, -ALONE_DEG);
        plan = plan.alone(aircraft, surface);
    }
    let (up, down) = (plan.up_deg, -plan.down_deg);
    // A flap has one side alone: steps are kept between neutral and there.
    let way = if up.min(down) > 0.0 {
        up.min(down)
    } else {
        up.max(down)
    };
    let half_deg = INSIDE * way;
    let mut keys = Vec::new();
    let mut angle_from = &[Channel::AngleDeg][..];
    if arguments.alone {
        keys.push((ALONE, "yes".to_owned()));
        // The arm's own sensor, where there is one: the surface's may lie still, or sit on the arm as well.
        angle_from = &[Channel::ArmDeg, Channel::AngleDeg];
    }
    let job = Job {
        bench: Bench {
            json: arguments.json,
            angle_from,
            ..arguments.source.bench()
        },
        logbook,
        surface_index,
        purpose: purpose::SERVO_TEST,
        keys,
        by_second: place.is_second.then_some(Plug::First),
        plan,
        spells: vec![Spell {
            marks: Vec::new(),
            moves: servo_moves(half_deg),
            ends_after_s: None,
        }],
        said: plan_words(arguments, aircraft, &place, (plan, half_deg)),
    };
    // From here on it is the rig that fails.
    let ended = at_rig::run(&job, &mut async |_| true).unwrap_or_else(|problem| {
        complain(&problem);
        Ended::Before(exit::RIG)
    });
    let (path, short) = match ended {
        Ended::Before(status) => return Ok(status),
        Ended::Short(path) => (path, true),
        Ended::Whole(path) => (path, false),
    };
    let (_, recording) = logbook.read(&path)?;
    let all = [(path.display().to_string(), recording)];
    let status = super::shown(arguments, &place, &all)?;
    say(&format!("recording  {}", path.display()));
    at_rig::store(logbook, &path)?;
    Ok(if short { exit::RIG } else { status })
}

/// With its rods on it would work against the first one.
fn by_itself(tag: &str, surface: &str) -> Problem {
    Problem::new(format!(
        "{tag} is the second servo of the {surface}: with the rods on it would work against the first one"
    ))
    .hint(format!(
        "take its rods off, plug {tag} into the rig in the first one's place, and add --alone"
    ))
}

fn plan_words(
    arguments: &Arguments,
    aircraft: &Aircraft,
    place: &Place,
    (plan, half_deg): (SweepPlan, f64),
) -> String {
    let surface = &aircraft.surfaces[place.surface_index];
    let trip = aircraft.trip_points(surface);
    let tag = &aircraft.servos[surface.servo_index].tag;
    let what = if place.is_second {
        format!(
            "servo {tag} alone, plugged into the rig in the first one's place: rods off, the angle sensor on its arm"
        )
    } else if arguments.alone {
        format!("servo {tag} alone: rods off, the angle sensor on its arm")
    } else {
        format!("servo {tag} and with it the {}", surface.name)
    };
    format!(
        "WHAT WILL MOVE: {what}\n\
         first      a nudge of 2° to see which way it goes, then the deflection grows in steps to {:+.1}° and {:+.1}°\n\
         steps      AT FULL SPEED between {:+.1}° and {:+.1}°, then returns to neutral, rests and small steps about it; about {:.0} s in all\n\
         rig stops  above {:.0} mA, below {:.2} V, above {:.0} °C at the case if the rig measures it, stalled for {:.0} ms;\n           \
         pulses from {:.0} to {:.0} µs only",
        plan.up_deg,
        plan.down_deg,
        -half_deg,
        half_deg,
        plan.growth_s() + 6.0 + servo_moves_s(&servo_moves(half_deg)),
        trip.current_ma,
        trip.supply_v,
        trip.case_c,
        trip.stall_ms,
        trip.pulse_lo_us,
        trip.pulse_hi_us,
    )
}
