//! The four-bar against SciPy's root solving of the closed loop (tests/reference/make_reference.py) and against a textbook's
//! worked example. Digits reached are printed.

use hingewright::aircraft::Linkage;
use hingewright::linkage::{FourBar, InLine};
use serde_json::Value;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn stored() -> Vec<(Linkage, Value)> {
    let all: Value = serde_json::from_str(include_str!("../reference/reference.json")).unwrap();
    let linkages = all["linkages"].as_array().unwrap().clone();
    let of = |l: &Value| Linkage {
        arm_mm: number(&l["lengths"][0]),
        horn_mm: number(&l["lengths"][1]),
        rod_mm: number(&l["lengths"][2]),
        base_mm: number(&l["lengths"][3]),
        arm_zero_deg: number(&l["lengths"][4]),
    };
    linkages.iter().map(|l| (of(l), l.clone())).collect()
}

/// Angle to 1e-9°, ratio to 1e-9 of itself.
#[test]
fn angle_and_ratio_are_those_of_the_closed_loop() {
    let (mut compared, mut open, mut worst) = (0, 0, 0.0_f64);
    for (linkage, reference) in stored() {
        let bar = FourBar::new(&linkage).unwrap();
        for row in reference["rows"].as_array().unwrap() {
            let stand = bar.at_arm_deg(number(&row[0]));
            if row[1].is_null() {
                assert_eq!(stand, None, "{linkage:?} {row}");
                open += 1;
                continue;
            }
            let stand = stand.unwrap();
            let (angle, ratio) = (number(&row[1]), number(&row[2]));
            worst = worst.max((stand.surface_deg - angle).abs());
            assert!((stand.surface_deg - angle).abs() < 1e-9, "{stand:?} {row}");
            assert!((stand.ratio / ratio - 1.0).abs() < 1e-9, "{stand:?} {row}");
            compared += 1;
        }
    }
    println!("{compared} places, largest difference {worst:.1e}°, {open} where it does not close");
    assert!(compared >= 40 && open >= 2);
}

/// Arm angle of the nearest dead point either way, to 1e-6°, and which lever lies in line there.
#[test]
fn dead_points_are_where_the_loop_turns_back_or_opens() {
    let mut kinds = [0; 2];
    for (linkage, reference) in stored() {
        let (up, down) = FourBar::new(&linkage).unwrap().dead_points();
        for (found, end) in [up, down].iter().zip(reference["ends"].as_array().unwrap()) {
            let found = found.unwrap();
            let kind = match end[0].as_str().unwrap() {
                "arm" => InLine::Arm,
                "horn" => InLine::Horn,
                other => panic!("{other}"),
            };
            kinds[usize::from(kind == InLine::Arm)] += 1;
            assert_eq!(found.in_line, kind, "{linkage:?}");
            let off = found.arm_deg - number(&end[1]);
            assert!(off.abs() < 1e-6, "{found:?} {end}");
        }
    }
    assert!(kinds[0] >= 3 && kinds[1] >= 3, "{kinds:?}");
}

/// R. L. Norton, 'Design of Machinery', the worked position analysis by vector loop: crank 40, coupler 120, rocker 80, ground
/// 100 mm, crank at 40°: rocker at 57.33° in the open circuit. [M] for the numbers' source; [V]: the loop closes with them, which
/// is checked here apart from the code.
#[test]
fn the_textbooks_four_bar_stands_where_the_book_has_it() {
    let (crank, coupler, rocker, ground) = (40.0, 120.0, 80.0, 100.0);
    let (phi, psi) = (40.0_f64.to_radians(), 57.33_f64.to_radians());
    let closes = (ground + rocker * psi.cos() - crank * phi.cos())
        .hypot(rocker * psi.sin() - crank * phi.sin());
    assert!((closes - coupler).abs() < 0.01, "{closes}");
    let bar = FourBar::new(&Linkage {
        arm_mm: crank,
        horn_mm: rocker,
        rod_mm: coupler,
        base_mm: ground,
        // At neutral the crank is to stand at 40°.
        arm_zero_deg: 50.0,
    })
    .unwrap();
    // From the crank at 40° on to 90°, the rocker's way is the difference of two positions; the loop at 90° is closed by hand:
    // ψ at 90° from bisection on the coupler's length.
    let length = |psi: f64| (ground + rocker * psi.cos()).hypot(rocker * psi.sin() - crank);
    let (mut low, mut high) = (0.5_f64, 2.0_f64);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if length(middle) > coupler {
            low = middle
        } else {
            high = middle
        }
    }
    let turned = bar.at_arm_deg(-50.0).unwrap().surface_deg;
    let by_hand = 57.33 - low.to_degrees();
    assert!((turned - by_hand).abs() < 0.01, "{turned} {by_hand}");
}
