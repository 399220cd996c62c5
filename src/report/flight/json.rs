//! `flight --json`: one object. Storage types of their own, converted here and nowhere else; N·cm, degrees, m/s.

use serde::Serialize;

use super::{CAUTION, Flown, SurfaceFlown, assumptions, balance, doubt, findings, remarks};
use crate::flight::{Balance, Fastest, Part, Row, SideBalance};
use crate::report::json::number;

/// Name and version of the object's shape.
pub const SCHEMA: &str = "hingewright.flight/1";

/// The estimate as one line of JSON, without the line's end.
pub fn line(flown: &Flown<'_>) -> String {
    // String keys, no maps, and numbers that are finite or null: nothing here can fail to be written.
    serde_json::to_string(&FlightLine::from(flown)).unwrap_or_default()
}

#[derive(Serialize)]
struct FlightLine<'a> {
    schema: &'static str,
    estimate: bool,
    aircraft: &'a str,
    asked: AskedOut,
    surfaces: Vec<SurfaceOut<'a>>,
    /// Names of surfaces without [surface.air].
    left_out: &'a [&'a str],
    assumptions: Vec<String>,
    caution: &'static str,
}

#[derive(Serialize)]
struct AskedOut {
    field_height_m: f64,
    air_c: f64,
    density_kg_m3: f64,
    pressure_pa: f64,
    supply_v: f64,
    factor: f64,
    attack_deg: f64,
    aspect: Option<f64>,
    most_share: f64,
}

#[derive(Serialize)]
struct SurfaceOut<'a> {
    surface: &'a str,
    recording: Option<&'a str>,
    torque_from: &'static str,
    fastest_m_s: f64,
    mach: f64,
    flap_share: f64,
    b1_per_rad: f64,
    b2_per_rad: f64,
    servo_has_ncm: Option<P>,
    plug_v: Option<f64>,
    drawn_a: Option<f64>,
    throws: Vec<ThrowOut<'a>>,
    balance: Vec<BalanceOut>,
    findings: Vec<String>,
    remarks: Vec<String>,
    doubts: Vec<String>,
}

/// A value with the 95 % interval of what was measured; nulls where nothing measured is in it. The air's part has none.
#[derive(Serialize)]
struct P {
    value: f64,
    lo95: Option<f64>,
    hi95: Option<f64>,
}

#[derive(Serialize)]
struct ThrowOut<'a> {
    throw: &'a str,
    deflection_deg: f64,
    /// With the factor; positive against the servo.
    air_ncm: Option<f64>,
    hinge_ncm: Option<P>,
    sum_ncm: Option<P>,
    worst_moving: &'static str,
    worst_standing: bool,
    ratio: Option<f64>,
    at_arm_ncm: Option<P>,
    share: Option<P>,
    /// The hinge's own torque is not in it: the share is at least that.
    at_least: bool,
    share_at_worst_attack: Option<f64>,
    /// Only where more is asked on the way than at the throw.
    worse_on_the_way: Option<OnTheWayOut>,
    holds_up_to: Option<FastestOut>,
    within_share_up_to: Option<FastestOut>,
    above_most_share: bool,
}

#[derive(Serialize)]
struct OnTheWayOut {
    deflection_deg: f64,
    share: f64,
}

#[derive(Serialize)]
struct FastestOut {
    /// Of what the servo has.
    share: f64,
    /// `up-to`, `beyond-theory` (at least that), `never`.
    state: &'static str,
    m_s: Option<P>,
}

#[derive(Serialize)]
struct BalanceOut {
    side: &'static str,
    /// `within-throws`, `beyond-throws` (continued, not measured), `not-up-to`.
    state: &'static str,
    deg: Option<P>,
}

impl<'a> From<&'a Flown<'_>> for FlightLine<'a> {
    fn from(flown: &'a Flown<'_>) -> Self {
        let asked = flown.asked;
        Self {
            schema: SCHEMA,
            estimate: true,
            aircraft: &flown.aircraft.name,
            asked: AskedOut {
                field_height_m: flown.field_height_m,
                air_c: flown.air_c,
                density_kg_m3: asked.atmosphere.density_kg_m3,
                pressure_pa: asked.atmosphere.pressure_pa,
                supply_v: asked.supply_v,
                factor: asked.factor,
                attack_deg: asked.attack_deg,
                aspect: asked.aspect,
                most_share: asked.most_share,
            },
            surfaces: flown.surfaces.iter().map(|s| surface(flown, s)).collect(),
            left_out: &flown.left_out,
            assumptions: assumptions(flown),
            caution: CAUTION,
        }
    }
}

fn surface<'a>(flown: &Flown<'_>, one: &'a SurfaceFlown<'_>) -> SurfaceOut<'a> {
    let estimate = &one.estimate;
    let has = estimate.has;
    SurfaceOut {
        surface: &one.surface.name,
        recording: one.recording.as_deref(),
        torque_from: one.torque_from.word(),
        fastest_m_s: estimate.fastest_m_s,
        mach: estimate.mach,
        flap_share: estimate.flap_share,
        b1_per_rad: estimate.flap.b1,
        b2_per_rad: estimate.flap.b2,
        servo_has_ncm: has.and_then(|has| part(has.torque_ncm)),
        plug_v: has.and_then(|has| number(has.plug_v)),
        drawn_a: has.and_then(|has| has.drawn_a.ok()).and_then(number),
        throws: {
            let most_share = flown.asked.most_share;
            estimate.rows.iter().map(|r| throw(r, most_share)).collect()
        },
        balance: estimate.balances.iter().map(|b| side(one, b)).collect(),
        findings: findings(one, flown.asked),
        remarks: balance(one).into_iter().chain(remarks(one)).collect(),
        doubts: estimate.doubts.iter().map(doubt).collect(),
    }
}

fn throw(row: &Row, most_share: f64) -> ThrowOut<'_> {
    ThrowOut {
        throw: &row.throw,
        deflection_deg: row.deg,
        air_ncm: number(row.air_ncm),
        hinge_ncm: row.hinge_ncm.and_then(part),
        sum_ncm: part(row.sum_ncm),
        worst_moving: if row.worst_outwards {
            "outwards"
        } else {
            "back"
        },
        worst_standing: row.worst_standing,
        ratio: row.ratio,
        at_arm_ncm: row.at_arm_ncm.and_then(part),
        share: row.share.and_then(part),
        at_least: row.hinge_ncm.is_none(),
        share_at_worst_attack: row.share_at_worst_attack.and_then(number),
        worse_on_the_way: row
            .worse_on_the_way
            .map(|(deflection_deg, share)| OnTheWayOut {
                deflection_deg,
                share,
            }),
        holds_up_to: row.holds.map(|f| fastest(f, 1.0)),
        within_share_up_to: row.within_share.map(|f| fastest(f, most_share)),
        above_most_share: row.over,
    }
}

fn fastest(fastest: Fastest, share: f64) -> FastestOut {
    let bare = |value| Part {
        value,
        half95: None,
    };
    let (state, speed) = match fastest {
        Fastest::UpTo(speed) => ("up-to", Some(speed)),
        Fastest::Beyond(m_s) => ("beyond-theory", Some(bare(m_s))),
        Fastest::Never => ("never", None),
    };
    FastestOut {
        share,
        state,
        m_s: speed.and_then(part),
    }
}

fn side(one: &SurfaceFlown<'_>, side: &SideBalance) -> BalanceOut {
    let (state, deg) = match side.balance {
        Balance::At { deg, beyond: false } => ("within-throws", deg),
        Balance::At { deg, beyond: true } => ("beyond-throws", deg),
        Balance::NotUpTo { deg, .. } => (
            "not-up-to",
            Part {
                value: deg,
                half95: None,
            },
        ),
    };
    BalanceOut {
        side: one.side_word(side.positive),
        state,
        deg: part(deg),
    }
}

fn part(part: Part) -> Option<P> {
    let value = number(part.value)?;
    Some(P {
        value,
        lo95: part.half95.and_then(|h| number(value - h)),
        hi95: part.half95.and_then(|h| number(value + h)),
    })
}
