//! `calibrate angle` with a rig that stays disarmed: angle by angle the surface is held by hand, and what the sensor reads is kept.

use std::path::PathBuf;
use std::sync::Arc;

use super::angle::Arguments;
use crate::analysis::angle::{AT_DEG, AT_MM, Bench, HOLD_S, Why, still};
use crate::bench::record::Record;
use crate::cli::complain;
use crate::cli::rig::{PortArguments, described, greet, open, runtime};
use crate::cli::sweep::how_it_ended;
use crate::cli::words::{a_line, say};
use crate::logbook::Logbook;
use crate::problem::{Problem, exit};
use crate::recording::{Channel, purpose};
use crate::rig::{Asked, Heard, Line, Rig};

/// One place to hold the surface at.
struct Place {
    key: &'static str,
    value: f64,
    /// `+20.0 mm at the trailing edge`, `−12.0°`.
    words: String,
}

/// The recording's path; the exit status where there is none to be used; `None` where nothing was asked for.
///
/// # Errors
/// The rig cannot be reached, or failed.
pub fn recorded(
    arguments: &Arguments,
    (logbook, surface_index): (&Logbook, usize),
    bench: &Bench,
) -> Result<Option<Result<PathBuf, u8>>, Problem> {
    let places = match places(arguments, (logbook, surface_index), bench) {
        Ok(places) => places,
        Err(problem) => {
            complain(&problem);
            return Ok(Some(Err(exit::UNUSABLE)));
        }
    };
    let at_rig = arguments.source.bench();
    let Some(port) = at_rig.port else {
        if arguments.source.dry_run {
            say(&said(
                &logbook.aircraft().surfaces[surface_index].name,
                &places,
            ));
            return Ok(None);
        }
        complain(
            &Problem::new("no rig is named, and no recording")
                .hint("add --port PATH (`hingewright rig ports` lists them), or --at ANGLE:FILE"),
        );
        return Ok(Some(Err(exit::UNUSABLE)));
    };
    let port = PortArguments {
        port: port.to_owned(),
        baud: at_rig.baud,
    };
    let line = open(&port)?;
    runtime()?.block_on(async {
        let rig = greet(line).await?;
        say(&format!("port       {}\n{}\n", port.port, described(rig.identity())));
        say(&said(&logbook.aircraft().surfaces[surface_index].name, &places));
        if arguments.source.dry_run {
            say("Nothing was recorded (--dry-run).");
            return Ok(None);
        }
        if !rig.has(Channel::AngleDeg) {
            return Err(Problem::new("the rig gives no angle of the surface")
                .hint("connect the angle sensor (channel angle_deg) and look at it with `hingewright rig watch`"));
        }
        let keys = [Some(("purpose", purpose::ANGLE)), at_rig.note.map(|n| ("note", n))];
        let keys: Vec<(&str, &str)> = keys.into_iter().flatten().collect();
        let record = match Record::begin(logbook, surface_index, &keys) {
            Ok(record) => record,
            // It is the folder that cannot be used, not the rig.
            Err(problem) => {
                complain(&problem);
                return Ok(Some(Err(exit::UNUSABLE)));
            }
        };
        through(record, rig, &places).await
    })
}

fn places(
    arguments: &Arguments,
    (logbook, surface_index): (&Logbook, usize),
    bench: &Bench,
) -> Result<Vec<Place>, Problem> {
    let surface = &logbook.aircraft().surfaces[surface_index];
    let by_ruler = !arguments.ruler_mm.is_empty();
    let values = if by_ruler {
        &arguments.ruler_mm
    } else {
        &arguments.angles
    };
    let mut once = Vec::new();
    for &value in values {
        bench.known(value, by_ruler, surface).ok_or_else(|| {
            Problem::new(format!("the {} cannot stand at {value}", surface.name))
                .hint("by a ruler it is the travel of the trailing edge from neutral, in mm, at the chord in aircraft.toml; else degrees")
        })?;
        let (key, unit) = if by_ruler {
            (AT_MM, " mm by the ruler at the trailing edge")
        } else {
            (AT_DEG, "°")
        };
        once.push(Place {
            key,
            value,
            words: format!("{value:+}{unit}"),
        });
    }
    let mut different: Vec<f64> = values.clone();
    different.sort_by(f64::total_cmp);
    different.dedup();
    if different.len() < 2 {
        return Err(Problem::new("one known angle does not fix a scale")
            .hint("name two at least, better five from end to end: --angles -20,-10,0,10,20 or --ruler-mm -20,-10,0,10,20"));
    }
    // There and back: what drifts in time does not look like a scale.
    let again = |place: &Place| Place {
        words: place.words.clone(),
        ..*place
    };
    let mut all = Vec::new();
    for time in 0..arguments.times {
        let mut round: Vec<Place> = once.iter().map(again).collect();
        if time % 2 == 1 {
            round.reverse();
        }
        all.extend(round);
    }
    Ok(all)
}

fn said(surface: &str, places: &[Place]) -> String {
    format!(
        "NOTHING IS DRIVEN: the rig stays disarmed; you hold the {surface} at {} places, one after the other\n\
         you        set it by wedge, protractor or ruler, let it settle, press Enter, and hold it still for {HOLD_S:.0} s\n\
         sign       up or left is above 0, down or right below\n\
         servo      turn its power off, or take the rod off, so that it neither drives nor is forced\n",
        places.len()
    )
}

async fn through(
    record: Record<'_>,
    rig: Rig<Asked>,
    places: &[Place],
) -> Result<Option<Result<PathBuf, u8>>, Problem> {
    say(&format!("recording  {}", record.path().display()));
    let line = Arc::clone(rig.line());
    let run = record
        .held_by_hand(rig, async {
            for (number, place) in places.iter().enumerate() {
                if !held(&line, place, (number + 1, places.len())).await {
                    break;
                }
            }
        })
        .await?;
    let whole = std::path::absolute(&run.written.path).unwrap_or_else(|_| run.written.path.clone());
    if how_it_ended(
        &run,
        "what was recorded is kept; run the same command again when ready",
    ) {
        say(&format!("kept       {}", whole.display()));
        return Ok(Some(Err(exit::RIG)));
    }
    Ok(Some(Ok(whole)))
}

/// Asks and reads until it was held still; `false` where nobody answers any more.
async fn held(line: &Line, place: &Place, (number, of): (usize, usize)) -> bool {
    say(&format!(
        "{number:>3} of {of:<3}  hold it at {}; Enter when it stands, q to end",
        place.words
    ));
    loop {
        let Some(answer) = a_line().await else {
            return false;
        };
        if answer.trim().eq_ignore_ascii_case("q") {
            return false;
        }
        line.host_line(place.key, &place.value.to_string());
        match readings(line).await.map(|r| still(&r)) {
            Some(Ok((deg, _))) => {
                say(&format!("           reads {deg:.2}°"));
                return true;
            }
            Some(Err(Why::Moved(deg))) => say(&format!(
                "           it moved by {deg:.1}° and does not count: hold it still, and Enter once more"
            )),
            Some(Err(Why::TooShort)) => say(
                "           the sensor gave too few readings: look at its plug, and Enter once more",
            ),
            None => return false,
        }
    }
}

/// What the angle sensor says for as long as a hold is averaged, as (s, °); `None` where the rig is gone.
async fn readings(line: &Line) -> Option<Vec<(f64, f64)>> {
    let mut ear = line.listen();
    let mut began_s = None;
    let mut all = Vec::new();
    loop {
        if let Heard::Sample(sample) = ear.next().await.ok()? {
            let since_s = sample.t_s - *began_s.get_or_insert(sample.t_s);
            if let Some(deg) = sample.get(Channel::AngleDeg) {
                all.push((since_s, deg));
            }
            if since_s >= HOLD_S {
                return Some(all);
            }
        }
    }
}
