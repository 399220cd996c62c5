//! A logbook on a file system without room.

use std::path::Path;
use std::process::Command;

use super::bench::{Bench, now_ms};
use super::campaign::{Run, campaign, runs};

/// Room for about half of a sweep.
const SIZE: &str = "size=160k";

#[test]
fn a_full_disk_ends_the_sweep_with_its_name_and_what_fitted_is_kept() {
    let trial = tempfile::tempdir().unwrap();
    if !mounted(trial.path()) {
        println!("SKIPPED: a small file system can only be mounted by root");
        return;
    }
    unmount(trial.path());
    let jobs = (0..runs(2, 10)).map(|_| Box::new(full) as _).collect();
    campaign("a full disk", 1, jobs);
}

fn full() -> Run {
    let bench = Bench::new(&[]);
    std::fs::create_dir(&bench.logbook).unwrap();
    assert!(mounted(&bench.logbook));
    let mut host = bench.sweep();
    // What did not fit is missing by nature: byte for byte as sent, up to there.
    let mut run = Run::cut(bench, &mut host, 0.0, &["the disk is full"]);
    run.disarm_from_ms = Some(run.ended.map_or_else(now_ms, |(_, at_ms)| at_ms));
    // The examination comes after the small file system is gone.
    let logbook = &run.bench.logbook;
    let kept = run.bench.root.join("kept");
    let copied = Command::new("cp")
        .arg("-r")
        .arg(logbook)
        .arg(&kept)
        .status();
    assert!(copied.unwrap().success());
    unmount(logbook);
    run.bench.logbook = kept;
    run
}

fn mounted(at: &Path) -> bool {
    let mount = Command::new("mount")
        .args(["-t", "tmpfs", "-o", SIZE, "tmpfs"])
        .arg(at)
        .output();
    mount.is_ok_and(|output| output.status.success())
}

fn unmount(at: &Path) {
    assert!(Command::new("umount").arg(at).status().unwrap().success());
}
