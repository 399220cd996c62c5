//! Sums of currents, the voltages they leave, the shares they take, the charge they use.

use super::copper::Copper;
use super::judge::{LeadState, Standing};
use super::{
    Asked, AtPlug, Chosen, Fed, Flight, Flights, Lead, LeadFrom, Loads, Outcome, Part, Rating,
    Seen, Shared,
};
use crate::aircraft::{Aircraft, SUPPLY_SHARE, Supply};
use crate::analysis::stats::student::{combine, df_of_t95, interval};
use crate::analysis::{CURRENT_SCALE_U, Quantity};

/// Works it out from what was seen of each surface (by its index; at most one each).
pub fn work_out(aircraft: &Aircraft, seen: &[(usize, Seen)], asked: &Asked) -> Outcome {
    let nothing = Supply::default();
    let supply = aircraft.supply.as_ref().unwrap_or(&nothing);
    let mut fed: Vec<Fed> = (0..aircraft.surfaces.len())
        .map(|surface| of_surface(aircraft, surface, seen))
        .collect();
    let chosen = choose(aircraft, supply, asked, &mut fed);
    let other_ma = supply.other_ma.unwrap_or(0.0);
    let loads = loads(&fed, other_ma);
    let shared = Shared {
        internal_mohm: supply.internal_mohm,
        lead: Copper::of(&supply.lead, None),
    };
    if let (Some(loads), Some(open_v)) = (&loads, supply.open_v) {
        for one in &mut fed {
            for place in 0..one.leads.len() {
                let lead = &one.leads[place];
                let left = at_plug(aircraft, supply, one, lead, loads, &shared, open_v);
                one.leads[place].at_plug = left;
            }
        }
    }
    let (ratings, not_given) = ratings(supply, loads.as_ref());
    let usable_mah = supply.pack_mah.map(|q| q * (1.0 - asked.reserve));
    Outcome {
        flight: loads.map(|_| flight(&fed, usable_mah, supply.open_v, other_ma, asked)),
        fed,
        chosen,
        loads,
        other_ma,
        shared,
        open_v: supply.open_v,
        ratings,
        not_given,
        pack_mah: supply.pack_mah,
        usable_mah,
    }
}

fn of_surface(aircraft: &Aircraft, index: usize, all: &[(usize, Seen)]) -> Fed {
    let surface = &aircraft.surfaces[index];
    let seen = all.iter().find(|(i, _)| *i == index).map(|(_, s)| *s);
    let lead = |servo: usize, measured: Option<Quantity>| {
        let copper = Copper::of(&aircraft.servos[servo].lead, seen.and_then(|s| s.air_c));
        Lead {
            servo,
            state: LeadState::of(measured.as_ref(), copper.as_ref()),
            measured,
            copper,
            at_plug: None,
        }
    };
    let first = lead(
        surface.servo_index,
        seen.and_then(|s| s.resistances.lead_mohm),
    );
    let second = surface
        .second_servo_index
        .map(|servo| lead(servo, seen.and_then(|s| s.second_lead_mohm)));
    let both = |s: &Seen| s.draw.as_ref().is_ok_and(|d| d.both_servos);
    Fed {
        surface: index,
        moves: false,
        second_missing: second.is_some() && seen.is_some_and(|s| s.draw.is_ok() && !both(&s)),
        leads: std::iter::once(first).chain(second).collect(),
        seen,
    }
}

/// Marks the surfaces that move at once.
fn choose(aircraft: &Aircraft, supply: &Supply, asked: &Asked, fed: &mut [Fed]) -> Chosen {
    let at_once = asked.moving_at_once.or(match supply.moving {
        Some(_) => None,
        None => supply.moving_at_once,
    });
    if let Some(count) = at_once {
        let peak = |f: &Fed| f.peak_ma().map_or(f64::NEG_INFINITY, |q| q.value);
        let mut order: Vec<usize> = (0..fed.len()).collect();
        order.sort_by(|&a, &b| peak(&fed[b]).total_cmp(&peak(&fed[a])));
        for &place in order.iter().take(count) {
            fed[place].moves = true;
        }
        return Chosen::Worst(count.min(fed.len()));
    }
    if let Some(named) = &supply.moving {
        for one in fed.iter_mut() {
            one.moves = named.contains(&one.surface);
        }
        return Chosen::Named;
    }
    let both_ways = |surface: usize| {
        let throws = &aircraft.surfaces[surface].throws;
        let to = |sign: f64| throws.iter().any(|t| t.side.sign() == sign);
        to(1.0) && to(-1.0)
    };
    for one in fed.iter_mut() {
        one.moves = both_ways(one.surface);
    }
    if fed.iter().all(|one| !one.moves) {
        fed.iter_mut().for_each(|one| one.moves = true);
    }
    Chosen::BothWays
}

fn loads(fed: &[Fed], other_ma: f64) -> Option<Loads> {
    fed.iter().find_map(Fed::draw)?;
    let held = |f: &Fed| f.holding_ma();
    let moving = |pick: fn(&Fed) -> Option<Quantity>| {
        sum(fed.iter().filter_map(|f| match f.moves {
            true => pick(f),
            false => held(f),
        }))
    };
    let with_other = |q: Quantity| plus(q, other_ma);
    Some(Loads {
        peak_ma: with_other(moving(Fed::peak_ma)),
        sustained_ma: with_other(moving(|f| f.draw().map(|d| d.moving_ma))),
        holding_ma: with_other(sum(fed.iter().filter_map(held))),
        resting_ma: with_other(sum(fed.iter().filter_map(Fed::resting_ma))),
    })
}

/// Of independent quantities, with the current sensor's scale, which all share, once for the whole.
fn sum(parts: impl Iterator<Item = Quantity>) -> Quantity {
    weighted(parts.map(|q| (1.0, q)))
}

fn weighted(parts: impl Iterator<Item = (f64, Quantity)>) -> Quantity {
    let (mut value, mut uncertain, mut known) = (0.0, Vec::new(), true);
    for (weight, q) in parts {
        value += weight * q.value;
        match q.interval {
            Some(i) if i.u > 0.0 => {
                uncertain.push((weight * i.u, df_of_t95((i.hi95 - q.value) / i.u)));
            }
            Some(_) => {}
            None => known = false,
        }
    }
    uncertain.push((CURRENT_SCALE_U * value, f64::INFINITY));
    let (u, df) = combine(&uncertain);
    Quantity {
        value,
        interval: interval(value, u, df).filter(|_| known),
    }
}

fn plus(q: Quantity, by: f64) -> Quantity {
    mapped(q, 1.0, by)
}

/// factor·q + by.
fn mapped(q: Quantity, factor: f64, by: f64) -> Quantity {
    let at = |x: f64| factor * x + by;
    Quantity {
        value: at(q.value),
        interval: q.interval.map(|i| {
            let ends = [at(i.lo95), at(i.hi95)];
            crate::analysis::Interval {
                u: factor.abs() * i.u,
                lo95: ends[0].min(ends[1]),
                hi95: ends[0].max(ends[1]),
            }
        }),
    }
}

/// Supply less what all share of the peak load, less its own lead's drop at its own current.
fn at_plug(
    aircraft: &Aircraft,
    supply: &Supply,
    one: &Fed,
    own: &Lead,
    loads: &Loads,
    shared: &Shared,
    open_v: f64,
) -> Option<AtPlug> {
    let draw = one.draw()?;
    if one.second_missing && own.servo != aircraft.surfaces[one.surface].servo_index {
        return None;
    }
    // Of two servos that are read together each is taken to draw half.
    let own_share = if draw.both_servos { 0.5 } else { 1.0 };
    let own_ma = match one.moves {
        true => one.peak_ma()?,
        false => one.holding_ma()?,
    };
    let own_a = 1e-3 * own_share * own_ma.value;
    let (lead, lead_from) = match (own.measured, own.copper) {
        (Some(measured), _) => (measured, LeadFrom::Measured),
        (None, Some(copper)) => (certain(copper.upper_mohm()), LeadFrom::Copper),
        (None, None) => (certain(0.0), LeadFrom::Nowhere),
    };
    let lead_drop_v = 1e-3 * lead.value.max(0.0) * own_a;
    let value = open_v - 1e-6 * shared.mohm() * loads.peak_ma.value - lead_drop_v;
    let part = |u_factor: f64, q: &Quantity| {
        let i = q.interval?;
        let df = match i.u > 0.0 {
            true => df_of_t95((i.hi95 - q.value) / i.u),
            false => f64::INFINITY,
        };
        Some((u_factor.abs() * i.u, df))
    };
    let parts = [
        part(1e-3 * own_a, &lead),
        part(1e-6 * own_share * lead.value.max(0.0), &own_ma),
        part(1e-6 * shared.mohm(), &loads.peak_ma),
    ];
    let all: Option<Vec<(f64, f64)>> = parts.into_iter().collect();
    let volts = Quantity {
        value,
        interval: all.and_then(|parts| {
            let (u, df) = combine(&parts);
            interval(value, u, df)
        }),
    };
    let kind = &aircraft.servo_types[aircraft.servos[own.servo].type_index];
    let least_v = supply
        .least_v
        .unwrap_or((100.0 * SUPPLY_SHARE * kind.stall_voltage_v).round() / 100.0);
    Some(AtPlug {
        standing: Standing::of_volts(&volts, least_v),
        volts,
        least_v,
        least_is_given: supply.least_v.is_some(),
        lead_drop_v,
        lead_from,
    })
}

fn certain(value: f64) -> Quantity {
    Quantity {
        value,
        interval: interval(value, 0.0, f64::INFINITY),
    }
}

/// Ratings for seconds are held against the load that lasts, those for moments against the peak; a pack's sag follows the peak.
fn ratings(supply: &Supply, loads: Option<&Loads>) -> (Vec<Rating>, Vec<Part>) {
    let rating_a = |part| match part {
        Part::Pack => supply
            .pack_mah
            .zip(supply.pack_c)
            .map(|(q, c)| 1e-3 * q * c),
        Part::Regulator => supply.regulator_a,
        Part::RegulatorPeak => supply.regulator_peak_a,
        Part::Connector => supply.connector_a,
    };
    let (mut found, mut not_given) = (Vec::new(), Vec::new());
    for part in Part::ALL {
        let Some(rating_a) = rating_a(part) else {
            not_given.push(part);
            continue;
        };
        let Some(loads) = loads else {
            continue;
        };
        let load_ma = match part {
            Part::Pack | Part::RegulatorPeak => loads.peak_ma,
            Part::Regulator | Part::Connector => {
                let (moving, holding) = (loads.sustained_ma, loads.holding_ma);
                if holding.value > moving.value {
                    holding
                } else {
                    moving
                }
            }
        };
        let share = mapped(load_ma, 1e-3 / rating_a, 0.0);
        found.push(Rating {
            part,
            rating_a,
            load_ma,
            standing: Standing::of_share(&share),
            share,
        });
    }
    (found, not_given)
}

fn flight(
    fed: &[Fed],
    usable_mah: Option<f64>,
    open_v: Option<f64>,
    other_ma: f64,
    asked: &Asked,
) -> Flight {
    let (moving, resting) = (asked.moving_share, asked.resting_share);
    let holding = (1.0 - moving - resting).max(0.0);
    let factor = asked.air_factor;
    // rest + factor·(moving·(m − rest) + holding·(h − rest))
    let parts = fed.iter().flat_map(|f| {
        let of_rest = 1.0 - factor * (moving + holding);
        let weigh = |weight: f64, q: Option<Quantity>| q.map(|q| (weight, q));
        [
            weigh(of_rest, f.resting_ma()),
            weigh(factor * moving, f.draw().map(|d| d.moving_ma)),
            weigh(factor * holding, f.holding_ma()),
        ]
    });
    let mean_ma = plus(weighted(parts.flatten()), other_ma);
    let mah = mapped(mean_ma, asked.flight_min / 60.0, 0.0);
    let whole = |usable: f64, mah: f64| (usable / mah).clamp(0.0, 9999.0).floor() as u32;
    let most = mah.interval.map_or(mah.value, |i| i.hi95);
    let flights = match usable_mah {
        None => Flights::NoCapacity,
        // What the others draw is unknown: only that it comes on top is certain.
        Some(usable) if fed.iter().any(Fed::is_missing) => Flights::NotAllMeasured {
            none: mah.interval.map_or(mah.value, |i| i.lo95) > usable,
        },
        Some(usable) => Flights::Counted {
            expected: whole(usable, mah.value),
            least: whole(usable, most),
        },
    };
    Flight {
        mean_ma,
        mah,
        wh: open_v.map(|v| mapped(mah, 1e-3 * v, 0.0)),
        flights,
    }
}
