//! Writes the six sample recordings: `cargo run --example make_samples [FOLDER]`, into `samples` unless told.
//!
//! The aircraft is invented and so is every number. Each file says in its own `#` keys where it comes from and with which seed.

use std::path::PathBuf;
use std::process::ExitCode;

use hingewright::simulated::{
    Bump, Channel, Hinge, LineFaults, Linkage, Programme, Scenario, StiffBeyond, Supply, Sweep,
    TightSpot, Trip, When, simulate,
};

/// One line of the table below.
struct Sample {
    file: &'static str,
    surface: &'static str,
    seed: u64,
    started: &'static str,
    purpose: &'static str,
    rate_hz: f64,
    cycles: u32,
    /// Cycles at a share of the ends before those, as a careful builder begins.
    approach: Option<(u32, f64)>,
    channels: &'static [Channel],
    hinge: Hinge,
    /// As `aircraft.toml` has it, or its numbers could not come out of rod force or arm load.
    linkage: Linkage,
    supply: Supply,
    /// Throws, degree: (up or left, down or right).
    throws_deg: (f64, f64),
    /// Ends of the command where they are not throws and a little more, degree, signed.
    ends_deg: Option<(f64, f64)>,
    trip: Trip,
    line: LineFaults,
    first_seq: u16,
    clock_start_us: u32,
}

const BY_POWER: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::ArmDeg,
    Channel::CurrentMa,
    Channel::SupplyV,
    Channel::CaseC,
];
const BY_TORQUE: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::ArmDeg,
    Channel::CurrentMa,
    Channel::SupplyV,
    Channel::TorqueNcm,
];
const BY_FORCE: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::ForceN,
    Channel::CurrentMa,
    Channel::SupplyV,
];
const BY_TORQUE_WITH_LEAD: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::CurrentMa,
    Channel::SupplyV,
    Channel::SourceV,
    Channel::TorqueNcm,
];

fn four_bar(arm_mm: f64, horn_mm: f64, rod_mm: f64, base_mm: f64) -> Linkage {
    Linkage::FourBar {
        arm_mm,
        horn_mm,
        rod_mm,
        base_mm,
        arm_zero_deg: 0.0,
    }
}

/// What most share: 100 samples/s, six cycles, the sound left elevator read by supply power.
/// 24 mm and 22 mm by a straight ruler at a chord of 58 mm are 23.9° and 21.9°.
fn sound() -> Sample {
    Sample {
        file: "1-left-elevator-sound.log",
        surface: "left elevator",
        seed: 101,
        started: "2026-04-18T10:22:07Z",
        purpose: "routine",
        rate_hz: 100.0,
        cycles: 6,
        approach: None,
        channels: BY_POWER,
        hinge: Hinge::default(),
        linkage: four_bar(18.0, 22.0, 95.0, 97.0),
        supply: Supply::default(),
        throws_deg: (23.9, 21.9),
        ends_deg: None,
        trip: Trip::default(),
        line: LineFaults::default(),
        first_seq: 0,
        clock_start_us: 1_000_512,
    }
}

fn table() -> Vec<Sample> {
    vec![
        sound(),
        Sample {
            file: "2-right-elevator-knee.log",
            surface: "right elevator",
            seed: 202,
            started: "2026-04-18T10:31:40Z",
            channels: BY_TORQUE,
            hinge: Hinge {
                stiffness_ncm_per_deg: 0.42,
                knee_up: Some(StiffBeyond {
                    at_deg: 16.0,
                    extra_ncm_per_deg: 0.9,
                }),
                ..Hinge::default()
            },
            ..sound()
        },
        Sample {
            file: "3-left-aileron-tight-spot.log",
            surface: "left aileron",
            seed: 303,
            started: "2026-04-18T10:44:12Z",
            channels: BY_FORCE,
            hinge: Hinge {
                stiffness_ncm_per_deg: 0.36,
                friction_ncm: 2.4,
                tight_spots: vec![TightSpot {
                    at_deg: 7.0,
                    height_ncm: 6.5,
                    width_deg: 3.0,
                    when: When::Both,
                    bump: Bump::RaisedCosine,
                }],
                ..Hinge::default()
            },
            linkage: four_bar(14.0, 18.0, 78.0, 80.0),
            throws_deg: (20.0, 18.0),
            ..sound()
        },
        Sample {
            file: "4-rudder-short-by-geometry.log",
            surface: "rudder",
            seed: 404,
            started: "2026-04-18T10:58:33Z",
            channels: BY_TORQUE_WITH_LEAD,
            hinge: Hinge {
                neutral_torque_ncm: -0.3,
                stiffness_ncm_per_deg: 0.62,
                friction_ncm: 4.0,
                ..Hinge::default()
            },
            linkage: four_bar(18.0, 20.0, 110.0, 111.0),
            supply: Supply {
                lead_mohm: 180.0,
                ..Supply::default()
            },
            throws_deg: (30.0, 30.0),
            ends_deg: Some((31.5, -23.0)),
            ..sound()
        },
        Sample {
            file: "5-left-flap-short-by-stall.log",
            surface: "left flap",
            seed: 505,
            started: "2026-04-18T11:12:05Z",
            channels: BY_TORQUE,
            hinge: Hinge {
                neutral_torque_ncm: 1.0,
                friction_ncm: 4.5,
                knee_down: Some(StiffBeyond {
                    at_deg: -24.0,
                    extra_ncm_per_deg: 1.6,
                }),
                stop_down: Some(StiffBeyond {
                    at_deg: -31.0,
                    extra_ncm_per_deg: 120.0,
                }),
                ..Hinge::default()
            },
            throws_deg: (0.0, 45.0),
            ends_deg: Some((1.0, -46.5)),
            cycles: 1,
            approach: Some((6, 0.62)),
            trip: Trip {
                over_current_ma: 12_000.0,
                ..Trip::default()
            },
            ..sound()
        },
        Sample {
            file: "6-left-elevator-damaged.log",
            seed: 606,
            started: "2026-04-18T11:25:50Z",
            line: LineFaults {
                lost: 0.02,
                damaged: 0.02,
                boot_noise_bytes: 37,
                torn_bytes: 20,
                carriage_return: true,
            },
            first_seq: 64_300,
            clock_start_us: u32::MAX - 11_000_000,
            ..sound()
        },
    ]
}

fn scenario(sample: &Sample) -> Scenario {
    let mut scenario = Scenario {
        surface: sample.surface.into(),
        started: sample.started.into(),
        purpose: Some(sample.purpose.into()),
        keys: vec![
            (
                "note".into(),
                "simulated; the aircraft and every number are invented".into(),
            ),
            ("origin".into(), "hingewright, simulated plant".into()),
            (
                "generator".into(),
                "cargo run --example make_samples".into(),
            ),
        ],
        rate_hz: sample.rate_hz,
        first_seq: sample.first_seq,
        clock_start_us: sample.clock_start_us,
        line: sample.line.clone(),
        programme: Programme::Sweep(Sweep {
            throw_up_deg: sample.throws_deg.0,
            throw_down_deg: sample.throws_deg.1,
            ends_deg: sample.ends_deg,
            cycles: sample.cycles,
            approach: sample.approach,
            trip: sample.trip.clone(),
            ..Sweep::default()
        }),
        ..Scenario::default()
    }
    .with_channels(sample.channels.to_vec());
    scenario.plant.hinge = sample.hinge.clone();
    scenario.plant.linkage = sample.linkage.clone();
    scenario.plant.supply = sample.supply.clone();
    scenario
}

fn main() -> ExitCode {
    let folder = PathBuf::from(std::env::args().nth(1).unwrap_or_else(|| "samples".into()));
    if let Err(error) = std::fs::create_dir_all(&folder) {
        eprintln!("{}: {error}", folder.display());
        return ExitCode::from(2);
    }
    for sample in table() {
        let made = simulate(&scenario(&sample), sample.seed);
        let path = folder.join(sample.file);
        if let Err(error) = std::fs::write(&path, &made.capture) {
            eprintln!("{}: {error}", path.display());
            return ExitCode::from(2);
        }
        let truth = &made.truth;
        println!(
            "{}: {} bytes, {} samples, reached {:.1}° and {:.1}°, peak {:.1} N·cm, {} lost, {} damaged lines",
            path.display(),
            made.capture.len(),
            truth.wire.samples_taken,
            truth.reached_up_deg,
            truth.reached_down_deg,
            truth.peak_torque_ncm,
            truth.wire.lost_samples,
            truth.wire.damaged_lines
        );
    }
    ExitCode::SUCCESS
}
