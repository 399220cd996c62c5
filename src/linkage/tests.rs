//! Claims about the linkage that need no recording.

use proptest::prelude::*;

use super::holes::{Reach, Task, try_all};
use super::{FourBar, InLine, Known, Setup, Travel, along};
use crate::aircraft::{Linkage, LinkageNotes, LinkageSolver};

pub(super) const SAMPLE: Linkage = Linkage {
    arm_mm: 18.0,
    horn_mm: 22.0,
    rod_mm: 95.0,
    base_mm: 97.0,
    arm_zero_deg: 0.0,
};

fn known() -> Known {
    Known::on_file(&SAMPLE, &LinkageNotes::default())
}

fn linkages() -> impl Strategy<Value = Linkage> {
    let lengths = (8.0..40.0, 8.0..40.0, -6.0..6.0, 60.0..200.0, -30.0..30.0);
    lengths.prop_map(|(arm_mm, horn_mm, longer, base_mm, arm_zero_deg)| Linkage {
        arm_mm,
        horn_mm,
        rod_mm: base_mm + longer,
        base_mm,
        arm_zero_deg,
    })
}

proptest! {
    /// The other solver builds the same linkage from two circles, and knows nothing of Freudenstein.
    #[test]
    fn freudensteins_equation_and_the_two_circles_agree(linkage in linkages(), arm_deg in -60.0..60.0) {
        let (Some(bar), Some(solver)) = (FourBar::new(&linkage), LinkageSolver::new(&linkage)) else {
            return Ok(());
        };
        let (ours, theirs) = (bar.at_arm_deg(arm_deg), solver.surface_deg_at_arm_deg(arm_deg));
        if let (Some(ours), Some(theirs)) = (ours, theirs) {
            prop_assert!((ours.surface_deg - theirs).abs() < 1e-7, "{} {theirs}", ours.surface_deg);
        }
    }

    #[test]
    fn the_advantage_is_the_slope_of_arm_over_surface(linkage in linkages(), arm_deg in -60.0..60.0) {
        let Some(bar) = FourBar::new(&linkage) else { return Ok(()) };
        let step = 1e-4;
        let (Some(here), Some(above), Some(below)) =
            (bar.at_arm_deg(arm_deg), bar.at_arm_deg(arm_deg + step), bar.at_arm_deg(arm_deg - step)) else {
            return Ok(());
        };
        prop_assume!(here.clear_deg() > 5.0);
        let slope = (above.surface_deg - below.surface_deg) / (2.0 * step);
        prop_assert!((slope * here.advantage() - 1.0).abs() < 1e-5, "{slope} {}", here.ratio);
    }

    #[test]
    fn angle_there_and_back_is_the_same_before_the_dead_point(linkage in linkages(), share in -0.95..0.95) {
        let Some(bar) = FourBar::new(&linkage) else { return Ok(()) };
        let (up, down) = bar.dead_points();
        let end = if share > 0.0 { up } else { down };
        let Some(end) = end else { return Ok(()) };
        let arm_deg = f64::abs(share) * end.arm_deg;
        let stand = bar.at_arm_deg(arm_deg).unwrap();
        let back = bar.at_surface_deg(stand.surface_deg).unwrap();
        prop_assert!((back.arm_deg - arm_deg).abs() < 1e-4, "{} {arm_deg}", back.arm_deg);
    }

    #[test]
    fn at_a_dead_point_rod_and_lever_lie_in_one_line(linkage in linkages()) {
        let Some(bar) = FourBar::new(&linkage) else { return Ok(()) };
        for dead in [bar.dead_points().0, bar.dead_points().1].into_iter().flatten() {
            let stand = bar.at_arm_deg(dead.arm_deg * (1.0 - 1e-7)).unwrap();
            let (in_line, ratio) = match dead.in_line {
                InLine::Arm => (stand.rod_to_arm_deg, stand.ratio.abs()),
                InLine::Horn => (stand.rod_to_horn_deg, stand.advantage().abs()),
            };
            prop_assert!(in_line < 0.1 && ratio < 0.05, "{dead:?} {stand:?}");
        }
    }

    #[test]
    fn no_linkage_makes_it_panic(
        arm_mm: f64, horn_mm: f64, rod_mm: f64, base_mm: f64, arm_zero_deg: f64, deg: f64,
    ) {
        let linkage = Linkage { arm_mm, horn_mm, rod_mm, base_mm, arm_zero_deg };
        if let Some(bar) = FourBar::new(&linkage) {
            let _ = (bar.at_arm_deg(deg), bar.at_surface_deg(deg), bar.dead_points());
        }
    }
}

#[test]
fn an_interval_holds_what_the_tolerance_does_to_the_throw() {
    let known = known();
    let setup = Setup::as_it_is(&known);
    let at = |l: &Linkage| {
        FourBar::new(l)
            .unwrap()
            .at_arm_deg(30.0)
            .unwrap()
            .surface_deg
    };
    let found = setup
        .quantity(|bar| Some(bar.at_arm_deg(30.0)?.surface_deg))
        .unwrap();
    assert_eq!(found.value, at(&SAMPLE));
    // The horn alone, 0.5 mm longer, moves the throw by most of the interval's half width.
    let longer = Linkage {
        horn_mm: 22.5,
        ..SAMPLE
    };
    let interval = found.interval.unwrap();
    let (half, by_horn) = (
        found.value - interval.lo95,
        (at(&longer) - found.value).abs(),
    );
    assert!(half > by_horn && half < 4.0 * by_horn, "{half} {by_horn}");
}

#[test]
fn with_the_rod_set_anew_neutral_stays_where_it_was() {
    let known = known();
    let setup = Setup::with_holes(&known, Some(14.0), Some(26.0));
    let changed = setup.linkage().unwrap();
    let (before, after) = (
        FourBar::new(&SAMPLE).unwrap(),
        FourBar::new(&changed).unwrap(),
    );
    assert!((before.psi_neutral() - after.psi_neutral()).abs() < 1e-9);
    assert_eq!((changed.arm_mm, changed.horn_mm), (14.0, 26.0));
    assert!((changed.rod_mm - SAMPLE.rod_mm).abs() < 3.0);
}

#[test]
fn the_rows_go_from_throw_to_throw_and_their_torque_is_the_ratio() {
    let known = known();
    let rows = along::rows(&Setup::as_it_is(&known), (24.0, -24.0), None);
    let (first, last) = (rows[0], rows[rows.len() - 1]);
    assert!((first.surface_deg.value + 24.0).abs() < 1e-6, "{first:?}");
    assert!((last.surface_deg.value - 24.0).abs() < 1e-6, "{last:?}");
    assert!(rows.iter().any(|r| r.arm_deg == 0.0));
    for row in &rows {
        assert!((row.servo_ncm.value * row.advantage.value - 1.0).abs() < 1e-9);
    }
}

#[test]
fn a_linkage_mirrored_by_its_arm_has_the_opposite_differential() {
    let of = |arm_zero_deg: f64| {
        let linkage = Linkage {
            arm_zero_deg,
            ..SAMPLE
        };
        let known = Known::on_file(&linkage, &LinkageNotes::default());
        along::differential(&Setup::as_it_is(&known), 30.0).unwrap()
    };
    // The arm set forward loses lever going on forward, set back it gains.
    assert!(of(20.0).ratio.value < of(0.0).ratio.value);
    assert!(of(-20.0).ratio.value > of(0.0).ratio.value);
    assert!(of(0.0).ratio.interval.is_some());
}

fn task(asked: (f64, f64), travel_deg: f64) -> Task<'static> {
    Task {
        asked,
        travel: Some(Travel {
            up_deg: travel_deg,
            down_deg: travel_deg,
        }),
        torque: None,
    }
}

#[test]
fn the_shortest_arm_that_reaches_takes_the_least_torque_and_stands_first() {
    let tried = try_all(
        &known(),
        &[10.0, 14.0, 18.0],
        &[22.0, 26.0],
        task((24.0, -24.0), 50.0),
    );
    assert_eq!(tried.len(), 6);
    let best = &tried[0];
    assert_eq!(best.reach, Reach::Yes);
    let reaching = tried
        .iter()
        .filter(|t| t.reach == Reach::Yes && !t.near_dead_point());
    let peak = |t: &super::holes::Tried| t.peak_ncm.unwrap().value;
    assert!(reaching.clone().all(|t| peak(t) >= peak(best)));
    assert!(reaching.count() >= 2);
    assert_eq!(tried.iter().filter(|t| t.in_use).count(), 1);
    // An arm of 10 mm on a horn of 26 mm moves it too little.
    let weak = tried.iter().find(|t| t.arm_mm == 10.0 && t.horn_mm == 26.0);
    assert_eq!(weak.unwrap().reach, Reach::No);
}

#[test]
fn where_none_reaches_the_one_that_gets_furthest_stands_first_and_none_is_said_to_reach() {
    let tried = try_all(&known(), &[10.0, 12.0], &[26.0], task((40.0, -40.0), 30.0));
    assert!(tried.iter().all(|t| t.reach == Reach::No));
    let way = |t: &super::holes::Tried| t.gets_to_deg.0 - t.gets_to_deg.1;
    assert!(tried.windows(2).all(|w| way(&w[0]) >= way(&w[1])));
    assert!(way(&tried[0]) < 80.0 && tried[0].in_use);
}

#[test]
fn a_servo_whose_way_is_not_known_is_not_said_to_reach() {
    let task = Task {
        travel: None,
        ..task((24.0, -24.0), 0.0)
    };
    let tried = try_all(&known(), &[14.0], &[], task);
    assert!(
        tried
            .iter()
            .all(|t| t.reach == Reach::ServoNotKnown && t.margin_deg.is_none())
    );
}

#[test]
fn a_throw_beyond_the_dead_point_is_out_of_reach_however_far_the_servo_turns() {
    let tried = try_all(&known(), &[], &[], task((75.0, -20.0), 170.0));
    assert_eq!(tried[0].reach, Reach::No);
    assert!(tried[0].needs_deg.0.is_none() && tried[0].gets_to_deg.0 < 75.0);
}
