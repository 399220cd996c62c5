//! What `season` tells a builder to type, typed.

use std::path::Path;
use std::process::Command;

use hingewright::simulated::simulate;

use super::bench::{BY_TORQUE, Bench, OnFile, elevator, run};

/// Nine weeks, in the last two of which the hinge rubs more, in a folder whose name has a blank.
fn worn() -> (Bench, String) {
    let bench = Bench::new(&OnFile::default());
    let book = bench.path("my jet");
    std::fs::create_dir_all(book.join("recordings")).unwrap();
    for file in ["aircraft.toml", "E1.calibration.toml"] {
        std::fs::rename(bench.path(file), book.join(file)).unwrap();
    }
    for week in 0..9 {
        let mut scenario = elevator(BY_TORQUE);
        scenario.started = format!("2026-0{}-{:02}T10:00:00Z", 4 + week / 4, 1 + 7 * (week % 4));
        if week > 6 {
            scenario.plant.hinge.friction_ncm += 1.5;
        }
        let mut bytes = b"# surface=left elevator\n# servo=E1\n".to_vec();
        bytes.extend(simulate(&scenario, 70 + week).capture);
        bench.put(&format!("my jet/recordings/week{week}.log"), bytes);
    }
    let root = book.to_str().unwrap().to_owned();
    let ran = run(["recheck", "--logbook", &root]);
    assert!(ran.status < 2, "{}", ran.err);
    (bench, root)
}

fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The line typed into a shell that finds this program, with words in place of TEXT.
fn typed(line: &str) -> (Option<i32>, String) {
    let program = Path::new(env!("CARGO_BIN_EXE_hingewright"));
    let own = std::env::var_os("PATH").unwrap_or_default();
    let places =
        std::iter::once(program.parent().unwrap().to_owned()).chain(std::env::split_paths(&own));
    let output = Command::new("sh")
        .args(["-c", &line.replace("TEXT", "new pins, re-glued")])
        .env("PATH", std::env::join_paths(places).unwrap())
        .output()
        .unwrap();
    let both = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(both).unwrap())
}

/// The note of work on the hinge among what `season` said.
fn proposed(told: &str) -> &str {
    let mut lines = told.lines().map(str::trim);
    let line = lines.find(|l| l.starts_with("hingewright note") && l.contains("--kind hinge-work"));
    line.unwrap_or_else(|| panic!("no whole command in: {told}"))
}

#[cfg(unix)]
#[test]
fn a_note_that_season_proposes_can_be_pasted_and_explains_the_step() {
    let (_bench, root) = worn();
    let season = || run(["season", "--logbook", &root]);
    let told = season().out;
    assert!(
        unwrapped(&told).contains("have left the baseline"),
        "{told}"
    );
    let line = proposed(&told);
    assert!(line.contains("\"left elevator\" \"TEXT\""), "{line}");
    let json = run(["season", "--json", "--logbook", &root]).out;
    let in_json = line.replace('"', "\\\"");
    assert!(json.contains(&in_json), "{in_json} is not in: {json}");
    let page = Path::new(&root).join("report.html");
    let ran = run(["report", "--logbook", &root]);
    assert!(ran.status < 2, "{}", ran.err);
    let page = std::fs::read_to_string(page).unwrap();
    let in_page = line.replace('"', "&quot;").replace('/', "&#x2f;");
    assert!(page.contains(&in_page), "{in_page} is not in the page");
    let (status, said) = typed(line);
    assert_eq!(status, Some(0), "{line}: {said}");
    let after = unwrapped(&season().out);
    assert!(!after.contains("have left the baseline"), "{after}");
    assert!(!after.contains("hingewright note"), "{after}");
}

#[cfg(unix)]
#[test]
fn a_note_on_a_surface_that_the_file_calls_otherwise_now_is_taken_too() {
    let (_bench, root) = worn();
    let file = Path::new(&root).join("aircraft.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, text.replace("left elevator", "port elevator")).unwrap();
    let season = || run(["season", "--logbook", &root]);
    let told = season().out;
    let line = proposed(&told);
    assert!(line.contains("\"left elevator\""), "{line}");
    let (status, said) = typed(line);
    assert_eq!(status, Some(0), "{line}: {said}");
    let after = season().out;
    assert!(!after.contains("--kind hinge-work"), "{after}");
    let ran = run(["note", "left rudder", "oiled", "--logbook", &root]);
    assert_eq!(ran.status, 2, "{}", ran.out);
}
