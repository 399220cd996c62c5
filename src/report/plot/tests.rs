use super::*;
use crate::analysis::{FitPoint, Quantity, TorquePoint, Traces};
use crate::report::fixture;

const NCM: TorqueUnit = TorqueUnit::NewtonCentimetre;

#[test]
fn the_font_in_the_repository_can_be_read() {
    assert!(plotters::style::register_font("in a test", FontStyle::Normal, canvas::FONT).is_ok());
}

#[test]
fn a_picture_names_what_it_shows_and_scales_with_its_reader() {
    let aircraft = fixture::aircraft();
    let svg = curve_svg(&fixture::knee(&aircraft), NCM, None);
    assert!(svg.starts_with("<svg ") && svg.trim_end().ends_with("</svg>"));
    assert!(svg.contains("width=\"100%\" viewBox=\"0 0 2000 "));
    for words in [
        "knee 16.2°",
        "tight spot −8.0°, moving up",
        "not observable",
        "torque, N·cm",
        "up 24 mm: met",
    ] {
        assert!(svg.contains(words), "{words}");
    }
    let svg = curve_svg(&fixture::knee(&aircraft), TorqueUnit::OunceInch, None);
    assert!(svg.contains("torque, oz·in") && !svg.contains("N·cm"));
}

#[test]
fn a_stretch_that_could_not_be_seen_is_dashed_and_not_whole() {
    let aircraft = fixture::aircraft();
    let mut checked = fixture::knee(&aircraft);
    // Each dash begins where the pen is set down anew.
    let lines = |svg: &str| -> usize {
        let paths = svg.lines().filter_map(|line| line.split_once(" d=\""));
        paths.map(|(_, data)| data.matches('m').count()).sum()
    };
    let hatched = lines(&curve_svg(&checked, NCM, None));
    checked
        .measured
        .curve
        .as_mut()
        .unwrap()
        .not_observable
        .clear();
    let whole = curve_svg(&checked, NCM, None);
    assert!(hatched > lines(&whole) + 20);
    assert!(!whole.contains("not observable"));
}

#[test]
fn a_finding_is_flagged_in_its_picture_and_what_is_none_says_so() {
    let aircraft = fixture::aircraft();
    let mut checked = fixture::knee(&aircraft);
    let svg = curve_svg(&checked, NCM, None);
    assert!(svg.contains("work: knee 16.2°") && svg.contains("work: tight spot −8.0°"));
    checked.judged.findings.clear();
    let svg = curve_svg(&checked, NCM, None);
    assert!(svg.contains("knee 16.2°: no finding") && !svg.contains("work: "));
    let short = fixture::short(&aircraft);
    assert!(curve_svg(&short, NCM, None).contains("landing 58.9 of 70 mm: short"));
}

#[test]
fn a_picture_tells_in_words_what_is_seen() {
    let aircraft = fixture::aircraft();
    let svg = curve_svg(&fixture::knee(&aircraft), NCM, None);
    let label = svg.split("aria-label=\"").nth(1).unwrap();
    let label = label.split('"').next().unwrap();
    for words in ["left elevator", "knee 16.2°", "tight spot", "up met"] {
        assert!(label.contains(words), "{words}: {label}");
    }
    assert!(svg.contains("<title>") && svg.contains("<desc>"));
}

#[test]
fn bars_of_single_readings_are_drawn_from_supply_power_alone() {
    let aircraft = fixture::aircraft();
    let mut checked = fixture::knee(&aircraft);
    assert!(curve_svg(&checked, NCM, None).contains("95 % of readings"));
    checked.measured.torque_from = crate::analysis::TorqueSource::Torque;
    assert!(!curve_svg(&checked, NCM, None).contains("95 % of readings"));
}

#[test]
fn names_from_files_are_escaped() {
    let aircraft = fixture::aircraft();
    let mut checked = fixture::short(&aircraft);
    checked.recording.surface = "flap </svg><script>\u{0}\"".into();
    for svg in [curve_svg(&checked, NCM, None), traces_svg(&checked, NCM)] {
        assert!(!svg.contains("<script>") && !svg.contains('\u{0}'));
        assert_eq!(svg.matches("</svg>").count(), 1);
    }
}

#[test]
fn pictures_to_be_compared_share_their_axes() {
    let aircraft = fixture::aircraft();
    let all = [
        fixture::knee(&aircraft),
        fixture::fault_free(&aircraft),
        fixture::short(&aircraft),
    ];
    let axes = Axes::shared(&all).unwrap();
    for own in all.iter().map(Axes::of) {
        assert!(axes.angle_deg.0 <= own.angle_deg.0 && axes.angle_deg.1 >= own.angle_deg.1);
        assert!(axes.torque_ncm.0 <= own.torque_ncm.0 && axes.torque_ncm.1 >= own.torque_ncm.1);
    }
    assert!(Axes::shared(&[]).is_none());
    assert_ne!(
        curve_svg(&all[1], NCM, Some(axes)),
        curve_svg(&all[1], NCM, None)
    );
}

#[test]
fn axes_that_cannot_be_drawn_are_not_used() {
    let aircraft = fixture::aircraft();
    let knee = fixture::knee(&aircraft);
    let own = curve_svg(&knee, NCM, None);
    for bad in [
        (0.0, 0.0),
        (1.0, -1.0),
        (f64::NAN, 1.0),
        (f64::NEG_INFINITY, f64::INFINITY),
        (-1e308, 1e308),
    ] {
        assert_eq!(
            curve_svg(
                &knee,
                NCM,
                Some(Axes {
                    angle_deg: bad,
                    torque_ncm: (0.0, 1.0)
                })
            ),
            own
        );
    }
}

#[test]
fn degenerate_data_are_drawn_without_a_panic() {
    let aircraft = fixture::aircraft();
    assert!(
        curve_svg(&fixture::nothing_measured(&aircraft), NCM, None)
            .contains("could not be measured")
    );
    assert!(traces_svg(&fixture::nothing_measured(&aircraft), NCM).contains("no reading"));
    for odd in [0.0, f64::NAN, f64::INFINITY, 1e308, -1e308, 1e-320] {
        let mut checked = fixture::knee(&aircraft);
        let curve = checked.measured.curve.as_mut().unwrap();
        curve.fit = vec![FitPoint {
            angle_deg: odd,
            up_ncm: odd,
            down_ncm: odd,
            band_ncm: odd,
        }];
        curve.points = vec![TorquePoint {
            angle_deg: odd,
            torque_ncm: odd,
            u_ncm: odd,
            moving_up: true,
            used: true,
        }];
        curve.not_observable = vec![(odd, -odd, true), (odd, odd, false)];
        curve.knees[0].at_deg = Quantity {
            value: odd,
            interval: None,
        };
        curve.tight_spots[0].from_deg = odd;
        checked.measured.travel_deg = Some((odd, odd));
        checked.measured.throws[0].asked_deg = odd;
        checked.measured.throws[1].reached_deg = Some(Quantity {
            value: odd,
            interval: None,
        });
        checked.measured.traces = Traces {
            t_s: vec![odd; 3],
            angle_deg: vec![odd; 2],
            effort: vec![odd],
            effort_label: String::new(),
            pulse_us: vec![],
        };
        assert!(curve_svg(&checked, NCM, None).ends_with("</svg>\n"));
        assert!(traces_svg(&checked, NCM).ends_with("</svg>\n"));
    }
}

#[test]
fn a_png_is_written_whole_or_the_reason_is_told() {
    let aircraft = fixture::aircraft();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("curve, of any name");
    curve_png(&path, &fixture::knee(&aircraft), NCM, None).unwrap();
    let bytes = std::fs::read(&path).unwrap();
    assert!(bytes.starts_with(b"\x89PNG\r\n") && bytes.ends_with(b"IEND\xAE\x42\x60\x82"));
    let nowhere = folder.path().join("missing/curve.png");
    let problem = traces_png(&nowhere, &fixture::knee(&aircraft), NCM).unwrap_err();
    assert!(problem.what.contains("missing/curve.png") && problem.hint.is_some());
}

/// For whoever changes a picture: look at them all.
#[test]
fn every_picture_can_be_written_for_the_eye() {
    let aircraft = fixture::aircraft();
    let kept = std::env::var_os("HINGEWRIGHT_PICTURES").map(std::path::PathBuf::from);
    let temporary = tempfile::tempdir().unwrap();
    let folder = kept.as_deref().unwrap_or(temporary.path());
    std::fs::create_dir_all(folder).unwrap();
    let all = [
        ("knee", fixture::knee(&aircraft)),
        ("fault-free", fixture::fault_free(&aircraft)),
        ("short", fixture::short(&aircraft)),
        ("nothing", fixture::nothing_measured(&aircraft)),
        ("crowded", fixture::crowded(&aircraft)),
    ];
    for (name, checked) in &all {
        curve_png(
            &folder.join(format!("{name}-curve.png")),
            checked,
            NCM,
            None,
        )
        .unwrap();
        traces_png(&folder.join(format!("{name}-traces.png")), checked, NCM).unwrap();
    }
    for (name, _) in &all {
        for picture in ["curve", "traces"] {
            assert!(
                folder
                    .join(format!("{name}-{picture}.png"))
                    .metadata()
                    .is_ok_and(|file| file.len() > 1_000)
            );
        }
    }
}
