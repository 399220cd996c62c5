//! Captures far larger than any sample; peak memory is read by hand, with /usr/bin/time. Not part of the ordinary run: each writes 200 MB to the temporary folder.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::PathBuf;
use std::time::Instant;

use hingewright::simulated::simulate;

use super::bench::{BY_TORQUE, Bench, OnFile, elevator};
use super::wire;

const BYTES: usize = 200_000_000;

fn repeated(bench: &Bench, head: &str, piece: &str) -> PathBuf {
    let path = bench.path("large.log");
    let mut file = BufWriter::new(File::create(&path).unwrap());
    file.write_all(head.as_bytes()).unwrap();
    for _ in 0..BYTES / piece.len() {
        file.write_all(piece.as_bytes()).unwrap();
    }
    file.flush().unwrap();
    path
}

#[test]
#[ignore = "writes 200 MB; run by hand: cargo test --release --test contract -- --ignored large"]
fn a_capture_of_200_mb_of_damaged_lines_after_a_good_recording_is_judged_like_the_good_one() {
    let bench = Bench::new(&OnFile::default());
    let made = simulate(&elevator(BY_TORQUE), 61);
    let good = wire::text(&made.capture);
    let path = repeated(&bench, good, "S,1,1000512,1500,0.04,41,7.38*0000\n");
    let began = Instant::now();
    let result = bench.check(&[&path], &[]).result();
    println!("{:.2} s", began.elapsed().as_secs_f64());
    assert_eq!(result["recording"]["damaged_lines"], BYTES / 35);
    assert_eq!(
        result["recording"]["samples"],
        made.truth.wire.samples_taken
    );
    assert!(!result["curve"].is_null());
}

#[test]
#[ignore = "writes 200 MB; run by hand: cargo test --release --test contract -- --ignored large"]
fn a_capture_of_200_mb_of_good_recordings_with_a_restart_each_is_judged() {
    let bench = Bench::new(&OnFile::default());
    let made = simulate(&elevator(BY_TORQUE), 62);
    let piece = wire::from_rig(&made.capture);
    let path = repeated(&bench, "# surface=left elevator\n", piece);
    let began = Instant::now();
    let result = bench.check(&[&path], &[]).result();
    println!("{:.2} s", began.elapsed().as_secs_f64());
    assert_eq!(result["recording"]["restarts"], BYTES / piece.len() - 1);
    assert_eq!(result["recording"]["damaged_lines"], 0);
    assert!(!result["curve"].is_null());
}
