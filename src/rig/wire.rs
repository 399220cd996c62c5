//! The wire, shared: one task reads it, one writes it, and anyone may put a line on it at once in an emergency.

use std::future::poll_fn;
use std::io;
use std::pin::Pin;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll, Waker};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

use crate::link::Wire;

pub(super) struct SharedWire {
    inner: Mutex<Inner>,
}

struct Inner {
    io: Box<dyn Wire>,
    /// A line has been written in part: the next one begins after an LF.
    mid_line: bool,
}

impl SharedWire {
    pub fn new(io: Box<dyn Wire>) -> Self {
        Self {
            inner: Mutex::new(Inner {
                io,
                mid_line: false,
            }),
        }
    }

    /// The lock is never held across a wait. A thread that panicked with it left the wire as good as before.
    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Reads what is there; 0 where the other end is gone. Cancelled, it has taken nothing.
    pub async fn read(&self, into: &mut [u8]) -> io::Result<usize> {
        poll_fn(|context| {
            let mut buffer = ReadBuf::new(into);
            Pin::new(&mut self.inner().io)
                .poll_read(context, &mut buffer)
                .map_ok(|()| buffer.filled().len())
        })
        .await
    }

    /// Writes a whole line, into the driver's buffer: to wait until it has left that (flush) would block the thread, and with
    /// a rig that hangs for ever.
    pub async fn write(&self, line: &[u8]) -> io::Result<()> {
        let mut rest = line;
        while !rest.is_empty() {
            let taken = poll_fn(|context| self.inner().put(context, rest)).await?;
            rest = &rest[taken..];
        }
        Ok(())
    }

    /// Puts a line on the wire without waiting for anything: for an emergency, from any thread, in any state.
    /// Tells whether all of it went.
    pub fn write_now(&self, line: &[u8]) -> bool {
        let mut inner = self.inner();
        let context = &mut Context::from_waker(Waker::noop());
        let mut bytes = Vec::with_capacity(line.len() + 1);
        if inner.mid_line {
            bytes.push(b'\n');
        }
        bytes.extend_from_slice(line);
        let mut rest = &bytes[..];
        while !rest.is_empty() {
            match inner.put(context, rest) {
                Poll::Ready(Ok(taken)) => rest = &rest[taken..],
                _ => break,
            }
        }
        rest.is_empty()
    }
}

impl Inner {
    fn put(&mut self, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let result = Pin::new(&mut self.io).poll_write(context, bytes);
        match &result {
            Poll::Ready(Ok(0)) => return Poll::Ready(Err(io::ErrorKind::WriteZero.into())),
            Poll::Ready(Ok(taken)) => self.mid_line = bytes[*taken - 1] != b'\n',
            _ => {}
        }
        result
    }
}
