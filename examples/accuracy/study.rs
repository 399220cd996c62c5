//! The accuracy study: simulated recordings of known surfaces through the whole analysis, and how far off it was.
//! The plant shares no formula with the analysis. Used by the example `accuracy` and, in a smaller edition, by the tests.

use hingewright::aircraft::{
    Aircraft, Calibration, Limits, Servo, ServoType, Side, Surface, Throw, ThrowMeasure,
};
use hingewright::analysis::{Measured, Quantity, measure};
use hingewright::recording;
use hingewright::simulated::{
    Bump, CalibrationOnFile, CalibrationScatter, Channel, Programme, Scenario, StiffBeyond, Sweep,
    TightSpot, Truth, When, simulate,
};
use hingewright::verdict::{Judged, Kind, judge};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// How torque is found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Source {
    Torque,
    Power,
}

/// What is wrong with the simulated surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    None,
    /// Twice the limit: the slope beyond is three times that before.
    Knee,
    /// Twice the limit: 6 N·cm.
    TightSpot,
}

#[derive(Debug, Clone, Copy)]
pub struct Case {
    pub name: &'static str,
    pub source: Source,
    pub fault: Fault,
}

pub const CASES: [Case; 6] = [
    Case {
        name: "torque sensor, fault-free",
        source: Source::Torque,
        fault: Fault::None,
    },
    Case {
        name: "torque sensor, knee",
        source: Source::Torque,
        fault: Fault::Knee,
    },
    Case {
        name: "torque sensor, tight spot",
        source: Source::Torque,
        fault: Fault::TightSpot,
    },
    Case {
        name: "supply power, fault-free",
        source: Source::Power,
        fault: Fault::None,
    },
    Case {
        name: "supply power, knee",
        source: Source::Power,
        fault: Fault::Knee,
    },
    Case {
        name: "supply power, tight spot",
        source: Source::Power,
        fault: Fault::TightSpot,
    },
];

/// One recording's truth and what the analysis made of it.
pub struct Outcome {
    pub scenario: Scenario,
    pub truth: Truth,
    pub measured: Measured,
    pub judged: Judged,
}

/// The scenario of a case: each recording has its own surface, drawn around the default elevator.
pub fn scenario(case: Case, cycles: u32, seed: u64) -> Scenario {
    let mut chance = ChaCha8Rng::seed_from_u64(seed ^ 0x5eed);
    let mut within = |low: f64, high: f64| chance.random_range(low..high);
    let mut scenario = Scenario {
        programme: Programme::Sweep(Sweep {
            cycles,
            ..Sweep::default()
        }),
        ..Scenario::default()
    };
    let hinge = &mut scenario.plant.hinge;
    hinge.stiffness_ncm_per_deg = within(0.35, 0.6);
    hinge.friction_ncm = within(2.4, 3.6);
    hinge.neutral_torque_ncm = within(-0.8, 0.8);
    hinge.presliding_deg = within(0.15, 0.5);
    match case.fault {
        Fault::None => {}
        Fault::Knee => {
            let up = within(0.0, 1.0) < 0.5;
            let at = within(11.0, 17.0);
            let extra_ncm_per_deg = 2.0 * hinge.stiffness_ncm_per_deg;
            if up {
                hinge.knee_up = Some(StiffBeyond {
                    at_deg: at,
                    extra_ncm_per_deg,
                });
            } else {
                hinge.knee_down = Some(StiffBeyond {
                    at_deg: -at,
                    extra_ncm_per_deg,
                });
            }
        }
        Fault::TightSpot => hinge.tight_spots.push(TightSpot {
            at_deg: within(-14.0, 14.0),
            height_ncm: 6.0,
            width_deg: within(1.5, 3.0),
            when: When::Both,
            bump: if within(0.0, 1.0) < 0.5 {
                Bump::RaisedCosine
            } else {
                Bump::Gaussian
            },
        }),
    }
    scenario.plant.joints.slop_deg = within(0.05, 0.3);
    scenario.line.lost = 0.002;
    scenario.line.damaged = 0.002;
    use Channel::*;
    scenario.with_channels(match case.source {
        Source::Torque => vec![PulseUs, AngleDeg, ArmDeg, CurrentMa, SupplyV, TorqueNcm],
        Source::Power => vec![PulseUs, AngleDeg, ArmDeg, CurrentMa, SupplyV, CaseC],
    })
}

/// Cycles of a recording, where nothing else is said.
pub const CYCLES: u32 = 10;

/// Simulates and checks one recording.
pub fn run(case: Case, cycles: u32, seed: u64) -> Outcome {
    let scenario = scenario(case, cycles, seed);
    let simulated = simulate(&scenario, seed);
    let drawn = simulated
        .truth
        .calibration
        .drawn(CalibrationScatter::default(), seed);
    let aircraft = aircraft(&scenario, drawn);
    let recording = recording::read(simulated.capture.as_slice(), "simulated")
        .expect("a simulated capture reads");
    let surface = &aircraft.surfaces[0];
    let measured = measure(&recording, &aircraft, surface);
    let judged = judge(&measured, &recording, surface, &aircraft.limits);
    Outcome {
        scenario,
        truth: simulated.truth,
        measured,
        judged,
    }
}

/// The aircraft file such a builder would have.
pub fn aircraft(scenario: &Scenario, drawn: CalibrationOnFile) -> Aircraft {
    let servo = &scenario.plant.servo;
    let throw = |name: &str, side, asked_deg: f64| Throw {
        name: name.into(),
        side,
        asked_mm: 2.0 * 58.0 * (asked_deg.to_radians() / 2.0).sin(),
        asked_deg,
        tolerance_mm: 1.0,
        given_in_deg: true,
    };
    Aircraft {
        name: "Dunlin".into(),
        was: Vec::new(),
        note: None,
        servo_types: vec![ServoType {
            name: "metal gear".into(),
            stall_torque_ncm: servo.stall_torque_ncm,
            stall_voltage_v: servo.stall_voltage_v,
            arm_deg_per_us: Some(servo.arm_deg_per_us),
            speed: None,
            dead_band_us: None,
        }],
        servos: vec![Servo {
            tag: "E1".into(),
            type_index: 0,
            fitted: None,
            calibration: Some(Calibration {
                tag: "E1".into(),
                made: None,
                reference_c: drawn.numbers.reference_c,
                idle_w: drawn.numbers.idle_w,
                winding_w_per_nm2: drawn.numbers.winding_w_per_nm2,
                friction_nm: drawn.numbers.friction_nm,
                gear_loss: drawn.numbers.gear_loss,
                covariance: drawn.covariance,
            }),
            lead: Vec::new(),
        }],
        surfaces: vec![Surface {
            name: "left elevator".into(),
            was: Vec::new(),
            servo_index: 0,
            second_servo_index: None,
            pair_index: None,
            chord_mm: 58.0,
            measure: ThrowMeasure::Straight,
            throws: vec![throw("up", Side::Up, 24.0), throw("down", Side::Down, 24.0)],
            linkage: None,
            linkage_notes: Default::default(),
            air: None,
            angle: None,
        }],
        limits: Limits::default(),
        trip: hingewright::aircraft::Trip::default(),
        supply: None,
    }
}

/// Errors of one quantity over many recordings.
#[derive(Debug, Default, Clone)]
pub struct Errors {
    pub errors: Vec<f64>,
    pub inside: usize,
    pub with_interval: usize,
}

impl Errors {
    pub fn add(&mut self, q: &Quantity, truth: f64, scale: f64) {
        self.errors.push((q.value - truth) / scale);
        if let Some(i) = q.interval {
            self.with_interval += 1;
            self.inside += usize::from(i.lo95 <= truth && truth <= i.hi95);
        }
    }
    pub fn rms(&self) -> f64 {
        (self.errors.iter().map(|e| e * e).sum::<f64>() / self.errors.len().max(1) as f64).sqrt()
    }
    pub fn bias(&self) -> f64 {
        self.errors.iter().sum::<f64>() / self.errors.len().max(1) as f64
    }
    pub fn coverage(&self) -> f64 {
        self.inside as f64 / self.with_interval.max(1) as f64
    }
}

/// What a case came to.
#[derive(Debug, Default)]
pub struct Tally {
    pub recordings: usize,
    /// Relative errors.
    pub stiffness: Errors,
    pub friction: Errors,
    /// N·cm.
    pub neutral: Errors,
    /// Degrees.
    pub knee: Errors,
    /// Relative error.
    pub beyond: Errors,
    pub spot: Errors,
    /// Relative error.
    pub height: Errors,
    pub slop: Errors,
    pub reached: Errors,
    pub without_curve: usize,
    /// Recordings with a finding of a kind that their surface does not have.
    pub false_knees: usize,
    pub false_spots: usize,
    /// Recordings whose fault was not found.
    pub missed: usize,
}

impl Tally {
    pub fn add(&mut self, o: &Outcome) {
        self.recordings += 1;
        let found = |kind| o.judged.findings.iter().any(|f| f.kind == kind);
        let has_knee = o.truth.knee_up.or(o.truth.knee_down).is_some();
        let has_spot = !o.truth.tight_spots.is_empty();
        self.false_knees += usize::from(found(Kind::Stiffening) && !has_knee);
        self.false_spots += usize::from(found(Kind::TightSpot) && !has_spot);
        let missed =
            (has_knee && !found(Kind::Stiffening)) || (has_spot && !found(Kind::TightSpot));
        self.missed += usize::from(missed);
        let truth = &o.truth;
        if let Some(throw) = o
            .measured
            .throws
            .first()
            .and_then(|t| t.reached_deg.as_ref())
        {
            self.reached.add(throw, truth.reached_up_deg, 1.0);
        }
        if let Some(slop) = &o.measured.slop_deg {
            self.slop.add(slop, truth.slop_deg, 1.0);
        }
        let Some(curve) = &o.measured.curve else {
            self.without_curve += 1;
            return;
        };
        let (k, f) = (truth.stiffness_ncm_per_deg, truth.friction_ncm);
        self.stiffness.add(&curve.stiffness_ncm_per_deg, k, k);
        self.friction.add(&curve.friction_ncm, f, f);
        self.neutral
            .add(&curve.neutral_torque_ncm, truth.neutral_torque_ncm, 1.0);
        let true_knees = [(true, truth.knee_up), (false, truth.knee_down)];
        for (up_side, knee) in true_knees {
            let found = curve.knees.iter().find(|k| k.up_side == up_side);
            if let (Some(true_knee), Some(found)) = (knee, found) {
                self.knee.add(&found.at_deg, true_knee.at_deg, 1.0);
                let beyond = true_knee.stiffness_beyond_ncm_per_deg;
                self.beyond
                    .add(&found.stiffness_beyond_ncm_per_deg, beyond, beyond);
            }
        }
        for spot in &curve.tight_spots {
            let near = |t: &&TightSpot| (t.at_deg - spot.at_deg.value).abs() < 4.0;
            if let Some(t) = truth.tight_spots.iter().find(near) {
                self.spot.add(&spot.at_deg, t.at_deg, 1.0);
                self.height
                    .add(&spot.height_ncm, t.height_ncm, t.height_ncm);
            }
        }
    }

    pub fn merge(&mut self, other: Tally) {
        self.recordings += other.recordings;
        for (mine, theirs) in [
            (&mut self.stiffness, other.stiffness),
            (&mut self.friction, other.friction),
            (&mut self.neutral, other.neutral),
            (&mut self.knee, other.knee),
            (&mut self.beyond, other.beyond),
            (&mut self.spot, other.spot),
            (&mut self.height, other.height),
            (&mut self.slop, other.slop),
            (&mut self.reached, other.reached),
        ] {
            mine.errors.extend(theirs.errors);
            mine.inside += theirs.inside;
            mine.with_interval += theirs.with_interval;
        }
        self.without_curve += other.without_curve;
        self.false_knees += other.false_knees;
        self.false_spots += other.false_spots;
        self.missed += other.missed;
    }
}
