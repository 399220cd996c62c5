//! The rig's limits and its watch over current, heat, voltage and motion. Nothing of lines or of the plant.

const OVER_CURRENT_S: f64 = 0.05;
const UNDER_VOLTAGE_S: f64 = 0.05;
const STILL_DEG: f64 = 0.3;

/// What the rig allows while armed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    pub current_ma: f64,
    pub case_c: f64,
    /// Lowest, at the plug.
    pub supply_v: f64,
    pub pulse_lo_us: f64,
    pub pulse_hi_us: f64,
    pub stall_ms: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            current_ma: 4000.0,
            case_c: 70.0,
            supply_v: 4.8,
            pulse_lo_us: 900.0,
            pulse_hi_us: 2100.0,
            stall_ms: 300.0,
        }
    }
}

/// No pulse outside these is ever allowed, whatever the host sets, µs.
pub(super) const SHORTEST_US: f64 = 500.0;
pub(super) const LONGEST_US: f64 = 2500.0;

impl Limits {
    /// These limits with the named ones changed, or the word to refuse with.
    pub(super) fn changed(mut self, pairs: &[(String, f64)]) -> Result<Self, &'static str> {
        const SENSELESS: &str = "senseless-number";
        for (name, value) in pairs {
            let (place, low, high) = match name.as_str() {
                "current_ma" => (&mut self.current_ma, 1.0, 50_000.0),
                "case_c" => (&mut self.case_c, 0.0, 150.0),
                "supply_v" => (&mut self.supply_v, 0.0, 60.0),
                "pulse_lo_us" => (&mut self.pulse_lo_us, SHORTEST_US, LONGEST_US),
                "pulse_hi_us" => (&mut self.pulse_hi_us, SHORTEST_US, LONGEST_US),
                "stall_ms" => (&mut self.stall_ms, 20.0, 60_000.0),
                _ => return Err("unknown-limit"),
            };
            if !(low..=high).contains(value) {
                return Err(SENSELESS);
            }
            *place = *value;
        }
        if self.pulse_lo_us >= self.pulse_hi_us {
            return Err(SENSELESS);
        }
        Ok(self)
    }

    pub(super) fn allow(&self, pulse_us: f64) -> bool {
        (self.pulse_lo_us..=self.pulse_hi_us).contains(&pulse_us)
    }

    pub(super) fn middle_us(&self) -> f64 {
        0.5 * (self.pulse_lo_us + self.pulse_hi_us)
    }
}

/// What the rig's own inputs read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reading {
    pub(super) current_ma: f64,
    pub(super) supply_v: f64,
    pub(super) case_c: f64,
    pub(super) angle_deg: f64,
}

/// A limit that was crossed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Crossed {
    OverCurrent(f64),
    OverTemperature(f64),
    UnderVoltage(f64),
    Stalled,
}

/// The watch while armed.
#[derive(Debug, Clone, Default)]
pub(super) struct Guard {
    over_s: f64,
    under_s: f64,
    still_s: f64,
    still_at_deg: f64,
}

impl Guard {
    /// Why the rig cannot be armed now.
    pub(super) fn objection(limits: &Limits, now: Reading) -> Option<&'static str> {
        if now.supply_v < limits.supply_v {
            Some("under-voltage")
        } else if now.case_c > limits.case_c {
            Some("over-temperature")
        } else if now.current_ma > limits.current_ma {
            Some("over-current")
        } else {
            None
        }
    }

    /// Watches over a step, s. `stall_ma` is the current from which a surface that stands is called stalled.
    pub(super) fn watch(
        &mut self,
        limits: &Limits,
        stall_ma: f64,
        now: Reading,
        dt_s: f64,
    ) -> Option<Crossed> {
        let held = |since: &mut f64, holds: bool| {
            *since = if holds { *since + dt_s } else { 0.0 };
            *since
        };
        if held(&mut self.over_s, now.current_ma > limits.current_ma) > OVER_CURRENT_S {
            return Some(Crossed::OverCurrent(now.current_ma));
        }
        if held(&mut self.under_s, now.supply_v < limits.supply_v) > UNDER_VOLTAGE_S {
            return Some(Crossed::UnderVoltage(now.supply_v));
        }
        if now.case_c > limits.case_c {
            return Some(Crossed::OverTemperature(now.case_c));
        }
        let moved = (now.angle_deg - self.still_at_deg).abs() > STILL_DEG;
        if moved || now.current_ma < stall_ma {
            self.still_at_deg = now.angle_deg;
        }
        let stands = !moved && now.current_ma >= stall_ma;
        (held(&mut self.still_s, stands) > 1e-3 * limits.stall_ms).then_some(Crossed::Stalled)
    }
}
