//! `calibrate servo` with a rig: cautions, then weight by weight what to hang on, lifted and lowered; kept in the logbook.

use std::io::Write;

use super::servo::{Arguments, kind_of};
use crate::aircraft::{Aircraft, Surface};
use crate::cli::at_rig::{self, Bench, Ended, Plug};
use crate::cli::complain;
use crate::cli::words::{a_line, say, words};
use crate::logbook::Logbook;
use crate::problem::{Problem, exit};
use crate::recording::{Channel, purpose};
use crate::rig::{Move, Pace, Spell, SweepPlan, To};
use crate::servo::lifts::{Known, LIFTED_BY};
use crate::units::Unit;

/// µs for a degree of the arm where the aircraft file does not say: 0.09°/µs, as servos mostly have it (common practice, no source).
const USUAL_DEG_PER_US: f64 = 0.09;
/// Standard acceleration of free fall, m/s² (ISO 80000-3).
const GRAVITY_M_S2: f64 = 9.806_65;
/// Held at the top, where a weight warms the copper, and below, s.
const HOLD_UP_S: f64 = 0.4;
const HOLD_DOWN_S: f64 = 0.6;
/// Speeds of which the fastest is this many times the slowest can be told apart.
const APART: f64 = 1.5;
/// A rest for the idle power, s.
const REST_S: f64 = 1.0;

/// Whether the servo sits in the surface, as its first or its second.
fn has(surface: &Surface, tag: &str, aircraft: &Aircraft) -> bool {
    let servos = [Some(surface.servo_index), surface.second_servo_index];
    let mut tags = servos
        .into_iter()
        .flatten()
        .map(|i| &aircraft.servos[i].tag);
    tags.any(|t| t == tag)
}

/// What is to be lifted.
struct Job<'a> {
    arguments: &'a Arguments,
    logbook: &'a Logbook,
    surface_index: usize,
    arm_mm: Known,
    masses_kg: Vec<Known>,
    deg_per_us: f64,
}

/// Lifts and lowers the masses, and records it.
pub fn lifted(arguments: &Arguments, logbook: &Logbook) -> Result<Ended, Problem> {
    let job = Job::of(arguments, logbook)?;
    let at_rig = at_rig::Job {
        bench: Bench {
            port: arguments.port.as_deref(),
            baud: arguments.baud,
            note: arguments.note.as_deref(),
            yes: arguments.yes,
            json: arguments.json,
            dry_run: arguments.dry_run,
            angle_from: &[Channel::ArmDeg, Channel::AngleDeg],
        },
        logbook,
        surface_index: job.surface_index,
        purpose: purpose::CALIBRATION,
        keys: job.keys(),
        by_second: job.is_second().then_some(Plug::Own),
        plan: job.plan(),
        spells: job.masses_kg.iter().map(|m| job.spell(m)).collect(),
        said: job.plan_words(),
    };
    let mut ready = async |number: usize| {
        say(&job.bench_words(number));
        let mut out = words();
        let _ = write!(
            out,
            "The rig is disarmed. Then hands clear, and Enter arms it; q ends: "
        );
        let _ = out.flush();
        a_line()
            .await
            .is_some_and(|l| !l.trim().eq_ignore_ascii_case("q"))
    };
    // From here on it is the rig that fails.
    at_rig::run(&at_rig, &mut ready).or_else(|problem| {
        complain(&problem);
        Ok(Ended::Before(exit::RIG))
    })
}

impl<'a> Job<'a> {
    fn of(arguments: &'a Arguments, logbook: &'a Logbook) -> Result<Self, Problem> {
        let aircraft = logbook.aircraft();
        let tag = &arguments.tag;
        let surface_index = aircraft
            .surfaces
            .iter()
            .position(|s| has(s, tag, aircraft))
            .ok_or_else(|| {
                Problem::new(format!("no surface of {} has servo {tag}", aircraft.name))
                    .hint("name it as servo of the [[surface]] that it will drive: a recording is kept under its surface")
            })?;
        let arm_mm = arguments.arm_mm.ok_or_else(|| {
            Problem::new("the arm's length is not said")
                .hint("give --arm-mm 60: from the servo's shaft to where the weight hangs")
        })?;
        let (slow, fast) = arguments
            .speeds
            .iter()
            .fold((f64::INFINITY, 0.0_f64), |(lo, hi), s| {
                (lo.min(*s), hi.max(*s))
            });
        if fast < APART * slow {
            return Err(
                Problem::new("one speed does not tell copper loss from mechanical power").hint(
                    "give two or more that differ by half at least, for instance --speeds 30,90",
                ),
            );
        }
        let kind = kind_of(tag, aircraft);
        let mut masses_kg = arguments.masses.clone();
        // The way is felt for with what hangs on first: the lightest.
        masses_kg.sort_by(|a, b| a.value.total_cmp(&b.value));
        masses_kg.dedup_by(|a, b| a.value == b.value);
        if masses_kg.len() < 3 {
            return Err(Problem::new(format!(
                "{} different loads do not tell friction, gear loss and winding loss apart",
                masses_kg.len()
            ))
            .hint("give the empty arm and two masses at least, for instance --masses 0,0.3,0.8"));
        }
        let job = Self {
            arguments,
            logbook,
            surface_index,
            arm_mm,
            masses_kg,
            deg_per_us: kind
                .and_then(|k| k.arm_deg_per_us)
                .unwrap_or(USUAL_DEG_PER_US)
                .abs(),
        };
        job.not_too_heavy(kind.map(|k| k.stall_torque_ncm))?;
        Ok(job)
    }

    fn surface(&self) -> &'a Surface {
        &self.logbook.aircraft().surfaces[self.surface_index]
    }

    fn is_second(&self) -> bool {
        let aircraft = self.logbook.aircraft();
        aircraft.servos[self.surface().servo_index].tag != self.arguments.tag
    }

    /// Where two servos sit on the surface: which of them lifts.
    fn keys(&self) -> Vec<(&'static str, String)> {
        let two = self.surface().second_servo_index.is_some();
        let key = two.then(|| (LIFTED_BY, self.arguments.tag.clone()));
        key.into_iter().collect()
    }

    /// Which plug, where two servos sit on the surface.
    fn plug_words(&self) -> String {
        let aircraft = self.logbook.aircraft();
        let tag = |index: usize| &aircraft.servos[index].tag;
        let Some(second) = self.surface().second_servo_index else {
            return String::new();
        };
        let (first, second) = (tag(self.surface().servo_index), tag(second));
        match self.is_second() {
            true => format!(
                "plug       {second} is the second servo: a rig that reads current2_ma has it in the second plug, any other in {first}'s. One pulse \
                 drives both: unplug {first} if you can, or take its rod off as well\n"
            ),
            false => format!(
                "plug       {first} in the first servo's plug. One pulse drives both: unplug {second} if you can, or take its rod off as well\n"
            ),
        }
    }

    fn torque_ncm(&self, mass: &Known) -> f64 {
        0.1 * GRAVITY_M_S2 * mass.value * self.arm_mm.value
    }

    fn not_too_heavy(&self, stall_ncm: Option<f64>) -> Result<(), Problem> {
        let Some((stall_ncm, mass)) = stall_ncm.zip(self.masses_kg.last()) else {
            return Ok(());
        };
        let torque = self.torque_ncm(mass);
        if torque <= 0.5 * stall_ncm {
            return Ok(());
        }
        Err(Problem::new(format!(
            "{} kg at {} mm is {}, more than half of the stall torque of {}",
            mass.value,
            self.arm_mm.value,
            Unit::Torque(Default::default()).plain(torque),
            Unit::Torque(Default::default()).plain(stall_ncm),
        ))
        .hint("take a lighter weight or a shorter arm: a servo that stalls gets hot, and a weight that it cannot hold falls"))
    }

    fn plan_words(&self) -> String {
        let a = self.arguments;
        let torque = Unit::Torque(Default::default());
        let masses: Vec<String> = self
            .masses_kg
            .iter()
            .map(|m| format!("{} kg ({})", m.value, torque.plain(self.torque_ncm(m))))
            .collect();
        let speeds: Vec<String> = a.speeds.iter().map(|s| format!("{s:.0}")).collect();
        let trip = self.trip();
        format!(
            "WHAT WILL MOVE: servo {}, with a bare arm and weights on it; its rod is off\n\
             {}weights    {}, at {} mm\n\
             moves      {:.0}° to either side of level, {} times up and down at {}°/s each\n\
             first      with the lightest: a nudge to see which way it goes, then the way is felt for\n\
             rig stops  above {:.0} mA, below {:.2} V, above {:.0} °C at the case if the rig measures it, stalled for {:.0} ms\n\
             A weight falls when the servo lets go: at a trip, at the end, when a plug slips. Keep feet, fingers and the model from under \
             it, hang it low over something soft, and clamp the servo down.",
            a.tag,
            self.plug_words(),
            masses.join(", "),
            self.arm_mm.value,
            a.swing_deg,
            a.times,
            speeds.join(" and "),
            trip.current_ma,
            trip.supply_v,
            trip.case_c,
            trip.stall_ms,
        )
    }

    fn trip(&self) -> crate::aircraft::TripPoints {
        let aircraft = self.logbook.aircraft();
        aircraft.trip_points(&aircraft.surfaces[self.surface_index])
    }

    fn plan(&self) -> SweepPlan {
        let aircraft = self.logbook.aircraft();
        let surface = &aircraft.surfaces[self.surface_index];
        SweepPlan {
            up_deg: self.arguments.swing_deg + 1.0,
            down_deg: -self.arguments.swing_deg - 1.0,
            ..SweepPlan::of(aircraft, surface, 1, 30.0, HOLD_UP_S).alone(aircraft, surface)
        }
    }

    fn spell(&self, mass: &Known) -> Spell {
        let a = self.arguments;
        let go = |deg: f64, deg_s: f64, hold_s: f64| Move {
            to: To::Deg(deg),
            pace: Pace::UsPerS(deg_s / self.deg_per_us),
            hold_s,
        };
        let slow = a.speeds.iter().copied().fold(f64::INFINITY, f64::min);
        let mut moves = vec![go(0.0, slow, REST_S), go(-a.swing_deg, slow, HOLD_DOWN_S)];
        for &deg_s in &a.speeds {
            for _ in 0..a.times {
                moves.push(go(a.swing_deg, deg_s, HOLD_UP_S));
                moves.push(go(-a.swing_deg, deg_s, HOLD_DOWN_S));
            }
        }
        moves.push(go(0.0, slow, REST_S));
        Spell {
            marks: vec![
                ("mass_kg", mass.value.to_string()),
                ("mass_u_kg", mass.u.to_string()),
                ("arm_mm", self.arm_mm.value.to_string()),
                ("arm_u_mm", self.arm_mm.u.to_string()),
            ],
            moves,
            ends_after_s: None,
        }
    }

    /// What to do at the bench before a weight is lifted.
    fn bench_words(&self, number: usize) -> String {
        let mass = &self.masses_kg[number];
        let of = self.masses_kg.len();
        let what = if mass.value == 0.0 {
            "leave the arm empty, level at neutral".to_owned()
        } else {
            format!(
                "hang {} kg on the arm, {} mm from the shaft, low over something soft, so that upwards lifts it and nothing swings; let it hang",
                mass.value, self.arm_mm.value
            )
        };
        format!("weight     {} of {of}: {what}", number + 1)
    }
}
