//! Two servos on one surface: what each draws at the holds, whether they push against each other, and which to trim. Pure.
//!
//! Held still a servo draws idle and copper loss alone. What *both* draw where the load is small, at neutral, they draw against each
//! other. Away from neutral the load adds to the one and is taken from the other: with copper loss a·t² and t₁ = L/2 + f,
//! t₂ = L/2 − f, the difference of their currents goes with 2·f·L, and L has the sign of the deflection. So the slope of that
//! difference over the angle says which of them pushes up. With both calibrated, copper loss gives each one's torque,
//! P = a·x²; standing still, x lies within its friction and gear loss of the load, on either side.

mod holds;
mod trim;

use crate::aircraft::{Aircraft, Calibration, Surface};
use crate::analysis::stats::student;
use crate::analysis::{Interval, Quantity};
use crate::recording::{Channel, Recording};
use holds::{Hold, Mean, holds, idle_ma, mean, mean_over};

/// A place is where the surface comes within this share of its travel.
const NEAR_SHARE: f64 = 0.1;
const LEAST_NEAR_DEG: f64 = 1.0;
/// Pulses this near are the same, µs; and so many holds say how holds scatter.
const SAME_US: f64 = 1.0;
const FEWEST: usize = 3;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    Lower,
    HalfLower,
    Neutral,
    HalfUpper,
    Upper,
}

/// What was seen at one place of the travel. Currents are beyond idle, mA.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    pub place: Place,
    pub angle_deg: f64,
    pub holds: usize,
    pub first_ma: Quantity,
    pub second_ma: Quantity,
    /// What both draw at least, mA: the smaller of the two. At neutral that is what they fight with; elsewhere at most.
    pub both_ma: Quantity,
    /// The first's part of what both draw; `None` where it is too little to share.
    pub first_share: Option<Quantity>,
    /// Torque of each at the arm, without its sign, N·cm; `None` unless both are calibrated.
    pub torque_ncm: Option<[Quantity; 2]>,
}

/// What to turn to ease the fight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trim {
    /// Nothing that the data show.
    None,
    /// They fight, but which pushes which way does not show.
    CannotTell,
    /// The first one's neutral pushes further up (`true`) or down than the second's.
    FirstPushes { up: bool },
}

/// Why nothing is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lack {
    /// No `current2_ma`, or no `current_ma`.
    Current,
    /// No disarmed stretch and no calibration says what each draws at idle.
    Idle,
    /// Neutral was not held three times.
    Holds,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// Tags of the servos.
    pub tags: [String; 2],
    pub places: Vec<At>,
    pub trim: Trim,
    pub lack: Option<Lack>,
    /// What the two middles stand apart by for each N·cm/° of held stiffness: µs·N·cm/° of pulse ([`Share::apart_us`]).
    apart: Option<Quantity>,
}

impl Share {
    /// The current that both draw against each other at neutral, mA.
    pub fn fight_ma(&self) -> Option<Quantity> {
        Some(self.at(Place::Neutral)?.both_ma)
    }

    pub fn at(&self, place: Place) -> Option<&At> {
        self.places.iter().find(|p| p.place == place)
    }

    /// By how much the two middles stand apart, µs, from the whole circuit's held stiffness, N·cm/°; `None` where the torques
    /// are not known, or not the way from pulse to angle. Taken for granted: both rods give alike, and the hinge gives little
    /// of the stiffness. Each rod is then bent by half of what the middles stand apart by, δ, and K/2·δ/2 is what they fight with.
    pub fn apart_us(&self, held: &Quantity) -> Option<Quantity> {
        if !matches!(self.trim, Trim::FirstPushes { .. }) {
            return None;
        }
        let (apart, k) = (self.apart?, held.interval?);
        let a = apart.interval?;
        let value = apart.value / held.value;
        let relative = (a.u / apart.value).hypot(k.u / held.value);
        Some(quantity(Mean {
            value,
            u: value * relative,
            df: f64::INFINITY,
        }))
    }
}

/// `None` unless two servos drive the surface.
pub fn measure(recording: &Recording, aircraft: &Aircraft, surface: &Surface) -> Option<Share> {
    let servos = [surface.servo_index, surface.second_servo_index?].map(|i| &aircraft.servos[i]);
    let mut share = Share {
        tags: servos.map(|s| s.tag.clone()),
        places: Vec::new(),
        trim: Trim::None,
        lack: None,
        apart: None,
    };
    if !(recording.has(Channel::CurrentMa) && recording.has(Channel::Current2Ma)) {
        share.lack = Some(Lack::Current);
        return Some(share);
    }
    let calibrations = servos.map(|s| s.calibration.as_ref());
    let Some(idle) = idle_ma(recording, calibrations) else {
        share.lack = Some(Lack::Idle);
        return Some(share);
    };
    let holds = holds(recording);
    share.places = places(&holds, idle, calibrations);
    let fought = share.fight_ma().and_then(|q| q.interval);
    share.lack = fought.is_none().then_some(Lack::Holds);
    if fought.is_some_and(|i| i.lo95 > 0.0) {
        share.trim = trim::which(&holds);
        share.apart = share
            .at(Place::Neutral)
            .and_then(|at| trim::apart(at, &holds, aircraft, surface));
    }
    Some(share)
}

fn places(holds: &[Hold], idle: [Mean; 2], calibrations: [Option<&Calibration>; 2]) -> Vec<At> {
    let ends = holds.iter().map(|h| h.angle_deg);
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), a| {
        (l.min(a), h.max(a))
    });
    let near = (NEAR_SHARE * (high - low)).max(LEAST_NEAR_DEG);
    let one = |place: Place, of_deg: f64| -> Option<At> {
        let here: Vec<&Hold> = holds
            .iter()
            .filter(|h| (h.angle_deg - of_deg).abs() < near)
            .collect();
        at(place, &at_one_pulse(here), idle, calibrations)
    };
    let mut found = Vec::new();
    if low < -2.0 * near {
        found.extend(one(Place::Lower, low));
        found.extend(one(Place::HalfLower, 0.5 * low));
    }
    found.extend(one(Place::Neutral, 0.0));
    if high > 2.0 * near {
        found.extend(one(Place::HalfUpper, 0.5 * high));
        found.extend(one(Place::Upper, high));
    }
    found
}

/// Those at the pulse that most were held at: where the way was felt for the servos stood a little elsewhere. All of them where
/// no pulse comes again and again.
fn at_one_pulse(here: Vec<&Hold>) -> Vec<&Hold> {
    let same = |us: f64| -> Vec<&Hold> {
        let near = here.iter().filter(|h| (h.pulse_us - us).abs() < SAME_US);
        near.copied().collect()
    };
    let most = here.iter().map(|h| same(h.pulse_us)).max_by_key(Vec::len);
    most.filter(|most| most.len() >= FEWEST).unwrap_or(here)
}

fn at(
    place: Place,
    here: &[&Hold],
    idle: [Mean; 2],
    calibrations: [Option<&Calibration>; 2],
) -> Option<At> {
    let angles: Vec<f64> = here.iter().map(|h| h.angle_deg).collect();
    let beyond = |which: usize| -> Vec<f64> {
        here.iter()
            .map(|h| h.currents_ma[which] - idle[which].value)
            .collect()
    };
    let with = |values: &[f64], u: f64, df: f64| {
        let Mean {
            value,
            u: own,
            df: own_df,
        } = mean_over(values, here)?;
        let (u, df) = student::combine(&[(own, own_df), (u, df)]);
        Some(Mean { value, u, df })
    };
    let (first, second) = (beyond(0), beyond(1));
    let (a, b) = (
        with(&first, idle[0].u, idle[0].df)?,
        with(&second, idle[1].u, idle[1].df)?,
    );
    let torque = |which: usize| {
        let calibration = calibrations[which]?;
        let of = |h: &&Hold| {
            held_ncm(
                calibration,
                h.currents_ma[which] - idle[which].value,
                h.volts,
            )
        };
        let torques: Option<Vec<f64>> = here.iter().map(of).collect();
        let torques = torques?;
        // Standing still, its friction and gear loss hold up to so much of the load either way: a rectangle (GUM 4.3.7).
        let loss_ncm = 100.0 * calibration.friction_nm + calibration.gear_loss * mean(&torques)?;
        with(&torques, loss_ncm / 3.0_f64.sqrt(), f64::INFINITY).map(quantity)
    };
    Some(At {
        place,
        angle_deg: mean(&angles)?,
        holds: here.len(),
        first_ma: quantity(a),
        second_ma: quantity(b),
        both_ma: quantity(if a.value < b.value { a } else { b }),
        first_share: first_share([&first, &second], here, [a, b], idle),
        torque_ncm: torque(0).zip(torque(1)).map(|(a, b)| [a, b]),
    })
}

/// A ratio of means, its scatter that of what each hold leaves over (W. G. Cochran, Sampling Techniques, ratio estimator, from memory).
fn first_share(
    both: [&[f64]; 2],
    here: &[&Hold],
    [a, b]: [Mean; 2],
    idle: [Mean; 2],
) -> Option<Quantity> {
    let drawn = |m: Mean| quantity(m).interval.is_some_and(|i| i.lo95 > 0.0);
    let whole = a.value + b.value;
    if !(drawn(a) || drawn(b)) || whole <= 0.0 {
        return None;
    }
    let value = a.value / whole;
    let pairs = both[0].iter().zip(both[1]);
    let left: Vec<f64> = pairs.map(|(a, b)| a - value * (a + b)).collect();
    let scatter = mean_over(&left, here)?;
    let idle_u = ((1.0 - value) * idle[0].u).hypot(value * idle[1].u);
    let (u, df) = student::combine(&[
        (scatter.u / whole, scatter.df),
        (idle_u / whole, idle[0].df.min(idle[1].df)),
    ]);
    Some(quantity(Mean { value, u, df }))
}

/// Torque of a servo that stands, N·cm at the arm, from its copper loss; what friction and gears hold of it left aside.
fn held_ncm(calibration: &Calibration, beyond_ma: f64, volts: f64) -> Option<f64> {
    let copper_w = (1e-3 * beyond_ma * volts).max(0.0);
    let ncm = 100.0 * (copper_w / calibration.winding_w_per_nm2).sqrt();
    ncm.is_finite().then_some(ncm)
}

fn quantity(mean: Mean) -> Quantity {
    let interval: Option<Interval> = student::interval(mean.value, mean.u, mean.df);
    Quantity {
        value: mean.value,
        interval: interval.filter(|_| mean.u > 0.0),
    }
}

#[cfg(test)]
mod tests;
