//! Which recordings of a surface its currents and its lead are taken from. Reads and opens none.

use jiff::Timestamp;

use super::Seen;
use crate::analysis::{NoDraw, Resistances};
use crate::recording::Recording;
use crate::recording::purpose::{SERVO_TEST, is_sweep};

/// Recordings within so long of the sweep show the same lead, s: a day at the bench (own choice).
pub const SAME_DAY_S: i64 = 24 * 3600;
/// More than this share of samples lost is too much to be believed.
const MOST_LOST: f64 = 0.25;

/// Why a recording is not believed here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Doubtful {
    Unfinished,
    TooMuchLost,
    /// It is of a servo that does not sit there now.
    OtherServo(String),
}

/// A recording of one surface, and what was seen in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    pub file: String,
    pub started: Option<Timestamp>,
    /// A sweep of the surface as it will fly: its currents are the surface's.
    pub sweep: bool,
    /// A test of the servo: its steps show its peak.
    pub servo_test: bool,
    /// It says that it is of the second of two servos alone: its lead is that one's, its currents are no surface's.
    pub of_second: bool,
    pub doubt: Option<Doubtful>,
    pub seen: Seen,
}

impl Candidate {
    /// `tags`: of the servo that sits there now, and of the second where there are two.
    pub fn of(recording: &Recording, file: &str, tags: [Option<&str>; 2]) -> Self {
        let all = recording.samples + recording.gone();
        let lost = recording.gone() as f64 > MOST_LOST * all as f64;
        let said = recording.key("servo").map(str::trim);
        let said = said.filter(|said| !said.is_empty());
        let of_second = said.is_some() && said == tags[1];
        let other = said.filter(|_| !of_second && said != tags[0]);
        let doubt = match other {
            Some(said) => Some(Doubtful::OtherServo(said.to_owned())),
            None if recording.unfinished().is_some() => Some(Doubtful::Unfinished),
            None if lost => Some(Doubtful::TooMuchLost),
            None => None,
        };
        let purpose = recording.key("purpose").map(str::trim);
        Self {
            file: file.to_owned(),
            started: recording.started(),
            sweep: is_sweep(purpose) && !of_second,
            servo_test: purpose == Some(SERVO_TEST) && !of_second,
            of_second,
            doubt,
            seen: Seen::in_recording(recording),
        }
    }

    /// A sweep that is believed and shows what the servo draws.
    pub fn shows_draw(&self) -> bool {
        self.sweep && self.doubt.is_none() && self.seen.draw.is_ok()
    }
}

/// What was picked for a surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Picked {
    pub seen: Seen,
    /// The sweep that the currents are from; `None` where none is believed.
    pub draw_file: Option<String>,
    /// The recording that the lead is from.
    pub lead_file: Option<String>,
    /// The recording that the second servo's lead is from.
    pub second_lead_file: Option<String>,
    /// The recording that the peak after steps is from.
    pub steps_file: Option<String>,
}

/// The currents of the latest believed sweep, and the lead from whichever believed recording of the same day tells it best: a
/// test in steps draws more than a slow sweep. So does its peak, which is taken too. Without a believed sweep: the lead alone, from the latest day. `None` of
/// nothing that is believed. The second servo's lead is from recordings of that servo alone, by the same rule.
pub fn pick(candidates: &[Candidate]) -> Option<Picked> {
    let believed = || candidates.iter().filter(|c| c.doubt.is_none());
    let latest = |a: &&Candidate, b: &&Candidate| a.started.cmp(&b.started);
    let sweep = believed().filter(|c| c.shows_draw()).max_by(latest);
    let centre = sweep
        .or_else(|| believed().filter(|c| c.sweep).max_by(latest))
        .or_else(|| believed().max_by(latest))?;
    let same_day = |c: &&Candidate| match (c.started, centre.started) {
        (Some(a), Some(b)) => (a.as_second() - b.as_second()).abs() <= SAME_DAY_S,
        // Those that do not say when were given together.
        (None, None) => true,
        _ => false,
    };
    let shows_lead = |c: &&Candidate| c.seen.resistances.lead_mohm.is_some();
    let best_lead = |second: bool| {
        let of_it = believed().filter(|c| c.of_second == second);
        of_it
            .filter(same_day)
            .filter(shows_lead)
            .min_by(|a, b| a.seen.lead_half_mohm().total_cmp(&b.seen.lead_half_mohm()))
    };
    let (lead, second_lead) = (best_lead(false), best_lead(true));
    let steps = believed()
        .filter(same_day)
        .filter(|c| c.sweep || c.servo_test)
        .filter_map(|c| Some((c, c.seen.step_peak_ma?)))
        .max_by(|a, b| a.1.value.total_cmp(&b.1.value));
    let seen = Seen {
        draw: match centre.sweep {
            true => centre.seen.draw,
            false => Err(NoDraw::NoSweep),
        },
        step_peak_ma: steps.map(|s| s.1),
        resistances: match lead {
            Some(lead) => lead.seen.resistances,
            None if centre.of_second => Resistances::default(),
            None => centre.seen.resistances,
        },
        second_lead_mohm: second_lead.and_then(|l| l.seen.resistances.lead_mohm),
        air_c: lead.and_then(|l| l.seen.air_c).or(centre.seen.air_c),
    };
    Some(Picked {
        seen,
        draw_file: sweep.map(|c| c.file.clone()),
        lead_file: lead.map(|c| c.file.clone()),
        second_lead_file: second_lead.map(|c| c.file.clone()),
        steps_file: steps.map(|s| s.0.file.clone()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Draw, Interval, Quantity};

    fn candidate(file: &str, hour: i64, sweep: bool, half: Option<f64>, peak: f64) -> Candidate {
        let plain = |value| Quantity {
            value,
            interval: None,
        };
        let lead = half.map(|half| Quantity {
            value: 80.0,
            interval: Some(Interval {
                u: 0.5 * half,
                lo95: 80.0 - half,
                hi95: 80.0 + half,
            }),
        });
        let draw = Draw {
            peak_ma: plain(peak),
            highest_ma: peak,
            moving_ma: plain(0.5 * peak),
            holding_ma: None,
            resting_ma: None,
            both_servos: false,
            volts: None,
        };
        Candidate {
            file: file.into(),
            started: Some(Timestamp::from_second(1_800_000_000 + 3600 * hour).unwrap()),
            sweep,
            servo_test: !sweep,
            of_second: false,
            doubt: None,
            seen: Seen {
                step_peak_ma: (!sweep).then(|| plain(1500.0)),
                draw: if sweep {
                    Ok(draw)
                } else {
                    Err(NoDraw::TooFewCycles)
                },
                resistances: Resistances {
                    lead_mohm: lead,
                    ..Resistances::default()
                },
                second_lead_mohm: None,
                air_c: None,
            },
        }
    }

    #[test]
    fn currents_are_of_the_latest_sweep_and_the_lead_of_the_days_best_recording() {
        let all = [
            candidate("old", 0, true, Some(1.0), 900.0),
            candidate("steps", 99, false, Some(2.0), 0.0),
            candidate("new", 100, true, Some(9.0), 300.0),
        ];
        let picked = pick(&all).unwrap();
        assert_eq!(picked.draw_file.as_deref(), Some("new"));
        assert_eq!(picked.lead_file.as_deref(), Some("steps"));
        assert_eq!(picked.seen.draw.unwrap().peak_ma.value, 300.0);
        assert_eq!(picked.seen.lead_half_mohm(), 2.0);
        assert_eq!(picked.steps_file.as_deref(), Some("steps"));
    }

    #[test]
    fn what_is_doubted_is_used_for_nothing() {
        let mut all = [
            candidate("old", 0, true, Some(1.0), 900.0),
            candidate("new", 100, true, Some(9.0), 300.0),
        ];
        all[1].doubt = Some(Doubtful::Unfinished);
        assert_eq!(pick(&all).unwrap().draw_file.as_deref(), Some("old"));
        all[0].doubt = Some(Doubtful::TooMuchLost);
        assert_eq!(pick(&all), None);
        let steps = [candidate("steps", 99, false, Some(2.0), 0.0)];
        let picked = pick(&steps).unwrap();
        assert_eq!(
            (picked.draw_file, picked.lead_file.as_deref()),
            (None, Some("steps"))
        );
    }

    #[test]
    fn the_second_servos_recording_gives_its_lead_and_no_current() {
        let mut all = [
            candidate("sweep", 0, true, Some(9.0), 300.0),
            candidate("second", 1, false, Some(2.0), 0.0),
        ];
        all[1].of_second = true;
        all[1].servo_test = false;
        let picked = pick(&all).unwrap();
        assert_eq!(picked.lead_file.as_deref(), Some("sweep"));
        assert_eq!(picked.second_lead_file.as_deref(), Some("second"));
        assert!(picked.seen.second_lead_mohm.is_some() && picked.steps_file.is_none());
        // By itself it says nothing of the first servo's lead.
        let alone = pick(&all[1..]).unwrap();
        assert_eq!(alone.seen.resistances, Resistances::default());
        assert_eq!((alone.lead_file, alone.draw_file), (None, None));
    }
}
