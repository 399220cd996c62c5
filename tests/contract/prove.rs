//! `prove` from outside: a logbook of simulated recordings, one surface before and after.

use std::path::PathBuf;

use hingewright::simulated::{Scenario, StiffBeyond, simulate};
use serde_json::Value;

use super::bench::{BY_POWER, BY_TORQUE, Bench, OnFile, Ran, elevator, run};

fn book() -> Bench {
    let bench = Bench::new(&OnFile::default());
    std::fs::create_dir(bench.path("recordings")).unwrap();
    bench
}

fn put(bench: &Bench, id: &str, keys: &str, scenario: &Scenario, seed: u64) -> PathBuf {
    let capture = simulate(scenario, seed).capture;
    let mut bytes = format!("# surface=left elevator\n{keys}").into_bytes();
    bytes.extend(capture);
    bench.put(&format!("recordings/{id}.log"), bytes)
}

fn prove(bench: &Bench, before: &str, after: &str, more: &[&str]) -> Ran {
    let root = bench.path("");
    let mut arguments = vec![
        "prove",
        "left elevator",
        "--logbook",
        root.to_str().unwrap(),
    ];
    arguments.extend(["--before", before, "--after", after]);
    arguments.extend(more);
    run(arguments)
}

fn proved(ran: &Ran) -> Value {
    let value: Value =
        serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}", ran.err));
    assert_eq!(value["schema"], "hingewright.prove/1");
    value
}

fn change<'a>(value: &'a Value, quantity: &str) -> &'a Value {
    let changes = value["changes"].as_array().unwrap();
    let found = changes.iter().find(|c| c["quantity"] == quantity);
    found.unwrap_or_else(|| panic!("no {quantity} in {value}"))
}

/// One N·cm less of friction.
fn eased(scenario: &Scenario) -> Scenario {
    let mut eased = scenario.clone();
    eased.plant.hinge.friction_ncm -= 1.0;
    eased
}

#[test]
fn less_friction_is_better_with_an_interval_that_holds_the_true_change() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    put(&bench, "before", "", &scenario, 1);
    put(&bench, "after", "", &eased(&scenario), 2);
    let ran = prove(&bench, "before", "after.log", &["--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let value = proved(&ran);
    assert_eq!(value["outcome"], "better");
    let friction = change(&value, "friction_ncm");
    assert_eq!(friction["verdict"], "better");
    let (low, high) = (
        friction["change"]["lo95"].as_f64().unwrap(),
        friction["change"]["hi95"].as_f64().unwrap(),
    );
    assert!(low < -1.0 && -1.0 < high && high < 0.0, "{friction}");
    assert!(friction["smallest_change_seen"].as_f64().unwrap() < 1.0);
    assert_eq!(value["cautions"], serde_json::json!([]));

    // The other way round the same is worse, and the exit status says so.
    let ran = prove(&bench, "after", "before", &[]);
    assert_eq!(ran.status, 1);
    assert!(ran.out.contains("left elevator: worse"), "{}", ran.out);
    assert!(ran.out.contains("friction"), "{}", ran.out);
}

#[test]
fn the_same_surface_twice_shows_no_change() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    put(&bench, "before", "", &scenario, 3);
    put(&bench, "after", "", &scenario, 4);
    let ran = prove(&bench, "before", "after", &["--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let value = proved(&ran);
    assert_eq!(value["outcome"], "no-change-shown");
    for change in value["changes"].as_array().unwrap() {
        assert_eq!(change["verdict"], "no-change-shown", "{change}");
        assert!(change["smallest_change_seen"].as_f64().unwrap() > 0.0);
    }
    let text = prove(&bench, "before", "after", &[]);
    assert!(text.out.contains("no change shown") && text.out.contains("not ruled out"));
}

#[test]
fn a_knee_that_is_gone_is_better_and_what_is_missing_is_null() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    let mut stiff = scenario.clone();
    stiff.plant.hinge.knee_up = Some(hingewright::simulated::StiffBeyond {
        at_deg: 13.0,
        extra_ncm_per_deg: 0.9,
    });
    put(&bench, "before", "", &stiff, 5);
    put(&bench, "after", "", &scenario, 6);
    let value = proved(&prove(&bench, "before", "after", &["--json"]));
    let knee = change(&value, "stiffness_beyond_ncm_per_deg");
    assert_eq!(
        (&knee["verdict"], &knee["which"]),
        (&"better".into(), &"up".into())
    );
    assert!(knee["before"]["value"].is_number() && knee["after"].is_null());
    // It stood at 13° of a travel of 25.5°: the other side rules it out nearly up to the end.
    let place = change(&value, "knee_at_deg");
    let told = (&place["at_least"], &place["verdict"]);
    assert_eq!(told, (&true.into(), &"better".into()), "{place}");
    let least = place["change"]["value"].as_f64().unwrap();
    assert!((9.0..12.5).contains(&least) && place["change"]["hi95"].is_null());
    assert!(
        !prove(&bench, "before", "after", &["--json"])
            .out
            .contains("NaN")
    );
}

#[test]
fn repeats_that_differ_by_more_than_the_cycles_stand_in_for_them() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    let at_time = |friction_by: f64, day: u32| {
        let mut mounted = scenario.clone();
        mounted.plant.hinge.friction_ncm += friction_by;
        mounted.started = format!("2026-04-{day:02}T10:00:00Z");
        mounted
    };
    let sweeps = [
        ("r1", 0.3, 1),
        ("r2", -0.3, 2),
        ("r3", 0.0, 3),
        ("before", 0.2, 4),
        ("after", -0.2, 5),
    ];
    let earlier = &sweeps[..3];
    for (seed, (id, by, day)) in sweeps.into_iter().enumerate() {
        if !earlier.iter().any(|e| e.0 == id) {
            put(&bench, id, "", &at_time(by, day), 20 + seed as u64);
        }
    }
    let alone = proved(&prove(&bench, "before", "after", &["--json"]));
    assert_eq!(change(&alone, "friction_ncm")["verdict"], "better");
    assert_eq!(alone["repeats"]["recordings"], 0);
    let said = prove(&bench, "before", "after", &[]).out;
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("is not covered"), "{said}");

    for (seed, (id, by, day)) in earlier.iter().enumerate() {
        put(&bench, id, "", &at_time(*by, *day), 30 + seed as u64);
    }
    let value = proved(&prove(&bench, "before", "after", &["--json"]));
    let friction = change(&value, "friction_ncm");
    assert_eq!(friction["verdict"], "no-change-shown", "{friction}");
    assert_eq!(friction["repeats"]["recordings"], 3);
    assert_eq!(friction["repeats"]["counted"], true);
    assert!((friction["repeats"]["sd"].as_f64().unwrap() - 0.3).abs() < 0.1);

    // What was done in between begins anew what it changes.
    let noted = |subject: &str, kind: &str| {
        let note = format!("at,subject,kind,text\n2026-04-02T12:00:00Z,{subject},{kind},by hand\n");
        bench.put("notes.csv", note.as_bytes());
        proved(&prove(&bench, "before", "after", &["--json"]))
    };
    let value = noted("left elevator", "hinge-work");
    assert!(change(&value, "friction_ncm")["repeats"].is_null());
    assert!(change(&value, "stiffness_ncm_per_deg")["repeats"].is_null());
    // A torque sensor sees the hinge, whatever drives it.
    let value = noted("E1", "servo-replaced");
    assert_eq!(value["repeats"]["recordings"], 3);
    assert_eq!(change(&value, "friction_ncm")["repeats"]["recordings"], 3);
    assert!(change(&value, "slop_deg")["repeats"].is_null());
    let said = prove(&bench, "before", "after", &[]).out;
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("Remounting is not covered of: slop"),
        "{said}"
    );
}

/// By supply power torque is worked out through the servo: what another one said repeats nothing.
#[test]
fn a_new_servo_ends_the_repeats_of_what_its_supply_power_tells_and_of_nothing_else() {
    let (bench, scenario) = (book(), elevator(BY_POWER));
    let at = |day: u32| Scenario {
        started: format!("2026-04-0{day}T10:00:00Z"),
        ..scenario.clone()
    };
    for day in 1..=5 {
        put(
            &bench,
            &format!("day{day}"),
            "# servo=E1\n",
            &at(day),
            40 + u64::from(day),
        );
    }
    let value = proved(&prove(&bench, "day4", "day5", &["--json"]));
    let repeats = |value: &Value, quantity: &str| change(value, quantity)["repeats"].clone();
    assert_eq!(repeats(&value, "friction_ncm")["recordings"], 3);
    let note = "at,subject,kind,text\n2026-04-03T12:00:00Z,E1,servo-replaced,new gears\n";
    bench.put("notes.csv", note.as_bytes());
    let value = proved(&prove(&bench, "day4", "day5", &["--json"]));
    assert!(repeats(&value, "friction_ncm").is_null(), "{value}");
    assert!(
        repeats(&value, "stiffness_ncm_per_deg").is_null(),
        "{value}"
    );
    let note = note.replace("E1,servo-replaced", "left elevator,other");
    bench.put("notes.csv", note.as_bytes());
    let value = proved(&prove(&bench, "day4", "day5", &["--json"]));
    assert_eq!(repeats(&value, "friction_ncm")["recordings"], 3);
}

#[test]
fn what_differs_besides_the_fix_is_said() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    put(&bench, "before", "# servo=E1\n", &scenario, 7);
    let mut other = scenario.clone();
    other.rig_name = "another".into();
    other.plant.supply.open_v += 1.0;
    let unfinished = "# servo=E9\n# outcome=unfinished: stopped by hand\n";
    put(&bench, "after", unfinished, &other, 8);
    let ran = prove(&bench, "before", "after", &[]);
    for words in [
        "Another rig",
        "Another servo: E1 before, E9",
        "0.5 V",
        "stopped by hand",
    ] {
        let said = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{words}: {}", ran.out);
    }
}

#[test]
fn without_a_second_recording_of_the_surface_nothing_is_compared() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    put(&bench, "before", "", &scenario, 9);
    prove(&bench, "before", "before", &[]).refused_with(&["same recording", "--after"]);
    prove(&bench, "before", "afterwards", &[]).refused_with(&["no recording \"afterwards\""]);
    let root = bench.path("");
    let root = root.to_str().unwrap();
    run([
        "prove",
        "canopy",
        "--logbook",
        root,
        "--before",
        "before",
        "--after",
        "b",
    ])
    .refused_with(&["canopy", "left elevator"]);
}

#[test]
fn both_curves_are_drawn_into_one_picture_by_its_ending() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    put(&bench, "before", "", &scenario, 10);
    put(&bench, "after", "", &eased(&scenario), 11);
    let (svg, png) = (bench.path("pair.svg"), bench.path("pair.png"));
    for file in [&svg, &png] {
        let ran = prove(
            &bench,
            "before",
            "after",
            &["--plot", file.to_str().unwrap()],
        );
        assert_eq!(ran.status, 0, "{}", ran.err);
        assert!(ran.err.contains(file.to_str().unwrap()));
    }
    let svg = std::fs::read_to_string(svg).unwrap();
    assert!(svg.contains("before") && svg.contains("after, moving up"));
    assert!(std::fs::read(png).unwrap().starts_with(b"\x89PNG\r\n"));
    let recording = bench.path("recordings/before.log");
    let kept = std::fs::read(&recording).unwrap();
    let ran = prove(
        &bench,
        "before",
        "after",
        &["--plot", recording.to_str().unwrap()],
    );
    assert_eq!(ran.status, 2);
    assert_eq!(std::fs::read(recording).unwrap(), kept);
}

#[test]
fn a_picture_that_cannot_be_drawn_is_refused_before_anything_is_computed() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    put(&bench, "before", "", &scenario, 12);
    put(&bench, "after", "", &eased(&scenario), 13);
    let refused = |name: &str, words: &[&str]| {
        let file = bench.path(name);
        prove(
            &bench,
            "before",
            "after",
            &["--plot", file.to_str().unwrap()],
        )
        .refused_with(words);
        assert!(!file.exists());
    };
    refused("pair.pdf", &["pair.pdf", ".svg", ".png"]);
    refused("typo/pair.svg", &["no folder", "typo"]);
    assert!(!bench.path("typo").exists());
}

#[test]
fn an_after_that_is_older_than_the_before_is_warned_about() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    put(
        &bench,
        "old",
        "",
        &at(&scenario, "2026-04-01T10:00:00Z"),
        14,
    );
    put(
        &bench,
        "new",
        "",
        &at(&eased(&scenario), "2026-04-02T10:00:00Z"),
        15,
    );
    let swapped = prove(&bench, "new", "old", &[]).out;
    assert!(swapped.contains("is the older one"), "{swapped}");
    assert!(swapped.contains("--before and --after"), "{swapped}");
    let right = prove(&bench, "old", "new", &[]).out;
    assert!(!right.contains("older"), "{right}");
}

#[test]
fn a_copy_and_another_aircraft_s_recording_are_refused_and_one_of_the_future_is_warned_about() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    let first = put(&bench, "first", "", &scenario, 21);
    std::fs::copy(&first, bench.path("recordings/first (1).log")).unwrap();
    let copied = ["byte for byte", "sweep the surface once more"];
    prove(&bench, "first", "first (1)", &[]).refused_with(&copied);
    put(&bench, "other", "# aircraft=Another\n", &scenario, 22);
    prove(&bench, "first", "other", &[]).refused_with(&["\"Another\"", "was = "]);
    prove(&bench, "other", "first", &[]).refused_with(&["\"Another\""]);
    put(
        &bench,
        "late",
        "",
        &at(&scenario, "2999-04-02T10:00:00Z"),
        23,
    );
    let late = prove(&bench, "first", "late", &[]);
    let said = late.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("Mind: The recording after says that it began 2999-04-02"),
        "{said}"
    );
    assert_eq!(late.status, 0, "{}", late.err);
}

fn at(scenario: &Scenario, started: &str) -> Scenario {
    let mut scenario = scenario.clone();
    scenario.started = started.to_owned();
    scenario
}

#[test]
fn better_is_not_said_alone_where_the_surface_still_has_findings() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    let mut knee = scenario.clone();
    knee.plant.hinge.knee_up = Some(StiffBeyond {
        at_deg: 12.0,
        extra_ncm_per_deg: 2.0 * knee.plant.hinge.stiffness_ncm_per_deg,
    });
    put(&bench, "before", "", &knee, 16);
    put(&bench, "after", "", &eased(&knee), 17);
    let ran = prove(&bench, "before", "after", &[]);
    let headline = ran.out.lines().next().unwrap();
    assert!(
        headline.starts_with("left elevator: better, and still: "),
        "{}",
        ran.out
    );
    put(&bench, "sound", "", &scenario, 18);
    let sound = prove(&bench, "before", "sound", &[]);
    assert_eq!(
        sound.out.lines().next(),
        Some("left elevator: better"),
        "{}",
        sound.out
    );
}

#[test]
fn a_stage_s_end_is_no_throw_reached() {
    let (bench, scenario) = (book(), elevator(BY_TORQUE));
    let mut stage = scenario.clone();
    stage.purpose = Some("break-in".into());
    put(&bench, "before", "", &stage, 19);
    put(&bench, "after", "", &eased(&stage), 20);
    let value = proved(&prove(&bench, "before", "after", &["--json"]));
    let changes = value["changes"].as_array().unwrap();
    assert!(
        changes.iter().all(|c| c["quantity"] != "throw_reached_mm"),
        "{value}"
    );
    let left_out = value["left_out"].to_string();
    assert!(left_out.contains("throw"), "{left_out}");
    assert!(value["cautions"].to_string().contains("stage"), "{value}");
}
