//! Rows of results as a season's readings: which columns they are made of, and which rows are left out. Finds no file,
//! works out no number.

use std::collections::{BTreeMap, HashSet};
use std::fs::File;
use std::path::Path;
use std::sync::Arc;

use jiff::Timestamp;
use polars::prelude::*;
use rayon::prelude::*;

use super::WORKED_IN;
use super::schema::{self, QUANTITY};
use super::season::{LeftOut, Source};
use super::{Copied, Foreign, frame, name};
use crate::analysis::{Interval, Quantity};
use crate::history::season::{Event, Measure, Reading, Values, WORKED_IN_WORDS, Work};
use crate::recording::purpose::is_sweep;
use crate::verdict::Verdict;

/// The columns that a season looks at, besides the quantities.
const COLUMNS: [&str; 11] = [
    "id",
    "purpose",
    "started",
    "servo",
    "servo2",
    "finished",
    "torque_from",
    "verdict",
    "peak_torque_ncm",
    "aircraft",
    "surface",
];

/// IDs of results whose recordings are of another aircraft or copies: they are told by their recordings.
struct Apart(HashSet<String>);

impl Apart {
    fn of(source: &Source) -> Self {
        let sorted = source.sorted.iter();
        let foreign = sorted
            .clone()
            .flat_map(|s| s.foreign.iter().map(Foreign::id));
        let copies = sorted.flat_map(|s| s.copies.iter().map(Copied::id));
        let mut ids: HashSet<String> = foreign.chain(copies).collect();
        // Of two files with one ID and different endings one may be the aircraft's own.
        for own in source.sorted.iter().flat_map(|s| &s.own) {
            ids.remove(&name::id(own).unwrap_or_default());
        }
        Self(ids)
    }

    fn has(&self, id: &str) -> bool {
        !self.0.is_empty() && self.0.contains(id)
    }
}

/// What some rows gave.
#[derive(Default)]
pub(super) struct Taken {
    pub readings: Vec<Reading>,
    pub left_out: LeftOut,
    pub worked_in: Vec<Event>,
    pub gone_surfaces: BTreeMap<String, usize>,
}

/// The columns to ask a scan for.
pub(super) fn columns() -> Vec<String> {
    let quantities = Measure::ALL.into_iter().flat_map(quantity_columns);
    COLUMNS
        .map(str::to_owned)
        .into_iter()
        .chain(quantities)
        .collect()
}

/// A quantity has four columns, a number one.
fn quantity_columns(measure: Measure) -> Vec<String> {
    let endings = match measure {
        Measure::Rest | Measure::HoldNeutral => &QUANTITY[..1],
        _ => &QUANTITY[..],
    };
    let column = measure.column();
    endings.iter().map(|e| format!("{column}{e}")).collect()
}

/// A file of few rows, opened already: the columns of [`columns`], those that it has not as nulls.
pub(super) fn read(
    mut file: ParquetReader<File>,
    rows: usize,
    path: &Path,
) -> PolarsResult<DataFrame> {
    let there = file.schema()?;
    let schema = frame::file_schema();
    let wanted = columns();
    let own: Vec<&String> = wanted.iter().filter(|c| schema.contains(c)).collect();
    let read: Vec<String> = own
        .iter()
        .filter(|c| there.contains(c))
        .map(|c| c.to_string())
        .collect();
    let frame = match read.is_empty() {
        true => DataFrame::empty(),
        false => file
            .with_columns(Some(read))
            .read_parallel(ParallelStrategy::None)
            .finish()?,
    };
    let mut all = Vec::with_capacity(wanted.len());
    for name in own {
        let wanted = schema.try_get(name)?;
        all.push(match frame.column(name) {
            Err(_) => Column::full_null(name.into(), rows, wanted),
            Ok(column) if column.dtype() == wanted => column.clone(),
            Ok(column) => polars_bail!(
                SchemaMismatch: "{name} is {}, not {wanted}", column.dtype()
            ),
        });
    }
    for (column, value) in schema::FOLDERS.iter().zip(name::folders(path)) {
        all.push(Column::new((*column).into(), vec![value; rows]));
    }
    DataFrame::new(rows, all)
}

/// The rows of a frame, in their order, in as many parts as the frame came in.
pub(super) fn taken(
    frame: &DataFrame,
    source: &Source,
    now: Timestamp,
) -> PolarsResult<Vec<Taken>> {
    let mut frame = frame.clone();
    frame.align_chunks();
    let parts: Vec<DataFrame> = frame.split_chunks().collect();
    parts
        .par_iter()
        .map(|part| Columns::of(part).map(|columns| columns.taken(part.height(), source, now)))
        .collect()
}

/// Names that many rows share, each kept once.
#[derive(Default)]
struct Names(Vec<Arc<str>>);

impl Names {
    fn one(&mut self, name: &str) -> Arc<str> {
        if let Some(known) = self.0.iter().find(|known| ***known == *name) {
            return Arc::clone(known);
        }
        let new: Arc<str> = name.into();
        self.0.push(Arc::clone(&new));
        new
    }
}

/// The columns of a frame by their kind, looked up once.
struct Columns<'a> {
    id: &'a StringChunked,
    purpose: &'a StringChunked,
    /// In microseconds.
    started: &'a Int64Chunked,
    servo: &'a StringChunked,
    servo2: &'a StringChunked,
    finished: &'a BooleanChunked,
    torque_from: &'a StringChunked,
    verdict: &'a StringChunked,
    peak_torque_ncm: &'a Float64Chunked,
    aircraft: &'a StringChunked,
    surface: &'a StringChunked,
    /// In the order of [`Measure::ALL`]: the value, and where it has an interval u and the two ends.
    quantities: Vec<Vec<&'a Float64Chunked>>,
}

impl<'a> Columns<'a> {
    fn of(frame: &'a DataFrame) -> PolarsResult<Self> {
        let text = |name: &str| frame.column(name)?.str();
        let number = |name: &str| frame.column(name)?.f64();
        let quantity = |measure: Measure| -> PolarsResult<Vec<_>> {
            let names = quantity_columns(measure);
            names.iter().map(|name| number(name)).collect()
        };
        Ok(Self {
            id: text("id")?,
            purpose: text("purpose")?,
            started: frame.column("started")?.datetime()?.physical(),
            servo: text("servo")?,
            servo2: text("servo2")?,
            finished: frame.column("finished")?.bool()?,
            torque_from: text("torque_from")?,
            verdict: text("verdict")?,
            peak_torque_ncm: number("peak_torque_ncm")?,
            aircraft: text("aircraft")?,
            surface: text("surface")?,
            quantities: Measure::ALL
                .into_iter()
                .map(quantity)
                .collect::<PolarsResult<_>>()?,
        })
    }

    fn taken(&self, rows: usize, source: &Source, now: Timestamp) -> Taken {
        let mut taken = Taken::default();
        taken.readings.reserve(rows);
        let mut last_own = source.name();
        let apart = Apart::of(source);
        // Rows of one surface stand together.
        let mut known: Option<(&str, &str)> = None;
        let mut names = Names::default();
        for i in 0..rows {
            let aircraft = self.aircraft.get(i).unwrap_or_default();
            let id = self.id.get(i).unwrap_or_default();
            if apart.has(id) {
                continue;
            }
            if aircraft != last_own {
                if !source.is_of(aircraft) {
                    let others = &mut taken.left_out.other_aircraft;
                    others
                        .entry(aircraft.to_owned())
                        .or_default()
                        .push(id.to_owned());
                    continue;
                }
                last_own = aircraft;
            }
            let surface = self.surface.get(i).unwrap_or_default();
            let name = match known.filter(|(row, _)| *row == surface) {
                Some((_, present)) => present,
                None => match source.present_name(surface) {
                    Some(present) => {
                        known = Some((surface, present));
                        present
                    }
                    None => {
                        let gone = &mut taken.gone_surfaces;
                        *gone.entry(surface.to_owned()).or_default() += 1;
                        surface
                    }
                },
            };
            self.take(i, name, (source, now), (&mut names, &mut taken));
        }
        taken
    }

    fn take(
        &self,
        i: usize,
        surface: &str,
        (source, now): (&Source, Timestamp),
        (names, taken): (&mut Names, &mut Taken),
    ) {
        let measured = Measure::ALL.into_iter().zip(&self.quantities);
        let values: Values = measured
            .filter_map(|(measure, columns)| Some((measure, quantity(columns, i)?)))
            .collect();
        let unproven = self.verdict.get(i) == Some("unproven");
        let id = || self.id.get(i).unwrap_or_default().to_owned();
        let micros = self.started.get(i);
        let at = micros.and_then(|t| Timestamp::from_microsecond(t).ok());
        let noted = (!source.began.is_empty()).then(|| source.began.get(&id()));
        let at = noted.flatten().copied().or(at);
        if let Some(at) = at
            && at <= now
            && self.purpose.get(i) == Some(WORKED_IN)
        {
            taken.worked_in.push(Event {
                at,
                subject: surface.to_owned(),
                what: WORKED_IN_WORDS.into(),
                work: Work::WorkedIn,
            });
        }
        let left_out = &mut taken.left_out;
        match at {
            _ if self.finished.get(i) == Some(false) => left_out.unfinished.push(id()),
            _ if self.purpose.get(i) == Some(WORKED_IN) => left_out.worked_in.push(id()),
            _ if unproven && values.is_empty() => left_out.without_value.push(id()),
            None => left_out.without_time.push(id()),
            Some(at) if at > now => left_out.in_the_future.push(id()),
            Some(at) => {
                let share = values.get(Measure::ShareOfStall).map(|q| q.value);
                let peak = number(self.peak_torque_ncm, i).filter(|p| *p > 0.0);
                taken.readings.push(Reading {
                    id: id(),
                    at,
                    surface: names.one(surface),
                    servo: self.servo.get(i).map(|n| names.one(n)),
                    second: self.servo2.get(i).map(|n| names.one(n)),
                    torque_from: self.torque_from.get(i).map(|n| names.one(n)),
                    verdict: self
                        .verdict
                        .get(i)
                        .filter(|_| is_sweep(self.purpose.get(i)))
                        .and_then(Verdict::from_word),
                    values,
                    lead_at_most_mohm: self.servo.get(i).and_then(|t| source.lead_at_most_mohm(t)),
                    stall_share_per_ncm: share.zip(peak).map(|(share, peak)| share / peak),
                });
            }
        }
    }
}

fn number(column: &Float64Chunked, i: usize) -> Option<f64> {
    column.get(i).filter(|value| value.is_finite())
}

fn quantity(columns: &[&Float64Chunked], i: usize) -> Option<Quantity> {
    let value = number(columns.first()?, i)?;
    let interval = match columns[1..] {
        [u, lo, hi] => match (number(u, i), number(lo, i), number(hi, i)) {
            (Some(u), Some(lo95), Some(hi95)) => Some(Interval { u, lo95, hi95 }),
            _ => None,
        },
        _ => None,
    };
    Some(Quantity { value, interval })
}
