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
    assert!(
        noisy.says.contains("noisy, 0.60 N·cm or less is quiet"),
        "{noisy:?}"
    );
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
fn without_an_angle_the_channels_say_so_and_strangers_are_named() {
    use Channel::{AngleDeg, TorqueNcm};
    assert_eq!(channels(&rig(&[TorqueNcm])).state, State::Fault);
    assert_eq!(channels(&rig(&[AngleDeg, TorqueNcm])).state, State::Good);
    let mut odd = rig(&[AngleDeg, TorqueNcm]);
    odd.channels.push("torqe_ncm".into());
    let odd = channels(&odd);
    assert!(odd.state == State::Mind && odd.says.contains("not known here: torqe_ncm"));
}

#[test]
fn an_angle_sensor_that_reads_nothing_is_never_to_be_taken_out() {
    let todo = |channel| look(channel, vec![None; 100]).todo.unwrap();
    let angle = todo(Channel::AngleDeg);
    assert!(
        !angle.contains("RIG line") && angle.contains("wires"),
        "{angle}"
    );
    assert!(todo(Channel::CaseC).contains("RIG line"));
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
        (9.0, "runs 10.0"),
        (-0.75, "runs 4.0"),
        (-0.999, "times as slow"),
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
fn a_crystal_is_blamed_only_for_what_a_crystal_can_do() {
    let todo = |fast| rig_clock(&arrivals(fast)).todo.unwrap();
    assert!(todo(0.018).contains("crystal or resonator"));
    for (fast, words) in [
        (0.06, "inner oscillator"),
        (-0.06, "inner oscillator"),
        (2.0, "--fast"),
        (-0.999, "counts microseconds"),
    ] {
        let todo = todo(fast);
        assert!(!todo.contains("crystal") && todo.contains(words), "{todo}");
    }
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
    assert!(
        disk(123_456_000_000, 0.01, None)
            .says
            .starts_with("123 GB free")
    );
}

/// Looks at a rig with torque, current and voltage whose surface goes as told.
fn while_it_goes(angle: impl Fn(usize) -> f64) -> Vec<Look> {
    use Channel::{AngleDeg, CurrentMa, SupplyV, TorqueNcm};
    let tremble = noisy(0.0, 0.04, 0.01);
    let values = |channel| -> Vec<Option<f64>> {
        let all = match channel {
            AngleDeg => (0..400).map(|i| angle(i) + tremble[i]).collect(),
            TorqueNcm => noisy(0.5, 0.15, 0.01),
            CurrentMa => noisy(28.0, 6.0, 1.0),
            _ => noisy(7.4, 0.003, 0.001),
        };
        all.into_iter().map(Some).collect()
    };
    let rig = rig(&[AngleDeg, TorqueNcm, CurrentMa, SupplyV]);
    readings(&rig, &values, &Limits::default(), None)
}

#[test]
fn a_surface_that_was_moved_is_to_be_laid_still_and_nothing_of_it_is_called_good() {
    // Swung by a hand, and carried off by a single degree: noise alone does neither.
    let swung = |i: usize| 20.0 * (0.03 * i as f64).sin();
    let nudged = |i: usize| if i < 150 { 0.0 } else { 1.0 };
    for looks in [while_it_goes(swung), while_it_goes(nudged)] {
        assert_eq!(
            (looks[0].at.as_str(), looks[0].state),
            ("at rest", State::Fault)
        );
        let said = format!("{} {}", looks[0].says, looks[0].todo.as_ref().unwrap());
        assert!(
            said.contains("moved while it was to rest")
                && said.contains("lay it still and run it again"),
            "{said}"
        );
        for look in &looks[1..] {
            let of_motion = look.at != "supply_v";
            let expected = if of_motion {
                State::NotLooked
            } else {
                State::Good
            };
            assert_eq!(look.state, expected, "{look:?}");
        }
    }
    let still = while_it_goes(|_| 3.0);
    assert!(still.iter().all(|l| l.state == State::Good), "{still:?}");
    // A sensor that trembles by degrees is noisy, and was not moved.
    let trembling = noisy(0.0, 0.8, 0.01);
    let noisy = while_it_goes(|i| trembling[(7 * i) % 400]);
    assert_eq!(
        (noisy[0].at.as_str(), noisy[0].state),
        ("angle_deg", State::Mind)
    );
}

#[test]
fn an_event_is_a_finding_of_its_own_with_what_to_do_and_told_once() {
    let mut heard = Vec::new();
    for (code, detail) in [
        ("sensor-fault", Some("angle_deg")),
        ("sensor-fault", Some("current_ma")),
        ("sensor-fault", Some("angle_deg")),
        ("armed", None),
        ("bad-line", None),
    ] {
        Said::count(&mut heard, code.into(), detail.map(str::to_owned));
    }
    let looks: Vec<Look> = heard.iter().map(event).collect();
    let states: Vec<State> = looks.iter().map(|l| l.state).collect();
    assert_eq!(
        states,
        [State::Fault, State::Fault, State::Fault, State::Mind],
        "{looks:?}"
    );
    assert!(
        looks[0].says.contains("angle_deg failed, 2 times"),
        "{looks:?}"
    );
    assert!(looks[1].says.contains("current_ma failed (sensor-fault)"));
    assert!(looks[0].todo.as_ref().unwrap().contains("plug and wires"));
    assert!(looks[2].todo.as_ref().unwrap().contains("other program"));
}

mod abilities {
    use super::*;
    use crate::aircraft::{Aircraft, AngleCalibration, read_path};
    use Channel::{AngleDeg, ArmDeg, CurrentMa, ForceN, SupplyV, TorqueNcm};

    fn dunlin() -> Aircraft {
        read_path("samples/aircraft.toml".as_ref()).unwrap()
    }

    fn at_bench() -> Named {
        Named {
            port: Some("--port /dev/ttyACM0".into()),
            logbook: Some("my jets".into()),
            aircraft: None,
        }
    }

    fn of(channels: &[Channel], aircraft: Option<&Aircraft>, surface: Option<&str>) -> Look {
        let surface = surface.and_then(|name| Some(aircraft?.surface(name)?.1));
        torque(&rig(channels), aircraft, surface, &at_bench())
    }

    #[test]
    fn a_rig_from_which_no_torque_can_come_says_what_it_measures_and_what_to_add() {
        let bare = of(&[AngleDeg, ArmDeg, CurrentMa], Some(&dunlin()), None);
        assert_eq!(bare.state, State::Mind);
        assert!(
            bare.says.contains("measures throws, slop, current") && bare.says.contains("unproven"),
            "{bare:?}"
        );
        assert!(bare.todo.unwrap().contains("torque_ncm"));
        assert_eq!(of(&[AngleDeg, TorqueNcm], None, None).state, State::Good);
        // Whether it can is not known without the file.
        let open = of(&[AngleDeg, CurrentMa, SupplyV], None, None);
        assert!(open.state == State::NotLooked && open.says.contains("--aircraft FILE"));
    }

    #[test]
    fn a_servo_without_a_calibration_is_named_with_the_command_that_makes_one() {
        let (aircraft, power) = (dunlin(), [AngleDeg, CurrentMa, SupplyV]);
        let calibrated = of(&power, Some(&aircraft), Some("left elevator"));
        assert_eq!(calibrated.state, State::Good, "{calibrated:?}");
        let bare = of(&power, Some(&aircraft), Some("left aileron"));
        assert!(
            bare.state == State::Mind && bare.says.contains("left aileron"),
            "{bare:?}"
        );
        let todo = bare.todo.unwrap();
        assert!(
            todo.contains("`hingewright calibrate servo A1 --port /dev/ttyACM0 --logbook \"my jets\" --arm-mm 60`"),
            "{todo}"
        );
        let all = of(&power, Some(&aircraft), None);
        assert!(!all.says.contains("elevator") && all.todo.unwrap().contains("likewise A2"));
        // A rig that only measures lifts no weights.
        let mut hand = rig(&power);
        hand.drive = Drive::Passive;
        let surface = aircraft.surface("left aileron").map(|found| found.1);
        let hand = torque(&hand, Some(&aircraft), surface, &at_bench());
        assert!(
            hand.todo
                .unwrap()
                .contains("calibrate servo A1 --from FILE --logbook")
        );
    }

    #[test]
    fn rod_force_needs_the_linkage_and_of_two_servos_neither_tells_all() {
        let mut aircraft = dunlin();
        let force = [AngleDeg, ForceN];
        let left = Some("left elevator");
        assert_eq!(of(&force, Some(&aircraft), left).state, State::Good);
        let index = aircraft.surface("left elevator").unwrap().0;
        aircraft.surfaces[index].linkage = None;
        let bare = of(&force, Some(&aircraft), left);
        assert!(bare.state == State::Mind && bare.todo.unwrap().contains("[surface.linkage]"));
        // Then the servo's power does as well.
        let both = [AngleDeg, ForceN, CurrentMa, SupplyV];
        assert_eq!(of(&both, Some(&aircraft), left).state, State::Good);
        aircraft.surfaces[index].second_servo_index = Some(1);
        let two = of(&both, Some(&aircraft), left);
        assert!(two.state == State::Mind && two.todo.unwrap().contains("torque sensor"));
    }

    #[test]
    fn an_angle_that_was_never_held_against_known_ones_is_believed_and_that_is_said() {
        let mut aircraft = dunlin();
        let index = aircraft.surface("left elevator").unwrap().0;
        let bare = angle_scale(&aircraft.surfaces[index], &at_bench());
        assert!(
            bare.state == State::Mind && bare.says.contains("its scale unproven"),
            "{bare:?}"
        );
        let todo = bare.todo.unwrap();
        assert!(
            todo.starts_with(
                "`hingewright calibrate angle \"left elevator\" --port /dev/ttyACM0 --logbook"
            ),
            "{todo}"
        );
        assert!(aircraft_file(&aircraft).says.contains("calibrated of none"));
        aircraft.surfaces[index].angle = Some(AngleCalibration {
            scale: 1.02,
            zero_deg: 0.3,
            covariance: [[1e-6, 0.0], [0.0, 1e-4]],
            made: None,
        });
        let sound = angle_scale(&aircraft.surfaces[index], &at_bench());
        assert_eq!(sound.state, State::Good, "{sound:?}");
        assert!(aircraft_file(&aircraft).says.contains("calibrated of 1"));
    }
}
