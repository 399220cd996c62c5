//! The passive edition: it measures, and has nothing to move a servo with.

use super::built::{Board, built, hingewright, run_free, say, told};

#[test]
fn a_surface_moved_by_hand_is_measured_and_nothing_is_driven() {
    let Some(out) = built() else { return };
    let script = [
        say(1.0, "ARM,9"),
        say(1.1, "GO,10,1500,0"),
        say(1.2, "LIMIT,11,case_c=60"),
        say(1.3, "DISARM,12"),
        say(1.4, "ASK,13"),
    ];
    let ran = run_free(out, "passive.elf", 45.0, &["--plant", "by_hand=1"], &script);
    for id in 9..13 {
        assert_eq!(ran.count_said(&format!("NO,{id},passive*")), 1);
    }
    assert_eq!(ran.count_said("OK,13*"), 1);
    // The pin is not even an output.
    assert_eq!(ran.of("pulse").count(), 0);
    assert_eq!(ran.of("end").last().unwrap()["pin_is_output"], false);
    assert!(
        ran.said
            .starts_with("RIG,1,reference,1.0,passive,200,angle_deg,current_ma,supply_v,case_c*")
    );

    // What a serial terminal would have kept is a recording, throws and all.
    let folder = tempfile::TempDir::new().unwrap();
    let file = folder.path().join("by-hand.log");
    std::fs::write(&file, format!("# surface=left elevator\n{}", ran.said)).unwrap();
    let (text, _) = told(
        hingewright()
            .arg("check")
            .arg(&file)
            .args(["--aircraft", "tests/firmware/aircraft.toml"]),
    );
    assert!(text.contains("0 lost, 0 damaged"), "{text}");
    let reached = text
        .lines()
        .filter(|line| line.contains("reached (swept to"))
        .count();
    assert_eq!(reached, 2, "{text}");
}

#[test]
fn the_program_watches_a_passive_rig() {
    let Some(out) = built() else { return };
    let board = Board::start(out, "passive.elf", &["--plant", "by_hand=1"]);
    let (asked, code) = told(
        hingewright()
            .args(["rig", "ask", "--port"])
            .arg(board.port()),
    );
    assert_eq!(code, 0, "{asked}");
    assert!(
        asked.contains("200.") && asked.contains("angle_deg, current_ma, supply_v, case_c"),
        "{asked}"
    );
    let (watched, code) = told(
        hingewright()
            .args(["rig", "watch", "--seconds", "3", "--port"])
            .arg(board.port()),
    );
    assert_eq!(code, 0, "{watched}");
    assert!(watched.lines().count() > 3, "{watched}");
}
