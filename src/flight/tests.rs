//! Limits that the estimate must keep, whatever its numbers.

use super::*;
use crate::aircraft::parse;
use crate::analysis::{
    Budgets, Conditions, Curve, FitPoint, Interval, Load as BenchLoad, Quantity, RatioSource,
    StrokeCounts, TorqueSource, Traces,
};

const TEXT: &str = r#"
[aircraft]
name = "Dunlin"
[[servo_type]]
name = "metal gear"
stall_torque_ncm = 210
stall_voltage_v = 7.4
[[servo]]
tag = "E1"
type = "metal gear"
[[surface]]
name = "elevator"
servo = "E1"
chord_mm = 58.0
throws = [{ name = "up", up_deg = 20 }, { name = "down", down_deg = 18 }]
[surface.linkage]
arm_mm = 18
horn_mm = 22
rod_mm = 95
base_mm = 97
[surface.air]
span_mm = 340
wing_chord_mm = 190
fastest_m_s = 85
"#;

fn aircraft() -> Aircraft {
    parse(TEXT, "aircraft.toml", |_| {
        unreachable!("no calibration is named")
    })
    .unwrap()
}

fn plain(value: f64) -> Quantity {
    Quantity {
        value,
        interval: None,
    }
}

/// A hinge of 0.4 N·cm/°, 1 N·cm at neutral and 2 N·cm of friction, with a band of 0.3, to ±25°.
fn bench() -> Measured {
    let fit = (-25..=25)
        .map(f64::from)
        .map(|deg| FitPoint {
            angle_deg: deg,
            up_ncm: 1.0 + 0.4 * deg + 2.0,
            down_ncm: 1.0 + 0.4 * deg - 2.0,
            band_ncm: 0.3,
        })
        .collect();
    Measured {
        torque_from: TorqueSource::Torque,
        strokes: StrokeCounts::default(),
        curve: Some(Curve {
            stiffness_ncm_per_deg: plain(0.4),
            friction_ncm: plain(2.0),
            neutral_torque_ncm: plain(1.0),
            knees: Vec::new(),
            tight_spots: Vec::new(),
            residual_ncm: 0.1,
            fit,
            points: Vec::new(),
            not_observable: Vec::new(),
        }),
        throws: Vec::new(),
        load: BenchLoad {
            peak_torque_ncm: None,
            peak_at_deg: None,
            share_of_stall: None,
            friction_share_of_stall: None,
            ratio_from: RatioSource::Linkage,
            voltage_v: None,
            hold_current_ma: Vec::new(),
        },
        slop_deg: None,
        lead_mohm: None,
        jerks: None,
        doubts: Vec::new(),
        conditions: Conditions::default(),
        budgets: Budgets::default(),
        travel_deg: Some((-25.0, 25.0)),
        rate_hz: 100.0,
        span_s: 10.0,
        traces: Traces::default(),
    }
}

fn asked() -> Asked {
    Asked {
        atmosphere: Atmosphere::with_air_c(0.0, 15.0),
        supply_v: 7.4,
        factor: 1.5,
        attack_deg: 0.0,
        aspect: None,
        most_share: 0.5,
    }
}

fn at_speed(m_s: f64, measured: Option<&Measured>, asked: &Asked) -> Estimate {
    let mut aircraft = aircraft();
    aircraft.surfaces[0].air.as_mut().unwrap().fastest_m_s = m_s;
    estimate(&aircraft, &aircraft.surfaces[0], measured, asked).unwrap()
}

#[test]
fn standing_still_asks_for_the_torque_of_the_bench() {
    let found = at_speed(1e-6, Some(&bench()), &asked());
    // Up at 20°: moving up 1 + 8 + 2; down at −18°: moving down 1 − 7.2 − 2.
    for (row, bench_ncm) in found.rows.iter().zip([11.0, 8.2]) {
        assert!((row.sum_ncm.value - bench_ncm).abs() < 1e-9, "{row:?}");
        assert_eq!(row.sum_ncm.half95, Some(0.3));
        assert!(row.worst_outwards);
        let share = row.share.unwrap();
        let by_hand = bench_ncm * row.ratio.unwrap() / 210.0;
        assert!((share.value - by_hand).abs() < 1e-9);
        assert!((share.half95.unwrap() / share.value - 0.3 / bench_ncm).abs() < 1e-9);
    }
}

/// But for the speed of sound, which comes in by Prandtl and Glauert.
#[test]
fn twice_the_speed_is_four_times_the_air() {
    let (slow, fast) = (
        at_speed(20.0, Some(&bench()), &asked()),
        at_speed(40.0, Some(&bench()), &asked()),
    );
    for (a, b) in slow.rows.iter().zip(&fast.rows) {
        let mach = |e: &Estimate| (1.0 - e.mach * e.mach).sqrt();
        let ratio = b.air_ncm * mach(&fast) / (a.air_ncm * mach(&slow));
        assert!((ratio - 4.0).abs() < 1e-9, "{ratio}");
        assert_eq!(
            a.hinge_ncm, b.hinge_ncm,
            "the hinge knows nothing of the speed"
        );
    }
}

/// By hand, at 85 m/s: q 4425 Pa, c²·s = 0.058²·0.340 = 1.1438e-3 m³, F 0.305, b2 −0.9675 (between the values at .30 and .40),
/// Mach 0.2498 → 1.0327; 20° = 0.34907: 4425·1.1438e-3·0.9675·1.0327·0.34907 = 1.765 N·m, times 1.5.
#[test]
fn the_airs_part_is_what_comes_out_by_hand() {
    let found = at_speed(85.0, None, &asked());
    let up = &found.rows[0];
    assert!((up.air_ncm - 264.8).abs() < 0.6, "{}", up.air_ncm);
    assert_eq!(up.hinge_ncm, None);
    assert!(up.over && found.over().count() == 2);
    assert_eq!(found.doubts, [Doubt::NoSweep]);
}

#[test]
fn at_the_fastest_speed_that_holds_all_of_the_servo_is_used() {
    let found = at_speed(85.0, Some(&bench()), &asked());
    for row in &found.rows {
        let (Some(Fastest::UpTo(holds)), Some(Fastest::UpTo(within))) =
            (row.holds, row.within_share)
        else {
            panic!("{row:?}");
        };
        assert!(within.value < holds.value && holds.half95.unwrap() > 0.0);
        for (speed, share) in [(holds.value, 1.0), (within.value, 0.5)] {
            let there = at_speed(speed, Some(&bench()), &asked());
            let same = there.rows.iter().find(|r| r.throw == row.throw).unwrap();
            assert!((same.share.unwrap().value - share).abs() < 1e-6);
        }
    }
}

#[test]
fn where_servo_and_air_balance_a_throw_would_take_all_the_servo_has() {
    let found = at_speed(100.0, Some(&bench()), &asked());
    let Balance::At { deg, beyond: false } = found.balances[0].balance else {
        panic!("{:?}", found.balances);
    };
    assert!(deg.value < 20.0 && deg.half95.unwrap() > 0.0);
    let mut aircraft = aircraft();
    aircraft.surfaces[0].throws[0].asked_deg = deg.value;
    aircraft.surfaces[0].air.as_mut().unwrap().fastest_m_s = 100.0;
    let there = estimate(&aircraft, &aircraft.surfaces[0], Some(&bench()), &asked()).unwrap();
    assert!((there.rows[0].share.unwrap().value - 1.0).abs() < 1e-6);
    // Slower, it is beyond the throws: told, without an interval, as not measured.
    let slow = at_speed(80.0, Some(&bench()), &asked());
    let Balance::At { deg, beyond: true } = slow.balances[0].balance else {
        panic!("{:?}", slow.balances);
    };
    assert!(deg.value > 20.0 && deg.half95.is_none());
    assert!(matches!(
        at_speed(1.0, Some(&bench()), &asked()).balances[0].balance,
        Balance::NotUpTo { .. }
    ));
}

/// The arm set forward, rod and arm come nearer to one line at full throw: the servo holds it with less torque.
#[test]
fn a_linkage_near_its_dead_point_leaves_more_of_the_servo() {
    let mut aircraft = aircraft();
    let square = estimate(&aircraft, &aircraft.surfaces[0], Some(&bench()), &asked()).unwrap();
    aircraft.surfaces[0].linkage.as_mut().unwrap().arm_zero_deg = 25.0;
    aircraft.surfaces[0].linkage.as_mut().unwrap().rod_mm = 89.6;
    let leaning = estimate(&aircraft, &aircraft.surfaces[0], Some(&bench()), &asked()).unwrap();
    let share = |e: &Estimate| e.rows[0].share.unwrap().value;
    assert_eq!(square.rows[0].sum_ncm, leaning.rows[0].sum_ncm);
    assert!(leaning.rows[0].ratio.unwrap() < square.rows[0].ratio.unwrap());
    assert!(share(&leaning) < share(&square));
}

/// Rod and arm pass nearly through one line at the end of the throw: there hardly anything reaches the servo, on the way it
/// does.
#[test]
fn what_is_asked_on_the_way_to_a_throw_is_not_overlooked() {
    let mut aircraft = aircraft();
    let level = estimate(&aircraft, &aircraft.surfaces[0], Some(&bench()), &asked()).unwrap();
    assert!(level.rows.iter().all(|row| row.worse_on_the_way.is_none()));
    let linkage = aircraft.surfaces[0].linkage.as_mut().unwrap();
    (linkage.arm_mm, linkage.arm_zero_deg, linkage.rod_mm) = (9.0, 20.0, 94.0);
    let solver = LinkageSolver::new(linkage).unwrap();
    let reach = (100..450).map(|k| 0.1 * f64::from(k));
    let dead = reach.take_while(|deg| solver.ratio_at_surface_deg(*deg).is_some());
    aircraft.surfaces[0].throws[0].asked_deg = dead.last().unwrap();
    let eased = estimate(&aircraft, &aircraft.surfaces[0], Some(&bench()), &asked()).unwrap();
    let row = &eased.rows[0];
    let (at_deg, share) = row.worse_on_the_way.unwrap();
    assert!(at_deg > 0.0 && at_deg < row.deg && share > row.share.unwrap().value);
}

#[test]
fn attack_helps_one_way_and_hinders_the_other_and_the_worst_is_told() {
    let level = at_speed(60.0, Some(&bench()), &asked());
    let nose_up = at_speed(
        60.0,
        Some(&bench()),
        &Asked {
            attack_deg: WORST_ATTACK_DEG,
            ..asked()
        },
    );
    let sum = |e: &Estimate, i: usize| e.rows[i].sum_ncm.value;
    // Nose up, the flap floats up: up is easier to hold, down is harder.
    assert!(sum(&nose_up, 0) < sum(&level, 0) && sum(&nose_up, 1) > sum(&level, 1));
    let worst = level.rows[1].share_at_worst_attack.unwrap();
    assert!((worst - nose_up.rows[1].share.unwrap().value).abs() < 1e-9);
    assert!(level.rows[0].share_at_worst_attack.unwrap() > level.rows[0].share.unwrap().value);
}

/// At a large attack the air pushes a small deflection further out: friction is against the servo on the way back.
#[test]
fn where_the_air_drives_the_surface_out_the_worst_is_moving_back() {
    let mut aircraft = aircraft();
    aircraft.surfaces[0].throws[0].asked_deg = 1.0;
    let steep = Asked {
        attack_deg: 12.0,
        ..asked()
    };
    let found = estimate(&aircraft, &aircraft.surfaces[0], Some(&bench()), &steep).unwrap();
    let row = &found.rows[0];
    assert!(!row.worst_outwards && !row.worst_standing, "{row:?}");
    // The spring (1.4 at 1°) is for the servo then, friction (2) against it.
    assert!((row.hinge_ncm.unwrap().value - 0.6).abs() < 1e-9);
    // Where the air only takes some of the load away, standing still is the worst.
    let slow = Asked {
        attack_deg: 12.0,
        factor: 0.01,
        ..asked()
    };
    let found = estimate(&aircraft, &aircraft.surfaces[0], Some(&bench()), &slow).unwrap();
    assert!(found.rows[0].worst_standing && found.rows[0].air_ncm == 0.0);
}

#[test]
fn what_is_missing_leaves_no_share_and_is_named() {
    let mut aircraft = aircraft();
    aircraft.surfaces[0].linkage = None;
    let found = estimate(&aircraft, &aircraft.surfaces[0], Some(&bench()), &asked()).unwrap();
    assert!(found.unproven() && found.drawn.is_none() && found.balances.is_empty());
    assert!(found.rows[0].sum_ncm.value > 0.0 && found.doubts == [Doubt::NoLinkage]);
    aircraft.surfaces[0].air = None;
    assert_eq!(
        estimate(&aircraft, &aircraft.surfaces[0], None, &asked()),
        None
    );
}

#[test]
fn a_throw_that_the_sweep_did_not_reach_counts_the_air_alone_and_says_so() {
    let mut short = bench();
    short
        .curve
        .as_mut()
        .unwrap()
        .fit
        .retain(|p| p.angle_deg <= 12.0);
    let found = at_speed(85.0, Some(&short), &asked());
    assert_eq!(found.rows[0].hinge_ncm, None);
    assert!((found.rows[0].sum_ncm.value - found.rows[0].air_ncm).abs() < 1e-12);
    assert_eq!(found.doubts, [Doubt::NotSwept(vec!["up".into()])]);
    assert!(found.drawn.unwrap().deg.iter().all(|deg| *deg <= 13.0));
}

#[test]
fn a_lead_takes_from_what_the_servo_has_and_its_interval_comes_through() {
    let mut aircraft = aircraft();
    aircraft.servos[0].calibration = Some(crate::aircraft::Calibration {
        tag: "E1".into(),
        made: None,
        reference_c: 20.0,
        idle_w: 0.21,
        winding_w_per_nm2: 8.4,
        friction_nm: 0.06,
        gear_loss: 0.18,
        covariance: [[0.0; 4]; 4],
    });
    let mut measured = bench();
    measured.lead_mohm = Some(Quantity {
        value: 90.0,
        interval: Some(Interval {
            u: 5.0,
            lo95: 80.0,
            hi95: 100.0,
        }),
    });
    let found = estimate(&aircraft, &aircraft.surfaces[0], Some(&measured), &asked()).unwrap();
    let without = estimate(&aircraft, &aircraft.surfaces[0], Some(&bench()), &asked()).unwrap();
    assert!(found.has.unwrap().torque_ncm.value < without.has.unwrap().torque_ncm.value);
    let half = |e: &Estimate| e.rows[0].share.unwrap().half95.unwrap();
    assert!(half(&found) > half(&without));
}

#[test]
fn the_curves_drawn_are_the_shares_of_the_table() {
    let found = at_speed(85.0, Some(&bench()), &asked());
    let drawn = found.drawn.unwrap();
    let (speed_m_s, fastest) = drawn.at_arm_ncm.last().unwrap();
    assert_eq!(*speed_m_s, 85.0);
    for row in &found.rows {
        let nearest = (0..drawn.deg.len())
            .min_by(|a, b| {
                (drawn.deg[*a] - row.deg)
                    .abs()
                    .total_cmp(&(drawn.deg[*b] - row.deg).abs())
            })
            .unwrap();
        let off = fastest[nearest] / row.at_arm_ncm.unwrap().value;
        assert!((off - 1.0).abs() < 0.02, "{off}");
    }
}
