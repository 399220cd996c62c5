//! A simulated calibration: servos and mass sets drawn, each mass and the arm a little off what is written on them. The plant
//! shares no formula with the fit. Used by the example `calibrate_study` and, in a smaller edition, by the tests.

use hingewright::recording;
use hingewright::servo::balance::{self, Balance, Setting};
use hingewright::servo::lifts::{self, Said};
use hingewright::simulated::{
    Channel, Loaded, OnArm, Programme, PulseMove, Scenario, Servo, Spell, simulate,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A kind of servo with the masses it is calibrated with.
#[derive(Debug, Clone, Copy)]
pub struct Case {
    pub name: &'static str,
    pub stall_ncm: f64,
    pub winding: f64,
    pub friction_nm: f64,
    pub gear_loss: f64,
    pub idle_w: f64,
    pub masses_kg: &'static [f64],
    pub arm_mm: f64,
    pub case_c: bool,
}

pub const CASES: [Case; 5] = [
    FIRST,
    Case {
        name: "21 kg·cm, heavier loads",
        masses_kg: &[0.0, 0.5, 1.0],
        arm_mm: 80.0,
        ..FIRST
    },
    Case {
        name: "12 kg·cm, slim",
        stall_ncm: 118.0,
        winding: 20.0,
        friction_nm: 0.03,
        gear_loss: 0.12,
        idle_w: 0.15,
        masses_kg: &[0.0, 0.1, 0.3, 0.5],
        ..FIRST
    },
    Case {
        name: "40 kg·cm",
        stall_ncm: 400.0,
        winding: 4.0,
        friction_nm: 0.12,
        gear_loss: 0.22,
        idle_w: 0.35,
        masses_kg: &[0.0, 0.5, 1.0, 1.5],
        arm_mm: 80.0,
        ..FIRST
    },
    Case {
        name: "21 kg·cm, no temperature",
        case_c: false,
        ..FIRST
    },
];

const FIRST: Case = Case {
    name: "21 kg·cm, four loads",
    stall_ncm: 210.0,
    winding: 8.4,
    friction_nm: 0.06,
    gear_loss: 0.18,
    idle_w: 0.21,
    masses_kg: &[0.0, 0.2, 0.5, 0.8],
    arm_mm: 60.0,
    case_c: true,
};

/// Speeds of the arm, °/s, and how often each is gone through; degrees to either side of level.
const SPEEDS: [(f64, usize); 2] = [(30.0, 3), (90.0, 5)];
const SWING_DEG: f64 = 20.0;
/// Of what is written on masses and arm, as the fit assumes where nothing is said; and of where the arm is level.
const MASS_SHARE_U: f64 = 0.005;
const ARM_U_MM: f64 = 0.5;
const LEVEL_U_DEG: f64 = 2.0;

fn normal(chance: &mut ChaCha8Rng) -> f64 {
    // Box and Muller, 1958.
    let (u, v): (f64, f64) = (chance.random_range(1e-12..1.0), chance.random());
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// The same servo another day is that of another `day`: room, masses, arm and level are drawn anew. What is said of masses and
/// arm is `said` times what they are.
fn scenario(case: &Case, seed: u64, day: u64, said: &Misread) -> Scenario {
    let mut chance = ChaCha8Rng::seed_from_u64(seed ^ 0xca11);
    let mut scenario = Scenario::default();
    let spread = |value: f64, z: f64| value * (0.1 * z).exp();
    scenario.plant.servo = Servo {
        stall_torque_ncm: case.stall_ncm,
        winding_w_per_nm2: spread(case.winding, normal(&mut chance)),
        friction_nm: spread(case.friction_nm, normal(&mut chance)),
        gear_loss: spread(case.gear_loss, normal(&mut chance)),
        idle_w: spread(case.idle_w, normal(&mut chance)),
        winding_k_per_w: 8.0 * (0.3 * normal(&mut chance)).exp(),
        winding_j_per_k: 3.0 * (0.3 * normal(&mut chance)).exp(),
        ..Servo::default()
    };
    if day != 0 {
        chance = ChaCha8Rng::seed_from_u64(seed ^ (day << 32) ^ 0xda7e);
    }
    scenario.plant.supply.air_c = 20.0 + 3.0 * normal(&mut chance);
    let arm_true_mm = case.arm_mm + ARM_U_MM * normal(&mut chance);
    let level_deg = LEVEL_U_DEG * normal(&mut chance);
    let spell = |mass_kg: f64, off: f64| Spell {
        keys: vec![
            ("mass_kg".into(), (said.masses * mass_kg).to_string()),
            ("arm_mm".into(), (said.arm * case.arm_mm).to_string()),
        ],
        loaded: Loaded {
            on_arm: if mass_kg == 0.0 {
                OnArm::Nothing
            } else {
                OnArm::Weight {
                    mass_kg: mass_kg * (1.0 + MASS_SHARE_U * off),
                    arm_mm: arm_true_mm,
                }
            },
            hung_ncm: 0.0,
        },
        moves: moves(&scenario.plant.servo),
        waits_s: 8.0,
    };
    let mut spells = Vec::new();
    for &mass_kg in case.masses_kg {
        spells.push(spell(mass_kg, normal(&mut chance)));
    }
    // The plant's arm is level at zero; the sensor says something else there.
    scenario.sensors.arm_zero_deg = level_deg;
    scenario.purpose = Some("calibration".into());
    scenario.programme = Programme::Spells(spells);
    use Channel::*;
    let mut channels = vec![PulseUs, ArmDeg, CurrentMa, SupplyV];
    if case.case_c {
        channels.push(CaseC);
    }
    scenario.with_channels(channels)
}

fn moves(servo: &Servo) -> Vec<PulseMove> {
    let go = |deg: f64, deg_s: f64, hold_s: f64| PulseMove {
        to_us: servo.pulse_for_arm(deg),
        us_per_s: deg_s / servo.arm_deg_per_us,
        hold_s,
    };
    let mut moves = vec![go(0.0, 30.0, 1.2), go(-SWING_DEG, 30.0, 0.6)];
    for (deg_s, times) in SPEEDS {
        for _ in 0..times {
            moves.extend([go(SWING_DEG, deg_s, 0.4), go(-SWING_DEG, deg_s, 0.6)]);
        }
    }
    moves.push(go(0.0, 30.0, 1.2));
    moves
}

/// What is said of masses and arm, as shares of what they are.
#[derive(Debug, Clone, Copy)]
pub struct Misread {
    pub masses: f64,
    pub arm: f64,
}

pub const AS_IT_IS: Misread = Misread {
    masses: 1.0,
    arm: 1.0,
};

/// Simulates and fits one calibration.
pub fn run(case: &Case, seed: u64) -> (Scenario, Result<Balance, String>) {
    run_on(case, seed, 0, &AS_IT_IS)
}

/// The same servo's on this day.
pub fn run_on(
    case: &Case,
    seed: u64,
    day: u64,
    said: &Misread,
) -> (Scenario, Result<Balance, String>) {
    let scenario = scenario(case, seed, day, said);
    let capture = simulate(&scenario, seed ^ (day << 40)).capture;
    let read = recording::read(capture.as_slice(), "simulated").expect("a simulated capture reads");
    let fitted = lifts::lifts(&[("simulated".into(), read)], Said::default())
        .and_then(|l| balance::fit(&l, Setting::default()))
        .map_err(|p| p.to_string());
    (scenario, fitted)
}

/// A torque, N·m, and what the calibration makes of the power that the true servo needs for it: value, and half of its
/// 95 % interval. Over the range that was lifted, at both speeds.
pub fn torques(servo: &Servo, fitted: &Balance) -> Vec<(f64, f64, f64)> {
    let mut all = Vec::new();
    for share in [0.25, 0.5, 0.75, 1.0] {
        for speed in [fitted.speed_rad_s.0, fitted.speed_rad_s.1] {
            let torque = share * fitted.torque_nm.1;
            // Energy: what the shaft gives, what the copper takes, what the electronics take.
            let driven = torque + servo.friction_nm + servo.gear_loss * torque;
            let watts = servo.idle_w + driven * (speed + servo.winding_w_per_nm2 * driven);
            if let Some(found) = fitted.torque(watts, speed) {
                let half = found.interval.map_or(f64::NAN, |i| i.hi95 - found.value);
                all.push((torque, found.value, half));
            }
        }
    }
    all
}
