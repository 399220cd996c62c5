//! The way to the rig: whole lines, from any thread, at once. Nobody ever waits here, so nothing can hold back a `DISARM`.

use std::collections::VecDeque;
use std::io;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::link::PutNow;

/// Bytes that may wait for a rig that does not read. More would only be old news to it.
const MOST_WAITING_BYTES: usize = 1024;

pub(super) struct WayOut {
    inner: Mutex<Inner>,
}

struct Inner {
    io: Box<dyn PutNow>,
    /// What the port had no room for yet: the rest of a line, and whole lines after it.
    waiting: VecDeque<u8>,
}

impl WayOut {
    pub fn new(io: Box<dyn PutNow>) -> Self {
        Self {
            inner: Mutex::new(Inner {
                io,
                waiting: VecDeque::new(),
            }),
        }
    }

    /// A thread that panicked with the lock left the way as good as before.
    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Puts a line on the wire, after what waits already. Where the port has no room for it, it waits for the next call.
    pub fn put(&self, line: &[u8]) -> io::Result<()> {
        let mut inner = self.inner();
        if inner.waiting.len() + line.len() <= MOST_WAITING_BYTES {
            inner.waiting.extend(line);
        }
        inner.push()
    }
}

impl Inner {
    fn push(&mut self) -> io::Result<()> {
        while !self.waiting.is_empty() {
            let (first, _) = self.waiting.as_slices();
            match self.io.put(first) {
                Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
                Ok(taken) => drop(self.waiting.drain(..taken)),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => return Ok(()),
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;

    /// A port with room for so many bytes.
    #[derive(Clone)]
    struct Narrow(Arc<Mutex<(usize, Vec<u8>)>>);

    impl PutNow for Narrow {
        fn put(&mut self, bytes: &[u8]) -> io::Result<usize> {
            let mut port = self.0.lock().unwrap();
            let taken = bytes.len().min(port.0);
            if taken == 0 {
                return Err(io::ErrorKind::WouldBlock.into());
            }
            port.0 -= taken;
            port.1.extend_from_slice(&bytes[..taken]);
            Ok(taken)
        }
    }

    #[test]
    fn a_line_that_found_no_room_goes_whole_ahead_of_the_next() {
        let port = Narrow(Arc::new(Mutex::new((3, Vec::new()))));
        let way = WayOut::new(Box::new(port.clone()));
        way.put(b"ALIVE*1\n").unwrap();
        port.0.lock().unwrap().0 = 100;
        way.put(b"DISARM,1*2\n").unwrap();
        assert_eq!(port.0.lock().unwrap().1, b"ALIVE*1\nDISARM,1*2\n");
    }

    #[test]
    fn what_waits_for_a_rig_that_does_not_read_is_bounded_and_stays_whole_lines() {
        let port = Narrow(Arc::new(Mutex::new((0, Vec::new()))));
        let way = WayOut::new(Box::new(port.clone()));
        for _ in 0..1000 {
            way.put(b"ALIVE*1\n").unwrap();
        }
        port.0.lock().unwrap().0 = 1_000_000;
        way.put(b"ALIVE*1\n").unwrap();
        let all = port.0.lock().unwrap().1.clone();
        assert_eq!(all.len(), MOST_WAITING_BYTES / 8 * 8);
        assert!(all.chunks(8).all(|line| line == b"ALIVE*1\n"));
    }
}
