//! The tables of what several recordings say together: working in, fixes, the season, what was done, the servos.

use jiff::Timestamp;

use super::Table;
use super::columns::Columns;
use super::state::recording;
use crate::analysis::Quantity;
use crate::history::compare::Change;
use crate::history::decay::Decay;
use crate::history::season::{Chart, Crossing, Kind, Per, Record, RecordPoint, Subject, advice};
use crate::history::settling::{Batch, State};
use crate::report::book::{Book, Chapter, Done, Fix, ServoRecord, WorkedIn};
use crate::report::prove::{self, Proved};
use crate::units::TorqueUnit;

pub fn tables(book: &Book<'_>) -> Vec<Table> {
    vec![
        break_in(book),
        settling(book),
        fixes(book),
        changes(book),
        record(book),
        record_points(book),
        done(book),
        servos(book),
    ]
}

/// A row with the surface that it is of.
struct Of<'b, T> {
    surface: &'b str,
    item: T,
}

fn each<'b, T>(book: &'b Book<'b>, items: impl Fn(&'b Chapter<'b>) -> Vec<T>) -> Vec<Of<'b, T>> {
    let rows = book.surfaces.iter().flat_map(|chapter| {
        let surface = chapter.surface.name.as_str();
        let of = move |item| Of { surface, item };
        items(chapter).into_iter().map(of)
    });
    rows.collect()
}

fn of_surface<'c, 'b, T>() -> Columns<'c, Of<'b, T>> {
    Columns::new().text("surface", |row: &Of<'b, T>| Some(row.surface))
}

fn break_in(book: &Book<'_>) -> Table {
    let rows = each(book, |c| {
        let batches = c.worked_in.as_ref().map_or(&[][..], |w| &w.batches);
        batches.iter().enumerate().collect()
    });
    of_surface::<(usize, &Batch)>()
        .count("batch", |r| Some(r.item.0 as u64 + 1))
        .text("what", |r| {
            Some(match (r.item.1.recheck, r.item.1.stage_deg) {
                (true, _) => "recheck",
                (false, Some(_)) => "worked",
                (false, None) => "worked-by-hand",
            })
        })
        .number("stage_deg", |r| r.item.1.stage_deg)
        .number("cycles_before", |r| Some(r.item.1.cycles_before))
        .number("cycles", |r| Some(r.item.1.cycles))
        .time("started", |r| r.item.1.started)
        .number("air_c", |r| r.item.1.air_c)
        .quantity("stiffness_ncm_per_deg", |r| r.item.1.stiffness_ncm_per_deg)
        .quantity("friction_ncm", |r| r.item.1.friction_ncm)
        .quantity("knee_up_at_deg", |r| r.item.1.knees_deg[0])
        .quantity("knee_down_at_deg", |r| r.item.1.knees_deg[1])
        .table("break_in.csv", rows.iter())
}

/// The decay fitted to a quantity over the last stage, and how the hinge stands.
struct Settling<'b> {
    worked: &'b WorkedIn,
    quantity: &'static str,
    unit: &'static str,
    decay: Option<&'b Decay>,
}

fn settling(book: &Book<'_>) -> Table {
    let rows = each(book, |c| {
        let of = |worked| {
            let row = |quantity, unit, decay| Settling {
                worked,
                quantity,
                unit,
                decay,
            };
            let (stiffness, friction) = (&worked.standing.stiffness, &worked.standing.friction);
            [
                row("stiffness_ncm_per_deg", "N·cm/deg", stiffness.as_ref()),
                row("friction_ncm", "N·cm", friction.as_ref()),
            ]
        };
        c.worked_in.as_ref().map_or(Vec::new(), |w| of(w).into())
    });
    of_surface::<Settling<'_>>()
        .text("state", |r| {
            Some(match r.item.worked.standing.state {
                State::TooFew => "too-few",
                State::Softening => "softening",
                State::TooCoarse => "too-coarse",
                State::Stiffer => "stiffer",
                State::Settled => "settled",
                State::Confirmed => "confirmed",
                State::CameBack => "came-back",
            })
        })
        .text("quantity", |r| Some(r.item.quantity))
        .text("unit", |r| Some(r.item.unit))
        .quantity("settled", |r| r.item.decay.map(|d| d.settled))
        .number("first", |r| r.item.decay.map(|d| d.first))
        .number("first_cycles", |r| r.item.decay.map(|d| d.first_cycles))
        .number("settles_in_cycles", |r| r.item.decay.map(|d| d.settles_in))
        .number("strain", |r| r.item.decay.map(|d| d.strain))
        .number("more_cycles", |r| r.item.decay.map(|d| d.forecast.cycles))
        .number("more_cycles_lo95", |r| {
            r.item.decay.map(|d| d.forecast.lo95)
        })
        .number("more_cycles_hi95", |r| r.item.decay?.forecast.hi95)
        .table("settling.csv", rows.iter())
}

fn proved<'f>(fix: &'f Fix<'f>) -> Proved<'f> {
    Proved {
        before: &fix.before,
        after: &fix.after,
        proof: &fix.proof,
    }
}

fn fixes(book: &Book<'_>) -> Table {
    let rows = each(book, |c| c.fixes.iter().collect());
    of_surface::<&Fix<'_>>()
        .text("what", |r| Some(&r.item.what))
        .text("before", |r| Some(recording(&r.item.before)))
        .text("after", |r| Some(recording(&r.item.after)))
        .text("outcome", |r| {
            Some(prove::json::outcome_word(r.item.proof.outcome))
        })
        .text("not_compared", |r| {
            let left_out = r.item.proof.left_out.iter();
            let names: Vec<String> = left_out.map(|w| prove::name(&r.item.after, *w)).collect();
            Some(names.join("; "))
        })
        .text("cautions", |r| {
            let cautions = r.item.proof.cautions.iter();
            Some(cautions.map(prove::caution).collect::<Vec<_>>().join(" "))
        })
        .table("fixes.csv", rows.iter())
}

fn changes<'b>(book: &'b Book<'b>) -> Table {
    let rows = each(book, |c| {
        let of = |fix: &'b Fix<'b>| {
            let changes = fix.proof.changes.iter();
            changes.map(move |change| (fix, change))
        };
        c.fixes.iter().flat_map(of).collect()
    });
    let key = |(fix, change): (&Fix<'_>, &Change)| prove::json::key(&proved(fix), change.what);
    of_surface::<(&Fix<'_>, &Change)>()
        .text("what", |r| Some(&r.item.0.what))
        .text("before", |r| Some(recording(&r.item.0.before)))
        .text("after", |r| Some(recording(&r.item.0.after)))
        .text("quantity", move |r| Some(key(r.item).0))
        .text("which", move |r| key(r.item).1)
        .text("unit", |r| {
            let unit = prove::unit_of(r.item.1.what, TorqueUnit::NewtonCentimetre);
            Some(unit_word(unit))
        })
        .quantity("before_value", |r| r.item.1.before)
        .quantity("after_value", |r| r.item.1.after)
        .quantity("change", |r| Some(r.item.1.change))
        .text("bound", |r| r.item.1.at_least.then_some("at-least"))
        .number("repeats_sd", |r| Some(r.item.1.spread?.0.sd))
        .number("smallest_change_seen", |r| Some(r.item.1.smallest_seen))
        .number("p", |r| Some(r.item.1.p))
        .number("p_of_all", |r| Some(r.item.1.p_of_all))
        .text("verdict", |r| {
            Some(prove::json::verdict_word(r.item.1.verdict))
        })
        .table("changes.csv", rows.iter())
}

/// A unit in a column of its own; shares are of one here.
fn unit_word(unit: crate::units::Unit) -> String {
    use crate::units::Unit;
    match unit {
        Unit::Degree => "deg".into(),
        Unit::Share => "1".into(),
        // As column names have it.
        other => other.suffix().trim().replace("/°", "/deg"),
    }
}

/// One quantity of one surface or servo.
type Followed<'b> = (&'b Subject, &'b Record);

fn followed<'b>(book: &'b Book<'b>) -> Vec<Followed<'b>> {
    let surfaces = book.surfaces.iter().filter_map(|c| c.record.as_ref());
    let servos = book.servos.iter().filter_map(|s| s.record.as_ref());
    let subjects = surfaces.chain(servos);
    subjects
        .flat_map(|subject| subject.quantities.iter().map(move |q| (subject, q)))
        .collect()
}

/// Columns that begin with whose quantity it is.
fn of_subject<'c, T>(of: impl Fn(&T) -> Followed<'_> + Copy + 'c) -> Columns<'c, T> {
    Columns::new()
        .text("kind", move |row: &T| {
            Some(match of(row).0.kind {
                Kind::Surface => "surface",
                Kind::Servo => "servo",
            })
        })
        .text("name", move |row| Some(of(row).0.name.clone()))
        .text("quantity", move |row| Some(of(row).1.measure.column()))
        .text("unit", move |row| {
            let unit = of(row).1.measure.unit(TorqueUnit::NewtonCentimetre);
            Some(unit_word(unit))
        })
}

fn record(book: &Book<'_>) -> Table {
    let rows = followed(book);
    let columns = of_subject::<Followed<'_>>(|row| *row)
        .text("with", |r| Some(r.0.with.join("; ")))
        .text("level", |r| Some(r.1.said()))
        .flag("repeat", |r| Some(r.1.health.repeat))
        .count("recordings", |r| Some(r.1.count as u64))
        .number("median", |r| Some(r.1.median))
        .quantity("latest", |r| Some(r.1.latest))
        .time("latest_at", |r| Some(r.1.latest_at))
        .text("latest_recording", |r| Some(r.1.latest_id.clone()))
        .time("since", |r| r.1.since.as_ref().map(|s| s.0))
        .text("since_what", |r| r.1.since.as_ref().map(|s| s.1.clone()))
        .count("in_baseline", |r| Some(r.1.health.recordings as u64))
        .count("set_aside", |r| Some(r.1.health.set_aside.len() as u64))
        .number("baseline", |r| r.1.health.baseline)
        .number("sigma", |r| r.1.health.sigma);
    charted(columns, &book.logbook).table("record.csv", rows.iter())
}

/// Chart, trend, limit and crossing.
fn charted<'c>(columns: Columns<'c, Followed<'c>>, logbook: &'c str) -> Columns<'c, Followed<'c>> {
    columns
        .text("chart", |r| {
            Some(match r.1.health.chart {
                Chart::TooFew(_) => "too-few",
                Chart::Within => "within",
                Chart::Below => "below",
                Chart::Above => "above",
            })
        })
        .number("chart_average", |r| r.1.health.average.map(|a| a.average))
        .number("chart_lower", |r| r.1.health.average.map(|a| a.lower))
        .number("chart_upper", |r| r.1.health.average.map(|a| a.upper))
        .number("step", |r| Some(f64::from(r.1.health.step)))
        .text("trend_per", |r| {
            r.1.health.trend.map(|t| match t.per {
                Per::ThirtyDays => "30 days",
                Per::Recording => "recording",
            })
        })
        .number("trend", |r| r.1.health.trend.map(|t| t.slope))
        .number("trend_lo95", |r| Some(r.1.health.trend?.interval?.0))
        .number("trend_hi95", |r| Some(r.1.health.trend?.interval?.1))
        .number("trend_p", |r| r.1.health.trend?.p)
        .number("limit_lower", |r| r.1.bounds.lower)
        .number("limit_upper", |r| r.1.bounds.upper)
        .text("crossing", |r| {
            Some(match r.1.health.crossing {
                Crossing::NoLimit => "no-limit",
                Crossing::NotForeseeable => "not-foreseeable",
                Crossing::Passed => "passed",
                Crossing::In { .. } => "foreseen",
            })
        })
        .text("crossing_counted_in", |r| match r.1.health.crossing {
            Crossing::In { per, .. } => Some(match per {
                Per::ThirtyDays => "days",
                Per::Recording => "recordings",
            }),
            _ => None,
        })
        .number("crossing_soonest", |r| crossing(r.1)[0])
        .number("crossing_expected", |r| crossing(r.1)[1])
        .number("crossing_latest", |r| crossing(r.1)[2])
        .text("advice", move |r| {
            advice(r.1, logbook).map(|a| a.to_string())
        })
}

/// Soonest, expected, latest, counted from the latest recording that is believed.
fn crossing(record: &Record) -> [Option<f64>; 3] {
    match record.health.crossing {
        Crossing::In {
            soonest,
            expected,
            latest,
            ..
        } => [Some(soonest), Some(expected), latest],
        _ => [None; 3],
    }
}

/// A recording's part in a record, with its place in it.
struct Point<'b> {
    of: Followed<'b>,
    index: usize,
    point: &'b RecordPoint,
}

fn record_points(book: &Book<'_>) -> Table {
    let rows: Vec<Point<'_>> = followed(book)
        .into_iter()
        .flat_map(|of| {
            let points = of.1.points.iter().enumerate();
            points.map(move |(index, point)| Point { of, index, point })
        })
        .collect();
    let in_force = |p: &Point<'_>| p.index.checked_sub(p.of.1.in_force_from);
    of_subject::<Point<'_>>(|p| p.of)
        .time("at", |p| Some::<Timestamp>(p.point.at))
        .text("recording", |p| Some(p.point.id.clone()))
        .value(|p| Some::<Quantity>(p.point.quantity))
        .flag("in_force", move |p| Some(in_force(p).is_some()))
        .flag("set_aside", move |p| {
            let aside = &p.of.1.health.set_aside;
            Some(in_force(p).is_some_and(|i| aside.contains(&i)))
        })
        .table("record_points.csv", rows.iter())
}

/// Each note once, in the order of time: one of a servo stands with the servo and with the surface that it sits in.
fn done(book: &Book<'_>) -> Table {
    let of_surfaces = book.surfaces.iter().flat_map(|c| &c.done);
    let of_servos = book.servos.iter().flat_map(|s| &s.done);
    let mut rows: Vec<&Done> = of_surfaces.chain(of_servos).collect();
    rows.sort_by_key(|d| (d.at, &d.subject, d.kind, &d.text));
    rows.dedup();
    Columns::new()
        .time("at", |d: &&Done| Some(d.at))
        .text("subject", |d| Some(&d.subject))
        .text("kind", |d| Some(d.kind))
        .text("text", |d| Some(&d.text))
        .table("done.csv", rows.iter())
}

fn servos(book: &Book<'_>) -> Table {
    let recordings = |s: &ServoRecord| s.record.as_ref().map(|r| r.recordings as u64);
    Columns::new()
        .text("servo", |s: &ServoRecord| Some(s.tag.clone()))
        .flag("in_aircraft_file", |s| Some(s.model.is_some()))
        .text("model", |s| s.model.clone())
        .text("surfaces", |s| Some(s.surfaces.join("; ")))
        .count("recordings", move |s| recordings(s))
        .text("season_level", |s| Some(s.record.as_ref()?.said()))
        .count("done", |s| Some(s.done.len() as u64))
        .table("servos.csv", book.servos.iter())
}
