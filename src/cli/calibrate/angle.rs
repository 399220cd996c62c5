//! `calibrate angle`: from holds at known angles, in recordings or with a rig, to the surface's `[surface.angle]`.

use std::path::{Path, PathBuf};

use clap::Args;

use super::{held_still, kept};
use crate::aircraft::Surface;
use crate::analysis::angle::{self, Bench, CHORD_U_MM, Hold, KNOWN_U_DEG, RULER_U_MM};
use crate::cli::at_rig::{self, Home, Source};
use crate::cli::words::{say, words_to_stderr};
use crate::cli::{complain, number_between, show};
use crate::problem::{Problem, exit};
use crate::recording::{self, Recording};
use crate::report::angle::{Angled, file, json, text};

#[derive(Args)]
#[command(
    after_help = "Examples:\n  hingewright calibrate angle \"left elevator\" --port /dev/ttyACM0 --logbook dunlin --ruler-mm -20,-10,0,10,20\n  \
                  hingewright calibrate angle rudder --aircraft dunlin/aircraft.toml --at -20:left.log --at 0:mid.log --at 20:right.log\n\n\
                  In a recording a line `# at_deg=12.5` or `# at_mm=20` says where the surface is held from there on; two seconds count.\n\n\
                  Exit status: 0 calibrated; 1 calibrated, but the sensor is not straight or something else leaves a doubt; 2 no calibration, \
                  or an argument or a file could not be used; 3 the rig failed."
)]
pub struct Arguments {
    /// The surface, as aircraft.toml calls it
    surface: String,
    #[command(flatten)]
    pub source: Source,
    /// A recording of the surface held still at a deflection: degrees (up or left above 0), or with mm what a ruler at the
    /// trailing edge reads: --at -20:down.log, --at 22mm:up.log
    #[arg(long, value_name = "ANGLE:FILE", value_parser = at, allow_hyphen_values = true, conflicts_with_all = ["port", "from"])]
    at: Vec<At>,
    /// With a rig: hold the surface at these deflections, degrees, by a printed wedge or a protractor
    #[arg(long, value_name = "DEG,DEG…", value_delimiter = ',', allow_hyphen_values = true, value_parser = signed, conflicts_with = "ruler_mm")]
    pub angles: Vec<f64>,
    /// With a rig: hold the trailing edge where a ruler reads so many mm from neutral
    #[arg(long, value_name = "MM,MM…", value_delimiter = ',', allow_hyphen_values = true, value_parser = signed)]
    pub ruler_mm: Vec<f64>,
    /// With a rig: how often each is gone to
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u32).range(1..=20))]
    pub times: u32,
    /// Standard uncertainty of an angle set by wedge or protractor, degrees
    #[arg(long, value_name = "DEG", default_value_t = KNOWN_U_DEG, value_parser = number_between::<0, 10>)]
    known_u_deg: f64,
    /// Standard uncertainty of a ruler's reading, mm
    #[arg(long, value_name = "MM", default_value_t = RULER_U_MM, value_parser = number_between::<0, 10>)]
    ruler_u_mm: f64,
    /// Standard uncertainty of the chord in aircraft.toml, mm: all angles by a ruler share it
    #[arg(long, value_name = "MM", default_value_t = CHORD_U_MM, value_parser = number_between::<0, 20>)]
    chord_u_mm: f64,
    /// Write the [surface.angle] table into FILE as well
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,
    /// One JSON object instead of the text
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone)]
struct At {
    value: f64,
    by_ruler: bool,
    file: PathBuf,
}

fn at(text: &str) -> Result<At, String> {
    let wrong = || {
        "an angle and a recording are wanted here: -20:down.log, or 22mm:up.log for a ruler's reading".to_owned()
    };
    let (value, file) = text.split_once(':').ok_or_else(wrong)?;
    let (number, by_ruler) = match value.trim().strip_suffix("mm") {
        Some(number) => (number, true),
        None => (value, false),
    };
    if file.is_empty() {
        return Err(wrong());
    }
    Ok(At {
        value: signed(number.trim()).map_err(|_| wrong())?,
        by_ruler,
        file: file.into(),
    })
}

fn signed(text: &str) -> Result<f64, String> {
    let number = text.trim().parse::<f64>().ok();
    number
        .filter(|v| v.abs() <= 1000.0)
        .ok_or_else(|| "a number is wanted here, down or right below 0: -20".to_owned())
}

pub fn run(arguments: &Arguments) -> u8 {
    calibrate(arguments).unwrap_or_else(|problem| {
        complain(&problem);
        exit::UNUSABLE
    })
}

fn calibrate(arguments: &Arguments) -> Result<u8, Problem> {
    if arguments.json {
        words_to_stderr();
    }
    let home = arguments.source.home()?;
    let index = home.surface_index(&arguments.surface)?;
    let surface = &home.aircraft().surfaces[index];
    let bench = Bench {
        known_u_deg: arguments.known_u_deg,
        ruler_u_mm: arguments.ruler_u_mm,
        chord_u_mm: arguments.chord_u_mm,
    };
    if !arguments.at.is_empty() || !arguments.source.from.is_empty() {
        let (holds, read) = from_files(arguments, surface, &bench)?;
        return concluded(arguments, surface, &bench, &holds, &read);
    }
    let Home::Logbook { logbook, .. } = &home else {
        return Err(
            Problem::new("a rig's recording needs a logbook to be kept in")
                .hint("add --logbook DIR, or name recordings with --at ANGLE:FILE"),
        );
    };
    let Some(path) =
        held_still::recorded(arguments, (logbook, index), &bench).unwrap_or_else(|p| {
            complain(&p);
            Some(Err(exit::RIG))
        })
    else {
        return Ok(exit::NO_FAULT);
    };
    let path = match path {
        Ok(path) => path,
        Err(status) => return Ok(status),
    };
    let recording = recording::read_path(&path)?;
    let name = path.display().to_string();
    let holds = angle::holds(&name, &recording, surface, &bench)?;
    at_rig::store(logbook, &path)?;
    concluded(arguments, surface, &bench, &holds, &[(name, recording)])
}

type Read = (Vec<Hold>, Vec<(String, Recording)>);

fn from_files(arguments: &Arguments, surface: &Surface, bench: &Bench) -> Result<Read, Problem> {
    let mut all = Vec::new();
    let mut read = Vec::new();
    for one in &arguments.at {
        let (name, recording) = of_this_surface(&one.file, surface)?;
        all.push(angle::whole(
            &name,
            &recording,
            (one.value, one.by_ruler),
            surface,
            bench,
        )?);
        read.push((name, recording));
    }
    for path in &arguments.source.from {
        let (name, recording) = of_this_surface(path, surface)?;
        let found = angle::holds(&name, &recording, surface, bench)?;
        if found.is_empty() {
            return Err(Problem::new(format!(
                "{name}: nothing in it says where the surface was held"
            ))
            .hint("put a line `# at_deg=12.5` or `# at_mm=20` where each hold begins, or name it with --at ANGLE:FILE"));
        }
        all.extend(found);
        read.push((name, recording));
    }
    Ok((all, read))
}

/// As it came: no calibration of an earlier day is applied.
fn of_this_surface(path: &Path, surface: &Surface) -> Result<(String, Recording), Problem> {
    let recording = recording::read_path(path)?;
    let own = recording.key("surface").map(str::trim);
    if let Some(own) = own.filter(|own| !surface.is_called(own)) {
        return Err(Problem::new(format!(
            "{}: this recording is of the {own}, not of the {}",
            path.display(),
            surface.name
        ))
        .hint("name the surface that it is of, or other recordings"));
    }
    Ok((path.display().to_string(), recording))
}

fn concluded(
    arguments: &Arguments,
    surface: &Surface,
    bench: &Bench,
    holds: &[Hold],
    read: &[(String, Recording)],
) -> Result<u8, Problem> {
    let points: Vec<angle::Point> = holds.iter().filter_map(|h| h.point.ok()).collect();
    let shared = bench.shared_scale_u(holds, surface);
    let line = angle::line(&points, shared).ok_or_else(|| not_enough(holds, &points))?;
    // A scale that may be nothing is none.
    if line
        .scale
        .interval
        .is_some_and(|i| i.lo95 <= 0.0 && i.hi95 >= 0.0)
    {
        return Err(not_following());
    }
    let unfinished: Vec<String> = read
        .iter()
        .filter_map(|(name, r)| Some(format!("{name}: {}", r.unfinished()?)))
        .collect();
    let started = read.iter().find_map(|(_, r)| r.started());
    let angled = Angled {
        surface,
        holds,
        line: &line,
        bench,
        unfinished: &unfinished,
        made: kept::day(started.unwrap_or_else(jiff::Timestamp::now)),
    };
    let object = arguments.json.then(|| json::line(&angled));
    at_rig::print(object, || text::angled(&angled, show::terminal_width()))?;
    if let Some(into) = &arguments.into {
        if arguments.source.dry_run {
            say("Nothing was written (--dry-run).");
        } else {
            kept::replace(into, &file::toml(&angled))?;
        }
    }
    Ok(match angled.doubtful() {
        true => exit::FOUND,
        false => exit::NO_FAULT,
    })
}

fn not_enough(holds: &[Hold], points: &[angle::Point]) -> Problem {
    let moved = holds.len() - points.len();
    let of_them = if moved > 0 {
        format!(
            " ({moved} more did not count: the surface moved, or the hold was shorter than a second)"
        )
    } else {
        String::new()
    };
    let mut angles: Vec<f64> = points.iter().map(|p| p.known_deg).collect();
    angles.sort_by(f64::total_cmp);
    angles.dedup_by(|a, b| (*a - *b).abs() < 0.01);
    match angles.len() {
        n @ (0 | 1) => Problem::new(format!(
            "{} known angle does not fix a scale{of_them}",
            ["no", "one"][n]
        ))
        .hint("hold the surface at two angles at least, better at five from end to end, neutral among them"),
        _ => not_following(),
    }
}

fn not_following() -> Problem {
    Problem::new("the readings do not follow the angles: there is no calibration in them").hint(
        "see that the sensor is fixed to the surface and turns with it: `hingewright rig watch` shows it",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_angle_and_its_file_are_told_apart_also_below_zero_and_by_ruler() {
        let one = at("-20:down.log").unwrap();
        assert_eq!(
            (one.value, one.by_ruler, one.file),
            (-20.0, false, "down.log".into())
        );
        let one = at("22.5mm:C:/up.log").unwrap();
        assert_eq!(
            (one.value, one.by_ruler, one.file),
            (22.5, true, "C:/up.log".into())
        );
        for wrong in ["up.log", "20:", "twenty:up.log", "nan:up.log"] {
            assert!(at(wrong).is_err(), "{wrong}");
        }
    }
}
