//! All that the report of an aircraft shows, gathered: what each surface is like now, how it was worked in, what was done
//! to it and whether that helped, and how its numbers and its servo's went over time. No arithmetic, no format.

use jiff::Timestamp;

use super::Checked;
use crate::aircraft::{Aircraft, Surface};
use crate::history::compare::Proof;
use crate::history::season::Subject;
use crate::history::settling::{Batch, Standing};

/// One aircraft's logbook, as its report shows it.
pub struct Book<'a> {
    pub aircraft: &'a Aircraft,
    /// The logbook's whole path.
    pub logbook: String,
    pub written: Timestamp,
    /// In the order of the aircraft file.
    pub surfaces: Vec<Chapter<'a>>,
    /// In the order of the aircraft file; tags that it no longer has come last.
    pub servos: Vec<ServoRecord>,
    /// What was left out or looks odd, in sentences.
    pub remarks: Vec<String>,
}

/// One surface.
pub struct Chapter<'a> {
    pub surface: &'a Surface,
    /// Its latest finished sweep; `None` where it has none.
    pub latest: Option<Checked<'a>>,
    pub worked_in: Option<WorkedIn>,
    /// In the order of time.
    pub fixes: Vec<Fix<'a>>,
    /// What was done to it and to the servo that sits in it, in the order of time.
    pub done: Vec<Done>,
    /// Over all its recordings; `None` where it has none.
    pub record: Option<Subject>,
}

/// How the hinge was worked in, in the order of time.
pub struct WorkedIn {
    pub batches: Vec<Batch>,
    pub standing: Standing,
}

/// The last recording before something was done to a surface and the first after it, held against each other.
pub struct Fix<'a> {
    /// What was done, in words: `worked in, 24 cycles`, `rod re-made: new clevis`.
    pub what: String,
    pub before: Checked<'a>,
    pub after: Checked<'a>,
    pub proof: Proof,
}

/// An entry of the logbook's notes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Done {
    pub at: Timestamp,
    /// A surface's name or a servo's tag.
    pub subject: String,
    /// As the notes have it: `hinge-work`.
    pub kind: &'static str,
    pub text: String,
}

/// One servo.
pub struct ServoRecord {
    pub tag: String,
    /// What the aircraft file says that it is, and where it sits now; `None` where it has no such servo.
    pub model: Option<String>,
    pub surfaces: Vec<String>,
    /// Over all its recordings, wherever it sat; `None` where it has none.
    pub record: Option<Subject>,
    pub done: Vec<Done>,
}
