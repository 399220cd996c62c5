//! What the firmware says: each command answered once and in time, whatever else arrives.

use std::io::Write;

use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use super::built::{built, make, run_free, say};

#[test]
fn the_core_keeps_its_own_tests_under_the_sanitizers() {
    let Some(out) = built() else { return };
    let text = make(out, &["test"]);
    let lines: Vec<&str> = text
        .lines()
        .filter(|line| line.contains("0 failed"))
        .collect();
    println!("{}", lines.join("\n"));
    assert_eq!(lines.len(), 2, "driven and passive:\n{text}");
}

#[test]
fn each_command_is_answered_once_and_within_200_ms() {
    let Some(out) = built() else { return };
    let payloads = [
        "ASK",
        "ARM",
        "LIMIT",
        "GO,1500,0",
        "GO,9000,0",
        "GO,1,x",
        "LIMIT,case_c=1e9",
        "LIMIT,warp=1",
        "DISARM",
        "LIMIT,stall_ms=400",
    ];
    let script: Vec<String> = (0..300)
        .map(|id| {
            let (word, rest) = payloads[id % 10]
                .split_once(',')
                .map_or((payloads[id % 10], String::new()), |(w, r)| {
                    (w, format!(",{r}"))
                });
            say(0.3 + 0.011 * id as f64, &format!("{word},{id}{rest}"))
        })
        .collect();
    let ran = run_free(out, "driven.elf", 4.5, &[], &script);
    let heard: Vec<f64> = ran
        .of("line-heard")
        .map(|note| note["t_s"].as_f64().unwrap())
        .collect();
    let mut slowest = 0.0_f64;
    assert_eq!(heard.len(), 300);
    for (id, heard_s) in heard.iter().enumerate() {
        let (ok, no) = (format!("OK,{id}*"), format!("NO,{id},"));
        assert_eq!(ran.count_said(&ok) + ran.count_said(&no), 1, "{id}");
        let answered = ran.said_s(&ok).or(ran.said_s(&no)).unwrap();
        slowest = slowest.max(answered - heard_s);
    }
    println!(
        "300 commands, one every 11 ms, beside 200 samples/s: slowest answer {:.1} ms",
        1e3 * slowest
    );
    assert!(slowest < 0.2, "{slowest}");
}

/// A line after the other without a pause, fifty times what a host sends, costs neither a line nor a sample.
#[test]
fn heartbeats_as_fast_as_the_wire_carries_them_are_all_heard() {
    let Some(out) = built() else { return };
    let mut file = tempfile::NamedTempFile::new().unwrap();
    // The first is cut by the start of the chip.
    write!(file, "\n{}", "ALIVE*B4DF\n".repeat(5000)).unwrap();
    file.flush().unwrap();
    let path = file.path().to_str().unwrap();
    let ran = run_free(out, "driven.elf", 6.0, &["--feed", path], &[]);
    assert_eq!(ran.of("fed").count(), 1);
    assert!(ran.count_said("bad-line") <= 1);
    let seqs = ran.seqs();
    assert_eq!(seqs.len(), 1 + usize::from(seqs[seqs.len() - 1] - seqs[0]));
    println!(
        "5000 heartbeats without a pause: all heard, no sample lost; the chip is awake for {:.0} %",
        100.0 * (1.0 - ran.end("slept") / ran.end("cycles"))
    );
}

/// The lines of the notes as they stand there, checksums and all, at the pace of a host.
#[test]
fn the_hosts_lines_in_the_notes_are_obeyed_as_they_stand() {
    let Some(out) = built() else { return };
    let notes = include_str!("../../firmware-notes/README.md");
    let block = notes
        .split("```host\n")
        .nth(1)
        .unwrap()
        .split("```")
        .next()
        .unwrap();
    // The checksum is the notes', so the lines are fed as bytes; blank lines between them are time.
    let pause = "\n".repeat(400);
    let mut file = tempfile::NamedTempFile::new().unwrap();
    write!(
        file,
        "{pause}{}",
        block.replace('\n', &format!("\n{pause}"))
    )
    .unwrap();
    file.flush().unwrap();
    let path = file.path().to_str().unwrap();
    let ran = run_free(out, "driven.elf", 1.0, &["--feed", path], &[]);
    for id in 1..=5 {
        assert_eq!(ran.count_said(&format!("OK,{id}*")), 1, "{id}");
    }
    assert_eq!((ran.count_said("bad-line"), ran.count_said("NO,")), (0, 0));
}

/// CRC-16/IBM-3740 bit by bit, as its definition reads.
fn line(payload: &str) -> Vec<u8> {
    let crc = payload.bytes().fold(0xFFFF_u16, |start, byte| {
        (0..8).fold(start ^ (u16::from(byte) << 8), |crc, _| {
            if crc & 0x8000 == 0 {
                crc << 1
            } else {
                (crc << 1) ^ 0x1021
            }
        })
    });
    format!("{payload}*{crc:04X}\n").into_bytes()
}

/// Lines of all kinds, at the pace of the wire, without a pause: far more than any host sends.
#[test]
fn tens_of_thousands_of_random_lines_move_nothing_beyond_the_limits() {
    let Some(out) = built() else { return };
    let mut chance = StdRng::seed_from_u64(7);
    let mut file = tempfile::NamedTempFile::new().unwrap();
    for id in 0..20_000_u32 {
        let number = chance.random_range(0..4000);
        let bytes = match chance.random_range(0..12) {
            0 => line(&format!("ARM,{id}")),
            1 => line(&format!(
                "GO,{id},{number},{}",
                chance.random_range(0..3000)
            )),
            2 => line(&format!("GO,{id},{}.5,0", 900 + number % 1200)),
            3 => line(&format!(
                "LIMIT,{id},pulse_hi_us={},current_ma={number}",
                1600 + number % 400
            )),
            4 => line("ALIVE"),
            5 => line(&format!("DISARM,{id}")),
            6 => vec![b'A'; chance.random_range(1..300)]
                .into_iter()
                .chain([b'\n'])
                .collect(),
            _ => (0..chance.random_range(1..40))
                .map(|_| chance.random_range(0..=255_u8))
                .chain([b'\n'])
                .collect(),
        };
        file.write_all(&bytes).unwrap();
    }
    file.flush().unwrap();
    let path = file.path().to_str().unwrap();
    let ran = run_free(
        out,
        "driven.elf",
        75.0,
        &["--feed", path],
        &[say(74.0, "ASK,65535")],
    );
    assert_eq!(ran.of("fed").count(), 1, "not all lines were fed");
    let pulses = ran.pulses();
    println!(
        "20000 lines fed by {:.1} s: {} pulses, {} bad-line events",
        ran.last_s("fed").unwrap(),
        pulses.len(),
        ran.count_said("bad-line")
    );
    // It must have moved, or this proves nothing.
    assert!(pulses.len() > 300, "{}", pulses.len());
    let beyond: Vec<_> = pulses
        .iter()
        .filter(|p| !(1000.0..=2000.0).contains(&p.us) || (2.0 * p.us).fract() != 0.0)
        .collect();
    assert!(beyond.is_empty(), "{beyond:?}");
    assert_eq!(ran.end("disturbed"), 0.0);
    // It never reset, and is as ready as before.
    assert_eq!(ran.of("reset").count(), 1);
    assert_eq!(ran.count_said("OK,65535*"), 1);
    let mut answered: Vec<&str> = ran
        .of("line-said")
        .filter_map(|note| note["line"].as_str())
        .filter(|said| said.starts_with("OK,") || said.starts_with("NO,"))
        .collect();
    let all = answered.len();
    answered.sort_unstable();
    answered.dedup();
    assert_eq!(answered.len(), all, "an answer came twice");
    // Noise alone moves nothing: the last pulse is one that a heartbeat or command kept alive.
    assert!(ran.said.lines().all(|said| said.len() < 200));
}
