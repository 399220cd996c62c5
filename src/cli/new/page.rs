//! The questions on the live page, before there is a logbook.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::runtime::Runtime;

use super::ask::{Asker, Stop};
use super::{approved, text_of, write_new};
use crate::bench::dialog::{self, Answers, Dialog, Words};
use crate::bench::gate::Gate;
use crate::problem::Problem;
use crate::rig::asked_to_end;

/// The page wraps by itself.
const WIDTH: usize = 1000;
/// For the pages to hear that it is over.
const PAGES_HEAR_WITHIN: Duration = Duration::from_millis(400);

/// Asks on the page until the file is written; false where the program was ended before.
///
/// # Errors
/// The program could not start what asks.
pub fn at_page(
    runtime: &Runtime,
    listener: &TcpListener,
    gate: &Arc<Gate>,
    file: &Path,
) -> Result<bool, Problem> {
    let (dialog, answers, words) = Dialog::begin();
    let (own, file) = (Arc::clone(&dialog), PathBuf::from(file));
    let asks = std::thread::Builder::new()
        .name("asks".into())
        .spawn(move || until_written(&own, answers, words, &file))
        .map_err(|e| Problem::new(format!("the program could not start what asks: {e}")))?;
    runtime.block_on(dialog::serve(listener, gate, &dialog, async {
        tokio::select! {
            _ = asked_to_end() => {}
            () = async {
                while !asks.is_finished() {
                    tokio::time::sleep(Duration::from_millis(20)).await;
                }
                tokio::time::sleep(PAGES_HEAR_WITHIN).await;
            } => {}
        }
    }));
    dialog.end();
    Ok(asks.join().unwrap_or(false))
}

fn until_written(dialog: &Dialog, answers: Answers, words: Words, file: &Path) -> bool {
    let mut asker = Asker::new(answers, words, WIDTH, true, true);
    'all: loop {
        match approved(&mut asker, None) {
            Ok(draft) => {
                while let Err(problem) = text_of(&draft, file).and_then(|t| begun(file, &t)) {
                    let hint = problem.hint.unwrap_or_default();
                    let told = asker.say(&format!("\n{}. {hint}", problem.what));
                    let again = "Is it seen to, and shall it be written again?";
                    match told.and_then(|()| asker.yes(again, true)) {
                        Ok(_) => {}
                        Err(Stop::Back) => {
                            asker.begin_again();
                            continue 'all;
                        }
                        Err(_) => return false,
                    }
                }
                let _ = asker.say(&format!("\nWritten: {}", file.display()));
                dialog.say_over();
                return true;
            }
            Err(Stop::Quit) => {
                asker.forget();
                dialog.wipe();
            }
            Err(_) => return false,
        }
    }
}

/// The file, in a folder that may be new.
fn begun(file: &Path, text: &str) -> Result<(), Problem> {
    if let Some(folder) = file.parent() {
        std::fs::create_dir_all(folder).map_err(|e| {
            Problem::new(format!("{}: this folder could not be made: {e}", folder.display()))
                .hint("see that its place can be written to, or end the program and name another --logbook")
        })?;
    }
    write_new(file, text)
}
