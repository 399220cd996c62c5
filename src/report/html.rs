//! The report as one HTML file: style and pictures inside, nothing fetched from anywhere, every text from a file
//! escaped. The page is in `page.html`, its looks in `page.css`; what it shares with
//! [`super::aircraft_page`] is in `parts.html`.

use minijinja::Environment;
use minijinja::value::Serde;
use serde::Serialize;

use super::Checked;
use super::plot::{self, Axes};
use super::small_print::{shared_print, small_print};
use super::view::{self, Row, ThrowRow};
use crate::analysis::TorqueSource;
use crate::problem::Problem;
use crate::units::TorqueUnit;
use crate::verdict::{Finding, Kind};

/// The whole page.
///
/// # Errors
/// When the page's own template is at fault; no input makes it so.
pub fn page(all: &[Checked<'_>], unit: TorqueUnit) -> Result<String, Problem> {
    let beside: Vec<&Checked<'_>> = all.iter().collect();
    let surfaces: Vec<SurfaceOut> = all
        .iter()
        .enumerate()
        .map(|(i, checked)| SurfaceOut::of(i + 1, checked, &beside, unit))
        .collect();
    let mut aircraft: Vec<&str> = all
        .iter()
        .map(|checked| checked.aircraft.name.as_str())
        .collect();
    aircraft.sort_unstable();
    aircraft.dedup();
    let template = concat!(include_str!("parts.html"), include_str!("page.html"));
    let page = PageOut {
        aircraft: aircraft.join(", "),
        style: include_str!("page.css"),
        surfaces,
        shared: shared_print(all.iter().map(|c| &c.aircraft.limits), unit),
        cautions: cautions(),
        standing: view::STANDING_CAUTION,
        version: env!("CARGO_PKG_VERSION"),
    };
    render(template, page)
}

/// A template filled.
///
/// # Errors
/// When the template is at fault; no input makes it so.
pub(super) fn render(template: &'static str, page: impl Serialize) -> Result<String, Problem> {
    let filled = || {
        let mut environment = Environment::new();
        // The name ends in .html: every text is escaped unless the template says that it is safe.
        environment.add_template("page.html", template)?;
        environment.get_template("page.html")?.render(Serde(page))
    };
    // The parts leave empty lines before the page begins.
    filled()
        .map(|html: String| html.trim_start().to_owned())
        .map_err(|e: minijinja::Error| {
            Problem::new(format!("the report's page could not be made: {e:#}"))
        })
}

pub(super) fn cautions() -> Vec<Caution> {
    let all = view::CAUTIONS.iter();
    all.map(|&(head, text)| Caution { head, text }).collect()
}

#[derive(Serialize)]
struct PageOut {
    aircraft: String,
    style: &'static str,
    surfaces: Vec<SurfaceOut>,
    /// What holds for all of them, small.
    shared: Vec<String>,
    cautions: Vec<Caution>,
    standing: &'static str,
    version: &'static str,
}

#[derive(Serialize)]
pub(super) struct Caution {
    head: &'static str,
    text: &'static str,
}

#[derive(Serialize)]
struct FindingOut {
    level: &'static str,
    meaning: &'static str,
    text: String,
}

impl FindingOut {
    fn of(finding: &Finding, unit: TorqueUnit) -> Self {
        Self {
            level: finding.mark(),
            meaning: view::meaning(finding),
            text: finding.text(unit),
        }
    }
}

/// A picture and the findings that can be seen in it.
#[derive(Serialize)]
struct Picture {
    heading: &'static str,
    svg: String,
    caption: String,
    findings: Vec<FindingOut>,
}

#[derive(Serialize)]
pub(super) struct SurfaceOut {
    id: usize,
    surface: String,
    aircraft: String,
    servo: String,
    file: String,
    verdict: &'static str,
    verdict_words: &'static str,
    verdict_meaning: &'static str,
    /// Findings in a few words each.
    labels: Vec<String>,
    file_name: String,
    /// Without a picture of their own.
    findings: Vec<FindingOut>,
    pictures: Vec<Picture>,
    quantities: Vec<Row>,
    throws: Vec<ThrowRow>,
    /// Of two servos on the surface.
    servos: Vec<String>,
    small_print: Vec<String>,
    keys: Vec<(String, String)>,
}

/// Where a finding can be seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Seen {
    Curve,
    Traces,
    Nowhere,
}

fn seen(kind: Kind) -> Seen {
    match kind {
        Kind::Stiffening | Kind::TightSpot | Kind::HighFriction | Kind::ThrowShort => Seen::Curve,
        Kind::HighLoad | Kind::Slop | Kind::PairDifference => Seen::Curve,
        Kind::StickSlip
        | Kind::HoldCurrent
        | Kind::ServoFight
        | Kind::SlowServo
        | Kind::Centring
        | Kind::DeadBand
        | Kind::Jitter
        | Kind::Overshoot => Seen::Traces,
        Kind::BadData | Kind::Unproven => Seen::Nowhere,
    }
}

impl SurfaceOut {
    pub(super) fn of(
        id: usize,
        checked: &Checked<'_>,
        all: &[&Checked<'_>],
        unit: TorqueUnit,
    ) -> Self {
        let judged = &checked.judged;
        let findings = |place: Seen| -> Vec<FindingOut> {
            let there = judged.findings.iter().filter(|f| seen(f.kind) == place);
            there.map(|f| FindingOut::of(f, unit)).collect()
        };
        let servo = checked.aircraft.servos.get(checked.surface.servo_index);
        let mut keys = checked.recording.keys.clone();
        keys.retain(|(key, _)| key != "surface");
        SurfaceOut {
            id,
            surface: checked.recording.surface.clone(),
            aircraft: checked.aircraft.name.clone(),
            servo: servo.map_or(String::new(), |servo| servo.tag.clone()),
            file: checked.recording.file.clone(),
            verdict: judged.verdict.word(),
            verdict_words: view::verdict_words(judged.verdict),
            verdict_meaning: view::verdict_meaning(judged.verdict),
            labels: view::labels(checked),
            file_name: view::file_name(&checked.recording.file).into(),
            findings: findings(Seen::Nowhere),
            pictures: vec![
                Picture {
                    heading: "Torque against deflection",
                    svg: plot::curve_svg(checked, unit, Axes::shared(compared(checked, all))),
                    caption: curve_caption(checked, all),
                    findings: findings(Seen::Curve),
                },
                Picture {
                    heading: "Over time",
                    svg: plot::traces_svg(checked, unit),
                    caption: traces_caption(checked),
                    findings: findings(Seen::Traces),
                },
            ],
            quantities: view::quantity_rows(checked, unit)
                .into_iter()
                .map(unbroken_row)
                .collect(),
            throws: view::throw_rows(checked)
                .into_iter()
                .map(unbroken_throw)
                .collect(),
            servos: checked.servos.as_ref().map_or(Vec::new(), |share| {
                super::servos::lines(share, checked.held.as_ref(), unit)
            }),
            small_print: small_print(checked),
            keys,
        }
    }
}

/// A line of the page must not end between a number and its interval.
pub(super) fn unbroken(text: String) -> String {
    text.replace(" ± ", "\u{a0}±\u{a0}")
}

/// Lines may end between the parts of a list alone.
fn unbroken_parts(text: &str) -> String {
    let parts = text.split(", ").map(|part| part.replace(' ', "\u{a0}"));
    parts
        .collect::<Vec<_>>()
        .join(", ")
        .replace("\u{a0}(", " (")
}

fn unbroken_row(row: Row) -> Row {
    Row {
        value: unbroken(row.value),
        ..row
    }
}

fn unbroken_throw(row: ThrowRow) -> ThrowRow {
    ThrowRow {
        asked: unbroken_parts(&row.asked),
        reached: unbroken_parts(&row.reached),
        ..row
    }
}

/// The recordings that a reader will lay beside this one: of the same surface and of its pair.
fn compared<'a, 'b>(
    one: &Checked<'b>,
    all: &'a [&'a Checked<'b>],
) -> impl Iterator<Item = &'a Checked<'b>> {
    let name = one.surface.name.clone();
    let pair = one
        .surface
        .pair_index
        .and_then(|i| one.aircraft.surfaces.get(i))
        .map(|s| s.name.clone());
    let aircraft = one.aircraft.name.clone();
    all.iter().copied().filter(move |other| {
        let surface = &other.surface.name;
        other.aircraft.name == aircraft && (*surface == name || Some(surface) == pair.as_ref())
    })
}

fn curve_caption(checked: &Checked<'_>, all: &[&Checked<'_>]) -> String {
    let mut caption = String::new();
    if checked
        .measured
        .curve
        .as_ref()
        .is_some_and(|curve| !curve.not_observable.is_empty())
    {
        caption += "Hatched: there the supply power says nothing about torque; the dashed line is the fitted law alone. ";
    }
    let power = checked.measured.torque_from == TorqueSource::SupplyPower;
    if let Some(curve) = checked.measured.curve.as_ref().filter(|_| power) {
        caption += if curve.points.iter().any(|p| p.used) {
            "Light bars: two standard uncertainties to either side of single readings, wide where supply power tells little of torque. "
        } else {
            "No single reading of supply power stands far enough from idle to be drawn as a torque; the fit takes all of them together. "
        };
    }
    let curves = compared(checked, all)
        .filter(|other| other.measured.curve.is_some())
        .count();
    if checked.measured.curve.is_some() && curves > 1 {
        caption += "Drawn on the same axes as the other pictures of this surface and its pair.";
    }
    caption.trim_end().into()
}

fn traces_caption(checked: &Checked<'_>) -> String {
    let traces = &checked.measured.traces;
    // Before the rig is armed and after it is disarmed there is no pulse: no gap.
    let gap = |values: &[f64]| {
        let first = values.iter().position(|v| v.is_finite());
        let last = values.iter().rposition(|v| v.is_finite());
        first
            .zip(last)
            .is_some_and(|(a, b)| values[a..b].iter().any(|v| !v.is_finite()))
    };
    let any = [&traces.angle_deg, &traces.effort, &traces.pulse_us]
        .into_iter()
        .any(|values| gap(values));
    if any {
        "Gaps are where the rig gave no reading.".into()
    } else {
        String::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    const NCM: TorqueUnit = TorqueUnit::NewtonCentimetre;

    fn all(aircraft: &crate::aircraft::Aircraft) -> Vec<Checked<'_>> {
        vec![
            fixture::knee(aircraft),
            fixture::fault_free(aircraft),
            fixture::short(aircraft),
            fixture::nothing_measured(aircraft),
            fixture::crowded(aircraft),
        ]
    }

    #[test]
    fn the_page_fetches_nothing() {
        let aircraft = fixture::aircraft();
        let html = page(&all(&aircraft), NCM).unwrap();
        for reference in [
            "src=",
            "href=\"http",
            "url(",
            "@import",
            "<script",
            "<link",
            "<iframe",
        ] {
            assert!(!html.contains(reference), "{reference}");
        }
        // The only address is the name of SVG's own language.
        assert_eq!(
            html.matches("http").count(),
            html.matches("http://www.w3.org/2000/svg").count()
        );
    }

    #[test]
    fn names_from_files_are_escaped() {
        let aircraft = fixture::aircraft();
        let mut checked = fixture::knee(&aircraft);
        let evil = "<img src=x onerror=alert(1)>'\"&";
        checked.recording.file = evil.into();
        checked.recording.surface = evil.into();
        checked.recording.notes.push(evil.into());
        checked.recording.keys.push((evil.into(), evil.into()));
        checked.measured.throws[0].name = evil.into();
        checked.measured.traces.effort_label = evil.into();
        let html = page(&[checked], NCM).unwrap();
        assert!(!html.contains("<img") && html.contains("&lt;img"));
    }

    #[test]
    fn every_finding_verdict_and_caution_is_on_the_page() {
        let aircraft = fixture::aircraft();
        let all = all(&aircraft);
        let html = page(&all, NCM).unwrap();
        for checked in &all {
            assert!(html.contains(view::verdict_words(checked.judged.verdict)));
            for finding in &checked.judged.findings {
                let start: String = finding.text(NCM).chars().take(20).collect();
                let start = start.replace('"', "&quot;");
                assert!(html.contains(&start), "{start}");
            }
        }
        for (head, _) in view::CAUTIONS {
            assert!(html.contains(head));
        }
        assert!(html.contains(view::STANDING_CAUTION));
        assert_eq!(html.matches("<svg").count(), 2 * all.len());
    }

    #[test]
    fn no_recording_is_a_page_as_well() {
        assert!(page(&[], NCM).unwrap().contains("No recording"));
    }

    #[test]
    fn each_kind_of_finding_is_shown_once() {
        let aircraft = fixture::aircraft();
        let html = page(&[fixture::knee(&aircraft)], NCM).unwrap();
        assert_eq!(html.matches("has a tight spot at").count(), 1);
        assert_eq!(html.matches("3 samples were lost").count(), 1);
    }

    /// For whoever changes the page: look at it.
    #[test]
    fn the_page_can_be_written_for_the_eye() {
        let aircraft = fixture::aircraft();
        let html = page(&all(&aircraft), NCM).unwrap();
        if let Some(folder) = std::env::var_os("HINGEWRIGHT_PICTURES") {
            std::fs::create_dir_all(&folder).unwrap();
            std::fs::write(std::path::Path::new(&folder).join("page.html"), &html).unwrap();
        }
        assert!(html.trim_end().ends_with("</html>"));
    }
}
