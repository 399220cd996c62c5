//! How the rig talks: its lines, and what it makes of the host's. Time and physics are in `rig`.

use super::super::capture::put_number;
use super::super::guard::Guard;
use super::super::host_line::{Asks, Heard};
use super::super::wire;
use super::{Kind, Move, Outgoing, SimulatedRig};

impl SimulatedRig {
    pub(super) fn identity(&self) -> Vec<u8> {
        let names: Vec<&str> = self
            .scenario
            .channels
            .iter()
            .map(|channel| channel.name())
            .collect();
        let drive = if self.hand.is_some() {
            "passive"
        } else {
            "driven"
        };
        let rate_hz = 1.0 / (self.step_s * self.steps_a_sample as f64);
        let name: String = self
            .scenario
            .rig_name
            .chars()
            .filter(|letter| matches!(letter, ' '..='~') && !matches!(letter, '*' | ','))
            .take(24)
            .collect();
        let mut payload = format!("RIG,1,{name},sim-1,{drive},").into_bytes();
        put_number(
            &mut payload,
            self.faults.states_rate_hz.unwrap_or(rate_hz),
            3,
        );
        payload.extend_from_slice(format!(",{}", names.join(",")).as_bytes());
        payload
    }

    pub(super) fn say(&mut self, kind: Kind, payload: Vec<u8>) {
        if !self.mute && !self.unplugged {
            let bytes = wire::line(payload);
            self.out.push(Outgoing { kind, bytes });
        }
    }

    pub(super) fn event(&mut self, code: &str, detail: &str) {
        let comma = if detail.is_empty() { "" } else { "," };
        let text = format!("EV,{},{code}{comma}{detail}", self.clock_us());
        self.say(Kind::Other, text.into_bytes());
    }

    fn answer(&mut self, wall_s: f64, payload: Vec<u8>) {
        let due_s = wall_s + 1e-3 * self.faults.late_ms.max(0.0);
        self.answers.push_back((due_s, payload));
    }

    pub(super) fn answer_due(&mut self, wall_s: f64) {
        while self.answers.front().is_some_and(|(due, _)| *due <= wall_s) {
            if let Some((_, payload)) = self.answers.pop_front() {
                self.say(Kind::Other, payload);
            }
        }
    }

    pub(super) fn understand(&mut self, wall_s: f64, heard: Heard) {
        let (id, asks) = match heard {
            Heard::Damaged => return self.event("bad-line", ""),
            Heard::Alive => {
                self.heard_s = wall_s;
                return;
            }
            Heard::Command { id, asks } => (id, asks),
        };
        self.heard_s = wall_s;
        let payload = match self.obey(wall_s, asks) {
            Ok(()) => format!("OK,{id}"),
            Err(reason) => format!("NO,{id},{reason}"),
        };
        self.answer(wall_s, payload.into_bytes());
    }

    fn obey(&mut self, wall_s: f64, asks: Asks) -> Result<(), &'static str> {
        if self.faults.refuse.contains(&asks.name()) {
            return Err("refused");
        }
        if self.hand.is_some() && asks != Asks::Ask {
            return Err("passive");
        }
        match asks {
            Asks::Nonsense(_, word) => return Err(word),
            Asks::Ask => {
                let identity = self.identity();
                self.answer(wall_s, identity);
            }
            Asks::Limit(_) if self.armed => return Err("armed"),
            Asks::Limit(pairs) => self.limits = self.limits.changed(&pairs)?,
            Asks::Arm => self.arm()?,
            Asks::Go { .. } if !self.armed => return Err("not-armed"),
            Asks::Go { pulse_us, us_per_s } => {
                if !self.limits.allow(pulse_us) {
                    return Err("outside-limits");
                }
                self.under_way = Some(Move {
                    to_us: pulse_us,
                    us_per_s,
                });
            }
            Asks::Disarm => {
                let was_armed = self.armed;
                self.stop();
                if was_armed {
                    self.event("disarmed", "");
                    self.note("disarmed", Some("host".into()));
                }
            }
        }
        Ok(())
    }

    fn arm(&mut self) -> Result<(), &'static str> {
        if self.armed {
            return Ok(());
        }
        if !self.silent_sensors.is_empty() {
            return Err("sensor-fault");
        }
        if let Some(reason) = Guard::objection(&self.limits, self.reading()) {
            return Err(reason);
        }
        let start_us = self
            .aim_us
            .filter(|pulse| self.limits.allow(*pulse))
            .unwrap_or(self.limits.middle_us());
        self.armed = true;
        self.armed_first_step.get_or_insert(self.steps);
        let last = self.settings.loads.len().saturating_sub(1);
        if let Some(loaded) = self.settings.loads.get(self.armings.min(last)) {
            self.plant.load(*loaded);
        }
        self.armings += 1;
        self.guard = Guard::default();
        self.aim_us = Some(start_us);
        self.sent_us = self.on_the_grid(start_us);
        self.frame_s = 0.0;
        self.event("armed", "");
        self.note("armed", None);
        Ok(())
    }
}
