//! What is done to the surface over time: the rig's sweeps with their trips, and a hand's uneven strokes.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::linkage::Linkage;
use super::scenario::{ByHand, Sweep};
use super::servo::Servo;

/// Servo frames a second: the pulse changes only between frames, in steps of half a microsecond.
const FRAME_S: f64 = 0.003;
const PULSE_STEP_US: f64 = 0.5;
const OVER_CURRENT_S: f64 = 0.05;
const STILL_DEG: f64 = 0.3;

/// Something the rig tells besides samples.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Event {
    Armed,
    Arrived { pulse_us: f64 },
    Disarmed,
    Stalled { pulse_us: f64 },
    OverCurrent { current_ma: f64 },
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Leg {
    Wait(f64),
    Move(f64),
    /// A wait at an end of the command, at whose end the deflection is noted: +1 up, −1 down.
    Hold(f64, f64),
}

/// The rig's own program: which pulse when, and when to give up.
#[derive(Debug, Clone)]
pub(super) struct RigProgramme {
    legs: Vec<Leg>,
    at: usize,
    in_leg_s: f64,
    us_per_s: f64,
    aim_us: f64,
    sent_us: f64,
    frame_s: f64,
    armed: bool,
    started: bool,
    over_s: f64,
    still_s: f64,
    still_at_deg: f64,
    sweep: Sweep,
    pub(super) events: Vec<Event>,
    /// Deflections at the ends of holds, degree: (side, deflection).
    pub(super) held_deg: Vec<(f64, f64)>,
}

impl RigProgramme {
    pub(super) fn new(sweep: &Sweep, servo: &Servo, linkage: &Linkage) -> Self {
        let (up_deg, down_deg) = sweep.ends_deg.unwrap_or((
            sweep.throw_up_deg + sweep.overtravel_deg,
            -sweep.throw_down_deg - sweep.overtravel_deg,
        ));
        let pulse = |surface_deg: f64| servo.pulse_for_arm(linkage.arm_for(surface_deg));
        let (up_us, down_us) = (pulse(up_deg), pulse(down_deg));
        let span_deg = (up_deg - down_deg).abs().max(0.1);
        let mut legs = vec![Leg::Wait(sweep.rest_before_s)];
        let (approaches, share) = sweep.approach.unwrap_or((0, 1.0));
        for _ in 0..approaches {
            for end_deg in [up_deg, down_deg] {
                legs.extend([Leg::Move(pulse(share * end_deg)), Leg::Wait(sweep.hold_s)]);
            }
        }
        for _ in 0..sweep.cycles {
            for (end_us, side) in [(up_us, 1.0), (down_us, -1.0)] {
                legs.extend([Leg::Move(end_us), Leg::Hold(sweep.hold_s, side)]);
            }
        }
        legs.extend([Leg::Move(servo.centre_us), Leg::Wait(sweep.rest_after_s)]);
        Self {
            legs,
            at: 0,
            in_leg_s: 0.0,
            us_per_s: ((up_us - down_us).abs() * sweep.rate_deg_per_s.abs() / span_deg).max(1.0),
            aim_us: servo.centre_us,
            sent_us: servo.centre_us,
            frame_s: 0.0,
            armed: false,
            started: false,
            over_s: 0.0,
            still_s: 0.0,
            still_at_deg: 0.0,
            sweep: sweep.clone(),
            events: Vec::new(),
            held_deg: Vec::new(),
        }
    }

    /// How long it takes if nothing trips, s.
    pub(super) fn expected_s(&self) -> f64 {
        let mut from = self.aim_us;
        let mut total = 0.0;
        for leg in &self.legs {
            match *leg {
                Leg::Wait(seconds) | Leg::Hold(seconds, _) => total += seconds,
                Leg::Move(to) => {
                    total += (to - from).abs() / self.us_per_s;
                    from = to;
                }
            }
        }
        total
    }

    pub(super) fn done(&self) -> bool {
        self.at >= self.legs.len()
    }

    /// The pulse for the next step in µs, None while disarmed, seeing the true deflection and current.
    pub(super) fn next(&mut self, dt_s: f64, angle_deg: f64, current_ma: f64) -> Option<f64> {
        if !self.started {
            self.started = true;
            self.armed = true;
            self.events.push(Event::Armed);
        }
        self.watch(dt_s, angle_deg, current_ma);
        self.in_leg_s += dt_s;
        match self.legs.get(self.at).copied() {
            Some(Leg::Wait(seconds)) if self.in_leg_s >= seconds => self.next_leg(),
            Some(Leg::Hold(seconds, side)) if self.in_leg_s >= seconds => {
                self.held_deg.push((side, angle_deg));
                self.next_leg();
            }
            Some(Leg::Move(to)) => {
                let step = self.us_per_s * dt_s;
                if (to - self.aim_us).abs() <= step {
                    self.aim_us = to;
                    self.events.push(Event::Arrived { pulse_us: to });
                    self.next_leg();
                } else {
                    self.aim_us += step.copysign(to - self.aim_us);
                }
            }
            _ => {}
        }
        if self.done() && self.armed {
            self.armed = false;
            self.events.push(Event::Disarmed);
        }
        self.frame_s += dt_s;
        if self.frame_s >= FRAME_S {
            self.frame_s -= FRAME_S;
            self.sent_us = (self.aim_us / PULSE_STEP_US).round() * PULSE_STEP_US;
        }
        self.armed.then_some(self.sent_us)
    }

    fn next_leg(&mut self) {
        self.at += 1;
        self.in_leg_s = 0.0;
    }

    /// Trips on too much current, or on current without motion.
    fn watch(&mut self, dt_s: f64, angle_deg: f64, current_ma: f64) {
        if !self.armed {
            return;
        }
        let trip = &self.sweep.trip;
        self.over_s = if current_ma > trip.over_current_ma {
            self.over_s + dt_s
        } else {
            0.0
        };
        if current_ma < trip.stall_ma || (angle_deg - self.still_at_deg).abs() > STILL_DEG {
            self.still_s = 0.0;
            self.still_at_deg = angle_deg;
        } else {
            self.still_s += dt_s;
        }
        let event = if self.over_s > OVER_CURRENT_S {
            Event::OverCurrent { current_ma }
        } else if self.still_s > 1e-3 * trip.stall_ms {
            Event::Stalled {
                pulse_us: self.sent_us,
            }
        } else {
            return;
        };
        self.events.push(event);
        self.armed = false;
        self.legs = vec![Leg::Wait(trip.record_after_s)];
        self.at = 0;
        self.in_leg_s = 0.0;
    }
}

/// A hand's strokes: speed wanders, ends differ, now and then it pauses.
#[derive(Debug, Clone)]
pub(super) struct HandProgramme {
    settings: ByHand,
    /// Strokes left, the last one back to neutral; each is an end in degree.
    ends: Vec<f64>,
    at: usize,
    rest_s: f64,
    speed: f64,
    wander: f64,
    chance: ChaCha8Rng,
    ended: bool,
}

/// How fast a hand changes its speed, s, and how long its speed wanders one way, s.
const HAND_LAG_S: f64 = 0.06;
const WANDER_S: f64 = 0.4;

impl HandProgramme {
    pub(super) fn new(settings: &ByHand, seed: u64) -> Self {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        chance.set_stream(2);
        let mut ends = Vec::new();
        for _ in 0..settings.cycles {
            for end in [settings.up_deg, settings.down_deg] {
                ends.push(end + settings.end_scatter_deg * chance.sample::<f64, _>(StandardNormal));
            }
        }
        ends.push(0.0);
        Self {
            settings: settings.clone(),
            ends,
            at: 0,
            rest_s: settings.rest_s,
            speed: 0.0,
            wander: 0.0,
            chance,
            ended: false,
        }
    }

    /// About how long it takes, s.
    pub(super) fn expected_s(&self) -> f64 {
        let stroke_s = (self.settings.up_deg - self.settings.down_deg).abs()
            / self.settings.rate_deg_per_s.abs().max(0.1);
        2.0 * f64::from(self.settings.cycles) * (stroke_s + 0.3) + 2.0 * self.settings.rest_s
    }

    pub(super) fn done(&self) -> bool {
        self.ended
    }

    /// The speed for the next step, degree/s, from a deflection in degree.
    pub(super) fn next(&mut self, dt_s: f64, angle_deg: f64) -> f64 {
        let keeps = (-dt_s / WANDER_S).exp();
        let fresh = (1.0 - keeps * keeps).sqrt() * self.chance.sample::<f64, _>(StandardNormal);
        self.wander = keeps * self.wander + fresh;
        let mut wanted = 0.0;
        if self.rest_s > 0.0 {
            self.rest_s -= dt_s;
        } else if let Some(&end) = self.ends.get(self.at) {
            let left = end - angle_deg;
            let came_from = if self.at == 0 {
                0.0
            } else {
                self.ends[self.at - 1]
            };
            if left.abs() < 0.05 || (end - came_from) * left <= 0.0 {
                self.at += 1;
                self.rest_s = 0.1 + 0.3 * self.chance.random::<f64>();
                if self.at == self.ends.len() {
                    self.rest_s = self.settings.rest_s;
                }
            } else {
                let pace =
                    self.settings.rate_deg_per_s * (self.settings.unevenness * self.wander).exp();
                // Slowing down towards the end, as a hand does.
                wanted = pace
                    .min(left.abs() / (2.0 * HAND_LAG_S))
                    .max(0.5)
                    .copysign(left);
                if self.chance.random::<f64>() < self.settings.pauses_per_s * dt_s {
                    self.rest_s = 0.2 + 0.4 * self.chance.random::<f64>();
                }
            }
        } else {
            self.ended = true;
        }
        self.speed += (wanted - self.speed) * (dt_s / HAND_LAG_S).min(1.0);
        // A resting hand rests: no endless creeping.
        if wanted == 0.0 && self.speed.abs() < 0.05 {
            self.speed = 0.0;
        }
        self.speed
    }
}
