//! Linkages fitted to simulated recordings: how near, and how often the intervals hold what is true. True lengths are drawn
//! about the file's within its tolerances, so are the sensors' zeros and scales; the plant closes its own four-bar.
//!
//!     cargo test --test accuracy linkage_study -- --ignored --nocapture

use hingewright::aircraft::{self, Aircraft, Linkage};
use hingewright::analysis::{Quantity, measure};
use hingewright::linkage::fit::{ArmFrom, Fitted, fit};
use hingewright::linkage::{FourBar, Setup};
use hingewright::simulated::{self, Channel, Scenario, Sensors, Sweep, simulate};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use rayon::prelude::*;

const FILE: Linkage = Linkage {
    arm_mm: 18.0,
    horn_mm: 22.0,
    rod_mm: 95.0,
    base_mm: 97.0,
    arm_zero_deg: 0.0,
};

const AIRCRAFT: &str = "[aircraft]\nname = \"Dunlin\"\n[[servo_type]]\nname = \"a\"\nstall_torque_ncm = 210\nstall_voltage_v = 7.4\n\
    arm_deg_per_us = 0.09\n[[servo]]\ntag = \"E1\"\ntype = \"a\"\n[[surface]]\nname = \"left elevator\"\nservo = \"E1\"\nchord_mm = 58\n\
    throws = [ { name = \"up\", up_deg = 24 }, { name = \"down\", down_deg = 24 } ]\n[surface.linkage]\narm_mm = 18\nhorn_mm = 22\n\
    rod_mm = 95\nbase_mm = 97\n";

/// As the plant's geometry has it, by its own solver.
struct Truth {
    linkage: Linkage,
    ratio: f64,
    /// Where the surface turns back or the bars cannot close, found by walking.
    dead_deg: [f64; 2],
    surface_at_deg: [f64; 2],
}

/// Beyond what the recordings reach: there the geometry has to be right, not only the slope.
const FAR_DEG: f64 = 50.0;

impl Truth {
    fn of(linkage: Linkage) -> Self {
        let plant = plant_linkage(&linkage);
        let walk = |sign: f64| {
            let steps = (1..16_000).map(|i| sign * 0.01 * f64::from(i));
            let mut turned = steps.filter(|a| plant.pose(*a).ratio <= 0.0);
            turned.next().unwrap_or(f64::NAN)
        };
        Self {
            linkage,
            ratio: plant.pose(0.0).ratio,
            dead_deg: [walk(1.0), walk(-1.0)],
            surface_at_deg: [FAR_DEG, -FAR_DEG].map(|a| plant.pose(a).surface_deg),
        }
    }
}

fn plant_linkage(l: &Linkage) -> simulated::Linkage {
    simulated::Linkage::FourBar {
        arm_mm: l.arm_mm,
        horn_mm: l.horn_mm,
        rod_mm: l.rod_mm,
        base_mm: l.base_mm,
        arm_zero_deg: l.arm_zero_deg,
    }
}

fn aircraft() -> Aircraft {
    aircraft::parse(AIRCRAFT, "aircraft.toml", |_| unreachable!()).unwrap()
}

#[derive(Clone, Copy)]
struct Case {
    name: &'static str,
    channels: &'static [Channel],
    slop_deg: f64,
}

const CASES: [Case; 3] = [
    Case {
        name: "arm angle and torque",
        channels: &[
            Channel::PulseUs,
            Channel::AngleDeg,
            Channel::ArmDeg,
            Channel::TorqueNcm,
        ],
        slop_deg: 0.15,
    },
    Case {
        name: "arm angle alone, more play",
        channels: &[Channel::PulseUs, Channel::AngleDeg, Channel::ArmDeg],
        slop_deg: 0.4,
    },
    Case {
        name: "pulse alone",
        channels: &[Channel::PulseUs, Channel::AngleDeg],
        slop_deg: 0.15,
    },
];

/// A tolerance holds 95 of 100.
const LIMIT: f64 = 1.96;

fn run(case: Case, seed: u64) -> (Truth, Fitted) {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    chance.set_stream(77);
    let mut draw = |limit: f64| limit / LIMIT * chance.sample::<f64, _>(StandardNormal);
    let linkage = Linkage {
        arm_mm: FILE.arm_mm + draw(0.5),
        horn_mm: FILE.horn_mm + draw(0.5),
        rod_mm: FILE.rod_mm + draw(1.0),
        base_mm: FILE.base_mm + draw(1.0),
        arm_zero_deg: draw(3.0),
    };
    let mut scenario = Scenario {
        rate_hz: 100.0,
        programme: simulated::Programme::Sweep(Sweep::default()),
        sensors: Sensors {
            angle_zero_deg: draw(0.7),
            angle_scale: 1.0 + draw(0.006),
            arm_scale: 1.0 + draw(0.006),
            ..Sensors::default()
        },
        ..Scenario::default()
    }
    .with_channels(case.channels.to_vec());
    scenario.plant.linkage = plant_linkage(&linkage);
    scenario.plant.joints.slop_deg = case.slop_deg;
    scenario.plant.servo.arm_deg_per_us *= 1.0 + draw(0.05);
    let capture = simulate(&scenario, seed).capture;
    let recording = hingewright::recording::read(&capture[..], "simulated").unwrap();
    let aircraft = aircraft();
    let surface = &aircraft.surfaces[0];
    let curve = measure(&recording, &aircraft, surface).curve;
    let notes = &surface.linkage_notes;
    let fitted = fit(&recording, &FILE, notes, Some(0.09), curve.as_ref()).unwrap();
    assert_eq!(fitted.from == ArmFrom::Pulse, case.name == "pulse alone");
    (Truth::of(linkage), fitted)
}

/// Every number with its truth.
fn held(truth: &Truth, fitted: &Fitted) -> Vec<(&'static str, Quantity, f64)> {
    let setup = Setup::as_it_is(&fitted.known);
    let of = |f: &dyn Fn(&FourBar) -> Option<f64>| setup.quantity(f).unwrap();
    let l = &truth.linkage;
    vec![
        ("arm, mm", fitted.lengths[0].fitted, l.arm_mm),
        ("horn, mm", fitted.lengths[1].fitted, l.horn_mm),
        ("rod, mm", fitted.lengths[2].fitted, l.rod_mm),
        ("base, mm", fitted.lengths[3].fitted, l.base_mm),
        (
            "arm at neutral, °",
            fitted.lengths[4].fitted,
            l.arm_zero_deg,
        ),
        (
            "arm over horn",
            fitted.arm_over_horn.fitted,
            l.arm_mm / l.horn_mm,
        ),
        ("ratio at neutral", fitted.ratio_at_neutral, truth.ratio),
        (
            "dead point up, °",
            of(&|b| Some(b.dead_points().0?.arm_deg)),
            truth.dead_deg[0],
        ),
        (
            "dead point down, °",
            of(&|b| Some(b.dead_points().1?.arm_deg)),
            truth.dead_deg[1],
        ),
        (
            "surface at +50°, °",
            of(&|b| Some(b.at_arm_deg(FAR_DEG)?.surface_deg)),
            truth.surface_at_deg[0],
        ),
        (
            "surface at −50°, °",
            of(&|b| Some(b.at_arm_deg(-FAR_DEG)?.surface_deg)),
            truth.surface_at_deg[1],
        ),
    ]
}

struct Line {
    name: &'static str,
    coverage: f64,
    rms: f64,
    half: f64,
}

fn tally(case: Case, seeds: std::ops::Range<u64>) -> Vec<Line> {
    let count = (seeds.end - seeds.start) as f64;
    let all: Vec<_> = seeds
        .into_par_iter()
        .map(|seed| {
            let (truth, fitted) = run(case, seed);
            held(&truth, &fitted)
        })
        .collect();
    (0..all[0].len())
        .map(|i| {
            let each = || all.iter().map(|one| one[i]);
            let within =
                each().filter(|(_, q, t)| q.interval.is_some_and(|x| x.lo95 <= *t && *t <= x.hi95));
            let squares: f64 = each().map(|(_, q, t)| (q.value - t).powi(2)).sum();
            let halves: f64 = each()
                .filter_map(|(_, q, _)| q.interval)
                .map(|x| 0.5 * (x.hi95 - x.lo95))
                .sum();
            Line {
                name: all[0][i].0,
                coverage: within.count() as f64 / count,
                rms: (squares / count).sqrt(),
                half: halves / count,
            }
        })
        .collect()
}

#[test]
#[ignore = "a study of some minutes, for its figures"]
fn linkage_study() {
    let count = std::env::var("RECORDINGS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(400);
    for case in CASES {
        println!(
            "\n{}, {count} recordings: held by 95 % intervals, rms error, mean half width",
            case.name
        );
        for line in tally(case, 0..count) {
            let Line {
                name,
                coverage,
                rms,
                half,
            } = line;
            println!(
                "{name:22} {:5.1} %  {rms:9.4}  {half:9.4}",
                100.0 * coverage
            );
        }
    }
}

/// Of 16 intervals that each hold the truth 95 times in 100, fewer than 12 hold it once in 5,000 tries (binomial).
#[test]
fn fitted_linkages_hold_the_true_lengths_dead_points_and_far_deflections() {
    for case in CASES {
        for line in tally(case, 70_000..70_016) {
            let Line { name, coverage, .. } = line;
            assert!(coverage >= 0.75, "{}, {name}: {coverage}", case.name);
        }
    }
}

/// The recording tells more than the tolerances do, where it has an arm angle.
#[test]
fn the_ratio_is_known_far_better_than_from_the_file_and_single_lengths_are_not() {
    let (_, fitted) = run(CASES[0], 70_100);
    assert!(fitted.arm_over_horn.told, "{:?}", fitted.arm_over_horn);
    assert!(
        !fitted.lengths[2].told && !fitted.lengths[3].told,
        "{:?}",
        fitted.lengths
    );
    assert!(
        !fitted.misfits() && fitted.rms_deg < 0.1,
        "{}",
        fitted.rms_deg
    );
}
