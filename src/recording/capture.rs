//! A capture: the bytes that came down the wire, with the host's `#` lines among them.

use crate::link::{Damage, Decoder, Message, RigLine};
use crate::problem::Problem;

use super::assemble::{Assembly, Layout};
use super::{Channel, Recording, RigIdentity};

/// Reads a capture piece by piece.
pub(super) struct CaptureReader {
    decoder: Decoder,
    state: State,
}

struct State {
    assembly: Assembly,
    samples_since_rig: bool,
    unannounced: u64,
    other_version: bool,
    value_counts: Option<(usize, usize)>,
    lines: u64,
}

impl CaptureReader {
    pub(super) fn new() -> Self {
        Self {
            decoder: Decoder::knowing(|name| Channel::from_name(name).is_some()),
            state: State {
                assembly: Assembly::new(true),
                samples_since_rig: false,
                unannounced: 0,
                other_version: false,
                value_counts: None,
                lines: 0,
            },
        }
    }

    pub(super) fn feed(&mut self, bytes: &[u8]) {
        let state = &mut self.state;
        self.decoder.feed(bytes, |message| state.take(message));
    }

    /// The recording, or why there is not one good sample in it.
    pub(super) fn finish(mut self, name: &str) -> Result<Recording, Problem> {
        let state = &mut self.state;
        if self.decoder.finish(|message| state.take(message)) {
            state
                .assembly
                .note("The file is cut off in its last line, which was left out.");
        }
        if state.unannounced > 0 {
            let count = state.unannounced;
            state.assembly.note(format!(
                "{count} samples came before any RIG line and were left out: nothing says what their channels are."
            ));
        }
        if state.other_version {
            state
                .assembly
                .note("A RIG line speaks of a link version other than 1; it was taken as damaged.");
        }
        if state.assembly.recording.samples == 0 {
            return Err(state.nothing_read(name));
        }
        Ok(self.state.assembly.finish())
    }
}

impl State {
    #[inline]
    fn take(&mut self, message: Message<'_>) {
        self.lines += 1;
        match message {
            Message::Sample(sample) => {
                self.samples_since_rig = true;
                self.assembly
                    .sample(Some(sample.seq), f64::from(sample.t_us), sample.values);
            }
            Message::Rig(rig) => self.rig(&rig),
            Message::UnannouncedSample { .. } => self.unannounced += 1,
            Message::Event(event) => self.assembly.event(event.t_us, event.code, event.detail),
            Message::Host(bytes) => self.assembly.host_line(bytes),
            Message::Ok { .. } | Message::No { .. } => {}
            Message::Damaged(damage) => self.damaged(damage),
        }
    }

    fn rig(&mut self, rig: &RigLine<'_>) {
        if std::mem::take(&mut self.samples_since_rig) {
            self.assembly.recording.restarts += 1;
        }
        let layout = Layout::of(rig.channels());
        for name in &layout.twice {
            self.assembly.note(format!(
                "The RIG line names the channel {name} twice; the first of them was used."
            ));
        }
        self.assembly.start(layout, true, rig.rate_hz);
        self.assembly.recording.rig = Some(RigIdentity::of(rig));
    }

    fn damaged(&mut self, damage: Damage) {
        self.assembly.recording.damaged_lines += 1;
        match damage {
            Damage::Version => self.other_version = true,
            Damage::ValueCount { given, channels } => self.value_counts = Some((given, channels)),
            _ => {}
        }
    }

    fn nothing_read(&self, name: &str) -> Problem {
        let damaged = self.assembly.recording.damaged_lines;
        let lines = self.lines;
        if self.other_version {
            return Problem::new(format!("{name}: the rig speaks another version of the rig link than 1"))
                .hint("use a firmware whose RIG line begins with RIG,1, or a newer edition of this program");
        }
        if self.unannounced > 0 {
            let count = self.unannounced;
            return Problem::new(format!("{name}: {count} samples, but no whole RIG line says what their channels are"))
                .hint("start the capture before the rig starts, or send it ASK, so that its RIG line is in the file");
        }
        if let Some((given, channels)) = self.value_counts {
            return Problem::new(format!(
                "{name}: not one good sample; its samples have {given} values, its RIG line names {channels} channels"
            ))
            .hint("in the firmware, send every sample with one field a channel, in the order of the RIG line");
        }
        // Blank lines and remarks stand in any file: without one line of a rig it is no recording.
        if damaged > 0 && self.assembly.recording.rig.is_none() {
            return Problem::new(format!("{name}: no recording: none of its {lines} lines is a line of the rig link"))
                .hint("give a capture of the rig link, or a CSV file whose first line names its channels and t_us or t_s; \
                       if it is a capture, check the cable, the baud rate and the firmware's checksum (CRC-16/IBM-3740)");
        }
        if self.assembly.recording.rig.is_none() && damaged == 0 {
            return Problem::new(format!("{name}: no samples and no RIG line in it"))
                .hint("check that the rig was connected and sending while the file was made");
        }
        Problem::new(format!("{name}: not one good sample in {lines} lines, {damaged} of them damaged"))
            .hint("check the cable, the baud rate and the firmware's checksum (CRC-16/IBM-3740), and record again")
    }
}
