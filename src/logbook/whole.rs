//! Files that are whole or not there, and what is said when a disk will not have them. Knows nothing of what is in them.

use std::fs::{self, File};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use tempfile::NamedTempFile;

use crate::problem::Problem;

/// A file on its way. Hidden and of no known ending: `*.parquet`, DuckDB and pyarrow pass it by.
const PREFIX: &str = ".hingewright-";
const SUFFIX: &str = ".part";
/// What a program that was killed left behind is this old at least; a younger file may be another program's.
const ABANDONED: Duration = Duration::from_secs(3600);

/// What writing came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Put {
    Written,
    /// The same bytes were there already.
    Unchanged,
}

/// Writes a file whole: beside its place, on the disk, then renamed into it. Whoever has the old one open keeps it.
///
/// # Errors
/// The folder cannot be made or written to: the problem says whether that is for lack of leave, of space or of a disk.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Problem> {
    let file = beside(path, bytes)?;
    file.persist(path)
        .map_err(|e| cannot_write(path, &e.error))?;
    settle(path);
    Ok(())
}

/// [`write_whole`], unless the same bytes are there already.
pub(super) fn put(path: &Path, bytes: &[u8]) -> Result<Put, Problem> {
    if fs::read(path).is_ok_and(|there| there == bytes) {
        return Ok(Put::Unchanged);
    }
    write_whole(path, bytes)?;
    Ok(Put::Written)
}

/// Puts a file where there is none, or where the same bytes are already; `Ok(false)` where others are.
pub(super) fn place(path: &Path, bytes: &[u8]) -> Result<bool, Problem> {
    if !path.try_exists().map_err(|e| cannot_read(path, &e))? {
        match beside(path, bytes)?.persist_noclobber(path) {
            Ok(_) => {
                settle(path);
                return Ok(true);
            }
            // Another program was quicker.
            Err(e) if e.error.kind() == ErrorKind::AlreadyExists => {}
            Err(e) => return Err(cannot_write(path, &e.error)),
        }
    }
    let there = fs::read(path).map_err(|e| cannot_read(path, &e))?;
    Ok(there == bytes)
}

/// A file of these bytes in the folder of `path`, on the disk. It goes away unless it is renamed.
fn beside(path: &Path, bytes: &[u8]) -> Result<NamedTempFile, Problem> {
    let folder = match path.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    make_folder(folder)?;
    let write = || {
        let mut file = builder().tempfile_in(folder)?;
        file.write_all(bytes)?;
        file.as_file().sync_all()?;
        Ok(file)
    };
    write().map_err(|error| cannot_write(path, &error))
}

fn builder() -> tempfile::Builder<'static, 'static> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(PREFIX).suffix(SUFFIX);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // As any file, for the umask to narrow: the folder is not this program's alone to read.
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    builder
}

/// The name in its folder is on the disk too, where the system lets a folder be synced.
fn settle(path: &Path) {
    if let Some(folder) = path.parent()
        && let Ok(folder) = File::open(folder)
    {
        let _ = folder.sync_all();
    }
}

pub(super) fn make_folder(folder: &Path) -> Result<(), Problem> {
    fs::create_dir_all(folder).map_err(|error| cannot_write(folder, &error))
}

/// Whether a file is one that was on its way and whose program is gone.
pub(super) fn is_abandoned(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    name.starts_with(PREFIX)
        && name.ends_with(SUFFIX)
        && fs::metadata(path)
            .and_then(|m| m.modified())
            .is_ok_and(|m| m.elapsed().is_ok_and(|age| age > ABANDONED))
}

/// Every file below a folder, sorted; none where it is not there.
pub(super) fn files_below(folder: &Path) -> Result<Vec<PathBuf>, Problem> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        let entries = match fs::read_dir(&folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == ErrorKind::NotFound => continue,
            Err(error) => return Err(cannot_read(&folder, &error)),
        };
        for entry in entries {
            let entry = entry.map_err(|error| cannot_read(&folder, &error))?;
            match entry.file_type() {
                Ok(kind) if kind.is_dir() => folders.push(entry.path()),
                _ => found.push(entry.path()),
            }
        }
    }
    found.sort();
    Ok(found)
}

pub(super) fn cannot_read(path: &Path, error: &io::Error) -> Problem {
    let shown = path.display();
    match error.kind() {
        ErrorKind::PermissionDenied => {
            Problem::new(format!("{shown}: you are not allowed to read this"))
                .hint("ask its owner for leave to read it, or copy the logbook elsewhere")
        }
        _ => Problem::new(format!("{shown}: cannot be read: {error}"))
            .hint("see that the disk or card is still there, and try again"),
    }
}

pub(super) fn cannot_write(path: &Path, error: &io::Error) -> Problem {
    let shown = path.display();
    let (what, hint) = match error.kind() {
        ErrorKind::PermissionDenied => (
            "you are not allowed to write there".into(),
            "change the folder's owner or its permissions, or copy the logbook to a folder of your own",
        ),
        ErrorKind::ReadOnlyFilesystem => (
            "the disk or card is read-only".into(),
            "take its write protection off, or copy the logbook to another disk",
        ),
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => (
            "the disk is full".into(),
            "make room on it and run the command again; what was there before is unharmed",
        ),
        ErrorKind::NotADirectory | ErrorKind::AlreadyExists => (
            "a file stands where a folder has to be".into(),
            "give that file another name",
        ),
        ErrorKind::InvalidFilename => (
            "the name is too long for this disk".into(),
            "give the aircraft or the surface a shorter name",
        ),
        _ => (
            error.to_string(),
            "see that the disk or card is still there and has room, and try again",
        ),
    };
    Problem::new(format!("{shown}: cannot be written: {what}")).hint(hint)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_way_a_disk_can_refuse_has_its_own_word() {
        for (kind, word) in [
            (ErrorKind::ReadOnlyFilesystem, "read-only"),
            (ErrorKind::StorageFull, "full"),
            (ErrorKind::PermissionDenied, "not allowed"),
        ] {
            let problem = cannot_write(Path::new("/here/ID.parquet"), &io::Error::from(kind));
            assert!(problem.what.contains(word), "{problem}");
            assert!(problem.what.starts_with("/here/ID.parquet: "), "{problem}");
            assert!(problem.hint.is_some());
        }
    }

    #[test]
    fn a_file_in_the_place_of_a_folder_is_named_and_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        let results = dir.path().join("results");
        fs::write(&results, "mine").unwrap();
        let problem = write_whole(&results.join("a.parquet"), b"x").unwrap_err();
        assert!(
            problem.what.contains("where a folder has to be"),
            "{problem}"
        );
        assert_eq!(fs::read(&results).unwrap(), b"mine");
    }

    #[test]
    fn what_is_placed_is_never_over_another_file() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("aircraft.toml");
        assert_eq!(place(&path, b"one"), Ok(true));
        assert_eq!(place(&path, b"one"), Ok(true));
        assert_eq!(place(&path, b"two"), Ok(false));
        assert_eq!(fs::read(&path).unwrap(), b"one");
        assert_eq!(files_below(dir.path()).unwrap(), [path]);
    }

    #[cfg(unix)]
    #[test]
    fn a_file_written_whole_can_be_read_by_whom_the_umask_lets() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let plain = dir.path().join("plain");
        fs::write(&plain, "x").unwrap();
        let whole = dir.path().join("whole");
        write_whole(&whole, b"x").unwrap();
        let mode = |p: &Path| fs::metadata(p).unwrap().permissions().mode();
        assert_eq!(mode(&whole), mode(&plain));
    }
}
