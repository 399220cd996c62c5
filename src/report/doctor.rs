//! What `doctor` says, in a terminal and as JSON: one line a look. No judging.

use anstyle::{AnsiColor, Style};
use serde::Serialize;

use super::text::{NARROWEST, WIDEST, clean, wrapping};
use crate::doctor::{Look, State};

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.doctor/1";
/// Where what is said begins: a state, a space, what was looked at.
const STATE_COLUMNS: usize = 9;
const AT_COLUMNS: usize = 18;

fn state_word(state: State) -> &'static str {
    match state {
        State::Good => "good",
        State::Mind => "mind",
        State::Fault => "fault",
        State::Unusable => "unusable",
        State::RigFailed => "failed",
        State::NotLooked => "–",
    }
}

fn style_of(state: State) -> Style {
    match state {
        State::Good => AnsiColor::Green.on_default(),
        State::Mind => AnsiColor::Yellow.on_default(),
        State::NotLooked => Style::new().dimmed(),
        _ => AnsiColor::Red.on_default().bold(),
    }
}

/// One look, with ANSI styles; ends with a line end. `width` in columns.
pub fn text(look: &Look, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let style = style_of(look.state);
    let state = format!("{:STATE_COLUMNS$}", state_word(look.state));
    let at = format!("{:AT_COLUMNS$}", clean(&look.at));
    let indent = " ".repeat(STATE_COLUMNS + AT_COLUMNS);
    let options = wrapping(width.saturating_sub(indent.len()));
    let mut lines: Vec<String> = textwrap::wrap(&clean(&look.says), &options)
        .into_iter()
        .map(std::borrow::Cow::into_owned)
        .collect();
    if let Some(todo) = &look.todo {
        let todo = format!("what to do: {}", clean(todo));
        let options = options.subsequent_indent("  ");
        lines.extend(
            textwrap::wrap(&todo, options)
                .into_iter()
                .map(std::borrow::Cow::into_owned),
        );
    }
    let mut out = format!("{style}{state}{style:#}{at}");
    out += &lines.join(&format!("\n{indent}"));
    let kept: Vec<&str> = out.lines().map(str::trim_end).collect();
    kept.join("\n") + "\n"
}

/// How many of each there are, in a sentence.
pub fn summary(looks: &[Look]) -> String {
    let count = |of: &[State]| looks.iter().filter(|l| of.contains(&l.state)).count();
    let bad = count(&[State::Fault, State::Unusable, State::RigFailed]);
    let (mind, good, not) = (
        count(&[State::Mind]),
        count(&[State::Good]),
        count(&[State::NotLooked]),
    );
    let mut said = match bad {
        0 => format!("Nothing found that spoils measuring: {good} good, {mind} to mind"),
        n => format!("{n} to put right before measuring; {good} good, {mind} to mind"),
    };
    if not > 0 {
        said += &format!(", {not} not looked at");
    }
    said + ". Nothing was moved."
}

#[derive(Serialize)]
struct Line<'a> {
    schema: &'static str,
    looks: Vec<LookOut<'a>>,
}

#[derive(Serialize)]
struct LookOut<'a> {
    at: &'a str,
    state: &'static str,
    says: &'a str,
    todo: Option<&'a str>,
}

/// All looks as one line of JSON, without the line's end.
pub fn json(looks: &[Look]) -> String {
    let line = Line {
        schema: SCHEMA,
        looks: looks
            .iter()
            .map(|look| LookOut {
                at: &look.at,
                state: match look.state {
                    State::NotLooked => "not-looked",
                    state => state_word(state),
                },
                says: &look.says,
                todo: look.todo.as_deref(),
            })
            .collect(),
    };
    // String keys, no maps and no numbers: nothing here can fail to be written.
    serde_json::to_string(&line).unwrap_or_default()
}
