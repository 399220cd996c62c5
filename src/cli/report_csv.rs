//! `report --csv FOLDER`: every table of the report as a file of its own. What is in them is the report's.

use std::io::Write;
use std::path::Path;

use super::files::{spare_the_logbook_s_folders, told};
use crate::logbook::{Logbook, write_whole};
use crate::problem::Problem;
use crate::report::book::Book;
use crate::report::csv;

/// Writes the tables into a folder, which is made if it is missing, over tables that are there, and names each file on `out`.
///
/// # Errors
/// The folder is the logbook's own, or it cannot be made or written to.
pub fn write_tables(
    book: &Book<'_>,
    folder: &Path,
    logbook: &Logbook,
    out: &mut dyn Write,
) -> Result<(), Problem> {
    spare_the_logbook_s_folders(logbook, folder, "the tables", "--csv")?;
    for (name, bytes) in csv::tables(book) {
        let file = folder.join(name);
        write_whole(&file, &bytes)?;
        told(&file, out)?;
    }
    Ok(())
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
            write_tables(&book, &into, &logbook, &mut Vec::new()).unwrap();
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
            let problem = write_tables(&book, &folder.path().join(into), &logbook, &mut Vec::new())
                .unwrap_err();
            assert!(problem.what.contains("own files"), "{into}: {problem:?}");
            assert!(problem.hint.is_some_and(|h| h.contains("--csv")));
        }
        assert!(!folder.path().join("book/new").exists());
        assert!(!folder.path().join("book/surfaces.csv").exists());
        #[cfg(unix)]
        {
            let link = folder.path().join("link");
            std::os::unix::fs::symlink(logbook.root(), &link).unwrap();
            assert!(write_tables(&book, &link, &logbook, &mut Vec::new()).is_err());
            assert!(
                write_tables(&book, &link.join("results/x"), &logbook, &mut Vec::new()).is_err()
            );
        }
    }

    #[test]
    fn a_folder_that_is_a_file_is_a_problem_with_its_path() {
        let folder = tempfile::tempdir().unwrap();
        let logbook = logbook(folder.path());
        let file = folder.path().join("taken");
        std::fs::write(&file, "mine").unwrap();
        let problem = write_tables(&book(&logbook), &file, &logbook, &mut Vec::new()).unwrap_err();
        assert!(problem.what.contains("taken"), "{problem:?}");
        assert_eq!(std::fs::read(&file).unwrap(), b"mine");
    }
}
