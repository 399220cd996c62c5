//! Air, hinge, linkage and servo at one surface, put together: what is asked at a deflection and a speed, up to which
//! speed the servo holds, and where the two balance. No sentence.

use super::flap::{Flap, MOST_MACH};
use super::hinge::{Hinge, Torque};
use super::{Asked, Balance, FARTHEST_DEG, Fastest, Part, Row, SideBalance, WORST_ATTACK_DEG};
use crate::aircraft::{LinkageSolver, Side, Throw};

const NM_TO_NCM: f64 = 100.0;
/// Step in which a balance is looked for, °, before it is narrowed down.
const STEP_DEG: f64 = 0.25;
/// Less more than this is not worth a word.
const CLEARLY_MORE: f64 = 1.02;

pub struct Load<'a> {
    pub asked: &'a Asked,
    pub span_m: f64,
    /// Of the surface, hinge line to trailing edge.
    pub chord_m: f64,
    pub plain: Flap,
    pub hinge: Option<Hinge<'a>>,
    pub linkage: Option<LinkageSolver>,
    pub has_ncm: Option<Part>,
    pub fastest_m_s: f64,
}

/// What the servo has to give at the hinge in the worst direction, up positive, N·cm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Need {
    pub sum_ncm: f64,
    pub air_ncm: f64,
    pub hinge_ncm: f64,
    pub half95_ncm: Option<f64>,
    pub moving_up: bool,
    pub standing: bool,
}

impl Load<'_> {
    /// Coefficients at a speed: compressible, then on the wing where its aspect ratio is known.
    pub fn flap_at(&self, speed_m_s: f64) -> Flap {
        let mach = speed_m_s / self.asked.atmosphere.sound_m_s;
        let flap = self.plain.at_mach(mach);
        match self.asked.aspect {
            Some(aspect) => flap.of_wing(aspect),
            None => flap,
        }
    }

    /// The air's part, with the factor. H is positive trailing edge down and the servo gives the opposite, so in terms of
    /// an up-positive deflection it gives +H.
    pub fn air_ncm(&self, deg: f64, attack_deg: f64, speed_m_s: f64) -> f64 {
        let scale =
            self.asked.atmosphere.dynamic_pa(speed_m_s) * self.chord_m.powi(2) * self.span_m;
        let coefficient = self.flap_at(speed_m_s).hinge(attack_deg, -deg);
        self.asked.factor * NM_TO_NCM * scale * coefficient
    }

    /// The most from standing still up to a speed. The sum of a fixed part and one that grows with speed has its greatest
    /// magnitude at one of the two ends.
    pub fn need(&self, deg: f64, attack_deg: f64, speed_m_s: f64) -> Need {
        let torque = self.hinge.map_or(
            Torque {
                moving_up_ncm: 0.0,
                moving_down_ncm: 0.0,
                half95_ncm: None,
            },
            |hinge| hinge.at(deg),
        );
        let air_ncm = self.air_ncm(deg, attack_deg, speed_m_s);
        let mut worst: Option<Need> = None;
        for (standing, air_ncm) in [(false, air_ncm), (true, 0.0)] {
            let ways = [
                (true, torque.moving_up_ncm),
                (false, torque.moving_down_ncm),
            ];
            for (moving_up, hinge_ncm) in ways {
                let need = Need {
                    sum_ncm: air_ncm + hinge_ncm,
                    air_ncm,
                    hinge_ncm,
                    half95_ncm: torque.half95_ncm,
                    moving_up,
                    standing,
                };
                // Without a measured hinge both ways ask for the same: outwards it is.
                let more = |w: &Need| {
                    let (this, that) = (need.sum_ncm.abs(), w.sum_ncm.abs());
                    this > that || (this == that && !standing && moving_up == (deg > 0.0))
                };
                if worst.as_ref().is_none_or(more) {
                    worst = Some(need);
                }
            }
        }
        worst.expect("four cases were tried")
    }

    /// Surface degrees per arm degree; `None` without a linkage or out of its reach.
    pub fn ratio(&self, deg: f64) -> Option<f64> {
        let ratio = self.linkage?.ratio_at_surface_deg(deg)?;
        (ratio.is_finite() && ratio >= 0.0).then_some(ratio)
    }

    pub fn row(&self, throw: &Throw) -> Row {
        let deg = throw.asked_deg * throw.side.sign();
        let swept = self.hinge.is_some_and(|hinge| hinge.reaches(deg));
        let load = self.with_hinge(swept);
        let attack_deg = self.asked.attack_deg;
        let need = load.need(deg, attack_deg, self.fastest_m_s);
        let against = if need.sum_ncm < 0.0 { -1.0 } else { 1.0 };
        let part = |value: f64, half95| Part { value, half95 };
        let sum_ncm = part(need.sum_ncm.abs(), need.half95_ncm);
        let ratio = self.ratio(deg);
        let at_arm_ncm = ratio.map(|ratio| sum_ncm.times(ratio));
        let share = at_arm_ncm.zip(self.has_ncm).map(|(a, h)| quotient(a, h));
        let worse_on_the_way = share.and_then(|share| load.worse_on_the_way(deg, share.value));
        let worst_attack = [-WORST_ATTACK_DEG, WORST_ATTACK_DEG].map(|more| {
            let need = load.need(deg, attack_deg + more, self.fastest_m_s);
            need.sum_ncm.abs()
        });
        let worst_attack = worst_attack[0].max(worst_attack[1]);
        let speed = |share| {
            let (ratio, has) = (ratio?, self.has_ncm?);
            Some(load.fastest(deg, ratio, has.times(share)))
        };
        Row {
            throw: throw.name.clone(),
            deg,
            air_ncm: need.air_ncm * against,
            hinge_ncm: swept.then(|| part(need.hinge_ncm * against, need.half95_ncm)),
            sum_ncm,
            worst_outwards: need.moving_up == (deg > 0.0),
            worst_standing: need.standing,
            ratio,
            at_arm_ncm,
            share,
            share_at_worst_attack: share
                .and(ratio.zip(self.has_ncm))
                .map(|(ratio, has)| worst_attack * ratio / has.value),
            holds: speed(1.0),
            within_share: speed(self.asked.most_share),
            worse_on_the_way,
            over: share
                .map(|share| worse_on_the_way.map_or(share.value, |worse| worse.1))
                .is_some_and(|share| share > self.asked.most_share),
        }
    }

    /// The greatest share between neutral and a deflection, and where, if it is clearly more than the one there.
    fn worse_on_the_way(&self, deg: f64, share: f64) -> Option<(f64, f64)> {
        let has_ncm = self.has_ncm?.value;
        let steps = (deg.abs() / STEP_DEG) as usize;
        let on_the_way = (0..=steps).filter_map(|step| {
            let at = deg.signum() * step as f64 * STEP_DEG;
            let need = self.need(at, self.asked.attack_deg, self.fastest_m_s);
            Some((at, need.sum_ncm.abs() * self.ratio(at)? / has_ncm))
        });
        on_the_way
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .filter(|worst| worst.1 > CLEARLY_MORE * share)
    }

    fn with_hinge(&self, swept: bool) -> Self {
        Self {
            hinge: self.hinge.filter(|_| swept),
            ..*self
        }
    }

    /// The fastest speed at which what is asked stays within what there is. What is asked never falls as the speed grows.
    fn fastest(&self, deg: f64, ratio: f64, has: Part) -> Fastest {
        let most_m_s = MOST_MACH * self.asked.atmosphere.sound_m_s;
        let at = |shift: f64, has_ncm: f64| {
            let lacks = |speed_m_s: f64| {
                let need = self.need(deg, self.asked.attack_deg, speed_m_s);
                (need.sum_ncm.abs() + shift) * ratio > has_ncm
            };
            if lacks(0.0) {
                0.0
            } else if lacks(most_m_s) {
                narrowed(0.0, most_m_s, lacks)
            } else {
                most_m_s
            }
        };
        let value = at(0.0, has.value);
        if value >= most_m_s {
            return Fastest::Beyond(most_m_s);
        }
        if value == 0.0 {
            return Fastest::Never;
        }
        let hinge_half = self.need(deg, self.asked.attack_deg, value).half95_ncm;
        Fastest::UpTo(Part {
            value,
            half95: spread(hinge_half, has.half95, |shift, short| {
                at(shift, has.value - short)
            }),
        })
    }

    /// Where servo and air balance at the fastest speed, on every side that has a throw.
    pub fn balances(&self, throws: &[Throw]) -> Vec<SideBalance> {
        let (Some(_), Some(has)) = (self.linkage, self.has_ncm) else {
            return Vec::new();
        };
        [true, false]
            .into_iter()
            .filter_map(|positive| {
                let largest_deg = largest_deg(throws, positive)?;
                let balance = self.balance(positive, largest_deg, has);
                Some(SideBalance { positive, balance })
            })
            .collect()
    }

    fn balance(&self, positive: bool, largest_deg: f64, has: Part) -> Balance {
        let sign = if positive { 1.0 } else { -1.0 };
        let need = |deg: f64| self.need(sign * deg, self.asked.attack_deg, self.fastest_m_s);
        let lacks = |deg: f64, shift: f64, has_ncm: f64| {
            let ratio = self.ratio(sign * deg)?;
            Some((need(deg).sum_ncm.abs() + shift) * ratio > has_ncm)
        };
        let steps = (FARTHEST_DEG / STEP_DEG) as usize;
        let at = |shift: f64, has_ncm: f64| {
            for step in 0..=steps {
                let deg = step as f64 * STEP_DEG;
                match lacks(deg, shift, has_ncm) {
                    None => return Err(((deg - STEP_DEG).max(0.0), true)),
                    Some(true) => {
                        let from = (deg - STEP_DEG).max(0.0);
                        let lacks = |deg| lacks(deg, shift, has_ncm).unwrap_or(true);
                        return Ok(narrowed(from, deg, lacks));
                    }
                    Some(false) => {}
                }
            }
            Err((FARTHEST_DEG, false))
        };
        match at(0.0, has.value) {
            Err((deg, linkage_ends)) => Balance::NotUpTo { deg, linkage_ends },
            Ok(value) => {
                let swept = self.hinge.is_none_or(|hinge| hinge.reaches(sign * value));
                let beyond = value > largest_deg || !swept;
                let half95 = spread(need(value).half95_ncm, has.half95, |shift, short| {
                    at(shift, has.value - short).unwrap_or_else(|(deg, _)| deg)
                });
                Balance::At {
                    // The band of a sweep says nothing of where it did not go.
                    deg: Part {
                        value,
                        half95: half95.filter(|_| !beyond),
                    },
                    beyond,
                }
            }
        }
    }
}

/// The largest throw to one side, magnitude.
pub fn largest_deg(throws: &[Throw], positive: bool) -> Option<f64> {
    let that_way = |side: Side| (side.sign() > 0.0) == positive;
    let those = throws.iter().filter(|t| that_way(t.side));
    those.map(|t| t.asked_deg).reduce(f64::max)
}

/// a/b, the two independent: relative half widths add in squares (JCGM 100:2008, 5.1.6).
fn quotient(a: Part, b: Part) -> Part {
    let value = a.value / b.value;
    let halves = [
        a.half95.map(|h| h / b.value),
        b.half95.map(|h| value * h / b.value),
    ];
    let known = halves.iter().flatten().copied().reduce(f64::hypot);
    Part {
        value,
        half95: known,
    }
}

/// Half width of a result from two inputs' half widths, each moved both ways by itself (JCGM 100:2008, 5.1.3, note 2).
fn spread(first: Option<f64>, second: Option<f64>, at: impl Fn(f64, f64) -> f64) -> Option<f64> {
    let by_first = first.map(|h| 0.5 * (at(h, 0.0) - at(-h, 0.0)).abs());
    let by_second = second.map(|h| 0.5 * (at(0.0, h) - at(0.0, -h)).abs());
    [by_first, by_second]
        .into_iter()
        .flatten()
        .reduce(f64::hypot)
}

/// The place between two where something begins to hold, by halving.
fn narrowed(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    low
}
