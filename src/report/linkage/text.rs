//! A linkage in a terminal: what was found, the lengths, the table along the throw, what to change.

use anstyle::{AnsiColor, Style};

use super::{CAUTION, Looked, finding, no_fit, share, side, sides, state};
use crate::analysis::Quantity;
use crate::linkage::along::Ahead;
use crate::linkage::fit::{ArmFrom, Fitted};
use crate::linkage::holes::{Reach, Tried};
use crate::linkage::{InLine, NEAR_DEG};
use crate::report::text::{NARROWEST, WIDEST, clean, new_table, paragraph, table_text};
use crate::report::view::STANDING_CAUTION;
use crate::units::{self, TorqueUnit, Unit};

/// More pairs of holes than this are not shown; all are in the JSON.
const MOST_SHOWN: usize = 12;

/// All surfaces, with ANSI styles; ends with a line end. `width` in columns. `without`: surfaces that have no linkage on file.
pub fn linkages(looked: &[Looked<'_>], without: &[&str], unit: TorqueUnit, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let mut out = String::new();
    for one in looked {
        out += &surface(one, unit, width);
        out.push('\n');
    }
    if !without.is_empty() {
        let line = format!(
            "No [surface.linkage] on file, so nothing is said of: {}.",
            without.join(", ")
        );
        out += &paragraph(&clean(&line), "", "", width, Style::new());
    }
    out += &paragraph(CAUTION, "", "", width, Style::new());
    out + &paragraph(STANDING_CAUTION, "", "", width, Style::new().bold())
}

fn surface(looked: &Looked<'_>, unit: TorqueUnit, width: usize) -> String {
    let (bold, dim) = (Style::new().bold(), Style::new().dimmed());
    let look = &looked.look;
    let (state, words) = state(looked);
    let colour = match state {
        "found" => AnsiColor::Yellow,
        "nothing-found" => AnsiColor::Green,
        _ => AnsiColor::Magenta,
    };
    let title = format!("{}: {words}", looked.surface.name.to_uppercase());
    let style = colour.on_default().bold();
    let mut out = paragraph(&clean(&title), "", "", width, style);
    for one in &look.findings {
        out += &paragraph(&clean(&finding(looked, one)), "  ", "    ", width, bold);
    }
    out.push('\n');
    for line in lengths(looked) {
        out += &paragraph(&clean(&line), "  ", "    ", width, Style::new());
    }
    out.push('\n');
    out += &along(looked, unit, width);
    for line in about(looked) {
        out += &paragraph(&clean(&line), "  ", "    ", width, Style::new());
    }
    out.push('\n');
    out += &paragraph("What to change", "", "", width, bold);
    out += &what_to_change(looked, unit, width);
    for line in small_print(looked, unit) {
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out
}

/// Where the lengths come from, and what the recording tells of them.
fn lengths(looked: &Looked<'_>) -> Vec<String> {
    let look = &looked.look;
    let known = &look.known;
    let l = &known.linkage;
    let u = known.u();
    const TO_95: f64 = 1.96;
    let mm = |value: f64, u: f64| Unit::Millimetre.plus_minus(value, TO_95 * u);
    let fitted = look.fitted.as_ref().and_then(|f| f.as_ref().ok());
    let used = fitted.filter(|f| !f.misfits());
    let mut lines = vec![format!(
        "{}: arm {}, horn {}, rod {}, base {}, arm at neutral {}.",
        match used {
            Some(_) => "Fitted",
            None => "From the file",
        },
        mm(l.arm_mm, u[0]),
        mm(l.horn_mm, u[1]),
        mm(l.rod_mm, u[2]),
        mm(l.base_mm, u[3]),
        Unit::Degree.plus_minus(l.arm_zero_deg, TO_95 * u[4]),
    )];
    match (&look.fitted, &looked.recording) {
        (Some(Ok(fit)), Some(file)) => lines.extend(of_fit(fit, file)),
        (Some(Err(why)), Some(file)) => lines.push(format!("No fit to {file}: {}.", no_fit(*why))),
        _ => lines.push(
            "No recording of it: nothing here is measured but the lengths. Name one, or a logbook with --logbook.".to_owned(),
        ),
    }
    lines
}

fn of_fit(fit: &Fitted, file: &str) -> Vec<String> {
    let names = ["arm", "horn", "rod", "base", "arm at neutral"];
    let chosen = |told: bool| {
        let some = names
            .iter()
            .zip(&fit.lengths)
            .filter(|(_, l)| l.told == told);
        some.map(|(n, _)| *n).collect::<Vec<_>>().join(", ")
    };
    let from = match fit.from {
        ArmFrom::ArmAngle => "arm_deg",
        ArmFrom::Pulse => "pulse_us times arm_deg_per_us, which holds to 10 % (assumed)",
    };
    let worst = fit.worst().map_or(String::new(), |w| {
        let place = Unit::Degree.side(w.surface_deg);
        format!(", most {}° at {place}", units::signed(w.left_deg, 2))
    });
    let mut lines = vec![format!(
        "{file}: {} cycles, arm from {from}. Left over {} rms{worst}. At neutral {} of surface a degree of arm.",
        fit.cycles,
        Unit::Degree.plain(fit.rms_deg),
        interval(&fit.ratio_at_neutral, "°"),
    )];
    let (told, untold) = (chosen(true), chosen(false));
    if !told.is_empty() {
        lines.push(format!("Told by the recording: {told}."));
    }
    if !untold.is_empty() {
        lines.push(format!(
            "Not told apart by it: {untold}. They stand within the file's tolerance; to know them, measure them."
        ));
    }
    let quotient = &fit.arm_over_horn;
    if quotient.told && !(fit.lengths[0].told && fit.lengths[1].told) {
        lines.push(format!(
            "Of arm and horn it tells the quotient: arm over horn {} ({} on file).",
            interval(&quotient.fitted, ""),
            units::fixed(quotient.on_file, 3)
        ));
    }
    lines
}

/// A number without a unit of its own, with its interval.
fn interval(q: &Quantity, suffix: &str) -> String {
    let half = q.interval.map(|i| 0.5 * (i.hi95 - i.lo95));
    match half.and_then(|half| units::pair(q.value, half)) {
        Some((value, half)) => format!("{value} ± {half}{suffix}"),
        None => {
            units::significant(q.value, 3).unwrap_or_else(|| units::NOT_A_NUMBER.into()) + suffix
        }
    }
}

fn along(looked: &Looked<'_>, unit: TorqueUnit, width: usize) -> String {
    let look = &looked.look;
    let mut table = new_table(width);
    let torque = match look.torque {
        Some(_) => format!("at servo, {unit}"),
        None => format!("at servo, a {unit} at hinge"),
    };
    table.set_header([
        "arm",
        "surface",
        "advantage",
        torque.as_str(),
        "rod–arm",
        "rod–horn",
    ]);
    // A torque of 1 in any unit at the hinge is the ratio in that unit.
    let factor = look.torque.as_ref().map_or(1.0, |_| unit.per_ncm());
    for row in &look.rows {
        table.add_row([
            Unit::Degree.side(row.arm_deg),
            tenth(&row.surface_deg, Unit::Degree),
            interval(&row.advantage, ""),
            interval(&times(&row.servo_ncm, factor), ""),
            format!("{}°", units::fixed(row.rod_to_arm_deg, 0)),
            format!("{}°", units::fixed(row.rod_to_horn_deg, 0)),
        ]);
    }
    table_text(&table)
}

/// To a tenth, as narrow as a table wants it.
fn tenth(q: &Quantity, unit: Unit) -> String {
    unit.to_a_tenth(q.value, q.interval.map(|i| 0.5 * (i.hi95 - i.lo95)))
}

fn times(q: &Quantity, by: f64) -> Quantity {
    Quantity {
        value: q.value * by,
        interval: q.interval.map(|i| crate::analysis::Interval {
            u: i.u * by,
            lo95: i.lo95 * by,
            hi95: i.hi95 * by,
        }),
    }
}

/// Differential and dead points.
fn about(looked: &Looked<'_>) -> Vec<String> {
    let look = &looked.look;
    let both = sides(looked.surface);
    let mut lines = Vec::new();
    if let Some(d) = &look.differential {
        lines.push(format!(
            "Differential: {} of the arm either way give {} {} and {} {}: {} to 1.",
            Unit::Degree.place(d.arm_deg),
            interval(&d.up_deg, "°"),
            both.0,
            interval(&d.down_deg, "°"),
            both.1,
            interval(&d.ratio, "")
        ));
    }
    for (up, ahead) in [(true, &look.ahead.0), (false, &look.ahead.1)] {
        if let Some(ahead) = ahead {
            lines.push(dead_point(side(looked.surface, up), ahead));
        }
    }
    lines
}

fn dead_point(side: &str, ahead: &Ahead) -> String {
    let which = match ahead.dead.in_line {
        InLine::Arm => "servo's dead point (arm and rod in line)",
        InLine::Horn => "surface's dead point (horn and rod in line)",
    };
    let left = match &ahead.left_deg {
        Some(left) if left.value > 0.0 => {
            format!(
                "beyond the throw {} of the arm are left",
                interval(left, "°")
            )
        }
        _ => "the throw is not reached before it".to_owned(),
    };
    format!(
        "Going {side}: {which} at arm {}, nearing it from {} on (rod within {NEAR_DEG:.0}° of a lever); {left}.",
        interval(&ahead.arm_deg, "°"),
        Unit::Degree.side(ahead.nears_at_arm_deg)
    )
}

fn what_to_change(looked: &Looked<'_>, unit: TorqueUnit, width: usize) -> String {
    let look = &looked.look;
    let plain = |text: &str| paragraph(text, "  ", "    ", width, Style::new());
    if !look.has_others() {
        return plain(
            "No other holes known: give them with --arm-holes 12,14,16 --horn-holes 20,23,26 (mm from shaft and from hinge line), or as \
             arm_holes_mm and horn_holes_mm in [surface.linkage].",
        ) + &table(looked, unit, width);
    }
    plain(&verdict(looked)) + &table(looked, unit, width)
}

fn verdict(looked: &Looked<'_>) -> String {
    let look = &looked.look;
    let first = &look.tried[0];
    let pair = |t: &Tried| {
        format!(
            "arm {}, horn {}",
            Unit::Millimetre.given((10.0 * t.arm_mm).round() / 10.0),
            Unit::Millimetre.given((10.0 * t.horn_mm).round() / 10.0)
        )
    };
    if look.tried.iter().all(|t| t.reach == Reach::No) {
        return format!(
            "None of these reaches the throws: the one that gets furthest is {}. Other holes, more servo travel or smaller throws are needed.",
            pair(first)
        );
    }
    let settled = |t: &&Tried| t.reach == Reach::Yes && !t.near_dead_point();
    match look.tried.iter().find(settled) {
        Some(best) if best.in_use => {
            format!("The holes in use are the best of these: {}.", pair(best))
        }
        Some(best) => format!(
            "Best of these: {}, rod {}. It reaches the throws and takes the least of the servo's torque.",
            pair(best),
            interval(&best.rod_mm, " mm")
        ),
        None if first.reach == Reach::ServoNotKnown => {
            "How far the servo turns is not known, so none is said to reach: give --servo-travel, or arm_deg_per_us of the servo type."
                .to_owned()
        }
        None => "None of these is sure to reach the throws well away from a dead point.".to_owned(),
    }
}

fn table(looked: &Looked<'_>, unit: TorqueUnit, width: usize) -> String {
    let look = &looked.look;
    let mut table = new_table(width);
    let peak = match look.torque {
        Some(_) => "peak, of stall".to_owned(),
        None => format!("peak, a {unit} at hinge"),
    };
    table.set_header([
        "arm",
        "horn",
        "rod, mm",
        "throws",
        "servo left",
        peak.as_str(),
        "dead point",
    ]);
    // The holes in use are shown wherever they stand.
    let shown = |(i, t): &(usize, &Tried)| *i < MOST_SHOWN || t.in_use;
    for (_, tried) in look.tried.iter().enumerate().filter(shown) {
        table.add_row(row(looked, tried));
    }
    let mut out = table_text(&table);
    if look.tried.len() > MOST_SHOWN {
        let line = format!("{} pairs were tried; --json has all.", look.tried.len());
        out += &paragraph(&line, "  ", "    ", width, Style::new());
    }
    out
}

fn row(looked: &Looked<'_>, tried: &Tried) -> [String; 7] {
    let look = &looked.look;
    let own = if tried.in_use { ", now" } else { "" };
    let or = |q: &Option<Quantity>, none: &str| match q {
        Some(q) => tenth(q, Unit::Degree),
        None => none.to_owned(),
    };
    let mut throws = match tried.reach {
        Reach::Yes => "reached".to_owned(),
        Reach::TooNearToTell => "too near to tell".to_owned(),
        Reach::ServoNotKnown => "servo not known".to_owned(),
        Reach::No => format!(
            "no: {} {}",
            Unit::Degree.side(tried.gets_to_deg.0),
            Unit::Degree.side(tried.gets_to_deg.1)
        ),
    };
    if tried.near_dead_point() {
        throws += "; near dead point";
    }
    let peak = match share(look, tried) {
        Some(share) => tenth(&share, Unit::Share),
        None => tried
            .peak_ncm
            .as_ref()
            .map_or("none".to_owned(), |q| interval(q, "")),
    };
    let servo = if look.travel.is_some() {
        "none"
    } else {
        "not known"
    };
    [
        format!("{}{own}", units::fixed(tried.arm_mm, 1)),
        units::fixed(tried.horn_mm, 1),
        units::fixed(tried.rod_mm.value, 1),
        throws,
        or(&tried.margin_deg, servo),
        peak,
        or(&tried.left_deg, "not before it"),
    ]
}

/// How to read the tables.
fn small_print(looked: &Looked<'_>, unit: TorqueUnit) -> Vec<String> {
    let look = &looked.look;
    let tolerance = Unit::Millimetre.given(look.known.tolerance_mm);
    let given = match looked.surface.linkage_notes.tolerance_mm {
        Some(_) => "as the file says",
        None => "assumed; tolerance_mm in [surface.linkage] says otherwise",
    };
    let mut lines = vec![format!(
        "Arm and horn are taken to be right to {tolerance} ({given}), rod and base to twice that, the arm at neutral to 3°. All intervals \
         are 95 %. Advantage: torque at the hinge per torque at the servo. rod–arm, rod–horn: angle between them, 90° is best, 0° a dead point."
    )];
    match &look.torque {
        Some(torque) => {
            let (from, to) = torque.measured_deg();
            let stall = Unit::Torque(unit).plain(look.stall_ncm);
            let measured = if look.voltage_measured { "measured" } else { "the data sheet's" };
            lines.push(format!(
                "Torque: the harder direction on the bench, without air, measured from {} to {} and drawn on in a straight line beyond; stall \
                 {stall} at {} ({measured}).",
                Unit::Degree.side(from),
                Unit::Degree.side(to),
                Unit::Volt.given((100.0 * look.stall_at_v).round() / 100.0)
            ));
        }
        None => lines.push(
            "No torque was measured: what stands for it is the servo's share of one unit at the hinge, without air.".to_owned(),
        ),
    }
    lines.push(match look.travel {
        Some(t) => format!(
            "The servo is taken to turn {} either way. With other holes the rod is set anew, so that neutral stays. Dead point: what of the \
             arm's way is left before the nearer one.",
            Unit::Degree.place(t.up_deg.min(t.down_deg))
        ),
        None => "How far the servo turns is not known: give --servo-travel, or arm_deg_per_us of its type.".to_owned(),
    });
    lines
}
