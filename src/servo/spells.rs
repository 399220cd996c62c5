//! A recording taken apart where the rig was armed and disarmed: a spell is a stretch of samples with a pulse. Keys that
//! hold from a spell on stand ahead of it (`# mass_kg=0.5`), so the n-th value of a key belongs to the n-th spell.

use std::ops::Range;

use crate::recording::{Channel, Event, Recording, Segment};

/// Without a pulse for longer than this the rig was disarmed, s: single readings go missing.
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
    for (number, segment) in recording.segments.iter().enumerate() {
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
                Some(range) if !parted(recording, number, range.end - 1, i) => {
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

/// Whether the rig was disarmed between two samples with a pulse. Samples that were lost on the way are no sign of it.
fn parted(recording: &Recording, segment: usize, last: usize, next: usize) -> bool {
    let t_s = &recording.segments[segment].t_s;
    let (from_s, to_s) = (t_s[last], t_s[next]);
    if to_s - from_s <= APART_S {
        return false;
    }
    let armed_between =
        |e: &Event| e.segment == segment && e.code == "armed" && e.t_s > from_s && e.t_s <= to_s;
    next > last + 1 || recording.events.iter().any(armed_between)
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
    /// A capture without its sample lines from one number to another.
    fn without_samples(text: &str, from: usize, to: usize) -> String {
        let mut number = 0;
        let kept = text.lines().filter(|line| {
            number += usize::from(line.starts_with("S,"));
            !line.starts_with("S,") || !(from..to).contains(&number)
        });
        kept.flat_map(|line| [line, "\n"]).collect()
    }

    #[test]
    fn samples_that_were_lost_while_armed_part_no_spell_and_a_second_arming_does() {
        let text = String::from_utf8(simulate(&scenario(), 1).capture).unwrap();
        let whole = read(text.as_bytes());
        let first = spells(&whole)[0].samples.clone();
        // Half a second at 200 samples/s, from within the first spell.
        let within = without_samples(&text, first.start + 40, first.start + 140);
        let all = read(within.as_bytes());
        assert_eq!(all.lost, 100);
        assert_eq!(spells(&all).len(), 2);
        // Everything from within the first to within the second: the rig's own word is left.
        let second = spells(&whole)[1].samples.clone();
        let between = without_samples(&text, first.end - 40, second.start + 40);
        assert_eq!(spells(&read(between.as_bytes())).len(), 2);
    }
}
