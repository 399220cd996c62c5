//! Faults on demand: what goes wrong with a simulated rig, and when. Nothing of how the rig takes it.

use super::host_line::CommandName;
use super::scenario::Channel;

/// What goes wrong. Seconds are of the rig's own clock, from its start or from its first arming.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Faults {
    /// The seconds below count from the first arming instead of the start.
    pub from_arming: bool,
    /// The cable is pulled: the port goes away, the rig keeps its power.
    pub unplug_after_s: Option<f64>,
    /// The rig loses its power for a moment and boots.
    pub restart_after_s: Option<f64>,
    /// The rig boots whenever its port is opened.
    pub reset_on_open: bool,
    /// The rig says nothing any more, but hears.
    pub silent_after_s: Option<f64>,
    pub sensor_fault_after: Option<(f64, Channel)>,
    /// The surface jams where it is.
    pub stall_after_s: Option<f64>,
    /// The supply sags under the limit.
    pub brown_out_after_s: Option<f64>,
    /// The servo draws more than the limit whenever it gets a pulse.
    pub over_current_after_s: Option<f64>,
    /// Answers come this much later, ms of the wall's clock.
    pub late_ms: f64,
    /// The rate that the `RIG` line states, whatever the true one is, Hz.
    pub states_rate_hz: Option<f64>,
    /// Noise ahead of the first line after each boot.
    pub boot_noise: bool,
    /// Commands that are always refused.
    pub refuse: Vec<CommandName>,
}

/// What comes due at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Due {
    Unplug,
    Restart,
    Silent,
    SensorFault(Channel),
    Stall,
    BrownOut,
    OverCurrent,
}

impl Faults {
    /// The faults that are due after so many seconds, each given once.
    pub(super) fn due(&mut self, since_s: f64) -> Vec<Due> {
        let mut due = Vec::new();
        let mut check = |at: &mut Option<f64>, what: Due| {
            if at.is_some_and(|at| since_s >= at) {
                *at = None;
                due.push(what);
            }
        };
        check(&mut self.stall_after_s, Due::Stall);
        check(&mut self.brown_out_after_s, Due::BrownOut);
        check(&mut self.over_current_after_s, Due::OverCurrent);
        check(&mut self.silent_after_s, Due::Silent);
        check(&mut self.restart_after_s, Due::Restart);
        check(&mut self.unplug_after_s, Due::Unplug);
        if let Some((at, channel)) = self.sensor_fault_after
            && since_s >= at
        {
            self.sensor_fault_after = None;
            due.push(Due::SensorFault(channel));
        }
        due
    }
}
