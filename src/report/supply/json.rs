//! `supply --json`: one object. Storage types of their own, converted here and nowhere else; mA, mΩ, V, mAh, shares of one.

use serde::Serialize;

use super::findings::{Finding, findings, verdict};
use super::{CAUTION, Supplied, assumptions, flights, remarks};
use crate::report::json::{Q, number, quantity};
use crate::supply::{AtPlug, Chosen, Copper, Fed, Flight, Flights, LeadFrom, Loads, Rating};

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.supply/1";

/// The supply as one line of JSON, without the line's end.
pub fn line(told: &Supplied<'_>) -> String {
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&SupplyLine::from(told)).unwrap_or_default()
}

#[derive(Serialize)]
struct SupplyLine<'a> {
    schema: &'static str,
    aircraft: &'a str,
    surfaces: Vec<SurfaceOut<'a>>,
    moving_at_once: &'static str,
    loads_ma: Option<LoadsOut>,
    /// Surfaces are missing from the sums.
    lower_bound: bool,
    not_measured: Vec<&'a str>,
    other_ma: f64,
    open_v: Option<f64>,
    shared_mohm: SharedOut,
    ratings: Vec<RatingOut>,
    not_given: Vec<&'static str>,
    flight: Option<FlightOut>,
    findings: Vec<FindingOut>,
    verdict: &'static str,
    remarks: Vec<String>,
    assumptions: Vec<String>,
    caution: &'static str,
}

#[derive(Serialize)]
struct SurfaceOut<'a> {
    surface: &'a str,
    servo: &'a str,
    moves: bool,
    currents_from: Option<&'a str>,
    lead_from: Option<&'a str>,
    second_lead_from: Option<&'a str>,
    peak_ma: Option<Q>,
    /// `steps` at full speed, or the `sweep`.
    peak_of: Option<&'static str>,
    highest_ma: Option<f64>,
    moving_ma: Option<Q>,
    holding_ma: Option<Q>,
    resting_ma: Option<Q>,
    lead_mohm: Option<Q>,
    source_mohm: Option<Q>,
    lead_and_source_mohm: Option<Q>,
    copper: Option<CopperOut>,
    lead: &'static str,
    at_plug: Option<AtPlugOut>,
    /// The lead of the second servo, where two drive the surface.
    second: Option<SecondOut<'a>>,
}

#[derive(Serialize)]
struct SecondOut<'a> {
    servo: &'a str,
    lead_mohm: Option<Q>,
    copper: Option<CopperOut>,
    lead: &'static str,
    at_plug: Option<AtPlugOut>,
}

#[derive(Serialize)]
struct CopperOut {
    nominal_mohm: f64,
    at_most_mohm: f64,
    of_which_plugs_mohm: f64,
    connections: u32,
    air_c: f64,
    air_is_measured: bool,
}

#[derive(Serialize)]
struct AtPlugOut {
    volts: Option<Q>,
    least_v: f64,
    least_is_given: bool,
    standing: &'static str,
    lead_drop_v: f64,
    lead_resistance: &'static str,
}

#[derive(Serialize)]
struct LoadsOut {
    peak: Option<Q>,
    lasting: Option<Q>,
    holding: Option<Q>,
    resting: Option<Q>,
}

#[derive(Serialize)]
struct SharedOut {
    internal: Option<f64>,
    lead_at_most: Option<f64>,
}

#[derive(Serialize)]
struct RatingOut {
    part: &'static str,
    rating_a: f64,
    load_ma: Option<Q>,
    share: Option<Q>,
    standing: &'static str,
}

#[derive(Serialize)]
struct FlightOut {
    minutes: f64,
    moving_share: f64,
    resting_share: f64,
    air_factor: f64,
    reserve: f64,
    mean_ma: Option<Q>,
    mah: Option<Q>,
    wh: Option<Q>,
    /// Null where not all servos were measured, or no capacity is given.
    flights_per_charge: Option<u32>,
    at_least: Option<u32>,
    flights: String,
}

#[derive(Serialize)]
struct FindingOut {
    kind: &'static str,
    level: &'static str,
    unproven: bool,
    servo: Option<String>,
    surface: Option<String>,
    text: String,
}

impl<'a> From<&'a Supplied<'a>> for SupplyLine<'a> {
    fn from(told: &'a Supplied<'a>) -> Self {
        let outcome = told.outcome;
        let found = findings(told);
        let shared = outcome.shared;
        Self {
            schema: SCHEMA,
            aircraft: &told.aircraft.name,
            surfaces: outcome.fed.iter().map(|f| surface(told, f)).collect(),
            moving_at_once: match outcome.chosen {
                Chosen::Named => "named",
                Chosen::Worst(_) => "worst",
                Chosen::BothWays => "both-ways",
            },
            loads_ma: outcome.loads.as_ref().map(loads),
            lower_bound: outcome.missing().next().is_some(),
            not_measured: outcome.missing().map(|f| told.surface(f)).collect(),
            other_ma: outcome.other_ma,
            open_v: outcome.open_v,
            shared_mohm: SharedOut {
                internal: shared.internal_mohm,
                lead_at_most: shared.lead.map(|c| c.upper_mohm()),
            },
            ratings: outcome.ratings.iter().map(rating).collect(),
            not_given: outcome.not_given.iter().map(|p| p.word()).collect(),
            flight: outcome.flight.as_ref().map(|f| flight(told, f)),
            verdict: verdict(&found).word(),
            findings: found.into_iter().map(finding).collect(),
            remarks: remarks(told),
            assumptions: assumptions(told),
            caution: CAUTION,
        }
    }
}

fn surface<'a>(told: &'a Supplied<'a>, fed: &Fed) -> SurfaceOut<'a> {
    let own = &told.aircraft.surfaces[fed.surface];
    let picked = told.picked.get(fed.surface).and_then(Option::as_ref);
    let draw = fed.draw();
    let resistances = fed.seen.map(|s| s.resistances).unwrap_or_default();
    let first = &fed.leads[0];
    let q = |q: Option<crate::analysis::Quantity>| q.as_ref().and_then(quantity);
    SurfaceOut {
        surface: &own.name,
        servo: &told.aircraft.servos[own.servo_index].tag,
        moves: fed.moves,
        currents_from: picked.and_then(|p| p.draw_file.as_deref()),
        lead_from: picked.and_then(|p| p.lead_file.as_deref()),
        second_lead_from: picked.and_then(|p| p.second_lead_file.as_deref()),
        peak_ma: q(fed.peak_ma()),
        peak_of: draw.map(|d| match fed.peak_ma() {
            Some(peak) if peak != d.peak_ma => "steps",
            _ => "sweep",
        }),
        highest_ma: draw.and_then(|d| number(d.highest_ma)),
        moving_ma: q(draw.map(|d| d.moving_ma)),
        holding_ma: q(draw.and_then(|d| d.holding_ma)),
        resting_ma: q(draw.and_then(|d| d.resting_ma)),
        lead_mohm: q(resistances.lead_mohm),
        source_mohm: q(resistances.source_mohm),
        lead_and_source_mohm: q(resistances.together_mohm),
        copper: first.copper.as_ref().map(copper),
        lead: first.state.word(),
        at_plug: first.at_plug.as_ref().map(at_plug),
        second: fed.leads.get(1).map(|lead| SecondOut {
            servo: told.lead_tag(lead),
            lead_mohm: q(lead.measured),
            copper: lead.copper.as_ref().map(copper),
            lead: lead.state.word(),
            at_plug: lead.at_plug.as_ref().map(at_plug),
        }),
    }
}

fn at_plug(at: &AtPlug) -> AtPlugOut {
    AtPlugOut {
        volts: quantity(&at.volts),
        least_v: at.least_v,
        least_is_given: at.least_is_given,
        standing: at.standing.word(),
        lead_drop_v: at.lead_drop_v,
        lead_resistance: match at.lead_from {
            LeadFrom::Measured => "measured",
            LeadFrom::Copper => "copper",
            LeadFrom::Nowhere => "not-known",
        },
    }
}

fn copper(copper: &Copper) -> CopperOut {
    CopperOut {
        nominal_mohm: copper.nominal_mohm,
        at_most_mohm: copper.upper_mohm(),
        of_which_plugs_mohm: copper.plugs_mohm,
        connections: copper.connections,
        air_c: copper.air_c,
        air_is_measured: copper.air_is_measured,
    }
}

fn loads(loads: &Loads) -> LoadsOut {
    LoadsOut {
        peak: quantity(&loads.peak_ma),
        lasting: quantity(&loads.sustained_ma),
        holding: quantity(&loads.holding_ma),
        resting: quantity(&loads.resting_ma),
    }
}

fn rating(rating: &Rating) -> RatingOut {
    RatingOut {
        part: rating.part.word(),
        rating_a: rating.rating_a,
        load_ma: quantity(&rating.load_ma),
        share: quantity(&rating.share),
        standing: rating.standing.word(),
    }
}

fn flight(told: &Supplied<'_>, flight: &Flight) -> FlightOut {
    let asked = told.asked;
    let counted = match flight.flights {
        Flights::Counted { expected, least } => Some((expected, least)),
        Flights::NotAllMeasured { .. } | Flights::NoCapacity => None,
    };
    FlightOut {
        minutes: asked.flight_min,
        moving_share: asked.moving_share,
        resting_share: asked.resting_share,
        air_factor: asked.air_factor,
        reserve: asked.reserve,
        mean_ma: quantity(&flight.mean_ma),
        mah: quantity(&flight.mah),
        wh: flight.wh.as_ref().and_then(quantity),
        flights_per_charge: counted.map(|c| c.0),
        at_least: counted.map(|c| c.1),
        flights: flights(told, flight),
    }
}

fn finding(finding: Finding) -> FindingOut {
    FindingOut {
        kind: finding.kind,
        level: finding.level.word(),
        unproven: finding.unproven,
        servo: finding.servo,
        surface: finding.surface,
        text: finding.text,
    }
}
