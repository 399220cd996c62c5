//! The `#` keys of a recording without its samples: what many recordings say of themselves, to choose among them.
//! Decodes no sample and judges no line.

use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::Path;

use super::assemble::MAX_KEYS;

/// No key that a host writes is longer than this, bytes.
const LONGEST: usize = 4096;

/// `#` keys in the order of the file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct HostKeys(Vec<(String, String)>);

impl HostKeys {
    /// Reads a file through, and keeps its keys alone.
    ///
    /// # Errors
    /// It cannot be opened or read.
    pub fn of(path: &Path) -> io::Result<Self> {
        let mut reader = BufReader::with_capacity(256 * 1024, File::open(path)?);
        Self::read(&mut reader)
    }

    /// The keys in the first bytes of a file.
    ///
    /// # Errors
    /// None: bytes in memory can be read.
    pub fn in_bytes(mut bytes: &[u8]) -> io::Result<Self> {
        Self::read(&mut bytes)
    }

    fn read(reader: &mut impl BufRead) -> io::Result<Self> {
        let (mut keys, mut line) = (Self::default(), Vec::new());
        // The first byte of a line says whether it is kept.
        let mut keep = None;
        loop {
            let piece = reader.fill_buf()?;
            let Some(&first) = piece.first() else {
                break;
            };
            let end = memchr::memchr(b'\n', piece);
            let part = &piece[..end.unwrap_or(piece.len())];
            if *keep.get_or_insert(first == b'#') {
                line.extend_from_slice(&part[..part.len().min(LONGEST - line.len())]);
            }
            let used = part.len() + usize::from(end.is_some());
            reader.consume(used);
            if end.is_some() {
                keys.add(&line);
                line.clear();
                keep = None;
            }
        }
        keys.add(&line);
        Ok(keys)
    }

    fn add(&mut self, line: &[u8]) {
        let text = String::from_utf8_lossy(line);
        if let Some((key, value)) = text.strip_prefix('#').and_then(|t| t.split_once('='))
            && self.0.len() < MAX_KEYS
        {
            self.0
                .push((key.trim().to_owned(), value.trim().to_owned()));
        }
    }

    /// The last value given for a key.
    pub fn key(&self, name: &str) -> Option<&str> {
        let mut last_first = self.0.iter().rev();
        last_first.find(|(k, _)| k == name).map(|(_, v)| v.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_those_of_the_whole_recording_and_the_last_word_counts() {
        let text = "# surface=rudder\r\n# outcome=unfinished\nS,1,2,3*0000\n# a remark\nx# surface=none\n\n# outcome=finished";
        for capacity in [1, 7, 4096] {
            let mut reader = BufReader::with_capacity(capacity, text.as_bytes());
            let keys = HostKeys::read(&mut reader).unwrap();
            assert_eq!(keys.key("surface"), Some("rudder"));
            assert_eq!(keys.key("outcome"), Some("finished"));
            assert_eq!(keys.0.len(), 3);
        }
    }

    #[test]
    fn a_line_without_end_does_not_fill_the_memory() {
        let text = [b"# note=".to_vec(), vec![b'x'; 3 * LONGEST]].concat();
        let keys = HostKeys::read(&mut text.as_slice()).unwrap();
        assert_eq!(keys.key("note").map(str::len), Some(LONGEST - 7));
    }
}
