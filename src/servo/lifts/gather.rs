//! Recordings taken apart spell by spell, and put together as [`Lifts`].

use super::sight::{Sight, Stretch};
use super::slip::{self, Place};
use super::{Course, Doing, Known, Level, Lifts, Said, Slip, Warmth, marks};
use crate::analysis::stats::robust;
use crate::analysis::stats::smooth::local_lines;
use crate::problem::Problem;
use crate::recording::{Channel, Recording};
use crate::servo::{Armed, spells};

/// Window of the local straight line that gives the speed, s.
const WINDOW_S: f64 = 0.10;

#[derive(Default)]
pub(super) struct Gathered {
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
    pub(super) fn take(
        &mut self,
        name: &str,
        recording: &Recording,
        said: Said<'_>,
    ) -> Result<(), Problem> {
        let lacks = |channel: &str| {
            Problem::new(format!("{name}: no {channel} in it, which a calibration needs")).hint(
                "supply power is current_ma times supply_v (or source_v), and the arm's angle comes from arm_deg, or from angle_deg \
                 with the sensor on the arm",
            )
        };
        let any = |channels: &[Channel]| channels.iter().any(|c| recording.has(*c));
        let current = marks::current_of(recording, said.tag);
        for (channels, word) in [
            (&[current][..], current.name()),
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
        let loads = marks::loads(
            (&mut self.masses_kg, &mut self.arms_mm),
            name,
            recording,
            said,
        )?;
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
            self.take_segment(segment, &here, current);
        }
        Ok(())
    }

    fn take_segment(
        &mut self,
        segment: &crate::recording::Segment,
        spells: &[(Armed<'_>, (usize, usize))],
        current: Channel,
    ) {
        let column = |channel| segment.column(channel);
        let (Some(current), Some(volts), Some(arm_deg)) = (
            column(current),
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
        let deg = slip::deg(&places);
        if deg > slip::SLIPPED_DEG && self.slipped.is_none_or(|s| s.deg < deg) {
            self.slipped = Some(Slip { mass_kg, deg });
        }
    }

    pub(super) fn finish(self) -> Result<Lifts, Problem> {
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

/// Mean without the tenth at either end; NaN of nothing.
fn robust_mean(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let cut = sorted.len() / 10;
    let kept = &sorted[cut..sorted.len() - cut];
    kept.iter().sum::<f64>() / kept.len() as f64
}
