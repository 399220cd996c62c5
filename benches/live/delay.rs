//! How soon a sample is in the file, on the disk, and on the screen, with a core kept busy.

use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use hingewright::link::port;
use hingewright::recording::Journal;
use hingewright::rig::Line;

use super::pty::{Pty, identity, sample};
use super::{Row, spread};

const RATE_HZ: u32 = 1000;
const SAMPLES: usize = 10_000;

/// Keeps a core busy until dropped.
struct Busy(Arc<AtomicBool>);

impl Busy {
    fn begin() -> Self {
        let busy = Arc::new(AtomicBool::new(true));
        let still = Arc::clone(&busy);
        std::thread::spawn(move || while still.load(Ordering::Relaxed) {});
        Self(busy)
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        self.0.store(false, Ordering::Relaxed);
    }
}

fn times() -> Arc<Vec<AtomicU64>> {
    Arc::new((0..SAMPLES).map(|_| AtomicU64::new(0)).collect())
}

fn delay_s(began: Instant, written: &AtomicU64) -> f64 {
    began.elapsed().as_secs_f64() - 1e-9 * written.load(Ordering::Acquire) as f64
}

pub fn to_disk() -> Vec<Row> {
    let _busy = Busy::begin();
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let path = folder.path().join("delay.log");
    let mut pty = Pty::open();
    let port_path = pty.path.display().to_string();
    let line = Line::open("bench", move || port::open(&port_path, 115_200)).unwrap();
    let journal = Journal::begin::<&str>(File::create(&path).unwrap(), &path, &[]).unwrap();
    let on_disk = journal.on_disk();
    line.record(journal).unwrap();
    let written = times();
    // Where in the wire's bytes each sample ends.
    let mut end = 0;
    let ends: Vec<u64> = (0..SAMPLES as u32)
        .map(|number| {
            end += sample(number, RATE_HZ).len() as u64;
            end
        })
        .collect();
    let began = Instant::now();
    let sender = std::thread::spawn({
        let written = Arc::clone(&written);
        move || {
            pty.send(RATE_HZ, began, &written);
            // Hung up, it would take with it what was not read yet.
            pty
        }
    });
    let mut file = File::open(&path).unwrap();
    let mut head = String::new();
    file.read_to_string(&mut head).unwrap();
    let (mut in_file, mut bytes) = (0, vec![0; 64 << 10]);
    let (mut seen_s, mut kept_s) = (Vec::new(), Vec::new());
    while kept_s.len() < SAMPLES {
        in_file += file.read(&mut bytes).unwrap() as u64;
        while seen_s.len() < SAMPLES && ends[seen_s.len()] <= in_file {
            seen_s.push(delay_s(began, &written[seen_s.len()]));
        }
        let kept = on_disk.load(Ordering::Acquire);
        while kept_s.len() < SAMPLES && ends[kept_s.len()] <= kept {
            kept_s.push(delay_s(began, &written[kept_s.len()]));
        }
        std::thread::sleep(Duration::from_micros(300));
        assert!(began.elapsed() < Duration::from_secs(60), "{in_file}");
    }
    let _pty = sender.join().unwrap();
    drop(line);
    vec![
        (
            "sample to file, 1,000/s, a core busy: median / 99 % / most",
            spread(seen_s),
            "99 % below 20 ms",
        ),
        (
            "sample brought to the disk (fsync)",
            spread(kept_s),
            "most below 250 ms",
        ),
    ]
}

pub fn to_screen() -> Vec<Row> {
    let _busy = Busy::begin();
    let mut pty = Pty::open();
    let mut watch = Command::new(env!("CARGO_BIN_EXE_hingewright"))
        .args(["rig", "watch", "--port"])
        .arg(&pty.path)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut rows = BufReader::new(watch.stdout.take().unwrap()).lines();
    // Its head comes once it knows the rig.
    let head = std::thread::scope(|scope| {
        let head = scope.spawn(|| rows.next());
        while !head.is_finished() {
            pty.answer(&identity(RATE_HZ), Duration::from_millis(20));
        }
        head.join().unwrap()
    });
    assert_eq!(
        head.unwrap().unwrap(),
        "t_s,angle_deg,current_ma,supply_v,pulse_us"
    );
    let (written, began) = (times(), Instant::now());
    let sender = std::thread::spawn({
        let written = Arc::clone(&written);
        move || {
            pty.send(RATE_HZ, began, &written);
            pty
        }
    });
    let mut delays_s = Vec::new();
    while delays_s.len() < SAMPLES {
        let row = rows.next().unwrap().unwrap();
        let number: usize = row.split(',').nth(2).unwrap().parse().unwrap();
        assert_eq!(number, delays_s.len(), "a row is missing");
        delays_s.push(delay_s(began, &written[number]));
    }
    let _pty = sender.join().unwrap();
    watch.kill().unwrap();
    watch.wait().unwrap();
    vec![(
        "sample to a row of `rig watch`, the same",
        spread(delays_s),
        "99 % below 20 ms",
    )]
}
