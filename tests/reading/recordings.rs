//! Whole recordings: what is counted, what is left out, what is said.

use std::io::Read;

use hingewright::recording::{Channel, Drive, Recording, read};

use crate::common::{RIG, capture, line, lines, sample};

fn of(text: &str) -> Recording {
    read(text.as_bytes(), "x.log").unwrap_or_else(|p| panic!("{p}"))
}
fn pulses(recording: &Recording) -> Vec<Vec<f64>> {
    recording
        .segments
        .iter()
        .map(|s| s.column(Channel::PulseUs).unwrap().to_vec())
        .collect()
}

#[test]
fn a_capture_is_read_with_its_keys_identity_events_and_clock() {
    let r = of(&capture(100));
    assert_eq!(
        (
            r.samples,
            r.lost,
            r.damaged_lines,
            r.restarts,
            r.segments.len()
        ),
        (100, 0, 0, 0, 1)
    );
    assert_eq!(r.notes, Vec::<String>::new());
    assert_eq!(r.key("surface"), Some("left elevator"));
    assert_eq!(
        r.started().map(|t| t.to_string()).as_deref(),
        Some("2026-04-18T10:22:07Z")
    );
    let rig = r.rig.as_ref().unwrap();
    assert_eq!(
        (
            rig.name.as_str(),
            rig.firmware.as_str(),
            rig.drive,
            rig.rate_hz
        ),
        ("bench-a", "0.4", Drive::Driven, 200.0)
    );
    assert_eq!(
        rig.channels,
        ["pulse_us", "angle_deg", "current_ma", "supply_v"]
    );
    assert_eq!(r.segments[0].t_s[..3], [0.0, 0.005, 0.010]);
    assert!(r.has(Channel::SupplyV) && !r.has(Channel::TorqueNcm));
    assert_eq!(
        (
            r.events[0].code.as_str(),
            r.events[0].segment,
            r.events[0].t_s
        ),
        ("armed", 0, 0.0)
    );
}

#[test]
fn a_lost_line_is_counted_and_never_guessed() {
    let kept: String = capture(50)
        .lines()
        .filter(|l| !l.starts_with("S,20,") && !l.starts_with("S,21,"))
        .map(|l| format!("{l}\n"))
        .collect();
    let r = of(&kept);
    assert_eq!((r.samples, r.lost, r.damaged_lines), (48, 2, 0));
    assert_eq!(r.segments[0].t_s[20], 0.110);
}

#[test]
fn a_damaged_sample_is_both_damaged_and_lost() {
    let r = of(&capture(50)
        .replace("S,20,", "S,2O,")
        .replace("S,30,", "S,30\u{0},"));
    assert_eq!((r.samples, r.lost, r.damaged_lines), (48, 2, 2));
}

#[test]
fn boot_noise_a_half_line_a_byte_order_mark_and_crlf_cost_no_sample() {
    let text = capture(20).replace('\n', "\r\n");
    let mut bytes = b"\xef\xbb\xbf\x00\xff\xfe\x80noise*\n,12,7.4*12AB\r\n".to_vec();
    bytes.extend_from_slice(text.as_bytes());
    let r = read(&bytes[..], "x.log").unwrap();
    assert_eq!((r.samples, r.lost, r.damaged_lines), (20, 0, 2));
    let marked = [b"\xef\xbb\xbf", text.as_bytes()].concat();
    assert_eq!(
        read(&marked[..], "x.log").unwrap().key("surface"),
        Some("left elevator")
    );
}

#[test]
fn a_key_that_is_not_utf_8_is_kept_as_well_as_can_be() {
    let bytes = [b"# note=90\xb0 horn\n", capture(2).as_bytes()].concat();
    assert_eq!(
        read(&bytes[..], "x.log").unwrap().key("note"),
        Some("90\u{fffd} horn")
    );
}

#[test]
fn a_restart_begins_a_segment_with_its_own_channels_and_clock() {
    let mut text = capture(10);
    text.push_str(&lines([
        "RIG,1,bench-a,0.5,passive,100,torque_ncm,pulse_us",
        "EV,4000,disarmed",
        "S,0,5000,1.5,1500",
        "S,2,25000,,1501",
    ]));
    let r = of(&text);
    assert_eq!(
        (r.restarts, r.segments.len(), r.samples, r.lost),
        (1, 2, 12, 1)
    );
    assert_eq!(r.segments[1].t_s, [0.0, 0.020]);
    assert!(r.segments[1].column(Channel::AngleDeg).is_none());
    let torque = r.segments[1].column(Channel::TorqueNcm).unwrap();
    assert!(torque[0] == 1.5 && torque[1].is_nan());
    assert_eq!((r.events[1].segment, r.events[1].t_s), (1, -0.001));
    assert_eq!(r.rig.unwrap().drive, Drive::Passive);
}

#[test]
fn a_rig_line_repeated_before_any_sample_is_no_restart() {
    let r = of(&(lines([RIG, RIG])
        + &lines((0..3).map(sample))
        + &lines([RIG, RIG])
        + &lines((0..3).map(sample))));
    assert_eq!((r.restarts, r.segments.len(), r.lost), (1, 2, 0));
}

#[test]
fn samples_before_any_rig_line_are_left_out_and_spoken_of() {
    let r = of(&(lines((0..5).map(sample)) + &line(RIG) + &lines((5..8).map(sample))));
    assert_eq!(
        (r.samples, r.lost, r.damaged_lines, r.restarts),
        (3, 0, 0, 0)
    );
    assert!(
        r.notes[0].starts_with("5 samples came before any RIG line"),
        "{:?}",
        r.notes
    );
}

#[test]
fn a_repeated_line_is_used_once() {
    let r = of(&(line(RIG) + &lines([0, 1, 2, 2, 1, 2, 3].map(sample))));
    assert_eq!((pulses(&r), r.lost), (vec![vec![0.0, 1.0, 2.0, 3.0]], 0));
    assert!(
        r.notes[0].starts_with("3 samples repeated"),
        "{:?}",
        r.notes
    );
}

#[test]
fn a_clock_that_jumps_back_is_an_unannounced_start() {
    let r = of(&(line(RIG) + &lines((500..510).map(sample)) + &lines((0..5).map(sample))));
    assert_eq!(
        (r.segments.len(), r.restarts, r.lost, r.samples),
        (2, 0, 0, 15)
    );
    assert!(
        r.notes[0].contains("jumped back once without a RIG line"),
        "{:?}",
        r.notes
    );
}

#[test]
fn seq_and_clock_wrap_within_one_segment() {
    // Sample 858,793 passes 2^32 µs, and SEQ wraps every 65,536.
    let r = of(&(line(RIG) + &lines((858_700..858_900).filter(|n| n % 10 != 3).map(sample))));
    assert_eq!((r.segments.len(), r.samples, r.lost), (1, 180, 20));
    let end_s = *r.segments[0].t_s.last().unwrap();
    assert!((end_s - 199.0 * 0.005).abs() < 1e-9, "{end_s}");
    let r = of(&(line(RIG) + &lines((65_500..65_600).filter(|n| *n != 65_536).map(sample))));
    assert_eq!((r.samples, r.lost), (99, 1));
}

#[test]
fn an_event_after_the_last_start_is_not_lost() {
    let r = of(&(capture(4) + &lines([RIG, "EV,77,sensor-fault,angle_deg"])));
    assert_eq!((r.restarts, r.segments.len()), (1, 1));
    assert_eq!(
        (
            r.events[1].segment,
            r.events[1].t_s,
            r.events[1].detail.as_deref()
        ),
        (0, 0.015, Some("angle_deg"))
    );
}

#[test]
fn a_last_line_without_its_end_counts_if_whole_and_is_spoken_of_if_torn() {
    let text = capture(10);
    let r = of(text.trim_end());
    assert_eq!((r.samples, r.notes.len()), (10, 0));
    let r = of(&text[..text.len() - 3]);
    assert_eq!((r.samples, r.damaged_lines), (9, 0));
    assert!(r.notes[0].contains("cut off"), "{:?}", r.notes);
}

/// Megabytes of junk between good lines, made as they are read.
struct Endless {
    left: u64,
    line: Vec<u8>,
}

impl Read for Endless {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let count = buffer
            .len()
            .min(usize::try_from(self.left).unwrap_or(usize::MAX));
        for (byte, junk) in buffer[..count].iter_mut().zip(self.line.iter().cycle()) {
            *byte = *junk;
        }
        self.left -= count as u64;
        Ok(count)
    }
}

#[test]
fn a_damaged_part_of_any_length_is_one_line_if_it_has_no_end() {
    let (head, tail) = (capture(5), lines((5..8).map(sample)));
    let junk = Endless {
        left: 64 << 20,
        line: b"no line end in here ".to_vec(),
    };
    let reader = head
        .as_bytes()
        .chain(junk)
        .chain(&b"\n"[..])
        .chain(tail.as_bytes());
    let r = read(reader, "long.log").unwrap();
    assert_eq!((r.samples, r.damaged_lines, r.lost), (8, 1, 0));
}

/// Gives what it holds in small pieces of changing size.
struct Dribble<'a>(&'a [u8], usize);

impl Read for Dribble<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.1 = self.1 % 7919 + 1;
        let count = self.1.min(self.0.len()).min(buffer.len());
        buffer[..count].copy_from_slice(&self.0[..count]);
        self.0 = &self.0[count..];
        Ok(count)
    }
}

#[test]
fn a_file_longer_than_every_buffer_is_the_same_in_any_pieces() {
    let count = 20_000;
    let rows: String = (0..count)
        .map(|n| format!("{n},{},{}\n", n * 5000, f64::from(n) / 8.0))
        .collect();
    for text in [capture(count), format!("seq,t_us,angle_deg\n{rows}")] {
        assert!(text.len() > 300 * 1024);
        let (whole, dribbled) = (of(&text), read(Dribble(text.as_bytes(), 0), "x").unwrap());
        assert_eq!(
            (whole.samples, whole.lost, whole.damaged_lines),
            (u64::from(count), 0, 0)
        );
        assert_eq!(
            crate::common::samples(&whole),
            crate::common::samples(&dribbled)
        );
        assert_eq!(whole.segments[0].t_s, dribbled.segments[0].t_s);
    }
}
