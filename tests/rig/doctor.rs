//! `doctor` from outside, against simulated rigs with one thing wrong each.

use std::process::{Command, Output};

use serde_json::Value;

use super::host::Rig;

const ELEVATOR: [&str; 4] = [
    "--aircraft",
    "samples/aircraft.toml",
    "--surface",
    "left elevator",
];

/// A rig with these options, beside a logbook with one sample recording; `doctor --json` on both.
struct Seen {
    looks: Vec<Value>,
    status: i32,
    events: Vec<Value>,
}

fn program(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .arg("doctor")
        .args(arguments)
        .output()
        .unwrap()
}

fn logbook(rig: &Rig) -> String {
    let root = rig.folder.path().join("dunlin");
    std::fs::create_dir_all(root.join("recordings")).unwrap();
    let samples = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    for name in [
        "aircraft.toml",
        "E1.calibration.toml",
        "E2.calibration.toml",
    ] {
        std::fs::copy(samples.join(name), root.join(name)).unwrap();
    }
    let name = "1-left-elevator-sound.log";
    std::fs::copy(samples.join(name), root.join("recordings").join(name)).unwrap();
    root.display().to_string()
}

fn doctor(rig_options: &[&str], plant: Option<&str>) -> Seen {
    let scratch = tempfile::tempdir().unwrap();
    let mut options = ELEVATOR.to_vec();
    let file = scratch.path().join("plant.toml");
    if let Some(plant) = plant {
        std::fs::write(&file, plant).unwrap();
        options.extend(["--plant", file.to_str().unwrap()]);
    }
    options.extend(rig_options);
    let rig = Rig::start(&options);
    let (link, book) = (rig.link().display().to_string(), logbook(&rig));
    let arguments = [
        "--port",
        &link,
        "--logbook",
        &book,
        "--seconds",
        "2.5",
        "--json",
    ];
    let output = program(&arguments);
    let text = String::from_utf8(output.stdout).unwrap();
    let value: Value = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{e}: {text}"));
    assert_eq!(value["schema"], "hingewright.doctor/1");
    let left: Vec<_> = std::fs::read_dir(rig.folder.path().join("dunlin"))
        .unwrap()
        .collect();
    assert_eq!(left.len(), 4, "what was tried is taken away: {left:?}");
    Seen {
        looks: value["looks"].as_array().unwrap().clone(),
        status: output.status.code().unwrap(),
        events: rig.events(),
    }
}

impl Seen {
    #[track_caller]
    fn look(&self, at: &str) -> &Value {
        let found = self.looks.iter().find(|l| l["at"] == at);
        found.unwrap_or_else(|| panic!("no {at} in {:?}", self.looks))
    }

    #[track_caller]
    fn is(&self, at: &str, state: &str, words: &str) {
        let look = self.look(at);
        let said = format!("{} {}", look["says"], look["todo"]);
        assert!(look["state"] == state && said.contains(words), "{look}");
    }

    /// What is not good.
    fn not_good(&self) -> Vec<&str> {
        let those = self.looks.iter().filter(|l| l["state"] != "good");
        those.map(|l| l["at"].as_str().unwrap()).collect()
    }
}

#[test]
fn a_sound_rig_is_good_all_over_and_is_never_armed() {
    let seen = doctor(&[], None);
    assert_eq!(seen.status, 0);
    assert_eq!(seen.not_good(), Vec::<&str>::new(), "{:?}", seen.looks);
    seen.is("rate", "good", "200.0 stated");
    seen.is("torque_ncm", "good", "noise 0.1");
    seen.is("supply", "good", "5.55 V");
    assert!(
        seen.events.iter().all(|e| e["what"] != "armed"),
        "{:?}",
        seen.events
    );
}

#[test]
fn a_false_rate_is_to_mind_and_a_damaged_line_a_fault() {
    let seen = doctor(&["--states-rate", "300"], None);
    assert_eq!((seen.status, seen.not_good()), (0, vec!["rate"]));
    seen.is("rate", "mind", "RIG line");
    let seen = doctor(&["--damage", "0.001"], None);
    assert_eq!((seen.status, seen.not_good()), (1, vec!["line"]));
    seen.is("line", "fault", "cable");
}

#[test]
fn noise_and_a_sensor_that_reads_nothing_or_nonsense_are_told_by_channel() {
    let plant = "[sensors]\ntorque_noise_ncm = 2.0\nangle_zero_deg = 130.0\n";
    let seen = doctor(&["--sensor-fault-after", "0,current_ma"], Some(plant));
    assert_eq!(seen.status, 1);
    seen.is("torque_ncm", "mind", "noisy");
    seen.is("angle_deg", "fault", "zero with the surface at neutral");
    seen.is("current_ma", "fault", "gives no reading");
    let seen = doctor(&["--sensor-fault-after", "0"], None);
    let angle = seen.look("angle_deg");
    assert_eq!(angle["says"], "gives no reading");
    assert!(!angle["todo"].as_str().unwrap().contains("RIG"), "{angle}");
}

#[test]
fn a_low_supply_and_a_rig_whose_second_is_none_are_told() {
    let seen = doctor(&["--fast", "3"], Some("[supply]\nopen_v = 5.0\n"));
    assert_eq!(seen.status, 1);
    seen.is("supply", "fault", "charge or connect the pack");
    seen.is("rig's clock", "fault", "times as fast as the computer's");
    assert!(!seen.look("rig's clock").to_string().contains("crystal"));
}

#[test]
fn of_a_rig_whose_surface_a_hand_moves_neither_noise_nor_range_is_called_good() {
    let seen = doctor(&["--passive"], None);
    assert_eq!(seen.status, 1);
    seen.is("rig", "good", "only measures");
    seen.is("at rest", "fault", "lay it still and run it again");
    let not_good = [
        "at rest",
        "angle_deg",
        "arm_deg",
        "current_ma",
        "torque_ncm",
    ];
    assert_eq!(seen.not_good(), not_good, "{:?}", seen.looks);
    seen.is("torque_ncm", "not-looked", "it moved");
}

#[test]
fn a_sensor_that_fails_meanwhile_is_a_finding_and_is_said_with_what_to_do() {
    let seen = doctor(&["--sensor-fault-after", "2,current_ma"], None);
    assert_eq!(seen.status, 1);
    seen.is("event", "fault", "plug and wires");
    seen.is("event", "fault", "current_ma failed");
}

#[test]
fn a_surface_that_is_named_is_looked_at_alone_and_what_it_lacks_is_a_command() {
    let rig = Rig::start(
        &[
            &ELEVATOR[..],
            &["--channels", "angle_deg,arm_deg,current_ma,supply_v"],
        ]
        .concat(),
    );
    let link = rig.link().display().to_string();
    // The logbook is not begun: the file counts that the first sweep would begin it with.
    let book = rig.folder.path().join("new").display().to_string();
    let named = |surface: &str| {
        let arguments = [
            "--port",
            &link,
            "--logbook",
            &book,
            "--aircraft",
            "samples/aircraft.toml",
            "--surface",
            surface,
            "--seconds",
            "2",
            "--json",
        ];
        let output = program(&arguments);
        let value: Value = serde_json::from_slice(&output.stdout).unwrap();
        Seen {
            looks: value["looks"].as_array().unwrap().clone(),
            status: output.status.code().unwrap(),
            events: Vec::new(),
        }
    };
    let seen = named("left aileron");
    let home = format!("--port {link} --logbook {book} --aircraft samples/aircraft.toml");
    seen.is(
        "torque",
        "mind",
        &format!("hingewright calibrate servo A1 {home}"),
    );
    seen.is(
        "angle's scale",
        "mind",
        "hingewright calibrate angle \\\"left aileron\\\"",
    );
    seen.is("logbook", "good", "not begun yet");
    assert_eq!(
        (seen.status, seen.not_good()),
        (0, vec!["angle's scale", "torque"])
    );
    assert!(!std::path::Path::new(&book).exists(), "nothing is begun");
    named("left elevator").is("torque", "good", "calibration");
    let stranger = named("left winglet");
    assert_eq!(stranger.status, 2);
    stranger.is("surface", "unusable", "left winglet");
}

#[test]
fn a_logbooks_own_file_holds_and_another_that_is_named_is_told_of() {
    let rig = Rig::start(&ELEVATOR);
    let book = logbook(&rig);
    let other = rig.folder.path().join("other.toml");
    let samples = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
    let text = std::fs::read_to_string(samples).unwrap();
    std::fs::write(&other, text.replace("Dunlin", "Plover")).unwrap();
    let said = |file: &str| {
        let output = program(&["--logbook", &book, "--aircraft", file]);
        assert_eq!(output.status.code(), Some(0));
        let said = String::from_utf8(output.stdout).unwrap();
        said.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let differs = said(other.to_str().unwrap());
    assert!(
        differs.contains("other.toml differs from") && differs.contains("Dunlin, 7 surfaces"),
        "{differs}"
    );
    assert!(!said("samples/aircraft.toml").contains("differs from"));
}

#[test]
fn a_silent_rig_and_no_port_are_failures_of_the_rig_and_the_rest_is_looked_at_all_the_same() {
    let seen = doctor(&["--silent-after", "0"], None);
    assert_eq!(seen.status, 3);
    assert_eq!(seen.look("rig")["state"], "failed", "{:?}", seen.looks);
    seen.is("logbook", "good", "can be written to");

    let output = program(&["--port", "/dev/no-such-port"]);
    assert_eq!(output.status.code(), Some(3));
    let said = String::from_utf8(output.stdout).unwrap();
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("no such port") && said.contains("rig ports"),
        "{said}"
    );
    assert!(said.contains("1 to put right"), "{said}");
}

#[test]
fn files_and_clocks_are_looked_at_without_a_rig() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().display().to_string();
    let output = program(&["--logbook", &root]);
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(
        said.contains("aircraft.toml") && said.contains("none was named with --port"),
        "{said}"
    );

    std::fs::create_dir(folder.path().join("recordings")).unwrap();
    let capture = "# surface=left elevator\n# started=2999-01-01T10:00:00Z\n";
    std::fs::write(folder.path().join("recordings/late.log"), capture).unwrap();
    let samples = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    for name in [
        "aircraft.toml",
        "E1.calibration.toml",
        "E2.calibration.toml",
    ] {
        std::fs::copy(samples.join(name), folder.path().join(name)).unwrap();
    }
    let output = program(&["--logbook", &root]);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8(output.stdout).unwrap().replace('\n', " ");
    assert!(
        said.contains("recording late says") && said.contains("--kind began"),
        "{said}"
    );
}
