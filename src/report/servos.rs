//! Two servos on one surface: the lines and the JSON object that `check` adds where there are two. Wording only.

use serde::Serialize;

use super::json::{Q, number, quantity};
use super::view;
use crate::analysis::Quantity;
use crate::servo::share::{At, Lack, Place, Share, Trim};
use crate::units::{TorqueUnit, Unit};
use crate::verdict::share_lack_words;

/// Whether they share or fight, line by line. `held`: the whole circuit's stiffness, N·cm/°, where it is known.
pub(super) fn lines(share: &Share, held: Option<&Quantity>, unit: TorqueUnit) -> Vec<String> {
    let [first, second] = &share.tags;
    let mut lines = vec![format!(
        "Two servos, {first} and {second}. What they draw beyond idle while they hold:"
    )];
    for at in &share.places {
        let ma = |q| view::quantity(q, Unit::Milliampere);
        lines.push(format!(
            "  {}, {}: {first} {}, {second} {}",
            place_words(at.place),
            Unit::Degree.place(at.angle_deg),
            ma(&at.first_ma),
            ma(&at.second_ma)
        ));
        let mut more = Vec::new();
        if let Some(part) = &at.first_share {
            more.push(format!(
                "{first}'s part {}",
                view::quantity(part, Unit::Share)
            ));
        }
        if let Some([a, b]) = &at.torque_ncm {
            let torque = |q| view::quantity(q, Unit::Torque(unit));
            more.push(format!("at the arms {} and {}", torque(a), torque(b)));
        }
        if at.place != Place::Neutral {
            more.push(format!("fight at most {}", ma(&at.both_ma)));
        }
        if !more.is_empty() {
            lines.push(format!("    {}", more.join("; ")));
        }
    }
    lines.push(sentence(share, held));
    lines.extend(ends(share));
    if share.lack.is_none() {
        lines.push(
            "What a servo's own friction holds draws nothing: a fight below that cannot be seen."
                .into(),
        );
    }
    lines
}

fn place_words(place: Place) -> &'static str {
    match place {
        Place::Lower => "lower end",
        Place::HalfLower => "half-way down",
        Place::Neutral => "neutral",
        Place::HalfUpper => "half-way up",
        Place::Upper => "upper end",
    }
}

fn sentence(share: &Share, held: Option<&Quantity>) -> String {
    let [first, second] = &share.tags;
    if let Some(lack) = share.lack {
        return format!("Share and fight: not measured; {}", share_lack_words(lack));
    }
    let drawn = share.fight_ma().map_or(view::NOT_MEASURED.into(), |q| {
        view::quantity(&q, Unit::Milliampere)
    });
    match share.trim {
        Trim::None => "At neutral no current is seen that both draw against each other.".into(),
        Trim::CannotTell => format!(
            "At neutral both draw {drawn} beyond idle, as two that push against each other do, or that share a load there; which \
             way each pushes cannot be told. Take one rod off and see whether the other moves the surface."
        ),
        Trim::FirstPushes { up } => {
            let (higher, lower) = if up { (first, second) } else { (second, first) };
            let by = match held.and_then(|held| share.apart_us(held)) {
                Some(us) => format!(
                    "Their neutrals stand apart by about {}: one of them by so much, or each by half.",
                    view::quantity(&us, Unit::Microsecond)
                ),
                None => "By how many µs is not measured: it takes both calibrated, arm_deg_per_us in the aircraft file, and the \
                         surface's held stiffness in the logbook (`hingewright held`). Go in small steps until both draw least."
                    .into(),
            };
            format!(
                "At neutral both draw {drawn} beyond idle against each other: {higher} pushes up, {lower} down. Trim the neutral of \
                 {higher} down, or that of {lower} up. {by}"
            )
        }
    }
}

/// Which end point to turn, where one servo clearly carries more there; neutral comes first, for it shifts both ends.
fn ends(share: &Share) -> Vec<String> {
    let [first, second] = &share.tags;
    let told = |at: &At| {
        let (a, b) = (at.first_ma.interval?, at.second_ma.interval?);
        let (more, less) = match () {
            _ if a.lo95 > b.hi95 => (first, second),
            _ if b.lo95 > a.hi95 => (second, first),
            _ => return None,
        };
        let end = match at.place {
            Place::Upper => "upper",
            Place::Lower => "lower",
            _ => return None,
        };
        Some(format!(
            "At the {end} end {more} draws more: bring {more}'s {end} end point in, or {less}'s out."
        ))
    };
    let mut lines: Vec<String> = share.places.iter().filter_map(told).collect();
    if !lines.is_empty() && matches!(share.trim, Trim::FirstPushes { .. }) {
        lines.push("Neutral first: it shifts both ends. Then sweep again and see the ends.".into());
    }
    lines
}

#[derive(Serialize)]
pub(super) struct ServosOut {
    tags: [String; 2],
    lack: Option<&'static str>,
    fight_ma: Option<Q>,
    places: Vec<AtOut>,
    trim: &'static str,
    neutrals_apart_us: Option<Q>,
    text: String,
    ends: Vec<String>,
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
                Place::HalfLower => "half-lower",
                Place::Neutral => "neutral",
                Place::HalfUpper => "half-upper",
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

impl ServosOut {
    pub(super) fn of(share: &Share, held: Option<&Quantity>) -> Self {
        let apart = held.and_then(|held| share.apart_us(held));
        Self {
            tags: share.tags.clone(),
            lack: share.lack.map(|lack| match lack {
                Lack::Current => "no-second-current",
                Lack::Idle => "idle-unknown",
                Lack::Holds => "too-few-holds",
            }),
            fight_ma: share.fight_ma().as_ref().and_then(quantity),
            places: share.places.iter().map(AtOut::from).collect(),
            trim: match share.trim {
                Trim::None => "none",
                Trim::CannotTell => "cannot-tell",
                Trim::FirstPushes { up: true } => "first-pushes-up",
                Trim::FirstPushes { up: false } => "first-pushes-down",
            },
            neutrals_apart_us: apart.as_ref().and_then(quantity),
            text: sentence(share, held),
            ends: ends(share),
        }
    }
}
