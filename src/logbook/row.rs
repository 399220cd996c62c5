//! From a recording measured and judged to the cells of its row, and back to values by name. The one visible place where the
//! two meet. No file, no frame.

use super::schema::QUANTITY;
use crate::aircraft::Aircraft;
use crate::analysis::{Interval, Measured, Quantity, ThrowState};
use crate::assess::{Assessed, RecordingSummary};
use crate::recording::Drive;
use crate::report::{Checked, json};
use crate::units::TorqueUnit;
use crate::verdict::{Judged, Level};

/// One value of a result. A number is finite: what is not is null.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    Text(Option<String>),
    Texts(Option<Vec<String>>),
    Count(Option<i64>),
    Number(Option<f64>),
    Flag(Option<bool>),
    /// Kept to the microsecond.
    Time(Option<jiff::Timestamp>),
}

/// One result, its values by the names of the schema.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub aircraft: String,
    pub surface: String,
    cells: Vec<(String, Cell)>,
}

impl Row {
    pub(super) fn new(aircraft: String, surface: String, cells: Vec<(String, Cell)>) -> Self {
        Self {
            aircraft,
            surface,
            cells,
        }
    }

    /// All of them, in the schema's order.
    pub fn cells(&self) -> &[(String, Cell)] {
        &self.cells
    }

    fn cell(&self, name: &str) -> Option<&Cell> {
        self.cells.iter().find(|(n, _)| n == name).map(|(_, c)| c)
    }

    /// `None` where it is null or no text; likewise the others.
    pub fn text(&self, name: &str) -> Option<&str> {
        match self.cell(name)? {
            Cell::Text(value) => value.as_deref(),
            _ => None,
        }
    }

    pub fn number(&self, name: &str) -> Option<f64> {
        match self.cell(name)? {
            Cell::Number(value) => *value,
            _ => None,
        }
    }

    pub fn count(&self, name: &str) -> Option<i64> {
        match self.cell(name)? {
            Cell::Count(value) => *value,
            _ => None,
        }
    }

    pub fn flag(&self, name: &str) -> Option<bool> {
        match self.cell(name)? {
            Cell::Flag(value) => *value,
            _ => None,
        }
    }

    pub fn time(&self, name: &str) -> Option<jiff::Timestamp> {
        match self.cell(name)? {
            Cell::Time(value) => *value,
            _ => None,
        }
    }

    /// A quantity with its interval, in the unit that its name says.
    pub fn quantity(&self, name: &str) -> Option<Quantity> {
        let [_, u, lo95, hi95] = QUANTITY.map(|ending| self.number(&format!("{name}{ending}")));
        let interval = u.zip(lo95).zip(hi95);
        Some(Quantity {
            value: self.number(name)?,
            interval: interval.map(|((u, lo95), hi95)| Interval { u, lo95, hi95 }),
        })
    }
}

/// The row of a recording that goes by this ID and, within the logbook, by the name in its summary.
pub(super) fn of(id: &str, aircraft: &Aircraft, assessed: &Assessed) -> Row {
    let surface = &aircraft.surfaces[assessed.surface_index];
    let servo = aircraft.servos.get(surface.servo_index);
    let mut cells = Cells::default();
    cells.text("id", Some(id));
    let second = surface.second_servo_index.map(|i| &aircraft.servos[i]);
    let tags = [servo, second].map(|s| s.map(|s| s.tag.as_str()));
    cells.recording(&assessed.summary, tags);
    cells.conditions(&assessed.measured);
    cells.curve(&assessed.measured);
    cells.load(&assessed.measured);
    let servo = assessed.servo.clone().unwrap_or_default();
    for (name, quantity) in servo.quantities() {
        cells.quantity(name, quantity);
    }
    cells.judged(&assessed.judged);
    let mut whole = assessed.clone();
    whole.measured.forget_pictures();
    let line = json::line(&Checked::of(aircraft, whole));
    cells.text("check_json", Some(&line));
    Row::new(aircraft.name.clone(), surface.name.clone(), cells.0)
}

#[derive(Default)]
struct Cells(Vec<(String, Cell)>);

impl Cells {
    fn push(&mut self, name: &str, cell: Cell) {
        self.0.push((name.to_owned(), cell));
    }

    fn text(&mut self, name: &str, value: Option<&str>) {
        self.push(name, Cell::Text(value.map(str::to_owned)));
    }

    fn count(&mut self, name: &str, value: Option<u64>) {
        // More than a disk holds has no place in a count.
        self.push(name, Cell::Count(value.and_then(|v| i64::try_from(v).ok())));
    }

    fn number(&mut self, name: &str, value: Option<f64>) {
        self.push(name, Cell::Number(value.filter(|v| v.is_finite())));
    }

    fn quantity(&mut self, name: &str, value: Option<&Quantity>) {
        let interval = value.and_then(|q| q.interval);
        let four = [
            value.map(|q| q.value),
            interval.map(|i| i.u),
            interval.map(|i| i.lo95),
            interval.map(|i| i.hi95),
        ];
        for (ending, value) in QUANTITY.iter().zip(four) {
            self.number(&format!("{name}{ending}"), value);
        }
    }

    fn recording(&mut self, summary: &RecordingSummary, tags: [Option<&str>; 2]) {
        let key = |name: &str| {
            let mut keys = summary.keys.iter().rev();
            keys.find(|(k, _)| k == name).map(|(_, v)| v.as_str())
        };
        self.text("file", Some(&summary.file));
        let started = key("started").and_then(|v| v.parse().ok());
        self.push("started", Cell::Time(started));
        self.text("purpose", key("purpose"));
        self.text("note", key("note"));
        self.count(
            "cycles_before",
            key("cycles_before").and_then(|v| v.parse().ok()),
        );
        self.text("rig", summary.rig.as_ref().map(|r| r.name.as_str()));
        let drive = summary.rig.as_ref().map(|r| match r.drive {
            Drive::Driven => "driven",
            Drive::Passive => "passive",
        });
        self.text("drive", drive);
        // The recording's own word first: the servo may sit elsewhere by now.
        let said = |name: &str| key(name).filter(|tag| !tag.is_empty());
        self.text("servo", said("servo").or(tags[0]));
        // One that names its first alone has no second.
        let second = tags[1].filter(|_| said("servo").is_none());
        self.text("servo2", said("servo2").or(second));
        self.push("finished", Cell::Flag(Some(summary.unfinished.is_none())));
        self.text("unfinished_why", summary.unfinished.as_deref());
        self.count("samples", Some(summary.samples));
        self.count("lost", Some(summary.lost));
        self.count("damaged_lines", Some(summary.damaged_lines));
        self.count("restarts", Some(summary.restarts));
        self.number("span_s", Some(summary.span_s));
        self.number("rate_hz", Some(summary.rate_hz));
        self.push("events", Cell::Texts(Some(summary.events.clone())));
    }

    fn conditions(&mut self, measured: &Measured) {
        let conditions = &measured.conditions;
        self.number("air_c", conditions.air_c);
        self.number("case_c", conditions.case_c);
        self.number("supply_v", conditions.supply_v);
        self.number("speed_deg_s", conditions.speed_deg_s);
        self.number("rest_deg", conditions.rest_deg);
        self.number("lowest_deg", measured.travel_deg.map(|t| t.0));
        self.number("highest_deg", measured.travel_deg.map(|t| t.1));
        self.text("torque_from", Some(measured.torque_from.word()));
        let strokes = &measured.strokes;
        self.count("strokes_up", Some(strokes.up as u64));
        self.count("strokes_down", Some(strokes.down as u64));
        self.count("strokes_left_out", Some(strokes.left_out as u64));
    }

    fn curve(&mut self, measured: &Measured) {
        let curve = measured.curve.as_ref();
        self.quantity(
            "stiffness_ncm_per_deg",
            curve.map(|c| &c.stiffness_ncm_per_deg),
        );
        self.quantity("friction_ncm", curve.map(|c| &c.friction_ncm));
        self.quantity("neutral_torque_ncm", curve.map(|c| &c.neutral_torque_ncm));
        self.number("residual_ncm", curve.map(|c| c.residual_ncm));
        let nearest = |up: bool| curve?.nearest_knee(up);
        for (side, knee) in [("up", nearest(true)), ("down", nearest(false))] {
            self.quantity(&format!("knee_{side}_deg"), knee.map(|k| &k.at_deg));
            self.quantity(
                &format!("knee_{side}_stiffness_ncm_per_deg"),
                knee.map(|k| &k.stiffness_beyond_ncm_per_deg),
            );
        }
        self.count("tight_spots", curve.map(|c| c.tight_spots.len() as u64));
        let highest = curve.and_then(|c| {
            let spots = c.tight_spots.iter();
            spots.max_by(|a, b| a.height_ncm.value.total_cmp(&b.height_ncm.value))
        });
        self.quantity("tight_spot_deg", highest.map(|s| &s.at_deg));
        self.quantity("tight_spot_ncm", highest.map(|s| &s.height_ncm));
        self.quantity("slop_deg", measured.slop_deg.as_ref());
    }

    fn load(&mut self, measured: &Measured) {
        let load = &measured.load;
        self.quantity("lead_mohm", measured.lead_mohm.as_ref());
        self.quantity("peak_torque_ncm", load.peak_torque_ncm.as_ref());
        self.number("peak_at_deg", load.peak_at_deg);
        self.quantity("share_of_stall", load.share_of_stall.as_ref());
        let [neutral, up, down] = holds(measured);
        self.number("hold_neutral_ma", neutral);
        self.number("hold_up_ma", up);
        self.number("hold_down_ma", down);
        for (name, state) in [
            ("throws_met", ThrowState::Met),
            ("throws_short", ThrowState::Short),
            ("throws_unproven", ThrowState::Unproven),
        ] {
            let count = measured.throws.iter().filter(|t| t.state == state).count();
            self.count(name, Some(count as u64));
        }
    }

    fn judged(&mut self, judged: &Judged) {
        self.text("verdict", Some(judged.verdict.word()));
        for (name, level) in [
            ("findings_stop", Level::Stop),
            ("findings_work", Level::Work),
            ("findings_watch", Level::Watch),
        ] {
            let count = judged.findings.iter().filter(|f| f.level == level).count();
            self.count(name, Some(count as u64));
        }
        let worst = judged.findings.first();
        self.text("worst_kind", worst.map(|f| f.kind.word()));
        let sentence = worst.map(|f| f.text(TorqueUnit::NewtonCentimetre));
        self.text("worst_finding", sentence.as_deref());
    }
}

/// Steady current at neutral, at the most up and at the most down place: each hold is of the place that it is nearest to.
fn holds(measured: &Measured) -> [Option<f64>; 3] {
    let mut found = [None; 3];
    let Some((lowest, highest)) = measured.travel_deg else {
        return found;
    };
    for hold in &measured.load.hold_current_ma {
        let off = [0.0, highest, lowest].map(|place: f64| (hold.at_deg - place).abs());
        let nearest = (0..3).min_by(|&a, &b| off[a].total_cmp(&off[b]));
        found[nearest.unwrap_or(0)] = Some(hold.ma);
    }
    found
}
