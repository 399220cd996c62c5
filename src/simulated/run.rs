//! One recording from beginning to end: programme, plant, sensors and wire, step by step.

use super::capture::{CaptureWriter, WireCount};
use super::plant::{Observation, Plant};
use super::programme::{Event, HandProgramme, RigProgramme};
use super::scenario::{Programme, PulseMove, Scenario, Spell};
use super::sensors::SensorSet;
use super::truth::{Extremes, Truth};

/// Time step of the plant at most, s.
const STEP_S: f64 = 0.5e-3;
/// No recording is longer, s: a scenario that never ends is cut off here.
const LONGEST_S: f64 = 3600.0;

/// A capture and what is true of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulated {
    /// The recording's bytes, in the link's format.
    pub capture: Vec<u8>,
    pub truth: Truth,
}

/// Simulates one recording. The same scenario and seed give the same bytes.
pub fn simulate(scenario: &Scenario, seed: u64) -> Simulated {
    let rate_hz = if scenario.rate_hz.is_finite() {
        scenario.rate_hz.clamp(1.0, 2000.0)
    } else {
        200.0
    };
    let mut run = Run::new(scenario, 1.0 / rate_hz, seed);
    match &scenario.programme {
        Programme::Sweep(sweep) => {
            let programme =
                RigProgramme::new(sweep, &scenario.plant.servo, &scenario.plant.linkage);
            let seen = run.sweep(programme);
            run.finish(sweep.rate_deg_per_s, seen)
        }
        Programme::Hand(by_hand) => {
            let seen = run.hand(HandProgramme::new(by_hand, seed));
            run.finish(by_hand.rate_deg_per_s, seen)
        }
        Programme::Spells(spells) => {
            run.spells(spells);
            run.finish(0.0, Vec::new())
        }
    }
}

struct Run<'a> {
    scenario: &'a Scenario,
    seed: u64,
    sample_s: f64,
    steps: u32,
    step_s: f64,
    taken: u64,
    /// Of the plant since the last sample.
    steps_since: u32,
    plant: Plant,
    sensors: SensorSet,
    writer: CaptureWriter,
    extremes: Extremes,
}

impl<'a> Run<'a> {
    fn new(scenario: &'a Scenario, sample_s: f64, seed: u64) -> Self {
        let expected_s = match &scenario.programme {
            Programme::Sweep(sweep) => {
                RigProgramme::new(sweep, &scenario.plant.servo, &scenario.plant.linkage)
                    .expected_s()
            }
            Programme::Hand(by_hand) => HandProgramme::new(by_hand, seed).expected_s(),
            Programme::Spells(spells) => {
                let held = spells.iter().flat_map(|s| &s.moves).map(|m| m.hold_s);
                held.sum::<f64>() + spells.iter().map(|s| s.waits_s).sum::<f64>()
            }
        };
        let steps = (sample_s / STEP_S - 1e-9).ceil().max(1.0) as u32;
        let mut writer = CaptureWriter::new(scenario, seed);
        writer.hello(
            scenario,
            match scenario.programme {
                Programme::Sweep(_) | Programme::Spells(_) => "driven",
                Programme::Hand(_) => "passive",
            },
        );
        Self {
            scenario,
            seed,
            sample_s,
            steps,
            step_s: sample_s / f64::from(steps),
            taken: 0,
            steps_since: 0,
            plant: Plant::new(scenario.plant.clone(), expected_s, seed),
            sensors: SensorSet::new(scenario.sensors.clone(), sample_s, expected_s, seed),
            writer,
            extremes: Extremes::default(),
        }
    }

    fn sweep(&mut self, mut programme: RigProgramme) -> Vec<(f64, f64)> {
        while !programme.done() && self.since_start_s() < LONGEST_S {
            for _ in 0..self.steps {
                let [current_ma, ..] = self.plant.electrical();
                let pulse_us = programme.next(self.step_s, self.plant.angle_deg(), current_ma);
                self.plant.step(self.step_s, pulse_us);
                self.sensors.follow(self.step_s, self.plant.electrical());
            }
            for event in programme.events.drain(..) {
                self.writer.event(self.clock_us(), &event);
            }
            self.take_sample();
        }
        programme.held_deg
    }

    fn hand(&mut self, mut programme: HandProgramme) -> Vec<(f64, f64)> {
        while !programme.done() && self.since_start_s() < LONGEST_S {
            for _ in 0..self.steps {
                let speed = programme.next(self.step_s, self.plant.angle_deg());
                self.plant.step_by_hand(self.step_s, speed);
            }
            self.take_sample();
        }
        Vec::new()
    }

    fn spells(&mut self, spells: &[Spell]) {
        for spell in spells {
            self.plant.load(spell.loaded);
            for (key, value) in &spell.keys {
                self.writer.key(key, value);
            }
            self.pass(spell.waits_s.max(self.sample_s), None);
            self.writer.event(self.clock_us(), &Event::Armed);
            // A rig that is armed takes up the middle of its pulses.
            let mut at_us = self.scenario.plant.servo.centre_us;
            for order in &spell.moves {
                at_us = self.ramp(at_us, order);
                self.writer
                    .event(self.clock_us(), &Event::Arrived { pulse_us: at_us });
                self.pass(order.hold_s, Some(at_us));
            }
            self.writer.event(self.clock_us(), &Event::Disarmed);
        }
        self.pass(0.5, None);
    }

    /// Goes to a pulse; where it is then.
    fn ramp(&mut self, from_us: f64, order: &PulseMove) -> f64 {
        if order.us_per_s > 0.0 {
            let far_us = order.to_us - from_us;
            let takes_s = far_us.abs() / order.us_per_s;
            let samples = (takes_s / self.sample_s).floor() as u64;
            for sample in 1..=samples {
                let share = sample as f64 * self.sample_s / takes_s;
                self.pass(self.sample_s, Some(from_us + share * far_us));
            }
        }
        order.to_us
    }

    /// Time with one pulse, s, in whole steps of the plant: a pulse may change between two samples.
    fn pass(&mut self, for_s: f64, pulse_us: Option<f64>) {
        let steps = (for_s / self.step_s).round() as u64;
        for _ in 0..steps {
            self.plant.step(self.step_s, pulse_us);
            self.sensors.follow(self.step_s, self.plant.electrical());
            self.steps_since += 1;
            if self.steps_since == self.steps {
                self.steps_since = 0;
                self.take_sample();
            }
        }
    }

    fn since_start_s(&self) -> f64 {
        self.taken as f64 * self.sample_s
    }

    /// The rig's clock, wrapping as 32 bits do.
    fn clock_us(&self) -> u32 {
        let passed_us = (self.since_start_s() * 1e6).round() as u64;
        self.scenario.clock_start_us.wrapping_add(passed_us as u32)
    }

    fn take_sample(&mut self) {
        let seen = self.plant.observe();
        self.note(&seen);
        let since_start_s = self.since_start_s();
        let values: Vec<Option<f64>> = self
            .scenario
            .channels
            .iter()
            .map(|channel| self.sensors.read(*channel, &seen, since_start_s))
            .collect();
        let seq = self.scenario.first_seq.wrapping_add(self.taken as u16);
        self.writer
            .sample(seq, self.clock_us(), &self.scenario.channels, &values);
        self.taken += 1;
    }

    fn note(&mut self, seen: &Observation) {
        let extremes = &mut self.extremes;
        extremes.up_deg = extremes.up_deg.max(seen.angle_deg);
        extremes.down_deg = extremes.down_deg.min(seen.angle_deg);
        extremes.torque_ncm = extremes.torque_ncm.max(seen.torque_ncm.abs());
        if seen.arm_torque_ncm.abs() >= extremes.arm_torque_ncm {
            extremes.arm_torque_ncm = seen.arm_torque_ncm.abs();
            extremes.stall_ncm = self
                .scenario
                .plant
                .servo
                .stall_ncm_at(seen.supply_v, seen.copper_c);
        }
        extremes.copper_c = seen.copper_c;
    }

    fn finish(mut self, rate_deg_per_s: f64, held_deg: Vec<(f64, f64)>) -> Simulated {
        self.extremes.held_deg = held_deg;
        let (capture, wire): (Vec<u8>, WireCount) = self.writer.finish();
        let truth = Truth::of(
            &self.scenario.plant,
            rate_deg_per_s,
            &self.extremes,
            wire,
            self.seed,
        );
        Simulated { capture, truth }
    }
}
