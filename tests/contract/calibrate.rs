//! `calibrate` from files: a servo's calibration from simulated lifts, found again by `check` on a sweep of the same plant; an
//! angle sensor's from known angles, applied once and said.

use hingewright::simulated::{
    Channel, Loaded, OnArm, Programme, PulseMove, Scenario, Spell, simulate,
};
use serde_json::Value;

use super::bench::{BY_TORQUE, Bench, OnFile, Ran, assert_near, elevator, run};
use super::wire;

use Channel::*;

const POWER: &[Channel] = &[PulseUs, AngleDeg, ArmDeg, CurrentMa, SupplyV, CaseC];

/// Weights lifted at two speeds on the default plant's servo.
pub fn lifts(masses: &[f64]) -> Scenario {
    let mut scenario = Scenario {
        purpose: Some("calibration".into()),
        keys: vec![("servo".into(), "E1".into())],
        ..Scenario::default()
    };
    let servo = scenario.plant.servo.clone();
    let go = |deg: f64, deg_s: f64, hold_s: f64| PulseMove {
        to_us: servo.pulse_for_arm(deg),
        us_per_s: deg_s / servo.arm_deg_per_us,
        hold_s,
    };
    let mut moves = vec![go(0.0, 30.0, 1.2), go(-20.0, 30.0, 0.6)];
    for deg_s in [30.0, 90.0] {
        for _ in 0..4 {
            moves.extend([go(20.0, deg_s, 0.4), go(-20.0, deg_s, 0.6)]);
        }
    }
    moves.push(go(0.0, 30.0, 1.2));
    let spell = |mass_kg: &f64| Spell {
        keys: vec![
            ("mass_kg".into(), mass_kg.to_string()),
            ("arm_mm".into(), "60".into()),
        ],
        loaded: Loaded {
            on_arm: match *mass_kg {
                0.0 => OnArm::Nothing,
                mass_kg => OnArm::Weight {
                    mass_kg,
                    arm_mm: 60.0,
                },
            },
            hung_ncm: 0.0,
        },
        moves: moves.clone(),
        waits_s: 6.0,
    };
    scenario.programme = Programme::Spells(masses.iter().map(spell).collect());
    scenario.with_channels(vec![PulseUs, ArmDeg, CurrentMa, SupplyV, CaseC])
}

fn calibrate(bench: &Bench, file: &str, more: &[&str]) -> Ran {
    let shown = |name: &str| bench.path(name).display().to_string();
    let mut arguments = vec!["calibrate".to_owned(), "servo".into(), "E1".into()];
    arguments.extend([
        "--from".into(),
        shown(file),
        "--into".into(),
        shown("E1.calibration.toml"),
    ]);
    arguments.extend(more.iter().map(|m| (*m).to_owned()));
    run(arguments)
}

#[test]
fn what_is_calibrated_from_lifts_gives_a_sweeps_torque_back() {
    let bench = Bench::new(&OnFile::default());
    let older = std::fs::read_to_string(bench.path("E1.calibration.toml")).unwrap();
    bench.put(
        "lifts.log",
        simulate(&lifts(&[0.0, 0.2, 0.5, 0.8]), 5).capture,
    );
    let picture = bench.path("lifts.svg").display().to_string();
    let ran = calibrate(&bench, "lifts.log", &["--json", "--plot", &picture]);
    assert_eq!(ran.status, 0, "{}\n{}", ran.out, ran.err);
    let object: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(object["schema"], "hingewright.calibrate-servo/1");
    let servo = Scenario::default().plant.servo;
    assert_near(&object["idle_w"], servo.idle_w, 0.01);
    assert_near(&object["winding_w_per_nm2"], servo.winding_w_per_nm2, 0.8);
    assert_near(&object["friction_nm"], servo.friction_nm, 0.01);
    assert_near(&object["gear_loss"], servo.gear_loss, 0.08);
    assert!(std::fs::read_to_string(&picture).unwrap().contains("<svg"));
    // The older one is kept, and said.
    assert!(
        ran.err.contains("E1.calibration.older-1.toml"),
        "{}",
        ran.err
    );
    let kept = std::fs::read_to_string(bench.path("E1.calibration.older-1.toml")).unwrap();
    assert_eq!(kept, older);
    // The same plant's surface by supply power: its stiffness and friction are 0.45 N·cm/° and 3.06 N·cm.
    let sweep = bench.put("sweep.log", simulate(&elevator(POWER), 71).capture);
    let result = bench.check(&[&sweep], &[]).result();
    assert_eq!(result["torque_from"], "supply-power", "{result}");
    assert_near(&result["curve"]["stiffness_ncm_per_deg"], 0.45, 0.05);
    assert_near(&result["curve"]["friction_ncm"], 3.06, 0.6);
}

#[test]
fn the_text_fits_eighty_columns_and_says_what_it_rests_on() {
    let bench = Bench::new(&OnFile::default());
    bench.put(
        "lifts.log",
        simulate(&lifts(&[0.0, 0.2, 0.5, 0.8]), 6).capture,
    );
    let ran = calibrate(&bench, "lifts.log", &["--dry-run"]);
    assert_eq!(ran.status, 0, "{}\n{}", ran.out, ran.err);
    for words in [
        "winding loss",
        "95 % interval",
        "Torque from supply power",
        "copper",
        "Nothing was written",
    ] {
        assert!(ran.out.contains(words), "no {words:?} in {}", ran.out);
    }
    let long = ran
        .out
        .lines()
        .find(|l| l.chars().count() > 80 && !l.contains('/'));
    assert_eq!(long, None);
    assert!(!bench.path("E1.calibration.older-1.toml").exists());
}

#[test]
fn lifts_that_do_not_suffice_are_refused_with_what_to_do_and_change_no_file() {
    let bench = Bench::new(&OnFile::default());
    let older = std::fs::read(bench.path("E1.calibration.toml")).unwrap();
    let whole = simulate(&lifts(&[0.0, 0.2, 0.5, 0.8]), 7).capture;
    let text = wire::text(&whole);
    bench.put("one-mass.log", simulate(&lifts(&[0.5]), 7).capture);
    let without = |key: &str| -> String {
        text.lines()
            .filter(|l| !l.starts_with(key))
            .map(|l| format!("{l}\n"))
            .collect()
    };
    bench.put("no-mass.log", without("# mass_kg="));
    bench.put("no-arm.log", without("# arm_mm="));
    bench.put("few-masses.log", without("# mass_kg=0.8"));
    bench.put("other.log", text.replace("# servo=E1", "# servo=E2"));
    bench.put("words.log", text.replace("# mass_kg=0.5", "# mass_kg=half"));
    for (file, words) in [
        (
            "one-mass.log",
            &["only 0.5 kg was lifted", "the empty arm"][..],
        ),
        (
            "no-mass.log",
            &["armed 4 times", "no mass is said", "# mass_kg=0.5"],
        ),
        (
            "no-arm.log",
            &["the arm's length is not said", "--arm-mm 60"],
        ),
        (
            "few-masses.log",
            &["armed 4 times, but mass_kg is said 3 times"],
        ),
        ("other.log", &["is of servo E2, not of E1"]),
        ("words.log", &["mass_kg=half is no number"]),
    ] {
        calibrate(&bench, file, &[]).refused_with(words);
    }
    assert_eq!(
        std::fs::read(bench.path("E1.calibration.toml")).unwrap(),
        older
    );
    // Nothing that is no calibration is written over.
    bench.put("lifts.log", &whole);
    let into = bench.path("aircraft.toml").display().to_string();
    let from = bench.path("lifts.log").display().to_string();
    let ran = run([
        "calibrate",
        "servo",
        "E1",
        "--from",
        &from,
        "--into",
        &into,
        "--json",
    ]);
    assert_eq!(ran.status, 2, "{}", ran.err);
    assert!(
        ran.err
            .contains("no calibration, and nothing is written over it"),
        "{}",
        ran.err
    );
    assert!(
        std::fs::read_to_string(&into)
            .unwrap()
            .starts_with("[aircraft]")
    );
}

#[test]
fn a_length_said_wrongly_fits_as_well_and_is_told_by_gears_the_older_calibration_and_the_bound_of_what_power_can_do()
 {
    let bench = Bench::new(&OnFile::default());
    let older = std::fs::read(bench.path("E1.calibration.toml")).unwrap();
    bench.put(
        "lifts.log",
        simulate(&lifts(&[0.0, 0.2, 0.5, 0.8]), 9).capture,
    );
    let flat = |ran: &Ran| ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    // 60 mm is true. Half as long again: more power comes out than goes in.
    calibrate(&bench, "lifts.log", &["--arm-mm", "90"]).refused_with(&[
        "more mechanical power than the supply leaves",
        "said: 90 mm",
        "weigh the masses, in kg",
    ]);
    assert_eq!(
        std::fs::read(bench.path("E1.calibration.toml")).unwrap(),
        older
    );
    // A sixth too short: gears would lose two fifths, which some do; the calibration before says otherwise.
    let ran = calibrate(&bench, "lifts.log", &["--arm-mm", "50", "--dry-run"]);
    assert_eq!(ran.status, 1, "{}\n{}", ran.out, ran.err);
    let told = flat(&ran);
    let told = told
        .split("DOUBTFUL: from the same power")
        .nth(1)
        .unwrap_or_else(|| panic!("{told}"));
    assert!(
        told.contains("% less torque than the one before it"),
        "{told}"
    );
    let agrees = told.split("to agree it would be ").nth(1).unwrap();
    let mm: f64 = agrees.split(' ').next().unwrap().parse().unwrap();
    assert!((mm - 60.0).abs() < 4.0, "{told}");
    // A third too short: no gears lose that.
    let ran = calibrate(
        &bench,
        "lifts.log",
        &["--arm-mm", "40", "--json", "--dry-run"],
    );
    let object: Value = serde_json::from_str(&ran.out).unwrap();
    let doubts = object["doubts"].as_array().unwrap();
    assert!(
        doubts
            .iter()
            .any(|d| d.as_str().unwrap().contains("gears that lose")),
        "{object}"
    );
    assert_eq!(ran.status, 1);
    // As it is nothing stands against it.
    let ran = calibrate(&bench, "lifts.log", &["--json"]);
    let object: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!((ran.status, &object["doubts"]), (0, &serde_json::json!([])));
}

#[test]
fn a_data_sheet_s_speed_that_does_not_go_with_the_calibration_is_told() {
    let bench = Bench::new(&OnFile::default());
    bench.put(
        "lifts.log",
        simulate(&lifts(&[0.0, 0.2, 0.5, 0.8]), 9).capture,
    );
    let aircraft = bench.path("aircraft.toml").display().to_string();
    // Winding 8.4 and gear loss 0.18: 210 N·cm goes with 8.4 · 1.18 · 2.1 = 20.8 rad/s, which is 60° in 0.050 s.
    for (seconds, doubted) in [("0.05", false), ("0.1", true)] {
        let more = [
            "--aircraft",
            &aircraft,
            "--sixty-deg-s",
            seconds,
            "--json",
            "--dry-run",
        ];
        let ran = calibrate(&bench, "lifts.log", &more);
        let object: Value = serde_json::from_str(&ran.out).unwrap();
        let doubts = object["doubts"].to_string();
        assert_eq!(doubts.contains("data sheet's speed"), doubted, "{object}");
    }
}

#[test]
fn of_a_gear_loss_of_nothing_no_share_is_printed() {
    let bench = Bench::new(&OnFile::default());
    let mut nothing = 0;
    for seed in 1..=8 {
        let mut scenario = lifts(&[0.0, 0.2, 0.4]);
        scenario.plant.servo.gear_loss = 0.0;
        bench.put("lifts.log", simulate(&scenario, seed).capture);
        let ran = calibrate(&bench, "lifts.log", &["--dry-run"]);
        let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(!flat.contains("e9 %") && !flat.contains("e1"), "{flat}");
        // In its own unit, where the table has nothing.
        if flat.contains("gear loss 0.000 ") {
            assert!(
                flat.contains("gear loss from ±0.0") && flat.contains("of the load (95 %)"),
                "{flat}"
            );
            nothing += 1;
        }
    }
    assert!(nothing > 0, "none of them came out at nothing");
}

#[test]
fn an_aircraft_file_alone_is_enough_and_the_calibration_goes_into_the_file_that_it_names() {
    let bench = Bench::new(&OnFile::default());
    bench.put(
        "lifts.log",
        simulate(&lifts(&[0.0, 0.2, 0.5, 0.8]), 9).capture,
    );
    let shown = |name: &str| bench.path(name).display().to_string();
    let aircraft = shown("aircraft.toml");
    let lifted = shown("lifts.log");
    let ran = run([
        "calibrate",
        "servo",
        "E1",
        "--from",
        &lifted,
        "--aircraft",
        &aircraft,
    ]);
    assert_eq!(ran.status, 0, "{}\n{}", ran.out, ran.err);
    assert!(
        bench.path("E1.calibration.older-1.toml").exists(),
        "{}",
        ran.err
    );
    assert!(ran.err.contains("names it already"), "{}", ran.err);
    let ran = run([
        "calibrate",
        "servo",
        "E9",
        "--from",
        &lifted,
        "--aircraft",
        &aircraft,
    ]);
    ran.refused_with(&["has no servo \"E9\""]);
}

#[test]
fn without_rig_and_recording_both_ways_are_said() {
    let bench = Bench::new(&OnFile::default());
    let aircraft = bench.path("aircraft.toml").display().to_string();
    for (arguments, words) in [
        (
            &["calibrate", "servo", "E1"][..],
            &["--port PATH", "--from FILE"][..],
        ),
        (&["servo", "E1"], &["--logbook DIR", "--aircraft FILE"]),
        (
            &["heat", "left elevator", "--port", "/dev/none"],
            &["--logbook DIR", "--aircraft FILE"],
        ),
        (
            &["rods", "left elevator"],
            &["--logbook DIR", "--aircraft FILE"],
        ),
        (
            &["held", "left elevator", "--aircraft", &aircraft],
            &["--logbook DIR", "recordings"],
        ),
    ] {
        run(arguments.iter().copied()).refused_with(words);
    }
}

#[test]
fn of_an_unfinished_run_it_is_said_that_it_is_one() {
    let bench = Bench::new(&OnFile::default());
    let mut text = wire::text(&simulate(&lifts(&[0.0, 0.2, 0.5, 0.8]), 8).capture).to_owned();
    text += "# outcome=unfinished: stopped by the user\n";
    bench.put("lifts.log", text);
    let ran = calibrate(&bench, "lifts.log", &[]);
    assert!(
        ran.out.contains("unfinished run, taken as far as it goes"),
        "{}",
        ran.out
    );
}

/// Reads 1.1° at neutral and 0.95° a degree.
const SCALE: f64 = 0.95;
const ZERO_DEG: f64 = 1.1;

/// Three seconds of a surface held at an angle.
pub fn held(angle_deg: f64) -> String {
    let mut csv =
        "# surface=left elevator\n# started=2026-04-18T10:22:07Z\nt_s,angle_deg\n".to_owned();
    for i in 0..300 {
        let noise = 0.03 * (2.0 * (f64::from(i) * 0.618_034).fract() - 1.0);
        csv += &format!(
            "{:.3},{:.3}\n",
            0.01 * f64::from(i),
            ZERO_DEG + SCALE * angle_deg + noise
        );
    }
    csv
}

fn angle(bench: &Bench, more: &[&str]) -> Ran {
    let aircraft = bench.path("aircraft.toml").display().to_string();
    let mut arguments = vec![
        "calibrate",
        "angle",
        "left elevator",
        "--aircraft",
        &aircraft,
    ];
    arguments.extend(more);
    run(arguments)
}

/// `--at ANGLE:FILE` for each angle.
fn at(bench: &Bench, angles: &[f64]) -> Vec<String> {
    let one = |deg: &f64| {
        let path = bench.put(&format!("at{deg}.csv"), held(*deg));
        ["--at".to_owned(), format!("{deg}:{}", path.display())]
    };
    angles.iter().flat_map(one).collect()
}

#[test]
fn a_sensor_calibrated_at_known_angles_gives_a_sweeps_throws_and_stiffness_back() {
    let bench = Bench::new(&OnFile::default());
    let known = at(&bench, &[-20.0, -10.0, 0.0, 10.0, 20.0]);
    let mut arguments: Vec<&str> = known.iter().map(String::as_str).collect();
    arguments.push("--json");
    let ran = angle(&bench, &arguments);
    assert_eq!(ran.status, 0, "{}\n{}", ran.out, ran.err);
    let object: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(object["schema"], "hingewright.calibrate-angle/1");
    assert_near(&object["scale"], 1.0 / SCALE, 0.02);
    assert_near(&object["zero_deg"], ZERO_DEG, 0.2);
    assert_eq!(object["not_straight"], false);

    let mut scenario = elevator(BY_TORQUE);
    scenario.sensors.angle_scale = SCALE;
    scenario.sensors.angle_zero_deg = ZERO_DEG;
    let crooked = bench.put("crooked.log", simulate(&scenario, 71).capture);
    let sound = bench.put("sound.log", simulate(&elevator(BY_TORQUE), 71).capture);
    let before = bench.check(&[&crooked], &[]).result();
    let truth = bench.check(&[&sound], &[]).result();
    let aircraft = std::fs::read_to_string(bench.path("aircraft.toml")).unwrap();
    bench.put(
        "aircraft.toml",
        format!("{aircraft}\n{}", object["toml"].as_str().unwrap()),
    );
    let after = bench.check(&[&crooked], &[]).result();

    let reached = |result: &Value, n: usize| result["throws"][n]["reached_deg"].clone();
    for n in 0..2 {
        let (crooked, right) = (
            reached(&before, n),
            reached(&truth, n)["value"].as_f64().unwrap(),
        );
        assert!(
            (crooked["value"].as_f64().unwrap() - right).abs() > 0.15,
            "{crooked} {right}"
        );
        assert_near(&reached(&after, n), right, 0.3);
        // What the calibration leaves open is in the interval.
        let u = reached(&after, n)["u"].as_f64().unwrap();
        assert!(u > 0.08, "{u}");
    }
    assert_near(&after["curve"]["stiffness_ncm_per_deg"], 0.45, 0.02);
    let u = |r: &Value| r["curve"]["stiffness_ncm_per_deg"]["u"].as_f64().unwrap();
    assert!(u(&after) > 1.1 * u(&truth), "{} {}", u(&after), u(&truth));
    let applied = after["recording"]["angle_calibration"].as_str().unwrap();
    assert!(
        applied.starts_with("1.05") && applied.contains("* (reading - 1."),
        "{applied}"
    );
    assert!(before["recording"].get("angle_calibration").is_none());
    let aircraft = bench.path("aircraft.toml").display().to_string();
    let shown = run([
        "check",
        &crooked.display().to_string(),
        "--aircraft",
        &aircraft,
    ]);
    let words = shown.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("calibration of 2026-04-18 in aircraft.toml"),
        "{}",
        shown.out
    );
    // The recording itself is as it came.
    assert_eq!(
        std::fs::read(&crooked).unwrap(),
        simulate(&scenario, 71).capture
    );
}

#[test]
fn two_angles_say_that_nothing_is_seen_between_them_and_a_turned_sense_is_named() {
    let bench = Bench::new(&OnFile::default());
    let turned = |deg: f64| bench.put("turned.csv", held(-deg)).display().to_string();
    let (down, up) = (
        bench.put("d.csv", held(20.0)).display().to_string(),
        turned(20.0),
    );
    let ran = angle(
        &bench,
        &["--at", &format!("-20:{down}"), "--at", &format!("20:{up}")],
    );
    assert_eq!(ran.status, 0, "{}\n{}", ran.out, ran.err);
    for words in [
        "runs the other way round",
        "cannot be seen with two angles",
        "[surface.angle]",
        "scale = -1.05",
    ] {
        assert!(ran.out.contains(words), "no {words:?} in {}", ran.out);
    }
    let long = ran.out.lines().find(|l| l.chars().count() > 80);
    assert_eq!(long, None);
}

#[test]
fn marks_within_one_recording_and_ruler_readings_through_the_chord_serve_as_well() {
    let bench = Bench::new(&OnFile::default());
    // 29 mm straight across on 58 mm: 2·asin(29/116) = 28.955°.
    let mut capture = "# surface=left elevator\n".to_owned();
    capture += &wire::line("RIG,1,hand,1,passive,100,angle_deg");
    let mut n = 0;
    let mut hold = |capture: &mut String, mark: &str, deg: f64, drift: f64| {
        *capture += &format!("# at_mm={mark}\n");
        for i in 0..260 {
            let read = ZERO_DEG + SCALE * (deg + drift * 0.01 * f64::from(i));
            *capture += &wire::line(&format!("S,{n},{},{read:.2}", 1000 + 10_000 * n));
            n += 1;
        }
    };
    hold(&mut capture, "-29", -28.955, 0.0);
    hold(&mut capture, "0", 0.0, 0.0);
    hold(&mut capture, "29", 28.0, 2.0);
    hold(&mut capture, "29", 28.955, 0.0);
    let path = bench.put("holds.log", capture).display().to_string();
    let ran = angle(&bench, &["--from", &path, "--json", "--chord-u-mm", "0.3"]);
    assert_eq!(ran.status, 0, "{}\n{}", ran.out, ran.err);
    let object: Value = serde_json::from_str(&ran.out).unwrap();
    assert_near(&object["scale"], 1.0 / SCALE, 0.01);
    assert_near(&object["zero_deg"], ZERO_DEG, 0.1);
    assert_eq!(object["holds"][2]["left_out"], "moved");
    assert_eq!(object["holds"].as_array().unwrap().len(), 4);
    // 0.3 mm on 58 mm is shared by all of them.
    assert!(object["scale"]["u"].as_f64().unwrap() > 0.3 / 58.0 / SCALE);
}

#[test]
fn an_angle_calibration_that_cannot_be_made_says_why() {
    let bench = Bench::new(&OnFile::default());
    let one = bench.put("one.csv", held(20.0)).display().to_string();
    let still = "t_s,current_ma\n0,100\n0.01,101\n";
    let none = bench.put("none.csv", still).display().to_string();
    let other = bench.put("other.csv", held(20.0).replace("left elevator", "rudder"));
    let other = other.display().to_string();
    angle(&bench, &["--at", &format!("20:{one}")])
        .refused_with(&["one known angle does not", "two angles at least"]);
    angle(&bench, &["--from", &one]).refused_with(&["nothing in it says where", "# at_deg=12.5"]);
    angle(
        &bench,
        &["--at", &format!("20:{none}"), "--at", &format!("0:{one}")],
    )
    .refused_with(&["no reading of angle_deg"]);
    angle(&bench, &["--at", &format!("20:{other}")])
        .refused_with(&["is of the rudder, not of the left elevator"]);
    angle(&bench, &["--at", &format!("200mm:{one}")]).refused_with(&["cannot stand at 200 mm"]);
    angle(&bench, &["--at", "20"]).refused_with(&["an angle and a recording are wanted"]);
    angle(&bench, &[]).refused_with(&["needs a logbook"]);
    let aircraft = std::fs::read_to_string(bench.path("aircraft.toml")).unwrap();
    for (table, words) in [
        ("scale = 0\nzero_deg = 0", &["scale", "other than 0"][..]),
        ("zero_deg = 0", &["missing key \"scale\""]),
        (
            "scale = 1.02\nzero_deg = 0.1\ncovariance = [[1, 2], [2, 1]]",
            &["covariance", "copy it whole"],
        ),
    ] {
        bench.put(
            "aircraft.toml",
            format!("{aircraft}\n[surface.angle]\n{table}\n"),
        );
        bench.check_bytes("a.csv", held(20.0)).refused_with(words);
    }
}
