//! From readings to the bytes that come down the wire, whole or harmed. Written from the description of the rig link
//! alone; the decoder in `link` is no part of it, so that a mistake in either shows.

use std::io::Write;

use crc::{CRC_16_IBM_3740, Crc};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::programme::Event;
use super::scenario::{Channel, LineFaults, Scenario};

const CHECK: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);

/// What the wire did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct WireCount {
    /// Samples that the rig took.
    pub samples_taken: u64,
    /// Samples whose line never arrived.
    pub lost_samples: u64,
    /// Sample lines with a flipped bit.
    pub damaged_samples: u64,
    /// Damaged lines in all: those, and boot noise.
    pub damaged_lines: u64,
    /// The last line is cut off.
    pub torn_tail: bool,
}

/// Writes a capture.
#[derive(Debug)]
pub(super) struct CaptureWriter {
    bytes: Vec<u8>,
    payload: Vec<u8>,
    held_back: Option<Vec<u8>>,
    faults: LineFaults,
    chance: ChaCha8Rng,
    pub(super) count: WireCount,
}

impl CaptureWriter {
    pub(super) fn new(scenario: &Scenario, seed: u64) -> Self {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        chance.set_stream(3);
        let mut writer = Self {
            bytes: Vec::with_capacity(600_000),
            payload: Vec::with_capacity(200),
            held_back: None,
            faults: scenario.line.clone(),
            chance,
            count: WireCount::default(),
        };
        writer.key("surface", &scenario.surface);
        writer.key("started", &scenario.started);
        if let Some(purpose) = &scenario.purpose {
            writer.key("purpose", purpose);
        }
        for (name, value) in &scenario.keys {
            writer.key(name, value);
        }
        writer.key("seed", &seed.to_string());
        writer
    }

    pub(super) fn key(&mut self, name: &str, value: &str) {
        let one_line: String = value
            .chars()
            .map(|letter| if letter.is_control() { ' ' } else { letter })
            .collect();
        self.bytes
            .extend_from_slice(format!("# {name}={one_line}\n").as_bytes());
    }

    /// The rig's first words, after boot noise if there is any.
    pub(super) fn hello(&mut self, scenario: &Scenario, drive: &str) {
        if self.faults.boot_noise_bytes > 0 {
            for _ in 0..self.faults.boot_noise_bytes {
                // No line feed, and no '#' that would make it a key of the host's.
                let byte = loop {
                    let byte: u8 = self.chance.random();
                    if !matches!(byte, b'\n' | b'\r' | b'#') {
                        break byte;
                    }
                };
                self.bytes.push(byte);
            }
            self.bytes.push(b'\n');
            self.count.damaged_lines += 1;
        }
        let names: Vec<&str> = scenario
            .channels
            .iter()
            .map(|channel| channel.name())
            .collect();
        let text = format!(
            "RIG,1,{},sim-1,{drive},{},{}",
            scenario.rig_name,
            scenario.rate_hz.round(),
            names.join(",")
        );
        self.line(text.as_bytes());
    }

    pub(super) fn event(&mut self, time_us: u32, event: &Event) {
        let text = match event {
            Event::Armed => format!("EV,{time_us},armed"),
            Event::Disarmed => format!("EV,{time_us},disarmed"),
            Event::Arrived { pulse_us } => format!("EV,{time_us},arrived,{}", pulse_us.round()),
            Event::Stalled { pulse_us } => format!("EV,{time_us},stalled,{}", pulse_us.round()),
            Event::OverCurrent { current_ma } => {
                format!("EV,{time_us},over-current,{}", current_ma.round())
            }
        };
        self.line(text.as_bytes());
    }

    pub(super) fn sample(
        &mut self,
        seq: u16,
        time_us: u32,
        channels: &[Channel],
        values: &[Option<f64>],
    ) {
        let mut payload = std::mem::take(&mut self.payload);
        payload.clear();
        // Writing to a Vec cannot fail.
        let _ = write!(payload, "S,{seq},{time_us}");
        for (channel, value) in channels.iter().zip(values) {
            payload.push(b',');
            if let Some(value) = value {
                put_number(&mut payload, *value, channel.decimals());
            }
        }
        self.count.samples_taken += 1;
        let first = self.count.samples_taken == 1;
        if !first && self.chance.random::<f64>() < self.faults.lost {
            // Held until a later sample follows: the last one must arrive, or its loss could not be seen.
            self.count.lost_samples += 1;
            self.held_back = Some(payload.clone());
        } else {
            self.held_back = None;
            let start = self.bytes.len();
            self.line(&payload);
            if self.chance.random::<f64>() < self.faults.damaged {
                self.flip_a_bit(start, payload.len());
            }
        }
        self.payload = payload;
    }

    /// Any single flipped bit is caught by a CRC; only flips that would make or break line ends are passed over.
    fn flip_a_bit(&mut self, start: usize, length: usize) {
        loop {
            let place = start + self.chance.random_range(0..length);
            let flipped = self.bytes[place] ^ (1 << self.chance.random_range(0..8u32));
            if !matches!(flipped, b'\n' | b'\r') {
                self.bytes[place] = flipped;
                break;
            }
        }
        self.count.damaged_samples += 1;
        self.count.damaged_lines += 1;
    }

    fn line(&mut self, payload: &[u8]) {
        self.bytes.extend_from_slice(payload);
        let _ = write!(self.bytes, "*{:04X}", CHECK.checksum(payload));
        self.bytes
            .extend_from_slice(if self.faults.carriage_return {
                b"\r\n"
            } else {
                b"\n"
            });
    }

    pub(super) fn finish(mut self) -> (Vec<u8>, WireCount) {
        if let Some(payload) = self.held_back.take() {
            self.line(&payload);
            self.count.lost_samples -= 1;
        }
        if self.faults.torn_bytes > 0 {
            let keep = self.bytes.len().saturating_sub(self.faults.torn_bytes);
            self.bytes.truncate(keep);
            self.count.torn_tail = self.bytes.last() != Some(&b'\n');
        }
        (self.bytes, self.count)
    }
}

/// A decimal without exponent and without idle zeros at its end.
pub(super) fn put_number(into: &mut Vec<u8>, value: f64, decimals: usize) {
    if !value.is_finite() {
        return;
    }
    let scale = [1.0, 10.0, 100.0, 1000.0][decimals.min(3)];
    let scaled = (value * scale).round().clamp(-9.0e15, 9.0e15) as i64;
    if scaled < 0 {
        into.push(b'-');
    }
    let (whole, mut rest) = (
        scaled.unsigned_abs() / scale as u64,
        scaled.unsigned_abs() % scale as u64,
    );
    let _ = write!(into, "{whole}");
    let mut place = scale as u64 / 10;
    if rest > 0 {
        into.push(b'.');
        while rest > 0 {
            into.push(b'0' + (rest / place) as u8);
            rest %= place;
            place /= 10;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The published check value of CRC-16/IBM-3740 over `123456789`, as the rig link's description gives it.
    #[test]
    fn the_crc_gives_the_published_check_value() {
        assert_eq!(CHECK.checksum(b"123456789"), 0x29B1);
    }

    #[test]
    fn numbers_are_short_decimals() {
        for (value, decimals, text) in [
            (7.40, 2, "7.4"),
            (-0.05, 2, "-0.05"),
            (12.0, 3, "12"),
            (-0.001, 2, "0"),
            (834.25, 2, "834.25"),
            (0.007, 3, "0.007"),
        ] {
            let mut bytes = Vec::new();
            put_number(&mut bytes, value, decimals);
            assert_eq!(String::from_utf8(bytes).unwrap(), text);
        }
    }
}
