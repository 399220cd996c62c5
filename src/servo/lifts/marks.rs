//! What recordings say of each spell, mass and arm, and which of two servos lifted.

use super::{Known, Said};
use crate::problem::Problem;
use crate::recording::{Channel, Recording};
use crate::servo::spells;

/// The `#` key of a recording on a surface with two servos: the tag of the one that lifted.
pub const LIFTED_BY: &str = "lifted_by";

/// Whether a recording is of this servo's lifts: the first of its surface, or the second.
pub fn is_of(recording: &Recording, tag: &str) -> bool {
    let key = |key: &str| recording.key(key).map(str::trim);
    match (key(LIFTED_BY), key("servo"), key("servo2")) {
        (Some(lifted_by), ..) => lifted_by == tag,
        (None, None, None) => true,
        (None, first, second) => first == Some(tag) || second == Some(tag),
    }
}

/// The channel of this servo's own current: where two sit on the surface and the rig reads both, the second has its own.
pub(super) fn current_of(recording: &Recording, tag: &str) -> Channel {
    let is = |key: &str| recording.key(key).map(str::trim) == Some(tag);
    match !tag.is_empty() && is("servo2") && !is("servo") && recording.has(Channel::Current2Ma) {
        true => Channel::Current2Ma,
        false => Channel::CurrentMa,
    }
}

/// Mass and arm of each spell, as places in what is known of masses, kg, and arms, mm.
pub(super) fn loads(
    (masses_kg, arms_mm): (&mut Vec<Known>, &mut Vec<Known>),
    name: &str,
    recording: &Recording,
    said: Said<'_>,
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
            .hint(
                "put a line `# mass_kg=0.5` ahead of the samples of each spell; 0 is the empty arm",
            ));
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
        loads.push((index_of(masses_kg, mass), index_of(arms_mm, arm)));
    }
    Ok(loads)
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
