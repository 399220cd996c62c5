//! What `check` says in a terminal. Colour helps and never carries the meaning alone; whoever prints decides
//! whether it stays (anstream). Nothing is wider than the width asked for, if a word allows it.

use anstyle::{AnsiColor, Style};
use comfy_table::{ColumnConstraint, ContentArrangement, Table, Width};
use comfy_table::{LineStyle, TableStyle};

use super::Checked;
use super::small_print::{shared_print, small_print};
use super::view::{self, STANDING_CAUTION, verdict_words};
use crate::units::TorqueUnit;
use crate::verdict::{Finding, Kind, Level, Verdict};

/// Narrower than this no table reads well; a narrower terminal wraps by itself.
pub(super) const NARROWEST: usize = 40;
/// Longer lines are hard to read, however wide the terminal.
pub(super) const WIDEST: usize = 110;

/// One recording: verdict, findings, table, throws, small print. With ANSI styles; ends with a line end.
/// `width` in columns.
pub fn recording(checked: &Checked<'_>, unit: TorqueUnit, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let mut out = heading(checked, width);
    out += &findings(checked, unit, width);
    out.push('\n');
    out += &quantity_table(checked, unit, width);
    if !checked.measured.throws.is_empty() {
        out.push('\n');
        out += &throw_table(checked, width);
    }
    let dim = Style::new().dimmed();
    if let Some(share) = &checked.servos {
        out.push('\n');
        for line in super::servos::lines(share, checked.held.as_ref(), unit) {
            out += &paragraph(&clean(&line), "", "  ", width, Style::new());
        }
    }
    out.push('\n');
    for line in small_print(checked) {
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out
}

/// All recordings at a glance, what holds for all of them, and the caution that stands under every result.
pub fn overview(all: &[Checked<'_>], unit: TorqueUnit, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let mut out = String::new();
    if !all.is_empty() {
        out += &overview_table(all, width);
        out += &tally(all, width);
        out.push('\n');
        for line in shared_print(all.iter().map(|c| &c.aircraft.limits), unit) {
            out += &paragraph(&clean(&line), "  ", "    ", width, Style::new().dimmed());
        }
    }
    out += &paragraph(STANDING_CAUTION, "", "", width, Style::new().bold());
    out
}

/// The longest verdict.
const VERDICT: usize = 14;
/// Findings in a narrower column than this are torn to single words.
const FINDINGS: usize = 32;

fn overview_table(all: &[Checked<'_>], width: usize) -> String {
    let longest = |texts: &mut dyn Iterator<Item = &str>| {
        texts.map(textwrap::core::display_width).max().unwrap_or(0)
    };
    let files = longest(&mut all.iter().map(|c| view::file_name(&c.recording.file)));
    let surfaces = longest(&mut all.iter().map(|c| c.recording.surface.as_str())).min(width / 4);
    // Two blanks about each of four columns. With less room the file stands under its findings.
    let beside = files + surfaces + VERDICT + FINDINGS + 8 <= width;
    let mut table = new_table(width);
    if beside {
        table.set_header(["verdict", "surface", "findings", "recording"]);
    } else {
        table.set_header(["verdict", "surface", "findings, recording"]);
    }
    for checked in all {
        let file = clean(view::file_name(&checked.recording.file));
        let labels = match view::labels(checked) {
            labels if labels.is_empty() => "–".into(),
            labels => clean(&labels.join("; ")),
        };
        let (verdict, surface) = (
            verdict_words(checked.judged.verdict),
            clean(&checked.recording.surface),
        );
        if beside {
            table.add_row([verdict, &surface, &labels, &file]);
        } else {
            table.add_row([verdict, &surface, &format!("{labels}\n{file}")]);
        }
    }
    let mut columns = vec![
        ColumnConstraint::Absolute(Width::Fixed(VERDICT as u16 + 2)),
        ColumnConstraint::Absolute(Width::Fixed(surfaces.max(7) as u16 + 2)),
    ];
    if beside {
        let rest = width - surfaces.max(7) - VERDICT - 4 - files.max(9) - 2;
        columns.push(ColumnConstraint::UpperBoundary(Width::Fixed(rest as u16)));
        columns.push(ColumnConstraint::Absolute(Width::Fixed(
            files.max(9) as u16 + 2,
        )));
    }
    table.set_constraints(columns);
    painted_verdicts(&table_text(&table))
}

/// Verdict and surface first: to be read at a glance among many.
fn heading(checked: &Checked<'_>, width: usize) -> String {
    let bold = Style::new().bold();
    let verdict = checked.judged.verdict;
    let style = verdict_style(verdict);
    let words = verdict_words(verdict).to_uppercase();
    let surface = clean(&checked.recording.surface);
    let title = paragraph(&format!("{words}  {surface}"), "", "", width, bold);
    let mut out = title.replacen(&words, &format!("{bold:#}{style}{words}{style:#}{bold}"), 1);
    let servo = checked.aircraft.servos.get(checked.surface.servo_index);
    let servo = servo.map_or(String::new(), |servo| format!(", servo {}", servo.tag));
    let whence = format!(
        "{}{servo}, {}",
        checked.aircraft.name, checked.recording.file
    );
    out += &paragraph(&clean(&whence), "", "", width, Style::new().dimmed());
    out += &paragraph(view::verdict_meaning(verdict), "", "", width, Style::new());
    out
}

fn findings(checked: &Checked<'_>, unit: TorqueUnit, width: usize) -> String {
    let mut out = String::new();
    for finding in &checked.judged.findings {
        out += &finding_paragraph(finding, unit, width);
    }
    if out.is_empty() {
        out
    } else {
        format!("\n{out}")
    }
}

fn quantity_table(checked: &Checked<'_>, unit: TorqueUnit, width: usize) -> String {
    let mut table = new_table(width);
    table.set_header(["measured", "value and 95 % interval"]);
    for row in view::quantity_rows(checked, unit) {
        table.add_row([
            format!("{}{}", if row.sub { "└ " } else { "" }, row.name),
            row.value,
        ]);
    }
    table_text(&table)
}

fn throw_table(checked: &Checked<'_>, width: usize) -> String {
    let mut table = new_table(width);
    table.set_header(["throw", "asked", "reached", "state"]);
    for row in view::throw_rows(checked) {
        table.add_row([clean(&row.name), row.asked, row.reached, row.state]);
    }
    table_text(&table)
}

pub(super) fn new_table(width: usize) -> Table {
    let mut table = Table::new();
    let rule = LineStyle::new('─', '─', '─', '─');
    table.load_style(
        TableStyle::new()
            .top_border(rule)
            .header_separator(rule)
            .bottom_border(rule),
    );
    table.set_content_arrangement(ContentArrangement::Dynamic);
    table.set_width(width.min(usize::from(u16::MAX)) as u16);
    table
}

/// The table's lines without blanks at their ends.
pub(super) fn table_text(table: &Table) -> String {
    table
        .lines()
        .map(|line| format!("{}\n", line.trim_end()))
        .collect()
}

fn tally(all: &[Checked<'_>], width: usize) -> String {
    let order = [
        Verdict::DoNotFly,
        Verdict::WorkNeeded,
        Verdict::Unproven,
        Verdict::NoFaultFound,
    ];
    let counts: Vec<String> = order
        .into_iter()
        .map(|verdict| {
            (
                verdict,
                all.iter()
                    .filter(|checked| checked.judged.verdict == verdict)
                    .count(),
            )
        })
        .filter(|(_, count)| *count > 0)
        .map(|(verdict, count)| format!("{count} {}", verdict_words(verdict)))
        .collect();
    let noun = if all.len() == 1 {
        "recording"
    } else {
        "recordings"
    };
    if counts.is_empty() {
        return String::new();
    }
    paragraph(
        &format!("{} {noun}: {}.", all.len(), counts.join(", ")),
        "",
        "",
        width,
        Style::new(),
    )
}

/// How text is wrapped everywhere: between words alone. A path that is broken, at a hyphen or at the end of the line, cannot be
/// copied, so a long one stands on a line of its own and runs beyond `width`, in columns.
pub fn wrapping<'a>(width: usize) -> textwrap::Options<'a> {
    textwrap::Options::new(width)
        .break_words(false)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
}

pub(super) fn paragraph(text: &str, first: &str, rest: &str, width: usize, style: Style) -> String {
    let options = wrapping(width)
        .initial_indent(first)
        .subsequent_indent(rest);
    textwrap::wrap(text, options)
        .iter()
        .map(|line| format!("{style}{line}{style:#}\n"))
        .collect()
}

/// Text from files must not steer the terminal: control characters become a mark.
pub(super) fn clean(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
        .collect()
}

fn painted_verdicts(table: &str) -> String {
    let verdicts = [
        Verdict::DoNotFly,
        Verdict::WorkNeeded,
        Verdict::Unproven,
        Verdict::NoFaultFound,
    ];
    let paint = |line: &str| {
        let found = verdicts.into_iter().find_map(|v| {
            line.find(&format!("{}  ", verdict_words(v)))
                .map(|at| (v, at))
        });
        let Some((verdict, at)) = found else {
            return format!("{line}\n");
        };
        let (words, style) = (verdict_words(verdict), verdict_style(verdict));
        format!(
            "{}{style}{words}{style:#}{}\n",
            &line[..at],
            &line[at + words.len()..]
        )
    };
    table.lines().map(paint).collect()
}

pub(super) fn verdict_style(verdict: Verdict) -> Style {
    let colour = match verdict {
        Verdict::NoFaultFound => AnsiColor::Green,
        Verdict::WorkNeeded => AnsiColor::Yellow,
        Verdict::DoNotFly => AnsiColor::Red,
        Verdict::Unproven => AnsiColor::Magenta,
    };
    colour.on_default().bold()
}

/// A finding behind its mark in brackets.
pub(super) fn finding_paragraph(finding: &Finding, unit: TorqueUnit, width: usize) -> String {
    let style = match finding.kind {
        Kind::Unproven => verdict_style(Verdict::Unproven),
        _ => level_style(finding.level),
    };
    let tag = format!("[{}]", finding.mark());
    let first = format!("  {tag:7} ");
    let rest = " ".repeat(first.len());
    let text = clean(&finding.text(unit));
    let text = paragraph(&text, &first, &rest, width, Style::new());
    text.replacen(&tag, &format!("{style}{tag}{style:#}"), 1)
}

pub(super) fn level_style(level: Level) -> Style {
    let colour = match level {
        Level::Watch => AnsiColor::Cyan,
        Level::Work => AnsiColor::Yellow,
        Level::Stop => AnsiColor::Red,
    };
    colour.on_default().bold()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    const NCM: TorqueUnit = TorqueUnit::NewtonCentimetre;

    fn plain(text: &str) -> String {
        anstream::adapter::strip_str(text).to_string()
    }

    /// The widest line that could have been broken: a path alone on its line may run on.
    fn widest(text: &str) -> usize {
        plain(text)
            .lines()
            .filter(|line| line.trim().contains(' '))
            .map(textwrap::core::display_width)
            .max()
            .unwrap_or(0)
    }

    #[test]
    fn nothing_is_wider_than_the_terminal() {
        let aircraft = fixture::aircraft();
        let all = [
            fixture::knee(&aircraft),
            fixture::fault_free(&aircraft),
            fixture::short(&aircraft),
            fixture::nothing_measured(&aircraft),
            fixture::crowded(&aircraft),
        ];
        for width in [60, 80, 100, 200] {
            for checked in &all {
                let text = recording(checked, NCM, width);
                assert!(widest(&text) <= width, "{}", plain(&text));
            }
            let text = overview(&all, NCM, width);
            assert!(widest(&text) <= width, "{}", plain(&text));
        }
    }

    #[test]
    fn a_path_is_broken_neither_at_its_hyphens_nor_at_the_end_of_the_line() {
        let path = format!(
            "/home/me/{}recordings/left-elevator.log",
            "my-own-logbook/".repeat(6)
        );
        let text = plain(&paragraph(
            &format!("recording {path} kept"),
            "",
            "  ",
            80,
            Style::new(),
        ));
        assert!(text.lines().any(|line| line.trim() == path), "{text}");
    }

    #[test]
    fn any_width_and_no_recordings_are_taken() {
        let aircraft = fixture::aircraft();
        for width in [0, 1, 20, usize::MAX] {
            assert!(recording(&fixture::knee(&aircraft), NCM, width).contains("WORK NEEDED"));
            assert!(overview(&[], NCM, width).contains("airworthiness"));
        }
    }

    #[test]
    fn the_verdict_is_told_in_words_without_colour() {
        let aircraft = fixture::aircraft();
        assert!(plain(&recording(&fixture::knee(&aircraft), NCM, 80)).contains("WORK NEEDED"));
        assert!(plain(&recording(&fixture::short(&aircraft), NCM, 80)).contains("DO NOT FLY"));
        assert!(plain(&recording(&fixture::knee(&aircraft), NCM, 80)).contains("[work]"));
    }

    #[test]
    fn a_file_name_cannot_steer_the_terminal() {
        let aircraft = fixture::aircraft();
        let mut checked = fixture::knee(&aircraft);
        checked.recording.file = "a\x1b[2Jb\n.log".into();
        for text in [recording(&checked, NCM, 80), overview(&[checked], NCM, 80)] {
            assert!(!text.contains("\x1b[2J"));
        }
    }

    #[test]
    fn torque_is_shown_in_the_unit_asked_for() {
        let aircraft = fixture::aircraft();
        let text = plain(&recording(
            &fixture::knee(&aircraft),
            TorqueUnit::KilogramCentimetre,
            80,
        ));
        assert!(text.contains("kg·cm/°"));
        assert!(text.contains("0.0319 ± 0.0011 kg·cm/°"), "{text}");
    }

    #[test]
    fn the_text_is_the_golden_one() {
        let aircraft = fixture::aircraft();
        let knee = fixture::knee(&aircraft);
        let text = plain(&recording(&knee, NCM, 80));
        let all = [
            knee,
            fixture::fault_free(&aircraft),
            fixture::short(&aircraft),
        ];
        fixture::golden(
            "knee.txt",
            &format!("{text}\n{}", plain(&overview(&all, NCM, 80))),
        );
    }
}
