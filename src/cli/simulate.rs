//! `simulate`: a rig on a pseudo-terminal, physics and all, with faults on demand.

mod loads;
pub(super) mod surface;

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::complain;
use crate::aircraft;
use crate::problem::{Problem, exit};
use crate::simulated::{
    BreakIn, Bump, ByHand, Channel, CommandName, Faults, Programme, RigSettings, Scenario,
    SecondServo, StiffBeyond, TightSpot, When, put_plant_file,
};

#[derive(Args)]
#[command(after_help = "Example, in two terminals:\n  \
    hingewright simulate --aircraft samples/aircraft.toml --surface \"left elevator\" --link /tmp/rig\n  \
    hingewright sweep \"left elevator\" --port /tmp/rig --logbook my-logbook --aircraft samples/aircraft.toml\n\n\
    Seconds of faults are of the rig's own clock: with --fast 20 they come 20 times sooner.")]
pub struct Arguments {
    /// The aircraft file (aircraft.toml): servo, linkage, throws and calibration are taken from it
    #[arg(long, value_name = "FILE")]
    aircraft: Option<PathBuf>,
    /// Which of its surfaces; the first unless named
    #[arg(long, value_name = "NAME", requires = "aircraft")]
    surface: Option<String>,
    /// A plant file with any numbers of plant, sensors and rig, over what the aircraft file says (samples/plant.toml)
    #[arg(long, value_name = "FILE")]
    plant: Option<PathBuf>,
    /// Also make a link to the rig at PATH, for as long as it runs
    #[arg(long, value_name = "PATH")]
    link: Option<PathBuf>,
    /// End by itself after SECONDS
    #[arg(long = "for", value_name = "SECONDS", value_parser = not_negative)]
    for_s: Option<f64>,
    /// Let the rig's clock, plant and samples run so many TIMES faster than the wall's clock
    #[arg(long, value_name = "TIMES", default_value = "1", value_parser = pace)]
    fast: f64,
    /// Chance's beginning: the same seed and the same commands give the same course
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    rig: RigOptions,
    #[command(flatten)]
    hinge: HingeOptions,
    #[command(flatten)]
    loads: loads::LoadOptions,
    #[command(flatten)]
    faults: FaultOptions,
    #[command(flatten)]
    record: RecordOptions,
}

#[derive(Args)]
#[command(next_help_heading = "The rig")]
struct RigOptions {
    /// Samples per second
    #[arg(long, value_name = "HZ", value_parser = rate)]
    rate: Option<f64>,
    /// Channels in their order, with commas: pulse_us,angle_deg,current_ma …
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = channel)]
    channels: Option<Vec<Channel>>,
    /// A rig without a say over the servo: a hand moves the surface
    #[arg(long)]
    passive: bool,
}

#[derive(Args)]
#[command(next_help_heading = "The hinge")]
struct HingeOptions {
    /// Stiffness, N·cm per degree
    #[arg(long, value_name = "NCM_PER_DEG", value_parser = not_negative)]
    stiffness: Option<f64>,
    /// Friction, N·cm
    #[arg(long, value_name = "NCM", value_parser = not_negative)]
    friction: Option<f64>,
    /// Play between arm and surface, degree of the surface
    #[arg(long, value_name = "DEG", value_parser = not_negative)]
    slop: Option<f64>,
    /// Stiffer beyond DEG upward: RATIO times the slope before
    #[arg(long, value_name = "DEG:RATIO", value_parser = pair)]
    knee_up: Option<(f64, f64)>,
    /// Stiffer beyond DEG downward: RATIO times the slope before
    #[arg(long, value_name = "DEG:RATIO", value_parser = pair)]
    knee_down: Option<(f64, f64)>,
    /// A local rise of friction at DEG (down negative) by NCM
    #[arg(long, value_name = "DEG:NCM", value_parser = pair, allow_hyphen_values = true)]
    tight_spot: Vec<(f64, f64)>,
    /// Two servos on the surface, the second's middle standing off the first's by DEG of the arm, up positive: they fight
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, value_parser = off_middle)]
    second_off: Option<f64>,
    /// A hinge that works in, with so many cycles worked before: it softens as it is swept
    #[arg(long, value_name = "N", value_parser = not_negative)]
    cycles_worked: Option<f64>,
}

#[derive(Args)]
#[command(next_help_heading = "Faults")]
struct FaultOptions {
    /// Flip a bit in this SHARE of all bytes
    #[arg(long, value_name = "SHARE", default_value = "0", value_parser = share)]
    damage: f64,
    /// Lose this SHARE of all bytes
    #[arg(long, value_name = "SHARE", default_value = "0", value_parser = share)]
    lose: f64,
    /// Damage and lose what the host sends, too
    #[arg(long)]
    both_ways: bool,
    /// Count the seconds of the faults below from the first arming
    #[arg(long)]
    from_arming: bool,
    /// Pull the cable: the port goes away
    #[arg(long, value_name = "SECONDS", value_parser = not_negative)]
    unplug_after: Option<f64>,
    /// Lose power for a moment: 1.5 s of silence, then the RIG line, disarmed, counting anew
    #[arg(long, value_name = "SECONDS", value_parser = not_negative)]
    restart_after: Option<f64>,
    /// Restart whenever the port is opened, as some boards do
    #[arg(long)]
    reset_on_open: bool,
    /// Say nothing any more
    #[arg(long, value_name = "SECONDS", value_parser = not_negative)]
    silent_after: Option<f64>,
    /// A sensor reads nothing any more; angle_deg unless named
    #[arg(long, value_name = "SECONDS[,CHANNEL]", value_parser = sensor_fault)]
    sensor_fault_after: Option<(f64, Channel)>,
    /// The surface jams where it is
    #[arg(long, value_name = "SECONDS", value_parser = not_negative)]
    stall_after: Option<f64>,
    /// The supply sags below the limit
    #[arg(long, value_name = "SECONDS", value_parser = not_negative)]
    brown_out_after: Option<f64>,
    /// The servo draws more than the limit
    #[arg(long, value_name = "SECONDS", value_parser = not_negative)]
    over_current_after: Option<f64>,
    /// Answer commands so much later, milliseconds
    #[arg(long, value_name = "MS", default_value = "0", value_parser = not_negative)]
    late: f64,
    /// State this rate in the RIG line, whatever the true one is
    #[arg(long, value_name = "HZ", value_parser = not_negative)]
    states_rate: Option<f64>,
    /// Send noise ahead of the first line after each start
    #[arg(long)]
    boot_noise: bool,
    /// Refuse this command always
    #[arg(long, value_name = "COMMAND")]
    refuse: Vec<Refusable>,
}

#[derive(Args)]
#[command(next_help_heading = "Records")]
struct RecordOptions {
    /// Write every line as it was sent, before any damage
    #[arg(long, value_name = "FILE")]
    sent: Option<PathBuf>,
    /// Write when the rig was armed, disarmed and why, as JSON lines
    #[arg(long, value_name = "FILE")]
    events: Option<PathBuf>,
}

#[derive(Clone, Copy, ValueEnum)]
enum Refusable {
    Ask,
    Limit,
    Arm,
    Go,
    Disarm,
}

impl From<Refusable> for CommandName {
    fn from(name: Refusable) -> Self {
        match name {
            Refusable::Ask => Self::Ask,
            Refusable::Limit => Self::Limit,
            Refusable::Arm => Self::Arm,
            Refusable::Go => Self::Go,
            Refusable::Disarm => Self::Disarm,
        }
    }
}

pub fn run(arguments: &Arguments) -> u8 {
    match prepare(arguments).and_then(|(scenario, settings)| start(arguments, scenario, settings)) {
        Ok(()) => exit::NO_FAULT,
        Err(problem) => {
            complain(&problem);
            exit::UNUSABLE
        }
    }
}

/// The aircraft first, over it the plant file, over that what the command line says.
fn prepare(arguments: &Arguments) -> Result<(Scenario, RigSettings), Problem> {
    let mut scenario = Scenario::default();
    let mut settings = RigSettings {
        fast: arguments.fast,
        ..RigSettings::default()
    };
    let mut reach_deg = Vec::new();
    if let Some(path) = &arguments.aircraft {
        let aircraft = aircraft::read_path(path)?;
        let file = path.display().to_string();
        let surface = surface::choose(&aircraft, arguments.surface.as_deref(), &file)?;
        scenario = surface::scenario(&aircraft, surface);
        reach_deg = surface::reach(surface);
    }
    if arguments.rig.passive {
        scenario.programme = Programme::Hand(ByHand::default());
    }
    if let Some(path) = &arguments.plant {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path).map_err(|error| {
            Problem::new(format!("{name}: the plant file could not be read: {error}"))
                .hint("give --plant a TOML file, as samples/plant.toml is one")
        })?;
        // Once to know linkage and servo, then again over the limits that these ask for.
        let mut trial = scenario.clone();
        put_plant_file(&text, &name, &mut trial, &mut settings.clone())?;
        settings.limits = surface::limits_for(&trial, &reach_deg);
        put_plant_file(&text, &name, &mut scenario, &mut settings)?;
    } else {
        settings.limits = surface::limits_for(&scenario, &reach_deg);
    }
    arguments.rig.put(&mut scenario);
    arguments.hinge.put(&mut scenario);
    if scenario.plant.second.is_some()
        && arguments.rig.channels.is_none()
        && !scenario.channels.contains(&Channel::Current2Ma)
    {
        scenario.channels.push(Channel::Current2Ma);
    }
    settings.loads = arguments.loads.loads()?;
    Ok((scenario, settings))
}

#[cfg(unix)]
fn start(arguments: &Arguments, scenario: Scenario, settings: RigSettings) -> Result<(), Problem> {
    use crate::simulated::{Cable, Serve, SimulatedRig, serve};
    let (faults, seed) = (&arguments.faults, arguments.seed);
    let around = Serve {
        link: arguments.link.clone(),
        for_s: arguments.for_s,
        sent: arguments.record.sent.clone(),
        events: arguments.record.events.clone(),
        cable: Cable::new(faults.damage, faults.lose, seed),
        cable_back: faults
            .both_ways
            .then(|| Cable::new(faults.damage, faults.lose, seed.wrapping_add(1))),
    };
    let rig = SimulatedRig::new(&scenario, settings, faults.faults(), seed);
    let served = serve(rig, around, &mut std::io::stdout())?;
    if served.unplugged {
        eprintln!("the cable was pulled, as asked for");
    }
    if served.dropped > 0 {
        eprintln!(
            "{} lines were dropped because nobody read them",
            served.dropped
        );
    }
    Ok(())
}

#[cfg(not(unix))]
fn start(_: &Arguments, _: Scenario, _: RigSettings) -> Result<(), Problem> {
    Err(
        Problem::new("a simulated rig needs a pseudo-terminal, which this system does not have")
            .hint("run it on Linux or macOS; `check` reads the recordings in samples/ everywhere"),
    )
}

impl RigOptions {
    fn put(&self, scenario: &mut Scenario) {
        if let Some(rate_hz) = self.rate {
            scenario.rate_hz = rate_hz;
        }
        if let Some(channels) = &self.channels {
            scenario.channels.clone_from(channels);
        }
        if self.channels.is_none() && matches!(scenario.programme, Programme::Hand(_)) {
            scenario
                .channels
                .retain(|channel| *channel != Channel::PulseUs);
        }
    }
}

impl HingeOptions {
    fn put(&self, scenario: &mut Scenario) {
        let plant = &mut scenario.plant;
        let hinge = &mut plant.hinge;
        if let Some(stiffness) = self.stiffness {
            hinge.stiffness_ncm_per_deg = stiffness;
        }
        if let Some(friction) = self.friction {
            hinge.friction_ncm = friction;
        }
        let stiffness = hinge.stiffness_ncm_per_deg;
        let knee = |(at_deg, ratio): (f64, f64), sign: f64| StiffBeyond {
            at_deg: sign * at_deg.abs(),
            extra_ncm_per_deg: (ratio - 1.0).max(0.0) * stiffness,
        };
        if let Some(place) = self.knee_up {
            hinge.knee_up = Some(knee(place, 1.0));
        }
        if let Some(place) = self.knee_down {
            hinge.knee_down = Some(knee(place, -1.0));
        }
        let spots = self
            .tight_spot
            .iter()
            .map(|&(at_deg, height_ncm)| TightSpot {
                at_deg,
                height_ncm,
                width_deg: 3.0,
                when: When::Both,
                bump: Bump::RaisedCosine,
            });
        hinge.tight_spots.extend(spots);
        if let Some(off_deg) = self.second_off {
            let servo = plant.servo.clone();
            let second = plant.second.get_or_insert(SecondServo {
                centre_offset_deg: 0.0,
                servo,
            });
            second.centre_offset_deg = off_deg;
        }
        if let Some(slop_deg) = self.slop {
            plant.joints.slop_deg = slop_deg;
        }
        if let Some(cycles_worked) = self.cycles_worked {
            plant
                .break_in
                .get_or_insert_with(BreakIn::default)
                .cycles_worked = cycles_worked;
        }
    }
}

impl FaultOptions {
    fn faults(&self) -> Faults {
        Faults {
            from_arming: self.from_arming,
            unplug_after_s: self.unplug_after,
            restart_after_s: self.restart_after,
            reset_on_open: self.reset_on_open,
            silent_after_s: self.silent_after,
            sensor_fault_after: self.sensor_fault_after,
            stall_after_s: self.stall_after,
            brown_out_after_s: self.brown_out_after,
            over_current_after_s: self.over_current_after,
            late_ms: self.late,
            states_rate_hz: self.states_rate,
            boot_noise: self.boot_noise,
            refuse: self.refuse.iter().map(|&name| name.into()).collect(),
        }
    }
}

fn within(text: &str, low: f64, high: f64, what: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|value| (low..=high).contains(value))
        .ok_or_else(|| format!("give {what}"))
}

fn off_middle(text: &str) -> Result<f64, String> {
    within(text, -20.0, 20.0, "degrees from -20 to 20")
}

fn not_negative(text: &str) -> Result<f64, String> {
    within(text, 0.0, 1e9, "0 or a number above it")
}

fn share(text: &str) -> Result<f64, String> {
    within(text, 0.0, 1.0, "a share from 0 to 1, for instance 0.01")
}

fn pace(text: &str) -> Result<f64, String> {
    within(text, 0.01, 100.0, "a number from 0.01 to 100")
}

fn rate(text: &str) -> Result<f64, String> {
    within(text, 1.0, 2000.0, "samples per second from 1 to 2000")
}

fn channel(text: &str) -> Result<Channel, String> {
    Channel::named(text.trim()).ok_or_else(|| {
        let names: Vec<&str> = Channel::ALL.iter().map(|channel| channel.name()).collect();
        format!("the channels are {}", names.join(", "))
    })
}

fn pair(text: &str) -> Result<(f64, f64), String> {
    let read = |part: &str| {
        part.trim()
            .parse()
            .ok()
            .filter(|value: &f64| value.is_finite())
    };
    text.split_once(':')
        .and_then(|(place, size)| Some((read(place)?, read(size)?)))
        .ok_or_else(|| "give two numbers with a colon between them, for instance 12:3".to_owned())
}

fn sensor_fault(text: &str) -> Result<(f64, Channel), String> {
    let (seconds, name) = text.split_once(',').unwrap_or((text, "angle_deg"));
    Ok((not_negative(seconds)?, channel(name)?))
}
