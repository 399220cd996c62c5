//! One simulated servo, drawn by its number, tested alone, and what came of it.

use hingewright::aircraft::{self, Aircraft};
use hingewright::analysis::Quantity;
use hingewright::recording;
use hingewright::rig::servo_moves;
use hingewright::servo;
use hingewright::simulated::{
    Channel, Loaded, OnArm, Programme, PulseMove, Scenario, Spell, simulate,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::truth;

/// How far the large steps go to either side, degrees of the arm.
const HALF_DEG: f64 = 22.5;

/// One quantity of one servo.
#[derive(Clone, Debug)]
pub struct Found {
    pub name: &'static str,
    pub unit: &'static str,
    found: Option<Quantity>,
    truth: f64,
    relative: bool,
}

impl Found {
    /// By how much it is off, and its standard uncertainty.
    pub fn off(&self) -> Option<(f64, f64)> {
        let (q, by) = (self.found?, if self.relative { self.truth } else { 1.0 });
        Some(((q.value - self.truth) / by, q.interval?.u / by))
    }

    pub fn covered(&self) -> bool {
        let interval = self.found.and_then(|q| q.interval);
        interval.is_some_and(|i| (i.lo95..=i.hi95).contains(&self.truth))
    }
}

/// A servo drawn by chance: fast and slow, dull and sharp.
pub fn scenario(seed: u64) -> Scenario {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let mut scenario = Scenario {
        purpose: Some("servo-test".into()),
        keys: vec![("alone".into(), "yes".into())],
        ..Scenario::default()
    };
    let mut between = |lo: f64, hi: f64| lo + (hi - lo) * chance.random::<f64>();
    let servo = &mut scenario.plant.servo;
    servo.winding_w_per_nm2 = between(2.5, 6.0);
    servo.dead_band_deg = between(0.15, 0.45);
    servo.delay_s = between(0.002, 0.020);
    servo.centring_deg = between(0.0, 0.3);
    servo.centre_drift_deg = between(0.0, 0.05);
    servo.jitter_deg = between(0.02, 0.06);
    servo.damping_s_per_deg = between(0.001, 0.004);
    servo.inertia_kg_m2 = between(0.0005, 0.002);
    scenario.plant.supply.open_v = between(6.0, 8.4);
    let loaded = Loaded {
        on_arm: OnArm::Nothing,
        hung_ncm: 0.0,
    };
    scenario.channels = vec![
        Channel::PulseUs,
        Channel::AngleDeg,
        Channel::CurrentMa,
        Channel::SupplyV,
    ];
    let deg_per_us = servo.arm_deg_per_us;
    let plan = servo_moves(HALF_DEG);
    let moves = plan.iter().map(|m| PulseMove {
        to_us: truth::pulse_of(m, deg_per_us),
        us_per_s: 0.0,
        // A rig samples without regard to when a pulse changes.
        hold_s: m.hold_s + between(0.0, 0.005),
    });
    scenario.programme = Programme::Spells(vec![Spell {
        keys: Vec::new(),
        loaded,
        moves: moves.collect(),
        waits_s: 2.0,
    }]);
    scenario
}

fn sample_aircraft() -> Aircraft {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/samples/aircraft.toml");
    aircraft::read_path(std::path::Path::new(file)).expect("the sample aircraft")
}

/// Tests the servo of this number.
pub fn tested(seed: u64) -> Vec<Found> {
    let scenario = scenario(seed);
    let aircraft = sample_aircraft();
    let capture = simulate(&scenario, seed).capture;
    let recording = recording::read(&capture[..], "study").expect("a capture");
    let tested = servo::tested(&[&recording], &aircraft, &aircraft.surfaces[0]);
    let true_ = truth::of(&scenario.plant, HALF_DEG);
    let volts = tested.at_v.unwrap_or(f64::NAN);
    let slew_s = 60.0 / truth::speed_at(&scenario.plant, volts);
    let found = &tested.found;
    let one = |name, unit, found: Option<Quantity>, truth, relative| Found {
        name,
        unit,
        found,
        truth,
        relative,
    };
    vec![
        one("slew", "share", found.slew_s_per_60deg, slew_s, true),
        one("dead time", "ms", found.dead_time_ms, true_.dead_ms, false),
        one(
            "overshoot",
            "°",
            found.overshoot_deg,
            true_.overshoot_deg,
            false,
        ),
        one(
            "settling",
            "ms",
            found.settling_ms,
            true_.settling_ms,
            false,
        ),
        one(
            "dead band",
            "µs",
            found.dead_band_us,
            true_.dead_band_us,
            false,
        ),
        one(
            "centring",
            "°",
            found.centring_deg,
            true_.centring_deg,
            false,
        ),
        one("jitter", "°", found.jitter_deg, true_.jitter_deg, false),
        one("idle", "mA", found.idle_ma, true_.idle_ma, false),
    ]
}
