//! Flight load: what the air asks of a servo at speed, on top of what the hinge asked on the bench, against what the servo
//! has. An estimate, never a proof. Pure: no file, clock, port, print or sentence; nothing here is measured or judged but
//! against one share.
//!
//! Torque is at the hinge unless it says arm, N·cm, up (left of a rudder) positive: what the servo has to give. The hinge's
//! own part carries the interval of its sweep, the servo's that of its lead; the air's part has none, but a factor.
//!
//! Which way is worst: friction is against the surface whichever way it moves, so the servo has to give most while it moves
//! the way it is pushing: outwards against the air as a rule. Where the air (attack, a sprung hinge) drives the surface on,
//! the worst is moving back. Both are tried. And the worst speed is not always the highest: where the air helps, standing
//! still may ask for more. What is given for a speed is the most from standing still up to it.

mod atmosphere;
mod flap;
mod hinge;
mod load;
mod picture;
mod servo;
#[cfg(test)]
mod tests;

pub use atmosphere::{Atmosphere, ZERO_C_K};
pub use flap::{Flap, MOST_MACH};
pub use picture::{Drawn, SPEED_SHARES};
pub use servo::{Has, NoDrop, has};

use crate::aircraft::{Aircraft, LinkageSolver, Surface};
use crate::analysis::Measured;
use hinge::Hinge;
use load::Load;

/// Angle of attack either way that the worst case is told for, °: common practice, no source.
pub const WORST_ATTACK_DEG: f64 = 4.0;
/// From here on the flow over a plain flap is likely to separate, and the theory ends, °: common practice, no source.
pub const SEPARATES_DEG: f64 = 20.0;
/// How far a balance is looked for beyond the throws, °: there is nothing to be said for the theory further on.
pub const FARTHEST_DEG: f64 = 45.0;

/// A value and the half width of its 95 % interval, from what was measured alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    pub value: f64,
    pub half95: Option<f64>,
}

impl Part {
    fn times(self, by: f64) -> Self {
        Self {
            value: self.value * by,
            half95: self.half95.map(|h| h * by.abs()),
        }
    }
}

/// What is asked of all surfaces alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    pub atmosphere: Atmosphere,
    /// At the source, V.
    pub supply_v: f64,
    /// The air's part is multiplied by this.
    pub factor: f64,
    /// Nose up positive; of a rudder, with the wind from the right.
    pub attack_deg: f64,
    /// Of the whole wing or tail; `None`: two-dimensional.
    pub aspect: Option<f64>,
    /// A share of what the servo has from which a throw is a finding.
    pub most_share: f64,
}

/// Why something is missing or left out.
#[derive(Debug, Clone, PartialEq)]
pub enum Doubt {
    /// No sweep was given: the hinge's own torque is left out.
    NoSweep,
    /// The sweep shows no torque.
    NoTorque,
    /// The sweep did not go as far as these throws.
    NotSwept(Vec<String>),
    NoLinkage,
    /// The linkage as described cannot be turned as far as these throws.
    OutOfReach(Vec<String>),
    /// The lead as measured would feed no servo.
    HopelessLead,
    /// The fastest speed is beyond [`MOST_MACH`].
    TooFast {
        mach: f64,
    },
    /// Throws beyond [`SEPARATES_DEG`].
    Separates(Vec<String>),
}

/// The fastest speed at which something holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fastest {
    /// m/s.
    UpTo(Part),
    /// Up to [`MOST_MACH`] and beyond what the theory covers; m/s.
    Beyond(f64),
    /// Not even standing still.
    Never,
}

/// One throw at the surface's fastest speed.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub throw: String,
    /// Up (left) positive.
    pub deg: f64,
    /// The air's part with the factor in it, positive against the servo.
    pub air_ncm: f64,
    /// The hinge's own, likewise; `None` where no sweep says.
    pub hinge_ncm: Option<Part>,
    /// Both, at the hinge. Without the hinge's own it is the air's alone.
    pub sum_ncm: Part,
    /// Moving outwards is the worst (else moving back).
    pub worst_outwards: bool,
    /// More is asked standing still than at the fastest speed.
    pub worst_standing: bool,
    /// Surface degrees per arm degree there.
    pub ratio: Option<f64>,
    pub at_arm_ncm: Option<Part>,
    /// Of what the servo has.
    pub share: Option<Part>,
    /// Share with [`WORST_ATTACK_DEG`] more of attack, whichever way is worse.
    pub share_at_worst_attack: Option<f64>,
    /// Where on the way there more is asked of the servo than at the end, ° and share: a linkage that eases off outwards.
    pub worse_on_the_way: Option<(f64, f64)>,
    pub holds: Option<Fastest>,
    /// Up to here the share stays below the one asked.
    pub within_share: Option<Fastest>,
    /// The share, there or on the way, is above the one asked.
    pub over: bool,
}

/// Where servo and air balance at the fastest speed, on one side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Balance {
    /// Magnitude, °. `beyond`: further out than the largest throw, where nothing was measured.
    At { deg: Part, beyond: bool },
    /// Nowhere up to here, °: the linkage ends, or [`FARTHEST_DEG`].
    NotUpTo { deg: f64, linkage_ends: bool },
}

/// One side of a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SideBalance {
    /// Up (left).
    pub positive: bool,
    pub balance: Balance,
}

/// What is estimated of one surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    pub fastest_m_s: f64,
    pub mach: f64,
    pub dynamic_pa: f64,
    /// The surface's chord over the whole chord.
    pub flap_share: f64,
    /// As used at the fastest speed.
    pub flap: Flap,
    /// Two-dimensional, incompressible.
    pub plain: Flap,
    pub has: Option<Has>,
    pub rows: Vec<Row>,
    pub balances: Vec<SideBalance>,
    pub drawn: Option<Drawn>,
    pub doubts: Vec<Doubt>,
}

impl Estimate {
    /// Throws above the share asked.
    pub fn over(&self) -> impl Iterator<Item = &Row> {
        self.rows.iter().filter(|row| row.over)
    }

    /// Some throw has no share at all, or only the least that it can be, the hinge's part being unknown.
    pub fn unproven(&self) -> bool {
        let unknown = |row: &Row| row.share.is_none() || row.hinge_ncm.is_none();
        self.rows.iter().any(unknown)
    }
}

/// The estimate of one surface; `measured` is its latest sweep. `None` where the aircraft file says nothing of its air.
pub fn estimate(
    aircraft: &Aircraft,
    surface: &Surface,
    measured: Option<&Measured>,
    asked: &Asked,
) -> Option<Estimate> {
    let air = surface.air?;
    let servo = &aircraft.servos[surface.servo_index];
    let has = has(
        &aircraft.servo_types[servo.type_index],
        asked.supply_v,
        measured.and_then(|m| m.lead_mohm.as_ref()),
        servo.calibration.as_ref(),
    );
    let curve = measured.and_then(|m| m.curve.as_ref());
    let load = Load {
        asked,
        span_m: 1e-3 * air.span_mm,
        chord_m: 1e-3 * surface.chord_mm,
        plain: Flap::plain(surface.chord_mm / air.wing_chord_mm),
        hinge: curve.and_then(Hinge::of),
        linkage: surface.linkage.as_ref().and_then(LinkageSolver::new),
        has_ncm: has.map(|has| has.torque_ncm),
        fastest_m_s: air.fastest_m_s,
    };
    let rows: Vec<Row> = surface.throws.iter().map(|t| load.row(t)).collect();
    let mach = air.fastest_m_s / asked.atmosphere.sound_m_s;
    Some(Estimate {
        fastest_m_s: air.fastest_m_s,
        mach,
        dynamic_pa: asked.atmosphere.dynamic_pa(air.fastest_m_s),
        flap_share: surface.chord_mm / air.wing_chord_mm,
        flap: load.flap_at(air.fastest_m_s),
        plain: load.plain,
        has,
        balances: load.balances(&surface.throws),
        drawn: picture::drawn(&load, &surface.throws),
        doubts: doubts(&load, measured, &rows, mach),
        rows,
    })
}

fn doubts(load: &Load, measured: Option<&Measured>, rows: &[Row], mach: f64) -> Vec<Doubt> {
    let named = |which: &dyn Fn(&Row) -> bool| -> Vec<String> {
        let those = rows.iter().filter(|row| which(row));
        those.map(|row| row.throw.clone()).collect()
    };
    let mut doubts = Vec::new();
    match (measured, load.hinge) {
        (None, _) => doubts.push(Doubt::NoSweep),
        (Some(_), None) => doubts.push(Doubt::NoTorque),
        (Some(_), Some(_)) => doubts.push(Doubt::NotSwept(named(&|r| r.hinge_ncm.is_none()))),
    }
    match load.linkage {
        None => doubts.push(Doubt::NoLinkage),
        Some(_) => doubts.push(Doubt::OutOfReach(named(&|r| r.ratio.is_none()))),
    }
    if load.has_ncm.is_none() {
        doubts.push(Doubt::HopelessLead);
    }
    if mach > MOST_MACH {
        doubts.push(Doubt::TooFast { mach });
    }
    doubts.push(Doubt::Separates(named(&|r| r.deg.abs() > SEPARATES_DEG)));
    doubts.retain(|doubt| match doubt {
        Doubt::NotSwept(t) | Doubt::OutOfReach(t) | Doubt::Separates(t) => !t.is_empty(),
        _ => true,
    });
    doubts
}
