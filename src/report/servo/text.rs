//! A servo's test in a terminal: verdict, findings, the table, how to read it.

use anstyle::Style;

use super::{ServoTest, rows, small_print};
use crate::report::text::{
    NARROWEST, WIDEST, clean, finding_paragraph, new_table, paragraph, table_text, verdict_style,
};
use crate::report::view::{STANDING_CAUTION, verdict_words};
use crate::units::TorqueUnit;

/// The whole test, with ANSI styles; ends with a line end. `width` in columns.
pub fn servo(test: &ServoTest<'_>, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let (bold, dim) = (Style::new().bold(), Style::new().dimmed());
    let verdict = test.judged.verdict;
    let words = verdict_words(verdict).to_uppercase();
    let title = clean(&format!("{words}  servo {}", test.tag));
    let style = verdict_style(verdict);
    let mut out = paragraph(&title, "", "", width, bold).replacen(
        &words,
        &format!("{bold:#}{style}{words}{style:#}{bold}"),
        1,
    );
    let whence = format!(
        "{}, {}, {}, {}",
        test.aircraft,
        test.surface,
        test.kind.name,
        test.files.join(", ")
    );
    out += &paragraph(&clean(&whence), "", "", width, dim);
    for finding in &test.judged.findings {
        out += &finding_paragraph(finding, TorqueUnit::default(), width);
    }
    out.push('\n');
    let mut table = new_table(width);
    table.set_header(["quantity", "measured", "data sheet"]);
    for row in rows(test) {
        table.add_row([row.name, row.found, row.sheet]);
    }
    out += &table_text(&table);
    out.push('\n');
    for line in small_print(test) {
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out + &paragraph(STANDING_CAUTION, "", "", width, bold)
}
