//! What work on an aircraft begins anew, quantity by quantity. No reading is looked at here.
//!
//! A quantity begins anew where the work changed what is measured, or what it is worked out from. All else goes on: a drift that
//! a new servo cannot have caused is still a drift. Limits are judged whatever was done.
//!
//! | quantity | servo exchanged | hinge | rod | for |
//! | --- | --- | --- | --- | --- |
//! | stiffness, friction by torque sensor | goes on | anew | goes on | measured at the hinge line, whatever drives it |
//! | stiffness, friction by rod force | goes on | anew | anew | brought to the hinge line by the rod's geometry |
//! | stiffness, friction by supply power | anew | anew | anew | worked out through the servo's calibration and the ratio |
//! | slop | anew | anew | anew | gears, and all joints up to the horn, which come apart for either |
//! | centring of the surface | anew | anew | anew | arm, rod and hinge line place it |
//! | share of stall | anew | anew | anew | the servo's stall, the ratio, the hinge's torque |
//! | hold current, idle current, lead | anew | goes on | goes on | the servo's own: a rod that binds is to be seen in it |
//! | held stiffness and its free play | anew | anew | anew | servo, rod and horn hold it, and the horn comes off with the hinge |
//! | fight of two servos | anew | goes on | anew | where their middles stand, by servo and rod |
//! | servo's speed, centring, dead band, trembling | anew | goes on | goes on | the servo's own |
//!
//! A hinge worked in begins stiffness, friction and share of stall anew, and no more: nothing was taken apart.
//!
//! Throws and the ratio are no series of a season: each sweep judges them by itself. Common practice, no source.

use super::Measure;
use crate::analysis::TorqueSource;

/// What was worked on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Work {
    /// The servo is another one.
    Servo,
    Hinge,
    /// Rod, clevises, horn or arm.
    Rod,
    /// The hinge was moved until it was softer.
    WorkedIn,
}

impl Work {
    /// Whether readings after it stand against a new baseline; `torque_from` is a result's word for where torque came from.
    pub fn begins_anew(self, measure: Measure, torque_from: Option<&str>) -> bool {
        match measure {
            Measure::Stiffness | Measure::Friction => {
                let sensor = torque_from == Some(TorqueSource::Torque.word());
                let force = torque_from == Some(TorqueSource::Force.word());
                match self {
                    Work::Hinge | Work::WorkedIn => true,
                    Work::Rod => !sensor,
                    Work::Servo => !sensor && !force,
                }
            }
            Measure::ShareOfStall => true,
            Measure::Slop | Measure::Rest | Measure::HeldStiffness | Measure::HeldPlay => {
                self != Work::WorkedIn
            }
            Measure::Fight => matches!(self, Work::Servo | Work::Rod),
            Measure::HoldNeutral
            | Measure::Lead
            | Measure::Slew
            | Measure::Idle
            | Measure::Centring
            | Measure::DeadBand
            | Measure::Jitter => self == Work::Servo,
        }
    }
}

/// A hinge moved until it was softer, in words.
pub const WORKED_IN_WORDS: &str = "worked in";

impl Work {
    /// What begins anew, for people, as the table has it.
    pub fn begins(self) -> String {
        let sources = [
            (TorqueSource::Torque, "a torque sensor"),
            (TorqueSource::Force, "rod force"),
            (TorqueSource::SupplyPower, "supply power"),
        ];
        let mut said: Vec<String> = Vec::new();
        for measure in Measure::ALL {
            let of = |&&(source, _): &&(TorqueSource, &str)| {
                self.begins_anew(measure, Some(source.word()))
            };
            let from: Vec<&str> = sources.iter().filter(of).map(|(_, words)| *words).collect();
            let words = measure.words();
            match from.len() {
                0 => {}
                3 => said.push(words.into()),
                _ => said.push(format!("{words} by {}", from.join(" or "))),
            }
        }
        said.join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table above, row by row.
    #[test]
    fn each_work_begins_anew_what_it_changes_and_nothing_else() {
        use Measure::*;
        let rows: [(&[Measure], &str, [bool; 3]); 8] = [
            (&[Stiffness, Friction], "torque", [false, true, false]),
            (&[Stiffness, Friction], "force", [false, true, true]),
            (&[Stiffness, Friction], "supply-power", [true; 3]),
            (&[Slop, Rest, ShareOfStall], "torque", [true; 3]),
            (&[HeldStiffness, HeldPlay], "torque", [true; 3]),
            (&[Fight], "torque", [true, false, true]),
            (&[HoldNeutral, Idle, Lead], "torque", [true, false, false]),
            (
                &[Slew, Centring, DeadBand, Jitter],
                "torque",
                [true, false, false],
            ),
        ];
        for (measures, from, expected) in rows {
            for measure in measures {
                let works = [Work::Servo, Work::Hinge, Work::Rod];
                let said = works.map(|work| work.begins_anew(*measure, Some(from)));
                assert_eq!(said, expected, "{measure:?} by {from}");
            }
        }
    }

    #[test]
    fn a_hinge_worked_in_begins_its_torque_anew_and_nothing_that_was_left_in_place() {
        let anew = |m: &Measure| Work::WorkedIn.begins_anew(*m, Some("torque"));
        let begun: Vec<Measure> = Measure::ALL.into_iter().filter(anew).collect();
        assert_eq!(
            begun,
            [Measure::Stiffness, Measure::Friction, Measure::ShareOfStall]
        );
    }

    #[test]
    fn what_is_the_servo_s_own_is_left_alone_by_hinge_and_rod() {
        for measure in Measure::ALL.into_iter().filter(|m| m.is_the_servos_own()) {
            assert!(Work::Servo.begins_anew(measure, None));
            assert!(!Work::Hinge.begins_anew(measure, None), "{measure:?}");
            assert!(!Work::Rod.begins_anew(measure, None), "{measure:?}");
        }
    }
}
