//! An angle sensor's calibration in a terminal: the two numbers, each hold beside the line, what they mean, what to paste.

use anstyle::{AnsiColor, Style};

use super::{Angled, file};
use crate::analysis::angle::Why;
use crate::report::text::{NARROWEST, WIDEST, clean, new_table, paragraph, table_text};
use crate::units::fixed;

/// The whole of it, with ANSI styles; ends with a line end. `width` in columns.
pub fn angled(angled: &Angled<'_>, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let (words, colour) = match angled.doubtful() {
        true => ("calibrated, with doubts", AnsiColor::Yellow),
        false => ("calibrated", AnsiColor::Green),
    };
    let title = clean(&format!("{}, angle sensor: {words}", angled.surface.name));
    let mut out = paragraph(&title, "", "", width, colour.on_default().bold());
    out.push('\n');
    let mut table = new_table(width);
    table.set_header(["number", "value", "95 % interval"]);
    for row in angled.rows() {
        table.add_row(row);
    }
    out += &table_text(&table);
    out.push('\n');
    let mut table = new_table(width);
    table.set_header([
        "held at",
        "deflection, °",
        "read, °",
        "by the line, °",
        "off, °",
    ]);
    for hold in angled.holds {
        let unit = if hold.by_ruler { " mm" } else { "°" };
        let at = format!("{}{unit}", fixed(hold.value, 1));
        table.add_row(match hold.point {
            Ok(p) => {
                let by_line = angled.line.deg(p.read_deg);
                [
                    at,
                    fixed(p.known_deg, 2),
                    fixed(p.read_deg, 2),
                    fixed(by_line, 2),
                    fixed(by_line - p.known_deg, 2),
                ]
            }
            Err(Why::Moved(deg)) => [
                at,
                String::new(),
                format!("moved by {}", fixed(deg, 1)),
                String::new(),
                "left out".to_owned(),
            ],
            Err(Why::TooShort) => [
                at,
                String::new(),
                "too short".to_owned(),
                String::new(),
                "left out".to_owned(),
            ],
        });
    }
    out += &table_text(&table);
    out.push('\n');
    for (number, sentence) in angled.sentences().iter().enumerate() {
        let style = match number {
            0 => Style::new().bold(),
            1 if angled.line.is_bent() => AnsiColor::Yellow.on_default(),
            _ => Style::new(),
        };
        out += &paragraph(&clean(sentence), "  ", "    ", width, style);
    }
    out.push('\n');
    out += &paragraph(
        "To use it, put this into aircraft.toml, after all lines of its [[surface]] and before the next [[surface]] (in the place of a table of \
         that name, if there is one). Recordings stay as they are, and each result says that it was applied.",
        "",
        "",
        width,
        Style::new(),
    );
    out.push('\n');
    // To be copied: never wrapped.
    out + &clean_lines(&file::toml(angled))
}

fn clean_lines(text: &str) -> String {
    text.lines().map(|l| clean(l) + "\n").collect()
}
