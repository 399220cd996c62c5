//! SEQ and the rig's clock, with their wraps undone and their gaps counted. Times in, places on a line out; what a
//! sample holds is not known here.

/// One turn of the rig's 32-bit clock, µs.
const CLOCK_TURN_US: f64 = 4_294_967_296.0;

/// A clock that went back is taken to have wrapped if the wrap leaves a gap of at most this, µs; or if SEQ bears a longer one out.
const PLAIN_WRAP_GAP_US: f64 = 120e6;

/// The pairs of SEQ and clock that a repeated line is looked for among.
const REMEMBERED: usize = 64;

/// What a sample's SEQ and clock make of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Step {
    /// It goes on from the one before: seconds since the first, samples lost in between. `uncounted`: the clock shows
    /// that SEQ went round at least once more than it can say.
    Next {
        t_s: f64,
        lost: u64,
        uncounted: bool,
    },
    /// It was here before.
    Repeat,
    /// The clock went back and no wrap explains it: a new start that was not announced.
    ClockWentBack { from_s: f64, to_s: f64 },
    /// SEQ went back and the time that went by is far too short for a round of it: the same.
    CountWentBack,
}

/// Follows one segment. `wraps`: the clock is the 32-bit one.
#[derive(Debug, Clone)]
pub(crate) struct Timeline {
    wraps: bool,
    /// Expected time from sample to sample, µs; 0 where not known.
    period_us: f64,
    first_us: Option<f64>,
    last_us: f64,
    turns: f64,
    /// From the first sample to the last.
    elapsed_us: f64,
    last_seq: Option<u16>,
    /// Samples without SEQ since the last one with it.
    unnumbered: u64,
    remembered: [(u16, f64); REMEMBERED],
    remembered_count: usize,
}

impl Timeline {
    pub(crate) fn new(wraps: bool, rate_hz: f64) -> Self {
        Self {
            wraps,
            period_us: if rate_hz > 0.0 { 1e6 / rate_hz } else { 0.0 },
            first_us: None,
            last_us: 0.0,
            turns: 0.0,
            elapsed_us: 0.0,
            last_seq: None,
            unnumbered: 0,
            remembered: [(0, f64::NAN); REMEMBERED],
            remembered_count: 0,
        }
    }

    /// The same clock from its start.
    pub(crate) fn restarted(&self) -> Self {
        let mut fresh = Self::new(self.wraps, 0.0);
        fresh.period_us = self.period_us;
        fresh
    }

    /// The next sample. After anything but [`Step::Next`] the timeline is as it was before.
    #[inline]
    pub(crate) fn step(&mut self, seq: Option<u16>, t_us: f64) -> Step {
        let Some(first_us) = self.first_us else {
            self.first_us = Some(t_us);
            self.accept(seq, t_us);
            return Step::Next {
                t_s: 0.0,
                lost: 0,
                uncounted: false,
            };
        };
        let advance = seq
            .zip(self.last_seq)
            .map(|(now, before)| now.wrapping_sub(before));
        if t_us < self.last_us {
            if self.was_here(seq, t_us) {
                return Step::Repeat;
            }
            if !self.wrapped(advance, t_us) {
                return Step::ClockWentBack {
                    from_s: self.last_us / 1e6,
                    to_s: t_us / 1e6,
                };
            }
            self.turns += 1.0;
        } else if advance == Some(0) && !self.full_round(t_us) {
            return Step::Repeat;
        } else if advance.is_some_and(|n| self.count_went_back(n, t_us)) {
            return if self.was_here(seq, t_us) {
                Step::Repeat
            } else {
                Step::CountWentBack
            };
        }
        let t_s = (t_us + self.turns * CLOCK_TURN_US - first_us) / 1e6;
        let sent = match advance {
            // The count came round to the same number: see `full_round`.
            Some(0) => 65_536,
            Some(n) => u64::from(n),
            None => 1,
        };
        // With SEQ on both sides of samples without it, those were not lost.
        let lost = if advance.is_some() {
            (sent - 1).saturating_sub(self.unnumbered)
        } else {
            0
        };
        let round_us = 65_536.0 * self.period_us;
        let gap_us = t_s * 1e6 - self.elapsed_us;
        let uncounted = advance.is_some()
            && round_us > 0.0
            && gap_us > sent as f64 * self.period_us + 0.8 * round_us;
        self.elapsed_us = t_s * 1e6;
        self.accept(seq, t_us);
        Step::Next {
            t_s,
            lost,
            uncounted,
        }
    }

    /// Seconds since the first sample at which something else happened, by the nearest turn of the clock.
    /// `None` before the first sample.
    pub(crate) fn place(&self, t_us: u32) -> Option<f64> {
        let first_us = self.first_us?;
        let last = self.last_us as u64 as u32;
        // The wrapped difference read as signed is the nearer of 'just before' and 'just after'.
        let since_last_us = f64::from(t_us.wrapping_sub(last) as i32);
        Some((self.last_us + self.turns * CLOCK_TURN_US + since_last_us - first_us) / 1e6)
    }

    #[inline]
    fn accept(&mut self, seq: Option<u16>, t_us: f64) {
        self.last_us = t_us;
        if let Some(seq) = seq {
            self.last_seq = Some(seq);
            self.unnumbered = 0;
            self.remembered[self.remembered_count % REMEMBERED] = (seq, t_us);
            self.remembered_count += 1;
        } else {
            self.unnumbered += 1;
        }
    }

    fn was_here(&self, seq: Option<u16>, t_us: f64) -> bool {
        seq.is_some_and(|seq| self.remembered.contains(&(seq, t_us)))
    }

    /// Whether a clock that reads less than before has wrapped: the gap that a wrap leaves is short, or it is about
    /// what the lost samples take.
    fn wrapped(&self, advance: Option<u16>, t_us: f64) -> bool {
        let gap_us = t_us + CLOCK_TURN_US - self.last_us;
        let expected_us = f64::from(advance.unwrap_or(0)) * self.period_us;
        self.wraps
            && self.last_us < CLOCK_TURN_US
            && (gap_us <= PLAIN_WRAP_GAP_US
                || (0.5 * expected_us..=2.0 * expected_us).contains(&gap_us))
    }

    /// A round of SEQ takes its time: less than a quarter of it, with 10 s to spare, and it was no round.
    fn count_went_back(&self, advance: u16, t_us: f64) -> bool {
        advance > 32_768 && f64::from(advance) * self.period_us > 4.0 * (t_us - self.last_us) + 10e6
    }

    /// Whether so much time went by that SEQ has come round to the same number.
    fn full_round(&self, t_us: f64) -> bool {
        let round_us = 65_536.0 * self.period_us;
        round_us > 0.0 && (0.8 * round_us..=1.25 * round_us).contains(&(t_us - self.last_us))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOP: f64 = CLOCK_TURN_US;

    fn follow(samples: &[(u16, f64)]) -> Vec<Step> {
        let mut timeline = Timeline::new(true, 200.0);
        samples
            .iter()
            .map(|&(seq, t)| timeline.step(Some(seq), t))
            .collect()
    }
    fn next(t_s: f64, lost: u64) -> Step {
        Step::Next {
            t_s,
            lost,
            uncounted: false,
        }
    }

    #[test]
    fn lost_samples_are_counted_over_the_wrap_of_seq() {
        let steps = follow(&[
            (65534, 0.0),
            (65535, 5e3),
            (0, 10e3),
            (3, 25e3),
            (65535, 327.68e6),
        ]);
        assert_eq!(
            steps,
            [
                next(0.0, 0),
                next(0.005, 0),
                next(0.010, 0),
                next(0.025, 2),
                next(327.68, 65531)
            ]
        );
    }

    #[test]
    fn the_clock_goes_on_over_its_wraps_with_and_without_lost_lines() {
        assert_eq!(
            follow(&[(0, TOP - 5e3), (1, 0.0), (2, 5e3)])[2],
            next(0.010, 0)
        );
        // 200 s lost at 200 samples/s: more than a plain wrap's gap, and SEQ bears it out.
        assert_eq!(
            follow(&[(0, TOP - 100e6), (40_000, 100e6)])[1],
            next(200.0, 39_999)
        );
        let mut timeline = Timeline::new(true, 200.0);
        let last = (0..=4u16)
            .map(|n| timeline.step(Some(n), f64::from(n % 2) * (TOP - 1e6)))
            .last();
        assert_eq!(last, Some(next(2.0 * TOP / 1e6, 0)));
    }

    #[test]
    fn a_clock_that_goes_back_is_a_new_start_and_no_wrap() {
        let back = Step::ClockWentBack {
            from_s: 100.0,
            to_s: 1.0,
        };
        assert_eq!(follow(&[(20_000, 100e6), (0, 1e6)])[1], back);
        let late = Step::ClockWentBack {
            from_s: 4000.0,
            to_s: 1.0,
        };
        assert_eq!(follow(&[(20_000, 4000e6), (20_001, 1e6)])[1], late);
    }

    #[test]
    fn a_repeated_sample_is_told_from_a_lost_round_of_seq() {
        let steps = follow(&[
            (7, 0.0),
            (8, 5e3),
            (7, 0.0),
            (8, 5e3),
            (8, 6e3),
            (9, 10e3),
            (9, 327.69e6),
        ]);
        assert_eq!(
            steps[2..],
            [
                Step::Repeat,
                Step::Repeat,
                Step::Repeat,
                next(0.010, 0),
                next(327.69, 65_535)
            ]
        );
    }

    #[test]
    fn a_count_that_goes_back_in_no_time_is_a_new_start_and_not_65_000_lost_samples() {
        assert_eq!(follow(&[(700, 0.1e6), (0, 0.2e6)])[1], Step::CountWentBack);
    }

    #[test]
    fn a_gap_longer_than_seq_can_count_is_said() {
        // 400 s at 200 samples/s are 80,000 samples; SEQ shows 80,000 − 65,536.
        let long = Step::Next {
            t_s: 400.0,
            lost: 14_463,
            uncounted: true,
        };
        assert_eq!(follow(&[(0, 0.0), (14_464, 400e6)])[1], long);
    }

    #[test]
    fn samples_without_a_number_are_not_lost() {
        let mut timeline = Timeline::new(false, 0.0);
        let steps: Vec<_> = [(Some(1), 0.0), (None, 1e6), (Some(4), 3e6)]
            .map(|(s, t)| timeline.step(s, t))
            .into();
        assert_eq!(steps, [next(0.0, 0), next(1.0, 0), next(3.0, 1)]);
    }

    #[test]
    fn an_event_falls_on_the_nearer_turn_of_the_clock() {
        let mut timeline = Timeline::new(true, 200.0);
        assert_eq!(timeline.place(1), None);
        timeline.step(Some(0), TOP - 1e6);
        assert_eq!(timeline.place(500_000), Some(1.5));
        timeline.step(Some(1), 1e6);
        assert_eq!(timeline.place(u32::MAX - 499_999), Some(0.5));
    }
}
