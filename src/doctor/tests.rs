//! Looks at invented readings and clocks.

use rand::SeedableRng;
use rand_distr::{Distribution, Normal};

use super::*;
use crate::aircraft::Limits;
use crate::recording::{Channel, Drive, RigIdentity};

fn rig(channels: &[Channel]) -> RigIdentity {
    RigIdentity {
        name: "bench-a".into(),
        firmware: "0.4".into(),
        drive: Drive::Driven,
        rate_hz: 200.0,
        channels: channels.iter().map(|c| c.name().to_owned()).collect(),
    }
}

fn noisy(mean: f64, sd: f64, step: f64) -> Vec<f64> {
    let mut chance = rand_chacha::ChaCha8Rng::seed_from_u64(3);
    let normal = Normal::new(mean, sd).unwrap();
    let one = |_| (normal.sample(&mut chance) / step).round() * step;
    (0..400).map(one).collect()
}

fn look(channel: Channel, values: Vec<Option<f64>>) -> Look {
    let rig = rig(&[channel]);
    let of = |asked| {
        if asked == channel {
            values.clone()
        } else {
            Vec::new()
        }
    };
    let looks = readings(&rig, &of, &Limits::default(), None);
    assert_eq!(looks.len(), 1, "{looks:?}");
    looks.into_iter().next().unwrap()
}

fn of(channel: Channel, values: Vec<f64>) -> Look {
    look(channel, values.into_iter().map(Some).collect())
}

#[test]
fn a_quiet_sensor_is_good_and_its_noise_is_told_to_two_digits() {
    let quiet = of(Channel::TorqueNcm, noisy(0.5, 0.15, 0.01));
    assert_eq!(quiet.state, State::Good, "{quiet:?}");
    assert!(
        quiet.says.contains("noise 0.15 N·cm") && quiet.says.contains("smallest step 0.01 N·cm"),
        "{quiet:?}"
    );
    let noisy = of(Channel::TorqueNcm, noisy(0.5, 1.5, 0.01));
    assert_eq!(noisy.state, State::Mind, "{noisy:?}");
    assert!(noisy.says.contains("noisy, 0.60 is quiet"), "{noisy:?}");
}

#[test]
fn readings_that_cannot_be_true_are_faults_with_what_to_do() {
    for (channel, value, words) in [
        (Channel::AngleDeg, 187.0, "zero with the surface at neutral"),
        (Channel::CurrentMa, -300.0, "sensor's zero"),
        (Channel::SupplyV, 0.1, "switch the supply on"),
        (Channel::SupplyV, 74.0, "divider's scale"),
        (Channel::CaseC, -127.0, "broken or not connected"),
    ] {
        let seen = of(channel, noisy(value, 0.5, 0.1));
        assert_eq!(seen.state, State::Fault, "{seen:?}");
        assert!(seen.todo.as_ref().unwrap().contains(words), "{seen:?}");
    }
}

#[test]
fn empty_missing_clipped_and_dead_are_told_apart() {
    let empty = look(Channel::TorqueNcm, vec![None; 100]);
    assert_eq!(
        (empty.state, empty.says.as_str()),
        (State::Fault, "gives no reading")
    );
    let mut gaps: Vec<Option<f64>> = noisy(0.5, 0.15, 0.01).into_iter().map(Some).collect();
    gaps.iter_mut().step_by(20).for_each(|v| *v = None);
    let gaps = look(Channel::TorqueNcm, gaps);
    assert!(
        gaps.state == State::Fault && gaps.says.contains("20 of 400 readings missing"),
        "{gaps:?}"
    );
    let clipped = of(
        Channel::TorqueNcm,
        noisy(10.0, 0.15, 0.01)
            .into_iter()
            .map(|v| v.min(9.95))
            .collect(),
    );
    assert!(
        clipped.state == State::Fault && clipped.says.contains("end of its range"),
        "{clipped:?}"
    );
    let dead = of(Channel::CurrentMa, vec![41.0; 200]);
    assert!(
        dead.state == State::Mind && dead.says.contains("the same all the time"),
        "{dead:?}"
    );
    // A coarse angle or a temperature may well stand still.
    assert_eq!(of(Channel::AirC, vec![21.0; 200]).state, State::Good);
    assert_eq!(of(Channel::AngleDeg, vec![0.088; 200]).state, State::Good);
}

#[test]
fn a_pulse_while_nothing_is_armed_is_a_fault_and_none_is_good() {
    assert_eq!(look(Channel::PulseUs, vec![None; 100]).state, State::Good);
    let pulses = of(Channel::PulseUs, vec![1500.0; 100]);
    assert!(pulses.state == State::Fault && pulses.todo.unwrap().contains("unplug the servo"));
}

#[test]
fn a_low_supply_and_exchanged_leads_are_told() {
    let rig = rig(&[Channel::SupplyV, Channel::SourceV]);
    let values = |channel| match channel {
        Channel::SupplyV => vec![Some(5.2), Some(5.21)],
        _ => vec![Some(4.9), Some(4.9)],
    };
    let looks = readings(&rig, &values, &Limits::default(), Some((5.55, "rudder")));
    let faults: Vec<&str> = looks
        .iter()
        .filter(|l| l.state == State::Fault)
        .map(|l| l.says.as_str())
        .collect();
    assert_eq!(faults.len(), 2, "{looks:?}");
    assert!(faults[0].contains("rudder needs 5.55 V") && faults[1].contains("below supply_v"));
}

#[test]
fn without_an_angle_or_a_source_of_torque_the_channels_say_so() {
    use Channel::{AngleDeg, CurrentMa, SupplyV, TorqueNcm};
    for (has, state) in [
        (&[TorqueNcm][..], State::Fault),
        (&[AngleDeg, CurrentMa], State::Mind),
        (&[AngleDeg, CurrentMa, SupplyV], State::Good),
        (&[AngleDeg, TorqueNcm], State::Good),
    ] {
        assert_eq!(channels(&rig(has)).state, state, "{has:?}");
    }
    let mut odd = rig(&[AngleDeg, TorqueNcm]);
    odd.channels.push("torqe_ncm".into());
    let odd = channels(&odd);
    assert!(odd.state == State::Mind && odd.says.contains("not known here: torqe_ncm"));
}

/// Samples at 200 a second over five seconds of a clock that is fast by `fast`; lines are late by 1 to 17 ms.
fn arrivals(fast: f64) -> Vec<Arrival> {
    (0..1000)
        .map(|i| {
            let true_s = f64::from(i) / 200.0;
            Arrival {
                rig_s: true_s * (1.0 + fast),
                here_s: 3.0 + true_s + 0.001 * f64::from(1 + (i * 7) % 17),
            }
        })
        .collect()
}

#[test]
fn a_rigs_clock_that_runs_fast_or_slow_is_told_which_and_by_how_much() {
    for fast in [0.0, 0.004, -0.004] {
        assert_eq!(rig_clock(&arrivals(fast)).state, State::Good, "{fast}");
    }
    for (fast, words) in [
        (0.05, "fast by 5.0"),
        (-0.05, "slow by 5.0"),
        (9.0, "fast by 900"),
    ] {
        let look = rig_clock(&arrivals(fast));
        assert!(
            look.state == State::Fault && look.says.contains(words),
            "{look:?}"
        );
    }
    assert_eq!(rig_clock(&arrivals(0.0)[..20]).state, State::NotLooked);
}

#[test]
fn rate_and_line_are_good_or_say_what_to_do() {
    assert_eq!(rate(200.0, 198.0).state, State::Good);
    assert_eq!(rate(200.0, 150.0).state, State::Mind);
    assert_eq!(rate(20.0, 20.0).state, State::Mind);
    assert_eq!(line(1000, 0, 0).state, State::Good);
    assert_eq!(line(1000, 3, 3).state, State::Mind);
    assert_eq!(line(1000, 100, 100).state, State::Fault);
}

#[test]
fn a_clock_in_the_past_or_before_the_logbooks_latest_is_a_fault() {
    let at = |text: &str| text.parse::<jiff::Timestamp>().unwrap();
    assert_eq!(clock(at("1970-01-01T00:03:00Z"), None).state, State::Fault);
    let now = at("2026-04-18T10:00:00Z");
    assert_eq!(
        clock(now, Some((at("2026-04-17T10:00:00Z"), "a"))).state,
        State::Good
    );
    let ahead = clock(now, Some((at("2026-05-01T10:00:00Z"), "rudder-1")));
    assert!(
        ahead.state == State::Fault && ahead.says.contains("rudder-1"),
        "{ahead:?}"
    );
}

#[test]
fn a_disk_is_judged_by_room_and_by_pace() {
    assert_eq!(disk(10_000_000_000, 0.01, Some(9_000.0)).state, State::Good);
    assert_eq!(disk(10_000_000, 0.01, None).state, State::Fault);
    assert_eq!(disk(100_000_000, 0.01, Some(9_000.0)).state, State::Mind);
    assert_eq!(disk(10_000_000_000, 3.0, None).state, State::Mind);
}

#[test]
fn noise_is_not_judged_while_the_surface_moves() {
    let rig = rig(&[Channel::AngleDeg, Channel::TorqueNcm]);
    let values = |channel| match channel {
        Channel::AngleDeg => (0..200).map(|i| Some(f64::from(i) * 0.1)).collect(),
        _ => noisy(0.5, 1.5, 0.01).into_iter().map(Some).collect(),
    };
    let looks = readings(&rig, &values, &Limits::default(), None);
    assert_eq!(
        looks.iter().map(|l| l.state).collect::<Vec<_>>(),
        [State::Mind, State::Good]
    );
}
