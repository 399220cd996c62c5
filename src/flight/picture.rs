//! What is drawn of an estimate: torque at the arm against deflection, at some speeds. No picture is made here.

use super::load::{Load, largest_deg};
use crate::aircraft::Throw;

/// Speeds drawn, as shares of the surface's fastest.
pub const SPEED_SHARES: [f64; 4] = [0.0, 0.5, 0.75, 1.0];
/// So much further than the largest throw is drawn, °.
const BEYOND_DEG: f64 = 2.0;
const POINTS: usize = 160;

/// Magnitudes of the torque at the servo's arm in the worst direction.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// Deflections, up (left) positive, ascending; as far as linkage and sweep reach.
    pub deg: Vec<f64>,
    /// One curve a speed: m/s, and N·cm at each deflection.
    pub at_arm_ncm: Vec<(f64, Vec<f64>)>,
    /// What the servo has, N·cm.
    pub has_ncm: f64,
}

/// `None` without a linkage or without what the servo has.
pub fn drawn(load: &Load, throws: &[Throw]) -> Option<Drawn> {
    let has_ncm = load.has_ncm?.value;
    let end = |positive| largest_deg(throws, positive).map_or(0.0, |deg| deg + BEYOND_DEG);
    let (low, high) = (-end(false), end(true));
    let (mut deg, mut ratios) = (Vec::new(), Vec::new());
    for step in 0..=POINTS {
        let at = low + (high - low) * step as f64 / POINTS as f64;
        let swept = load.hinge.is_none_or(|hinge| hinge.reaches(at));
        if let Some(ratio) = load.ratio(at).filter(|_| swept) {
            deg.push(at);
            ratios.push(ratio);
        }
    }
    let at_arm_ncm = SPEED_SHARES
        .iter()
        .map(|share| {
            let speed_m_s = share * load.fastest_m_s;
            let need = |deg| load.need(deg, load.asked.attack_deg, speed_m_s);
            let torque = deg.iter().zip(&ratios);
            let torque = torque.map(|(&deg, ratio)| need(deg).sum_ncm.abs() * ratio);
            (speed_m_s, torque.collect())
        })
        .collect();
    (deg.len() > 1).then_some(Drawn {
        deg,
        at_arm_ncm,
        has_ncm,
    })
}
