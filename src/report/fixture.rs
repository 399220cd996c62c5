//! Checked recordings made by hand, for the tests of every output. The numbers are plausible and invented;
//! no analysis made them.

use std::path::Path;

use super::{Checked, RecordingSummary};
use crate::aircraft::{
    Aircraft, Calibration, Limits, Servo, ServoType, Side, Surface, Throw, ThrowMeasure, Trip,
};
use crate::analysis::*;
use crate::verdict::{Finding, Judged, Kind, Level, Sentence, Verdict};

/// Compares with `src/report/golden/NAME`, or rewrites it when `HINGEWRIGHT_RENEW=1`.
pub fn golden(name: &str, got: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("src/report/golden")
        .join(name);
    if std::env::var("HINGEWRIGHT_RENEW").is_ok_and(|v| v == "1") {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, got).unwrap();
        return;
    }
    let wanted = std::fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(
        got, wanted,
        "{name} has changed; HINGEWRIGHT_RENEW=1 renews it, review the diff"
    );
}

fn surface(
    name: &str,
    servo_index: usize,
    pair_index: Option<usize>,
    throws: Vec<Throw>,
) -> Surface {
    Surface {
        name: name.into(),
        was: Vec::new(),
        servo_index,
        second_servo_index: None,
        pair_index,
        chord_mm: 58.0,
        measure: ThrowMeasure::Straight,
        throws,
        linkage: None,
        linkage_notes: Default::default(),
        air: None,
        angle: None,
    }
}

fn throw(name: &str, side: Side, mm: f64) -> Throw {
    let asked_deg = 2.0 * (mm / 116.0).asin().to_degrees();
    Throw {
        name: name.into(),
        side,
        asked_mm: mm,
        asked_deg,
        tolerance_mm: 1.0,
        given_in_deg: false,
    }
}

pub fn aircraft() -> Aircraft {
    let elevator = || vec![throw("up", Side::Up, 24.0), throw("down", Side::Down, 22.0)];
    let flap = vec![
        throw("take-off", Side::Down, 28.0),
        throw("landing", Side::Down, 70.0),
    ];
    let rudder = vec![
        throw("high rate", Side::Left, 26.0),
        throw("middle rate", Side::Left, 18.0),
        throw("low rate", Side::Left, 15.0),
        throw("high rate", Side::Right, 26.0),
        throw(
            "a rate with a name that is far too long for any picture",
            Side::Right,
            20.0,
        ),
    ];
    let calibration = Calibration {
        tag: "E1".into(),
        made: Some(jiff::civil::date(2026, 4, 2)),
        reference_c: 20.0,
        idle_w: 0.21,
        winding_w_per_nm2: 8.4,
        friction_nm: 0.06,
        gear_loss: 0.18,
        covariance: [[0.0; 4]; 4],
    };
    let servo = |tag: &str, calibration| Servo {
        tag: tag.into(),
        type_index: 0,
        fitted: None,
        calibration,
        lead: Vec::new(),
    };
    Aircraft {
        name: "Dunlin".into(),
        was: Vec::new(),
        note: None,
        servo_types: vec![ServoType {
            name: "metal gear, 21 kg·cm".into(),
            stall_torque_ncm: 210.0,
            stall_voltage_v: 7.4,
            arm_deg_per_us: Some(0.09),
            speed: None,
            dead_band_us: None,
        }],
        servos: vec![
            servo("E1", Some(calibration)),
            servo("E2", None),
            servo("F1", None),
        ],
        surfaces: vec![
            surface("left elevator", 0, Some(1), elevator()),
            surface("right elevator", 1, Some(0), elevator()),
            surface("left flap <inner> & \"co\"", 2, None, flap),
            surface(
                "rudder of the most carefully named aircraft in the whole club",
                2,
                None,
                rudder,
            ),
        ],
        limits: Limits {
            given: vec!["slop_deg", "share_of_stall"],
            ..Limits::default()
        },
        trip: Trip::default(),
        supply: None,
    }
}

pub fn q(value: f64, half: f64) -> Quantity {
    Quantity {
        value,
        interval: Some(Interval {
            u: half / 2.2,
            lo95: value - half,
            hi95: value + half,
        }),
    }
}

fn finding(kind: Kind, level: Level, at_deg: Option<f64>, text: &str) -> Finding {
    Finding::new(kind, level, at_deg, Sentence::new(text))
}

/// A noise that is the same at every run, between −1 and 1.
fn noise(i: usize) -> f64 {
    let mut x = (i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D_4C95_7F2D;
    x ^= x >> 29;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x ^= x >> 32;
    (x % 20_001) as f64 / 10_000.0 - 1.0
}

/// The invented law: slope 0.31, a knee at `knee_deg`, friction 1.9 and a tight spot moving up at −8°.
fn law(angle: f64, up: bool, knee_deg: Option<f64>, spot: bool) -> f64 {
    let elastic = 0.8 + 0.31 * angle + knee_deg.map_or(0.0, |k| 0.9 * (angle - k).max(0.0));
    let bump = if spot {
        4.2 * (1.0 - ((angle + 8.0) / 2.0).abs()).max(0.0)
    } else {
        0.0
    };
    if up {
        elastic + 1.9 + bump
    } else {
        elastic - 1.9
    }
}

fn curve(lo: f64, hi: f64, knee_deg: Option<f64>, spot: bool) -> Curve {
    let angles: Vec<f64> = (0..=120)
        .map(|i| lo + (hi - lo) * i as f64 / 120.0)
        .collect();
    let fit = angles
        .iter()
        .map(|&angle_deg| FitPoint {
            angle_deg,
            up_ncm: law(angle_deg, true, knee_deg, spot),
            down_ncm: law(angle_deg, false, knee_deg, spot),
            band_ncm: 0.25 + 0.012 * angle_deg.abs(),
        })
        .collect();
    let mut points = Vec::new();
    for stroke in 0..20 {
        let moving_up = stroke % 2 == 0;
        for (i, angle_deg) in
            (0..).map_while(|i| Some((i, lo + 0.7 * i as f64)).filter(|p| p.1 <= hi))
        {
            let since_reversal = if moving_up {
                angle_deg - lo
            } else {
                hi - angle_deg
            };
            let built_up = (since_reversal / 1.8).min(1.0);
            let (here, other) = (
                law(angle_deg, moving_up, knee_deg, spot),
                law(angle_deg, !moving_up, knee_deg, spot),
            );
            points.push(TorquePoint {
                angle_deg,
                torque_ncm: other + (here - other) * built_up + 0.5 * noise(stroke * 100 + i),
                u_ncm: 0.2,
                moving_up,
                used: since_reversal > 2.0,
            });
        }
    }
    Curve {
        stiffness_ncm_per_deg: q(0.3124, 0.0112),
        friction_ncm: q(1.912, 0.074),
        neutral_torque_ncm: q(0.81, 0.12),
        knees: Vec::new(),
        tight_spots: Vec::new(),
        residual_ncm: 0.284,
        fit,
        points,
        not_observable: Vec::new(),
    }
}

fn traces(lo: f64, hi: f64) -> Traces {
    let n = 1_200;
    let t_s: Vec<f64> = (0..n).map(|i| 40.0 * i as f64 / n as f64).collect();
    let phase = |t: f64| (t * std::f64::consts::TAU / 4.0).sin();
    let middle = (hi + lo) / 2.0;
    let angle_deg = t_s
        .iter()
        .map(|&t| middle + phase(t) * (hi - lo) / 2.0)
        .collect();
    let gap = |t: f64| (21.0..22.5).contains(&t);
    let effort = (0..n)
        .map(|i| {
            if gap(t_s[i]) {
                f64::NAN
            } else {
                120.0 + 300.0 * phase(t_s[i]).abs() + 12.0 * noise(i)
            }
        })
        .collect();
    let pulse_us = t_s
        .iter()
        .map(|&t| 1500.0 + 380.0 * phase(t + 0.05))
        .collect();
    Traces {
        t_s,
        angle_deg,
        effort,
        effort_label: "supply current, mA".into(),
        pulse_us,
    }
}

fn throw_result(throw: &Throw, reached_mm: f64, cause: Option<ShortCause>) -> ThrowResult {
    ThrowResult {
        name: throw.name.clone(),
        side: throw.side,
        asked_mm: throw.asked_mm,
        asked_deg: throw.asked_deg,
        tolerance_mm: throw.tolerance_mm,
        reached_mm: Some(q(reached_mm, 0.21)),
        reached_deg: Some(q(2.0 * (reached_mm / 116.0).asin().to_degrees(), 0.2)),
        state: if cause.is_some() {
            ThrowState::Short
        } else {
            ThrowState::Met
        },
        cause,
    }
}

fn summary(file: &str, surface: &Surface) -> RecordingSummary {
    RecordingSummary {
        file: file.into(),
        surface: surface.name.clone(),
        samples: 8_000,
        lost: 3,
        damaged_lines: 1,
        restarts: 0,
        span_s: 40.0,
        rate_hz: 200.0,
        events: vec!["armed".into(), "disarmed".into()],
        keys: vec![
            ("surface".into(), surface.name.clone()),
            ("started".into(), "2026-04-18T10:22:07Z".into()),
        ],
        notes: Vec::new(),
        unfinished: None,
        rig: None,
    }
}

fn load() -> Load {
    let hold = |at_deg, ma| HoldCurrent { at_deg, ma };
    Load {
        peak_torque_ncm: Some(q(15.8, 0.7)),
        peak_at_deg: Some(23.4),
        share_of_stall: Some(q(0.082, 0.006)),
        friction_share_of_stall: Some(0.0113),
        ratio_from: RatioSource::ArmAngle,
        voltage_v: Some(7.31),
        hold_current_ma: vec![hold(0.1, 52.0), hold(23.8, 231.0), hold(-21.7, 148.0)],
    }
}

/// Left elevator by supply power: a knee, a tight spot, stretches that cannot be observed, all throws met.
pub fn knee(aircraft: &Aircraft) -> Checked<'_> {
    let surface = &aircraft.surfaces[0];
    let (lo, hi) = (-22.4, 24.2);
    let mut curve = curve(lo, hi, Some(16.2), true);
    curve.knees.push(Knee {
        up_side: true,
        at_deg: q(16.2, 0.6),
        stiffness_beyond_ncm_per_deg: q(1.21, 0.09),
        ratio: 3.9,
    });
    curve.tight_spots.push(TightSpot {
        from_deg: -10.0,
        at_deg: q(-8.0, 0.4),
        to_deg: -6.0,
        height_ncm: q(4.2, 0.6),
        when: When::Up,
    });
    curve.not_observable = vec![(7.5, 22.0, false), (-20.5, -12.0, true)];
    curve.points.retain(|p| {
        !p.used || p.moving_up && p.angle_deg > -12.0 || !p.moving_up && p.angle_deg < 7.5
    });
    for point in &mut curve.points {
        point.u_ncm = 0.15 + 1.5 / (1.0 + point.torque_ncm.abs());
    }
    Checked {
        servos: None,
        held: None,
        aircraft,
        surface,
        recording: summary("samples/knee.log", surface),
        measured: Measured {
            torque_from: TorqueSource::SupplyPower,
            strokes: StrokeCounts {
                up: 10,
                down: 10,
                left_out: 1,
                samples_not_steady: 240,
                samples_after_reversal: 611,
                samples_out_of_line: 4,
            },
            curve: Some(curve),
            throws: vec![
                throw_result(&surface.throws[0], 24.3, None),
                throw_result(&surface.throws[1], 22.4, None),
            ],
            load: load(),
            slop_deg: Some(q(0.18, 0.05)),
            lead_mohm: Some(q(84.0, 6.0)),
            jerks: None,
            doubts: Vec::new(),
            budgets: Default::default(),
            conditions: Conditions::default(),
            travel_deg: Some((lo, hi)),
            rate_hz: 200.0,
            span_s: 40.0,
            traces: traces(lo, hi),
        },
        judged: Judged {
            findings: vec![
                finding(
                    Kind::Stiffening,
                    Level::Work,
                    Some(16.2),
                    "Left elevator stiffens from 16.2° (±0.6°): 0.31 N·cm/° before, 1.2 beyond. Work the hinge in \
                     further before connecting the rod.",
                ),
                finding(
                    Kind::TightSpot,
                    Level::Work,
                    Some(-8.0),
                    "Left elevator has a tight spot at −8.0° (±0.4°) moving up: 4.2 N·cm above the rest (limit 3.0). \
                     Look for glue or a burr at the hinge there.",
                ),
                finding(
                    Kind::BadData,
                    Level::Watch,
                    None,
                    "3 samples were lost and 1 line was damaged on the way; nothing in them was used. Check the cable.",
                ),
            ],
            verdict: Verdict::WorkNeeded,
        },
    }
}

/// Right elevator by a torque sensor, nothing wrong.
pub fn fault_free(aircraft: &Aircraft) -> Checked<'_> {
    let surface = &aircraft.surfaces[1];
    let (lo, hi) = (-22.6, 24.4);
    let mut checked = knee(aircraft);
    checked.surface = surface;
    checked.recording = summary("samples/a-folder-with-a-long-name/fault-free.log", surface);
    checked.measured.torque_from = TorqueSource::Torque;
    checked.measured.curve = Some(curve(lo, hi, None, false));
    checked.measured.traces.effort_label = "torque, N·cm".into();
    for effort in &mut checked.measured.traces.effort {
        *effort = (*effort - 120.0) / 30.0;
    }
    checked.judged = Judged {
        findings: Vec::new(),
        verdict: Verdict::NoFaultFound,
    };
    checked
}

/// A flap that stalls short of its landing throw; its names need escaping.
pub fn short(aircraft: &Aircraft) -> Checked<'_> {
    let surface = &aircraft.surfaces[2];
    let mut checked = knee(aircraft);
    checked.surface = surface;
    checked.recording = summary("samples/<short> & stalled.log", surface);
    checked.recording.events.push("stalled".into());
    checked
        .recording
        .notes
        .push("The clock jumped back by 0.2 s at line 812.".into());
    checked.measured.torque_from = TorqueSource::Force;
    checked.measured.curve = Some(curve(-61.0, 1.0, None, false));
    checked.measured.travel_deg = Some((-61.0, 1.0));
    checked.measured.traces = traces(-61.0, 1.0);
    checked.measured.throws = vec![
        throw_result(&surface.throws[0], 58.9, None),
        throw_result(&surface.throws[1], 58.9, Some(ShortCause::Stalled)),
    ];
    checked.judged = Judged {
        findings: vec![finding(
            Kind::ThrowShort,
            Level::Stop,
            Some(-61.0),
            "Left flap, throw \"landing\" falls short: 58.9 mm (61.0°) of 70 mm (74.2°), tolerance 1 mm; the servo stalled. Free the \
             hinge or use a longer horn.",
        )],
        verdict: Verdict::DoNotFly,
    };
    checked
}

/// No torque source, no movement, nothing in the recording to draw.
pub fn nothing_measured(aircraft: &Aircraft) -> Checked<'_> {
    let surface = &aircraft.surfaces[0];
    let throws = surface.throws.iter().map(|throw| ThrowResult {
        reached_mm: None,
        reached_deg: None,
        state: ThrowState::Unproven,
        ..throw_result(throw, 1.0, None)
    });
    Checked {
        servos: None,
        held: None,
        aircraft,
        surface,
        recording: RecordingSummary {
            samples: 0,
            rate_hz: f64::NAN,
            span_s: 0.0,
            ..summary("empty.log", surface)
        },
        measured: Measured {
            torque_from: TorqueSource::None,
            strokes: StrokeCounts::default(),
            curve: None,
            throws: throws.collect(),
            load: Load {
                peak_torque_ncm: None,
                peak_at_deg: None,
                share_of_stall: None,
                friction_share_of_stall: None,
                ratio_from: RatioSource::AssumedOne,
                voltage_v: None,
                hold_current_ma: Vec::new(),
            },
            slop_deg: None,
            lead_mohm: None,
            jerks: None,
            doubts: vec![Doubt::NoTorqueSource, Doubt::NeverMoved],
            budgets: Default::default(),
            conditions: Conditions::default(),
            travel_deg: None,
            rate_hz: f64::NAN,
            span_s: 0.0,
            traces: Traces::default(),
        },
        judged: Judged {
            findings: vec![finding(
                Kind::Unproven,
                Level::Watch,
                None,
                "The surface never moved in this recording. Sweep it between its throws and record again.",
            )],
            verdict: Verdict::Unproven,
        },
    }
}

/// More of everything than any surface should have, on a rudder with long names: for the layout.
pub fn crowded(aircraft: &Aircraft) -> Checked<'_> {
    let mut checked = knee(aircraft);
    let surface = &aircraft.surfaces[3];
    checked.surface = surface;
    checked.recording.surface = surface.name.clone();
    checked.recording.file = format!("{}/rudder.log", "a-very-long-folder-name".repeat(5));
    let curve = checked.measured.curve.as_mut().unwrap();
    let first = curve.knees[0];
    curve.knees.push(Knee {
        up_side: false,
        at_deg: q(-14.0, 2.5),
        ..first
    });
    let spot = curve.tight_spots[0];
    for (i, when) in [When::Both, When::Down, When::Up, When::Both]
        .into_iter()
        .enumerate()
    {
        let at = -4.0 + 3.0 * i as f64;
        curve.tight_spots.push(TightSpot {
            from_deg: at - 1.0,
            to_deg: at + 1.0,
            at_deg: q(at, 0.3),
            when,
            ..spot
        });
    }
    checked.measured.throws = surface
        .throws
        .iter()
        .map(|throw| throw_result(throw, throw.asked_mm - 2.0, Some(ShortCause::Stalled)))
        .collect();
    checked.measured.jerks = Some(Jerks {
        stops_per_stroke: 9.0,
        standing_share: 0.31,
        step_deg: 1.4,
        at_deg: -3.0,
        speed_deg_s: 31.0,
    });
    checked
}
