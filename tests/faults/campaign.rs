//! Many runs side by side, each examined in the same way, and the counts of all of them as one table.

use std::collections::VecDeque;
use std::sync::{Condvar, Mutex};
use std::time::Duration;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use super::bench::{Bench, FAST, MAY_LACK_MS, Process, now_ms, pause_ms, program};
use super::truth;

/// All random moments come from it.
pub const SEED: u64 = 20_260_418;
/// A host's end must have disarmed its rig after this, ms.
const DISARMED_WITHIN_MS: f64 = 600.0;
/// Sweeps at once, of all campaigns together: two cores, mostly waiting.
const AT_ONCE: usize = 7;

pub fn is_long() -> bool {
    std::env::var_os("HINGEWRIGHT_LONG").is_some_and(|value| value != "0")
}

/// So many runs in the short edition, so many in the long one.
pub fn runs(short: usize, long: usize) -> usize {
    if is_long() { long } else { short }
}

/// Random moments of a campaign, ms.
pub fn moments(campaign: u64, count: usize, from_ms: f64, to_ms: f64) -> Vec<f64> {
    let mut chance = ChaCha8Rng::seed_from_u64(SEED);
    chance.set_stream(campaign);
    (0..count)
        .map(|_| chance.random_range(from_ms..to_ms))
        .collect()
}

/// How a run ended, and how it should have.
pub struct Run {
    pub bench: Bench,
    /// Status and moment of the host's end; no status where it was killed.
    pub ended: Option<(Option<i32>, f64)>,
    /// What had been sent 250 ms before this has to be in the recording, ms.
    pub moment_ms: f64,
    /// Where it is not the host's end from which the rig's disarming counts, ms.
    pub disarm_from_ms: Option<f64>,
    pub status: &'static [Option<i32>],
    /// Its standard error says one of these.
    pub says: &'static [&'static str],
    pub unfinished: bool,
    /// There may be no recording at all.
    pub recorded: bool,
    /// What came out of a bad cable, and how many bytes of it have to be in the recording.
    pub delivered: Option<(Vec<u8>, usize)>,
}

impl Run {
    /// A run that was cut short while the host lived.
    pub fn cut(
        bench: Bench,
        host: &mut Process,
        moment_ms: f64,
        says: &'static [&'static str],
    ) -> Self {
        Self {
            ended: host.ended(Duration::from_secs(25)),
            bench,
            moment_ms,
            disarm_from_ms: None,
            status: &[Some(3)],
            says,
            unfinished: true,
            recorded: true,
            delivered: None,
        }
    }
}

/// The counts of a campaign.
#[derive(Default)]
struct Tally {
    runs: usize,
    unrecorded: usize,
    samples: usize,
    missing: usize,
    false_samples: usize,
    not_as_sent: usize,
    left_armed: usize,
    not_opened: usize,
    unlabelled: usize,
    wrong_end: usize,
    /// From the fault to the rig's disarming, ms.
    disarmed_after_ms: Vec<f64>,
    lacks_ms: Vec<f64>,
    faults: Vec<String>,
}

type Job = Box<dyn FnOnce() -> Run + Send>;

/// Runs all of them, `weight` of the places for sweeps taken by each, and holds the counts against the targets.
pub fn campaign(title: &str, weight: usize, jobs: Vec<Job>) {
    let began = std::time::Instant::now();
    let queue = Mutex::new(jobs.into_iter().enumerate().collect::<VecDeque<_>>());
    let tally = Mutex::new(Tally::default());
    std::thread::scope(|scope| {
        for _ in 0..(AT_ONCE / weight).max(1) {
            scope.spawn(|| {
                loop {
                    let Some((number, job)) = queue.lock().unwrap().pop_front() else {
                        return;
                    };
                    let _places = Places::take(weight);
                    let run = job();
                    examine(&format!("{title}, run {number}"), run, &tally);
                }
            });
        }
    });
    let mut tally = tally.into_inner().unwrap();
    print(title, &mut tally, began.elapsed().as_secs_f64());
    assert!(tally.faults.is_empty(), "{}", tally.faults.join("\n"));
}

static TAKEN: Mutex<usize> = Mutex::new(0);
static FREED: Condvar = Condvar::new();

/// Places for sweeps, given back when dropped.
struct Places(usize);

impl Places {
    fn take(count: usize) -> Self {
        let taken = TAKEN.lock().unwrap();
        let mut taken = FREED
            .wait_while(taken, |taken| *taken + count > AT_ONCE)
            .unwrap();
        *taken += count;
        Self(count)
    }
}

impl Drop for Places {
    fn drop(&mut self) {
        *TAKEN
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner) -= self.0;
        FREED.notify_all();
    }
}

fn examine(name: &str, mut run: Run, tally: &Mutex<Tally>) {
    let mut found: Vec<String> = Vec::new();
    let (status, ended_ms) = run.ended.unwrap_or((Some(-1), now_ms()));
    if run.ended.is_none() {
        found.push("the host does not end".into());
    }
    let from_ms = run.disarm_from_ms.unwrap_or(ended_ms);
    let deadline_ms = from_ms + DISARMED_WITHIN_MS;
    while run.bench.disarmed_since().is_none() && now_ms() < deadline_ms + 400.0 {
        pause_ms(10.0);
    }
    let disarmed = run.bench.disarmed_since();
    run.bench.rig.signal(nix::sys::signal::Signal::SIGTERM);
    run.bench.rig.ended(Duration::from_secs(5));
    let mut t = tally.lock().unwrap();
    t.runs += 1;
    match disarmed {
        Some(at_ms) if at_ms <= deadline_ms => {
            if run.moment_ms > 0.0 && at_ms >= run.moment_ms - 20.0 {
                t.disarmed_after_ms.push(at_ms - run.moment_ms);
            }
        }
        other => {
            t.left_armed += 1;
            found.push(format!("left armed: {other:?}, host's end {ended_ms}"));
        }
    }
    drop(t);
    let said = run.bench.text("host.err");
    let says_it = run.says.is_empty() || run.says.iter().any(|words| said.contains(words));
    if !run.status.contains(&status) || !says_it {
        tally.lock().unwrap().wrong_end += 1;
        found.push(format!("ended with {status:?}, saying: {said}"));
    }
    recording(&run, tally, &mut found);
    if !found.is_empty() {
        run.bench.keep();
        let place = run.bench.root.display();
        let text = format!("{name} ({place}): {}", found.join("; "));
        tally.lock().unwrap().faults.push(text);
    }
}

/// What the run left on the disk.
fn recording(run: &Run, tally: &Mutex<Tally>, found: &mut Vec<String>) {
    let sent = run.bench.sent();
    let path = run.bench.recording();
    let (delivered, must) = match &run.delivered {
        Some((delivered, must)) => (delivered, *must),
        None => (&sent, run.bench.sent_by(run.moment_ms - MAY_LACK_MS)),
    };
    let seen = path
        .as_deref()
        .map(|path| truth::compare(path, &sent, delivered, must.min(delivered.len())))
        .unwrap_or_default();
    let mut t = tally.lock().unwrap();
    t.samples += seen.samples;
    t.missing += seen.missing;
    t.false_samples += seen.false_samples;
    t.not_as_sent += usize::from(seen.not_as_sent);
    if seen.missing + seen.false_samples > 0 || seen.not_as_sent {
        found.push(format!("{seen:?}"));
    }
    if let Some(last_us) = seen.last_us {
        let by = run.bench.sent_by(run.moment_ms);
        if let Some(us) = last_clock(&sent[..by]) {
            // A little more may be there than was known to be sent by then.
            t.lacks_ms
                .push(1e-3 * f64::from(us.saturating_sub(last_us)) / FAST);
        }
    }
    if seen.samples == 0 {
        t.unrecorded += 1;
        if run.recorded {
            found.push(format!("nothing recorded, {must} bytes due"));
        }
        return;
    }
    drop(t);
    let opened = path.map(|path| checked(&path)).unwrap_or_default();
    let mut t = tally.lock().unwrap();
    if !opened.opens {
        t.not_opened += 1;
        found.push("check does not open it".into());
    } else if opened.unfinished_in_json != run.unfinished
        || opened.unfinished_in_text != run.unfinished
    {
        t.unlabelled += 1;
        found.push("the label of its end is wrong".into());
    }
}

/// Clock of the last whole sample, µs.
fn last_clock(sent: &[u8]) -> Option<u32> {
    let end = sent.iter().rposition(|byte| *byte == b'\n')?;
    let text = String::from_utf8_lossy(&sent[end.saturating_sub(2000)..end]).into_owned();
    let line = text.lines().rev().find(|line| line.starts_with("S,"))?;
    line.split(',').nth(2)?.parse().ok()
}

#[derive(Default)]
struct Opened {
    opens: bool,
    unfinished_in_json: bool,
    unfinished_in_text: bool,
}

/// What `check` makes of a recording, as it lies there.
fn checked(path: &std::path::Path) -> Opened {
    let check = |json: &[&str]| {
        let mut command = program();
        command
            .args(["check", "--aircraft", "samples/aircraft.toml"])
            .args(json)
            .arg(path);
        command.output().unwrap()
    };
    let (json, text) = (check(&["--json"]), check(&[]));
    let line: Option<Value> = serde_json::from_slice(&json.stdout).ok();
    let opens = |status: Option<i32>| matches!(status, Some(0 | 1));
    Opened {
        opens: line.is_some() && opens(json.status.code()) && opens(text.status.code()),
        unfinished_in_json: line.is_some_and(|l| l["recording"]["unfinished"].is_string()),
        unfinished_in_text: String::from_utf8_lossy(&text.stdout).contains("unfinished"),
    }
}

fn print(title: &str, t: &mut Tally, seconds: f64) {
    let most = |values: &mut Vec<f64>| {
        values.sort_by(f64::total_cmp);
        let at = |share: f64| values.get((share * (values.len().max(1) - 1) as f64) as usize);
        match (at(0.5), at(1.0)) {
            (Some(middle), Some(most)) => format!("{middle:.0} / {most:.0}"),
            _ => "–".to_owned(),
        }
    };
    let rows = [
        (
            "runs (of these without a sample recorded)",
            format!("{} ({})", t.runs, t.unrecorded),
        ),
        ("samples recorded", t.samples.to_string()),
        ("samples older than 250 ms missing", t.missing.to_string()),
        ("false samples", t.false_samples.to_string()),
        (
            "recordings not byte for byte as delivered",
            t.not_as_sent.to_string(),
        ),
        (
            "rigs left armed 600 ms after the host's end",
            t.left_armed.to_string(),
        ),
        (
            "recordings that check does not open",
            t.not_opened.to_string(),
        ),
        (
            "recordings with a wrong label of their end",
            t.unlabelled.to_string(),
        ),
        ("wrong exit status or cause", t.wrong_end.to_string()),
        (
            "from the fault to disarmed, ms, median / most",
            most(&mut t.disarmed_after_ms),
        ),
        (
            "recording ends before the fault by ms, median / most",
            most(&mut t.lacks_ms),
        ),
    ];
    let mut text = format!("\n{title} (seed {SEED}, {seconds:.0} s)\n");
    for (what, value) in rows {
        text += &format!("  {what:<55} {value:>16}\n");
    }
    println!("{text}");
}
