//! What the rig says, as lines, and what a bad cable makes of bytes. Nothing of what is said.

use crc::{CRC_16_IBM_3740, Crc};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const CHECK: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);

/// The line that carries a payload: checksum and LF added.
pub(super) fn line(mut payload: Vec<u8>) -> Vec<u8> {
    let check = CHECK.checksum(&payload);
    payload.extend_from_slice(format!("*{check:04X}\n").as_bytes());
    payload
}

/// Bytes without sense, ended by one LF: what some boards send while they start.
pub(super) fn boot_noise(chance: &mut ChaCha8Rng) -> Vec<u8> {
    let mut noise: Vec<u8> = (0..40)
        .map(|_| chance.random::<u8>())
        .filter(|byte| !matches!(byte, b'\n' | b'\r' | b'#'))
        .collect();
    noise.push(b'\n');
    noise
}

/// A cable that flips bits and loses bytes.
#[derive(Debug, Clone)]
pub struct Cable {
    damage: f64,
    lose: f64,
    chance: ChaCha8Rng,
}

impl Cable {
    /// `damage` and `lose` are shares of all bytes.
    pub fn new(damage: f64, lose: f64, seed: u64) -> Self {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        chance.set_stream(11);
        Self {
            damage,
            lose,
            chance,
        }
    }

    /// What arrives of what was sent.
    pub fn carry(&mut self, sent: &[u8]) -> Vec<u8> {
        if self.damage <= 0.0 && self.lose <= 0.0 {
            return sent.to_vec();
        }
        let mut arrived = Vec::with_capacity(sent.len());
        for byte in sent {
            if self.chance.random::<f64>() < self.lose {
                continue;
            }
            let flips = self.chance.random::<f64>() < self.damage;
            let bit = 1 << self.chance.random_range(0..8_u32);
            arrived.push(if flips { byte ^ bit } else { *byte });
        }
        arrived
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_the_rig_ends_in_the_published_checksum() {
        assert_eq!(line(b"123456789".to_vec()), b"123456789*29B1\n");
        assert_eq!(line(b"NO,7,passive".to_vec()), b"NO,7,passive*58EE\n");
    }

    #[test]
    fn a_cable_harms_the_share_of_bytes_that_it_was_told() {
        let sent = vec![0x55_u8; 100_000];
        let flipped = Cable::new(0.01, 0.0, 3).carry(&sent);
        let wrong = flipped.iter().filter(|byte| **byte != 0x55).count();
        assert_eq!(flipped.len(), sent.len());
        assert!((900..1100).contains(&wrong), "{wrong}");
        let short = sent.len() - Cable::new(0.0, 0.02, 3).carry(&sent).len();
        assert!((1850..2150).contains(&short), "{short}");
        assert_eq!(Cable::new(0.0, 0.0, 3).carry(&sent), sent);
    }
}
