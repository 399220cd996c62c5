//! What is said and asked at the bench: words on a terminal, Enter, time.

use std::io::{self, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use super::show;
use crate::report::text::wrapping;

/// Where what is said of a first word begins.
const COLUMN: usize = 11;

/// The time is up, or Enter was pressed.
pub async fn until(seconds: Option<f64>) {
    let enter = async {
        // Where standard input is at its end nobody can press Enter: time or Ctrl-C ends it.
        if a_line().await.is_none() {
            std::future::pending::<()>().await;
        }
    };
    match seconds {
        Some(seconds) => {
            let _ = tokio::time::timeout(Duration::from_secs_f64(seconds), enter).await;
        }
        None => enter.await,
    }
}

/// A line from standard input, read on a thread of its own; `None` at its end.
pub async fn a_line() -> Option<String> {
    let (tell, told) = tokio::sync::oneshot::channel();
    std::thread::spawn(move || {
        let mut line = String::new();
        let read = io::stdin()
            .read_line(&mut line)
            .is_ok_and(|bytes| bytes > 0);
        let _ = tell.send(read.then_some(line));
    });
    told.await.ok().flatten()
}

/// From here on words go to standard error: standard output is for one JSON object alone.
pub fn words_to_stderr() {
    TO_STDERR.store(true, Ordering::Relaxed);
}

static TO_STDERR: AtomicBool = AtomicBool::new(false);

/// Where words for the one at the bench go.
pub fn words() -> Box<dyn Write> {
    if TO_STDERR.load(Ordering::Relaxed) {
        Box::new(anstream::stderr())
    } else {
        Box::new(anstream::stdout())
    }
}

/// Says something on standard output (or see [`words_to_stderr`]). A closed terminal is told by its signal, and a closed pipe is nobody to talk to.
/// Wrapped, with what follows a first word in a column of its own.
pub fn say(text: &str) {
    let mut out = words();
    for line in text.lines() {
        let in_column =
            line.len() > COLUMN && line.as_bytes()[COLUMN - 1] == b' ' && !line.starts_with("  ");
        let indent = if in_column {
            " ".repeat(COLUMN)
        } else {
            String::new()
        };
        let options = wrapping(show::terminal_width()).subsequent_indent(&indent);
        let _ = writeln!(out, "{}", textwrap::fill(line, options));
    }
    if text.is_empty() || text.ends_with('\n') {
        let _ = writeln!(out);
    }
}
