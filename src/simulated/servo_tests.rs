//! The servo held against hand calculations.

use super::*;

const STEP_S: f64 = 5e-4;

fn run(
    servo: &Servo,
    seconds: f64,
    load_nm: f64,
    pulse: impl Fn(f64) -> Option<f64>,
) -> ServoState {
    let supply = Supply {
        pack_mohm: 0.0,
        lead_mohm: 0.0,
        ..Supply::default()
    };
    let mut state = ServoState::at_rest(servo, &supply, 0.0);
    let mut time = 0.0;
    while time < seconds {
        state.step(servo, &supply, servo.idle_w, pulse(time), load_nm, STEP_S);
        time += STEP_S;
    }
    state
}

#[test]
fn an_overloaded_servo_stalls_at_its_stall_torque_and_draws_the_stall_current() {
    let servo = Servo {
        winding_j_per_k: 1e9,
        case_j_per_k: 1e9,
        reference_c: 23.0,
        ..Servo::default()
    };
    let holding = run(&servo, 0.3, 2.09, |_| Some(1900.0));
    let beaten = run(&servo, 0.3, 2.11, |_| Some(1900.0));
    assert!(
        holding.arm_deg > 0.05,
        "just below stall it still creeps up: {}",
        holding.arm_deg
    );
    assert!(
        beaten.arm_deg.abs() < 1e-9,
        "just above stall it stands: {}",
        beaten.arm_deg
    );
    // By hand: shaft 2.1·1.18 + 0.06 = 2.538 N·m; 8.4·2.538² = 54.11 W; and 0.21 W idle at 7.4 V: 7.34 A.
    assert!(
        (beaten.current_a - 54.32 / 7.4).abs() < 0.01,
        "{}",
        beaten.current_a
    );
    assert!((servo.stall_ncm_at(7.4, 23.0) - 210.0).abs() < 1e-9);
}

#[test]
fn lifting_a_steady_load_draws_what_copper_shaft_and_electronics_take() {
    let servo = Servo {
        winding_j_per_k: 1e9,
        reference_c: 23.0,
        ..Servo::default()
    };
    let state = run(&servo, 1.0, 0.20, |time| Some(1500.0 + 400.0 * time));
    // By hand: 400 µs/s · 0.09 = 36°/s = 0.6283 rad/s; shaft 1.18·0.20 + 0.06 = 0.296 N·m;
    // 8.4·0.296² + 0.6283·0.296 + 0.21 = 1.1320 W; at 7.4 V 152.97 mA.
    assert!(
        (state.speed_rad_per_s - 0.6283).abs() < 0.002,
        "{}",
        state.speed_rad_per_s
    );
    assert!(
        (state.current_a * 1000.0 - 152.97).abs() < 0.8,
        "{}",
        state.current_a * 1000.0
    );
}

#[test]
fn supply_power_never_falls_below_idle_while_the_load_drives() {
    for overrun in [Overrun::BrakesAtIdle, Overrun::DrawsBalance] {
        let servo = Servo {
            overrun,
            ..Servo::default()
        };
        let supply = Supply::default();
        let mut state = ServoState::at_rest(&servo, &supply, 0.0);
        let mut lowest = f64::INFINITY;
        for turn in 0..4000 {
            let pulse = 1500.0 - 0.2 * f64::from(turn);
            state.step(&servo, &supply, servo.idle_w, Some(pulse), 0.5, STEP_S);
            lowest = lowest.min(state.current_a * state.plug_v);
        }
        assert!(lowest >= servo.idle_w - 1e-9, "{lowest}");
    }
}

#[test]
fn pack_and_lead_take_their_share_of_the_voltage() {
    let supply = Supply {
        open_v: 8.0,
        pack_mohm: 100.0,
        lead_mohm: 200.0,
        air_c: 20.0,
    };
    let mut state = ServoState::at_rest(&Servo::default(), &supply, 0.0);
    state.draw(&supply, 14.8);
    // By hand: 2 A · 0.3 Ω = 0.6 V; 7.4 V · 2 A = 14.8 W.
    assert!((state.current_a - 2.0).abs() < 1e-9);
    assert!((state.source_v - 7.8).abs() < 1e-9 && (state.plug_v - 7.4).abs() < 1e-9);
}

#[test]
fn a_servo_without_a_pulse_rests_at_idle() {
    let servo = Servo::default();
    let state = run(&servo, 0.5, 0.01, |_| None);
    assert_eq!(state.arm_deg, 0.0);
    assert!((state.current_a * state.plug_v - servo.idle_w).abs() < 1e-9);
}

#[test]
fn the_supply_gives_the_duty_times_the_motors_current() {
    let servo = Servo {
        winding_j_per_k: 1e9,
        reference_c: 23.0,
        ..Servo::default()
    };
    let state = run(&servo, 1.0, 0.20, |time| Some(1500.0 + 400.0 * time));
    // By hand: x at stall 2.538 N·m, k = 7.4/(8.4·2.538) = 0.347104 V·s, R = 8.4·k² = 1.01204 Ω;
    // 0.296 N·m at 0.6283 rad/s: i = 0.296/k = 0.85277 A, duty = (R·i + k·0.6283)/7.4 = 0.14610.
    assert!((servo.winding_ohm(23.0) - 1.01204).abs() < 1e-4);
    assert!((state.motor_a - 0.85277).abs() < 0.006, "{}", state.motor_a);
    assert!((state.duty - 0.14610).abs() < 0.001, "{}", state.duty);
    let idle_a = servo.idle_w / 7.4;
    let product = state.duty * state.motor_a + idle_a;
    assert!((state.current_a - product).abs() < 1e-4, "{product}");
}

#[test]
fn a_servo_that_protects_itself_stalls_at_the_current_it_was_given() {
    let servo = Servo {
        current_limit_ma: 1500.0,
        winding_j_per_k: 1e9,
        ..Servo::default()
    };
    // By hand: 1.5 A · 7.4 V = 8.4·x² gives 1.15 N·m of shaft, less than a load of 1.2 N·m asks for.
    let state = run(&servo, 0.5, 1.2, |_| Some(1900.0));
    assert!(state.arm_deg.abs() < 1e-9);
    let above_idle_ma = 1e3 * (state.current_a - servo.idle_w / 7.4);
    assert!((above_idle_ma - 1500.0).abs() < 5.0, "{above_idle_ma}");
}

#[test]
fn a_browned_out_servo_rests_until_it_is_up_again() {
    let servo = Servo {
        brown_out_v: 5.0,
        restart_s: 0.5,
        ..Servo::default()
    };
    let (low, high) = (
        Supply {
            open_v: 4.5,
            ..Supply::default()
        },
        Supply::default(),
    );
    let mut state = ServoState::at_rest(&servo, &high, 0.0);
    let mut step = |supply: &Supply, count: u32| {
        for _ in 0..count {
            state.step(&servo, supply, servo.idle_w, Some(1700.0), 0.0, STEP_S);
        }
        (state.arm_deg, state.duty)
    };
    let _ = step(&low, 2);
    let (sagged, _) = step(&low, 400);
    let (still, duty) = step(&high, 900);
    assert!(
        (sagged - still).abs() < 1e-9 && duty == 0.0,
        "{sagged} {still}"
    );
    let (up, _) = step(&high, 1500);
    assert!((up - 18.0).abs() < 0.4, "{up}");
}

#[test]
fn holding_a_load_warms_the_copper() {
    let servo = Servo {
        friction_nm: 0.0,
        gear_loss: 0.0,
        ..Servo::default()
    };
    let state = run(&servo, 200.0, 0.5, |_| Some(1600.0));
    // By hand, long after the winding's time constant of 24 s: 8.4·0.5² ≈ 2.1 W through 8 K/W is about 17 K over the case.
    let above = state.copper_c() - state.case_c;
    assert!((15.0..20.0).contains(&above), "{above}");
}
