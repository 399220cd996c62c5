//! The lines that firmware-notes/README.md shows to the builder of a rig.

use hingewright::link::{Damage, Decoder, Message, crc16, encode};

const NOTES: &str = include_str!("../../firmware-notes/README.md");

/// The lines of all blocks marked `link`, as a rig would send them.
fn shown() -> Vec<&'static str> {
    blocks("```link")
}

fn blocks(mark: &str) -> Vec<&'static str> {
    let mut inside = false;
    let mut lines = Vec::new();
    for line in NOTES.lines() {
        match line {
            line if line == mark => inside = true,
            "```" => inside = false,
            _ if inside => lines.push(line),
            _ => {}
        }
    }
    lines
}

/// What one line is to the decoder, after the `RIG` lines before it.
fn kinds(lines: &[&str]) -> Vec<&'static str> {
    let mut decoder = Decoder::new();
    let mut kinds = Vec::new();
    for line in lines {
        let bytes = format!("{line}\r\n");
        decoder.feed(bytes.as_bytes(), |message| {
            kinds.push(match message {
                Message::Rig(_) => "RIG",
                Message::Sample(_) => "S",
                Message::Event(_) => "EV",
                Message::Ok { .. } => "OK",
                Message::No { .. } => "NO",
                _ => "not of a rig, or damaged",
            });
        });
    }
    kinds
}

#[test]
fn every_line_shown_to_a_rig_builder_is_what_it_is_said_to_be() {
    let lines = shown();
    let said: Vec<&str> = lines
        .iter()
        .map(|line| line.split(',').next().unwrap_or(""))
        .collect();
    assert_eq!(kinds(&lines), said, "{lines:#?}");
    for kind in ["RIG", "S", "EV", "OK", "NO"] {
        assert!(said.contains(&kind), "the notes show no {kind} line");
    }
}

#[test]
fn every_line_shown_is_written_as_the_project_itself_would_write_it() {
    for line in [shown(), blocks("```host")].concat() {
        let payload = line.split('*').next().unwrap_or("");
        assert_eq!(encode(payload).as_deref(), Ok(format!("{line}\n").as_str()));
    }
    // The check value that the notes tell a builder to try first.
    assert_eq!(crc16(b"123456789"), 0x29B1);
    assert!(NOTES.contains("`29B1`"));
}

#[test]
fn an_empty_field_shown_in_the_notes_is_no_reading() {
    let lines = shown();
    let mut decoder = Decoder::new();
    let mut missing = 0;
    let mut damaged: Vec<Damage> = Vec::new();
    for line in &lines {
        decoder.feed(format!("{line}\n").as_bytes(), |message| match message {
            Message::Sample(sample) => {
                missing += sample.values.iter().filter(|v| v.is_nan()).count()
            }
            Message::Damaged(damage) => damaged.push(damage),
            _ => {}
        });
    }
    assert_eq!((missing, damaged), (1, vec![]));
}

#[test]
fn every_command_and_every_event_is_shown() {
    let host = blocks("```host");
    for word in ["ASK,", "LIMIT,", "ARM,", "GO,", "ALIVE*", "DISARM,"] {
        assert!(host.iter().any(|line| line.starts_with(word)), "{word}");
    }
    let events: Vec<&str> = shown()
        .into_iter()
        .filter(|line| line.starts_with("EV,"))
        .collect();
    for code in [
        "armed",
        "disarmed",
        "arrived",
        "over-current",
        "over-temperature",
        "under-voltage",
        "stalled",
        "host-lost",
        "sensor-fault",
        "bad-line",
    ] {
        let shows = |line: &&str| line.split([',', '*']).nth(2) == Some(code);
        assert!(events.iter().any(shows), "{code}");
    }
}

/// The drawing once had one capacitor of the four, and no rating of anything.
#[test]
fn the_wiring_shows_every_part_with_the_rating_that_the_text_asks_for() {
    let drawing = include_str!("../../firmware-notes/wiring.svg");
    let text = include_str!("../../firmware-notes/building.md");
    let labels: Vec<&str> = drawing
        .split("<text ")
        .skip(1)
        .filter_map(|label| label.split(['>', '<']).nth(1))
        .collect();
    for (rating, times) in [
        ("5 A", 2),
        ("1 W", 1),
        ("20 mΩ", 1),
        ("470 µF", 1),
        ("16 V", 1),
        ("330 Ω", 1),
        ("10 kΩ", 3),
        ("1 %", 2),
        ("100 nF", 4),
        ("2.5 V", 1),
        ("40 mV", 1),
        ("0.5 V", 2),
    ] {
        let shown = labels.iter().filter(|label| label.contains(rating)).count();
        assert_eq!(shown, times, "{rating} in {labels:?}");
        assert!(text.contains(rating), "the text does not say {rating}");
    }
}

/// "Fuse" is a part in the lead, "fuse bits" are settings of the chip: a page that says only "fuse" leaves the builder to guess.
#[test]
fn a_fuse_is_always_told_from_the_chips_fuse_bits() {
    for page in [
        include_str!("../../firmware-notes/building.md"),
        include_str!("../../firmware-notes/calibrating.md"),
        include_str!("../../firmware-notes/dangers.md"),
        include_str!("../../firmware-notes/firmware.md"),
        include_str!("../../firmware-notes/wiring.svg"),
        NOTES,
    ] {
        let page = page.to_lowercase();
        for (at, _) in page.match_indices("fuse") {
            let known = page[..at].ends_with("blade ")
                || page[at..].starts_with("fuse bit")
                || page[at..].starts_with("fuse-bits")
                || page[..at].ends_with("re");
            let around: String = page[at..].chars().take(40).collect();
            assert!(known, "which fuse? {around}");
        }
    }
}
