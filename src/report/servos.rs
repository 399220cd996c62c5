//! Two servos on one surface: the lines and the JSON object that `check` adds where there are two. Wording only.

use serde::Serialize;

use super::json::{Q, number, quantity};
use super::view;
use crate::servo::share::{At, Place, Share, Trim};
use crate::units::Unit;

/// Whether they share or fight, line by line.
pub(super) fn lines(share: &Share) -> Vec<String> {
    let [first, second] = &share.tags;
    let mut lines = vec![format!(
        "Two servos, {first} and {second}; beyond idle they draw while they hold:"
    )];
    if !share.idle_known {
        lines.push(
            "  not measured: what they draw at idle is not known. Record a second disarmed, or calibrate both.".into(),
        );
        return lines;
    }
    for at in &share.places {
        let ma = |q| view::quantity(q, Unit::Milliampere);
        let mut line = format!(
            "  {}, {}: {first} {}, {second} {}",
            place_words(at.place),
            Unit::Degree.place(at.angle_deg),
            ma(&at.first_ma),
            ma(&at.second_ma)
        );
        if let Some(part) = &at.first_share {
            line += &format!("; {first}'s part {}", view::quantity(part, Unit::Share));
        }
        if let Some([a, b]) = &at.torque_ncm {
            let torque = |q| view::quantity(q, Unit::Torque(Default::default()));
            line += &format!("; at the arms {} and {}", torque(a), torque(b));
        }
        lines.push(line);
    }
    lines.push(sentence(share));
    lines
}

fn place_words(place: Place) -> &'static str {
    match place {
        Place::Lower => "lower end",
        Place::Neutral => "neutral",
        Place::Upper => "upper end",
    }
}

fn sentence(share: &Share) -> String {
    let [first, second] = &share.tags;
    let fight = share.places.iter().find(|p| p.place == Place::Neutral);
    let drawn = fight.map_or(view::NOT_MEASURED.into(), |at| {
        view::quantity(&at.both_ma, Unit::Milliampere)
    });
    match share.trim {
        Trim::None => "At neutral no current is seen that both draw against each other.".into(),
        Trim::CannotTell => format!(
            "At neutral both draw {drawn} beyond idle, as two that push against each other do, or that share a load there; which \
             way each pushes cannot be told. Take one rod off and see whether the other moves the surface."
        ),
        Trim::FirstPushes { up } => {
            let (higher, lower) = if up { (first, second) } else { (second, first) };
            format!(
                "At neutral both draw {drawn} beyond idle against each other: {higher} pushes up, {lower} down. Trim {higher}'s middle down, or \
                 {lower}'s up, in small steps until both draw least, and then the end points likewise."
            )
        }
    }
}

#[derive(Serialize)]
pub(super) struct ServosOut {
    tags: [String; 2],
    places: Vec<AtOut>,
    trim: &'static str,
    text: String,
}

#[derive(Serialize)]
struct AtOut {
    place: &'static str,
    at_deg: Option<f64>,
    holds: usize,
    first_ma: Option<Q>,
    second_ma: Option<Q>,
    both_ma: Option<Q>,
    first_share: Option<Q>,
    first_torque_ncm: Option<Q>,
    second_torque_ncm: Option<Q>,
}

impl From<&At> for AtOut {
    fn from(at: &At) -> Self {
        let torque = |which: usize| at.torque_ncm.as_ref().and_then(|t| quantity(&t[which]));
        Self {
            place: match at.place {
                Place::Lower => "lower",
                Place::Neutral => "neutral",
                Place::Upper => "upper",
            },
            at_deg: number(at.angle_deg),
            holds: at.holds,
            first_ma: quantity(&at.first_ma),
            second_ma: quantity(&at.second_ma),
            both_ma: quantity(&at.both_ma),
            first_share: at.first_share.as_ref().and_then(quantity),
            first_torque_ncm: torque(0),
            second_torque_ncm: torque(1),
        }
    }
}

impl From<&Share> for ServosOut {
    fn from(share: &Share) -> Self {
        Self {
            tags: share.tags.clone(),
            places: share.places.iter().map(AtOut::from).collect(),
            trim: match share.trim {
                Trim::None => "none",
                Trim::CannotTell => "cannot-tell",
                Trim::FirstPushes { up: true } => "first-pushes-up",
                Trim::FirstPushes { up: false } => "first-pushes-down",
            },
            text: sentence(share),
        }
    }
}
