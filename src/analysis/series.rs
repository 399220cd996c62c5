//! The samples of a recording laid end to end, one slice a channel, with the places where the rig restarted.
//! No physics in it.

use std::borrow::Cow;

use super::angle::AngleU;
use crate::recording::{Channel, Recording};

/// Channels as flat columns over all segments; a missing reading is NaN.
pub(crate) struct Series<'a> {
    pub t_s: Cow<'a, [f64]>,
    columns: [Option<Cow<'a, [f64]>>; crate::recording::CHANNELS],
    /// Sample ranges of the segments: nothing may be joined across them.
    pub segments: Vec<std::ops::Range<usize>>,
    /// What the angle sensor's calibration leaves open of every angle alike.
    pub angle_u: AngleU,
}

impl<'a> Series<'a> {
    pub fn new(recording: &'a Recording) -> Self {
        let mut segments = Vec::with_capacity(recording.segments.len());
        let mut start = 0;
        for segment in &recording.segments {
            segments.push(start..start + segment.len());
            start += segment.len();
        }
        if let [only] = recording.segments.as_slice() {
            let columns = Channel::ALL.map(|c| only.column(c).and_then(seen).map(Cow::Borrowed));
            return Self {
                t_s: Cow::Borrowed(&only.t_s),
                columns,
                segments,
                angle_u: AngleU::of(recording),
            };
        }
        // Segments keep clocks of their own; laid end to end a second apart they stay in order.
        let mut t_s = Vec::with_capacity(start);
        for segment in &recording.segments {
            let offset = t_s.last().map_or(0.0, |last| last + 1.0);
            t_s.extend(segment.t_s.iter().map(|t| t + offset));
        }
        let columns = Channel::ALL.map(|c| {
            recording.has(c).then(|| {
                let mut all = Vec::with_capacity(start);
                for segment in &recording.segments {
                    match segment.column(c) {
                        Some(column) => all.extend_from_slice(column),
                        None => all.resize(all.len() + segment.len(), f64::NAN),
                    }
                }
                Cow::Owned(all)
            })
        });
        Self {
            t_s: Cow::Owned(t_s),
            columns,
            segments,
            angle_u: AngleU::of(recording),
        }
    }

    /// A channel's readings, if there is at least one.
    pub fn column(&self, channel: Channel) -> Option<&[f64]> {
        self.columns[channel as usize].as_deref()
    }

    pub fn len(&self) -> usize {
        self.t_s.len()
    }
}

fn seen(column: &[f64]) -> Option<&[f64]> {
    column.iter().any(|v| !v.is_nan()).then_some(column)
}
