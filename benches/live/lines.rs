//! Lines a second: written as fast as the pseudo-terminal takes them; decoded, recorded on disk, followed by a listener.

use std::fs::File;
use std::hint::black_box;
use std::io::Write;
use std::path::Path;
use std::time::Instant;

use hingewright::aircraft;
use hingewright::link::port;
use hingewright::recording::{Channel, Journal, read_path};
use hingewright::rig::{Heard, Line, Passive};

use super::Row;
use super::pty::{Pty, identity, sample};

const LINES: u32 = 1_000_000;
const RATE_HZ: u32 = 200_000;

pub fn sustained() -> Vec<Row> {
    let mut lines = identity(RATE_HZ).into_bytes();
    for number in 0..LINES {
        lines.extend(sample(number, RATE_HZ).bytes());
    }
    let mean = lines.len() as f64 / f64::from(LINES);
    let bare = bare_reader(&lines);
    // On a disk, beside the program, and not in memory.
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let path = folder.path().join("lines.log");
    let pty = Pty::open();
    let port_path = pty.path.display().to_string();
    let line = Line::open(&port_path, {
        let port_path = port_path.clone();
        move || port::open(&port_path, 115_200)
    })
    .unwrap();
    let journal = Journal::begin::<&str>(File::create(&path).unwrap(), &path, &[]).unwrap();
    line.record(journal).unwrap();
    let aircraft = aircraft::read_path(Path::new("samples/aircraft.toml")).unwrap();
    let mut passive = Passive::of(&aircraft.surfaces[0]);
    let mut ear = line.listen();
    let began = Instant::now();
    let total = lines.len();
    let writer = std::thread::spawn(move || {
        let mut pty = pty;
        pty.rig.write_all(&lines).unwrap();
        pty
    });
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let heard = runtime.block_on(async {
        let mut heard = 0;
        loop {
            if let Heard::Sample(sample) = ear.next().await.unwrap() {
                heard += 1;
                black_box(passive.take(&sample));
                if sample.get(Channel::CurrentMa) == Some(f64::from(LINES - 1)) {
                    break heard;
                }
            }
        }
    });
    let took_s = began.elapsed().as_secs_f64();
    let lost = line.live().borrow().lost;
    let written = line.end_recording(Ok(())).unwrap();
    let whole_s = began.elapsed().as_secs_f64();
    drop(writer.join().unwrap());
    let recording = read_path(&path).unwrap();
    assert_eq!(
        (
            written.bytes as usize,
            recording.samples,
            recording.lost,
            lost
        ),
        (total, u64::from(LINES), 0, 0)
    );
    let rate = |took_s: f64| format!("{:.0}", f64::from(LINES) / took_s);
    let missed = LINES - heard;
    vec![
        (
            "lines/s, decoded, recorded, followed",
            format!("{} ({mean:.0} bytes each)", rate(took_s)),
            "200,000",
        ),
        ("… and all of them on the disk", rate(whole_s), ""),
        (
            "… lost in the recording / missed by the listener",
            format!("0 / {missed}"),
            "0 / 0",
        ),
        ("lines/s of a bare reader", rate(bare), ""),
    ]
}

/// Seconds for reading the same bytes and doing nothing with them.
fn bare_reader(lines: &[u8]) -> f64 {
    use std::io::Read;
    let mut pty = Pty::open();
    let mut port = File::open(&pty.path).unwrap();
    let began = Instant::now();
    std::thread::scope(|scope| {
        scope.spawn(|| pty.rig.write_all(lines).unwrap());
        let (mut left, mut buffer) = (lines.len(), vec![0; 64 << 10]);
        while left > 0 {
            left -= port.read(&mut buffer).unwrap();
        }
    });
    began.elapsed().as_secs_f64()
}
