//! What `repeat` says: sentences and small print of a gauge study, worded once for [`text`] and [`json`]. No deciding.

pub mod json;
pub mod text;

use super::prove::{name_of, unit_of};
use super::view::quantity;
use crate::aircraft::Surface;
use crate::analysis::TorqueSource;
use crate::history::gauge::{Caution, EACH_SIDE, Found, StrokesAsk, Study};
use crate::units::{self, TorqueUnit, Unit};

/// A recording of the study.
pub struct Source {
    pub file: String,
    pub surface: String,
    /// Index into the people.
    pub person: usize,
}

/// A study as it is shown.
pub struct Shown<'a> {
    pub surfaces: Vec<&'a Surface>,
    pub people: &'a [String],
    pub sources: &'a [Source],
    pub torque_from: TorqueSource,
    pub study: &'a Study,
    /// How the recordings came together, as sentences.
    pub notes: &'a [String],
}

impl Shown<'_> {
    fn name(&self, found: &Found) -> String {
        name_of(self.surfaces[0], found.what)
    }

    /// Who did not measure which surface.
    fn gaps(&self) -> Vec<String> {
        let Some(first) = self.study.found.first() else {
            return Vec::new();
        };
        let gap = |(surface, person): &(usize, usize)| {
            format!(
                "{} by {}",
                self.surfaces[*surface].name, self.people[*person]
            )
        };
        first.table.empty.iter().map(gap).collect()
    }
}

fn counted(count: usize, one: &str, many: &str) -> String {
    match count {
        1 => format!("1 {one}"),
        n => format!("{n} {many}"),
    }
}

/// What came out, most wanted first.
fn sentences(shown: &Shown<'_>, unit: TorqueUnit) -> Vec<String> {
    let study = shown.study;
    if study.found.is_empty() {
        return vec!["Unproven: no quantity was measured in all of these recordings.".into()];
    }
    if !study.told() {
        return vec![format!(
            "Unproven: {} by {} do not show how much mounting again changes, nor the smallest change that shows. One person has to mount \
             and measure three times, or two people twice each.",
            counted(study.mountings, "mounting", "mountings"),
            counted(shown.people.len(), "person", "people")
        )];
    }
    let mut said = vec![mounting_again(shown, unit)];
    said.push(people(shown, unit));
    said
}

/// Without the unit, as a table has it.
fn two_digits(value: f64, unit: Unit) -> String {
    if value == 0.0 {
        return "0".into();
    }
    units::significant(value * unit.factor(), 2).unwrap_or_else(|| units::NOT_A_NUMBER.into())
}

/// Mounting again against what a recording's strokes tell.
fn mounting_again(shown: &Shown<'_>, unit: TorqueUnit) -> String {
    let more: Vec<String> = shown
        .study
        .found
        .iter()
        .filter_map(|found| {
            let (spread, own) = (found.mounting?, found.own_u?);
            let times = units::significant(spread.value / own, 2)?;
            let unit = unit_of(found.what, unit);
            let value = two_digits(spread.value, unit) + &unit.suffix();
            found
                .mounting_shows()
                .then(|| format!("{} by {value} ({times} times)", shown.name(found)))
        })
        .collect();
    match more.is_empty() {
        true => "For no quantity is mounting again shown to change more than the strokes of one recording tell.".into(),
        false => format!(
            "Mounting again changes more than the strokes of one recording tell (standard deviation): {}.",
            more.join(", ")
        ),
    }
}

fn people(shown: &Shown<'_>, unit: TorqueUnit) -> String {
    let gaps = shown.gaps();
    if !gaps.is_empty() {
        return format!(
            "What lies between people is unproven: not measured were {}.",
            gaps.join(", ")
        );
    }
    if shown.people.len() < 2 {
        return "What somebody else would read is unproven: all was mounted by one person.".into();
    }
    let apart: Vec<String> = shown
        .study
        .found
        .iter()
        .filter(|found| found.people_differ())
        .map(|found| {
            let unit = unit_of(found.what, unit);
            let means = shown.people.iter().enumerate().filter_map(|(i, person)| {
                Some(format!(
                    "{person} {}",
                    quantity(&found.persons_mean(i)?, unit)
                ))
            });
            format!(
                "{} ({})",
                shown.name(found),
                means.collect::<Vec<_>>().join(", ")
            )
        })
        .collect();
    match apart.is_empty() {
        true => format!(
            "The people are not shown to differ. Of {} that rules out little: up to the upper end of the interval they may.",
            shown.people.len()
        ),
        false => format!(
            "People differ beyond what mounting again explains: {}.",
            apart.join("; ")
        ),
    }
}

fn caution(shown: &Shown<'_>, caution: &Caution) -> String {
    match caution {
        Caution::Air {
            lowest_c,
            highest_c,
        } => format!(
            "The room was between {lowest_c:.1} and {highest_c:.1} °C; grease and hinges feel that, and it counts as spread. Repeat within 8 K."
        ),
        Caution::Speed {
            lowest_deg_s,
            highest_deg_s,
        } => format!(
            "Swept at {lowest_deg_s:.1} to {highest_deg_s:.1}°/s; friction hangs on speed, and it counts as spread. Repeat within a quarter."
        ),
        Caution::Supply {
            lowest_v,
            highest_v,
        } => format!(
            "The servo's plug had {} to {}. Repeat within 0.5 V.",
            Unit::Volt.plain(*lowest_v),
            Unit::Volt.plain(*highest_v)
        ),
        Caution::Drift { what, rises } => format!(
            "{} {} from mounting to mounting: a hinge that still settles or tires, or people who did not take turns. Either counts as spread \
             here. Let it settle, take turns, and repeat.",
            name_of(shown.surfaces[0], *what),
            if *rises { "rises" } else { "falls" }
        ),
    }
}

/// How to read the tables.
fn small_print(shown: &Shown<'_>) -> Vec<String> {
    let study = shown.study;
    let mut lines: Vec<String> = shown.notes.to_vec();
    lines.push(
        "Each recording counts as one mounting: surface or rig taken off and put on again before it. Recordings without that in between \
         make the rig look better than it is."
            .into(),
    );
    lines.push(
        "Mounted again: standard deviation of one person's mountings. Between people: of their means beyond that, theirs with single \
         surfaces included. By the analysis of variance, with 95 % intervals (modified large-sample method). One recording says: its own \
         standard uncertainty by its strokes. What all mountings share, a calibration or a sensor's scale, does not show."
            .into(),
    );
    if study.told() {
        lines.push(format!(
            "More than the strokes tell, or people who differ: said by mistake of any quantity in at most 5 of 100 studies each (F, Holm). \
             Smallest change: found in 95 of 100 comparisons with so many mountings before and as many after, where nothing is called a change \
             by mistake in at most {} of 100, {} looked at together.",
            units::significant(100.0 * crate::history::compare::FALSE_ALARM_RATE, 1).unwrap_or_default(),
            counted(study.found.len(), "quantity", "quantities")
        ));
        lines.extend(strokes_ask_for_more(shown));
    }
    lines.push(
        "`prove` counts the strokes within one mounting only, until the logbook has three repeats before the pair; this counts mounting again. \
         Recordings of this study in the logbook are such repeats."
            .into(),
    );
    if !study.left_out.is_empty() {
        let of = |(what, n): &(crate::history::compare::What, usize)| {
            format!(
                "{} ({n} of {})",
                name_of(shown.surfaces[0], *what),
                study.mountings
            )
        };
        let names: Vec<String> = study.left_out.iter().map(of).collect();
        lines.push(format!(
            "Unproven, for not measured in all recordings: {}.",
            names.join(", ")
        ));
    }
    lines
}

/// Where strokes alone come out larger than a mounting each side, and why.
fn strokes_ask_for_more(shown: &Shown<'_>) -> Vec<String> {
    let line = |why: StrokesAsk, words: &str| {
        let those = shown.study.found.iter();
        let those = those.filter(|found| found.strokes_ask_for_more() == Some(why));
        let names: Vec<String> = those.map(|found| shown.name(found)).collect();
        (!names.is_empty()).then(|| {
            format!(
                "Strokes alone is larger than 1 each side for {}: {words} Count on the larger.",
                names.join(", ")
            )
        })
    };
    let more = line(
        StrokesAsk::ScatterMore,
        "the strokes of one recording scatter more than the mountings did, as happens by chance where mounting again changes little.",
    );
    let few = line(
        StrokesAsk::AreFew,
        "one recording has few strokes or holds to tell its own scatter from, and the study has all its mountings.",
    );
    more.into_iter().chain(few).collect()
}

/// Mountings each side, for a column's head.
fn each_side_words() -> [String; EACH_SIDE.len()] {
    EACH_SIDE.map(|n| format!("{n} each side"))
}
