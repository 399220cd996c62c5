//! The line and the states over a pipe in memory, against a rig of a few lines that answers as it is told.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};

use super::*;
use crate::link::{PutNow, Wire, encode};
use crate::recording::Journal;

/// What the rig heard, and when.
type Heard = Arc<Mutex<Vec<(Instant, String)>>>;

#[derive(Clone, Default)]
struct Manners {
    /// Kinds of commands that are carried out without an answer.
    mute: &'static [&'static str],
    refuses: &'static [&'static str],
    /// Says nothing at all after so many samples.
    samples: Option<u32>,
    /// Hangs up when they are sent.
    hangs_up: bool,
    /// Disarms itself when it is sent this, and refuses it for that.
    trips_before: Option<&'static str>,
    /// Says with its answer to `ASK` that it is disarmed.
    says_disarmed: bool,
    /// Says so before it answers `DISARM`, as rigs do.
    says_when: bool,
    /// Begins anew when it has been silent for 1.5 s.
    back_after_silence: bool,
}

/// A rig of a few lines on one end of a pipe.
async fn rig(mut pipe: DuplexStream, heard: Heard, mut manners: Manners) {
    let mut seq = 0_u32;
    let mut buffer = Vec::new();
    let mut bytes = [0; 1024];
    let mut tick = tokio::time::interval(Duration::from_millis(5));
    loop {
        tokio::select! {
            read = pipe.read(&mut bytes) => {
                let Ok(count @ 1..) = read else { return };
                buffer.extend_from_slice(&bytes[..count]);
                while let Some(end) = buffer.iter().position(|b| *b == b'\n') {
                    let line: Vec<u8> = buffer.drain(..=end).collect();
                    let text = String::from_utf8_lossy(&line).trim().to_owned();
                    heard.lock().unwrap().push((Instant::now(), text.clone()));
                    for answer in answers(&text, &manners) {
                        let _ = pipe.write_all(encode(&answer).unwrap().as_bytes()).await;
                    }
                }
            }
            _ = tick.tick() => {
                if manners.samples.is_some_and(|most| seq >= most) {
                    if manners.hangs_up { return }
                    if manners.back_after_silence {
                        // Deaf meanwhile, as a board that boots is.
                        let _ = tokio::time::timeout(Duration::from_millis(1500), async {
                            while pipe.read(&mut bytes).await.is_ok() {}
                        })
                        .await;
                        let _ = pipe.write_all(encode(IDENTITY).unwrap().as_bytes()).await;
                        (seq, manners.samples) = (0, None);
                    }
                    continue;
                }
                let sample = format!("S,{},{},0.5,40,7.4", seq % 65_536, 5000 * seq);
                seq += 1;
                let _ = pipe.write_all(encode(&sample).unwrap().as_bytes()).await;
            }
        }
    }
}

const IDENTITY: &str = "RIG,1,pipe,1,driven,200,angle_deg,current_ma,supply_v";

fn answers(line: &str, manners: &Manners) -> Vec<String> {
    let payload = line.split('*').next().unwrap_or_default();
    let mut fields = payload.split(',');
    let (kind, id) = (fields.next().unwrap_or_default(), fields.next());
    let Some(id) = id else { return Vec::new() };
    let mut out = Vec::new();
    if kind == "ASK" {
        out.push(IDENTITY.to_owned());
        if manners.says_disarmed {
            out.push("EV,9,disarmed".to_owned());
        }
    }
    if manners.trips_before == Some(kind) {
        return vec![
            "EV,9,host-lost,600".to_owned(),
            format!("NO,{id},not-armed"),
        ];
    }
    if kind == "DISARM" && manners.says_when {
        out.push("EV,9,disarmed".to_owned());
    }
    if manners.refuses.contains(&kind) {
        return vec![format!("NO,{id},cover open")];
    }
    if !manners.mute.contains(&kind) {
        out.push(format!("OK,{id}"));
    }
    out
}

/// A line to such a rig, and what it heard.
fn connected(manners: Manners) -> (Arc<Line>, Heard) {
    connected_by(manners, |wire| wire)
}

fn connected_by(
    manners: Manners,
    by: impl FnOnce(Wire) -> Wire + Send + 'static,
) -> (Arc<Line>, Heard) {
    let (host, other) = duplex(64 << 10);
    let heard = Heard::default();
    let list = Arc::clone(&heard);
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(rig(other, list, manners));
    });
    let line = Line::open("a pipe", move || Ok(by(Wire::over(host)))).unwrap();
    (Arc::new(line), heard)
}

/// A way out on which whoever sends a `DISARM` is held up after it has gone.
struct HeldUp(Box<dyn PutNow>);

impl PutNow for HeldUp {
    fn put(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let taken = self.0.put(bytes);
        if bytes.starts_with(b"DISARM") {
            std::thread::sleep(Duration::from_millis(100));
        }
        taken
    }
}

fn trip() -> crate::aircraft::TripPoints {
    crate::aircraft::TripPoints {
        current_ma: 2000.0,
        supply_v: 5.5,
        case_c: 70.0,
        pulse_lo_us: 1000.0,
        pulse_hi_us: 2000.0,
        stall_ms: 400.0,
    }
}

async fn armed(line: Arc<Line>) -> Result<Rig<Armed>, Cut> {
    Rig::greet(line)
        .await?
        .limit(&trip(), &mut Vec::new())
        .await?
        .arm()
        .await
}

/// How long after `since` the rig heard `DISARM`.
fn disarmed_after(heard: &Heard, since: Instant) -> Option<Duration> {
    let patience = Instant::now();
    while patience.elapsed() < Duration::from_secs(2) {
        let lines = heard.lock().unwrap();
        if let Some((at, _)) = lines
            .iter()
            .find(|(at, line)| *at >= since && line.starts_with("DISARM,"))
        {
            return Some(at.duration_since(since));
        }
        drop(lines);
        std::thread::sleep(Duration::from_millis(1));
    }
    None
}

fn new_page(path: &std::path::Path) -> Page<'_> {
    Page {
        file: std::fs::File::create(path).unwrap(),
        path,
        keys: &[],
    }
}

fn block_on<F: Future>(future: F) -> F::Output {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(future)
}

const AT_ONCE: Duration = Duration::from_millis(50);

#[test]
fn limits_go_to_the_rig_before_it_is_armed_and_a_move_after() {
    let (line, heard) = connected(Manners::default());
    block_on(async {
        let rig = armed(line).await.unwrap();
        let (rig, ended) = rig
            .go(1600.0, 400.0, 100.0)
            .await
            .unwrap()
            .arrive(&mut |_| Ok(std::ops::ControlFlow::Continue(())))
            .await
            .unwrap();
        assert_eq!(ended, Ended::Arrived);
        rig.disarm().await.unwrap();
    });
    let lines = heard.lock().unwrap();
    let said: Vec<&str> = lines
        .iter()
        .map(|(_, l)| l.split('*').next().unwrap())
        .filter(|l| *l != "ALIVE")
        .collect();
    assert_eq!(said.len(), 5, "{said:?}");
    assert!(
        said[1].contains(
            ",pulse_lo_us=1000,pulse_hi_us=2000,stall_ms=400,current_ma=2000,supply_v=5.5"
        ),
        "{said:?}"
    );
    assert!(
        !said[1].contains("case_c"),
        "the rig has no such sensor: {said:?}"
    );
    assert!(
        said[2].starts_with("ARM,")
            && said[3].ends_with(",1600,400")
            && said[4].starts_with("DISARM,"),
        "{said:?}"
    );
}

#[test]
fn a_rig_that_answers_a_stop_before_the_one_who_stopped_goes_on_is_not_said_to_have_disarmed_itself()
 {
    let manners = Manners {
        says_when: true,
        ..Manners::default()
    };
    let (line, _) = connected_by(manners, |wire| Wire {
        write: Box::new(HeldUp(wire.write)),
        ..wire
    });
    block_on(async {
        let mut rig = armed(Arc::clone(&line)).await.unwrap();
        let stopping = std::thread::spawn(move || {
            std::thread::sleep(Duration::from_millis(100));
            line.stop("a hand");
        });
        let cut = rig.watch(5.0, &mut |_| Ok(())).await.unwrap_err();
        assert_eq!(cut, Cut::Stopped { how: "a hand" });
        stopping.join().unwrap();
    });
}

#[test]
fn an_armed_rig_that_is_let_go_is_disarmed_at_once() {
    let (line, heard) = connected(Manners::default());
    let rig = block_on(armed(Arc::clone(&line))).unwrap();
    let since = Instant::now();
    drop(rig);
    drop(line);
    assert!(disarmed_after(&heard, since).unwrap() < AT_ONCE);
}

#[test]
fn a_panic_of_the_driver_disarms_at_once() {
    let (line, heard) = connected(Manners::default());
    let driver = std::thread::spawn(move || {
        let _rig = block_on(armed(line)).unwrap();
        let since = Instant::now();
        std::panic::resume_unwind(Box::new(since));
    });
    let since = *driver.join().unwrap_err().downcast::<Instant>().unwrap();
    assert!(disarmed_after(&heard, since).unwrap() < AT_ONCE);
}

#[test]
fn the_heart_beats_while_the_driver_hangs_and_stops_with_a_reason_to_end() {
    let (line, heard) = connected(Manners::default());
    let rig = block_on(armed(line)).unwrap();
    let from = Instant::now();
    std::thread::sleep(Duration::from_millis(900));
    let beats: Vec<Instant> = heard
        .lock()
        .unwrap()
        .iter()
        .filter(|(at, l)| *at > from && l.starts_with("ALIVE"))
        .map(|(at, _)| *at)
        .collect();
    let gaps = beats.windows(2).map(|w| w[1] - w[0]);
    assert!(
        gaps.max().unwrap() <= Duration::from_millis(150),
        "{beats:?}"
    );
    drop(rig);
}

#[test]
fn a_failing_disk_disarms_at_once_and_is_the_reason() {
    let (line, heard) = connected(Manners::default());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.log");
    block_on(async {
        let rig = armed(Arc::clone(&line)).await.unwrap();
        // A file that may not be written to any more stands for a disk that fails in mid-run.
        std::fs::write(&path, "").unwrap();
        let journal = Journal::begin(
            std::fs::File::options().append(true).open(&path).unwrap(),
            &path,
            &[] as &[(&str, &str)],
        )
        .unwrap();
        let since = Instant::now();
        line.record(journal.failing_from_now()).unwrap();
        let mut ear = line.listen();
        let cut = loop {
            if let Err(cut) = ear.next().await {
                break cut;
            }
        };
        assert!(matches!(cut, Cut::Disk(_)), "{cut:?}");
        // Until the next bytes arrive nothing is written, and so nothing fails.
        assert!(disarmed_after(&heard, since).unwrap() < AT_ONCE + Duration::from_millis(20));
        drop(rig);
    });
}

#[test]
fn what_is_not_answered_is_asked_three_times_and_said() {
    let (line, heard) = connected(Manners {
        mute: &["ARM"],
        ..Manners::default()
    });
    let since = Instant::now();
    let cut = block_on(armed(Arc::clone(&line))).err().unwrap();
    assert_eq!(cut, Cut::Unanswered { command: "ARM" });
    let tries = heard
        .lock()
        .unwrap()
        .iter()
        .filter(|(_, l)| l.starts_with("ARM,"))
        .count();
    assert_eq!(tries, TRIES);
    assert!(since.elapsed() < 4 * ANSWER_WITHIN);
    // It may be armed all the same.
    let since = Instant::now();
    drop(line);
    assert!(disarmed_after(&heard, since).unwrap() < AT_ONCE);
}

#[test]
fn the_reason_of_a_refusal_reaches_the_user() {
    let (line, _) = connected(Manners {
        refuses: &["ARM"],
        ..Manners::default()
    });
    let shown = block_on(armed(line)).err().unwrap().problem().to_string();
    assert!(
        shown.contains("ARM") && shown.contains("cover open"),
        "{shown}"
    );
}

#[test]
fn silent_and_gone_are_two_messages() {
    let ended_by = |hangs_up| {
        let (line, _) = connected(Manners {
            samples: Some(120),
            hangs_up,
            ..Manners::default()
        });
        block_on(async {
            let mut rig = Rig::greet(line).await.unwrap();
            loop {
                if let Err(cut) = rig.watch(5.0, &mut |_| Ok(())).await {
                    break cut;
                }
            }
        })
    };
    let (silent, gone) = (ended_by(false), ended_by(true));
    assert!(
        matches!(silent, Cut::Silent { .. }) && silent.outcome().contains("silent"),
        "{silent:?}"
    );
    assert!(
        matches!(gone, Cut::PortGone { .. }) && gone.outcome().contains("unplugged"),
        "{gone:?}"
    );
}

#[test]
fn a_recording_begins_with_the_rigs_own_line_and_misses_no_sample() {
    let (line, _) = connected(Manners::default());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("whole.log");
    block_on(async {
        let rig = Rig::greet(Arc::clone(&line)).await.unwrap();
        tokio::time::sleep(Duration::from_millis(100)).await;
        let mut rig = rig.ask_again().await.unwrap();
        let file = std::fs::File::create(&path).unwrap();
        line.record(Journal::begin(file, &path, &[("surface", "rudder")]).unwrap())
            .unwrap();
        rig.watch(0.5, &mut |_| Ok(())).await.unwrap();
        line.end_recording(Ok(())).unwrap();
    });
    let text = std::fs::read_to_string(&path).unwrap();
    let first = text.lines().find(|l| !l.starts_with('#')).unwrap();
    assert!(first.starts_with("RIG,1,pipe"), "{first}");
    let recording = crate::recording::read_path(&path).unwrap();
    assert!(recording.samples >= 100, "{}", recording.samples);
    assert_eq!(
        (recording.lost, recording.damaged_lines, recording.restarts),
        (0, 0, 0)
    );
    assert_eq!(recording.unfinished(), None);
}

#[test]
fn a_rig_that_disarmed_itself_ahead_of_a_move_is_named_for_that_and_not_for_refusing() {
    let (line, _) = connected(Manners {
        trips_before: Some("GO"),
        ..Manners::default()
    });
    let cut = block_on(async {
        let rig = armed(line).await.unwrap();
        rig.go(1600.0, 400.0, 100.0).await.err().unwrap()
    });
    assert!(
        matches!(&cut, Cut::Tripped { code, .. } if code == "host-lost"),
        "{cut:?}"
    );
}

#[test]
fn a_rig_that_comes_back_after_silence_has_restarted() {
    let (line, _) = connected(Manners {
        samples: Some(200),
        back_after_silence: true,
        ..Manners::default()
    });
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.log");
    let page = new_page(&path);
    let plan = SweepPlan {
        up_deg: 20.0,
        down_deg: -20.0,
        cycles: 1,
        rate_deg_per_s: 30.0,
        hold_s: 0.1,
        sense: 1.0,
        stop_s: 0.0,
        alone: None,
        expected: None,
    };
    let run = block_on(async {
        let rig = Rig::greet(line).await.unwrap();
        sweep(rig, page, plan, trip(), &mut |_| ()).await.unwrap()
    });
    assert_eq!((run.cut, run.disarmed), (Some(Cut::Restarted), true));
}

#[test]
fn a_cancelled_hearing_loses_nothing() {
    let (line, _) = connected(Manners {
        samples: Some(150),
        ..Manners::default()
    });
    block_on(async {
        let mut ear = line.listen();
        let mut times = Vec::new();
        let _ = line.command("ASK", "").await;
        // Samples come every 5 ms: most of these waits are cancelled.
        let until = Instant::now() + Duration::from_secs(1);
        while Instant::now() < until {
            let heard = tokio::time::timeout(Duration::from_micros(700), ear.next()).await;
            if let Ok(Ok(super::Heard::Sample(sample))) = heard {
                times.push(sample.t_s);
            }
        }
        // The first samples came before anybody had said what they are.
        assert!(times.len() > 100, "{}", times.len());
        assert!(
            times.windows(2).all(|w| (w[1] - w[0] - 0.005).abs() < 1e-9),
            "{times:?}"
        );
    });
}

#[test]
fn no_heart_beats_for_a_rig_that_does_not_hear_disarm() {
    let (line, heard) = connected(Manners {
        mute: &["DISARM"],
        ..Manners::default()
    });
    block_on(async {
        let rig = armed(Arc::clone(&line)).await.unwrap();
        tokio::time::sleep(Duration::from_millis(200)).await;
        assert!(rig.disarm().await.is_err());
    });
    let lines = heard.lock().unwrap();
    let first = |kind: &str| lines.iter().position(|(_, line)| line.starts_with(kind));
    let let_go = first("DISARM,").unwrap();
    assert!(first("ALIVE").unwrap() < let_go);
    let after = &lines[let_go..];
    assert!(
        after.iter().all(|(_, line)| line.starts_with("DISARM,")),
        "{after:?}"
    );
}

#[test]
fn a_rig_that_fell_silent_ahead_of_a_move_is_silent_and_did_not_merely_fail_to_answer() {
    let (line, _) = connected(Manners {
        mute: &["GO"],
        samples: Some(40),
        ..Manners::default()
    });
    let cut = block_on(async {
        let rig = armed(line).await.unwrap();
        tokio::time::sleep(Duration::from_millis(300)).await;
        rig.go(1600.0, 400.0, 100.0).await.err().unwrap()
    });
    assert!(matches!(cut, Cut::Silent { .. }), "{cut:?}");
}

#[test]
fn a_run_that_could_not_begin_leaves_no_empty_recording_behind() {
    let (line, _) = connected(Manners {
        samples: Some(20),
        hangs_up: true,
        ..Manners::default()
    });
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.log");
    let page = new_page(&path);
    let ended = block_on(async {
        let rig = Rig::greet(line).await.unwrap();
        tokio::time::sleep(Duration::from_millis(400)).await;
        let aircraft =
            crate::aircraft::read_path(std::path::Path::new("samples/aircraft.toml")).unwrap();
        let passive = Passive::of(&aircraft.surfaces[0]);
        listen(rig, page, passive, std::future::pending(), &mut |_| ()).await
    });
    assert!(ended.unwrap_err().what.contains("the port is gone"));
    assert!(!path.exists());
}

/// A driver that had stood still took what it heard late for time on the way, and found stops where there were none.
#[test]
fn samples_from_before_a_move_are_no_time_on_its_way() {
    let (line, _) = connected(Manners::default());
    block_on(async {
        let rig = armed(Arc::clone(&line)).await.unwrap();
        // As if the computer had stumbled: what the rig says waits to be heard.
        std::thread::sleep(Duration::from_millis(600));
        let before_s = line.live().borrow().latest.unwrap().t_s;
        let moving = rig.go(1600.0, 400.0, 80.0).await.unwrap();
        let mut last_s = 0.0;
        let (rig, ended) = moving
            .arrive(&mut |sample| {
                last_s = sample.t_s;
                Ok(std::ops::ControlFlow::Continue(()))
            })
            .await
            .unwrap();
        assert_eq!(ended, Ended::Arrived);
        // 80 µs at 400 µs/s take 0.2 s, and this rig never says that it has arrived.
        assert!(last_s - before_s >= 0.2, "{before_s} to {last_s}");
        rig.disarm().await.unwrap();
    });
}

/// `disarmed` from before this arming was taken for the answer to a `DISARM` that nobody heard.
#[test]
fn what_was_said_before_an_arming_is_no_word_on_its_end() {
    let (line, _) = connected(Manners {
        says_disarmed: true,
        mute: &["DISARM"],
        ..Manners::default()
    });
    block_on(async {
        let rig = armed(Arc::clone(&line)).await.unwrap();
        assert!(rig.disarm().await.is_err());
    });
    assert!(line.is_armed());
}
