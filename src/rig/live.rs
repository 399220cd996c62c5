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
    /// A `RIG` line: at the start, after `ASK`, or because the rig restarted.
    Rig(Arc<RigIdentity>),
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
    /// Where the rate is counted from: time, and samples until then.
    since: Option<(f64, u64)>,
}

impl Follower {
    pub fn new() -> Self {
        Self {
            live: Live::default(),
            timeline: Timeline::new(true, 0.0),
            places: Vec::new(),
            since: None,
        }
    }

    /// Takes a message; what the driver should hear of it, if anything.
    pub fn take(&mut self, message: &Message<'_>) -> Option<Heard> {
        match message {
            Message::Sample(sample) => self.sample(sample.seq, sample.t_us, sample.values),
            Message::Event(event) => Some(Heard::Event {
                code: event.code.to_owned(),
                detail: event.detail.map(str::to_owned),
            }),
            Message::Rig(rig) => Some(self.rig(rig)),
            Message::Damaged(_) => {
                self.live.damaged += 1;
                None
            }
            _ => None,
        }
    }

    fn rig(&mut self, rig: &RigLine<'_>) -> Heard {
        let identity = Arc::new(RigIdentity::of(rig));
        self.places = rig.channels().map(Channel::from_name).collect();
        self.timeline = Timeline::new(true, rig.rate_hz);
        self.since = None;
        self.live.rig = Some(Arc::clone(&identity));
        Heard::Rig(identity)
    }

    fn sample(&mut self, seq: u16, t_us: u32, given: &[f64]) -> Option<Heard> {
        let t_s = match self.timeline.step(Some(seq), f64::from(t_us)) {
            Step::Next { t_s, lost, .. } => {
                self.live.lost += lost;
                t_s
            }
            Step::Repeat => return None,
            Step::ClockWentBack { .. } | Step::CountWentBack => {
                self.timeline = self.timeline.restarted();
                self.since = None;
                let _ = self.timeline.step(Some(seq), f64::from(t_us));
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
        Some(Heard::Sample(sample))
    }
}
