//! The demo as a newcomer starts it.

use std::process::Command;
use std::time::Instant;

#[test]
fn the_demo_sweeps_every_surface_finds_the_stiff_one_and_writes_the_report() {
    let folder = tempfile::tempdir().unwrap();
    let into = folder.path().join("demo");
    let since = Instant::now();
    let ran = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .arg("demo")
        .arg("--into")
        .arg(&into)
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&ran.stdout);
    assert_eq!(
        ran.status.code(),
        Some(0),
        "{text}{}",
        String::from_utf8_lossy(&ran.stderr)
    );
    assert!(since.elapsed().as_secs() < 120, "{:?}", since.elapsed());
    let (found, clean): (Vec<&str>, Vec<&str>) = text
        .lines()
        .filter(|l| l.starts_with("  work needed") || l.starts_with("  no fault found"))
        .partition(|l| l.contains("work needed"));
    assert!(
        found.len() == 1 && found[0].contains("right elevator"),
        "{text}"
    );
    assert_eq!(clean.len(), 6, "{text}");
    let last = text.lines().rfind(|l| !l.is_empty()).unwrap();
    let page = into.join("report.html");
    assert!(last.ends_with(&page.display().to_string()), "{last}");
    assert!(
        std::fs::read_to_string(page)
            .unwrap()
            .contains("right elevator")
    );
    assert!(text.contains("right elevator: better"), "{text}");
    // What it says to be run runs as it stands.
    let printed = |start: &str| {
        let mut lines = text.lines().map(str::trim);
        let line = lines.find(|l| l.starts_with(start));
        line.unwrap_or_else(|| panic!("no {start}: {text}"))
            .replacen("hingewright", env!("CARGO_BIN_EXE_hingewright"), 1)
    };
    for line in [
        printed("hingewright prove "),
        printed("hingewright season "),
        printed("hingewright break-in ").replace("--port PORT", "--dry-run"),
    ] {
        let again = Command::new("sh").args(["-c", &line]).output().unwrap();
        let said = String::from_utf8_lossy(&again.stderr);
        assert!(matches!(again.status.code(), Some(0 | 1)), "{line}: {said}");
    }
    // No stored result is other than its recording, and its pair, make it.
    let again = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .args(["recheck", "--logbook"])
        .arg(&into)
        .output()
        .unwrap();
    let again = String::from_utf8_lossy(&again.stdout).into_owned();
    assert!(again.contains(", 0 of them changed"), "{again}");
    let season = text
        .split("hingewright season --logbook ")
        .nth(1)
        .unwrap_or_default();
    // Worst on top: a subject's name, and under it what asks for something.
    let mut lines = season.lines().skip_while(|l| !l.contains("rudder, R1"));
    assert!(
        lines.nth(1).is_some_and(|l| l.contains(" act ")),
        "{season}"
    );
    // What was worked in stands against a new baseline, and nothing of it is to be repeated.
    assert!(!season.contains("repeat "), "{season}");
    // Seven sweeps, a batch or more, the sweep after them, twenty of the season.
    let recordings = std::fs::read_dir(into.join("recordings")).unwrap().count();
    assert!(recordings > 28, "{recordings}");
}
