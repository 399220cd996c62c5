//! Writes the manual pages and the shells' completions, for a package or by hand: `cargo run --example make_pages -- FOLDER`
//! (`target/pages` unless named). They are made from the same definition as `--help`.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use clap_complete::{Shell, generate_to};

const NAME: &str = "hingewright";

#[allow(dead_code)]
fn main() -> anyhow::Result<()> {
    let folder = std::env::args().nth(1).unwrap_or("target/pages".into());
    for file in write(Path::new(&folder))? {
        println!("{}", file.display());
    }
    Ok(())
}

/// Manual pages, one a command, into `man`, and completions beside it; the completions' paths, and the folder of the pages.
pub fn write(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let pages = folder.join("man");
    fs::create_dir_all(&pages)?;
    let mut command = hingewright::cli::command();
    clap_mangen::generate_to(command.clone(), &pages)?;
    let mut written = vec![pages];
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
        written.push(generate_to(shell, &mut command, NAME, folder)?);
    }
    Ok(written)
}
