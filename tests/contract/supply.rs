//! `supply` from outside: simulated recordings with leads of known copper, in files and in a logbook; what is shown and the
//! exit status.

use hingewright::simulated::{
    ByHand, Channel, Programme, PulseMove, Scenario, SecondServo, Sensors, Servo, Simulated, Spell,
    Sweep, Wiring, simulate,
};
use serde_json::Value;

use super::bench::{Bench, OnFile, Ran, assert_near, run};

const BOTH_VOLTAGES: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::CurrentMa,
    Channel::SupplyV,
    Channel::SourceV,
    Channel::AirC,
];

const SUPPLY: &str = "\n[supply]\nopen_v = 7.4\ninternal_mohm = 20\npack_mah = 2600\npack_c = 20\nregulator_a = 10\nregulator_peak_a = 20\n\
    connector_a = 10\nleast_v = 5.0\nother_ma = 100\n[supply.lead]\nlength_mm = 120\nawg = 18\nconnections = 1\n";
const LEAD: &str = "[servo.lead]\nlength_mm = 650\nawg = 22\nconnections = 1\n";
const NAMES: [&str; 2] = ["left elevator", "rudder"];

fn aircraft(lead: &str, supply: &str) -> String {
    let mut text = String::from(
        "[aircraft]\nname = \"Dunlin\"\n\n[[servo_type]]\nname = \"metal gear\"\nstall_torque_ncm = 210\nstall_voltage_v = 7.4\narm_deg_per_us = 0.09\n",
    );
    for tag in ["E1", "R1"] {
        text += &format!("\n[[servo]]\ntag = \"{tag}\"\ntype = \"metal gear\"\n{lead}");
    }
    text += "\n[[surface]]\nname = \"left elevator\"\nservo = \"E1\"\nchord_mm = 58\nthrows = [{ name = \"up\", up_deg = 24 }, { name = \"down\", down_deg = 24 }]\n";
    text += "\n[[surface]]\nname = \"rudder\"\nservo = \"R1\"\nchord_mm = 70\nthrows = [{ name = \"left\", left_deg = 24 }, { name = \"right\", right_deg = 24 }]\n";
    text + supply
}

/// AWG 22 is 0.326 mm² (printed tables, from memory).
fn wiring(contact_mohm: f64) -> Wiring {
    Wiring {
        length_m: 0.65,
        area_mm2: 0.326,
        copper_c: 21.0,
        plugs: 1,
        contact_mohm,
        conducts: 1.0,
    }
}

fn swept(surface: &str, lead_mohm: f64, seed: u64) -> Simulated {
    simulate(&scenario(surface, lead_mohm), seed)
}

fn scenario(surface: &str, lead_mohm: f64) -> Scenario {
    let mut scenario = Scenario {
        surface: surface.into(),
        ..Scenario::default()
    };
    scenario.plant.supply.lead_mohm = lead_mohm;
    scenario.with_channels(BOTH_VOLTAGES.to_vec())
}

/// Twelve times to and fro at once.
fn steps() -> Programme {
    let step = |to_us| PulseMove {
        to_us,
        us_per_s: 0.0,
        hold_s: 0.5,
    };
    Programme::Spells(vec![Spell {
        moves: (0..12).flat_map(|_| [step(1750.0), step(1250.0)]).collect(),
        waits_s: 1.0,
        ..Spell::default()
    }])
}

fn bench(aircraft: &str, contact_mohm: f64) -> Bench {
    let bench = Bench::new(&OnFile::default());
    bench.put("aircraft.toml", aircraft);
    for (name, seed) in NAMES.iter().zip(5..) {
        let lead = wiring(contact_mohm).mohm();
        bench.put(&format!("{name}.log"), swept(name, lead, seed).capture);
    }
    bench
}

fn supply(bench: &Bench, files: &[&str], more: &[&str]) -> Ran {
    let file = bench.path("aircraft.toml");
    let mut arguments = vec!["supply".to_owned(), "--aircraft".into()];
    arguments.push(file.display().to_string());
    arguments.extend(files.iter().map(|f| bench.path(f).display().to_string()));
    arguments.extend(more.iter().map(|m| m.to_string()));
    run(arguments)
}

const BOTH: [&str; 2] = ["left elevator.log", "rudder.log"];

fn told(ran: &Ran) -> Value {
    let value: Value =
        serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}", ran.err));
    assert_eq!(value["schema"], "hingewright.supply/1");
    value
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

fn kinds(value: &Value) -> Vec<String> {
    let found = value["findings"].as_array().unwrap().iter();
    found
        .map(|f| f["kind"].as_str().unwrap().to_owned())
        .collect()
}

#[track_caller]
fn has_words(ran: &Ran, words: &[&str]) {
    let said = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for word in words {
        assert!(said.contains(word), "no {word:?} in {said}");
    }
    let wide = ran.out.lines().find(|l| l.chars().count() > 80);
    assert_eq!(wide, None, "{}", ran.out);
}

#[test]
fn sound_leads_within_all_ratings_are_no_finding() {
    let bench = bench(&aircraft(LEAD, SUPPLY), 4.0);
    let ran = supply(&bench, &BOTH, &["--json"]);
    let value = told(&ran);
    assert_eq!(ran.status, 0, "{value:#}");
    assert_eq!(value["verdict"], "no-fault-found");
    for surface in value["surfaces"].as_array().unwrap() {
        assert_near(&surface["lead_mohm"], wiring(4.0).mohm(), 12.0);
        assert_near(&surface["source_mohm"], 30.0, 10.0);
        assert_eq!(surface["lead"], "sound");
        // 16.14 Ω/1000 ft at 20 °C, 1.3 m of it; 0.393 % a kelvin.
        let copper = 68.84 * (1.0 + 0.003_93 * (number(&surface["copper"]["air_c"]) - 20.0));
        assert!((number(&surface["copper"]["nominal_mohm"]) - copper).abs() < 0.05);
    }
    assert_eq!(value["lower_bound"], false);
    let ran = supply(&bench, &BOTH, &[]);
    println!("{}", ran.out);
    let after_option = supply(&bench, &[], &["--from"]);
    assert_eq!(after_option.status, 2, "{}", after_option.out);
    let paths = BOTH.map(|f| bench.path(f).display().to_string());
    let after_option = supply(&bench, &[], &["--from", &paths[0], &paths[1]]);
    assert_eq!(after_option.out, ran.out);
    has_words(
        &ran,
        &[
            "no fault found",
            "disconnect the pack",
            "common practice, no source",
            "Flights on a charge of 2600 mAh",
            "left elevator.log",
        ],
    );
}

#[test]
fn a_connector_that_has_gone_bad_is_found_and_what_to_do_is_said() {
    let bench = bench(&aircraft(LEAD, SUPPLY), 4.0);
    bench.put(
        "rudder.log",
        swept("rudder", wiring(45.0).mohm(), 8).capture,
    );
    let ran = supply(&bench, &BOTH, &["--json"]);
    let value = told(&ran);
    assert_eq!(ran.status, 1);
    assert_eq!(kinds(&value), ["lead-worse"], "{value:#}");
    let finding = &value["findings"][0];
    assert_eq!(
        (&finding["servo"], &finding["level"]),
        (&"R1".into(), &"work".into())
    );
    assert_near(
        &value["surfaces"][1]["lead_mohm"],
        wiring(45.0).mohm(),
        15.0,
    );
    let ran = supply(&bench, &BOTH, &[]);
    println!("{}", ran.out);
    has_words(
        &ran,
        &[
            "R1 (rudder): lead or connector is worse than its copper:",
            "and its limit is 1",
            "for 1 plug",
            "plugs and crimps",
            "work needed",
        ],
    );
}

/// Wire that is not all copper, as it is sold: 60 % of the conductivity, plugs as they should be.
#[test]
fn a_wire_that_is_not_all_copper_is_never_called_sound() {
    let bench = bench(&aircraft(LEAD, SUPPLY), 4.0);
    let clad = Wiring {
        conducts: 0.6,
        ..wiring(8.0)
    };
    bench.put("rudder.log", swept("rudder", clad.mohm(), 3).capture);
    let value = told(&supply(&bench, &BOTH, &["--json"]));
    let state = value["surfaces"][1]["lead"].as_str().unwrap();
    assert!(["worse", "unproven"].contains(&state), "{value:#}");
}

/// Noise-free sensors, read here from the capture itself.
#[test]
fn peaks_and_sums_are_those_that_perfect_sensors_read() {
    let mut perfect = scenario("left elevator", 80.0);
    perfect.sensors = Sensors {
        current_noise_ma: 0.0,
        current_step_ma: 0.0,
        ..Sensors::default()
    };
    let made = simulate(&perfect, 4).capture;
    let text = String::from_utf8(made.clone()).unwrap();
    let samples = text.lines().filter(|l| l.starts_with("S,"));
    let current: Vec<f64> = samples
        .filter_map(|l| l.split(['*', ',']).nth(5)?.parse().ok())
        .collect();
    let tenth = |w: &[f64]| w.iter().sum::<f64>() / w.len() as f64;
    let highest = current.windows(10).map(tenth).fold(0.0, f64::max);
    let bench = bench(&aircraft(LEAD, SUPPLY), 4.0);
    bench.put("left elevator.log", made);
    let value = told(&supply(&bench, &BOTH, &["--json"]));
    let [elevator, rudder] = [0, 1].map(|i| &value["surfaces"][i]);
    assert!(
        (number(&elevator["highest_ma"]) / highest - 1.0).abs() < 0.02,
        "{elevator} {highest}"
    );
    assert!(number(&elevator["peak_ma"]["value"]) <= highest + 1.0);
    let loads = &value["loads_ma"];
    let of = |surface: &Value, what: &str| number(&surface[what]["value"]);
    for (load, what) in [
        ("peak", "peak_ma"),
        ("lasting", "moving_ma"),
        ("holding", "holding_ma"),
        ("resting", "resting_ma"),
    ] {
        let sum = of(elevator, what) + of(rudder, what) + 100.0;
        assert!((of(loads, load) - sum).abs() < 1e-6, "{load}: {loads}");
    }
    // One moves, the other is held.
    let one = told(&supply(&bench, &BOTH, &["--json", "--moving-at-once", "1"]));
    let moving = one["surfaces"].as_array().unwrap();
    assert_eq!(moving.iter().filter(|s| s["moves"] == true).count(), 1);
    assert!(of(&one["loads_ma"], "peak") < of(loads, "peak"));
}

#[test]
fn voltage_shares_and_charge_are_those_worked_out_by_hand() {
    let bench = bench(&aircraft(LEAD, SUPPLY), 4.0);
    let more = [
        "--json",
        "--flight-min",
        "6",
        "--air-factor",
        "1",
        "--reserve",
        "0.5",
    ];
    let value = told(&supply(&bench, &BOTH, &more));
    let of = |v: &Value| number(&v["value"]);
    let peak_ma = of(&value["loads_ma"]["peak"]);
    // AWG 18: 6.385 Ω/1000 ft = 20.95 mΩ/m; 0.24 m of it, 10 K warm and 16 % on top, and 20 mΩ of plug.
    let shared_mohm = 20.0 + 0.24 * 20.95 * 1.0393 * 1.16 + 20.0;
    for surface in value["surfaces"].as_array().unwrap() {
        let own = of(&surface["peak_ma"]) * of(&surface["lead_mohm"]) * 1e-6;
        let left = 7.4 - 1e-6 * shared_mohm * peak_ma - own;
        let at = &surface["at_plug"];
        assert!((of(&at["volts"]) - left).abs() < 2e-4, "{at} {left}");
        assert_eq!(
            (&at["standing"], &at["lead_resistance"]),
            (&"within".into(), &"measured".into())
        );
    }
    // Regulator and connector are held against whatever lasts and is more.
    let loads = &value["loads_ma"];
    let lasting_ma = of(&loads["lasting"]).max(of(&loads["holding"]));
    let shares: Vec<f64> = value["ratings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| of(&r["share"]))
        .collect();
    // 2.6 Ah at 20 C are 52 A.
    for (share, by_hand) in shares.iter().zip([
        peak_ma / 52e3,
        lasting_ma / 10e3,
        peak_ma / 20e3,
        lasting_ma / 10e3,
    ]) {
        assert!((share - by_hand).abs() < 1e-9, "{shares:?}");
    }
    let mean: f64 = 100.0
        + value["surfaces"]
            .as_array()
            .unwrap()
            .iter()
            .map(|s| {
                0.2 * of(&s["moving_ma"]) + 0.3 * of(&s["resting_ma"]) + 0.5 * of(&s["holding_ma"])
            })
            .sum::<f64>();
    let flight = &value["flight"];
    assert!(
        (of(&flight["mah"]) - 0.1 * mean).abs() < 1e-6,
        "{flight} {mean}"
    );
    assert!((of(&flight["wh"]) - 0.1 * mean * 7.4e-3).abs() < 1e-6);
    let flights = (0.5 * 2600.0 / (0.1 * mean)).floor();
    assert_eq!(flight["flights_per_charge"].as_f64(), Some(flights));
    assert!(flight["at_least"].as_f64().unwrap() <= flights);
}

#[test]
fn ratings_exceeded_and_a_plug_below_the_least_are_findings() {
    let weak = SUPPLY
        .replace("connector_a = 10", "connector_a = 0.2")
        .replace("least_v = 5.0", "least_v = 7.39");
    let bench = bench(&aircraft(LEAD, &weak), 4.0);
    let ran = supply(&bench, &BOTH, &["--json"]);
    let value = told(&ran);
    assert_eq!((ran.status, &value["verdict"]), (1, &"do-not-fly".into()));
    assert_eq!(
        kinds(&value),
        ["plug-voltage", "plug-voltage", "rating"],
        "{value:#}"
    );
    let ran = supply(&bench, &BOTH, &[]);
    has_words(
        &ran,
        &[
            "falls below the least of 7.39 V",
            "is beyond its rating of 0.2 A",
            "Fit a stronger connector",
        ],
    );
}

#[test]
fn a_surface_never_measured_is_named_and_every_sum_is_a_lower_bound() {
    let bench = bench(&aircraft(LEAD, SUPPLY), 4.0);
    let ran = supply(&bench, &BOTH[..1], &["--json"]);
    let value = told(&ran);
    assert_eq!((ran.status, &value["verdict"]), (1, &"unproven".into()));
    assert_eq!(value["lower_bound"], true);
    assert_eq!(value["not_measured"], serde_json::json!(["rudder"]));
    assert_eq!(value["flight"]["flights_per_charge"], Value::Null);
    assert!(value["flight"]["mah"]["value"].is_number());
    assert_eq!(kinds(&value), ["lead-not-measured", "not-measured"]);
    let ran = supply(&bench, &BOTH[..1], &[]);
    println!("{}", ran.out);
    has_words(
        &ran,
        &[
            "Not in the sums: rudder",
            "lower bound",
            "≥",
            "Flights on a charge are unproven: what these draw was not measured: R1 (rudder).",
        ],
    );
    assert!(value["flight"]["flights_per_charge"].is_null());
    assert!(value["flight"]["at_least"].is_null());
    // A hand on the surface draws nothing: that is no measurement either.
    let by_hand = Scenario {
        programme: Programme::Hand(ByHand::default()),
        ..scenario("rudder", 80.0)
    };
    bench.put("rudder.log", simulate(&by_hand, 2).capture);
    let ran = supply(&bench, &BOTH, &[]);
    assert_eq!(ran.status, 1);
    has_words(&ran, &["moved by hand"]);
}

#[test]
fn without_the_sources_voltage_lead_and_source_cannot_be_told_apart_and_that_is_said() {
    let bench = bench(&aircraft(LEAD, SUPPLY), 4.0);
    for name in NAMES {
        let one = scenario(name, 80.0).with_channels(BOTH_VOLTAGES[..4].to_vec());
        bench.put(&format!("{name}.log"), simulate(&one, 9).capture);
    }
    let ran = supply(&bench, &BOTH, &["--json"]);
    let value = told(&ran);
    assert_eq!(ran.status, 1);
    for surface in value["surfaces"].as_array().unwrap() {
        assert!(surface["lead_mohm"].is_null() && surface["source_mohm"].is_null());
        assert_near(&surface["lead_and_source_mohm"], 110.0, 15.0);
        assert_eq!(surface["lead"], "not-measured");
        assert_eq!(surface["at_plug"]["lead_resistance"], "copper");
    }
    assert!(
        value["remarks"]
            .to_string()
            .contains("cannot be told apart")
    );
}

#[test]
fn what_the_file_does_not_say_is_asked_for_with_the_lines_to_add() {
    let bench = bench(&aircraft("", ""), 4.0);
    let ran = supply(&bench, &BOTH, &[]);
    assert_eq!(ran.status, 1);
    println!("{}", ran.out);
    has_words(
        &ran,
        &["[supply]", "open_v = …", "connector_a = …", "not described"],
    );
    let value = told(&supply(&bench, &BOTH, &["--json"]));
    assert!(value["surfaces"][0]["at_plug"].is_null());
    assert_eq!(kinds(&value), ["no-supply"]);
    let none = told(&supply(&bench, &[], &["--json"]));
    assert!(none["loads_ma"].is_null() && none["flight"].is_null());
}

#[test]
fn a_logbook_gives_its_latest_believed_sweep_and_says_what_it_passed_over() {
    let bench = Bench::new(&OnFile::default());
    bench.put("aircraft.toml", aircraft(LEAD, SUPPLY));
    std::fs::create_dir(bench.path("recordings")).unwrap();
    let put = |file: &str, head: &str, lead_mohm: f64, seed: u64| {
        let surface = if file.starts_with("rudder") {
            NAMES[1]
        } else {
            NAMES[0]
        };
        let made = String::from_utf8(swept(surface, lead_mohm, seed).capture).unwrap();
        let day = format!(
            "2026-04-0{}T10:00:00Z",
            file.as_bytes()[file.len() - 1] - b'0'
        );
        let made = made.replacen("2026-04-18T10:22:07Z", &day, 1);
        bench.put(&format!("recordings/{file}.log"), format!("{head}{made}"));
    };
    put("elevator-1", "", 180.0, 1);
    put("elevator-3", "", 80.0, 2);
    put("rudder-3", "# servo=R1\n", 80.0, 3);
    put("rudder-5", "# servo=OLD\n", 190.0, 4);
    let root = bench.path("").display().to_string();
    let ran = run(["supply", "--logbook", &root, "--json"]);
    let value = told(&ran);
    assert_eq!(ran.status, 0, "{value:#}");
    let [elevator, rudder] = [0, 1].map(|i| &value["surfaces"][i]);
    assert_eq!(elevator["currents_from"], "recordings/elevator-3.log");
    assert_eq!(rudder["lead_from"], "recordings/rudder-3.log");
    assert_near(&elevator["lead_mohm"], 80.0, 12.0);
    assert!(
        value["remarks"].to_string().contains("it is of servo OLD"),
        "{value:#}"
    );
}

/// A test in steps on the same day: its peak and its lead are taken, the sweep's holding and moving stay.
#[test]
fn a_test_in_steps_gives_the_peak_and_a_better_lead() {
    let bench = bench(&aircraft(LEAD, SUPPLY), 4.0);
    let mut test = scenario("rudder", wiring(4.0).mohm());
    test.purpose = Some("servo-test".into());
    test.programme = steps();
    bench.put("steps.log", simulate(&test, 3).capture);
    let without = told(&supply(&bench, &BOTH, &["--json"]));
    let ran = supply(&bench, &[BOTH[0], BOTH[1], "steps.log"], &["--json"]);
    let value = told(&ran);
    assert_eq!(ran.status, 0, "{value:#}");
    let [before, after] = [&without, &value].map(|v| &v["surfaces"][1]);
    assert_eq!(
        (&before["peak_of"], &after["peak_of"]),
        (&"sweep".into(), &"steps".into())
    );
    assert!(
        number(&after["peak_ma"]["value"]) > 2.0 * number(&before["peak_ma"]["value"]),
        "{after}"
    );
    assert_eq!(before["holding_ma"], after["holding_ma"]);
    assert!(number(&after["lead_mohm"]["u"]) < number(&before["lead_mohm"]["u"]));
    assert_near(&after["lead_mohm"], wiring(4.0).mohm(), 10.0);
    assert!(without["remarks"].to_string().contains("slow sweep"));
}

/// Two servos on the rudder. A sweep reads the first one's plug; the second by itself, in steps, says so on top.
#[test]
fn the_second_servos_lead_is_judged_from_a_recording_of_its_own() {
    let two = aircraft(LEAD, SUPPLY).replace("servo = \"R1\"", "servos = [\"R1\", \"R2\"]");
    let second = format!("\n[[servo]]\ntag = \"R2\"\ntype = \"metal gear\"\n{LEAD}");
    let two = two.replacen("\n[[surface]]", &format!("{second}\n[[surface]]"), 1);
    let bench = bench(&two, 4.0);
    let mut both = scenario("rudder", wiring(4.0).mohm());
    both.channels.push(Channel::Current2Ma);
    both.plant.second = Some(SecondServo {
        centre_offset_deg: 0.0,
        servo: Servo::default(),
    });
    bench.put("rudder.log", simulate(&both, 6).capture);
    let value = told(&supply(&bench, &BOTH, &["--json"]));
    let rudder = &value["surfaces"][1];
    assert_eq!(kinds(&value), ["lead-not-measured"], "{value:#}");
    assert_eq!(value["findings"][0]["servo"], "R2");
    assert!(value["findings"].to_string().contains("# servo=R2"));
    assert_eq!(rudder["second"]["lead"], "not-measured");
    // What feeds both sees the current of both, and one was read at a time.
    assert!(rudder["source_mohm"].is_null());
    let alone = Scenario {
        programme: steps(),
        ..scenario("rudder", wiring(60.0).mohm())
    };
    let mut made = b"# servo=R2\n".to_vec();
    made.extend(simulate(&alone, 3).capture);
    bench.put("second.log", made);
    let ran = supply(&bench, &[BOTH[0], BOTH[1], "second.log"], &["--json"]);
    let value = told(&ran);
    let after = &value["surfaces"][1];
    assert_eq!(kinds(&value), ["lead-worse"], "{value:#}");
    assert_eq!(value["findings"][0]["servo"], "R2");
    assert_eq!(after["second"]["lead"], "worse");
    assert_near(&after["second"]["lead_mohm"], wiring(60.0).mohm(), 10.0);
    // Its currents are no surface's.
    assert_eq!(after["peak_ma"], rudder["peak_ma"]);
    assert_eq!(after["lead_mohm"], rudder["lead_mohm"]);
}

#[test]
fn arguments_that_cannot_be_used_are_refused() {
    run(["supply"]).refused_with(&["--logbook"]);
    let sample = ["supply", "--aircraft", "samples/aircraft.toml"];
    let of = |more: &[&str]| run(sample.into_iter().chain(more.iter().copied()));
    of(&["--moving-share", "0.8", "--resting-share", "0.5"]).refused_with(&["whole flight"]);
    of(&["--reserve", "1.5"]).refused_with(&["from 0 to 1"]);
    of(&["--moving-at-once", "0"]).refused_with(&["--moving-at-once"]);
    of(&["--moving-at-once", "40"]).refused_with(&["has 7 surfaces", "from 1 to 7"]);
    let sound = "samples/1-left-elevator-sound.log";
    let (placed, named) = (of(&[sound, "--json"]), of(&["--from", sound, "--json"]));
    assert_eq!((placed.status, &placed.out), (named.status, &named.out));
    assert!(placed.out.contains(sound), "{}", placed.out);
    let missing = of(&["no-such.log"]);
    assert_eq!(missing.status, 2);
    assert!(missing.err.contains("no-such.log"), "{}", missing.err);
    run(["supply", "--logbook", "no/such/folder"]).refused_with(&["no/such/folder"]);
}

#[test]
fn a_recording_with_no_cycles_says_nothing_of_what_is_drawn() {
    let bench = bench(&aircraft(LEAD, SUPPLY), 4.0);
    let mut short = scenario("rudder", 80.0);
    short.programme = Programme::Sweep(Sweep {
        cycles: 1,
        ..Sweep::default()
    });
    bench.put("rudder.log", simulate(&short, 1).capture);
    let value = told(&supply(&bench, &BOTH, &["--json"]));
    assert!(value["surfaces"][1]["peak_ma"].is_null());
    assert!(
        value["findings"]
            .to_string()
            .contains("fewer than three cycles")
    );
}
