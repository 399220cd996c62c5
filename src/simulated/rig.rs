//! A rig that speaks the link, in front of the plant: host bytes and time in, lines out. It enforces every safety rule
//! of the link itself, as a rig must. Never in here: a port, a file, a clock; anything of `link`.
//!
//! Two clocks: the wall's, by which the host is heard and answered, and the rig's own, by which plant and samples run.
//! They differ by a factor when a rig is run fast.

#[path = "rig_talk.rs"]
mod talk;

use std::collections::VecDeque;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::capture::put_number;
use super::faults::{Due, Faults};
use super::guard::{Crossed, Guard, Limits, Reading};
#[cfg(test)]
use super::guard::{LONGEST_US, SHORTEST_US};
use super::host_line::HostLines;
use super::plant::{Loaded, Plant};
use super::programme::HandProgramme;
use super::scenario::{ByHand, Channel, Programme, Scenario};
use super::sensors::SensorSet;
use super::wire;

/// Time step of the plant at most, s.
const STEP_S: f64 = 0.5e-3;
/// Servo frames: the pulse changes only between them, in steps of half a microsecond.
const FRAME_S: f64 = 0.003;
const PULSE_STEP_US: f64 = 0.5;
/// An armed rig that hears nothing valid for so long disarms itself, s of the wall's clock.
const HOST_LOST_S: f64 = 0.5;
/// How long a rig is silent while it boots, s of the wall's clock.
const BOOT_S: f64 = 1.5;
/// Time missed beyond this, s of the wall's clock, is not made up for: the rig's clock falls behind.
const LONGEST_CATCH_UP_S: f64 = 1.0;
/// Slow drifts pass through zero at half of this, s.
const EXPECTED_S: f64 = 600.0;

/// The firmware's own settings.
#[derive(Debug, Clone, PartialEq)]
pub struct RigSettings {
    /// Safe defaults, in force after each boot until the host sets others.
    pub limits: Limits,
    /// Supply current from which a surface that stands still is called stalled, mA.
    pub stall_ma: f64,
    /// How many times faster than the wall's clock the rig's runs.
    pub fast: f64,
    /// What is loaded at the first arming, the second …; the last one stays. Empty: as the plant says.
    pub loads: Vec<Loaded>,
}

impl Default for RigSettings {
    fn default() -> Self {
        Self {
            limits: Limits::default(),
            stall_ma: 900.0,
            fast: 1.0,
            loads: Vec::new(),
        }
    }
}

/// What a line is, for whoever must choose which to drop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Boot noise and no line at all.
    Noise,
    /// The first line after a boot.
    Hello,
    Sample,
    Other,
}

/// A whole line to send, LF included.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outgoing {
    pub kind: Kind,
    pub bytes: Vec<u8>,
}

/// Something worth noting about the rig, seconds of the wall's clock since its start.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    pub wall_s: f64,
    /// `armed`, `disarmed`, `started`, `restarted`, `unplugged` …
    pub what: &'static str,
    pub reason: Option<String>,
    /// When the servo got its last pulse; None if it never got one.
    pub last_pulse_wall_s: Option<f64>,
}

#[derive(Debug, Clone, Copy)]
struct Move {
    to_us: f64,
    us_per_s: f64,
}

/// The rig. One scenario, seed and course of bytes and times give one course of events.
#[derive(Debug, Clone)]
pub struct SimulatedRig {
    scenario: Scenario,
    settings: RigSettings,
    faults: Faults,
    seed: u64,
    plant: Plant,
    sensors: SensorSet,
    hand: Option<(ByHand, HandProgramme)>,
    chance: ChaCha8Rng,
    step_s: f64,
    steps_a_sample: u64,
    wall_s: f64,
    owed_s: f64,
    /// Steps since the start, and since the last boot.
    steps: u64,
    steps_up: u64,
    boots_at_s: Option<f64>,
    heard_s: f64,
    lines: HostLines,
    limits: Limits,
    guard: Guard,
    armed: bool,
    armed_first_step: Option<u64>,
    armings: usize,
    aim_us: Option<f64>,
    sent_us: f64,
    frame_s: f64,
    under_way: Option<Move>,
    seq: u16,
    silent_sensors: Vec<Channel>,
    mute: bool,
    unplugged: bool,
    last_pulse_s: Option<f64>,
    answers: VecDeque<(f64, Vec<u8>)>,
    out: Vec<Outgoing>,
    notes: Vec<Note>,
}

impl SimulatedRig {
    /// A rig that has just booted, at time zero of the wall's clock. It is passive where the scenario's programme is a hand's.
    pub fn new(scenario: &Scenario, settings: RigSettings, faults: Faults, seed: u64) -> Self {
        let rate_hz = if scenario.rate_hz.is_finite() {
            scenario.rate_hz.clamp(1.0, 2000.0)
        } else {
            200.0
        };
        let sample_s = 1.0 / rate_hz;
        let steps_a_sample = (sample_s / STEP_S - 1e-9).ceil().max(1.0) as u64;
        let hand = match &scenario.programme {
            Programme::Hand(by_hand) => Some((by_hand.clone(), HandProgramme::new(by_hand, seed))),
            Programme::Sweep(_) | Programme::Spells(_) => None,
        };
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        chance.set_stream(10);
        let mut rig = Self {
            plant: Plant::new(scenario.plant.clone(), EXPECTED_S, seed),
            sensors: SensorSet::new(scenario.sensors.clone(), sample_s, EXPECTED_S, seed),
            hand,
            chance,
            step_s: sample_s / steps_a_sample as f64,
            steps_a_sample,
            wall_s: 0.0,
            owed_s: 0.0,
            steps: 0,
            steps_up: 0,
            boots_at_s: None,
            heard_s: 0.0,
            lines: HostLines::default(),
            limits: settings.limits,
            guard: Guard::default(),
            armed: false,
            armed_first_step: None,
            armings: 0,
            aim_us: None,
            sent_us: 0.0,
            frame_s: 0.0,
            under_way: None,
            seq: scenario.first_seq,
            silent_sensors: Vec::new(),
            mute: false,
            unplugged: false,
            last_pulse_s: None,
            answers: VecDeque::new(),
            out: Vec::new(),
            notes: Vec::new(),
            scenario: scenario.clone(),
            settings,
            faults,
            seed,
        };
        rig.boot("started");
        rig
    }

    /// Bytes of the host's that arrive at a time of the wall's clock, s. Must not be before what has passed already.
    pub fn hear(&mut self, wall_s: f64, bytes: &[u8]) {
        if self.boots_at_s.is_some() || self.unplugged {
            return;
        }
        for byte in bytes {
            if let Some(heard) = self.lines.take(*byte) {
                self.understand(wall_s, heard);
            }
        }
        self.answer_due(wall_s);
    }

    /// The port was opened at a time of the wall's clock, s.
    pub fn opened(&mut self, wall_s: f64) {
        if self.faults.reset_on_open {
            self.restart(wall_s, "port-opened");
        }
    }

    /// Lets time pass up to a time of the wall's clock, s.
    pub fn pass(&mut self, wall_s: f64) {
        let span_s = wall_s - self.wall_s;
        if span_s.is_nan() || span_s <= 0.0 {
            return;
        }
        let began_s = self.wall_s;
        let rig_s = self.owed_s + self.settings.fast * span_s.min(LONGEST_CATCH_UP_S);
        let count = (rig_s / self.step_s + 1e-9) as u64;
        self.owed_s = (rig_s - count as f64 * self.step_s).max(0.0);
        for step in 1..=count {
            self.wall_s = began_s + span_s * step as f64 / count as f64;
            self.step();
        }
        self.wall_s = wall_s;
        self.watch_host();
        self.answer_due(wall_s);
    }

    /// The lines that are to be sent now, in order.
    pub fn take_lines(&mut self) -> Vec<Outgoing> {
        std::mem::take(&mut self.out)
    }

    /// What was worth noting since the last call.
    pub fn take_notes(&mut self) -> Vec<Note> {
        std::mem::take(&mut self.notes)
    }

    pub fn armed(&self) -> bool {
        self.armed
    }

    /// Whether it is booting, deaf and dumb.
    pub fn booting(&self) -> bool {
        self.boots_at_s.is_some()
    }

    /// Whether the cable has been pulled.
    pub fn unplugged(&self) -> bool {
        self.unplugged
    }

    /// Seconds of the rig's own clock since its start; boots do not set it back.
    fn since_start_s(&self) -> f64 {
        self.steps as f64 * self.step_s
    }

    fn clock_us(&self) -> u32 {
        let passed_us = (self.steps_up as f64 * self.step_s * 1e6).round() as u64;
        self.scenario.clock_start_us.wrapping_add(passed_us as u32)
    }

    fn step(&mut self) {
        self.let_faults_happen();
        if self.boots_at_s.is_some_and(|at| self.wall_s >= at) {
            self.boots_at_s = None;
            self.boot("up-again");
        }
        self.watch_host();
        self.watch_plant();
        let pulse_us = self.next_pulse();
        if pulse_us.is_some() {
            self.last_pulse_s = Some(self.wall_s);
        }
        match &mut self.hand {
            Some((settings, hand)) => {
                if hand.done() {
                    *hand = HandProgramme::new(settings, self.seed.wrapping_add(self.steps));
                }
                let speed = hand.next(self.step_s, self.plant.angle_deg());
                self.plant.step_by_hand(self.step_s, speed);
            }
            None => self.plant.step(self.step_s, pulse_us),
        }
        self.sensors.follow(self.step_s, self.plant.electrical());
        self.steps += 1;
        if self.boots_at_s.is_none() {
            self.steps_up += 1;
            if self.steps_up.is_multiple_of(self.steps_a_sample) {
                self.take_sample();
            }
        }
    }

    fn take_sample(&mut self) {
        let seen = self.plant.observe();
        let since_s = self.since_start_s();
        // Writing the first fields cannot fail, and a number is written by the capture's own hand.
        let mut payload = format!("S,{},{}", self.seq, self.clock_us()).into_bytes();
        let mut silent = Vec::new();
        for channel in &self.scenario.channels {
            payload.push(b',');
            match self.sensors.read(*channel, &seen, since_s) {
                Some(value) => put_number(&mut payload, value, channel.decimals()),
                None if *channel != Channel::PulseUs => silent.push(*channel),
                None => {}
            }
        }
        self.seq = self.seq.wrapping_add(1);
        self.say(Kind::Sample, payload);
        for channel in &silent {
            if !self.silent_sensors.contains(channel) {
                self.trip("sensor-fault", channel.name().into());
            }
        }
        self.silent_sensors = silent;
    }

    /// The pulse for the next step, µs; none unless armed.
    fn next_pulse(&mut self) -> Option<f64> {
        let mut aim_us = self.aim_us.filter(|_| self.armed)?;
        if let Some(order) = self.under_way {
            let step_us = order.us_per_s * self.step_s;
            if order.us_per_s == 0.0 || (order.to_us - aim_us).abs() <= step_us {
                aim_us = order.to_us;
                self.under_way = None;
                let mut pulse = Vec::new();
                put_number(&mut pulse, aim_us, 1);
                self.event("arrived", &String::from_utf8_lossy(&pulse));
            } else {
                aim_us += step_us.copysign(order.to_us - aim_us);
            }
            self.aim_us = Some(aim_us);
        }
        self.frame_s += self.step_s;
        if self.frame_s >= FRAME_S - 1e-9 {
            self.frame_s = 0.0;
            self.sent_us = self.on_the_grid(aim_us);
        }
        Some(self.sent_us)
    }

    /// A pulse as the timer can make it, never outside the limits.
    fn on_the_grid(&self, pulse_us: f64) -> f64 {
        ((pulse_us / PULSE_STEP_US).round() * PULSE_STEP_US)
            .clamp(self.limits.pulse_lo_us, self.limits.pulse_hi_us)
    }

    fn reading(&self) -> Reading {
        let [first_ma, supply_v, _, second_ma] = self.plant.electrical();
        Reading {
            // Of two servos each has the limit to itself.
            current_ma: first_ma.max(second_ma),
            supply_v,
            case_c: self.plant.case_c(),
            angle_deg: self.plant.angle_deg(),
        }
    }

    /// A low current limit must not hide a stall behind it.
    fn stall_ma(&self) -> f64 {
        self.settings.stall_ma.min(0.6 * self.limits.current_ma)
    }

    fn watch_plant(&mut self) {
        if !self.armed {
            return;
        }
        let (now, stall_ma) = (self.reading(), self.stall_ma());
        match self.guard.watch(&self.limits, stall_ma, now, self.step_s) {
            None => {}
            Some(Crossed::OverCurrent(ma)) => self.trip("over-current", format!("{ma:.0}")),
            Some(Crossed::OverTemperature(c)) => self.trip("over-temperature", format!("{c:.1}")),
            Some(Crossed::UnderVoltage(v)) => self.trip("under-voltage", format!("{v:.2}")),
            Some(Crossed::Stalled) => self.trip("stalled", format!("{}", self.sent_us)),
        }
    }

    fn watch_host(&mut self) {
        let unheard_s = self.wall_s - self.heard_s;
        if self.armed && unheard_s >= HOST_LOST_S {
            self.trip("host-lost", format!("{:.0}", 1e3 * unheard_s));
        }
    }

    /// Pulses stop first; then it is told.
    fn trip(&mut self, code: &'static str, detail: String) {
        let was_armed = self.armed;
        self.stop();
        self.event(code, &detail);
        if was_armed {
            self.note("disarmed", Some(code.into()));
        } else {
            self.note(code, Some(detail));
        }
    }

    fn stop(&mut self) {
        self.armed = false;
        self.under_way = None;
    }

    fn note(&mut self, what: &'static str, reason: Option<String>) {
        self.notes.push(Note {
            wall_s: self.wall_s,
            what,
            reason,
            last_pulse_wall_s: self.last_pulse_s,
        });
    }

    fn let_faults_happen(&mut self) {
        let from_step = if self.faults.from_arming {
            self.armed_first_step
        } else {
            Some(0)
        };
        let Some(from_step) = from_step else { return };
        let since_s = (self.steps - from_step) as f64 * self.step_s;
        for due in self.faults.due(since_s) {
            match due {
                Due::Unplug => {
                    self.unplugged = true;
                    self.note("unplugged", None);
                }
                Due::Restart => self.restart(self.wall_s, "power-lost"),
                Due::Silent => {
                    self.mute = true;
                    self.note("silent", None);
                }
                Due::SensorFault(channel) => {
                    let since_start_s = self.since_start_s();
                    self.sensors.fall_silent(channel, since_start_s);
                }
                Due::Stall => {
                    // Between what counts as stalled and what is too much, so that it is the one and not the other.
                    let held_ma = (self.stall_ma() * self.limits.current_ma).sqrt();
                    self.plant.jam(held_ma);
                    self.note("jammed", None);
                }
                Due::BrownOut => {
                    self.plant.sag_to(0.8 * self.limits.supply_v);
                    self.note("supply-sags", None);
                }
                Due::OverCurrent => {
                    self.plant.short(1.5 * self.limits.current_ma);
                    self.note("short", None);
                }
            }
        }
    }

    /// Everything that the firmware held in its memory is gone; the plant is not.
    fn restart(&mut self, wall_s: f64, reason: &str) {
        self.stop();
        self.boots_at_s = Some(wall_s + BOOT_S);
        self.limits = self.settings.limits;
        self.aim_us = None;
        self.lines.forget();
        self.out.clear();
        self.answers.clear();
        self.silent_sensors.clear();
        self.note("restarted", Some(reason.into()));
    }

    fn boot(&mut self, what: &'static str) {
        self.steps_up = 0;
        self.seq = self.scenario.first_seq;
        self.note(what, None);
        if self.faults.boot_noise && !self.mute {
            let bytes = wire::boot_noise(&mut self.chance);
            self.out.push(Outgoing {
                kind: Kind::Noise,
                bytes,
            });
        }
        let identity = self.identity();
        self.say(Kind::Hello, identity);
    }
}

#[cfg(test)]
#[path = "rig_tests.rs"]
mod tests;
