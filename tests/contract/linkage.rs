//! `linkage` from outside: the table, the fit, the holes, the exit status, what is refused.

use hingewright::simulated::{Linkage, simulate};
use serde_json::Value;

use super::bench::{BY_TORQUE, Bench, OnFile, Ran, assert_near, elevator, run};

fn linkage(bench: &Bench, more: &[&str]) -> Ran {
    let file = bench.path("aircraft.toml");
    let mut arguments = vec!["linkage", "--aircraft", file.to_str().unwrap()];
    arguments.extend(more);
    run(arguments)
}

fn surface(ran: &Ran) -> Value {
    let value: Value =
        serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}", ran.err));
    assert_eq!(value["schema"], "hingewright.linkage/1");
    value["surfaces"][0].clone()
}

fn kinds(surface: &Value) -> Vec<&str> {
    let all = surface["findings"].as_array().unwrap().iter();
    all.map(|f| f["kind"].as_str().unwrap()).collect()
}

#[test]
fn a_linkage_alone_has_its_table_with_intervals_and_says_what_is_not_measured() {
    let bench = Bench::new(&OnFile::default());
    let ran = linkage(&bench, &["--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let found = surface(&ran);
    assert_eq!(found["recording"], Value::Null);
    assert_eq!(found["torque_measured"], false);
    let rows = found["along"].as_array().unwrap();
    assert!(rows.len() >= 5);
    for row in rows {
        let (advantage, servo) = (&row["advantage"], &row["servo_ncm"]);
        let product = advantage["value"].as_f64().unwrap() * servo["value"].as_f64().unwrap();
        assert!((product - 1.0).abs() < 1e-9, "{row}");
        assert!(advantage["lo95"].as_f64() < advantage["value"].as_f64());
    }
    assert_eq!(found["dead_points"][0]["in_line_with"], "arm");
    let text = linkage(&bench, &[]);
    for words in [
        "No other holes known",
        "No torque was measured",
        "nothing measured, computed from the file's lengths alone",
        "clearance",
        "no airworthiness",
    ] {
        let joined = text.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(joined.contains(words), "no {words:?} in {}", text.out);
    }
    let widest = text.out.lines().map(|l| l.chars().count()).max();
    assert!(widest <= Some(80), "{widest:?}");
}

#[test]
fn a_fit_holds_the_plants_own_ratio_and_lengths_though_the_file_is_off() {
    // The file's horn is half a millimetre too long.
    let bench = Bench::new(&OnFile {
        horn_mm: Some(22.5),
        ..OnFile::default()
    });
    let log = bench.put("sweep.log", simulate(&elevator(BY_TORQUE), 11).capture);
    let ran = linkage(&bench, &[log.to_str().unwrap(), "--json"]);
    assert!(ran.status < 2, "{}", ran.err);
    let found = surface(&ran);
    let fit = &found["fit"];
    let plant = Linkage::default().pose(0.0).ratio;
    assert_near(&fit["ratio_at_neutral"], plant, 0.012);
    assert_near(&fit["arm_over_horn"]["fitted"], 18.0 / 22.0, 0.02);
    assert_near(&fit["horn_mm"]["fitted"], 22.0, 0.8);
    assert!(fit["rms_deg"].as_f64().unwrap() < 0.1);
    assert!(!fit["residuals"].as_array().unwrap().is_empty());
    assert_eq!(found["torque_measured"], true);
    // Base and rod are not told by angles, and that is said.
    assert_eq!(fit["base_mm"]["told"], false);
    let text = linkage(&bench, &[log.to_str().unwrap()]);
    assert!(text.out.contains("Not told apart"), "{}", text.out);
}

#[test]
fn the_best_holes_stand_first_and_reach_with_the_least_torque() {
    let bench = Bench::new(&OnFile::default());
    let holes = [
        "--json",
        "--arm-holes",
        "10,14,16,18",
        "--horn-holes",
        "18,22,26",
    ];
    let found = surface(&linkage(&bench, &holes));
    let tried = found["holes"].as_array().unwrap();
    assert_eq!(tried.len(), 12);
    assert_eq!(tried[0]["reached"], "yes");
    let peak = |t: &Value| t["peak_servo_ncm"]["value"].as_f64().unwrap();
    let good = |t: &&Value| t["reached"] == "yes" && t["near_dead_point"] == false;
    assert!(
        tried
            .iter()
            .filter(good)
            .all(|t| peak(t) >= peak(&tried[0]))
    );
    assert_eq!(tried.iter().filter(|t| t["in_use"] == true).count(), 1);
}

#[test]
fn where_no_hole_reaches_none_is_recommended_and_the_status_is_one() {
    let bench = Bench::new(&OnFile {
        throw_deg: 50.0,
        ..OnFile::default()
    });
    let more = ["--servo-travel", "30", "--arm-holes", "10,12"];
    let ran = linkage(&bench, &more);
    assert_eq!(ran.status, 1, "{}", ran.err);
    assert!(ran.out.contains("None of these reaches"), "{}", ran.out);
    let found = surface(&linkage(&bench, &[&more[..], &["--json"]].concat()));
    assert!(kinds(&found).contains(&"throw-out-of-reach"), "{found}");
}

#[test]
fn a_throw_that_ends_near_the_dead_point_is_found() {
    let bench = Bench::new(&OnFile {
        throw_deg: 44.0,
        ..OnFile::default()
    });
    let ran = linkage(&bench, &["--servo-travel", "85", "--json"]);
    assert_eq!(ran.status, 1, "{}", ran.err);
    assert!(
        kinds(&surface(&ran)).contains(&"near-dead-point"),
        "{}",
        ran.out
    );
}

#[test]
fn holes_on_file_are_tried_and_what_is_no_hole_is_refused_with_its_line() {
    let bench = Bench::new(&OnFile::default());
    let text = std::fs::read_to_string(bench.path("aircraft.toml")).unwrap();
    let with = |line: &str| bench.put("aircraft.toml", format!("{text}{line}\n"));
    with("arm_holes_mm = [14, 18]\nhorn_holes_mm = [22, 26]\ntolerance_mm = 0.2");
    let found = surface(&linkage(&bench, &["--json"]));
    assert_eq!(found["holes"].as_array().unwrap().len(), 4);
    assert!(found["lengths"]["arm_u_mm"].as_f64().unwrap() < 0.11);
    with("arm_holes_mm = [14, \"x\"]");
    linkage(&bench, &[]).refused_with(&["arm_holes_mm", "aircraft.toml", "12, 14, 16"]);
}

#[test]
fn a_servo_whose_travel_nobody_knows_is_not_said_to_reach() {
    let bench = Bench::new(&OnFile {
        arm_deg_per_us: None,
        ..OnFile::default()
    });
    let found = surface(&linkage(&bench, &["--json", "--arm-holes", "14"]));
    let tried = found["holes"].as_array().unwrap();
    assert!(
        tried
            .iter()
            .all(|t| t["reached"] == "servo-travel-not-known")
    );
}

#[test]
fn the_picture_is_of_one_surface_and_spares_what_was_measured() {
    let bench = Bench::new(&OnFile::default());
    let (svg, png) = (bench.path("rod.svg"), bench.path("rod.PNG"));
    for picture in [&svg, &png] {
        let ran = linkage(&bench, &["--plot", picture.to_str().unwrap()]);
        assert!(
            ran.status == 0 && ran.err.contains("written: "),
            "{}",
            ran.err
        );
    }
    let text = std::fs::read_to_string(&svg).unwrap();
    assert!(text.starts_with("<svg") && text.contains("Dead point up"));
    assert_eq!(&std::fs::read(&png).unwrap()[1..4], b"PNG");
    let file = bench.path("aircraft.toml");
    linkage(&bench, &["--plot", file.to_str().unwrap()]).refused_with(&["another name"]);
    run([
        "linkage",
        "--aircraft",
        "samples/aircraft.toml",
        "--plot",
        svg.to_str().unwrap(),
    ])
    .refused_with(&["--surface"]);
}

#[test]
fn a_logbooks_latest_sweep_counts_and_other_purposes_do_not() {
    let bench = Bench::new(&OnFile::default());
    std::fs::create_dir(bench.path("recordings")).unwrap();
    for (id, purpose, seed) in [
        ("a", "routine", 1),
        ("b", "routine", 2),
        ("c", "break-in", 3),
    ] {
        let mut scenario = elevator(BY_TORQUE);
        scenario.purpose = Some(purpose.into());
        scenario.started = format!("2026-04-{:02}T10:00:00Z", 10 + seed);
        bench.put(
            &format!("recordings/{id}.log"),
            simulate(&scenario, seed).capture,
        );
    }
    let root = bench.path("");
    let found = surface(&run([
        "linkage",
        "--json",
        "--logbook",
        root.to_str().unwrap(),
    ]));
    let name = found["recording"].as_str().unwrap();
    assert!(name.ends_with("b.log"), "{name}");
}

#[test]
fn a_surface_without_linkage_is_refused_and_told_what_to_measure() {
    let bench = Bench::new(&OnFile {
        horn_mm: None,
        ..OnFile::default()
    });
    linkage(&bench, &[]).refused_with(&["no [surface.linkage]", "arm_mm"]);
    linkage(&bench, &["--surface", "tail"]).refused_with(&["tail", "left elevator"]);
}
