//! The plant's case has a winding before it, and a friction whose heat it does not feel: the one-capacity law is not its own.

use super::*;
use crate::simulated::{
    Channel as Sent, Loaded, OnArm, Programme, PulseMove, Scenario, Spell, simulate,
};

/// A weight held by the arm for so long, s: the case's temperature, the room's, and what the servo draws.
fn held(seconds: f64, mass_kg: f64, seed: u64, air: bool) -> Recording {
    let loaded = Loaded {
        on_arm: OnArm::Weight {
            mass_kg,
            arm_mm: 70.0,
        },
        hung_ncm: 0.0,
    };
    let hold = PulseMove {
        to_us: 1500.0,
        us_per_s: 0.0,
        hold_s: seconds,
    };
    let mut channels = vec![
        Sent::PulseUs,
        Sent::AngleDeg,
        Sent::CurrentMa,
        Sent::SupplyV,
        Sent::CaseC,
    ];
    if air {
        channels.push(Sent::AirC);
    }
    let scenario = Scenario {
        rate_hz: 20.0,
        channels,
        programme: Programme::Spells(vec![Spell {
            loaded,
            moves: vec![hold],
            waits_s: 2.0,
            ..Spell::default()
        }]),
        ..Scenario::default()
    };
    crate::recording::read(&simulate(&scenario, seed).capture[..], "heat").unwrap()
}

#[test]
fn where_the_case_would_end_is_told_long_before_it_is_there() {
    let long = held(3500.0, 1.2, 1, true);
    let there = measure(&long, 70.0).unwrap();
    let heat = measure(&held(500.0, 1.2, 2, true), 70.0).unwrap();
    assert!(
        heat.last_c < there.last_c - 1.0,
        "{} of {}",
        heat.last_c,
        there.last_c
    );
    assert!(
        (heat.end_c.value - there.last_c).abs() < 2.0,
        "{heat:?}\n{there:?}"
    );
}

#[test]
fn without_a_case_temperature_or_warming_there_is_no_number() {
    assert!(measure(&held(60.0, 0.0, 1, true), 70.0).is_none());
}

#[test]
#[ignore = "a study: minutes"]
fn study() {
    for (mass, seconds, air) in [
        (1.2, 300.0, true),
        (1.2, 600.0, true),
        (0.8, 600.0, true),
        (1.2, 600.0, false),
        (1.2, 1200.0, false),
    ] {
        let truth = truth(mass);
        let (mut holds, mut some, mut off, mut width) = (0, 0, 0.0, 0.0);
        let n = 100;
        for seed in 0..n {
            let Some(heat) = measure(&held(seconds, mass, seed, air), 70.0) else {
                continue;
            };
            off += (heat.end_c.value - truth).abs();
            if let Some(i) = heat.end_c.interval {
                some += 1;
                width += i.hi95 - i.lo95;
                holds += u32::from(i.lo95 <= truth && truth <= i.hi95);
            }
        }
        println!(
            "{mass} kg {seconds} s air {air}: truth {truth:.2}, off {:.2}, bounded {some}, holds {holds}, width {:.2}",
            off / n as f64,
            width / f64::from(some)
        );
    }
}

/// Where the plant's case ends: as good as its own law, after nine of its times.
fn truth(mass_kg: f64) -> f64 {
    let bins = bins(&held(3500.0, mass_kg, 999, true)).unwrap();
    mean(bins[bins.len() - 50..].iter().map(|b| b.case_c))
}

#[test]
fn the_band_holds_what_a_longer_recording_shows() {
    let heat = measure(&held(600.0, 1.2, 5, true), 70.0).unwrap();
    let later = bins(&held(1100.0, 1.2, 6, true)).unwrap();
    let mut seen = 0;
    for told in heat.law.iter().filter(|t| t.band_c.is_some()) {
        let Some(bin) = later.iter().find(|b| (b.t_s - told.t_s).abs() <= BIN_S) else {
            continue;
        };
        let (lo, hi) = told.band_c.unwrap();
        seen += 1;
        // The two rooms are alike; a reading of an average errs by some hundredths of a kelvin.
        assert!(
            lo - 0.3 < bin.case_c && bin.case_c < hi + 0.3,
            "{told:?} {}",
            bin.case_c
        );
    }
    assert!(seen > 30, "{seen}");
}
