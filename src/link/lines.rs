//! Bytes in any chunking to lines, in bounded memory. Whole lines are handed on straight from the chunk; only an
//! unfinished one is copied. Nothing here knows what a line says.

use memchr::{memchr, memchr_iter};

/// A line up to its LF, which is left out (a CR before it is not).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Line<'a> {
    Whole(&'a [u8]),
    TooLong,
}

/// Splits at LF. `limit` gives the longest line, LF included, for a line that begins with that byte.
#[derive(Debug, Clone)]
pub(crate) struct Lines {
    held: Vec<u8>,
    /// The line under way is over its limit: it is dropped as it arrives.
    dropping: bool,
    limit: fn(u8) -> usize,
}

impl Lines {
    pub(crate) fn new(limit: fn(u8) -> usize) -> Self {
        Self {
            held: Vec::new(),
            dropping: false,
            limit,
        }
    }

    pub(crate) fn feed(&mut self, bytes: &[u8], mut sink: impl FnMut(Line<'_>)) {
        let mut start = 0;
        if self.dropping || !self.held.is_empty() {
            let Some(end) = memchr(b'\n', bytes) else {
                self.hold(bytes);
                return;
            };
            self.hold(&bytes[..end]);
            self.flush(&mut sink);
            start = end + 1;
        }
        let whole = &bytes[start..];
        let mut line_start = 0;
        for end in memchr_iter(b'\n', whole) {
            sink(self.bounded(&whole[line_start..end]));
            line_start = end + 1;
        }
        self.hold(&whole[line_start..]);
    }

    /// The line that no LF has ended, if any, and an empty start.
    pub(crate) fn finish(&mut self, mut sink: impl FnMut(Line<'_>)) {
        if self.dropping || !self.held.is_empty() {
            self.flush(&mut sink);
        }
    }

    fn flush(&mut self, sink: &mut impl FnMut(Line<'_>)) {
        if std::mem::take(&mut self.dropping) {
            sink(Line::TooLong);
        } else {
            sink(Line::Whole(&self.held));
        }
        self.held.clear();
    }

    fn bounded<'a>(&self, line: &'a [u8]) -> Line<'a> {
        match line.first() {
            Some(&first) if line.len() >= (self.limit)(first) => Line::TooLong,
            _ => Line::Whole(line),
        }
    }

    fn hold(&mut self, bytes: &[u8]) {
        let Some(&first) = self.held.first().or(bytes.first()) else {
            return;
        };
        // The limit counts the LF, which is not held.
        if self.dropping || self.held.len() + bytes.len() >= (self.limit)(first) {
            self.held.clear();
            self.dropping = true;
        } else {
            self.held.extend_from_slice(bytes);
        }
    }

    /// Bytes of memory kept for the unfinished line.
    #[cfg(test)]
    pub(crate) fn held_capacity(&self) -> usize {
        self.held.capacity()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn split(chunks: &[&[u8]]) -> Vec<Option<Vec<u8>>> {
        let mut lines = Lines::new(|_| 10);
        let mut out = Vec::new();
        let mut keep = |line: Line<'_>| {
            out.push(match line {
                Line::Whole(bytes) => Some(bytes.to_vec()),
                Line::TooLong => None,
            })
        };
        for chunk in chunks {
            lines.feed(chunk, &mut keep);
        }
        lines.finish(&mut keep);
        out
    }

    #[test]
    fn a_line_of_the_limit_is_whole_and_one_byte_more_is_too_long() {
        assert_eq!(split(&[b"123456789\n"]), [Some(b"123456789".to_vec())]);
        assert_eq!(split(&[b"1234567890\nab\n"]), [None, Some(b"ab".to_vec())]);
        assert_eq!(
            split(&[b"12345", b"67890", b"more and more", b"\nab\n"]),
            [None, Some(b"ab".to_vec())]
        );
        assert_eq!(
            split(&[b"12345", b"6789", b"\n"]),
            [Some(b"123456789".to_vec())]
        );
    }

    #[test]
    fn an_endless_line_takes_no_memory() {
        let mut lines = Lines::new(|_| 200);
        for _ in 0..10_000 {
            lines.feed(&[b'x'; 150], |_| panic!("there is no line end"));
        }
        assert!(lines.held_capacity() <= 512, "{}", lines.held_capacity());
    }
}
