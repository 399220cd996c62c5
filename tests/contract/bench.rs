//! A bench to work at: a folder, an aircraft file to order, the binary run on what lies there.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use hingewright::simulated::{Channel, Programme, Scenario, Sweep};
use serde_json::Value;
use tempfile::TempDir;

/// What a run printed, and its exit status.
pub struct Ran {
    pub status: i32,
    pub out: String,
    pub err: String,
}

/// Runs the binary from the project's root. A panic fails whichever test asked.
pub fn run<I: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = I>) -> Ran {
    let output = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(arguments)
        .output()
        .unwrap();
    let ran = Ran {
        status: output.status.code().expect("ended by a signal"),
        out: String::from_utf8(output.stdout).expect("standard output is UTF-8"),
        err: String::from_utf8(output.stderr).expect("standard error is UTF-8"),
    };
    assert!(!ran.err.contains("panicked"), "{}", ran.err);
    assert!(!ran.out.contains("panicked"), "{}", ran.out);
    ran
}

impl Ran {
    /// The JSON Lines, each held against the contract, and the exit status against the verdicts.
    pub fn results(&self) -> Vec<Value> {
        let results: Vec<Value> = self
            .out
            .lines()
            .map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}")))
            .collect();
        for result in &results {
            super::shape::assert_contract(result);
        }
        if self.status < 2 {
            let all_clear = results.iter().all(|r| r["verdict"] == "no-fault-found");
            assert_eq!(
                self.status,
                i32::from(!all_clear),
                "exit status against verdicts: {}",
                self.out
            );
        }
        results
    }

    /// The one result of a run over one recording.
    #[track_caller]
    pub fn result(&self) -> Value {
        let results = self.results();
        assert_eq!(
            results.len(),
            1,
            "stdout: {}\nstderr: {}",
            self.out,
            self.err
        );
        results.into_iter().next().unwrap()
    }

    /// Exit status 2, nothing on standard output, and every word given in the message.
    #[track_caller]
    pub fn refused_with(&self, words: &[&str]) {
        assert_eq!(self.status, 2, "stdout: {}\nstderr: {}", self.out, self.err);
        assert!(self.out.is_empty(), "{}", self.out);
        for word in words {
            assert!(self.err.contains(word), "no {word:?} in: {}", self.err);
        }
    }
}

/// What the aircraft file says of the one surface; everything else is as in the simulated plant.
#[derive(Clone)]
pub struct OnFile {
    pub horn_mm: Option<f64>,
    pub arm_deg_per_us: Option<f64>,
    pub calibration: bool,
    pub throw_deg: f64,
}

impl Default for OnFile {
    fn default() -> Self {
        Self {
            horn_mm: Some(22.0),
            arm_deg_per_us: Some(0.09),
            calibration: true,
            throw_deg: 24.0,
        }
    }
}

/// The numbers are the simulated servo's own; uncertainties of 1, 2, 2 and 3 %.
const CALIBRATION: &str = "[servo]\ntag = \"E1\"\nmade = 2026-04-02\nreference_c = 20.0\n\n[power_balance]\n\
    idle_w = 0.21\nwinding_w_per_nm2 = 8.4\nfriction_nm = 0.06\ngear_loss = 0.18\n\
    covariance = [[4.41e-6, 0.0, 0.0, 0.0], [0.0, 2.8224e-2, 0.0, 0.0], [0.0, 0.0, 1.44e-6, 0.0], [0.0, 0.0, 0.0, 2.916e-5]]\n";

/// A folder with an aircraft file in it.
pub struct Bench {
    folder: TempDir,
}

impl Bench {
    pub fn new(on_file: &OnFile) -> Self {
        let bench = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        bench.put("E1.calibration.toml", CALIBRATION);
        bench.put("aircraft.toml", aircraft(on_file));
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn put(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }

    /// `check --json` on the recordings named, with this bench's aircraft file and more arguments.
    pub fn check(&self, recordings: &[&Path], more: &[&str]) -> Ran {
        let mut arguments = vec![std::ffi::OsString::from("check"), "--json".into()];
        arguments.extend(recordings.iter().map(|p| p.as_os_str().to_owned()));
        arguments.extend(["--aircraft".into(), self.path("aircraft.toml").into()]);
        arguments.extend(more.iter().map(|m| m.into()));
        run(arguments)
    }

    /// Puts one recording down and checks it.
    pub fn check_bytes(&self, name: &str, bytes: impl AsRef<[u8]>) -> Ran {
        let path = self.put(name, bytes);
        self.check(&[&path], &[])
    }
}

pub fn aircraft(on_file: &OnFile) -> String {
    let mut text = String::from(
        "[aircraft]\nname = \"Dunlin\"\n\n[[servo_type]]\nname = \"metal gear\"\nstall_torque_ncm = 210\nstall_voltage_v = 7.4\n",
    );
    if let Some(ratio) = on_file.arm_deg_per_us {
        text += &format!("arm_deg_per_us = {ratio}\n");
    }
    text += "\n[[servo]]\ntag = \"E1\"\ntype = \"metal gear\"\n";
    if on_file.calibration {
        text += "calibration = \"E1.calibration.toml\"\n";
    }
    let throw_deg = on_file.throw_deg;
    text += &format!(
        "\n[[surface]]\nname = \"left elevator\"\nservo = \"E1\"\nchord_mm = 58.0\nthrow_as = \"straight\"\nthrows = [\n  \
         {{ name = \"up\", up_deg = {throw_deg}, tolerance_mm = 1.0 }},\n  {{ name = \"down\", down_deg = {throw_deg}, tolerance_mm = 1.0 }},\n]\n"
    );
    if let Some(horn_mm) = on_file.horn_mm {
        text += &format!(
            "\n[surface.linkage]\narm_mm = 18\nhorn_mm = {horn_mm}\nrod_mm = 95\nbase_mm = 97\n"
        );
    }
    text
}

/// The fault-free left elevator: 100 samples a second, six cycles to ±25.5° unless changed.
pub fn elevator(channels: &[Channel]) -> Scenario {
    Scenario {
        rate_hz: 100.0,
        programme: Programme::Sweep(Sweep {
            cycles: 6,
            ..Sweep::default()
        }),
        ..Scenario::default()
    }
    .with_channels(channels.to_vec())
}

pub const BY_TORQUE: &[Channel] = &[
    Channel::PulseUs,
    Channel::AngleDeg,
    Channel::ArmDeg,
    Channel::CurrentMa,
    Channel::SupplyV,
    Channel::TorqueNcm,
];

/// The same without the torque sensor.
pub const BY_POWER: &[Channel] = BY_TORQUE.split_at(5).0;

/// Holds an estimate against the truth: within twice the half width of its 95 % interval, and near enough to be of use.
/// An interval of 95 % may miss; at twice its width a fixed seed that fails is worth looking at.
#[track_caller]
pub fn assert_near(quantity: &Value, truth: f64, at_most_off: f64) {
    let value = quantity["value"]
        .as_f64()
        .unwrap_or_else(|| panic!("{quantity}"));
    let end = |key: &str| {
        quantity[key]
            .as_f64()
            .unwrap_or_else(|| panic!("{quantity}"))
    };
    let half = 0.5 * (end("hi95") - end("lo95"));
    assert!(
        (value - truth).abs() <= 2.0 * half && (value - truth).abs() <= at_most_off,
        "{quantity} against {truth}, at most {at_most_off} off"
    );
}

#[track_caller]
pub fn has_finding(result: &Value, kind: &str, level: &str, words: &[&str]) {
    let found = result["findings"].as_array().unwrap().iter().any(|f| {
        f["kind"] == kind
            && f["level"] == level
            && words
                .iter()
                .all(|w| f["text"].as_str().unwrap().contains(w))
    });
    assert!(
        found,
        "no {kind} ({level}) with {words:?} in {}",
        result["findings"]
    );
}
