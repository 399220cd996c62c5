//! `make flash` and `make fuse-bits`: what they hand to avrdude, and what they say where they cannot. A script stands for avrdude.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use super::built::{SOURCES, built, make, told};

const NOTES: &str = include_str!("../../firmware-notes/firmware.md");
/// Takes what is written to it, and is there on every Linux.
const PORT: &str = "PORT=/dev/null";

/// A folder with a script that is called avrdude: it keeps what it was called with, and ends as it is told to.
struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new(exit: u8) -> Self {
        let folder = tempfile::TempDir::new().unwrap();
        let script = folder.path().join("avrdude");
        let said = folder.path().join("said");
        let text = format!(
            "#!/bin/sh\necho \"$*\" >> '{}'\nexit {exit}\n",
            said.display()
        );
        fs::write(&script, text).unwrap();
        fs::set_permissions(&script, fs::Permissions::from_mode(0o755)).unwrap();
        Self { folder }
    }

    fn out(&self) -> PathBuf {
        self.folder.path().join("build")
    }

    /// What `make` printed, and its exit code.
    fn make(&self, arguments: &[&str]) -> (String, i32) {
        let old = std::env::var_os("PATH").unwrap();
        let folders =
            std::iter::once(self.folder.path().to_owned()).chain(std::env::split_paths(&old));
        let path = std::env::join_paths(folders).unwrap();
        told(
            Command::new("make")
                .args(["-C", SOURCES])
                .arg(format!("OUT={}", self.out().display()))
                .args(arguments)
                .env("PATH", path)
                .stdin(Stdio::null()),
        )
    }

    /// Everything that avrdude was called with, one line a call.
    fn said(&self) -> String {
        fs::read_to_string(self.folder.path().join("said")).unwrap_or_default()
    }

    fn hex(&self) -> String {
        fs::read_to_string(self.out().join("driven.hex")).unwrap()
    }
}

fn absolute(tool: &str) -> PathBuf {
    let path = std::env::var_os("PATH").unwrap();
    std::env::split_paths(&path)
        .map(|folder| folder.join(tool))
        .find(|file| file.exists())
        .unwrap()
}

#[test]
fn where_avrdude_is_missing_it_is_said_how_to_get_it_and_nothing_is_built() {
    if built().is_none() {
        return;
    }
    let empty = tempfile::TempDir::new().unwrap();
    let out = empty.path().join("build");
    for target in [
        &["flash", PORT][..],
        &["fuse-bits", "PROGRAMMER=some"],
        &["flash"],
    ] {
        let (text, code) = told(
            Command::new(absolute("make"))
                .args(["-C", SOURCES])
                .arg(format!("OUT={}", out.display()))
                .args(target)
                .env("PATH", empty.path()),
        );
        assert_ne!(code, 0, "{text}");
        assert!(
            text.contains("avrdude is missing") && text.contains("apt install avrdude"),
            "{text}"
        );
        assert!(!out.exists(), "{text}");
    }
}

#[test]
fn flash_hands_the_firmware_asked_for_to_the_boot_loader_at_its_speed() {
    if built().is_none() {
        return;
    }
    let bench = Bench::new(0);
    let (text, code) = bench.make(&["flash", PORT]);
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("rig ask --port /dev/null"), "{text}");
    let hex = |name: &str| bench.out().join(name).display().to_string();
    let call = |baud: u32, name: &str| {
        format!(
            "-p atmega328p -c arduino -P /dev/null -b {baud} -D -U flash:w:{}:i\n",
            hex(name)
        )
    };
    assert_eq!(bench.said(), call(115_200, "driven.hex"));
    assert!(bench.hex().ends_with(":00000001FF\r\n") || bench.hex().ends_with(":00000001FF\n"));

    let (text, code) = bench.make(&["flash", PORT, "WHICH=passive", "BOOT_BAUD=57600"]);
    assert_eq!(code, 0, "{text}");
    assert!(
        bench.said().ends_with(&call(57_600, "passive.hex")),
        "{}",
        bench.said()
    );
    assert!(Path::new(&hex("passive.hex")).exists());
}

#[test]
fn a_board_that_was_not_written_is_never_called_written() {
    if built().is_none() {
        return;
    }
    let bench = Bench::new(1);
    let (text, code) = bench.make(&["flash", PORT]);
    assert_ne!(code, 0, "{text}");
    assert!(text.contains("was not written whole"), "{text}");
    assert!(
        text.contains("make flash PORT=/dev/null BOOT_BAUD=57600"),
        "{text}"
    );
    assert!(!text.contains("Written and read back"), "{text}");

    let (text, code) = bench.make(&["fuse-bits", "PROGRAMMER=some"]);
    assert_ne!(code, 0, "{text}");
    assert!(text.contains("fuse bits were not set"), "{text}");
    assert!(!text.contains("Written and read back"), "{text}");
}

#[test]
fn what_is_missing_is_asked_for_before_avrdude_is_called() {
    if built().is_none() {
        return;
    }
    let bench = Bench::new(0);
    for (arguments, words) in [
        (&["flash"][..], "Say which port the board is on"),
        (&["flash", "PORT=/dev/none"], "There is no port /dev/none"),
        (
            &["flash", PORT, "WHICH=other"],
            "There is no firmware other",
        ),
        (&["fuse-bits"], "Say which programmer you have"),
    ] {
        let (text, code) = bench.make(arguments);
        assert_ne!(code, 0, "{text}");
        assert!(text.contains(words), "{arguments:?}: {text}");
    }
    assert_eq!(bench.said(), "");
}

/// It used to be written as it lay there: a board without a temperature sensor then got the firmware that watches one.
#[test]
fn firmware_of_other_settings_is_built_anew_before_it_is_written() {
    if built().is_none() {
        return;
    }
    let bench = Bench::new(0);
    let without = ["flash", PORT, "MORE=-DBOARD_HAS_CASE=0"];
    assert_eq!(bench.make(&["flash", PORT]).1, 0);
    let plain = bench.hex();
    assert_eq!(bench.make(&without).1, 0);
    let other = bench.hex();
    assert_ne!(plain, other);
    let (text, code) = bench.make(&without);
    assert_eq!((code, text.contains("avr-gcc")), (0, false), "{text}");
    assert_eq!(bench.make(&["flash", PORT]).1, 0);
    assert_eq!(bench.hex(), plain);
}

#[test]
fn fuse_bits_sets_the_brown_out_level_and_nothing_else() {
    if built().is_none() {
        return;
    }
    let bench = Bench::new(0);
    let (text, code) = bench.make(&["fuse-bits", "PROGRAMMER=some -P /dev/null"]);
    assert_eq!(code, 0, "{text}");
    assert_eq!(
        bench.said(),
        "-p atmega328p -c some -P /dev/null -U efuse:w:0xFC:m\n"
    );
}

#[test]
fn the_notes_show_the_call_that_would_be_made() {
    if built().is_none() {
        return;
    }
    let shown = make(Path::new("build"), &["-n", "flash", "PORT=/dev/ttyUSB0"]);
    let call = shown
        .lines()
        .find(|line| line.starts_with("avrdude "))
        .unwrap();
    let call = call.split(" || ").next().unwrap();
    assert!(NOTES.contains(call), "the notes do not show {call}");
}
