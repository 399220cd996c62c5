//! `recheck`: all results of a logbook made again from its recordings.

use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;

use clap::Args;

use super::complain;
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
    for path in &done.moved {
        let path = path.display();
        writeln!(
            out,
            "removed, since this recording's result stands under another name now: {path}"
        )?;
    }
    for path in &done.without_recording {
        let path = path.display();
        writeln!(out, "left as it is, since its recording is gone: {path}")?;
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
    if !done.problems.is_empty() {
        writeln!(out, "{} not done, see above", done.problems.len())?;
    }
    out.flush()
}

fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}
