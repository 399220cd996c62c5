//! Pairs of simulated recordings of one surface, before and after, compared as `prove` compares them. Nothing in between,
//! or a change of known size. The plant shares no formula with the analysis. Used by the example and, in a smaller
//! edition, by the tests.

use hingewright::aircraft::Aircraft;
use hingewright::analysis::{Measured, measure};
use hingewright::history::compare::{Change, Proof, Side, Verdict, What, compare};
use hingewright::recording;
use hingewright::simulated::{CalibrationScatter, Scenario, simulate};

use super::study::{CYCLES, Case, aircraft, scenario};

/// Seeds of the recordings after: far from those before.
const AFTER: u64 = 1 << 32;

/// What is done to the surface between the two recordings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fix {
    Nothing,
    /// Made better by twice the smallest change that the pair, with nothing done, says it could have seen.
    Twice(What),
}

/// A recording measured, its channels, and the aircraft that it was measured by.
pub fn recorded(
    scenario: &Scenario,
    calibration_seed: u64,
    seed: u64,
) -> (Measured, Vec<String>, Aircraft) {
    let simulated = simulate(scenario, seed);
    let calibration = &simulated.truth.calibration;
    let drawn = calibration.drawn(CalibrationScatter::default(), calibration_seed);
    let aircraft = aircraft(scenario, drawn);
    let recording = recording::read(simulated.capture.as_slice(), "simulated")
        .expect("a simulated capture reads");
    let measured = measure(&recording, &aircraft, &aircraft.surfaces[0]);
    let channels = recording.rig.map(|r| r.channels).unwrap_or_default();
    (measured, channels, aircraft)
}

fn proof(before: &Scenario, after: &Scenario, seed: u64) -> Proof {
    proof_by(before, after, seed, ["rig", "rig"])
}

/// As above, by rigs of these names.
pub fn proof_by(before: &Scenario, after: &Scenario, seed: u64, rigs: [&str; 2]) -> Proof {
    let (b, b_channels, aircraft) = recorded(before, seed, seed);
    let (a, a_channels, _) = recorded(after, seed, seed ^ AFTER);
    let [b, a] = [(&b, &b_channels, rigs[0]), (&a, &a_channels, rigs[1])].map(
        |(measured, channels, rig)| Side {
            measured,
            rig: Some(rig),
            servo: Some("E1"),
            channels,
            unfinished: None,
            started: None,
            between_throws: true,
        },
    );
    compare(&aircraft.surfaces[0], &b, &a, &[])
}

/// One pair; with the size of the change made, in the quantity's unit.
pub fn pair(case: Case, fix: Fix, seed: u64) -> Option<(Proof, f64)> {
    let before = scenario(case, CYCLES, seed);
    let unchanged = proof(&before, &before, seed);
    let Fix::Twice(what) = fix else {
        return Some((unchanged, 0.0));
    };
    let size = 2.0 * change_of(&unchanged, what)?.smallest_seen;
    let after = changed(&before, what, size)?;
    Some((proof(&before, &after, seed), size))
}

/// The surface made better by `size`; `None` where there is nothing of the kind to be made better.
pub fn changed(before: &Scenario, what: What, size: f64) -> Option<Scenario> {
    let mut after = before.clone();
    let hinge = &mut after.plant.hinge;
    match what {
        What::Stiffness => hinge.stiffness_ncm_per_deg -= size,
        What::Friction => hinge.friction_ncm -= size,
        What::Slop => after.plant.joints.slop_deg = (after.plant.joints.slop_deg - size).max(0.0),
        What::TightSpot => hinge.tight_spots[0].height_ncm -= size,
        What::KneePlace { up_side: true } => hinge.knee_up.as_mut()?.at_deg += size,
        What::KneePlace { up_side: false } => hinge.knee_down.as_mut()?.at_deg -= size,
        _ => return None,
    }
    Some(after)
}

pub fn change_of(proof: &Proof, what: What) -> Option<&Change> {
    proof.changes.iter().find(|c| c.what == what)
}

/// The change's interval, or its bound, holds the true change.
pub fn holds(change: &Change, truth: f64) -> bool {
    let value = change.change.value;
    match change.change.interval {
        Some(i) => i.lo95 <= truth && truth <= i.hi95,
        None => change.at_least && truth * value.signum() >= value.abs(),
    }
}

/// Anything was said to have changed.
pub fn called(proof: &Proof) -> bool {
    let told = |c: &Change| c.verdict != Verdict::NoChangeShown;
    proof.changes.iter().any(told)
}
