//! Questions and answers on a page, as they would stand in a terminal: the asker reads lines and writes text, and knows no page.
//! Every page shows the whole of it; whoever answers first has answered.

use std::io::{self, BufRead, Read, Write};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::Router;
use axum::extract::State;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::response::Response;
use axum::routing::get;
use serde::Serialize;
use tokio::net::TcpListener;
use tokio::sync::watch;

use super::gate::Gate;
use super::serve::{WISH_BYTES, accept, guarded, of_type, style};

/// What stands on the page.
#[derive(Debug, Clone, Default, Serialize)]
struct Said {
    text: String,
    /// A question is open.
    waits: bool,
    /// Everything is answered.
    over: bool,
}

/// One dialog.
pub struct Dialog {
    said: watch::Sender<Said>,
    /// Gone once nobody is to answer any more.
    answers: Mutex<Option<Sender<String>>>,
}

impl Dialog {
    /// A dialog, and what the asker reads from and writes to.
    pub fn begin() -> (Arc<Self>, Answers, Words) {
        let (tell, told) = channel();
        let dialog = Arc::new(Self {
            said: watch::channel(Said::default()).0,
            answers: Mutex::new(Some(tell)),
        });
        let answers = Answers {
            dialog: Arc::clone(&dialog),
            told,
            line: Vec::new(),
            read: 0,
        };
        let words = Words(Arc::clone(&dialog));
        (dialog, answers, words)
    }

    fn answers(&self) -> MutexGuard<'_, Option<Sender<String>>> {
        self.answers.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A line of an answer, if a question is open.
    fn answer(&self, line: &str) {
        let line = line.lines().next().unwrap_or_default();
        let mut open = false;
        self.said.send_if_modified(|said| {
            open = std::mem::take(&mut said.waits);
            open
        });
        if open && let Some(answers) = &*self.answers() {
            let _ = answers.send(format!("{line}\n"));
        }
    }

    /// Wipes the page, for a dialog that begins anew.
    pub fn wipe(&self) {
        self.said.send_modify(|said| said.text.clear());
    }

    /// Everything is answered.
    pub fn say_over(&self) {
        self.said.send_modify(|said| said.over = true);
    }

    /// Nobody answers any more: the asker finds the answers ended.
    pub fn end(&self) {
        self.answers().take();
    }

    pub fn has_ended(&self) -> bool {
        self.answers().is_none()
    }
}

/// What the pages answer, line by line.
pub struct Answers {
    dialog: Arc<Dialog>,
    told: Receiver<String>,
    line: Vec<u8>,
    read: usize,
}

impl BufRead for Answers {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.read == self.line.len() {
            self.dialog.said.send_modify(|said| said.waits = true);
            self.line = self.told.recv().unwrap_or_default().into_bytes();
            self.read = 0;
        }
        Ok(&self.line[self.read..])
    }

    fn consume(&mut self, amount: usize) {
        self.read = self.line.len().min(self.read + amount);
    }
}

impl Read for Answers {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.fill_buf()?.read(into)?;
        self.consume(count);
        Ok(count)
    }
}

/// What the pages show.
pub struct Words(Arc<Dialog>);

impl Write for Words {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        // A letter cut in two by its caller would be two that are none; formatted text comes in whole ones.
        let text = String::from_utf8_lossy(bytes);
        self.0.said.send_modify(|said| said.text += &text);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

struct Asked {
    gate: Arc<Gate>,
    dialog: Arc<Dialog>,
}

/// Serves the dialog until `ended`.
pub async fn serve(
    listener: &TcpListener,
    gate: &Arc<Gate>,
    dialog: &Arc<Dialog>,
    ended: impl Future<Output = ()>,
) {
    let asked = Arc::new(Asked {
        gate: Arc::clone(gate),
        dialog: Arc::clone(dialog),
    });
    let router = Router::new()
        .route("/", get(page))
        .route("/page.css", get(style))
        .route("/dialog.js", get(script))
        .route("/answers", get(live))
        .with_state(asked);
    tokio::select! {
        () = accept(listener, guarded(router, Arc::clone(gate))) => {}
        () = ended => {}
    }
}

async fn page(State(asked): State<Arc<Asked>>) -> Response {
    let page = include_str!("page/dialog.html").replace("KEY-OF-THE-BENCH", asked.gate.key());
    of_type("text/html; charset=utf-8", page)
}

async fn script() -> Response {
    of_type(
        "text/javascript; charset=utf-8",
        include_str!("page/dialog.js").to_owned(),
    )
}

async fn live(State(asked): State<Arc<Asked>>, upgrade: WebSocketUpgrade) -> Response {
    upgrade
        .max_message_size(WISH_BYTES)
        .max_frame_size(WISH_BYTES)
        .on_upgrade(async move |socket| talk(&asked.dialog, socket).await)
}

async fn talk(dialog: &Dialog, mut socket: WebSocket) {
    let mut changes = dialog.said.subscribe();
    changes.mark_changed();
    loop {
        tokio::select! {
            heard = socket.recv() => match heard {
                Some(Ok(Message::Text(line))) => dialog.answer(&line),
                Some(Ok(Message::Ping(_) | Message::Pong(_))) => {}
                _ => return,
            },
            changed = changes.changed() => {
                let said = changes.borrow_and_update().clone();
                let text = serde_json::to_string(&said).unwrap_or_default();
                if changed.is_err() || socket.send(Message::Text(text.into())).await.is_err() {
                    return;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_asker_hears_whole_lines_when_it_asks_and_the_end_once_nobody_answers() {
        let (dialog, mut answers, mut words) = Dialog::begin();
        // Before a question nothing is an answer.
        dialog.answer("too early");
        write!(words, "How long? ").unwrap();
        let asker = std::thread::spawn(move || {
            let mut lines = [String::new(), String::new(), String::new()];
            for line in &mut lines {
                answers.read_line(line).unwrap();
            }
            lines
        });
        for line in ["58 mm\nand more", "zwölf"] {
            while !dialog.said.borrow().waits {
                std::thread::yield_now();
            }
            dialog.answer(line);
        }
        while !dialog.said.borrow().waits {
            std::thread::yield_now();
        }
        dialog.end();
        assert_eq!(asker.join().unwrap(), ["58 mm\n", "zwölf\n", ""]);
        assert_eq!(dialog.said.borrow().text, "How long? ");
    }
}
