//! The plant held against hand calculations and its own energy.

use super::*;

fn steady() -> PlantSettings {
    PlantSettings {
        variation: Variation {
            friction_share: 0.0,
            neutral_ncm: 0.0,
            friction_drift: 0.0,
        },
        ..PlantSettings::default()
    }
}

/// Sweeps between two pulses and gives (torque work, electrical energy above idle) over the last whole loop.
fn work_of_a_loop(settings: PlantSettings) -> (f64, f64) {
    let idle_w = settings.servo.idle_w;
    let mut plant = Plant::new(settings, 10.0, 1);
    let (dt, half_s) = (5e-4, 2.0);
    let (mut hinge_j, mut supplied_j) = (0.0, 0.0);
    for turn in 0..16_000 {
        let phase = (f64::from(turn) * dt) % (2.0 * half_s);
        let swing = if phase < half_s {
            phase / half_s
        } else {
            2.0 - phase / half_s
        };
        let before = plant.observe();
        plant.step(dt, Some(1250.0 + 500.0 * swing));
        let after = plant.observe();
        if turn >= 8000 {
            let torque_nm = 0.005 * (before.torque_ncm + after.torque_ncm);
            hinge_j += torque_nm * (after.angle_deg - before.angle_deg).to_radians();
            supplied_j += (after.current_ma * 1e-3 * after.supply_v - idle_w) * dt;
        }
    }
    (hinge_j, supplied_j)
}

#[test]
fn a_swept_loop_costs_twice_friction_times_travel_and_never_more_than_the_supply_gave() {
    let mut settings = steady();
    settings.servo.idle_drift = 0.0;
    settings.hinge.viscous_ncm_s_per_deg = 0.0;
    let (hinge_j, supplied_j) = work_of_a_loop(settings.clone());
    let mut plant = Plant::new(settings, 10.0, 1);
    let mut reach = |pulse: f64| {
        for _ in 0..2000 {
            plant.step(5e-4, Some(pulse));
        }
        plant.observe().angle_deg
    };
    let (top, bottom) = (reach(1750.0), reach(1250.0));
    // Friction times travel there and back, less 2·δ of travel at each reversal while friction builds up.
    let expected_j = 0.03 * (2.0 * (top - bottom) - 4.0 * 0.25).to_radians();
    assert!(
        (hinge_j / expected_j - 1.0).abs() < 0.03,
        "{hinge_j} J against {expected_j} J"
    );
    assert!(
        supplied_j > hinge_j,
        "{supplied_j} J supplied for {hinge_j} J"
    );
}

#[test]
fn a_hinge_being_worked_in_follows_its_law_with_the_travel_it_is_given() {
    let mut settings = steady();
    settings.break_in = Some(BreakIn {
        cycle_deg: 60.0,
        settles_in_cycles: 2.0,
        stiffness_settled: 0.5,
        friction_settled: 0.4,
        ..BreakIn::default()
    });
    let mut plant = Plant::new(settings, 10.0, 1);
    for turn in 0..6000 {
        let before = plant.observe().angle_deg;
        let towards = if (turn / 1000) % 2 == 0 { 20.0 } else { -20.0 };
        plant.step_by_hand(1e-3, towards);
        assert!((plant.observe().angle_deg - before).abs() < 0.021);
    }
    // By hand: 120° worked of an e-fold of 120°: 1 − 0.5·0.63212 and 1 − 0.6·0.63212.
    assert!((plant.hinge().stiffness_ncm_per_deg / 0.45 - 0.68394).abs() < 1e-6);
    assert!((plant.hinge().friction_ncm / 3.0 - 0.62073).abs() < 1e-5);
    plant.rest_hours(1e6);
    // A quarter of the softening fades: 1 − 0.5·0.63212·0.75.
    assert!((plant.hinge().stiffness_ncm_per_deg / 0.45 - 0.76295).abs() < 1e-5);
}

#[test]
fn a_jammed_surface_stands_while_the_servo_pushes_and_a_short_draws_while_there_is_a_pulse() {
    let mut plant = Plant::new(steady(), 10.0, 1);
    plant.step(0.5, Some(1600.0));
    let stuck_deg = plant.observe().angle_deg;
    plant.jam(2000.0);
    plant.step(0.5, Some(1900.0));
    let pushed = plant.observe();
    assert!((pushed.angle_deg - stuck_deg).abs() < 0.3, "{pushed:?}");
    assert!(
        (pushed.current_ma - 2028.0).abs() < 60.0,
        "{}",
        pushed.current_ma
    );
    plant.short(3000.0);
    plant.step(0.1, None);
    assert!(plant.observe().current_ma < 40.0);
    plant.step(0.1, Some(1500.0));
    assert!(plant.observe().current_ma > 3000.0);
}

#[test]
fn arm_and_surface_do_the_same_work() {
    let mut plant = Plant::new(steady(), 10.0, 1);
    let (mut arm_j, mut surface_j) = (0.0, 0.0);
    plant.step(0.2, Some(1500.0));
    for turn in 0..4000 {
        let before = plant.observe();
        plant.step(5e-4, Some(1500.0 + f64::from(turn) * 0.1));
        let after = plant.observe();
        arm_j += 0.005
            * (before.arm_torque_ncm + after.arm_torque_ncm)
            * (after.arm_deg - before.arm_deg).to_radians();
        surface_j += 0.005
            * (before.torque_ncm + after.torque_ncm)
            * (after.angle_deg - before.angle_deg).to_radians();
    }
    assert!(
        (arm_j / surface_j - 1.0).abs() < 0.03,
        "{arm_j} J in, {surface_j} J out"
    );
}

#[test]
fn slop_lets_the_arm_turn_alone_after_a_reversal() {
    let mut settings = steady();
    settings.joints.slop_deg = 1.0;
    let mut plant = Plant::new(settings, 10.0, 1);
    let mut ramp = |from: f64, to: f64| {
        for turn in 0..2000 {
            plant.step(1e-3, Some(from + (to - from) * f64::from(turn) / 1999.0));
        }
        let seen = plant.observe();
        plant.settings().linkage.pose(seen.arm_deg).surface_deg - seen.angle_deg
    };
    let rising = ramp(1500.0, 1600.0);
    let _ = ramp(1600.0, 1400.0);
    let falling = ramp(1400.0, 1400.0);
    // Between pressed from below and from above the whole play is crossed; what is left is the rod's give.
    assert!((rising - falling - 1.0).abs() < 0.15, "{rising} {falling}");
}

#[test]
fn a_very_slow_sweep_steps_and_a_brisk_one_glides() {
    let roughness = |us_per_s: f64| {
        let mut plant = Plant::new(steady(), 10.0, 1);
        let (mut peak, mut sum, mut count) = (0.0_f64, 0.0, 0.0);
        let steps = (100.0 / us_per_s / 1e-3) as u32;
        for turn in 0..steps {
            plant.step(1e-3, Some(1500.0 + us_per_s * f64::from(turn) * 1e-3));
            if turn > steps / 4 {
                let speed = plant.observe().speed_deg_per_s;
                peak = peak.max(speed);
                sum += speed;
                count += 1.0;
            }
        }
        peak / (sum / count)
    };
    let (slow, brisk) = (roughness(10.0), roughness(350.0));
    assert!(slow > 3.0 && brisk < 1.6, "slow {slow}, brisk {brisk}");
}
