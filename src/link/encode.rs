//! Payloads to lines, with their checksum. For whatever speaks the link: a host, a simulated rig, a test.

use crc::{CRC_16_IBM_3740, Crc, Table};

use super::MAX_LINE_BYTES;

/// Sixteen tables of 512 bytes: a line's checksum is the larger part of decoding it with a single table.
static CRC: Crc<u16, Table<16>> = Crc::<u16, Table<16>>::new(&CRC_16_IBM_3740);

/// CRC-16/IBM-3740 of a payload.
#[inline]
pub fn crc16(payload: &[u8]) -> u16 {
    CRC.checksum(payload)
}

/// Why a payload cannot go down the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unsendable {
    #[error(
        "a line of the link holds printable ASCII without '*', and byte {at} of this one is {byte:#04x}"
    )]
    Byte { at: usize, byte: u8 },
    #[error(
        "a line of the link is at most {MAX_LINE_BYTES} bytes long, and this one would be {bytes}"
    )]
    TooLong { bytes: usize },
}

/// The line that carries a payload, checksum and LF included.
pub fn encode(payload: &str) -> Result<String, Unsendable> {
    if let Some((at, byte)) = payload
        .bytes()
        .enumerate()
        .find(|&(_, b)| !is_payload_byte(b))
    {
        return Err(Unsendable::Byte { at, byte });
    }
    let line = format!("{payload}*{:04X}\n", crc16(payload.as_bytes()));
    if line.len() > MAX_LINE_BYTES {
        return Err(Unsendable::TooLong { bytes: line.len() });
    }
    Ok(line)
}

/// As [`encode`], after what `out` holds already; `out` is left alone where the payload cannot be sent.
pub fn encode_into(out: &mut Vec<u8>, payload: &str) -> Result<(), Unsendable> {
    out.extend_from_slice(encode(payload)?.as_bytes());
    Ok(())
}

/// Whether a payload may hold this byte.
pub(super) fn is_payload_byte(byte: u8) -> bool {
    (0x20..=0x7e).contains(&byte) && byte != b'*'
}

#[cfg(test)]
mod tests {
    use super::*;

    /// [S] The catalogue's check value of CRC-16/IBM-3740 over `123456789`, as the rig link, version 1, quotes it: 0x29B1.
    #[test]
    fn the_checksum_gives_the_published_check_value() {
        assert_eq!(crc16(b"123456789"), 0x29B1);
        assert_eq!(encode("123456789").unwrap(), "123456789*29B1\n");
    }

    #[test]
    fn what_the_link_cannot_carry_is_not_sent() {
        assert_eq!(encode("OK,1*"), Err(Unsendable::Byte { at: 4, byte: b'*' }));
        assert_eq!(
            encode("NO,1,not 90°"),
            Err(Unsendable::Byte { at: 11, byte: 0xc2 })
        );
        assert!(encode(&"x".repeat(194)).is_ok());
        assert_eq!(
            encode(&"x".repeat(195)),
            Err(Unsendable::TooLong { bytes: 201 })
        );
    }
}
