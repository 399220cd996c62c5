//! What the text and the HTML report both show, in words: verdicts, rows of quantities, throws, small print.
//! Wording and rounding only; no arithmetic of the trade, and no layout.

use super::Checked;
use crate::analysis::{Quantity, ShortCause, ThrowResult, ThrowState, When};
use crate::units::{TorqueUnit, Unit};
use crate::verdict::{Finding, Kind, Level, Verdict};

/// Said under every result.
pub const STANDING_CAUTION: &str = "A bench result is no airworthiness statement.";

/// Said in every report: heading and sentence.
pub const CAUTIONS: [(&str, &str); 5] = [
    (
        "Hands and clothing",
        "Keep hands, hair and loose clothing clear of the surface, the linkage and the rig while it is powered.",
    ),
    (
        "Propulsion and fuel",
        "Make propulsion and fuel safe first: nothing may start, spin or ignite.",
    ),
    (
        "Manuals",
        "Follow the manuals of the airframe and of the servo; where they differ from what is said here, they hold.",
    ),
    (
        "Who decides",
        "The national rules for model flying and the club's inspector decide whether a model may fly.",
    ),
    (
        "What this is not",
        "This report says what one recording on the bench showed. It never says that an aircraft is safe to fly.",
    ),
];

/// The label of a recording whose run did not reach its end.
pub const UNFINISHED: &str = "unfinished run";

/// Shown for a quantity that is none.
pub const NOT_MEASURED: &str = "not measured";

/// The verdict in plain words.
pub fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NoFaultFound => "no fault found",
        Verdict::WorkNeeded => "work needed",
        Verdict::DoNotFly => "do not fly",
        Verdict::Unproven => "unproven",
    }
}

/// What the verdict means for the builder.
pub fn verdict_meaning(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NoFaultFound => "Nothing beyond the limits was found.",
        Verdict::WorkNeeded => "Put it right and measure again before going further.",
        Verdict::DoNotFly => "Put it right and measure again before any flight is thought of.",
        Verdict::Unproven => {
            "Something that must be judged could not be judged: the findings below say what, why, and what it takes."
        }
    }
}

/// What the mark of a finding means.
pub fn meaning(finding: &Finding) -> &'static str {
    match finding.level {
        _ if finding.kind == Kind::Unproven => "this could not be judged",
        Level::Watch => "keep an eye on it",
        Level::Work => "put it right",
        Level::Stop => "stop until it is put right",
    }
}

/// A finding in a few words, with its place: for an overview, and for its flag in a picture.
pub fn label(checked: &Checked<'_>, finding: &Finding) -> String {
    let at = finding
        .at_deg
        .filter(|deg| deg.is_finite())
        .map_or(String::new(), |deg| {
            format!(" at {}", Unit::Degree.place(deg))
        });
    let words = match finding.kind {
        Kind::ThrowShort => {
            return match short_throw(checked, finding) {
                Some(throw) => format!("throw \u{201c}{}\u{201d} short", throw.name),
                None => format!("throw short{at}"),
            };
        }
        // Without a place it is no load that was measured: the rig gave up.
        Kind::HighLoad if at.is_empty() => "rig disarmed itself",
        Kind::Stiffening => "stiffening",
        Kind::TightSpot => "tight spot",
        Kind::HighFriction => "high friction",
        Kind::HighLoad => "high load",
        Kind::Slop => "slop",
        Kind::PairDifference => "unlike its pair",
        Kind::StickSlip => "jerky motion",
        Kind::HoldCurrent => "holding current",
        Kind::ServoFight => "servos fight",
        Kind::SlowServo => "slow servo",
        Kind::Centring => "servo's centring",
        Kind::DeadBand => "dead band",
        Kind::Jitter => "trembling servo",
        Kind::Overshoot => "overshoot",
        Kind::BadData => "data in doubt",
        Kind::Unproven => "unproven",
    };
    format!("{words}{at}")
}

/// That the run is unfinished, then the labels of all findings, worst first; those that are alike once, with their number.
pub fn labels(checked: &Checked<'_>) -> Vec<String> {
    let mut counted: Vec<(String, usize)> = Vec::new();
    if checked.recording.unfinished.is_some() {
        counted.push((UNFINISHED.to_owned(), 1));
    }
    for finding in &checked.judged.findings {
        let text = label(checked, finding);
        match counted.iter_mut().find(|(known, _)| *known == text) {
            Some((_, count)) => *count += 1,
            None => counted.push((text, 1)),
        }
    }
    let said = |(text, count)| match count {
        1 => text,
        n => format!("{text} ({n})"),
    };
    counted.into_iter().map(said).collect()
}

/// Verdict and labels in one line.
pub fn at_a_glance(checked: &Checked<'_>) -> String {
    let verdict = verdict_words(checked.judged.verdict);
    match labels(checked) {
        labels if labels.is_empty() => verdict.to_owned(),
        labels => format!("{verdict}: {}", labels.join("; ")),
    }
}

/// The throw that this finding is about.
fn short_throw<'c>(checked: &'c Checked<'_>, finding: &Finding) -> Option<&'c ThrowResult> {
    let mut short = checked.measured.throws.iter().filter(|throw| {
        finding_of_throw(checked, throw).is_some_and(|its| std::ptr::eq(its, finding))
    });
    short.next()
}

/// The finding that this throw falls short. Throws on one side may end at one place: the name in the finding's
/// sentence tells them apart.
pub fn finding_of_throw<'c>(checked: &'c Checked<'_>, throw: &ThrowResult) -> Option<&'c Finding> {
    let quoted = format!("\"{}\"", throw.name);
    let reached = throw.reached_deg.as_ref()?.value * throw.side.sign();
    checked.judged.findings.iter().find(|finding| {
        finding.kind == Kind::ThrowShort
            && throw.state == ThrowState::Short
            && finding
                .at_deg
                .is_some_and(|deg| (deg - reached).abs() < 0.1)
            && finding.text(TorqueUnit::NewtonCentimetre).contains(&quoted)
    })
}

/// The finding of this kind at this place, if the rules made one of it.
pub fn finding_at<'c>(checked: &'c Checked<'_>, kind: Kind, at_deg: f64) -> Option<&'c Finding> {
    checked.judged.findings.iter().find(|finding| {
        finding.kind == kind
            && finding
                .at_deg
                .is_some_and(|deg| (deg - at_deg).abs() < 1e-6)
    })
}

/// When the recording began; `None` where it does not say so in RFC 3339.
pub fn started(checked: &Checked<'_>) -> Option<jiff::Timestamp> {
    let mut last_first = checked.recording.keys.iter().rev();
    let (_, at) = last_first.find(|(key, _)| key == "started")?;
    at.parse().ok()
}

/// The name of a file without its folders.
pub fn file_name(path: &str) -> &str {
    path.rsplit('/')
        .next()
        .filter(|name| !name.is_empty())
        .unwrap_or(path)
}

/// A quantity as a row of a table.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Row {
    pub name: String,
    pub value: String,
    /// False where the value could not be measured.
    pub known: bool,
    /// Belongs to the row before it.
    pub sub: bool,
}

/// A throw as a row of a table.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct ThrowRow {
    pub name: String,
    pub asked: String,
    pub reached: String,
    /// `met`, `short` or `unproven`, with the cause in words; `reached` and how far where it was swept beyond what is asked.
    pub state: String,
    pub state_word: &'static str,
}

/// Said beside a quantity that has none; why is told once, in [`super::small_print::shared_print`].
pub const NO_INTERVAL: &str = "(no interval)";

/// Value with its 95 % interval; says so where there is none.
pub fn quantity(quantity: &Quantity, unit: Unit) -> String {
    match quantity.interval {
        Some(interval) => unit.with_interval(quantity.value, interval.lo95, interval.hi95),
        None => format!("{} {NO_INTERVAL}", unit.plain(quantity.value)),
    }
}

fn sub_row(name: impl Into<String>, q: Option<&Quantity>, unit: Unit) -> Row {
    Row {
        sub: true,
        ..row(name, q, unit)
    }
}

fn row(name: impl Into<String>, q: Option<&Quantity>, unit: Unit) -> Row {
    match q.filter(|q| q.value.is_finite()) {
        Some(q) => Row {
            name: name.into(),
            value: quantity(q, unit),
            known: true,
            sub: false,
        },
        None => Row {
            name: name.into(),
            value: NOT_MEASURED.into(),
            known: false,
            sub: false,
        },
    }
}

/// All quantities of a recording, in the order in which a builder asks for them.
pub fn quantity_rows(checked: &Checked<'_>, unit: TorqueUnit) -> Vec<Row> {
    let (torque, stiffness) = (Unit::Torque(unit), Unit::Stiffness(unit));
    let curve = checked.measured.curve.as_ref();
    let mut rows = vec![
        row(
            "stiffness",
            curve.map(|c| &c.stiffness_ncm_per_deg),
            stiffness,
        ),
        row("friction", curve.map(|c| &c.friction_ncm), torque),
        row(
            "torque at neutral",
            curve.map(|c| &c.neutral_torque_ncm),
            torque,
        ),
    ];
    if let Some(curve) = curve {
        for knee in &curve.knees {
            let side = side_word(checked, knee.up_side);
            rows.push(row(
                format!("knee, {side} side, at"),
                Some(&knee.at_deg),
                Unit::Degree,
            ));
            rows.push(sub_row(
                "stiffness beyond it",
                Some(&knee.stiffness_beyond_ncm_per_deg),
                stiffness,
            ));
        }
        for spot in &curve.tight_spots {
            let name = format!("tight spot, {}, at", when_words(checked, spot.when));
            rows.push(row(name, Some(&spot.at_deg), Unit::Degree));
            let name = format!(
                "height, {} to {}",
                Unit::Degree.place(spot.from_deg),
                Unit::Degree.place(spot.to_deg)
            );
            rows.push(sub_row(name, Some(&spot.height_ncm), torque));
        }
    }
    rows.extend(load_rows(checked, torque));
    if let Some(jerks) = checked
        .measured
        .jerks
        .filter(|jerks| jerks.stops_per_stroke >= 1.0 && jerks.standing_share.is_finite())
    {
        let name = format!("jerky motion about {}", Unit::Degree.place(jerks.at_deg));
        let value = format!(
            "steps of {}, standing still {} of the time",
            Unit::Degree.plain(jerks.step_deg),
            Unit::Share.plain(jerks.standing_share)
        );
        rows.push(Row {
            name,
            value,
            known: true,
            sub: false,
        });
    }
    rows.push(row(
        "slop",
        checked.measured.slop_deg.as_ref(),
        Unit::Degree,
    ));
    rows.push(row(
        "resistance of the lead",
        checked.measured.lead_mohm.as_ref(),
        Unit::Milliohm,
    ));
    rows
}

fn load_rows(checked: &Checked<'_>, torque: Unit) -> Vec<Row> {
    let load = &checked.measured.load;
    let at = load.peak_at_deg.map_or(String::new(), |deg| {
        format!(", at {}", Unit::Degree.place(deg))
    });
    let volts = load
        .voltage_v
        .map_or(String::new(), |v| format!(" at {}", Unit::Volt.plain(v)));
    let mut rows = vec![
        row(
            format!("highest torque{at}"),
            load.peak_torque_ncm.as_ref(),
            torque,
        ),
        sub_row(
            format!("share of stall{volts}"),
            load.share_of_stall.as_ref(),
            Unit::Share,
        ),
    ];
    if let Some(share) = load.friction_share_of_stall.filter(|s| s.is_finite()) {
        let value = Unit::Share.plain(share);
        rows.push(Row {
            name: "friction, share of stall".into(),
            value,
            known: true,
            sub: false,
        });
    }
    for hold in load
        .hold_current_ma
        .iter()
        .filter(|hold| hold.ma.is_finite())
    {
        let name = format!("holding current at {}", Unit::Degree.place(hold.at_deg));
        rows.push(Row {
            name,
            value: Unit::Milliampere.plain(hold.ma),
            known: true,
            sub: false,
        });
    }
    rows
}

/// The throws asked and reached.
pub fn throw_rows(checked: &Checked<'_>) -> Vec<ThrowRow> {
    checked.measured.throws.iter().map(throw_row).collect()
}

/// How far the surface was swept, mm, where that is beyond a throw asked and its tolerance: shown is that it can be reached, not
/// where the radio's setting ends.
pub fn swept_beyond(throw: &ThrowResult) -> Option<f64> {
    let most_mm = throw.asked_mm + throw.tolerance_mm;
    let reached = throw.reached_mm.as_ref()?.value;
    (throw.state == ThrowState::Met && reached > most_mm).then_some(reached)
}

fn throw_row(throw: &ThrowResult) -> ThrowRow {
    let side = throw.side.word();
    let name = if throw.name == side {
        side.to_string()
    } else {
        format!("{} ({side})", throw.name)
    };
    let reached = match (&throw.reached_mm, &throw.reached_deg) {
        (Some(mm), Some(deg)) if mm.interval.is_none() && deg.interval.is_none() => format!(
            "{}, {} {NO_INTERVAL}",
            Unit::Millimetre.plain(mm.value),
            Unit::Degree.plain(deg.value)
        ),
        (Some(mm), Some(deg)) => format!(
            "{}, {}",
            quantity(mm, Unit::Millimetre),
            quantity(deg, Unit::Degree)
        ),
        (Some(mm), None) => quantity(mm, Unit::Millimetre),
        (None, Some(deg)) => quantity(deg, Unit::Degree),
        (None, None) => NOT_MEASURED.into(),
    };
    let swept_beyond = swept_beyond(throw).map(|mm| Unit::Millimetre.place(mm));
    let state_word = match throw.state {
        ThrowState::Met => "met",
        ThrowState::Short => "short",
        ThrowState::Unproven => "unproven",
    };
    let cause = match throw.cause {
        Some(ShortCause::EndOfCommand) => ", end of the command",
        Some(ShortCause::Stalled) => ", the servo stalled",
        Some(ShortCause::StoppedByLimit) => ", a limit stopped it",
        None => "",
    };
    ThrowRow {
        name,
        asked: format!(
            "{} ± {}, {}",
            Unit::Millimetre
                .given(throw.asked_mm)
                .trim_end_matches(" mm"),
            Unit::Millimetre.given(throw.tolerance_mm),
            Unit::Degree.place(throw.asked_deg)
        ),
        reached,
        state: match swept_beyond {
            Some(mm) => format!("reached (swept to {mm})"),
            None => format!("{state_word}{cause}"),
        },
        state_word,
    }
}

/// `up` and `down`, or `left` and `right` where the surface's own throws say so.
pub fn side_word(checked: &Checked<'_>, positive: bool) -> &'static str {
    checked.surface.side_word(positive)
}

pub fn when_words(checked: &Checked<'_>, when: When) -> String {
    match when {
        When::Up => format!("moving {}", side_word(checked, true)),
        When::Down => format!("moving {}", side_word(checked, false)),
        When::Both => "both ways".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn a_label_is_short_and_names_the_place_or_the_throw() {
        let aircraft = fixture::aircraft();
        assert_eq!(
            labels(&fixture::knee(&aircraft)),
            [
                "stiffening at 16.2°",
                "tight spot at −8.0°",
                "data in doubt"
            ]
        );
        assert_eq!(
            labels(&fixture::short(&aircraft)),
            ["throw “landing” short"]
        );
    }

    #[test]
    fn jerky_motion_is_a_row_only_where_there_were_stops() {
        let aircraft = fixture::aircraft();
        let mut checked = fixture::crowded(&aircraft);
        let jerky = |checked: &Checked<'_>| {
            let rows = quantity_rows(checked, TorqueUnit::NewtonCentimetre);
            rows.iter().any(|row| row.name.starts_with("jerky"))
        };
        assert!(jerky(&checked));
        checked.measured.jerks = checked.measured.jerks.map(|mut jerks| {
            jerks.stops_per_stroke = 0.0;
            jerks
        });
        assert!(!jerky(&checked));
    }

    #[test]
    fn a_missing_interval_is_said_once_a_throw() {
        let aircraft = fixture::aircraft();
        let mut checked = fixture::short(&aircraft);
        for throw in &mut checked.measured.throws {
            throw.reached_mm.iter_mut().for_each(|q| q.interval = None);
            throw.reached_deg.iter_mut().for_each(|q| q.interval = None);
        }
        for row in throw_rows(&checked) {
            assert_eq!(
                row.reached.matches(NO_INTERVAL).count(),
                1,
                "{}",
                row.reached
            );
        }
    }
}
