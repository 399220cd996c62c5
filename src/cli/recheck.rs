//! `recheck`: all results of a logbook made again from its recordings.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::complain;
use crate::aircraft::renamed_aircraft;
use crate::logbook::{Logbook, Rechecked};
use crate::problem::{Problem, exit};

#[derive(Args)]
#[command(after_help = "Example:\n  hingewright recheck --logbook dunlin")]
pub struct Arguments {
    /// The logbook's folder
    #[arg(long, value_name = "DIR")]
    logbook: PathBuf,
}

pub fn run(arguments: &Arguments) -> u8 {
    let done = match recheck(arguments) {
        Ok(done) => done,
        Err(problem) => {
            complain(&problem);
            return exit::UNUSABLE;
        }
    };
    let (logbook, done) = done;
    if let Err(error) = tell(&logbook, &done)
        && error.kind() != io::ErrorKind::BrokenPipe
    {
        complain(&Problem::new(format!(
            "the outcome could not be written: {error}"
        )));
        return exit::UNUSABLE;
    }
    if done.problems.is_empty() {
        exit::NO_FAULT
    } else {
        exit::UNUSABLE
    }
}

fn recheck(arguments: &Arguments) -> Result<(Logbook, Rechecked), Problem> {
    let logbook = Logbook::open(&arguments.logbook)?;
    let bar = if io::stderr().is_terminal() {
        indicatif::ProgressBar::new(0)
    } else {
        indicatif::ProgressBar::hidden()
    };
    let done = logbook.recheck(&|done, of| {
        bar.set_length(of as u64);
        bar.set_position(done as u64);
    });
    bar.finish_and_clear();
    Ok((logbook, done?))
}

/// Problems go to standard error as all do; what became of the results to standard output.
fn tell(logbook: &Logbook, done: &Rechecked) -> io::Result<()> {
    for problem in &done.problems {
        complain(problem);
    }
    let mut out = io::stdout().lock();
    for path in &done.being_written {
        let path = path.display();
        writeln!(
            out,
            "left to its own program, for it is still being written: {path}"
        )?;
    }
    tell_by_folder(&mut out, &done.moved, |one| match one {
        true => "removed, since this recording's result stands under another name now",
        false => "removed, since their recordings' results stand under another name now",
    })?;
    tell_by_folder(&mut out, &done.without_recording, |one| match one {
        true => "left as it is, since its recording is gone",
        false => "left as they are, since their recordings are gone",
    })?;
    for other in &done.foreign {
        let (path, aircraft) = (other.path.display(), &other.aircraft);
        writeln!(
            out,
            "left out, for it is of another aircraft, {aircraft}: {path}"
        )?;
    }
    let others: BTreeSet<&str> = done.foreign.iter().map(|f| f.aircraft.as_str()).collect();
    for other in others {
        let hint = renamed_aircraft(&logbook.aircraft().name, other);
        writeln!(out, "{other}: {hint}")?;
    }
    for copy in &done.copies {
        let (path, of) = (copy.path.display(), copy.of_id());
        writeln!(out, "left out, for it is {of} byte for byte: {path}")?;
    }
    if done.set_apart > 0 {
        let files = counted(done.set_apart, "result", "results");
        writeln!(out, "removed: {files} of recordings left out")?;
    }
    if done.swept > 0 {
        let files = counted(done.swept, "half-written file", "half-written files");
        writeln!(out, "removed: {files} of a program that was ended")?;
    }
    writeln!(
        out,
        "{} made again, {} of them changed, in {}",
        counted(done.stored, "result", "results"),
        done.changed,
        logbook.root().join(crate::logbook::RESULTS).display()
    )?;
    if done.not_done > 0 {
        writeln!(out, "{} not done, see above", done.not_done)?;
    }
    out.flush()
}

/// One line a folder, which is a surface's: a single file by its name, more of them counted.
fn tell_by_folder(
    out: &mut impl Write,
    paths: &[PathBuf],
    words: impl Fn(bool) -> &'static str,
) -> io::Result<()> {
    let mut folders: BTreeMap<&Path, Vec<&PathBuf>> = BTreeMap::new();
    for path in paths {
        let folder = path.parent().unwrap_or(path);
        folders.entry(folder).or_default().push(path);
    }
    for (folder, files) in folders {
        match files[..] {
            [one] => writeln!(out, "{}: {}", words(true), one.display())?,
            _ => {
                let (words, count) = (words(false), files.len());
                writeln!(out, "{words}: {count} results in {}", folder.display())?;
            }
        }
    }
    Ok(())
}

fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}
