//! The figures that firmware-notes states, measured: sample rate, pulse jitter, sizes, stack, the chip's time.

const NOTES: &str = include_str!("../../firmware-notes/firmware.md");

use super::built::{Ran, beats, built, make, run_free, say};

/// A minute of what a sweep does to the line: moves, heartbeats, now and then a question.
fn busy(elf: &str) -> Option<Ran> {
    let out = built()?;
    let mut script = vec![say(0.4, "ARM,1")];
    let mut id = 2;
    for move_ in 0..14 {
        let at = 0.6 + 4.0 * f64::from(move_);
        let to = if move_ % 2 == 0 { 1800 } else { 1200 };
        script.extend([
            say(at, &format!("GO,{id},{to},300")),
            say(at + 1.0, &format!("ASK,{}", id + 1)),
        ]);
        id += 2;
    }
    script.extend(beats(0.5, 59.0));
    let time = |one: &String| one.split(' ').next().unwrap().parse::<f64>().unwrap();
    script.sort_by(|a, b| time(a).total_cmp(&time(b)));
    Some(run_free(out, elf, 60.0, &[], &script))
}

#[test]
fn the_rate_announced_is_the_rate_sent_and_no_sample_is_lost() {
    let Some(ran) = busy("driven.elf") else {
        return;
    };
    let seqs = ran.seqs();
    let lost: usize = seqs
        .windows(2)
        .map(|two| usize::from(two[1].wrapping_sub(two[0])) - 1)
        .sum();
    let samples: Vec<&str> = ran
        .said
        .lines()
        .filter(|line| line.starts_with("S,"))
        .collect();
    let times: Vec<u32> = samples
        .iter()
        .map(|line| line.split(',').nth(2).unwrap().parse().unwrap())
        .collect();
    assert!(times.windows(2).all(|two| two[1] - two[0] == 5000));
    let bytes: usize = samples.iter().map(|line| line.len() + 1).sum();
    let longest = samples.iter().map(|line| line.len() + 1).max().unwrap();
    println!(
        "{} samples in 60 s, {lost} lost; a line has {:.1} bytes, at most {longest}; the line is full to {:.0} %",
        samples.len(),
        bytes as f64 / samples.len() as f64,
        100.0 * ran.said.len() as f64 / 60.0 / 11_520.0,
    );
    assert_eq!(lost, 0);
    assert!(samples.len() > 11_980, "{}", samples.len());
    assert_eq!(ran.count_said("arrived,"), 14);
}

#[test]
fn a_rate_that_the_line_cannot_carry_loses_whole_samples_that_are_counted() {
    let Some(out) = built() else { return };
    let folder = tempfile::TempDir::new().unwrap();
    make(folder.path(), &["all", "MORE=-DSAMPLES_PER_S=400u"]);
    std::fs::copy(folder.path().join("driven.elf"), out.join("at-400.elf")).unwrap();
    let Some(ran) = busy("at-400.elf") else {
        return;
    };
    let seqs = ran.seqs();
    let wanted: usize = seqs
        .windows(2)
        .map(|two| usize::from(two[1].wrapping_sub(two[0])))
        .sum();
    println!(
        "set to 400 samples/s: {:.0} a second come through, {:.0} % are lost",
        seqs.len() as f64 / 60.0,
        100.0 - 100.0 * seqs.len() as f64 / wanted as f64
    );
    assert!(
        seqs.len() < wanted && seqs.len() > 60 * 200,
        "{} of {wanted}",
        seqs.len()
    );
    // Whole lines were left out, none was torn; and what is said once came through.
    let whole = ran
        .said
        .lines()
        .filter(|line| line.starts_with("S,"))
        .all(|line| {
            line.split(',').count() == 8
                && line.rsplit_once('*').is_some_and(|(_, crc)| crc.len() == 4)
        });
    assert!(whole);
    assert_eq!(ran.count_said("arrived,"), 14);
}

#[test]
fn a_pulse_has_no_jitter() {
    let Some(out) = built() else { return };
    let mut script = vec![say(0.4, "ARM,1"), say(0.5, "GO,2,1234.5,0")];
    script.extend(beats(0.6, 20.0));
    let ran = run_free(out, "driven.elf", 20.0, &[], &script);
    let pulses: Vec<_> = ran.pulses().into_iter().filter(|p| p.t_s > 0.6).collect();
    assert!(pulses.len() > 900);
    let widest = pulses.iter().map(|p| p.us).fold(0.0, f64::max);
    let narrowest = pulses.iter().map(|p| p.us).fold(f64::MAX, f64::min);
    let periods: Vec<u64> = pulses
        .windows(2)
        .map(|two| two[1].rose - two[0].rose)
        .collect();
    let spread = periods.iter().max().unwrap() - periods.iter().min().unwrap();
    println!(
        "{} pulses of {narrowest} to {widest} us; frames differ by {spread} cycles",
        pulses.len()
    );
    assert_eq!((narrowest, widest, spread), (1234.5, 1234.5, 0));
}

/// The flash that firmware.md states, bytes.
fn stated_flash(before: &str) -> f64 {
    let row = NOTES
        .lines()
        .find(|line| line.starts_with("| flash, RAM"))
        .unwrap();
    row.split(before)
        .nth(1)
        .unwrap()
        .split(' ')
        .next()
        .unwrap()
        .parse()
        .unwrap()
}

#[test]
fn flash_ram_and_stack_fit_as_the_notes_state_them() {
    let Some(ran) = busy("driven.elf") else {
        return;
    };
    let out = built().unwrap();
    for elf in ["driven.elf", "passive.elf"] {
        let text = make(out, &["size", &format!("ELF={}", out.join(elf).display())]);
        let line = text
            .lines()
            .find(|line| line.contains("bytes of flash"))
            .unwrap();
        println!("{}", line.rsplit('/').next().unwrap());
        let flash: f64 = line
            .split(": ")
            .nth(1)
            .unwrap()
            .split(' ')
            .next()
            .unwrap()
            .parse()
            .unwrap();
        let stated = if elf == "driven.elf" {
            stated_flash("driven ")
        } else {
            stated_flash("passive ")
        };
        // Another compiler makes another size; what the notes state must stay near it.
        assert!(
            (flash / stated - 1.0).abs() < 0.1,
            "{elf}: {flash}, but the notes say {stated}"
        );
    }
    let busy = 100.0 * (1.0 - ran.end("slept") / ran.end("cycles"));
    let untouched = ran.end("ram_untouched");
    println!(
        "RAM that nothing ever wrote to: {untouched} bytes; the chip is awake for {busy:.0} % of the time"
    );
    assert!(untouched >= 128.0, "{untouched}");
    assert!(busy < 85.0, "{busy}");
}
