//! How a hinge softens with work and stiffens again with rest. Nothing of torque or of time steps here.
//!
//! What is left of a fresh hinge's excess over a settled one falls exponentially with the travel worked. One part of
//! the softening lasts; the other fades with rest, exponentially with hours. An invented law: plausible, and closed.

/// A hinge that is being worked in.
#[derive(Debug, Clone, PartialEq)]
pub struct BreakIn {
    /// Cycles worked before the plant begins.
    pub cycles_worked: f64,
    /// Hours of rest between those and the beginning.
    pub rested_h: f64,
    /// Travel of one cycle, there and back, degree.
    pub cycle_deg: f64,
    /// Cycles in which 63 % of all softening comes about.
    pub settles_in_cycles: f64,
    /// Stiffness once settled, share of a fresh hinge's. Above 1 it is a hinge that tears or binds as it is worked.
    pub stiffness_settled: f64,
    /// Friction once settled, share of a fresh hinge's.
    pub friction_settled: f64,
    /// Share of the softening that fades with rest.
    pub recovers: f64,
    /// Hours in which 63 % of that share have faded.
    pub recovers_in_h: f64,
}

impl Default for BreakIn {
    fn default() -> Self {
        Self {
            cycles_worked: 0.0,
            rested_h: 0.0,
            cycle_deg: 100.0,
            settles_in_cycles: 40.0,
            stiffness_settled: 0.72,
            friction_settled: 0.60,
            recovers: 0.25,
            recovers_in_h: 8.0,
        }
    }
}

/// How far a hinge has softened: 0 fresh, 1 settled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Softening {
    lasting: f64,
    passing: f64,
}

impl Softening {
    pub(super) fn at_start(settings: &BreakIn) -> Self {
        let mut state = Self {
            lasting: 0.0,
            passing: 0.0,
        };
        state.work(settings, settings.cycles_worked * settings.cycle_deg);
        state.rest(settings, settings.rested_h);
        state
    }

    /// Works the hinge over a travel in degree, whichever way.
    pub(super) fn work(&mut self, settings: &BreakIn, travel_deg: f64) {
        let settles_deg = (settings.settles_in_cycles * settings.cycle_deg).max(1e-6);
        let left = (-travel_deg.abs() / settles_deg).exp();
        self.lasting = 1.0 - (1.0 - self.lasting) * left;
        self.passing = 1.0 - (1.0 - self.passing) * left;
    }

    pub(super) fn rest(&mut self, settings: &BreakIn, hours: f64) {
        self.passing *= (-hours.max(0.0) / settings.recovers_in_h.max(1e-6)).exp();
    }

    /// Stiffness and friction now, shares of a fresh hinge's.
    pub(super) fn shares(&self, settings: &BreakIn) -> (f64, f64) {
        let softened = (1.0 - settings.recovers) * self.lasting + settings.recovers * self.passing;
        let share = |settled: f64| 1.0 - (1.0 - settled) * softened;
        (
            share(settings.stiffness_settled),
            share(settings.friction_settled),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hinge_softens_exponentially_towards_its_settled_share() {
        let settings = BreakIn {
            stiffness_settled: 0.7,
            friction_settled: 0.5,
            ..BreakIn::default()
        };
        let after = |cycles: f64| {
            let mut state = Softening::at_start(&settings);
            for _ in 0..(cycles * 100.0) as u32 {
                state.work(&settings, -1.0);
            }
            state.shares(&settings)
        };
        assert_eq!(after(0.0), (1.0, 1.0));
        // By hand after one settling number of 40 cycles: 1 − 0.3·0.63212 = 0.81036, 1 − 0.5·0.63212 = 0.68394.
        let (stiffness, friction) = after(40.0);
        assert!((stiffness - 0.81036).abs() < 1e-4 && (friction - 0.68394).abs() < 1e-4);
        assert!((after(800.0).0 - 0.7).abs() < 1e-6);
    }

    #[test]
    fn cycles_worked_before_count_as_the_same_cycles_worked_now() {
        let settings = BreakIn {
            cycles_worked: 25.0,
            ..BreakIn::default()
        };
        let mut fresh = Softening::at_start(&BreakIn::default());
        fresh.work(&settings, 2500.0);
        let (worked, now) = (
            Softening::at_start(&settings).shares(&settings),
            fresh.shares(&settings),
        );
        assert!((worked.0 - now.0).abs() < 1e-12 && (worked.1 - now.1).abs() < 1e-12);
    }

    #[test]
    fn rest_gives_back_its_share_and_never_more() {
        let settings = BreakIn {
            cycles_worked: 1e6,
            stiffness_settled: 0.7,
            recovers: 0.25,
            recovers_in_h: 8.0,
            ..BreakIn::default()
        };
        let after = |hours: f64| {
            let mut state = Softening::at_start(&settings);
            state.rest(&settings, hours);
            state.shares(&settings).0
        };
        // By hand: 0.7 + 0.3·0.25·(1 − 1/e) = 0.74741 after 8 h; 0.775 at last.
        assert!((after(0.0) - 0.7).abs() < 1e-9);
        assert!((after(8.0) - 0.74741).abs() < 1e-5);
        assert!((after(1e4) - 0.775).abs() < 1e-9);
    }
}
