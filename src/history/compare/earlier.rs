//! Earlier recordings as repeats of the one before a fix: of which quantities each still is one.

use super::What;
use crate::analysis::{Measured, TorqueSource};
use crate::history::season::{Measure, Work};

/// An earlier recording of the surface by the same rig, and the work that came between it and the pair.
#[derive(Debug, Clone, Copy)]
pub struct Earlier<'a> {
    pub measured: &'a Measured,
    pub work_since: &'a [Work],
}

impl Earlier<'_> {
    /// Whether it repeats a quantity: by the same source of torque, and nothing was done since that begins the quantity anew.
    pub(super) fn repeats(&self, what: What, source: TorqueSource) -> bool {
        let measure = stands_for(what);
        let anew = |work: &Work| work.begins_anew(measure, Some(source.word()));
        self.measured.torque_from == source && !self.work_since.iter().any(anew)
    }
}

/// The quantity of a season that is begun anew by the same work.
fn stands_for(what: What) -> Measure {
    match what {
        What::Stiffness | What::KneePlace { .. } | What::KneeStiffness { .. } => Measure::Stiffness,
        What::Friction | What::TightSpot | What::PeakTorque => Measure::Friction,
        What::Slop => Measure::Slop,
        What::HoldCurrent(0) => Measure::HoldNeutral,
        // How far it goes, and the current that holds it there, hang on servo, rod and hinge alike.
        What::Throw(_) | What::HoldCurrent(_) => Measure::ShareOfStall,
    }
}

/// Whether after this work no recording made before it repeats anything, whatever it took torque from.
pub fn none_repeats(work_since: &[Work]) -> bool {
    let all = [
        Measure::Stiffness,
        Measure::Friction,
        Measure::Slop,
        Measure::HoldNeutral,
        Measure::ShareOfStall,
    ];
    // A torque sensor's readings outlast the most.
    let source = Some(TorqueSource::Torque.word());
    all.iter()
        .all(|m| work_since.iter().any(|w| w.begins_anew(*m, source)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_left_once_hinge_and_servo_were_worked_on() {
        assert!(none_repeats(&[Work::Hinge, Work::Servo]));
        for some in [
            &[][..],
            &[Work::Hinge, Work::Rod],
            &[Work::Servo, Work::Rod],
        ] {
            assert!(!none_repeats(some), "{some:?}");
        }
    }
}
