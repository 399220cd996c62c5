//! One simulated servo on a lead of known resistance, drawn by its number and swept on a hobbyist's rig, and what was
//! measured of the lead.

use hingewright::analysis::{Quantity, Resistances, resistances};
use hingewright::recording;
use hingewright::simulated::{
    Channel, Loaded, Programme, PulseMove, Scenario, Spell, Sweep, Wiring, simulate,
};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// What a hobbyist's channels are like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channels {
    /// 16 bits and some averaging: noise 3 mV and 6 mA.
    Good,
    /// 12 or 10 bits on dividers: noise 2 to 8 mV, steps of 1 to 10 mV and 1 to 5 mA.
    Rough,
}

/// How the surface was moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moved {
    /// A slow sweep between the throws, five to ten cycles.
    Sweep,
    /// Steps at once, as in a servo's test: twelve cycles of 250 µs to either side.
    Steps,
}

/// One resistance, measured and true, mΩ.
#[derive(Clone, Copy, Debug)]
pub struct Found {
    pub found: Option<Quantity>,
    pub truth: f64,
}

impl Found {
    pub fn off(&self) -> Option<f64> {
        Some(self.found?.value - self.truth)
    }

    pub fn half95(&self) -> Option<f64> {
        let interval = self.found?.interval?;
        Some(0.5 * (interval.hi95 - interval.lo95))
    }

    pub fn covered(&self) -> bool {
        let interval = self.found.and_then(|q| q.interval);
        interval.is_some_and(|i| (i.lo95..=i.hi95).contains(&self.truth))
    }
}

/// Lead, source, and both together.
pub type Three = [Found; 3];

/// A lead of 0 to 200 mΩ of wire with up to three plugs, a source of 10 to 80 mΩ, hinges from easy to stiff.
pub fn scenario(channels: Channels, moved: Moved, seed: u64) -> Scenario {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let mut scenario = Scenario::default();
    let normal = |chance: &mut ChaCha8Rng| chance.sample::<f64, _>(StandardNormal);
    let between =
        |chance: &mut ChaCha8Rng, lo: f64, hi: f64| lo + (hi - lo) * chance.random::<f64>();
    let area_mm2 = *pick(&mut chance, &[0.08, 0.13, 0.2, 0.33, 0.52]);
    // 2·l/(58·A) Ω of wire, from none to 200 mΩ.
    let length_m = between(&mut chance, 0.0, 0.2) * 58.0 * area_mm2 / 2.0;
    let wiring = Wiring {
        length_m,
        area_mm2,
        copper_c: 20.0,
        plugs: *pick(&mut chance, &[0, 1, 2, 3]),
        contact_mohm: between(&mut chance, 3.0, 10.0),
        conducts: 1.0,
    };
    let plant = &mut scenario.plant;
    plant.supply.lead_mohm = wiring.mohm();
    plant.supply.pack_mohm = between(&mut chance, 10.0, 80.0);
    plant.supply.open_v = between(&mut chance, 6.0, 8.4);
    plant.hinge.stiffness_ncm_per_deg *= between(&mut chance, 0.4, 1.6);
    plant.hinge.friction_ncm *= between(&mut chance, 0.5, 2.0);
    scenario.rate_hz = *pick(&mut chance, &[100.0, 200.0]);
    let cycles = *pick(&mut chance, &[5, 6, 8, 10]);
    scenario.programme = match moved {
        Moved::Sweep => Programme::Sweep(Sweep {
            cycles,
            ..Sweep::default()
        }),
        Moved::Steps => Programme::Spells(vec![steps()]),
    };
    let sensors = &mut scenario.sensors;
    // A shunt good to 1 %, dividers to 0.5 %.
    sensors.current_scale = 1.0 + 0.01 * normal(&mut chance);
    sensors.supply_scale = 1.0 + 0.005 * normal(&mut chance);
    sensors.source_scale = 1.0 + 0.005 * normal(&mut chance);
    if channels == Channels::Rough {
        sensors.current_noise_ma = between(&mut chance, 3.0, 12.0);
        sensors.current_step_ma = *pick(&mut chance, &[1.0, 2.0, 5.0]);
        sensors.voltage_noise_v = between(&mut chance, 0.002, 0.008);
        sensors.voltage_step_v = *pick(&mut chance, &[0.001, 0.002, 0.005, 0.010]);
    }
    scenario.with_channels(vec![
        Channel::PulseUs,
        Channel::AngleDeg,
        Channel::CurrentMa,
        Channel::SupplyV,
        Channel::SourceV,
    ])
}

fn steps() -> Spell {
    let step = |to_us| PulseMove {
        to_us,
        us_per_s: 0.0,
        hold_s: 0.5,
    };
    Spell {
        keys: Vec::new(),
        loaded: Loaded::default(),
        moves: (0..12).flat_map(|_| [step(1750.0), step(1250.0)]).collect(),
        waits_s: 1.0,
    }
}

fn pick<'a, T>(chance: &mut impl Rng, from: &'a [T]) -> &'a T {
    &from[chance.random_range(0..from.len())]
}

pub fn measured(channels: Channels, moved: Moved, seed: u64) -> Three {
    let scenario = scenario(channels, moved, seed);
    let capture = simulate(&scenario, seed).capture;
    let read = recording::read(&capture[..], "study");
    let found = read.map_or(Resistances::default(), |r| resistances(&r));
    let supply = &scenario.plant.supply;
    let one = |found, truth| Found { found, truth };
    [
        one(found.lead_mohm, supply.lead_mohm),
        one(found.source_mohm, supply.pack_mohm),
        one(found.together_mohm, supply.lead_mohm + supply.pack_mohm),
    ]
}
