//! A servo tested by itself or in the model: what recordings of steps, staircases and rests say of it. Everything comes from
//! the channels: no mark in the recording tells where a step is. Pure, as all of this room.

mod jump;
mod law;
mod mean;
mod rest;
mod stairs;
mod trace;

use crate::aircraft::{Aircraft, SheetSpeed, Surface};
use crate::analysis::Quantity;
use crate::analysis::stats::student;
use crate::recording::{Channel, Recording};
use crate::servo::ServoFound;

use jump::{OneWay, Step};
use mean::Mean;
use trace::Trace;

pub use jump::SETTLED_WITHIN_DEG;
pub use stairs::{Stair, Staircase};

/// The `#` key of a recording whose angle sensor sits on the servo's arm: `yes`.
pub const ALONE: &str = "alone";
/// Points of a picture at most, a step.
const DRAWN: usize = 240;
/// How much of a step is drawn, s.
const DRAWN_S: f64 = 0.6;

/// Where the arm's angle came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ArmFrom {
    /// `arm_deg`.
    Arm,
    /// `angle_deg`, the servo lying alone.
    SensorOnArm,
    /// `angle_deg` through the linkage of the aircraft file: play in the rods is within it.
    Linkage,
    /// `angle_deg`, scaled by the arm's way with the pulse.
    Pulse,
    /// `angle_deg` as it is: nothing told the ratio.
    AssumedOne,
}

/// How a speed was brought to the data sheet's voltage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// By the line through speeds at several voltages.
    Line,
    /// In proportion to voltage, which is near.
    Proportion,
}

/// The speed at the data sheet's voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtSheet {
    pub sheet: SheetSpeed,
    pub slew_s_per_60deg: Quantity,
    pub how: How,
}

/// Why something is not there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lack {
    /// No pulse with an arm's or a surface's angle.
    Nothing,
    /// Fewer than three large steps each way.
    LargeSteps,
    /// Large steps, but too short to reach full speed.
    FullSpeed,
    Staircases,
    /// Steps of the staircases, µs, that are all answered.
    BelowTheSteps(f64),
    /// The arm trembles too much to tell small moves.
    Restless,
    ReturnsFromBothSides,
    Current,
    LongRests,
    /// No time without a pulse to tell the sensor's own noise by.
    SensorsNoise,
    /// The voltage at the plug.
    Voltage,
    /// The data sheet's voltage is too far from those measured.
    SheetVoltageFar,
}

/// What recordings of one servo say together.
#[derive(Debug, Clone, PartialEq)]
pub struct Tested {
    pub found: ServoFound,
    pub arm_from: ArmFrom,
    /// Large steps up and down.
    pub large_steps: (usize, usize),
    pub staircases: usize,
    /// Voltage at the plug during the large steps, V.
    pub at_v: Option<f64>,
    pub slew_up_s_per_60deg: Option<Quantity>,
    pub slew_down_s_per_60deg: Option<Quantity>,
    /// °/s for a volt more, from several voltages.
    pub speed_per_volt: Option<Quantity>,
    pub at_sheet: Option<AtSheet>,
    /// Current at rest away from neutral, mA.
    pub hold_ma: Option<Quantity>,
    /// Of the arm by the pulse, °/µs.
    pub deg_per_us: Option<f64>,
    /// Between two samples, ms: no single step is timed better.
    pub resolution_ms: f64,
    pub lacks: Vec<Lack>,
    pub pictures: Pictures,
}

/// What is drawn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Pictures {
    pub responses: Vec<Response>,
    pub staircases: Vec<Staircase>,
}

/// One large step.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    pub up: bool,
    /// Since the step, ms, and the arm's way, degrees.
    pub way: Vec<(f64, f64)>,
}

/// All recordings of one servo together.
pub fn tested(recordings: &[&Recording], aircraft: &Aircraft, surface: &Surface) -> Tested {
    let mut arm_from = ArmFrom::Arm;
    let mut all = Vec::new();
    let mut sensor = Vec::new();
    for recording in recordings {
        let (from, traces) = trace::traces(recording, aircraft, surface);
        arm_from = arm_from_both(arm_from, from, all.is_empty());
        all.extend(traces);
        let channel = match from {
            ArmFrom::Arm => Channel::ArmDeg,
            _ => Channel::AngleDeg,
        };
        sensor.extend(rest::variances_of_the_sensor(recording, channel));
    }
    let slopes: Vec<f64> = all.iter().filter_map(|t| Trace::slope(&t.levels)).collect();
    let mut tested = Tested {
        found: ServoFound::default(),
        arm_from,
        large_steps: (0, 0),
        staircases: 0,
        at_v: None,
        slew_up_s_per_60deg: None,
        slew_down_s_per_60deg: None,
        speed_per_volt: None,
        at_sheet: None,
        hold_ma: None,
        deg_per_us: trace::mean(&slopes),
        resolution_ms: 1e3 * all.iter().map(|t| t.dt_s).fold(0.0, f64::max),
        lacks: Vec::new(),
        pictures: Pictures::default(),
    };
    if all.is_empty() {
        tested.lacks.push(Lack::Nothing);
        return tested;
    }
    let kind = &aircraft.servo_types[aircraft.servos[surface.servo_index].type_index];
    tested.steps(&all, kind.speed);
    tested.stairs(&all);
    tested.rests(&all, sensor);
    tested
}

/// The poorer of two sources.
fn arm_from_both(one: ArmFrom, other: ArmFrom, first: bool) -> ArmFrom {
    if first || other as u8 > one as u8 {
        other
    } else {
        one
    }
}

impl Tested {
    /// What the dead band alone may make of slop and centring, degrees of the arm: from edge to edge of it. `None` where it was
    /// not measured.
    pub fn dead_band_makes_deg(&self) -> Option<f64> {
        let half_us = self.found.dead_band_us?.value;
        Some(2.0 * half_us * self.deg_per_us?.abs())
    }

    /// Nothing but the servo itself lies between pulse and angle.
    pub fn without_rods(&self) -> bool {
        matches!(self.arm_from, ArmFrom::Arm | ArmFrom::SensorOnArm)
    }

    fn steps(&mut self, all: &[Trace<'_>], sheet: Option<SheetSpeed>) {
        let steps: Vec<Step> = all
            .iter()
            .enumerate()
            .flat_map(|(spell, trace)| jump::steps(trace, spell))
            .collect();
        let ups = steps.iter().filter(|s| s.up).count();
        self.large_steps = (ups, steps.len() - ups);
        self.found.overshoot_deg = jump::overshoot(&steps).map(Mean::quantity);
        // Who commands a step on the arrival of a sample is in step with the samples: where between two of them the pulse
        // changed is then the same each time, and no mean takes it out.
        let half_ms = 0.5 * self.resolution_ms;
        self.found.settling_ms =
            jump::settling(&steps).map(|m| m.scaled(1e3).within(half_ms).quantity());
        self.pictures.responses = steps.iter().map(response).collect();
        let ways: Vec<[Option<OneWay>; 2]> = (0..all.len())
            .map(|spell| {
                let own: Vec<&Step> = steps.iter().filter(|s| s.spell == spell).collect();
                [true, false].map(|up| jump::one_way(&own, up))
            })
            .collect();
        let dead: Vec<f64> = ways
            .iter()
            .flatten()
            .flatten()
            .flat_map(|way| way.runs.iter().map(|r| 1e3 * r.dead_s))
            .collect();
        let shape_ms = jump::SHAPE_BEGINNING * self.resolution_ms;
        let told = |mean: Mean| mean.within(half_ms).within(shape_ms).quantity();
        self.found.dead_time_ms = Mean::of(&dead).map(told);
        let of_a_side = |up: bool| {
            let side = ways.iter().flatten().flatten().filter(|w| w.up == up);
            let means: Vec<Mean> = side.map(|w| w.mean).collect();
            let share = 1.0 / means.len() as f64;
            let sum = means.into_iter().reduce(|a, b| a.with(1.0, b, 1.0))?;
            Some(law::slew(sum.scaled(share)).quantity())
        };
        (self.slew_up_s_per_60deg, self.slew_down_s_per_60deg) =
            (of_a_side(true), of_a_side(false));
        let Some(speed) = law::speed(&ways) else {
            // What began a motion is told by its shape, and that needs full speed: of one way alone it is not believed.
            self.found.dead_time_ms = None;
            (self.slew_up_s_per_60deg, self.slew_down_s_per_60deg) = (None, None);
            let enough = self.large_steps.0.min(self.large_steps.1) >= 3;
            self.lacks.push(if enough {
                Lack::FullSpeed
            } else {
                Lack::LargeSteps
            });
            return;
        };
        self.found.slew_s_per_60deg = Some(law::slew(speed.deg_per_s).quantity());
        self.at_v = speed.at_v;
        self.speed_per_volt = speed.per_volt.map(Mean::quantity);
        self.at_sheet = sheet.and_then(|sheet| speed.at_sheet(sheet));
        if self.at_v.is_none() {
            self.lacks.push(Lack::Voltage);
        } else if sheet.is_some() && self.at_sheet.is_none() {
            self.lacks.push(Lack::SheetVoltageFar);
        }
    }

    fn stairs(&mut self, all: &[Trace<'_>]) {
        let Some(deg_per_us) = self.deg_per_us.filter(|s| s.abs() > 1e-4) else {
            self.lacks.push(Lack::Staircases);
            return;
        };
        let mut cases = Vec::new();
        let mut deviation_deg = 0.0_f64;
        for trace in all {
            let (own, deviation) = stairs::staircases(trace, deg_per_us);
            cases.extend(own);
            deviation_deg = deviation_deg.max(deviation);
        }
        let answered = stairs::answered(&cases, deviation_deg, deg_per_us);
        self.staircases = cases.len();
        self.found.dead_band_us = answered.dead_band_us.map(Mean::quantity);
        self.found.arm_slop_deg = answered.slop_deg.map(Mean::quantity);
        if let Some(us) = answered.smaller_than_us {
            self.lacks.push(Lack::BelowTheSteps(us));
        } else if answered.restless {
            self.lacks.push(Lack::Restless);
        } else if answered.dead_band_us.is_none() {
            self.lacks.push(Lack::Staircases);
        }
        self.pictures.staircases = cases;
    }

    fn rests(&mut self, all: &[Trace<'_>], sensor: Vec<f64>) {
        let at_rest = rest::at_rest(all);
        let alike_deg = jump::ALIKE * rest::step_of_reading(all);
        self.found.centring_deg = at_rest.centring_deg.map(|m| m.within(alike_deg).quantity());
        self.found.idle_ma = at_rest.idle_ma.map(Mean::quantity);
        self.hold_ma = at_rest.hold_ma.map(Mean::quantity);
        if at_rest.centring_deg.is_none() {
            self.lacks.push(Lack::ReturnsFromBothSides);
        }
        if at_rest.idle_ma.is_none() && at_rest.centring_deg.is_some() {
            self.lacks.push(Lack::Current);
        }
        let armed = rest::variances_at_rest(all);
        match (Mean::of(&armed), Mean::of(&sensor)) {
            (Some(armed), Some(sensor)) => {
                // Before each spell the arm stood somewhere else within the sensor's step, and so it did after the last.
                let places = (all.len() + 1) as f64;
                let step_deg = rest::step_of_reading(all);
                self.found.jitter_deg = Some(jitter(armed, sensor, step_deg, places));
            }
            (None, _) => self.lacks.push(Lack::LongRests),
            (_, None) => self.lacks.push(Lack::SensorsNoise),
        }
    }
}

/// The root of what the variance at rest has more than the sensor's own; its interval is that of the variance's, which may
/// reach down to nothing.
fn jitter(armed: Mean, sensor: Mean, step_deg: f64, places: f64) -> Quantity {
    let rounding = rest::rounding_of_variance(sensor.value, step_deg) / places.sqrt();
    let more = armed.with(1.0, sensor, -1.0);
    let (u, df) = student::combine(&[(more.u, more.df), (rounding / 2f64.sqrt(), f64::INFINITY)]);
    let root = |variance: f64| variance.max(0.0).sqrt();
    let value = root(more.value);
    // No trembling has less than none: the interval begins from there.
    let interval = student::interval(more.value.max(0.0), u, df).map(|i| {
        let (lo95, hi95) = (root(i.lo95), root(i.hi95));
        let factor = student::t95(df);
        crate::analysis::Interval {
            u: 0.5 * (hi95 - lo95) / factor,
            lo95,
            hi95,
        }
    });
    Quantity { value, interval }
}

fn response(step: &Step) -> Response {
    let shown = step.way.iter().filter(|w| w.0 < DRAWN_S);
    Response {
        up: step.up,
        way: shown.take(DRAWN).map(|w| (1e3 * w.0, w.1)).collect(),
    }
}

#[cfg(test)]
mod tests;
