//! The moves by which a servo is tested: steps, returns to neutral, rests, staircases. Pure: angles and times, no rig.

use super::sweep::{Move, Pace, To};

/// The smaller steps, degrees to either side.
const SMALL_DEG: f64 = 10.0;
const SMALL_PAIRS: usize = 4;
const LARGE_PAIRS: usize = 8;
const STEP_HOLD_S: f64 = 0.6;
/// Returns to neutral from each side, and how long it is looked at there, s.
const RETURNS: usize = 8;
const RETURN_HOLD_S: f64 = 0.9;
/// The last of them are long rests, s.
const LONG_RESTS: usize = 3;
const LONG_REST_S: f64 = 2.6;
/// Staircases up and down in turn, about neutral, of so many steps.
const STAIRCASES: usize = 10;
const STEPS: usize = 24;
const STAIR_HOLD_S: f64 = 0.2;
/// Steps of a staircase in µs: this and what varies on top of it, so that no dead band falls in with them.
const STAIR_US: f64 = 0.6;
const STAIR_VARIES_US: f64 = 0.8;

/// All moves, in order. `half_deg`: how far the large steps go to either side of neutral.
pub fn servo_moves(half_deg: f64) -> Vec<Move> {
    let go = |to, hold_s| Move {
        to,
        pace: Pace::AtOnce,
        hold_s,
    };
    let neutral = To::OffsetUs(0.0);
    let mut moves = Vec::new();
    for (deg, pairs) in [
        (SMALL_DEG.min(half_deg), SMALL_PAIRS),
        (half_deg, LARGE_PAIRS),
    ] {
        for _ in 0..pairs {
            moves.push(go(To::Deg(deg), STEP_HOLD_S));
            moves.push(go(To::Deg(-deg), STEP_HOLD_S));
        }
    }
    for number in 0..RETURNS + LONG_RESTS {
        let rest_s = if number < RETURNS {
            RETURN_HOLD_S
        } else {
            LONG_REST_S
        };
        for deg in [half_deg, -half_deg] {
            moves.push(go(To::Deg(deg), STEP_HOLD_S));
            moves.push(go(neutral, rest_s));
        }
    }
    let whole_us = STEPS as f64 * (STAIR_US + 0.5 * STAIR_VARIES_US);
    let mut at_us = -0.5 * whole_us;
    moves.push(go(To::OffsetUs(at_us), STEP_HOLD_S));
    let mut turn = 0.0;
    for number in 0..STAIRCASES {
        let heading = if number % 2 == 0 { 1.0 } else { -1.0 };
        for _ in 0..STEPS {
            // The golden ratio's multiples are spread as evenly as can be (H. Weyl, 1916).
            turn = (turn + 0.618_033_988_749_895) % 1.0;
            at_us += heading * (STAIR_US + STAIR_VARIES_US * turn);
            moves.push(go(
                To::OffsetUs((10.0 * at_us).round() / 10.0),
                STAIR_HOLD_S,
            ));
        }
    }
    moves.push(go(neutral, STEP_HOLD_S));
    moves
}

/// About how long they take, s.
pub fn servo_moves_s(moves: &[Move]) -> f64 {
    moves.iter().map(|m| m.hold_s + 0.02).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_stay_within_half_the_way_and_staircases_about_neutral() {
        for one in servo_moves(14.0) {
            match one.to {
                To::Deg(deg) => assert!(deg.abs() <= 14.0),
                To::OffsetUs(us) => assert!(us.abs() < 20.0, "{us}"),
            }
            assert_eq!(one.pace, Pace::AtOnce);
        }
    }

    #[test]
    fn a_short_way_has_no_steps_beyond_it() {
        let far = |m: &Move| matches!(m.to, To::Deg(deg) if deg.abs() > 6.0);
        assert!(!servo_moves(6.0).iter().any(far));
    }
}
