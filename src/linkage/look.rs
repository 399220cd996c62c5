//! Everything about one surface's linkage in one call: as known, along the throw, what is found, and what other holes would do.

use super::along::{self, Ahead, Differential, Row};
use super::fit::{Fitted, NoFit, fit};
use super::holes::{LEAST_LEFT_DEG, Reach, Task, Tried, try_all};
use super::{HingeTorque, Known, NEAR_DEG, Setup, Travel, asked};
use crate::aircraft::{Aircraft, Linkage, Surface};
use crate::analysis::Measured;
use crate::recording::Recording;

/// What a builder gives beside the aircraft file.
#[derive(Debug, Clone, Default)]
pub struct Given {
    /// Instead of the file's holes, where not empty.
    pub arm_holes_mm: Vec<f64>,
    pub horn_holes_mm: Vec<f64>,
    /// The servo's way from neutral to either side, instead of that of its pulses.
    pub servo_travel_deg: Option<f64>,
}

/// Something to look at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finding {
    /// The asked throw on this side is out of reach; how far the surface gets, °.
    OutOfReach { up: bool, gets_to_deg: f64 },
    /// The interval of what is left of the servo's way includes none.
    ReachTooNearToTell,
    /// On this side the asked throw ends near the dead point: what of the arm's way is left, °, and the least angle of the rod to
    /// arm or horn.
    NearDeadPoint {
        up: bool,
        left_deg: f64,
        clear_deg: f64,
    },
    /// The recording stands further from the file's lengths than their tolerance explains.
    NotTheFilesLengths,
    /// No four-bar near the file's describes the recording.
    NoFourBar { rms_deg: f64 },
}

/// A linkage looked at.
#[derive(Debug, Clone)]
pub struct Look {
    /// The lengths in use: fitted, where a recording carries a fit that holds, else the file's.
    pub known: Known,
    /// `None`: no recording.
    pub fitted: Option<Result<Fitted, NoFit>>,
    pub torque: Option<HingeTorque>,
    /// Stall torque, N·cm, at this voltage, V; measured at the plug, or the data sheet's.
    pub stall_ncm: f64,
    pub stall_at_v: f64,
    pub voltage_measured: bool,
    pub asked: (f64, f64),
    pub travel: Option<Travel>,
    pub rows: Vec<Row>,
    pub differential: Option<Differential>,
    pub ahead: (Option<Ahead>, Option<Ahead>),
    /// The holes in use, and any other pair, best first.
    pub tried: Vec<Tried>,
    pub findings: Vec<Finding>,
}

impl Look {
    /// The holes in use.
    pub fn own(&self) -> Option<&Tried> {
        self.tried.iter().find(|t| t.in_use)
    }

    /// Other holes were known.
    pub fn has_others(&self) -> bool {
        self.tried.len() > 1
    }

    /// The best pair, if it reaches, stays away from dead points, and is another than that in use.
    pub fn better(&self) -> Option<&Tried> {
        let first = self.tried.first()?;
        let good = first.reach == Reach::Yes && !first.near_dead_point();
        (good && !first.in_use).then_some(first)
    }
}

/// Looks at a surface with this linkage. `recording`: one of its sweeps, and what was measured of it.
pub fn look(
    aircraft: &Aircraft,
    surface: &Surface,
    linkage: &Linkage,
    recording: Option<(&Recording, &Measured)>,
    given: &Given,
) -> Look {
    let kind = &aircraft.servo_types[aircraft.servos[surface.servo_index].type_index];
    let notes = &surface.linkage_notes;
    let curve = recording.and_then(|(_, m)| m.curve.as_ref());
    let fitted = recording.map(|(r, _)| fit(r, linkage, notes, kind.arm_deg_per_us, curve));
    let holds = fitted.iter().flatten().find(|f| !f.misfits());
    let known = holds.map_or_else(|| Known::on_file(linkage, notes), |f| f.known.clone());
    let torque = curve.and_then(HingeTorque::of);
    let volts = recording.and_then(|(_, m)| m.load.voltage_v);
    let stall_at_v = volts.unwrap_or(kind.stall_voltage_v);
    let travel = match given.servo_travel_deg {
        Some(deg) => Some(Travel {
            up_deg: deg,
            down_deg: deg,
        }),
        None => Travel::of_pulses(aircraft, surface),
    };
    let asked = asked(surface);
    let task = Task {
        asked,
        travel,
        torque: torque.as_ref(),
    };
    let instead = |given: &[f64], file: &[f64]| match given {
        [] => file.to_vec(),
        given => given.to_vec(),
    };
    let tried = try_all(
        &known,
        &instead(&given.arm_holes_mm, &notes.arm_holes_mm),
        &instead(&given.horn_holes_mm, &notes.horn_holes_mm),
        task,
    );
    let setup = Setup::as_it_is(&known);
    let ends = along::ends(&setup, asked);
    let ahead = along::ahead(&setup, asked);
    let mut look = Look {
        rows: along::rows(&setup, asked, torque.as_ref()),
        differential: along::differential(&setup, equal_way(ends, &ahead)),
        known,
        fitted,
        torque,
        stall_ncm: kind.stall_torque_ncm * stall_at_v / kind.stall_voltage_v,
        stall_at_v,
        voltage_measured: volts.is_some(),
        asked,
        travel,
        ahead,
        tried,
        findings: Vec::new(),
    };
    look.findings = findings(&look);
    look
}

/// The larger of the ways to both ends, or as much of it as lies well before either dead point.
fn equal_way(ends: (f64, f64), ahead: &(Option<Ahead>, Option<Ahead>)) -> f64 {
    const BEFORE_IT: f64 = 0.9;
    let dead = [&ahead.0, &ahead.1].into_iter().flatten();
    let first = dead.fold(f64::INFINITY, |a, d| a.min(d.dead.arm_deg.abs()));
    ends.0.max(-ends.1).min(BEFORE_IT * first)
}

fn findings(look: &Look) -> Vec<Finding> {
    let mut found = Vec::new();
    match &look.fitted {
        Some(Ok(fit)) if fit.misfits() => found.push(Finding::NoFourBar {
            rms_deg: fit.rms_deg,
        }),
        Some(Ok(fit)) if fit.strained() => found.push(Finding::NotTheFilesLengths),
        _ => {}
    }
    let Some(own) = look.own() else {
        return found;
    };
    let sides = [
        (true, look.asked.0, own.gets_to_deg.0, &look.ahead.0),
        (false, look.asked.1, own.gets_to_deg.1, &look.ahead.1),
    ];
    for (up, asked, gets_to_deg, ahead) in sides {
        const A_HAIR_DEG: f64 = 0.01;
        if own.reach == Reach::No && gets_to_deg.abs() < asked.abs() - A_HAIR_DEG {
            found.push(Finding::OutOfReach { up, gets_to_deg });
        }
        let left_deg = ahead.as_ref().and_then(|a| a.left_deg).map(|q| q.value);
        let bar = Setup::as_it_is(&look.known).bar();
        let at_end = bar.and_then(|b| b.at_surface_deg(gets_to_deg));
        if let (Some(left_deg), Some(stand), true) = (left_deg, at_end, asked != 0.0) {
            let clear_deg = stand.clear_deg();
            if left_deg < LEAST_LEFT_DEG || clear_deg < NEAR_DEG {
                found.push(Finding::NearDeadPoint {
                    up,
                    left_deg,
                    clear_deg,
                });
            }
        }
    }
    if own.reach == Reach::TooNearToTell {
        found.push(Finding::ReachTooNearToTell);
    }
    found
}
