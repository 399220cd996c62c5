//! Reading, as an outsider sees it: the decoder under any chunking, truncation and corruption, and whole recordings.

#[path = "reading/common.rs"]
mod common;
#[path = "reading/decoding.rs"]
mod decoding;
#[path = "reading/recordings.rs"]
mod recordings;
#[path = "reading/unusable.rs"]
mod unusable;
