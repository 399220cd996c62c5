//! What reading an aircraft file gives, and that every broken file is told as a builder can mend it.

use proptest::prelude::*;

use super::*;
use crate::aircraft::{Linkage, LinkageSolver, Side, ThrowMeasure};

/// Line numbers in the tests below are of this text.
const GOOD: &str = r#"[aircraft]
name = "Dunlin"

[[servo_type]]
name = "metal gear"
stall_torque_ncm = 210
stall_voltage_v = 7.4

[[servo]]
tag = "E1"
type = "metal gear"
fitted = 2026-04-02

[[surface]]
name = "left elevator"
servo = "E1"
pair = "right elevator"
chord_mm = 58.0
throws = [
  { name = "up", up_mm = 24.0, tolerance_mm = 1.5 },
  { name = "down", down_deg = 22 },
]

[surface.linkage]
arm_mm = 18
horn_mm = 22
rod_mm = 95
base_mm = 97

[surface.air]
span_mm = 340
wing_chord_mm = 190
fastest_m_s = 85

[[surface]]
name = "right elevator"
servo = "E1"
chord_mm = 58.5
throw_as = "square"
throws = [{ name = "top", up_mm = 25.0 }]

[limits]
slop_deg = 0.7
hold_current_ma = 350
"#;

fn no_calibration(file: &str) -> Result<NamedText, Problem> {
    Err(Problem::new(format!("{file} does not exist")).hint("check the name"))
}

fn read_good(text: &str) -> Result<Aircraft, Problem> {
    parse(text, "aircraft.toml", no_calibration)
}

#[test]
fn a_good_file_becomes_what_it_says() {
    let a = read_good(GOOD).unwrap();
    assert_eq!(a.name, "Dunlin");
    assert_eq!(a.servos[0].fitted, Some(jiff::civil::date(2026, 4, 2)));
    let (index, left) = a.surface("left elevator").unwrap();
    assert_eq!((index, left.pair_index, left.servo_index), (0, Some(1), 0));
    assert_eq!(left.measure, ThrowMeasure::Straight);
    let [up, down] = &left.throws[..] else {
        panic!("two throws")
    };
    // By hand: 2·asin(24/116) = 23.881°; 2·58·sin 11° = 22.134 mm.
    assert!((up.asked_deg - 23.881).abs() < 1e-3 && up.asked_mm == 24.0 && !up.given_in_deg);
    assert!((down.asked_mm - 22.134).abs() < 1e-3 && down.asked_deg == 22.0 && down.given_in_deg);
    assert_eq!((up.side, down.side), (Side::Up, Side::Down));
    assert_eq!((up.tolerance_mm, down.tolerance_mm), (1.5, 1.0));
    assert_eq!(
        left.linkage,
        Some(Linkage {
            arm_mm: 18.0,
            horn_mm: 22.0,
            rod_mm: 95.0,
            base_mm: 97.0,
            arm_zero_deg: 0.0
        })
    );
    assert_eq!(left.air.unwrap().fastest_m_s, 85.0);
    let right = &a.surfaces[1];
    assert_eq!(
        (right.measure, right.linkage, right.pair_index),
        (ThrowMeasure::Square, None, None)
    );
    // By hand: asin(25/58.5) = 25.299°.
    assert!((right.throws[0].asked_deg - 25.299).abs() < 1e-3);
}

#[test]
fn limits_tell_which_keys_were_given_and_keep_defaults_for_the_rest() {
    let limits = read_good(GOOD).unwrap().limits;
    assert_eq!(limits.given, ["slop_deg", "hold_current_ma"]);
    assert_eq!((limits.slop_deg, limits.hold_current_ma), (0.7, 350.0));
    assert_eq!(limits.stiffening_ratio, Limits::default().stiffening_ratio);
    let without = &GOOD[..GOOD.find("[limits]").unwrap()];
    assert_eq!(read_good(without).unwrap().limits, Limits::default());
}

#[test]
fn every_broken_file_names_its_line_its_key_and_the_remedy() {
    // (what stands in the good file, what stands there instead, the words that must be in the message)
    #[rustfmt::skip]
    let cases: &[(&str, &str, &[&str])] = &[
        // TOML itself
        ("chord_mm = 58.0", "chord_mm = 58,0", &["line 18", "chord_mm", "58.0, not 58,0"]),
        ("name = \"Dunlin\"", "name = Dunlin", &["line 2", "at name", "double quotes"]),
        ("servo = \"E1\"\npair", "servo = \"E1\npair", &["line 16", "at servo", "quote"]),
        ("horn_mm = 22", "arm_mm = 22", &["line 26", "at arm_mm", "there twice"]),
        ("[surface.air]", "[surface.linkage]", &["line 30", "[surface.linkage]", "once each"]),
        ("2026-04-02", "2026-13-02", &["line 12", "at fitted", "2026-04-02"]),
        ("arm_mm = 18", "arm_mm 18", &["line 25", "arm_mm 18", "an equals sign"]),
        // unknown keys
        ("chord_mm = 58.0", "chord = 58.0", &["line 18", "unknown key \"chord\"", "did you mean \"chord_mm\"?"]),
        ("chord_mm = 58.0", "Chord_MM = 58.0", &["line 18", "\"Chord_MM\"", "did you mean \"chord_mm\"?"]),
        ("horn_mm = 22", "hron_mm = 22", &["line 26", "\"hron_mm\"", "did you mean \"horn_mm\"?"]),
        ("up_mm = 24.0", "up_cm = 2.4", &["line 20", "\"up_cm\"", "did you mean \"up_mm\"?"]),
        ("slop_deg = 0.7", "slop = 0.7", &["line 43", "\"slop\"", "did you mean \"slop_deg\"?"]),
        ("fitted =", "colour =", &["line 12", "\"colour\"", "[[servo]] may have: tag, type, fitted"]),
        ("span_mm = 340", "span_mm = 340\nthrow_as = \"square\"", &["line 32", "\"throw_as\"", "belongs in [[surface]]"]),
        ("servo = \"E1\"\npair", "servos = [\"E1\"]\npair", &["line 16", "servos is not two tags", "servos = [\"E1\", \"E2\"]"]),
        ("servo = \"E1\"\npair", "servos = [\"E1\", \"E1\"]\npair", &["line 16", "both are the same servo"]),
        ("servo = \"E1\"\npair", "servos = [\"E1\", \"F1\"]\npair", &["line 16", "servos \"F1\" is no [[servo]]"]),
        ("servo = \"E1\"\npair", "servo = \"E1\"\nservos = [\"E1\", \"E2\"]\npair", &["line 17", "servo and servos", "leave one of them out"]),
        ("[limits]", "[limit]", &["line 42", "\"limit\"", "did you mean \"limits\"?"]),
        // missing keys and tables
        ("chord_mm = 58.0\n", "", &["line 14", "missing key \"chord_mm\"", "chord_mm = 58.0", "left elevator"]),
        ("name = \"Dunlin\"", "", &["line 1", "missing key \"name\"", "Dunlin"]),
        ("stall_voltage_v = 7.4", "", &["line 4", "missing key \"stall_voltage_v\"", "7.4"]),
        ("stall_voltage_v = 7.4", "stall_voltage_v = 7.4\nspeed_s_per_60deg = 0.11", &["line 4", "missing key \"speed_voltage_v\"", "7.4"]),
        ("stall_voltage_v = 7.4", "stall_voltage_v = 7.4\nspeed_voltage_v = 7.4", &["line 4", "missing key \"speed_s_per_60deg\"", "0.11"]),
        ("stall_voltage_v = 7.4", "stall_voltage_v = 7.4\ndead_band_us = -3", &["line 8", "dead_band_us cannot be -3", "above"]),
        ("type = \"metal gear\"", "", &["line 9", "missing key \"type\"", "[[servo_type]]"]),
        ("rod_mm = 95", "", &["line 24", "missing key \"rod_mm\"", "rod length"]),
        ("span_mm = 340", "", &["line 30", "missing key \"span_mm\"", "340"]),
        ("name = \"up\", ", "", &["line 20", "missing key \"name\"", "\"up\""]),
        ("[aircraft]\nname = \"Dunlin\"", "", &["line 1", "no [aircraft]", "add a line [aircraft]"]),
        // the wrong type
        ("chord_mm = 58.0", "chord_mm = \"58 mm\"", &["line 18", "chord_mm is text", "without quotes or unit"]),
        ("chord_mm = 58.0", "chord_mm = \"61,5\"", &["line 18", "chord_mm is text", "chord_mm = 61.5"]),
        ("chord_mm = 58.0", "chord_mm = [58.0]", &["line 18", "chord_mm is a list", "chord_mm = 58.0"]),
        ("name = \"left elevator\"", "name = 7", &["line 15", "name is a number, not text", "double quotes"]),
        ("name = \"left elevator\"", "name = \" \"", &["line 15", "name is empty", "left elevator"]),
        ("fitted = 2026-04-02", "fitted = \"2026-04-02\"", &["line 12", "fitted is not a date", "without quotes"]),
        ("fitted = 2026-04-02", "fitted = 12:30:00", &["line 12", "fitted is not a date", "2026-04-02"]),
        ("[{ name = \"top\", up_mm = 25.0 }]", "25.0", &["line 40", "throws is a number, not a list", "up_mm = 24.0"]),
        ("[{ name = \"top\", up_mm = 25.0 }]", "[25.0]", &["line 40", "throws has a number", "{ name = \"up\", up_mm = 24.0"]),
        ("[[servo_type]]", "[servo_type]", &["line 4", "servo_type is a table", "double brackets"]),
        ("[surface.air]", "[[surface.air]]", &["line 30", "air is a list", "single brackets"]),
        // impossible values
        ("chord_mm = 58.0", "chord_mm = -58.0", &["line 18", "chord_mm cannot be -58", "above 0"]),
        ("chord_mm = 58.0", "chord_mm = 0", &["line 18", "chord_mm cannot be 0", "above 0"]),
        ("chord_mm = 58.0", "chord_mm = inf", &["line 18", "chord_mm cannot be inf", "above 0"]),
        ("chord_mm = 58.0", "chord_mm = nan", &["line 18", "chord_mm cannot be NaN", "above 0"]),
        ("up_mm = 24.0", "up_mm = 116.5", &["line 20", "up_mm cannot be 116.5", "twice the chord, 116 mm", "throw \"up\""]),
        ("up_mm = 25.0", "up_mm = 59", &["line 40", "up_mm cannot be 59", "the chord, 58.5 mm"]),
        ("up_mm = 24.0", "up_mm = -24.0", &["line 20", "up_mm cannot be -24", "above 0"]),
        ("down_deg = 22", "down_deg = 95", &["line 21", "down_deg cannot be 95", "90° at most"]),
        ("down_deg = 22", "down_deg = -22", &["line 21", "down_deg cannot be -22", "above 0"]),
        ("tolerance_mm = 1.5", "tolerance_mm = 0", &["line 20", "tolerance_mm cannot be 0", "above 0"]),
        ("up_mm = 24.0, ", "", &["line 20", "does not say how far", "up_mm, down_mm, left_mm, right_mm"]),
        ("up_mm = 24.0", "up_mm = 24.0, down_mm = 3", &["line 20", "both up_mm and down_mm", "an entry of its own"]),
        ("name = \"down\"", "name = \"up\"", &["line 21", "two throws named \"up\"", "its own name"]),
        ("throw_as = \"square\"", "throw_as = \"round\"", &["line 39", "throw_as cannot be \"round\"", "\"straight\""]),
        ("arm_mm = 18", "arm_mm = 0", &["line 25", "arm_mm cannot be 0", "above 0"]),
        ("rod_mm = 95", "rod_mm = 40", &["line 27", "rod_mm = 40 does not join", "above 76.7 and below 120.4"]),
        ("wing_chord_mm = 190", "wing_chord_mm = 19", &["line 32", "wing_chord_mm = 19", "surface included"]),
        ("fastest_m_s = 85", "fastest_m_s = 0", &["line 33", "fastest_m_s cannot be 0", "above 0"]),
        ("stall_torque_ncm = 210", "stall_torque_ncm = -1", &["line 6", "stall_torque_ncm", "above 0"]),
        ("slop_deg = 0.7", "share_of_stall = 30", &["line 43", "share_of_stall cannot be 30", "at most 1", "30 %"]),
        ("slop_deg = 0.7", "stiffening_ratio = 1", &["line 43", "stiffening_ratio cannot be 1", "above 1"]),
        ("slop_deg = 0.7", "pair_difference = 25", &["line 43", "pair_difference cannot be 25", "25 %"]),
        // names
        ("pair = \"right elevator\"", "pair = \"rigth elevator\"", &["line 17", "pair \"rigth elevator\"", "did you mean \"right elevator\"?"]),
        ("pair = \"right elevator\"", "pair = \"fin\"", &["line 17", "pair \"fin\"", "\"left elevator\", \"right elevator\""]),
        ("pair = \"right elevator\"", "pair = \"left elevator\"", &["line 17", "pair names the surface itself", "opposite number"]),
        ("servo = \"E1\"\npair", "servo = \"E2\"\npair", &["line 16", "servo \"E2\"", "did you mean \"E1\"?"]),
        ("type = \"metal gear\"", "type = \"metl gear\"", &["line 11", "type \"metl gear\"", "did you mean \"metal gear\"?"]),
        ("name = \"right elevator\"", "name = \"left elevator\"", &["line 36", "taken already, by line 15", "its own name"]),
        ("fitted = 2026-04-02", "calibration = \"E1.toml\"", &["line 12", "calibration: E1.toml does not exist", "beside the aircraft file"]),
    ];
    for (from, to, words) in cases {
        let broken = GOOD.replacen(from, to, 1);
        assert_ne!(broken, GOOD, "{from}");
        // As one editor writes it, and as another does.
        for text in [
            broken.clone(),
            format!("\u{feff}{}", broken.replace('\n', "\r\n")),
        ] {
            let problem = read_good(&text).expect_err(to);
            let message = problem.to_string();
            for word in words.iter().chain(&["aircraft.toml, line ", " | ", "^"]) {
                assert!(message.contains(word), "{to}: no {word:?} in\n{message}");
            }
            assert!(
                problem.hint.is_some() && !message.contains('\r'),
                "{message}"
            );
        }
    }
}

#[test]
fn the_excerpt_is_the_line_itself_with_carets_under_the_key() {
    let problem = read_good(&GOOD.replacen("chord_mm = 58.0", "chord = 58.0", 1)).unwrap_err();
    assert_eq!(
        problem.what,
        "aircraft.toml, line 18: unknown key \"chord\" in [[surface]] \"left elevator\""
    );
    assert_eq!(
        problem.excerpt.unwrap(),
        "   18 | chord = 58.0\n      | ^^^^^"
    );
}

#[test]
fn carets_stand_right_after_letters_of_several_bytes_and_in_long_lines() {
    let text = GOOD.replacen("name = \"up\", up_mm", "name = \"höher\", up_m", 1);
    let problem = read_good(&text).unwrap_err();
    let excerpt = problem.excerpt.unwrap();
    let (line, carets) = excerpt.split_once('\n').unwrap();
    let at = line.chars().position(|c| c == ',').unwrap() + 2;
    assert_eq!(carets.chars().position(|c| c == '^'), Some(at), "{excerpt}");

    let long = format!("name = \"{}\", up_m", "x".repeat(5000));
    let problem = read_good(&GOOD.replacen("name = \"up\", up_mm", &long, 1)).unwrap_err();
    let message = problem.to_string();
    assert!(
        message.len() < 600 && message.contains("up_m = 24.0"),
        "{message}"
    );
}

#[test]
fn of_several_faults_the_first_in_the_file_is_told_and_the_others_lines_are_named() {
    let text = GOOD
        .replacen("chord_mm = 58.0", "chord = 58.0", 1)
        .replacen("stall_torque_ncm = 210", "stall_torque_ncm = 0", 1)
        .replacen("slop_deg = 0.7", "slop_deg = -1", 1);
    let problem = read_good(&text).unwrap_err();
    assert!(problem.what.contains("line 6"), "{problem}");
    assert!(
        problem
            .hint
            .unwrap()
            .ends_with("(then see to lines 18, 43 of aircraft.toml as well)")
    );
}

#[test]
fn an_empty_file_and_one_without_surfaces_say_what_to_add() {
    let empty = read_good("").unwrap_err().to_string();
    assert!(
        empty.contains("line 1") && empty.contains("[aircraft]"),
        "{empty}"
    );
    let none = &GOOD[..GOOD.find("[[surface]]").unwrap()];
    let none = read_good(none).unwrap_err().to_string();
    assert!(none.contains("add a line [[surface]]"), "{none}");
}

#[test]
fn forty_surfaces_are_read_and_a_fault_in_the_last_is_found_there() {
    let head = &GOOD[..GOOD.find("[[surface]]").unwrap()];
    let surface = |i: usize| {
        format!(
            "[[surface]]\nname = \"s{i}\"\nservo = \"E1\"\nchord_mm = 50\nthrows = [{{ name = \"up\", up_mm = 20 }}]\n"
        )
    };
    let text: String = std::iter::once(head.to_owned())
        .chain((0..40).map(surface))
        .collect();
    assert_eq!(read_good(&text).unwrap().surfaces.len(), 40);
    let at = text.rfind("chord_mm").unwrap();
    let broken = format!("{}chord_mn{}", &text[..at], &text[at + 8..]);
    let problem = read_good(&broken).unwrap_err();
    let line = 1 + text[..at].matches('\n').count();
    assert!(problem.what.contains(&format!("line {line}:")), "{problem}");
    assert!(problem.what.contains("\"s39\""), "{problem}");
}

#[test]
fn the_sample_aircraft_is_read_with_its_calibrations_and_its_linkages_reach_their_throws() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
    let a = read_path(&path).unwrap();
    assert_eq!((a.name.as_str(), a.surfaces.len()), ("Dunlin", 7));
    let (_, left) = a.surface("left elevator").unwrap();
    assert_eq!(a.surfaces[left.pair_index.unwrap()].name, "right elevator");
    assert_eq!(a.servos[left.servo_index].tag, "E1");
    assert!(a.servos[left.servo_index].calibration.is_some());
    for surface in &a.surfaces {
        let Some(linkage) = &surface.linkage else {
            continue;
        };
        let solver = LinkageSolver::new(linkage).unwrap();
        for throw in &surface.throws {
            let arm = solver.arm_deg_at_surface_deg(throw.side.sign() * throw.asked_deg);
            assert!(
                arm.is_some_and(|deg| deg.abs() < 60.0),
                "{} {arm:?}",
                surface.name
            );
        }
    }
}

#[test]
fn a_calibration_is_looked_for_beside_the_aircraft_file_and_its_faults_name_its_own_line() {
    let dir = tempfile::tempdir().unwrap();
    let aircraft = dir.path().join("aircraft.toml");
    let text = GOOD.replacen(
        "fitted = 2026-04-02",
        "calibration = \"E1.calibration.toml\"",
        1,
    );
    std::fs::write(&aircraft, &text).unwrap();
    let missing = read_path(&aircraft).unwrap_err().to_string();
    assert!(
        missing.contains("aircraft.toml, line 12: [[servo]] \"E1\": calibration: "),
        "{missing}"
    );
    assert!(
        missing.contains("E1.calibration.toml does not exist"),
        "{missing}"
    );

    let calibration = dir.path().join("E1.calibration.toml");
    let good = include_str!("../../samples/E1.calibration.toml");
    std::fs::write(
        &calibration,
        good.replacen("idle_w = 0.21", "idle_w = -1", 1),
    )
    .unwrap();
    let broken = read_path(&aircraft).unwrap_err();
    assert!(
        broken.what.contains("E1.calibration.toml, line 9"),
        "{broken}"
    );

    std::fs::write(&calibration, good).unwrap();
    let read = read_path(&aircraft).unwrap();
    assert_eq!(read.servos[0].calibration.as_ref().unwrap().idle_w, 0.21);
}

#[test]
fn a_missing_aircraft_file_and_a_folder_are_told_apart() {
    let dir = tempfile::tempdir().unwrap();
    let missing = read_path(&dir.path().join("aircraft.toml")).unwrap_err();
    assert!(missing.what.contains("does not exist"), "{missing}");
    let folder = read_path(dir.path()).unwrap_err();
    assert!(folder.what.contains("is a folder"), "{folder}");
}

#[test]
fn a_file_of_nothing_but_faults_is_told_shortly() {
    let text: String = (0..2_000)
        .map(|i| format!("[[surface]]\nname = \"s{i}\"\npair = \"p\"\n"))
        .collect();
    let message = read_good(&text).unwrap_err().to_string();
    assert!(
        message.len() < 600 && message.contains("[aircraft]"),
        "{message}"
    );
}

/// A file of one's own, and the same text as every calibration it names.
fn never_panics(text: &str) {
    let load = |file: &str| {
        Ok(NamedText {
            file_name: file.to_owned(),
            text: text.to_owned(),
        })
    };
    if let Err(problem) = parse(text, "aircraft.toml", load) {
        assert!(problem.hint.is_some(), "{problem}");
    }
}

proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in any::<String>()) {
        never_panics(&text);
    }

    #[test]
    fn no_damage_to_a_good_file_makes_the_reader_panic(
        at in 0..GOOD.len(), cut in 0usize..40, put in "[ -~äµ\\n\\r\\t\\[\\]{}=\",.#0-9]{0,12}",
    ) {
        let text = format!("{}{put}{}", &GOOD[..at], &GOOD[(at + cut).min(GOOD.len())..]);
        never_panics(&text);
    }

    #[test]
    fn no_value_in_a_good_file_makes_the_reader_panic(
        line in 0usize..46,
        value in prop_oneof!["-?[0-9]{1,45}", "[0-9]e[0-9]{1,4}", Just("nan".to_owned()), Just("[[]]".to_owned()),
            Just("{}".to_owned()), Just("\"\"".to_owned()), Just("true".to_owned()), "0x[0-9a-f]{1,40}"],
    ) {
        let text: String = GOOD.lines().enumerate().map(|(i, l)| match l.split_once(" = ") {
            Some((key, _)) if i == line => format!("{key} = {value}\n"),
            _ => format!("{l}\n"),
        }).collect();
        never_panics(&text);
    }
}

#[test]
fn two_servos_may_drive_one_surface() {
    let text = GOOD.replacen(
        "[[surface]]\nname = \"left",
        "[[servo]]\ntag = \"E2\"\ntype = \"metal gear\"\n\n[[surface]]\nname = \"left",
        1,
    );
    let text = text.replacen("servo = \"E1\"\npair", "servos = [\"E2\", \"E1\"]\npair", 1);
    let aircraft = read_good(&text).unwrap();
    let surface = &aircraft.surfaces[0];
    assert_eq!(
        (surface.servo_index, surface.second_servo_index),
        (1, Some(0))
    );
    assert_eq!(aircraft.surfaces[1].second_servo_index, None);
}
