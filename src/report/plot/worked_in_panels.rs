//! What a picture of a hinge's working in shows, before it is drawn: panels, stages, ranges and words.

use super::canvas::range;
use super::marks::*;
use crate::analysis::{Interval, Quantity};
use crate::history::decay::{Decay, Forecast};
use crate::history::settling::{Batch, State};
use crate::report::book::WorkedIn;
use crate::units::{TorqueUnit, Unit, fixed};

/// One quantity of one batch.
pub struct Dot {
    pub cycles: f64,
    pub quantity: Quantity,
    pub recheck: bool,
    pub shape: Shape,
}

pub struct Panel<'w> {
    pub name: String,
    pub unit: Unit,
    pub dots: Vec<Dot>,
    pub decay: Option<&'w Decay>,
    pub y: (f64, f64),
}

/// Batches of one stage, one after the other.
pub struct Stage {
    pub words: String,
    pub from: f64,
    pub to: f64,
}

pub fn panels<'w>(
    worked: &'w WorkedIn,
    unit: TorqueUnit,
    cycles: (f64, f64),
    now: f64,
) -> Vec<Panel<'w>> {
    let of = |shape: Shape, pick: &dyn Fn(&Batch) -> Option<Quantity>| -> Vec<Dot> {
        let batches = worked.batches.iter();
        let dots = batches.filter_map(|batch| {
            let quantity = pick(batch).filter(|q| q.value.is_finite())?;
            Some(Dot {
                cycles: batch.middle(),
                quantity,
                recheck: batch.recheck,
                shape,
            })
        });
        dots.filter(|dot| dot.cycles >= cycles.0 && dot.cycles <= cycles.1)
            .collect()
    };
    let standing = &worked.standing;
    let stiffness = of(Shape::Dot, &|b| b.stiffness_ncm_per_deg);
    let friction = of(Shape::Dot, &|b| b.friction_ncm);
    // Of both sides the distance: the stretch between them says nothing.
    let mut knees = of(Shape::Up, &|b| b.knees_deg[0].map(distance));
    knees.extend(of(Shape::Down, &|b| b.knees_deg[1].map(distance)));
    let candidates = [
        (
            format!("stiffness, {unit}/deg"),
            Unit::Stiffness(unit),
            stiffness,
            standing.stiffness.as_ref(),
        ),
        (
            format!("friction, {unit}"),
            Unit::Torque(unit),
            friction,
            standing.friction.as_ref(),
        ),
        (
            "knees, degrees from neutral".to_owned(),
            Unit::Degree,
            knees,
            None,
        ),
    ];
    let panels = candidates
        .into_iter()
        .filter_map(|(name, unit, dots, decay)| {
            let y = y_range(&dots, decay, unit.factor(), now)?;
            Some(Panel {
                name,
                unit,
                dots,
                decay,
                y,
            })
        });
    panels.collect()
}

/// The same place as its distance from neutral.
fn distance(place: Quantity) -> Quantity {
    let turned = |i: Interval| Interval {
        u: i.u,
        lo95: -i.hi95,
        hi95: -i.lo95,
    };
    match place.value < 0.0 {
        true => Quantity {
            value: -place.value,
            interval: place.interval.map(turned),
        },
        false => place,
    }
}

/// All points with their bars and the law as far as it was seen; the settled value where it is near.
fn y_range(dots: &[Dot], decay: Option<&Decay>, factor: f64, now: f64) -> Option<(f64, f64)> {
    let bars = dots.iter().flat_map(|dot| reach(&dot.quantity, factor));
    let largest = dots.iter().map(|d| (d.quantity.value * factor).abs());
    let least = 0.06 * largest.fold(0.0, f64::max);
    let (lo, hi) = range(bars, least.max(1e-9), 0.0)?;
    let near = (lo - 0.6 * (hi - lo))..=(hi + 0.3 * (hi - lo));
    let fitted = decay.into_iter().flat_map(|d| {
        let ends = d.settled.interval.map(|i| [i.lo95, i.hi95]);
        let ends = ends.into_iter().flatten();
        [d.settled.value, d.first, d.at(now)]
            .into_iter()
            .chain(ends)
            .map(|v| v * factor)
    });
    range(
        fitted.filter(|v| near.contains(v)).chain([lo, hi]),
        1e-9,
        0.1,
    )
}

/// Stretches of batches at one deflection; what was measured after a rest ends none.
pub fn stages(batches: &[Batch]) -> Vec<Stage> {
    let worked: Vec<&Batch> = batches.iter().filter(|b| !b.recheck).collect();
    let of_one = worked.chunk_by(|a, b| a.same_stage(b));
    let stages = of_one.map(|chunk| Stage {
        words: match chunk[0].stage_deg {
            Some(deg) => Unit::Degree.given(deg),
            None => "by hand".into(),
        },
        from: chunk[0].cycles_before,
        to: chunk[chunk.len() - 1].cycles_after(),
    });
    stages
        .filter(|s| s.from.is_finite() && s.to.is_finite())
        .collect()
}

pub fn settled_words(panel: &Panel<'_>) -> String {
    let Some(settled) = panel.decay.map(|d| d.settled) else {
        return String::new();
    };
    let suffix = panel.unit.suffix();
    let shown = match settled.interval {
        Some(i) => panel.unit.with_interval(settled.value, i.lo95, i.hi95),
        None => panel.unit.plain(settled.value),
    };
    // The unit stands in the panel's name.
    let shown = shown.strip_suffix(&suffix).unwrap_or(&shown);
    format!("; settles at {shown}")
}

/// The cycles to come, while there are any.
pub fn forecast(worked: &WorkedIn) -> Option<Forecast> {
    let open = matches!(
        worked.standing.state,
        State::Softening | State::TooCoarse | State::TooFew
    );
    let told = worked.standing.stiffness.as_ref().map(|d| d.forecast);
    told.filter(|f| open && f.cycles > 0.5 && f.cycles.is_finite())
}

pub fn forecast_words(worked: &WorkedIn) -> Option<String> {
    let told = forecast(worked)?;
    let (cycles, lo) = (fixed(told.cycles, 0), fixed(told.lo95, 0));
    Some(match told.hi95 {
        Some(hi) => format!("about {cycles} more cycles ({lo} to {})", fixed(hi, 0)),
        None => format!("{lo} more cycles at least; no end can be told yet"),
    })
}

pub fn state_words(state: State) -> &'static str {
    match state {
        State::TooFew => "too few batches to tell",
        State::Softening => "still settling",
        State::TooCoarse => "no change seen, but measured too coarsely to tell",
        State::Stiffer => "stiffer than before: tearing or binding",
        State::Settled => "settled; re-check after a night's rest",
        State::Confirmed => "settled, and found so again after a rest",
        State::CameBack => "stiffer again after the rest",
    }
}
