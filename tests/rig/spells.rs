//! One recording of several armings, with another weight on the servo's arm each time.

use std::fs::File;
use std::sync::Arc;

use hingewright::aircraft;
use hingewright::link::port;
use hingewright::recording::{self, Channel};
use hingewright::rig::{self, Line, Move, Pace, Page, Rig, Spell, Sweep, SweepPlan, To};

use super::host::Rig as Simulated;

/// Standard acceleration of free fall, m/s² (ISO 80000-3).
const G: f64 = 9.806_65;

fn spell(mass: &str) -> Spell {
    let lift = |deg| Move {
        to: To::Deg(deg),
        pace: Pace::UsPerS(400.0),
        hold_s: 0.5,
    };
    Spell {
        marks: vec![("mass_kg", mass.to_owned())],
        moves: vec![lift(15.0), lift(-15.0)],
        ends_after_s: None,
    }
}

#[test]
fn each_arming_is_marked_and_the_weight_of_its_own_is_felt() {
    let simulated = Simulated::start(&["--weights", "0,0.8", "--weight-arm", "70", "--fast", "10"]);
    let link = simulated.link();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("weights.log");
    let aircraft = aircraft::read_path(std::path::Path::new("samples/aircraft.toml")).unwrap();
    let surface = &aircraft.surfaces[0];
    let plan = SweepPlan {
        up_deg: 20.0,
        down_deg: -20.0,
        ..SweepPlan::of(&aircraft, surface, 1, 30.0, 0.4)
    };
    let trip = aircraft.trip_points(surface);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let mut asked = Vec::new();
    let run = runtime.block_on(async {
        let shown = link.display().to_string();
        let line = Line::open(&shown, move || {
            port::open(&link.display().to_string(), 115_200)
        });
        let rig = Rig::greet(Arc::new(line.unwrap())).await;
        let page = Page {
            file: File::create_new(&path).unwrap(),
            path: &path,
            keys: &[("surface", "left elevator".to_owned())],
        };
        let mut tell = |_: &rig::Progress| {};
        let sweep = Sweep::new(plan, trip, &mut tell);
        let spells = [spell("0"), spell("0.8"), spell("never")];
        let mut ready = async |number| {
            asked.push(number);
            // The third weight is not to be had.
            number < 2
        };
        rig::spells(
            rig.unwrap_or_else(|_| panic!("no rig")),
            page,
            sweep,
            &spells,
            &mut ready,
        )
        .await
    });
    let run = run.unwrap();
    // It is cut short there: what was to be done was not.
    assert!(
        matches!(run.cut, Some(rig::Cut::Stopped { .. })),
        "{:?}",
        run.cut
    );
    assert!(run.disarmed);
    assert_eq!(asked, [0, 1, 2]);
    let text = String::from_utf8_lossy(&std::fs::read(&path).unwrap()).into_owned();
    let order: Vec<&str> = text
        .lines()
        .filter_map(|line| match line {
            line if line.starts_with("# mass_kg=") => Some(line),
            line if line.contains(",armed*") => Some("armed"),
            line if line.contains(",disarmed*") => Some("disarmed"),
            _ => None,
        })
        .collect();
    assert_eq!(
        order,
        [
            "# mass_kg=0",
            "armed",
            "disarmed",
            "# mass_kg=0.8",
            "armed",
            "disarmed"
        ]
    );
    let recording = recording::read_path(&path).unwrap();
    let holding_ma = |spell: usize| held_up(&recording, spell);
    // Copper's loss alone where nothing moves: V·I − idle = a·(m·g·L·(1 + g) ± friction)², and friction holds some of it.
    let torque_nm = 0.8 * G * 0.070;
    let (least, most) = (holding_ma(0), holding_ma(1));
    let least_w = 8.4 * (torque_nm - 0.06 - 0.18 * torque_nm).powi(2);
    assert!(
        7.4e-3 * (most - least) > 0.5 * least_w,
        "{least} mA, {most} mA, {least_w} W"
    );
}

/// Mean current in the second half of the first hold of a spell, mA.
fn held_up(recording: &recording::Recording, spell: usize) -> f64 {
    let segment = &recording.segments[0];
    let pulse = segment.column(Channel::PulseUs).unwrap();
    let current = segment.column(Channel::CurrentMa).unwrap();
    let angle = segment.column(Channel::AngleDeg).unwrap();
    // Spells are apart where there is no pulse.
    let mut number = 0;
    let mut armed = false;
    let mut seen = Vec::new();
    for ((pulse, current), angle) in pulse.iter().zip(current).zip(angle) {
        match (armed, pulse.is_finite()) {
            (false, true) => armed = true,
            (true, false) => (armed, number) = (false, number + 1),
            _ => {}
        }
        if armed && number == spell && (angle - 15.0).abs() < 1.0 {
            seen.push(*current);
        }
    }
    let late = &seen[seen.len() / 2..];
    late.iter().sum::<f64>() / late.len() as f64
}
