//! Two servos on one surface from outside: share and fight told, and what is said where they cannot be.

use hingewright::simulated::{
    Channel, PlantSettings, Programme, PulseMove, Scenario, SecondServo, Servo, Spell, simulate,
};
use serde_json::Value;

use super::bench::{Bench, OnFile, Ran, aircraft, has_finding, run};

const BOTH: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::CurrentMa,
    Channel::Current2Ma,
    Channel::SupplyV,
];

/// The elevator of the bench, driven by two.
fn two() -> Bench {
    let bench = Bench::new(&OnFile::default());
    let text = aircraft(&OnFile::default());
    let text = text
        .replace("servo = \"E1\"", "servos = [\"E1\", \"E2\"]")
        .replace(
            "[[surface]]",
            "[[servo]]\ntag = \"E2\"\ntype = \"metal gear\"\ncalibration = \"E2.calibration.toml\"\n\n[[surface]]",
        );
    let calibration = std::fs::read_to_string(bench.path("E1.calibration.toml")).unwrap();
    bench.put("E2.calibration.toml", calibration.replace("E1", "E2"));
    bench.put("aircraft.toml", text);
    bench
}

/// Stops at neutral and half-way on every stroke; the second's middle stands off by so much of the arm.
fn scenario(off_deg: f64, channels: &[Channel]) -> Scenario {
    let there = [
        1500.0, 1625.0, 1750.0, 1625.0, 1500.0, 1375.0, 1250.0, 1375.0,
    ];
    let moves = there.repeat(8).into_iter().map(|to_us| PulseMove {
        to_us,
        us_per_s: 400.0,
        hold_s: 0.6,
    });
    let mut plant = PlantSettings {
        second: Some(SecondServo {
            centre_offset_deg: off_deg,
            servo: Servo::default(),
        }),
        ..PlantSettings::default()
    };
    plant.joints.stiffness_ncm_per_deg = 60.0;
    Scenario {
        channels: channels.to_vec(),
        plant,
        programme: Programme::Spells(vec![Spell {
            moves: moves.collect(),
            waits_s: 3.0,
            ..Spell::default()
        }]),
        ..Scenario::default()
    }
}

fn checked(bench: &Bench, off_deg: f64, channels: &[Channel]) -> Value {
    let capture = simulate(&scenario(off_deg, channels), 4).capture;
    bench.check_bytes("two.log", capture).result()
}

fn text(bench: &Bench) -> Ran {
    let aircraft = bench.path("aircraft.toml").display().to_string();
    let file = bench.path("two.log").display().to_string();
    run(["check", &file, "--aircraft", &aircraft])
}

#[test]
fn a_fight_is_a_finding_with_who_pushes_where_and_what_to_do() {
    let bench = two();
    let result = checked(&bench, -4.0, BOTH);
    let servos = &result["servos"];
    assert_eq!(servos["tags"], serde_json::json!(["E1", "E2"]));
    assert_eq!(servos["trim"], "first-pushes-up", "{servos}");
    assert!(
        servos["fight_ma"]["lo95"].as_f64().unwrap() > 100.0,
        "{servos}"
    );
    let places: Vec<&str> = servos["places"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| p["place"].as_str().unwrap())
        .collect();
    assert_eq!(
        places,
        ["lower", "half-lower", "neutral", "half-upper", "upper"]
    );
    for at in servos["places"].as_array().unwrap() {
        assert!(at["first_share"]["lo95"].is_number(), "{at}");
    }
    assert_eq!(
        servos["neutrals_apart_us"],
        Value::Null,
        "no stiffness is known"
    );
    has_finding(
        &result,
        "servo-fight",
        "work",
        &[
            "E1 pushes up and E2 down",
            "limit 100 mA",
            "trim the neutral of E1 down",
        ],
    );
    let said = text(&bench).out;
    assert!(
        said.contains("half-way up") && said.contains("not measured"),
        "{said}"
    );
    assert!(said.lines().all(|l| l.chars().count() <= 80), "{said}");
}

#[test]
fn two_that_agree_are_no_finding() {
    let result = checked(&two(), 0.0, BOTH);
    assert_eq!(result["servos"]["trim"], "none", "{}", result["servos"]);
    let findings = result["findings"].as_array().unwrap();
    assert!(findings.iter().all(|f| f["kind"] != "servo-fight"));
}

#[test]
fn without_the_second_s_current_it_is_said_and_nothing_is_guessed() {
    let bench = two();
    let result = checked(&bench, 4.0, &[&BOTH[..3], &BOTH[4..]].concat());
    assert_eq!(result["servos"]["lack"], "no-second-current");
    assert_eq!(result["servos"]["fight_ma"], Value::Null);
    assert!(result["servos"]["places"].as_array().unwrap().is_empty());
    let said = text(&bench).out;
    assert!(said.contains("current2_ma"), "{said}");
}

#[test]
fn a_second_current_and_one_servo_in_the_file_is_told() {
    let bench = Bench::new(&OnFile::default());
    let result = checked(&bench, 4.0, BOTH);
    assert_eq!(result.get("servos"), None);
    let said = text(&bench).out;
    assert!(
        said.contains("current of a second servo") && said.contains("servos ="),
        "{said}"
    );
}
