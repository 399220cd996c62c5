//! What share of a core the real program takes while a rig sends 200 samples/s. Two looks at the running process leave out its start.

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::Row;

const BEFORE: Duration = Duration::from_secs(3);
const MEASURED: Duration = Duration::from_secs(20);

pub fn of_a_core() -> Vec<Row> {
    let watch = |port: &Path| vec!["rig".into(), "watch".into(), "--port".into(), port.into()];
    let sweep = |port: &Path| {
        let words = ["sweep", "left elevator", "--yes", "--cycles", "20"];
        let mut words: Vec<_> = words.iter().map(std::ffi::OsString::from).collect();
        words.extend(["--aircraft", "samples/aircraft.toml", "--port"].map(Into::into));
        words.extend([
            port.into(),
            "--logbook".into(),
            port.with_file_name("book").into(),
        ]);
        words
    };
    vec![
        (
            "share of a core, `sweep` at 200 samples/s",
            format!("{:.2} %", 100.0 * share(sweep)),
            "below 3 %",
        ),
        (
            "share of a core, `rig watch` at 200 samples/s",
            format!("{:.2} %", 100.0 * share(watch)),
            "below 3 %",
        ),
    ]
}

fn share(arguments: impl Fn(&Path) -> Vec<std::ffi::OsString>) -> f64 {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let port = folder.path().join("rig");
    let program = || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_hingewright"));
        command.stdout(Stdio::null()).stderr(Stdio::null());
        command
    };
    let mut rig = program();
    rig.args(["simulate", "--aircraft", "samples/aircraft.toml", "--link"]);
    let _rig = Ended(rig.arg(&port).spawn().unwrap());
    while !port.exists() {
        std::thread::sleep(Duration::from_millis(10));
    }
    let host = Ended(program().args(arguments(&port)).spawn().unwrap());
    std::thread::sleep(BEFORE);
    let (began, before_s) = (Instant::now(), processor_s(&host.0));
    std::thread::sleep(MEASURED);
    (processor_s(&host.0) - before_s) / began.elapsed().as_secs_f64()
}

/// Time on a processor of all threads of a process that runs, s.
fn processor_s(process: &Child) -> f64 {
    let tasks = std::fs::read_dir(format!("/proc/{}/task", process.id())).unwrap();
    let ns = tasks.flatten().map(|task| {
        let text = std::fs::read_to_string(task.path().join("schedstat")).unwrap();
        text.split(' ').next().unwrap().parse::<f64>().unwrap()
    });
    1e-9 * ns.sum::<f64>()
}

/// A process that is ended when dropped.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
