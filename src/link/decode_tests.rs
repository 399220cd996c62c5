//! What the decoder makes of single lines; chunking, truncation and corruption are in tests/reading.

use super::*;
use crate::link::encode;

/// Every message of `bytes` in its debug form, and whether a torn line ended them.
fn decode(bytes: &[u8]) -> (Vec<String>, bool) {
    let mut decoder = Decoder::new();
    let mut out = Vec::new();
    decoder.feed(bytes, |m| out.push(format!("{m:?}")));
    let torn = decoder.finish(|m| out.push(format!("{m:?}")));
    (out, torn)
}

fn one(payload: &str) -> String {
    let mut lines = encode("RIG,1,bench-a,0.4,driven,200,pulse_us,angle_deg").unwrap();
    lines.push_str(&encode(payload).unwrap());
    let (mut messages, torn) = decode(lines.as_bytes());
    assert!(!torn && messages.len() == 2, "{messages:?}");
    messages.pop().unwrap()
}

fn damaged(damage: Damage) -> String {
    format!("{:?}", Message::Damaged(damage))
}

#[test]
fn every_kind_of_line_is_read() {
    assert_eq!(
        one("S,65535,4294967295,1500,-0.04"),
        "Sample(SampleLine { seq: 65535, t_us: 4294967295, values: [1500.0, -0.04] })"
    );
    assert_eq!(
        one("EV,12,armed"),
        "Event(EventLine { t_us: 12, code: \"armed\", detail: None })"
    );
    assert_eq!(
        one("EV,12,over-current,812"),
        "Event(EventLine { t_us: 12, code: \"over-current\", detail: Some(\"812\") })"
    );
    assert_eq!(one("OK,7"), "Ok { id: 7 }");
    assert_eq!(one("NO,7,passive"), "No { id: 7, reason: \"passive\" }");
    assert!(one("RIG,1,b,0.5,passive,,angle_deg").contains("driven: false, rate_hz: 0.0"));
}

#[test]
fn an_empty_field_is_missing_and_never_a_zero() {
    assert_eq!(
        one("S,1,2,,0.5"),
        "Sample(SampleLine { seq: 1, t_us: 2, values: [NaN, 0.5] })"
    );
    assert_eq!(
        one("S,1,2,,"),
        "Sample(SampleLine { seq: 1, t_us: 2, values: [NaN, NaN] })"
    );
}

#[test]
fn a_right_checksum_does_not_make_a_wrong_line_good() {
    for payload in [
        "S,65536,2,1,2",
        "S,-1,2,1,2",
        "S,1,4294967296,1,2",
        "S,,2,1,2",
        "S,1,,1,2",
        "S,1,2,1e3,2",
        "S,1,2,nan,2",
        "S,1,2,1,2 ",
        "S,1,2,1000000000000,2",
        "S,1",
        "S",
        "EV,1",
        "EV,1,",
        "EV,x,armed",
        "OK",
        "OK,",
        "OK,1,2",
        "NO,1",
        "HELLO,1",
        "s,1,2,1,2",
        "RIG,1,a,b,automatic,200,angle_deg",
        "RIG,1,a,b,driven,fast,angle_deg",
        "RIG,1,a,b,driven,-1,angle_deg",
        "RIG,1,a,b,driven",
    ] {
        assert_eq!(one(payload), damaged(Damage::Form), "{payload}");
    }
    assert_eq!(
        one("RIG,2,a,b,driven,200,angle_deg"),
        damaged(Damage::Version)
    );
}

#[test]
fn a_sample_with_another_number_of_values_is_damaged() {
    for (payload, given) in [
        ("S,1,2", 0),
        ("S,1,2,3", 1),
        ("S,1,2,3,4,5", 3),
        ("S,1,2,3,4,,,", 5),
    ] {
        assert_eq!(
            one(payload),
            damaged(Damage::ValueCount { given, channels: 2 }),
            "{payload}"
        );
    }
}

#[test]
fn a_sample_before_any_rig_line_gives_no_values() {
    let (messages, _) = decode(encode("S,1,2,3").unwrap().as_bytes());
    assert_eq!(messages, ["UnannouncedSample { seq: 1, t_us: 2 }"]);
}

#[test]
fn a_channel_that_is_not_known_may_hold_anything() {
    let mut decoder = Decoder::knowing(|name| name == "angle_deg");
    let mut seen = Vec::new();
    for payload in [
        "RIG,1,a,b,driven,50,mode,angle_deg,lux",
        "S,0,0,fast,1.5,7",
        "S,1,5,fast,x,7",
    ] {
        decoder.feed(encode(payload).unwrap().as_bytes(), |m| match m {
            Message::Sample(s) => seen.push(
                s.values
                    .iter()
                    .map(|v| if v.is_nan() { None } else { Some(*v) })
                    .collect::<Vec<_>>(),
            ),
            Message::Damaged(d) => assert_eq!(d, Damage::Form),
            _ => {}
        });
    }
    assert_eq!(seen, [[None, Some(1.5), Some(7.0)]]);
}

#[test]
fn either_case_of_hex_and_either_line_end_is_accepted() {
    let line = encode("OK,10").unwrap();
    let body = line.trim_end();
    let (text, crc) = body.split_once('*').unwrap();
    for bytes in [
        line.clone(),
        format!("{body}\r\n"),
        format!("{text}*{}\n", crc.to_lowercase()),
        format!("\r\n\n{line}"),
    ] {
        assert_eq!(decode(bytes.as_bytes()).0, ["Ok { id: 10 }"], "{bytes:?}");
    }
    assert_eq!(
        decode(format!("{body}\r\r\n").as_bytes()).0,
        [damaged(Damage::NoChecksum)]
    );
}

#[test]
fn a_line_over_200_bytes_is_damaged_up_to_its_end() {
    let longest = encode(&format!("NO,1,{}", "x".repeat(189))).unwrap();
    assert_eq!(longest.len(), MAX_LINE_BYTES);
    assert!(decode(longest.as_bytes()).0[0].starts_with("No"));
    // CR counts too: the same line is one byte too long with it.
    assert_eq!(
        decode(longest.replace('\n', "\r\n").as_bytes()).0,
        [damaged(Damage::TooLong)]
    );
    let long = format!("NO,1,{}", "x".repeat(190));
    let line = format!(
        "{long}*{:04X}\nOK,1*{:04X}\n",
        crc16(long.as_bytes()),
        crc16(b"OK,1")
    );
    assert_eq!(
        decode(line.as_bytes()).0,
        [damaged(Damage::TooLong), "Ok { id: 1 }".into()]
    );
}

#[test]
fn a_host_line_needs_no_checksum_and_a_hit_rig_line_is_no_host_line() {
    let note = format!("# note={}\n", "long ".repeat(300));
    assert!(decode(note.as_bytes()).0[0].starts_with("Host"));
    assert_eq!(
        decode(format!("#{}\n", "x".repeat(5000)).as_bytes()).0,
        [damaged(Damage::TooLong)]
    );
    let hit = encode("S,1,2,3").unwrap().replacen('S', "#", 1);
    assert_eq!(decode(hit.as_bytes()).0, [damaged(Damage::Checksum)]);
}

#[test]
fn a_last_line_without_its_end_is_used_if_whole_and_torn_if_not() {
    assert_eq!(
        decode(encode("OK,1").unwrap().trim_end().as_bytes()),
        (vec!["Ok { id: 1 }".into()], false)
    );
    assert_eq!(decode(b"OK,1*12"), (vec![], true));
    assert_eq!(decode(b"# note=hal"), (vec![], true));
    assert_eq!(decode(b""), (vec![], false));
}
