//! What every command does with what it writes: files named before the work begins, text and paths told after it. Knows
//! nothing of what is in them.

use std::io::{self, Write};
use std::path::{Component, Path, PathBuf};

use crate::logbook::{AIRCRAFT_FILE, Logbook, RECORDINGS, RESULTS};
use crate::problem::Problem;

/// The endings of a picture that can be drawn.
const ENDINGS: [&str; 2] = ["svg", "png"];

/// A kind of picture by its file's ending.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Picture {
    Svg,
    Png,
}

/// Which picture `option`'s file is to be; asked before anything is computed.
///
/// # Errors
/// The ending is of no picture that can be drawn, or the folder is not there.
pub fn picture(file: &Path, option: &str) -> Result<Picture, Problem> {
    let ending = file.extension().unwrap_or_default();
    let kind = match ENDINGS.map(|e| ending.eq_ignore_ascii_case(e)) {
        [true, _] => Picture::Svg,
        [_, true] => Picture::Png,
        _ => {
            return Err(Problem::new(format!(
                "{}: no picture can be drawn with this ending",
                file.display()
            ))
            .hint(format!(
                "the endings that work are .{}: for instance {option} {}",
                ENDINGS.join(" and ."),
                file.with_extension(ENDINGS[0]).display()
            )));
        }
    };
    folder_is_there(file, option)?;
    Ok(kind)
}

/// The folder of a file that is to be written. None is made silently: it may be a name mistyped.
///
/// # Errors
/// It is not there.
pub fn folder_is_there(file: &Path, option: &str) -> Result<(), Problem> {
    let folder = file.parent().filter(|p| *p != Path::new(""));
    match folder {
        Some(folder) if !folder.is_dir() => Err(Problem::new(format!(
            "{}: there is no folder {}",
            file.display(),
            folder.display()
        ))
        .hint(format!(
            "make the folder first, or name one that is there with {option}"
        ))),
        _ => Ok(()),
    }
}

/// A file is never written among what was measured, nor over the aircraft file. `what` is the file's, in the message.
///
/// # Errors
/// It would be.
pub fn spare_the_logbook(
    logbook: &Logbook,
    file: &Path,
    what: &str,
    option: &str,
) -> Result<(), Problem> {
    let folder = file.parent().unwrap_or(Path::new(""));
    let (Some(folder), Ok(root)) = (real(folder), logbook.root().canonicalize()) else {
        return Ok(());
    };
    let over_the_aircraft = folder == root && file.file_name().is_some_and(|n| n == AIRCRAFT_FILE);
    if !over_the_aircraft && !among_the_measured(&folder, &root) {
        return Ok(());
    }
    Err(among_its_own(file, what).hint(format!(
        "give {option} another name, outside {RECORDINGS} and {RESULTS}"
    )))
}

/// A folder of many files is neither the logbook itself nor within what was measured.
///
/// # Errors
/// It would be.
pub fn spare_the_logbook_s_folders(
    logbook: &Logbook,
    folder: &Path,
    what: &str,
    option: &str,
) -> Result<(), Problem> {
    let (Some(folder_is), Ok(root)) = (real(folder), logbook.root().canonicalize()) else {
        return Ok(());
    };
    if folder_is != root && !among_the_measured(&folder_is, &root) {
        return Ok(());
    }
    Err(among_its_own(folder, what).hint(format!(
        "give {option} another folder, for instance {}",
        root.join("tables").display()
    )))
}

fn among_the_measured(folder: &Path, root: &Path) -> bool {
    [RECORDINGS, RESULTS]
        .map(|f| root.join(f))
        .iter()
        .any(|f| folder.starts_with(f))
}

fn among_its_own(path: &Path, what: &str) -> Problem {
    Problem::new(format!(
        "{}: {what} would stand among the logbook's own files",
        path.display()
    ))
}

/// Where a folder is or will be, links followed; steps back are taken before the folder is there.
fn real(folder: &Path) -> Option<PathBuf> {
    // An empty path is the folder that the program runs in.
    let whole = match folder == Path::new("") {
        true => std::env::current_dir().ok()?,
        false => std::path::absolute(folder).ok()?,
    };
    let mut real = PathBuf::new();
    for part in whole.components() {
        match part {
            Component::ParentDir => {
                real.pop();
            }
            part => real.push(part),
        }
        real = real.canonicalize().unwrap_or(real);
    }
    Some(real)
}

/// Text onto standard output, its styles taken out where it is no terminal. A reader that has seen enough is no fault of ours.
///
/// # Errors
/// Standard output cannot be written to.
pub fn print(text: &str) -> Result<(), Problem> {
    let mut out = anstream::stdout().lock();
    heard(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
}

/// [`print`], byte for byte: for JSON and pages.
///
/// # Errors
/// Standard output cannot be written to.
pub fn print_raw(text: &str) -> Result<(), Problem> {
    let mut out = io::stdout().lock();
    heard(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
}

/// Says the whole path of a file that was written.
///
/// # Errors
/// `out` cannot be written to.
pub fn told(file: &Path, out: &mut dyn Write) -> Result<(), Problem> {
    let whole = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    heard(writeln!(out, "written: {}", whole.display()))
}

/// [`told`] on standard error, for standard output may be JSON or a page. A standard error that is closed is no fault of ours.
pub fn told_aside(file: &Path) {
    let _ = told(file, &mut io::stderr());
}

fn heard(told: io::Result<()>) -> Result<(), Problem> {
    match told {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Problem::new(format!(
            "standard output could not be written: {error}"
        ))),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ending_that_cannot_be_drawn_is_refused_with_those_that_can() {
        for name in ["x.pdf", "x", "x.svg.gz", "svg"] {
            let problem = picture(Path::new(name), "--plot").unwrap_err();
            let hint = problem.hint.unwrap();
            assert!(problem.what.contains(name), "{}", problem.what);
            assert!(
                hint.contains(".svg") && hint.contains(".png") && hint.contains("--plot"),
                "{hint}"
            );
        }
        assert_eq!(picture(Path::new("x.SVG"), "--plot"), Ok(Picture::Svg));
        assert_eq!(picture(Path::new("x.png"), "--plot"), Ok(Picture::Png));
    }

    #[test]
    fn a_folder_that_is_not_there_is_said_and_not_made() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("typo/x.svg");
        let problem = picture(&file, "--plot").unwrap_err();
        assert!(problem.what.contains("no folder"), "{}", problem.what);
        assert!(!folder.path().join("typo").exists());
    }
}
