//! The tables of how each surface is now, from its latest recording.

use super::Table;
use super::columns::Columns;
use crate::aircraft::Side;
use crate::analysis::{
    Curve, FitPoint, HoldCurrent, Quantity, ShortCause, ThrowResult, ThrowState, TorquePoint, When,
};
use crate::report::Checked;
use crate::report::book::{Book, Chapter};
use crate::units::TorqueUnit;
use crate::verdict::Finding;

pub fn tables(book: &Book<'_>) -> Vec<Table> {
    vec![
        surfaces(book),
        throws(book),
        findings(book),
        measured(book),
        curve(book),
        curve_points(book),
        holds(book),
    ]
}

/// The recording's ID: the name of its file without the ending.
pub fn recording(checked: &Checked<'_>) -> String {
    let file = std::path::Path::new(&checked.recording.file);
    file.file_stem().map_or_else(
        || checked.recording.file.clone(),
        |stem| stem.to_string_lossy().into_owned(),
    )
}

/// A row with the recording that it is of.
struct Of<'b, T> {
    checked: &'b Checked<'b>,
    item: T,
}

/// What each latest recording has of something.
fn each<'b, T>(book: &'b Book<'b>, items: impl Fn(&'b Checked<'b>) -> Vec<T>) -> Vec<Of<'b, T>> {
    let latest = book.surfaces.iter().filter_map(|c| c.latest.as_ref());
    latest
        .flat_map(|checked| {
            let of = |item| Of { checked, item };
            items(checked).into_iter().map(of)
        })
        .collect()
}

/// Columns that begin with the surface and the recording.
fn of_recording<'c, 'b, T>() -> Columns<'c, Of<'b, T>> {
    Columns::new()
        .text("surface", |row: &Of<'b, T>| Some(&row.checked.surface.name))
        .text("recording", |row| Some(recording(row.checked)))
}

fn surfaces(book: &Book<'_>) -> Table {
    type Row<'b> = Chapter<'b>;
    let worst = |c: &Row<'_>| -> Option<Finding> {
        let findings = &c.latest.as_ref()?.judged.findings;
        findings.first().cloned()
    };
    let key = |c: &Row<'_>, name: &str| -> Option<String> {
        let keys = &c.latest.as_ref()?.recording.keys;
        keys.iter().find(|(k, _)| k == name).map(|(_, v)| v.clone())
    };
    let throws = |c: &Row<'_>, state: ThrowState| -> Option<u64> {
        let throws = c.latest.as_ref()?.measured.throws.iter();
        Some(throws.filter(|t| t.state == state).count() as u64)
    };
    Columns::new()
        .text("surface", |c: &Row<'_>| Some(&c.surface.name))
        .text("servo", |c| {
            let servo = book.aircraft.servos.get(c.surface.servo_index);
            servo.map(|s| &s.tag)
        })
        .text("recording", |c| c.latest.as_ref().map(recording))
        .text("file", |c| Some(c.latest.as_ref()?.recording.file.clone()))
        // As the recording has it.
        .text("started", move |c| key(c, "started"))
        .text("unfinished", |c| {
            c.latest.as_ref()?.recording.unfinished.clone()
        })
        .text("verdict", |c| {
            Some(c.latest.as_ref()?.judged.verdict.word())
        })
        .count("findings", |c| {
            Some(c.latest.as_ref()?.judged.findings.len() as u64)
        })
        .text("worst_finding", move |c| worst(c).map(|f| f.kind.word()))
        .text("worst_level", move |c| worst(c).map(|f| f.level.word()))
        .quantity("share_of_stall", |c| {
            c.latest.as_ref()?.measured.load.share_of_stall
        })
        .count("throws_met", move |c| throws(c, ThrowState::Met))
        .count("throws_short", move |c| throws(c, ThrowState::Short))
        .count("throws_unproven", move |c| throws(c, ThrowState::Unproven))
        .text("torque_from", |c| {
            Some(c.latest.as_ref()?.measured.torque_from.word())
        })
        .count("strokes_up", |c| {
            Some(c.latest.as_ref()?.measured.strokes.up as u64)
        })
        .count("strokes_down", |c| {
            Some(c.latest.as_ref()?.measured.strokes.down as u64)
        })
        .count("strokes_left_out", |c| {
            Some(c.latest.as_ref()?.measured.strokes.left_out as u64)
        })
        .count("samples", |c| Some(c.latest.as_ref()?.recording.samples))
        .count("samples_lost", |c| Some(c.latest.as_ref()?.recording.lost))
        .count("damaged_lines", |c| {
            Some(c.latest.as_ref()?.recording.damaged_lines)
        })
        .count("restarts", |c| Some(c.latest.as_ref()?.recording.restarts))
        .number("span_s", |c| Some(c.latest.as_ref()?.recording.span_s))
        .number("rate_hz", |c| Some(c.latest.as_ref()?.recording.rate_hz))
        .count("break_in_batches", |c| {
            Some(c.worked_in.as_ref()?.batches.len() as u64)
        })
        .count("fixes", |c| Some(c.fixes.len() as u64))
        .text("season_level", |c| Some(c.record.as_ref()?.said()))
        .table("surfaces.csv", book.surfaces.iter())
}

fn throws(book: &Book<'_>) -> Table {
    let rows = each(book, |c| c.measured.throws.iter().collect());
    of_recording::<&ThrowResult>()
        .text("throw", |r| Some(&r.item.name))
        .text("side", |r| {
            Some(match r.item.side {
                Side::Up => "up",
                Side::Down => "down",
                Side::Left => "left",
                Side::Right => "right",
            })
        })
        .number("asked_mm", |r| Some(r.item.asked_mm))
        .number("asked_deg", |r| Some(r.item.asked_deg))
        .number("tolerance_mm", |r| Some(r.item.tolerance_mm))
        .quantity("reached_mm", |r| r.item.reached_mm)
        .quantity("reached_deg", |r| r.item.reached_deg)
        .text("state", |r| {
            Some(match r.item.state {
                ThrowState::Met => "met",
                ThrowState::Short => "short",
                ThrowState::Unproven => "unproven",
            })
        })
        .text("cause", |r| {
            r.item.cause.map(|cause| match cause {
                ShortCause::EndOfCommand => "end-of-command",
                ShortCause::Stalled => "stalled",
                ShortCause::StoppedByLimit => "stopped-by-limit",
            })
        })
        .table("throws.csv", rows.iter())
}

fn findings(book: &Book<'_>) -> Table {
    let rows = each(book, |c| c.judged.findings.iter().collect());
    of_recording::<&Finding>()
        .text("kind", |r| Some(r.item.kind.word()))
        .text("level", |r| Some(r.item.level.word()))
        .number("at_deg", |r| r.item.at_deg)
        .text("text", |r| Some(r.item.text(TorqueUnit::NewtonCentimetre)))
        .table("findings.csv", rows.iter())
}

/// One quantity, by the name that it has in `check --json`.
struct Value {
    quantity: &'static str,
    which: Option<String>,
    value: Quantity,
    unit: &'static str,
}

fn measured(book: &Book<'_>) -> Table {
    let rows = each(book, |c| values(c));
    of_recording::<Value>()
        .text("quantity", |r| Some(r.item.quantity))
        .text("which", |r| r.item.which.clone())
        .value(|r| Some(r.item.value))
        .text("unit", |r| Some(r.item.unit))
        .table("measured.csv", rows.iter())
}

fn plain(value: f64) -> Quantity {
    Quantity {
        value,
        interval: None,
    }
}

fn values(checked: &Checked<'_>) -> Vec<Value> {
    let measured = &checked.measured;
    let (load, conditions) = (&measured.load, &measured.conditions);
    let mut values = measured.curve.as_ref().map_or(Vec::new(), curve_values);
    let mut push = |quantity, value: Option<Quantity>, unit| {
        values.extend(value.map(|value| Value {
            quantity,
            which: None,
            value,
            unit,
        }));
    };
    push("slop_deg", measured.slop_deg, "deg");
    push("lead_mohm", measured.lead_mohm, "mΩ");
    push("peak_torque_ncm", load.peak_torque_ncm, "N·cm");
    push("peak_at_deg", load.peak_at_deg.map(plain), "deg");
    push("share_of_stall", load.share_of_stall, SHARE);
    let friction = load.friction_share_of_stall.map(plain);
    push("friction_share_of_stall", friction, SHARE);
    push("voltage_v", load.voltage_v.map(plain), "V");
    let travel = measured.travel_deg;
    push("travel_from_deg", travel.map(|t| plain(t.0)), "deg");
    push("travel_to_deg", travel.map(|t| plain(t.1)), "deg");
    push("rest_deg", conditions.rest_deg.map(plain), "deg");
    push(
        "speed_deg_per_s",
        conditions.speed_deg_s.map(plain),
        "deg/s",
    );
    push("supply_v", conditions.supply_v.map(plain), "V");
    push("air_c", conditions.air_c.map(plain), "°C");
    push("case_c", conditions.case_c.map(plain), "°C");
    if let Some(jerks) = measured.jerks {
        push(
            "stops_per_deg",
            Some(plain(jerks.stops_per_stroke)),
            "1/deg",
        );
        push("standing_share", Some(plain(jerks.standing_share)), SHARE);
        push("step_deg", Some(plain(jerks.step_deg)), "deg");
        push("jerks_at_deg", Some(plain(jerks.at_deg)), "deg");
    }
    values
}

/// A share of one.
const SHARE: &str = "1";

fn curve_values(curve: &Curve) -> Vec<Value> {
    let value = |quantity, which: Option<&str>, value, unit| Value {
        quantity,
        which: which.map(str::to_owned),
        value,
        unit,
    };
    let mut values = vec![
        value(
            "stiffness_ncm_per_deg",
            None,
            curve.stiffness_ncm_per_deg,
            "N·cm/deg",
        ),
        value("friction_ncm", None, curve.friction_ncm, "N·cm"),
        value("neutral_torque_ncm", None, curve.neutral_torque_ncm, "N·cm"),
        value("residual_ncm", None, plain(curve.residual_ncm), "N·cm"),
    ];
    for (i, knee) in curve.knees.iter().enumerate() {
        let which = format!(
            "knee {}, {}",
            i + 1,
            if knee.up_side { "up" } else { "down" }
        );
        let which = Some(which.as_str());
        let beyond = knee.stiffness_beyond_ncm_per_deg;
        values.extend([
            value("knee_at_deg", which, knee.at_deg, "deg"),
            value("stiffness_beyond_ncm_per_deg", which, beyond, "N·cm/deg"),
            value("knee_ratio", which, plain(knee.ratio), SHARE),
        ]);
    }
    for (i, spot) in curve.tight_spots.iter().enumerate() {
        let when = match spot.when {
            When::Up => "up",
            When::Down => "down",
            When::Both => "both",
        };
        let which = format!("tight spot {}, {when}", i + 1);
        let which = Some(which.as_str());
        values.extend([
            value("tight_spot_from_deg", which, plain(spot.from_deg), "deg"),
            value("tight_spot_at_deg", which, spot.at_deg, "deg"),
            value("tight_spot_to_deg", which, plain(spot.to_deg), "deg"),
            value("tight_spot_height_ncm", which, spot.height_ncm, "N·cm"),
        ]);
    }
    values
}

fn curve(book: &Book<'_>) -> Table {
    let rows = each(book, |c| {
        let curve = c.measured.curve.as_ref();
        curve.map_or(Vec::new(), |c| c.fit.iter().map(|f| (c, f)).collect())
    });
    let seen = |&(curve, point): &(&Curve, &FitPoint), up: bool| {
        let here = |a: f64, b: f64| (a.min(b)..=a.max(b)).contains(&point.angle_deg);
        let unseen = &curve.not_observable;
        !unseen.iter().any(|&(a, b, way)| way == up && here(a, b))
    };
    of_recording::<(&Curve, &FitPoint)>()
        .number("angle_deg", |r| Some(r.item.1.angle_deg))
        .number("up_ncm", |r| Some(r.item.1.up_ncm))
        .number("down_ncm", |r| Some(r.item.1.down_ncm))
        .number("band95_half_width_ncm", |r| Some(r.item.1.band_ncm))
        .flag("up_observable", move |r| Some(seen(&r.item, true)))
        .flag("down_observable", move |r| Some(seen(&r.item, false)))
        .table("curve.csv", rows.iter())
}

fn curve_points(book: &Book<'_>) -> Table {
    let rows = each(book, |c| {
        let curve = c.measured.curve.as_ref();
        curve.map_or(Vec::new(), |c| c.points.iter().collect())
    });
    of_recording::<&TorquePoint>()
        .number("angle_deg", |r| Some(r.item.angle_deg))
        .number("torque_ncm", |r| Some(r.item.torque_ncm))
        .number("torque_ncm_u", |r| Some(r.item.u_ncm))
        .text("moving", |r| {
            Some(if r.item.moving_up { "up" } else { "down" })
        })
        .flag("used_in_fit", |r| Some(r.item.used))
        .table("curve_points.csv", rows.iter())
}

fn holds(book: &Book<'_>) -> Table {
    let rows = each(book, |c| c.measured.load.hold_current_ma.iter().collect());
    of_recording::<&HoldCurrent>()
        .number("at_deg", |r| Some(r.item.at_deg))
        .number("current_ma", |r| Some(r.item.ma))
        .table("holds.csv", rows.iter())
}
