//! `report --csv FOLDER`: every table of the report as a file of its own. What is in them is the report's.

use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::logbook::{Logbook, RECORDINGS, RESULTS, write_whole};
use crate::problem::Problem;
use crate::report::book::Book;
use crate::report::csv;

/// Writes the tables into a folder, which is made if it is missing, over tables that are there, and names each file.
///
/// # Errors
/// The folder is the logbook's own, or it cannot be made or written to.
pub fn write_tables(book: &Book<'_>, folder: &Path, logbook: &Logbook) -> Result<(), Problem> {
    spare_the_logbook(logbook, folder)?;
    let mut out = io::stdout().lock();
    for (name, bytes) in csv::tables(book) {
        let file = folder.join(name);
        write_whole(&file, &bytes)?;
        let whole = std::path::absolute(&file).unwrap_or(file);
        match writeln!(out, "written: {}", whole.display()) {
            Err(error) if error.kind() != ErrorKind::BrokenPipe => {
                return Err(Problem::new(format!(
                    "standard output could not be written: {error}"
                )));
            }
            _ => {}
        }
    }
    Ok(())
}

/// Tables stand neither beside the aircraft file and the notes, nor among recordings and results.
fn spare_the_logbook(logbook: &Logbook, folder: &Path) -> Result<(), Problem> {
    let (Some(folder_is), Ok(root)) = (real(folder), logbook.root().canonicalize()) else {
        return Ok(());
    };
    let inside = [RECORDINGS, RESULTS].map(|f| root.join(f));
    if folder_is == root || inside.iter().any(|f| folder_is.starts_with(f)) {
        return Err(Problem::new(format!(
            "{}: the tables would stand among the logbook's own files",
            folder.display()
        ))
        .hint(format!(
            "give --csv another folder, for instance {}",
            root.join("tables").display()
        )));
    }
    Ok(())
}

/// Where a folder is or will be, links followed; steps back are taken before the folder is there.
fn real(folder: &Path) -> Option<PathBuf> {
    let mut real = PathBuf::new();
    for part in std::path::absolute(folder).ok()?.components() {
        match part {
            std::path::Component::ParentDir => {
                real.pop();
            }
            part => real.push(part),
        }
        real = real.canonicalize().unwrap_or(real);
    }
    Some(real)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn logbook(folder: &Path) -> Logbook {
        let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
        Logbook::create(folder.join("book"), sample).unwrap()
    }

    fn book(logbook: &Logbook) -> Book<'_> {
        Book {
            aircraft: logbook.aircraft(),
            logbook: logbook.root().display().to_string(),
            written: "2026-05-02T10:00:00Z".parse().unwrap(),
            surfaces: Vec::new(),
            servos: Vec::new(),
            remarks: Vec::new(),
        }
    }

    #[test]
    fn the_tables_are_written_into_a_folder_that_is_made_and_again_over_themselves() {
        let folder = tempfile::tempdir().unwrap();
        let logbook = logbook(folder.path());
        let book = book(&logbook);
        for into in ["one/two", "one/two", "book/tables"] {
            let into = folder.path().join(into);
            write_tables(&book, &into, &logbook).unwrap();
            for (name, bytes) in csv::tables(&book) {
                assert_eq!(std::fs::read(into.join(&name)).unwrap(), bytes, "{name}");
            }
        }
    }

    #[test]
    fn no_table_stands_among_the_logbook_s_own_files() {
        let folder = tempfile::tempdir().unwrap();
        let logbook = logbook(folder.path());
        let book = book(&logbook);
        for into in [
            "book",
            "book/recordings",
            "book/recordings/new",
            "book/results/aircraft=x",
            "book/new/../recordings",
            "elsewhere/../book/./results",
        ] {
            let problem = write_tables(&book, &folder.path().join(into), &logbook).unwrap_err();
            assert!(problem.what.contains("own files"), "{into}: {problem:?}");
            assert!(problem.hint.is_some_and(|h| h.contains("--csv")));
        }
        assert!(!folder.path().join("book/new").exists());
        assert!(!folder.path().join("book/surfaces.csv").exists());
        #[cfg(unix)]
        {
            let link = folder.path().join("link");
            std::os::unix::fs::symlink(logbook.root(), &link).unwrap();
            assert!(write_tables(&book, &link, &logbook).is_err());
            assert!(write_tables(&book, &link.join("results/x"), &logbook).is_err());
        }
    }

    #[test]
    fn a_folder_that_is_a_file_is_a_problem_with_its_path() {
        let folder = tempfile::tempdir().unwrap();
        let logbook = logbook(folder.path());
        let file = folder.path().join("taken");
        std::fs::write(&file, "mine").unwrap();
        let problem = write_tables(&book(&logbook), &file, &logbook).unwrap_err();
        assert!(problem.what.contains("taken"), "{problem:?}");
        assert_eq!(std::fs::read(&file).unwrap(), b"mine");
    }
}
