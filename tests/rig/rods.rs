//! Rods on and off on simulated rigs: both recordings kept in a logbook, and told apart from there.

use serde_json::Value;

use super::held::run;
use super::host::Rig;

/// A sweep of the sample aircraft's left elevator on a simulated rig; with its options, and with more of the sweep's: status, output, errors.
pub fn sweep(options: &[&str], book: &str, more: &[&str]) -> (i32, String, String) {
    let channels = "pulse_us,angle_deg,current_ma,supply_v";
    let mut all = vec![
        "--aircraft",
        "samples/aircraft.toml",
        "--channels",
        channels,
        "--fast",
        "10",
    ];
    all.extend(options);
    let rig = Rig::start(&all);
    let link = rig.link().display().to_string();
    let mut arguments = vec![
        "sweep",
        "left elevator",
        "--port",
        &link,
        "--logbook",
        book,
        "--aircraft",
        "samples/aircraft.toml",
        "--yes",
    ];
    arguments.extend(more);
    run(&arguments, "")
}

#[test]
fn a_servo_swept_with_rods_off_is_found_in_the_logbook_and_tells_its_own_friction() {
    let scratch = tempfile::tempdir().unwrap();
    let book = scratch.path().join("book").display().to_string();
    let (status, out, err) = sweep(&[], &book, &["--purpose", "before"]);
    assert!(status <= 1, "{out}\n{err}");
    let (status, out, err) = sweep(&["--rods-off"], &book, &["--purpose", "rods-off"]);
    assert!(status <= 1, "{out}\n{err}");
    // It says to take them off before it moves, and afterwards what the recording is good for.
    let off = out.find("TAKE THE RODS OFF FIRST").unwrap();
    assert!(off < out.find("WHAT WILL MOVE").unwrap(), "{out}");
    let next = out.split("next ").nth(1).unwrap();
    let next = next.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        next.contains("hingewright rods \"left elevator\" --logbook"),
        "{out}"
    );
    let (status, out, err) = run(&["rods", "left elevator", "--logbook", &book, "--json"], "");
    assert_eq!(status, 0, "{out}\n{err}");
    let value: Value = serde_json::from_str(&out).unwrap();
    let servo = &value["servo_friction_ncm"];
    // The plant's servo has 0.06 N·m.
    assert!(
        (servo["value"].as_f64().unwrap() - 6.0).abs() < 1.0,
        "{value}"
    );
    assert!(
        value["friction_ncm"]["whole"]["lo95"].as_f64().unwrap() > 0.0,
        "{value}"
    );
    assert_eq!(value["cannot"], serde_json::json!(["no-torque-sensor"]));
    let (_, out, _) = run(&["rods", "left elevator", "--logbook", &book], "");
    assert!(out.contains("stay one") || out.contains("stay\n"), "{out}");
}

#[test]
fn without_a_logbook_both_sides_have_to_be_named() {
    let aircraft = ["--aircraft", "samples/aircraft.toml"];
    let one_side = ["--on", "samples/1-left-elevator-sound.log"];
    for more in [&[][..], &one_side] {
        let (status, _, err) = run(
            &[&["rods", "left elevator"], &aircraft[..], more].concat(),
            "",
        );
        assert_eq!(status, 2);
        assert!(
            err.contains("both sides") && err.contains("--off FILE"),
            "{err}"
        );
    }
}
