//! What was found about a supply, graded, each in a sentence with its numbers and what to do next.

use super::{Supplied, no_draw_words, part_words, plugs};
use crate::supply::{Fed, Flights, Lead, LeadState, Part, Rating, Standing};
use crate::units::{self, Unit};
use crate::verdict::{Level, Verdict};

#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// A word of the JSON that stays.
    pub kind: &'static str,
    pub level: Level,
    /// It says that something could not be judged, not that it is wrong.
    pub unproven: bool,
    /// Servo's tag, where it is of one.
    pub servo: Option<String>,
    pub surface: Option<String>,
    pub text: String,
}

/// All findings, the gravest first.
pub fn findings(told: &Supplied<'_>) -> Vec<Finding> {
    let outcome = told.outcome;
    let mut all = Vec::new();
    for fed in &outcome.fed {
        for one in &fed.leads {
            all.extend(at_plug(told, fed, one));
            all.extend(lead(told, fed, one));
        }
        all.extend(not_measured(told, fed));
    }
    all.extend(outcome.ratings.iter().filter_map(|r| rating(told, r)));
    all.extend(no_supply(told));
    all.extend(no_flight(told));
    all.sort_by_key(|f| (std::cmp::Reverse(f.level), f.unproven));
    all
}

/// The gravest of all: any `stop`, else any `work`, else anything unproven.
pub fn verdict(findings: &[Finding]) -> Verdict {
    let any = |level| findings.iter().any(|f| f.level == level);
    if any(Level::Stop) {
        Verdict::DoNotFly
    } else if any(Level::Work) {
        Verdict::WorkNeeded
    } else if findings.iter().any(|f| f.unproven) {
        Verdict::Unproven
    } else {
        Verdict::NoFaultFound
    }
}

fn of(
    told: &Supplied<'_>,
    fed: &Fed,
    one: &Lead,
    kind: &'static str,
    level: Level,
    text: String,
) -> Finding {
    Finding {
        kind,
        level,
        unproven: false,
        servo: Some(told.lead_tag(one).to_owned()),
        surface: Some(told.surface(fed).to_owned()),
        text,
    }
}

fn whole(kind: &'static str, level: Level, text: String) -> Finding {
    Finding {
        kind,
        level,
        unproven: false,
        servo: None,
        surface: None,
        text,
    }
}

fn unproven(finding: Finding) -> Finding {
    Finding {
        unproven: true,
        ..finding
    }
}

fn lead(told: &Supplied<'_>, fed: &Fed, one: &Lead) -> Option<Finding> {
    let who = told.whose(fed, one);
    let own = |kind, level, text| of(told, fed, one, kind, level, text);
    let ohms = |value: f64| Unit::Milliohm.given(value.round());
    let has = one
        .measured
        .map(|q| crate::report::quantity(&q, Unit::Milliohm))
        .unwrap_or_default();
    let copper = one.copper.as_ref();
    let limit = copper.map_or(String::new(), |c| ohms(c.upper_mohm()));
    let why = copper.map_or(String::new(), |c| {
        format!(
            "{} there and back have {} of copper, {} warm and flexible at most, and {} for {}",
            told.pieces(one),
            ohms(c.nominal_mohm),
            ohms(c.most_mohm),
            ohms(c.plugs_mohm),
            plugs(c.connections)
        )
    });
    Some(match one.state {
        LeadState::Worse => own(
            "lead-worse",
            Level::Work,
            format!(
                "{who}: lead or connector is worse than its copper: {has}, and its limit is {limit} ({why}). Disconnect the pack; look at plugs and crimps \
                 first, then for cut strands, a thinner wire or one that is not all copper; measure again after each change."
            ),
        ),
        LeadState::Unproven => unproven(own(
            "lead-unproven",
            Level::Watch,
            format!(
                "{who}: the lead is unproven: {has}, an interval that stands on both sides of its limit of {limit} ({why}). Measure it with more current: \
                 `hingewright servo` moves in steps, or sweep faster and for more cycles."
            ),
        )),
        LeadState::Less => own(
            "lead-less",
            Level::Watch,
            format!(
                "{who}: the lead has {has}, less than its copper ({why}). See whether source_v is measured at the supply's end of it, and whether length and \
                 gauge in [servo.lead] are those fitted."
            ),
        ),
        LeadState::NotMeasured => unproven(own(
            "lead-not-measured",
            Level::Watch,
            format!(
                "{who}: the lead was not measured; its limit is {limit} ({why}). {}",
                how_to_measure(told, fed, one)
            ),
        )),
        _ => return None,
    })
}

/// A sweep reads one plug, the first servo's.
pub(super) fn how_to_measure(told: &Supplied<'_>, fed: &Fed, one: &Lead) -> String {
    match told.is_second(fed, one) {
        true => format!(
            "A sweep reads the first servo's plug alone: record {tag} by itself in steps, with current_ma its own, source_v at the supply's end of its lead \
             and supply_v at its plug, and put the line `# servo={tag}` on top.",
            tag = told.lead_tag(one)
        ),
        false => {
            "Record with source_v at the supply's end of the lead and supply_v at the servo's plug."
                .into()
        }
    }
}

fn at_plug(told: &Supplied<'_>, fed: &Fed, one: &Lead) -> Option<Finding> {
    let at = one.at_plug.as_ref()?;
    let volts = format!("{} V", super::text::to_a_millivolt(&at.volts));
    let least = format!(
        "{}{}",
        Unit::Volt.given(at.least_v),
        if at.least_is_given {
            ""
        } else {
            ", three quarters of its data sheet's voltage (common practice, no source)"
        }
    );
    let (level, says) = match at.standing {
        Standing::Within => return None,
        Standing::Near => (Level::Watch, "may fall below"),
        Standing::Beyond => (Level::Stop, "falls below"),
    };
    let shared_v =
        1e-6 * told.outcome.shared.mohm() * told.outcome.loads.map_or(0.0, |l| l.peak_ma.value);
    Some(of(
        told,
        fed,
        one,
        "plug-voltage",
        level,
        format!(
            "{}: with the worst surfaces moving at once {volts} are left at its plug, which {says} the least of {least}. {} V go on what all share, {} V on its \
             own lead. Shorten or thicken the greater of the two, or feed it from another source; then measure again.",
            told.whose(fed, one),
            units::fixed(shared_v, 2),
            units::fixed(at.lead_drop_v, 2)
        ),
    ))
}

fn not_measured(told: &Supplied<'_>, fed: &Fed) -> Option<Finding> {
    let who = told.who(fed);
    let why = match fed.seen.map(|s| s.draw) {
        None => "nothing usable was recorded".to_owned(),
        Some(Err(why)) => no_draw_words(why).to_owned(),
        Some(Ok(_)) if fed.second_missing => {
            "the rig read one servo of two (current2_ma is missing)".to_owned()
        }
        Some(Ok(_)) => return None,
    };
    let text = format!(
        "{who}: not measured, for {why}. Sweep it on a rig that drives it and reads current_ma and both voltages."
    );
    Some(unproven(of(
        told,
        fed,
        fed.leads.first()?,
        "not-measured",
        Level::Watch,
        text,
    )))
}

fn rating(told: &Supplied<'_>, one: &Rating) -> Option<Finding> {
    let (level, says) = match one.standing {
        Standing::Within => return None,
        Standing::Near => (Level::Watch, "is near"),
        Standing::Beyond => (Level::Work, "is beyond"),
    };
    let load = match one.part {
        Part::Pack | Part::RegulatorPeak => "the peak of all together",
        Part::Regulator | Part::Connector => "the load of all together that lasts",
    };
    let remedy = match one.part {
        Part::Pack => "a pack of more capacity or discharge rating, or two",
        Part::Regulator | Part::RegulatorPeak => {
            "a stronger regulator, or two that share the servos"
        }
        Part::Connector => "a stronger connector or switch, or two in parallel leads",
    };
    let text = format!(
        "{}: {load}, {}{}, {says} its rating of {} ({}{}). Fit {remedy}; its maker's manual decides.",
        part_words(one.part),
        told.least(),
        crate::report::quantity(&in_amperes(&one.load_ma), Unit::Ampere),
        Unit::Ampere.given(one.rating_a),
        told.least(),
        crate::report::quantity(&one.share, Unit::Share),
    );
    Some(whole("rating", level, text))
}

fn no_supply(told: &Supplied<'_>) -> Option<Finding> {
    if told.outcome.open_v.is_some() {
        return None;
    }
    let text = "Voltages at the plugs are unproven: aircraft.toml does not say what feeds the servos. Add what you know of it, for instance:\n\
                [supply]\n\
                open_v = …          # with nothing drawn, V\n\
                internal_mohm = …   # of pack or regulator, mΩ\n\
                pack_mah = …\n\
                pack_c = …          # continuous rating\n\
                regulator_a = …     # continuous, A; regulator_peak_a = …\n\
                connector_a = …     # connector or switch that all current passes, A";
    Some(unproven(whole("no-supply", Level::Watch, text.to_owned())))
}

fn no_flight(told: &Supplied<'_>) -> Option<Finding> {
    let flight = told.outcome.flight?;
    let says = match flight.flights {
        Flights::Counted { least: 0, .. } => "may not last",
        Flights::NotAllMeasured { none: true } => "does not last",
        _ => return None,
    };
    let text = format!(
        "The charge {says} one flight: a flight takes {}{}, and {} of {} may be used with the reserve kept. Fly shorter, or fit a pack of more capacity.",
        told.least(),
        crate::report::quantity(&flight.mah, Unit::MilliampereHour),
        Unit::MilliampereHour.given(told.outcome.usable_mah?.round()),
        Unit::MilliampereHour.given(told.outcome.pack_mah?)
    );
    Some(whole("flights", Level::Work, text))
}

pub(super) fn in_amperes(ma: &crate::analysis::Quantity) -> crate::analysis::Quantity {
    crate::analysis::Quantity {
        value: 1e-3 * ma.value,
        interval: ma.interval.map(|i| crate::analysis::Interval {
            u: 1e-3 * i.u,
            lo95: 1e-3 * i.lo95,
            hi95: 1e-3 * i.hi95,
        }),
    }
}
