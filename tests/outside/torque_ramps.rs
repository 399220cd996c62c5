//! Torque ramps of a geared actuator against a locked output, session after session (data of an MSc thesis, "Anti-Backlash
//! Mechanisms for Cost-Effective Cycloidal Drive Robotic Actuators", CC BY-SA 4.0; read in place, as its SOURCE.md says).
//! Stiffness is not independently known and torque there is motor current times a constant: what can be checked is
//! that loops with play and hysteresis are read, that a session repeats itself and that its treatment shows.
//! The command runs to 40 N·m while torque saturates near 26 N·m: the fit is to the torque.

use super::shared::{bytes, columns};
use hingewright::analysis::stats::regression::{HUBER_TUNING, huber};
use hingewright::analysis::stats::student::interval;
use nalgebra::DMatrix;
use std::io::Read;

const SESSIONS: [(&str, &str); 4] = [
    (
        "first run",
        "2024-07-16__10-53-56__torqueramp__base910_unr init1.csv.gz",
    ),
    (
        "run in, hot",
        "2024-07-16__11-55-30__torqueramp__base910_unr runin1.csv.gz",
    ),
    (
        "cold again",
        "2024-07-16__13-59-43__torqueramp__base910_unr cold1.csv.gz",
    ),
    (
        "reworked",
        "2024-07-17__12-24-38__torqueramp__base910 reamed1.csv.gz",
    ),
];

struct Session {
    /// Stiffness of each of the three long ramps, N·m per degree.
    stiffness: Vec<f64>,
    /// Whole width of the loop between rising and falling torque, degrees, per ramp.
    width_deg: Vec<f64>,
    largest_torque_nm: f64,
}

fn read(file: &str) -> Option<Session> {
    let packed = bytes(&format!("torque_ramps/{file}"))?;
    let mut text = String::new();
    flate2::read::GzDecoder::new(&packed[..])
        .read_to_string(&mut text)
        .expect("the file is whole");
    let c = columns(&text, &["POSITION", "TORQUE", "CONTROL_TORQUE", "test_nr"]);
    let mut session = Session {
        stiffness: Vec::new(),
        width_deg: Vec::new(),
        largest_torque_nm: 0.0,
    };
    for ramp in [100.0, 101.0, 102.0] {
        let rows: Vec<usize> = (0..c[3].len()).filter(|&i| c[3][i] == ramp).collect();
        assert!(
            rows.len() > 8000,
            "{file}: ramp {ramp} has {} rows",
            rows.len()
        );
        // Rising or falling is the command's direction over a fifth of a second; angle = compliance·torque + branch.
        const REACH: usize = 43;
        let inner = &rows[REACH..rows.len() - REACH];
        let direction = |i: usize| (c[2][i + REACH] - c[2][i - REACH]).signum();
        let design = DMatrix::from_fn(inner.len(), 3, |r, k| match k {
            0 => 1.0,
            1 => c[1][inner[r]],
            _ => direction(inner[r]),
        });
        let angle_deg: Vec<f64> = inner.iter().map(|&i| 360.0 * c[0][i]).collect();
        let fit = huber(&design, &angle_deg, HUBER_TUNING)
            .expect("a ramp tells compliance and branch apart");
        assert!(fit.converged);
        session.stiffness.push(1.0 / fit.coefficients[1]);
        session.width_deg.push(2.0 * fit.coefficients[2].abs());
        let largest = inner.iter().map(|&i| c[1][i].abs()).fold(0.0, f64::max);
        session.largest_torque_nm = session.largest_torque_nm.max(largest);
    }
    Some(session)
}

/// Mean of three ramps and its Student interval.
fn mean_with_interval(values: &[f64]) -> (f64, f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let u = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0) / n).sqrt();
    let i = interval(mean, u, n - 1.0).unwrap();
    (mean, i.lo95, i.hi95)
}

#[test]
fn locked_output_loops_are_read_and_the_sessions_treatment_shows() {
    let mut means = Vec::new();
    for (name, file) in SESSIONS {
        let Some(session) = read(file) else { return };
        let (mean, lo, hi) = mean_with_interval(&session.stiffness);
        println!(
            "{name}: {mean:.3} N·m/deg (95 % {lo:.3} to {hi:.3}), loop width {:.2?} deg, torque to {:.1} N·m",
            session.width_deg, session.largest_torque_nm
        );
        assert!(
            session.largest_torque_nm < 27.0,
            "{name}: torque saturates near 26 N·m"
        );
        assert!(
            session.stiffness.iter().all(|s| (1.0..10.0).contains(s)),
            "{name}: {:?}",
            session.stiffness
        );
        assert!(
            session.width_deg.iter().all(|w| (0.1..10.0).contains(w)),
            "{name}: play and hysteresis are there"
        );
        if name != "run in, hot" {
            // A steady session repeats itself; the hot one is still changing, ramp by ramp.
            assert!(
                session
                    .stiffness
                    .iter()
                    .all(|s| (s / mean - 1.0).abs() < 0.05),
                "{name}: {:?}",
                session.stiffness
            );
        }
        means.push(mean);
    }
    let [first, hot, cold, reworked] = means[..] else {
        unreachable!("four sessions")
    };
    assert!(
        hot < 0.7 * cold,
        "running in hot softens what is stiffer again when cold: {hot} and {cold}"
    );
    assert!(
        cold < first && reworked < first,
        "neither comes back to the first run's stiffness"
    );
}
