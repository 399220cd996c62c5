//! What the host says, cut into lines, checked and read. Written from the description of the rig link alone, as
//! `capture` is; nothing of `link` in here, and nothing of what a command does.

use crc::{CRC_16_IBM_3740, Crc};

const CHECK: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);
/// A line's bytes at most, LF included.
const LONGEST: usize = 200;

/// The kinds of numbered commands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CommandName {
    Ask,
    Limit,
    Arm,
    Go,
    Disarm,
}

impl CommandName {
    pub const ALL: [Self; 5] = [Self::Ask, Self::Limit, Self::Arm, Self::Go, Self::Disarm];

    /// The word on the wire.
    pub fn word(self) -> &'static str {
        match self {
            Self::Ask => "ASK",
            Self::Limit => "LIMIT",
            Self::Arm => "ARM",
            Self::Go => "GO",
            Self::Disarm => "DISARM",
        }
    }
}

/// One whole line of the host's.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Heard {
    Alive,
    Command { id: u16, asks: Asks },
    Damaged,
}

/// What a numbered command asks for.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Asks {
    Ask,
    Limit(Vec<(String, f64)>),
    Arm,
    Go {
        pulse_us: f64,
        us_per_s: f64,
    },
    Disarm,
    /// Known and whole, but with a field that makes no sense: refused with this word.
    Nonsense(CommandName, &'static str),
}

impl Asks {
    pub(super) fn name(&self) -> CommandName {
        match self {
            Self::Ask => CommandName::Ask,
            Self::Limit(_) => CommandName::Limit,
            Self::Arm => CommandName::Arm,
            Self::Go { .. } => CommandName::Go,
            Self::Disarm => CommandName::Disarm,
            Self::Nonsense(name, _) => *name,
        }
    }
}

/// Bytes to lines. A line that is too long is damaged up to its LF, and takes no more room than a whole one.
#[derive(Debug, Clone, Default)]
pub(super) struct HostLines {
    held: Vec<u8>,
    too_long: bool,
}

impl HostLines {
    /// Takes one byte; a line's meaning at its LF. Blank lines are passed over.
    pub(super) fn take(&mut self, byte: u8) -> Option<Heard> {
        if byte != b'\n' {
            if self.held.len() + 1 < LONGEST {
                self.held.push(byte);
            } else {
                self.too_long = true;
            }
            return None;
        }
        let heard = if self.too_long {
            Some(Heard::Damaged)
        } else {
            let line = self.held.strip_suffix(b"\r").unwrap_or(&self.held);
            (!line.is_empty()).then(|| read(line).unwrap_or(Heard::Damaged))
        };
        self.forget();
        heard
    }

    pub(super) fn forget(&mut self) {
        self.held.clear();
        self.too_long = false;
    }
}

/// None for a damaged line.
fn read(line: &[u8]) -> Option<Heard> {
    let (payload, check) = line.split_at_checked(line.len().checked_sub(5)?)?;
    let hex = check.strip_prefix(b"*")?;
    let printable = |byte: &u8| (0x20..=0x7e).contains(byte) && *byte != b'*';
    if !payload.iter().all(printable) || !hex.iter().all(u8::is_ascii_hexdigit) {
        return None;
    }
    let stated = u16::from_str_radix(std::str::from_utf8(hex).ok()?, 16).ok()?;
    if stated != CHECK.checksum(payload) {
        return None;
    }
    let fields: Vec<&str> = std::str::from_utf8(payload).ok()?.split(',').collect();
    if fields == ["ALIVE"] {
        return Some(Heard::Alive);
    }
    let (word, rest) = fields.split_first()?;
    let name = CommandName::ALL
        .into_iter()
        .find(|name| name.word() == *word)?;
    let (id, rest) = rest.split_first()?;
    if id.is_empty() || !id.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    Some(Heard::Command {
        id: id.parse().ok()?,
        asks: asks(name, rest).unwrap_or_else(|word| Asks::Nonsense(name, word)),
    })
}

fn asks(name: CommandName, fields: &[&str]) -> Result<Asks, &'static str> {
    const FIELDS: &str = "wrong-number-of-fields";
    const NUMBER: &str = "no-number";
    match (name, fields) {
        (CommandName::Ask, []) => Ok(Asks::Ask),
        (CommandName::Arm, []) => Ok(Asks::Arm),
        (CommandName::Disarm, []) => Ok(Asks::Disarm),
        (CommandName::Go, [pulse, rate]) => Ok(Asks::Go {
            pulse_us: number(pulse).ok_or(NUMBER)?,
            us_per_s: number(rate).filter(|rate| *rate >= 0.0).ok_or(NUMBER)?,
        }),
        (CommandName::Limit, [_, ..]) => fields
            .iter()
            .map(|field| {
                let (key, value) = field.split_once('=').ok_or(FIELDS)?;
                Ok((key.to_owned(), number(value).ok_or(NUMBER)?))
            })
            .collect::<Result<_, _>>()
            .map(Asks::Limit),
        _ => Err(FIELDS),
    }
}

/// A decimal with an optional sign and fraction; no exponent, no infinity.
fn number(text: &str) -> Option<f64> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    let (whole, rest) = digits.split_once('.').unwrap_or((digits, ""));
    let all_digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if whole.len() + rest.len() == 0 || !all_digits(whole) || !all_digits(rest) {
        return None;
    }
    text.parse::<f64>().ok().filter(|value| value.is_finite())
}

/// A payload of the host's as a line: for tests.
#[cfg(test)]
pub(super) fn host_line(payload: &str) -> Vec<u8> {
    format!("{payload}*{:04x}\r\n", CHECK.checksum(payload.as_bytes())).into_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(bytes: &[u8]) -> Vec<Heard> {
        let mut lines = HostLines::default();
        bytes.iter().filter_map(|byte| lines.take(*byte)).collect()
    }

    /// The checksum is the one printed in the notes on building a rig, not one of our own making.
    #[test]
    fn the_published_ok_line_has_the_checksum_that_is_used_here() {
        assert_eq!(CHECK.checksum(b"OK,1"), 0xB617);
        assert_eq!(CHECK.checksum(b"123456789"), 0x29B1);
    }

    #[test]
    fn commands_are_read_with_either_line_end_and_either_case_of_the_checksum() {
        let mut bytes = host_line("GO,65535,1500.5,250");
        bytes.extend(host_line("ALIVE"));
        bytes.extend(b"LIMIT,0,current_ma=2000,case_c=60*");
        bytes.extend(
            format!(
                "{:04X}\n",
                CHECK.checksum(b"LIMIT,0,current_ma=2000,case_c=60")
            )
            .bytes(),
        );
        let go = Asks::Go {
            pulse_us: 1500.5,
            us_per_s: 250.0,
        };
        let limits = vec![("current_ma".into(), 2000.0), ("case_c".into(), 60.0)];
        assert_eq!(
            heard(&bytes),
            [
                Heard::Command {
                    id: 65535,
                    asks: go
                },
                Heard::Alive,
                Heard::Command {
                    id: 0,
                    asks: Asks::Limit(limits)
                },
            ]
        );
    }

    #[test]
    fn a_line_with_a_wrong_bit_or_too_long_or_unknown_is_damaged_and_the_next_is_whole() {
        for bad in [
            b"ALIVE*0000\n".to_vec(),
            b"\xff\xfe\n".to_vec(),
            b"ALIVE\n".to_vec(),
            host_line("WIGGLE,1"),
            host_line("ARM,65536"),
            host_line("ARM,"),
            host_line("ARM,-1"),
            host_line(&format!("LIMIT,1,{}", "x".repeat(400))),
        ] {
            let mut bytes = bad.clone();
            bytes.extend(b"\r\n\n");
            bytes.extend(host_line("ALIVE"));
            assert_eq!(heard(&bytes), [Heard::Damaged, Heard::Alive], "{bad:?}");
        }
    }

    #[test]
    fn numbers_have_no_exponent_and_nonsense_keeps_its_number() {
        assert_eq!(number("-12.50"), Some(-12.5));
        for bad in [
            "", "-", ".", "1e3", "nan", "inf", "1,5", " 1", "0x10", "++1",
        ] {
            assert_eq!(number(bad), None, "{bad}");
        }
        let asks = |text: &str| match heard(&host_line(text)).pop() {
            Some(Heard::Command { id: 7, asks }) => asks,
            other => panic!("{other:?}"),
        };
        for bad in [
            "GO,7,abc,0",
            "GO,7,1500,-5",
            "GO,7,1500",
            "LIMIT,7",
            "LIMIT,7,case_c=x",
            "ARM,7,1",
        ] {
            assert!(matches!(asks(bad), Asks::Nonsense(..)), "{bad}");
        }
    }
}
