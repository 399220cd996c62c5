//! What the rig sent against what was recorded: byte for byte, and sample for sample.
//! Lines of the truth are cut by hand here; the recording is read by the program's own decoder, as `check` reads it.

use std::collections::HashMap;
use std::path::Path;

use hingewright::link::{Decoder, Message};
use hingewright::recording::{Channel, Recording, read_path};

type Key = (u16, u32);

/// A recording held against the truth.
#[derive(Debug, Default, Clone, Copy)]
pub struct Compared {
    pub samples: usize,
    /// Samples that should be in it and are not.
    pub missing: usize,
    /// Samples in it that were never sent so.
    pub false_samples: usize,
    /// The rig's bytes are not a piece of what was delivered, beginning with a `RIG` line.
    pub not_as_sent: bool,
    /// Clock of its last sample, µs of the rig.
    pub last_us: Option<u32>,
}

/// `sent`: what the rig sent; `delivered`: what came out of the cable (the same, where the cable is good);
/// the samples in the first `must` bytes of `delivered`, from the recording's first on, should be there.
pub fn compare(path: &Path, sent: &[u8], delivered: &[u8], must: usize) -> Compared {
    let Ok(recorded) = std::fs::read(path) else {
        return Compared::default();
    };
    let decoded = decode(&recorded);
    let truth = by_key(sent);
    let is_true = |(seq, t_us, values): &Sample| {
        let sent = truth.get(&(*seq, *t_us));
        sent.is_some_and(|candidates| candidates.iter().any(|sent| same(sent, values)))
    };
    let never_sent = decoded.iter().filter(|sample| !is_true(sample)).count();
    let misread = read_path(path).map_or(0, |recording| misread(&recording, &decoded));
    let rig_bytes = without_host_lines(&recorded);
    let place = place_of(&rig_bytes, delivered);
    let have: HashMap<Key, ()> = decoded.iter().map(|s| ((s.0, s.1), ())).collect();
    let due = match place {
        Some(from) if from < must => decode_announced(&delivered[..must], from),
        _ => Vec::new(),
    };
    let missing = due
        .iter()
        .filter(|s| !have.contains_key(&(s.0, s.1)))
        .count();
    Compared {
        samples: decoded.len(),
        missing,
        false_samples: never_sent + misread,
        not_as_sent: place.is_none() && !rig_bytes.is_empty(),
        last_us: decoded.last().map(|s| s.1),
    }
}

type Sample = (u16, u32, Vec<f64>);

fn decode(bytes: &[u8]) -> Vec<Sample> {
    let mut samples = Vec::new();
    let mut decoder = Decoder::knowing(|name| Channel::from_name(name).is_some());
    let mut take = |message: Message<'_>| {
        if let Message::Sample(s) = message {
            samples.push((s.seq, s.t_us, s.values.to_vec()));
        }
    };
    decoder.feed(bytes, &mut take);
    decoder.finish(&mut take);
    samples
}

/// The samples from a place on: what is announced before it counts.
fn decode_announced(bytes: &[u8], from: usize) -> Vec<Sample> {
    let before = decode(&bytes[..from]).len();
    decode(bytes).split_off(before)
}

/// The samples of what was sent, read by hand. After a restart a clock may show the same again.
fn by_key(sent: &[u8]) -> HashMap<Key, Vec<Vec<f64>>> {
    let mut truth: HashMap<Key, Vec<Vec<f64>>> = HashMap::new();
    for line in String::from_utf8_lossy(sent).lines() {
        let Some((fields, _)) = line.strip_prefix("S,").and_then(|l| l.split_once('*')) else {
            continue;
        };
        let mut fields = fields.split(',');
        let (Some(Ok(seq)), Some(Ok(t_us))) = (
            fields.next().map(str::parse::<u16>),
            fields.next().map(str::parse::<u32>),
        ) else {
            continue;
        };
        let values = fields.map(|f| f.parse().unwrap_or(f64::NAN)).collect();
        truth.entry((seq, t_us)).or_default().push(values);
    }
    truth
}

fn same(sent: &[f64], got: &[f64]) -> bool {
    sent.len() == got.len()
        && sent
            .iter()
            .zip(got)
            .all(|(a, b)| a == b || a.is_nan() && b.is_nan())
}

/// Rows of a recording that are not the decoder's, in its order.
fn misread(recording: &Recording, decoded: &[Sample]) -> usize {
    let names = recording
        .rig
        .as_ref()
        .map_or(&[][..], |rig| &rig.channels[..]);
    let mut rows = decoded.iter();
    let mut wrong = 0;
    for segment in &recording.segments {
        let mut first_us = None;
        for (index, t_s) in segment.t_s.iter().enumerate() {
            let row: Vec<f64> = names
                .iter()
                .filter_map(|name| segment.column(Channel::from_name(name)?))
                .map(|column| column[index])
                .collect();
            let is_so = rows.next().is_some_and(|(_, t_us, values)| {
                let first_us = *first_us.get_or_insert(*t_us);
                let since_s = 1e-6 * f64::from(t_us.wrapping_sub(first_us));
                same(values, &row) && (since_s - t_s).abs() < 1e-6
            });
            wrong += usize::from(!is_so);
        }
    }
    wrong + rows.count()
}

/// What came from the rig. Damage does not make a line of the host's: those begin with `# ` and a key.
fn without_host_lines(recorded: &[u8]) -> Vec<u8> {
    let is_host =
        |line: &[u8]| line.starts_with(b"# ") && line.contains(&b'=') && line.ends_with(b"\n");
    recorded
        .split_inclusive(|byte| *byte == b'\n')
        .filter(|line| !is_host(line))
        .collect::<Vec<_>>()
        .concat()
}

/// Where the rig's bytes lie in what was delivered, if they do, beginning with a `RIG` line.
fn place_of(rig_bytes: &[u8], delivered: &[u8]) -> Option<usize> {
    if !rig_bytes.starts_with(b"RIG,") {
        return None;
    }
    // Ahead of the host's last line an end is set to a line that was torn.
    let torn = &rig_bytes[..rig_bytes.len() - usize::from(rig_bytes.ends_with(b"\n"))];
    let starts = (0..delivered.len()).filter(|at| *at == 0 || delivered[at - 1] == b'\n');
    starts
        .filter(|at| delivered[*at..].starts_with(b"RIG,"))
        .find(|at| delivered[*at..].starts_with(torn))
}
