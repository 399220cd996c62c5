//! The six samples: each gives what its name promises, and the numbers that went into it (`examples/make_samples.rs`)
//! come out. Margins: three standard uncertainties and the figure beside each (see `assert_near`).

use serde_json::Value;

use super::bench::{assert_near, has_finding, run};

pub const AIRCRAFT: &str = "samples/aircraft.toml";
pub const SOUND: &str = "samples/1-left-elevator-sound.log";
pub const KNEE: &str = "samples/2-right-elevator-knee.log";
const TIGHT_SPOT: &str = "samples/3-left-aileron-tight-spot.log";
const GEOMETRY: &str = "samples/4-rudder-short-by-geometry.log";
const STALL: &str = "samples/5-left-flap-short-by-stall.log";
pub const DAMAGED: &str = "samples/6-left-elevator-damaged.log";
pub const SAMPLES: [&str; 6] = [SOUND, KNEE, TIGHT_SPOT, GEOMETRY, STALL, DAMAGED];

/// Viscous drag of the simulated hinge at the sweeps' 30°/s: part of half the distance between the branches, N·cm.
const VISCOUS_NCM: f64 = 0.002 * 30.0;

fn checked(sample: &str) -> Value {
    run(["check", sample, "--aircraft", AIRCRAFT, "--json"]).result()
}

#[track_caller]
fn assert_law(result: &Value, stiffness: f64, friction: f64, neutral: f64, off: f64) {
    let curve = &result["curve"];
    assert_near(&curve["stiffness_ncm_per_deg"], stiffness, off * stiffness);
    assert_near(
        &curve["friction_ncm"],
        friction + VISCOUS_NCM,
        2.0 * off * friction,
    );
    assert_near(&curve["neutral_torque_ncm"], neutral, 4.0 * off);
}

#[test]
fn the_sound_elevator_is_found_without_fault_from_supply_power() {
    let result = checked(SOUND);
    assert_eq!(result["verdict"], "no-fault-found");
    assert_eq!(result["torque_from"], "supply-power");
    assert_eq!(result["recording"]["lost"], 0);
    assert_eq!(result["recording"]["damaged_lines"], 0);
    assert_law(&result, 0.45, 3.0, 0.5, 0.05);
    assert_near(&result["slop_deg"], 0.15, 0.1);
    // The command goes 1.5° beyond throws of 23.9° and 21.9°; slop, give and dead band take some of it.
    assert_near_end(&result["throws"][0], 25.4);
    assert_near_end(&result["throws"][1], 23.4);
}

/// Reached, against where the command ended: slop, give and dead band take up to half a degree.
#[track_caller]
fn assert_near_end(throw: &Value, end_deg: f64) {
    let reached = throw["reached_deg"]["value"].as_f64().unwrap();
    assert!(
        (end_deg - 0.5..=end_deg + 0.1).contains(&reached),
        "{throw} against {end_deg}"
    );
}

#[test]
fn the_knee_elevator_stiffens_where_and_as_much_as_it_was_made_to() {
    let result = checked(KNEE);
    assert_eq!(result["verdict"], "work-needed");
    assert_law(&result, 0.42, 3.0, 0.5, 0.02);
    let knees = result["curve"]["knees"].as_array().unwrap();
    assert_eq!(knees.len(), 1, "{knees:?}");
    assert_eq!(knees[0]["side"], "up");
    assert_near(&knees[0]["at_deg"], 16.0, 0.7);
    assert_near(&knees[0]["stiffness_beyond_ncm_per_deg"], 0.42 + 0.9, 0.05);
    assert_eq!(result["curve"]["tight_spots"].as_array().unwrap().len(), 0);
    has_finding(&result, "stiffening", "work", &["16.0", "N·cm/°"]);
}

#[test]
fn the_tight_spot_aileron_has_one_where_and_as_high_as_it_was_made_from_rod_force() {
    let result = checked(TIGHT_SPOT);
    assert_eq!(result["verdict"], "work-needed");
    assert_eq!(result["torque_from"], "force");
    assert_law(&result, 0.36, 2.4, 0.5, 0.03);
    let spots = result["curve"]["tight_spots"].as_array().unwrap();
    assert_eq!(spots.len(), 1, "{spots:?}");
    assert_eq!(spots[0]["when"], "both");
    assert_near(&spots[0]["at_deg"], 7.0, 0.7);
    assert_near(&spots[0]["height_ncm"], 6.5, 0.5);
    // A raised cosine of 3° half width: nothing of it outside 4° and 10°.
    let (from, to) = (
        spots[0]["from_deg"].as_f64().unwrap(),
        spots[0]["to_deg"].as_f64().unwrap(),
    );
    assert!(
        (3.0..6.0).contains(&from) && (8.0..11.0).contains(&to),
        "{spots:?}"
    );
    has_finding(&result, "tight-spot", "work", &["7.0", "N·cm"]);
}

#[test]
fn the_rudder_falls_short_because_the_command_ends_and_its_lead_is_measured() {
    let result = checked(GEOMETRY);
    assert_eq!(result["verdict"], "work-needed");
    assert_law(&result, 0.62, 4.0, -0.3, 0.02);
    assert_near(&result["lead_mohm"], 180.0, 18.0);
    let (left, right) = (&result["throws"][0], &result["throws"][1]);
    assert_eq!(
        (&left["name"], &left["state"]),
        (&"left".into(), &"met".into())
    );
    assert_eq!(
        (&right["name"], &right["state"]),
        (&"right".into(), &"short".into())
    );
    assert_eq!(right["cause"], "end-of-command");
    assert_near_end(left, 31.5);
    assert_near_end(right, 23.0);
    // A ruler square to the neutral chord line: mm = c·sin(d), chord 72 mm.
    let (mm, deg) = (
        &right["reached_mm"]["value"],
        &right["reached_deg"]["value"],
    );
    let by_hand = 72.0 * deg.as_f64().unwrap().to_radians().sin();
    assert!((mm.as_f64().unwrap() - by_hand).abs() < 0.05, "{right}");
    has_finding(
        &result,
        "throw-short",
        "work",
        &["27.", "32 mm", "end points"],
    );
}

#[test]
fn the_flap_falls_short_because_the_servo_stalled_and_must_not_fly() {
    let result = checked(STALL);
    assert_eq!(result["verdict"], "do-not-fly");
    let (take_off, landing) = (&result["throws"][0], &result["throws"][1]);
    assert_eq!(take_off["state"], "met");
    assert_eq!(
        (&landing["state"], &landing["cause"]),
        (&"short".into(), &"stalled".into())
    );
    // The stop stands at 31° and gives 120 N·cm a degree; the servo's stall torque of 210 N·cm ends it within 2°.
    let reached = landing["reached_deg"]["value"].as_f64().unwrap();
    assert!((31.0..33.0).contains(&reached), "{landing}");
    assert!(
        result["recording"]["events"]
            .as_array()
            .unwrap()
            .contains(&"stalled".into())
    );
    has_finding(&result, "throw-short", "stop", &["70 mm", "stalled"]);
}

#[test]
fn the_flap_s_peak_torque_is_the_highest_that_was_measured() {
    let result = checked(STALL);
    let highest = highest_torque_ncm(&std::fs::read(STALL).unwrap());
    assert!(highest > 200.0, "the sample holds a stall: {highest}");
    let peak = &result["load"]["peak_torque_ncm"];
    let value = peak["value"].as_f64().unwrap();
    assert!(
        (value - highest).abs() < 0.1 * highest,
        "{peak} against {highest}"
    );
    if let Some(low) = peak["lo95"].as_f64() {
        assert!(low > 0.0, "a peak without sign cannot be negative: {peak}");
    }
}

/// The largest size of `torque_ncm` in a capture.
fn highest_torque_ncm(capture: &[u8]) -> f64 {
    let mut highest: f64 = 0.0;
    super::wire::with_channel(capture, "torque_ncm", |_, v| {
        highest = highest.max(v.abs());
        v
    });
    highest
}

#[test]
fn the_flap_s_knee_before_the_stop_is_found() {
    let result = checked(STALL);
    let knees = result["curve"]["knees"].as_array().unwrap();
    let down = knees
        .iter()
        .find(|k| k["side"] == "down")
        .unwrap_or_else(|| panic!("none on the down side: {knees:?}"));
    assert_near(&down["at_deg"], -24.0, 0.7);
}

#[test]
fn the_damaged_elevator_is_counted_and_measured_all_the_same() {
    let result = checked(DAMAGED);
    assert_eq!(result["verdict"], "no-fault-found");
    assert_law(&result, 0.45, 3.0, 0.5, 0.05);
    let recording = &result["recording"];
    // 2 % lost and 2 % damaged of 2,683 samples; a damaged line's sample is lost as well.
    assert!(
        (40..160).contains(&recording["lost"].as_u64().unwrap()),
        "{recording}"
    );
    assert!(
        (25..90).contains(&recording["damaged_lines"].as_u64().unwrap()),
        "{recording}"
    );
    assert_eq!(recording["restarts"], 0);
    assert!(
        (26.0..28.0).contains(&recording["span_s"].as_f64().unwrap()),
        "the clock's wrap is undone: {recording}"
    );
    let lost = recording["lost"].to_string();
    has_finding(&result, "bad-data", "watch", &[&lost]);
}

#[test]
fn nothing_is_listed_in_a_curve_that_was_made_without_knee_or_tight_spot() {
    for sample in [SOUND, GEOMETRY, DAMAGED] {
        let curve = &checked(sample)["curve"];
        assert_eq!(
            curve["knees"].as_array().unwrap().len(),
            0,
            "{sample}: {curve}"
        );
        assert_eq!(
            curve["tight_spots"].as_array().unwrap().len(),
            0,
            "{sample}: {curve}"
        );
    }
}

#[test]
fn the_residual_about_a_fit_to_noisy_readings_is_never_nothing() {
    for sample in SAMPLES {
        let residual = &checked(sample)["curve"]["residual_ncm"];
        assert!(
            residual.is_null() || residual.as_f64().unwrap() > 0.0,
            "{sample}: {residual}"
        );
    }
}

#[test]
fn the_peak_torque_of_a_torque_sensor_s_recording_is_the_highest_that_was_measured() {
    for sample in [KNEE, GEOMETRY] {
        let result = checked(sample);
        // One noisy reading may stand out by three standard deviations of the sensor's 0.15 N·cm, and strokes differ.
        let highest = highest_torque_ncm(&std::fs::read(sample).unwrap());
        let value = result["load"]["peak_torque_ncm"]["value"].as_f64().unwrap();
        assert!(
            (value - highest).abs() < 0.8,
            "{sample}: {} against {highest}",
            result["load"]["peak_torque_ncm"]
        );
    }
}
