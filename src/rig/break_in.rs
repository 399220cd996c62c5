//! The stages in which a hinge is worked in: how far each one goes. Pure; when a stage ends is `history`'s to say.

use super::plan::SweepPlan;
use crate::aircraft::Surface;

/// Ends nearer to each other than this are one stage, degrees.
const APART_DEG: f64 = 0.5;

/// One stage of growing deflection.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stage {
    /// What it is called by: the deflection that was asked for, or the throw that ends it before.
    pub deg: f64,
    /// Of one batch.
    pub plan: SweepPlan,
}

/// The stages for a surface: as far as asked for to each side, and no further than its greatest throw there, unless
/// `beyond_throws`. A stage that goes no further than the one before it is left out; so is a side without a throw.
pub fn stages(
    surface: &Surface,
    asked_deg: &[f64],
    beyond_throws: bool,
    batch: SweepPlan,
) -> Vec<Stage> {
    let greatest = |sign: f64| {
        let throws = surface.throws.iter().filter(|t| t.side.sign() == sign);
        throws.map(|t| t.asked_deg).fold(0.0, f64::max)
    };
    let (up, down) = (greatest(1.0), greatest(-1.0));
    let end = |most: f64, asked: f64| match most {
        0.0 => 0.0,
        _ if beyond_throws => asked,
        most => asked.min(most),
    };
    let mut all: Vec<Stage> = Vec::new();
    for &asked in asked_deg {
        let (up_deg, down_deg) = (end(up, asked), -end(down, asked));
        let plan = SweepPlan {
            up_deg,
            down_deg,
            ..batch
        };
        let goes_on = all.last().is_none_or(|last| {
            up_deg > last.plan.up_deg + APART_DEG || down_deg < last.plan.down_deg - APART_DEG
        });
        if goes_on && plan.travel_deg() > 0.0 {
            let deg = (10.0 * up_deg.max(-down_deg)).round() / 10.0;
            all.push(Stage { deg, plan });
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aircraft;

    fn ends(asked: &[f64], beyond: bool) -> Vec<(f64, f64, f64)> {
        let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/aircraft.toml");
        let aircraft = aircraft::read_path(&file).unwrap();
        // Its elevator: 23.9° up and 21.9° down.
        let surface = &aircraft.surfaces[0];
        let batch = SweepPlan::of(&aircraft, surface, 10, 30.0, 0.4);
        let tenth = |deg: f64| (10.0 * deg).round() / 10.0;
        stages(surface, asked, beyond, batch)
            .iter()
            .map(|s| (s.deg, tenth(s.plan.up_deg), tenth(s.plan.down_deg)))
            .collect()
    }

    #[test]
    fn no_stage_goes_beyond_the_greatest_throw_of_its_side() {
        let all = ends(&[20.0, 30.0, 45.0], false);
        assert_eq!(all, [(20.0, 20.0, -20.0), (23.9, 23.9, -21.9)]);
    }

    #[test]
    fn beyond_the_throws_only_where_told_so() {
        let all = ends(&[20.0, 30.0], true);
        assert_eq!(all, [(20.0, 20.0, -20.0), (30.0, 30.0, -30.0)]);
    }
}
