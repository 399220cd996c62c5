//! `calibrate servo`: from recordings of lifted weights, or from a rig that lifts them, to the servo's calibration file.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::{guided, kept};
use crate::aircraft::{self, Aircraft, Calibration, ServoType, SheetSpeed};
use crate::cli::at_rig::{self, Ended, Home};
use crate::cli::files::{Picture, picture, told_aside};
use crate::cli::words::{say, words_to_stderr};
use crate::cli::{complain, show};
use crate::logbook::{AIRCRAFT_FILE, write_whole};
use crate::problem::{Problem, exit};
use crate::recording::{self, Recording};
use crate::report::calibrate::{Calibrated, file, json, text};
use crate::report::plot;
use crate::servo::balance::{self, Setting};
use crate::servo::lifts::{self, Known, Said};
use crate::units::TorqueUnit;

#[derive(Args)]
#[command(
    after_help = "Examples:\n  hingewright calibrate servo E1 --port /dev/ttyACM0 --logbook dunlin --masses 0,0.2,0.5,0.8 --arm-mm 60\n  \
                  hingewright calibrate servo E1 --from lifts.log --logbook dunlin\n\n\
                  A recording has armed spells, each with `# mass_kg=0.5` and `# arm_mm=60` ahead of it. Within one the arm goes up and down \
                  around level at two speeds or more, each at least three times.\n\n\
                  Exit status: 0 calibrated; 1 calibrated, but the fit is poor, or it does not agree with gears, data sheet or the calibration before it; 2 no calibration, or a file could not be used; 3 the rig failed."
)]
pub struct Arguments {
    /// The servo's tag, as aircraft.toml has it
    pub tag: String,
    /// Calibrate from these recordings or CSV files, all of this servo, instead of with a rig
    #[arg(long, value_name = "FILE", num_args = 1.., conflicts_with = "port")]
    from: Vec<PathBuf>,
    /// The rig's serial port
    #[arg(long, value_name = "PATH")]
    pub port: Option<String>,
    /// Bits per second of the line; a rig with USB of its own does not mind
    #[arg(long, value_name = "N", default_value_t = 115_200)]
    pub baud: u32,
    /// The logbook: the recording is kept there, and the calibration written beside its aircraft.toml
    #[arg(long, value_name = "DIR")]
    pub logbook: Option<PathBuf>,
    /// The aircraft file: begins a new logbook if there is none yet; with --from it is enough by itself
    #[arg(long, value_name = "FILE")]
    aircraft: Option<PathBuf>,
    /// Write the calibration here instead of into the file that its [[servo]] names, or else TAG.calibration.toml, beside the aircraft
    /// file; without a logbook and an aircraft file that is the present folder. An older calibration there is kept beside it
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,
    /// Masses to hang on, kg, lightest first, each with its standard uncertainty if known: 0,0.2,0.5±0.002; 0 is the empty arm
    #[arg(long, value_name = "KG,KG…", value_delimiter = ',', value_parser = mass, default_value = "0,0.2,0.5,0.8")]
    pub masses: Vec<Known>,
    /// From the servo's shaft to where the weight hangs, mm, with its standard uncertainty if known: 60±0.3
    #[arg(long, value_name = "MM", value_parser = length)]
    pub arm_mm: Option<Known>,
    /// Torque of the arm by itself when level, N·cm, with its standard uncertainty: 0.4±0.1; else a light arm is allowed for
    #[arg(long, value_name = "NCM", value_parser = own)]
    arm_own_ncm: Option<Known>,
    /// Reading of the angle sensor at which the arm is level, degrees, with its standard uncertainty
    #[arg(long, value_name = "DEG", value_parser = level, allow_hyphen_values = true)]
    level_deg: Option<Known>,
    /// Degrees to either side of level
    #[arg(long, value_name = "DEG", default_value_t = 20.0, value_parser = crate::cli::number_between::<8, 45>)]
    pub swing_deg: f64,
    /// Speeds of the arm, degrees a second, two or more
    #[arg(long, value_name = "DEG_S,…", value_delimiter = ',', default_values_t = [30.0, 90.0], value_parser = crate::cli::number_between::<10, 300>)]
    pub speeds: Vec<f64>,
    /// How often up and down at each speed
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = clap::value_parser!(u32).range(3..=50))]
    pub times: u32,
    /// Of the data sheet: seconds for 60° at the voltage of its stall torque, for a check against it
    #[arg(long, value_name = "S")]
    sixty_deg_s: Option<f64>,
    /// Draw power against torque into FILE, an SVG or (by its ending) a PNG
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// One JSON object instead of the text
    #[arg(long)]
    pub json: bool,
    /// Anything worth remembering, kept with the recording
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// Take the cautions as read and do not wait for Enter
    #[arg(long)]
    pub yes: bool,
    /// Say what would be done; move nothing and write nothing
    #[arg(long)]
    pub dry_run: bool,
}

pub fn run(arguments: &Arguments) -> u8 {
    calibrate(arguments).unwrap_or_else(|problem| {
        complain(&problem);
        exit::UNUSABLE
    })
}

fn calibrate(arguments: &Arguments) -> Result<u8, Problem> {
    if let Some(file) = &arguments.plot {
        picture(file, "--plot")?;
    }
    if arguments.json {
        words_to_stderr();
    }
    let at_rig = arguments.from.is_empty();
    if at_rig && arguments.port.is_none() && !arguments.dry_run {
        return Err(Problem::new("no rig is named, and no recording").hint(
            "with a rig: add --port PATH (`hingewright rig ports` lists them) and --logbook DIR; from recordings of lifts: add --from FILE",
        ));
    }
    let home = home(arguments)?;
    if let Some(home) = &home {
        known_tag(&arguments.tag, home.aircraft())?;
    }
    if !at_rig {
        return concluded(arguments, home.as_ref(), &arguments.from);
    }
    let Some(Home::Logbook { logbook, .. }) = &home else {
        return Err(
            Problem::new("a rig's lifts are kept in a logbook, and none is named")
                .hint("add --logbook DIR, or give recordings with --from"),
        );
    };
    let path = match guided::lifted(arguments, logbook)? {
        Ended::Before(status) => return Ok(status),
        Ended::Short(_) => {
            say("No calibration was made of it; nothing that was there has changed.");
            return Ok(exit::RIG);
        }
        Ended::Whole(path) => path,
    };
    at_rig::store(logbook, &path)?;
    concluded(arguments, home.as_ref(), &[path])
}

/// The logbook or the aircraft file alone; neither is needed with recordings.
fn home(arguments: &Arguments) -> Result<Option<Home>, Problem> {
    let file = arguments.aircraft.as_deref();
    Ok(match (&arguments.logbook, file) {
        (Some(root), file) => {
            // Recordings that are there already begin no logbook.
            let file = file.filter(|_| arguments.from.is_empty());
            Some(Home::opened(root, file, arguments.dry_run)?)
        }
        (None, Some(file)) => Some(Home::File(Box::new(aircraft::read_path(file)?))),
        (None, None) => None,
    })
}

fn known_tag(tag: &str, aircraft: &Aircraft) -> Result<(), Problem> {
    if aircraft.servos.iter().any(|s| s.tag == tag) {
        return Ok(());
    }
    let tags: Vec<&str> = aircraft.servos.iter().map(|s| s.tag.as_str()).collect();
    Err(
        Problem::new(format!("{} has no servo \"{tag}\"", aircraft.name))
            .hint(format!("its servos are {}", tags.join(", "))),
    )
}

/// Fits, shows, draws and writes.
fn concluded(arguments: &Arguments, home: Option<&Home>, paths: &[PathBuf]) -> Result<u8, Problem> {
    let mut read: Vec<(String, Recording)> = Vec::new();
    for path in paths {
        let recording = recording::read_path(path)?;
        of_this_servo(&arguments.tag, path, &recording)?;
        read.push((path.display().to_string(), recording));
    }
    let unfinished: Vec<String> = read
        .iter()
        .filter_map(|(name, r)| Some(format!("{name}: {}", r.unfinished()?)))
        .collect();
    let found = lifts::lifts(
        &read,
        Said {
            arm_mm: arguments.arm_mm,
            tag: &arguments.tag,
        },
    )?;
    let aircraft = home.map(Home::aircraft);
    let kind = aircraft.and_then(|a| kind_of(&arguments.tag, a));
    let most_nm = kind
        .zip(aircraft)
        .map(|(k, a)| 0.01 * a.limits.share_of_stall * k.stall_torque_ncm);
    let mut setting = Setting {
        own_nm: arguments.arm_own_ncm.map(|k| Known {
            value: 0.01 * k.value,
            u: 0.01 * k.u,
        }),
        most_nm,
        ..Setting::default()
    };
    setting.level_deg = arguments.level_deg.unwrap_or(setting.level_deg);
    let balance = balance::fit(&found, setting)?;
    let files: Vec<String> = paths
        .iter()
        .map(|p| {
            p.file_name()
                .map_or_else(String::new, |n| n.to_string_lossy().into_owned())
        })
        .collect();
    let into = place(arguments, home);
    let told = arguments.sixty_deg_s.filter(|s| *s > 0.0);
    let speed = match (kind, told) {
        (Some(kind), Some(s_per_60deg)) => Some(SheetSpeed {
            s_per_60deg,
            voltage_v: kind.stall_voltage_v,
        }),
        (kind, _) => kind.and_then(|k| k.speed),
    };
    let older = older(&arguments.tag, &into, aircraft);
    let doubts = balance::doubts(&balance, older.as_ref(), kind, speed);
    let calibrated = Calibrated {
        tag: &arguments.tag,
        doubts: &doubts,
        lifts: &found,
        balance: &balance,
        kind,
        speed,
        files: &files,
        unfinished: &unfinished,
    };
    if !arguments.json {
        let mut out = anstream::stdout().lock();
        // A reader that has seen enough is no fault of ours.
        let _ = write!(
            out,
            "{}",
            text::calibration(&calibrated, show::terminal_width())
        );
    }
    if let Some(picture) = &arguments.plot {
        draw(picture, &calibrated)?;
    }
    let written = write(arguments, home, into, &calibrated)?;
    if arguments.json {
        let shown = written.as_ref().map(|p| p.display().to_string());
        let _ = writeln!(
            io::stdout(),
            "{}",
            json::line(&calibrated, shown.as_deref())
        );
    }
    Ok(if calibrated.poor() {
        exit::FOUND
    } else {
        exit::NO_FAULT
    })
}

fn of_this_servo(tag: &str, path: &Path, recording: &Recording) -> Result<(), Problem> {
    if lifts::is_of(recording, tag) {
        return Ok(());
    }
    let key = |key: &str| recording.key(key);
    let other = key(lifts::LIFTED_BY).or(key("servo")).unwrap_or_default();
    Err(Problem::new(format!(
        "{}: this recording is of servo {other}, not of {tag}",
        path.display()
    ))
    .hint("a calibration holds for one servo only: name that one, or other recordings"))
}

/// The calibration that stands where the new one goes, or else the one that the aircraft file names.
fn older(tag: &str, into: &Path, aircraft: Option<&Aircraft>) -> Option<Calibration> {
    let there = aircraft::read_calibration_path(into, tag).ok();
    let named = || {
        let servo = aircraft?.servos.iter().find(|s| s.tag == tag)?;
        servo.calibration.clone()
    };
    there.or_else(named)
}

pub fn kind_of<'a>(tag: &str, aircraft: &'a Aircraft) -> Option<&'a ServoType> {
    let servo = aircraft.servos.iter().find(|s| s.tag == tag)?;
    aircraft.servo_types.get(servo.type_index)
}

fn draw(path: &Path, calibrated: &Calibrated<'_>) -> Result<(), Problem> {
    let unit = TorqueUnit::default();
    if picture(path, "--plot")? == Picture::Png {
        plot::lifts_png(path, calibrated, unit)?;
    } else {
        write_whole(path, plot::lifts_svg(calibrated, unit).as_bytes())?;
    }
    told_aside(path);
    Ok(())
}

/// Where the calibration goes.
fn place(arguments: &Arguments, home: Option<&Home>) -> PathBuf {
    if let Some(file) = &arguments.into {
        return file.clone();
    }
    let name = format!("{}.calibration.toml", plain(&arguments.tag));
    let Some(file) = aircraft_file(arguments, home) else {
        return name.into();
    };
    let named = std::fs::read_to_string(&file)
        .ok()
        .and_then(|text| calibration_named(&text, &arguments.tag));
    file.with_file_name(named.unwrap_or(name))
}

fn aircraft_file(arguments: &Arguments, home: Option<&Home>) -> Option<PathBuf> {
    match home? {
        Home::Logbook { logbook, .. } => Some(logbook.root().join(AIRCRAFT_FILE)),
        Home::File(_) => arguments.aircraft.clone(),
    }
}

/// The calibration's file; an older one stays beside it.
fn write(
    arguments: &Arguments,
    home: Option<&Home>,
    into: PathBuf,
    calibrated: &Calibrated<'_>,
) -> Result<Option<PathBuf>, Problem> {
    if arguments.dry_run {
        say(&format!(
            "Nothing was written (--dry-run); it would be {}.",
            into.display()
        ));
        return Ok(None);
    }
    let made = kept::day(
        calibrated
            .lifts
            .started
            .unwrap_or_else(jiff::Timestamp::now),
    );
    kept::replace(&into, &file::toml(calibrated, made))?;
    if let Some(file) = aircraft_file(arguments, home) {
        line_to_add(&file, home, &arguments.tag, &into);
    }
    Ok(Some(into))
}

/// Letters and figures of a tag: a file's name.
fn plain(tag: &str) -> String {
    let safe = |c: char| {
        if c.is_alphanumeric() || "-_".contains(c) {
            c
        } else {
            '-'
        }
    };
    tag.chars().map(safe).collect()
}

/// Which line makes the aircraft file use it, if it does not yet. Names in it are looked for beside it.
fn line_to_add(file: &Path, home: Option<&Home>, tag: &str, into: &Path) {
    let whole = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let (file, into) = (whole(file), whole(into));
    let folder = file.parent().unwrap_or(Path::new(""));
    let name = into.strip_prefix(folder).unwrap_or(&into);
    let name = name.display().to_string();
    let named = std::fs::read_to_string(&file)
        .ok()
        .and_then(|text| calibration_named(&text, tag));
    if named.as_deref() == Some(name.as_str()) {
        let anew = match home {
            Some(Home::Logbook { logbook, .. }) => format!(
                "; judge older recordings anew with: hingewright recheck --logbook {}",
                logbook.root().display()
            ),
            _ => String::new(),
        };
        let _ = writeln!(io::stderr(), "{} names it already{anew}", file.display());
        return;
    }
    let instead = named.map_or(String::new(), |old| format!(" instead of \"{old}\""));
    let _ = writeln!(
        io::stderr(),
        "to use it, put this line under the [[servo]] with tag = \"{tag}\" in {}{instead}:\n  calibration = {}",
        file.display(),
        toml::Value::String(name)
    );
}

fn calibration_named(text: &str, tag: &str) -> Option<String> {
    let table: toml::Table = text.parse().ok()?;
    let servos = table.get("servo")?.as_array()?;
    let servo = servos
        .iter()
        .find(|s| s.get("tag").and_then(toml::Value::as_str) == Some(tag))?;
    Some(servo.get("calibration")?.as_str()?.to_owned())
}

/// `60`, `60±0.3` or `60+-0.3`.
fn with_u(text: &str) -> Result<(f64, Option<f64>), String> {
    let (value, u) = match text.split_once('±').or(text.split_once("+-")) {
        Some((value, u)) => (value, Some(u)),
        None => (text, None),
    };
    let number = |t: &str| t.trim().parse::<f64>().ok().filter(|v| v.is_finite());
    let wrong =
        || "a number is wanted here, or one with its standard uncertainty: 60 or 60±0.3".to_owned();
    let u = match u {
        Some(u) => Some(number(u).filter(|u| *u >= 0.0).ok_or_else(wrong)?),
        None => None,
    };
    Ok((number(value).ok_or_else(wrong)?, u))
}

fn mass(text: &str) -> Result<Known, String> {
    let (value, u) = with_u(text)?;
    if !(0.0..=20.0).contains(&value) {
        return Err(
            "a mass in kg from 0 to 20 is wanted here, for instance 0.5 or 0.5±0.002".into(),
        );
    }
    Ok(Known::mass_kg(value, u))
}

fn length(text: &str) -> Result<Known, String> {
    let (value, u) = with_u(text)?;
    if !(5.0..=500.0).contains(&value) {
        return Err(
            "a length in mm from 5 to 500 is wanted here, for instance 60 or 60±0.3".into(),
        );
    }
    Ok(Known::length_mm(value, u))
}

fn own(text: &str) -> Result<Known, String> {
    let (value, u) = with_u(text)?;
    Ok(Known {
        value,
        u: u.unwrap_or(0.1 * value.abs()),
    })
}

fn level(text: &str) -> Result<Known, String> {
    let (value, u) = with_u(text)?;
    Ok(Known {
        value,
        u: u.unwrap_or(balance::LEVEL_U_DEG),
    })
}
