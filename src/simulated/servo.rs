//! The servo and what feeds it: position control, motor behind a gear, copper that warms, a supply that sags.
//!
//! Time-stepped: the controller sets the bridge's duty, the duty drives the motor, friction resists. What the supply
//! delivers then follows from the energy that copper, shaft and electronics take. Nothing of hinges here.

/// What happens to the supply while the load turns the servo against the motor's torque.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overrun {
    /// The bridge brakes with the motor shorted: supply power sits at idle.
    BrakesAtIdle,
    /// The bridge drives against the motion: copper loss less what the load gives is drawn, never below zero.
    DrawsBalance,
}

/// One servo. Angles are those of the arm, positive driving the surface up.
#[derive(Debug, Clone, PartialEq)]
pub struct Servo {
    pub arm_deg_per_us: f64,
    pub centre_us: f64,
    /// The pulse drives the surface the other way.
    pub reversed: bool,
    /// Error at which the controller wakes, degree.
    pub dead_band_deg: f64,
    /// Share of the dead band at which it goes back to sleep.
    pub release: f64,
    /// First-order lag of the commanded position, s.
    pub lag_s: f64,
    /// From a pulse until the electronics act on it, s.
    pub delay_s: f64,
    /// How much higher it stands where it came to from above than from below: backlash of the sensor inside, degree.
    pub centring_deg: f64,
    /// Standard deviation of where it stands from one change of direction to the next, degree.
    pub centre_drift_deg: f64,
    /// Standard deviation of the arm's trembling while there is a pulse, degree.
    pub jitter_deg: f64,
    /// Duty with which an awake controller starts, so that a small error moves at all.
    pub least_duty: f64,
    /// Bridge duty per degree of error, on top of it.
    pub gain_per_deg: f64,
    /// Bridge duty per degree/s.
    pub damping_s_per_deg: f64,
    /// Torque at the arm when stalled at `stall_voltage_v`, N·cm, copper at the reference temperature.
    pub stall_torque_ncm: f64,
    pub stall_voltage_v: f64,
    /// Copper loss per squared shaft torque at the reference temperature, W/(N·m)².
    pub winding_w_per_nm2: f64,
    /// Friction of motor and gear, N·m at the arm.
    pub friction_nm: f64,
    /// Share of the load's torque lost in the gear.
    pub gear_loss: f64,
    /// Moment of inertia of motor and gear seen at the arm, kg·m².
    pub inertia_kg_m2: f64,
    /// Power of the electronics, W.
    pub idle_w: f64,
    /// Standard deviation of the idle's slow drift from the middle to the end of the recording, share of idle.
    pub idle_drift: f64,
    pub reference_c: f64,
    /// Winding to case, K/W; heat capacity of the winding, J/K; the same for case to air.
    pub winding_k_per_w: f64,
    pub winding_j_per_k: f64,
    pub case_k_per_w: f64,
    pub case_j_per_k: f64,
    pub overrun: Overrun,
    /// Supply current at stall from which the servo's own protection holds the motor back, mA; none where infinite.
    pub current_limit_ma: f64,
    /// Voltage at the plug below which the electronics restart, V; 0 if they never do.
    pub brown_out_v: f64,
    /// How long they take to, s: the motor rests meanwhile.
    pub restart_s: f64,
}

impl Default for Servo {
    fn default() -> Self {
        Self {
            arm_deg_per_us: 0.09,
            centre_us: 1500.0,
            reversed: false,
            dead_band_deg: 0.25,
            release: 0.3,
            lag_s: 0.015,
            delay_s: 0.0,
            centring_deg: 0.0,
            centre_drift_deg: 0.0,
            jitter_deg: 0.0,
            least_duty: 0.03,
            gain_per_deg: 0.35,
            damping_s_per_deg: 0.003,
            stall_torque_ncm: 210.0,
            stall_voltage_v: 7.4,
            winding_w_per_nm2: 8.4,
            friction_nm: 0.06,
            gear_loss: 0.18,
            inertia_kg_m2: 0.001,
            idle_w: 0.21,
            idle_drift: 0.003,
            reference_c: 20.0,
            winding_k_per_w: 8.0,
            winding_j_per_k: 3.0,
            case_k_per_w: 10.0,
            case_j_per_k: 40.0,
            overrun: Overrun::BrakesAtIdle,
            current_limit_ma: f64::INFINITY,
            brown_out_v: 0.0,
            restart_s: 0.8,
        }
    }
}

impl Servo {
    /// The arm angle in degree that a pulse in µs asks for.
    pub fn arm_for_pulse(&self, pulse_us: f64) -> f64 {
        let sense = if self.reversed { -1.0 } else { 1.0 };
        sense * (pulse_us - self.centre_us) * self.arm_deg_per_us
    }

    /// The pulse in µs that asks for an arm angle in degree.
    pub fn pulse_for_arm(&self, arm_deg: f64) -> f64 {
        let sense = if self.reversed { -1.0 } else { 1.0 };
        let per_us = if self.arm_deg_per_us == 0.0 {
            0.09
        } else {
            self.arm_deg_per_us
        };
        self.centre_us + sense * arm_deg / per_us
    }

    /// Motor constant at the arm, V·s/rad (the same number in N·m/A): stall at the data sheet's voltage fixes it.
    fn motor_constant(&self) -> f64 {
        let shaft_nm = self.stall_torque_ncm * 0.01 * (1.0 + self.gear_loss) + self.friction_nm;
        (self.stall_voltage_v / (self.winding_w_per_nm2 * shaft_nm).max(1e-9)).max(1e-6)
    }

    /// Resistance of the winding at a copper temperature in °C, ohm: the copper loss a·x² is R·i² with i = x/k.
    pub fn winding_ohm(&self, copper_c: f64) -> f64 {
        self.winding_at(copper_c) * self.motor_constant().powi(2)
    }

    /// Torque at the arm in N·cm when stalled at a voltage at the plug with copper at a temperature in °C.
    pub fn stall_ncm_at(&self, plug_v: f64, copper_c: f64) -> f64 {
        let resistance = self.winding_at(copper_c) * self.motor_constant().powi(2);
        let shaft_nm = plug_v * self.motor_constant() / resistance;
        (100.0 * (shaft_nm - self.friction_nm) / (1.0 + self.gear_loss)).max(0.0)
    }

    fn winding_at(&self, copper_c: f64) -> f64 {
        self.winding_w_per_nm2 * (1.0 + COPPER_PER_K * (copper_c - self.reference_c))
    }
}

/// Temperature coefficient of copper's resistance at 20 °C, 1/K (IEC 60028, as quoted in the aircraft file's description).
const COPPER_PER_K: f64 = 0.003_93;

/// What feeds the servo.
#[derive(Debug, Clone, PartialEq)]
pub struct Supply {
    /// Voltage of the source with nothing drawn, V.
    pub open_v: f64,
    pub pack_mohm: f64,
    pub lead_mohm: f64,
    pub air_c: f64,
}

impl Default for Supply {
    fn default() -> Self {
        Self {
            open_v: 7.4,
            pack_mohm: 30.0,
            lead_mohm: 60.0,
            air_c: 21.0,
        }
    }
}

/// The servo in motion.
#[derive(Debug, Clone)]
pub(super) struct ServoState {
    pub(super) arm_deg: f64,
    pub(super) speed_rad_per_s: f64,
    target_deg: Option<f64>,
    /// By how much it stands off where the pulse asks it to be, degree.
    pub(super) off_deg: f64,
    /// Pulses on their way through the electronics, with the time at which each counts, s.
    coming: Vec<(f64, f64)>,
    clock_s: f64,
    awake: bool,
    copper_c: f64,
    pub(super) case_c: f64,
    pub(super) current_a: f64,
    pub(super) plug_v: f64,
    pub(super) source_v: f64,
    /// Of the bridge, −1 … 1.
    pub(super) duty: f64,
    /// Through the winding, A; the supply's current is this times the duty, and what the electronics take.
    pub(super) motor_a: f64,
    motor_constant: f64,
    restarting_s: f64,
    /// A short that draws this much more while there is a pulse, A.
    pub(super) short_a: f64,
}

impl ServoState {
    pub(super) fn at_rest(servo: &Servo, supply: &Supply, arm_deg: f64) -> Self {
        let mut state = Self {
            arm_deg,
            speed_rad_per_s: 0.0,
            target_deg: None,
            off_deg: 0.0,
            coming: Vec::new(),
            clock_s: 0.0,
            awake: false,
            copper_c: supply.air_c + 2.0,
            case_c: supply.air_c + 2.0,
            current_a: 0.0,
            plug_v: supply.open_v,
            source_v: supply.open_v,
            duty: 0.0,
            motor_a: 0.0,
            motor_constant: servo.motor_constant(),
            restarting_s: 0.0,
            short_a: 0.0,
        };
        state.draw(supply, servo.idle_w);
        state
    }

    pub(super) fn copper_c(&self) -> f64 {
        self.copper_c
    }

    /// One step under a load in N·m that resists upward motion; no pulse lets the motor rest, braked.
    pub(super) fn step(
        &mut self,
        servo: &Servo,
        supply: &Supply,
        idle_w: f64,
        pulse_us: Option<f64>,
        load_nm: f64,
        dt_s: f64,
    ) {
        let winding = servo.winding_at(self.copper_c);
        let constant = self.motor_constant;
        let wanted = self.duty(servo, pulse_us, dt_s) * self.plug_v;
        let volts = self.held_back(servo, winding, wanted);
        self.duty = volts / self.plug_v.max(1e-6);
        // The motor's torque falls with speed at 1/a per rad/s: taken implicitly, so is Coulomb friction.
        let yielding = 1.0 + dt_s / (servo.inertia_kg_m2 * winding);
        let push = dt_s / servo.inertia_kg_m2 * (volts / (winding * constant) - load_nm);
        let free = (self.speed_rad_per_s + push) / yielding;
        let resist = dt_s / servo.inertia_kg_m2
            * (servo.friction_nm + servo.gear_loss * load_nm.abs())
            / yielding;
        self.speed_rad_per_s = if free.abs() <= resist {
            0.0
        } else {
            free - resist.copysign(free)
        };
        self.arm_deg += self.speed_rad_per_s.to_degrees() * dt_s;

        let shaft_nm = (volts - constant * self.speed_rad_per_s) / (winding * constant);
        self.motor_a = shaft_nm / constant;
        let copper_w = winding * shaft_nm * shaft_nm;
        let mechanical_w = shaft_nm * self.speed_rad_per_s;
        let bridge_w = if mechanical_w >= 0.0 {
            copper_w + mechanical_w
        } else {
            match servo.overrun {
                Overrun::DrawsBalance => (copper_w + mechanical_w).max(0.0),
                // Held still it draws its copper loss; carried along it brakes. Blended over 0.05 rad/s.
                Overrun::BrakesAtIdle => {
                    copper_w * (1.0 - (self.speed_rad_per_s.abs() / 0.05).min(1.0))
                }
            }
        };
        let short_w = if pulse_us.is_some() {
            self.short_a * self.plug_v
        } else {
            0.0
        };
        self.draw(supply, idle_w + bridge_w + short_w);
        self.warm(servo, supply, copper_w, dt_s);
    }

    /// The voltage at the motor as the servo's own protection lets it be.
    fn held_back(&self, servo: &Servo, winding: f64, wanted_v: f64) -> f64 {
        if servo.current_limit_ma == f64::INFINITY {
            return wanted_v;
        }
        // Stalled, all power is copper loss: a·x² = V·I.
        let most_nm = (1e-3 * servo.current_limit_ma.max(0.0) * self.plug_v / winding).sqrt();
        let back_emf = self.motor_constant * self.speed_rad_per_s;
        let most_v = winding * self.motor_constant * most_nm;
        wanted_v.clamp(back_emf - most_v, back_emf + most_v)
    }

    /// Whether the electronics are down: under their voltage now, or not up again since.
    fn browned_out(&mut self, servo: &Servo, dt_s: f64) -> bool {
        if self.plug_v < servo.brown_out_v {
            self.restarting_s = servo.restart_s;
        }
        self.restarting_s = (self.restarting_s - dt_s).max(0.0);
        self.restarting_s > 0.0
    }

    /// Duty of the bridge, −1 … 1.
    fn duty(&mut self, servo: &Servo, pulse_us: Option<f64>, dt_s: f64) -> f64 {
        let down = self.browned_out(servo, dt_s);
        let Some(pulse) = pulse_us.filter(|_| !down) else {
            self.target_deg = None;
            self.coming.clear();
            self.awake = false;
            return 0.0;
        };
        let pulse = self.through_the_electronics(servo, pulse, dt_s);
        let asked = servo.arm_for_pulse(pulse) + self.off_deg;
        let target = match self.target_deg {
            Some(before) => before + (asked - before) * (dt_s / servo.lag_s.max(dt_s)).min(1.0),
            None => asked,
        };
        self.target_deg = Some(target);
        let error = target - self.arm_deg;
        if error.abs() > servo.dead_band_deg {
            self.awake = true;
        } else if error.abs() < servo.release * servo.dead_band_deg {
            self.awake = false;
        }
        if !self.awake {
            return 0.0;
        }
        let drive = servo.least_duty.copysign(error) + servo.gain_per_deg * error;
        (drive - servo.damping_s_per_deg * self.speed_rad_per_s.to_degrees()).clamp(-1.0, 1.0)
    }

    /// The pulse that counts now, when this one has just come in.
    fn through_the_electronics(&mut self, servo: &Servo, pulse_us: f64, dt_s: f64) -> f64 {
        if servo.delay_s <= 0.0 {
            return pulse_us;
        }
        self.clock_s += dt_s;
        match self.coming.last() {
            Some((_, last)) if *last == pulse_us => {}
            // The first pulse counts at once: it wakes the servo.
            None => self.coming.push((self.clock_s, pulse_us)),
            _ => self.coming.push((self.clock_s + servo.delay_s, pulse_us)),
        }
        while self.coming.len() > 1 && self.coming[1].0 <= self.clock_s {
            self.coming.remove(0);
        }
        self.coming[0].1
    }

    /// Current that brings a power in W to the plug through pack and lead. Beyond what the source can give, what it gives most at.
    fn draw(&mut self, supply: &Supply, power_w: f64) {
        let series_ohm = (supply.pack_mohm + supply.lead_mohm) * 1e-3;
        let inside = (supply.open_v * supply.open_v - 4.0 * series_ohm * power_w).max(0.0);
        // The smaller root, written so that no resistance at all is no special case.
        self.current_a = 2.0 * power_w / (supply.open_v + inside.sqrt()).max(1e-6);
        self.source_v = supply.open_v - self.current_a * supply.pack_mohm * 1e-3;
        self.plug_v = self.source_v - self.current_a * supply.lead_mohm * 1e-3;
    }

    fn warm(&mut self, servo: &Servo, supply: &Supply, copper_w: f64, dt_s: f64) {
        let to_case_w = (self.copper_c - self.case_c) / servo.winding_k_per_w;
        let to_air_w = (self.case_c - supply.air_c) / servo.case_k_per_w;
        self.copper_c += dt_s * (copper_w - to_case_w) / servo.winding_j_per_k;
        self.case_c += dt_s * (to_case_w + servo.idle_w - to_air_w) / servo.case_j_per_k;
    }
}

#[cfg(test)]
#[path = "servo_tests.rs"]
mod tests;
