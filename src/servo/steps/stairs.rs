//! Staircases of small steps of the pulse: the smallest change that is answered, and the play between pulse and arm.
//!
//! Where a step is answered, the pulse came past the edge of the dead band somewhere within that step: its middle less the
//! arm's place before is the edge, above it going up and below it going down. Half the distance of the two is the dead
//! band, wherever its middle lies. Staircases are what repeats; their steps' sizes vary, or all would fall alike.

use super::mean::Mean;
use super::trace::Trace;

/// Steps of the pulse that make a staircase, µs.
pub(super) const SMALL_US: f64 = 3.0;
/// Steps that a staircase needs.
const STEPS: usize = 5;
/// A smaller move of the arm is none, degrees; and one within so many standard deviations of two rests.
const MOVED_DEG: f64 = 0.04;
const MOVED_DEVIATIONS: f64 = 4.0;
/// An arm that trembles so that no smaller move than this is told, degrees, answers no staircase.
const RESTLESS_DEG: f64 = 0.15;
/// Share of a step of the staircase to which an edge is told at best (own choice, from the study of simulated servos).
const EDGE: f64 = 0.1;
/// Where so many of the steps are answered the dead band is smaller than the steps.
const NEARLY_ALL: f64 = 0.9;

/// A step of a staircase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stair {
    pub pulse_us: f64,
    pub arm_deg: f64,
}

/// One staircase, in the order of time.
#[derive(Debug, Clone, PartialEq)]
pub struct Staircase {
    /// The arm goes up.
    pub up: bool,
    pub stairs: Vec<Stair>,
}

/// What staircases say.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Answered {
    pub dead_band_us: Option<Mean>,
    pub slop_deg: Option<Mean>,
    /// All steps but the fewest were answered: the dead band is smaller than this, µs.
    pub smaller_than_us: Option<f64>,
    /// The arm trembles too much to tell.
    pub restless: bool,
}

/// The staircases of a spell, and the standard deviation of a rest's mean, degrees.
pub(super) fn staircases(trace: &Trace<'_>, deg_per_us: f64) -> (Vec<Staircase>, f64) {
    let mut found: Vec<Staircase> = Vec::new();
    let mut under_way: Option<(f64, Vec<Stair>)> = None;
    let (mut squares, mut count) = (0.0, 0.0);
    for two in trace.levels.windows(2) {
        let by_us = two[1].pulse_us - two[0].pulse_us;
        let rests = two[0].rest.zip(two[1].rest);
        let (Some((before, after)), true) = (rests, by_us.abs() <= SMALL_US) else {
            end(under_way.take(), deg_per_us, &mut found);
            continue;
        };
        squares += after.drift_deg.powi(2);
        count += 1.0;
        let stair = |level: usize, arm_deg| Stair {
            pulse_us: two[level].pulse_us,
            arm_deg,
        };
        match &mut under_way {
            Some((heading, stairs)) if heading.signum() == by_us.signum() => {
                stairs.push(stair(1, after.arm_deg));
            }
            other => {
                let begun = vec![stair(0, before.arm_deg), stair(1, after.arm_deg)];
                let ended = other.replace((by_us, begun));
                end(ended, deg_per_us, &mut found);
            }
        }
    }
    end(under_way, deg_per_us, &mut found);
    // Two halves' difference has twice the standard deviation of their mean.
    let deviation = if count > 0.0 {
        0.5 * f64::sqrt(squares / count)
    } else {
        0.0
    };
    (found, deviation)
}

fn end(one: Option<(f64, Vec<Stair>)>, deg_per_us: f64, found: &mut Vec<Staircase>) {
    if let Some((heading, stairs)) = one.filter(|(_, s)| s.len() > STEPS) {
        found.push(Staircase {
            up: heading * deg_per_us > 0.0,
            stairs,
        });
    }
}

/// Over all staircases. `deviation_deg` of a rest's mean; `deg_per_us` of the arm.
pub(super) fn answered(all: &[Staircase], deviation_deg: f64, deg_per_us: f64) -> Answered {
    let least = MOVED_DEG.max(MOVED_DEVIATIONS * 2f64.sqrt() * deviation_deg);
    if least > RESTLESS_DEG {
        return Answered {
            restless: true,
            ..Answered::default()
        };
    }
    let (mut steps, mut moved, mut sizes) = (0.0, 0.0, 0.0);
    let mut edges = [Vec::new(), Vec::new()];
    let mut levels = [Vec::new(), Vec::new()];
    for case in all {
        let heading = if case.up { 1.0 } else { -1.0 };
        let mut own = Vec::new();
        let mut first = None;
        for (k, two) in case.stairs.windows(2).enumerate() {
            steps += 1.0;
            sizes += (two[1].pulse_us - two[0].pulse_us).abs();
            if (two[1].arm_deg - two[0].arm_deg) * heading <= least {
                continue;
            }
            moved += 1.0;
            first.get_or_insert(k + 1);
            let middle_us = 0.5 * (two[0].pulse_us + two[1].pulse_us);
            own.push(middle_us - two[0].arm_deg / deg_per_us);
        }
        let side = usize::from(case.up);
        if let Some(mean) = Mean::of(&own) {
            edges[side].push(mean.value);
        }
        // Before its first answer the arm still stands where the staircase before it left it.
        let after = &case.stairs[first.unwrap_or(case.stairs.len())..];
        let off: Vec<f64> = after
            .iter()
            .map(|s| s.arm_deg - deg_per_us * s.pulse_us)
            .collect();
        levels[side].extend(Mean::of(&off).map(|m| m.value));
    }
    let halves = |both: &[Vec<f64>; 2]| {
        let [down, up] = both;
        let enough = down.len() >= 2 && up.len() >= 2;
        Mean::of(up).zip(Mean::of(down)).filter(|_| enough)
    };
    let slop_deg = halves(&levels).map(|(up, down)| down.with(1.0, up, -1.0));
    if steps > 0.0 && moved >= NEARLY_ALL * steps {
        return Answered {
            smaller_than_us: Some(sizes / steps),
            slop_deg,
            ..Answered::default()
        };
    }
    // Where the arm falls with the pulse, the upper edge is the one going down.
    let dead = halves(&edges).map(|(up, down)| up.with(0.5, down, -0.5));
    Answered {
        dead_band_us: dead.map(|d| {
            d.scaled(deg_per_us.signum())
                .within(EDGE * sizes / f64::max(steps, 1.0))
        }),
        slop_deg,
        ..Answered::default()
    }
}
