//! Bytes to lines to messages: one decoder for files, ports and tests. Nothing here knows what a sample means.
