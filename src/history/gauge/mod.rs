//! How repeatable a rig is: the same surface mounted and measured again, by one person or several (a gauge study).
//! Pure, as all of this room; wording for people is the report's.
//!
//! A recording is one mounting. Within a surface and a person its values scatter by what mounting and measuring again changes
//! (repeatability); between people by more, where they do not mount alike (reproducibility); both by the analysis of variance
//! ([`anova`]), with intervals ([`limits`]). What one recording's own strokes say of it is less than either, as a rule: it is all that a
//! comparison of two recordings has to go by ([`super::compare`]). What all mountings share, such as a calibration's error, does not show.

pub mod anova;
mod likeness;
pub mod limits;
#[cfg(test)]
mod tests;

pub use likeness::Caution;

use anova::{MeanSquare, Reading, Table};
use limits::Sum;

use super::compare::{FALSE_ALARM_RATE, What, own_scatter, value_of};
use super::welch::{Difference, holm};
use crate::aircraft::Surface;
use crate::analysis::stats::student;
use crate::analysis::{Interval, Measured, Quantity};

/// Degrees of freedom from which the spread of mountings is told: three mountings by one person, or two by each of two.
pub const FEWEST_DF: f64 = 2.0;
/// For so many mountings on each side the smallest change is worked out.
pub const EACH_SIDE: [usize; 3] = [1, 2, 3];

/// One mounting and what was measured.
#[derive(Debug, Clone, Copy)]
pub struct Mounting<'a> {
    /// Surface and person, numbered from nought in the order in which they first come.
    pub surface: usize,
    pub person: usize,
    pub measured: &'a Measured,
    pub started: Option<jiff::Timestamp>,
}

/// The smallest change that is found in 95 of 100 such comparisons, with so many mountings before and as many after.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Smallest {
    pub each_side: usize,
    /// All by one person. Its interval is that of the spread.
    pub same_person: Option<Quantity>,
    /// All before by one person, all after by another. `None` of fewer than three people: one degree of freedom promises nothing.
    pub another_person: Option<f64>,
}

/// Why strokes alone ask for a larger change than mountings do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrokesAsk {
    /// They scatter more than the mountings did.
    ScatterMore,
    /// One recording has fewer of them than the study has mountings, and a scatter that few tell asks for more.
    AreFew,
}

/// A quantity's study, in its unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    pub what: What,
    pub table: Table,
    /// Mean over all people and surfaces.
    pub mean: f64,
    /// Standard deviations. Of mounting again by the same person; `None`: too few to tell.
    pub mounting: Option<Quantity>,
    /// Between people, theirs with single surfaces included. `None` with one person, or where someone left a surface out.
    pub people: Option<Quantity>,
    /// Of both together: someone else mounts it.
    pub both: Option<Quantity>,
    /// What one recording's own strokes say of its standard uncertainty (root mean square), and the smallest change that a
    /// pair of recordings claims to see by that alone.
    pub own_u: Option<f64>,
    pub own_smallest: Option<f64>,
    /// Probability that mountings scatter so much more than the strokes tell, or people so much more than mountings, by chance;
    /// adjusted for all quantities together (Holm).
    pub p_mounting: Option<f64>,
    pub p_people: Option<f64>,
    pub smallest: [Smallest; EACH_SIDE.len()],
}

impl Found {
    /// Mounting again is shown to change more than the strokes of one recording tell.
    pub fn mounting_shows(&self) -> bool {
        self.p_mounting.is_some_and(|p| p <= FALSE_ALARM_RATE)
    }

    /// People are shown to differ by more than mounting again explains.
    pub fn people_differ(&self) -> bool {
        self.p_people.is_some_and(|p| p <= FALSE_ALARM_RATE)
    }

    /// A pair of recordings by its strokes alone asks for a larger change than one mounting each side: the recordings' own scatter came
    /// out larger than that of the mountings, or few strokes tell it.
    pub fn strokes_ask_for_more(&self) -> Option<StrokesAsk> {
        let single = self.smallest[0].same_person?;
        if self.own_smallest? <= single.value {
            return None;
        }
        Some(match self.own_u? > self.mounting?.value {
            true => StrokesAsk::ScatterMore,
            false => StrokesAsk::AreFew,
        })
    }

    /// A person's mean with its interval, by the spread of mountings.
    pub fn persons_mean(&self, person: usize) -> Option<Quantity> {
        let mean = self.table.by_person.get(person)?;
        let spread = self.table.mountings.filter(|m| m.df >= FEWEST_DF);
        Some(Quantity {
            value: mean.value,
            interval: spread
                .and_then(|m| student::interval(mean.value, (mean.share * m.value).sqrt(), m.df)),
        })
    }
}

/// What can be asked of these surfaces. Throws only where all have the same.
pub fn quantities(surfaces: &[&Surface]) -> Vec<What> {
    let mut all = vec![What::Stiffness, What::Friction];
    for up_side in [true, false] {
        all.extend([What::KneePlace { up_side }, What::KneeStiffness { up_side }]);
    }
    all.extend([What::TightSpot, What::Slop]);
    if let Some((first, others)) = surfaces.split_first() {
        let names = |s: &Surface| s.throws.iter().map(|t| t.name.clone()).collect::<Vec<_>>();
        if others.iter().all(|other| names(other) == names(first)) {
            all.extend((0..first.throws.len()).map(What::Throw));
        }
    }
    all.push(What::PeakTorque);
    all.extend((0..3).map(What::HoldCurrent));
    all
}

/// What a study came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    pub found: Vec<Found>,
    /// Not measured in all mountings, and in how many.
    pub left_out: Vec<(What, usize)>,
    pub cautions: Vec<Caution>,
    pub mountings: usize,
    /// Level at which one quantity's change is called, where all are looked at.
    pub level: f64,
}

impl Study {
    /// Whether the spread of mountings is told of any quantity.
    pub fn told(&self) -> bool {
        self.found.iter().any(|f| f.mounting.is_some())
    }
}

/// Works out a study of quantities `asked`. Of surfaces of which each person has measured each, the interaction is told too.
pub fn study(mountings: &[Mounting<'_>], asked: &[What]) -> Study {
    let mut measured = Vec::new();
    let mut left_out = Vec::new();
    for &what in asked {
        let values: Vec<f64> = mountings
            .iter()
            .filter_map(|m| value_of(m.measured, what))
            .collect();
        match values.len() {
            0 => {}
            n if n == mountings.len() => measured.push((what, values)),
            n => left_out.push((what, n)),
        }
    }
    let level = FALSE_ALARM_RATE / measured.len().max(1) as f64;
    let mut cautions = likeness::of(mountings);
    let mut found = Vec::new();
    for (what, values) in &measured {
        cautions.extend(likeness::drift(mountings, *what, values, level));
        let readings: Vec<Reading> = mountings
            .iter()
            .zip(values)
            .map(|(m, &value)| Reading {
                surface: m.surface,
                person: m.person,
                value,
            })
            .collect();
        let own: Vec<(f64, f64)> = mountings
            .iter()
            .filter_map(|m| own_scatter(m.measured, *what))
            .collect();
        found.extend(Table::of(&readings).map(|table| one(*what, table, values, &own, level)));
    }
    adjust(&mut found, |f| &mut f.p_mounting);
    adjust(&mut found, |f| &mut f.p_people);
    Study {
        found,
        left_out,
        cautions,
        mountings: mountings.len(),
        level,
    }
}

fn one(what: What, table: Table, values: &[f64], own: &[(f64, f64)], level: f64) -> Found {
    let enough = table.mountings.filter(|m| m.df >= FEWEST_DF);
    let between = |each_side| enough.and_then(|m| between_people(&table, m, each_side));
    let own_pair = own_pair(own);
    Found {
        what,
        mean: values.iter().sum::<f64>() / values.len() as f64,
        mounting: enough.and_then(|m| Sum::of(&[(1.0, m)]).sd()),
        people: between(None).and_then(|sum| sum.sd()),
        both: between(Some(1)).and_then(|sum| sum.sd()),
        own_u: own_pair.map(|(u, _)| u),
        own_smallest: own_pair.and_then(|(u, df)| {
            let pair = Difference::of(0.0, 0.0, &[(u, df), (u, df)])?;
            Some(pair.smallest_seen(level))
        }),
        p_mounting: enough.and_then(|m| p_mounting(m, own)),
        p_people: enough.and_then(|m| p_people(&table, m)),
        smallest: EACH_SIDE.map(|each_side| Smallest {
            each_side,
            same_person: enough.and_then(|m| same_person(m, each_side, level)),
            another_person: enough
                .filter(|_| table.people.is_some_and(|p| p.df >= FEWEST_DF))
                .and_then(|m| another_person(&between(Some(each_side))?, m, each_side, level)),
        }),
        table,
    }
}

/// Many quantities, one promise.
fn adjust(found: &mut [Found], of: impl Fn(&mut Found) -> &mut Option<f64>) {
    let each: Vec<Option<f64>> = found.iter_mut().map(|f| *of(f)).collect();
    let told: Vec<f64> = each.into_iter().flatten().collect();
    let mut adjusted = holm(&told).into_iter();
    for one in found {
        let p = of(one);
        *p = p.and_then(|_| adjusted.next());
    }
}

/// Mountings against what their own strokes tell of them: so large a ratio by chance.
fn p_mounting(mountings: MeanSquare, own: &[(f64, f64)]) -> Option<f64> {
    let (u, _) = own_pair(own)?;
    // Beyond so many it makes no difference, and an infinite number has no formula.
    let df: f64 = own.iter().map(|(_, df)| *df).sum();
    let strokes = MeanSquare {
        value: u * u,
        df: df.min(1e6),
    };
    Some(mountings.p_over(&strokes)).filter(|p| p.is_finite())
}

/// People, theirs with single surfaces included, against mountings.
fn p_people(table: &Table, mountings: MeanSquare) -> Option<f64> {
    let parts = [table.people, table.interaction];
    let parts = parts.into_iter().flatten();
    let (squares, df) = parts.fold((0.0, 0.0), |(s, df), m| (s + m.value * m.df, df + m.df));
    let people = MeanSquare {
        value: squares / df,
        df,
    };
    (df > 0.0)
        .then(|| people.p_over(&mountings))
        .filter(|p| p.is_finite())
}

/// Root mean square of the recordings' own uncertainties, with their middle degrees of freedom; `None` unless most tell theirs.
fn own_pair(own: &[(f64, f64)]) -> Option<(f64, f64)> {
    if own.is_empty() {
        return None;
    }
    let squares: f64 = own.iter().map(|(u, _)| u * u).sum();
    let mut df: Vec<f64> = own.iter().map(|(_, df)| *df).collect();
    df.sort_by(f64::total_cmp);
    Some(((squares / own.len() as f64).sqrt(), df[df.len() / 2]))
}

/// Variance between people; with `each_side` that of a mean of so many mountings by somebody.
fn between_people(table: &Table, mountings: MeanSquare, each_side: Option<usize>) -> Option<Sum> {
    let people = table.people?;
    let (r, surfaces) = (table.per_cell, table.surface_count as f64);
    let own = each_side.map_or(0.0, |n| 1.0 / n as f64);
    let mut terms = vec![(1.0 / (r * surfaces), people), (own - 1.0 / r, mountings)];
    if let Some(interaction) = table.interaction {
        terms.push(((surfaces - 1.0) / (r * surfaces), interaction));
    }
    Some(Sum::of(&terms))
}

fn same_person(mountings: MeanSquare, each_side: usize, level: f64) -> Option<Quantity> {
    let sd = Sum::of(&[(1.0, mountings)]).sd()?;
    let u = (2.0 / each_side as f64).sqrt();
    // Times the standard deviation, whatever that is.
    let times = Difference::of(0.0, 0.0, &[(u, mountings.df)])?.smallest_seen(level);
    Some(Quantity {
        value: times * sd.value,
        interval: sd.interval.map(|i| Interval {
            u: times * i.u,
            lo95: times * i.lo95,
            hi95: times * i.hi95,
        }),
    })
}

/// People that seem more alike than chance allows are taken as alike.
fn another_person(sum: &Sum, mountings: MeanSquare, each_side: usize, level: f64) -> Option<f64> {
    let alike = Sum::of(&[(1.0 / each_side as f64, mountings)]);
    let sum = if sum.value() > alike.value() {
        sum
    } else {
        &alike
    };
    if sum.df() < 1.0 {
        return None;
    }
    let u = (2.0 * sum.value()).sqrt();
    let difference = Difference::of(0.0, 0.0, &[(u, sum.df())])?;
    Some(difference.smallest_seen(level))
}
