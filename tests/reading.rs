//! Reading, as an outsider sees it: the decoder under any chunking, truncation and corruption, and whole recordings.
//! And the example lines of firmware-notes.

#[path = "reading/common.rs"]
mod common;
#[path = "reading/decoding.rs"]
mod decoding;
#[path = "reading/firmware_notes.rs"]
mod firmware_notes;
#[path = "reading/recordings.rs"]
mod recordings;
#[path = "reading/unusable.rs"]
mod unusable;
