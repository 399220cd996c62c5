//! A recording cut off anywhere is valid up to there, and clears nothing that is not in it.

use std::path::Path;

use super::bench::{Bench, OnFile, run};
use super::samples::{AIRCRAFT, DAMAGED, SOUND};

/// Places spread over the file with a step that is no multiple of a line, and the ends themselves.
fn cuts(length: usize) -> impl Iterator<Item = usize> {
    (0..60).map(move |n| n * length / 59)
}

/// `bench::run` and `shape` see to it that nothing panics and that no surface is cleared with fewer than three strokes
/// of a direction; here: that every cut of a sample is read, or refused for a reason.
#[test]
fn a_sample_cut_off_at_any_of_60_places_is_judged_or_refused_and_never_cleared_too_early() {
    for sample in [SOUND, DAMAGED] {
        let whole = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(sample)).unwrap();
        let bench = Bench::new(&OnFile::default());
        let (mut refused, mut most_samples) = (0, 0);
        for cut in cuts(whole.len()) {
            let path = bench.put("cut.log", &whole[..cut]);
            let ran = run([
                "check".as_ref(),
                path.as_os_str(),
                "--json".as_ref(),
                "--aircraft".as_ref(),
                AIRCRAFT.as_ref(),
            ]);
            if ran.status == 2 {
                refused += 1;
                ran.refused_with(&["cut.log", "what to do"]);
                continue;
            }
            let result = ran.result();
            let samples = result["recording"]["samples"].as_u64().unwrap();
            assert!(
                samples >= most_samples,
                "a longer piece holds no fewer samples"
            );
            most_samples = samples;
            let few = ["up", "down"]
                .iter()
                .any(|d| result["strokes"][d].as_u64().unwrap() < 3);
            if few {
                assert_eq!(ran.status, 1, "cut at {cut}: {}", ran.out);
                assert_ne!(result["verdict"], "no-fault-found", "cut at {cut}");
            }
        }
        // Only a piece without one sample in it can be refused: the first cut or two.
        assert!(refused <= 2, "{refused} of 60 refused in {sample}");
        assert!(most_samples > 2_500);
    }
}

#[test]
fn a_capture_cut_off_within_its_first_lines_is_read_or_refused_at_every_byte() {
    let whole = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(SOUND)).unwrap();
    let head = whole.windows(2).position(|w| w == b"S,").unwrap() + 90;
    let bench = Bench::new(&OnFile::default());
    for cut in (0..head).step_by(7) {
        let ran = bench.check_bytes("head.log", &whole[..cut]);
        if ran.status == 2 {
            ran.refused_with(&["head.log"]);
        } else {
            assert_eq!(ran.result()["verdict"], "unproven", "cut at {cut}");
        }
    }
}
