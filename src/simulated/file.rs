//! The plant file: every number of plant, sensors and rig, in TOML, each key optional. Reading and checking only; what a
//! number means is said where it is used.

use std::ops::Range;

use serde::Deserialize;
use toml::Spanned;

use super::break_in::BreakIn;
use super::guard::{LONGEST_US, Limits, SHORTEST_US};
use super::hinge::{Bump, Hinge, StickSlip, StiffBeyond, TightSpot, When};
use super::linkage::Linkage;
use super::plant::{Joints, Variation};
use super::rig::RigSettings;
use super::scenario::{Broken, ByHand, Channel, HowBroken, Programme, Scenario, Sensors};
use super::servo::{Overrun, Servo, Supply};
use crate::problem::Problem;

type Number = Spanned<f64>;

/// What a number may be.
#[derive(Debug, Clone, Copy)]
enum Bound {
    Any,
    NotNegative,
    Positive,
    Within(f64, f64),
}
use Bound::{Any, NotNegative, Positive, Within};

impl Bound {
    fn holds(self, value: f64) -> bool {
        match self {
            Any => value.is_finite(),
            NotNegative => value.is_finite() && value >= 0.0,
            Positive => value.is_finite() && value > 0.0,
            Within(low, high) => (low..=high).contains(&value),
        }
    }

    fn words(self) -> String {
        match self {
            Any => "any number".into(),
            NotNegative => "0 or a number above it".into(),
            Positive => "a number above 0".into(),
            Within(low, f64::INFINITY) => format!("a number from {low} on, or inf"),
            Within(low, high) => format!("a number from {low} to {high}"),
        }
    }
}

/// A number out of its bound.
struct Fault {
    span: Range<usize>,
    key: &'static str,
    value: f64,
    bound: Bound,
}

/// A table of numbers that go into the fields of the same name.
macro_rules! table {
    ($name:ident => $target:ty { $($key:ident: $bound:expr),* $(,)? } $(and { $($other:ident: $kind:ty),* $(,)? })?) => {
        #[derive(Deserialize, Default)]
        #[serde(deny_unknown_fields, default)]
        struct $name {
            $($key: Option<Number>,)*
            $($($other: Option<$kind>,)*)?
        }

        impl $name {
            fn put_numbers(&self, into: &mut $target) -> Result<(), Fault> {
                $(if let Some(number) = &self.$key {
                    into.$key = checked(number, stringify!($key), $bound)?;
                })*
                Ok(())
            }
        }
    };
}

fn checked(number: &Number, key: &'static str, bound: Bound) -> Result<f64, Fault> {
    let value = *number.get_ref();
    if bound.holds(value) {
        return Ok(value);
    }
    Err(Fault {
        span: number.span(),
        key,
        value,
        bound,
    })
}

table!(ServoTable => Servo {
    arm_deg_per_us: Positive, centre_us: Within(SHORTEST_US, LONGEST_US), dead_band_deg: NotNegative,
    release: Within(0.0, 1.0), lag_s: NotNegative, delay_s: Within(0.0, 1.0), centring_deg: Any,
    centre_drift_deg: NotNegative, jitter_deg: NotNegative, least_duty: Within(0.0, 1.0), gain_per_deg: Positive,
    damping_s_per_deg: NotNegative, stall_torque_ncm: Positive, stall_voltage_v: Positive,
    winding_w_per_nm2: Positive, friction_nm: NotNegative, gear_loss: NotNegative, inertia_kg_m2: Positive,
    idle_w: NotNegative, idle_drift: NotNegative, reference_c: Within(-50.0, 150.0), winding_k_per_w: Positive,
    winding_j_per_k: Positive, case_k_per_w: Positive, case_j_per_k: Positive, current_limit_ma: Within(1.0, f64::INFINITY),
    brown_out_v: NotNegative, restart_s: NotNegative,
} and { reversed: bool, overrun: OverrunWord });

table!(SupplyTable => Supply {
    open_v: Positive, pack_mohm: NotNegative, lead_mohm: NotNegative, air_c: Within(-50.0, 100.0),
});

table!(JointsTable => Joints { slop_deg: NotNegative, stiffness_ncm_per_deg: Positive });

table!(VariationTable => Variation {
    friction_share: NotNegative, neutral_ncm: NotNegative, friction_drift: NotNegative,
});

table!(BreakInTable => BreakIn {
    cycles_worked: NotNegative, rested_h: NotNegative, cycle_deg: Positive, settles_in_cycles: Positive,
    stiffness_settled: Within(0.01, 10.0), friction_settled: Within(0.01, 10.0), recovers: Within(0.0, 1.0),
    recovers_in_h: Positive,
});

table!(HingeTable => Hinge {
    neutral_torque_ncm: Any, stiffness_ncm_per_deg: NotNegative, weight_moment_ncm: Any,
    attitude_deg: Within(-180.0, 180.0), friction_ncm: NotNegative, presliding_deg: Positive,
    viscous_ncm_s_per_deg: NotNegative, inertia_kg_cm2: Positive,
} and {
    knee_up: PlaceTable, knee_down: PlaceTable, stop_up: PlaceTable, stop_down: PlaceTable,
    tight_spot: Vec<TightSpotTable>, stick_slip: StickSlipTable,
});

table!(SensorsTable => Sensors {
    angle_steps: Positive, angle_noise_deg: NotNegative, angle_zero_deg: Any, angle_scale: Any,
    arm_zero_deg: Any, arm_scale: Any, current_noise_ma: NotNegative, current_noise_s: NotNegative,
    current_step_ma: NotNegative, electrical_lag_s: NotNegative, ripple_hz: NotNegative,
    current_scale: Any, supply_scale: Any, source_scale: Any,
    voltage_noise_v: NotNegative, voltage_step_v: NotNegative, torque_noise_ncm: NotNegative,
    torque_noise_s: NotNegative, torque_drift_ncm: NotNegative, torque_scale: Any, force_noise_n: NotNegative,
    force_noise_s: NotNegative, force_scale: Any,
} and { broken: Vec<BrokenTable> });

table!(LimitsTable => Limits {
    current_ma: Within(1.0, 50_000.0), case_c: Within(0.0, 150.0), supply_v: Within(0.0, 60.0),
    pulse_lo_us: Within(SHORTEST_US, LONGEST_US), pulse_hi_us: Within(SHORTEST_US, LONGEST_US),
    stall_ms: Within(20.0, 60_000.0),
});

table!(HandTable => HandNumbers {
    up_deg: Within(0.0, 90.0), down_deg: Within(-90.0, 0.0), end_scatter_deg: NotNegative,
    rate_deg_per_s: Positive, unevenness: NotNegative, pauses_per_s: NotNegative, rest_s: NotNegative,
});
use ByHand as HandNumbers;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PlaceTable {
    at_deg: Number,
    extra_ncm_per_deg: Number,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TightSpotTable {
    at_deg: Number,
    height_ncm: Number,
    width_deg: Option<Number>,
    when: Option<WhenWord>,
    bump: Option<BumpWord>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StickSlipTable {
    static_excess: Number,
    falls_at_deg_per_s: Number,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BrokenTable {
    channel: ChannelWord,
    from_s: Number,
    until_s: Option<Number>,
    how: Option<BrokenWord>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct RigTable {
    name: Option<String>,
    rate_hz: Option<Number>,
    channels: Option<Vec<ChannelWord>>,
    passive: Option<bool>,
    clock_start_us: Option<u32>,
    first_seq: Option<u16>,
    stall_ma: Option<Number>,
    limits: LimitsTable,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct LinkageTable {
    arm_mm: Option<Number>,
    horn_mm: Option<Number>,
    rod_mm: Option<Number>,
    base_mm: Option<Number>,
    arm_zero_deg: Option<Number>,
    surface_per_arm: Option<Number>,
}

#[derive(Deserialize, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum OverrunWord {
    BrakesAtIdle,
    DrawsBalance,
}

#[derive(Deserialize, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum WhenWord {
    Up,
    Down,
    Both,
}

#[derive(Deserialize, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum BumpWord {
    RaisedCosine,
    Gaussian,
}

#[derive(Deserialize, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum BrokenWord {
    Silent,
    Frozen,
}

/// A channel by its name on the wire.
#[derive(Deserialize, Clone, Copy)]
#[serde(try_from = "String")]
struct ChannelWord(Channel);

impl TryFrom<String> for ChannelWord {
    type Error = String;

    fn try_from(name: String) -> Result<Self, String> {
        Channel::named(&name).map(Self).ok_or_else(|| {
            let names: Vec<&str> = Channel::ALL.iter().map(|channel| channel.name()).collect();
            format!(
                "there is no channel \"{name}\"; the channels are {}",
                names.join(", ")
            )
        })
    }
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct File {
    rig: RigTable,
    servo: ServoTable,
    supply: SupplyTable,
    linkage: LinkageTable,
    joints: JointsTable,
    hinge: HingeTable,
    variation: VariationTable,
    break_in: Option<BreakInTable>,
    sensors: SensorsTable,
    hand: HandTable,
}

/// Puts what a plant file says over a scenario and a rig's settings. `name` is the file's name, for messages.
///
/// # Errors
/// What is wrong, in which line, and what would be right.
pub fn put_plant_file(
    text: &str,
    name: &str,
    scenario: &mut Scenario,
    settings: &mut RigSettings,
) -> Result<(), Problem> {
    let file: File = toml::from_str(text).map_err(|error| {
        let message = error.message().replace("unknown field", "unknown key");
        let problem = Problem::new(place(name, text, error.span(), message.trim()));
        with_excerpt(problem, text, error.span()).hint(
            nearest(&message).unwrap_or_else(|| "compare it with samples/plant.toml".to_owned()),
        )
    })?;
    file.put(scenario, settings).map_err(|fault| {
        let what = format!("{} = {} cannot be", fault.key, fault.value);
        let problem = Problem::new(place(name, text, Some(fault.span.clone()), &what));
        with_excerpt(problem, text, Some(fault.span)).hint(format!(
            "{} is {}",
            fault.key,
            fault.bound.words()
        ))
    })?;
    let limits = &settings.limits;
    if limits.pulse_lo_us >= limits.pulse_hi_us {
        return Err(Problem::new(format!(
            "{name}: pulse_lo_us = {} is not below pulse_hi_us = {}",
            limits.pulse_lo_us, limits.pulse_hi_us
        ))
        .hint("give both in [rig.limits], the lower one first"));
    }
    Ok(())
}

fn line_of(text: &str, span: &Option<Range<usize>>) -> Option<usize> {
    let start = span.as_ref()?.start.min(text.len());
    Some(
        text.as_bytes()[..start]
            .iter()
            .filter(|byte| **byte == b'\n')
            .count()
            + 1,
    )
}

fn place(name: &str, text: &str, span: Option<Range<usize>>, what: &str) -> String {
    match line_of(text, &span) {
        Some(line) => format!("{name}, line {line}: {what}"),
        None => format!("{name}: {what}"),
    }
}

fn with_excerpt(problem: Problem, text: &str, span: Option<Range<usize>>) -> Problem {
    let Some(number) = line_of(text, &span) else {
        return problem;
    };
    match text.lines().nth(number - 1) {
        Some(line) => problem.excerpt(format!("{number:>5} | {line}")),
        None => problem,
    }
}

/// The key that was probably meant, from a message that names the wrong one and then all right ones.
fn nearest(message: &str) -> Option<String> {
    let mut quoted = message.split('`').skip(1).step_by(2);
    let wrong = quoted.next()?;
    quoted
        .map(|right| (strsim::jaro_winkler(wrong, right), right))
        .filter(|(likeness, _)| *likeness > 0.8)
        .max_by(|left, right| left.0.total_cmp(&right.0))
        .map(|(_, right)| format!("did you mean \"{right}\"?"))
}

impl File {
    fn put(&self, scenario: &mut Scenario, settings: &mut RigSettings) -> Result<(), Fault> {
        self.rig.put(scenario, settings)?;
        let plant = &mut scenario.plant;
        self.servo.put(&mut plant.servo)?;
        self.supply.put_numbers(&mut plant.supply)?;
        self.linkage.put(&mut plant.linkage)?;
        self.joints.put_numbers(&mut plant.joints)?;
        self.hinge.put(&mut plant.hinge)?;
        self.variation.put_numbers(&mut plant.variation)?;
        if let Some(table) = &self.break_in {
            table.put_numbers(plant.break_in.get_or_insert_with(BreakIn::default))?;
        }
        self.sensors.put(&mut scenario.sensors)?;
        if let Programme::Hand(by_hand) = &mut scenario.programme {
            self.hand.put_numbers(by_hand)?;
        }
        Ok(())
    }
}

impl RigTable {
    fn put(&self, scenario: &mut Scenario, settings: &mut RigSettings) -> Result<(), Fault> {
        if let Some(name) = &self.name {
            scenario.rig_name.clone_from(name);
        }
        if let Some(rate) = &self.rate_hz {
            scenario.rate_hz = checked(rate, "rate_hz", Within(1.0, 2000.0))?;
        }
        if let Some(channels) = &self.channels {
            scenario.channels = channels.iter().map(|word| word.0).collect();
        }
        if self.passive == Some(true) {
            scenario.programme = Programme::Hand(ByHand::default());
        }
        if let Some(start) = self.clock_start_us {
            scenario.clock_start_us = start;
        }
        if let Some(first) = self.first_seq {
            scenario.first_seq = first;
        }
        if let Some(stall) = &self.stall_ma {
            settings.stall_ma = checked(stall, "stall_ma", Positive)?;
        }
        self.limits.put_numbers(&mut settings.limits)
    }
}

impl ServoTable {
    fn put(&self, servo: &mut Servo) -> Result<(), Fault> {
        self.put_numbers(servo)?;
        if let Some(reversed) = self.reversed {
            servo.reversed = reversed;
        }
        if let Some(overrun) = self.overrun {
            servo.overrun = match overrun {
                OverrunWord::BrakesAtIdle => Overrun::BrakesAtIdle,
                OverrunWord::DrawsBalance => Overrun::DrawsBalance,
            };
        }
        Ok(())
    }
}

impl LinkageTable {
    fn put(&self, linkage: &mut Linkage) -> Result<(), Fault> {
        if let Some(ratio) = &self.surface_per_arm {
            *linkage = Linkage::Ratio {
                surface_per_arm: checked(ratio, "surface_per_arm", Positive)?,
                horn_mm: 20.0,
            };
        } else if self.arm_mm.is_some() && matches!(linkage, Linkage::Ratio { .. }) {
            *linkage = Linkage::default();
        }
        let set = |number: &Option<Number>, key, bound, place: &mut f64| {
            if let Some(number) = number {
                *place = checked(number, key, bound)?;
            }
            Ok(())
        };
        match linkage {
            Linkage::Ratio { horn_mm, .. } => set(&self.horn_mm, "horn_mm", Positive, horn_mm),
            Linkage::FourBar {
                arm_mm,
                horn_mm,
                rod_mm,
                base_mm,
                arm_zero_deg,
            } => {
                set(&self.arm_mm, "arm_mm", Positive, arm_mm)?;
                set(&self.horn_mm, "horn_mm", Positive, horn_mm)?;
                set(&self.rod_mm, "rod_mm", Positive, rod_mm)?;
                set(&self.base_mm, "base_mm", Positive, base_mm)?;
                set(
                    &self.arm_zero_deg,
                    "arm_zero_deg",
                    Within(-90.0, 90.0),
                    arm_zero_deg,
                )
            }
        }
    }
}

impl HingeTable {
    fn put(&self, hinge: &mut Hinge) -> Result<(), Fault> {
        self.put_numbers(hinge)?;
        for (table, place) in [
            (&self.knee_up, &mut hinge.knee_up),
            (&self.knee_down, &mut hinge.knee_down),
            (&self.stop_up, &mut hinge.stop_up),
            (&self.stop_down, &mut hinge.stop_down),
        ] {
            if let Some(table) = table {
                *place = Some(StiffBeyond {
                    at_deg: checked(&table.at_deg, "at_deg", Within(-90.0, 90.0))?,
                    extra_ncm_per_deg: checked(
                        &table.extra_ncm_per_deg,
                        "extra_ncm_per_deg",
                        NotNegative,
                    )?,
                });
            }
        }
        if let Some(spots) = &self.tight_spot {
            hinge.tight_spots = spots
                .iter()
                .map(TightSpotTable::spot)
                .collect::<Result<_, _>>()?;
        }
        if let Some(table) = &self.stick_slip {
            hinge.stick_slip = Some(StickSlip {
                static_excess: checked(&table.static_excess, "static_excess", NotNegative)?,
                falls_at_deg_per_s: checked(
                    &table.falls_at_deg_per_s,
                    "falls_at_deg_per_s",
                    Positive,
                )?,
            });
        }
        Ok(())
    }
}

impl TightSpotTable {
    fn spot(&self) -> Result<TightSpot, Fault> {
        Ok(TightSpot {
            at_deg: checked(&self.at_deg, "at_deg", Within(-90.0, 90.0))?,
            height_ncm: checked(&self.height_ncm, "height_ncm", NotNegative)?,
            width_deg: match &self.width_deg {
                Some(width) => checked(width, "width_deg", Positive)?,
                None => 3.0,
            },
            when: match self.when {
                Some(WhenWord::Up) => When::Up,
                Some(WhenWord::Down) => When::Down,
                Some(WhenWord::Both) | None => When::Both,
            },
            bump: match self.bump {
                Some(BumpWord::Gaussian) => Bump::Gaussian,
                Some(BumpWord::RaisedCosine) | None => Bump::RaisedCosine,
            },
        })
    }
}

impl SensorsTable {
    fn put(&self, sensors: &mut Sensors) -> Result<(), Fault> {
        self.put_numbers(sensors)?;
        for table in self.broken.iter().flatten() {
            sensors.broken.push(Broken {
                channel: table.channel.0,
                from_s: checked(&table.from_s, "from_s", NotNegative)?,
                until_s: match &table.until_s {
                    Some(until) => checked(until, "until_s", NotNegative)?,
                    None => f64::INFINITY,
                },
                how: match table.how {
                    Some(BrokenWord::Frozen) => HowBroken::Frozen,
                    Some(BrokenWord::Silent) | None => HowBroken::Silent,
                },
            });
        }
        Ok(())
    }
}

#[cfg(test)]
#[path = "file_tests.rs"]
mod tests;
