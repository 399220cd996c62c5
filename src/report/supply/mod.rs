//! What `supply` says, worded once for text and JSON: findings with what to do, remarks, assumptions. No arithmetic of the trade.

mod findings;
pub mod json;
pub mod text;

use crate::aircraft::{Aircraft, Gauge, Piece};
use crate::analysis::{CURRENT_SCALE_U, NoDraw, PEAK_S, VOLTAGE_SCALE_U};
use crate::supply::{
    Asked, CONNECTION_MOHM, Chosen, Doubtful, FLEXIBLE_SHARE, Fed, Flight, Flights, Lead,
    LeadState, Outcome, Part, Picked, WARMER_K,
};
use crate::units::{self, Unit};
use crate::verdict::{Level, Verdict};

use findings::how_to_measure;
pub use findings::{Finding, findings, verdict};

pub const CAUTION: &str = "Before you touch a lead or a plug: disconnect the pack, make propulsion and fuel safe. The pack's, the regulator's and the \
     servo's own manuals decide, also on how a pack is charged, stored and thrown away. A bench result is no airworthiness statement.";

/// All of one question.
pub struct Supplied<'a> {
    pub aircraft: &'a Aircraft,
    pub asked: &'a Asked,
    pub outcome: &'a Outcome,
    /// Of each surface, by its index: where its numbers are from.
    pub picked: &'a [Option<Picked>],
    /// Recordings that are not believed: surface, file, why.
    pub passed_over: Vec<(String, String, Doubtful)>,
}

impl Supplied<'_> {
    /// Tag and surface: `E1 (left elevator)`.
    fn who(&self, fed: &Fed) -> String {
        format!("{} ({})", self.tags(fed), self.surface(fed))
    }

    fn surface(&self, fed: &Fed) -> &str {
        &self.aircraft.surfaces[fed.surface].name
    }

    fn tag(&self, fed: &Fed) -> &str {
        let surface = &self.aircraft.surfaces[fed.surface];
        &self.aircraft.servos[surface.servo_index].tag
    }

    fn tags(&self, fed: &Fed) -> String {
        let surface = &self.aircraft.surfaces[fed.surface];
        let second = surface
            .second_servo_index
            .map(|i| &self.aircraft.servos[i].tag);
        match second {
            Some(second) => format!("{} and {second}", self.tag(fed)),
            None => self.tag(fed).to_owned(),
        }
    }

    /// Tag of the one servo that a lead feeds, and surface.
    fn whose(&self, fed: &Fed, lead: &Lead) -> String {
        format!("{} ({})", self.lead_tag(lead), self.surface(fed))
    }

    fn lead_tag(&self, lead: &Lead) -> &str {
        &self.aircraft.servos[lead.servo].tag
    }

    fn pieces(&self, lead: &Lead) -> String {
        pieces(&self.aircraft.servos[lead.servo].lead)
    }

    /// It feeds the second of two servos: no channel of a sweep reads its plug.
    fn is_second(&self, fed: &Fed, lead: &Lead) -> bool {
        lead.servo != self.aircraft.surfaces[fed.surface].servo_index
    }

    /// "at least", where surfaces are missing from the sums.
    fn least(&self) -> &'static str {
        if self.outcome.missing().next().is_some() {
            "≥ "
        } else {
            ""
        }
    }
}

fn pieces(all: &[Piece]) -> String {
    let one = |p: &Piece| {
        let gauge = match p.gauge {
            Gauge::Awg(number) => format!("AWG {}", units::fixed(number, 0)),
            Gauge::Area(area) => format!("{} mm²", units::significant(area, 2).unwrap_or_default()),
        };
        format!("{} of {gauge}", Unit::Millimetre.given(p.length_mm))
    };
    all.iter().map(one).collect::<Vec<_>>().join(" + ")
}

fn plugs(count: u32) -> String {
    match count {
        0 => "no plug".into(),
        1 => "1 plug".into(),
        more => format!("{more} plugs"),
    }
}

fn part_words(part: Part) -> &'static str {
    match part {
        Part::Pack => "pack, continuous",
        Part::Regulator => "regulator, continuous",
        Part::RegulatorPeak => "regulator, peak",
        Part::Connector => "connector or switch",
    }
}

/// The key that gives a rating.
fn part_key(part: Part) -> &'static str {
    match part {
        Part::Pack => "pack_mah and pack_c",
        Part::Regulator => "regulator_a",
        Part::RegulatorPeak => "regulator_peak_a",
        Part::Connector => "connector_a",
    }
}

fn no_draw_words(why: NoDraw) -> &'static str {
    match why {
        NoDraw::NoCurrent => "its recording has no current_ma",
        NoDraw::NoAngle => {
            "its recording has no angle_deg, so that moving and holding cannot be told apart"
        }
        NoDraw::TooFewCycles => "its recording has fewer than three cycles",
        NoDraw::NoSweep => "no sweep of it is believed, only a test of its servo",
        NoDraw::NotDriven => {
            "its current hardly rises as the surface moves: moved by hand, or another servo's current was read"
        }
    }
}

fn doubtful_words(doubt: &Doubtful) -> String {
    match doubt {
        Doubtful::Unfinished => "its run did not reach its end".into(),
        Doubtful::TooMuchLost => "more than a quarter of it is lost".into(),
        Doubtful::OtherServo(tag) => format!("it is of servo {tag}, which does not sit there now"),
    }
}

/// What the numbers leave open, each with what would close it.
fn remarks(told: &Supplied<'_>) -> Vec<String> {
    let outcome = told.outcome;
    let mut all = Vec::new();
    let missing: Vec<&str> = outcome.missing().map(|f| told.surface(f)).collect();
    if !missing.is_empty() && outcome.loads.is_some() {
        all.push(format!(
            "Not in the sums: {}. Every sum is a lower bound, every voltage an upper one, until each is swept.",
            missing.join(", ")
        ));
    }
    let slow: Vec<&str> = outcome
        .fed
        .iter()
        .filter(|f| f.peak_is_of_a_sweep())
        .map(|f| told.surface(f))
        .collect();
    if !slow.is_empty() {
        all.push(format!(
            "Peaks of a slow sweep, not of quick steps: {}. A servo that goes as fast as it can draws several times as much: test it in steps with \
             `hingewright servo`, with both voltages, within a day of the sweep, and its peak and its lead are taken from there.",
            slow.join(", ")
        ));
    }
    for fed in &outcome.fed {
        all.extend(second_unknown(told, fed));
        all.extend(not_separable(told, fed));
        let no_hold = fed.draw().is_some_and(|d| d.holding_ma.is_none());
        if no_hold {
            all.push(format!(
                "{}: no hold was long enough to tell its holding current; what it draws at rest or moving is counted.",
                told.who(fed)
            ));
        }
    }
    if outcome.shared.internal_mohm.is_none() && outcome.open_v.is_some() {
        all.push(
            "The resistance of pack or regulator is not counted: each voltage at a plug is an upper bound until [supply] has internal_mohm."
                .into(),
        );
    }
    for (surface, file, doubt) in &told.passed_over {
        all.push(format!(
            "Passed over for the {surface}: {file}, for {}.",
            doubtful_words(doubt)
        ));
    }
    if !outcome.not_given.is_empty() {
        let keys: Vec<&str> = outcome.not_given.iter().map(|p| part_key(*p)).collect();
        all.push(format!(
            "Not judged, for [supply] in aircraft.toml has no {}.",
            keys.join(", ")
        ));
    }
    all
}

/// Nothing is known of the second servo's lead: it is not passed over in silence.
fn second_unknown(told: &Supplied<'_>, fed: &Fed) -> Option<String> {
    let lead = fed.leads.get(1)?;
    (lead.state == LeadState::Unknown).then(|| {
        format!(
            "{}: nothing is known of the second servo's lead, and it is not judged. {}",
            told.whose(fed, lead),
            how_to_measure(told, fed, lead)
        )
    })
}

/// The source's own resistance where it can be told from the lead's, or that it cannot.
fn not_separable(told: &Supplied<'_>, fed: &Fed) -> Option<String> {
    let found = fed.seen?.resistances;
    let q = |q| super::quantity(&q, Unit::Milliohm);
    match (found.lead_mohm, found.source_mohm, found.together_mohm) {
        (None, None, Some(together)) => Some(format!(
            "{}: lead and source together have {}; they cannot be told apart: add source_v, measured at the supply's end of the lead.",
            told.who(fed),
            q(together)
        )),
        (Some(_), Some(source), _) => Some(format!(
            "{}: what fed it at the bench has {} of its own (the aircraft's pack and regulator only if they fed it).",
            told.who(fed),
            q(source)
        )),
        _ => None,
    }
}

/// How many flights a charge gives, or why that cannot be told.
fn flights(told: &Supplied<'_>, flight: &Flight) -> String {
    let missing = || {
        let names: Vec<String> = told.outcome.missing().map(|f| told.who(f)).collect();
        names.join(", ")
    };
    let (pack, kept) = (
        Unit::MilliampereHour.given(told.outcome.pack_mah.unwrap_or_default()),
        Unit::Share.given(told.asked.reserve),
    );
    match flight.flights {
        Flights::NoCapacity => {
            "Flights on a charge are not known: [supply] has no pack_mah.".into()
        }
        Flights::NotAllMeasured { .. } => format!(
            "Flights on a charge are unproven: what these draw was not measured: {}. Sweep each of them, and ask again.",
            missing()
        ),
        Flights::Counted { expected, least } => {
            let count = match least == expected {
                true => format!("{expected}"),
                false => format!(
                    "{expected}, at least {least} at the upper end of the interval of what a flight takes"
                ),
            };
            format!(
                "Flights on a charge of {pack} down to {kept} kept: {count}. Check the first by what the charger puts back."
            )
        }
    }
}

/// What was assumed, chosen and left out.
fn assumptions(told: &Supplied<'_>) -> Vec<String> {
    let (asked, outcome) = (told.asked, told.outcome);
    let share = |s: f64| Unit::Share.given(s);
    let moving = match outcome.chosen {
        Chosen::Named => "those that [supply] names as moving".to_owned(),
        Chosen::Worst(count) => format!("the {count} that draw most"),
        Chosen::BothWays => "all that go both ways (a flap or brake goes one way)".to_owned(),
    };
    vec![
        format!(
            "Moving at once (marked *): {moving}, each at its own peak, the highest mean over {} ms of each cycle; all others held. Currents are the \
             bench's, without air.",
            units::fixed(1000.0 * PEAK_S, 0)
        ),
        format!(
            "± is the 95 % interval, from how cycles scatter, with a standard uncertainty of {} of the rig's current and {} of each voltage (common \
             practice, no source).",
            share(CURRENT_SCALE_U),
            share(VOLTAGE_SCALE_U)
        ),
        format!(
            "A lead may have at most: copper of its gauge (ASTM B258) or area, there and back, {} K warmer than the air (IEC 60028), {} on top for flexible \
             wire (IEC 60228, class 5), and {} a plug, two contacts (common practice, no source).",
            units::fixed(WARMER_K, 0),
            share(FLEXIBLE_SHARE),
            Unit::Milliohm.given(CONNECTION_MOHM)
        ),
        "Pack and regulator's peak are held against the peak, regulator and connector against the load that lasts. A regulator is taken to pass current \
         on one to one: one that switches takes less from a pack of higher voltage."
            .into(),
        format!(
            "A flight: {} min, {} of it moving, {} at rest, the rest held (own choice: --flight-min, --moving-share, --resting-share); what is drawn beyond \
             rest times {} for the air (own choice: --air-factor); {} of the charge kept (common practice, no source: --reserve).",
            units::significant(asked.flight_min, 3).unwrap_or_default(),
            share(asked.moving_share),
            share(asked.resting_share),
            units::significant(asked.air_factor, 3).unwrap_or_default(),
            share(asked.reserve)
        ),
    ]
}

/// How the whole stands, for a title.
fn title(told: &Supplied<'_>, verdict: Verdict) -> String {
    format!(
        "Supply of the {}: {}",
        told.aircraft.name,
        super::verdict_words(verdict)
    )
}

fn level_tag(level: Level) -> String {
    format!("[{}]", level.word())
}
