use super::*;
use crate::aircraft::{Aircraft, parse};
use crate::analysis::Interval;
use crate::problem::Problem;

fn aircraft(more: &str) -> Aircraft {
    let throws = |both: bool| match both {
        true => "throws = [{ name = \"up\", up_mm = 10 }, { name = \"down\", down_mm = 10 }]",
        false => "throws = [{ name = \"landing\", down_mm = 20 }]",
    };
    let mut text = "[aircraft]\nname = \"Dunlin\"\n[[servo_type]]\nname = \"m\"\nstall_torque_ncm = 210\nstall_voltage_v = 7.4\n".to_owned();
    for tag in ["A1", "A2", "F1", "F2"] {
        text += &format!(
            "[[servo]]\ntag = \"{tag}\"\ntype = \"m\"\n[servo.lead]\nlength_mm = 500\narea_mm2 = 0.5\n"
        );
    }
    for (name, servo, both) in [
        ("left aileron", "servo = \"A1\"", true),
        ("right aileron", "servo = \"A2\"", true),
        ("flap", "servos = [\"F1\", \"F2\"]", false),
    ] {
        let throws = throws(both);
        text += &format!("[[surface]]\nname = \"{name}\"\n{servo}\nchord_mm = 60\n{throws}\n");
    }
    let no_file = |_: &str| Err(Problem::new("none").hint("none"));
    parse(&(text + more), "aircraft.toml", no_file).unwrap()
}

fn q(value: f64, u: f64) -> Quantity {
    let half = 1.959_963_984_540_054 * u;
    Quantity {
        value,
        interval: Some(Interval {
            u,
            lo95: value - half,
            hi95: value + half,
        }),
    }
}

fn seen(peak: f64, u: f64) -> Seen {
    Seen {
        draw: Ok(Draw {
            peak_ma: q(peak, u),
            highest_ma: peak,
            moving_ma: q(0.5 * peak, u),
            holding_ma: Some(q(0.2 * peak, u)),
            resting_ma: Some(q(0.1 * peak, u)),
            both_servos: false,
            volts: Some(7.3),
        }),
        step_peak_ma: None,
        resistances: Resistances {
            lead_mohm: Some(q(50.0, 2.0)),
            ..Resistances::default()
        },
        second_lead_mohm: None,
        air_c: Some(20.0),
    }
}

const SUPPLY: &str = "[supply]\nopen_v = 7.4\ninternal_mohm = 100\npack_mah = 1000\n";

#[test]
fn a_flap_is_held_unless_the_file_or_the_question_says_otherwise() {
    let moves = |more: &str, asked: Asked| {
        let all = [
            (0, seen(1000.0, 1.0)),
            (1, seen(800.0, 1.0)),
            (2, seen(2000.0, 1.0)),
        ];
        let outcome = work_out(&aircraft(more), &all, &asked);
        let moving: Vec<bool> = outcome.fed.iter().map(|f| f.moves).collect();
        (outcome.chosen, moving)
    };
    let plain = Asked::default();
    assert_eq!(
        moves(SUPPLY, plain),
        (Chosen::BothWays, vec![true, true, false])
    );
    let named = format!("{SUPPLY}moving = [\"flap\"]\n");
    assert_eq!(
        moves(&named, plain),
        (Chosen::Named, vec![false, false, true])
    );
    let two = format!("{SUPPLY}moving_at_once = 2\n");
    assert_eq!(
        moves(&two, plain),
        (Chosen::Worst(2), vec![true, false, true])
    );
    let one = Asked {
        moving_at_once: Some(1),
        ..plain
    };
    assert_eq!(
        moves(&named, one),
        (Chosen::Worst(1), vec![false, false, true])
    );
}

/// By hand: u of three times 30 mA in quadrature is 51.96, with 1 % of 2200 mA 56.42; 1.96 of that 110.6.
#[test]
fn the_scatter_of_several_adds_in_squares_and_the_shared_scale_once_for_all() {
    let all = [
        (0, seen(1000.0, 30.0)),
        (1, seen(800.0, 30.0)),
        (2, seen(2000.0, 30.0)),
    ];
    let outcome = work_out(&aircraft(SUPPLY), &all, &Asked::default());
    let peak = outcome.loads.unwrap().peak_ma;
    // Both ailerons at their peaks, the flap held: 1000 + 800 + 400.
    assert!((peak.value - 2200.0).abs() < 1e-9);
    let interval = peak.interval.unwrap();
    assert!(
        (interval.hi95 - peak.value - 110.6).abs() < 0.1,
        "{interval:?}"
    );
}

#[test]
fn the_voltage_at_a_plug_is_the_supplys_less_the_shared_and_the_own_drop() {
    let all = [
        (0, seen(1000.0, 30.0)),
        (1, seen(800.0, 30.0)),
        (2, seen(2000.0, 30.0)),
    ];
    let outcome = work_out(&aircraft(SUPPLY), &all, &Asked::default());
    let at = outcome.fed[0].leads[0].at_plug.unwrap();
    // 7.4 V − 2.2 A · 0.1 Ω − 1.0 A · 0.05 Ω.
    assert!((at.volts.value - 7.13).abs() < 1e-9);
    assert!(at.volts.interval.is_some() && at.lead_from == LeadFrom::Measured);
    // Three quarters of 7.4 V.
    assert_eq!((at.least_v, at.least_is_given), (5.55, false));
}

#[test]
fn a_surface_of_two_servos_of_which_one_was_read_is_missing_from_the_sums() {
    let all = [
        (0, seen(1000.0, 1.0)),
        (1, seen(800.0, 1.0)),
        (2, seen(2000.0, 1.0)),
    ];
    let outcome = work_out(&aircraft(SUPPLY), &all, &Asked::default());
    let missing: Vec<usize> = outcome.missing().map(|f| f.surface).collect();
    assert_eq!(missing, [2]);
    assert!(outcome.fed[2].second_missing);
}

#[test]
fn without_any_measurement_there_is_no_load_and_no_flight() {
    let outcome = work_out(&aircraft(SUPPLY), &[], &Asked::default());
    assert_eq!((outcome.loads, outcome.flight), (None, None));
    assert_eq!(outcome.missing().count(), 3);
    assert!(outcome.ratings.is_empty());
    let leads = || outcome.fed.iter().flat_map(|f| &f.leads);
    assert!(leads().count() == 4 && leads().all(|l| l.state == LeadState::NotMeasured));
}

/// By hand: rest 100, moving 500, held 200 mA, three quarters of the time moving: 75 % · 500 + 25 % · 200 = 425 mA on the bench;
/// with twice the air 100 + 2·(425 − 100) = 750.
#[test]
fn the_air_multiplies_what_is_drawn_beyond_rest() {
    let mut one = aircraft(SUPPLY);
    one.surfaces.truncate(1);
    let asked = Asked {
        flight_min: 60.0,
        moving_share: 0.75,
        resting_share: 0.0,
        air_factor: 2.0,
        reserve: 0.25,
        ..Asked::default()
    };
    let outcome = work_out(&one, &[(0, seen(1000.0, 1.0))], &asked);
    let flight = outcome.flight.unwrap();
    assert!((flight.mean_ma.value - 750.0).abs() < 1e-9);
    assert!((flight.mah.value - 750.0).abs() < 1e-9);
    assert!((flight.wh.unwrap().value - 5.55).abs() < 1e-9);
    // 750 mAh usable of 1000: one flight, and not surely one.
    assert_eq!(
        flight.flights,
        Flights::Counted {
            expected: 1,
            least: 0
        }
    );
}

#[test]
fn a_peak_after_steps_counts_where_it_is_higher_than_the_sweeps() {
    let stepped = Seen {
        step_peak_ma: Some(q(1700.0, 1.0)),
        ..seen(1000.0, 1.0)
    };
    let lower = Seen {
        step_peak_ma: Some(q(700.0, 1.0)),
        ..seen(800.0, 1.0)
    };
    let outcome = work_out(
        &aircraft(SUPPLY),
        &[(0, stepped), (1, lower)],
        &Asked::default(),
    );
    assert_eq!(outcome.loads.unwrap().peak_ma.value, 2500.0);
    assert!(!outcome.fed[0].peak_is_of_a_sweep());
}

/// 1000 and 800 mA were read, the flap's two servos were not: no count, whatever the capacity.
#[test]
fn flights_are_withheld_until_every_servo_was_measured() {
    let two = [(0, seen(1000.0, 1.0)), (1, seen(800.0, 1.0))];
    let flights = |more: &str, all: &[(usize, Seen)]| {
        let outcome = work_out(&aircraft(more), all, &Asked::default());
        outcome.flight.unwrap().flights
    };
    assert_eq!(
        flights(SUPPLY, &two),
        Flights::NotAllMeasured { none: false }
    );
    // What was measured alone takes more than 30 mAh.
    let small = SUPPLY.replace("pack_mah = 1000", "pack_mah = 30");
    assert_eq!(
        flights(&small, &two),
        Flights::NotAllMeasured { none: true }
    );
    let mut flap = seen(2000.0, 1.0);
    let three = |flap: Seen| [two[0], two[1], (2, flap)];
    assert_eq!(
        flights(SUPPLY, &three(flap)),
        Flights::NotAllMeasured { none: false }
    );
    if let Ok(draw) = &mut flap.draw {
        draw.both_servos = true;
    }
    assert!(matches!(
        flights(SUPPLY, &three(flap)),
        Flights::Counted { .. }
    ));
}

#[test]
fn the_second_servo_of_a_surface_has_a_lead_and_a_plug_of_its_own() {
    let mut flap = seen(2000.0, 1.0);
    flap.resistances.lead_mohm = Some(q(35.0, 2.0));
    flap.second_lead_mohm = Some(q(400.0, 2.0));
    if let Ok(draw) = &mut flap.draw {
        draw.both_servos = true;
    }
    let named = format!("{SUPPLY}moving = [\"flap\"]\n");
    let outcome = work_out(&aircraft(&named), &[(2, flap)], &Asked::default());
    let [first, second] = &outcome.fed[2].leads[..] else {
        panic!("{:?}", outcome.fed[2].leads);
    };
    // 0.5 m of 0.5 mm² have 34.5 mΩ, and 41.6 at most.
    assert_eq!(
        (first.state, second.state),
        (LeadState::Sound, LeadState::Worse)
    );
    // Each draws half: 7.4 V − 2.0 A · 0.1 Ω − 1.0 A · 0.035 Ω, and 0.4 Ω.
    let volts = |lead: &Lead| lead.at_plug.unwrap().volts.value;
    assert!((volts(first) - 7.165).abs() < 1e-9 && (volts(second) - 6.8).abs() < 1e-9);
}
