//! A servo's calibration file: the power balance's four numbers and their covariance. Reading and checking only.

use nalgebra::{Matrix4, SymmetricEigen};
use toml::Spanned;
use toml::de::DeValue;

use crate::problem::Problem;

use super::Calibration;
use super::bound::Bound;
use super::document::Document;
use super::file::NamedText;
use super::keys;
use super::section::{Section, as_number};

/// How far from symmetric, and how far below zero an eigenvalue of the correlations may be: what rounding the entries
/// to six figures does.
const ROUNDING: f64 = 1e-5;

/// Reads a calibration and checks that it is of the servo with this tag.
pub(super) fn parse(named: &NamedText, tag: &str) -> Result<Calibration, Problem> {
    let doc = Document::new(&named.file_name, &named.text, keys::CALIBRATION_FILE);
    let tables = doc.tables()?;
    let top = Section::open(
        &doc,
        &keys::CALIBRATION_TOP,
        tables.get_ref(),
        0..0,
        "the file".to_owned(),
    );
    let calibration = read(&top, tag);
    match (doc.first_fault(), calibration) {
        (None, Some(calibration)) => Ok(calibration),
        (Some(problem), _) => Err(problem),
        (None, None) => Err(Problem::new(format!("{} is incomplete", named.file_name))
            .hint("compare it with samples/E1.calibration.toml")),
    }
}

fn read(top: &Section, tag: &str) -> Option<Calibration> {
    let servo = top
        .need_header("servo")
        .then(|| top.table("servo", &keys::CALIBRATED_SERVO, "[servo]".to_owned()))
        .flatten();
    let power = top
        .need_header("power_balance")
        .then(|| {
            top.table(
                "power_balance",
                &keys::POWER_BALANCE,
                "[power_balance]".to_owned(),
            )
        })
        .flatten();
    let own_tag = servo.as_ref().and_then(|s| read_tag(s, tag));
    let made = servo.as_ref().and_then(|s| s.date("made"));
    let reference_c = servo
        .as_ref()
        .and_then(|s| s.number("reference_c", Bound::Within(-50.0, 150.0)));
    let power = power?;
    let idle_w = power.need_number("idle_w", Bound::NotNegative);
    let winding_w_per_nm2 = power.need_number("winding_w_per_nm2", Bound::Positive);
    let friction_nm = power.need_number("friction_nm", Bound::NotNegative);
    let gear_loss = power.need_number("gear_loss", Bound::NotNegative);
    let covariance = power
        .require("covariance")
        .then(|| read_covariance(&power))
        .flatten();
    Some(Calibration {
        tag: own_tag?,
        made,
        reference_c: reference_c.unwrap_or(20.0),
        idle_w: idle_w?,
        winding_w_per_nm2: winding_w_per_nm2?,
        friction_nm: friction_nm?,
        gear_loss: gear_loss?,
        covariance: covariance?,
    })
}

fn read_tag(servo: &Section, wanted: &str) -> Option<String> {
    let tag = servo.need_text("tag")?;
    if tag != wanted {
        servo.fault(
            "tag",
            &format!("tag is \"{tag}\", but the aircraft file names this calibration for servo \"{wanted}\""),
            &format!("a calibration holds for one servo only: name the one of \"{wanted}\" there, or calibrate \"{wanted}\""),
        );
        return None;
    }
    Some(tag.to_owned())
}

fn read_covariance(power: &Section) -> Option<[[f64; 4]; 4]> {
    let rows = power.array("covariance")?;
    let Some(matrix) = four_by_four(rows) else {
        power.fault(
            "covariance",
            "covariance is not four rows of four numbers",
            "write [[…], […], […], […]], four finite numbers a row, in the order idle, winding, friction, gear loss",
        );
        return None;
    };
    if let Some(fault) = covariance_fault(&matrix) {
        power.fault(
            "covariance",
            &format!("covariance {fault}"),
            "copy it whole from the calibration, or calibrate again; on the diagonal stand the squared standard \
             uncertainties, entry (i, j) equals (j, i)",
        );
        return None;
    }
    // Entries that differ by rounding alone are made equal, so that what follows need not care.
    Some(std::array::from_fn(|i| {
        std::array::from_fn(|j| 0.5 * matrix[i][j] + 0.5 * matrix[j][i])
    }))
}

fn four_by_four(rows: &[Spanned<DeValue>]) -> Option<[[f64; 4]; 4]> {
    let mut matrix = [[0.0; 4]; 4];
    if rows.len() != 4 {
        return None;
    }
    for (row, into) in rows.iter().zip(&mut matrix) {
        let row = row.get_ref().as_array().filter(|r| r.len() == 4)?;
        for (entry, into) in row.iter().zip(into) {
            *into = as_number(entry.get_ref()).filter(|n| n.is_finite())?;
        }
    }
    Some(matrix)
}

/// Why four by four finite numbers are no covariance; `None` if they are one. Judged on the correlations, because the
/// four quantities have different units and sizes.
fn covariance_fault(matrix: &[[f64; 4]; 4]) -> Option<String> {
    const NAMES: [&str; 4] = ["idle", "winding", "friction", "gear loss"];
    if let Some(i) = (0..4).find(|&i| matrix[i][i] < 0.0) {
        return Some(format!("has a negative variance of {}", NAMES[i]));
    }
    let deviation: [f64; 4] = std::array::from_fn(|i| matrix[i][i].sqrt());
    let mut correlation = Matrix4::<f64>::identity();
    for i in 0..4 {
        for j in (0..4).filter(|&j| j != i) {
            if matrix[i][j] == 0.0 && matrix[j][i] == 0.0 {
                continue;
            }
            let r = matrix[i][j] / deviation[i] / deviation[j];
            let mirrored = matrix[j][i] / deviation[i] / deviation[j];
            if r.is_nan() || r.abs() > 1.0 + ROUNDING {
                return Some(format!(
                    "makes {} and {} more than wholly correlated",
                    NAMES[i], NAMES[j]
                ));
            }
            if (r - mirrored).abs() > ROUNDING {
                return Some(format!(
                    "is not symmetric: {} with {} differs from {} with {}",
                    NAMES[i], NAMES[j], NAMES[j], NAMES[i]
                ));
            }
            correlation[(i, j)] = 0.5 * (r + mirrored);
        }
    }
    let lowest = SymmetricEigen::new(correlation).eigenvalues.min();
    (lowest < -ROUNDING).then(|| {
        "is not positive semidefinite: some combination of the four has a negative variance"
            .to_owned()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = include_str!("../../samples/E1.calibration.toml");

    fn read_text(text: &str) -> Result<Calibration, Problem> {
        let named = NamedText {
            file_name: "E1.calibration.toml".to_owned(),
            text: text.to_owned(),
        };
        parse(&named, "E1")
    }

    #[test]
    fn the_sample_calibration_has_its_stated_uncertainties() {
        let c = read_text(GOOD).unwrap();
        assert_eq!((c.tag.as_str(), c.reference_c), ("E1", 20.0));
        let values = [c.idle_w, c.winding_w_per_nm2, c.friction_nm, c.gear_loss];
        // Idle 1 %, winding 2 %, friction 2 %, gear loss 3 %: one standard deviation.
        for (i, (value, share)) in values.into_iter().zip([0.01, 0.02, 0.02, 0.03]).enumerate() {
            let u = c.covariance[i][i].sqrt();
            assert!((u / (share * value) - 1.0).abs() < 0.01, "{i}: {u}");
        }
    }

    #[test]
    fn the_reference_temperature_and_the_day_may_be_left_out() {
        let text: String = GOOD
            .lines()
            .filter(|l| !l.starts_with("reference_c") && !l.starts_with("made"))
            .map(|l| format!("{l}\r\n"))
            .collect();
        let c = read_text(&text).unwrap();
        assert_eq!((c.reference_c, c.made), (20.0, None));
    }

    #[test]
    fn every_broken_calibration_names_its_line_its_key_and_the_remedy() {
        // (what stands in the good file, what stands there instead, the words that must be in the message)
        #[rustfmt::skip]
    let cases: &[(&str, &str, &[&str])] = &[
        ("idle_w = 0.21", "idle_w = -0.21", &["line 9", "idle_w", "0 or a number above it"]),
        ("idle_w = 0.21", "idle = 0.21", &["line 9", "\"idle\"", "did you mean \"idle_w\"?"]),
        ("idle_w = 0.21", "", &["line 8", "missing key \"idle_w\"", "0.21"]),
        ("winding_w_per_nm2 = 8.4", "winding_w_per_nm2 = 0", &["line 10", "winding_w_per_nm2", "above 0"]),
        ("friction_nm = 0.06", "friction_nm = -1", &["line 11", "friction_nm", "0 or a number above it"]),
        ("gear_loss = 0.18", "gear_loss = nan", &["line 12", "gear_loss", "0 or a number above it"]),
        ("gear_loss = 0.18", "gear_loss = \"18 %\"", &["line 12", "gear_loss is text", "0.18"]),
        ("tag = \"E1\"", "tag = \"E2\"", &["line 4", "tag is \"E2\"", "servo \"E1\""]),
        ("2026-04-02", "2026-02-30", &["line 5", "made", "2026-04-02"]),
        ("reference_c = 20.0", "reference_c = 293", &["line 6", "reference_c", "from -50 to 150"]),
        ("[power_balance]", "[power]", &["line 8", "\"power\"", "power_balance"]),
    ];
        for (from, to, words) in cases {
            assert_eq!(GOOD.matches(from).count(), 1, "{from}");
            let message = read_text(&GOOD.replacen(from, to, 1))
                .unwrap_err()
                .to_string();
            for word in words.iter().chain(&["E1.calibration.toml", " | "]) {
                assert!(message.contains(word), "{to}: no {word:?} in\n{message}");
            }
        }
    }

    #[test]
    fn a_matrix_that_is_no_covariance_is_refused_with_the_reason() {
        #[rustfmt::skip]
    let cases = [
        ("[[1,0,0,0],[0,1,0,0],[0,0,1,0]]", "four rows of four numbers"),
        ("[[1,0,0],[0,1,0],[0,0,1],[0,0,0]]", "four rows of four numbers"),
        ("[[1,0,0,0],[0,1,0,0],[0,0,1,0],[0,0,0,inf]]", "four rows of four numbers"),
        ("[[1,0.5,0,0],[0.4,1,0,0],[0,0,1,0],[0,0,0,1]]", "not symmetric: idle with winding"),
        ("[[1,0,0,0],[0,-1,0,0],[0,0,1,0],[0,0,0,1]]", "negative variance of winding"),
        ("[[1,0,0,2],[0,1,0,0],[0,0,1,0],[2,0,0,1]]", "more than wholly correlated"),
        ("[[0,0,0,1],[0,1,0,0],[0,0,1,0],[1,0,0,1]]", "more than wholly correlated"),
        ("[[1,0.9,-0.9,0],[0.9,1,0.9,0],[-0.9,0.9,1,0],[0,0,0,1]]", "not positive semidefinite"),
    ];
        let head = &GOOD[..GOOD.find("covariance =").unwrap()];
        for (matrix, reason) in cases {
            let message = read_text(&format!("{head}covariance = {matrix}\n"))
                .unwrap_err()
                .to_string();
            assert!(message.contains(reason), "{matrix}:\n{message}");
            assert!(message.contains("line 13"), "{message}");
        }
        let exact = "[[0,0,0,0],[0,0,0,0],[0,0,0,0],[0,0,0,0]]";
        assert!(read_text(&format!("{head}covariance = {exact}\n")).is_ok());
        let whole = "[[1e300,1e0,0,0],[1e0,1e-300,0,0],[0,0,1,0],[0,0,0,1]]";
        assert!(read_text(&format!("{head}covariance = {whole}\n")).is_ok());
    }
}
