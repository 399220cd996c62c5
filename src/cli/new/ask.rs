//! Asking: a question, what is usual, and asking again with the reason. From a terminal or a pipe alike.

use std::io::{BufRead, Write};

use super::answer::{Number, Wanted, unknown, yes};
use crate::problem::Problem;
use crate::report::text::wrapping;

/// What answers come from and questions go to.
pub struct Asker<R, W> {
    pub from: R,
    pub to: W,
    pub width: usize,
    /// Nobody's keys are seen: what was answered is shown.
    pub echo: bool,
    /// Somebody is there who can answer again.
    pub insists: bool,
    /// What was answered and taken, in its order; those before `again` are not asked once more.
    given: Vec<String>,
    again: usize,
}

/// Why there is no answer.
#[derive(Debug)]
pub enum Stop {
    /// The answers ended at this question.
    Ended(String),
    /// `quit` was answered.
    Quit,
    /// `back` was answered: what was taken back is asked anew.
    Back,
    /// An answer was not taken, and nobody is there to give another.
    Refused {
        question: String,
        answer: String,
        why: String,
    },
    /// It could not be read or written.
    Io(std::io::Error),
}

impl From<std::io::Error> for Stop {
    fn from(error: std::io::Error) -> Self {
        Self::Io(error)
    }
}

impl Stop {
    pub fn problem(&self) -> Problem {
        match self {
            Stop::Ended(question) => Problem::new(format!(
                "the answers ended at \"{question}\"; nothing was written"
            ))
            .hint("answer every question, one a line; `unknown` leaves out what may be left out"),
            Stop::Refused { question, answer, why } => Problem::new(format!(
                "\"{question}\" was answered \"{answer}\", which is not taken: {why}; nothing was written"
            ))
            .hint("mend that line and run it again: from a pipe nothing is asked twice, for what comes behind would answer the wrong question"),
            Stop::Back => Problem::new("there is nothing to go back to; nothing was written"),
            Stop::Quit => Problem::new("stopped as asked; nothing was written")
                .hint("begin again when you have the numbers"),
            Stop::Io(error) => Problem::new(format!(
                "the answers could not be read: {error}; nothing was written"
            )),
        }
    }
}

/// How many answers to take back: `back` one, `back 3` three.
fn back(answer: &str) -> Option<usize> {
    match answer.strip_prefix("back")?.trim() {
        "" => Some(1),
        steps => steps.parse().ok(),
    }
}

/// What may be left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    Must,
    May,
}

impl<R: BufRead, W: Write> Asker<R, W> {
    pub fn new(from: R, to: W, width: usize, echo: bool, insists: bool) -> Self {
        Self {
            from,
            to,
            width,
            echo,
            insists,
            given: Vec::new(),
            again: 0,
        }
    }

    /// From the first question on, with the answers that stand; nothing is said until one is missing.
    pub fn begin_again(&mut self) {
        self.again = 0;
    }

    /// As if nothing had been answered.
    pub fn forget(&mut self) {
        self.given.clear();
        self.again = 0;
    }

    fn goes_over(&self) -> bool {
        self.again < self.given.len()
    }

    /// Says something, wrapped.
    pub fn say(&mut self, text: &str) -> Result<(), Stop> {
        if self.goes_over() {
            return Ok(());
        }
        for line in text.lines() {
            writeln!(self.to, "{}", textwrap::fill(line, wrapping(self.width)))?;
        }
        Ok(())
    }

    /// A drawing, line by line as it stands.
    pub fn draw(&mut self, drawing: &str) -> Result<(), Stop> {
        if self.goes_over() {
            return Ok(());
        }
        writeln!(self.to, "\n{}", drawing.trim_matches('\n'))?;
        Ok(())
    }

    /// One answer; an empty one is what is usual.
    fn answer(&mut self, question: &str, usual: Option<&str>) -> Result<String, Stop> {
        if let Some(known) = self.given.get(self.again) {
            self.again += 1;
            return Ok(known.clone());
        }
        match usual {
            Some(usual) => write!(self.to, "{question} [{usual}] ")?,
            None => write!(self.to, "{question} ")?,
        }
        self.to.flush()?;
        let mut line = String::new();
        if self.from.read_line(&mut line)? == 0 {
            return Err(Stop::Ended(question.trim_end_matches('?').to_owned()));
        }
        let answer = line.trim();
        if self.echo {
            writeln!(self.to, "{answer}")?;
        }
        if let Some(steps) = back(answer) {
            self.given.truncate(self.given.len().saturating_sub(steps));
            return Err(Stop::Back);
        }
        let answer = match (answer, usual) {
            ("quit", _) => return Err(Stop::Quit),
            ("", Some(usual)) => usual,
            _ => answer,
        };
        self.given.push(answer.to_owned());
        self.again = self.given.len();
        Ok(answer.to_owned())
    }

    /// The last answer is not taken: it is asked again, where anybody is there to hear why.
    fn refuse(&mut self, question: &str, why: String) -> Result<(), Stop> {
        let answer = self.given.pop().unwrap_or_default();
        self.again = self.given.len();
        if self.insists {
            return self.say(&format!("  {why}."));
        }
        let question = question.trim().trim_end_matches('?').to_owned();
        Err(Stop::Refused {
            question,
            answer,
            why,
        })
    }

    /// Asked until `read` takes the answer; the reason why not is said.
    pub fn until<T>(
        &mut self,
        question: &str,
        usual: Option<&str>,
        mut read: impl FnMut(&str) -> Result<T, String>,
    ) -> Result<T, Stop> {
        loop {
            let answer = self.answer(question, usual)?;
            match read(&answer) {
                Ok(read) => return Ok(read),
                Err(why) => self.refuse(question, why)?,
            }
        }
    }

    pub fn text(&mut self, question: &str, usual: Option<&str>) -> Result<String, Stop> {
        // Where none is what is usual, it may be the answer.
        let may_be_none = usual.is_some_and(unknown);
        self.until(question, usual, |answer| {
            match answer.chars().any(|c| !c.is_whitespace()) {
                true if unknown(answer) && !may_be_none => {
                    Err("a name of your own is wanted here; it cannot be left out".into())
                }
                true if answer.chars().any(char::is_control) => {
                    Err("no control characters, please".into())
                }
                true => Ok(answer.to_owned()),
                false => Err("a name is wanted here".into()),
            }
        })
    }

    pub fn yes(&mut self, question: &str, usual: bool) -> Result<bool, Stop> {
        let usual = if usual { "yes" } else { "no" };
        self.until(question, Some(usual), |answer| {
            yes(answer).ok_or_else(|| "yes or no is wanted here".into())
        })
    }

    /// A number; `None` where it is not known, which only what may be left out can be.
    pub fn number(
        &mut self,
        question: &str,
        need: Need,
        wanted: Wanted,
        more: impl Fn(Number) -> Result<(), String>,
    ) -> Result<Option<Number>, Stop> {
        let kind = wanted.kind;
        let question = format!("{question}, {}{}?", kind.unit(), kind.behind());
        let usual = (need == Need::May).then_some("unknown");
        self.until(&question, usual, |answer| {
            if unknown(answer) {
                return match need {
                    Need::May => Ok(None),
                    Need::Must => Err("this cannot be left out: measure it, or look it up; `quit` ends without writing anything".into()),
                };
            }
            let number = wanted.read(answer)?;
            more(number).map(|()| Some(number))
        })
    }

    /// A number that cannot be left out.
    pub fn must(
        &mut self,
        question: &str,
        wanted: Wanted,
        more: impl Fn(Number) -> Result<(), String>,
    ) -> Result<Number, Stop> {
        loop {
            if let Some(number) = self.number(question, Need::Must, wanted, &more)? {
                return Ok(number);
            }
        }
    }
}
