//! Servo, push rod and surface together, stepped in time: nature, without sensors and without a rig.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::break_in::{BreakIn, Softening};
use super::hinge::{Grip, Hinge, StiffBeyond, StrokeMood, Surface};
use super::linkage::{Linkage, LinkageTable};
use super::servo::{Servo, ServoState, Supply};

/// Longest step taken inside, s. Longer ones asked for are cut up.
const LONGEST_STEP_S: f64 = 1.0e-3;

/// All of a plant that a builder could hold in the hand.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlantSettings {
    pub hinge: Hinge,
    pub linkage: Linkage,
    pub joints: Joints,
    pub servo: Servo,
    pub supply: Supply,
    pub variation: Variation,
    /// None for a hinge that stays as it is.
    pub break_in: Option<BreakIn>,
    pub loaded: Loaded,
    /// None: one servo alone drives the surface.
    pub second: Option<SecondServo>,
}

/// The other of two servos on one surface: the same pulse, linkage and kind of joints, a supply lead of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondServo {
    /// How far its middle stands off that of the first, degrees of the arm, up positive: what makes them fight.
    pub centre_offset_deg: f64,
    pub servo: Servo,
}

/// What the servo's arm has to move, and what hangs on the surface.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Loaded {
    pub on_arm: OnArm,
    /// Torque on the surface about its hinge line by a weight hung on it, N·cm, up positive.
    pub hung_ncm: f64,
}

/// What the servo's arm is joined to. Without the surface the angle sensor sits on the arm.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum OnArm {
    #[default]
    Surface,
    /// The rods are off.
    Nothing,
    /// A weight on an arm that is level at neutral; upwards lifts it.
    Weight { mass_kg: f64, arm_mm: f64 },
}

/// Standard acceleration of free fall, m/s² (ISO 80000-3).
const GRAVITY_M_S2: f64 = 9.806_65;

impl OnArm {
    /// The torque that resists upward motion at an arm angle in degree, N·m; `None` with the surface.
    fn resists_nm(self, arm_deg: f64) -> Option<f64> {
        match self {
            Self::Surface => None,
            Self::Nothing => Some(0.0),
            Self::Weight { mass_kg, arm_mm } => {
                Some(mass_kg * GRAVITY_M_S2 * 1e-3 * arm_mm * arm_deg.to_radians().cos())
            }
        }
    }

    /// What it adds to the moment of inertia at the arm, kg·m².
    fn inertia_kg_m2(self) -> f64 {
        match self {
            Self::Weight { mass_kg, arm_mm } => mass_kg * (1e-3 * arm_mm).powi(2),
            _ => 0.0,
        }
    }
}

/// Play and give between arm and surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Joints {
    /// Whole play, degree of the surface.
    pub slop_deg: f64,
    /// Stiffness of rod and horns, N·cm per degree of the surface.
    pub stiffness_ncm_per_deg: f64,
}

impl Default for Joints {
    fn default() -> Self {
        Self {
            slop_deg: 0.15,
            stiffness_ncm_per_deg: 300.0,
        }
    }
}

/// How one stroke differs from the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Variation {
    /// Standard deviation of a stroke's friction, share of friction.
    pub friction_share: f64,
    /// Standard deviation of a stroke's neutral torque, N·cm.
    pub neutral_ncm: f64,
    /// Standard deviation of friction's slow drift from the middle to the end of the recording, share of friction.
    pub friction_drift: f64,
}

impl Default for Variation {
    fn default() -> Self {
        Self {
            friction_share: 0.03,
            neutral_ncm: 0.03,
            friction_drift: 0.01,
        }
    }
}

/// The plant's true state: what perfect sensors would read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// Since the plant began, s.
    pub time_s: f64,
    /// None while the servo gets no pulse.
    pub pulse_us: Option<f64>,
    pub angle_deg: f64,
    pub speed_deg_per_s: f64,
    pub arm_deg: f64,
    pub current_ma: f64,
    pub supply_v: f64,
    pub source_v: f64,
    /// Torque on the surface: elastic, friction and viscous, N·cm.
    pub torque_ncm: f64,
    /// Torque with which the surface loads the arm, N·cm.
    pub arm_torque_ncm: f64,
    pub force_n: f64,
    pub case_c: f64,
    pub copper_c: f64,
    pub air_c: f64,
    /// Of the bridge, −1 … 1.
    pub duty: f64,
    /// Through the motor's winding, mA.
    pub motor_current_ma: f64,
    /// Supply current of the second servo, mA, where there is one.
    pub current2_ma: Option<f64>,
    /// Torque on the surface by the rods of the first and of the second, N·cm.
    pub pulls_ncm: [f64; 2],
}

/// The plant itself. One seed gives one course of events.
#[derive(Debug, Clone)]
pub struct Plant {
    settings: PlantSettings,
    /// The hinge as it is now: worked in, or jammed.
    hinge: Hinge,
    softening: Option<Softening>,
    table: LinkageTable,
    servo: ServoState,
    second: Option<ServoState>,
    surface: Surface,
    /// Of both servos' rods, and of each.
    pull_ncm: f64,
    pulls_ncm: [f64; 2],
    time_s: f64,
    middle_s: f64,
    pulse_us: Option<f64>,
    heading: f64,
    mood: StrokeMood,
    stroke_factor: f64,
    friction_drift: f64,
    idle_drift: f64,
    by_hand: bool,
    chance: ChaCha8Rng,
    /// A chance of the servo's own: what it adds changes no other course of events.
    servo_chance: ChaCha8Rng,
    trembles_deg: f64,
    came_from: f64,
}

/// How long the arm trembles one way, s.
const TREMBLING_S: f64 = 0.01;

impl Plant {
    /// A plant at rest at neutral. `expected_s` is how long it will run, s: slow drifts pass through zero in its middle.
    pub fn new(settings: PlantSettings, expected_s: f64, seed: u64) -> Self {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let friction_drift =
            settings.variation.friction_drift * chance.sample::<f64, _>(StandardNormal);
        let idle_drift = settings.servo.idle_drift * chance.sample::<f64, _>(StandardNormal);
        let table = LinkageTable::new(&settings.linkage);
        let servo = ServoState::at_rest(&settings.servo, &settings.supply, 0.0);
        let second = settings.second.as_ref();
        let second = second.map(|s| ServoState::at_rest(&s.servo, &settings.supply, 0.0));
        let softening = settings.break_in.as_ref().map(Softening::at_start);
        let mut plant = Self {
            hinge: settings.hinge.clone(),
            softening,
            table,
            servo,
            second,
            surface: Surface::at_rest(0.0),
            pull_ncm: 0.0,
            pulls_ncm: [0.0; 2],
            time_s: 0.0,
            middle_s: (0.5 * expected_s).max(1.0),
            pulse_us: None,
            heading: 0.0,
            mood: StrokeMood {
                friction_factor: 1.0,
                neutral_shift_ncm: 0.0,
            },
            stroke_factor: 1.0,
            friction_drift,
            idle_drift,
            by_hand: false,
            chance,
            servo_chance: {
                let mut own = ChaCha8Rng::seed_from_u64(seed);
                own.set_stream(3);
                own
            },
            trembles_deg: 0.0,
            came_from: 0.0,
            settings,
        };
        plant.soften();
        plant
    }

    /// Lets time pass, s, with a commanded pulse in µs, or with none.
    pub fn step(&mut self, dt_s: f64, commanded_pulse_us: Option<f64>) {
        self.by_hand = false;
        let moved = match (commanded_pulse_us, self.pulse_us) {
            (Some(now), Some(before)) => {
                self.settings.servo.arm_for_pulse(now) - self.settings.servo.arm_for_pulse(before)
            }
            _ => 0.0,
        };
        self.turn_towards(moved);
        self.set_the_servo_off(moved);
        self.pulse_us = commanded_pulse_us;
        let parts = parts_of(dt_s);
        for _ in 0..parts {
            self.advance(dt_s / f64::from(parts));
        }
    }

    /// Where a servo stands hangs on the side that it comes from, and a little on chance.
    fn set_the_servo_off(&mut self, moved: f64) {
        let servo = &self.settings.servo;
        let nothing = servo.centring_deg == 0.0 && servo.centre_drift_deg == 0.0;
        if moved == 0.0 || nothing || moved.signum() == self.came_from {
            return;
        }
        self.came_from = moved.signum();
        let fresh: f64 = self.servo_chance.sample(StandardNormal);
        self.servo.off_deg =
            -0.5 * servo.centring_deg * moved.signum() + servo.centre_drift_deg * fresh;
    }

    fn tremble(&mut self, dt_s: f64) {
        let servo = &self.settings.servo;
        if servo.jitter_deg > 0.0 {
            let keeps = (-dt_s / TREMBLING_S).exp();
            let fresh: f64 = self.servo_chance.sample(StandardNormal);
            self.trembles_deg =
                keeps * self.trembles_deg + servo.jitter_deg * (1.0 - keeps * keeps).sqrt() * fresh;
        }
    }

    /// The arm as it can be seen, degree.
    fn arm_deg(&self) -> f64 {
        match self.pulse_us {
            Some(_) => self.servo.arm_deg + self.trembles_deg,
            None => self.servo.arm_deg,
        }
    }

    fn advance(&mut self, dt_s: f64) {
        self.pass(dt_s);
        self.tremble(dt_s);
        let settings = &self.settings;
        let idle_w = settings.servo.idle_w * (1.0 + self.idle_drift * self.progress());
        let ratio = self.table.at(self.servo.arm_deg).1;
        let on_arm = settings.loaded.on_arm;
        let load_nm = on_arm
            .resists_nm(self.servo.arm_deg)
            .unwrap_or(0.01 * self.pulls_ncm[0] * ratio);
        let servo = Servo {
            inertia_kg_m2: settings.servo.inertia_kg_m2 + on_arm.inertia_kg_m2(),
            ..settings.servo.clone()
        };
        self.servo.step(
            &servo,
            &settings.supply,
            idle_w,
            self.pulse_us,
            load_nm,
            dt_s,
        );
        let grip = |arm_deg: f64| Grip {
            wants_deg: self.table.at(arm_deg).0,
            slop_deg: settings.joints.slop_deg,
            stiffness_ncm_per_deg: settings.joints.stiffness_ncm_per_deg,
        };
        let mut grips = [grip(self.servo.arm_deg); 2];
        let mut held_by = 1;
        if let (Some(state), Some(second)) = (&mut self.second, &settings.second) {
            let ratio = self.table.at(state.arm_deg + second.centre_offset_deg).1;
            let load_nm = 0.01 * self.pulls_ncm[1] * ratio;
            let idle_w = second.servo.idle_w;
            state.step(
                &second.servo,
                &settings.supply,
                idle_w,
                self.pulse_us,
                load_nm,
                dt_s,
            );
            grips[1] = grip(state.arm_deg + second.centre_offset_deg);
            held_by = 2;
        }
        if on_arm != OnArm::Surface {
            self.pull_ncm = 0.0;
            self.pulls_ncm = [0.0; 2];
            return;
        }
        let before_deg = self.surface.angle_deg;
        let mood = StrokeMood {
            neutral_shift_ncm: self.mood.neutral_shift_ncm - settings.loaded.hung_ncm,
            ..self.mood
        };
        self.pull_ncm = self
            .surface
            .settle(&self.hinge, mood, &grips[..held_by], dt_s);
        for (pull, grip) in self.pulls_ncm.iter_mut().zip(&grips[..held_by]) {
            *pull = grip.torque(self.surface.angle_deg).0;
        }
        self.work(self.surface.angle_deg - before_deg);
    }

    /// Something else is put on the arm, or hung on the surface.
    pub fn load(&mut self, loaded: Loaded) {
        self.settings.loaded = loaded;
    }

    fn work(&mut self, travel_deg: f64) {
        if let (Some(state), Some(settings)) = (&mut self.softening, &self.settings.break_in) {
            state.work(settings, travel_deg);
            self.soften();
        }
    }

    /// Lets hours of rest pass for the hinge alone; nothing else ages.
    pub fn rest_hours(&mut self, hours: f64) {
        if let (Some(state), Some(settings)) = (&mut self.softening, &self.settings.break_in) {
            state.rest(settings, hours);
            self.soften();
        }
    }

    /// The hinge as worked in as it is now.
    fn soften(&mut self) {
        let (Some(state), Some(settings)) = (&self.softening, &self.settings.break_in) else {
            return;
        };
        let (stiffness, friction) = state.shares(settings);
        let fresh = &self.settings.hinge;
        let knee = |place: Option<StiffBeyond>| {
            place.map(|knee| StiffBeyond {
                extra_ncm_per_deg: stiffness * knee.extra_ncm_per_deg,
                ..knee
            })
        };
        self.hinge.stiffness_ncm_per_deg = stiffness * fresh.stiffness_ncm_per_deg;
        self.hinge.knee_up = knee(fresh.knee_up);
        self.hinge.knee_down = knee(fresh.knee_down);
        self.hinge.friction_ncm = friction * fresh.friction_ncm;
    }

    /// The hinge as it is now, worked in or jammed.
    pub fn hinge(&self) -> &Hinge {
        &self.hinge
    }

    /// Jams the surface where it is. The servo's own protection holds the motor to a supply current in mA.
    pub fn jam(&mut self, servo_limit_ma: f64) {
        let wall = Some(StiffBeyond {
            at_deg: self.surface.angle_deg,
            extra_ncm_per_deg: 1000.0,
        });
        self.hinge.stop_up = wall;
        self.hinge.stop_down = wall;
        self.settings.servo.current_limit_ma = servo_limit_ma;
    }

    /// Lets the source sag to a voltage with nothing drawn, V.
    pub fn sag_to(&mut self, open_v: f64) {
        self.settings.supply.open_v = open_v;
    }

    /// Makes the servo draw this much more, mA, whenever it gets a pulse.
    pub fn short(&mut self, extra_ma: f64) {
        self.servo.short_a = 1e-3 * extra_ma;
    }

    /// Lets time pass, s, while a hand carries the surface at a speed in degree/s; the servo gets nothing.
    pub fn step_by_hand(&mut self, dt_s: f64, speed_deg_per_s: f64) {
        self.by_hand = true;
        self.pulse_us = None;
        self.turn_towards(speed_deg_per_s);
        let parts = parts_of(dt_s);
        let part_s = dt_s / f64::from(parts);
        for _ in 0..parts {
            self.pass(part_s);
            self.surface
                .carried(&self.hinge, speed_deg_per_s * part_s, part_s);
            self.work(speed_deg_per_s * part_s);
        }
    }

    /// −1 at the start, 0 in the middle, 1 at the expected end.
    fn progress(&self) -> f64 {
        // Drifts end somewhere, however long a plant runs.
        (self.time_s / self.middle_s - 1.0).min(3.0)
    }

    fn pass(&mut self, dt_s: f64) {
        self.time_s += dt_s;
        self.mood.friction_factor =
            (self.stroke_factor * (1.0 + self.friction_drift * self.progress())).max(0.0);
    }

    /// A change of direction begins a stroke, and with it a new mood.
    fn turn_towards(&mut self, moved: f64) {
        if moved == 0.0 || moved.signum() == self.heading {
            return;
        }
        self.heading = moved.signum();
        let variation = &self.settings.variation;
        self.stroke_factor =
            1.0 + variation.friction_share * self.chance.sample::<f64, _>(StandardNormal);
        self.mood.neutral_shift_ncm =
            variation.neutral_ncm * self.chance.sample::<f64, _>(StandardNormal);
    }

    /// What perfect sensors would read now.
    pub fn observe(&self) -> Observation {
        let torque_ncm = self.surface.torque_ncm(&self.hinge, self.mood);
        let arm_deg = if self.by_hand {
            self.table.arm_for(self.surface.angle_deg)
        } else {
            self.arm_deg()
        };
        let pose = self.settings.linkage.pose(arm_deg);
        let on_surface = self.settings.loaded.on_arm == OnArm::Surface;
        let rod_ncm = if self.by_hand {
            torque_ncm
        } else {
            self.pulls_ncm[0]
        };
        Observation {
            time_s: self.time_s,
            pulse_us: self.pulse_us,
            angle_deg: self.angle_deg(),
            speed_deg_per_s: if on_surface {
                self.surface.speed_deg_per_s
            } else {
                self.servo.speed_rad_per_s.to_degrees()
            },
            arm_deg,
            current_ma: 1000.0 * self.servo.current_a,
            supply_v: self.servo.plug_v,
            source_v: self.servo.source_v,
            torque_ncm,
            arm_torque_ncm: self
                .settings
                .loaded
                .on_arm
                .resists_nm(arm_deg)
                .map_or(rod_ncm * pose.ratio, |nm| 100.0 * nm),
            // N·cm over mm, times 10 mm/cm, is N.
            force_n: if pose.lever_mm.abs() < 1e-6 {
                0.0
            } else {
                10.0 * rod_ncm / pose.lever_mm
            },
            case_c: self.servo.case_c,
            copper_c: self.servo.copper_c(),
            air_c: self.settings.supply.air_c,
            duty: self.servo.duty,
            motor_current_ma: 1000.0 * self.servo.motor_a,
            current2_ma: self.second.as_ref().map(|s| 1000.0 * s.current_a),
            pulls_ncm: self.pulls_ncm,
        }
    }

    /// Supply current in mA, voltage at the plug and at the source in V: what filters in the sensors follow at each step.
    /// Last the second servo's current, mA; 0 where there is none.
    pub(super) fn electrical(&self) -> [f64; 4] {
        [
            1000.0 * self.servo.current_a,
            self.servo.plug_v,
            self.servo.source_v,
            self.second.as_ref().map_or(0.0, |s| 1000.0 * s.current_a),
        ]
    }

    pub(super) fn case_c(&self) -> f64 {
        self.servo.case_c
    }

    /// Where the angle sensor sits.
    pub(super) fn angle_deg(&self) -> f64 {
        match self.settings.loaded.on_arm {
            OnArm::Surface => self.surface.angle_deg,
            _ => self.arm_deg(),
        }
    }

    pub fn settings(&self) -> &PlantSettings {
        &self.settings
    }
}

fn parts_of(dt_s: f64) -> u32 {
    (dt_s / LONGEST_STEP_S - 1e-9).ceil().clamp(1.0, 1e6) as u32
}

#[cfg(test)]
#[path = "plant_tests.rs"]
mod tests;
