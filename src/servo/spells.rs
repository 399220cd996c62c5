//! A recording taken apart where the rig was armed and disarmed: a spell is a stretch of samples with a pulse. Keys that
//! hold from a spell on stand ahead of it (`# mass_kg=0.5`), so the n-th value of a key belongs to the n-th spell.

use std::ops::Range;

use crate::recording::{Channel, Recording, Segment};

/// Samples without a pulse for longer than this part two spells, s: single readings go missing.
const APART_S: f64 = 0.2;

/// One spell.
#[derive(Debug, Clone)]
pub struct Armed<'a> {
    /// From 0, over the whole recording.
    pub number: usize,
    pub segment: &'a Segment,
    /// Its samples within the segment.
    pub samples: Range<usize>,
}

impl<'a> Armed<'a> {
    /// Seconds on the segment's clock.
    pub fn t_s(&self) -> &'a [f64] {
        &self.segment.t_s[self.samples.clone()]
    }

    /// A channel's readings, NaN where there was none; `None` where the rig has no such channel.
    pub fn column(&self, channel: Channel) -> Option<&'a [f64]> {
        Some(&self.segment.column(channel)?[self.samples.clone()])
    }
}

/// All spells in order; none where no pulse was recorded.
pub fn spells(recording: &Recording) -> Vec<Armed<'_>> {
    let mut found: Vec<Armed<'_>> = Vec::new();
    for segment in &recording.segments {
        let Some(pulse) = segment.column(Channel::PulseUs) else {
            continue;
        };
        let mut current: Option<Range<usize>> = None;
        let mut ranges = Vec::new();
        for (i, value) in pulse.iter().enumerate() {
            if !value.is_finite() {
                continue;
            }
            current = match current {
                Some(range) if segment.t_s[i] - segment.t_s[range.end - 1] <= APART_S => {
                    Some(range.start..i + 1)
                }
                other => {
                    ranges.extend(other);
                    Some(i..i + 1)
                }
            };
        }
        ranges.extend(current);
        for samples in ranges {
            found.push(Armed {
                number: found.len(),
                segment,
                samples,
            });
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulated::{Loaded, PulseMove, Scenario, Spell, simulate};

    fn read(capture: &[u8]) -> Recording {
        crate::recording::read(capture, "spells").unwrap()
    }

    fn scenario() -> Scenario {
        let go = |to_us| PulseMove {
            to_us,
            us_per_s: 500.0,
            hold_s: 0.5,
        };
        let spell = |mass: &str| Spell {
            keys: vec![("mass_kg".into(), mass.into())],
            loaded: Loaded::default(),
            moves: vec![go(1600.0), go(1500.0)],
            waits_s: 1.0,
        };
        Scenario {
            programme: crate::simulated::Programme::Spells(vec![spell("0"), spell("0.5")]),
            ..Scenario::default()
        }
    }

    #[test]
    fn each_arming_is_a_spell_and_its_key_stands_ahead_of_it() {
        let recording = read(&simulate(&scenario(), 1).capture);
        let all = spells(&recording);
        assert_eq!(all.len(), 2);
        let masses: Vec<&str> = recording
            .keys
            .iter()
            .filter(|(key, _)| key == "mass_kg")
            .map(|(_, value)| value.as_str())
            .collect();
        assert_eq!(masses, ["0", "0.5"]);
        for spell in &all {
            let pulse = spell.column(Channel::PulseUs).unwrap();
            assert!(pulse.iter().all(|p| p.is_finite()));
            // 0.2 s each way and two holds.
            let span_s = spell.t_s().last().unwrap() - spell.t_s()[0];
            assert!((span_s - 1.4).abs() < 0.05, "{span_s}");
        }
    }

    #[test]
    fn a_pulse_that_goes_missing_for_a_moment_is_still_the_same_spell() {
        let text = String::from_utf8(simulate(&scenario(), 1).capture).unwrap();
        // Every 40th line gone: 5 ms each.
        let thinned: String = text
            .lines()
            .enumerate()
            .filter(|(n, line)| n % 40 != 7 || !line.starts_with("S,"))
            .flat_map(|(_, line)| [line, "\n"])
            .collect();
        assert_eq!(spells(&read(thinned.as_bytes())).len(), 2);
    }
}
