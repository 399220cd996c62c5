//! What `flight` says: findings, balance, what is missing and what was assumed, worded once for [`text`] and [`json`].
//! No arithmetic of the trade, no deciding.

pub mod json;
pub mod text;

use crate::aircraft::{Aircraft, Side, Surface};
use crate::analysis::TorqueSource;
use crate::flight::{
    Asked, Balance, Doubt, Estimate, Fastest, MOST_MACH, NoDrop, Part, Row, SEPARATES_DEG,
    WORST_ATTACK_DEG,
};
use crate::units::{self, TorqueUnit, Unit};

/// Said under every estimate.
pub const CAUTION: &str = "An estimate from theory and the bench, not a measurement in flight, and no airworthiness statement: the airframe's and \
     the servo's manuals and the club's inspector decide.";

/// All surfaces of one question.
pub struct Flown<'a> {
    pub aircraft: &'a Aircraft,
    pub asked: &'a Asked,
    pub field_height_m: f64,
    pub air_c: f64,
    pub surfaces: Vec<SurfaceFlown<'a>>,
    /// Names of surfaces whose air the aircraft file does not describe.
    pub left_out: Vec<&'a str>,
}

/// One surface, and where its hinge's torque came from.
pub struct SurfaceFlown<'a> {
    pub surface: &'a Surface,
    pub estimate: Estimate,
    /// The recording's file.
    pub recording: Option<String>,
    pub torque_from: TorqueSource,
}

impl SurfaceFlown<'_> {
    /// The word for a side of this surface.
    pub fn side_word(&self, positive: bool) -> &'static str {
        let sideways = |t: &crate::aircraft::Throw| matches!(t.side, Side::Left | Side::Right);
        match (self.surface.throws.iter().any(sideways), positive) {
            (false, true) => Side::Up.word(),
            (false, false) => Side::Down.word(),
            (true, true) => Side::Left.word(),
            (true, false) => Side::Right.word(),
        }
    }
}

/// The surface in a few words.
fn title(one: &SurfaceFlown<'_>, asked: &Asked) -> String {
    let (over, all) = (one.estimate.over().count(), one.estimate.rows.len());
    let share = Unit::Share.given(asked.most_share);
    let told = match (over, one.estimate.unproven()) {
        (0, true) => "share of the servo not known, or only the least of it".to_owned(),
        (0, false) => format!("every throw below {share} of what the servo has"),
        (n, _) => format!("{n} of {all} throws above {share} of what the servo has"),
    };
    format!("{}: estimate, {told}", one.surface.name)
}

/// What is above the share asked, and what to do about it.
fn findings(one: &SurfaceFlown<'_>, asked: &Asked) -> Vec<String> {
    one.estimate
        .over()
        .map(|row| {
            let worst = row.share.map(|s| row.worse_on_the_way.map_or(s.value, |worse| worse.1));
            let share = worst.map_or(String::new(), |share| Unit::Share.plain(share));
            let more = if row.hinge_ncm.is_none() { "at least " } else { "" };
            let slower = match row.within_share {
                Some(Fastest::UpTo(speed)) => {
                    format!(
                        "less speed ({} is reached at {})",
                        Unit::Share.given(asked.most_share),
                        Unit::MetrePerSecond.plain(speed.value)
                    )
                }
                _ => "less throw, for less speed alone does not do it".to_owned(),
            };
            let cannot = match worst.is_some_and(|share| share > 1.0) {
                true => "; by this estimate the servo cannot hold it at that speed",
                false => "",
            };
            format!(
                "Throw \"{}\" at {}: {more}{share} of what the servo has, above {}{cannot}. A longer horn, a shorter arm (mind the throw), a \
                 stronger servo, or {slower}.",
                row.throw,
                Unit::MetrePerSecond.given(one.estimate.fastest_m_s),
                Unit::Share.given(asked.most_share),
            )
        })
        .collect()
}

/// What the servo has, and how that came about.
fn servo_has(one: &SurfaceFlown<'_>, asked: &Asked, unit: TorqueUnit) -> Option<String> {
    let has = one.estimate.has?;
    let torque = part(Unit::Torque(unit), has.torque_ncm);
    let supply = Unit::Volt.given(asked.supply_v);
    let why = match has.drawn_a {
        Ok(ampere) => format!(
            "{supply} less the drop along its lead as measured, at the {} A it draws then",
            units::fixed(ampere, 1)
        ),
        Err(NoDrop::NoLead) => format!(
            "{supply} at the supply; the drop along its lead was not measured and is left out: sweep with both voltages"
        ),
        Err(NoDrop::NoCalibration) => format!(
            "{supply} at the supply; the drop along its lead is left out, for without a calibration its current is not known"
        ),
    };
    Some(format!(
        "The servo has {torque} at its arm: the data sheet's stall torque in proportion to {} at its plug ({why}).",
        Unit::Volt.plain(has.plug_v)
    ))
}

/// Where servo and air balance, both sides in one sentence.
fn balance(one: &SurfaceFlown<'_>) -> Option<String> {
    let side = |side: &crate::flight::SideBalance| {
        let word = one.side_word(side.positive);
        match side.balance {
            Balance::At { deg, beyond: false } => format!("{word} {}", part(Unit::Degree, deg)),
            Balance::At { deg, beyond: true } => format!(
                "{word} {} (beyond throw or sweep: continued, not measured)",
                Unit::Degree.plain(deg.value)
            ),
            Balance::NotUpTo { deg, linkage_ends } => format!(
                "{word}: none up to {}{}",
                Unit::Degree.plain(deg),
                if linkage_ends {
                    ", where the linkage ends"
                } else {
                    ""
                }
            ),
        }
    };
    let sides: Vec<String> = one.estimate.balances.iter().map(side).collect();
    (!sides.is_empty()).then(|| {
        format!(
            "Servo and air balance (blow-back) at {}: {}.",
            Unit::MetrePerSecond.given(one.estimate.fastest_m_s),
            sides.join("; ")
        )
    })
}

/// Where the worst case is not what one expects.
fn remarks(one: &SurfaceFlown<'_>) -> Vec<String> {
    let rows = &one.estimate.rows;
    let mut remarks = Vec::new();
    for row in rows {
        if let Some((at_deg, share)) = row.worse_on_the_way {
            remarks.push(format!(
                "Throw \"{}\": the linkage eases off outwards; on the way, at {}, {} of what the servo has is asked.",
                row.throw,
                Unit::Degree.place(at_deg.abs()),
                Unit::Share.plain(share)
            ));
        }
    }
    for row in rows.iter().filter(|r| r.worst_standing) {
        remarks.push(format!(
            "Throw \"{}\": the air helps; most is asked standing still, and that is shown.",
            row.throw
        ));
    }
    for row in rows
        .iter()
        .filter(|r| !r.worst_outwards && !r.worst_standing)
    {
        remarks.push(format!(
            "Throw \"{}\": the surface is driven outwards; most is asked on the way back.",
            row.throw
        ));
    }
    remarks
}

/// What is missing, and how to add it.
fn doubt(doubt: &Doubt) -> String {
    let quoted = |throws: &[String]| {
        let quoted: Vec<String> = throws.iter().map(|t| format!("\"{t}\"")).collect();
        quoted.join(", ")
    };
    match doubt {
        Doubt::NoSweep => "The hinge's own torque is not in it: no sweep of this surface was at hand; every share is at least what is shown. \
                           Sweep it, and give --logbook."
            .into(),
        Doubt::NoTorque => "The hinge's own torque is not in it: its latest sweep shows none (no torque sensor, no calibration, or data in doubt: \
                            see `check`); every share is at least what is shown."
            .into(),
        Doubt::NotSwept(throws) => format!(
            "The sweep did not go as far as {}: the hinge's own torque is not in it there; the share is at least what is shown.",
            quoted(throws)
        ),
        Doubt::NoLinkage => format!(
            "What reaches the servo is not known without its linkage. Add below this surface in aircraft.toml, with your numbers:\n{}",
            "  [surface.linkage]\n  arm_mm = …    # output shaft to rod\n  horn_mm = …   # hinge line to rod\n  rod_mm = …\n  base_mm = …   # output \
             shaft to hinge line"
        ),
        Doubt::OutOfReach(throws) => format!(
            "The linkage as described does not reach {}: measure its lengths again.",
            quoted(throws)
        ),
        Doubt::HopelessLead => {
            "The lead as measured could not feed this servo at that torque: see to plugs and lead.".into()
        }
        Doubt::TooFast { mach } => format!(
            "Mach {} at the fastest speed: beyond Mach {MOST_MACH} the theory ends; the air's part is at least what is shown.",
            units::fixed(*mach, 2)
        ),
        Doubt::Separates(throws) => format!(
            "Beyond some {} of deflection the flow separates and the theory does not hold ({}): the factor has to carry it.",
            Unit::Degree.given(SEPARATES_DEG),
            quoted(throws)
        ),
    }
}

/// What the estimate rests on, and what it leaves out.
fn assumptions(flown: &Flown<'_>) -> Vec<String> {
    let asked = flown.asked;
    let span = match asked.aspect {
        Some(aspect) => format!(
            "with the downwash of a wing of aspect ratio {} and the surface along its whole span (lifting line; along a part of it the air \
             asks for more)",
            units::fixed(aspect, 1)
        ),
        None => "two-dimensional: for a wing of finite span an upper bound within the theory (--aspect tells it)".to_owned(),
    };
    let air = &asked.atmosphere;
    vec![
        format!(
            "Air's part: a plain flap, gap sealed, hinged at its nose, by thin-aerofoil theory (Glauert, ARC R&M 1095), {span}; Prandtl–Glauert for \
             Mach; chord_mm along all of span_mm."
        ),
        format!(
            "Air: {} kg/m³, standard pressure at {} m (ISO 2533), {} °C.",
            units::fixed(air.density_kg_m3, 3),
            units::fixed(flown.field_height_m, 0),
            units::fixed(flown.air_c, 1),
        ),
        format!(
            "Angle of attack, at which the air meets the wing or tail: {}. \"±{}\" is the share with so much more of it, whichever way is worse \
             (common practice, no source).",
            Unit::Degree.given(asked.attack_deg),
            Unit::Degree.given(WORST_ATTACK_DEG)
        ),
        format!(
            "\"{} at\" and \"100 % at\": the airspeed at which the throw takes that share of what the servo has, factor included. At 100 % it \
             stalls and holds no further: no speed to go to. \"none\": it takes more even standing still.",
            Unit::Share.given(asked.most_share)
        ),
        format!(
            "± is the 95 % interval of what was measured. The air's part has none: it is multiplied by {} (--factor; 1.5 and the share of 50 % are \
             common practice, no source).",
            units::fixed(asked.factor, 2)
        ),
        "Direction: friction is against the servo the way it pushes, outwards as a rule; where the air drives the surface on, the way back is the \
         worst. The worse one is shown, and the worst from standing still up to the speed."
            .into(),
        "Not covered: stall and separation, gap, hinge offset and balance, tabs, the jet's and the wing's downwash on a tail, gusts, flutter, a hot \
         servo, flexible rods and horns."
            .into(),
    ]
}

/// Value with its half width: to three digits at most, for the air's part is no better known; the half width to match,
/// rounded up.
fn part(unit: Unit, part: Part) -> String {
    number(unit, part) + &unit.suffix()
}

/// [`part`] without its unit.
fn number(unit: Unit, part: Part) -> String {
    let value = part.value * unit.factor();
    let plain = units::significant(value, 3).unwrap_or_else(|| units::NOT_A_NUMBER.to_owned());
    let Some(half) = part.half95.map(|h| h * unit.factor()) else {
        return plain;
    };
    let Some((exact, exact_half)) = units::pair(value, half) else {
        return plain;
    };
    let decimals = |text: &str| text.split_once('.').map_or(0, |(_, d)| d.len());
    if decimals(&exact) <= decimals(&plain) {
        return format!("{exact} ± {exact_half}");
    }
    let places = decimals(&plain) as i32;
    let unit_of_last = 10f64.powi(-places);
    let up = (half / unit_of_last).ceil() * unit_of_last;
    format!("{plain} ± {}", units::fixed(up, places))
}

/// The fastest speed for a throw, without its unit.
fn fastest(fastest: Option<Fastest>) -> String {
    match fastest {
        None => "not known".into(),
        Some(Fastest::Never) => "none".into(),
        Some(Fastest::Beyond(speed)) => format!("over {}", units::fixed(speed, 0)),
        Some(Fastest::UpTo(speed)) => number(Unit::MetrePerSecond, speed),
    }
}

/// "at least", where the hinge's own torque is not in it.
fn least(row: &Row) -> &'static str {
    if row.hinge_ncm.is_none() { "≥ " } else { "" }
}
