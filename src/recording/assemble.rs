//! From single samples, events and keys to a [`Recording`]: what captures and CSV have in common. Knows no bytes.

use super::timeline::{Step, Timeline};
use super::{Channel, Event, KeyPlace, Recording, Segment};

/// `#` keys kept, and the bytes of all of them together: a file of nothing but keys must not fill the memory.
pub(super) const MAX_KEYS: usize = 10_000;
const MAX_KEY_BYTES: usize = 1 << 20;

/// Which value of a sample goes into which channel's column.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Layout {
    columns: Vec<(usize, Channel)>,
    /// Names that came twice: only the first of each is used.
    pub(super) twice: Vec<String>,
    pub(super) unknown: Vec<String>,
}

impl Layout {
    pub(super) fn of<'a>(names: impl Iterator<Item = &'a str>) -> Self {
        let mut layout = Self::default();
        for (index, name) in names.enumerate() {
            match Channel::from_name(name) {
                None => layout.unknown.push(name.to_owned()),
                Some(channel) if layout.columns.iter().any(|&(_, c)| c == channel) => {
                    layout.twice.push(name.to_owned())
                }
                Some(channel) => layout.columns.push((index, channel)),
            }
        }
        layout
    }
    pub(super) fn columns(&self) -> &[(usize, Channel)] {
        &self.columns
    }
}

/// The segment under way.
#[derive(Debug)]
struct Open {
    t_s: Vec<f64>,
    /// Index of the sample's value, channel, readings.
    columns: Vec<(usize, Channel, Vec<f64>)>,
}

impl Open {
    fn new(layout: &Layout) -> Self {
        let columns = layout
            .columns
            .iter()
            .map(|&(index, channel)| (index, channel, Vec::new()))
            .collect();
        Self {
            t_s: Vec::new(),
            columns,
        }
    }
}

/// Takes samples and events in the order of the file.
#[derive(Debug)]
pub(super) struct Assembly {
    pub(super) recording: Recording,
    layout: Layout,
    open: Open,
    timeline: Timeline,
    /// Events since the segment's start and before its first sample.
    waiting: Vec<(u32, String, Option<String>)>,
    repeats: u64,
    clock_went_back: u64,
    first_time_back_s: Option<(f64, f64)>,
    count_went_back: u64,
    uncounted_gaps: u64,
    key_bytes: usize,
    keys_left_out: u64,
}

impl Assembly {
    /// `wraps`: the clock is the 32-bit one.
    pub(super) fn new(wraps: bool) -> Self {
        let layout = Layout::default();
        Self {
            recording: Recording::default(),
            open: Open::new(&layout),
            layout,
            timeline: Timeline::new(wraps, 0.0),
            waiting: Vec::new(),
            repeats: 0,
            clock_went_back: 0,
            first_time_back_s: None,
            count_went_back: 0,
            uncounted_gaps: 0,
            key_bytes: 0,
            keys_left_out: 0,
        }
    }

    /// From here on samples have this layout and a new clock.
    pub(super) fn start(&mut self, layout: Layout, wraps: bool, rate_hz: f64) {
        self.layout = layout;
        self.next_segment();
        self.timeline = Timeline::new(wraps, rate_hz);
    }

    /// From here on the clock begins anew, with the channels as they were.
    pub(super) fn restart_clock(&mut self) {
        self.next_segment();
        self.timeline = self.timeline.restarted();
    }

    /// A good sample. `values` as the layout was told; NaN for missing.
    #[inline]
    pub(super) fn sample(&mut self, seq: Option<u16>, t_us: f64, values: &[f64]) {
        let step = match self.timeline.step(seq, t_us) {
            Step::ClockWentBack { from_s, to_s } => {
                self.clock_went_back += 1;
                self.first_time_back_s.get_or_insert((from_s, to_s));
                self.restart_clock();
                self.timeline.step(seq, t_us)
            }
            Step::CountWentBack => {
                self.count_went_back += 1;
                self.restart_clock();
                self.timeline.step(seq, t_us)
            }
            step => step,
        };
        let Step::Next {
            t_s,
            lost,
            uncounted,
        } = step
        else {
            self.repeats += 1;
            return;
        };
        self.recording.samples += 1;
        self.recording.lost += lost;
        self.uncounted_gaps += u64::from(uncounted);
        self.open.t_s.push(t_s);
        for (index, _, column) in &mut self.open.columns {
            column.push(values.get(*index).copied().unwrap_or(f64::NAN));
        }
        if !self.waiting.is_empty() {
            self.settle_events();
        }
    }

    pub(super) fn event(&mut self, t_us: u32, code: &str, detail: Option<&str>) {
        let (code, detail) = (code.to_owned(), detail.map(str::to_owned));
        match self.timeline.place(t_us) {
            Some(t_s) => {
                let segment = self.recording.segments.len();
                self.recording.events.push(Event {
                    segment,
                    t_s,
                    code,
                    detail,
                });
            }
            None => self.waiting.push((t_us, code, detail)),
        }
    }

    /// A `#` line without its `#`: `key=value`. A line without `=` is a remark and is passed over.
    pub(super) fn host_line(&mut self, bytes: &[u8]) {
        let text = String::from_utf8_lossy(bytes);
        let Some((key, value)) = text.split_once('=') else {
            return;
        };
        self.key_bytes += text.len();
        if self.recording.keys.len() >= MAX_KEYS || self.key_bytes > MAX_KEY_BYTES {
            self.keys_left_out += 1;
            return;
        }
        if self.recording.samples > 0 {
            self.recording.places.push(KeyPlace {
                key: self.recording.keys.len(),
                segment: self.recording.segments.len(),
                sample: self.open.t_s.len(),
            });
        }
        self.recording
            .keys
            .push((key.trim().to_owned(), value.trim().to_owned()));
    }

    pub(super) fn note(&mut self, text: impl Into<String>) {
        let text = text.into();
        if !self.recording.notes.contains(&text) {
            self.recording.notes.push(text);
        }
    }

    /// All that was read, with its notes.
    pub(super) fn finish(mut self) -> Recording {
        self.next_segment();
        self.leave_events_behind();
        if let Some((from_s, to_s)) = self.first_time_back_s {
            let count = self.clock_went_back;
            self.note(format!(
                "The rig's clock jumped back {} without a RIG line (first from {from_s:.3} s to {to_s:.3} s): \
                 taken as a new start of the rig, not counted as a restart.",
                times(count)
            ));
        }
        if self.count_went_back > 0 {
            let count = self.count_went_back;
            self.note(format!(
                "The rig's sample count (SEQ) jumped back {} without a RIG line: taken as a new start of the rig, not counted as a restart.",
                times(count)
            ));
        }
        if self.uncounted_gaps > 0 {
            let count = self.uncounted_gaps;
            self.note(format!("In {count} gaps the clock shows more lost samples than SEQ can count; only those that SEQ shows are counted."));
        }
        if self.repeats > 0 {
            let count = self.repeats;
            self.note(format!(
                "{count} samples repeated the SEQ of a sample already read and were left out."
            ));
        }
        if self.keys_left_out > 0 {
            let count = self.keys_left_out;
            self.note(format!("{count} '#' lines beyond the first {MAX_KEYS} (or {MAX_KEY_BYTES} bytes) were left out."));
        }
        self.recording
    }

    fn next_segment(&mut self) {
        let finished = std::mem::replace(&mut self.open, Open::new(&self.layout));
        if finished.t_s.is_empty() {
            return;
        }
        let mut columns: [Option<Vec<f64>>; crate::recording::CHANNELS] = Default::default();
        for (_, channel, readings) in finished.columns {
            columns[channel as usize] = Some(readings);
        }
        self.recording
            .segments
            .push(Segment::new(finished.t_s, columns));
    }

    fn settle_events(&mut self) {
        for (t_us, code, detail) in std::mem::take(&mut self.waiting) {
            self.event(t_us, &code, detail.as_deref());
        }
    }

    /// Events after the last start that no sample followed: their clock has no zero that a sample gives.
    fn leave_events_behind(&mut self) {
        let Some(segment) = self.recording.segments.len().checked_sub(1) else {
            return;
        };
        let Some(&end_s) = self.recording.segments[segment].t_s.last() else {
            return;
        };
        let waiting = std::mem::take(&mut self.waiting);
        if !waiting.is_empty() {
            self.note("Events after the rig's last start, before any sample of it, are placed at the end of the samples before.");
        }
        for (_, code, detail) in waiting {
            self.recording.events.push(Event {
                segment,
                t_s: end_s,
                code,
                detail,
            });
        }
    }
}

fn times(count: u64) -> String {
    if count == 1 {
        "once".into()
    } else {
        format!("{count} times")
    }
}
