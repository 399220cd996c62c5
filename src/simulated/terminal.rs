//! A pseudo-terminal that stands for the rig's serial port: opened, linked, read and written without ever blocking.
//! Nothing of the rig or of what lines mean.

use std::io;
use std::os::fd::{AsFd, OwnedFd};
use std::path::{Path, PathBuf};

use nix::errno::Errno;
use nix::fcntl::{FcntlArg, OFlag, fcntl};
use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use nix::sys::termios::{FlushArg, SetArg, cfmakeraw, tcflush, tcgetattr, tcsetattr};

use crate::problem::Problem;

/// What waits here for the kernel's buffer, bytes: a small rig has no more. Samples leave room for what matters more.
const ROOM: usize = 4096;
const ROOM_FOR_SAMPLES: usize = 2048;

/// The rig's end of a pseudo-terminal.
#[derive(Debug)]
pub(super) struct Terminal {
    ours: OwnedFd,
    /// Held so that hosts can come and go: without it our end hangs up with the first that goes.
    theirs: OwnedFd,
    path: PathBuf,
    visitors: Visitors,
    waiting: Vec<u8>,
    dropped: u64,
}

impl Terminal {
    pub(super) fn open() -> Result<Self, Problem> {
        Self::try_open().map_err(|error| {
            Problem::new(format!("no pseudo-terminal could be opened: {error}"))
                .hint("see whether /dev/pts is mounted and whether other programs hold too many terminals")
        })
    }

    fn try_open() -> io::Result<Self> {
        let pair = nix::pty::openpty(None, None)?;
        let mut form = tcgetattr(&pair.slave)?;
        cfmakeraw(&mut form);
        tcsetattr(&pair.slave, SetArg::TCSANOW, &form)?;
        fcntl(&pair.master, FcntlArg::F_SETFL(OFlag::O_NONBLOCK))?;
        let path = nix::unistd::ttyname(&pair.slave)?;
        Ok(Self {
            visitors: Visitors::watch(&path),
            ours: pair.master,
            theirs: pair.slave,
            path,
            waiting: Vec::with_capacity(ROOM),
            dropped: 0,
        })
    }

    /// Where a host connects.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Lines dropped because nobody read.
    pub(super) fn dropped(&self) -> u64 {
        self.dropped
    }

    /// Waits until something is to be read or known, at most so many milliseconds.
    pub(super) fn wait(&self, at_most_ms: u8) {
        let mut watched = vec![PollFd::new(self.ours.as_fd(), PollFlags::POLLIN)];
        watched.extend(self.visitors.poll_fd());
        // An interrupted wait is a short one.
        let _ = poll(&mut watched, PollTimeout::from(at_most_ms));
    }

    /// Whether a host has opened the port since the last call. What nobody is left to read is thrown away.
    pub(super) fn newly_opened(&mut self) -> bool {
        let opened = self.visitors.look();
        if self.visitors.none() {
            self.forget_unread();
        }
        opened
    }

    /// Whether nobody has the port open, as far as that can be known.
    pub(super) fn alone(&self) -> bool {
        self.visitors.none()
    }

    fn forget_unread(&mut self) {
        self.waiting.clear();
        // Nothing is lost that anybody could still read.
        let _ = tcflush(&self.theirs, FlushArg::TCIFLUSH);
    }

    /// What the host has sent, as much as is there.
    pub(super) fn read(&mut self) -> Vec<u8> {
        let mut got = Vec::new();
        let mut part = [0_u8; 1024];
        while let Ok(count @ 1..) = nix::unistd::read(&self.ours, &mut part) {
            got.extend_from_slice(&part[..count]);
            if got.len() > 64 * 1024 {
                break;
            }
        }
        if !got.is_empty() {
            self.visitors.someone_spoke();
        }
        if !got.is_empty() && self.visitors.unknown() && self.waiting.len() > ROOM_FOR_SAMPLES / 2 {
            // Whoever speaks wants an answer, not what lies here from before they came.
            self.forget_unread();
        }
        got
    }

    /// Sends a whole line, or drops it whole where there is no room. Whether it was sent.
    pub(super) fn send(&mut self, line: &[u8], is_sample: bool) -> bool {
        let room = if is_sample { ROOM_FOR_SAMPLES } else { ROOM };
        if self.waiting.len() + line.len() > room {
            self.push();
        }
        if self.waiting.len() + line.len() > room {
            self.dropped += 1;
            return false;
        }
        self.waiting.extend_from_slice(line);
        true
    }

    /// Hands what waits to the kernel, as much as it takes.
    pub(super) fn push(&mut self) {
        while !self.waiting.is_empty() {
            match nix::unistd::write(&self.ours, &self.waiting) {
                Ok(0) => break,
                Ok(count) => drop(self.waiting.drain(..count)),
                Err(Errno::EINTR) => {}
                Err(_) => break,
            }
        }
    }
}

/// Who has the port open. Linux tells; elsewhere nobody knows, and the port counts as open.
#[derive(Debug)]
struct Visitors {
    #[cfg(target_os = "linux")]
    news: Option<nix::sys::inotify::Inotify>,
    open: u32,
}

#[cfg(target_os = "linux")]
impl Visitors {
    fn watch(path: &Path) -> Self {
        use nix::sys::inotify::{AddWatchFlags, InitFlags, Inotify};
        let news = Inotify::init(InitFlags::IN_NONBLOCK | InitFlags::IN_CLOEXEC).and_then(|news| {
            news.add_watch(path, AddWatchFlags::IN_OPEN | AddWatchFlags::IN_CLOSE)?;
            Ok(news)
        });
        Self {
            news: news.ok(),
            open: 0,
        }
    }

    fn poll_fd(&self) -> Option<PollFd<'_>> {
        let news = self.news.as_ref()?;
        Some(PollFd::new(news.as_fd(), PollFlags::POLLIN))
    }

    fn unknown(&self) -> bool {
        self.news.is_none()
    }

    fn look(&mut self) -> bool {
        use nix::sys::inotify::AddWatchFlags;
        let mut opened = false;
        let Some(news) = &self.news else { return false };
        while let Ok(events) = news.read_events() {
            for event in events {
                if event.mask.contains(AddWatchFlags::IN_OPEN) {
                    self.open += 1;
                    opened = true;
                } else if event.mask.intersects(AddWatchFlags::IN_CLOSE) {
                    self.open = self.open.saturating_sub(1);
                }
            }
        }
        opened
    }

    /// Two openings at once may be told as one: whoever speaks is there for certain.
    fn someone_spoke(&mut self) {
        self.open = self.open.max(1);
    }

    fn none(&self) -> bool {
        !self.unknown() && self.open == 0
    }
}

#[cfg(not(target_os = "linux"))]
impl Visitors {
    fn watch(_: &Path) -> Self {
        Self { open: 0 }
    }

    fn poll_fd(&self) -> Option<PollFd<'_>> {
        None
    }

    fn unknown(&self) -> bool {
        true
    }

    /// The first look counts as the first opening.
    fn look(&mut self) -> bool {
        self.open += u32::from(self.open == 0);
        false
    }

    fn someone_spoke(&mut self) {}

    fn none(&self) -> bool {
        false
    }
}

/// A link to the port at a path of the user's choice; taken away when this is dropped.
#[derive(Debug)]
pub(super) struct Link {
    at: PathBuf,
    to: PathBuf,
}

impl Link {
    /// Replaces a link that points nowhere or to a terminal, and nothing else.
    pub(super) fn make(at: &Path, to: &Path) -> Result<Self, Problem> {
        let at = std::path::absolute(at).unwrap_or_else(|_| at.to_owned());
        let hint = "give --link a path that is free, in a folder that you may write to";
        if let Ok(there) = at.symlink_metadata() {
            let stale = there.is_symlink()
                && (!at.exists()
                    || std::fs::read_link(&at).is_ok_and(|target| is_terminal_path(&target)));
            if !stale {
                return Err(Problem::new(format!(
                    "{}: there is something at this path already, and it is no link to a rig",
                    at.display()
                ))
                .hint(hint));
            }
            // If it cannot be removed, making the link says why.
            let _ = std::fs::remove_file(&at);
        }
        std::os::unix::fs::symlink(to, &at).map_err(|error| {
            Problem::new(format!(
                "{}: the link to the rig could not be made: {error}",
                at.display()
            ))
            .hint(hint)
        })?;
        Ok(Self {
            at,
            to: to.to_owned(),
        })
    }

    pub(super) fn path(&self) -> &Path {
        &self.at
    }
}

fn is_terminal_path(path: &Path) -> bool {
    path.starts_with("/dev/pts") || path.to_string_lossy().starts_with("/dev/tty")
}

impl Drop for Link {
    fn drop(&mut self) {
        // Another rig may have taken the path since; its link stays.
        if std::fs::read_link(&self.at).is_ok_and(|target| target == self.to) {
            let _ = std::fs::remove_file(&self.at);
        }
    }
}
