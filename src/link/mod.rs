//! Bytes to lines to messages: one decoder for files, ports and tests. Nothing here knows what a sample means.
//!
//! The wire's form is the rig link, version 1. 'More bytes needed' and 'damaged' are ordinary outcomes, not errors:
//! [`Decoder::feed`] takes bytes in any chunking, hands every finished line to the caller and keeps the unfinished one.
//! Ports are in [`port`]; elsewhere in this room there is no port, no file and no clock, and nothing in it judges a value.

mod decode;
mod encode;
pub(crate) mod lines;
pub(crate) mod number;
pub mod port;

pub use decode::Decoder;
pub use encode::{Unsendable, crc16, encode, encode_into};
pub use port::{PutNow, Wire};

/// The longest line of the link, LF included, bytes.
pub const MAX_LINE_BYTES: usize = 200;

/// The longest `#` line that is kept, LF included, bytes. The link sets no bound on the host's own lines;
/// without one a file of one endless line would fill the memory.
pub const MAX_HOST_LINE_BYTES: usize = 4096;

/// A reading of this size or more comes from no sensor: a line that holds one is damaged. Keeps sums of squares finite.
pub const MAX_MAGNITUDE: f64 = 1e12;

/// One finished line. Borrowed from the bytes that were fed or from the decoder: copy out what must outlive the call.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Message<'a> {
    /// The rig says who it is; from here on its samples have these channels.
    Rig(RigLine<'a>),
    Sample(SampleLine<'a>),
    /// A whole sample before any `RIG` line: nobody knows what its values are, so they are not given.
    UnannouncedSample {
        seq: u16,
        t_us: u32,
    },
    Event(EventLine<'a>),
    /// The rig accepted host command `id`.
    Ok {
        id: u16,
    },
    /// The rig refused host command `id`.
    No {
        id: u16,
        reason: &'a str,
    },
    /// A `#` line that the host added: what follows the `#`, line end left out. Any bytes.
    Host(&'a [u8]),
    /// A line of which nothing is to be used.
    Damaged(Damage),
}

/// A `RIG` line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RigLine<'a> {
    pub name: &'a str,
    pub firmware: &'a str,
    /// `false`: passive, the surface is moved by hand.
    pub driven: bool,
    /// Samples per second as the rig states it; 0 where it states none.
    pub rate_hz: f64,
    channels: &'a str,
}

impl<'a> RigLine<'a> {
    /// Channel names in the order of every sample's values.
    pub fn channels(&self) -> impl Iterator<Item = &'a str> + use<'a> {
        // A rig without channels has no field there; one empty field would be a channel without a name.
        self.channels
            .split(',')
            .filter(|name| !name.is_empty() || self.channels.contains(','))
    }
}

/// An `S` line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleLine<'a> {
    /// 0…65535, wraps.
    pub seq: u16,
    /// The rig's clock, µs, 32 bits, wraps.
    pub t_us: u32,
    /// As many as the last `RIG` line has channels; NaN where the sensor gave no reading, else finite and
    /// smaller than [`MAX_MAGNITUDE`].
    pub values: &'a [f64],
}

/// An `EV` line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EventLine<'a> {
    /// The rig's clock, µs, 32 bits, wraps.
    pub t_us: u32,
    pub code: &'a str,
    pub detail: Option<&'a str>,
}

/// Why nothing in a line is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Damage {
    /// Over [`MAX_LINE_BYTES`] (or [`MAX_HOST_LINE_BYTES`]) up to its LF.
    TooLong,
    /// It does not end in `*` and four hex digits.
    NoChecksum,
    /// The checksum is not that of the payload.
    Checksum,
    /// The checksum is right, but it is no line that a rig sends.
    Form,
    /// A sample with more or fewer values than the rig has channels.
    ValueCount { given: usize, channels: usize },
    /// A `RIG` line of another link version.
    Version,
}
