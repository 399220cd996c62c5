//! The contract of one result line, written down as an outsider would: keys, types, and what follows from what.

use serde_json::Value;

const KINDS: [&str; 17] = [
    "stiffening",
    "tight-spot",
    "high-friction",
    "throw-short",
    "high-load",
    "slop",
    "pair-difference",
    "stick-slip",
    "hold-current",
    "servo-fight",
    "slow-servo",
    "centring",
    "dead-band",
    "jitter",
    "overshoot",
    "bad-data",
    "unproven",
];

#[track_caller]
fn keys(value: &Value, expected: &[&str]) {
    let object = value
        .as_object()
        .unwrap_or_else(|| panic!("no object: {value}"));
    let mut found: Vec<&str> = object.keys().map(String::as_str).collect();
    let mut expected = expected.to_vec();
    found.sort_unstable();
    expected.sort_unstable();
    assert_eq!(found, expected);
}

#[track_caller]
fn quantity(value: &Value) {
    if value.is_null() {
        return;
    }
    keys(value, &["value", "u", "lo95", "hi95"]);
    let v = value["value"].as_f64().unwrap_or_else(|| panic!("{value}"));
    if value["u"].is_null() {
        assert!(
            value["lo95"].is_null() && value["hi95"].is_null(),
            "{value}"
        );
        return;
    }
    let (u, low, high) = (
        value["u"].as_f64().unwrap(),
        value["lo95"].as_f64().unwrap(),
        value["hi95"].as_f64().unwrap(),
    );
    assert!(u >= 0.0 && low <= v && v <= high, "{value}");
}

#[track_caller]
fn number_or_null(value: &Value) {
    assert!(value.is_null() || value.is_number(), "{value}");
}

#[track_caller]
fn one_of(value: &Value, words: &[&str]) {
    assert!(
        value.as_str().is_some_and(|w| words.contains(&w)),
        "{value} is none of {words:?}"
    );
}

#[track_caller]
fn list(value: &Value) -> &[Value] {
    value
        .as_array()
        .unwrap_or_else(|| panic!("no list: {value}"))
}

/// Everything that holds of any result, whatever was recorded. That no number is NaN or infinite follows from its
/// being JSON at all.
#[track_caller]
pub fn assert_contract(result: &Value) {
    // Where two servos drive the surface there is an object more.
    let mut always = result.clone();
    if let Some(object) = always.as_object_mut() {
        object.remove("servos");
    }
    keys(
        &always,
        &[
            "schema",
            "recording",
            "torque_from",
            "strokes",
            "curve",
            "throws",
            "load",
            "slop_deg",
            "lead_mohm",
            "findings",
            "verdict",
        ],
    );
    assert_eq!(result["schema"], "hingewright.check/1");
    recording(&result["recording"]);
    one_of(
        &result["torque_from"],
        &["torque", "force", "supply-power", "none"],
    );
    keys(&result["strokes"], &["up", "down", "left_out"]);
    for count in ["up", "down", "left_out"] {
        assert!(result["strokes"][count].is_u64(), "{count}");
    }
    curve(&result["curve"]);
    assert!(!list(&result["throws"]).is_empty(), "a surface has throws");
    list(&result["throws"]).iter().for_each(throw);
    load(&result["load"]);
    quantity(&result["slop_deg"]);
    quantity(&result["lead_mohm"]);
    list(&result["findings"]).iter().for_each(finding);
    consistent(result);
}

fn recording(value: &Value) {
    let mut expected = vec![
        "file",
        "surface",
        "samples",
        "lost",
        "damaged_lines",
        "restarts",
        "span_s",
        "rate_hz",
        "events",
    ];
    // Only where the aircraft file calibrates the angle sensor.
    if let Some(applied) = value.get("angle_calibration") {
        assert!(applied.is_string());
        expected.push("angle_calibration");
    }
    keys(value, &expected);
    for text in ["file", "surface"] {
        assert!(value[text].is_string());
    }
    for count in ["samples", "lost", "damaged_lines", "restarts"] {
        assert!(value[count].is_u64(), "{count}");
    }
    number_or_null(&value["span_s"]);
    number_or_null(&value["rate_hz"]);
    assert!(list(&value["events"]).iter().all(Value::is_string));
}

fn curve(value: &Value) {
    if value.is_null() {
        return;
    }
    keys(
        value,
        &[
            "stiffness_ncm_per_deg",
            "friction_ncm",
            "neutral_torque_ncm",
            "knees",
            "tight_spots",
            "residual_ncm",
        ],
    );
    for key in [
        "stiffness_ncm_per_deg",
        "friction_ncm",
        "neutral_torque_ncm",
    ] {
        quantity(&value[key]);
    }
    for knee in list(&value["knees"]) {
        keys(knee, &["side", "at_deg", "stiffness_beyond_ncm_per_deg"]);
        one_of(&knee["side"], &["up", "down"]);
        quantity(&knee["at_deg"]);
        quantity(&knee["stiffness_beyond_ncm_per_deg"]);
    }
    for spot in list(&value["tight_spots"]) {
        keys(
            spot,
            &["from_deg", "at_deg", "to_deg", "height_ncm", "when"],
        );
        one_of(&spot["when"], &["up", "down", "both"]);
        quantity(&spot["at_deg"]);
        quantity(&spot["height_ncm"]);
        let at = spot["at_deg"]["value"].as_f64().unwrap();
        assert!(
            spot["from_deg"].as_f64().unwrap() <= at && at <= spot["to_deg"].as_f64().unwrap(),
            "{spot}"
        );
    }
    number_or_null(&value["residual_ncm"]);
}

fn throw(value: &Value) {
    keys(
        value,
        &[
            "name",
            "asked_mm",
            "asked_deg",
            "tolerance_mm",
            "reached_mm",
            "reached_deg",
            "state",
            "cause",
        ],
    );
    assert!(value["name"].is_string());
    for key in ["asked_mm", "asked_deg", "tolerance_mm"] {
        assert!(
            value[key].as_f64().is_some_and(|v| v > 0.0),
            "{key}: {value}"
        );
    }
    quantity(&value["reached_mm"]);
    quantity(&value["reached_deg"]);
    one_of(&value["state"], &["met", "short", "unproven"]);
    if !value["cause"].is_null() {
        one_of(
            &value["cause"],
            &["end-of-command", "stalled", "stopped-by-limit"],
        );
        assert_eq!(
            value["state"], "short",
            "only what falls short has a cause: {value}"
        );
    }
}

fn load(value: &Value) {
    keys(
        value,
        &["peak_torque_ncm", "share_of_stall", "hold_current_ma"],
    );
    quantity(&value["peak_torque_ncm"]);
    quantity(&value["share_of_stall"]);
    for hold in list(&value["hold_current_ma"]) {
        keys(hold, &["at_deg", "ma"]);
        assert!(
            hold["at_deg"].is_number() && hold["ma"].is_number(),
            "{hold}"
        );
    }
}

fn finding(value: &Value) {
    keys(value, &["kind", "level", "at_deg", "text"]);
    one_of(&value["kind"], &KINDS);
    one_of(&value["level"], &["stop", "work", "watch"]);
    number_or_null(&value["at_deg"]);
    let text = value["text"].as_str().unwrap();
    assert!(
        text.ends_with('.') && text.len() > 20,
        "no sentence: {text}"
    );
    assert!(!text.contains('\u{1b}') && !text.contains('\n'), "{text:?}");
    assert!(!text.to_lowercase().contains("safe to fly"), "{text}");
    // A missing channel or a torn end has no number to give; every fault of the surface has.
    if value["kind"] != "unproven" && value["kind"] != "bad-data" {
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        assert!(
            text.contains(|c: char| c.is_ascii_digit()),
            "no number in: {text}"
        );
    }
}

/// The verdict's rule, and what a clean verdict promises.
fn consistent(result: &Value) {
    let findings = list(&result["findings"]);
    let any = |key: &str, word: &str| findings.iter().any(|f| f[key] == word);
    let verdict = if any("level", "stop") {
        "do-not-fly"
    } else if any("level", "work") {
        "work-needed"
    } else if any("kind", "unproven") {
        "unproven"
    } else {
        "no-fault-found"
    };
    assert_eq!(result["verdict"], verdict, "{}", result["findings"]);
    let throws = list(&result["throws"]);
    if throws.iter().any(|t| t["state"] == "short") {
        assert!(
            any("kind", "throw-short"),
            "a short throw without its finding: {}",
            result["findings"]
        );
    }
    if verdict == "no-fault-found" {
        assert!(
            throws.iter().all(|t| t["state"] == "met"),
            "{}",
            result["throws"]
        );
        assert_ne!(result["torque_from"], "none");
        let curve = &result["curve"];
        assert!(
            curve["stiffness_ncm_per_deg"].is_object() && curve["friction_ncm"].is_object(),
            "nothing found wrong with what was not measured: {curve}"
        );
        for direction in ["up", "down"] {
            assert!(
                result["strokes"][direction].as_u64().unwrap() >= 3,
                "too few strokes to clear a surface: {}",
                result["strokes"]
            );
        }
    }
}
