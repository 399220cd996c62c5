//! Whole recordings held against what was set, by arithmetic that fits on a page: no fit, no decoder of the house.

use super::*;

/// The columns of a capture, read in the plainest way; missing readings are NaN.
struct Columns {
    seq: Vec<u16>,
    time_us: Vec<u32>,
    values: Vec<Vec<f64>>,
    events: Vec<String>,
    bad_lines: usize,
}

fn read(simulated: &Simulated, channels: usize) -> Columns {
    let mut columns = Columns {
        seq: vec![],
        time_us: vec![],
        values: vec![vec![]; channels],
        events: vec![],
        bad_lines: 0,
    };
    for line in simulated.capture.split(|byte| *byte == b'\n') {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        if line.is_empty() || line[0] == b'#' {
            continue;
        }
        let Some((payload, check)) = line.len().checked_sub(5).map(|at| line.split_at(at)) else {
            columns.bad_lines += 1;
            continue;
        };
        if check != format!("*{:04X}", crc_bit_by_bit(payload)).as_bytes() {
            columns.bad_lines += 1;
            continue;
        }
        let text = std::str::from_utf8(payload).expect("a whole line is ASCII");
        let fields: Vec<&str> = text.split(',').collect();
        match fields[0] {
            "S" => {
                columns.seq.push(fields[1].parse().expect("seq"));
                columns.time_us.push(fields[2].parse().expect("time"));
                for (column, field) in columns.values.iter_mut().zip(&fields[3..]) {
                    column.push(if field.is_empty() {
                        f64::NAN
                    } else {
                        field.parse().expect("number")
                    });
                }
            }
            "EV" => columns.events.push(fields[2..].join(",")),
            _ => {}
        }
    }
    columns
}

/// CRC-16/IBM-3740 shifted bit by bit, as its definition reads: 0x1021, from 0xFFFF, no reflection, no final xor.
fn crc_bit_by_bit(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF_u16, |start, byte| {
        (0..8).fold(start ^ (u16::from(*byte) << 8), |crc, _| {
            if crc & 0x8000 == 0 {
                crc << 1
            } else {
                (crc << 1) ^ 0x1021
            }
        })
    })
}

/// Mean torque of all samples that move one way through a window of ±1°.
fn branch(angle: &[f64], torque: &[f64], at_deg: f64, upward: bool) -> f64 {
    let mut found = vec![];
    for index in 5..angle.len() - 5 {
        let moved = angle[index + 5] - angle[index - 5];
        if (angle[index] - at_deg).abs() < 1.0 && moved.abs() > 0.5 && (moved > 0.0) == upward {
            found.push(torque[index]);
        }
    }
    assert!(found.len() > 50, "{} samples at {at_deg}°", found.len());
    found.iter().sum::<f64>() / found.len() as f64
}

/// (stiffness, friction, neutral torque) from the middle and half the distance of the branches at ±15°.
fn by_hand(angle: &[f64], torque: &[f64]) -> (f64, f64, f64) {
    let at = |place: f64| {
        (
            branch(angle, torque, place, true),
            branch(angle, torque, place, false),
        )
    };
    let (high, low) = (at(15.0), at(-15.0));
    let middle = |pair: (f64, f64)| 0.5 * (pair.0 + pair.1);
    let half = |pair: (f64, f64)| 0.5 * (pair.0 - pair.1);
    (
        (middle(high) - middle(low)) / 30.0,
        0.5 * (half(high) + half(low)),
        0.5 * (middle(high) + middle(low)),
    )
}

const ANGLE_AND_TORQUE: [Channel; 2] = [Channel::AngleDeg, Channel::TorqueNcm];

#[test]
fn a_swept_loop_shows_the_stiffness_friction_and_neutral_torque_that_were_set() {
    let simulated = simulate(
        &Scenario::default().with_channels(ANGLE_AND_TORQUE.to_vec()),
        11,
    );
    let columns = read(&simulated, 2);
    let (stiffness, friction, neutral) = by_hand(&columns.values[0], &columns.values[1]);
    let truth = &simulated.truth;
    assert!(
        (stiffness / truth.stiffness_ncm_per_deg - 1.0).abs() < 0.02,
        "{stiffness}"
    );
    assert!(
        (friction / truth.friction_ncm - 1.0).abs() < 0.04,
        "{friction}"
    );
    assert!(
        (neutral - truth.neutral_torque_ncm).abs() < 0.1,
        "{neutral}"
    );
    assert!(
        (truth.reached_up_deg - 25.5).abs() < 0.5 && (truth.reached_down_deg + 25.5).abs() < 0.5,
        "{truth:?}"
    );
}

#[test]
fn a_hand_moved_loop_shows_the_same_hinge_without_a_pulse() {
    let mut scenario = Scenario::default().with_channels(ANGLE_AND_TORQUE.to_vec());
    scenario.programme = Programme::Hand(ByHand::default());
    let simulated = simulate(&scenario, 12);
    let columns = read(&simulated, 2);
    assert!(
        simulated
            .capture
            .windows(9)
            .any(|bytes| bytes == b",passive,")
    );
    assert!(columns.events.is_empty());
    let (stiffness, friction, _) = by_hand(&columns.values[0], &columns.values[1]);
    assert!((stiffness / 0.45 - 1.0).abs() < 0.03, "{stiffness}");
    assert!(
        (friction / simulated.truth.friction_ncm - 1.0).abs() < 0.06,
        "{friction}"
    );
}

#[test]
fn force_times_lever_is_torque() {
    let mut scenario = Scenario::default().with_channels(vec![
        Channel::AngleDeg,
        Channel::ForceN,
        Channel::TorqueNcm,
    ]);
    scenario.plant.linkage = Linkage::Ratio {
        surface_per_arm: 0.8,
        horn_mm: 22.0,
    };
    let columns = read(&simulate(&scenario, 13), 3);
    let (stiffness, friction, _) = by_hand(&columns.values[0], &columns.values[1]);
    // By hand: 0.45 N·cm/deg over 2.2 cm is 0.2045 N/deg; 3.06 over 2.2 is 1.391 N.
    assert!((stiffness / 0.2045 - 1.0).abs() < 0.03, "{stiffness}");
    assert!((friction / 1.391 - 1.0).abs() < 0.05, "{friction}");
}

#[test]
fn supply_power_midway_up_is_what_the_torque_there_costs() {
    let mut scenario = Scenario::default().with_channels(vec![
        Channel::AngleDeg,
        Channel::CurrentMa,
        Channel::SupplyV,
    ]);
    scenario.plant.linkage = Linkage::Ratio {
        surface_per_arm: 0.8,
        horn_mm: 22.0,
    };
    scenario.plant.variation = Variation {
        friction_share: 0.0,
        neutral_ncm: 0.0,
        friction_drift: 0.0,
    };
    scenario.plant.servo.idle_drift = 0.0;
    scenario.sensors.current_noise_ma = 0.0;
    let columns = read(&simulate(&scenario, 14), 3);
    let power: Vec<f64> = columns.values[1]
        .iter()
        .zip(&columns.values[2])
        .map(|(ma, volt)| 1e-3 * ma * volt)
        .collect();
    let measured = branch(&columns.values[0], &power, 15.0, true);
    // By hand: surface 0.5 + 0.45·15 + 3.06 = 10.31 N·cm, arm 8.248 N·cm, shaft 1.18·0.08248 + 0.06 = 0.15733 N·m;
    // arm 37.5°/s = 0.6545 rad/s; 8.4·1.015·0.15733² + 0.6545·0.15733 + 0.21 = 0.5240 W with copper at 24 °C.
    assert!((measured / 0.524 - 1.0).abs() < 0.015, "{measured} W");
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_does_not() {
    let scenario = Scenario {
        programme: Programme::Sweep(Sweep {
            cycles: 1,
            ..Sweep::default()
        }),
        ..Scenario::default()
    };
    assert_eq!(simulate(&scenario, 5), simulate(&scenario, 5));
    assert_ne!(
        simulate(&scenario, 5).capture,
        simulate(&scenario, 6).capture
    );
}

#[test]
fn other_channels_see_the_same_plant() {
    let scenario = Scenario {
        programme: Programme::Sweep(Sweep {
            cycles: 1,
            ..Sweep::default()
        }),
        ..Scenario::default()
    };
    let all = read(&simulate(&scenario, 5), 6);
    let two = read(
        &simulate(&scenario.with_channels(ANGLE_AND_TORQUE.to_vec()), 5),
        2,
    );
    assert_eq!(all.values[1], two.values[0]);
    assert_eq!(all.values[5], two.values[1]);
}

#[test]
fn lost_and_damaged_lines_are_counted_as_they_happen_and_both_counters_wrap() {
    let mut scenario = Scenario {
        first_seq: 65_000,
        clock_start_us: u32::MAX - 2_000_000,
        ..Scenario::default()
    };
    scenario.line = LineFaults {
        lost: 0.03,
        damaged: 0.02,
        boot_noise_bytes: 40,
        carriage_return: true,
        ..LineFaults::default()
    };
    let simulated = simulate(&scenario, 21);
    let wire = simulated.truth.wire;
    let columns = read(&simulated, 6);
    assert_eq!(columns.bad_lines as u64, wire.damaged_lines);
    assert_eq!(wire.damaged_lines, wire.damaged_samples + 1);
    assert_eq!(
        columns.seq.len() as u64 + wire.lost_samples + wire.damaged_samples,
        wire.samples_taken
    );
    let missing: u64 = columns
        .seq
        .windows(2)
        .map(|pair| u64::from(pair[1].wrapping_sub(pair[0])) - 1)
        .sum();
    assert!(missing <= wire.lost_samples + wire.damaged_samples);
    let taken = wire.samples_taken as f64;
    assert!(
        (wire.lost_samples as f64 / taken - 0.03).abs() < 0.008
            && (wire.damaged_samples as f64 / taken - 0.02).abs() < 0.008
    );
    for (seq, time) in columns.seq.windows(2).zip(columns.time_us.windows(2)) {
        assert_eq!(
            time[1].wrapping_sub(time[0]),
            5000 * u32::from(seq[1].wrapping_sub(seq[0]))
        );
    }
}

#[test]
fn a_hard_stop_stalls_the_servo_and_the_rig_disarms() {
    for (over_current_ma, code) in [(20_000.0, "stalled,"), (4000.0, "over-current,")] {
        let mut scenario = Scenario::default();
        scenario.plant.hinge.stop_up = Some(StiffBeyond {
            at_deg: 17.0,
            extra_ncm_per_deg: 150.0,
        });
        scenario.programme = Programme::Sweep(Sweep {
            trip: Trip {
                over_current_ma,
                ..Trip::default()
            },
            ..Sweep::default()
        });
        let simulated = simulate(&scenario, 31);
        let columns = read(&simulated, 6);
        assert!(
            columns
                .events
                .last()
                .is_some_and(|event| event.starts_with(code)),
            "{:?}",
            columns.events
        );
        assert!(
            columns.values[0].last().is_some_and(|pulse| pulse.is_nan()),
            "no pulse once disarmed"
        );
        assert!(
            simulated.truth.reached_up_deg < 19.5,
            "{}",
            simulated.truth.reached_up_deg
        );
    }
}

#[test]
fn a_command_that_ends_early_reaches_its_end_and_no_more() {
    let sweep = Sweep {
        ends_deg: Some((25.5, -18.0)),
        cycles: 2,
        ..Sweep::default()
    };
    let simulated = simulate(
        &Scenario {
            programme: Programme::Sweep(sweep),
            ..Scenario::default()
        },
        32,
    );
    assert!(
        (simulated.truth.reached_down_deg + 18.0).abs() < 0.5,
        "{}",
        simulated.truth.reached_down_deg
    );
    assert_eq!(
        read(&simulated, 6).events.last().map(String::as_str),
        Some("disarmed")
    );
}

#[test]
fn a_broken_sensor_is_silent_or_frozen_for_its_while_alone() {
    let sweep = Sweep {
        cycles: 1,
        ..Sweep::default()
    };
    let mut scenario = Scenario {
        programme: Programme::Sweep(sweep),
        ..Scenario::default()
    };
    let broken = |channel, how| Broken {
        channel,
        from_s: 2.0,
        until_s: 3.0,
        how,
    };
    scenario.sensors.broken = vec![
        broken(Channel::TorqueNcm, HowBroken::Silent),
        broken(Channel::AngleDeg, HowBroken::Frozen),
    ];
    let columns = read(&simulate(&scenario, 33), 6);
    let silent: Vec<usize> = (0..columns.seq.len())
        .filter(|at| columns.values[5][*at].is_nan())
        .collect();
    assert_eq!((silent.first(), silent.last()), (Some(&400), Some(&599)));
    assert!(
        columns.values[1][400..600]
            .iter()
            .all(|angle| *angle == columns.values[1][399])
    );
}

#[test]
fn static_friction_and_a_soft_rod_make_the_surface_jerk() {
    let speeds = |stick_slip, stiffness_ncm_per_deg| {
        let mut settings = PlantSettings::default();
        settings.hinge.stick_slip = stick_slip;
        settings.joints.stiffness_ncm_per_deg = stiffness_ncm_per_deg;
        let mut plant = Plant::new(settings, 10.0, 1);
        let mut seen = vec![];
        for turn in 0..2000 {
            plant.step(1e-3, Some(1500.0 + 0.2 * f64::from(turn)));
            if turn > 600 {
                seen.push(plant.observe().speed_deg_per_s);
            }
        }
        let mean = seen.iter().sum::<f64>() / seen.len() as f64;
        let scatter =
            seen.iter().map(|speed| (speed - mean).powi(2)).sum::<f64>() / seen.len() as f64;
        scatter.sqrt() / mean
    };
    let smooth = speeds(None, 300.0);
    let jerky = speeds(
        Some(StickSlip {
            static_excess: 1.0,
            falls_at_deg_per_s: 20.0,
        }),
        6.0,
    );
    assert!(
        smooth < 0.3 && jerky > 1.0,
        "smooth {smooth}, jerky {jerky}"
    );
}

#[test]
fn a_calibration_on_file_scatters_about_the_truth_as_it_says() {
    let truth = simulate(
        &Scenario {
            programme: Programme::Sweep(Sweep {
                cycles: 0,
                ..Sweep::default()
            }),
            ..Scenario::default()
        },
        1,
    )
    .truth;
    let count = 4000;
    let mut square = 0.0;
    for seed in 0..count {
        let drawn = truth.calibration.drawn(CalibrationScatter::default(), seed);
        square += (drawn.numbers.winding_w_per_nm2 - 8.4).powi(2) / drawn.covariance[1][1];
    }
    assert!(
        (square / count as f64 - 1.0).abs() < 0.1,
        "{}",
        square / count as f64
    );
}

#[test]
fn settings_without_sense_end_without_a_panic() {
    let mut scenario = Scenario {
        rate_hz: f64::NAN,
        ..Scenario::default()
    };
    scenario.plant.linkage = Linkage::FourBar {
        arm_mm: 50.0,
        horn_mm: 0.0,
        rod_mm: 5.0,
        base_mm: 10.0,
        arm_zero_deg: 0.0,
    };
    scenario.programme = Programme::Sweep(Sweep {
        cycles: 1,
        rate_deg_per_s: 0.0,
        ..Sweep::default()
    });
    scenario.plant.servo.arm_deg_per_us = 0.0;
    assert!(!simulate(&scenario, 1).capture.is_empty());
}
