//! A recording written as it arrives: byte for byte, on a thread of its own, brought to the disk a few times a second.
//!
//! Nothing here looks at what the bytes mean, but for line ends: a line of the host's own goes in only between two lines.
//! A file that was left behind at any moment is a recording up to there, and says `outcome=unfinished` at its top.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use tokio::sync::watch;

use super::{FINISHED, OUTCOME, UNFINISHED};
use crate::problem::Problem;

/// How long bytes may lie in the system's memory before they are sent to the disk. A tenth of a second leaves a slow disk
/// another 150 ms within the quarter that is promised.
const SYNC_EVERY: Duration = Duration::from_millis(100);

/// Bytes that may wait for a slow disk: more than an hour at 115,200 baud.
pub const MOST_WAITING_BYTES: usize = 64 << 20;

enum Order {
    Bytes(Vec<u8>),
    Host(String, String),
    Finish { outcome: String },
}

/// Where the bytes of a run go. Dropped without [`Journal::finish`], it leaves an unfinished recording.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    orders: Sender<Order>,
    waiting: Arc<AtomicUsize>,
    on_disk: Arc<AtomicU64>,
    failed: watch::Receiver<Option<Problem>>,
    thread: Option<JoinHandle<u64>>,
}

/// More bytes wait for the disk than may.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DiskTooSlow;

/// What a finished journal left on the disk.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    pub path: PathBuf,
    /// Bytes that came down the wire.
    pub bytes: u64,
    /// Why not all of it could be written.
    pub problem: Option<Problem>,
}

impl Journal {
    /// Begins a recording in an empty file with the host's own lines on top, and brings these to the disk.
    pub fn begin<V: AsRef<str>>(
        file: File,
        path: &Path,
        keys: &[(&str, V)],
    ) -> Result<Self, Problem> {
        let on_disk = Arc::default();
        let mut pen = Pen {
            file,
            mid_line: false,
            bytes: 0,
            on_disk: Arc::clone(&on_disk),
        };
        let begun = keys
            .iter()
            .try_for_each(|(key, value)| pen.host_line(key, value.as_ref()))
            .and_then(|()| pen.host_line(OUTCOME, UNFINISHED))
            .and_then(|()| pen.file.sync_all());
        begun.map_err(|e| cannot_write(path, &e))?;
        let (orders, received) = channel();
        let waiting = Arc::new(AtomicUsize::new(0));
        let (tell, failed) = watch::channel(None);
        let (still, whole) = (Arc::clone(&waiting), path.to_owned());
        let thread = std::thread::Builder::new()
            .name("journal".into())
            .spawn(move || write_on(pen, &received, &still, &tell, &whole))
            .map_err(|e| cannot_write(path, &e))?;
        Ok(Self {
            path: path.to_owned(),
            orders,
            waiting,
            on_disk,
            failed,
            thread: Some(thread),
        })
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The same journal on a disk that has no room any more.
    #[cfg(all(test, target_os = "linux"))]
    pub(crate) fn failing_from_now(self) -> Self {
        let full = File::options().write(true).open("/dev/full").unwrap();
        let (orders, received) = channel();
        let (tell, failed) = watch::channel(None);
        let waiting = Arc::new(AtomicUsize::new(0));
        let (still, path) = (Arc::clone(&waiting), self.path.clone());
        let pen = Pen {
            file: full,
            mid_line: false,
            bytes: 0,
            on_disk: Arc::default(),
        };
        let thread = std::thread::spawn(move || write_on(pen, &received, &still, &tell, &path));
        Self {
            path: self.path.clone(),
            orders,
            waiting,
            on_disk: Arc::default(),
            failed,
            thread: Some(thread),
        }
    }

    /// Hands bytes over. Never waits for the disk; refuses once [`MOST_WAITING_BYTES`] wait for it.
    pub fn bytes(&self, bytes: &[u8]) -> Result<(), DiskTooSlow> {
        let before = self.waiting.fetch_add(bytes.len(), Ordering::Relaxed);
        if before + bytes.len() > MOST_WAITING_BYTES {
            self.waiting.fetch_sub(bytes.len(), Ordering::Relaxed);
            return Err(DiskTooSlow);
        }
        // A thread that is gone has told why by `failed`.
        let _ = self.orders.send(Order::Bytes(bytes.to_vec()));
        Ok(())
    }

    /// A `#` line of the host's, ahead of the next line of the rig.
    pub fn host_line(&self, key: &str, value: &str) {
        let _ = self
            .orders
            .send(Order::Host(key.to_owned(), value.to_owned()));
    }

    /// How many bytes of the wire would outlive the computer's losing its power by now: for whoever measures that.
    pub fn on_disk(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.on_disk)
    }

    /// Becomes a problem when the disk fails.
    pub fn failed(&self) -> watch::Receiver<Option<Problem>> {
        self.failed.clone()
    }

    /// Ends the recording: finished, or unfinished and why. Waits for the disk.
    pub fn finish(mut self, outcome: Result<(), &str>) -> Written {
        let outcome = match outcome {
            Ok(()) => FINISHED.to_owned(),
            Err(why) => format!("{UNFINISHED}: {why}"),
        };
        let _ = self.orders.send(Order::Finish { outcome });
        let bytes = self.thread.take().and_then(|t| t.join().ok()).unwrap_or(0);
        Written {
            path: self.path.clone(),
            bytes,
            problem: self.failed.borrow().clone(),
        }
    }
}

/// The file and where its last line stands.
struct Pen {
    file: File,
    mid_line: bool,
    bytes: u64,
    on_disk: Arc<AtomicU64>,
}

impl Pen {
    fn sync(&mut self) -> io::Result<()> {
        self.file.sync_data()?;
        self.on_disk.store(self.bytes, Ordering::Release);
        Ok(())
    }

    fn bytes(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.file.write_all(bytes)?;
        self.bytes += bytes.len() as u64;
        self.mid_line = bytes.last().map_or(self.mid_line, |last| *last != b'\n');
        Ok(())
    }

    fn host_line(&mut self, key: &str, value: &str) -> io::Result<()> {
        let clean: String = value
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        // A line that the rig never ended is damaged whatever follows.
        let end = if std::mem::take(&mut self.mid_line) {
            "\n"
        } else {
            ""
        };
        self.file
            .write_all(format!("{end}# {key}={clean}\n").as_bytes())
    }
}

/// The journal's thread: gives back how many bytes of the wire were written.
fn write_on(
    mut pen: Pen,
    orders: &Receiver<Order>,
    waiting: &AtomicUsize,
    tell: &watch::Sender<Option<Problem>>,
    path: &Path,
) -> u64 {
    let mut later: Vec<(String, String)> = Vec::new();
    let mut unsynced_since: Option<Instant> = None;
    loop {
        let patience = unsynced_since.map_or(SYNC_EVERY, |since| {
            SYNC_EVERY.saturating_sub(since.elapsed())
        });
        let done = match orders.recv_timeout(patience) {
            Ok(Order::Bytes(bytes)) => {
                let done = pen.bytes_and_lines(&bytes, &mut later);
                waiting.fetch_sub(bytes.len(), Ordering::Relaxed);
                unsynced_since.get_or_insert_with(Instant::now);
                done
            }
            Ok(Order::Host(key, value)) => {
                later.push((key, value));
                if pen.mid_line {
                    Ok(())
                } else {
                    pen.lines(&mut later)
                }
            }
            Ok(Order::Finish { outcome }) => {
                let done = pen
                    .lines(&mut later)
                    .and_then(|()| pen.host_line(OUTCOME, &outcome))
                    .and_then(|()| pen.file.sync_all());
                tell_if_failed(&done, tell, path);
                return pen.bytes;
            }
            Err(RecvTimeoutError::Timeout) => Ok(()),
            // The run is gone without a word: what came is kept, and its top says that it is unfinished.
            Err(RecvTimeoutError::Disconnected) => {
                tell_if_failed(&pen.file.sync_all(), tell, path);
                return pen.bytes;
            }
        };
        let done = done.and_then(|()| {
            if unsynced_since.is_some_and(|since| since.elapsed() >= SYNC_EVERY) {
                unsynced_since = None;
                pen.sync()?;
            }
            Ok(())
        });
        if tell_if_failed(&done, tell, path) {
            return pen.bytes;
        }
    }
}

impl Pen {
    /// Writes bytes, with the host lines that waited for a line's end after the first one in them.
    fn bytes_and_lines(
        &mut self,
        bytes: &[u8],
        later: &mut Vec<(String, String)>,
    ) -> io::Result<()> {
        if later.is_empty() {
            return self.bytes(bytes);
        }
        match memchr::memchr(b'\n', bytes) {
            Some(end) => {
                self.bytes(&bytes[..=end])?;
                self.lines(later)?;
                self.bytes(&bytes[end + 1..])
            }
            None => self.bytes(bytes),
        }
    }

    fn lines(&mut self, later: &mut Vec<(String, String)>) -> io::Result<()> {
        later
            .drain(..)
            .try_for_each(|(key, value)| self.host_line(&key, &value))
    }
}

fn tell_if_failed(
    done: &io::Result<()>,
    tell: &watch::Sender<Option<Problem>>,
    path: &Path,
) -> bool {
    if let Err(error) = done {
        tell.send_replace(Some(cannot_write(path, error)));
    }
    done.is_err()
}

fn cannot_write(path: &Path, error: &io::Error) -> Problem {
    let shown = path.display();
    match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Problem::new(format!(
            "{shown}: the disk is full; the recording ends where it was"
        ))
        .hint("make room on it, or give a logbook on another disk with --logbook, and sweep again"),
        _ => Problem::new(format!(
            "{shown}: the recording could not be written: {error}"
        ))
        .hint("check the disk and that you may write to the logbook's folder, then sweep again"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn begun() -> (tempfile::TempDir, PathBuf, Journal) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("one.log");
        let journal = Journal::begin(
            File::create(&path).unwrap(),
            &path,
            &[("surface", "rudder")],
        )
        .unwrap();
        (folder, path, journal)
    }

    #[test]
    fn what_came_is_written_unaltered_and_the_end_says_how_it_ended() {
        let (_folder, path, journal) = begun();
        journal.bytes(b"RIG,1,x*00").unwrap();
        journal.host_line("note", "a gust\nof wind");
        journal.bytes(b"00\nS,1").unwrap();
        journal.bytes(b",2*0000\r\n").unwrap();
        let written = journal.finish(Ok(()));
        assert_eq!((written.bytes, written.problem), (25, None));
        assert_eq!(
            std::fs::read_to_string(path).unwrap(),
            "# surface=rudder\n# outcome=unfinished\nRIG,1,x*0000\n# note=a gust of wind\nS,1,2*0000\r\n# outcome=finished\n"
        );
    }

    #[test]
    fn a_torn_last_line_stays_and_the_reason_stands_below_it() {
        let (_folder, path, journal) = begun();
        journal.bytes(b"S,1,2").unwrap();
        journal.finish(Err("the cable was pulled"));
        let text = std::fs::read_to_string(path).unwrap();
        assert!(
            text.ends_with("\nS,1,2\n# outcome=unfinished: the cable was pulled\n"),
            "{text}"
        );
    }

    #[test]
    fn a_journal_that_is_dropped_leaves_all_bytes_and_says_unfinished() {
        let (_folder, path, mut journal) = begun();
        journal.bytes(b"S,1,2*0000\n").unwrap();
        let thread = journal.thread.take().unwrap();
        drop(journal);
        thread.join().unwrap();
        let text = std::fs::read_to_string(path).unwrap();
        assert_eq!(text, "# surface=rudder\n# outcome=unfinished\nS,1,2*0000\n");
    }

    /// `/dev/full` is a disk without any room.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_full_disk_is_told_as_one() {
        let path = Path::new("/dev/full");
        let file = File::options().write(true).open(path).unwrap();
        let shown = Journal::begin::<&str>(file, path, &[])
            .unwrap_err()
            .to_string();
        assert!(shown.contains("the disk is full"), "{shown}");
    }
}
