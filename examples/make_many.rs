//! Writes many simulated recordings, to measure speed with: `cargo run --example make_many FOLDER COUNT`.
//!
//! Each is the left elevator of the sample aircraft, read by a torque sensor at 200 samples/s over ten cycles, about 8,000
//! samples. The hinge differs from file to file: stiffness and friction vary, every third has a knee, every fifth a
//! tight spot. File n is made from seed n and says so. Counting starts at 0.

use std::path::{Path, PathBuf};

use anyhow::Context;
use hingewright::simulated::{
    Bump, Channel, Programme, Scenario, StiffBeyond, Sweep, TightSpot, When, simulate,
};
use rayon::prelude::*;

const CHANNELS: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::CurrentMa,
    Channel::SupplyV,
    Channel::TorqueNcm,
];

fn scenario(number: u64) -> Scenario {
    let mut scenario = Scenario {
        surface: "left elevator".into(),
        keys: vec![("origin".into(), "hingewright, simulated plant".into())],
        rate_hz: 200.0,
        programme: Programme::Sweep(Sweep {
            throw_up_deg: 23.9,
            throw_down_deg: 21.9,
            cycles: 10,
            ..Sweep::default()
        }),
        ..Scenario::default()
    }
    .with_channels(CHANNELS.to_vec());
    let hinge = &mut scenario.plant.hinge;
    hinge.stiffness_ncm_per_deg = 0.25 + 0.03 * (number % 11) as f64;
    hinge.friction_ncm = 2.0 + 0.2 * (number % 7) as f64;
    if number.is_multiple_of(3) {
        hinge.knee_up = Some(StiffBeyond {
            at_deg: 14.0 + (number % 4) as f64,
            extra_ncm_per_deg: 0.8,
        });
    }
    if number.is_multiple_of(5) {
        hinge.tight_spots = vec![TightSpot {
            at_deg: -12.0 + (number % 8) as f64 * 2.0,
            height_ncm: 6.0,
            width_deg: 3.0,
            when: When::Both,
            bump: Bump::RaisedCosine,
        }];
    }
    scenario
}

/// Writes recording `number`; its size in bytes and its samples.
fn write(folder: &Path, number: u64) -> std::io::Result<(usize, u64)> {
    let made = simulate(&scenario(number), number);
    std::fs::write(folder.join(format!("{number:05}.log")), &made.capture)?;
    Ok((made.capture.len(), made.truth.wire.samples_taken as u64))
}

fn main() -> anyhow::Result<()> {
    let mut arguments = std::env::args().skip(1);
    let (Some(folder), Some(Ok(count))) = (
        arguments.next().map(PathBuf::from),
        arguments.next().map(|count| count.parse::<u64>()),
    ) else {
        anyhow::bail!("usage: make_many FOLDER COUNT");
    };
    std::fs::create_dir_all(&folder).with_context(|| folder.display().to_string())?;
    let (bytes, samples) = (0..count)
        .into_par_iter()
        .map(|number| write(&folder, number))
        .try_reduce(|| (0, 0), |a, b| Ok((a.0 + b.0, a.1 + b.1)))
        .with_context(|| folder.display().to_string())?;
    println!("{count} recordings, {bytes} bytes, {samples} samples");
    Ok(())
}
