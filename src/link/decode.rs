//! Lines to messages. What a line does not prove by its checksum and its form is damaged, and nothing of it is given.

use super::encode::{crc16, is_payload_byte};
use super::lines::{Line, Lines};
use super::number::{self, Reading};
use super::{
    Damage, EventLine, MAX_HOST_LINE_BYTES, MAX_LINE_BYTES, MAX_MAGNITUDE, Message, RigLine,
    SampleLine,
};

/// Bytes to messages, in any chunking: a file in large pieces, a port byte by byte.
///
/// It owns what it has not finished, so a read that is cancelled between two calls loses nothing, and it holds one
/// line at most. Blank lines carry nothing and are passed over in silence.
#[derive(Debug, Clone)]
pub struct Decoder {
    lines: Lines,
    parser: Parser,
}

#[derive(Debug, Clone)]
struct Parser {
    known: fn(&str) -> bool,
    /// Of the last `RIG` line: whether each channel must hold a number. `None` before the first.
    channels: Option<Vec<bool>>,
    /// The values of the sample being read.
    values: Vec<f64>,
}

impl Default for Decoder {
    fn default() -> Self {
        Self::new()
    }
}

impl Decoder {
    /// Every channel's fields must be numbers.
    pub fn new() -> Self {
        Self::knowing(|_| true)
    }

    /// Only channels that `known` knows must hold numbers. Another channel's field is left alone: it may hold anything
    /// a line can carry, and reads as NaN where it is no number.
    pub fn knowing(known: fn(&str) -> bool) -> Self {
        let limit = |first| {
            if first == b'#' {
                MAX_HOST_LINE_BYTES
            } else {
                MAX_LINE_BYTES
            }
        };
        Self {
            lines: Lines::new(limit),
            parser: Parser {
                known,
                channels: None,
                values: Vec::new(),
            },
        }
    }

    /// Takes all of `bytes` and hands on each line that they finish, in order.
    pub fn feed(&mut self, bytes: &[u8], mut sink: impl FnMut(Message<'_>)) {
        let parser = &mut self.parser;
        self.lines.feed(bytes, |line| match line {
            Line::Whole(raw) => {
                if let Some(message) = parser.message(raw) {
                    sink(message);
                }
            }
            Line::TooLong => sink(Message::Damaged(Damage::TooLong)),
        });
    }

    /// There are no more bytes. A last line without LF is handed on if it is whole; a torn one is not handed on,
    /// and `true` says that there was one: it is cut off rather than damaged.
    pub fn finish(&mut self, mut sink: impl FnMut(Message<'_>)) -> bool {
        let mut torn = false;
        let parser = &mut self.parser;
        self.lines.finish(|line| match line {
            // A `#` line has no checksum to tell whether it is whole.
            Line::TooLong => torn = true,
            Line::Whole(raw) if raw.first() == Some(&b'#') => torn = true,
            Line::Whole(raw) => match parser.message(raw) {
                Some(Message::Damaged(_)) => torn = true,
                Some(message) => sink(message),
                None => {}
            },
        });
        torn
    }
}

impl Parser {
    #[inline]
    fn message<'a>(&'a mut self, raw: &'a [u8]) -> Option<Message<'a>> {
        let line = raw.strip_suffix(b"\r").unwrap_or(raw);
        let &first = line.first()?;
        let payload = match checked_payload(line) {
            _ if first == b'#' => return Some(host_line(line)),
            Ok(payload) => payload,
            Err(damage) => return Some(Message::Damaged(damage)),
        };
        Some(if let Some(fields) = payload.strip_prefix(b"S,") {
            self.sample(fields).unwrap_or_else(Message::Damaged)
        } else {
            self.other(payload).unwrap_or_else(Message::Damaged)
        })
    }

    #[inline]
    fn sample(&mut self, fields: &[u8]) -> Result<Message<'_>, Damage> {
        let (seq, seq_end) = number::counter(fields, 0, u64::from(u16::MAX)).ok_or(Damage::Form)?;
        let (t_us, mut at) =
            number::counter(fields, seq_end + 1, u64::from(u32::MAX)).ok_or(Damage::Form)?;
        let (seq, t_us) = (seq as u16, t_us as u32); // both within range by the line above
        let Some(channels) = &self.channels else {
            return Ok(Message::UnannouncedSample { seq, t_us });
        };
        let mut given = 0;
        while at < fields.len() {
            let (reading, end) = number::field(fields, at + 1);
            let Some(must_be_number) = channels.get(given) else {
                let given = given + fields[at..].iter().filter(|&&b| b == b',').count();
                return Err(Damage::ValueCount {
                    given,
                    channels: channels.len(),
                });
            };
            self.values[given] = match reading {
                Reading::Number(value) if value.abs() < MAX_MAGNITUDE => value,
                Reading::Missing => f64::NAN,
                _ if *must_be_number
                    || !fields[at + 1..end].iter().copied().all(is_payload_byte) =>
                {
                    return Err(Damage::Form);
                }
                _ => f64::NAN,
            };
            given += 1;
            at = end;
        }
        if given != channels.len() {
            return Err(Damage::ValueCount {
                given,
                channels: channels.len(),
            });
        }
        Ok(Message::Sample(SampleLine {
            seq,
            t_us,
            values: &self.values,
        }))
    }

    fn other<'a>(&mut self, payload: &'a [u8]) -> Result<Message<'a>, Damage> {
        if !payload.iter().copied().all(is_payload_byte) {
            return Err(Damage::Form);
        }
        let text = std::str::from_utf8(payload).map_err(|_| Damage::Form)?;
        let (kind, fields) = text.split_once(',').ok_or(Damage::Form)?;
        match kind {
            "RIG" => {
                let rig = rig_line(fields)?;
                let channels: Vec<bool> = rig.channels().map(self.known).collect();
                self.values = vec![f64::NAN; channels.len()];
                self.channels = Some(channels);
                Ok(Message::Rig(rig))
            }
            "EV" => event_line(fields),
            "OK" => Ok(Message::Ok {
                id: command_id(fields)?,
            }),
            "NO" => {
                let (id, reason) = fields.split_once(',').ok_or(Damage::Form)?;
                Ok(Message::No {
                    id: command_id(id)?,
                    reason,
                })
            }
            _ => Err(Damage::Form),
        }
    }
}

/// The payload of a line, if the line ends in `*` and the payload's own checksum.
#[inline]
fn checked_payload(line: &[u8]) -> Result<&[u8], Damage> {
    let (payload, ending) = line.split_last_chunk::<5>().ok_or(Damage::NoChecksum)?;
    let [b'*', hex @ ..] = ending else {
        return Err(Damage::NoChecksum);
    };
    let mut sent = 0u16;
    for &digit in hex {
        let value = match digit {
            b'0'..=b'9' => digit - b'0',
            b'A'..=b'F' => digit - b'A' + 10,
            b'a'..=b'f' => digit - b'a' + 10,
            _ => return Err(Damage::NoChecksum),
        };
        sent = sent << 4 | u16::from(value);
    }
    if crc16(payload) == sent {
        Ok(payload)
    } else {
        Err(Damage::Checksum)
    }
}

/// A `#` line. One without `=` that ends as a rig's line does is a rig's line whose first byte was hit.
fn host_line(line: &[u8]) -> Message<'_> {
    let ends_as_a_rigs = !matches!(checked_payload(line), Err(Damage::NoChecksum));
    if ends_as_a_rigs && !line.contains(&b'=') {
        return Message::Damaged(Damage::Checksum);
    }
    Message::Host(&line[1..])
}

fn rig_line(fields: &str) -> Result<RigLine<'_>, Damage> {
    let (version, rest) = fields.split_once(',').ok_or(Damage::Form)?;
    if version != "1" {
        return Err(Damage::Version);
    }
    let mut parts = rest.splitn(5, ',');
    let mut next = || parts.next().ok_or(Damage::Form);
    let (name, firmware, drive, rate) = (next()?, next()?, next()?, next()?);
    let driven = match drive {
        "driven" => true,
        "passive" => false,
        _ => return Err(Damage::Form),
    };
    let rate_hz = match number::whole(rate.as_bytes()) {
        Reading::Number(value) if (0.0..MAX_MAGNITUDE).contains(&value) => value,
        Reading::Missing => 0.0,
        _ => return Err(Damage::Form),
    };
    Ok(RigLine {
        name,
        firmware,
        driven,
        rate_hz,
        channels: parts.next().unwrap_or(""),
    })
}

fn event_line(fields: &str) -> Result<Message<'_>, Damage> {
    let mut parts = fields.splitn(3, ',');
    let clock = parts.next().unwrap_or("");
    let code = parts
        .next()
        .filter(|code| !code.is_empty())
        .ok_or(Damage::Form)?;
    let (t_us, _) =
        number::counter(clock.as_bytes(), 0, u64::from(u32::MAX)).ok_or(Damage::Form)?;
    Ok(Message::Event(EventLine {
        t_us: t_us as u32,
        code,
        detail: parts.next(),
    }))
}

fn command_id(text: &str) -> Result<u16, Damage> {
    match number::counter(text.as_bytes(), 0, u64::from(u16::MAX)) {
        Some((id, end)) if end == text.len() => Ok(id as u16),
        _ => Err(Damage::Form),
    }
}

#[cfg(test)]
#[path = "decode_tests.rs"]
mod tests;
