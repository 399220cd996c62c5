//! A season of an invented aircraft, laid down in its logbook: one recording a fortnight of two surfaces, the servo of one of
//! them going bad. Simulated in one go, for nobody waits half a year for a demonstration.

use std::io::Write;

use super::super::simulate::surface;
use crate::aircraft::Aircraft;
use crate::logbook::Logbook;
use crate::problem::Problem;
use crate::simulated::{Programme, Scenario, Sweep, simulate};

/// Recordings of each surface, and the days between them.
const SESSIONS: u32 = 10;
const DAYS: i64 = 14;

/// A surface, and by how much its servo's friction grows from session to session once it goes bad, as a share of what it was.
const COURSES: [(&str, f64); 2] = [("left aileron", 0.0), ("rudder", 0.6)];
/// Sessions that are still sound.
const SOUND: u32 = 4;

/// Writes the recordings and their results, the last a fortnight before `now`; how many.
pub fn lay_down(logbook: &Logbook, now: jiff::Timestamp) -> Result<u32, Problem> {
    let aircraft = logbook.aircraft();
    let mut written = 0;
    for (number, (name, growth)) in COURSES.iter().enumerate() {
        for session in 0..SESSIONS {
            let ago = jiff::SignedDuration::from_hours(24 * DAYS * i64::from(SESSIONS - session));
            let Ok(started) = now.checked_sub(ago) else {
                continue;
            };
            let seed = u64::from(session) + 100 * number as u64;
            one(
                logbook,
                aircraft,
                name,
                *growth * f64::from(session.saturating_sub(SOUND)),
                started,
                seed,
            )?;
            written += 1;
        }
    }
    Ok(written)
}

fn one(
    logbook: &Logbook,
    aircraft: &Aircraft,
    name: &str,
    more: f64,
    started: jiff::Timestamp,
    seed: u64,
) -> Result<(), Problem> {
    let Some((_, surface)) = aircraft.surface(name) else {
        return Ok(());
    };
    let furthest = |sign: f64| {
        let asked = surface
            .throws
            .iter()
            .filter(|t| t.side.sign() == sign)
            .map(|t| t.asked_deg);
        asked.fold(0.0, f64::max)
    };
    let mut scenario = Scenario {
        started: format!("{started:.0}"),
        purpose: Some("season".into()),
        keys: vec![
            (
                "servo".into(),
                aircraft.servos[surface.servo_index].tag.clone(),
            ),
            ("note".into(), "simulated season".into()),
        ],
        programme: Programme::Sweep(Sweep {
            throw_up_deg: furthest(1.0),
            throw_down_deg: furthest(-1.0),
            cycles: 8,
            ..Sweep::default()
        }),
        ..surface::scenario(aircraft, surface)
    };
    scenario.plant.hinge.friction_ncm *= 1.0 + more;
    let made = simulate(&scenario, seed);
    let (path, mut file) = logbook.new_recording(&surface.name, started)?;
    file.write_all(&made.capture)
        .and_then(|()| file.sync_all())
        .map_err(|e| Problem::new(format!("{}: could not be written: {e}", path.display())))?;
    logbook.store(aircraft, &logbook.assess(&path)?)?;
    Ok(())
}
