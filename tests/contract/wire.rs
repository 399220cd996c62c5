//! Captures taken apart and put together again, with a CRC of its own so that the program's is not its own witness.

/// CRC-16/IBM-3740, bit by bit: polynomial 0x1021, initial value 0xFFFF.
pub fn crc(payload: &[u8]) -> u16 {
    payload.iter().fold(0xFFFF, |crc, &byte| {
        (0..8).fold(crc ^ (u16::from(byte) << 8), |crc, _| {
            (crc << 1) ^ if crc & 0x8000 != 0 { 0x1021 } else { 0 }
        })
    })
}

/// The published check value of CRC-16/IBM-3740 over `123456789`, as the rig link's description gives it.
#[test]
fn the_crc_these_tests_write_with_gives_the_published_check_value() {
    assert_eq!(crc(b"123456789"), 0x29B1);
}

pub fn line(payload: &str) -> String {
    format!("{payload}*{:04X}\n", crc(payload.as_bytes()))
}

/// The text of a capture without line faults.
pub fn text(capture: &[u8]) -> &str {
    std::str::from_utf8(capture).unwrap()
}

/// The payload of a line of the link; `None` for the host's own lines.
fn payload(line: &str) -> Option<&str> {
    (!line.starts_with('#')).then(|| line.split('*').next().unwrap())
}

/// The channels in the order of the `RIG` line.
pub fn channels(capture: &[u8]) -> Vec<String> {
    text(capture)
        .lines()
        .find(|l| l.starts_with("RIG,"))
        .and_then(payload)
        .unwrap()
        .split(',')
        .skip(6)
        .map(str::to_owned)
        .collect()
}

/// The same capture with every sample changed, each line with its right CRC. `change` sees the sample's number and its
/// fields: `S`, SEQ, T_US, values.
pub fn changed(capture: &[u8], mut change: impl FnMut(usize, &mut Vec<String>)) -> String {
    let mut number = 0;
    text(capture)
        .lines()
        .map(|l| match payload(l) {
            Some(p) if p.starts_with("S,") => {
                let mut fields: Vec<String> = p.split(',').map(str::to_owned).collect();
                change(number, &mut fields);
                number += 1;
                line(&fields.join(","))
            }
            _ => format!("{l}\n"),
        })
        .collect()
}

/// One channel's readings changed; empty fields stay empty.
pub fn with_channel(
    capture: &[u8],
    name: &str,
    mut change: impl FnMut(usize, f64) -> f64,
) -> String {
    let place = 3 + channels(capture).iter().position(|c| c == name).unwrap();
    changed(capture, |number, fields| {
        if let Ok(value) = fields[place].parse::<f64>() {
            fields[place] = format!("{:.3}", change(number, value));
        }
    })
}

/// The same recording as a card-logging rig would write it: the host's keys, a header, a row a sample.
pub fn csv(capture: &[u8]) -> String {
    let mut header = format!("seq,t_us,{}\n", channels(capture).join(","));
    let mut out = String::new();
    for l in text(capture).lines() {
        match payload(l) {
            None => out += &format!("{l}\n"),
            Some(p) if p.starts_with("S,") => {
                out += &std::mem::take(&mut header);
                out += &format!("{}\n", &p[2..]);
            }
            Some(_) => {}
        }
    }
    out
}

/// From the rig's first words on, without the host's keys.
pub fn from_rig(capture: &[u8]) -> &str {
    let text = text(capture);
    &text[text.find("RIG,").unwrap()..]
}
