//! What holds for every capture and every way to chop, cut or hit it.

use hingewright::link::Decoder;
use hingewright::recording::read;
use proptest::prelude::*;

use crate::common::{capture, samples};

fn messages(bytes: &[u8], chunks: &[usize]) -> (Vec<String>, bool) {
    let mut decoder = Decoder::new();
    let mut out = Vec::new();
    let mut rest = bytes;
    let mut sizes = chunks.iter().copied().cycle();
    while !rest.is_empty() {
        let size = sizes.next().unwrap_or(rest.len()).clamp(1, rest.len());
        let (chunk, later) = rest.split_at(size);
        decoder.feed(chunk, |m| out.push(format!("{m:?}")));
        rest = later;
    }
    let torn = decoder.finish(|m| out.push(format!("{m:?}")));
    (out, torn)
}

/// Bytes that look like the link often enough to get deep into the decoder.
fn near_capture() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        "[ -~]{0,40}".prop_map(String::into_bytes),
        proptest::collection::vec(any::<u8>(), 0..300),
        (0u32..20).prop_map(|n| capture(n).into_bytes()),
        "S,[0-9]{1,6},[0-9]{1,11}(,[0-9.+-]{0,9}){0,5}".prop_filter_map("fits a line", |p| Some(
            hingewright::link::encode(&p).ok()?.into_bytes()
        )),
        Just(b"\n".to_vec()),
        Just(b"\r\n".to_vec()),
        "#[ -~]{0,300}\n".prop_map(String::into_bytes),
    ];
    proptest::collection::vec(piece, 0..12).prop_map(|pieces| pieces.concat())
}

fn near_csv() -> impl Strategy<Value = Vec<u8>> {
    let header = prop_oneof![
        Just("t_us,angle_deg,seq\n".to_owned()),
        Just("t_s,angle_deg,lux\n".to_owned()),
        "[a-z_,;\"]{0,30}\n"
    ];
    let piece = prop_oneof![
        "[0-9]{0,12},[0-9eE.+-]{0,8},[0-9]{0,6}\r?\n".prop_map(String::into_bytes),
        "[ -~]{0,30}\n".prop_map(String::into_bytes),
        proptest::collection::vec(any::<u8>(), 0..60),
    ];
    (header, proptest::collection::vec(piece, 0..20))
        .prop_map(|(h, rows)| [h.into_bytes(), rows.concat()].concat())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_chunking_gives_the_same_messages(bytes in near_capture(), chunks in proptest::collection::vec(1usize..90, 1..20)) {
        let whole = messages(&bytes, &[usize::MAX]);
        prop_assert_eq!(&messages(&bytes, &chunks), &whole);
        prop_assert_eq!(&messages(&bytes, &[1]), &whole);
    }

    #[test]
    fn a_capture_cut_anywhere_gives_the_samples_before_the_cut(count in 1u32..60, share in 0.0f64..1.0) {
        let text = capture(count);
        let whole = samples(&read(text.as_bytes(), "whole").unwrap());
        prop_assert_eq!(whole.len(), count as usize);
        let cut = (text.len() as f64 * share) as usize;
        // The lines that are whole before the cut, LF or not.
        let expected = text[..cut].matches("\nS,").count()
            - usize::from(text[..cut].rsplit_once('\n').is_some_and(|(_, last)| last.starts_with("S,") && !text[cut..].starts_with('\n')));
        match read(&text.as_bytes()[..cut], "cut") {
            Ok(recording) => {
                prop_assert_eq!(samples(&recording), whole[..expected].to_vec());
                prop_assert_eq!((recording.damaged_lines, recording.lost), (0, 0));
            }
            Err(problem) => prop_assert!(expected == 0, "{} whole samples, and yet: {}", expected, problem),
        }
    }

    /// A CRC of 16 bits finds every burst of up to 16 bits, so a hit byte within a line is always found. Where the hit
    /// joins or splits lines the checksum of the wrong length would have to fit by chance, once in 65,536.
    #[test]
    fn a_hit_byte_never_makes_a_sample_that_was_not_sent(count in 2u32..40, place in 0.0f64..1.0, flip in 1u8..=255) {
        let mut bytes = capture(count).into_bytes();
        let sent = samples(&read(&bytes[..], "sent").unwrap());
        let at = ((bytes.len() as f64 * place) as usize).min(bytes.len() - 1);
        bytes[at] ^= flip;
        if let Ok(recording) = read(&bytes[..], "hit") {
            let got = samples(&recording);
            prop_assert!(got.iter().all(|s| sent.contains(s)));
            prop_assert!(got.len() + 2 >= sent.len(), "one byte costs two lines at most");
        }
    }

    #[test]
    fn arbitrary_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..2000)) {
        let _ = messages(&bytes, &[7]);
        let _ = read(&bytes[..], "junk");
        let _ = read(&[b"t_us,angle_deg,seq\n", &bytes[..]].concat()[..], "junk.csv");
    }

    #[test]
    fn what_is_nearly_a_recording_never_panics_and_its_columns_are_finite_and_ordered(bytes in prop_oneof![near_capture(), near_csv()]) {
        if let Ok(recording) = read(&bytes[..], "near") {
            prop_assert!(!recording.segments.is_empty());
            prop_assert_eq!(recording.segments.iter().map(|s| s.len() as u64).sum::<u64>(), recording.samples);
            for segment in &recording.segments {
                prop_assert!(segment.t_s.first() == Some(&0.0) && segment.t_s.is_sorted());
                for channel in hingewright::recording::Channel::ALL {
                    let column = segment.column(channel).unwrap_or(&[]);
                    prop_assert!(column.iter().all(|v| v.is_nan() || v.abs() < 1e12));
                }
            }
            prop_assert!(recording.events.iter().all(|e| e.segment < recording.segments.len() && e.t_s.is_finite()));
        }
    }
}
