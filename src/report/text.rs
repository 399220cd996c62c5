//! What `check` says in a terminal. Colour helps and never carries the meaning alone; whoever prints decides
//! whether it stays (anstream). Nothing is wider than the width asked for, if a word allows it.

use anstyle::{AnsiColor, Style};
use comfy_table::{Cell, ColumnConstraint, ContentArrangement, Table, Width};
use comfy_table::{LineStyle, TableStyle};

use super::Checked;
use super::small_print::small_print;
use super::view::{self, STANDING_CAUTION, verdict_words};
use crate::units::TorqueUnit;
use crate::verdict::{Level, Verdict};

/// Narrower than this no table reads well; a narrower terminal wraps by itself.
const NARROWEST: usize = 40;
/// Longer lines are hard to read, however wide the terminal.
const WIDEST: usize = 110;

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
    out.push('\n');
    let dim = Style::new().dimmed();
    for line in small_print(checked) {
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out
}

/// All recordings in one table, and the caution that stands under every result.
pub fn overview(all: &[Checked<'_>], unit: TorqueUnit, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let mut table = new_table(width);
    table.set_header(["recording", "surface", "verdict", "first finding"]);
    for checked in all {
        let first = checked
            .judged
            .findings
            .first()
            .map_or("–".into(), |f| clean(view::first_sentence(&f.text(unit))));
        let first = match checked.judged.findings.len() {
            0 | 1 => first,
            n => format!("{first} (and {} more)", n - 1),
        };
        table.add_row([
            Cell::new(short_path(&clean(&checked.recording.file))),
            Cell::new(clean(&checked.recording.surface)),
            Cell::new(verdict_words(checked.judged.verdict)),
            Cell::new(first),
        ]);
    }
    let verdict_width = 16; // the longest verdict and the blanks about it
    let names = ((width - verdict_width) / 4) as u16;
    table.set_constraints([
        ColumnConstraint::UpperBoundary(Width::Fixed(names + 2)),
        ColumnConstraint::UpperBoundary(Width::Fixed(names)),
        ColumnConstraint::Absolute(Width::Fixed(verdict_width as u16)),
    ]);
    let mut out = painted_verdicts(&table_text(&table));
    out += &tally(all, width);
    out += &paragraph(STANDING_CAUTION, "", "", width, Style::new().bold());
    out
}

fn heading(checked: &Checked<'_>, width: usize) -> String {
    let bold = Style::new().bold();
    let servo = checked.aircraft.servos.get(checked.surface.servo_index);
    let servo = servo.map_or(String::new(), |servo| format!(", servo {}", servo.tag));
    let title = clean(&format!(
        "{} ({}{servo})",
        checked.recording.surface, checked.aircraft.name
    ));
    let mut out = paragraph(&title, "", "", width, bold);
    out += &paragraph(
        &clean(&checked.recording.file),
        "",
        "",
        width,
        Style::new().dimmed(),
    );
    let verdict = checked.judged.verdict;
    let style = verdict_style(verdict);
    let words = verdict_words(verdict).to_uppercase();
    let meaning = textwrap::fill(view::verdict_meaning(verdict), width);
    out += &format!("{style} {words} {style:#}\n{meaning}\n");
    out
}

fn findings(checked: &Checked<'_>, unit: TorqueUnit, width: usize) -> String {
    let mut out = String::new();
    for finding in &checked.judged.findings {
        let style = level_style(finding.level);
        let tag = format!("[{}]", finding.level.word());
        let text = paragraph(
            &clean(&finding.text(unit)),
            &format!("  {tag:7} "),
            "          ",
            width,
            Style::new(),
        );
        out += &text.replacen(&tag, &format!("{style}{tag}{style:#}"), 1);
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

fn new_table(width: usize) -> Table {
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
fn table_text(table: &Table) -> String {
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

fn paragraph(text: &str, first: &str, rest: &str, width: usize, style: Style) -> String {
    let options = textwrap::Options::new(width)
        .initial_indent(first)
        .subsequent_indent(rest);
    textwrap::wrap(text, options)
        .iter()
        .map(|line| format!("{style}{line}{style:#}\n"))
        .collect()
}

/// Text from files must not steer the terminal: control characters become a mark.
fn clean(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
        .collect()
}

/// The overview has no room for long paths; the whole one stands over each recording.
fn short_path(path: &str) -> String {
    match path.rsplit_once('/') {
        Some((_, name)) if path.chars().count() > 24 => format!("…/{name}"),
        _ => path.into(),
    }
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

fn verdict_style(verdict: Verdict) -> Style {
    let colour = match verdict {
        Verdict::NoFaultFound => AnsiColor::Green,
        Verdict::WorkNeeded => AnsiColor::Yellow,
        Verdict::DoNotFly => AnsiColor::Red,
        Verdict::Unproven => AnsiColor::Magenta,
    };
    colour.on_default().bold()
}

fn level_style(level: Level) -> Style {
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

    fn widest(text: &str) -> usize {
        plain(text)
            .lines()
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
        assert!(text.contains("kg·cm/deg"));
        assert!(text.contains("0.0319 ± 0.0011 kg·cm/deg"), "{text}");
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
