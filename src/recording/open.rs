//! From a path or a reader to a recording: one pass, bounded buffers, and what to do when a file cannot be used.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

use crate::problem::Problem;

use super::Recording;
use super::capture::CaptureReader;
use super::csv::CsvReader;
use super::sniff::{self, Format, SNIFF_BYTES};

/// Large enough that the cost of a read is nothing beside decoding what it brought, small enough to stay in cache.
const PIECE_BYTES: usize = 256 * 1024;

/// Reads a capture or a CSV file, whichever it is. See [`read`].
pub fn read_path(path: impl AsRef<Path>) -> Result<Recording, Problem> {
    let path = path.as_ref();
    let file = File::open(path).map_err(|error| cannot_open(path, &error))?;
    // A folder can be opened, and fails at the first read.
    if file.metadata().is_ok_and(|m| m.is_dir()) {
        return Err(Problem::new(format!(
            "{}: this is a folder, not a recording",
            path.display()
        ))
        .hint(format!(
            "name the recordings in it, for instance {}/*.log",
            path.display()
        )));
    }
    read(file, &path.display().to_string())
}

/// Reads a capture or a CSV file from anything that gives bytes; `name` is what to call it in a [`Problem`].
///
/// Damaged lines, lost samples and restarts are counted in the recording. A problem is: nothing could be read, the CSV
/// header cannot be used, or there is not one good sample.
pub fn read(mut reader: impl Read, name: &str) -> Result<Recording, Problem> {
    let mut piece = vec![0; PIECE_BYTES];
    let failed = |error: io::Error| {
        Problem::new(format!("{name}: reading stopped: {error}"))
            .hint("copy the file to another disk, or record again")
    };
    let mut filled = 0;
    while filled < SNIFF_BYTES {
        match read_some(&mut reader, &mut piece[filled..]).map_err(failed)? {
            0 => break,
            count => filled += count,
        }
    }
    let head = &piece[..filled];
    if head.is_empty() {
        return Err(Problem::new(format!("{name}: the file is empty"))
            .hint("check that the rig was sending, and record again"));
    }
    refuse_other_encodings(head, name)?;
    let head = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(head);
    let mut parser = match sniff::format(&head[..head.len().min(SNIFF_BYTES)], name)? {
        Format::Capture => Parser::Capture(Box::new(CaptureReader::new())),
        Format::Csv => Parser::Csv(Box::new(CsvReader::new(name))),
    };
    parser.feed(head);
    loop {
        match read_some(&mut reader, &mut piece).map_err(failed)? {
            0 => break,
            count => parser.feed(&piece[..count]),
        }
    }
    match parser {
        Parser::Capture(reader) => reader.finish(name),
        Parser::Csv(reader) => reader.finish(),
    }
}

enum Parser {
    Capture(Box<CaptureReader>),
    Csv(Box<CsvReader>),
}

impl Parser {
    fn feed(&mut self, bytes: &[u8]) {
        match self {
            Self::Capture(reader) => reader.feed(bytes),
            Self::Csv(reader) => reader.feed(bytes),
        }
    }
}

fn read_some(reader: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    loop {
        match reader.read(buffer) {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            result => return result,
        }
    }
}

/// Text that a spreadsheet or a terminal saved two bytes a character.
fn refuse_other_encodings(head: &[u8], name: &str) -> Result<(), Problem> {
    if head.starts_with(b"\xff\xfe") || head.starts_with(b"\xfe\xff") {
        return Err(Problem::new(format!("{name}: the file is UTF-16 text"))
            .hint("save it as UTF-8 or plain text"));
    }
    Ok(())
}

fn cannot_open(path: &Path, error: &io::Error) -> Problem {
    let shown = path.display();
    match error.kind() {
        io::ErrorKind::NotFound => {
            let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
            let problem = Problem::new(format!("{shown}: there is no such file"));
            match folder {
                Some(folder) if !folder.is_dir() => problem.hint(format!(
                    "there is no folder {} either; check the path",
                    folder.display()
                )),
                _ => problem.hint("check the spelling, and the folder you are in"),
            }
        }
        io::ErrorKind::PermissionDenied => {
            Problem::new(format!("{shown}: you are not allowed to read this file"))
                .hint(permission_hint(path))
        }
        _ => Problem::new(format!("{shown}: cannot be opened: {error}"))
            .hint("check that this is a plain file on a disk that is there"),
    }
}

#[cfg(unix)]
fn permission_hint(path: &Path) -> String {
    use std::os::unix::fs::MetadataExt;
    match fs::metadata(path) {
        Ok(m) => {
            let owner = user_name(m.uid()).unwrap_or_else(|| format!("user number {}", m.uid()));
            let mode = m.mode() & 0o777;
            format!("it belongs to {owner} (mode {mode:03o}); as its owner run: chmod u+r,g+r {}", path.display())
        }
        Err(_) => "one of the folders on the way to it is closed to you; ask its owner, or copy the file elsewhere".into(),
    }
}

#[cfg(not(unix))]
fn permission_hint(_: &Path) -> String {
    "ask its owner for leave to read it, or copy it elsewhere".into()
}

#[cfg(unix)]
fn user_name(uid: u32) -> Option<String> {
    let users = fs::read_to_string("/etc/passwd").ok()?;
    users.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)?.parse() == Ok(uid)).then(|| name.to_owned())
    })
}
