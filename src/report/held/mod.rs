//! What `held` says, worded once for [`text`] and [`json`]. No deciding; figures from outside stand here with their source.

pub mod json;
pub mod text;

use crate::aircraft::Surface;
use crate::analysis::Quantity;
use crate::servo::held::{Held, Short};
use crate::units::{TorqueUnit, Unit};

/// A surface held at neutral against weights.
pub struct Shown<'a> {
    pub files: &'a [String],
    pub surface: &'a Surface,
    pub held: Held,
    /// Why a recording's run did not reach its end.
    pub unfinished: Option<&'a str>,
}

impl Shown<'_> {
    /// The play at the trailing edge as a share of the chord from hinge line to trailing edge.
    fn play_of_chord(&self) -> Option<Quantity> {
        self.held.play_deg.map(|q| q.times(1_f64.to_radians()))
    }

    /// The play at the trailing edge, mm.
    fn play_mm(&self) -> Option<Quantity> {
        self.play_of_chord().map(|q| q.times(self.surface.chord_mm))
    }
}

/// The outcome in a sentence.
fn sentence(shown: &Shown<'_>, unit: TorqueUnit) -> String {
    let held = &shown.held;
    match held.short {
        Some(Short::Nothing) => {
            return "Nothing can be told: no arming with angle, pulse and a hung weight (# hung_ncm) was found.".into();
        }
        Some(Short::OneSide) => {
            return "Weights hung on one side alone: free play cannot be told. Hang them on the other side as well.".into();
        }
        Some(Short::OneLoad) => {
            return "One weight a side: give and free play cannot be told apart. Hang a second one, twice as heavy or more.".into();
        }
        Some(Short::NotRepeated) => {
            return "No weight was hung twice: how readings scatter is not known. Hang all of them once more.".into();
        }
        None => {}
    }
    let stiffness = match (held.stiffness, held.stiffer_than) {
        (Some(q), _) => format!(
            "The whole circuit holds with {}",
            crate::report::view::quantity(&q, Unit::Stiffness(unit))
        ),
        (None, Some(bound)) => format!(
            "The whole circuit is stiffer than {}: these weights bend it too little to tell more. If it did not move at all, see that they hung on the surface, then take heavier ones",
            Unit::Stiffness(unit).plain(bound)
        ),
        (None, None) => "The readings do not follow the weights".into(),
    };
    match held.play_deg {
        Some(play) => {
            let about = match play.interval {
                Some(i) if i.lo95 > 0.0 => "and has",
                Some(_) => "and shows no free play for certain:",
                None => "and has",
            };
            format!(
                "{stiffness}, {about} {} of free play.",
                crate::report::view::quantity(&play, Unit::Degree)
            )
        }
        None => format!("{stiffness}."),
    }
}

/// What the numbers hold, and do not.
fn small_print(shown: &Shown<'_>, unit: TorqueUnit) -> Vec<String> {
    let held = &shown.held;
    let mut lines = vec![
        "Measured is all between servo and surface: horns, rod, joints, mounts, and the servo's own dead band and control. Free play is \
         what the lighter weight takes up less its share of give; friction keeps a light weight from taking up all of it, and then it \
         reads too small."
            .to_owned(),
        format!(
            "Scatter is counted from armings. The weights and their lever are taken to be known to {} (standard uncertainty, shared by \
             all); the angle is read in steps of {}.",
            Unit::Share.given(held.hung_u),
            Unit::Degree.plain(held.step_deg)
        ),
    ];
    if let Some(memory) = held
        .memory_deg
        .filter(|q| q.interval.is_some_and(|i| i.lo95 > 0.0))
    {
        lines.push(format!(
            "With nothing hung neutral comes back {} apart, by what was hung before: friction and the servo's dead band hold it there. Free \
             play is not known better than that. Heavier weights, and a hinge that moves easily, show it better.",
            crate::report::view::quantity(&memory, Unit::Degree)
        ));
    }
    if !held.moving_on.is_empty() {
        let loads: Vec<String> = held
            .moving_on
            .iter()
            .map(|l| Unit::Torque(unit).plain(*l))
            .collect();
        lines.push(format!(
            "It went on moving while it was held under {}: the servo gives way or hunts there. Its mean was taken.",
            loads.join(", ")
        ));
    }
    lines
}

/// Free play that full-size aircraft are allowed, for comparison. Seen: that 14 CFR 23.629(d) names Report No. 45; the cover and contents
/// of AC 23.629-1B; AC 43.13-1B, 4-36 d, up to the static test; that the FAA's bulletin NM-07-19 goes by MIL-A-8870A. The figures
/// themselves were not seen and are from memory.
const ELSEWHERE: [&str; 2] = [
    "FOR COMPARISON ONLY, full-size light aircraft, and no limit for a model: 14 CFR 23.629(d) and the FAA's AC 23.629-1B, Flutter, accept \
     Airframe and Equipment Engineering Report No. 45 (R. Rosenbaum, A. A. Vollmecke, Simplified Flutter Prevention Criteria for Personal \
     Type Aircraft). For trim tabs AC 43.13-1B, 4-36, asks for this same static test, loads one way and the other, and allows a total \
     free play of 2 % of the tab's chord, 1 % where the tab spans more than 35 % of its surface (the two figures from memory: look them \
     up before you lean on them).",
    "Military aircraft, likewise: MIL-A-8870A allows trailing-edge surfaces a total of 0.13° outboard of 75 % of the span, 0.57° between \
     50 and 75 %, 1.15° inboard of 50 %, all-moving tails 0.034° (figures from memory).",
];
