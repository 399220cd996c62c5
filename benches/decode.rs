//! How fast a capture is decoded: bytes to messages, and bytes to a whole recording.
//!
//! The target is 300 MB/s a core for the decoder. The capture is that of the rig link's own example: four channels,
//! 200 samples/s, one line in a thousand damaged, about eight megabytes.

use std::fmt::Write;
use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use hingewright::link::{Decoder, Message, encode};
use hingewright::recording::read;

fn capture(samples: u32) -> Vec<u8> {
    let mut text = String::from("# surface=left elevator\n");
    let mut payload =
        String::from("RIG,1,bench-a,0.4,driven,200,pulse_us,angle_deg,current_ma,supply_v");
    for n in 0..samples {
        text.push_str(&encode(&payload).expect("a payload of the link"));
        if n % 1000 == 999 {
            text.replace_range(text.len() - 9..text.len() - 8, "x");
        }
        let sweep = (f64::from(n) * 0.01).sin();
        payload.clear();
        write!(
            payload,
            "S,{},{},{:.0},{:.2},{:.0},{:.2}",
            n % 65_536,
            n.wrapping_mul(5000),
            1500.0 + 400.0 * sweep,
            25.0 * sweep,
            300.0 + 200.0 * sweep,
            7.4 - 0.1 * sweep
        )
        .expect("a string takes every write");
    }
    text.into_bytes()
}

fn decode(c: &mut Criterion) {
    let bytes = capture(200_000);
    let mut group = c.benchmark_group("decode");
    group.throughput(Throughput::Bytes(bytes.len() as u64));
    group.sample_size(30);
    for (name, piece) in [
        ("in pieces of 256 KiB", 256 * 1024),
        ("in pieces of 64 bytes", 64),
    ] {
        group.bench_function(name, |b| {
            b.iter(|| {
                let mut decoder = Decoder::new();
                let mut sum = 0.0;
                for chunk in bytes.chunks(piece) {
                    decoder.feed(chunk, |message| {
                        if let Message::Sample(sample) = message {
                            sum += sample.values.iter().sum::<f64>();
                        }
                    });
                }
                black_box(sum)
            });
        });
    }
    group.bench_function("to a recording", |b| {
        b.iter(|| black_box(read(&bytes[..], "bench").expect("a capture").samples))
    });
    group.finish();
}

criterion_group!(benches, decode);
criterion_main!(benches);
