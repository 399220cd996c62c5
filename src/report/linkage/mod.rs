//! A surface's linkage told: what text, JSON and picture share. No arithmetic of the trade.

pub mod json;
pub mod text;

use crate::aircraft::{Side, Surface};
use crate::analysis::{Interval, Quantity};
use crate::linkage::fit::NoFit;
use crate::linkage::holes::Tried;
use crate::linkage::look::{Finding, Look};
use crate::units::Unit;

/// One surface's linkage, looked at.
pub struct Looked<'a> {
    pub surface: &'a Surface,
    /// The recording that fit and torque come from, as it is to be shown.
    pub recording: Option<String>,
    pub look: Look,
}

/// How a surface's linkage stands, in a word of the JSON that stays and in words.
fn state(looked: &Looked<'_>) -> (&'static str, &'static str) {
    match (looked.look.findings.is_empty(), &looked.look.fitted) {
        (true, None) => (
            "nothing-measured",
            "nothing measured, computed from the file's lengths alone",
        ),
        (false, None) => (
            "found",
            "look at this; nothing measured, computed from the file's lengths alone",
        ),
        (true, Some(Err(_))) => (
            "no-fit",
            "nothing found, but the lengths are the file's: no fit to the recording",
        ),
        (false, Some(Err(_))) => (
            "found",
            "look at this; the lengths are the file's: no fit to the recording",
        ),
        (true, Some(Ok(_))) => ("nothing-found", "nothing found"),
        (false, Some(Ok(_))) => ("found", "look at this"),
    }
}

/// Said before anyone changes a hole.
pub const CAUTION: &str = "Before you change a hole: propulsion and fuel made safe, servo unpowered. Afterwards move the surface by hand \
     through its whole throw first and look for clearance of rod, horn and arm at both ends, then set the rod so that the surface stands at \
     neutral, and the throws anew. The manuals of the airframe and of the servo decide which holes may be used.";

/// The words for the two sides of this surface.
pub fn sides(surface: &Surface) -> (&'static str, &'static str) {
    let rudder = surface
        .throws
        .iter()
        .any(|t| matches!(t.side, Side::Left | Side::Right));
    match rudder {
        true => ("left", "right"),
        false => ("up", "down"),
    }
}

fn side(surface: &Surface, up: bool) -> &'static str {
    let both = sides(surface);
    if up { both.0 } else { both.1 }
}

/// The peak as a share of stall; `None` where no torque was measured.
pub(in crate::report) fn share(look: &Look, tried: &Tried) -> Option<Quantity> {
    look.torque.as_ref()?;
    let peak = tried.peak_ncm?;
    let by = 1.0 / look.stall_ncm;
    Some(Quantity {
        value: peak.value * by,
        interval: peak.interval.map(|i| Interval {
            u: i.u * by,
            lo95: i.lo95 * by,
            hi95: i.hi95 * by,
        }),
    })
}

fn finding_word(finding: &Finding) -> &'static str {
    match finding {
        Finding::OutOfReach { .. } => "throw-out-of-reach",
        Finding::ReachTooNearToTell => "reach-too-near-to-tell",
        Finding::NearDeadPoint { .. } => "near-dead-point",
        Finding::NotTheFilesLengths => "not-the-files-lengths",
        Finding::NoFourBar { .. } => "no-four-bar",
    }
}

fn finding(looked: &Looked<'_>, finding: &Finding) -> String {
    let deg = |v: f64| Unit::Degree.place(v);
    match *finding {
        Finding::OutOfReach { up, gets_to_deg } => {
            let asked = looked.look.asked;
            format!(
                "The throw {} is out of reach: {} of {}. Change holes as below, or the servo's travel.",
                side(looked.surface, up),
                deg(gets_to_deg.abs()),
                deg(if up { asked.0 } else { -asked.1 })
            )
        }
        Finding::ReachTooNearToTell => {
            "Whether the servo's travel is enough is too near to tell with lengths known this well: measure arm and horn to 0.2 mm and \
             write tolerance_mm = 0.2, or sweep with an arm angle sensor."
                .to_owned()
        }
        Finding::NearDeadPoint {
            up,
            left_deg,
            clear_deg,
        } => format!(
            "The throw {} ends near the dead point: {} of the arm are left, and the rod stands at {} to arm or horn there. Play and force \
             at the joints grow; a shorter arm's way needs a longer arm or a shorter horn.",
            side(looked.surface, up),
            deg(left_deg),
            deg(clear_deg)
        ),
        Finding::NotTheFilesLengths => {
            "The recording does not go with the file's lengths within their tolerance: measure arm, horn, rod and base again."
                .to_owned()
        }
        Finding::NoFourBar { rms_deg } => format!(
            "No four-bar near the file's goes through the measured angles ({} left over, rms): look for a bent rod, a loose arm, a horn out \
             of plane; the file's lengths are used below.",
            Unit::Degree.plain(rms_deg)
        ),
    }
}

fn no_fit(why: NoFit) -> String {
    match why {
        NoFit::NoSurfaceAngle => "the recording has no surface angle".to_owned(),
        NoFit::NoArmAngle => "the recording has neither arm_deg, nor pulse_us with arm_deg_per_us in the aircraft file: add one of them"
            .to_owned(),
        NoFit::TooFewCycles { cycles } => {
            format!("three cycles or more are needed to tell scatter, and there are {cycles}: sweep with more cycles")
        }
        NoFit::TooLittle => {
            "too little steady travel to tell a linkage from a straight line: sweep between the full throws".to_owned()
        }
        NoFit::DidNotSettle => {
            "the fit did not settle: arm and surface angle may run against each other, or be of another surface".to_owned()
        }
    }
}
