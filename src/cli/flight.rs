//! `flight`: what the air asks of each servo at speed, estimated, on top of the hinge as measured.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;

use super::files::{Picture, picture, spare_the_logbook, told_aside};
use super::{complain, show};
use crate::aircraft::{self, Aircraft};
use crate::analysis::TorqueSource;
use crate::assess::{Assessed, choices, surface_named};
use crate::flight::{Asked, Atmosphere, estimate};
use crate::logbook::{Logbook, write_whole};
use crate::problem::{Problem, exit};
use crate::report::flight::{Flown, SurfaceFlown, json, text};
use crate::report::plot;
use crate::units::TorqueUnit;

#[derive(Args)]
#[command(
    after_help = "An estimate: air by thin-aerofoil theory times a factor, plus the hinge's torque from the latest finished sweep, through the \
                  linkage, against what the servo has. It needs [surface.air] and [surface.linkage] in aircraft.toml.\n\n\
                  Exit status: 0 every throw below --most-share, 1 one above it or not known, 2 an argument, the aircraft file or a recording \
                  could not be used.\n\n\
                  Example:\n  hingewright flight --logbook dunlin --surface \"left elevator\" --field-height-m 400 --air-c 28 --plot flight.svg"
)]
pub struct Arguments {
    /// The logbook's folder: aircraft and latest sweeps are taken from it
    #[arg(long, value_name = "DIR", required_unless_present = "aircraft")]
    logbook: Option<PathBuf>,
    /// An aircraft file instead of a logbook: the air alone, without the hinge's own torque
    #[arg(long, value_name = "FILE", conflicts_with = "logbook")]
    aircraft: Option<PathBuf>,
    /// Only this surface, by its name in the aircraft file
    #[arg(long, value_name = "NAME")]
    surface: Option<String>,
    /// Height of the field above sea level, m
    #[arg(long, value_name = "M", default_value = "0", allow_negative_numbers = true, value_parser = number::<-500, 6000>)]
    field_height_m: f64,
    /// Temperature of the air there, °C
    #[arg(long, value_name = "C", default_value = "15", allow_negative_numbers = true, value_parser = number::<-50, 60>)]
    air_c: f64,
    /// Voltage of the supply under load, before the lead, V
    #[arg(long, value_name = "V", default_value = "7.4", value_parser = positive::<60>)]
    supply_v: f64,
    /// The air's part is multiplied by this, 1 or more (1.5 is common practice, no source)
    #[arg(long, value_name = "N", default_value = "1.5", value_parser = at_least_one)]
    factor: f64,
    /// Angle of attack, degrees, nose up positive; of a rudder, with the wind from the right
    #[arg(long, value_name = "A", default_value = "0", allow_negative_numbers = true, value_parser = number::<-20, 20>)]
    attack_deg: f64,
    /// Aspect ratio of the whole wing or tail that --surface sits on (span²/area): allows for its downwash; without it the air is two-dimensional
    #[arg(long, value_name = "N", requires = "surface", value_parser = positive::<100>)]
    aspect: Option<f64>,
    /// A share of what the servo has from which a throw is a finding (0.5 is 50 %: common practice, no source)
    #[arg(long, value_name = "SHARE", default_value = "0.5", value_parser = positive::<1>)]
    most_share: f64,
    /// One JSON object, in N·cm whatever --units says
    #[arg(long)]
    json: bool,
    /// Draw torque against deflection at some speeds into FILE, an SVG or (by its ending) a PNG; needs --surface where there are several
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Unit of torque in what is shown: ncm, kgcm, ozin or nm
    #[arg(long, value_name = "UNIT", default_value = "ncm")]
    units: TorqueUnit,
}

fn number<const LOWEST: i32, const HIGHEST: i32>(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(number) if (f64::from(LOWEST)..=f64::from(HIGHEST)).contains(&number) => Ok(number),
        _ => Err(format!(
            "a number from {LOWEST} to {HIGHEST} is wanted here"
        )),
    }
}

fn at_least_one(text: &str) -> Result<f64, String> {
    match number::<0, 20>(text) {
        Ok(number) if number >= 1.0 => Ok(number),
        _ => Err("a number from 1 to 20 is wanted here: the estimate leaves much out, and nothing may be built on less air than it gives".to_owned()),
    }
}

fn positive<const HIGHEST: i32>(text: &str) -> Result<f64, String> {
    match number::<0, HIGHEST>(text) {
        Ok(number) if number > 0.0 => Ok(number),
        _ => Err(format!("a number above 0, up to {HIGHEST}, is wanted here")),
    }
}

pub fn run(arguments: &Arguments) -> u8 {
    match flight(arguments) {
        Ok(status) => status,
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

fn flight(arguments: &Arguments) -> Result<u8, Problem> {
    if let Some(file) = &arguments.plot {
        picture(file, "--plot")?;
    }
    match (&arguments.logbook, &arguments.aircraft) {
        (Some(root), _) => {
            let logbook = Logbook::open(root)?;
            if let Some(file) = &arguments.plot {
                spare_the_logbook(&logbook, file, "the picture", "--plot")?;
            }
            let chosen = choose(arguments, logbook.aircraft())?;
            let (sweeps, problems) = logbook.latest_sweeps(&chosen, Timestamp::now())?;
            problems.iter().for_each(complain);
            let status = told(arguments, logbook.aircraft(), &chosen, &sweeps)?;
            Ok(if problems.is_empty() {
                status
            } else {
                exit::UNUSABLE
            })
        }
        (None, Some(file)) => {
            let aircraft = aircraft::read_path(file)?;
            let chosen = choose(arguments, &aircraft)?;
            told(arguments, &aircraft, &chosen, &[])
        }
        (None, None) => Err(Problem::new("no logbook is named")
            .hint("give --logbook DIR, or --aircraft FILE for the air alone")),
    }
}

/// Indices of the surfaces asked for. Without a name: all whose air is described.
fn choose(arguments: &Arguments, aircraft: &Aircraft) -> Result<Vec<usize>, Problem> {
    let Some(name) = &arguments.surface else {
        let all: Vec<usize> = (0..aircraft.surfaces.len())
            .filter(|&i| aircraft.surfaces[i].air.is_some())
            .collect();
        return match all[..] {
            [] => Err(without_air(
                "no surface of this aircraft has a [surface.air]",
            )),
            [_, _, ..] if arguments.plot.is_some() => Err(several(aircraft)),
            _ => Ok(all),
        };
    };
    let index = surface_named(name, aircraft)?;
    let surface = &aircraft.surfaces[index];
    match surface.air {
        Some(_) => Ok(vec![index]),
        None => Err(without_air(&format!(
            "the {} has no [surface.air]",
            surface.name
        ))),
    }
}

fn without_air(who: &str) -> Problem {
    Problem::new(format!(
        "{who} in aircraft.toml: span, chord and speed are not known"
    ))
    .hint(
        "add below its [[surface]], with your own numbers:\n    \
         [surface.air]\n    \
         span_mm = …         # length of the surface along its hinge\n    \
         wing_chord_mm = …   # whole chord there, surface included\n    \
         fastest_m_s = …     # highest airspeed",
    )
}

fn told(
    arguments: &Arguments,
    aircraft: &Aircraft,
    chosen: &[usize],
    sweeps: &[Assessed],
) -> Result<u8, Problem> {
    let asked = Asked {
        atmosphere: Atmosphere::with_air_c(arguments.field_height_m, arguments.air_c),
        supply_v: arguments.supply_v,
        factor: arguments.factor,
        attack_deg: arguments.attack_deg,
        aspect: arguments.aspect,
        most_share: arguments.most_share,
    };
    let one = |&index: &usize| {
        let surface = &aircraft.surfaces[index];
        let sweep = sweeps.iter().find(|s| s.surface_index == index);
        let measured = sweep.map(|s| &s.measured);
        Some(SurfaceFlown {
            surface,
            estimate: estimate(aircraft, surface, measured, &asked)?,
            recording: sweep.map(|s| s.summary.file.clone()),
            torque_from: measured.map_or(TorqueSource::None, |m| m.torque_from),
        })
    };
    let surfaces: Vec<SurfaceFlown> = chosen.iter().filter_map(one).collect();
    let without = aircraft.surfaces.iter().filter(|s| s.air.is_none());
    let flown = Flown {
        aircraft,
        asked: &asked,
        field_height_m: arguments.field_height_m,
        air_c: arguments.air_c,
        surfaces,
        left_out: match arguments.surface {
            Some(_) => Vec::new(),
            None => without.map(|s| s.name.as_str()).collect(),
        },
    };
    print(arguments, &flown)?;
    if let Some(file) = &arguments.plot {
        draw(file, &flown, arguments.units)?;
    }
    let found = |s: &SurfaceFlown| s.estimate.over().next().is_some() || s.estimate.unproven();
    Ok(if flown.surfaces.iter().any(found) {
        exit::FOUND
    } else {
        exit::NO_FAULT
    })
}

fn print(arguments: &Arguments, flown: &Flown<'_>) -> Result<(), Problem> {
    let told = if arguments.json {
        let mut out = io::stdout().lock();
        writeln!(out, "{}", json::line(flown)).and_then(|()| out.flush())
    } else {
        let mut out = anstream::stdout().lock();
        let text = text::flown(flown, arguments.units, show::terminal_width());
        write!(out, "{text}").and_then(|()| out.flush())
    };
    match told {
        // A reader that has seen enough is no fault of ours.
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Problem::new(format!(
            "the estimate could not be written: {error}"
        ))),
        _ => Ok(()),
    }
}

fn several(aircraft: &Aircraft) -> Problem {
    Problem::new("--plot draws one surface, and there are several").hint(format!(
        "add --surface NAME with one of {}",
        choices(aircraft)
    ))
}

fn draw(file: &Path, flown: &Flown<'_>, unit: TorqueUnit) -> Result<(), Problem> {
    let [one] = &flown.surfaces[..] else {
        return Err(several(flown.aircraft));
    };
    let factor = flown.asked.factor;
    let drawn = if picture(file, "--plot")? == Picture::Png {
        plot::flight_png(file, one, factor, unit)?
    } else {
        match plot::flight_svg(one, factor, unit) {
            Some(svg) => {
                write_whole(file, svg.as_bytes())?;
                true
            }
            None => false,
        }
    };
    if !drawn {
        return Err(Problem::new(format!(
            "nothing to draw of the {}: what reaches its servo is not known",
            one.surface.name
        ))
        .hint("add its [surface.linkage] to aircraft.toml, and see what the text says of it"));
    }
    told_aside(file);
    Ok(())
}
