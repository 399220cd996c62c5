//! Verdicts on the terminal, the same from every command.

use std::io::{self, IsTerminal, Write};

use crate::problem::exit;
use crate::report::{Checked, STANDING_CAUTION, text};
use crate::units::TorqueUnit;
use crate::verdict::Verdict;

/// Width of the output where it is no terminal, and the widest that is still easy to read.
const WIDTH: usize = 80;
const WIDEST: usize = 110;

pub fn terminal_width() -> usize {
    if !io::stdout().is_terminal() {
        return WIDTH;
    }
    let columns = console::Term::stdout()
        .size_checked()
        .map_or(WIDTH, |(_, columns)| usize::from(columns));
    columns.min(WIDEST)
}

/// Prints recordings with their overview.
pub fn all(checked: &[Checked], unit: TorqueUnit) -> io::Result<()> {
    let width = terminal_width();
    let mut out = anstream::stdout().lock();
    for one in checked {
        writeln!(out, "{}", text::recording(one, unit, width))?;
    }
    if !checked.is_empty() {
        writeln!(out, "{}", text::overview(checked, unit, width))?;
    }
    out.flush()
}

/// Prints those recordings in which something was found, and the overview of all.
pub fn found(checked: &[Checked], unit: TorqueUnit) -> io::Result<()> {
    let width = terminal_width();
    let mut out = anstream::stdout().lock();
    for one in checked
        .iter()
        .filter(|c| c.judged.verdict != Verdict::NoFaultFound)
    {
        writeln!(out, "{}", text::recording(one, unit, width))?;
    }
    writeln!(out, "{}", text::overview(checked, unit, width))?;
    out.flush()
}

/// The caution that stands under every result.
pub fn standing_caution() {
    let bold = anstyle::Style::new().bold();
    // A closed pipe is nobody to talk to.
    let _ = writeln!(anstream::stdout(), "{bold}{STANDING_CAUTION}{bold:#}");
}

/// The exit status that a verdict gives.
pub fn status(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::NoFaultFound => exit::NO_FAULT,
        _ => exit::FOUND,
    }
}
