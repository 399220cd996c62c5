//! A calibration in a terminal: the four numbers, the levels beside the fit, what they mean.

use anstyle::{AnsiColor, Style};

use super::{Calibrated, NAMES, doing_word};
use crate::report::text::{NARROWEST, WIDEST, clean, new_table, paragraph, table_text};
use crate::servo::balance::Row;
use crate::units::{self, fixed};

/// The whole calibration, with ANSI styles; ends with a line end. `width` in columns.
pub fn calibration(calibrated: &Calibrated<'_>, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let balance = calibrated.balance;
    let poor = calibrated.poor();
    let (words, colour) = match poor {
        true => ("calibrated, with doubts", AnsiColor::Yellow),
        false => ("calibrated", AnsiColor::Green),
    };
    let title = clean(&format!("servo {}: {words}", calibrated.tag));
    let mut out = paragraph(&title, "", "", width, colour.on_default().bold());
    for file in calibrated.files {
        out += &paragraph(
            &clean(file),
            "  from: ",
            "    ",
            width,
            Style::new().dimmed(),
        );
    }
    out.push('\n');
    let mut table = new_table(width);
    table.set_header(["number", "value", "95 % interval", "unit"]);
    for (j, (name, unit)) in NAMES.iter().enumerate() {
        let (value, half) = (balance.values[j], 1.959_964 * balance.u(j));
        let (shown, interval) = match units::pair(value, half) {
            Some((shown, half)) => {
                let digits = half.split_once('.').map_or(0, |(_, d)| d.len() as i32);
                let ends = [value - half_of(&half), value + half_of(&half)];
                (
                    shown,
                    format!("{} to {}", fixed(ends[0], digits), fixed(ends[1], digits)),
                )
            }
            None => (units::NOT_A_NUMBER.to_owned(), String::new()),
        };
        table.add_row([(*name).to_owned(), shown, interval, (*unit).to_owned()]);
    }
    out += &table_text(&table);
    out.push('\n');
    let mut table = new_table(width);
    table.set_header([
        "mass, kg",
        "way",
        "°/s",
        "strokes",
        "power, W",
        "fitted, W",
        "off, u",
    ]);
    for row in &balance.rows {
        table.add_row(level(row));
    }
    out += &table_text(&table);
    out.push('\n');
    for (number, sentence) in calibrated.sentences().iter().enumerate() {
        let style = match number {
            0 => Style::new().bold(),
            1 if poor => AnsiColor::Yellow.on_default(),
            _ => Style::new(),
        };
        out += &paragraph(&clean(sentence), "  ", "    ", width, style);
    }
    out
}

fn half_of(text: &str) -> f64 {
    text.parse().unwrap_or(f64::NAN)
}

fn level(row: &Row) -> [String; 7] {
    let (power, u) = units::pair(row.power_w, row.u_w)
        .unwrap_or((units::NOT_A_NUMBER.into(), units::NOT_A_NUMBER.into()));
    let digits = u.split_once('.').map_or(0, |(_, d)| d.len() as i32);
    [
        format!("{}", row.mass_kg),
        doing_word(row.doing).to_owned(),
        fixed(row.speed_rad_s.to_degrees(), 0),
        row.strokes.to_string(),
        format!("{power} ± {u}"),
        fixed(row.fitted_w, digits),
        fixed(row.off(), 1),
    ]
}
