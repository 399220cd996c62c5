//! One `[[surface]]`: its throws, linkage and air. Names of servos and pairs are looked up in lists given to it.

use toml::Spanned;
use toml::de::DeValue;

use super::bound::Bound;
use super::document::{Document, nearest};
use super::keys;
use super::linkage::closing_rod_mm;
use super::section::{Section, as_number, shortened, type_words};
use super::{
    Air, AngleCalibration, Linkage, LinkageNotes, LinkageSolver, Side, Surface, Throw, ThrowMeasure,
};

/// Where the manual gives no tolerance: common practice, no source.
pub(super) const DEFAULT_TOLERANCE_MM: f64 = 1.0;

/// The keys that say how far, with the side and whether the number is degrees.
const TRAVELS: [(&str, Side, bool); 8] = [
    ("up_mm", Side::Up, false),
    ("down_mm", Side::Down, false),
    ("left_mm", Side::Left, false),
    ("right_mm", Side::Right, false),
    ("up_deg", Side::Up, true),
    ("down_deg", Side::Down, true),
    ("left_deg", Side::Left, true),
    ("right_deg", Side::Right, true),
];

/// Names that other tables may refer to, in the order of the file; `None` where a table has none.
pub(super) type Names<'d> = [Option<&'d str>];

/// The place of a name in a list. An unknown one is a fault, with the one that was probably meant.
pub(super) fn look_up(
    section: &Section,
    key: &'static str,
    names: &Names,
    home: &'static str,
) -> Option<usize> {
    look_up_text(section, key, section.text(key)?, names, home)
}

/// The place of a name that is written under a key.
pub(super) fn look_up_text(
    section: &Section,
    key: &'static str,
    written: &str,
    names: &Names,
    home: &'static str,
) -> Option<usize> {
    let found = names.iter().position(|n| *n == Some(written));
    // Where a table of the home kind lacks its name, or there is none, that fault is noted already and may be the reason.
    if found.is_none() && !names.is_empty() && !names.contains(&None) {
        let known = || names.iter().flatten().copied();
        let hint = match nearest(written, known()) {
            Some(meant) => format!("did you mean \"{}\"?", shortened(meant)),
            None => {
                let known: Vec<String> = known()
                    .take(12)
                    .map(|n| format!("\"{}\"", shortened(n)))
                    .collect();
                format!(
                    "add a {home} of that name, or name one that is there: {}",
                    known.join(", ")
                )
            }
        };
        section.fault(
            key,
            &format!("{key} \"{}\" is no {home} of this file", shortened(written)),
            &hint,
        );
    }
    found
}

pub(super) fn read(
    doc: &Document,
    section: &Section,
    index: usize,
    servo_tags: &Names,
    surface_names: &Names,
) -> Option<Surface> {
    let name = section.need_text("name");
    let was = read_was(section, name, surface_names);
    let servos = read_servos(section, servo_tags);
    let pair_index = read_pair(section, index, surface_names);
    let chord_mm = section.need_number("chord_mm", Bound::Positive);
    let measure = read_measure(section);
    let throws = section
        .require("throws")
        .then(|| read_throws(doc, section, chord_mm, measure))
        .flatten();
    let (linkage, linkage_notes) = read_linkage(doc, section).unzip();
    let air = read_air(section, chord_mm);
    let angle = read_angle(section);
    Some(Surface {
        name: name?.to_owned(),
        was,
        servo_index: servos?.0,
        second_servo_index: servos?.1,
        pair_index,
        chord_mm: chord_mm?,
        measure: measure?,
        throws: throws?,
        linkage: linkage.flatten(),
        linkage_notes: linkage_notes.unwrap_or_default(),
        air,
        angle,
    })
}

/// Former names: none of them may be a present one, for whose history would it be?
pub(super) fn read_was(section: &Section, own: Option<&str>, taken: &Names) -> Vec<String> {
    const WRITE: &str = "write the old names in quotes, for example was = [\"old name\"]";
    if !section.has("was") {
        return Vec::new();
    }
    let mut names = Vec::new();
    for value in section.array("was").into_iter().flatten() {
        let Some(name) = value.get_ref().as_str().filter(|n| !n.trim().is_empty()) else {
            section.fault("was", "was is not a list of names", WRITE);
            return Vec::new();
        };
        let same = |other: &&str| other.eq_ignore_ascii_case(name);
        if taken.iter().flatten().any(same) || own.iter().any(same) {
            section.fault(
                "was",
                &format!("\"{}\" is a present name of this file", shortened(name)),
                "name only what it was called before; recordings under a present name are of that surface",
            );
        }
        names.push(name.trim().to_owned());
    }
    names
}

/// The servo, or the two of them.
fn read_servos(section: &Section, tags: &Names) -> Option<(usize, Option<usize>)> {
    const WRITE: &str =
        "write servos = [\"E1\", \"E2\"], the tags of the two [[servo]] that drive it together";
    if !section.has("servos") {
        return section
            .require("servo")
            .then(|| look_up(section, "servo", tags, "[[servo]]"))
            .flatten()
            .map(|index| (index, None));
    }
    if section.has("servo") {
        section.fault(
            "servos",
            "there is servo and servos as well",
            "leave one of them out: servo for one, servos for two that drive the surface together",
        );
        return None;
    }
    let array = section.array("servos")?;
    let texts: Option<Vec<&str>> = array.iter().map(|v| v.get_ref().as_str()).collect();
    match texts.as_deref() {
        Some([first, second]) if first == second => {
            section.fault("servos", "both are the same servo", WRITE);
            None
        }
        Some([first, second]) => {
            let first = look_up_text(section, "servos", first, tags, "[[servo]]");
            let second = look_up_text(section, "servos", second, tags, "[[servo]]");
            Some((first?, Some(second?)))
        }
        _ => {
            section.fault("servos", "servos is not two tags", WRITE);
            None
        }
    }
}

fn read_pair(section: &Section, index: usize, surface_names: &Names) -> Option<usize> {
    let pair = look_up(section, "pair", surface_names, "[[surface]]")?;
    if pair == index {
        section.fault(
            "pair",
            "pair names the surface itself",
            "name its opposite number on the other side, or leave pair out",
        );
        return None;
    }
    Some(pair)
}

fn read_measure(section: &Section) -> Option<ThrowMeasure> {
    if !section.has("throw_as") {
        return Some(ThrowMeasure::default());
    }
    match section.text("throw_as")? {
        "straight" => Some(ThrowMeasure::Straight),
        "square" => Some(ThrowMeasure::Square),
        other => {
            section.fault(
                "throw_as",
                &format!("throw_as cannot be \"{}\"", shortened(other)),
                "write \"straight\" (ruler from the neutral to the deflected trailing edge) or \"square\" (ruler \
                 square to the neutral chord line)",
            );
            None
        }
    }
}

fn read_throws(
    doc: &Document,
    surface: &Section,
    chord_mm: Option<f64>,
    measure: Option<ThrowMeasure>,
) -> Option<Vec<Throw>> {
    let items = surface.array("throws")?;
    let mut throws: Vec<Option<Throw>> = Vec::with_capacity(items.len());
    for item in items {
        let throw = read_throw(doc, surface, item, chord_mm, measure);
        if let Some(throw) = &throw
            && throws.iter().flatten().any(|t| t.name == throw.name)
        {
            doc.fault(
                item.span(),
                &format!(
                    "two throws named \"{}\" in {}",
                    shortened(&throw.name),
                    surface.label
                ),
                "give each throw of a surface its own name",
            );
        }
        throws.push(throw);
    }
    throws.into_iter().collect()
}

fn read_throw(
    doc: &Document,
    surface: &Section,
    item: &Spanned<DeValue>,
    chord_mm: Option<f64>,
    measure: Option<ThrowMeasure>,
) -> Option<Throw> {
    let DeValue::Table(table) = item.get_ref() else {
        doc.fault(
            item.span(),
            &format!(
                "throws has {} in its list in {}",
                type_words(item.get_ref()),
                surface.label
            ),
            "write each throw as { name = \"up\", up_mm = 24.0, tolerance_mm = 1.0 }",
        );
        return None;
    };
    let called = table.get("name").and_then(|n| n.get_ref().as_str());
    let label = match called {
        Some(called) => format!("throw \"{}\" of {}", shortened(called), surface.label),
        None => format!("a throw of {}", surface.label),
    };
    let throw = Section::open(doc, &keys::THROW, table, item.span(), label);
    let name = throw.need_text("name");
    let travel = read_travel(doc, &throw, chord_mm.zip(measure));
    let tolerance_mm = if throw.has("tolerance_mm") {
        throw.number("tolerance_mm", Bound::Positive)
    } else {
        Some(DEFAULT_TOLERANCE_MM)
    };
    let (side, asked_mm, asked_deg, given_in_deg) = travel?;
    Some(Throw {
        name: name?.to_owned(),
        side,
        asked_mm,
        asked_deg,
        tolerance_mm: tolerance_mm?,
        given_in_deg,
    })
}

/// Side, mm, degrees, and whether degrees were given.
fn read_travel(
    doc: &Document,
    throw: &Section,
    ruler: Option<(f64, ThrowMeasure)>,
) -> Option<(Side, f64, f64, bool)> {
    const REMEDY: &str = "give one of up_mm, down_mm, left_mm, right_mm, or the same with _deg, for example up_mm = 24.0";
    let mut given = TRAVELS.iter().filter(|(key, ..)| throw.has(key));
    let Some(&(key, side, in_deg)) = given.next() else {
        if !throw.has_misspelt(|meant| TRAVELS.iter().any(|(key, ..)| *key == meant)) {
            doc.fault(
                throw.span(),
                &format!("{} does not say how far", throw.label),
                REMEDY,
            );
        }
        return None;
    };
    if let Some((second, ..)) = given.next() {
        throw.fault(
            second,
            &format!("both {key} and {second}"),
            &format!("{REMEDY}; a throw the other way is an entry of its own"),
        );
        return None;
    }
    if in_deg {
        let deg = throw.number(key, Bound::Positive)?;
        if deg > 90.0 {
            throw.fault(
                key,
                &format!("{key} cannot be {deg}"),
                "a surface turns 90° at most: give the degrees from neutral",
            );
            return None;
        }
        let (chord_mm, measure) = ruler?;
        return Some((side, measure.mm_at_deg(chord_mm, deg), deg, true));
    }
    let mm = throw.number(key, Bound::Positive)?;
    let (chord_mm, measure) = ruler?;
    let Some(deg) = measure.deg_at_mm(chord_mm, mm) else {
        let (measured, times) = match measure {
            ThrowMeasure::Straight => ("straight", "twice the chord"),
            ThrowMeasure::Square => ("square", "the chord"),
        };
        throw.fault(
            key,
            &format!("{key} cannot be {mm}"),
            &format!(
                "measured {measured}, a throw is at most {times}, {} mm for chord_mm = {chord_mm}: check both",
                measure.longest_mm(chord_mm)
            ),
        );
        return None;
    };
    Some((side, mm, deg, false))
}

/// The lengths, where all are usable, and what stands beside them.
fn read_linkage(doc: &Document, surface: &Section) -> Option<(Option<Linkage>, LinkageNotes)> {
    let section = surface.table(
        "linkage",
        &keys::LINKAGE,
        format!("[surface.linkage] of {}", surface.label),
    )?;
    let notes = LinkageNotes {
        tolerance_mm: section.number("tolerance_mm", Bound::Positive),
        arm_holes_mm: read_holes(&section, "arm_holes_mm"),
        horn_holes_mm: read_holes(&section, "horn_holes_mm"),
    };
    Some((read_lengths(doc, &section), notes))
}

fn read_holes(section: &Section, key: &'static str) -> Vec<f64> {
    let holes = section.array(key).unwrap_or_default();
    let known = holes
        .iter()
        .map(|hole| as_number(hole.get_ref()).filter(|mm| Bound::Positive.holds(*mm)));
    let known: Option<Vec<f64>> = known.collect();
    known.unwrap_or_else(|| {
        section.fault(
            key,
            &format!("{key} has something other than a number above 0 in its list"),
            &format!("write the distances in mm: {key} = [12, 14, 16]"),
        );
        Vec::new()
    })
}

fn read_lengths(doc: &Document, section: &Section) -> Option<Linkage> {
    let [arm_mm, horn_mm, rod_mm, base_mm] = ["arm_mm", "horn_mm", "rod_mm", "base_mm"]
        .map(|key| section.need_number(key, Bound::Positive));
    let arm_zero_deg = if section.has("arm_zero_deg") {
        section.number("arm_zero_deg", Bound::Within(-80.0, 80.0))
    } else {
        Some(0.0)
    };
    let linkage = Linkage {
        arm_mm: arm_mm?,
        horn_mm: horn_mm?,
        rod_mm: rod_mm?,
        base_mm: base_mm?,
        arm_zero_deg: arm_zero_deg?,
    };
    if LinkageSolver::new(&linkage).is_none() {
        let hint = match closing_rod_mm(&linkage) {
            Some((shortest, longest)) => format!(
                "with this arm, horn and base rod_mm must be above {shortest:.1} and below {longest:.1}: measure all four again"
            ),
            None => "measure all four lengths again".to_owned(),
        };
        doc.fault(
            section.key_span("rod_mm"),
            &format!(
                "rod_mm = {} does not join arm and horn at neutral in {}",
                linkage.rod_mm, section.label
            ),
            &hint,
        );
    }
    Some(linkage)
}

fn read_angle(surface: &Section) -> Option<AngleCalibration> {
    let section = surface.table(
        "angle",
        &keys::ANGLE,
        format!("[surface.angle] of {}", surface.label),
    )?;
    let scale = section.need_number("scale", Bound::NotZero).filter(|s| {
        let possible = (0.05..=20.0).contains(&s.abs());
        if !possible {
            section.fault(
                "scale",
                &format!("scale cannot be {s}"),
                "a sensor that reads degrees is off by a few per cent; -1 where it runs the other way: calibrate it anew",
            );
        }
        possible
    });
    let zero_deg = section.need_number("zero_deg", Bound::Within(-360.0, 360.0));
    let made = section.date("made");
    let covariance = if section.has("covariance") {
        read_covariance(&section)
    } else {
        Some([[0.0; 2]; 2])
    };
    Some(AngleCalibration {
        scale: scale?,
        zero_deg: zero_deg?,
        covariance: covariance?,
        made,
    })
}

fn read_covariance(section: &Section) -> Option<[[f64; 2]; 2]> {
    let rows = section.array("covariance")?;
    let numbers: Option<Vec<f64>> = rows
        .iter()
        .map(|row| row.get_ref().as_array().filter(|r| r.len() == 2))
        .collect::<Option<Vec<_>>>()
        .and_then(|rows| {
            rows.into_iter()
                .flatten()
                .map(|v| as_number(v.get_ref()))
                .collect()
        });
    let whole = |[[a, b], [c, d]]: &[[f64; 2]; 2]| {
        let size = (a * d).sqrt();
        *a >= 0.0 && *d >= 0.0 && (b - c).abs() <= 1e-5 * size && b.abs() <= (1.0 + 1e-5) * size
    };
    let covariance = match numbers.as_deref() {
        Some([a, b, c, d]) => Some([[*a, *b], [*c, *d]]).filter(whole),
        _ => None,
    };
    if covariance.is_none() {
        section.fault(
            "covariance",
            "covariance is not two rows of two numbers that belong together",
            "copy it whole from the calibration: [[variance of scale, both], [both, variance of zero]]",
        );
    }
    covariance
}

fn read_air(surface: &Section, chord_mm: Option<f64>) -> Option<Air> {
    let section = surface.table(
        "air",
        &keys::AIR,
        format!("[surface.air] of {}", surface.label),
    )?;
    let span_mm = section.need_number("span_mm", Bound::Positive);
    let wing_chord_mm = section.need_number("wing_chord_mm", Bound::Positive);
    let fastest_m_s = section.need_number("fastest_m_s", Bound::Positive);
    if let (Some(whole), Some(chord)) = (wing_chord_mm, chord_mm)
        && whole < chord
    {
        section.fault(
            "wing_chord_mm",
            &format!("wing_chord_mm = {whole} is less than the surface's own chord_mm = {chord}"),
            "give the whole chord, surface included",
        );
    }
    Some(Air {
        span_mm: span_mm?,
        wing_chord_mm: wing_chord_mm?,
        fastest_m_s: fastest_m_s?,
    })
}
