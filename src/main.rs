//! Parse, run, exit. Everything else is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(hingewright::cli::run())
}
