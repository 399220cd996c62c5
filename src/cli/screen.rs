//! Progress of a run for the eye: one line drawn over on a terminal, a line a phase elsewhere. It may skip, never wait.

use std::io::{self, IsTerminal, Write};
use std::time::{Duration, Instant};

use crate::recording::Channel;
use crate::rig::{Coverage, ENOUGH_STROKES, Phase, Progress, Sample};
use crate::units::{Unit, fixed};

const DRAW_EVERY: Duration = Duration::from_millis(33);

pub struct Screen {
    terminal: bool,
    drawn: Option<Instant>,
    phase: Option<String>,
    enough_said: bool,
    /// Said ahead of everything, where several runs follow each other.
    name: String,
}

impl Screen {
    pub fn new() -> Self {
        Self::named("")
    }

    pub fn named(name: &str) -> Self {
        Self {
            name: if name.is_empty() {
                String::new()
            } else {
                format!("{name}: ")
            },
            terminal: io::stderr().is_terminal(),
            drawn: None,
            phase: None,
            enough_said: false,
        }
    }

    pub fn progress(&mut self, progress: &Progress) {
        let phase = phase_words(progress.phase);
        if self.terminal {
            if self.due() {
                let reading = progress.sample.map_or(String::new(), |s| reading(&s));
                self.draw(&line(
                    &self.name,
                    &phase,
                    &reading,
                    progress.left_s,
                    width(),
                ));
            }
        } else if self.name.is_empty()
            && worth_a_line(progress.phase)
            && self.phase.as_ref() != Some(&phase)
        {
            let _ = writeln!(io::stderr(), "{phase}");
            self.phase = Some(phase);
        }
    }

    pub fn coverage(&mut self, coverage: &Coverage) {
        if coverage.is_enough() && !self.enough_said {
            self.enough_said = true;
            self.break_line();
            let _ = writeln!(
                io::stderr(),
                "Enough: the whole travel, and strokes enough for a verdict. Rest a second, then end it."
            );
        }
        if self.terminal && self.due() {
            let reading = coverage.sample.map_or(String::new(), |s| reading(&s));
            self.draw(&format!(
                "{} of {ENOUGH_STROKES} up, {} of {ENOUGH_STROKES} down  {reading}  {:.0} % of the travel  {:.0} s",
                coverage.up,
                coverage.down,
                100.0 * coverage.share,
                coverage.since_s,
            ));
        }
    }

    /// Leaves the line for what is said next.
    pub fn end(&mut self) {
        self.break_line();
    }

    fn due(&mut self) -> bool {
        let due = self.drawn.is_none_or(|at| at.elapsed() >= DRAW_EVERY);
        if due {
            self.drawn = Some(Instant::now());
        }
        due
    }

    fn draw(&self, text: &str) {
        let text = console::truncate_str(text, width(), "…");
        let mut out = io::stderr();
        let _ = write!(out, "\r\x1b[2K{text}");
        let _ = out.flush();
    }

    fn break_line(&self) {
        if self.terminal && self.drawn.is_some() {
            let _ = write!(io::stderr(), "\r\x1b[2K");
        }
    }
}

/// Columns that a line may take.
fn width() -> usize {
    console::Term::stderr()
        .size_checked()
        .map_or(80, |(_, w)| usize::from(w))
        .saturating_sub(1)
}

/// The line of a run under way. What is left to wait stands at its end whatever the width; what matters least goes first.
fn line(name: &str, phase: &str, reading: &str, left_s: f64, width: usize) -> String {
    let left = format!("{left_s:.0} s left");
    let all = [
        format!("{name}{phase:28}  {reading}  {left}"),
        format!("{name}{phase}  {reading}  {left}"),
        format!("{phase}  {reading}  {left}"),
        format!("{phase}  {left}"),
    ];
    let fits = |text: &String| console::measure_text_width(text) <= width;
    all.iter().find(|t| fits(t)).unwrap_or(&left).clone()
}

/// Of hundreds of moves not each.
fn worth_a_line(phase: Phase) -> bool {
    !matches!(phase, Phase::Moving { number, of } if number != 1 && number != of && number % 25 != 0)
}

fn phase_words(phase: Phase) -> String {
    match phase {
        Phase::Looking => "looking, nothing moves".to_owned(),
        Phase::Nudging => "nudging, to see the direction".to_owned(),
        Phase::Growing { up: true } => "growing the deflection up".to_owned(),
        Phase::Growing { up: false } => "growing the deflection down".to_owned(),
        Phase::Cycling { number, of } => format!("cycle {number} of {of}"),
        Phase::Moving { number, of } => format!("move {number} of {of}"),
        Phase::Returning => "at neutral".to_owned(),
    }
}

fn reading(sample: &Sample) -> String {
    let value =
        |channel, decimals: i32, unit: &str| sample.get(channel).map(|v| fixed(v, decimals) + unit);
    let effort = value(Channel::TorqueNcm, 1, " N·cm")
        .or_else(|| value(Channel::ForceN, 1, " N"))
        .or_else(|| value(Channel::CurrentMa, 0, " mA"));
    let angle = sample
        .get(Channel::AngleDeg)
        .map(|deg| format!("{:>6}", Unit::Degree.side(deg)));
    [angle, effort]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join("  ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_to_wait_is_never_cut_off() {
        let name = "stage 23.9°, 182 worked: ";
        let phases = [
            Phase::Nudging,
            Phase::Growing { up: false },
            Phase::Cycling {
                number: 200,
                of: 200,
            },
        ];
        for phase in phases.map(phase_words) {
            for width in [45, 79, 110] {
                let drawn = line(name, &phase, "−21.9°  −12.3 N·cm", 1047.0, width);
                assert!(console::measure_text_width(&drawn) <= width, "{drawn}");
                assert!(drawn.contains(&phase), "{drawn}");
                assert!(drawn.ends_with("  1047 s left"), "{drawn}");
            }
            let at_80 = line(name, &phase, "−21.9°  −12.3 N·cm", 1047.0, 79);
            assert!(at_80.contains("N·cm"), "{at_80}");
        }
    }
}
