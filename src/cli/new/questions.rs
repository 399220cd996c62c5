//! What is asked of a servo and of a surface, each number with its drawing and what can be true of it.

use std::io::{BufRead, Write};

use super::answer::{Kind, Number, Wanted, unknown};
use super::ask::{Asker, Need, Stop};
use super::drawings;
use crate::aircraft::draft::{Draft, Kind as ServoKind, Surface, TOLERANCE_MM, Throw};
use crate::aircraft::linkage::closing_rod_mm;
use crate::aircraft::{Linkage, LinkageSolver, ThrowMeasure};

const fn wanted(kind: Kind, lowest: f64, highest: f64) -> Wanted {
    Wanted {
        kind,
        between: (lowest, highest),
    }
}

/// What can be true of a model aircraft, widely (common practice, no source).
const CHORD: Wanted = wanted(Kind::Length, 8.0, 500.0);
const TRAVEL: Wanted = wanted(Kind::Travel, 0.5, 500.0);
const TOLERANCE: Wanted = wanted(Kind::Length, 0.05, 20.0);
const ARM: Wanted = wanted(Kind::Length, 4.0, 80.0);
const HORN: Wanted = wanted(Kind::Length, 4.0, 150.0);
const ROD: Wanted = wanted(Kind::Length, 10.0, 2000.0);
const SPAN: Wanted = wanted(Kind::Length, 30.0, 3000.0);
const WING: Wanted = wanted(Kind::Length, 30.0, 3000.0);
const FASTEST: Wanted = wanted(Kind::Speed, 10.0, 250.0);
const STALL: Wanted = wanted(Kind::Torque, 10.0, 3000.0);
const VOLTAGE: Wanted = wanted(Kind::Volt, 3.0, 30.0);
const RATIO: Wanted = wanted(Kind::DegPerUs, 0.02, 0.5);
const SPEED: Wanted = wanted(Kind::Second, 0.02, 1.0);

/// A servo of its own for a surface: its tag, noted with its kind.
pub fn servo<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    draft: &mut Draft,
    surface: &str,
    usual: &str,
) -> Result<String, Stop> {
    let taken: Vec<String> = draft.servos.iter().map(|(tag, _)| tag.clone()).collect();
    let free = (!taken.iter().any(|t| t == usual)).then_some(usual);
    let tag = asker.until(
        &format!("Mark on the servo of the {surface}?"),
        free,
        |answer| match answer.trim() {
            tag if tag.is_empty() || unknown(tag) => {
                Err("a mark is wanted here, as it stands on the servo's case".into())
            }
            tag if taken.iter().any(|t| t == tag) => Err(format!(
                "{tag} drives another surface already: each servo has its own mark"
            )),
            tag => Ok(tag.to_owned()),
        },
    )?;
    let kind = servo_kind(asker, draft)?;
    draft.servos.push((tag.clone(), kind));
    Ok(tag)
}

fn servo_kind<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    draft: &mut Draft,
) -> Result<usize, Stop> {
    let latest = draft
        .servos
        .last()
        .map(|(_, kind)| draft.kinds[*kind].name.clone());
    let name = asker.text(
        "Which kind of servo, by a name of your own?",
        latest.as_deref(),
    )?;
    if let Some(known) = draft.kinds.iter().position(|k| k.name == name) {
        return Ok(known);
    }
    asker.say(&format!("From the data sheet of \"{name}\":"))?;
    let stall = asker.must("  stall torque", STALL, |_| Ok(()))?;
    let voltage = asker.must("  at which voltage", VOLTAGE, |_| Ok(()))?;
    let speed = asker.number("  time for 60° at that voltage", Need::May, SPEED, |_| {
        Ok(())
    })?;
    asker.say("Arm angle per µs of pulse: 45° either way for 500 µs is 0.09. Needed only where the rig has no arm_deg channel.")?;
    let ratio = asker.number("  arm angle per µs", Need::May, RATIO, |_| Ok(()))?;
    draft.kinds.push(ServoKind {
        name,
        stall_torque_ncm: stall.value,
        stall_voltage_v: voltage.value,
        arm_deg_per_us: ratio.map(|n| n.value),
        speed_s_per_60deg: speed.map(|n| n.value),
    });
    Ok(draft.kinds.len() - 1)
}

pub fn surface<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    name: &str,
    tag: String,
    usual: &[(&str, &'static str)],
) -> Result<Surface, Stop> {
    asker.draw(drawings::CHORD)?;
    let chord_mm = asker
        .must("  chord, hinge line to trailing edge", CHORD, |_| Ok(()))?
        .value;
    asker.draw(drawings::THROW)?;
    let measure = asker.until(
        "  how is the throw measured, straight or square?",
        Some("straight"),
        |answer| match answer {
            "straight" => Ok(ThrowMeasure::Straight),
            "square" => Ok(ThrowMeasure::Square),
            _ => Err("straight or square is wanted here, as the drawing has it".into()),
        },
    )?;
    let throws = throws(asker, usual, chord_mm, measure)?;
    let linkage = linkage(asker)?;
    let air = air(asker, chord_mm)?;
    Ok(Surface {
        name: name.to_owned(),
        tag,
        pair: None,
        chord_mm,
        measure,
        throws,
        linkage,
        air,
    })
}

/// At least one of the usual throws.
fn throws<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    usual: &[(&str, &'static str)],
    chord_mm: f64,
    measure: ThrowMeasure,
) -> Result<Vec<Throw>, Stop> {
    let longest = measure.longest_mm(chord_mm);
    let fits = |number: Number| match number.in_deg || number.value <= longest {
        true => Ok(()),
        false => Err(format!(
            "a chord of {chord_mm:.1} mm reaches {longest:.1} mm at most measured so: check throw and chord"
        )),
    };
    let mut throws: Vec<Throw> = Vec::new();
    for (i, &(name, way)) in usual.iter().enumerate() {
        let last = throws.is_empty() && i + 1 == usual.len();
        let need = if last { Need::Must } else { Need::May };
        let named = if name == way {
            name.to_owned()
        } else {
            format!("{name}, {way}")
        };
        let question = format!("  throw {named}");
        let Some(number) = asker.number(&question, need, TRAVEL, fits)? else {
            continue;
        };
        throws.push(Throw {
            name: name.to_owned(),
            way,
            value: number.value,
            in_deg: number.in_deg,
            tolerance_mm: TOLERANCE_MM,
        });
    }
    let usual = TOLERANCE_MM.to_string();
    let tolerance = asker.until(
        "  how far off may a throw be at the trailing edge, mm?",
        Some(&usual),
        |answer| TOLERANCE.read(answer),
    )?;
    for throw in &mut throws {
        throw.tolerance_mm = tolerance.value;
    }
    Ok(throws)
}

/// All four lengths, or none: a linkage that lacks one cannot be worked out.
fn linkage<R: BufRead, W: Write>(asker: &mut Asker<R, W>) -> Result<Option<[f64; 4]>, Stop> {
    asker.draw(drawings::LINKAGE)?;
    asker.say("All four lengths, or `unknown`: then it is left out. Torque sensor and supply power with an arm_deg channel do without.")?;
    let mut lengths = [0.0; 3];
    for (length, (question, wanted)) in lengths.iter_mut().zip([
        ("  arm, output shaft to rod", ARM),
        ("  horn, hinge line to rod", HORN),
        ("  base, output shaft to hinge line", ROD),
    ]) {
        match asker.number(question, Need::May, wanted, |_| Ok(()))? {
            Some(number) => *length = number.value,
            None => return Ok(None),
        }
    }
    let [arm_mm, horn_mm, base_mm] = lengths;
    let with = |rod_mm| Linkage {
        arm_mm,
        horn_mm,
        rod_mm,
        base_mm,
        arm_zero_deg: 0.0,
    };
    let closes = |number: Number| match (
        LinkageSolver::new(&with(number.value)),
        closing_rod_mm(&with(number.value)),
    ) {
        (Some(_), _) => Ok(()),
        (None, Some((shortest, longest))) => Err(format!(
            "with these, a rod between {shortest:.1} and {longest:.1} mm closes the linkage at neutral: check the four lengths"
        )),
        (None, None) => Err("these lengths close no linkage: check them".into()),
    };
    let rod = asker.number("  rod, hole to hole", Need::May, ROD, closes)?;
    Ok(rod.map(|rod| [arm_mm, horn_mm, rod.value, base_mm]))
}

fn air<R: BufRead, W: Write>(
    asker: &mut Asker<R, W>,
    chord_mm: f64,
) -> Result<Option<[f64; 3]>, Stop> {
    asker.draw(drawings::AIR)?;
    asker.say("For the estimate of air loads; `unknown` leaves it out.")?;
    let Some(span) = asker.number(
        "  span, length along the hinge",
        Need::May,
        SPAN,
        |_| Ok(()),
    )?
    else {
        return Ok(None);
    };
    let longer = |number: Number| match number.value > chord_mm {
        true => Ok(()),
        false => Err(format!(
            "the whole chord holds the surface's {chord_mm} mm and more"
        )),
    };
    let Some(wing) = asker.number("  wing chord, surface included", Need::May, WING, longer)?
    else {
        return Ok(None);
    };
    let fastest = asker.number("  highest airspeed", Need::May, FASTEST, |_| Ok(()))?;
    Ok(fastest.map(|fastest| [span.value, wing.value, fastest.value]))
}
