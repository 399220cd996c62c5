use super::*;
use crate::aircraft::{AngleCalibration, ThrowMeasure};
use crate::recording::Segment;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

fn surface(angle: Option<AngleCalibration>) -> Surface {
    Surface {
        name: "left elevator".into(),
        servo_index: 0,
        second_servo_index: None,
        pair_index: None,
        chord_mm: 58.0,
        measure: ThrowMeasure::Straight,
        throws: Vec::new(),
        was: Vec::new(),
        linkage: None,
        linkage_notes: Default::default(),
        air: None,
        angle,
    }
}

fn point(known_deg: f64, read_deg: f64) -> Point {
    Point {
        known_deg,
        known_u_deg: 0.2,
        read_deg,
        read_u_deg: 0.01,
    }
}

fn recording(angle: Vec<f64>) -> Recording {
    let t_s = (0..angle.len()).map(|i| 0.01 * i as f64).collect();
    let mut columns: [Option<Vec<f64>>; crate::recording::CHANNELS] = Default::default();
    columns[Channel::AngleDeg as usize] = Some(angle);
    Recording {
        segments: vec![Segment::new(t_s, columns)],
        ..Recording::default()
    }
}

#[test]
fn two_angles_fix_scale_zero_and_sign_and_say_nothing_of_what_lies_between() {
    // Reads 1.1° at neutral and runs the other way at 0.95° a degree: reading = 1.1 − 0.95·θ.
    let points = [-20.0, 20.0].map(|deg| point(deg, 1.1 - 0.95 * deg));
    let line = line(&points, 0.0).unwrap();
    assert!((line.scale.value + 1.0 / 0.95).abs() < 1e-12);
    assert!((line.zero_deg.value - 1.1).abs() < 1e-12);
    assert!(line.scale.interval.unwrap().hi95 < 0.0);
    assert_eq!((line.furthest(), line.scatter), (None, None));
    assert!(!line.is_bent());
    assert!((line.deg(1.1) - 0.0).abs() < 1e-12);
}

#[test]
fn one_angle_held_again_and_a_sensor_that_stands_still_fix_nothing() {
    assert_eq!(line(&[point(20.0, 19.0), point(20.0, 19.1)], 0.0), None);
    assert_eq!(line(&[point(20.0, 19.0)], 0.0), None);
    assert_eq!(line(&[point(-20.0, 1.0), point(20.0, 1.0)], 0.0), None);
    assert_eq!(line(&[point(-20.0, f64::NAN), point(20.0, 1.0)], 0.0), None);
}

#[test]
fn what_all_known_angles_share_stays_in_the_scale_and_leaves_zero_alone() {
    let points: Vec<Point> = (-4..=4)
        .map(|k| point(5.0 * f64::from(k), 5.0 * f64::from(k)))
        .collect();
    let (free, shared) = (line(&points, 0.0).unwrap(), line(&points, 0.01).unwrap());
    let u = |l: &Line| l.scale.interval.unwrap().u;
    assert!((u(&shared).powi(2) - u(&free).powi(2) - 1e-4).abs() < 1e-10);
    assert_eq!(free.zero_deg, shared.zero_deg);
}

#[test]
fn a_sensor_that_bends_is_seen_and_one_that_is_noisy_is_not_called_bent() {
    let bend = |deg: f64| deg + 1.5 * (deg / 20.0).powi(2);
    let held = |f: &dyn Fn(f64) -> f64| -> Vec<Point> {
        [-20.0, -10.0, 0.0, 10.0, 20.0]
            .iter()
            .flat_map(|d| [*d, *d])
            .map(|d| point(d, f(d)))
            .collect()
    };
    let bent = line(&held(&bend), 0.0).unwrap();
    assert!(bent.is_bent());
    // Held once each it is as plain: a bend is no noise of the wedge.
    let once: Vec<Point> = held(&bend).into_iter().step_by(2).collect();
    assert!(line(&once, 0.0).unwrap().is_bent());
    let furthest = bent.furthest().unwrap();
    assert!(
        furthest.holds == 2 && furthest.off_deg.abs() > 0.5,
        "{furthest:?}"
    );
    // Of straight and noisy ones one in twenty is called bent, all angles together.
    let mut chance = ChaCha8Rng::seed_from_u64(4);
    let called = (0..1000)
        .filter(|_| {
            let mut points = held(&|d| d);
            points
                .iter_mut()
                .for_each(|p| p.read_deg += 0.2 * normal(&mut chance));
            line(&points, 0.0).unwrap().is_bent()
        })
        .count();
    assert!((15..=70).contains(&called), "{called} of 1000");
}

fn normal(chance: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(chance)
}

/// How often intervals hold the truth: scale, zero, and the deflection at an end. `known_to`: the true uncertainty of wedges
/// over what is said of it is drawn anew for each calibration, or 1.
fn coverage(angles: &[f64], drawn: bool, seed: u64) -> [f64; 3] {
    const TRIES: usize = 2000;
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let mut held = [0; 3];
    for _ in 0..TRIES {
        let (scale, zero) = (
            0.9 + 0.2 * chance.random::<f64>(),
            4.0 * chance.random::<f64>() - 2.0,
        );
        let squares: f64 = (0..8).map(|_| normal(&mut chance).powi(2)).sum();
        let true_u = 0.2 * if drawn { (8.0 / squares).sqrt() } else { 1.0 };
        let points: Vec<Point> = angles
            .iter()
            .map(|deg| {
                let stands = deg + true_u * normal(&mut chance);
                point(*deg, zero + stands / scale + 0.01 * normal(&mut chance))
            })
            .collect();
        let line = line(&points, 0.0).unwrap();
        let holds = |q: &crate::analysis::Quantity, truth: f64| {
            let i = q.interval.unwrap();
            usize::from(i.lo95 <= truth && truth <= i.hi95)
        };
        held[0] += holds(&line.scale, scale);
        held[1] += holds(&line.zero_deg, zero);
        let [[vs, both], [_, vz]] = line.covariance;
        let (s, read) = (line.scale.value, zero + 24.0 / scale);
        let from_zero = read - line.zero_deg.value;
        let u = (from_zero.powi(2) * vs + s * s * vz - 2.0 * s * from_zero * both).sqrt();
        held[2] += usize::from((line.deg(read) - 24.0).abs() <= 1.959_964 * u);
    }
    held.map(|h| 100.0 * h as f64 / TRIES as f64)
}

/// 2,000 tries of 95 %: one standard deviation is 0.5.
#[test]
fn intervals_hold_scale_zero_and_deflection_in_93_to_97_of_100() {
    for (n, angles) in [
        &[-20.0, 20.0][..],
        &[-20.0, 0.0, 20.0],
        &[-20.0, -10.0, 0.0, 10.0, 20.0],
        &[0.0, 35.0, 70.0],
        &[-20.0, -10.0, 0.0, 10.0, 20.0, 20.0, 10.0, 0.0, -10.0, -20.0],
    ]
    .into_iter()
    .enumerate()
    {
        let found = coverage(angles, true, 100 + n as u64);
        println!("{} holds: {found:?} %", angles.len());
        assert!(
            found.iter().all(|c| (93.0..=97.0).contains(c)),
            "{angles:?}: {found:?}"
        );
        // Wedges exactly as good as said: never too narrow.
        let exact = coverage(angles, false, 200 + n as u64);
        println!("   as good as said: {exact:?} %");
        assert!(
            exact.iter().all(|c| (94.0..=99.0).contains(c)),
            "{angles:?}: {exact:?}"
        );
    }
}

#[test]
fn a_ruler_at_the_trailing_edge_gives_the_angle_that_throws_are_measured_by() {
    let bench = Bench::default();
    // By hand: 26/(2·58) = 0.224 138; asin = 12.9522°; twice that 25.904°. A millimetre is 1/(58·cos 12.95°) rad.
    let (deg, u) = bench.known(26.0, true, &surface(None)).unwrap();
    assert!((deg - 25.904).abs() < 1e-3);
    let per_mm = (1.0_f64 / (58.0 * 12.9522_f64.to_radians().cos())).to_degrees();
    assert!((u / (0.3 * per_mm) - 1.0).abs() < 1e-3, "{u}");
    assert_eq!(bench.known(117.0, true, &surface(None)), None);
    assert_eq!(bench.known(120.0, false, &surface(None)), None);
}

#[test]
fn a_hold_that_moves_or_is_too_short_does_not_count() {
    let at = |f: &dyn Fn(f64) -> f64, seconds: f64| -> Vec<(f64, f64)> {
        (0..(100.0 * seconds) as usize)
            .map(|i| (0.01 * i as f64, f(0.01 * i as f64)))
            .collect()
    };
    let (mean, u) = still(&at(&|_| 12.5, 2.0)).unwrap();
    assert!(mean == 12.5 && u == 0.01);
    assert!(matches!(still(&at(&|t| 0.5 * t, 2.0)), Err(Why::Moved(d)) if (0.7..1.0).contains(&d)));
    assert_eq!(still(&at(&|_| 12.5, 0.8)), Err(Why::TooShort));
    assert_eq!(still(&[]), Err(Why::TooShort));
}

#[test]
fn a_calibration_is_applied_once_noted_and_its_uncertainty_goes_along() {
    let c = AngleCalibration {
        scale: -1.02,
        zero_deg: 0.8,
        covariance: [[4e-6, 1e-5], [1e-5, 0.01]],
        made: None,
    };
    let raw = recording(vec![0.8, -19.2, f64::NAN, 20.8]);
    let once = calibrated(raw.clone(), &surface(Some(c)));
    let angles = once.segments[0].column(Channel::AngleDeg).unwrap();
    assert!((angles[0]).abs() < 1e-12 && (angles[1] - 20.4).abs() < 1e-12 && angles[2].is_nan());
    assert_eq!(once.notes.len(), 1, "{:?}", once.notes);
    let u = AngleU::of(&once);
    assert!((u.scale() - 2e-3 / 1.02).abs() < 1e-12);
    // s·(r − z): (r − z)²·var s + s²·var z − 2·s·(r − z)·cov.
    let r = 20.4 / -1.02_f64;
    let want = (r * r * 4e-6 + 1.02 * 1.02 * 0.01 - 2.0 * -1.02 * r * 1e-5).sqrt();
    assert!((u.at(20.4) - want).abs() < 1e-9, "{} {want}", u.at(20.4));
    let twice = calibrated(once.clone(), &surface(Some(c)));
    assert_eq!(twice.notes, once.notes);
    assert_eq!(
        AngleU::of(&calibrated(raw.clone(), &surface(None))),
        AngleU::default()
    );
    // A sensor on a servo's arm is not the surface's.
    let mut alone = raw;
    alone.keys.push(("alone".into(), "yes".into()));
    assert!(calibrated(alone, &surface(Some(c))).notes.is_empty());
}
