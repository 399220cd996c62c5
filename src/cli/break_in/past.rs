//! What a guard knows of the batch before: the last recording of a surface's working in, read once more.

use crate::logbook::{Logbook, Past};
use crate::recording::Channel;
use crate::rig::Guard;

/// Lets a guard know the last batch, as it would have seen it.
pub fn remind(past: &Past, logbook: &Logbook, guard: &mut Guard) {
    let Some(Ok((_, recording))) = past.last.as_ref().map(|path| logbook.read(path)) else {
        return;
    };
    let Some(channel) = Guard::CHANNELS.into_iter().find(|c| recording.has(*c)) else {
        return;
    };
    let readings = recording.segments.iter().flat_map(|segment| {
        let angle = segment.column(Channel::AngleDeg);
        let effort = segment.column(channel);
        let both = angle.zip(effort).into_iter();
        both.flat_map(|(a, e)| a.iter().copied().zip(e.iter().copied()))
    });
    guard.remember(readings);
}
