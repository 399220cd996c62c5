use super::*;
use crate::aircraft::Aircraft;
use crate::rig::{To, servo_moves};
use crate::simulated::{self, Loaded, OnArm, Programme, PulseMove, Scenario, Spell, simulate};

fn aircraft() -> Aircraft {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/samples/aircraft.toml");
    crate::aircraft::read_path(std::path::Path::new(file)).unwrap()
}

/// A servo of ordinary speed, alone, with an arm's sensor; `moves` as pulses.
fn scenario(moves: Vec<PulseMove>, open_v: f64) -> Scenario {
    let mut scenario = Scenario {
        purpose: Some("servo-test".into()),
        keys: vec![("alone".into(), "yes".into())],
        channels: ["pulse_us", "angle_deg", "current_ma", "supply_v"]
            .map(|name| simulated::Channel::named(name).unwrap())
            .to_vec(),
        ..Scenario::default()
    };
    scenario.plant.servo.winding_w_per_nm2 = 4.0;
    scenario.plant.supply.open_v = open_v;
    scenario.programme = Programme::Spells(vec![Spell {
        loaded: Loaded {
            on_arm: OnArm::Nothing,
            hung_ncm: 0.0,
        },
        moves,
        waits_s: 1.5,
        ..Spell::default()
    }]);
    scenario
}

fn all_moves() -> Vec<PulseMove> {
    let pulse = |to| match to {
        To::Deg(deg) => 1500.0 + deg / 0.09,
        To::OffsetUs(us) => 1500.0 + us,
    };
    let moves = servo_moves(30.0);
    let times = moves.iter().enumerate();
    times
        .map(|(n, m)| PulseMove {
            to_us: pulse(m.to),
            us_per_s: 0.0,
            hold_s: m.hold_s + 0.0005 * (7 * n % 10) as f64,
        })
        .collect()
}

fn recorded(scenario: &Scenario) -> Recording {
    crate::recording::read(&simulate(scenario, 3).capture[..], "servo").unwrap()
}

fn tested_alone(recordings: &[&Recording]) -> Tested {
    let aircraft = aircraft();
    tested(recordings, &aircraft, &aircraft.surfaces[0])
}

#[test]
fn everything_is_found_from_the_channels_alone() {
    let recording = recorded(&scenario(all_moves(), 7.4));
    let tested = tested_alone(&[&recording]);
    assert_eq!(tested.arm_from, ArmFrom::SensorOnArm);
    assert_eq!(tested.lacks, []);
    let found = &tested.found;
    for (name, quantity) in &found.quantities()[..9] {
        let quantity = quantity.unwrap_or_else(|| panic!("{name}"));
        assert!(quantity.interval.is_some(), "{name}");
    }
    // 0.25° of dead band at 0.09°/µs are 2.8 µs.
    let dead_band = found.dead_band_us.unwrap();
    assert!((dead_band.value - 2.78).abs() < 0.4, "{dead_band:?}");
    // 0.21 W at 7.4 V are 28.4 mA.
    let idle = found.idle_ma.unwrap();
    assert!((idle.value - 28.4).abs() < 1.5, "{idle:?}");
}

#[test]
fn speed_at_the_data_sheet_s_voltage_comes_from_two_voltages() {
    let (low, high) = (
        recorded(&scenario(all_moves(), 6.0)),
        recorded(&scenario(all_moves(), 8.4)),
    );
    let between = recorded(&scenario(all_moves(), 7.2));
    let mut aircraft = aircraft();
    let at_v = tested_alone(&[&between]).at_v.unwrap();
    aircraft.servo_types[0].speed = Some(SheetSpeed {
        s_per_60deg: 0.1,
        voltage_v: at_v,
    });
    let both = tested(&[&low, &high], &aircraft, &aircraft.surfaces[0]);
    let at = both.at_sheet.unwrap();
    assert_eq!(at.how, How::Line);
    let direct = tested_alone(&[&between]).found.slew_s_per_60deg.unwrap();
    let ratio = at.slew_s_per_60deg.value / direct.value;
    assert!((ratio - 1.0).abs() < 0.02, "{ratio}");
    // The higher the voltage, the faster.
    assert!(both.speed_per_volt.unwrap().interval.unwrap().lo95 > 0.0);
}

#[test]
fn what_the_data_do_not_carry_is_said_and_not_guessed() {
    let slow = PulseMove {
        to_us: 1600.0,
        us_per_s: 200.0,
        hold_s: 0.5,
    };
    let tested = tested_alone(&[&recorded(&scenario(vec![slow], 7.4))]);
    assert_eq!(tested.found.slew_s_per_60deg, None);
    assert_eq!(tested.found.dead_band_us, None);
    assert_eq!(tested.found.centring_deg, None);
    for lack in [
        Lack::LargeSteps,
        Lack::Staircases,
        Lack::ReturnsFromBothSides,
    ] {
        assert!(tested.lacks.contains(&lack), "{lack:?}: {:?}", tested.lacks);
    }
}

#[test]
fn without_a_pulse_there_is_nothing() {
    let mut scenario = scenario(all_moves(), 7.4);
    scenario.channels.remove(0);
    let tested = tested_alone(&[&recorded(&scenario)]);
    assert_eq!(tested.lacks, [Lack::Nothing]);
    assert_eq!(tested.found, ServoFound::default());
}

#[test]
fn a_test_of_a_servo_and_hung_weights_say_nothing_of_the_surface() {
    let aircraft = aircraft();
    for (purpose, verdict_is_open) in [("servo-test", false), ("calibration", true), ("heat", true)]
    {
        let mut scenario = scenario(all_moves(), 7.4);
        scenario.purpose = Some(purpose.into());
        let assessed = crate::assess::assess(recorded(&scenario), "a.log", &aircraft, 0);
        assert!(assessed.measured.curve.is_none() && assessed.measured.throws.is_empty());
        let unproven = assessed.judged.verdict == crate::verdict::Verdict::Unproven;
        assert_eq!(
            unproven, verdict_is_open,
            "{purpose}: {:?}",
            assessed.judged
        );
        let slew = assessed.servo.and_then(|s| s.slew_s_per_60deg);
        assert_eq!(slew.is_some(), purpose == "servo-test");
    }
}

#[test]
fn a_servo_beyond_a_limit_is_told_with_number_and_limit() {
    let aircraft = aircraft();
    let mut scenario = scenario(all_moves(), 7.4);
    scenario.plant.servo.centring_deg = 1.2;
    let tested = tested_alone(&[&recorded(&scenario)]);
    let of = crate::assess::servo_of("E1", &aircraft, &aircraft.surfaces[0]);
    let findings = crate::verdict::judge_servo(&tested, of);
    let centring = findings
        .iter()
        .find(|f| f.kind == crate::verdict::Kind::Centring)
        .unwrap();
    assert_eq!(centring.level, crate::verdict::Level::Work);
    let text = centring.text(crate::units::TorqueUnit::default());
    assert!(text.contains("limit 0.5°") && text.contains("E1"), "{text}");
}

#[test]
fn steps_too_short_for_full_speed_give_neither_speed_nor_dead_time() {
    let mut moves = all_moves();
    for one in &mut moves {
        one.to_us = 1500.0 + 0.25 * (one.to_us - 1500.0);
    }
    let tested = tested_alone(&[&recorded(&scenario(moves, 7.4))]);
    assert!(
        tested.lacks.contains(&Lack::FullSpeed),
        "{:?}",
        tested.lacks
    );
    assert_eq!(tested.found.slew_s_per_60deg, None);
    assert_eq!(tested.found.dead_time_ms, None);
    assert_eq!(tested.slew_up_s_per_60deg, None);
    // Where it stands at rest needs no speed.
    assert!(tested.found.centring_deg.is_some());
}
