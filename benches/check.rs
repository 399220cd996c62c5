//! How long one recording takes: reading it, measuring it, and both with the verdict and its line of JSON.
//!
//! The recording is simulated: the sample aircraft's left elevator with a torque sensor, ten cycles at 200 samples/s,
//! about 8,000 samples; and the same by supply power, whose forward model costs more. The target is for whole processes
//! over 1,000 such files, against `straightforward.py` beside this file: DEVELOPERS.md has the commands.

use std::hint::black_box;
use std::path::Path;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use hingewright::aircraft::{self, Aircraft};
use hingewright::analysis::measure;
use hingewright::recording::{Recording, read};
use hingewright::report::{Checked, RecordingSummary, json};
use hingewright::simulated::{Channel, Programme, Scenario, Sweep, simulate};
use hingewright::verdict::judge;

const BY_TORQUE: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::CurrentMa,
    Channel::SupplyV,
    Channel::TorqueNcm,
];
const BY_POWER: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::ArmDeg,
    Channel::CurrentMa,
    Channel::SupplyV,
];

fn capture(channels: &[Channel]) -> Vec<u8> {
    let scenario = Scenario {
        surface: "left elevator".into(),
        rate_hz: 200.0,
        programme: Programme::Sweep(Sweep {
            throw_up_deg: 23.9,
            throw_down_deg: 21.9,
            cycles: 10,
            ..Sweep::default()
        }),
        ..Scenario::default()
    }
    .with_channels(channels.to_vec());
    simulate(&scenario, 1).capture
}

fn line_of_json(bytes: &[u8], aircraft: &Aircraft) -> String {
    let recording = read(bytes, "bench.log").expect("a capture");
    let surface = &aircraft.surfaces[0];
    let measured = measure(&recording, aircraft, surface);
    let judged = judge(&measured, &recording, surface, &aircraft.limits);
    json::line(&Checked {
        aircraft,
        surface,
        recording: summary(recording, measured.span_s, measured.rate_hz),
        measured,
        judged,
        servos: None,
        held: None,
    })
}

fn summary(recording: Recording, span_s: f64, rate_hz: f64) -> RecordingSummary {
    RecordingSummary {
        file: "bench.log".into(),
        surface: "left elevator".into(),
        samples: recording.samples,
        lost: recording.lost,
        damaged_lines: recording.damaged_lines,
        restarts: recording.restarts,
        span_s,
        rate_hz,
        events: recording.events.into_iter().map(|e| e.code).collect(),
        keys: recording.keys,
        notes: recording.notes,
        rig: recording.rig,
        unfinished: None,
    }
}

fn check(c: &mut Criterion) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
    let aircraft = aircraft::read_path(&file).expect("the sample aircraft");
    let surface = &aircraft.surfaces[0];
    for (name, channels) in [("torque sensor", BY_TORQUE), ("supply power", BY_POWER)] {
        let bytes = capture(channels);
        let recording = read(&bytes[..], "bench.log").expect("a capture");
        let mut group = c.benchmark_group(name);
        group.sample_size(30);
        group.throughput(Throughput::Elements(recording.samples));
        group.bench_function("read", |b| {
            b.iter(|| black_box(read(&bytes[..], "bench.log").expect("a capture").samples));
        });
        group.bench_function("measure", |b| {
            b.iter(|| black_box(measure(&recording, &aircraft, surface)));
        });
        group.bench_function("bytes to a line of JSON", |b| {
            b.iter(|| black_box(line_of_json(&bytes, &aircraft)));
        });
        group.finish();
    }
}

criterion_group!(benches, check);
criterion_main!(benches);
