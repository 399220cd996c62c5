//! Capture or CSV? Decided by the first line that can only be one of the two.

use crate::link::{Decoder, Message};
use crate::problem::Problem;

use super::Channel;

/// As much of a file is looked at, bytes. A capture may begin with boot noise; more than this of it is a capture's too.
pub(super) const SNIFF_BYTES: usize = 64 * 1024;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Format {
    Capture,
    Csv,
}

/// Looks at a file's first bytes (a byte-order mark left out); `whole`: they are all of it.
pub(super) fn format(head: &[u8], name: &str) -> Result<Format, Problem> {
    let mut almost = None;
    for (number, raw) in head.split(|&b| b == b'\n').enumerate() {
        let line = raw.trim_ascii();
        if line.is_empty() || line.starts_with(b"#") {
            continue;
        }
        if is_link_line(line) {
            return Ok(Format::Capture);
        }
        match header(line) {
            Some(Header::Good) => return Ok(Format::Csv),
            Some(Header::Bad(what, hint)) if almost.is_none() => {
                let text = String::from_utf8_lossy(line);
                let shown: String = text.chars().take(160).collect();
                almost = Some(
                    Problem::new(format!("{name}, line {}: {what}", number + 1))
                        .excerpt(format!("{:>5} | {shown}", number + 1))
                        .hint(hint),
                );
            }
            _ => {}
        }
    }
    almost.map_or(Ok(Format::Capture), Err)
}

enum Header {
    Good,
    Bad(&'static str, &'static str),
}

/// A line of channel names, with what is wrong with it. A rig's own `RIG` line, whole or torn, is none.
fn header(line: &[u8]) -> Option<Header> {
    let text = &String::from_utf8_lossy(line);
    let separator = [',', ';', '\t', '|', ' '].into_iter().find(|&s| {
        let names: Vec<String> = names(text, s).collect();
        names.iter().all(|n| is_name(n))
            && names
                .iter()
                .any(|n| is_time(n) || Channel::from_name(n).is_some())
    })?;
    if separator != ',' && text.contains(separator) {
        return Some(Header::Bad(
            "the header's names are not separated by commas",
            "save the file as CSV with commas between the fields and points in the numbers",
        ));
    }
    if !names(text, ',').any(|n| is_time(&n)) {
        return Some(Header::Bad(
            "the header has neither t_us nor t_s, so nothing says when a sample was taken",
            "name the time column t_us (microseconds) or t_s (seconds)",
        ));
    }
    Some(Header::Good)
}

fn names(text: &str, separator: char) -> impl Iterator<Item = String> {
    text.split(separator).map(tidy_name)
}

/// A name as a spreadsheet may have dressed it up, undressed.
pub(super) fn tidy_name(name: &str) -> String {
    name.trim().trim_matches('"').trim().to_ascii_lowercase()
}

fn is_time(name: &str) -> bool {
    name == "t_us" || name == "t_s"
}

fn is_name(name: &str) -> bool {
    let first_is_no_digit = name
        .chars()
        .next()
        .is_none_or(|c| !c.is_ascii_digit() && !"+-.".contains(c));
    // `*` ends a line of the link, and RIG begins one.
    first_is_no_digit
        && name != "rig"
        && !name.contains(['*', ',', ';', '\t', '|'])
        && !name.contains(char::is_control)
}

fn is_link_line(line: &[u8]) -> bool {
    let mut good = false;
    let mut decoder = Decoder::new();
    let mut judge =
        |message: Message<'_>| good |= !matches!(message, Message::Damaged(_) | Message::Host(_));
    decoder.feed(line, &mut judge);
    decoder.finish(&mut judge);
    good
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::link::encode;

    fn of(text: &str) -> Result<Format, String> {
        format(text.as_bytes(), "x.csv").map_err(|p| p.to_string())
    }

    #[test]
    fn the_first_line_that_can_only_be_one_of_them_decides() {
        let rig = encode("RIG,1,a,b,driven,200,angle_deg").unwrap();
        assert_eq!(of(&format!("# a=b\n\n{rig}")), Ok(Format::Capture));
        assert_eq!(
            of(&format!("\u{1}boot\u{0}noise,angle_deg*12\n{rig}")),
            Ok(Format::Capture)
        );
        assert_eq!(of("# surface=x\n\nt_us,angle_deg\n1,2\n"), Ok(Format::Csv));
        assert_eq!(of("angle_deg, \"T_S\" ,mystery\r\n"), Ok(Format::Csv));
        assert_eq!(of(""), Ok(Format::Capture));
    }

    #[test]
    fn a_torn_rig_line_is_no_header() {
        let rig = encode("RIG,1,a,b,driven,200,angle_deg,pulse_us").unwrap();
        for torn in [
            &rig[8..],
            &rig[..rig.len() - 6],
            &rig.replace("driven", "drixen"),
        ] {
            assert_eq!(
                of(&format!("{torn}\n{}", encode("OK,1").unwrap())),
                Ok(Format::Capture),
                "{torn}"
            );
        }
    }

    #[test]
    fn a_header_that_cannot_be_used_is_shown_with_what_would_be_right() {
        let semicolons = of("# a=b\nt_us;angle_deg\n1;2\n").unwrap_err();
        assert!(
            semicolons.contains("line 2")
                && semicolons.contains("commas")
                && semicolons.contains("t_us;angle_deg"),
            "{semicolons}"
        );
        let no_time = of("angle_deg,current_ma\n1,2\n").unwrap_err();
        assert!(no_time.contains("neither t_us nor t_s"), "{no_time}");
    }
}
