//! An estimate in a terminal: a table a surface, what to do, the assumptions.

use anstyle::{AnsiColor, Style};
use comfy_table::Table;

use super::{
    CAUTION, Flown, SurfaceFlown, assumptions, balance, doubt, fastest, findings, least, number,
    remarks, servo_has, title,
};
use crate::analysis::TorqueSource;
use crate::flight::{Asked, Part, Row, WORST_ATTACK_DEG};
use crate::report::text::{NARROWEST, WIDEST, clean, new_table, paragraph, table_text};
use crate::units::{self, TorqueUnit, Unit};

/// The whole estimate, with ANSI styles; ends with a line end. `width` in columns.
pub fn flown(flown: &Flown<'_>, unit: TorqueUnit, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let dim = Style::new().dimmed();
    let mut out = String::new();
    for one in &flown.surfaces {
        out += &surface(flown, one, unit, width);
        out.push('\n');
    }
    if !flown.left_out.is_empty() {
        let names = flown.left_out.join(", ");
        let line =
            format!("Not estimated, for aircraft.toml has no [surface.air] for them: {names}.");
        out += &paragraph(&clean(&line), "", "  ", width, Style::new());
        out.push('\n');
    }
    out += "Assumptions\n";
    for line in assumptions(flown) {
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out + &paragraph(CAUTION, "", "", width, Style::new().bold())
}

fn surface(flown: &Flown<'_>, one: &SurfaceFlown<'_>, unit: TorqueUnit, width: usize) -> String {
    let (asked, estimate) = (flown.asked, &one.estimate);
    let dim = Style::new().dimmed();
    let colour = match (estimate.over().next(), estimate.unproven()) {
        (Some(_), _) => AnsiColor::Yellow,
        (None, true) => AnsiColor::Magenta,
        (None, false) => AnsiColor::Green,
    };
    let style = colour.on_default().bold();
    let mut out = paragraph(&clean(&title(one, asked)), "", "", width, style);
    for line in whence(one) {
        out += &paragraph(&clean(&line), "  ", "    ", width, dim);
    }
    out += &table_text(&table(one, asked, unit, width));
    for line in findings(one, asked) {
        out += &paragraph(&clean(&line), "", "  ", width, Style::new().bold());
    }
    let sentences = servo_has(one, asked, unit).into_iter().chain(balance(one));
    for line in sentences.chain(remarks(one)) {
        out += &paragraph(&clean(&line), "  ", "    ", width, Style::new());
    }
    for one in &estimate.doubts {
        let told = format!("Mind: {}", doubt(one));
        for (number, line) in told.lines().enumerate() {
            let first = if number == 0 { "  " } else { "    " };
            out += &paragraph(
                &clean(line),
                first,
                "    ",
                width,
                AnsiColor::Yellow.on_default(),
            );
        }
    }
    out
}

fn whence(one: &SurfaceFlown<'_>) -> Vec<String> {
    let estimate = &one.estimate;
    let mut lines = Vec::new();
    if let Some(file) = &one.recording {
        let by = match one.torque_from {
            TorqueSource::Torque => "torque sensor",
            TorqueSource::Force => "rod force",
            TorqueSource::SupplyPower => "supply power",
            TorqueSource::None => "no torque",
        };
        lines.push(format!("hinge as measured: {file} ({by})"));
    }
    lines.push(format!(
        "at {} true airspeed: Mach {}, dynamic pressure {} Pa; the surface is {} of the chord; the air's moment about the hinge is that \
         pressure times chord squared times span times {} a radian of deflection and {} a radian of attack (b2, b1 in the literature)",
        Unit::MetrePerSecond.given(estimate.fastest_m_s),
        units::fixed(estimate.mach, 2),
        units::fixed(estimate.dynamic_pa, 0),
        Unit::Share.plain(estimate.flap_share),
        units::fixed(estimate.flap.b2, 3),
        units::fixed(estimate.flap.b1, 3),
    ));
    lines
}

fn table(one: &SurfaceFlown<'_>, asked: &Asked, unit: TorqueUnit, width: usize) -> Table {
    let mut table = new_table(width);
    let factor = units::significant(asked.factor, 2).unwrap_or_default();
    table.set_header([
        "throw\n".to_owned(),
        "to\n°".to_owned(),
        format!("air ×{factor}\n{unit}"),
        format!("hinge\n{unit}"),
        format!("at arm\n{unit}"),
        format!("has\n{unit}"),
        "share\n%".to_owned(),
        format!("±{}\n%", Unit::Degree.given(WORST_ATTACK_DEG)),
        format!("{} at\nm/s", Unit::Share.given(asked.most_share)),
        "100 % at\nm/s".to_owned(),
    ]);
    let has = one.estimate.has.map(|has| has.torque_ncm);
    for throw in &one.estimate.rows {
        table.add_row(row(throw, has, unit));
    }
    for column in table.column_iter_mut() {
        column.set_padding((0, 1));
    }
    table
}

fn row(row: &Row, has: Option<Part>, unit: TorqueUnit) -> [String; 10] {
    let torque = Unit::Torque(unit);
    let digits = |value: f64, unit: Unit| {
        units::significant(value * unit.factor(), 3).unwrap_or_else(|| units::NOT_A_NUMBER.into())
    };
    let unknown = || "not known".to_owned();
    let hinge = row.hinge_ncm.map(|part| number(torque, part));
    let at_arm = row
        .at_arm_ncm
        .map(|p| least(row).to_owned() + &digits(p.value, torque));
    let share = row
        .share
        .map(|s| least(row).to_owned() + &number(Unit::Share, s));
    let attack = row.share_at_worst_attack;
    let attack = attack.map(|share| least(row).to_owned() + &digits(share, Unit::Share));
    let most = if row.hinge_ncm.is_none() && row.holds.is_some() {
        "≤ "
    } else {
        ""
    };
    [
        clean(&row.throw),
        units::fixed(row.deg.abs(), 1),
        digits(row.air_ncm, torque),
        hinge.unwrap_or_else(|| "none".into()),
        at_arm.unwrap_or_else(unknown),
        has.map_or_else(unknown, |has| digits(has.value, torque)),
        share.unwrap_or_else(unknown),
        attack.unwrap_or_else(unknown),
        most.to_owned() + &fastest(row.within_share),
        most.to_owned() + &fastest(row.holds),
    ]
}
