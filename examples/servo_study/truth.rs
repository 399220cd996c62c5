//! What is true of a simulated servo, measured in the plant itself, without sensors: nothing of the analysis in here.

use hingewright::rig::{Move, To};
use hingewright::servo::SETTLED_WITHIN_DEG;
use hingewright::simulated::{Loaded, OnArm, Plant, PlantSettings, Supply};

/// As fine as `simulate` goes: where a servo stops hangs on it.
const DT_S: f64 = 5e-4;
const FINE_S: f64 = 1e-4;

/// What the test is to find.
pub struct Truth {
    pub dead_ms: f64,
    pub overshoot_deg: f64,
    pub settling_ms: f64,
    pub dead_band_us: f64,
    pub centring_deg: f64,
    pub jitter_deg: f64,
    pub idle_ma: f64,
}

fn calm(settings: &PlantSettings) -> PlantSettings {
    let mut calm = settings.clone();
    calm.servo.jitter_deg = 0.0;
    calm.servo.centre_drift_deg = 0.0;
    calm.servo.idle_drift = 0.0;
    calm.loaded = Loaded {
        on_arm: OnArm::Nothing,
        hung_ncm: 0.0,
    };
    calm
}

fn stand(plant: &mut Plant, pulse_us: f64, for_s: f64) {
    for _ in 0..(for_s / DT_S).round() as u64 {
        plant.step(DT_S, Some(pulse_us));
    }
}

/// The steady speed of the arm at a voltage at the plug, °/s, at the end of a long way.
pub fn speed_at(settings: &PlantSettings, volts: f64) -> f64 {
    let mut calm = calm(settings);
    calm.supply = Supply {
        open_v: volts,
        pack_mohm: 0.0,
        lead_mohm: 0.0,
        ..calm.supply
    };
    let mut plant = Plant::new(calm, 1.0, 1);
    stand(&mut plant, 500.0, 1.5);
    let mut fastest = 0.0_f64;
    for _ in 0..10_000 {
        plant.step(FINE_S, Some(2500.0));
        fastest = fastest.max(plant.observe().speed_deg_per_s);
    }
    fastest
}

/// The pulse of a move in µs.
pub fn pulse_of(one: &Move, deg_per_us: f64) -> f64 {
    1500.0
        + match one.to {
            To::Deg(deg) => deg / deg_per_us,
            To::OffsetUs(us) => us,
        }
}

/// The largest steps, `half_deg` to either side, and rests at neutral.
pub fn of(settings: &PlantSettings, half_deg: f64) -> Truth {
    let calm = calm(settings);
    let servo = &calm.servo;
    let pulse = |deg: f64| 1500.0 + deg / servo.arm_deg_per_us;
    let mut plant = Plant::new(calm.clone(), 100.0, 1);
    stand(&mut plant, 1500.0, 1.0);
    let (mut above, mut below) = (Vec::new(), Vec::new());
    for _ in 0..4 {
        stand(&mut plant, pulse(half_deg), 0.6);
        stand(&mut plant, 1500.0, 0.9);
        above.push(plant.observe().arm_deg);
        stand(&mut plant, pulse(-half_deg), 0.6);
        stand(&mut plant, 1500.0, 0.9);
        below.push(plant.observe().arm_deg);
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    stand(&mut plant, pulse(half_deg), 0.6);
    let ways = [-1.0, 1.0].map(|side| {
        stand(&mut plant, pulse(-side * half_deg), 0.6);
        let begin = plant.observe().arm_deg;
        let mut way = Vec::new();
        for _ in 0..(0.6 / DT_S) as usize {
            plant.step(DT_S, Some(pulse(side * half_deg)));
            way.push((plant.observe().arm_deg - begin) * side);
        }
        way
    });
    let of_ways = |f: &dyn Fn(&[f64]) -> f64| 0.5 * (f(&ways[0]) + f(&ways[1]));
    let ms = |samples: usize| 1e3 * DT_S * samples as f64;
    Truth {
        dead_ms: dead_ms(&calm, pulse(-half_deg), pulse(half_deg)),
        overshoot_deg: of_ways(&|way| {
            way.iter().fold(0.0_f64, |m, x| m.max(*x)) - way.last().unwrap_or(&0.0)
        }),
        settling_ms: of_ways(&|way| {
            let rest = way.last().unwrap_or(&0.0);
            let off = |x: &f64| (x - rest).abs() > SETTLED_WITHIN_DEG;
            ms(way.iter().rposition(off).unwrap_or(0) + 1)
        }),
        // The backlash of its own sensor has to be gone through as well.
        dead_band_us: (servo.dead_band_deg + 0.5 * servo.centring_deg) / servo.arm_deg_per_us,
        centring_deg: mean(&above) - mean(&below),
        jitter_deg: settings.servo.jitter_deg,
        idle_ma: 1e3 * servo.idle_w / calm.supply.open_v,
    }
}

/// From a step until the arm moves at all.
fn dead_ms(calm: &PlantSettings, from_us: f64, to_us: f64) -> f64 {
    let mut plant = Plant::new(calm.clone(), 10.0, 1);
    stand(&mut plant, from_us, 1.5);
    let begin = plant.observe().arm_deg;
    let mut steps = 0;
    while (plant.observe().arm_deg - begin).abs() < 1e-3 && steps < 10_000 {
        plant.step(FINE_S, Some(to_us));
        steps += 1;
    }
    1e3 * FINE_S * f64::from(steps)
}
