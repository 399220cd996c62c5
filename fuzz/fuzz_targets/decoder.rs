//! The decoder and the capture reader: any bytes, any chunking, the same messages and no panic.
#![no_main]

use hingewright::link::Decoder;
use hingewright::recording::read;
use libfuzzer_sys::fuzz_target;

fn messages(bytes: &[u8], piece: usize) -> (Vec<String>, bool) {
    let mut decoder = Decoder::new();
    let mut out = Vec::new();
    for chunk in bytes.chunks(piece) {
        decoder.feed(chunk, |message| out.push(format!("{message:?}")));
    }
    let torn = decoder.finish(|message| out.push(format!("{message:?}")));
    (out, torn)
}

fuzz_target!(|bytes: &[u8]| {
    let piece = bytes.first().map_or(1, |&first| usize::from(first) + 1);
    assert_eq!(messages(bytes, piece), messages(bytes, usize::MAX));
    let _ = read(bytes, "fuzz.log");
});
