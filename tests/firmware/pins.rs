//! What reaches the servo: never before ARM, never beyond the limits, never a torn pulse, and none after what must stop it.

use super::built::{Ran, beats, built, run_free, say};

/// The longest frame and pulse: what may still run out when everything is stopped, s.
const FRAME_S: f64 = 0.020;
const LONGEST_S: f64 = 0.0025;

/// Armed at 0.5 s and kept so; then `script`.
fn armed_and(script: &[&str], seconds: f64, options: &[&str]) -> Option<Ran> {
    let out = built()?;
    let mut all = vec![say(0.5, "ARM,1")];
    all.extend(beats(0.55, seconds));
    all.extend(script.iter().map(|one| (*one).to_owned()));
    let time = |one: &String| one.split(' ').next().unwrap().parse::<f64>().unwrap();
    all.sort_by(|a, b| time(a).total_cmp(&time(b)));
    let ran = run_free(out, "driven.elf", seconds, options, &all);
    sound(&ran);
    Some(ran)
}

/// What holds in every run: each pulse a whole number of half microseconds within the limits, none nearer to the next than a
/// frame, and nothing written to the timer that a pulse could have felt.
fn sound(ran: &Ran) {
    let pulses = ran.pulses();
    for pulse in &pulses {
        let halves = 2.0 * pulse.us;
        assert!((halves - halves.round()).abs() < 1e-6, "{pulse:?}");
        assert!((1000.0..=2000.0).contains(&pulse.us), "{pulse:?}");
    }
    for pair in pulses.windows(2) {
        let cycles = pair[1].rose - pair[0].rose;
        assert_eq!(cycles % 320_000, 0, "{pair:?}");
    }
    assert_eq!(ran.end("disturbed"), 0.0);
    assert!(ran.end("counter_off") <= 1.0);
}

/// No pulse begins after a time.
fn none_after(ran: &Ran, t_s: f64) {
    let late: Vec<_> = ran.pulses().into_iter().filter(|p| p.t_s > t_s).collect();
    assert!(late.is_empty(), "after {t_s} s: {late:?}");
}

#[test]
fn no_pulse_comes_before_arm_and_arm_brings_the_middle() {
    let Some(out) = built() else { return };
    let script: Vec<String> = [
        "ASK,1",
        "GO,2,1500,0",
        "DISARM,3",
        "LIMIT,4,pulse_hi_us=1900",
        "ALIVE",
        "WIGGLE,5",
        "GO,6,1500,0",
    ]
    .iter()
    .enumerate()
    .map(|(i, payload)| say(0.2 + 0.1 * i as f64, payload))
    .chain([say(1.5, "ARM,7")])
    .collect();
    let ran = run_free(out, "driven.elf", 1.8, &[], &script);
    sound(&ran);
    let first = ran.pulses()[0];
    assert!(
        first.t_s > 1.5 && first.t_s < 1.5 + 0.002 + FRAME_S,
        "{first:?}"
    );
    assert_eq!(first.us, 1450.0);
    assert_eq!(ran.count_said("NO,2,not-armed"), 1);
}

#[test]
fn pulses_end_half_a_second_after_the_hosts_last_whole_line() {
    let Some(out) = built() else { return };
    let mut worst = 0.0_f64;
    for shift in 0..8 {
        let last = 1.0 + 0.0027 * f64::from(shift);
        let script = [
            say(0.5, "ARM,1"),
            say(0.8, "GO,2,1900,100"),
            say(last, "ALIVE"),
        ];
        let ran = run_free(out, "driven.elf", 2.5, &[], &script);
        sound(&ran);
        let heard = ran.last_s("line-heard").unwrap();
        let end = ran.pulses().last().unwrap().ends_s() - heard;
        worst = worst.max(end);
        assert!(
            end > 0.5 - FRAME_S - LONGEST_S && end < 0.5 + FRAME_S,
            "{end}"
        );
        // What was heard is understood within a sample's writing, 2 ms.
        none_after(&ran, heard + 0.5 + 0.003);
        assert_eq!(ran.count_said("host-lost,500"), 1);
    }
    println!(
        "silence of the host to the end of the last pulse: at most {:.1} ms",
        1e3 * worst
    );
}

/// Names of an event, how it is brought about, and within what the last pulse must have begun, s: the time a crossing must last, a
/// sample that had begun, the next one, and its writing.
const TRIPS: [(&str, &str, f64); 9] = [
    ("over-current,", "current 3000", 0.020 + 0.013),
    ("under-voltage,", "sag 3.5", 0.020 + 0.013),
    ("over-temperature,", "rail case 1300", 0.013),
    ("sensor-fault,current_ma", "current 8000", 0.013),
    ("sensor-fault,angle_deg", "rail angle 0", 0.013),
    ("sensor-fault,angle_deg", "rail angle 5000", 0.013),
    ("sensor-fault,current_ma", "rail current 0", 0.013),
    ("sensor-fault,supply_v", "rail supply 5000", 0.013),
    ("sensor-fault,case_c", "rail case 5000", 0.013),
];

#[test]
fn every_trip_stops_the_pulses_at_once() {
    for (event, how, within_s) in TRIPS {
        let (mut latest, mut told) = (0.0_f64, 0.0_f64);
        // At several places within the servo's frame and the sample.
        for at_s in [1.0, 1.0034, 1.0069, 1.0103, 1.0138, 1.0172, 1.0187] {
            let Some(ran) = armed_and(&[&format!("{at_s} {how}")], 1.3, &[]) else {
                return;
            };
            let said = ran
                .said_s(event)
                .unwrap_or_else(|| panic!("{how}: no {event}"));
            let last = ran.pulses().last().unwrap().t_s;
            assert!(last > at_s - 0.02, "{how}: no pulses before it");
            none_after(&ran, at_s + within_s);
            (latest, told) = (latest.max(last - at_s), told.max(said - at_s));
        }
        println!(
            "{how:>16}: last pulse began at most {:.1} ms after it, {event} told after at most {:.1} ms",
            1e3 * latest,
            1e3 * told
        );
    }
}

#[test]
fn a_seized_hinge_stalls_the_rig_and_stops_it() {
    let hold = ["0.9 seize 1.5", "1 say GO,2,1510,2000"];
    let Some(ran) = armed_and(&hold, 3.0, &[]) else {
        return;
    };
    let stalled = ran.said_s("stalled,1510").expect("no stall");
    none_after(&ran, stalled);
    // 300 ms of standing still, from the first current on.
    assert!(stalled > 1.3 && stalled < 1.6, "{stalled}");
}

#[test]
fn a_program_that_hangs_is_stopped_reset_and_comes_back_disarmed() {
    // At several places within the frame and between two signs of life.
    for at_s in [2.0, 2.0033, 2.0071, 2.0119, 2.0177] {
        let hang = format!("{at_s} hang");
        let script = [&hang, "2.5 say GO,9,1500,0", "2.6 say ASK,10"];
        let Some(ran) = armed_and(&script, 3.0, &[]) else {
            return;
        };
        let reset = ran.of("reset").last().unwrap();
        assert_eq!(reset["cause"], "watchdog");
        let reset_s = reset["t_s"].as_f64().unwrap();
        let last = ran.pulses().last().unwrap().t_s;
        println!(
            "hung at {at_s} s: last pulse began {:.1} ms after, reset {:.1} ms after",
            1e3 * (last - at_s),
            1e3 * (reset_s - at_s)
        );
        assert!(reset_s - at_s < 0.08, "{reset_s}");
        none_after(&ran, at_s + 0.04);
        assert_eq!(ran.count_said("NO,9,not-armed"), 1);
        assert_eq!((ran.count_said("OK,10*"), ran.count_said("RIG,1,")), (1, 3));
    }
}

#[test]
fn whenever_it_is_disarmed_no_pulse_is_torn_and_none_begins() {
    let Some(out) = built() else { return };
    // Arming and disarming wander through the whole frame, in steps that are no fraction of it.
    let rounds = 120;
    let mut script = Vec::new();
    for round in 0..rounds {
        let from = 0.3 + 0.0613 * f64::from(round);
        script.push(say(from, &format!("ARM,{round}")));
        let to = 1050 + (round * 370) % 900;
        script.push(say(from + 0.0043, &format!("GO,{},{to},0", 2000 + round)));
        script.push(say(from + 0.0247, &format!("DISARM,{}", 1000 + round)));
    }
    let ran = run_free(out, "driven.elf", 8.0, &[], &script);
    sound(&ran);
    let pulses = ran.pulses();
    assert!(pulses.len() > 100, "{}", pulses.len());
    let wide = pulses.iter().filter(|pulse| pulse.us > 1700.0).count();
    assert!(wide > 20, "{wide}");
    for round in 0..rounds {
        let off = ran.said_s(&format!("OK,{}*", 1000 + round)).unwrap();
        let on = ran.said_s(&format!("OK,{}*", round + 1)).unwrap_or(9.0);
        // Nothing between the answer and the next arming, whose pulses may begin just before its answer is out.
        assert!(
            !pulses.iter().any(|p| p.t_s > off && p.t_s < on - 0.01),
            "{round}"
        );
    }
}

#[test]
fn the_pulse_follows_the_ramp_at_its_rate() {
    let Some(ran) = armed_and(&["1 say GO,2,1800,400", "1.4 say GO,3,1200,800"], 3.0, &[]) else {
        return;
    };
    let pulses = ran.pulses();
    let (first, second): (Vec<_>, Vec<_>) = pulses.iter().partition(|p| p.t_s < 1.41);
    let steps = |of: &[&super::built::Pulse]| -> Vec<f64> {
        let all: Vec<f64> = of.windows(2).map(|two| two[1].us - two[0].us).collect();
        all.into_iter().filter(|step| step.abs() > 0.1).collect()
    };
    assert!(
        steps(&first).iter().all(|step| (step - 8.0).abs() < 0.6),
        "{:?}",
        steps(&first)
    );
    let back = steps(&second);
    assert!(
        back[1..back.len() - 1]
            .iter()
            .all(|step| (step + 16.0).abs() < 0.6),
        "{back:?}"
    );
    assert_eq!(pulses.last().unwrap().us, 1200.0);
    assert_eq!(
        (
            ran.count_said("arrived,1800"),
            ran.count_said("arrived,1200")
        ),
        (0, 1)
    );
}
