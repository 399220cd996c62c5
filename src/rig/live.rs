//! What comes from the rig, as the one who drives it and the one who watches see it: samples and events in order,
//! and a picture of the present. It may skip; the recording never does.

use std::sync::Arc;

use crate::link::{Message, RigLine};
use crate::recording::{Channel, RigIdentity, Step, Timeline};

/// One sample of the channels that the host knows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// The rig's clock since its first sample, s.
    pub t_s: f64,
    values: [f64; Channel::ALL.len()],
}

impl Sample {
    /// The reading; `None` where the rig has no such channel or its sensor gave none.
    pub fn get(&self, channel: Channel) -> Option<f64> {
        Some(self.values[channel as usize]).filter(|v| !v.is_nan())
    }
}

#[derive(Debug, Clone, PartialEq)]
pub enum Heard {
    Sample(Sample),
    Event {
        code: String,
        detail: Option<String>,
    },
    /// The rig accepted command `id`: what it says from here on it says after that.
    Ok {
        id: u16,
    },
    /// A `RIG` line: at the start, after `ASK`, or because the rig restarted.
    Rig(Arc<RigIdentity>),
    /// The rig began anew: after a `RIG` line its count or its clock went back, or it is another rig. An answer to `ASK` that
    /// comes late is no restart.
    Restarted,
}

/// The present.
#[derive(Debug, Clone, Default)]
pub struct Live {
    pub rig: Option<Arc<RigIdentity>>,
    pub latest: Option<Sample>,
    pub samples: u64,
    pub lost: u64,
    pub damaged: u64,
    /// By the rig's own clock, over the last second; 0 where not known yet.
    pub rate_hz: f64,
    pub bytes: u64,
}

/// Follows the messages.
pub(super) struct Follower {
    pub live: Live,
    timeline: Timeline,
    places: Vec<Option<Channel>>,
    /// A `RIG` line came since the last sample.
    introduced: bool,
    /// Scale and zero of the angle sensor: what is driven and shown goes by the surface, what is recorded by the sensor.
    pub angle: Option<(f64, f64)>,
    /// Where the rate is counted from: time, and samples until then.
    since: Option<(f64, u64)>,
}

impl Follower {
    pub fn new() -> Self {
        Self {
            live: Live::default(),
            timeline: Timeline::new(true, 0.0),
            places: Vec::new(),
            introduced: false,
            angle: None,
            since: None,
        }
    }

    /// Takes a message; what the driver should hear of it goes into `heard`.
    pub fn take(&mut self, message: &Message<'_>, heard: &mut Vec<Heard>) {
        match message {
            Message::Sample(sample) => self.sample(sample.seq, sample.t_us, sample.values, heard),
            Message::Event(event) => heard.push(Heard::Event {
                code: event.code.to_owned(),
                detail: event.detail.map(str::to_owned),
            }),
            Message::Ok { id } => heard.push(Heard::Ok { id: *id }),
            Message::Rig(rig) => self.rig(rig, heard),
            Message::Damaged(_) => self.live.damaged += 1,
            _ => {}
        }
    }

    fn rig(&mut self, rig: &RigLine<'_>, heard: &mut Vec<Heard>) {
        let identity = Arc::new(RigIdentity::of(rig));
        let known = self.live.rig.replace(Arc::clone(&identity));
        self.introduced = true;
        if known.as_ref() != Some(&identity) {
            self.places = rig.channels().map(Channel::from_name).collect();
            self.begin_anew();
            self.introduced = false;
            if known.is_some() {
                heard.push(Heard::Restarted);
            }
        }
        heard.push(Heard::Rig(identity));
    }

    fn begin_anew(&mut self) {
        let rate_hz = self.live.rig.as_ref().map_or(0.0, |rig| rig.rate_hz);
        self.timeline = Timeline::new(true, rate_hz);
        self.since = None;
    }

    fn sample(&mut self, seq: u16, t_us: u32, given: &[f64], heard: &mut Vec<Heard>) {
        let introduced = std::mem::take(&mut self.introduced);
        let t_s = match self.timeline.step(Some(seq), f64::from(t_us)) {
            Step::Next { t_s, lost, .. } => {
                self.live.lost += lost;
                t_s
            }
            Step::Repeat => return,
            Step::ClockWentBack { .. } | Step::CountWentBack => {
                self.begin_anew();
                let _ = self.timeline.step(Some(seq), f64::from(t_us));
                if introduced {
                    heard.push(Heard::Restarted);
                }
                0.0
            }
        };
        let mut values = [f64::NAN; Channel::ALL.len()];
        for (place, value) in self.places.iter().zip(given) {
            // A channel named twice counts where it stands first, as in the recording.
            if let Some(channel) = place
                && values[*channel as usize].is_nan()
            {
                values[*channel as usize] = *value;
            }
        }
        if let Some((scale, zero_deg)) = self.angle {
            let angle = &mut values[Channel::AngleDeg as usize];
            *angle = scale * (*angle - zero_deg);
        }
        let sample = Sample { t_s, values };
        self.live.samples += 1;
        self.live.latest = Some(sample);
        let (from_s, from_count) = *self.since.get_or_insert((t_s, self.live.samples));
        let passed_s = t_s - from_s;
        if passed_s >= 0.5 {
            self.live.rate_hz = (self.live.samples - from_count) as f64 / passed_s;
            if passed_s >= 1.0 {
                self.since = Some((t_s, self.live.samples));
            }
        }
        heard.push(Heard::Sample(sample));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::link::{Decoder, encode};

    fn heard(payloads: &[&str]) -> Vec<Heard> {
        let mut decoder = Decoder::new();
        let mut follower = Follower::new();
        let mut heard = Vec::new();
        for payload in payloads {
            decoder.feed(encode(payload).unwrap().as_bytes(), |m| {
                follower.take(&m, &mut heard)
            });
        }
        heard
    }

    fn restarts(heard: &[Heard]) -> usize {
        heard
            .iter()
            .filter(|h| matches!(h, Heard::Restarted))
            .count()
    }

    const RIG: &str = "RIG,1,bench,1,driven,200,angle_deg";

    #[test]
    fn a_second_rig_line_with_the_count_going_on_is_a_late_answer_and_no_restart() {
        let all = heard(&[RIG, "S,7,5000000,1", RIG, "S,8,5005000,1"]);
        assert_eq!(restarts(&all), 0, "{all:?}");
    }

    #[test]
    fn a_rig_line_after_which_the_count_begins_anew_is_a_restart() {
        let all = heard(&[
            RIG,
            "S,700,5000000,1",
            "S,701,5005000,1",
            RIG,
            "S,0,1200000,1",
        ]);
        assert_eq!(restarts(&all), 1, "{all:?}");
        assert!(matches!(all.last(), Some(Heard::Sample(_))));
    }

    #[test]
    fn another_rig_on_the_same_line_is_a_restart() {
        let all = heard(&[
            RIG,
            "S,7,5000000,1",
            "RIG,1,other,1,driven,200,angle_deg",
            "S,8,5005000,1",
        ]);
        assert_eq!(restarts(&all), 1, "{all:?}");
    }

    #[test]
    fn angles_are_heard_as_the_surfaces_own_where_its_sensor_is_calibrated() {
        let mut decoder = Decoder::new();
        let mut follower = Follower::new();
        follower.angle = Some((-1.05, 0.8));
        let mut heard = Vec::new();
        for payload in [
            "RIG,1,a,1,driven,100,angle_deg,arm_deg",
            "S,0,1000,20.8,20.8",
            "S,1,11000,,1",
        ] {
            decoder.feed(encode(payload).unwrap().as_bytes(), |m| {
                follower.take(&m, &mut heard)
            });
        }
        let angles: Vec<_> = heard
            .iter()
            .filter_map(|h| match h {
                Heard::Sample(s) => Some((s.get(Channel::AngleDeg), s.get(Channel::ArmDeg))),
                _ => None,
            })
            .collect();
        assert!((angles[0].0.unwrap() + 21.0).abs() < 1e-9 && angles[0].1 == Some(20.8));
        assert_eq!(angles[1], (None, Some(1.0)));
    }
}
