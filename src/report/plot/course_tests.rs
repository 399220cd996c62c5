//! Pictures of what several recordings say together.

use super::*;
use crate::analysis::{Interval, Quantity};
use crate::history::season::{Crossing, Measure, Per};
use crate::history::settling::{State, stand};
use crate::report::course_fixture::*;

const NCM: TorqueUnit = TorqueUnit::NewtonCentimetre;

/// Whole, without a number that is none, and every text on the sheet: by its anchor and an estimate of its width.
fn sound(svg: &str) {
    assert!(svg.starts_with("<svg ") && svg.trim_end().ends_with("</svg>"));
    assert_eq!(svg.matches("</svg>").count(), 1);
    assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    let size = svg.split("viewBox=\"0 0 ").nth(1).unwrap();
    let size = size.split('"').next().unwrap();
    let (width, height) = size.split_once(' ').unwrap();
    let (width, height): (f64, f64) = (width.parse().unwrap(), height.parse().unwrap());
    let attribute = |tag: &str, name: &str| -> Option<String> {
        let rest = tag.split_once(&format!(" {name}=\""))?.1;
        Some(rest.split('"').next()?.to_owned())
    };
    let mut texts = 0;
    for piece in svg.split("<text").skip(1) {
        let (tag, rest) = piece.split_once('>').unwrap();
        let words = rest.split("</text>").next().unwrap().trim();
        let number = |name: &str| -> f64 { attribute(tag, name).unwrap().parse().unwrap() };
        let (x, y) = (number("x"), number("y"));
        let size =
            attribute(tag, "font-size").map_or(canvas::LETTERS * 2.0, |s| s.parse().unwrap());
        let words = words
            .replace("&lt;", "<")
            .replace("&gt;", ">")
            .replace("&amp;", "&");
        let wide = canvas::text_width(&words, size);
        let from = match attribute(tag, "text-anchor").as_deref() {
            Some("middle") => x - wide / 2.0,
            Some("end") => x - wide,
            _ => x,
        };
        assert!(
            from >= -1.0 && from + wide <= width + 1.0,
            "{words}: {from} and {wide} of {width}"
        );
        assert!(y >= 0.0 && y <= height, "{words}: {y} of {height}");
        texts += 1;
    }
    assert!(texts > 0);
}

fn label(svg: &str) -> &str {
    svg.split("aria-label=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap()
}

/// Text drawn, not said.
fn drawn(svg: &str, words: &str) -> bool {
    svg.split_once("</desc>").unwrap().1.contains(words)
}

#[test]
fn working_in_shows_each_quantity_each_stage_and_what_it_settles_at() {
    let stages = [(Some(20.0), 6), (Some(30.0), 6), (Some(45.0), 7)];
    let worked = worked_in(&stages, true);
    assert_eq!(worked.standing.state, State::Confirmed);
    let svg = worked_in_svg(&worked, NCM);
    sound(&svg);
    for words in [
        "stiffness, N·cm/deg; settles at 0.33",
        "friction, N·cm; settles at",
        "knees, degrees from neutral",
        ">20°<",
        ">30°<",
        ">45°<",
        "cycles worked",
        "batch, 95 % bar",
        "after a rest",
        "knee, up or left",
        "knee, down or right",
        "fitted decay",
        "settled value, 95 %",
        "settled, and found so again after a rest",
    ] {
        let tight = svg.replace(">\n", ">").replace("\n<", "<");
        assert!(drawn(&tight, words), "{words}");
    }
    assert!(!drawn(&svg, "more cycles"));
    assert!(label(&svg).contains("190 cycles") || label(&svg).contains("195 cycles"));
    let ounces = worked_in_svg(&worked, TorqueUnit::OunceInch);
    assert!(drawn(&ounces, "friction, oz·in") && !ounces.contains("N·cm"));
}

#[test]
fn a_hinge_still_settling_says_how_many_cycles_are_to_come() {
    let worked = worked_in(&[(Some(20.0), 4)], false);
    assert_eq!(worked.standing.state, State::Softening);
    let told = worked.standing.stiffness.as_ref().unwrap().forecast;
    let svg = worked_in_svg(&worked, NCM);
    sound(&svg);
    assert!(drawn(&svg, &format!("about {:.0} more cycles", told.cycles)) || told.hi95.is_none());
    assert!(drawn(&svg, "its way on") && drawn(&svg, "still settling"));
    assert!(!drawn(&svg, "after a rest"));
}

#[test]
fn few_batches_are_drawn_as_what_they_are() {
    let none = worked_in(&[], false);
    let svg = worked_in_svg(&none, NCM);
    sound(&svg);
    assert!(drawn(&svg, "not worked in yet"));
    let one = worked_in(&[(None, 1)], false);
    let svg = worked_in_svg(&one, NCM);
    sound(&svg);
    assert!(drawn(&svg, "by hand") && drawn(&svg, "too few batches to tell"));
    assert!(!drawn(&svg, "fitted decay") && !drawn(&svg, "settles at"));
    let mut blind = worked_in(&[(Some(20.0), 3)], false);
    for batch in &mut blind.batches {
        (batch.stiffness_ncm_per_deg, batch.friction_ncm) = (None, None);
        batch.knees_deg = [None; 2];
    }
    let svg = worked_in_svg(&blind, NCM);
    sound(&svg);
    assert!(drawn(&svg, "neither stiffness nor friction was measured"));
}

#[test]
fn numbers_that_are_none_leave_a_picture_of_working_in_whole() {
    for odd in [0.0, f64::NAN, f64::INFINITY, 1e308, -1e308, 1e-320] {
        let mut worked = worked_in(&[(Some(20.0), 5), (Some(30.0), 5)], true);
        let bad = Some(Quantity {
            value: odd,
            interval: Some(Interval {
                u: odd,
                lo95: odd,
                hi95: -odd,
            }),
        });
        worked.batches[7].stiffness_ncm_per_deg = bad;
        worked.batches[8].knees_deg = [bad; 2];
        worked.batches[3].cycles = odd;
        worked.batches[2].stage_deg = Some(odd);
        sound(&worked_in_svg(&worked, NCM));
        worked.standing = stand(&worked.batches);
        sound(&worked_in_svg(&worked, NCM));
        for unit in TorqueUnit::ALL {
            sound(&worked_in_svg(&worked_in(&[(Some(20.0), 5)], false), unit));
        }
    }
}

#[test]
fn a_trend_shows_what_was_before_what_is_in_force_and_where_it_goes() {
    let record = rising();
    assert!(
        matches!(
            record.health.crossing,
            Crossing::In {
                per: Per::ThirtyDays,
                ..
            }
        ),
        "{record:?}"
    );
    assert_eq!(
        (record.in_force_from, record.health.set_aside.len()),
        (4, 1)
    );
    let svg = trend_svg(&record, NCM);
    sound(&svg);
    for words in [
        "slop, degrees",
        "hinge-work: left and inner hinge",
        "limit 0.5°",
        "recording, 95 % bar",
        "before the baseline in force",
        "out of line, set aside",
        "baseline, its chart&apos;s limits",
        "running average",
        "trend, 95 % band",
        "reaches it, 95 %",
        "reaches its limit 2026-",
        "in 30 days",
        "2026",
    ] {
        assert!(
            drawn(&svg.replace("chart's", "chart&apos;s"), words),
            "{words}"
        );
    }
    assert!(
        label(&svg).contains("20 recordings from 2026-04-18 to 2026-10-25"),
        "{}",
        label(&svg)
    );
}

#[test]
fn fewer_than_three_recordings_are_points_alone() {
    for count in [1, 2] {
        let record = record(&readings(every(10.0, count), |_| 0.2), &[], Measure::Slop);
        let svg = trend_svg(&record, NCM);
        sound(&svg);
        assert!(drawn(&svg, "recording, 95 % bar") && drawn(&svg, "limit 0.5°"));
        assert!(!drawn(&svg, "trend") && !drawn(&svg, "baseline"));
    }
    let mut none = record(&readings(every(10.0, 1), |_| 0.2), &[], Measure::Slop);
    none.points.clear();
    let svg = trend_svg(&none, NCM);
    sound(&svg);
    assert!(drawn(&svg, "no reading to draw"));
}

#[test]
fn a_limit_far_off_is_told_and_does_not_squash_what_was_measured() {
    let record = record(
        &readings(every(12.0, 16), |_| 0.2),
        &[],
        Measure::HoldNeutral,
    );
    let svg = trend_svg(&record, NCM);
    sound(&svg);
    assert!(drawn(&svg, "its limit, 400 mA, lies above the picture"));
    assert!(!drawn(&svg, "limit 400") && drawn(&svg, "none to be seen"));
    // No hold current has an interval.
    assert!(drawn(&svg, "recording") && !drawn(&svg, "95 % bar"));
}

#[test]
fn a_day_at_the_bench_is_counted_and_its_hours_are_shown() {
    let record = record(
        &readings(every(0.01, 8), |d| 0.2 + 3.0 * d),
        &[],
        Measure::Slop,
    );
    assert!(matches!(
        record.health.crossing,
        Crossing::In {
            per: Per::Recording,
            ..
        }
    ));
    let svg = trend_svg(&record, NCM);
    sound(&svg);
    assert!(drawn(&svg, "2026-04-18, UTC") && drawn(&svg, "11:00"));
    assert!(drawn(&svg, "recordings") && !drawn(&svg, "reaches it, 95 %"));
}

#[test]
fn odd_words_and_numbers_leave_a_picture_of_a_trend_whole() {
    let odd_words = "servo-replaced: </svg><script>\u{0}\" & the like, at such a length that no picture has room for it";
    let all = readings(every(10.0, 9), |_| 0.2);
    let told = record(&all, &[note(25.0, odd_words)], Measure::Slop);
    let svg = trend_svg(&told, NCM);
    sound(&svg);
    assert!(!svg.contains("<script>") && !svg.contains('\u{0}') && drawn(&svg, "…"));
    for odd in [0.0, f64::NAN, f64::INFINITY, 1e308, -1e308, 1e-320] {
        let mut record = rising();
        record.points[6].quantity = Quantity {
            value: odd,
            interval: Some(Interval {
                u: odd,
                lo95: -odd,
                hi95: odd,
            }),
        };
        record.bounds.lower = Some(odd);
        record.health.baseline = Some(odd);
        record.health.sigma = Some(odd);
        let trend = record.health.trend.as_mut().unwrap();
        (trend.slope, trend.level) = (odd, odd);
        record.health.crossing = Crossing::In {
            per: Per::ThirtyDays,
            soonest: odd,
            expected: odd,
            latest: Some(odd),
        };
        sound(&trend_svg(&record, NCM));
        record.in_force_from = 99;
        sound(&trend_svg(&record, NCM));
    }
}

/// For whoever changes a picture: look at them all.
#[test]
fn every_picture_of_a_course_can_be_written_for_the_eye() {
    let kept = std::env::var_os("HINGEWRIGHT_PICTURES").map(std::path::PathBuf::from);
    let temporary = tempfile::tempdir().unwrap();
    let folder = kept.as_deref().unwrap_or(temporary.path());
    std::fs::create_dir_all(folder).unwrap();
    let worked =
        |stages: &[(Option<f64>, usize)], recheck| worked_in_svg(&worked_in(stages, recheck), NCM);
    let stages = [(Some(20.0), 6), (Some(30.0), 6), (Some(45.0), 7)];
    let slop = |days: f64, count: usize, rise: f64| {
        let all = readings(every(days, count), |d| 0.2 + rise * d);
        trend_svg(&record(&all, &[], Measure::Slop), NCM)
    };
    let steady = readings(every(12.0, 16), |_| 0.2);
    for (name, svg) in [
        ("worked-in-confirmed", worked(&stages, true)),
        ("worked-in-settling", worked(&[(Some(20.0), 4)], false)),
        ("worked-in-by-hand", worked(&[(None, 1)], false)),
        (
            "worked-in-short-stages",
            worked(
                &[(Some(20.0), 1), (Some(30.0), 1), (Some(45.0), 1), (None, 1)],
                true,
            ),
        ),
        ("worked-in-none", worked(&[], false)),
        ("trend-rising", trend_svg(&rising(), NCM)),
        (
            "trend-steady",
            trend_svg(&record(&steady, &[], Measure::Friction), NCM),
        ),
        (
            "trend-hold",
            trend_svg(&record(&steady, &[], Measure::HoldNeutral), NCM),
        ),
        ("trend-bench-day", slop(0.01, 8, 3.0)),
        ("trend-passed", slop(20.0, 20, 0.0012)),
        ("trend-four", slop(9.0, 4, 0.001)),
        ("trend-one", slop(9.0, 1, 0.0)),
        ("trend-two-years", slop(24.0, 32, 0.0003)),
    ] {
        sound(&svg);
        std::fs::write(folder.join(format!("{name}.svg")), &svg).unwrap();
        assert!(
            svg.len() > 500 && svg.len() < 150_000,
            "{name}: {}",
            svg.len()
        );
    }
}
