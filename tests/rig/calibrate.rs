//! `calibrate` at a rig: weights lifted by a simulated one, and a surface that a hand holds at known angles.

use std::io::{BufRead, BufReader, Read, Write};
use std::os::fd::AsFd;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI32, Ordering};
use std::time::Duration;

use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use nix::sys::termios::{SetArg, cfmakeraw, tcgetattr, tcsetattr};
use serde_json::Value;

use super::host::{Rig as Simulated, crc};

fn book(folder: &std::path::Path) -> std::path::PathBuf {
    let book = folder.join("book");
    std::fs::create_dir(&book).unwrap();
    for file in [
        "aircraft.toml",
        "E1.calibration.toml",
        "E2.calibration.toml",
    ] {
        std::fs::copy(format!("samples/{file}"), book.join(file)).unwrap();
    }
    book
}

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_hingewright"));
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null());
    command
}

#[test]
fn weights_lifted_at_a_rig_become_a_calibration_that_the_aircraft_file_reads() {
    let rig = Simulated::start(&[
        "--aircraft",
        "samples/aircraft.toml",
        "--weights",
        "0,0.2,0.5,0.8",
        "--weight-arm",
        "60",
        "--channels",
        "pulse_us,arm_deg,current_ma,supply_v,case_c",
        "--fast",
        "10",
    ]);
    let book = book(rig.folder.path());
    let (link, into) = (rig.link(), book.display().to_string());
    let link = link.display().to_string();
    let arguments = [
        "calibrate",
        "servo",
        "E1",
        "--arm-mm",
        "60",
        "--yes",
        "--json",
        "--port",
        &link,
        "--logbook",
        &into,
    ];
    // An Enter for each weight that hangs: --yes is for the cautions alone.
    let (_, out, said) = super::held::run(&arguments, "\n\n\n\n");
    // Standard output is the object alone; what was said at the bench is on standard error.
    let object: Value = serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e}: {said}"));
    assert!(
        said.contains("hang 0.5 kg on the arm") && said.contains("A weight falls"),
        "{said}"
    );
    let truth = hingewright::simulated::Servo::default();
    for (name, truth) in [
        ("idle_w", truth.idle_w),
        ("winding_w_per_nm2", truth.winding_w_per_nm2),
        ("friction_nm", truth.friction_nm),
        ("gear_loss", truth.gear_loss),
    ] {
        let q = &object[name];
        let end = |key: &str| q[key].as_f64().unwrap();
        let half = end("hi95") - end("lo95");
        assert!((end("value") - truth).abs() < half, "{name}: {q} {truth}");
    }
    let aircraft = hingewright::aircraft::read_path(&book.join("aircraft.toml")).unwrap();
    let e1 = aircraft.servos.iter().find(|s| s.tag == "E1").unwrap();
    let read = e1.calibration.as_ref().unwrap();
    assert!((read.idle_w - object["idle_w"]["value"].as_f64().unwrap()).abs() < 1e-5);
    assert!(book.join("E1.calibration.older-1.toml").exists(), "{said}");
    let ended = rig
        .events()
        .iter()
        .filter(|e| e["what"] == "disarmed")
        .count();
    assert_eq!(ended, 4, "{:?}", rig.events());
}

#[test]
fn too_few_loads_or_one_speed_are_told_before_anything_is_armed() {
    let rig = Simulated::start(&["--fast", "10"]);
    let book = book(rig.folder.path());
    for (more, words) in [
        (["--masses", "0,0.5"], "2 different loads"),
        (["--speeds", "30,35"], "one speed does not tell"),
        (
            ["--masses", "0,0.5,9"],
            "more than half of the stall torque",
        ),
    ] {
        let ran = program()
            .args([
                "calibrate",
                "servo",
                "E1",
                "--arm-mm",
                "60",
                "--yes",
                "--port",
            ])
            .arg(rig.link())
            .arg("--logbook")
            .arg(&book)
            .args(more)
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&ran.stderr);
        assert_eq!(ran.status.code(), Some(2), "{said}");
        assert!(said.contains(words), "{said}");
    }
    assert!(!rig.events().iter().any(|e| e["what"] == "armed"));
}

/// A passive rig with an angle sensor that reads 1.1° at neutral and 0.95° a degree, on a surface that a hand holds. Its clock
/// runs five times as fast.
struct ByHand {
    _theirs: std::os::fd::OwnedFd,
    path: std::path::PathBuf,
    /// Deflection, hundredths of a degree, and whether it is let go of.
    stands: Arc<AtomicI32>,
    loose: Arc<AtomicBool>,
    ended: Arc<AtomicBool>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl ByHand {
    fn start() -> Self {
        let pair = nix::pty::openpty(None, None).unwrap();
        let mut form = tcgetattr(&pair.slave).unwrap();
        cfmakeraw(&mut form);
        tcsetattr(&pair.slave, SetArg::TCSANOW, &form).unwrap();
        let path = nix::unistd::ttyname(&pair.slave).unwrap();
        let (stands, loose, ended) = (
            Arc::<AtomicI32>::default(),
            Arc::<AtomicBool>::default(),
            Arc::<AtomicBool>::default(),
        );
        let seen = (Arc::clone(&stands), Arc::clone(&loose), Arc::clone(&ended));
        let mut port = std::fs::File::from(pair.master);
        let thread = std::thread::spawn(move || {
            let (stands, loose, ended) = seen;
            let line = |payload: String| format!("{payload}*{:04X}\n", crc(payload.as_bytes()));
            let mut heard = Vec::new();
            let mut n = 0_u32;
            while !ended.load(Ordering::Relaxed) {
                let mut watched = [PollFd::new(port.as_fd(), PollFlags::POLLIN)];
                let _ = poll(&mut watched, PollTimeout::from(2_u8));
                let ready = watched[0].any().unwrap_or(false);
                let mut out = String::new();
                if ready {
                    let mut part = [0; 512];
                    let count = port.read(&mut part).unwrap_or(0);
                    heard.extend_from_slice(&part[..count]);
                }
                while let Some(end) = heard.iter().position(|b| *b == b'\n') {
                    let said: Vec<u8> = heard.drain(..=end).collect();
                    let said = String::from_utf8_lossy(&said).into_owned();
                    let mut fields = said.split('*').next().unwrap().split(',');
                    match (fields.next(), fields.next()) {
                        (Some("ASK"), Some(id)) => {
                            out += &line("RIG,1,hand,1,passive,100,angle_deg".into());
                            out += &line(format!("OK,{id}"));
                        }
                        (Some("ALIVE"), _) | (None, _) => {}
                        (_, Some(id)) => out += &line(format!("NO,{id},passive")),
                        _ => {}
                    }
                }
                let drift = if loose.load(Ordering::Relaxed) {
                    0.02 * f64::from(n % 400)
                } else {
                    0.0
                };
                let read = 1.1 + 0.95 * (0.01 * f64::from(stands.load(Ordering::Relaxed)) + drift);
                out += &line(format!("S,{},{},{read:.2}", n % 65_536, 1000 + 10_000 * n));
                n += 1;
                let _ = port.write_all(out.as_bytes());
            }
        });
        Self {
            _theirs: pair.slave,
            path,
            stands,
            loose,
            ended,
            thread: Some(thread),
        }
    }
}

impl Drop for ByHand {
    fn drop(&mut self) {
        self.ended.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

#[test]
fn a_surface_held_at_known_angles_calibrates_its_sensor_and_a_hold_that_moves_is_asked_for_again() {
    let rig = ByHand::start();
    let folder = tempfile::tempdir().unwrap();
    let book = book(folder.path());
    let into = folder.path().join("angle.toml");
    let mut child = program()
        .args([
            "calibrate",
            "angle",
            "left elevator",
            "--angles",
            "-20,0,20",
            "--times",
            "2",
            "--port",
        ])
        .arg(&rig.path)
        .arg("--logbook")
        .arg(&book)
        .arg("--into")
        .arg(&into)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut keys = child.stdin.take().unwrap();
    let out = BufReader::new(child.stdout.take().unwrap());
    let mut said = String::new();
    let mut let_go = false;
    for line in out.lines() {
        let line = line.unwrap();
        said += &format!("{line}\n");
        if let Some(place) = line.split("hold it at ").nth(1) {
            let deg: i32 = place.split('°').next().unwrap().parse().unwrap();
            rig.stands.store(100 * deg, Ordering::Relaxed);
            // The third is let go of once.
            let_go = line.contains("  3 of 6");
            rig.loose.store(let_go, Ordering::Relaxed);
            std::thread::sleep(Duration::from_millis(60));
            keys.write_all(b"\n").unwrap();
        } else if line.contains("does not count") {
            assert!(let_go);
            rig.loose.store(false, Ordering::Relaxed);
            std::thread::sleep(Duration::from_millis(60));
            keys.write_all(b"\n").unwrap();
        }
    }
    let ended = child.wait_with_output().unwrap();
    let told = String::from_utf8_lossy(&ended.stderr);
    assert_eq!(ended.status.code(), Some(0), "{said}\n{told}");
    assert!(
        said.contains("NOTHING IS DRIVEN") && said.contains("does not count"),
        "{said}"
    );
    assert!(said.contains("1 holds were left out"), "{said}");
    let table: toml::Table = std::fs::read_to_string(&into).unwrap().parse().unwrap();
    let found = |key: &str| table["surface"]["angle"][key].as_float().unwrap();
    assert!((found("scale") - 1.0 / 0.95).abs() < 0.005, "{table}");
    assert!((found("zero_deg") - 1.1).abs() < 0.05, "{table}");
    // It is kept in the logbook, with its marks, and can be told again from there.
    let kept = std::fs::read_dir(book.join("recordings"))
        .unwrap()
        .next()
        .unwrap()
        .unwrap()
        .path();
    let text = String::from_utf8_lossy(&std::fs::read(&kept).unwrap()).into_owned();
    assert_eq!(text.matches("# at_deg=").count(), 7);
    assert!(text.contains("# purpose=angle-calibration"));
    let again = program()
        .args(["calibrate", "angle", "left elevator", "--json", "--logbook"])
        .arg(&book)
        .arg("--from")
        .arg(&kept)
        .output()
        .unwrap();
    let object: Value = serde_json::from_slice(&again.stdout).unwrap();
    assert!((object["scale"]["value"].as_f64().unwrap() - found("scale")).abs() < 1e-6);
}
