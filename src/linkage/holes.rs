//! What other holes on arm and horn would do: is the throw reached, what of the servo's torque does it take, how far from a
//! dead point does it stay. No choosing for the builder beyond an order.

use super::along::{self, product};
use super::{HingeTorque, Known, Setup, Travel};
use crate::analysis::{Interval, Quantity};

/// Fewer degrees of the arm than this left before a dead point are too few (common practice, no source).
pub const LEAST_LEFT_DEG: f64 = 10.0;

/// Whether the asked throws are reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reach {
    Yes,
    /// The interval of what is left includes none.
    TooNearToTell,
    /// The rod reaches it, and how far the servo turns is not known.
    ServoNotKnown,
    No,
}

/// One pair of holes, tried.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    pub arm_mm: f64,
    pub horn_mm: f64,
    /// The holes in use.
    pub in_use: bool,
    /// The rod with arm and surface at neutral as now.
    pub rod_mm: Quantity,
    pub reach: Reach,
    /// Arm angles that the furthest throws take, signed, up and down; `None` where the rod does not reach.
    pub needs_deg: (Option<Quantity>, Option<Quantity>),
    /// Where the surface gets to on that side, °, signed.
    pub gets_to_deg: (f64, f64),
    /// What of the servo's way is left on the side with less, °.
    pub margin_deg: Option<Quantity>,
    /// The most torque at the servo on the way, N·cm: of the measured hinge torque, else of 1 N·cm at the hinge.
    pub peak_ncm: Option<Quantity>,
    /// What of the arm's way is left before the nearer dead point, °.
    pub left_deg: Option<Quantity>,
    /// The least angle on the way between the rod's line and arm or horn, °.
    pub clear_deg: f64,
}

impl Tried {
    /// So near to a dead point that it is no choice to be recommended.
    pub fn near_dead_point(&self) -> bool {
        self.clear_deg < super::NEAR_DEG || self.left_deg.is_some_and(|q| q.value < LEAST_LEFT_DEG)
    }
}

/// What the tried linkages have to do.
#[derive(Debug, Clone, Copy)]
pub struct Task<'a> {
    /// The furthest asked deflections, ° up (positive) and down (negative).
    pub asked: (f64, f64),
    pub travel: Option<Travel>,
    pub torque: Option<&'a HingeTorque>,
}

/// All pairs of these holes and of those in use, best first: those that reach, away from dead points, by the torque they take;
/// then the rest, by how little is missing. Pairs whose rod cannot join are left out.
pub fn try_all(known: &Known, arm_mm: &[f64], horn_mm: &[f64], task: Task<'_>) -> Vec<Tried> {
    let mut tried: Vec<Tried> = Vec::new();
    for arm in with_own(arm_mm, known.linkage.arm_mm) {
        for horn in with_own(horn_mm, known.linkage.horn_mm) {
            let setup = Setup::with_holes(known, arm, horn);
            tried.extend(try_one(&setup, arm.is_none() && horn.is_none(), task));
        }
    }
    tried.sort_by(|a, b| {
        order(a)
            .partial_cmp(&order(b))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    tried
}

/// `None` is the hole in use; one within half a millimetre of it is that one.
fn with_own(holes: &[f64], own: f64) -> Vec<Option<f64>> {
    const SAME_MM: f64 = 0.5;
    let others = holes.iter().filter(|h| (*h - own).abs() > SAME_MM);
    let mut all: Vec<Option<f64>> = others.map(|h| Some(*h)).collect();
    all.sort_by(|a, b| a.partial_cmp(b).unwrap_or(std::cmp::Ordering::Equal));
    all.dedup();
    all.push(None);
    all
}

fn order(t: &Tried) -> (Reach, bool, f64) {
    let missing = match t.reach {
        Reach::No => -(t.gets_to_deg.0 - t.gets_to_deg.1),
        _ => t.peak_ncm.map_or(f64::MAX, |p| p.value),
    };
    // One that is too near to tell stands after those that reach, yet before those near a dead point.
    match t.reach {
        Reach::No => (t.reach, false, missing),
        Reach::Yes | Reach::TooNearToTell | Reach::ServoNotKnown if t.near_dead_point() => {
            (Reach::ServoNotKnown, true, missing)
        }
        _ => (t.reach, false, missing),
    }
}

fn try_one(setup: &Setup<'_>, in_use: bool, task: Task<'_>) -> Option<Tried> {
    let linkage = setup.linkage()?;
    let bar = setup.bar()?;
    let (up, down) = task.asked;
    let needs = |deg: f64| along::arm_needed(setup, deg).filter(|q| q.value * deg >= 0.0);
    let needs_deg = (needs(up), needs(down));
    let dead = bar.dead_points();
    let gets_to = |asked: f64, needs: Option<Quantity>, way: Option<f64>, dead: Option<f64>| {
        let arm = match (needs, way, dead) {
            (Some(n), Some(way), _) if n.value.abs() <= way => return asked,
            (Some(_), None, _) => return asked,
            (_, Some(way), Some(dead)) => way.min(dead.abs()) * asked.signum(),
            (_, Some(way), None) => way * asked.signum(),
            (_, None, Some(dead)) => dead,
            (None, None, None) => return 0.0,
        };
        // A hair short of the dead point, where rounding decides whether it closes.
        let stand = bar.at_arm_deg(arm).or_else(|| bar.at_arm_deg(0.999 * arm));
        stand.map_or(0.0, |s| s.surface_deg)
    };
    let ways = task
        .travel
        .map_or((None, None), |t| (Some(t.up_deg), Some(t.down_deg)));
    let gets_to_deg = (
        gets_to(up, needs_deg.0, ways.0, dead.0.map(|d| d.arm_deg)),
        gets_to(down, needs_deg.1, ways.1, dead.1.map(|d| d.arm_deg)),
    );
    let margin_deg = margin(needs_deg, task.travel);
    let reach = match (needs_deg, margin_deg) {
        ((None, _) | (_, None), _) => Reach::No,
        (_, None) => Reach::ServoNotKnown,
        (_, Some(m)) => match m.interval {
            Some(i) if i.lo95 >= 0.0 => Reach::Yes,
            Some(i) if i.hi95 < 0.0 => Reach::No,
            Some(_) => Reach::TooNearToTell,
            None if m.value < 0.0 => Reach::No,
            None => Reach::TooNearToTell,
        },
    };
    let ahead = along::ahead(setup, task.asked);
    let left = [ahead.0, ahead.1].into_iter().flatten().map(|a| a.left_deg);
    let left: Option<Vec<Quantity>> = left.collect();
    let least = left.and_then(|l| l.into_iter().min_by(|a, b| a.value.total_cmp(&b.value)));
    Some(Tried {
        arm_mm: linkage.arm_mm,
        horn_mm: linkage.horn_mm,
        in_use,
        rod_mm: setup.quantity(|bar| Some(bar.rod_mm()))?,
        reach,
        needs_deg,
        gets_to_deg,
        margin_deg,
        peak_ncm: peak(setup, task),
        left_deg: least,
        clear_deg: clear(setup, gets_to_deg),
    })
}

/// What of the servo's way is left on the side with less; `None` where the rod does not reach, or the way is not known.
fn margin(needs: (Option<Quantity>, Option<Quantity>), travel: Option<Travel>) -> Option<Quantity> {
    let left = |needs: Quantity, way: f64| {
        let value = way - needs.value.abs();
        let interval = needs.interval.map(|i| {
            let half = 0.5 * (i.hi95 - i.lo95);
            Interval {
                u: i.u,
                lo95: value - half,
                hi95: value + half,
            }
        });
        Quantity { value, interval }
    };
    let travel = travel?;
    let both = [
        left(needs.0?, travel.up_deg),
        left(needs.1?, travel.down_deg),
    ];
    both.into_iter().min_by(|a, b| a.value.total_cmp(&b.value))
}

/// Deflections tried between neutral and an end.
const PLACES: usize = 24;

fn places((up, down): (f64, f64)) -> impl Iterator<Item = f64> {
    (0..=PLACES).map(move |i| down + (up - down) * i as f64 / PLACES as f64)
}

fn peak(setup: &Setup<'_>, task: Task<'_>) -> Option<Quantity> {
    let hinge = |deg: f64| task.torque.map_or(1.0, |t| t.ncm(deg));
    let bar = setup.bar()?;
    let load = |deg: f64| Some((hinge(deg) * bar.at_surface_deg(deg)?.ratio.abs(), deg));
    let loads: Option<Vec<(f64, f64)>> = places(task.asked).map(load).collect();
    let (_, at) = loads?.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let ratio = setup.quantity(|bar| Some(bar.at_surface_deg(at)?.ratio.abs()))?;
    Some(match task.torque {
        Some(torque) => product(torque.quantity(at), ratio),
        None => ratio,
    })
}

fn clear(setup: &Setup<'_>, to: (f64, f64)) -> f64 {
    let Some(bar) = setup.bar() else {
        return 0.0;
    };
    let stands = places(to).filter_map(|deg| bar.at_surface_deg(deg));
    stands.fold(90.0, |least, s| least.min(s.clear_deg()))
}
