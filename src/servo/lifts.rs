//! Weights lifted and lowered on a servo's arm: from recordings to levels, each the mean power of one stroke at one speed,
//! or of a rest with the empty arm. What they say of the servo is `balance`'s business.

use super::{Armed, spells};
use crate::analysis::stats::robust;
use crate::analysis::stats::smooth::local_lines;
use crate::problem::Problem;
use crate::recording::{Channel, Recording};

/// Window of the local straight line that gives the speed, s.
const WINDOW_S: f64 = 0.10;
/// Slower than this is rest, °/s.
const REST_DEG_S: f64 = 2.0;
/// Slower than this is no stroke, °/s.
const STROKE_DEG_S: f64 = 6.0;
/// Left out after a stroke has come to its speed and before it loses it, s: half a window, and five times a filter of 10 ms.
const AFTER_START_S: f64 = 0.10;
const BEFORE_END_S: f64 = 0.06;
/// Left out of a rest after motion, s.
const AFTER_MOTION_S: f64 = 0.25;
/// Shortest steady stretch that makes a level, s.
const SHORTEST_S: f64 = 0.12;
/// A stroke's speed may stray from its middle by this share, and for this share of the time by more.
const STEADY: f64 = 0.15;
const UNSTEADY_SHARE: f64 = 0.2;
/// An arm that stands this much elsewhere at the same pulse has slipped, °: a servo's own give and dead band are below it.
const SLIPPED_DEG: f64 = 1.5;
/// Blocks whose means are taken as independent, s: several times the memory of a filtered current reading.
const BLOCK_S: f64 = 0.06;
/// Step in which the course of heating is kept, s.
const HEAT_STEP_S: f64 = 0.05;
/// Temperatures that a case may have on a bench, °C; others are a sensor's fault.
const CASE_C: std::ops::RangeInclusive<f64> = -20.0..=120.0;

/// Without a stated uncertainty: of a mass the share that a kitchen scale is good for, of a length half a millimetre of a
/// steel rule (both assumed, one standard uncertainty).
const MASS_SHARE_U: f64 = 0.005;
const LENGTH_U_MM: f64 = 0.5;

/// A number of the bench with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    pub value: f64,
    pub u: f64,
}

impl Known {
    /// A mass in kg; what a kitchen scale is good for where nothing else is said.
    pub fn mass_kg(value: f64, u: Option<f64>) -> Self {
        Self {
            value,
            u: u.unwrap_or(MASS_SHARE_U * value),
        }
    }

    /// A length in mm; what a steel rule is good for where nothing else is said.
    pub fn length_mm(value: f64, u: Option<f64>) -> Self {
        Self {
            value,
            u: u.unwrap_or(LENGTH_U_MM),
        }
    }
}

/// What the arm did during a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doing {
    /// Against the weight.
    Lifting,
    Lowering,
    /// Nothing, with the empty arm.
    Resting,
}

/// One stroke's, or one rest's, steady stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    pub doing: Doing,
    /// Index into [`Lifts::masses_kg`] and [`Lifts::arms_mm`].
    pub mass: usize,
    pub arm: usize,
    /// Of the arm, positive.
    pub speed_rad_s: f64,
    /// Means of cosine and sine of the arm's angle.
    pub cos: f64,
    pub sin: f64,
    pub power_w: f64,
    pub supply_v: f64,
    pub span_s: f64,
    /// Which course of heating it lies in, and at which of its steps.
    pub course: usize,
    pub step: usize,
}

/// A stretch of one rig's clock in steps of [`HEAT_STEP_S`]: what warms the copper.
#[derive(Debug, Clone, Default)]
pub struct Course {
    pub steps: Vec<Step>,
}

impl Course {
    pub const STEP_S: f64 = HEAT_STEP_S;
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    pub power_w: f64,
    /// Of the arm, up positive; NaN where it is not known.
    pub speed_rad_s: f64,
    pub cos: f64,
    pub sin: f64,
    /// Mass and arm; `None` while disarmed.
    pub load: Option<(usize, usize)>,
    /// °C; NaN where it was not measured.
    pub case_c: f64,
}

/// How far an arm moved against its pulse, °, at most, and with which mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slip {
    pub mass_kg: f64,
    pub deg: f64,
}

/// Where the copper's temperature is known from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Warmth {
    Case,
    Air,
    Nothing,
}

/// All that recordings of lifts hold.
#[derive(Debug, Clone)]
pub struct Lifts {
    /// Different masses, 0 for the empty arm; an error of one is shared by all levels with it.
    pub masses_kg: Vec<Known>,
    pub arms_mm: Vec<Known>,
    pub levels: Vec<Level>,
    pub courses: Vec<Course>,
    /// Variance of a mean of power over a second, as the scatter within strokes shows it, W²·s.
    pub noise_w2_s: f64,
    pub warmth: Warmth,
    /// Moving up the arm lifts; otherwise moving down does.
    pub lifts_up: bool,
    /// Strokes whose speed was not steady.
    pub unsteady: usize,
    /// The arm stood elsewhere at the same pulse, within one spell.
    pub slipped: Option<Slip>,
    pub started: Option<jiff::Timestamp>,
    /// Samples that did not come through.
    pub gone: u64,
}

/// What the command line says of the arm, over what the recordings say.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Said {
    pub arm_mm: Option<Known>,
}

/// Takes recordings with armed spells apart.
///
/// # Errors
/// A channel is missing, a spell does not say its mass or arm, or nothing in them is a steady stroke.
pub fn lifts(recordings: &[(String, Recording)], said: Said) -> Result<Lifts, Problem> {
    let mut found = Gathered::default();
    for (name, recording) in recordings {
        found.take(name, recording, said)?;
    }
    found.finish()
}

#[derive(Default)]
struct Gathered {
    masses_kg: Vec<Known>,
    arms_mm: Vec<Known>,
    /// With the way moved, up +1.
    levels: Vec<(f64, Level)>,
    courses: Vec<Course>,
    noises: Vec<f64>,
    slipped: Option<Slip>,
    unsteady: usize,
    has_case: bool,
    has_air: bool,
    started: Option<jiff::Timestamp>,
    gone: u64,
}

impl Gathered {
    fn take(&mut self, name: &str, recording: &Recording, said: Said) -> Result<(), Problem> {
        let lacks = |channel: &str| {
            Problem::new(format!("{name}: no {channel} in it, which a calibration needs")).hint(
                "supply power is current_ma times supply_v (or source_v), and the arm's angle comes from arm_deg, or from angle_deg \
                 with the sensor on the arm",
            )
        };
        let any = |channels: &[Channel]| channels.iter().any(|c| recording.has(*c));
        for (channels, word) in [
            (&[Channel::CurrentMa][..], "current_ma"),
            (&[Channel::SupplyV, Channel::SourceV], "supply_v"),
            (&[Channel::ArmDeg, Channel::AngleDeg], "arm_deg"),
        ] {
            if !any(channels) {
                return Err(lacks(word));
            }
        }
        self.has_case |= recording.has(Channel::CaseC);
        self.has_air |= recording.has(Channel::AirC);
        self.gone += recording.gone();
        self.started = self.started.or(recording.started());
        let loads = self.loads(name, recording, said)?;
        let all = spells(recording);
        for segment in &recording.segments {
            let here = all.iter().filter(|s| std::ptr::eq(s.segment, segment));
            let here: Vec<(Armed<'_>, (usize, usize))> = if all.is_empty() {
                let whole = Armed {
                    number: 0,
                    segment,
                    samples: 0..segment.len(),
                };
                loads.first().map(|l| (whole, *l)).into_iter().collect()
            } else {
                here.map(|s| (s.clone(), loads[s.number])).collect()
            };
            self.take_segment(segment, &here);
        }
        Ok(())
    }

    /// Mass and arm of each spell.
    fn loads(
        &mut self,
        name: &str,
        recording: &Recording,
        said: Said,
    ) -> Result<Vec<(usize, usize)>, Problem> {
        let count = spells(recording).len().max(1);
        let mut loads = Vec::with_capacity(count);
        for spell in 0..count {
            let number = |key: &str| number_of(name, recording, key, spell, count);
            let Some(mass_kg) = number("mass_kg")? else {
                return Err(Problem::new(format!(
                    "{name}: the rig was armed {count} times, and for time {} no mass is said",
                    spell + 1
                ))
                .hint("put a line `# mass_kg=0.5` ahead of the samples of each spell; 0 is the empty arm"));
            };
            let mass = Known::mass_kg(mass_kg, number("mass_u_kg")?);
            let arm = match said.arm_mm {
                Some(arm) => arm,
                None => {
                    let Some(arm_mm) = number("arm_mm")? else {
                        return Err(Problem::new(format!(
                            "{name}: the arm's length is not said"
                        ))
                        .hint("give --arm-mm 60, or put a line `# arm_mm=60` on top of the recording: from the servo's shaft to where the weight hangs"));
                    };
                    Known::length_mm(arm_mm, number("arm_u_mm")?)
                }
            };
            if !(0.0..=50.0).contains(&mass.value) || !(1.0..=1000.0).contains(&arm.value) {
                return Err(Problem::new(format!(
                    "{name}: {} kg at {} mm is nothing that a servo is calibrated with",
                    mass.value, arm.value
                ))
                .hint("masses are in kilograms, lengths in millimetres"));
            }
            loads.push((
                index_of(&mut self.masses_kg, mass),
                index_of(&mut self.arms_mm, arm),
            ));
        }
        Ok(loads)
    }

    fn take_segment(
        &mut self,
        segment: &crate::recording::Segment,
        spells: &[(Armed<'_>, (usize, usize))],
    ) {
        let column = |channel| segment.column(channel);
        let (Some(current), Some(volts), Some(arm_deg)) = (
            column(Channel::CurrentMa),
            column(Channel::SupplyV).or(column(Channel::SourceV)),
            column(Channel::ArmDeg).or(column(Channel::AngleDeg)),
        ) else {
            return;
        };
        let power_w: Vec<f64> = current
            .iter()
            .zip(volts)
            .map(|(ma, v)| 1e-3 * ma * v)
            .collect();
        let sight = Sight {
            t_s: &segment.t_s,
            arm_deg,
            volts,
            power_w,
            pulse_us: column(Channel::PulseUs),
            speed_deg_s: local_lines(&segment.t_s, arm_deg, WINDOW_S).slope,
            case_c: column(Channel::CaseC).or(column(Channel::AirC)),
        };
        let course = self.courses.len();
        for (spell, load) in spells {
            self.take_spell(&sight, spell.samples.clone(), *load, course);
        }
        let loads: Vec<_> = spells
            .iter()
            .map(|(s, load)| (s.samples.clone(), *load))
            .collect();
        self.courses.push(sight.course(&loads));
    }

    fn take_spell(
        &mut self,
        sight: &Sight<'_>,
        samples: std::ops::Range<usize>,
        load: (usize, usize),
        course: usize,
    ) {
        let mass_kg = self.masses_kg[load.0].value;
        let empty = mass_kg == 0.0;
        let mut places: Vec<Place> = Vec::new();
        for stretch in sight.stretches(samples) {
            let Stretch { way, range, steady } = stretch;
            if way != 0.0 && !steady {
                self.unsteady += 1;
                continue;
            }
            if way == 0.0 && !empty {
                // Held by friction as well as by the motor: a held weight tells no torque.
                continue;
            }
            places.extend(sight.place(way, &range));
            let Some((level, noise)) = sight.level(range, way, load, course) else {
                continue;
            };
            self.noises.extend(noise);
            self.levels.push((way, level));
        }
        let deg = slip_deg(&places);
        if deg > SLIPPED_DEG && self.slipped.is_none_or(|s| s.deg < deg) {
            self.slipped = Some(Slip { mass_kg, deg });
        }
    }

    fn finish(self) -> Result<Lifts, Problem> {
        let lifts_up = self.lifts_up();
        let turned = |(way, level): (f64, Level)| Level {
            doing: match way {
                0.0 => Doing::Resting,
                way if (way > 0.0) == lifts_up => Doing::Lifting,
                _ => Doing::Lowering,
            },
            ..level
        };
        let levels: Vec<Level> = self.levels.iter().copied().map(turned).collect();
        let noise_w2_s = robust_mean(&self.noises);
        if !levels.iter().any(|l| l.doing == Doing::Lifting) || noise_w2_s.is_nan() {
            return Err(Problem::new(format!(
                "no steady stroke of the arm was found ({} that were not steady)",
                self.unsteady
            ))
            .hint(
                "let the arm go up and down by 40° or so at 30° to 90° a second, in moves at a steady rate; \
                 a servo that moves in jerks cannot be calibrated so",
            ));
        }
        Ok(Lifts {
            masses_kg: self.masses_kg,
            arms_mm: self.arms_mm,
            levels,
            courses: self.courses,
            noise_w2_s,
            warmth: match (self.has_case, self.has_air) {
                (true, _) => Warmth::Case,
                (_, true) => Warmth::Air,
                _ => Warmth::Nothing,
            },
            lifts_up,
            unsteady: self.unsteady,
            slipped: self.slipped,
            started: self.started,
            gone: self.gone,
        })
    }

    /// The way in which the heaviest weight needs more power is the one that lifts it.
    fn lifts_up(&self) -> bool {
        let heaviest = (0..self.masses_kg.len()).max_by(|a, b| {
            self.masses_kg[*a]
                .value
                .total_cmp(&self.masses_kg[*b].value)
        });
        let mean = |up: bool| {
            let powers: Vec<f64> = self
                .levels
                .iter()
                .filter(|(way, l)| Some(l.mass) == heaviest && *way != 0.0 && (*way > 0.0) == up)
                .map(|(_, l)| l.power_w)
                .collect();
            robust::median(&powers).unwrap_or(0.0)
        };
        mean(true) >= mean(false)
    }
}

/// The value of a key that belongs to a spell: the n-th of as many as there are spells, or the one that holds for all.
fn number_of(
    name: &str,
    recording: &Recording,
    key: &str,
    spell: usize,
    count: usize,
) -> Result<Option<f64>, Problem> {
    let given: Vec<&str> = recording
        .keys
        .iter()
        .filter(|(k, _)| k == key)
        .map(|(_, v)| v.trim())
        .collect();
    let text = match given.len() {
        0 => return Ok(None),
        1 => given[0],
        n if n >= count => given[spell],
        n => {
            return Err(Problem::new(format!(
                "{name}: the rig was armed {count} times, but {key} is said {n} times"
            ))
            .hint(format!(
                "put one line `# {key}=…` ahead of each spell, or a single one that holds for all"
            )));
        }
    };
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() && number >= 0.0 => Ok(Some(number)),
        _ => Err(Problem::new(format!("{name}: # {key}={text} is no number"))
            .hint("write it with a point and without a unit, for instance 0.5")),
    }
}

fn index_of(all: &mut Vec<Known>, one: Known) -> usize {
    all.iter().position(|k| *k == one).unwrap_or_else(|| {
        all.push(one);
        all.len() - 1
    })
}

/// Where the arm stood at which pulse in a steady stroke: means over it, and degrees a µs within it.
struct Place {
    way: f64,
    speed_deg_s: f64,
    pulse_us: f64,
    arm_deg: f64,
    deg_per_us: f64,
}

/// The most that strokes alike of one spell stand apart at the same pulse, °.
fn slip_deg(places: &[Place]) -> f64 {
    let slopes: Vec<f64> = places.iter().map(|p| p.deg_per_us).collect();
    let Some(slope) = robust::median(&slopes) else {
        return 0.0;
    };
    let stands = |p: &Place| p.arm_deg - slope * p.pulse_us;
    let mut most = 0.0_f64;
    for (n, one) in places.iter().enumerate() {
        for other in &places[..n] {
            let alike =
                one.way == other.way && (one.speed_deg_s / other.speed_deg_s - 1.0).abs() < STEADY;
            if alike {
                most = most.max((stands(one) - stands(other)).abs());
            }
        }
    }
    most
}

/// Mean without the tenth at either end; NaN of nothing.
fn robust_mean(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let cut = sorted.len() / 10;
    let kept = &sorted[cut..sorted.len() - cut];
    kept.iter().sum::<f64>() / kept.len() as f64
}

/// A segment's readings.
struct Sight<'a> {
    t_s: &'a [f64],
    arm_deg: &'a [f64],
    volts: &'a [f64],
    power_w: Vec<f64>,
    speed_deg_s: Vec<f64>,
    case_c: Option<&'a [f64]>,
    pulse_us: Option<&'a [f64]>,
}

/// Motion one way, or rest (0), with what is left out at its ends taken away.
struct Stretch {
    way: f64,
    range: std::ops::Range<usize>,
    steady: bool,
}

impl Sight<'_> {
    fn way(&self, i: usize) -> f64 {
        let v = self.speed_deg_s[i];
        if v.abs() < REST_DEG_S {
            0.0
        } else if v.abs() < STROKE_DEG_S || v.is_nan() {
            f64::NAN
        } else {
            v.signum()
        }
    }

    fn stretches(&self, samples: std::ops::Range<usize>) -> Vec<Stretch> {
        let mut found = Vec::new();
        let mut from = samples.start;
        while from < samples.end {
            let way = self.way(from);
            let mut to = from + 1;
            while to < samples.end && self.way(to) == way {
                to += 1;
            }
            if !way.is_nan()
                && let Some(stretch) = self.trimmed(way, from..to)
            {
                found.push(stretch);
            }
            from = to;
        }
        found
    }

    /// The stretch in which the speed stands, without its ends.
    fn trimmed(&self, way: f64, run: std::ops::Range<usize>) -> Option<Stretch> {
        let within = |range: std::ops::Range<usize>, start_s: f64, end_s: f64| {
            let (first, last) = (
                self.t_s[range.start] + start_s,
                self.t_s[range.end - 1] - end_s,
            );
            let kept = range.clone().find(|&i| self.t_s[i] >= first)?
                ..range.rev().find(|&i| self.t_s[i] <= last)? + 1;
            (kept.len() >= 8 && self.t_s[kept.end - 1] - self.t_s[kept.start] >= SHORTEST_S)
                .then_some(kept)
        };
        if way == 0.0 {
            let range = within(run, AFTER_MOTION_S, BEFORE_END_S)?;
            return Some(Stretch {
                way,
                range,
                steady: true,
            });
        }
        let mut speeds: Vec<f64> = self.speed_deg_s[run.clone()]
            .iter()
            .map(|v| v.abs())
            .collect();
        let brisk = robust::median_in_place(&mut speeds)?;
        let off = |i: &usize| (self.speed_deg_s[*i].abs() / brisk - 1.0).abs() > STEADY;
        let first = run.clone().find(|i| !off(i))?;
        let last = run.clone().rev().find(|i| !off(i))?;
        let range = within(first..last + 1, AFTER_START_S, BEFORE_END_S)?;
        let unsteady = range.clone().filter(off).count() as f64 / range.len() as f64;
        Some(Stretch {
            way,
            range,
            steady: unsteady <= UNSTEADY_SHARE,
        })
    }

    /// `None` at rest, and where there is no pulse that moves.
    fn place(&self, way: f64, range: &std::ops::Range<usize>) -> Option<Place> {
        let pulse = self.pulse_us?;
        let seen = || {
            range
                .clone()
                .filter(|&i| pulse[i].is_finite() && self.arm_deg[i].is_finite())
        };
        let n = seen().count() as f64;
        if way == 0.0 || n < 8.0 {
            return None;
        }
        let mean = |f: &dyn Fn(usize) -> f64| seen().map(f).sum::<f64>() / n;
        let (t, p, a) = (
            mean(&|i| self.t_s[i]),
            mean(&|i| pulse[i]),
            mean(&|i| self.arm_deg[i]),
        );
        let by_time = |f: &dyn Fn(usize) -> f64| mean(&|i| (self.t_s[i] - t) * f(i));
        let (us, deg) = (by_time(&|i| pulse[i]), by_time(&|i| self.arm_deg[i]));
        let speed_deg_s = deg / mean(&|i| (self.t_s[i] - t).powi(2));
        (us != 0.0).then(|| Place {
            way,
            speed_deg_s: speed_deg_s.abs(),
            pulse_us: p,
            arm_deg: a,
            deg_per_us: deg / us,
        })
    }

    /// The level, and the variance of a second's mean as the scatter within it shows it.
    fn level(
        &self,
        range: std::ops::Range<usize>,
        way: f64,
        (mass, arm): (usize, usize),
        course: usize,
    ) -> Option<(Level, Option<f64>)> {
        let seen: Vec<usize> = range
            .clone()
            .filter(|&i| self.power_w[i].is_finite() && self.arm_deg[i].is_finite())
            .collect();
        if seen.len() < 8 {
            return None;
        }
        let n = seen.len() as f64;
        let mean = |f: &dyn Fn(usize) -> f64| seen.iter().map(|&i| f(i)).sum::<f64>() / n;
        let t_mean = mean(&|i| self.t_s[i]);
        let spread = mean(&|i| (self.t_s[i] - t_mean).powi(2));
        let slope = |y: &dyn Fn(usize) -> f64| mean(&|i| (self.t_s[i] - t_mean) * y(i)) / spread;
        let power_w = mean(&|i| self.power_w[i]);
        let tilt = slope(&|i| self.power_w[i]);
        // A weight's lever shortens towards both ends: straight and bent courses are no scatter.
        let bend = |i: usize| (self.t_s[i] - t_mean).powi(2) - spread;
        let bent = mean(&|i| bend(i) * self.power_w[i]) / mean(&|i| bend(i).powi(2));
        let rest =
            |i: usize| self.power_w[i] - power_w - tilt * (self.t_s[i] - t_mean) - bent * bend(i);
        let span_s = self.t_s[range.end - 1] - self.t_s[range.start];
        let level = Level {
            doing: Doing::Resting,
            mass,
            arm,
            speed_rad_s: if way == 0.0 {
                0.0
            } else {
                slope(&|i| self.arm_deg[i]).abs().to_radians()
            },
            cos: mean(&|i| self.arm_deg[i].to_radians().cos()),
            sin: mean(&|i| self.arm_deg[i].to_radians().sin()),
            power_w,
            supply_v: mean(&|i| self.volts[i]),
            span_s,
            course,
            step: (t_mean / HEAT_STEP_S) as usize,
        };
        Some((level, self.noise(&seen, span_s, &rest)))
    }

    /// From the means of blocks about the level's own course.
    fn noise(&self, seen: &[usize], span_s: f64, rest: &dyn Fn(usize) -> f64) -> Option<f64> {
        let blocks = (span_s / BLOCK_S) as usize;
        if blocks < 6 {
            return None;
        }
        let first_s = self.t_s[seen[0]];
        let mut sums = vec![(0.0, 0.0); blocks];
        for &i in seen {
            let at = (((self.t_s[i] - first_s) / span_s * blocks as f64) as usize).min(blocks - 1);
            sums[at] = (sums[at].0 + rest(i), sums[at].1 + 1.0);
        }
        let squares: f64 = sums
            .iter()
            .filter(|s| s.1 > 0.0)
            .map(|s| (s.0 / s.1).powi(2))
            .sum();
        // Mean, slope and bend were taken away.
        let variance = squares / (blocks as f64 - 3.0);
        Some(variance * span_s / blocks as f64)
    }

    fn course(&self, loads: &[(std::ops::Range<usize>, (usize, usize))]) -> Course {
        let end_s = self.t_s.last().copied().unwrap_or(0.0);
        let count = (end_s / HEAT_STEP_S) as usize + 1;
        let mut sums = vec![[0.0_f64; 5]; count];
        let mut case = vec![(0.0_f64, 0.0_f64); count];
        let mut load = vec![None; count];
        for (i, t) in self.t_s.iter().enumerate() {
            let at = ((t / HEAT_STEP_S) as usize).min(count - 1);
            if let Some(c) = self.case_c.map(|c| c[i]).filter(|c| CASE_C.contains(c)) {
                case[at] = (case[at].0 + c, case[at].1 + 1.0);
            }
            let values = [
                self.power_w[i],
                self.speed_deg_s[i].to_radians(),
                self.arm_deg[i].to_radians().cos(),
                self.arm_deg[i].to_radians().sin(),
            ];
            if values.iter().all(|v| v.is_finite()) {
                for (sum, v) in sums[at].iter_mut().zip(values) {
                    *sum += v;
                }
                sums[at][4] += 1.0;
            }
        }
        for (range, of) in loads {
            let from = (self.t_s[range.start] / HEAT_STEP_S) as usize;
            let to = (self.t_s[range.end - 1] / HEAT_STEP_S) as usize;
            load[from..=to.min(count - 1)].fill(Some(*of));
        }
        let steps = (0..count).map(|k| {
            let mean = |j: usize| sums[k][j] / sums[k][4];
            Step {
                power_w: mean(0),
                speed_rad_s: mean(1),
                cos: mean(2),
                sin: mean(3),
                load: load[k],
                case_c: case[k].0 / case[k].1,
            }
        });
        Course {
            steps: steps.collect(),
        }
    }
}

#[cfg(test)]
#[path = "lifts_tests.rs"]
mod tests;
