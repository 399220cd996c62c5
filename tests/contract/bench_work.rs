//! `held`, `heat` and `rods` from files, as an outsider meets them.

use hingewright::simulated::{
    ByHand, Channel, Loaded, OnArm, Programme, PulseMove, Scenario, Spell, Sweep, simulate,
};
use serde_json::Value;

use super::bench::{Bench, OnFile, Ran, run};

const SURFACE: &str = "left elevator";

fn bench() -> Bench {
    Bench::new(&OnFile::default())
}

fn told(bench: &Bench, command: &str, more: &[&str]) -> Ran {
    let aircraft = bench.path("aircraft.toml").display().to_string();
    let mut all = vec![command, SURFACE, "--aircraft", &aircraft];
    all.extend(more);
    run(all)
}

fn object(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {} {}", ran.out, ran.err))
}

fn fits(ran: &Ran) {
    let wide = ran
        .out
        .lines()
        .find(|l| l.chars().count() > 80 && !l.contains('/'));
    assert_eq!(wide, None, "{}", ran.out);
}

fn holds(quantity: &Value, truth: f64) -> bool {
    let end = |key: &str| quantity[key].as_f64().unwrap_or(f64::NAN);
    end("lo95") <= truth && truth <= end("hi95")
}

pub fn go(to_us: f64, us_per_s: f64, hold_s: f64) -> PulseMove {
    PulseMove {
        to_us,
        us_per_s,
        hold_s,
    }
}

/// Weights hung one after another, up positive, on joints that give 60 N·cm/° and have 0.3° of play.
fn hung(loads: &[f64]) -> Vec<u8> {
    let spell = |ncm: &f64| Spell {
        keys: vec![("hung_ncm".into(), ncm.to_string())],
        loaded: Loaded {
            hung_ncm: *ncm,
            ..Loaded::default()
        },
        moves: vec![go(1500.0, 400.0, 4.0)],
        waits_s: 1.0,
    };
    let mut scenario = Scenario {
        rate_hz: 100.0,
        channels: vec![Channel::PulseUs, Channel::AngleDeg],
        programme: Programme::Spells(loads.iter().map(spell).collect()),
        purpose: Some("held".into()),
        ..Scenario::default()
    };
    let plant = &mut scenario.plant;
    plant.joints.slop_deg = 0.3;
    plant.joints.stiffness_ncm_per_deg = 60.0;
    plant.hinge.friction_ncm = 0.0;
    plant.hinge.neutral_torque_ncm = 0.0;
    plant.servo.friction_nm = 3.0;
    plant.servo.winding_w_per_nm2 = 2.0;
    simulate(&scenario, 5).capture
}

#[test]
fn a_held_surface_has_stiffness_and_play_with_intervals_and_the_full_size_figures_beside_them() {
    let bench = bench();
    let order = [0.0, 10.0, 25.0, 0.0, -10.0, -25.0].repeat(2);
    let file = bench.put("held.log", hung(&order)).display().to_string();
    let ran = told(&bench, "held", &["--from", &file, "--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let value = object(&ran);
    assert_eq!(value["schema"], "hingewright.held/1");
    assert_eq!(value["readings"].as_array().unwrap().len(), 12);
    let hinge = hingewright::simulated::Hinge::default().stiffness_ncm_per_deg;
    // Statics: the joints and the hinge share the weight.
    assert!(
        holds(&value["stiffness_ncm_per_deg"], 60.0 + hinge),
        "{value}"
    );
    let play = 0.3 * 60.0 / (60.0 + hinge);
    assert!(holds(&value["play_deg"], play), "{value}");
    assert!(
        holds(&value["play_edge_mm"], 58.0 * play.to_radians()),
        "{value}"
    );
    let ran = told(&bench, "held", &["--from", &file]);
    fits(&ran);
    for words in [
        "FOR COMPARISON ONLY",
        "no limit for a model",
        "AC 23.629-1B",
        "from memory",
    ] {
        // Lines are filled: the words may stand on two.
        let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(words), "{words}: {}", ran.out);
    }
}

#[test]
fn one_side_alone_is_said_to_tell_no_play() {
    let bench = bench();
    let file = bench
        .put("held.log", hung(&[0.0, 10.0, 25.0, 10.0, 25.0]))
        .display()
        .to_string();
    let ran = told(&bench, "held", &["--from", &file, "--json"]);
    assert_eq!(ran.status, 1, "{}", ran.out);
    let value = object(&ran);
    assert_eq!(value["cannot"], "one-side");
    assert_eq!(value["play_deg"], Value::Null);
}

fn warmed(seconds: f64, channels: &[Channel]) -> Vec<u8> {
    let scenario = Scenario {
        rate_hz: 20.0,
        channels: channels.to_vec(),
        programme: Programme::Spells(vec![Spell {
            loaded: Loaded {
                on_arm: OnArm::Weight {
                    mass_kg: 0.8,
                    arm_mm: 70.0,
                },
                hung_ncm: 0.0,
            },
            moves: vec![go(1500.0, 0.0, seconds)],
            waits_s: 5.0,
            ..Spell::default()
        }]),
        purpose: Some("heat".into()),
        ..Scenario::default()
    };
    simulate(&scenario, 2).capture
}

const WARM: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::CurrentMa,
    Channel::SupplyV,
    Channel::CaseC,
    Channel::AirC,
];

#[test]
fn a_warming_servo_is_told_where_it_ends_and_drawn() {
    let bench = bench();
    let file = bench
        .put("heat.log", warmed(600.0, WARM))
        .display()
        .to_string();
    let picture = bench.path("heat.png");
    let shown = picture.display().to_string();
    let ran = told(
        &bench,
        "heat",
        &["--from", &file, "--json", "--plot", &shown],
    );
    let value = object(&ran);
    assert_eq!(value["schema"], "hingewright.heat/1");
    let case = &value["case"];
    let (last, end) = (case["last_c"].as_f64().unwrap(), &case["end_c"]);
    assert!(end["lo95"].as_f64().unwrap() > last, "{value}");
    // Nine of its times later, by the plant alone.
    let long = bench
        .put("long.log", warmed(3500.0, WARM))
        .display()
        .to_string();
    let later = object(&told(&bench, "heat", &["--from", &long, "--json"]));
    let there = later["case"]["last_c"].as_f64().unwrap();
    assert!(
        (end["value"].as_f64().unwrap() - there).abs() < 2.0,
        "{end} {there}"
    );
    let text = value["text"].as_str().unwrap();
    assert!(text.contains("would end at"), "{text}");
    assert_eq!(&std::fs::read(&picture).unwrap()[1..4], b"PNG");
    if let Ok(folder) = std::env::var("HINGEWRIGHT_PICTURES") {
        std::fs::copy(&picture, format!("{folder}/heat.png")).unwrap();
    }
    fits(&told(&bench, "heat", &["--from", &file]));
}

#[test]
fn without_a_case_temperature_copper_loss_is_all_and_that_is_said() {
    let bench = bench();
    let file = bench
        .put("heat.log", warmed(120.0, &WARM[..4]))
        .display()
        .to_string();
    let ran = told(&bench, "heat", &["--from", &file, "--json"]);
    assert_eq!(ran.status, 1, "{}", ran.out);
    let value = object(&ran);
    assert_eq!(value["case"], Value::Null);
    assert!(value["copper_w"]["lo95"].as_f64().unwrap() > 0.0, "{value}");
    let text = value["text"].as_str().unwrap();
    assert!(
        text.contains("case_c") && text.contains("all that is known"),
        "{text}"
    );
    let ran = told(&bench, "heat", &["--from", &file, "--plot", "nowhere.png"]);
    assert!(ran.status == 2 && ran.err.contains("case_c"), "{}", ran.err);
}

fn on(bench: &Bench) -> String {
    let mut scenario = Scenario {
        channels: vec![
            Channel::PulseUs,
            Channel::AngleDeg,
            Channel::ArmDeg,
            Channel::CurrentMa,
            Channel::SupplyV,
        ],
        programme: Programme::Sweep(Sweep::default()),
        ..Scenario::default()
    };
    // The hinge's 3, and 2.5 that the linkage rubs.
    scenario.plant.hinge.friction_ncm = 5.5;
    scenario.plant.hinge.viscous_ncm_s_per_deg = 0.0;
    bench
        .put("on.log", simulate(&scenario, 1).capture)
        .display()
        .to_string()
}

fn by_hand(bench: &Bench) -> String {
    let mut scenario = Scenario {
        channels: vec![Channel::AngleDeg, Channel::TorqueNcm],
        programme: Programme::Hand(ByHand::default()),
        purpose: Some("rods-off".into()),
        ..Scenario::default()
    };
    scenario.plant.hinge.friction_ncm = 3.0;
    scenario.plant.hinge.viscous_ncm_s_per_deg = 0.0;
    bench
        .put("hand.log", simulate(&scenario, 2).capture)
        .display()
        .to_string()
}

fn free(bench: &Bench) -> String {
    let moves = [1750.0, 1250.0]
        .repeat(8)
        .into_iter()
        .map(|us| go(us, 350.0, 0.7));
    let scenario = Scenario {
        channels: vec![
            Channel::PulseUs,
            Channel::AngleDeg,
            Channel::CurrentMa,
            Channel::SupplyV,
        ],
        programme: Programme::Spells(vec![Spell {
            loaded: Loaded {
                on_arm: OnArm::Nothing,
                hung_ncm: 0.0,
            },
            moves: moves.collect(),
            ..Spell::default()
        }]),
        purpose: Some("rods-off".into()),
        ..Scenario::default()
    };
    bench
        .put("free.log", simulate(&scenario, 3).capture)
        .display()
        .to_string()
}

#[test]
fn rods_off_and_on_take_the_friction_apart() {
    let bench = bench();
    let (on, hand, free) = (on(&bench), by_hand(&bench), free(&bench));
    let ran = told(
        &bench,
        "rods",
        &["--on", &on, "--off", &hand, &free, "--json"],
    );
    assert_eq!(ran.status, 0, "{}", ran.err);
    let value = object(&ran);
    assert_eq!(value["schema"], "hingewright.rods/1");
    let friction = &value["friction_ncm"];
    assert!(holds(&friction["hinge"], 3.0), "{friction}");
    assert!(holds(&friction["linkage"], 2.5), "{friction}");
    assert!(
        friction["linkage"]["lo95"].as_f64().unwrap() > 0.5,
        "{friction}"
    );
    assert!(holds(&value["servo_change_ncm"], 0.0), "{value}");
    assert_eq!(value["cannot"], serde_json::json!([]));
    fits(&told(&bench, "rods", &["--on", &on, "--off", &hand, &free]));
}

#[test]
fn what_cannot_be_told_apart_is_said() {
    let bench = bench();
    let (on, free) = (on(&bench), free(&bench));
    let ran = told(&bench, "rods", &["--on", &on, "--off", &free, "--json"]);
    let value = object(&ran);
    assert_eq!(value["cannot"], serde_json::json!(["no-torque-sensor"]));
    assert_eq!(value["friction_ncm"]["linkage"], Value::Null);
    assert!(
        value["text"].as_str().unwrap().contains("stay one"),
        "{value}"
    );
    let ran = told(&bench, "rods", &["--on", &on, "--off", "none.log"]);
    ran.refused_with(&["none.log", "what to do"]);
}
